"""The bias study on the two beacon doublers, and the angle of conduction against the theory of clipped cosines."""

import csv
import io
import json

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

import hbsim
from hbsim.balance.device_state import CONDUCTING
from hbsim.balance.spectrum import waveform
from hbsim.cli import main
from hbsim.devices.contract import K_OVER_Q
from hbsim.errors import Refusal
from hbsim.show.bias_study_page import bias_study_page, sentences
from hbsim.show.bias_study_plot import bias_study_figure
from hbsim.studies.bias_study import as_json, bias_study, harmonic_of, header, rows, theory
from hbsim.studies.conduction_angle import angle_above, pulse_harmonic
from hbsim.studies.junction_states import junction_states

DRIVES = {"beacon_2304": "1:9.75:0.35 V", "beacon_5760": "1:8:0.35 V"}


@pytest.fixture(scope="module", params=DRIVES)
def study(request, examples):
    return bias_study(hbsim.load(examples / f"{request.param}.toml").description, "supply.VCC", DRIVES[request.param])


def test_best_supply_rises_with_drive(study):
    values = [curve.most_output.value for curve in study.curves]
    assert len(values) == 3 and np.all(np.diff(values) > 0.5)
    assert not any(curve.most_output.at_end for curve in study.curves)
    assert "rises with the drive" in sentences(study)[0]


def test_best_match_and_best_output_are_at_other_supplies(study):
    for curve in study.curves:
        assert abs(curve.best_match.value - curve.most_output.value) > 0.3  # V; the marks are found to 1 mV


def test_marks_are_the_most_of_the_solved_circuit(study):
    # Against output and match solved at 0.05 V to either side, of which none may be more.
    circuit = hbsim.Circuit(study.description)
    for curve in study.curves:
        for best, figure in ((curve.most_output, lambda s: s.output_dbm(2)),
                             (curve.best_match, lambda s: s.input_return_loss_db)):
            at = {d: figure(circuit.solve({"drive.power": curve.drive_dbm, "supply.VCC": best.value + d}))
                  for d in (-0.05, 0.0, 0.05)}
            assert at[0.0] == pytest.approx(best.figure, abs=0.02)  # truncation 0.01 dB of output, more of a deep null
            assert at[0.0] >= max(at.values()) - 0.01


def test_more_bias_makes_a_smaller_share_of_the_peak(study):
    below, best, above = study.waveforms
    assert [w.place for w in study.waveforms] == ["below", "best", "above"]
    for told in (below, above):
        assert told.lost_db == pytest.approx(1.0, abs=5e-3)
        assert told.harmonic_amps < best.harmonic_amps
    assert below.angle_deg < best.angle_deg < above.angle_deg and below.peak_amps < best.peak_amps < above.peak_amps
    for told in study.waveforms:
        states = told.states
        assert states.cut_off + states.between + states.saturated == pytest.approx(1.0)
        # the transistor's current and its junction's exponential are above the same share in the same part of the
        # period, but for what q_b and the excess phase do: a tenth of the period
        assert 1 - states.cut_off == pytest.approx(told.angle_deg / 360, abs=0.1)


def test_every_number_is_in_the_files(study):
    data = as_json(study)
    json.dumps(data, allow_nan=False)
    assert [d["most_output"]["supply.VCC_volts"] for d in data["drives"]] == [c.most_output.value for c in study.curves]
    assert [w["share_cut_off"] for w in data["waveforms"]["at"]] == [w.states.cut_off for w in study.waveforms]
    table = list(rows(study))
    assert len(table) == 3 * len(study.values) and {len(row) for row in table} == {len(header(study))}
    assert f"{study.waveforms[1].states.cut_off:.1%}" in bias_study_page(study)
    figure = bias_study_figure(study)
    drawn = figure.subfigs[0].axes[0].lines[0].get_ydata()
    np.testing.assert_allclose(drawn, study.curves[0].columns["output_dbm_2"])


def test_a_stage_with_little_supply_saturates(examples):
    # 0.6 V of supply and much drive: the collector swings down to 0.1 V; at 2 V and 0 dBm it stays above 0.8 V.
    state = hbsim.load(examples / "lumped_doubler.toml").solve({"supply.VCC": 0.6, "drive.power": 6.0})
    states = junction_states(state, "Q1")
    assert states.saturated > 0.05
    assert junction_states(hbsim.load(examples / "lumped_doubler.toml").solve(), "Q1").saturated == 0.0  # 2 V, 0 dBm
    base, collector = (state.waveform(node, 512)[1] for node in ("Q1.b", "Q1.c"))
    forward = base - collector
    assert forward[states.region == 2].min() > forward[states.region != 2].max() - 1e-9


def test_bias_by_a_resistor_and_refusals(examples):
    circuit = hbsim.load(examples / "lumped_doubler.toml")
    found = bias_study(circuit.description, "R_b.resistance", ["20 kohm", "40 kohm", "80 kohm"], ["0 dBm"])
    amps = found.curves[0].columns["average_amps_Q1_collector"]
    assert np.all(np.diff(amps) < 0)  # more resistance, less current
    for wrong, words in ((dict(address="supply.VDD"), "supply.VCC"), (dict(values=["1 V", "2 V"]), "at least 3"),
                         (dict(device="Q2"), "no device 'Q2'")):
        with pytest.raises(Refusal, match=words):
            bias_study(circuit.description, **wrong)


def test_command_writes_all(examples, tmp_path, capsys):
    made = [str(tmp_path / name) for name in ("b.csv", "b.json", "b.svg")]
    status = main(["bias", str(examples / "lumped_doubler.toml"), "--vary", "supply.VCC=1:3:0.5V", "--drives",
                   "0dBm,3dBm", "--csv", made[0], "--json", made[1], "--plot", made[2]])
    assert status == 0 and "most output" in capsys.readouterr().out
    with open(made[0]) as handle:
        table = list(csv.DictReader(io.StringIO(handle.read())))
    with open(made[1]) as handle:
        data = json.load(handle)
    assert len(table) == 10 and float(table[0]["output_dbm_2"]) == data["drives"][0]["columns"]["output_dbm_2"][0]


# -- theory of the conduction angle: Fourier series of the tip of a cosine; formula as in Krauss et al. 1980 and Cripps
#    1999 (from memory), here derived again by numerical integration


@pytest.mark.parametrize("harmonic", [0, 1, 2, 3, 4])
@pytest.mark.parametrize("angle", [20.0, 90.0, 120.0, 180.0, 300.0, 360.0])
def test_coefficients_are_the_integrals(harmonic, angle):
    h = np.radians(angle / 2)
    integral = quad(lambda t: (np.cos(t) - np.cos(h)) / (1 - np.cos(h)) * np.cos(harmonic * t), -h, h,
                    epsabs=1e-12)[0] / np.pi
    expected = integral / (2 if harmonic == 0 else 1)
    assert pulse_harmonic(angle, harmonic) == pytest.approx(expected, abs=1e-10)  # of quad
    assert angle_above(angle, 0.0) == pytest.approx(angle) and angle_above(angle, 1.0) == pytest.approx(0.0, abs=1e-5)


IS, V_T, OHMS, HARMONICS = 1e-15, K_OVER_Q * 300.0, 10e3, 32
TRUNCATION = 2e-4  # of the corners of the pulse, whose harmonics fall as 1 / n^2, 32 of them kept


def stage(swing):
    """A transistor without charge or series resistance; base at the generator, a resistor from the emitter to a bias:
    the current is (swing cos t - bias - v_be) / R while that is above zero."""
    level = float(10 * np.log10(1e3 * swing**2 / (8 * 50.0)))  # the base takes a millionth: it swings by all of E
    return hbsim.Circuit.build(
        title="clipped cosine", about="invented", wanted={"port": "output", "harmonic": 2},
        drive={"port": "input", "frequency": "1 MHz", "power": f"{level!r} dBm"},
        port={"input": {"node": "b", "impedance": "50 ohm"}, "output": {"node": "c", "impedance": "50 ohm"}},
        supply={"VCC": {"node": "c", "voltage": f"{3 * swing} V", "resistance": "0.01 ohm"},
                "BIAS": {"node": "low", "voltage": "0 V", "resistance": "0.01 ohm"}},
        part={"R_e": {"kind": "resistor", "nodes": ["e", "low"], "resistance": f"{OHMS} ohm"},
              "Q1": {"kind": "bjt", "IS": f"{IS} A", "BF": "1e6", "temperature": f"{300.0 - 273.15} degC",
                     "TNOM": f"{300.0 - 273.15} degC", "nodes": {"base": "b", "collector": "c", "emitter": "e"}}})


def pulse(circuit, swing, angle):
    """Emitter current of the stage with the corner of an ideal switch at this angle, (512,). [A]

    Taken from the resistor: the exponential of a base voltage of few harmonics that swings by 1 kV is not."""
    state = circuit.solve({"supply.BIAS": swing * np.cos(np.radians(angle / 2))}, harmonics=HARMONICS)
    return waveform(state.current("R_e")[:, 0], 512)


def knee(swing):
    """Base-emitter voltage at the largest current. [V]"""
    return V_T * np.log1p(swing / OHMS / IS)


@pytest.mark.parametrize("harmonic", [1, 2, 3])
def test_second_harmonic_follows_the_clipped_cosine(harmonic):
    # v_be lies between 0 and the knee while current flows: no harmonic differs by more than (1 / pi)
    # integral of the knee over the conduction angle.
    worst = []
    for swing in (10.0, 100.0, 1000.0):
        circuit, far = stage(swing), []
        for angle in (60.0, 90.0, 120.0, 150.0, 180.0, 240.0):
            corner = 1 - np.cos(np.radians(angle / 2))
            current = pulse(circuit, swing, angle)
            found = harmonic_of(current, harmonic) * OHMS / swing
            far.append(abs(found - abs(pulse_harmonic(angle, harmonic)) * corner))
            assert far[-1] < np.radians(angle) / np.pi * knee(1.5 * swing) / swing + TRUNCATION, (swing, angle)
        worst.append(max(far))
    assert worst[1] < 0.2 * worst[0] and worst[2] < 0.2 * worst[1] + TRUNCATION


@pytest.mark.parametrize("swing", [3.0, 10.0, 100.0])
def test_most_of_the_second_harmonic_is_near_120_degrees_but_for_the_knee(swing):
    # For a given peak the tip of a cosine holds most 2 f0 at 120 degrees. The knee v_on takes the place of bias: the
    # corner of the ideal switch is then at 2 acos(1/2 - v_on / swing), 126 degrees at 10 V. v_on is known within what
    # the exponential needs from 5 % to all of the peak, ln(20) V_T; the shift of 2 acos with it sets the tolerance.
    circuit = stage(swing)

    def share(angle):
        current = pulse(circuit, swing, angle)
        return harmonic_of(current, 2) / current.max()

    found = minimize_scalar(lambda angle: -share(angle), bounds=(90, 200), method="bounded", options={"xatol": 0.05})
    high = knee(swing * 0.5)
    angles = [np.degrees(2 * np.arccos(0.5 - v / swing)) for v in (high - 2 * np.log(20) * V_T, high)]
    assert angles[0] - 0.5 < found.x < angles[1] + 0.5  # 0.5 deg: the top is flat to 1e-5 there
    # as the study measures it, above 5 % of the peak, the knee is in both: what is left is how soft it is
    current = pulse(circuit, swing, found.x)
    best = 360 * np.mean(current > CONDUCTING * current.max())
    soft = np.degrees(np.log(20) * V_T / (swing / 2) / np.sin(np.radians(60))) * 2
    assert best == pytest.approx(angle_above(120.0, CONDUCTING), abs=soft + 360 / 512)
    assert -found.fun == pytest.approx(pulse_harmonic(120.0, 2), abs=0.5 * np.log(20) * V_T / swing + TRUNCATION)


def test_theory_of_the_picture_has_its_top_at_120_degrees():
    angle, share = theory(2)
    assert angle[np.argmax(share)] == pytest.approx(angle_above(120.0, CONDUCTING))
    assert share.max() == pytest.approx(0.27566, abs=5e-6)  # digits of the table of Krauss et al. (from memory)
