"""Circuits of many devices: symmetry, scaling, conservation, closed forms, and an integration in time."""

import math

import numba
import numpy as np
import pytest
from chain_in_time import chain_in_time, chip
from ideal_sources import Generator, solved
from many_devices import chain, diode_ring, parallel

from hbsim.balance.newton import TOLERANCE
from hbsim.balance.system import Mounted
from hbsim.describe import library
from hbsim.devices.contract import K_OVER_Q
from hbsim.devices.diode import Diode
from hbsim.linear.lumped import Capacitor, Inductor, Resistor
from hbsim.linear.network import Element

K = 8
F0 = 1.152e9
# The balance is solved to TOLERANCE of the currents that cancel; two circuits that are equal by symmetry may differ by
# what that moves a voltage: some ten times as much in these circuits of tens of ohms.
EQUAL = 1e-9


# -- push-push -------------------------------------------------------------------------------------------------------

def half(n, sign, drive, joint):
    """One half of a push-push doubler, its collector on `joint`: elements, transistor, sources."""
    def node(name):
        return f"{name}{n}"
    elements = [Element(node("drive"), Generator((50.0,)), (node("in"),)),
                Element(node("C"), Capacitor(capacitance=10e-12), (node("in"), node("b"))),
                Element(node("bias"), Generator((33e3, None)), (node("b"),)),
                Element(node("R_e"), Resistor(resistance=2.0), (node("e"), "ground")),
                Element(node("L"), Inductor(inductance=0.5e-9, series_resistance=0.3), (node("c"), joint))]
    pins = {"base": node("b"), "collector": node("c"), "emitter": node("e"), "substrate": "ground"}
    return (elements, Mounted(node("Q"), library.device("npn-25ghz").model, pins),
            {node("drive"): {1: sign * drive}, node("bias"): {0: 2.5}})


def single_ended(drive, z):
    """One half alone; z: what its collector line ends in, harmonic 0 with 3 V behind it. [ohm]"""
    elements, transistor, sources = half(1, 1.0, drive, "j")
    return solved([*elements, Element("load", Generator(z), ("j",))], [*sources, "load"], [transistor],
                  sources | {"load": {0: 3.0}}, K, frequency=F0)


def push_push(drive, z):
    """Two equal halves in exact antiphase, joined at a load z. [ohm]"""
    (elements, first, sources), (others, second, more) = half(1, 1.0, drive, "j"), half(2, -1.0, drive, "j")
    sources = sources | more
    return solved([*elements, *others, Element("load", Generator(z), ("j",))], [*sources, "load"], [first, second],
                  sources | {"load": {0: 3.0}}, K, frequency=F0)


@pytest.mark.parametrize("drive", [0.1, 0.63, 2.0])
def test_push_push_is_one_half_with_odd_harmonics_shorted_and_twice_the_load(drive):
    # Half-wave symmetry: what one collector does, the other does half a period later; so at the joint odd harmonics
    # cancel (a short for each half) and even ones add (each half carries its own half of the current).
    z = (20.0, 0.0, 30.0 + 10.0j, 0.0, 45.0, 0.0, 25.0 - 10.0j, 0.0, 60.0)
    whole = push_push(drive, tuple(value / 2 if k % 2 == 0 else 70.0 for k, value in enumerate(z)))
    alone = single_ended(drive, z)
    joint, expected = whole.voltage("j"), alone.voltage("j")
    assert np.abs(joint[1::2]).max() < EQUAL * abs(joint[2])
    np.testing.assert_allclose(joint[::2], expected[::2], rtol=0, atol=EQUAL * np.abs(expected[2:]).max())
    np.testing.assert_allclose(whole.voltage("b1"), alone.voltage("b1"), rtol=0, atol=EQUAL * drive)
    turned = (-1.0) ** np.arange(K + 1)  # half a period later
    np.testing.assert_allclose(whole.voltage("b2"), turned * whole.voltage("b1"), rtol=0, atol=EQUAL * drive)
    # The halves do work: 2 f0 is no rounding, and each collector's own line swings at f0.
    assert abs(joint[2]) > 1e-3 * drive and abs(whole.voltage("c1")[1]) > 1e-2 * drive


def test_unequal_halves_leak_what_their_difference_says():
    # Superposition at small drive: two drives that differ by 2 % put 2 % of what one of them alone puts on the joint.
    z, drive = (10.0, *[25.0] * K), 1e-4
    leaks = []
    for unequal in (0.01, 0.02):
        (elements, first, sources), (others, second, more) = half(1, 1 + unequal, drive, "j"), half(2, -1, drive, "j")
        sources = sources | more
        state = solved([*elements, *others, Element("load", Generator(z), ("j",))], [*sources, "load"],
                       [first, second], sources | {"load": {0: 3.0}}, K, frequency=F0)
        leaks.append(abs(state.voltage("j")[1]))
    (elements, first, sources), (others, second, more) = half(1, 1.0, drive, "j"), half(2, 0.0, drive, "j")
    sources = sources | more
    one = solved([*elements, *others, Element("load", Generator(z), ("j",))], [*sources, "load"], [first, second],
                 sources | {"load": {0: 3.0}}, K, frequency=F0)
    # the third-order term of a tenth of a millivolt is (V / V_T)^2 / 8 = 2e-6
    np.testing.assert_allclose(leaks, np.array([0.01, 0.02]) * abs(one.voltage("j")[1]), rtol=1e-5)


# -- bridge ----------------------------------------------------------------------------------------------------------

V_T, IS, LOAD = K_OVER_Q * 300.0, 1e-14, 1e3


def full_wave(drive, harmonics):
    """Voltage across the load of a bridge between +drive cos and -drive cos, over 2 drive: phasors (K + 1,)."""
    diode = Diode(IS=IS, temperature=300.0, TNOM=300.0)
    arms = [("up", "plus"), ("down", "plus"), ("minus", "up"), ("minus", "down")]
    elements = [Element("E1", Generator(), ("up",)), Element("E2", Generator(), ("down",)),
                Element("R", Resistor(resistance=LOAD), ("plus", "minus"))]
    state = solved(elements, ["E1", "E2"], [Mounted(f"D{n}", diode, {"anode": a, "cathode": c})
                                            for n, (a, c) in enumerate(arms)],
                   {"E1": {1: drive}, "E2": {1: -drive}}, harmonics)
    return (state.voltage("plus") - state.voltage("minus")) / (2 * drive)


def test_bridge_approaches_the_fourier_series_of_a_full_wave():
    # |cos t| = 2/pi + (4/pi) (cos 2t / 3 - cos 4t / 15 + cos 6t / 35 - ...) (elementary).
    ideal = np.array([2 / np.pi, 0, 4 / (3 * np.pi), 0, -4 / (15 * np.pi), 0, 4 / (35 * np.pi)])
    errors = []
    for drive in (5.0, 50.0, 500.0):
        coarse, found = full_wave(drive, 32)[:33], full_wave(drive, 64)
        # Two diodes take at most 2 V_T ln(1 + I / IS) from the peak, at every time; of an error between -d and 0 a
        # harmonic is at most 2 d / pi, the mean at most d. A wave with corners is also cut off: what that leaves
        # falls with K, so that the change on doubling K is more than what is left.
        share = V_T * math.log1p(2 * drive / LOAD / IS) / drive
        limits = np.array([share, *[2 / np.pi * share] * 6]) + np.abs(found[:7] - coarse[:7])
        error = np.abs(found[:7] - ideal)
        assert np.all(error <= limits + EQUAL), f"{drive} V"
        assert np.abs(found[1::2]).max() < EQUAL
        errors.append(error.max())
    assert errors[1] < 0.2 * errors[0] and errors[2] < 0.2 * errors[1]


def test_bridge_between_ideal_baluns_isolates_all_but_every_second_even_harmonic():
    # By symmetry nothing odd reaches the joint of the second balun, nothing even the first; the second balun, a whole
    # wave long at 4 f0, adds what comes in antiphase from both sides and so cancels it.
    state = diode_ring(1).solve(harmonics=K)
    assert [k for k in range(K + 1) if state.output_dbm(k) > -150] == [2, 6]
    assert max(state.output_dbm(k, "input") for k in (2, 4, 6, 8)) < -150
    # Common practice, no source: 8 to 13 dB; C. H. Page, Proc. IRE 46 (1958) 1738-1740 (from memory): above 6.02 dB
    assert 8.0 < state.conversion_loss_db < 13.0


# -- scaling ---------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("devices", [2, 3, 8])
@pytest.mark.parametrize("drive", [-10.0, 5.0])
def test_parallel_transistors_with_all_else_in_proportion_are_one_transistor(devices, drive):
    # Kirchhoff: n equal currents into 1/n of each impedance give the voltages of one.
    one, many = (parallel(n, drive_dbm=drive).solve(harmonics=K) for n in (1, devices))
    for node in ("b", "c", "out"):
        expected = one.voltage(node)
        np.testing.assert_allclose(many.voltage(node), expected, rtol=0, atol=EQUAL * np.abs(expected).max())
    for state in many.devices.values():
        for pin, current in state.pin_current.items():
            expected = one.devices["Q1"].pin_current[pin]
            np.testing.assert_allclose(current, expected, rtol=0, atol=EQUAL * np.abs(expected).max())
    assert many.output_watts(2) == pytest.approx(devices * one.output_watts(2), rel=EQUAL)


def test_diodes_in_series_with_all_else_in_proportion_are_one_diode():
    # The dual: n equal voltages at n times each impedance carry the current of one.
    one, two = (diode_ring(n).solve(harmonics=K) for n in (1, 2))
    assert two.output_watts(2) == pytest.approx(2 * one.output_watts(2), rel=EQUAL)
    for arm in range(1, 5):
        expected = one.devices[f"D{arm}_1"].pin_current["anode"]
        for k in (1, 2):
            np.testing.assert_allclose(two.devices[f"D{arm}_{k}"].pin_current["anode"], expected, rtol=0,
                                       atol=EQUAL * np.abs(expected).max())


# -- chains ----------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("circuit", [chain(1), chain(2), chain(4, pad="120 ohm"), parallel(5), diode_ring(2)],
                         ids=lambda circuit: circuit.description.title)
def test_power_of_many_devices_balances(circuit):
    state = circuit.solve(harmonics=K)
    assert abs(state.power_balance["error"]) < EQUAL * state.power_balance["given"]
    assert state.solver.residual <= TOLERANCE


@pytest.mark.parametrize("pad", ["120 ohm", "330 ohm"])
def test_every_stage_of_a_chain_sees_a_sensible_drive(pad):
    # What `chain` promises: the swing neither dies out nor grows; the supply is 3 V.
    state = chain(4, pad=pad).solve(harmonics=K)
    swings = np.array([abs(state.voltage(f"c{n}")[1]) for n in range(1, 5)])
    assert np.all(swings > 0.3) and np.all(swings < 1.5)
    finer = chain(4, pad=pad).solve(harmonics=2 * K)
    # a clipped wave of 8 harmonics: what is left out lies some 40 dB down, 1 % of the swing
    np.testing.assert_allclose([abs(finer.voltage(f"c{n}")[1]) for n in range(1, 5)], swings, rtol=0.01)


@pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="a million evaluations: minutes if not compiled")
def test_two_stages_against_an_integration_in_time():
    # 4 dBm: both stages clip, the output has its third harmonic 12 dB below the first. K = 24, 32, 48 are 9, 2.5 and
    # 0.26 uV away (seen; at -10 dBm all are 5e-13 V away), the integration repeats itself to 1e-8 V.
    params = chip()
    circuit = chain(2, drive_dbm=4.0, frequency="1 GHz", coupling="1.5 pF", pad="120 ohm",
                    transistor={name: f"{value!r} {unit}".strip() for name, (value, unit) in params.items()})
    expected = chain_in_time({name: value for name, (value, _) in params.items()}, 2, 4.0, 1e9, 1.5e-12)
    state = circuit.solve(harmonics=48)
    found = np.array([state.voltage(node)[:6] for node in ("c1", "c2", "out")])
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-6)
