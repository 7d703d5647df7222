"""Conservation of power and current, over random lumped doublers and on every example of the project."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import hbsim
from hbsim.balance.newton import TOLERANCE

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))


def log_range(low, high):
    """Numbers spread evenly over decades."""
    return st.floats(np.log10(low), np.log10(high)).map(lambda exponent: float(10.0**exponent))


doublers = st.fixed_dictionaries({
    "supply": st.floats(0, 8), "drive": st.floats(-40, 15), "r_bias": log_range(1e3, 1e6),
    "r_supply": st.sampled_from([0.0, 2.0]),
    "r_emitter": log_range(0.01, 100), "l_collector": log_range(0.3e-9, 30e-9), "r_coil": st.floats(0, 3),
    "c_collector": log_range(0.1e-12, 10e-12), "c_in": log_range(1e-12, 1e-10), "c_out": log_range(0.1e-12, 1e-10),
    "feedback": st.booleans(), "model": st.sampled_from(["npn-5ghz", "npn-25ghz", "npn-60ghz"]),
    "frequency": log_range(1e8, 6e9), "load": log_range(5, 500)})


def doubler(v):
    """A lumped doubler stage with a diode across its input; invented."""
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": f"{v['frequency']} Hz", "power": f"{v['drive']} dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out", "impedance": f"{v['load']} ohm"}},
        supply={"VCC": {"node": "vcc", "voltage": f"{v['supply']} V", "resistance": f"{v['r_supply']} ohm"}},
        part={
            "C_in": {"kind": "capacitor", "nodes": ["in", "b"], "capacitance": f"{v['c_in']} F"},
            "R_b": {"kind": "resistor", "nodes": ["c" if v["feedback"] else "vcc", "b"],
                    "resistance": f"{v['r_bias']} ohm"},
            "L_c": {"kind": "inductor", "nodes": ["vcc", "c"], "inductance": f"{v['l_collector']} H",
                    "series_resistance": f"{v['r_coil']} ohm"},
            "C_c": {"kind": "capacitor", "nodes": ["c", "ground"], "capacitance": f"{v['c_collector']} F"},
            "C_out": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": f"{v['c_out']} F"},
            "R_e": {"kind": "resistor", "nodes": ["e", "ground"], "resistance": f"{v['r_emitter']} ohm"},
            "D": {"kind": "diode", "use": "switching-diode", "nodes": {"anode": "ground", "cathode": "b"}},
            "Q": {"kind": "bjt", "use": v["model"], "nodes": {"base": "b", "collector": "c", "emitter": "e"}}})


def check_power(state):
    """What generator and supplies give is the heat in all parts, to 1e-6 of what they give."""
    balance = state.power_balance
    parts = set(state.description.parts) | set(state.description.devices)
    ports, supplies = state.description.ports, state.description.supplies
    sources = {f"port.{name}" for name in ports} | {f"supply.{name}" for name in supplies}
    junctions = {junction.element.name for junction in state.description.joined.added}
    assert set(balance) == parts | junctions | sources | {"given", "error"}
    heat = sum(power for name, power in balance.items() if name not in ("given", "error"))
    assert balance["error"] == pytest.approx(balance["given"] - heat, abs=1e-18)
    assert abs(balance["error"]) <= 1e-6 * abs(balance["given"])


def check_currents(state):
    """Kirchhoff's law at every node and harmonic, from the currents of the parts and of the device pins."""
    sums = {node: np.zeros(state.system.harmonics + 1, complex) for node in [*state.nodes, "ground"]}
    sizes = {node: 0.0 for node in sums}
    elements = {name: element.nodes for name, element in state.system.network.elements.items()}
    inside = {inner.name for mounted in state.system.mounted for inner in mounted.elements()}
    for name, nodes in elements.items():
        if name in inside:
            continue
        for node, current in zip(nodes, state.current(name).T):
            sums[node] += current
            sizes[node] += np.abs(current).max()
    for mounted in state.system.mounted:
        device = state.devices[mounted.name]
        for pin, node in mounted.pins.items():
            sums[node] += device.pin_current[pin]
            sizes[node] += np.abs(device.pin_current[pin]).max()
        total = sum(device.pin_current.values())
        size = sum(np.abs(current).max() for current in device.pin_current.values())
        # inner nodes balance to the solver's tolerance, and the sum over the pins is their error
        assert np.abs(total).max() <= 10 * TOLERANCE * size + 1e-17, mounted.name
    for node, total in sums.items():
        if sizes[node] and node != "ground":  # ground takes what port and supply symbols leave out
            assert np.abs(total).max() <= 10 * TOLERANCE * sizes[node] + 1e-17, node


@settings(max_examples=40)
@given(doublers)
def test_power_and_current_of_random_doublers(values):
    state = doubler(values).solve(harmonics=10)
    check_power(state)
    check_currents(state)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
@pytest.mark.parametrize("drive", ["-20 dBm", "10 dBm"])
def test_power_and_current_of_the_examples(path, drive):
    state = hbsim.load(path).solve({"drive.power": drive}, harmonics=8)
    check_power(state)
    check_currents(state)


@settings(max_examples=15)
@given(doublers)
def test_nothing_is_made_from_nothing(values):
    # without supply all power comes from the generator: no output may exceed what is available
    assume(values["drive"] > -30)
    state = doubler(values | {"supply": 0.0}).solve(harmonics=10)
    available = 1e-3 * 10 ** (values["drive"] / 10)
    assert sum(state.output_watts(k) for k in range(11)) <= available * (1 + 1e-9)
    assert abs(state.input_reflection) <= 1 + 1e-9
