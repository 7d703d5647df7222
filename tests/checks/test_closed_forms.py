"""The balance against closed forms: junctions, series resistance, slopes, aliasing, the resistive doubler's bound.

Tables come from the project's reference notes, worked out from the closed forms with scipy and mpmath; where a formula
has a publication, it stands beside it. Phasors are peak values.
"""

import math

import numpy as np
import pytest
import scipy.special
from hypothesis import given, settings
from hypothesis import strategies as st
from ideal_sources import Generator, dc_current, junction_current, solved

import hbsim
from hbsim.balance.newton import TOLERANCE as BALANCE  # share of the currents that cancel
from hbsim.balance.spectrum import transform
from hbsim.balance.system import Mounted
from hbsim.devices.bjt import BJT
from hbsim.devices.contract import K_OVER_Q
from hbsim.devices.diode import Diode
from hbsim.linear.network import Element

V_T = K_OVER_Q * 300.0
JUNCTION = Diode(IS=1e-14, temperature=300.0, TNOM=300.0)
WITH_10_OHM = Diode(IS=1e-14, RS=10.0, temperature=300.0, TNOM=300.0)

# x: I_0(x), then 2 I_k(x) / I_0(x) for k = 1..5, ln I_0(x); as printed in the notes
BESSEL = {
    0.1: (1.002501563, 0.099875208, 0.0024958405, 4.1588678e-5, 5.1979351e-7, 5.197502e-9, 0.0024984),
    0.5: (1.063483371, 0.48499923, 0.060003099, 0.0049744303, 3.0993536e-4, 1.5464598e-5, 0.0615497),
    1.0: (1.266065878, 0.89277993, 0.21444014, 0.035019386, 0.0043238196, 4.2882943e-4, 0.2359144),
    2.0: (2.279585302, 1.3955493, 0.60445068, 0.18664795, 0.044506841, 0.0086205849, 0.8239935),
    5.0: (27.23987182, 1.7867663, 1.2852935, 0.75853148, 0.37505571, 0.15844234, 3.3046818),
    10.0: (2815.716628, 1.8971997, 1.6205601, 1.2489756, 0.8711747, 0.55203587, 7.9429721),
    20.0: (4.355828256e7, 1.949341, 1.8050659, 1.5883278, 1.3285675, 1.0569008, 17.58961),
}


# -- the exponential junction ----------------------------------------------------------------------------------------

@pytest.mark.parametrize("x", BESSEL)
def test_driven_junction_gives_modified_bessel_functions(x):
    # NIST DLMF eq. 10.35.2: exp(x cos t) = I_0(x) + 2 sum_k I_k(x) cos(k t); here x = V1 / V_T.
    v0 = 0.6
    i = junction_current(JUNCTION, v0, x * V_T, 48)
    expected = 2.0 * JUNCTION.IS * math.exp(v0 / V_T) * scipy.special.iv(np.arange(49), x)
    expected[0] = 0.5 * expected[0] - JUNCTION.IS
    # rounding alone: the error of v0 / V_T, some 1e-15, and the sum of 512 samples, relative to the largest line
    np.testing.assert_allclose(i, expected, rtol=1e-13, atol=1e-14 * expected[0])
    table = BESSEL[x]
    assert i[0].real + JUNCTION.IS == pytest.approx(JUNCTION.IS * math.exp(v0 / V_T) * table[0], rel=2e-9)
    np.testing.assert_allclose(i[1:6].real / (i[0].real + JUNCTION.IS), table[1:6], rtol=1e-7)  # 8 printed digits


@pytest.mark.parametrize("x", BESSEL)
def test_bias_by_a_current_slides_down_by_the_logarithm_of_i0(x):
    # K. K. Clarke, D. T. Hess, Communication Circuits, Addison-Wesley 1971 (from memory): at constant current the bias
    # voltage falls by n V_T ln I_0(x).
    bias = 1e-3
    elements, at = [Element("source", Generator((None, 0.0)), ("a",))], {"anode": "a", "cathode": "ground"}
    state = solved(elements, ["source"], [Mounted("D", JUNCTION, at)], {"source": {0: bias, 1: x * V_T}}, 48)
    rest = V_T * math.log1p(bias / JUNCTION.IS)
    slid = rest - state.voltage("a")[0].real
    assert slid == pytest.approx(V_T * math.log(scipy.special.iv(0, x)), abs=V_T * BALANCE)
    assert slid / V_T == pytest.approx(BESSEL[x][6], abs=1e-6)  # printed digits


def test_peak_current_over_mean_current():
    # e^x / I_0(x), printed digits of the notes
    theta = 2 * np.pi * np.arange(64) / 64
    for x, ratio in {1: 2.147, 2: 3.241, 5: 5.448, 10: 7.823, 20: 11.138}.items():
        i = junction_current(JUNCTION, 0.6, x * V_T, 48)
        wave = i[0].real + (i[1:, None] * np.exp(1j * np.outer(np.arange(1, 49), theta))).real.sum(axis=0)
        assert wave.max() / i[0].real == pytest.approx(ratio, abs=6e-4)


def test_one_line_doubler_of_an_ideal_exponential_transistor():
    # I_dc = 10 mA, x = 10, 50 ohm at 2 f0 only: P = (2 I_2/I_0 10 mA)^2 / 2 * 50 ohm = 6.565537 mW = 8.172703 dBm.
    transistor = BJT(IS=1e-16, BF=1e6, temperature=300.0, TNOM=300.0)
    v0 = V_T * math.log(10e-3 / (transistor.IS * scipy.special.iv(0, 10.0)))
    elements = [Element("drive", Generator(), ("b",)), Element("load", Generator((0.0, 0.0, 50.0, 0.0)), ("c",))]
    pins = {"base": "b", "collector": "c", "emitter": "ground", "substrate": "ground"}
    state = solved(elements, ["drive", "load"], [Mounted("Q", transistor, pins)],
                   {"drive": {0: v0, 1: 10 * V_T}, "load": {0: 5.0}}, 48)
    collector = -state.current("load")[:, 0]
    assert collector[0].real == pytest.approx(10e-3, rel=1e-10)  # reverse junction: 1e-16 A beside 10 mA
    power = abs(collector[2]) ** 2 / 2 * 50.0
    assert power == pytest.approx(6.565537e-3, rel=1e-7)
    assert 10 * math.log10(power / 1e-3) == pytest.approx(8.172703, abs=1e-6)
    assert abs(state.voltage("c")[2]) == pytest.approx(50 * 16.205601e-3, rel=1e-7)


# -- series resistance: Lambert W ------------------------------------------------------------------------------------

def lambert_current(v, diode=WITH_10_OHM):
    """i = (n V_T / R) W((IS R / n V_T) exp((V + IS R) / n V_T)) - IS, by w + ln w (the exponential overflows). [A]"""
    scale = diode.IS * diode.RS / V_T
    level = math.log(scale) + (np.asarray(v) + diode.IS * diode.RS) / V_T
    w = scipy.special.wrightomega(level)  # w + ln w = level
    return V_T / diode.RS * w - diode.IS


@pytest.mark.parametrize("v, i, junction", [
    (0.3, 1.09590785145399e-9, 0.299999989041), (0.5, 2.50731614163396e-6, 0.499974926839),
    (0.6, 1.14883280639691e-4, 0.598851167194), (0.7, 2.33198624818865e-3, 0.676680137518),
    (0.8, 8.87640949661671e-3, 0.711235905034), (1.0, 2.60892387491241e-2, 0.739107612509),
    (5.0, 0.418912364721144, 0.810876352789)])
def test_dc_current_of_a_diode_with_series_resistance(v, i, junction):
    # R. M. Corless et al., "On the Lambert W function", Adv. Comput. Math. 5 (1996) 329-359 (from memory)
    found = dc_current(WITH_10_OHM, v)
    assert found == pytest.approx(i, rel=BALANCE)
    assert found == pytest.approx(float(lambert_current(v)), rel=BALANCE)
    assert v - WITH_10_OHM.RS * found == pytest.approx(junction, abs=v * BALANCE)


@pytest.mark.parametrize("temperature", [100.0, 120.0, 150.0, 220.0, 400.0, 600.0])
def test_series_resistance_from_cold_to_hot(temperature):
    # In the cold IS falls by tens of decades: exp(v / V_T) is then above 1e50 at an ordinary current.
    diode, v_t = Diode(IS=1e-14, RS=10.0, temperature=temperature), K_OVER_Q * temperature
    saturation = diode.packed()[0]
    level = math.log(saturation * diode.RS / v_t) + (1.5 + saturation * diode.RS) / v_t
    expected = v_t / diode.RS * scipy.special.wrightomega(level) - saturation
    assert dc_current(diode, 1.5) == pytest.approx(expected, rel=BALANCE)


@pytest.mark.parametrize("v0, v1, lines", [
    (0.5, 0.5, (6.368890238779e-3, 1.102753856195e-2, 6.903988521741e-3, 2.601705249768e-3, -5.78204469873e-5,
                -7.324742872679e-4)),
    (0.6, 0.3, (4.599445833238e-3, 7.689486435722e-3, 4.266118742236e-3, 1.153539506775e-3, -2.941238499087e-4,
                -3.43783665267e-4))])
def test_harmonics_of_a_driven_diode_with_series_resistance(v0, v1, lines):
    theta = 2 * np.pi * np.arange(2048) / 2048
    expected = np.fft.rfft(lambert_current(v0 + v1 * np.cos(theta)))[:6] / 1024
    expected[0] /= 2
    i = junction_current(WITH_10_OHM, v0, v1, 64, 256)[:6]
    np.testing.assert_allclose(expected.real, lines, rtol=2e-12, atol=1e-15)  # the table's own digits
    np.testing.assert_allclose(i, expected, rtol=0, atol=BALANCE * expected[1].real)  # truncation: 1e-13 of I_1


# harmonics, samples: relative errors of I_0..I_3 against Lambert W, from a second program of the notes' author
TRUNCATION = {
    (5, 12): (1e-3, 1.4e-3, 5.4e-3, 1.2e-2), (8, 18): (1.6e-3, 6.2e-4, 2.6e-3, 8.6e-3),
    (8, 32): (2.3e-4, 2.5e-4, 5.3e-6, 2.4e-3), (16, 34): (1.3e-5, 1.6e-5, 4.3e-7, 1.6e-4),
    (16, 64): (4.0e-6, 5.2e-6, 1.5e-6, 4.7e-5), (32, 66): (4.2e-8, 2.4e-8, 5.1e-8, 2.7e-7),
    (32, 128): (2.6e-9, 2.6e-9, 1.1e-8, 1.7e-8),
}


@pytest.mark.parametrize("harmonics, samples", TRUNCATION)
def test_truncation_errors_are_those_of_the_equations(harmonics, samples):
    # The errors belong to the truncated and sampled equations, not to a program: another solver of the same equations
    # found the same ones, to the two digits printed.
    exact = np.array([6.368890238779e-3, 1.102753856195e-2, 6.903988521741e-3, 2.601705249768e-3])
    i = junction_current(WITH_10_OHM, 0.5, 0.5, harmonics, samples)[:4].real
    np.testing.assert_allclose(np.abs(i / exact - 1), TRUNCATION[harmonics, samples], rtol=0.05)


@pytest.mark.parametrize("harmonics, samples", [(64, 130), (64, 256)])
def test_truncation_vanishes_with_harmonics(harmonics, samples):
    exact = np.array([6.368890238779e-3, 1.102753856195e-2, 6.903988521741e-3, 2.601705249768e-3])
    i = junction_current(WITH_10_OHM, 0.5, 0.5, harmonics, samples)[:4].real
    np.testing.assert_allclose(i, exact, rtol=0, atol=BALANCE * exact[1])  # the notes give 2e-12 and less


# -- slopes -----------------------------------------------------------------------------------------------------------

SLOPES = {  # x: dB per dB of harmonics 1..5 at a fixed bias voltage, and of the 2nd at a fixed bias current
    0.5: (1.0619, 2.0415, 3.0312, 4.0249, 5.0208, 1.9202), 1.0: (1.2402, 2.1633, 3.1235, 4.0992, 5.0828, 1.7169),
    2.0: (1.8663, 2.6176, 3.4769, 4.3874, 5.3257, 1.2220),
}


@pytest.mark.parametrize("x", SLOPES)
def test_slopes_of_the_harmonics_against_drive(x):
    # d ln I_k / d ln V1 = x (I_(k-1) + I_(k+1)) / (2 I_k), from NIST DLMF 10.29.1
    step = 1e-4
    up, down = (junction_current(JUNCTION, 0.6, x * V_T * math.exp(s), 24)[1:6].real for s in (step, -step))
    slope = np.log(up / down) / (2 * step)  # truncation of the difference: step^2, 1e-8
    k = np.arange(1, 6)
    iv = scipy.special.iv
    np.testing.assert_allclose(slope, x * (iv(k - 1, x) + iv(k + 1, x)) / (2 * iv(k, x)), rtol=1e-6)
    np.testing.assert_allclose(slope, SLOPES[x][:5], atol=1e-4)


@pytest.mark.parametrize("x", SLOPES)
def test_slope_at_a_fixed_bias_current_is_lower(x):
    lines = []
    for s in (1e-4, -1e-4):
        elements, at = [Element("source", Generator((None, 0.0)), ("a",))], {"anode": "a", "cathode": "ground"}
        state = solved(elements, ["source"], [Mounted("D", JUNCTION, at)],
                       {"source": {0: 1e-3, 1: x * V_T * math.exp(s)}}, 24)
        lines.append(abs(state.current("source")[2, 0]))
    assert math.log(lines[0] / lines[1]) / 2e-4 == pytest.approx(SLOPES[x][5], abs=1e-4)


def test_harmonic_n_rises_n_db_per_db_at_low_drive():
    x = 10 ** (-2 - np.array([0.0, 1.0]) / 20)  # 0.01 and 1 dB less: 0.26 mV on the junction
    i = [junction_current(JUNCTION, 0.6, value * V_T, 8)[1:5].real for value in x]
    np.testing.assert_allclose(20 * np.log10(i[0] / i[1]), [1, 2, 3, 4], atol=0.01)


def test_second_harmonic_of_a_transistor_stage_rises_2_db_per_db(examples):
    circuit = hbsim.load(examples / "lumped_doubler.toml")
    for k in (1, 2, 3):
        high, low = (circuit.solve({"drive.power": f"{p} dBm"}, harmonics=8).output_dbm(k) for p in (-45, -46))
        assert high - low == pytest.approx(k, abs=0.01), f"harmonic {k}"


# -- aliasing ---------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("x, samples, printed", [
    (5, 16, 3.7e-7), (5, 24, 3.8e-14), (10, 16, 1.5e-4), (10, 24, 2.7e-9), (20, 16, 9.3e-3), (20, 24, 1.3e-5),
    (20, 32, 2.1e-9), (40, 16, 0.11), (40, 24, 2.9e-3), (40, 32, 2.0e-5), (40, 48, 2.5e-11)])
def test_sampling_folds_harmonics_exactly_as_the_closed_form_says(x, samples, printed):
    # N samples of exp(x cos t) give sum_m I_(n + m N)(x) in place of I_n(x) (elementary, with DLMF 10.35.2).
    theta = 2 * np.pi * np.arange(samples) / samples
    found = np.exp(x * (np.cos(theta) - 1)) @ transform(5, samples).analysis  # scaled by exp(-x)
    m = np.arange(-4, 5)
    for k in range(1, 6):
        folded = 2 * scipy.special.ive(np.abs(k + m * samples), x).sum()
        assert found[2 * k - 1] == pytest.approx(folded, rel=1e-13)
        assert abs(found[2 * k]) < 1e-15
    exact = 2 * scipy.special.ive(2, x)
    assert found[3] / exact - 1 == pytest.approx(printed, rel=0.05, abs=2e-15)  # two printed digits, rounding


# -- power ------------------------------------------------------------------------------------------------------------

def resistive_doubler(drive, bias, r_in, r_out, r_bias, diode):
    """A series diode between two ports, its cathode biased; invented."""
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 GHz", "power": f"{drive} dBm"},
        port={"input": {"node": "in", "impedance": f"{r_in} ohm"},
              "output": {"node": "out", "impedance": f"{r_out} ohm"}},
        supply={"bias": {"node": "s", "voltage": f"{bias} V"}},
        part={"R": {"kind": "resistor", "nodes": ["s", "out"], "resistance": f"{r_bias} ohm"},
              "D": {"kind": "diode", "nodes": {"anode": "in", "cathode": "out"}, **diode}})


@settings(max_examples=60)
@given(drive=st.floats(-30, 30), bias=st.floats(-3, 1), r_in=st.floats(5, 500), r_out=st.floats(5, 500),
       r_bias=st.floats(1, 1e4), level=st.floats(-16, -6), n=st.floats(1, 2), rs=st.floats(0, 20))
def test_a_resistive_doubler_loses_at_least_6_db(drive, bias, r_in, r_out, r_bias, level, n, rs):
    # C. H. Page, "Harmonic generation with ideal rectifiers", Proc. IRE 46 (1958) 1738-1740, and R. H. Pantell, same
    # volume, 1910-1913 (from memory): sum n^2 P_n >= 0 for a monotone resistor, so P_out / P_available <= 1/n^2.
    diode = {"IS": f"{10 ** level} A", "N": f"{n}", "RS": f"{rs} ohm"}
    state = resistive_doubler(drive, bias, r_in, r_out, r_bias, diode).solve(harmonics=16)
    for k in (2, 3, 4, 5):
        assert state.output_watts(k, "output") <= 1e-3 * 10 ** (drive / 10) / k**2
    pins = state.devices["D"]
    v = pins.pin_voltage["anode"] - pins.pin_voltage["cathode"]
    absorbed = 0.5 * (v * pins.pin_current["anode"].conj()).real[1:]
    order = np.arange(1, 17)
    assert (order**2 * absorbed).sum() >= 0.0


@pytest.mark.parametrize("r_load", [5.0, 50.0, 800.0])
def test_a_conjugate_matched_source_delivers_its_available_power(r_load):
    # D. M. Pozar, Microwave Engineering, lumped matching (from memory): shunt C at the higher side, series L, with
    # Q = sqrt(R_high / R_low - 1). All lossless: the power available from the generator arrives.
    high, low = max(r_load, 50.0), min(r_load, 50.0)
    q, omega = math.sqrt(high / low - 1), 2 * math.pi * 1e9
    ends = ["in", "out"] if r_load <= 50.0 else ["out", "in"]  # from the higher side to the lower
    parts = {"L": {"kind": "inductor", "nodes": ends, "inductance": f"{max(q, 1e-9) * low / omega} H"},
             "C": {"kind": "capacitor", "nodes": [ends[0], "ground"], "capacitance": f"{q / high / omega} F"}}
    circuit = hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 GHz", "power": "7 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out", "impedance": f"{r_load} ohm"}}, part=parts)
    state = circuit.solve(harmonics=2)
    assert state.output_dbm(1) == pytest.approx(7.0, abs=1e-9)
    assert abs(state.input_reflection) < 1e-8
    assert state.output_dbm(2) == -math.inf
