"""Does it solve everything, and rightly? Random doublers, each answer confirmed; every unsolved one named.

    python benchmarks/random_doublers.py [--count 2000] [--seed 1]

Random transistor of the library, supply 0 to 15 V, drive -60 to +30 dBm, random couplings, chokes, lines, open and
shorted stubs (resonances included), emitter resistor, bias from supply or collector. An answer is confirmed when the
power balance closes to 1e-9 and the state found is still one when harmonics and samples are doubled (the output at
2 f0, where it is above -60 dBm, moves by less than 3 dB; the truncation error itself is no fault).
"""

from __future__ import annotations

import argparse
import os
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402

import hbsim  # noqa: E402

HARMONICS = 8


def random_doubler(rng: np.random.Generator) -> hbsim.Circuit:
    """One circuit."""
    def spread(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    def stub(node: str) -> dict:
        kinds = ["open stub", "shorted stub"] if node == "in" else ["open stub"]
        return {"kind": str(rng.choice(kinds)), "nodes": [node], "impedance": f"{spread(20, 150)} ohm",
                "electrical_length": f"{rng.uniform(1, 180)} deg", "at": "1 GHz"}

    part = {
        "Ci": {"kind": "capacitor", "nodes": ["in", "b"], "capacitance": f"{spread(3e-13, 1e-9)} F"},
        "Lc": {"kind": "inductor", "nodes": ["vcc", "x"], "inductance": f"{spread(1e-10, 1e-7)} H",
               "series_resistance": f"{spread(1e-3, 10)} ohm"},
        "line": {"kind": "line", "nodes": ["x", "c"], "impedance": f"{spread(20, 150)} ohm",
                 "electrical_length": f"{rng.uniform(0, 200)} deg", "at": "1 GHz"},
        "stub_in": stub("in"), "stub_c": stub("c"),
        "Co": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": f"{spread(1e-13, 1e-10)} F"},
        "Re": {"kind": "resistor", "nodes": ["e", "ground"], "resistance": f"{spread(0.01, 100)} ohm"},
        "Rb": {"kind": "resistor", "nodes": ["c" if rng.random() < 0.5 else "vcc", "b"],
               "resistance": f"{spread(500, 1e5)} ohm"},
        "Q1": {"kind": "bjt", "use": str(rng.choice(["npn-5ghz", "npn-25ghz", "npn-60ghz"])),
               "nodes": {"base": "b", "collector": "c", "emitter": "e"}},
    }
    if rng.random() < 0.5:
        part["Rg"] = {"kind": "resistor", "nodes": ["ground", "b"], "resistance": f"{spread(100, 1e5)} ohm"}
    return hbsim.Circuit.build(
        title="random doubler", part=part,
        drive={"port": "input", "frequency": f"{spread(2e8, 5e9)} Hz", "power": f"{rng.uniform(-60, 30)} dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        supply={"VCC": {"node": "vcc", "voltage": f"{rng.uniform(0, 15)} V", "resistance": f"{spread(1e-3, 10)} ohm"}})


def fault(circuit: hbsim.Circuit, state: hbsim.SteadyState) -> str:
    """What is wrong with an answer; empty when it is confirmed."""
    flows = state.power_balance
    if abs(flows["error"]) > 1e-9 * max(abs(flows["given"]), 1e-15):
        return f"power balance open by {flows['error']:.1e} W of {flows['given']:.1e} W"
    finer = circuit.solve(harmonics=2 * HARMONICS, samples=2 * state.solver.samples, start=state)
    moved = abs(finer.output_dbm(2) - state.output_dbm(2))
    if state.output_dbm(2) > -60 and moved > 3.0:
        return f"2 f0 moves by {moved:.1f} dB with doubled harmonics"
    return ""


def main() -> None:
    """Run and print what failed and a table of Newton steps."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng, began = np.random.default_rng(options.seed), time.perf_counter()
    unsolved, wrong, steps = [], [], []
    for number in range(options.count):
        circuit = random_doubler(rng)
        drive, supply = circuit.description.drive.power_dbm, circuit.description.supplies["VCC"].voltage
        place = f"circuit {number}: {drive:.1f} dBm, {supply:.2f} V"
        try:
            state = circuit.solve(harmonics=HARMONICS)
            steps.append(state.solver.iterations)
            said = fault(circuit, state)
            if said:
                wrong.append(f"{place}: {said}")
        except hbsim.NotSolved as failure:
            unsolved.append(f"{place}: {failure}")
    print(f"{options.count} circuits in {time.perf_counter() - began:.0f} s: {len(unsolved)} unsolved, "
          f"{len(wrong)} not confirmed")
    print("Newton steps: " + ", ".join(f"{name} {value:.0f}" for name, value in
                                       zip(("median", "95 %", "most"), np.percentile(steps, [50, 95, 100]))))
    for line in [*unsolved, *wrong]:
        print(" ", line)


if __name__ == "__main__":
    main()
