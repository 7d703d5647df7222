"""How is the Newton step solved best with many devices? Times of each way, over circuits, devices and harmonics.

    python benchmarks/many_devices.py [--threads] [--json FILE]

For each circuit (tests/balance/many_devices.py) and number of harmonics, at the solved state moved by 1 mV, the time of
one factorisation and one step, least of several:

    whole      the full matrix assembled and factored by LAPACK, one back-substitution
    pieces     the pieces factored and GMRES run (krylov.py), to the tolerance that Newton steps take; its iterations
    sparse     the sparse matrix factored by scipy.sparse.linalg.splu (its assembly left out), one back-substitution

and the whole Newton run from there, in the first two ways. The last column is what regime.py takes by itself.
With --threads: two marches in two threads over one after the other, each with its own System.
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

import hbsim  # noqa: E402
from hbsim.balance.continuation import Effort, steady_state  # noqa: E402
from hbsim.balance.direct import matrix, solver  # noqa: E402
from hbsim.balance.equations import residual  # noqa: E402
from hbsim.balance.linearised import factor, linearise, solve_linear  # noqa: E402
from hbsim.balance.prepare import prepare, source_voltages  # noqa: E402
from hbsim.balance.system import System  # noqa: E402

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "balance"))

from many_devices import chain, diode_ring, parallel  # noqa: E402

CIRCUITS = {"chain": chain, "parallel": parallel, "ring": lambda count: diode_ring(max(count, 3), series="2 ohm"),
            "shared ring": lambda count: diode_ring(max(count, 3))}
_MOST_WHOLE = 4500  # unknowns up to which the full matrix is timed: beyond, one factorisation takes ten seconds


def _best(task, most: int = 9, patience: float = 1.5) -> float:
    """Least time of several runs, fewer of long ones. [s]"""
    best, began = np.inf, time.perf_counter()
    for _ in range(most):
        start = time.perf_counter()
        task()
        best = min(best, time.perf_counter() - start)
        if time.perf_counter() - began > patience:
            break
    return best


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
    return (lambda iterations: (_best(run), iterations))(int(s.krylov.iterations[0]))


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
        from scipy.sparse.linalg import splu
        row["sparse_us"] = 1e6 * _best(lambda: splu(j).solve(right), 3)
    if x.size <= _MOST_WHOLE:
        system.keep_jacobian(whole=True)
        row["whole_us"] = 1e6 * _step(system, moved, c, parameters)[0]
        row["newton_whole_us"] = 1e6 * _newton(system, moved, c, parameters)
    return row


def two_threads(count: int = 4, harmonics: int = 8) -> dict[str, float]:
    """Two marches in two threads over the same two one after the other; and whether the answers are the same bits."""
    found = {}
    for whole in (True, False):
        tasks = []
        for _ in range(2):
            description = chain(count).description
            system = prepare(description, harmonics)
            system.keep_jacobian(whole)
            parameters = system.parameters()
            cs = np.array([system.excitation(source_voltages(
                description.with_values({"drive.power": float(level)}), system)) for level in np.linspace(-20, 0, 201)])
            start = steady_state(system, cs[0], parameters, None, Effort())
            tasks.append((system, cs, parameters, start))

        def run(task) -> np.ndarray:
            system, cs, parameters, start = task
            xs, flows = (np.zeros((len(cs), *system.shape)) for _ in range(2))
            xs[0] = start
            stops, steps = np.zeros(len(cs), int), np.zeros(len(cs), int)
            if system.march(xs, cs, parameters, flows, stops, steps, np.zeros(len(cs))) != len(cs):
                raise RuntimeError("the march did not run through")
            return xs

        def together() -> list[np.ndarray]:
            results: list = [None, None]
            threads = [threading.Thread(target=lambda i=i: results.__setitem__(i, run(tasks[i]))) for i in range(2)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            return results

        alone = [run(task) for task in tasks]
        same = all(np.array_equal(a, b) for a, b in zip(alone, together()))
        ratio = _best(lambda: [run(task) for task in tasks], 7, 30) / _best(together, 7, 30)
        found |= {f"{'whole' if whole else 'pieces'}_speed_up": ratio, f"{'whole' if whole else 'pieces'}_same": same}
    return found


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
        print(two_threads())
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
