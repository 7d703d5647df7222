"""The values of a swept quantity: units shared between pieces, steps as differences, decimal points."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.quantities import Quantity
from hbsim.studies.axis import SUFFIX, axis_column, axis_values, by_ratio


def values(text, unit, **limits):
    return axis_values(Quantity(unit, **limits), text, "here").tolist()


@pytest.mark.parametrize("text, unit, expected", [
    ("0:1:0.1", "1", [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0]),  # not 0.30000000000000004
    ("-20dBm:-18dBm:1dB", "dBm", [-20.0, -19.0, -18.0]),
    ("-20 dBm : -18 dBm : 1 dB", "dBm", [-20.0, -19.0, -18.0]),
    ("-20:-18:1dBm", "dBm", [-20.0, -19.0, -18.0]),
    ("-20:-18:1dB", "dBm", [-20.0, -19.0, -18.0]),
    ("-20dBm:-18:1", "dBm", [-20.0, -19.0, -18.0]),
    ("2:0:-1dBm", "dBm", [2.0, 1.0, 0.0]),
    ("1:2:0.25V", "V", [1.0, 1.25, 1.5, 1.75, 2.0]),
    ("1V:2V:250mV", "V", [1.0, 1.25, 1.5, 1.75, 2.0]),
    ("1:2:0.6V", "V", [1.0, 1.6]),  # the stop is not met
    ("1:1:0.5V", "V", [1.0]),
    ("10:11:0.5mm", "m", [0.010, 0.0105, 0.011]),
    ("0.5in:1in:0.25in", "m", [0.0127, 0.01905, 0.0254]),
    ("900MHz:1.1GHz:100MHz", "Hz", [0.9e9, 1.0e9, 1.1e9]),
    ("0degC:20degC:10degC", "K", [273.15, 283.15, 293.15]),
    ("0degC:20degC:10K", "K", [273.15, 283.15, 293.15]),
    ("0:20:10 degC", "K", [273.15, 283.15, 293.15]),
    ("300:320:10K", "K", [300.0, 310.0, 320.0]),
    ("20:-20:-20°C", "K", [293.15, 273.15, 253.15]),
    ("1e-9:3e-9:1e-9H", "H", [1e-9, 2e-9, 3e-9]),
    ("1%:3%:1%", "1", [0.01, 0.02, 0.03]),
    ("1:2:0.5eV", "eV", [1.0, 1.5, 2.0]),
])
def test_ranges(text, unit, expected):
    assert values(text, unit) == expected


def test_a_factor_that_is_not_exact_loses_no_point():
    found = values("0:0.3:0.1rad", "deg")
    assert found == pytest.approx([math.degrees(0.1 * n) for n in range(4)])


@given(st.integers(-50, 50), st.integers(1, 40), st.sampled_from(["0.1", "0.25", "0.7", "1", "3"]))
def test_every_range_has_its_points(start, count, step):
    stop = start + count * float(step)
    found = values(f"{start}:{stop:.6f}:{step}V", "V")
    assert len(found) == count + 1
    assert found == pytest.approx(np.linspace(start, stop, count + 1), abs=1e-12)


@pytest.mark.parametrize("text, unit, words", [
    ("0:1:0V", "V", "zero"), ("0:1:-1V", "V", "sign"), ("1:0:1V", "V", "sign"), ("0:1:1", "V", "has no unit"),
    ("0V:1V", "V", "START:STOP:STEP"), ("0:1:2:3V", "V", "START:STOP:STEP"), ("", "V", "START:STOP:STEP"),
    ("0V:one:1V", "V", "'one'"), ("0:nan:1V", "V", "'nan'"), ("0::1V", "V", "''"), ("0V:1A:1V", "V", "'A'"),
    ("0:1:1e-12V", "V", "points"), ("0dBm:9dBm:1mW", "dBm", "mW"), ("1 dB:2 dB:1 dB", "dBm", "dB"),
    ("0:1e999:1V", "V", "finite"),
])
def test_bad_ranges_are_refused_with_their_place(text, unit, words):
    with pytest.raises(Refusal) as caught:
        values(text, unit)
    assert caught.value.place == "here" and words in caught.value.what


@pytest.mark.parametrize("given_values", ["-1:2:1V", [-1.0, 2.0], ["-1 V"], "2:-1:-1V"])
def test_a_value_outside_the_limits_is_refused(given_values):
    with pytest.raises(Refusal, match="at least 0 V"):
        values(given_values, "V", minimum=0.0)


def test_lists_hold_texts_and_numbers_in_base_units():
    assert values(["1 V", 2, np.float64(0.5), "300 mV"], "V") == [1.0, 2.0, 0.5, 0.3]
    assert values(np.array([3.0, 1.0]), "V") == [3.0, 1.0]  # in the order given
    assert values(2.0, "V") == [2.0]
    for bad in ([], [math.nan], [True], [None], ["2"]):
        with pytest.raises(Refusal):
            values(bad, "V")


def test_a_printed_zero_that_means_infinite_is_read_so():
    assert axis_values(Quantity("V", zero_is_infinite=True, may_be_infinite=True), "0:20:10V", "Q1.VAF").tolist() == [
        math.inf, 10.0, 20.0]


def test_columns_carry_their_unit():
    from hbsim.quantities import units
    assert set(SUFFIX) == set(units())
    assert axis_column("drive.power", "dBm") == "drive.power_dbm" and axis_column("Q1.BF", "1") == "Q1.BF"


@pytest.mark.parametrize("text, unit, expected", [
    ("1pF:2pF:5 points", "F", [1e-12, 1.25e-12, 1.5e-12, 1.75e-12, 2e-12]),
    ("0:1:11 points", "1", [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0]),
    ("2:1V:3 points", "V", [2.0, 1.5, 1.0]), ("0degC:20degC:2points", "K", [273.15, 293.15]),
    ("-20:-10dBm:3 points", "dBm", [-20.0, -15.0, -10.0]),
    ("1, 2, 5 pF", "F", [1e-12, 2e-12, 5e-12]), ("1,2,5pF", "F", [1e-12, 2e-12, 5e-12]),
    ("5V,1V", "V", [5.0, 1.0]), ("1, 5 V", "V", [1.0, 5.0]), ("500mV, 1 V", "V", [0.5, 1.0]),
    ("80, 120", "1", [80, 120]),
])
def test_numbers_of_points_and_lists(text, unit, expected):
    assert values(text, unit) == expected


def test_equal_ratios():
    found = values("1pF:100pF:5 points by ratio", "F")
    assert found[0] == 1e-12 and found[-1] == 1e-10  # the ends exactly
    assert found == pytest.approx([10 ** (-12 + n / 2) for n in range(5)], rel=1e-12)
    assert by_ratio(np.array(found), "F") and by_ratio(np.array(found[::-1]), "F")
    assert by_ratio(np.array([1.0, 10.0, 100.0]), "V")
    for other, unit in (([1.0, 2.0, 3.0], "V"), ([1.0, 2.0], "V"), ([1.0, 10.0, 100.0], "dBm"), ([0.0, 0.0, 0.0], "V"),
                        ([-1.0, -2.0, -4.0], "V"), ([1.0, 2.0, np.inf], "V"), ([3.0, 3.0, 3.0], "V")):
        assert not by_ratio(np.array(other), unit)


@pytest.mark.parametrize("text, unit, words", [
    ("1,5V", "V", "may be one number"), ("80,120", "1", "space after each comma: '80, 120'"),
    ("1,000,000 Hz", "Hz", "may be one number"), ("1,,2V", "V", "''"), ("1, 2", "V", "has no unit"),
    ("1V:2V:0 points", "V", "no number of points"), ("1V:2V:1 point", "V", "from 2 to"),
    ("1V:2V:2.5 points", "V", "no number of points"), ("1V:2V:5 points wide", "V", "'5 points by ratio'"),
    ("1V:1V:5 points", "V", "starts where it stops"), ("1:2:5 points", "V", "has no unit"),
    ("0V:2V:5 points by ratio", "V", "above zero"), ("-1V:2V:5 points by ratio", "V", "above zero"),
    ("0dBm:2dBm:5 points by ratio", "dBm", "is a ratio already"), ("1:2:5pF:5 points", "F", "START:STOP:STEP"),
])
def test_ambiguous_lists_and_counts_are_refused(text, unit, words):
    with pytest.raises(Refusal) as caught:
        values(text, unit)
    assert caught.value.place == "here" and words in caught.value.what
