"""A circuit that jumps as its drive is turned up and down, for tests in any folder; invented."""

from __future__ import annotations

import hbsim


def varactor_resonator(power: str = "0 dBm") -> hbsim.Circuit:
    """A varactor in series resonance near 573 MHz, driven 7 % below it: with the drive its mean capacitance grows into
    resonance. Two states can be reached from about 10.6 to 13 dBm."""
    return hbsim.Circuit.build(
        title="varactor resonator", drive={"port": "input", "frequency": "533 MHz", "power": power},
        port={"input": {"node": "in", "impedance": "2 ohm"}, "output": {"node": "out"}},
        supply={"V": {"node": "v", "voltage": "-4 V"}},
        part={"L": {"kind": "inductor", "nodes": ["in", "a"], "inductance": "20 nH", "series_resistance": "1 ohm"},
              "C": {"kind": "capacitor", "nodes": ["a", "k"], "capacitance": "100 pF"},
              "D": {"kind": "diode", "nodes": {"anode": "k", "cathode": "ground"}, "CJO": "10 pF", "VJ": "0.7 V",
                    "M": "0.5", "IS": "1e-15 A"},
              "R": {"kind": "resistor", "nodes": ["v", "k"], "resistance": "10 kohm"},
              "Co": {"kind": "capacitor", "nodes": ["k", "out"], "capacitance": "0.05 pF"}})
