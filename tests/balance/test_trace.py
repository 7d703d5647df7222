"""The whole curve of steady states of a varactor resonator that jumps: every state at a drive, and the folds."""

import math

import numpy as np
import pytest
import scipy.constants
import scipy.integrate

from balance_circuits import residual_and_jacobian
from jumping_circuit import varactor_resonator

from hbsim.balance.arc import Arc
from hbsim.balance.prepare import prepare, source_voltages
from hbsim.balance.spectrum import phasors, waveform

K = 16
FULL = 16.0  # drive at level 0. [dBm]
FREQUENCY = 533e6


@pytest.fixture(scope="module")
def resonator():
    return varactor_resonator(f"{FULL} dBm")


@pytest.fixture(scope="module")
def system(resonator):
    return prepare(resonator.description, K)


def level(power_dbm):
    return (np.asarray(power_dbm) - FULL) / 20 * math.log(10)


def arc_of(resonator, system):
    c = system.excitation(source_voltages(resonator.description, system))
    rest = np.zeros_like(c)
    rest[0] = c[0]
    return Arc(system, rest, c, system.parameters())


def traced(resonator, system, start, end, wanted, **limits):
    state = resonator.solve({"drive.power": start}, harmonics=K)
    return arc_of(resonator, system).trace(state.form, float(level(start)), float(level(end)), level(wanted), **limits)


@pytest.fixture(scope="module")
def upwards(resonator, system):
    return traced(resonator, system, 0.0, 15.0, np.arange(0.0, 15.5, 1.0))


def test_every_state_is_met_in_order(upwards):
    # The S of a driven nonlinear resonance is textbook matter (J. J. Stoker, Nonlinear Vibrations, 1950; from memory):
    # up to the upper fold, back to the lower one, and up again
    assert upwards.reason == ""
    upper, lower = upwards.folds
    assert level(12.0) < upper.level < level(13.0) and level(10.0) < lower.level < level(11.0)
    assert [(crossing.index, crossing.direction) for crossing in upwards.crossings] == [
        *((i, 1) for i in range(13)), (12, -1), (11, -1), *((i, 1) for i in range(11, 16))]


@pytest.mark.parametrize("number, start, way", [(0, 11.0, 1), (1, 15.0, -1)])
def test_plain_sweeps_jump_at_the_folds(resonator, upwards, number, start, way):
    # stepped from state to state, the drive alone gets as far as the fold and there falls off
    fold = FULL + 20 * upwards.folds[number].level / math.log(10)
    state = resonator.solve({"drive.power": start}, harmonics=K)
    near = np.arange(fold - way * 0.105, fold + way * 0.02, way * 0.01)
    found = []
    for power in [*np.arange(start, near[0], way * 0.25), *near]:
        state = resonator.solve({"drive.power": float(power)}, harmonics=K, start=state)
        found.append(state.output_dbm(1))
    found = np.array(found)[-len(near):]
    jump = np.argmax(np.abs(np.diff(found)))
    assert abs(found[jump + 1] - found[jump]) > 0.5
    assert way * (fold - near[jump + 1]) < 0.011 and way * (near[jump] - fold) < 0.0


def test_the_jacobian_is_singular_at_the_folds_and_changes_sign_there(resonator, system, upwards):
    # definition of a fold: one simple eigenvalue passes zero
    arc = arc_of(resonator, system)

    def determinant_sign(crossing_or_fold, at):
        x = crossing_or_fold.form
        _, matrix = residual_and_jacobian(system, x, arc._excitation(at), system.parameters())
        return np.linalg.slogdet(matrix)[0], np.linalg.svd(matrix, compute_uv=False)

    for fold in upwards.folds:
        _, singular = determinant_sign(fold, fold.level)
        regular = determinant_sign(upwards.crossings[0], level(0.0))[1]
        assert singular[-1] < 0.02 * regular[-1]
    signs = [determinant_sign(crossing, level(float(crossing.index)))[0] for crossing in upwards.crossings]
    assert [sign * signs[0] for sign in signs] == [crossing.direction for crossing in upwards.crossings]


def test_downwards_the_same_states_are_met_in_the_other_order(resonator, system, upwards):
    downwards = traced(resonator, system, 15.0, 0.0, np.arange(0.0, 15.5, 1.0))
    assert downwards.reason == ""
    assert len(downwards.crossings) == len(upwards.crossings)
    for there, back in zip(upwards.crossings, reversed(downwards.crossings)):
        assert there.index == back.index and there.direction == -back.direction
        np.testing.assert_allclose(there.form, back.form, atol=1e-7)  # Newton's tolerance over the weakest slope
    for there, back in zip(upwards.folds, reversed(downwards.folds)):
        assert there.level == pytest.approx(back.level, abs=1e-5)


def resonator_in_time(power_dbm):
    """Time derivatives of inductor current, capacitor voltage, diode voltage and coupling voltage.

    The same circuit from the laws of its parts (S. M. Sze and K. K. Ng, Physics of Semiconductor Devices, 2007, for
    the junction; from memory), with depletion on along its tangent beyond half the built-in voltage."""
    thermal = scipy.constants.k * 300.15 / scipy.constants.e
    peak = math.sqrt(8 * 2.0 * 1e-3 * 10 ** (power_dbm / 10))

    def capacitance(v):
        return 10e-12 * (1 - v / 0.7) ** -0.5 if v < 0.35 else 10e-12 * 0.5**-1.5 * (1 - 0.5 * 1.5 + 0.5 * v / 0.7)

    def derivatives(t, y):
        i, v_c, v_d, v_o = y
        out = (v_d - v_o) / 50.0
        e = peak * math.cos(2 * math.pi * FREQUENCY * t)
        return [(e - 3.0 * i - v_c - v_d) / 20e-9, i / 100e-12,
                (i - (v_d + 4.0) / 10e3 - 1e-15 * math.expm1(v_d / thermal) - out) / capacitance(v_d), out / 0.05e-12]
    return derivatives


def test_all_three_states_at_one_drive_are_periods_of_the_circuit_in_time(resonator, system, upwards):
    # scipy integrates one period from each state, the one between the folds too: it must close on itself
    states = [crossing.form for crossing in upwards.crossings if crossing.index == 12]
    assert len(states) == 3
    for form in states:
        diode = phasors(form)[0]
        omega = system.network.omega
        out = diode[1:] * 50.0 / (50.0 + 1.0 / (1j * omega[1:] * 0.05e-12))  # behind the coupling capacitor
        peak = math.sqrt(8 * 2.0 * 1e-3 * 10 ** 1.2)
        drive = np.where(np.arange(1, K + 1) == 1, peak, 0.0)
        current = (drive - diode[1:]) / (3.0 + 1j * omega[1:] * 20e-9 + 1.0 / (1j * omega[1:] * 100e-12))
        v_c = current / (1j * omega[1:] * 100e-12)
        start = np.array([current.sum().real, -diode[0].real + v_c.sum().real, diode.sum().real,
                          diode[0].real + diode[1:].sum().real - out.sum().real])
        run = scipy.integrate.solve_ivp(resonator_in_time(12.0), (0, 1 / FREQUENCY), start, method="Radau", rtol=1e-9,
                                        atol=1e-12, t_eval=np.arange(64) / 64 / FREQUENCY)
        expected = waveform(diode, 64)
        # set by the truncation at 16 harmonics
        np.testing.assert_allclose(run.y[2], expected, atol=2e-3 * np.ptp(expected))


def test_work_is_bounded_and_what_was_met_is_kept(resonator, system):
    short = traced(resonator, system, 0.0, 15.0, np.arange(0.0, 15.5, 1.0), most_points=8)
    assert "8 points were used up" in short.reason
    assert 0 < len(short.crossings) < 13 and all(crossing.direction == 1 for crossing in short.crossings)


def test_a_start_at_the_end_is_its_own_trace(resonator, system):
    alone = traced(resonator, system, 5.0, 5.0, [5.0, 6.0])
    assert [crossing.index for crossing in alone.crossings] == [0] and alone.reason == "" and not alone.folds
