"""Hard cases by name: period doubling, a jump, a resonator of Q 10,000, 1e-6 and 1e12 ohm in one circuit; cold starts.

The reference of the first two is time integration (circuits_in_time.py: own equations, scipy); of the third a linear
circuit solved with numpy; of the last the first-order change. All circuits are invented.
"""

import math

import hard_circuits
import numba
import numpy as np
import pytest
import scipy.optimize
from circuits_in_time import Diode, diode_loop, one_period, orbit, phasors, settled, varactor_loop
from time_domain import Doubler

from hbsim.balance.newton import TOLERANCE

pytestmark = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="millions of samples: minutes if not compiled")


def decibels(found, expected):
    return 20 * np.log10(np.abs(found) / np.abs(expected))


# -- a driven diode and coil at their first period doubling ----------------------------------------------------------
# P. S. Linsay, Phys. Rev. Lett. 47 (1981) 1349; J. Testa, J. Perez, C. Jeffries, Phys. Rev. Lett. 48 (1982) 714 (from
# memory): a coil and a diode that stores charge go through period doublings to chaos as the drive is raised.

STORING = Diode(IS=1e-12, N=1.5, TT=0.4e-6, CJO=300e-12, VJ=0.7, M=0.45, FC=0.5)
LOOP = {"R": 50.0, "L": 10e-6, "R_probe": 100e3}


@pytest.fixture(scope="module")
def doubling():
    """Drive at which a Floquet multiplier of the orbit of period 1 passes -1 [dBm], and the orbit's state there."""
    near = settled(diode_loop(STORING, 3e6, 8.0, **LOOP), np.zeros(2), 400, 1000)

    def above_minus_one(drive):
        return orbit(diode_loop(STORING, 3e6, drive, **LOOP), near).multipliers[0].real + 1.0

    drive = scipy.optimize.brentq(above_minus_one, 9.0, 10.0, xtol=1e-6)
    return drive, orbit(diode_loop(STORING, 3e6, drive, **LOOP), near).state


@pytest.mark.parametrize("beside", [-0.2, 0.02, 0.2, 2.0])
def test_period_doubling(doubling, beside):
    drive = doubling[0] + beside
    circuit = diode_loop(STORING, 3e6, drive, **LOOP)
    found = orbit(circuit, doubling[1])
    # left to itself, 0.1 V aside: below the doubling it comes back to the orbit, above it goes to one of two periods
    later = settled(circuit, found.state + [0.0, 0.1], 6000, 256)
    next_time = settled(circuit, later, 1, 256)
    if beside < 0:
        assert -1.0 < found.multipliers[0] < -0.95
        assert abs(later - found.state)[1] < 1e-5  # fourth-order steps, 256 a period
    else:
        assert found.multipliers[0] < -1.0
        assert abs(later - next_time)[1] > 0.3
        assert np.abs(settled(circuit, next_time, 1, 256) - later).max() < 1e-6
    # hbsim, from a cold start, on the orbit of period 1 whether or not it is stable
    waveform = one_period(circuit, found.state)[1]
    state = hard_circuits.diode_loop(STORING, 3e6, **LOOP).solve({"drive.power": drive}, harmonics=64)
    # 64 harmonics leave 1e-6 dB up to the fifth, and 0.1 mV on the edge where the diode stops; with half as many
    # both are a hundred and twenty times more
    np.testing.assert_allclose(decibels(state.voltage("a")[1:6], phasors(waveform)[1:6]), 0.0, atol=2e-6)
    np.testing.assert_allclose(state.waveform("a", len(waveform))[1], waveform, atol=2e-4)


# -- a varactor resonator with a jump --------------------------------------------------------------------------------
# J. J. Stoker, Nonlinear Vibrations, 1950 (from memory). Charge alone: where the junction conducts too, its mean
# current moves the bias, and with these values no state beyond the jump is stable (last test of this part).

CHARGE = Diode(IS=0.0, N=1.0, TT=0.0, CJO=10e-12, VJ=0.7, M=0.5, FC=0.5)
RESONATOR = {"R_generator": 2.0, "R_coil": 1.0, "L": 20e-9, "C": 100e-12, "R_bias": 10e3, "v_bias": -4.0,
             "C_out": 0.2e-12, "R_load": 50.0}
JUMP = 520e6
LEVELS = (6.0, 8.0, 10.5, 11.5, 12.5, 15.0, 17.0)  # the middle three inside the hysteresis. [dBm]


def stepped_in_time(levels, diode, frequency, constants):
    """Orbits, each settled from the one at the level before: 600 periods, two thirds of the bias' way."""
    x, found = np.array([0.0, 4.0, -4.0, -4.0]), {}
    for level in levels:
        circuit = varactor_loop(diode, frequency, level, **constants)
        x = settled(circuit, x, 600, 160)
        found[level] = orbit(circuit, x)
        # what was left of the bias, and not another branch: those are volts apart
        assert np.abs((found[level].state - x) * circuit.volts).max() < 0.3
        x = found[level].state
    return found


def stepped(circuit, levels, harmonics):
    state, found = None, {}
    for level in levels:
        found[level] = state = circuit.solve({"drive.power": level}, harmonics=harmonics, start=state)
    return found


def test_both_branches_of_a_jump():
    circuit = hard_circuits.varactor_loop(CHARGE, JUMP, **RESONATOR)
    first = {}
    for levels in (LEVELS, LEVELS[::-1]):
        in_time = stepped_in_time(levels, CHARGE, JUMP, RESONATOR)
        states = stepped(circuit, levels, harmonics=16)
        for level in levels:
            assert abs(in_time[level].multipliers[0]) < 1.0
            x = one_period(varactor_loop(CHARGE, JUMP, level, **RESONATOR), in_time[level].state)
            for node, expected in (("k", x[2]), ("out", x[2] - x[3])):
                found = decibels(states[level].voltage(node)[1:4], phasors(expected)[1:4])
                # 16 harmonics of a capacitance whose slope has a corner at FC VJ leave 1e-5 dB, 8 leave 5e-4 dB
                np.testing.assert_allclose(found, 0.0, atol=2e-5, err_msg=f"{node} at {level} dBm")
            first.setdefault(level, []).append(states[level].output_dbm(1))
    apart = {level: abs(up - down) for level, (up, down) in first.items()}
    assert all((apart[level] > 3.0) == (level in LEVELS[2:5]) for level in LEVELS)


def test_states_beyond_a_jump_that_no_circuit_keeps():
    # Harmonic balance finds orbits and does not ask whether they last. Here the junction conducts at the tips, its
    # mean current moves the bias, and the state beyond the jump is an exact orbit that time integration leaves.
    diode, constants = CHARGE._replace(IS=1e-15), RESONATOR | {"C_out": 0.05e-12}
    levels = np.arange(15.0, 11.9, -0.5)
    state = stepped(hard_circuits.varactor_loop(diode, 533e6, **constants), levels, harmonics=16)[12.0]
    circuit = varactor_loop(diode, 533e6, 12.0, **constants)
    a, k, out = (state.voltage(node).real.sum() for node in ("a", "k", "out"))
    found = orbit(circuit, [state.current("L")[:, 0].real.sum(), a - k, k, k - out])
    expected = phasors(one_period(circuit, found.state)[2])
    np.testing.assert_allclose(decibels(state.voltage("k")[1:4], expected[1:4]), 0.0, atol=1e-4)
    assert found.multipliers[0] > 1.1
    left = settled(circuit, found.state + [0.0, 0.0, 1e-6, 0.0], 1000, 320)
    assert np.abs((left - found.state) * circuit.volts).max() > 0.3


# -- a resonator of Q 10,000 at 2 f0 ---------------------------------------------------------------------------------

Q, L_R, C_R, C_K = 1e4, 2e-9, 2.4e-12, 0.5e-15  # coupled from the collector and to the load by C_K
F_R = 1 / (2 * math.pi * math.sqrt(L_R * (C_R + 2 * C_K)))  # with both couplings held at ground
RESONANT = {
    "C_k": hard_circuits.capacitor("c", "r", C_K), "C_r": hard_circuits.capacitor("r", "ground", C_R),
    "L_r": hard_circuits.coil("r", "ground", L_R, 2 * math.pi * F_R * L_R / Q), "C_out": {"nodes": ["r", "out"],
                                                                                       "capacitance": f"{C_K} F"}}


def linear_output(state):
    """Voltage at the load at 2 f0 from the transistor's own pin currents there: nodal equations of the rest."""
    names, s = ("b", "c", "vcc", "in", "r", "out"), 4j * math.pi * state.description.drive.frequency
    y, stage = np.zeros((6, 6), complex), Doubler()
    for ends, admittance in (
            ("in", 1 / 50), ("in b", s * stage.C_in), ("vcc b", 1 / stage.R_b), ("vcc", 1 / stage.R_s),
            ("vcc", s * stage.C_vcc), ("vcc c", 1 / (stage.R_L + s * stage.L_c)), ("c", s * stage.C_c),
            ("c r", s * C_K),
            ("r", s * C_R + 1 / (2 * math.pi * F_R * L_R / Q + s * L_R)), ("r out", s * C_K), ("out", 1 / 50)):
        at = [names.index(name) for name in ends.split()]
        sign = np.array([1.0, -1.0])[:len(at)]
        y[np.ix_(at, at)] += admittance * np.outer(sign, sign)
    pins = state.devices["Q1"].pin_current
    into = np.zeros(6, complex)
    into[0], into[1] = -pins["base"][2], -pins["collector"][2]
    return np.linalg.solve(y, into)[5]


def test_resonator_of_high_q():
    # Against the linear closed form and not against time integration: to wait is 1e4 periods of 1,000 steps and more,
    # and the resonator adds nothing nonlinear that the checks of the bare stage do not hold already.
    circuit = hard_circuits.stage(**RESONANT)
    output = {}
    for bandwidths in (-1.0, 0.0, 1.0):
        state = circuit.solve({"drive.frequency": F_R / 2 * (1 + bandwidths / Q)}, harmonics=16)
        output[bandwidths] = state.voltage("out")[2]
        # what the balance leaves of the currents, and the rounding of the resonator's two reactances, Q times
        assert abs(output[bandwidths] / linear_output(state) - 1) < TOLERANCE + 16 * Q * 2.2e-16
    # a single resonance, Q delta = 1 aside: 1 / sqrt(5). Both couplings load it, (omega C_k)^2 times 50 ohm and about
    # 100 ohm beside the 3.4 uS of its own loss: 2 parts in a thousand.
    for side in (-1.0, 1.0):
        assert abs(output[side] / output[0.0]) == pytest.approx(1 / math.sqrt(5), rel=4e-3)


# -- 1e-6 ohm and 1e12 ohm -------------------------------------------------------------------------------------------

def test_smallest_and_largest_resistance():
    def solved(small, large):
        """A resistance in the lead of the emitter, one from collector to base; None: a wire, nothing."""
        circuit = hard_circuits.stage(
            Q1={"nodes": {"base": "b", "collector": "c", "emitter": "e" if small else "ground"}},
            **({"small": hard_circuits.resistor("e", "ground", small)} if small else {}),
            **({"large": hard_circuits.resistor("c", "b", large)} if large else {}))
        state = circuit.solve(harmonics=16)
        return np.append(state.voltage("out")[1:6], state.supplies["VCC"].amps)

    bare, both = solved(None, None), solved(1e-6, 1e12)
    # the order of the change: g_m R = I_C / V_T R in the emitter; (V_C - V_B) / G against the base current, 5e-5 A
    change = np.abs(both / bare - 1)
    assert change.max() < 5 * (bare[-1].real / 0.0259 * 1e-6 + 2 / 1e12 / 5e-5)
    # and the change itself: the first order, from resistances where rounding does not count
    expected = 1e-4 * (solved(1e-2, None) - bare) + 1e-4 * (solved(None, 1e8) - bare)
    # the second order of the step (1e-2 ohm change the answer by 1e-3 of itself), and what the balance leaves
    assert (np.abs(both - bare - expected) < 3e-3 * np.abs(expected) + TOLERANCE * np.abs(bare)).all()


@pytest.mark.parametrize("ohm", [1e3, 1e6, 1e9, 1e12])
def test_node_behind_a_large_resistance(ohm):
    # A probe that takes next to nothing from the collector: a divider of R and 2 R, whatever flows at the collector
    probe = hard_circuits.stage({"probe": {"node": "p", "impedance": f"{2 * ohm} ohm"}},
                                R_p=hard_circuits.resistor("c", "p", ohm))
    for drive in (-30.0, 0.0):
        state = probe.solve({"drive.power": drive}, harmonics=16)
        np.testing.assert_allclose(state.voltage("p")[:6] / state.voltage("c")[:6], 2 / 3, rtol=TOLERANCE)


# -- everything from cold --------------------------------------------------------------------------------------------

COLD = {
    "diode loop": (lambda: hard_circuits.diode_loop(STORING, 3e6, **LOOP), {}),
    "varactor": (lambda: hard_circuits.varactor_loop(CHARGE, JUMP, **RESONATOR), {}),
    "conducting varactor": (lambda: hard_circuits.varactor_loop(CHARGE._replace(IS=1e-15), JUMP, **RESONATOR), {}),
    "supply at 0 V": (hard_circuits.stage, {"supply.VCC": 0.0}),
    "no bias": (hard_circuits.stage, {"supply.VCC": 4.0, "R_b.resistance": 1e9}),
    "no bias, no supply": (hard_circuits.stage, {"supply.VCC": 0.0, "R_b.resistance": 1e9}),
    "inverse": (hard_circuits.stage, {"supply.VCC": -1.0}),
    "high Q": (lambda: hard_circuits.stage(**RESONANT), {"drive.frequency": F_R / 2}),
    "extreme resistances": (lambda: hard_circuits.stage(
        Q1={"nodes": {"base": "b", "collector": "c", "emitter": "e"}},
        small=hard_circuits.resistor("e", "ground", 1e-6),
        large=hard_circuits.resistor("c", "b", 1e12)), {}),
}


@pytest.mark.parametrize("name", COLD)
def test_cold_start_at_any_drive(name):
    build, values = COLD[name]
    circuit = build().with_values(values)
    supplies = circuit.description.supplies.values()
    # a supply's current is known to the rounding of its voltage over its resistance (varactor: over R_bias)
    rounding = sum(4 * 2.2e-16 * s.voltage**2 / (s.resistance or RESONATOR["R_bias"]) for s in supplies)
    for drive in range(-60, 31, 10):
        state = circuit.solve({"drive.power": float(drive)}, harmonics=24)
        assert state.solver.residual <= TOLERANCE == 1e-9, drive
        balance = state.power_balance
        assert abs(balance["error"]) < 1e-9 * balance["given"] + rounding, drive
