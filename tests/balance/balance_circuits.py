"""Circuits that the tests of the balance share; all invented."""

from pathlib import Path

import numpy as np

import hbsim
from hbsim.balance.equations import jacobian, residual
from hbsim.balance.prepare import prepare, source_voltages

EXAMPLE = Path(__file__).parents[2] / "examples" / "lumped_doubler.toml"


def mixed_stage(power="3 dBm", **changes):
    """A transistor with excess phase and all its charges, a diode, and a choke straight to a stiff supply."""
    parts = {
        "C_in": {"kind": "capacitor", "nodes": ["in", "b"], "capacitance": "8 pF"},
        "R_b": {"kind": "resistor", "nodes": ["vcc", "b"], "resistance": "22 kohm"},
        "D1": {"kind": "diode", "use": "switching-diode", "nodes": {"anode": "ground", "cathode": "b"}},
        "L_c": {"kind": "inductor", "nodes": ["vcc", "c"], "inductance": "3 nH"},
        "C_out": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": "1 pF"},
        "Q1": {"kind": "bjt", "use": "npn-25ghz", "nodes": {"base": "b", "collector": "c", "emitter": "e"}},
        "R_e": {"kind": "resistor", "nodes": ["e", "ground"], "resistance": "3 ohm"},
    }
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1.1 GHz", "power": power},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        supply={"VCC": {"node": "vcc", "voltage": "3 V"}},
        part={name: part | changes.get(name, {}) for name, part in parts.items()})


def dc_stage(parts, supplies, nodes=("in", "out")):
    """A circuit whose interest is its DC point: ports reached through small capacitors from the nodes named."""
    coupling = {f"C{i}": {"kind": "capacitor", "nodes": [port, node], "capacitance": "1 fF"}
                for i, (port, node) in enumerate(zip(("in", "out"), nodes)) if port != node}
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 MHz", "power": "-200 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        supply={name: {"node": node, "voltage": f"{voltage} V"} for name, (node, voltage) in supplies.items()},
        part=parts | coupling)


def ready(circuit, harmonics, samples=None):
    """System, right-hand side and parameters of a circuit."""
    system = prepare(circuit.description, harmonics, samples)
    return system, system.excitation(source_voltages(circuit.description, system)), system.parameters()


def residual_and_jacobian(system, x, c, parameters, h=0.0, x_ref=None):
    """Copies of F (flat) and its Jacobian at x."""
    x = np.ascontiguousarray(x)
    reference = x if x_ref is None else x_ref
    residual(x, c, parameters, h, reference, system.net, system.devices, system.transform, system.work)
    f = system.work.residual.ravel().copy()
    jacobian(h, system.net, system.devices, system.transform, system.work)
    return f, system.work.jacobian.copy()
