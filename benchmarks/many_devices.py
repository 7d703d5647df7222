"""How is the Newton step solved best with many devices? Times of each way, over circuits, devices and harmonics.

    python benchmarks/many_devices.py [--threads] [--json FILE]

For each circuit (tests/balance/coupled_stages.py) and number of harmonics, at the solved state moved by 1 mV, the time
of
one factorisation and one step, least of several:

    whole      the full matrix assembled and factored by LAPACK, one back-substitution
    pieces     the pieces factored and GMRES run (krylov.py), to the tolerance that Newton steps take; its iterations
    sparse     the sparse matrix factored by scipy.sparse.linalg.splu (its assembly left out), one back-substitution

and the whole Newton run from there, in the first two ways. The last column is what regime.py takes by itself.
With --threads: two marches one after the other over two in two threads, each with its own System; the same for two
loops that only count, which says how much of two processors was to be had at that moment.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import threading
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402
from numba import njit  # noqa: E402
from scipy.sparse.linalg import splu  # noqa: E402

from hbsim.balance.continuation import Effort, steady_state  # noqa: E402
from hbsim.balance.direct import matrix  # noqa: E402
from hbsim.balance.equations import residual  # noqa: E402
from hbsim.balance.linearised import factor, linearise, solve_linear  # noqa: E402
from hbsim.balance.prepare import prepare, source_voltages  # noqa: E402
from hbsim.balance.system import System  # noqa: E402

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "balance"))

from coupled_stages import chain, diode_ring, parallel  # noqa: E402

CIRCUITS = {"chain": chain, "parallel": parallel, "ring": lambda count: diode_ring(max(count, 3), series="2 ohm"),
            "shared ring": lambda count: diode_ring(max(count, 3))}
_MOST_WHOLE = 4500  # unknowns up to which the full matrix is timed: beyond, one factorisation takes ten seconds


def _best(task, most: int = 9, patience: float = 1.5, clock=time.process_time) -> float:
    """Least processor time of several runs, fewer of long ones: what others do meanwhile is not counted. [s]"""
    best, began = np.inf, clock()
    for _ in range(most):
        start = clock()
        task()
        best = min(best, clock() - start)
        if clock() - began > patience:
            break
    return best


@njit(nogil=True)
def _count(steps):
    total = 1.0
    for _ in range(steps):
        total = total * 1.0000001 + 1e-9
    return total


def _step(system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray) -> tuple[float, int]:
    """Time of assembling, factoring and one solution at x [s]; iterations."""
    s = system

    def run() -> None:
        linearise(0.0, s.net, s.devices, s.transform, s.work, s.krylov)
        factor(s._lapack, s.work, s.krylov)
        s.work.step[:] = s.work.residual
        solve_linear(s._lapack, s.work, s.krylov)

    residual(x, c, parameters, 0.0, x, s.net, s.devices, s.transform, s.work)
    run()
    s.krylov.iterations[0] = 0
    run()
    iterations = int(s.krylov.iterations[0])
    return _best(run), iterations


def _newton(system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray) -> float:
    def run() -> None:
        stop, _, _ = system.newton(x.copy(), c, parameters)
        if stop != 0:
            raise RuntimeError("not balanced")

    return _best(run)


def one_case(name: str, count: int, harmonics: int) -> dict[str, object]:
    """Times of one circuit. [us]"""
    description = CIRCUITS[name](count).description
    system = prepare(description, harmonics)
    chosen = "whole" if system.keeps_whole else "pieces"
    c, parameters = system.excitation(source_voltages(description, system)), system.parameters()
    system.keep_jacobian(whole=False)
    x = steady_state(system, c, parameters, None, Effort())
    moved = x + 1e-3 * np.random.default_rng(3).normal(size=x.shape)
    clusters = system.work.clusters
    row = {"circuit": name, "devices": len(system.mounted), "harmonics": harmonics, "unknowns": x.size,
           "nodes": len(x), "widest": int(np.diff(clusters.first).max()), "chosen": chosen}
    pieces, iterations = _step(system, moved, c, parameters)
    row |= {"pieces_us": 1e6 * pieces, "iterations": iterations,
            "newton_pieces_us": 1e6 * _newton(system, moved, c, parameters)}
    j = matrix(clusters, system.krylov)
    right = np.ones(x.size)
    if j.nnz < 3e6:
        row["sparse_us"] = 1e6 * _best(lambda: splu(j).solve(right), 3)
    if x.size <= _MOST_WHOLE:
        system.keep_jacobian(whole=True)
        row["whole_us"] = 1e6 * _step(system, moved, c, parameters)[0]
        row["newton_whole_us"] = 1e6 * _newton(system, moved, c, parameters)
    return row


def _in_threads(task, items: list) -> list:
    """The task on each item, in a thread each."""
    results: list = [None] * len(items)

    def run(i: int) -> None:
        results[i] = task(items[i])

    threads = [threading.Thread(target=run, args=(i,)) for i in range(len(items))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def _speed_up(task, items: list) -> dict[str, float]:
    """One after the other over in threads: wall time, and processor time (below 1 where threads make more work)."""
    clocks = {"wall": time.perf_counter, "processor": time.process_time}
    return {name: _best(lambda: [task(item) for item in items], 9, 20, clock)
            / _best(lambda: _in_threads(task, items), 9, 20, clock) for name, clock in clocks.items()}


def two_threads(whole: bool, count: int = 4, harmonics: int = 8) -> dict[str, object]:
    """Speed-up of two marches of 201 points, and whether the answers are the same bits as alone."""
    marches = []
    for _ in range(2):
        description = chain(count).description
        system = prepare(description, harmonics)
        system.keep_jacobian(whole)
        parameters = system.parameters()
        cs = np.array([system.excitation(source_voltages(
            description.with_values({"drive.power": float(level)}), system)) for level in np.linspace(-20, 0, 201)])
        marches.append((system, cs, parameters, steady_state(system, cs[0], parameters, None, Effort())))

    def run(march) -> np.ndarray:
        system, cs, parameters, start = march
        xs, flows = (np.zeros((len(cs), *system.shape)) for _ in range(2))
        xs[0] = start
        stops, steps = np.zeros(len(cs), int), np.zeros(len(cs), int)
        if system.march(xs, cs, parameters, flows, stops, steps, np.zeros(len(cs))) != len(cs):
            raise RuntimeError("the march did not run through")
        return xs

    same = all(map(np.array_equal, [run(march) for march in marches], _in_threads(run, marches)))
    _count(1)
    return {"same": same, "march": _speed_up(run, marches), "count": _speed_up(_count, [10**8, 10**8])}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--threads", action="store_true", help="two threads instead of the table")
    parser.add_argument("--devices", default="1,2,4,8,16,32", help="numbers of devices")
    parser.add_argument("--harmonics", default="4,8,16,32", help="numbers of harmonics")
    parser.add_argument("--circuits", default=",".join(CIRCUITS), help="which of " + ", ".join(CIRCUITS))
    parser.add_argument("--json", metavar="FILE", help="the figures as JSON")
    options = parser.parse_args()
    if options.threads:
        for whole in (True, False):
            print("whole" if whole else "pieces", two_threads(whole))
        return
    columns = ("whole_us", "pieces_us", "iterations", "sparse_us", "newton_whole_us", "newton_pieces_us")
    print(f"{'circuit':12}{'devices':>8}{'K':>4}{'unknowns':>9}{'widest':>7}" + "".join(f"{c:>17}" for c in columns)
          + "  chosen")
    rows = []
    for name in options.circuits.split(","):
        for count in map(int, options.devices.split(",")):
            for harmonics in map(int, options.harmonics.split(",")):
                row = one_case(name, count, harmonics)
                rows.append(row)
                print(f"{name:12}{row['devices']:8}{harmonics:4}{row['unknowns']:9}{row['widest']:7}"
                      + "".join(f"{row[c]:17.0f}" if c in row else f"{'-':>17}" for c in columns)
                      + f"  {row['chosen']}", flush=True)
    if options.json:
        Path(options.json).write_text(json.dumps(rows, indent=1) + "\n")


if __name__ == "__main__":
    main()
