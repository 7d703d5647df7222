"""How much more comes out of 1, 2, 4, 8 and 16 transistors in parallel, when no two of them are alike?

    python examples/transistors_in_parallel.py

A doubler of 1152 MHz, invented: the transistors share base and collector, each has an emitter resistor of its own,
and everything that they share is sized for their number. With equal transistors n of them give n times the power of
one. Here their saturation currents differ by up to 30 % to either side; the emitter resistors make them share the
current all the same, so that little is lost. The last column says how the linear equations of each step were solved:
with few unknowns as one matrix, with many in pieces and by iteration, without being asked.
"""

from __future__ import annotations

import math

import hbsim


def doubler(count: int, spread: float = 0.3) -> hbsim.Circuit:
    """`count` transistors in parallel, their saturation currents spread evenly over 1 - spread to 1 + spread."""
    part = {
        "C_in": {"kind": "capacitor", "nodes": ["in", "b"], "capacitance": f"{10 * count} pF"},
        "R_b": {"kind": "resistor", "nodes": ["vcc", "b"], "resistance": f"{33e3 / count} ohm"},
        "L_c": {"kind": "inductor", "nodes": ["vcc", "c"], "inductance": f"{2.2 / count} nH",
                "series_resistance": f"{0.5 / count} ohm"},
        "C_c": {"kind": "capacitor", "nodes": ["c", "ground"], "capacitance": f"{1.5 * count} pF"},
        "C_out": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": f"{0.6 * count} pF"}}
    for n in range(1, count + 1):
        of_nominal = 1.0 + spread * (2 * (n - 0.5) / count - 1)
        part |= {
            f"R_e{n}": {"kind": "resistor", "nodes": [f"e{n}", "ground"], "resistance": "5 ohm"},
            f"Q{n}": {"kind": "bjt", "use": "npn-25ghz", "IS": f"{2e-17 * of_nominal} A",
                      "nodes": {"base": "b", "collector": "c", "emitter": f"e{n}"}}}
    each = {"impedance": f"{50 / count} ohm"}
    return hbsim.Circuit.build(
        title=f"{count} transistors in parallel", part=part,
        drive={"port": "input", "frequency": "1.152 GHz", "power": f"{10 * math.log10(count)} dBm"},
        port={"input": {"node": "in"} | each, "output": {"node": "out"} | each},
        supply={"VCC": {"node": "vcc", "voltage": "2 V", "resistance": f"{1 / count} ohm"}})


def main() -> None:
    """Print a row for each number of transistors."""
    print("transistors  2 f0 / dBm  over one / dB  collector currents / mA  unknowns  equations solved")
    first = None
    for count in (1, 2, 4, 8, 16):
        state = doubler(count).solve()
        level = state.output_dbm(2)
        first = level if first is None else first
        currents = sorted(1e3 * float(device.pin_current["collector"][0].real) for device in state.devices.values())
        way = "as one matrix" if state.system.keeps_whole else "in pieces, by iteration"
        print(f"{count:11d}  {level:10.2f}  {level - first:13.2f}  {currents[0]:11.2f} to {currents[-1]:8.2f}  "
              f"{math.prod(state.system.shape):8d}  {way}")


if __name__ == "__main__":
    main()
