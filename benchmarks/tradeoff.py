"""The front of two doublers by the optimiser, and by a grid of 201 x 201 points: which is better, at what cost?

Both use the same number of harmonics. "below": by how much, at most, a point of the grid's front is better than every
point found, on the count where it is better by less. What must hold: below no more than 0.05 dB, and at least ten
times fewer solves. Returns status 1 where it does not. Options: the points along one side of the grid.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

import hbsim  # noqa: E402
from hbsim.studies.tradeoff import tradeoff  # noqa: E402
from hbsim.studies.wishes import BEST_MATCH_DB  # noqa: E402

HARMONICS = 16
CASES = {"beacon_2304": {"supply.VCC": (1.0, 8.0), "match_stub.length": (20e-3, 30e-3)},
         "beacon_5760": {"supply.VCC": (1.0, 6.0), "match_stub.length": (1e-3, 8e-3)}}


def grid_front(circuit: hbsim.Circuit, free: dict[str, tuple[float, float]], side: int) -> np.ndarray:
    """Points of a grid that no other one beats, (n, 2): output [dBm], return loss counted to 40 dB. [dB]"""
    axes = {address: np.linspace(low, high, side) for address, (low, high) in free.items()}
    table = circuit.sweep(axes, harmonics=HARMONICS, estimate=False)
    solved = table.solved.ravel()
    output, match = table["output_dbm_2"].ravel()[solved], table["input_return_loss_db"].ravel()[solved]
    counts = np.stack([output, np.minimum(match, BEST_MATCH_DB)], axis=1)
    ranked = counts[np.lexsort((-counts[:, 1], -counts[:, 0]))]
    highest = np.maximum.accumulate(np.concatenate([[-np.inf], ranked[:-1, 1]]))
    return ranked[ranked[:, 1] > highest]


def below(front: np.ndarray, found: np.ndarray) -> float:
    """The largest lead of a point of one front, (n, 2), over every point of the other, on its lesser count. [dB]"""
    lead = (front[:, None, :] - found[None, :, :]).max(axis=2)
    return float(lead.min(axis=1).max())


def main(side: int) -> int:
    """Print both fronts' figures."""
    good = True
    for name, free in CASES.items():
        circuit = hbsim.load(ROOT / "examples" / f"{name}.toml")
        began = time.perf_counter()
        found = tradeoff(circuit.description, free, harmonics=HARMONICS)
        taken = time.perf_counter() - began
        points = np.array([[p.figures["output_dbm_2"], min(p.figures["input_return_loss_db"], BEST_MATCH_DB)]
                           for p in found.points])
        began = time.perf_counter()
        front = grid_front(circuit, free, side)
        worst, lead = below(front, points), below(points, front)
        print(f"{name}: {len(points)} points for {found.solves} solves in {taken:.1f} s; grid of {side} x {side}: "
              f"{len(front)} points for {side**2} solves ({side**2 / found.solves:.0f} times as many) in "
              f"{time.perf_counter() - began:.1f} s")
        print(f"    the optimiser is below the grid by at most {worst:.3f} dB, the grid below the optimiser by "
              f"{lead:.3f} dB", flush=True)
        good &= worst <= 0.05 and (side < 201 or side**2 >= 10 * found.solves)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 201))
