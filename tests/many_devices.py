"""Circuits of many devices, of any number of them, for tests and benchmarks. All invented.

pytest finds this file from every folder of tests (conftest.py stands beside it); a benchmark puts `tests` on its path.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import hbsim

TRANSISTOR = {"use": "npn-25ghz"}
DIODE = {"IS": "30 nA", "N": "1.08", "RS": "6 ohm", "CJO": "0.18 pF", "VJ": "0.4 V", "M": "0.5", "EG": "0.69 eV",
         "XTI": "2"}  # a small metal-semiconductor diode without its package


def chain(stages: int, *, drive_dbm: float = -5.0, frequency: str = "1.152 GHz", supply: str = "3 V",
          transistor: Mapping[str, Any] = TRANSISTOR, coupling: str = "10 pF", pad: str = "330 ohm",
          emitter: str = "27 ohm") -> hbsim.Circuit:
    """Limiting amplifiers in a row, each a transistor with its base divider, collector and emitter resistor.

    Emitter resistor and pad decide the small-signal gain of a stage: 0.7 dB with 330 ohm, 2.5 dB with 220 ohm, 4.4 dB
    with 120 ohm (at 1152 MHz). A collector clips near 1 V, so the swing does not run away, however long the row. With
    330 ohm every stage is gently bent; with 120 ohm all but the first two limit, and the state is hard to find. The
    supply has no resistance: else it would close a loop round the whole row.

    Parameters
    ----------
    stages : int
        Also the number of transistors, Q1 to Qn; the library's has four node voltages that are unknown.
    drive_dbm : float
        [dBm]
    frequency, supply, coupling, pad, emitter : str
        Of drive and supply; capacitor and resistor before each base and before the load; emitter resistor.
    transistor : mapping
        Of the circuit file's table: `use`, or parameters.
    """
    part: dict[str, Any] = {}
    before = "in"
    for n in range(1, stages + 1):
        b, c, e = f"b{n}", f"c{n}", f"e{n}"
        part |= {
            f"C{n}": {"kind": "capacitor", "nodes": [before, f"x{n}"], "capacitance": coupling},
            f"R_pad{n}": {"kind": "resistor", "nodes": [f"x{n}", b], "resistance": pad},
            f"R_up{n}": {"kind": "resistor", "nodes": ["vcc", b], "resistance": "1.5 kohm"},
            f"R_down{n}": {"kind": "resistor", "nodes": [b, "ground"], "resistance": "1 kohm"},
            f"R_c{n}": {"kind": "resistor", "nodes": ["vcc", c], "resistance": "100 ohm"},
            f"R_e{n}": {"kind": "resistor", "nodes": [e, "ground"], "resistance": emitter},
            f"Q{n}": {"kind": "bjt", "nodes": {"base": b, "collector": c, "emitter": e}, **transistor}}
        before = c
    part |= {"C_out": {"kind": "capacitor", "nodes": [before, "x"], "capacitance": coupling},
             "R_pad": {"kind": "resistor", "nodes": ["x", "out"], "resistance": pad}}
    return hbsim.Circuit.build(
        title=f"chain of {stages} limiting amplifiers", part=part,
        drive={"port": "input", "frequency": frequency, "power": f"{drive_dbm} dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}}, wanted={"port": "output", "harmonic": 1},
        supply={"VCC": {"node": "vcc", "voltage": supply, "resistance": "0 ohm"}})


def parallel(devices: int, *, drive_dbm: float = 0.0, emitter: str = "5 ohm",
             transistor: Mapping[str, Any] = TRANSISTOR) -> hbsim.Circuit:
    """A doubler of 1152 MHz whose transistors share base and collector node, each with its own emitter resistor.

    Everything they share is sized for the number of them: impedances over n, the drive's power times n. By symmetry
    each transistor then does what a single one does in its own circuit (`parallel(1)`).

    Parameters
    ----------
    devices : int
    drive_dbm : float
        Share of each device. [dBm]
    emitter : str
        Resistor of each device.
    transistor : mapping
        As for `chain`.
    """
    n = devices
    part: dict[str, Any] = {
        "C_in": {"kind": "capacitor", "nodes": ["in", "b"], "capacitance": f"{10 * n} pF"},
        "R_b": {"kind": "resistor", "nodes": ["vcc", "b"], "resistance": f"{33e3 / n!r} ohm"},
        "L_c": {"kind": "inductor", "nodes": ["vcc", "c"], "inductance": f"{2.2 / n!r} nH",
                "series_resistance": f"{0.5 / n!r} ohm"},
        "C_c": {"kind": "capacitor", "nodes": ["c", "ground"], "capacitance": f"{1.5 * n!r} pF"},
        "C_out": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": f"{0.6 * n!r} pF"}}
    for k in range(1, n + 1):
        part |= {f"R_e{k}": {"kind": "resistor", "nodes": [f"e{k}", "ground"], "resistance": emitter},
                 f"Q{k}": {"kind": "bjt", "nodes": {"base": "b", "collector": "c", "emitter": f"e{k}"}, **transistor}}
    return hbsim.Circuit.build(
        title=f"{n} transistors in parallel", part=part,
        drive={"port": "input", "frequency": "1.152 GHz", "power": f"{drive_dbm + 10 * math.log10(n)!r} dBm"},
        port={"input": {"node": "in", "impedance": f"{50 / n!r} ohm"},
              "output": {"node": "out", "impedance": f"{50 / n!r} ohm"}},
        supply={"VCC": {"node": "vcc", "voltage": "2 V", "resistance": f"{1 / n!r} ohm"}})


def diode_ring(count: int, *, drive_dbm: float = 10.0, diode: Mapping[str, Any] = DIODE) -> hbsim.Circuit:
    """A full-wave bridge of 4 times `count` diodes, `count` of them in series in each arm: a doubler of 1152 MHz.

    Two lossless lines are the baluns, half a wave long at f0 before the bridge and at 2 f0 behind it; DC flows round
    through the second. Impedances and power grow with `count`, so that each diode does what one does in
    `diode_ring(1)`.

    Parameters
    ----------
    count : int
    drive_dbm : float
        Share of each diode of an arm. [dBm]
    diode : mapping
        Parameters of the circuit file's table, or `use`.
    """
    ohms = 50.0 * count

    def balun(start: str, end: str, at: str) -> dict[str, Any]:
        return {"kind": "line", "nodes": [start, end], "impedance": f"{ohms * 1.4!r} ohm",
                "electrical_length": "180 deg", "at": at}

    part: dict[str, Any] = {
        "C_in": {"kind": "capacitor", "nodes": ["in", "up"], "capacitance": f"{10 / count!r} pF"},
        "input_balun": balun("up", "down", "1.152 GHz"), "output_balun": balun("minus", "plus", "2.304 GHz"),
        "C_out": {"kind": "capacitor", "nodes": ["plus", "out"], "capacitance": f"{5 / count!r} pF"}}
    for arm, (start, end) in enumerate([("up", "plus"), ("down", "plus"), ("minus", "up"), ("minus", "down")], 1):
        nodes = [start, *(f"arm{arm}_{k}" for k in range(1, count)), end]
        part |= {f"D{arm}_{k + 1}": {"kind": "diode", "nodes": {"anode": nodes[k], "cathode": nodes[k + 1]}, **diode}
                 for k in range(count)}
    return hbsim.Circuit.build(
        title=f"bridge of {4 * count} diodes", part=part,
        drive={"port": "input", "frequency": "1.152 GHz", "power": f"{drive_dbm + 10 * math.log10(count)!r} dBm"},
        port={"input": {"node": "in", "impedance": f"{ohms!r} ohm"},
              "output": {"node": "out", "impedance": f"{ohms!r} ohm"}})
