"""Real files of benches, cut and made anonymous (tests/bench/wild): each gives its table, or the right refusal.

The expected shape, first and last row of each file were written down by hand from the file itself.
"""

from pathlib import Path

import numpy as np
import pytest

from hbsim.bench.mapping import Mapping, Said
from hbsim.bench.reader import read_readings
from hbsim.bench.readings import Marker
from hbsim.bench.levels import in_dbm
from hbsim.errors import Refusal

WILD = Path(__file__).parent / "wild"


def read(name, mapping=None):
    return read_readings(WILD / name, mapping)


def table(readings):
    return np.array([column.values for column in readings.columns]).T


@pytest.mark.parametrize(("name", "units", "rows", "first", "last"), [
    ("sa_key_value_stacked.csv", ["Hz", "dBm"], 16, [48453386, -70.97], [49442231, -70.64]),
    ("sa_semicolon_key_value_unit.csv", ["Hz", "dBm"], 30, [3406593406.5934128761, -82.48834228515625],
     [3986013986.0139942169, -78.1933135986328125]),
    ("vna_begin_end_mag_deg.csv", ["Hz"] + ["1", "deg"] * 4, 12,
     [11790365.358299, 0.9783355, -16.191832, 0.011161155, 101.20617, 0.011310732, 100.28205, 0.97618288, 29.692526],
     [14809659.616176, 0.95560819, -2.7170577, 0.0067817755, 139.93428, 0.0066368468, 139.84502, 0.9487254, 63.494061]),
    ("vna_handheld_s11_db.csv", ["Hz", "dB"], 19, [2387500000, -8.30075877549732], [2432500000, -9.92404615366919]),
    ("emi_fixed_width_units_row.txt", ["Hz", "dBuV", "dBuV"], 14, [150000, 49.13, 29.64], [208500, 45.19, 27.18]),
    ("rt_sections_amplitude_first.csv", ["dBuV/m", "Hz"], 21, [20.611789703369141, 10000000],
     [15.212249755859375, 10250000]),
])
def test_each_file_gives_its_table(name, units, rows, first, last):
    readings = read(name)
    numbers = table(readings)
    assert [column.unit for column in readings.columns] == units
    assert numbers.shape == (rows, len(units))
    assert set(readings.sweep) == {0}
    # Taking MHz to Hz costs one rounding.
    np.testing.assert_allclose(numbers[0], first, rtol=3e-16)
    np.testing.assert_allclose(numbers[-1], last, rtol=3e-16)
    assert not any(column.flags for column in readings.columns)


def test_the_amplifier_at_two_supplies():
    readings = read("pa_power_sweep_wide.csv")
    numbers = table(readings)
    assert numbers.shape == (28, 16)
    assert readings.sweep.tolist() == [0] * 14 + [1] * 14
    assert [column.unit for column in readings.columns[:8]] == ["Hz", "V", "V", "dBm", "dBm", "", "A", "A"]
    np.testing.assert_allclose(numbers[0, :7], [2e9, 12, 3, -30.68790042, 2.180935466, 32.86883589, 0.958433564])
    np.testing.assert_allclose(numbers[-1, :7], [2e9, 15, 3, 9.31209958, 35.18494853, 25.87284895, 1.014561207])
    assert numbers[13, 3] == 8.31209958 and numbers[14, 3] == -29.68790042
    np.testing.assert_allclose(numbers[:, 5], numbers[:, 4] - numbers[:, 3], atol=1e-6)  # gain = output - input
    assert not any("output less input" in note for note in readings.notes)
    assert any("'Gain' has no unit" in note for note in readings.notes)


def test_transmission_against_source_power_in_blocks():
    readings = read("rf_vs_power_blank_line_blocks.dat")
    numbers = table(readings)
    assert numbers.shape == (18, 8)
    assert readings.sweep.tolist() == [0] * 6 + [1] * 6 + [2] * 6
    assert [column.unit for column in readings.columns] == ["Hz", "1", "1", "dB", "deg", "dBm", "K", ""]
    np.testing.assert_allclose(numbers[0, :6], [8.084e9, 0.04658979, 0.02140099, -25.802736947,
                                                np.degrees(0.43060159529), 0.0])
    np.testing.assert_allclose(numbers[-1, :6], [8.134e9, 0.04454411, -4.617254e-06, -27.024194232,
                                                 np.degrees(-25.132844884), 2.0])
    # The header calls a column of levels "Power (K)": it must be taken for neither.
    assert any("Power (K)" in note and "not believed" in note for note in readings.notes)
    with pytest.raises(Refusal):
        in_dbm(readings.column("Power (K)"))


def test_a_curve_without_a_header_needs_a_word():
    with pytest.raises(Refusal, match=r"2 columns, no row of names. First row 0.0048875855 \| 0"):
        read("bjt_curve_no_header.csv")
    said = Mapping(columns={1: Said("", "V"), 2: Said("", "A")})
    readings = read("bjt_curve_no_header.csv", said)
    numbers = table(readings)
    assert numbers.shape == (31, 2) and [column.unit for column in readings.columns] == ["V", "A"]
    assert numbers[0].tolist() == [0.0048875855, 0.0] and numbers[-1].tolist() == [0.2101661779, 0.0463343109]
    assert set(readings.sweep) == {0}  # one step back is the converter's noise


def test_markers_of_the_files():
    assert read("sa_key_value_stacked.csv").markers == (Marker("1", 49e6, -70.90079895, "dBm"),)
    assert read("rt_sections_amplitude_first.csv").markers == (Marker("M1", 11e6, 20.9, "dBuV/m"),)


def test_facts_keep_what_is_repeated_and_what_has_no_name():
    facts = read("rt_sections_amplitude_first.csv").facts
    assert facts["Input Bandwidth"] == ("0 Hz",) * 7
    assert "10000000 Hz" in facts[""]
    assert read("sa_key_value_stacked.csv").facts["RBW"] == ("30000.000000 Manual",)
    assert read("sa_key_value_stacked.csv").facts["Trace Type"] == ("Clear Write", "Blank", "Blank", "Blank")
    assert read("sa_semicolon_key_value_unit.csv").facts["RBW"] == ("300000.000000 Hz",)


def test_levels_that_are_no_power_do_not_become_dbm():
    with pytest.raises(Refusal, match="dBuV/m"):
        in_dbm(read("rt_sections_amplitude_first.csv").columns[0])
    with pytest.raises(Refusal, match="impedance"):
        in_dbm(read("emi_fixed_width_units_row.txt").column("Peak"))
    peak = read("emi_fixed_width_units_row.txt", Mapping(impedance=50.0)).column("Peak")
    assert peak.unit == "dBm" and peak.values[0] == pytest.approx(49.13 - 106.9897, abs=5e-5)  # 0 dBm = 106.9897 dBuV


def test_the_encoding_that_was_used_is_said():
    assert any("cp1252" in note for note in read("emi_fixed_width_units_row.txt").notes)


def test_the_notch_of_the_handheld_analyser():
    readings = read("vna_handheld_s11_db.csv")
    frequency, s11 = readings.columns
    assert s11.values.min() == -29.5763388506452 and frequency.values[s11.values.argmin()] == 2.41e9
