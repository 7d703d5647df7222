"""Curves of single devices against closed forms of the published model.

"Gummel-Poon" below: H. K. Gummel and H. C. Poon, Bell Syst. Tech. J. 49 (1970) 827-852, in the form of G. Massobrio and
P. Antognetti, Semiconductor Device Modeling, 2nd ed., McGraw-Hill, 1993 (from memory).
"""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.special

from hbsim.describe.filling import Filled
from hbsim.describe.library import Entry, names
from hbsim.devices.bjt import BJT
from hbsim.devices.contract import K_OVER_Q
from hbsim.devices.diode import Diode
from hbsim.errors import NotSolved, Refusal
from hbsim.studies import bias as bias_module
from hbsim.studies.bias import CURRENT_SOURCE, Bias
from hbsim.studies.device_curves import as_json, chip, curves, diode_curves, transistor_curves
from hbsim.studies.small_signal import SmallSignal, transition_frequency

V_T = K_OVER_Q * 300.15  # [V]
PLAIN = BJT(IS=2e-17, BF=100, RE=0.5, RC=5, RB=10, CJE=0.4e-12, VJE=0.9, MJE=0.35, CJC=0.12e-12, VJC=0.6, MJC=0.3,
            XCJC=1.0, FC=0.5, TF=4e-12, VCEO=4.5, IC_max=0.03)  # no Early, no knee: gm is I_C / V_T


def entry(device):
    return Entry("of the test", "Made for a test", "invented", {}, Filled(device))


def depletion(v, c0, v0, m, fc):
    """Capacitance of a junction, its tangent beyond FC; Massobrio and Antognetti, ch. 1 (from memory)."""
    if v < fc * v0:
        return c0 * (1 - v / v0) ** -m
    return c0 * (1 - fc) ** (-1 - m) * (1 - fc * (1 + m) + m * v / v0)


def forward_delay(device, current, v_ce):
    """1 / (2 pi f_T) = TFF + V_T / I_C (C_je + C_jc) + (R_C + R_E) C_jc, the textbook sum, e.g. Massobrio and
    Antognetti, ch. 2 (from memory); TFF with the slope of its growth: d(TFF I)/dI. What flows through C_jc is taken
    from I_C and added to I_B, and R_E carries both, so that to first order in frequency its terms grow by the base's
    share (derived). [s]"""
    v_be = V_T * math.log(current / device.IS + 1)
    v_bc = v_be - (v_ce - current * device.RC - current * (1 + 1 / device.BF) * device.RE)
    c_je = depletion(v_be, device.CJE, device.VJE, device.MJE, device.FC)
    c_jc = depletion(v_bc, device.CJC, device.VJC, device.MJC, device.FC)
    w = current / (current + device.ITF)
    tff = device.TF * (1 + device.XTF * w**2 * (1 + 2 * (1 - w)))
    share = 1 + 1 / device.BF
    return tff + V_T / current * (c_je + share * c_jc) + share * (device.RC + share * device.RE) * c_jc


@pytest.mark.parametrize("device", [PLAIN, replace(PLAIN, XTF=5.0, ITF=0.05), replace(PLAIN, polarity="pnp")])
def test_transition_frequency_is_the_sum_of_delays(device):
    found = transistor_curves(entry(device))
    checked = [n for n, current in enumerate(found.collector_current) if current > 1e-6]
    expected = [1 / (2 * np.pi * forward_delay(device, found.collector_current[n], found.v_ce)) for n in checked]
    assert len(checked) > 40
    # Left out of the sum: what is of second order in the frequency, at |h21| = 10 two parts in 10,000.
    assert found.transition_frequency[checked] == pytest.approx(expected, rel=3e-4)


def test_excess_phase_costs_only_what_reaches_the_base():
    # exp(j omega tau) / h0 adds tau / h0 to the delay that 1 / h21 shows (first order in omega; derived).
    slow = transistor_curves(entry(replace(PLAIN, PTF=30.0)))
    fast = transistor_curves(entry(PLAIN))
    at = slice(-40, -10)
    added = 1 / (2 * np.pi * slow.transition_frequency[at]) - 1 / (2 * np.pi * fast.transition_frequency[at])
    assert added == pytest.approx(math.radians(30) * PLAIN.TF / PLAIN.BF, rel=0.1)


def test_transition_frequency_of_one_pole():
    frequency = np.concatenate([[0.0], np.geomspace(1e3, 1e11, 200)])
    assert transition_frequency(frequency, 80 / (1 + 80j * frequency / 7e9)) == pytest.approx(7e9, rel=1e-12)
    assert math.isnan(transition_frequency(frequency, 3 / (1 + 3j * frequency / 7e9)))  # no stretch of 20 dB a decade
    assert math.isnan(transition_frequency(frequency, 80 / (1 + 80j * frequency / 7e14)))  # not reached
    assert math.isnan(transition_frequency(frequency, np.full(len(frequency), np.nan + 0j)))


def test_gain_at_low_current():
    # Gummel-Poon: I_B = I_C / BF + ISE (exp(v / (NE V_T)) - 1), with exp(v / V_T) = I_C / IS + 1.
    device = replace(PLAIN, ISE=1e-15, NE=1.8, RB=0.0, RE=0.0, RC=0.0)
    found = transistor_curves(entry(device))
    current = found.collector_current
    base = current / device.BF + device.ISE * ((current / device.IS + 1) ** (1 / device.NE) - 1)
    assert found.current_gain[0] < 0.6 * found.current_gain[-1]
    # tolerance: the reverse leakage IS of the collector junction, left out above, beside 1 nA
    assert found.current_gain == pytest.approx(current / base, rel=1e-6)


def test_output_conductance_is_that_of_early():
    # J. M. Early, Proc. IRE 40 (1952) 1401-1406: the output lines meet at one point of the voltage axis; in the
    # Gummel-Poon form with VAR infinite it is v_bc = VAF, so I_C = BF I_B (1 + (V_CE - v_be) / VAF).
    device = replace(PLAIN, VAF=20.0, RB=0.0, RE=0.0, RC=0.0)
    for curve in transistor_curves(entry(device)).output:
        v_be = V_T * math.log(device.BF * curve.base_current / device.IS + 1)
        active = curve.v_ce > 1.5
        expected = device.BF * curve.base_current * (1 + (curve.v_ce[active] - v_be) / device.VAF)
        assert active.sum() > 10
        assert curve.collector_current[active] == pytest.approx(expected, rel=1e-6)  # 1 pA of the base current's source


def test_saturated_curve_passes_below_zero_at_no_voltage():
    # Gummel-Poon at V_CE = 0 without resistances: v_be = v_bc, the transport current is 0 and I_C = -I_B (1/BR) /
    # (1/BF + 1/BR).
    device = replace(PLAIN, BR=4.0, RB=0.0, RE=0.0, RC=0.0)
    for curve in transistor_curves(entry(device)).output:
        assert curve.v_ce[0] == 0
        assert curve.collector_current[0] == pytest.approx(-curve.base_current * 25 / 26, rel=1e-6)


def test_pnp_is_the_mirror_of_npn():
    npn, pnp = (transistor_curves(entry(replace(PLAIN, polarity=polarity, VAF=20.0))) for polarity in ("npn", "pnp"))
    assert pnp.collector_current == pytest.approx(npn.collector_current, rel=1e-9)
    assert pnp.base_current == pytest.approx(npn.base_current, rel=1e-9)
    assert pnp.transition_frequency == pytest.approx(npn.transition_frequency, rel=1e-9)
    assert pnp.output[3].collector_current == pytest.approx(npn.output[3].collector_current, rel=1e-9)
    assert pnp.capacitances["base-collector"].capacitance == pytest.approx(
        npn.capacitances["base-collector"].capacitance, rel=1e-12)


def test_curves_end_at_the_limits():
    found = transistor_curves(entry(PLAIN))
    assert 0.8 * PLAIN.IC_max < found.collector_current[-1] <= PLAIN.IC_max
    assert found.output[0].v_ce[-1] == PLAIN.VCEO
    assert found.v_ce == 3.0
    assert not any("not stated" in note for note in found.notes)
    unlimited = transistor_curves(entry(replace(PLAIN, IC_max=None, VCEO=None)))
    assert {"IC_max is not stated; curves are drawn to 100 mA", "VCEO is not stated; curves are drawn to 5 V"} <= \
        set(unlimited.notes)


@pytest.mark.parametrize("name", names("transistors"))
def test_transistors_of_the_library_are_as_fast_as_they_say(name):
    found = curves(name)
    said = float(found.entry.title.partition("about ")[2].partition(" GHz")[0]) * 1e9
    assert found.transition_frequency[found.fastest] == pytest.approx(said, rel=0.1)  # "about"
    assert np.isfinite(found.collector_current).all() and found.collector_current[0] < 2e-9
    assert not any("not solved" in note for note in found.notes)
    assert len(found.output) == 6 and all(np.isfinite(c.collector_current).all() for c in found.output)


@pytest.mark.parametrize("device", [
    Diode(IS=1e-14, RS=10.0, temperature=300.0, TNOM=300.0, IF_max=0.3),
    Diode(IS=3e-9, N=1.85, RS=0.8, IF_max=0.2, CJO=1e-12),
])
def test_diode_is_lambert_w(device):
    # i = (n V_T / R) W((IS R / n V_T) exp((V + IS R) / n V_T)) - IS: the W function is in NIST DLMF 4.13; the circuit:
    # T. C. Banwell and A. Jayakumar, Electron. Lett. 36 (2000) 291-292 (from memory).
    found = diode_curves(entry(device))
    slope = device.N * K_OVER_Q * device.temperature
    exponent = (found.voltage + device.IS * device.RS) / slope
    w = scipy.special.lambertw(device.IS * device.RS / slope * np.exp(exponent)).real
    assert found.current[-1] > 0.9 * device.IF_max
    assert found.current == pytest.approx(slope / device.RS * w - device.IS, rel=1e-7)  # IS lost from w at 1 nA


def test_junction_capacitances_and_cut_off():
    # C0 (1 + V / V0)^-M: S. M. Sze and K. K. Ng, Physics of Semiconductor Devices, 3rd ed., Wiley, 2007, ch. 2.
    device = Diode(IS=1e-15, RS=2.0, CJO=3e-12, VJ=0.8, M=0.5, TT=1e-9, VRM=20.0, series_inductance=1e-9,
                   case_capacitance=1e-12)
    found = diode_curves(entry(device))
    junction = found.capacitances["junction"]
    expected = 3e-12 / np.sqrt(1 + junction.reverse_voltage / 0.8)
    assert junction.reverse_voltage[[0, -1]] == pytest.approx([0, 20])
    assert junction.capacitance == pytest.approx(expected, rel=1e-4)  # TT IS / V_T at 0 V is 13 ppm of CJO
    assert found.cut_off == pytest.approx(1 / (2 * np.pi * 2.0 * expected), rel=1e-4)

    found = transistor_curves(entry(replace(PLAIN, XCJC=0.3, CJS=0.05e-12, VJS=0.7, MJS=0.4, VEBO=1.5))).capacitances
    assert set(found) == {"base-emitter", "base-collector", "collector-substrate"}
    for name, c0, v0, m, limit in (("base-emitter", 0.4e-12, 0.9, 0.35, 1.5),
                                   ("base-collector", 0.12e-12, 0.6, 0.3, 4.5),
                                   ("collector-substrate", 0.05e-12, 0.7, 0.4, 4.5)):
        reverse = found[name].reverse_voltage
        assert reverse[-1] == limit
        assert found[name].capacitance == pytest.approx(c0 * (1 + reverse / v0) ** -m, rel=1e-6)
    assert "base-emitter" not in transistor_curves(entry(replace(PLAIN, CJE=0.0))).capacitances


def test_pure_varactor_has_no_forward_curve():
    found = diode_curves(entry(Diode(IS=0.0, CJO=1e-12)))
    assert len(found.current) == 0 and len(found.cut_off) == 0
    assert any(note.startswith("IS = 0") for note in found.notes)
    json.dumps(as_json(found), allow_nan=False)


def test_linearised_diode_is_its_equivalent_circuit():
    # R + j omega L + 1 / (g + j omega (C + TT g)), the package's capacitance across it: textbook equivalent circuit.
    device = Diode(IS=1e-14, N=1.1, RS=3.0, CJO=2e-12, VJ=0.7, M=0.4, TT=5e-9, series_inductance=1e-9,
                   case_capacitance=0.2e-12)
    omega = 2 * np.pi * np.geomspace(1e6, 30e9, 12)
    for resistance in (0.0, 50.0):
        stage = Bias(device, {"anode": resistance})
        (nodes,), ((current,),) = stage.sweep(np.array([[0.75]]))
        v = 0.75 - current * (3.0 + resistance)
        g = (current + device.IS) / (1.1 * V_T)
        c = depletion(v, 2e-12, 0.7, 0.4, 0.5) + 5e-9 * g
        y = 1 / (3.0 + 1j * omega * 1e-9 + 1 / (g + 1j * omega * c)) + 1j * omega * 0.2e-12
        found = SmallSignal(stage.system, omega).source_admittance(nodes)[:, 0, 0]
        assert found == pytest.approx(1 / (resistance + 1 / y), rel=1e-8)


@pytest.mark.parametrize("polarity", ["npn", "pnp"])
def test_linearised_transistor_at_dc_is_the_slope_of_its_curves(polarity):
    sign = 1.0 if polarity == "npn" else -1.0
    device = replace(PLAIN, polarity=polarity, VAF=20.0, VAR=3.0, IKF=0.03, RBM=3.0, IRB=1e-4, ISE=1e-15)
    stage, at, step = Bias(device, {"base": 0.0, "collector": 0.0}), sign * np.array([0.85, 1.5]), 1e-4
    nodes, _ = stage.sweep(at[None])
    y = SmallSignal(stage.system, np.array([0.0])).source_admittance(nodes[0])[0].real
    for column in range(2):
        around = at + np.outer([-1.0, 1.0], step * np.eye(2)[column])
        _, currents = stage.sweep(around)
        slope = (currents[1] - currents[0]) / (2 * step)
        # central difference: (step / V_T)^2 / 6 = 2.5e-6 of the slope at most, of the largest one in the column
        assert y[:, column] == pytest.approx(slope, abs=5e-6 * np.abs(slope).max())


def test_unsolved_bias_is_a_gap(monkeypatch):
    stage = Bias(PLAIN, {"base": 0.0, "collector": 0.0})
    rows = np.array([[0.7, 2.0], [0.75, 2.0], [0.8, 2.0]])
    _, good = stage.sweep(rows)
    real, calls = stage._solved, []

    def failing(c, start, parameters):
        calls.append(start)
        return None if len(calls) == 2 else real(c, start, parameters)

    monkeypatch.setattr(stage, "_solved", failing)
    nodes, currents = stage.sweep(rows)
    assert np.isnan(currents[1]).all() and np.isnan(nodes[1]).all()
    assert currents[[0, 2]] == pytest.approx(good[[0, 2]], rel=1e-12)

    def never(*arguments):
        raise NotSolved("for the test")

    monkeypatch.undo()
    monkeypatch.setattr(bias_module, "operating_point", never)
    assert np.isnan(stage.sweep(rows)[1]).all()


def test_unsolved_biases_are_counted_and_left_out_of_the_answers(monkeypatch):
    real = Bias._solved
    monkeypatch.setattr(Bias, "_solved", lambda self, *arguments: None)
    found = transistor_curves(entry(PLAIN))
    assert found.fastest is None and found.output == () and np.isnan(found.transition_frequency).all()
    assert any("not solved" in note for note in found.notes)
    data = as_json(found)
    assert data["fastest"]["transition_hz"] is None
    json.dumps(data, allow_nan=False)

    count = iter(range(10**6))
    monkeypatch.setattr(Bias, "_solved",
                        lambda self, *arguments: None if next(count) % 7 == 0 else real(self, *arguments))
    found = transistor_curves(entry(PLAIN))
    gaps = np.isnan(found.collector_current)
    assert gaps.any() and not gaps.all()
    assert (np.isnan(found.transition_frequency) == gaps).all() and (np.isnan(found.current_gain) == gaps).all()


def test_current_source_holds_the_base_current():
    stage = Bias(PLAIN, {"base": CURRENT_SOURCE, "collector": 0.0})
    _, currents = stage.sweep(np.stack([np.full(8, 5e-5), np.linspace(0, 4, 8)], axis=1))
    assert currents[:, 0] == pytest.approx(5e-5, abs=1e-12)


def test_chip_is_the_device_without_its_package():
    device = replace(PLAIN, base_inductance=1e-9, collector_emitter_capacitance=1e-13)
    assert chip(device) == PLAIN
    packaged, bare = transistor_curves(entry(device)), transistor_curves(entry(PLAIN))
    assert packaged.transition_frequency == pytest.approx(bare.transition_frequency, rel=1e-12)


def test_plain_data_says_every_parameter():
    found = transistor_curves(entry(PLAIN))
    data = as_json(found)
    json.dumps(data, allow_nan=False)
    rows = {row["name"]: row for row in data["parameters"]}
    assert rows["VAF"]["infinite"] and rows["VAF"]["value"] is None and rows["VAF"]["unit"] == "V"
    assert rows["RC"] == {"name": "RC", "value": 5.0, "unit": "ohm", "meaning": "collector resistance",
                          "infinite": False, "read_from_zero": False}
    assert data["fastest"]["transition_hz"] == max(data["bias"]["transition_hz"])
    assert data["bias"]["collector_emitter_volts"] == 3.0


def test_unknown_device_names_the_nearest():
    with pytest.raises(Refusal, match="did you mean 'npn-25ghz'"):
        curves("npn-25gz")
