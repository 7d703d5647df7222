"""Cells: numbers in every spelling, marks for missing and over-range readings, limits; units and names of columns."""

import math

import numpy as np
import pytest

from hbsim.bench.cells import Marks, read_cell
from hbsim.bench.levels import in_dbm
from hbsim.bench.names import read_name, unique
from hbsim.bench.numerals import marks_of
from hbsim.bench.readings import LOWER_LIMIT, MISSING, OVER_RANGE, UPPER_LIMIT, Column
from hbsim.bench.units import unit_of
from hbsim.errors import Refusal


@pytest.mark.parametrize(("text", "value"), [
    ("+1.00000000000E+006", 1e6), ("1.5E+09", 1.5e9), ("1.5e9", 1.5e9), ("1.65D-06", 1.65e-6), (".282", 0.282),
    ("-.5", -0.5), ("5.", 5.0), ("+3", 3.0), ("−31.5", -31.5), ("\uff11\uff12", 12.0), (" 7 ", 7.0), ("0", 0.0),
])
def test_plain_numbers(text, value):
    cell = read_cell(text)
    assert cell.value == value and cell.flag == "" and cell.unit is None


@pytest.mark.parametrize(("text", "marks", "value"), [
    ("-31,52", Marks(","), -31.52), ("1,5E+09", Marks(","), 1.5e9), ("1,250.5", Marks(".", ","), 1250.5),
    ("1.250,5", Marks(",", "."), 1250.5), ("1 250,5", Marks(",", " "), 1250.5),
    ("1\u00a0250,5", Marks(",", " "), 1250.5), ("1\u202f250,5", Marks(",", " "), 1250.5),
    ("1'250.5", Marks(".", "'"), 1250.5),
    ("1,250,000", Marks(".", ","), 1250000.0),
])
def test_numbers_with_other_marks(text, marks, value):
    assert read_cell(text, marks).value == value


@pytest.mark.parametrize("text", ["0x1F", "1/2", "12:34", "1.2.3", "1e5e5", "abc", "1,2", "12.5 abc", "1 2", "(3", "1e",
                                  "١٢"])
def test_what_is_no_number_is_a_text(text):
    assert read_cell(text) is None


@pytest.mark.parametrize(("cells", "marks"), [
    (["1", "-2.5"], Marks()), (["-31,52", "5"], Marks(",")), (["1,250", "3,5"], Marks(",")),
    (["1,250", "1,250,000"], Marks(".", ",")), (["1,250.5", "2"], Marks(".", ",")), (["1.250,5", "2"], Marks(",", ".")),
    (["1,250", "3.5"], Marks(".", ",")), (["1.250", "3,5"], Marks(",", ".")), (["0,107"], Marks(",")),
    (["1 250,5"], Marks(",", " ")), (["1'250.5"], Marks(".", "'")), (["1.250.000"], Marks(",", ".")),
])
def test_the_cells_tell_their_marks(cells, marks):
    assert marks_of(cells, "x") == marks


@pytest.mark.parametrize("cells", [["1,250"], ["1,250", "1.250"], ["1,250.5", "1.250,5"]])
def test_two_readings_of_a_mark_are_refused(cells):
    with pytest.raises(Refusal, match='decimal = "comma"'):
        marks_of(cells, "x")


@pytest.mark.parametrize(("text", "flag"), [
    *((text, MISSING) for text in ("", "--", "---", "-", "n/a", "NaN", "nan", "-nan", "#N/A")),
    *((text, OVER_RANGE) for text in ("OL", "OVL", "OVLD", "OVF", "OVERLOAD", "9.99999999E+37", "9.91E+37", "-9.91E+37",
                                      "9.9E37", "199.999E+99", "1e999")),
    *((text, f"runtime error text {text}") for text in ("1.#INF", "-1.#IND", "1.#QNAN", "1.#QNANE+000", "-1.#INF00")),
    ("#DIV/0!", "#DIV/0!"), ("#VALUE!", "#VALUE!"),
])
def test_marks_that_stand_for_no_number(text, flag):
    cell = read_cell(text)
    assert math.isnan(cell.value) and cell.flag == flag


@pytest.mark.parametrize(("text", "value", "flag"), [
    ("<-90", -90.0, UPPER_LIMIT), ("> 20", 20.0, LOWER_LIMIT), ("≤ -90", -90.0, UPPER_LIMIT),
    ("-90 (noise)", -90.0, "-90 (noise)"), ("-140 (keyed)", -140.0, "-140 (keyed)"),
    ("- infinity (no drive)", -math.inf, "- infinity (no drive)"), ("-inf", -math.inf, "-inf"),
])
def test_limits_and_remarks_keep_their_number(text, value, flag):
    cell = read_cell(text)
    assert cell.value == value and cell.flag == flag


def test_a_lost_number_is_no_number():
    assert read_cell("#####") is None


@pytest.mark.parametrize(("text", "value", "unit"), [
    ("90.000 kHz", 90e3, "Hz"), ("-18.48 dBm", -18.48, "dBm"), ("2.4GHz", 2.4e9, "Hz"), ("3 mV", 3e-3, "V"),
    ("2399.5MHZ", 2399.5e6, "Hz"),
])
def test_a_unit_in_the_cell(text, value, unit):
    cell = read_cell(text)
    assert cell.unit.name == unit
    assert cell.value * cell.unit.factor == pytest.approx(value, rel=1e-15)  # one rounding


@pytest.mark.parametrize(("written", "name", "factor", "offset"), [
    ("dBµV", "dBuV", 1, 0), ("dBμV", "dBuV", 1, 0), ("dBuV", "dBuV", 1, 0), ("[dBµV]", "dBuV", 1, 0),
    ("dBuVPerMeter", "dBuV/m", 1, 0), ("dBµV/m", "dBuV/m", 1, 0), ("MHZ", "Hz", 1e6, 0), ("mhz", "Hz", 1e6, 0),
    ("KHZ", "Hz", 1e3, 0), ("mA", "A", 1e-3, 0), ("µA", "A", 1e-6, 0), ("uW", "W", 1e-6, 0), ("dBW", "dBm", 1, 30),
    ("°C", "K", 1, 273.15), ("rad", "deg", 180 / math.pi, 0), ("%", "1", 0.01, 0), ("dBm/Hz", "dBm/Hz", 1, 0),
    ("VDC", "V", 1, 0), ("DBM", "dBm", 1, 0),
])
def test_units_as_they_are_written(written, name, factor, offset):
    unit = unit_of(written)
    assert (unit.name, unit.factor, unit.offset) == (name, factor, offset)


@pytest.mark.parametrize("written", ["", "x", "MV", "Trace", "dBx", "[]", "furlong"])
def test_what_is_no_unit(written):
    assert unit_of(written) is None


@pytest.mark.parametrize("header", ["Freq (MHz)", "Freq[MHz]", "Freq / MHz", "Freq/MHz", "freq_mhz", "Freq.MHz", "MHz",
                                    "f in MHz", "Freq, MHz", "Freq MHz", "FREQUENCY(MHz)", "f_MHz"])
def test_all_ways_to_write_a_unit_in_a_name(header):
    name = read_name(header)
    assert name.unit.name == "Hz" and name.unit.factor == 1e6 and not name.trouble


@pytest.mark.parametrize(("header", "unit"), [
    ("Pin, dBm", "dBm"), ("S11(MAG)", "1"), ("S11(DEG)", "deg"), ("S21re ()", "1"), ("Det. (VDC) *", "V"),
    ("Gain", None), ("Trace A", None), ("Vcc/V", "V"), ("Ic_mA", "A"), ("Channel 1 Voltages (V)", "V"),
    ("IC@IB=10uA", None),
    ("Min", None), ("I_A", "A"), ("Trace_A", None), ("PAE (%)", "1"), ("Phase / °", "deg"),
])
def test_other_names(header, unit):
    name = read_name(header)
    assert (name.unit and name.unit.name) == unit and not name.trouble


@pytest.mark.parametrize("header", ["Power (K)", "I (x20 A)", "V x10", "y dB/10", "Temperature (dBm)", "Phase (K)"])
def test_a_unit_that_cannot_be_is_not_believed(header):
    name = read_name(header)
    assert name.unit is None and name.trouble


def test_names_that_repeat_are_told_apart_by_position():
    names, repeated = unique(["f", "Det.", "", "Det."])
    assert names == ["f", "Det. [column 2]", "column 3", "Det. [column 4]"] and repeated == ["Det."]


# 0 dBm at 50 ohm is 106.9897 dBuV and 46.9897 dBmV, at 75 ohm 108.7506 and 48.7506: 10 log10(Z 1e9), 10 log10(Z 1e3).
@pytest.mark.parametrize(("unit", "value", "impedance", "dbm"), [
    ("dBuV", 106.9897, 50.0, 0.0), ("dBuV", 108.7506, 75.0, 0.0), ("dBmV", 46.9897, 50.0, 0.0),
    ("dBmV", 48.7506, 75.0, 0.0),
    ("dBV", -13.0103, 50.0, 0.0), ("W", 1e-3, None, 0.0), ("W", 0.0041, None, 6.1278), ("dBm", -3.0, None, -3.0),
])
def test_levels_as_dbm(unit, value, impedance, dbm):
    column = Column("x", unit, np.array([value]))
    assert in_dbm(column, impedance).values[0] == pytest.approx(dbm, abs=6e-5)  # the digits given above


def test_a_power_below_the_last_digit_of_the_meter_is_no_level():
    column = in_dbm(Column("x", "W", np.array([1.0, 0.0])))
    assert column.values[0] == 30.0 and math.isnan(column.values[1]) and column.flags == {1: "below resolution"}


@pytest.mark.parametrize("unit", ["dBm/Hz", "dBuV/m", "dBuA", "dBc", "dBFS", "dB", "V", "Vpp", "Vrms", "", "dBuV",
                                  "dBV"])
def test_what_is_no_power_does_not_become_dbm(unit):
    with pytest.raises(Refusal):
        in_dbm(Column("x", unit, np.zeros(1)))


@pytest.mark.parametrize("header", ["f0 (dBm)", "2 f0 / dBm", "f_0 [dBm]"])
def test_a_level_may_be_called_by_its_harmonic(header):
    assert read_name(header).unit.name == "dBm"


def test_f0_in_megahertz_is_a_frequency():
    assert read_name("f0 (MHz)").unit.name == "Hz"


@pytest.mark.parametrize("group", [" ", "'"])
def test_comma_and_point_beside_a_group_mark_are_refused(group):
    from hbsim.bench.reader import interpret
    from hbsim.bench.text import decode
    text = f"P [W];V [V]\n1{group}000.5;1,250\n1{group}001.5;1,300\n"
    with pytest.raises(Refusal, match="it is not clear which mark is decimal"):
        interpret(decode(text.encode()))


@pytest.mark.parametrize("header", ["Vbe (V) (x1e3)", "(x 1000) Vbe (V)", "Vbe [V] (x20)"])
def test_a_factor_in_another_bracket_is_not_overlooked(header):
    name = read_name(header)
    assert name.unit is None and "factor" in name.trouble


@pytest.mark.parametrize("rows, read", [("1;1.234\n2;2.345\n3;12,5\n", "'1.234' is read as 1234"),
                                        ("1;1,234\n2;2,345\n3;12.5\n", "'1,234' is read as 1234")])
def test_thousands_that_the_table_tells_are_noted(rows, read):
    from hbsim.bench.reader import interpret
    from hbsim.bench.text import decode
    found = interpret(decode(("V [V];I [mA]\n" + rows).encode()))
    assert found.columns[1].values[0] == pytest.approx(1.234) and any(read in note for note in found.notes)


def test_a_column_of_text_that_begins_like_numbers_is_noted():
    from hbsim.bench.reader import interpret
    from hbsim.bench.text import decode
    found = interpret(decode("Frequency;Power\n1,152 GHz;1 mW\n2,304 GHz;2 mW\n".encode()))
    assert any("taken as text, though '1,152 GHz'" in note for note in found.notes)
