"""The hard cases as hbsim sees them; all circuits invented. The same ones in time: circuits_in_time.py."""

import copy
import tomllib
from pathlib import Path

import hbsim

EXAMPLE = Path(__file__).parents[2] / "examples" / "lumped_doubler.toml"
TABLES = tomllib.loads(EXAMPLE.read_text())


def diode_loop(diode, frequency, R, L, R_probe):
    """Generator of R, coil and junction in series; the output port is a probe of R_probe across the junction."""
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": f"{frequency} Hz", "power": "0 dBm"},
        port={"input": {"node": "in", "impedance": f"{R} ohm"}, "output": {"node": "a", "impedance": f"{R_probe} ohm"}},
        part={"L": {"kind": "inductor", "nodes": ["in", "a"], "inductance": f"{L} H"},
              "D": placed(diode, "a", "ground")})


def varactor_loop(diode, frequency, R_generator, R_coil, L, C, R_bias, v_bias, C_out, R_load):
    """Generator, coil, C and varactor in series; bias through R_bias and load through C_out at the varactor."""
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": f"{frequency} Hz", "power": "0 dBm"},
        port={"input": {"node": "in", "impedance": f"{R_generator} ohm"},
              "output": {"node": "out", "impedance": f"{R_load} ohm"}},
        supply={"V": {"node": "v", "voltage": f"{v_bias} V"}},
        part={"L": {"kind": "inductor", "nodes": ["in", "a"], "inductance": f"{L} H",
                    "series_resistance": f"{R_coil} ohm"},
              "C": {"kind": "capacitor", "nodes": ["a", "k"], "capacitance": f"{C} F"},
              "D": placed(diode, "k", "ground"),
              "R": {"kind": "resistor", "nodes": ["v", "k"], "resistance": f"{R_bias} ohm"},
              "C_out": {"kind": "capacitor", "nodes": ["k", "out"], "capacitance": f"{C_out} F"}})


def placed(diode, anode, cathode):
    """A diode of circuits_in_time.py as a part of a circuit file."""
    units = {"IS": " A", "N": "", "TT": " s", "CJO": " F", "VJ": " V", "M": "", "FC": ""}
    return {"kind": "diode", "nodes": {"anode": anode, "cathode": cathode}} \
        | {name: f"{value}{units[name]}" for name, value in diode._asdict().items()}


def stage(ports=None, **parts):
    """The lumped doubler of the examples with ports added, and parts added or changed; None takes a part away."""
    tables = copy.deepcopy(TABLES)
    tables["port"] |= ports or {}
    for name, part in parts.items():
        tables["part"][name] = tables["part"].get(name, {}) | (part or {})
        if part is None:
            del tables["part"][name]
    return hbsim.Circuit.build(**tables)


def resistor(start, end, ohm):
    return {"kind": "resistor", "nodes": [start, end], "resistance": f"{ohm} ohm"}


def capacitor(start, end, farad):
    return {"kind": "capacitor", "nodes": [start, end], "capacitance": f"{farad} F"}


def coil(start, end, henry, ohm):
    return {"kind": "inductor", "nodes": [start, end], "inductance": f"{henry} H", "series_resistance": f"{ohm} ohm"}
