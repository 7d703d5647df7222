"""The generator's own second harmonic: superposition where all is linear, one answer in solves and sweeps, slopes."""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.balance.gradient import gradient
from hbsim.studies.budget import budget

EXAMPLES = Path(__file__).parents[2] / "examples"
LEVEL = {"drive.second_harmonic": -20.0, "drive.second_harmonic_phase": 40.0}


@pytest.fixture(scope="module")
def divider():
    """50 ohm, 50 ohm in the line, 50 ohm; a diode far from it, which the solver needs."""
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 GHz", "power": "0 dBm", "second_harmonic": "-20 dB",
               "second_harmonic_phase": "40 deg"},
        port={"input": {"node": "a"}, "output": {"node": "b"}}, supply={"V": {"node": "s", "voltage": "1 V"}},
        part={"R": {"kind": "resistor", "nodes": ["a", "b"], "resistance": "50 ohm"},
              "R2": {"kind": "resistor", "nodes": ["s", "d"], "resistance": "1 kohm"},
              "D": {"kind": "diode", "use": "switching-diode", "nodes": {"anode": "d", "cathode": "ground"}}})


def test_a_linear_circuit_adds_it_by_itself(divider):
    """Superposition: V = E / 3 at each harmonic, E of 2 f0 0.1 of that of f0, turned by 40 deg."""
    state = divider.solve(harmonics=6)
    e1 = np.sqrt(8 * 50 * 1e-3)
    assert state.voltage("b")[1] == pytest.approx(e1 / 3, rel=1e-9)
    assert state.voltage("b")[2] == pytest.approx(0.1 * e1 / 3 * np.exp(1j * np.radians(40)), rel=1e-9)
    assert abs(state.voltage("b")[3]) < 1e-12
    assert state.output_dbm(1) - state.output_dbm(2) == pytest.approx(20.0, abs=1e-9)


def test_without_it_nothing_changes():
    circuit = hbsim.load(EXAMPLES / "lumped_doubler.toml")
    weak = circuit.solve({"drive.second_harmonic": -200.0}, harmonics=12)
    assert circuit.solve(harmonics=12).output_dbm(2) == pytest.approx(weak.output_dbm(2), abs=1e-6)


def test_a_sweep_says_what_single_solves_say():
    circuit = hbsim.load(EXAMPLES / "lumped_doubler.toml").with_values(LEVEL)
    table = circuit.sweep({"drive.power": [-6.0, 0.0]}, harmonics=12, estimate=False)
    for number, power in enumerate((-6.0, 0.0)):
        state = circuit.solve({"drive.power": power}, harmonics=12)
        assert table["output_dbm_2"][number] == pytest.approx(state.output_dbm(2), abs=1e-6)
    plain = hbsim.load(EXAMPLES / "lumped_doubler.toml").solve(harmonics=12)
    assert abs(table["output_dbm_2"][1] - plain.output_dbm(2)) > 0.05  # it mixes inside the device


def test_slopes_are_those_of_full_solves():
    circuit = hbsim.load(EXAMPLES / "lumped_doubler.toml").with_values(LEVEL)
    at = {**LEVEL, "drive.power": 0.0, "port.input.impedance": 50.0, "Q1.BF": 105.0}
    found = gradient(circuit.solve(at, harmonics=12), ["output_dbm_2"], list(at))["output_dbm_2"]
    for address, value in at.items():
        step = 1e-3 * max(abs(value), 1.0)
        up, down = (circuit.solve({**at, address: value + s * step}, harmonics=12).output_dbm(2) for s in (1, -1))
        assert found[address] == pytest.approx((up - down) / (2 * step), rel=1e-5, abs=1e-9)


def test_the_power_budget_closes_with_it():
    circuit = hbsim.load(EXAMPLES / "lumped_doubler.toml").with_values(LEVEL)
    assert budget(circuit.solve(harmonics=12)).closure < 1e-9
