"""Circuits of many devices that the tests and benchmarks of the balance share; all invented."""

from __future__ import annotations

import hbsim


def _stage(i: int, base: str, collector: str, supply: str = "vcc") -> dict[str, dict]:
    """A transistor with its bias and a tuned collector."""
    return {
        f"R_b{i}": {"kind": "resistor", "nodes": [supply, base], "resistance": "33 kohm"},
        f"L_c{i}": {"kind": "inductor", "nodes": [supply, collector], "inductance": "2.2 nH",
                    "series_resistance": "0.5 ohm"},
        f"R_c{i}": {"kind": "resistor", "nodes": [collector, "ground"], "resistance": "150 ohm"},
        f"Q{i}": {"kind": "bjt", "use": "npn-25ghz",
                  "nodes": {"base": base, "collector": collector, "emitter": f"e{i}"}},
        f"R_e{i}": {"kind": "resistor", "nodes": [f"e{i}", "ground"], "resistance": "6 ohm"},
    }


def _built(parts: dict[str, dict], power: str, resistance: str) -> hbsim.Circuit:
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1.1 GHz", "power": power},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        supply={"VCC": {"node": "vcc", "voltage": "2 V", "resistance": resistance}}, part=parts)


def chain(count: int, power: str = "-6 dBm", resistance: str = "0.5 ohm") -> hbsim.Circuit:
    """Stages in a row, each collector on the next base through an attenuator of about 10 dB and a capacitor."""
    parts = {"C_vcc": {"kind": "capacitor", "nodes": ["vcc", "ground"], "capacitance": "100 pF"}}
    for i in range(count):
        before = "in" if i == 0 else f"t{i - 1}"
        parts |= _stage(i, f"b{i}", f"c{i}")
        parts[f"C_in{i}"] = {"kind": "capacitor", "nodes": [before, f"b{i}"], "capacitance": "6 pF"}
        after = "out" if i == count - 1 else f"t{i}"
        parts[f"R_t{i}"] = {"kind": "resistor", "nodes": [f"o{i}", after], "resistance": "91 ohm"}
        parts[f"R_s{i}"] = {"kind": "resistor", "nodes": [after, "ground"], "resistance": "68 ohm"}
        parts[f"C_o{i}"] = {"kind": "capacitor", "nodes": [f"c{i}", f"o{i}"], "capacitance": "2 pF"}
    return _built(parts, power, resistance)


def parallel(count: int, power: str = "6 dBm", resistance: str = "0.5 ohm") -> hbsim.Circuit:
    """Stages side by side: one generator and one load through a capacitor each, none quite like the next."""
    parts = {"C_vcc": {"kind": "capacitor", "nodes": ["vcc", "ground"], "capacitance": "100 pF"}}
    for i in range(count):
        parts |= _stage(i, f"b{i}", f"c{i}")
        parts[f"C_in{i}"] = {"kind": "capacitor", "nodes": ["in", f"b{i}"], "capacitance": f"{3 + 0.1 * i} pF"}
        parts[f"C_out{i}"] = {"kind": "capacitor", "nodes": [f"c{i}", "out"], "capacitance": f"{0.5 + 0.02 * i} pF"}
    return _built(parts, power, resistance)


def diode_ring(count: int = 4, power: str = "14 dBm", series: str = "0 ohm") -> hbsim.Circuit:
    """Diodes head to tail in a ring, driven at one corner and loaded half way round; corners shared by two diodes.

    Without series resistance the whole ring hangs together by branches; with it each diode stands by itself."""
    parts = {}
    for i in range(count):
        parts[f"D{i}"] = {"kind": "diode", "use": "switching-diode", "RS": series, "series_inductance": "0 nH",
                          "nodes": {"anode": f"n{i}", "cathode": f"n{(i + 1) % count}"}}
        parts[f"R{i}"] = {"kind": "resistor", "nodes": [f"n{i}", "ground"], "resistance": f"{180 + 20 * i} ohm"}
    parts["C_in"] = {"kind": "capacitor", "nodes": ["in", "n0"], "capacitance": "20 pF"}
    parts["C_out"] = {"kind": "capacitor", "nodes": [f"n{count // 2}", "out"], "capacitance": "20 pF"}
    parts["R_vcc"] = {"kind": "resistor", "nodes": ["vcc", "n1"], "resistance": "1 kohm"}
    return _built(parts, power, "0 ohm")
