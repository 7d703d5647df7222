"""Ways to a solution: from cold, from near by, along a sweep; and the words when there is none."""

import numpy as np
import pytest
from balance_circuits import EXAMPLE, mixed_stage, ready

import hbsim
from hbsim.balance.continuation import Effort, Stop, operating_point, steady_state
from hbsim.errors import NotSolved, Refusal


@pytest.fixture(scope="module")
def circuit():
    return hbsim.load(EXAMPLE)


@pytest.mark.parametrize("harmonics", [8, 20])
def test_cold_start_at_high_drive_is_the_end_of_a_fine_sweep(circuit, harmonics):
    state = None
    for power in np.arange(-10.0, 30.01, 0.5):
        state = circuit.solve({"drive.power": power}, harmonics=harmonics, start=state)
    cold = circuit.solve({"drive.power": 30.0}, harmonics=harmonics)
    np.testing.assert_allclose(cold.form, state.form, atol=1e-6 * np.abs(state.form).max())
    assert cold.output_dbm(2) == pytest.approx(state.output_dbm(2), abs=1e-5)


def test_warm_start_takes_fewer_steps_and_gives_the_same_answer(circuit):
    near = circuit.solve({"drive.power": 5.0})
    warm, cold = circuit.solve({"drive.power": 5.2}, start=near), circuit.solve({"drive.power": 5.2})
    assert warm.solver.iterations < cold.solver.iterations
    np.testing.assert_allclose(warm.form, cold.form, atol=1e-8)


def test_a_start_with_other_harmonics_or_of_another_circuit_does_no_harm(circuit):
    cold = circuit.solve({"drive.power": 5.0}, harmonics=12)
    few, other = circuit.solve({"drive.power": 5.0}, harmonics=6), mixed_stage().solve(harmonics=6)
    for start in (few, other):
        warm = circuit.solve({"drive.power": 5.0}, harmonics=12, start=start)
        np.testing.assert_allclose(warm.form, cold.form, atol=1e-8)


def test_sweep_equals_single_solves(circuit):
    powers = [-20.0, -5.0, 0.0, 7.0, 12.0]
    table = circuit.sweep({"drive.power": powers}, harmonics=8)
    assert table.solved.all()
    for row, power in enumerate(powers):
        single = circuit.solve({"drive.power": power}, harmonics=8)
        assert table["output_dbm_2"][row] == pytest.approx(single.output_dbm(2), abs=1e-6)


def test_too_few_steps_are_not_passed_off_as_an_answer():
    system, c, parameters = ready(mixed_stage("20 dBm"), 8)
    x, effort = np.zeros(system.shape), Effort()
    assert not effort.newton(system, x, c, parameters, most_steps=2)
    assert effort.stop is Stop.SPENT and effort.steps == 2 and effort.error > 1e-6


def test_an_unsolvable_balance_raises_with_node_and_harmonic(monkeypatch):
    # every Newton run is cut short, so that each way fails in turn
    system, c, parameters = ready(mixed_stage("20 dBm"), 8)
    plain = type(system).newton
    monkeypatch.setattr(type(system), "newton", lambda self, x, c, p, most_steps=40, *more: plain(
        self, x, c, p, min(most_steps, 1), *more))
    with pytest.raises(NotSolved, match=r"no DC operating point: largest current error .* A at node '\w+[\w. ]*', "
                                        r"harmonic 0, after \d+ steps.*a bias that cannot hold") as caught:
        steady_state(system, c, parameters, None, Effort())
    assert caught.value.iterate is not None


def test_a_balance_that_fails_after_dc_names_the_harmonic(monkeypatch):
    system, c, parameters = ready(mixed_stage("20 dBm"), 8)
    effort = Effort()
    at_dc = operating_point(system, c, parameters, effort)
    monkeypatch.setattr("hbsim.balance.continuation.operating_point", lambda *_: at_dc)
    plain = type(system).newton
    monkeypatch.setattr(type(system), "newton", lambda self, x, c, p, most_steps=40, *more: plain(
        self, x, c, p, min(most_steps, 1), *more))
    with pytest.raises(NotSolved, match=r"largest current error .* A at node '.+', harmonic \d, after \d+ steps; .*"
                                        r"Likely \(a\) 8 harmonics are too few .*sweep up to it"):
        steady_state(system, c, parameters, None, effort)


def test_a_solution_means_the_full_sources():
    # whatever detour was taken: no added conductance, no share of the drive
    circuit = mixed_stage("27 dBm")
    state = circuit.solve(harmonics=12)
    system, c, parameters = ready(circuit, 12)
    x, effort = state.form.copy(), Effort()
    assert effort.newton(system, x, c, parameters, most_steps=1)
    np.testing.assert_allclose(x, state.form, atol=1e-8)


@pytest.mark.parametrize("volts", [0.0, 0.01, 0.1, 0.3])
def test_a_transistor_at_rest_is_solved_at_any_drive(volts):
    # In cut-off hardly any current flows, and the supply's own node has none at all at most harmonics: what is left
    # there is rounding, and it must not pass for an error. The circuit is then linear: output follows the
    # drive dB for dB.
    circuit, gain = mixed_stage(), []
    for power in (-100.0, -80.0, -60.0, -40.0):
        state = circuit.solve({"supply.VCC": volts, "drive.power": power}, harmonics=8)
        assert state.solver.iterations < 60, f"{power} dBm"
        gain.append(state.output_dbm(1) - power)
    np.testing.assert_allclose(gain, gain[0], atol=1e-3)


def test_too_few_harmonics_or_samples_are_refused(circuit):
    with pytest.raises(Refusal, match="1 harmonics are too few; at least 2"):
        circuit.solve(harmonics=1)
    with pytest.raises(Refusal, match="16 samples are too few; 8 harmonics need more than 32"):
        circuit.solve(harmonics=8, samples=16)


def test_no_device_at_all_is_solved_too():
    circuit = hbsim.Circuit.build(drive={"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
                                  port={"input": {"node": "in"}, "output": {"node": "out"}},
                                  part={"R": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "0 ohm"}})
    assert circuit.solve(harmonics=3).output_dbm(1) == pytest.approx(0.0, abs=1e-12)
