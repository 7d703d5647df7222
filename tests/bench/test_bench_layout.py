"""Where the table of a file stands and what its columns are: every variation of delimiter, header and layout that files
of the bench have been seen with, each in a few lines of our own. Expected numbers are those written in the text."""

import math

import numpy as np
import pytest

from hbsim.bench.mapping import Mapping, mapping_beside, mapping_of, read_mapping
from hbsim.bench.reader import interpret, read_readings
from hbsim.bench.readings import MISSING, OVER_RANGE, UPPER_LIMIT
from hbsim.bench.text import decode
from hbsim.errors import Refusal


def read(text, **said):
    return interpret(decode(text.encode(), "x.csv"), mapping_of(said))


def values(readings):
    return [column.values.tolist() for column in readings.columns]


def units(readings):
    return [column.unit for column in readings.columns]


ROWS = [[1e6, 2e6, 4e6], [-30.5, -31.0, -29.25]]


@pytest.mark.parametrize("text", [
    "f (MHz),P (dBm)\n1,-30.5\n2,-31.0\n4,-29.25\n",
    "f (MHz);P (dBm)\n1;-30.5\n2;-31.0\n4;-29.25\n",
    "f (MHz)\tP (dBm)\n1\t-30.5\n2\t-31.0\n4\t-29.25\n",
    "f_MHz P_dBm\n1   -30.5\n2   -31.0\n4   -29.25\n",
    "Freq (MHz)  Level (dBm)\n 1   -30.5\n 2   -31.0\n 4   -29.25\n",
    "sep=^\nf (MHz)^P (dBm)\n1^-30.5\n2^-31.0\n4^-29.25\n",
    "sep=;\nf (MHz);P (dBm)\n1;-30,5\n2;-31,0\n4;-29,25\n",
    "f (MHz), P (dBm)\n1.0E+00, -30.5\n2.0E+00, -31.0\n4.0E+00, -29.25\n",
    " f [MHz]   \t  P [dBm]\n 1     \t  -30.5\n 2     \t  -31.0\n 4     \t  -29.25\n",
    "f (MHz);P (dBm);\n1;-30,5;\n2;-31,0;\n4;-29,25;\n",
    "f (MHz),P (dBm)\n1,-30.5,,\n2,-31.0,,\n4,-29.25,,\n",
    '"# Trace 1"\nf (MHz),P (dBm)\n1,-30.5\n2,-31.0\n4,-29.25\n',
    '"f in MHz, of 1,2";"P (dBm)"\n1;-30.5\n2;-31.0\n4;-29.25\n'.replace(", of 1,2", ""),
    "Marker,1,2,3\nRBW,30000,Manual\nf (MHz),P (dBm)\n1,-30.5\n2,-31.0\n4,-29.25\n",
    "f (MHz),P (dBm)\n\n1,-30.5\n2,-31.0\n4,-29.25\n\n* second meter\n",
    "f,P\n1 MHz,-30.5 dBm\n2 MHz,-31.0 dBm\n4 MHz,-29.25 dBm\n",
    "1,MHz,-30.5,dBm\n2,MHz,-31.0,dBm\n4,MHz,-29.25,dBm\n",
    "f,P\n[MHz],[dBm]\n1,-30.5\n2,-31.0\n4,-29.25\n",
    "f,P\nMHz,dBm\n1,-30.5\n2,-31.0\n4,-29.25\n",
    "#f (MHz), P (dBm)\n1,-30.5\n2,-31.0\n4,-29.25\n",
    "! FREQ UNIT MHz\n! DATA Freq,S11\n! DATA UNIT dBm\nBEGIN\n1,-30.5\n2,-31.0\n4,-29.25\nEND\nafter 5,6\n",
    "[Markers]\n9,8\n7,6\n[Trace]\nf (MHz),P (dBm)\n1,-30.5\n2,-31.0\n4,-29.25\n",
    "% a\n; text\n// more\n'and\nf (MHz),P (dBm)\n1,-30.5\n2,-31.0\n4,-29.25\n",
    "x-unit;MHz\ny-unit;dBm\nStart;1;MHz\nStop;4;MHz\nValues;3;\n1;-30,5;\n2;-31,0;\n4;-29,25;\n",
    "f (MHz),P (dBm)\n1,-30.5\n# a remark\n2,-31.0\n4,-29.25\n",
    'f (MHz),P (dBm)\n"1","-30.5"\n"2","-31.0"\n"4","-29.25"\n',
    "Frecuencia (MHz),Amplitud (dBm)\n1,-30.5\n2,-31.0\n4,-29.25\n",
], ids=lambda text: text[:24])
def test_one_table_in_many_forms(text):
    readings = read(text)
    assert units(readings) == ["Hz", "dBm"]
    assert values(readings) == ROWS
    assert set(readings.sweep) == {0}


def test_level_first_and_frequency_second_is_told_by_start_and_stop():
    text = "Trace 1,,dBm\nXStart,1,MHz\nXStop,4,MHz\n-30.5,1000000\n-31,2000000\n-29.25,4000000\n"
    readings = read(text)
    assert [c.name for c in readings.columns] == ["Level", "Frequency"] and units(readings) == ["dBm", "Hz"]
    with pytest.raises(Refusal, match="no row of names"):
        read(text.replace("XStop,4", "XStop,5"))
    centre = read("Center,2.5,MHz\nSpan,3,MHz\ny-unit,dBm\n1000000,-30.5\n2000000,-31\n4000000,-29.25\n")
    assert values(centre) == ROWS


@pytest.mark.parametrize(("text", "words"), [
    ("2,4,-31,5\n2,5,-31,4\n", "2.4 | -31.5"), ("0,107\n0,108\n", "0.107"),
    ("a (V),b (V)\n2,4,-31,5\n2,5,-31,4\n", "both delimiter and decimal mark"),
    ("f (MHz);x (V)\n1,250;2\n1,350;3\n", "1250"), ("a (V)\tb (V)\n1 200\t5\n1 300\t6\n", "1 | 200 | 5"),
    ("f (MHz),P (dBm)\n2.40,-30\n2.41,-30.1\n2.42\n2.43,-30\n", "line 4: '2.42' has 1 cells"),
    ("f (Hz),P (dBm)\n1,2\n2,3\n3,bad\n4,5\n", "line 4, column 2: 'bad'"),
    ("f (Hz),P (dBm)\n1\n2,3\n3,4\n", "line 2: '1' stands above rows of 2 cells"),
    ("f (Hz),P (dBm)\n1,2\n2,####\n", "number is lost"), ("f (Hz),x (V)\n1,0x1F\n2,3\n", "0x1F"),
    ("f (Hz),x\n1,1/2\n2,1/3\n", "1/2"), ("f (Hz),x\n1,12:34\n2,12:35\n", "12:34"),
    ("mode,f_Hz,dB\nlow,1e6,0.4,,\nhigh,2e6,0.5,7,\n", "line 3, column 4"),
    ("2.400e9,-31.5\n2.401e9,-31.6\n", "First row 2400000000 | -31.5"), ("f,P\n", "no data rows"),
    ("Freq,P (dBm)\n1388.8,-102\n1389.8,-102\n", "may be Hz, kHz or MHz"),
    ("Pin,-20,-18,-16\nPout,-10,-8,-6\n", "transposed"),
    ("f (Hz),P\n1,2 dBm\n2,3 V\n", "another unit"), ("f (Hz),P\n1,2 dBm\n2,3\n", "no unit where other cells"),
    ("f (Hz),P (dBm)\n1,2\n2,3\n\nV (V),I (A),x (V)\n1,2,3\n2,3,4\n", "2 tables"),
    ("Sweep,Date,2399.5,2400.0,2401\n0,2001-02-03,-99.5,-24,-101\n1,2001-02-04,-100,-24.5,-1\n", "without a unit"),
    ("#Start: 1 Hz\n#Stop: 3 Hz\n#Steps: 3\n-10\n-20\n-30\n", 'axis = "linear"'),
    ("#Start: 1 Hz\n#Stop: 3 Hz\n#Points: 4\n-10\n-20\n-30\n", "counts 4"),
    ("f (Hz),x (dB)\n2.0E+4,-35.1,1.0\n3.0E+4,-35.2,0.5\n", "column 3"),
])
def test_what_has_two_meanings_is_refused(text, words):
    with pytest.raises(Refusal) as caught:
        read(text)
    assert words in str(caught.value) and "x.csv" in str(caught.value)


def test_what_the_person_says_settles_it():
    two = read("2,4,-31,5\n2,5,-31,4\n", table={"decimal": "comma", "units": ["GHz", "dBm"], "names": ["f", "P"]})
    assert values(two) == [[2.4e9, 2.5e9], [-31.5, -31.4]]
    four = read("2,4,-31,5\n2,5,-31,4\n", table={"decimal": "point", "names": ["a", "b", "c", "d"], "units": ["V"] * 4})
    assert values(four) == [[2, 2], [4, 5], [-31, -31], [5, 4]]
    assert values(read("f (Hz);x (V)\n1,250;2\n", table={"decimal": "comma"})) == [[1.25], [2]]
    assert values(read("f (Hz);x (V)\n1,250;2\n", table={"thousands": "comma"})) == [[1250], [2]]
    turned = read("Pin (dBm),-20,-18,-16\nPout (dBm),-10,-8,-6\n", table={"orientation": "transposed"})
    assert values(turned) == [[-20, -18, -16], [-10, -8, -6]]
    turned = read("Pin/dBm -20 -18 -16\nPout/dBm -10 -8 -6\n", table={"orientation": "transposed",
                                                                      "delimiter": "blanks"})
    assert values(turned) == [[-20, -18, -16], [-10, -8, -6]] and units(turned) == ["dBm", "dBm"]
    named = read("P_ein;P_aus\n-20;-11\n-18;-9\n", columns={"P_aus": {"is": "output_dbm_2", "unit": "dBm"},
                                                          "1": {"is": "drive.power", "unit": "dBm"}})
    assert [c.meaning for c in named.columns] == ["drive.power", "output_dbm_2"] and units(named) == ["dBm", "dBm"]
    rows = read("f (Hz),P (dBm)\n1,2\n2,3\n3,4\n4,5\n", table={"header": 1, "first_row": 3, "last_row": 4})
    assert values(rows) == [[2, 3], [3, 4]] and rows.lines.tolist() == [3, 4]
    filled = read("f (Hz),P (dBm)\n1,-999\n2,3\n", table={"filler": -999.0}).column("P (dBm)")
    assert math.isnan(filled.values[0]) and filled.flags == {0: MISSING}
    assert "filler" in " ".join(read("f (Hz),P (dBm)\n1,-999\n2,3\n").notes)


def test_names_that_are_not_unique_are_refused_by_name():
    text = "f (Hz),Det. (VDC),Det. (VDC)\n1,2,3\n2,3,4\n"
    readings = read(text)
    assert [c.name for c in readings.columns[1:]] == ["Det. (VDC) [column 2]", "Det. (VDC) [column 3]"]
    with pytest.raises(Refusal, match="no column"):
        readings.column("Det. (VDC)")
    with pytest.raises(Refusal, match="name of 2 columns"):
        read("f (Hz),P (dBm),P (W)\n1,2,3\n2,3,4\n", columns={"P": {"is": "x"}})
    with pytest.raises(Refusal, match="no column 'Q'"):
        read("f (Hz),P (dBm)\n1,2\n2,3\n", columns={"Q": {"is": "x"}})


def test_units_row_missing_and_limit_values():
    readings = read("Pin,H1,H2,H3,Ic\n[dBm],[dBm],[dBm],[dBm],[mA]\n-10,-11.0,-34.3,<-80,11.2\n-5,-6.1,-25.4,---,OVL\n")
    assert units(readings) == ["dBm"] * 4 + ["A"]
    h3, current = readings.columns[3:]
    assert h3.values[0] == -80 and math.isnan(h3.values[1]) and h3.flags == {0: UPPER_LIMIT, 1: MISSING}
    assert current.values[0] == pytest.approx(0.0112, rel=1e-15) and current.flags == {1: OVER_RANGE}
    assert any("H3" in note and "upper limit" in note for note in readings.notes)


def test_a_sweep_in_each_row():
    readings = read("Start Frequency: 2399.5MHZ\nSweep,Date,Time,Milliseconds,2399.5,2400.0,2400.5\n"
                    "0,2001-02-03,23:59:59,.750,-99.5,-24,-101\n1,2001-02-04,00:00:00,.050,-100,-24.5,-100\n")
    assert readings.sweep.tolist() == [0, 0, 0, 1, 1, 1]
    assert readings.column("Frequency").values.tolist() == [2.3995e9, 2.4e9, 2.4005e9] * 2
    assert readings.column("Level").values.tolist() == [-99.5, -24, -101, -100, -24.5, -100]
    assert readings.column("Time since the first").values[3] == pytest.approx(0.3, rel=1e-12)


def test_a_part_of_a_sweep_in_each_row():
    text = ("2001-02-03, 10:00:00, 1200000000, 1200500000, 250000, 20, -30.1, -77.0, -77.0\n"
            "2001-02-03, 10:00:00, 1200500000, 1201000000, 250000, 20, -76.5, nan, nan\n")
    readings = read(text)
    assert readings.column("Frequency").values.tolist() == [1.2e9, 1.20025e9, 1.2005e9, 1.20075e9]
    np.testing.assert_array_equal(readings.column("Level").values, [-30.1, -77, -76.5, np.nan])
    assert set(readings.sweep) == {0}
    kept = read(text.replace("-77.0, -77.0", "-77.0, -76.0"))
    assert len(kept.sweep) == 5 and any("differs" in note for note in kept.notes)


def test_up_and_down_are_two_sweeps():
    readings = read("Vcc/V;Ic/mA;P2/dBm\n3,0;6,1;-27,4\n4,0;8,9;-22,0\n5,0;11,6;-19,3\n4,0;9,1;-21,8\n3,0;6,3;-27,1\n")
    assert readings.sweep.tolist() == [0, 0, 0, 1, 1]
    assert readings.column("P2/dBm").values.tolist() == [-27.4, -22.0, -19.3, -21.8, -27.1]
    assert any("turning point in line 4" in note for note in readings.notes)


def test_nested_sweeps_and_blocks():
    nested = read("f (MHz),Vcc (V),Pin (dBm),Pout (dBm)\n" + "".join(
        f"{f},{v},{p},{p + 10}\n" for f in (2000, 2100) for v in (3, 5) for p in (-30, -20, -10)))
    assert nested.sweep.tolist() == sorted([0, 1, 2, 3] * 3)
    assert read("f (Hz),P (dBm)\n1,2\n2,3\n\n1,4\n2,5\n").sweep.tolist() == [0, 0, 1, 1]
    # Two readings at one setting and a small step back are noise of the meter.
    noise = "V (mV),I (mA)\n4.9,0\n4.9,0.1\n9.8,0.2\n4.9,0.3\n14.7,1\n29,3\n"
    assert set(read(noise).sweep) == {0}
    assert set(read("No.,f (MHz),Z (ohm)\n1,10,50\n2,20,51\n3,10,50\n4,20,51\n", table={"sweep": "none"}).sweep) == {0}


def test_stacked_traces_and_traces_side_by_side():
    stacked = ("x-unit,Hz\ny-unit,dBm\nTrace Name,Trace A\nTrace Data\n1,-2\n2,-3\n3,-1\nTrace Name,Trace B\n"
               "Trace Type,Blank\nTrace Name,Trace C\nTrace Data\n1,-5\n2,-6\n3,-4\n")
    readings = read(stacked)
    assert readings.sweep.tolist() == [0, 0, 0, 1, 1, 1] and readings.facts["Trace Type"] == ("Blank",)
    assert values(read(stacked, table={"trace": "Trace C"})) == [[1, 2, 3], [-5, -6, -4]]
    assert values(read(stacked, table={"trace": 1})) == [[1, 2, 3], [-2, -3, -1]]
    with pytest.raises(Refusal, match="no trace"):
        read(stacked, table={"trace": "Trace B"})
    wide = "f (Hz),Trace A (dBm),Trace B (dBm)\n1,2,3\n2,3,4\n"
    assert len(read(wide).columns) == 3
    assert values(read(wide, table={"trace": 2})) == [[1, 2], [3, 4]]


def test_what_stands_above_each_block_is_a_column():
    readings = read("Vcc = 3 V\nRBW = 1 kHz\nPin (dBm),Pout (dBm)\n-10,1\n-9,2\n"
                    "Vcc = 5 V\nRBW = 1 kHz\nPin (dBm),Pout (dBm)\n-10,3\n", columns={"Vcc": {"is": "supply.VCC"}})
    assert [c.name for c in readings.columns] == ["Pin (dBm)", "Pout (dBm)", "Vcc"]
    assert readings.columns[2].values.tolist() == [3, 3, 5] and readings.columns[2].unit == "V"
    assert readings.columns[2].meaning == "supply.VCC"


SIDES = "Input (dBm),Output (W),I (x20 A),,Input (dBm),Output (mW)\n-9,0.0041,0.015,,-9,0.75\n" \
        "1,0.0335,0.0152,,1,4.2\n6,0.09,0.0159,,,\n"


def test_tables_side_by_side():
    with pytest.raises(Refusal, match="2 tables stand side by side"):
        read(SIDES)
    first, second = (read(SIDES, table={"table": number}) for number in (1, 2))
    assert values(first)[:2] == [[-9, 1, 6], [0.0041, 0.0335, 0.09]]
    assert first.columns[2].unit == "" and any("factor" in note for note in first.notes)
    assert values(second)[0] == [-9, 1]
    np.testing.assert_allclose(values(second)[1], [0.75e-3, 4.2e-3], rtol=1e-15)
    confirmed = read(SIDES, table={"table": 1}, columns={"3": {"scale": 20, "unit": "A"}})
    np.testing.assert_allclose(values(confirmed)[2], [0.3, 0.304, 0.318], rtol=1e-15)


def test_a_row_that_stands_apart_is_not_dropped_in_silence():
    assert any("outside the table are left out: 5" in note for note in read("f (Hz),P (dBm)\n1,2\n2,3\n\n7\n").notes)


@pytest.mark.parametrize("text", [
    "a" + " " * 100_000 + "x\nf (Hz),P (dBm)\n1,2\n2,3\n", "f (Hz),P (dBm)\n1," + "1 234" * 20_000 + "\n2,3\n",
    "1,2," * 20_000 + "3\n", "1," * 50_000 + "\n", "# a: 1\n" * 20_000 + "f (Hz),P (dBm)\n1,2\n2,3\n"],
    ids=["blanks", "long cell", "many pairs", "many cells", "many remarks"])
def test_files_made_to_be_slow_are_read_or_refused_in_short_words(text):
    try:
        assert len(read(text).sweep) == 2
    except Refusal as refusal:
        assert len(str(refusal)) < 1000


def test_two_tables_one_below_the_other():
    text = "f (Hz),P (dBm)\n1,2\n2,3\n\nVcc (V),Ic (A)\n3,4\n5,6\n"
    assert values(read(text, table={"table": 2})) == [[3, 5], [4, 6]]


def test_levels_alone_get_their_frequencies_from_the_header():
    text = "#Start: 0 Hz\n#Stop: 5 kHz\n#BINs: 3\n#Y Axis Unit: dBm\n-10\n-20\n-30\n"
    assert values(read(text)) == [[0, 2500, 5000], [-10, -20, -30]]
    log = text.replace("0 Hz", "0.05 kHz").replace("#Y", "#Sweep: log\n#Y")
    np.testing.assert_allclose(values(read(log, table={"axis": "logarithmic"}))[0], [50, 500, 5000], rtol=1e-14)


def test_compliance_and_over_range_of_a_curve():
    readings = read("% VBE[V]  IB[A]  IE[A]  st\n0.62  +5.250E-08  -6.105E-06  N\n0.88  +3.100E-04  -9.910E+37  C\n")
    assert units(readings) == ["V", "A", "A", ""]
    assert readings.columns[2].flags == {1: OVER_RANGE} and readings.columns[3].flags == {0: "N", 1: "C"}
    assert readings.columns[2].values[0] == -6.105e-6
    assert any("compliance" in note for note in readings.notes)


def test_the_toml_file_beside_a_data_file(tmp_path):
    (tmp_path / "a.csv").write_text("1,5;2\n2,5;3\n")
    with pytest.raises(Refusal, match="no row of names"):
        read_readings(tmp_path / "a.csv")
    (tmp_path / "a.toml").write_text('[columns]\n1 = { unit = "V" }\n2 = { is = "supply_amps_VCC", unit = "mA" }\n'
                                     '[input]\n')
    readings = read_readings(tmp_path / "a.csv")
    assert values(readings) == [[1.5, 2.5], [2e-3, 3e-3]] and readings.columns[1].meaning == "supply_amps_VCC"
    assert mapping_beside(tmp_path / "b.csv") == Mapping()
    assert read_mapping(tmp_path / "a.toml").columns["1"].unit == "V"


@pytest.mark.parametrize(("tree", "place"), [
    ({"table": {"delimiterr": ","}}, "delimiterr"), ({"table": {"decimal": "colon"}}, "table.decimal"),
    ({"table": {"header": "one"}}, "table.header"), ({"table": {"delimiter": "xy"}}, "table.delimiter"),
    ({"table": {"axis": "curved"}}, "table.axis"), ({"table": {"impedance": -5}}, "table.impedance"),
    ({"table": {"strict": 1}}, "table.strict"), ({"table": {"names": [1]}}, "table.names"), ({"table": 3}, "table"),
    ({"columns": 3}, "columns"), ({"columns": {"a": 3}}, "columns.a"),
    ({"columns": {"a": {"unit": "furlong"}}}, "unit"),
    ({"columns": {"a": {"scale": 0}}}, "columns.a"), ({"columns": {"a": {"iss": "x"}}}, "iss"),
])
def test_a_wrong_word_in_the_toml_file_is_refused(tree, place):
    with pytest.raises(Refusal) as caught:
        mapping_of(tree, "a.toml")
    assert place in str(caught.value) and "a.toml" in str(caught.value)
