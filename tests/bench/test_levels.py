"""Levels: means in watts and units of voltages."""

import math

import numpy as np
import pytest

from hbsim.bench.levels import dbm_to_watts, level_dbm, mean_dbm, watts_to_dbm
from hbsim.errors import Refusal


@pytest.mark.parametrize("levels, mean", [
    ((-10.0, -12.0), 10 * math.log10((10**-1.0 + 10**-1.2) / 2)),
    ((-60.0, -40.0), 10 * math.log10((1e-6 + 1e-4) / 2)),
    ((-20.0, math.nan, -20.0), -20.0)])
def test_mean_is_that_of_the_watts(levels, mean):
    assert mean_dbm(levels) == pytest.approx(mean, abs=1e-12)


def test_mean_lies_above_that_of_decibels_by_their_variance():
    """Second order of the series of the exponential: (ln 10 / 20) times the variance."""
    levels = np.array([-20.0, -20.5, -19.6, -20.1])
    assert mean_dbm(levels) - levels.mean() == pytest.approx(math.log(10) / 20 * levels.var(), abs=1e-4)


def test_traces_are_averaged_point_by_point():
    noise = np.random.default_rng(3).exponential(size=(4000, 3)) * np.array([1e-9, 1e-8, 1e-7])
    mean = mean_dbm(watts_to_dbm(noise), 0)
    assert mean == pytest.approx([-60, -50, -40], abs=4 * 4.343 / math.sqrt(4000))  # four standard errors
    # Log average of exponential noise: 10 gamma / ln 10 = 2.507 dB low; gamma is Euler's number of numpy.
    low = mean - watts_to_dbm(noise).mean(0)
    assert low == pytest.approx(10 * np.euler_gamma / math.log(10), abs=4 * 5.57 / math.sqrt(4000))


def test_nothing_read_has_no_mean():
    assert math.isnan(mean_dbm([math.nan, math.nan]))
    assert mean_dbm([-math.inf, -math.inf]) == -math.inf


@pytest.mark.parametrize("unit, ohm, per_volt", [("dBuV", 50, 1e6), ("dBuV", 75, 1e6), ("dBmV", 75, 1e3),
                                                 ("dBV", 50, 1.0)])
def test_level_of_a_voltage(unit, ohm, per_volt):
    """Power of an effective voltage U at Z: U^2 / Z."""
    volts = np.array([1e-3, 0.2236068])
    shown = 20 * np.log10(volts * per_volt)
    assert dbm_to_watts(level_dbm(shown, unit, impedance=ohm)) == pytest.approx(volts**2 / ohm, rel=1e-12)


def test_sine_of_a_milliwatt_at_50_ohm():
    """0.223607 V effective, 0.316228 V peak, 0.632456 V peak to peak."""
    for unit, volts in (("Vrms", 0.2236068), ("Vpeak", 0.3162278), ("Vpp", 0.6324555)):
        assert level_dbm(volts, unit, impedance=50.0) == pytest.approx(0.0, abs=1e-6)


def test_carrier():
    assert level_dbm([-20.0], "dBc", carrier=3.0) == pytest.approx([-17.0])


@pytest.mark.parametrize("unit, words", [("dBuV/m", "field strength"), ("dBm/Hz", "bandwidth"), ("dBc", "carrier"),
                                         ("dB", "ratio"), ("dBuV", "impedance"), ("V", "effective"), ("", "not said"),
                                         ("furlong", "furlong")])
def test_what_is_no_level_is_refused(unit, words):
    with pytest.raises(Refusal, match=words):
        level_dbm([1.0], unit)
