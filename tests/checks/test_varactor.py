"""Varactor doublers: normalised rows recomputed for the project's reference notes, and a charge-domain solution here.

Definitions as in P. Penfield, R. P. Rafuse, Varactor Applications, MIT Press 1962, and C. B. Burckhardt, Bell Syst.
Tech. J. 44 (1965) 675-692 (neither was opened; the rows are the notes' own computation, not the printed tables):
elastance S = S_max u^gamma with u = (v + phi) / (V_B + phi), reverse voltage v; charge in units of
Q_B = (V_B + phi) / ((1 - gamma) S_max): q = 1 at breakdown, 0 at v = -phi; drive D = q_max - q_min.
Only f0 and 2 f0 flow. f0 = 1 GHz, C_min = 1 pF, V_B + phi = 30 V.
"""

import math

import numpy as np
import pytest
import scipy.optimize
from ideal_sources import Generator, solved

import hbsim
from hbsim.balance.newton import TOLERANCE
from hbsim.balance.system import Mounted
from hbsim.devices.diode import Diode
from hbsim.linear.network import Element

OMEGA, S_MAX, SPAN, PHI = 2 * math.pi * 1e9, 1e12, 30.0, 0.8  # [rad/s], [1/F], V_B + phi [V], [V]

# gamma = 1/2, all D <= 1 by scaling: amplitudes of the charge, then the normalised row
ABRUPT = {"a": 0.416094, "b": 0.159771, "beta": 0.0276617, "A": 0.0798853, "B": 0.135455}


def varactor(gamma, series_resistance=0.0):
    """C(v) = C_min u^-gamma, with the law's tangent beyond any voltage met here."""
    at_zero = (SPAN / PHI) ** gamma / S_MAX
    return Diode(IS=0.0, CJO=at_zero, VJ=PHI, M=gamma, FC=0.99, RS=series_resistance)


def doubler(gamma, r_source, x_source, r_load, x_load, v_source, bias, series_resistance=0.0, harmonics=16, start=None):
    """The series loop: source at f0, load at 2 f0, open above; the cathode faces it, so v is the reverse voltage."""
    z = (0.0, complex(r_source, x_source), complex(r_load, x_load), None)
    mounted = [Mounted("D", varactor(gamma, series_resistance), {"anode": "ground", "cathode": "k"})]
    return solved([Element("loop", Generator(z), ("k",))], ["loop"], mounted, {"loop": {0: bias - PHI, 1: v_source}},
                  harmonics, start=start)


def readings(state, r_source, r_load):
    """Efficiency and the normalised row of a solved loop, at the terminals of the diode."""
    v, i = state.voltage("k"), -state.current("loop")[:, 0]  # current into the diode
    z1, z2 = v[1] / i[1], v[2] / i[2]
    available = abs(state.source[1, 0]) ** 2 / (8 * r_source)
    out = abs(i[2]) ** 2 / 2 * r_load
    return {"eta": out / available, "A": z1.real * OMEGA / S_MAX, "B": -z2.real * OMEGA / S_MAX,
            "S01": -z1.imag * OMEGA / S_MAX, "S02": -z2.imag * 2 * OMEGA / S_MAX, "beta": out * S_MAX / OMEGA / SPAN**2,
            "V0n": (v[0].real + PHI) / SPAN, "i": i}


# -- the abrupt junction ---------------------------------------------------------------------------------------------

@pytest.mark.parametrize("d", [0.9, 0.7, 0.4])
def test_abrupt_junction_converts_all_that_is_available(d):
    a, elastance = ABRUPT["a"] * d, 1 - d / 2
    r_in, r_load = ABRUPT["A"] * d * S_MAX / OMEGA, ABRUPT["B"] * d * S_MAX / OMEGA
    v0 = (1 - d / 2) ** 2 + 0.0993303 * d**2
    current = OMEGA * a * 2 * SPAN / S_MAX
    state = doubler(0.5, r_in, elastance * S_MAX / OMEGA, r_load, elastance * S_MAX / (2 * OMEGA), 2 * r_in * current,
                    v0 * SPAN)
    found = readings(state, r_in, r_load)
    assert found["eta"] == pytest.approx(1.0, abs=1e-6)  # six printed digits of a and b: (1e-6)^2 of mismatch
    assert abs(found["i"][1]) == pytest.approx(current, rel=1e-5)
    for name, expected in {"A": ABRUPT["A"] * d, "B": ABRUPT["B"] * d, "S01": elastance, "S02": elastance,
                           "beta": ABRUPT["beta"] * d**3, "V0n": v0}.items():
        assert found[name] == pytest.approx(expected, rel=1e-4), name  # the row's four figures
    # closed forms of the square law: A = b/2, B = a^2 / (8 b), beta = a^2 b, with the amplitudes found
    q = np.abs(found["i"][1:3]) / (OMEGA * np.array([1, 2])) / (2 * SPAN / S_MAX)
    assert found["A"] == pytest.approx(q[1] / 2, rel=1e-9)
    assert found["B"] == pytest.approx(q[0] ** 2 / (8 * q[1]), rel=1e-9)
    assert found["beta"] == pytest.approx(q[0] ** 2 * q[1], rel=1e-9)
    assert found["V0n"] == pytest.approx(elastance**2 + (q**2).sum() / 2, rel=1e-5)


def test_printed_row_at_nine_tenths_of_full_drive():
    # D = 0.9: A 0.0718968, B 0.121910, S 0.55, V0n 0.382957, beta 0.0201654, as printed in the notes
    row = (ABRUPT["A"] * 0.9, ABRUPT["B"] * 0.9, ABRUPT["beta"] * 0.9**3, 0.55**2 + 0.0993303 * 0.9**2)
    np.testing.assert_allclose(row, (0.0718968, 0.121910, 0.0201654, 0.382957), rtol=5e-6)  # six printed digits


@pytest.mark.parametrize("w", [1e-3, 1e-2, 5e-2])
def test_efficiency_with_series_resistance_and_the_same_shape(w):
    # w = f0 / f_c: source and load resistance lowered by R_s leave the charge as it was; then, exactly,
    # eta = P_out / P_in = (1 - w/B) / (1 + w/A).
    d = 0.9
    a, elastance = ABRUPT["a"] * d, 1 - d / 2
    r_in, r_load, r_s = (part * S_MAX / OMEGA for part in (ABRUPT["A"] * d, ABRUPT["B"] * d, w))
    v0 = (1 - d / 2) ** 2 + 0.0993303 * d**2
    v_source = (2 * r_in + r_s) * OMEGA * a * 2 * SPAN / S_MAX  # R_in of the source, R_s, R_in of the diode
    state = doubler(0.5, r_in, elastance * S_MAX / OMEGA, r_load - r_s, elastance * S_MAX / (2 * OMEGA), v_source,
                    v0 * SPAN, series_resistance=r_s)
    found = readings(state, r_in, r_load - r_s)
    into = 0.5 * (state.voltage("k")[1] * found["i"][1].conj()).real
    out = abs(found["i"][2]) ** 2 / 2 * (r_load - r_s)
    assert out / into == pytest.approx((1 - w / (ABRUPT["B"] * d)) / (1 + w / (ABRUPT["A"] * d)), rel=1e-5)
    assert abs(found["i"][1]) == pytest.approx(OMEGA * a * 2 * SPAN / S_MAX, rel=1e-5)


# -- any grading, by a second way ------------------------------------------------------------------------------------

def loop_in_charge(gamma, r_source, x_source, r_load, x_load, v_source, bias, guess, series_resistance=0.0):
    """The same loop solved in the charge, where it has two harmonics exactly; currents I_1, I_2 and mean charge.

    Shares nothing with hbsim: v(q) on 4096 samples, five real unknowns, scipy's root.
    """
    theta = 2 * math.pi * np.arange(4096) / 4096
    q_b = SPAN / ((1 - gamma) * S_MAX)
    phase = np.exp(1j * np.outer([1, 2], theta))

    def voltages(x):
        q = x[0] + ((np.array([x[1] + 1j * x[2], x[3] + 1j * x[4]])[:, None]) * phase).real.sum(axis=0)
        u = np.maximum(q, 0.0) ** (1 / (1 - gamma))
        return u.mean() * SPAN, 2 * (u * np.exp(-1j * theta)).mean() * SPAN, 2 * (u * np.exp(-2j * theta)).mean() * SPAN

    def currents(x):
        return 1j * OMEGA * q_b * (x[1] + 1j * x[2]), 2j * OMEGA * q_b * (x[3] + 1j * x[4])

    def excess(x):
        v0, v1, v2 = voltages(x)
        i1, i2 = currents(x)
        loop1 = v1 + (r_source + series_resistance + 1j * x_source) * i1 - v_source
        loop2 = v2 + (r_load + series_resistance + 1j * x_load) * i2
        return np.array([v0 - bias, loop1.real, loop1.imag, loop2.real, loop2.imag]) / SPAN

    found = scipy.optimize.root(excess, guess, tol=1e-13)
    assert np.abs(found.fun).max() < 1e-11
    return (*currents(found.x), found.x[0])


GRADED = {  # gamma: source and load for about D = 0.9, by the rows at D = 1 (A, B, S01, S02, V0n, a, b)
    1 / 3: (0.06048, 0.10481, 0.68219, 0.66405, 0.40990, 0.41726, 0.15848),
    0.4: (0.06976, 0.11975, 0.61112, 0.59770, 0.38723, 0.41675, 0.15904),
    0.5: (0.07989, 0.13546, 0.50000, 0.50000, 0.34933, 0.41609, 0.15977),
}


@pytest.mark.parametrize("r_s", [0.0, 0.16, 1.6])
@pytest.mark.parametrize("gamma", GRADED)
def test_graded_junction_against_the_charge_domain(gamma, r_s):
    a_row, b_row, s01, s02, v0n, a, b = GRADED[gamma]
    d = 0.9
    r_in, r_load = 0.9 * a_row * S_MAX / OMEGA, 0.9 * b_row * S_MAX / OMEGA
    x1, x2 = s01 * S_MAX / OMEGA, s02 * S_MAX / (2 * OMEGA)
    v_source = 2 * r_in * OMEGA * a * d * SPAN / ((1 - gamma) * S_MAX)
    bias = (v0n + 0.05) * SPAN
    state = doubler(gamma, r_in, x1, r_load, x2, v_source, bias, r_s, harmonics=24)
    i = -state.current("loop")[:, 0]
    found = i / (1j * OMEGA * np.array([1, 1, 2, *range(3, len(i))])) / (SPAN / ((1 - gamma) * S_MAX))
    i1, i2, _ = loop_in_charge(gamma, r_in, x1, r_load, x2, v_source, bias,
                               [0.55, found[1].real, found[1].imag, found[2].real, found[2].imag], r_s)
    np.testing.assert_allclose(i[1:3], [i1, i2], rtol=2e-6)  # harmonics of the voltage above the 24th
    theta = 2 * math.pi * np.arange(512) / 512
    q = (found[1:3, None] * np.exp(1j * np.outer([1, 2], theta))).real.sum(axis=0)
    assert 0.6 < np.ptp(q) < 1.0  # driven hard, and not into forward conduction


# -- Manley and Rowe --------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("drive", [-20, 0, 10, 16])
def test_manley_rowe_for_a_lossless_capacitor(drive):
    # J. M. Manley, H. E. Rowe, "Some general properties of nonlinear elements", Proc. IRE 44 (1956) 904-913 (from
    # memory): with one source frequency the powers into a lossless capacitor sum to zero over all
    # harmonics. Circuit invented.
    circuit = hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 GHz", "power": f"{drive} dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        supply={"bias": {"node": "s", "voltage": "6 V"}},
        part={"R": {"kind": "resistor", "nodes": ["s", "k"], "resistance": "100 kohm"},
              "C": {"kind": "capacitor", "nodes": ["in", "m"], "capacitance": "100 pF"},
              "L1": {"kind": "inductor", "nodes": ["m", "k"], "inductance": "12 nH"},
              "L2": {"kind": "inductor", "nodes": ["k", "n"], "inductance": "4 nH"},
              "C2": {"kind": "capacitor", "nodes": ["n", "out"], "capacitance": "3 pF"},
              "D": {"kind": "diode", "nodes": {"anode": "ground", "cathode": "k"}, "IS": "0 A", "CJO": "4 pF",
                    "VJ": "0.8 V", "M": "0.5", "FC": "0.95"}})
    state = circuit.solve(harmonics=24)
    diode = state.devices["D"]
    power = 0.5 * (diode.pin_voltage["cathode"] * diode.pin_current["cathode"].conj()).real
    swing = 0.5 * np.abs(diode.pin_voltage["cathode"] * diode.pin_current["cathode"])[1:].sum()  # mostly reactive
    assert abs(power[1:].sum()) < TOLERANCE * swing  # what the balance leaves of the currents
    assert power[1] > 0 > power[2]  # it takes at f0 and gives at 2 f0
    assert abs(diode.pin_current["cathode"][0]) < 1e-15
