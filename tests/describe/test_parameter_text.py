"""Texts of transistor parameters: whole prints, and how each number and unit is read.

Expected values are decimals worked by hand; which spelling means what is common practice, no source.
"""

import math
from dataclasses import fields

import pytest
from parameter_prints import (
    COLUMN_BY_COLUMN, EXPECTED, LIST, NUMBERED, OF_NUMBERED, OF_TWO_GROUPS, THREE_TO_A_ROW, TWO_GROUPS)

from hbsim.describe.parameter_text import Choices, read_parameters
from hbsim.describe.parameter_text.names import UNITS
from hbsim.devices.bjt import BJT
from hbsim.errors import Refusal
from hbsim.quantities import quantities


def values(text, **choices):
    return {name: entry.value for name, entry in read_parameters(text, Choices(**choices)).values.items()}


def test_names_and_units_are_those_of_the_transistor_model():
    assert len(UNITS) == 39
    assert all(quantities(BJT)[name].unit == unit for name, unit in UNITS.items())
    assert set(UNITS) == {item.name for item in fields(BJT) if item.name.isupper()} - {"VCEO", "VEBO"}


def test_a_list():
    found = read_parameters(LIST)
    assert {name: entry.value for name, entry in found.values.items()} == EXPECTED
    assert (found.polarity, found.title, found.convention, found.warnings) == ("npn", "QDEMO", "list", ())
    assert (found.values["VJE"].line, found.values["VJE"].text) == (5, "vje = 0.82V")


def test_three_to_a_row_with_a_unit_missing():
    with pytest.raises(Refusal, match="'RE = 0.45' has no unit") as refused:
        read_parameters(THREE_TO_A_ROW)
    assert refused.value.place == "line 6"
    found = read_parameters(THREE_TO_A_ROW, Choices(bare_is_si=True))
    assert {name: entry.value for name, entry in found.values.items()} == EXPECTED
    assert found.convention == "table" and "RE has no unit; read in ohm" in found.warnings[0]


def test_numbered_rows():
    found = read_parameters(NUMBERED)
    assert {name: entry.value for name, entry in found.values.items()} == {name: EXPECTED[name] for name in OF_NUMBERED}
    for name in ("CJS", "VJS"):
        assert "have not been extracted" in found.values[name].notes[0]
    assert not found.unknown and any("these are missing: 4, 7" in warning for warning in found.warnings)


def test_two_groups_with_a_legend_beside_them():
    found = read_parameters(TWO_GROUPS)
    assert {name: entry.value for name, entry in found.values.items()} == {n: EXPECTED[n] for n in OF_TWO_GROUPS}
    assert not found.unknown and not found.unused and "0.05 to 3.0 GHz" in found.validity[0]


def test_a_text_copied_column_by_column_is_refused():
    with pytest.raises(Refusal, match=r"do not alternate \(3 names before the first value, then 2 values\)"):
        read_parameters(COLUMN_BY_COLUMN)


def test_cross_checks():
    # by hand: 1 / (2 pi 7.4 ps); 1.01 * 25.8520 mV * ln(0.01 / 3.1e-16), with the exact constants of 2019
    bound, voltage = read_parameters(LIST).checks
    assert bound.unit == "Hz" and bound.value == pytest.approx(21.507e9, rel=3e-5)  # five digits printed
    assert voltage.unit == "V" and voltage.value == pytest.approx(0.81216, abs=1e-5)
    slipped = read_parameters(LIST.replace("IS=0.31F", "IS=310P"))
    assert any("is the prefix of IS right" in warning for warning in slipped.warnings)


@pytest.mark.parametrize("text, expected", [
    ("IS=0.31F", {"IS": 3.1e-16}),
    ("CJE 0.31 F", {"CJE": 0.31}),
    *((f"CJE={text}", {"CJE": 6.2e-13}) for text in ("620FF", "620fF", "620 fF", "620f")),
    *((f"CJC={text}", {"CJC": 1e-11}) for text in ("10PF", "10pF", "10p", "10 pF", "0.01n", "10P")),
    ("CJE=0.9E-12", {"CJE": 9e-13}),
    ("IKR=18M", {"IKR": 0.018}), ("IKR=18m", {"IKR": 0.018}), ("RB=18M", {"RB": 0.018}),
    *((f"RB={text}", {"RB": 1e6}) for text in ("1MEG", "1Meg", "1MEGOHM")),
    ("RE=3mOhm", {"RE": 3e-3}), ("RE 3 mΩ", {"RE": 3e-3}), ("RE=3mohm", {"RE": 3e-3}),
    ("ITF=95MA", {"ITF": 0.095}), ("IKF=120mA", {"IKF": 0.12}), ("IKF 120 mA", {"IKF": 0.12}),
    ("IKF=0.12A", {"IKF": 0.12}), ("IKF 0.12 A", {"IKF": 0.12}),
    ("IS=310A", {"IS": 310.0}), ("IS 310 aA", {"IS": 3.1e-16}), ("IS=310aA", {"IS": 3.1e-16}),
    ("TNOM=300K", {"TNOM": 300.0}), ("TNOM 300 K", {"TNOM": 300.0}),
    *((f"TNOM={text}", {"TNOM": 300.15}) for text in ("27", "27C", "27 °C", "27 degC")),
    *((f"PTF={text}", {"PTF": 20.0}) for text in ("20DEG", "20 deg", "20°", "20", "20 °")),
    *((f"TF={text}", {"TF": 7.4e-12}) for text in ("7.4P", "7.4ps", "7.4PS", "7.4E-12s", "7.4 ps")),
    ("TR=1.3n", {"TR": 1.3e-9}),
    *((f"VJE={text}", {"VJE": 0.82}) for text in ("0.82V", "820mV", "820 mV")),
    *((f"EG={text}", {"EG": 1.11}) for text in ("1.11eV", "1.11 V", "1.11", "1.11 eV", "1.11EV")),
    ("MJE 360 m", {"MJE": 0.36}), ("MJE=0.36", {"MJE": 0.36}), ("MJE=360m", {"MJE": 0.36}),
    ("IRB=250µ", {"IRB": 2.5e-4}), ("IRB 250 µA", {"IRB": 2.5e-4}), ("IRB 250 μA", {"IRB": 2.5e-4}),
    ("TF=7.4", {"TF": 7.4}),
])
def test_scales_and_units(text, expected):
    assert values(text) == expected


@pytest.mark.parametrize("text, why", [
    ("CJE=0.31F", "0.31 F or 0.31 fF"), ("CJE=0.9E-12F", "F or .* fF"), ("CJE=0.9E-12f", "keep one of them"),
    ("RE=3MOhm", "milliohm or 3 megaohm"), ("RE=3MOHM", "milliohm or 3 megaohm"), ("RE 3 MΩ", "mega, or a capital"),
    ("ITF 95 MA", "mega, or a capital"), ("TNOM=300", "kelvin is likely but not said"), ("TNOM=298", "kelvin"),
    ("CJE=7.4NS", "a time"), ("CJE=5MIL", "a length"), ("MJE 36 %", "per cent"), ("MJE=36%", "per cent"),
    ("BF=2E", "does not fit"), ("BF=1e--15", "does not fit|range|expression"), ("BF=3..1", "does not fit"),
    ("BF=0,31", "comma"), ("IS={0.31f*area}", "expression"), ("IS==2*B3", "expression|two signs"),
    ("IS=2*B3", "expression"), ("IS = '2*B3'", "expression"), ("IS=0.31 F", "a capacitance"),
    ("BF=1e99999", "beyond"), ("IS=1e-309", "beyond"), ("TF=7.4fs ps", "keep one"),
])
def test_what_is_not_sure_is_refused(text, why):
    with pytest.raises(Refusal, match=why) as refused:
        read_parameters(text)
    assert refused.value.place == "line 1"


@pytest.mark.parametrize("text, said", [
    ("CJE 0.31 F", "outside 1e-14"), ("RB=18M", "M read as milli; write MEG"), ("RB=1MEG", "outside 0.1 to 200"),
    ("IS=310A", "atto must be written aA"), ("TNOM=27", "read as 27 degC"), ("TF=7.4", "outside 1e-12 to 1e-10 s"),
    ("IS=0.31f is=0.31F", "given twice, with the same value"), ("IRB 0.25 A", "outside 1e-07 to 0.01 A"),
])
def test_what_is_odd_is_read_with_a_warning(text, said):
    assert sum(said in warning for warning in read_parameters(text).warnings) == 1


@pytest.mark.parametrize("text, why", [
    ("VAF=28 VA=30", "'VAF = 28' in line 1 and 'VA = 30' in line 1"), ("VAF=28\nBF=1\nVAF=30", "line 1 and .* line 3"),
    ("XTB=-1.4 CJE=-620f", "CJE cannot be negative"), ("+ BF=112", "goes on from the line before"),
    ("RB 8.4 W", "ohm sign lost"), ("BF 80 112 140", "more than one value"),
    ("C2=129 ISE=1f IS=0.31f", "both 'C2 = 129'"),
    ("C2=129 BF=1", "there is no IS"),
])
def test_contradictions_are_refused(text, why):
    with pytest.raises(Refusal, match=why):
        read_parameters(text)


def test_ratios_of_old_lists():
    assert values("C2=129 IS=0.31f C4=10") == {"ISE": 3.999e-14, "IS": 3.1e-16, "ISC": 3.1e-15}


def test_columns_are_chosen():
    text = "  min typ max\nBF 80 112 140\nIS - 0.31 - fA\n"
    with pytest.raises(Refusal, match="columns min, typ, max; say which"):
        read_parameters(text)
    assert values(text, column="typ") == {"BF": 112.0, "IS": 3.1e-16}
    assert values(text.replace("- fA", "0.4 fA"), column="max") == {"BF": 140.0, "IS": 4e-16}
    assert values("min typ max\nBF 80 112 140", column="typ") == {"BF": 112.0}


def test_values_that_are_infinite_or_not_given():
    found = read_parameters("VAF=inf VAR=∞ IKF=0 IKR= - VTF=n/a ITF= XTF=12 BF=112")
    assert found.values["VAF"].value == found.values["VAR"].value == math.inf and found.values["IKF"].value == 0
    assert [entry.name for entry in found.not_given] == ["IKR", "VTF", "ITF"]
    assert any("IKF = 0 means infinite by custom" in warning for warning in found.warnings)
    assert any("ITF = 0" in warning for warning in read_parameters("ITF=0 XTF=12").warnings)
    with pytest.raises(Refusal, match="infinite is not possible"):
        read_parameters("BF=inf")


@pytest.mark.parametrize(("printed", "doubts"), [
    ("fT = 22 GHz", ["f_T of 22 GHz is printed, above 1 / (2 pi TF) = 21.51 GHz"]),  # 1 / (2 pi 7.4 ps) by hand
    ("fT = 21 GHz, VCE = 5 V", []), ("f_T 21600 MHz", ["f_T of 21.6 GHz"]), ("hFE: 225", ["h_FE of 225"]),
    ("hFE 57", []), ("h_FE 55", ["h_FE of 55"]), ("hFE 10 mA", []), ("hFE 80..140", [])])
def test_what_a_sheet_prints_beside_the_set_is_held_against_it(printed, doubts):
    found = read_parameters(f"* the sheet says {printed}\n.MODEL Q NPN (IS=0.31F BF=112 TF=7.4P)\n")
    told = [warning for warning in found.warnings if "is printed" in warning]
    assert len(told) == len(doubts) and all(words in said for words, said in zip(doubts, told))
