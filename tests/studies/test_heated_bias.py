"""A device that heats itself on DC sources: against scipy's root finder on a law of the test's own, and its limits."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from hbsim.devices.bjt import BJT
from hbsim.devices.diode import Diode
from hbsim.studies.bias import CURRENT_SOURCE, Bias
from hbsim.studies.heated_bias import NO_BIAS, RUNS_AWAY, heated_sweep

BOLTZMANN = 1.380649e-23 / 1.602176634e-19  # over the charge of an electron; CODATA 2018, exact. [V/K]


def diode_current(volts, kelvins, *, IS=1e-14, EG=1.11, XTI=3.0, nominal=300.15):
    """I = IS(T) (exp(V / V_T) - 1), IS(T) = IS (T/Tn)^XTI exp(EG/V_T (T/Tn - 1)), N = 1 (G. Massobrio, P. Antognetti,
    Semiconductor Device Modeling, 2nd ed., McGraw-Hill, 1993, from memory)."""
    ratio, thermal = kelvins / nominal, BOLTZMANN * kelvins
    return IS * ratio**XTI * math.exp(EG / thermal * (ratio - 1)) * math.expm1(volts / thermal)


def lowest(error, cold=300.15, hot=700.0):
    """The first change of sign of error(T) on a fine grid, by brentq; None if there is none."""
    grid = np.linspace(cold, hot, 2001)
    signs = np.array([error(kelvins) for kelvins in grid])
    first = np.flatnonzero((signs[:-1] > 0) & (signs[1:] <= 0))
    return brentq(error, grid[first[0]], grid[first[0] + 1], xtol=1e-11) if first.size else None


def test_a_diode_is_as_hot_as_its_own_heat_makes_it():
    volts = np.array([0.4, 0.5, 0.6, 0.65, 0.68, 0.7, 0.72, 0.76])
    found = heated_sweep(Bias(Diode(IS=1e-14, thermal_resistance=500.0), {"anode": 0.0}), volts[:, None])
    for n, v in enumerate(volts):
        wanted = lowest(lambda kelvins: 300.15 + 500.0 * v * diode_current(v, kelvins) - kelvins)
        if wanted is None:
            assert np.isnan(found.kelvins[n]) and np.isnan(found.amps[n]).all() and found.reasons[n] == RUNS_AWAY
        else:  # the solver balances currents to 1e-9 at least
            assert found.kelvins[n] == pytest.approx(wanted, abs=1e-7)
            assert found.amps[n, 0] == pytest.approx(diode_current(v, wanted), rel=1e-8)
    assert set(found.reasons) == {7}  # both cases stand here


def test_of_several_temperatures_it_is_the_one_reached_from_cold():
    """A collector resistance ends the run-away by saturation for a while: four balances at some base voltages, two at
    others, in the end none. A test of its own finds them all on a grid."""
    device = BJT(IS=2e-16, BF=100.0, RC=60.0, thermal_resistance=300.0)
    sources = {"base": 0.0, "collector": 0.0}
    rows = np.stack([np.array([0.72, 0.74, 0.75, 0.78, 0.79, 0.80]), np.full(6, 5.0)], axis=1)
    found = heated_sweep(Bias(device, sources), rows)
    balances = []
    for n, row in enumerate(rows):
        def error(kelvins):
            _, amps = Bias(device.at(kelvins), sources).sweep(row[None])
            return 300.15 + 300.0 * float(amps[0] @ row) - kelvins

        grid = np.linspace(300.15, 699.0, 150)
        signs = np.array([error(kelvins) for kelvins in grid])
        changes = np.flatnonzero(np.diff(np.sign(signs)))
        balances.append(len(changes))
        if changes.size:
            assert found.kelvins[n] == pytest.approx(brentq(error, grid[changes[0]], grid[changes[0] + 1]), abs=1e-6)
        else:
            assert found.reasons[n] == RUNS_AWAY
    assert {0, 2, 4} <= set(balances)


def test_without_heat_it_is_the_plain_sweep_and_a_neighbour_is_followed():
    sources, rows = {"base": 0.0, "collector": 0.0}, np.array([[0.7, 2.0], [0.8, 2.0]])
    device = BJT(IS=2e-16, BF=100.0, RE=1.0)
    _, plain = Bias(device, sources).sweep(rows)
    cold = heated_sweep(Bias(device, sources), rows)
    assert cold.amps == pytest.approx(plain, rel=1e-12) and (cold.kelvins == 300.15).all()
    hot = Bias(BJT(IS=2e-16, BF=100.0, RE=1.0, thermal_resistance=300.0), sources)
    afresh = heated_sweep(hot, rows)
    beside = heated_sweep(hot, rows, afresh.kelvins + 0.05)
    assert beside.kelvins == pytest.approx(afresh.kelvins, abs=1e-8)


def test_what_has_no_bias_even_cold_says_so(monkeypatch):
    stage = Bias(Diode(IS=1e-14, thermal_resistance=10.0), {"anode": 0.0})
    monkeypatch.setattr(stage, "_solved", lambda *arguments: None)
    assert heated_sweep(stage, np.array([[0.5]])).reasons == {0: NO_BIAS}


def test_in_parallel_shares_the_heat():
    one, three = (heated_sweep(Bias(BJT(IS=2e-16, thermal_resistance=400.0, in_parallel=many),
                                    {"base": 0.0, "collector": 0.0}), np.array([[0.78, 2.0]])) for many in (1.0, 3.0))
    assert one.kelvins[0] > 301.0
    assert three.kelvins == pytest.approx(one.kelvins, abs=1e-8) and three.amps == pytest.approx(3 * one.amps, rel=1e-9)


@pytest.mark.parametrize("amps, exact", [(1e-5, 1e-9), (1e-9, 1e-7), (1e-11, 1e-4)])
def test_a_current_source_gives_its_current(amps, exact):
    """What a picoampere's share of 1 Tohm takes away is given again; the rest is rounding of V = I times 1 Tohm."""
    _, found = Bias(BJT(IS=2e-16, BF=100.0), {"base": CURRENT_SOURCE, "collector": 0.0}).sweep(np.array([[amps, 2.0]]))
    assert found[0, 0] == pytest.approx(amps, rel=exact) and found[0, 1] == pytest.approx(100 * amps, rel=10 * exact)


def test_a_pnp_is_as_hot_as_its_npn():
    npn, pnp = (heated_sweep(Bias(BJT(polarity=kind, IS=2e-16, RE=1.0, VAF=30.0, thermal_resistance=400.0),
                                  {"base": 0.0, "collector": 0.0}), sign * np.array([[0.7, 2.0], [0.8, 2.0]]))
                for kind, sign in (("npn", 1.0), ("pnp", -1.0)))
    assert npn.kelvins[1] > 304.0
    assert pnp.kelvins == pytest.approx(npn.kelvins, abs=1e-8) and pnp.amps == pytest.approx(-npn.amps, rel=1e-9)
