"""How near is the solver to what the machine can do? Ratios, each measured side by side in one run on this machine.

    python benchmarks/solver_speed.py [--json FILE] [--quick]

1. Table: microseconds a point of a drive sweep of a chain of transistors (tests/many_devices.py), for 4 to 32 harmonics
   and 1 to 32 devices, over its floor: the Newton steps taken, each one evaluation of all devices and one factorisation
   (of the whole matrix, or of the clusters' where the Jacobian is kept by clusters). Growth: exponents fitted to the
   times over devices and over harmonics.
2. `versus_root`: the 41-point sweep of the beacon doubler (K = 8) by scipy.optimize.root on the same compiled residual,
   each point from the one before it, to the same current error, over the time of the march; `versus_root_jacobian` is
   the same with the compiled Jacobian given to it.
3. `floor_ratio`, `thread_speedup`: a map of 101 x 101 drives and supplies of the beacon doubler (8 harmonics given,
   no estimate) as people call it, in two threads over one; and one thread's processor time over its floor.
4. `versus_time_domain`: as in main_job.py, the time integration of the lumped doubler to 0.01 dB without foreknowledge
   over a point of hbsim, in one thread.
5. `million`: a map of 10^6 points in a process of its own: points a second, memory without what is mapped from files.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402
from numba import njit  # noqa: E402
from scipy.optimize import root  # noqa: E402

import hbsim  # noqa: E402
from hbsim.balance.continuation import Effort, steady_state  # noqa: E402
from hbsim.balance.equations import jacobian, residual  # noqa: E402
from hbsim.balance.native import call_law, lu_factor  # noqa: E402
from hbsim.balance.newton import TOLERANCE  # noqa: E402
from hbsim.balance.prepare import prepare, source_voltages  # noqa: E402
from hbsim.balance.system import System  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from main_job import USED, time_domain  # noqa: E402
from many_devices import chain  # noqa: E402

HARMONICS = (4, 8, 16, 32)
DEVICES = (1, 2, 4, 8, 16, 32)
BEACON = ROOT / "examples" / "beacon_2304.toml"
MAP = {"supply.VCC": "1:6:0.05V", "drive.power": "-20:10:0.3dBm"}


@njit(nogil=True)
def _evaluations(repeats, devices, u, parameters, iqt, di, dq, dt):
    for _ in range(repeats):
        for d in range(devices.address.shape[0]):
            lo, hi = devices.branch_start[d], devices.branch_start[d + 1]
            call_law(devices.address[d], u[lo:hi], parameters[devices.parameter_start[d]:], iqt[0, lo:hi],
                     iqt[1, lo:hi], iqt[2, lo:hi], di[d], dq[d], dt[d])


@njit(nogil=True)
def _factorisations(repeats, lapack, matrix, work, pivots):
    for _ in range(repeats):
        work[:, :] = matrix
        lu_factor(lapack, work, pivots)


def best(task, repeats: int = 5) -> float:
    """Least processor time of several runs. [s]"""
    times = []
    for _ in range(repeats):
        began = time.process_time()
        task()
        times.append(time.process_time() - began)
    return min(times)


def floor_of_step(system: System, parameters: np.ndarray) -> float:
    """Time of one evaluation of all devices and one factorisation. [s]"""
    work, repeats = system.work, 20
    law = best(lambda: _evaluations(repeats, system.devices, work.u, parameters, work.iqt, work.di, work.dq, work.dt))
    if system.keeps_whole:
        sizes = [system.shape[0] * system.shape[1]]
    else:
        sizes = (np.diff(work.clusters.first) * system.shape[1]).tolist()
    factor, random = 0.0, np.random.default_rng(1)
    for size, count in zip(*np.unique(sizes, return_counts=True)):
        matrix = random.normal(size=(size, size)) + size * np.eye(size)
        place, pivots = matrix.copy(), np.zeros(size, np.int32)
        times = max(1, int(3e6 / size**2.5))
        _factorisations(1, system._lapack, matrix, place, pivots)
        factor += count * best(lambda: _factorisations(times, system._lapack, matrix, place, pivots), 3) / times
    return law / repeats + factor


class Row:
    """A drive sweep made ready: the first state known, all excitations."""

    def __init__(self, circuit: hbsim.Circuit, harmonics: int, drives: np.ndarray) -> None:
        description = circuit.description
        self.system = prepare(description, harmonics)
        self.parameters = self.system.parameters()
        sources = [source_voltages(description.with_values({"drive.power": float(d)}), self.system) for d in drives]
        self.cs = np.ascontiguousarray([self.system.excitation(source) for source in sources])
        self.start = steady_state(self.system, self.cs[0], self.parameters, None, Effort())
        self.xs = np.zeros((len(drives), *self.system.shape))
        self.flows = np.zeros_like(self.xs)

    def march(self) -> int:
        """Solve the row; Newton steps taken."""
        n_point = len(self.cs)
        stops, steps, errors = np.zeros(n_point, int), np.zeros(n_point, int), np.zeros(n_point)
        self.xs[0] = self.start
        if self.system.march(self.xs, self.cs, self.parameters, self.flows, stops, steps, errors) != n_point:
            raise RuntimeError("the sweep did not run through")
        return int(steps.sum())


def table(quick: bool) -> list[dict]:
    """Times of a sweep over devices and harmonics."""
    found = []
    for devices in DEVICES[:4] if quick else DEVICES:
        for harmonics in HARMONICS[:3] if quick else HARMONICS:
            row = Row(chain(devices), harmonics, np.linspace(-10.0, 0.0, 11 if devices <= 4 else 5))
            steps = row.march()
            seconds = best(row.march, 7 if devices <= 4 else 2) / len(row.cs)
            step = floor_of_step(row.system, row.parameters)
            found.append({"devices": devices, "harmonics": harmonics, "unknowns": int(np.prod(row.system.shape)),
                          "kept": "whole" if row.system.keeps_whole else "by clusters", "us_a_point": 1e6 * seconds,
                          "steps_a_point": steps / len(row.cs), "floor_ratio": seconds * len(row.cs) / (steps * step)})
            line = found[-1]
            print(f"{devices:8d} {harmonics:10d} {line['unknowns']:9d}  {line['kept']:<12} {line['us_a_point']:12.0f} "
                  f"{line['steps_a_point']:8.1f} {line['floor_ratio']:8.2f}", file=sys.stderr, flush=True)
    return found


def growth(found: list[dict], of: str, by: str) -> dict[str, float]:
    """Exponents p of times ~ of^p, for each value of `by`, from the largest three."""
    result = {}
    for value in sorted({line[by] for line in found}):
        lines = [line for line in found if line[by] == value][-3:]
        x, y = (np.log([line[name] for line in lines]) for name in (of, "us_a_point"))
        result[str(value)] = float(np.polyfit(x, y, 1)[0])
    return result


def versus_root() -> dict[str, float]:
    """Times of the 41-point sweep by scipy's root over that of the march."""
    row = Row(hbsim.load(BEACON), 8, USED)
    row.march()
    marched = best(row.march, 15)
    s, shape = row.system, row.system.shape
    compiled = (s.net, s.devices, s.transform, s.work)

    def by_root(given: bool) -> float:
        x, worst = row.start.copy(), 0.0
        for c in row.cs:
            def f(flat: np.ndarray) -> np.ndarray:
                residual(flat.reshape(shape), c, row.parameters, 0.0, flat.reshape(shape), *compiled)
                return s.work.residual.ravel().copy()

            def slopes(flat: np.ndarray) -> np.ndarray:
                f(flat)
                jacobian(0.0, *compiled)
                return s.work.jacobian.copy()

            x = root(f, x.ravel(), jac=slopes if given else None, method="hybr", options={"xtol": 1e-12}).x
            x = x.reshape(shape)
            error, _ = residual(np.ascontiguousarray(x), c, row.parameters, 0.0, x, *compiled)
            worst = max(worst, error)
        if worst > TOLERANCE:
            raise RuntimeError(f"root left a current error of {worst:.1e}")
        return worst

    return {"versus_root": best(lambda: by_root(False), 2) / marched,
            "versus_root_jacobian": best(lambda: by_root(True), 3) / marched}


def map_of_two() -> dict[str, float]:
    """A 101 x 101 map in one and in two threads, in turn, and the bare floor of its Newton steps."""
    circuit = hbsim.load(BEACON)
    times = {1: [], 2: []}
    processor = []
    for _ in range(4):
        for threads in (1, 2):
            with ThreadPoolExecutor(threads) as executor:
                began, cpu = time.perf_counter(), time.process_time()
                found = circuit.sweep(MAP, harmonics=8, estimate=False, executor=executor)
                times[threads].append(time.perf_counter() - began)
                if threads == 1:
                    processor.append(time.process_time() - cpu)
    system = prepare(circuit.description, 8)
    system.newton(np.zeros(system.shape), system.excitation(source_voltages(circuit.description, system)),
                  system.parameters())
    step = floor_of_step(system, system.parameters())
    steps = sum(found.iterations.values())
    return {"map_points": int(found.solved.size), "map_solved": int(found.solved.sum()),
            "map_us_a_point": 1e6 * min(times[1]) / found.solved.size, "steps_a_point": steps / found.solved.size,
            "floor_ratio": min(processor) / (steps * step),
            "thread_speedup": float(np.median(np.array(times[1][1:]) / np.array(times[2][1:])))}


MILLION = """
import sys, time, hbsim
from hbsim.studies.unfinished import Unfinished
circuit = hbsim.load(sys.argv[1])
most = 0
def watch(done, total):
    global most
    status = open('/proc/self/status').read().split()
    most = max(most, int(status[status.index('RssAnon:') + 1]))
began = time.perf_counter()
n = int(sys.argv[3])
axes = {'supply.VCC': [1 + 5 * i / n for i in range(n)], 'drive.power': [-20 + 30 * i / 1000 for i in range(1000)]}
table = circuit.sweep(axes, harmonics=8, estimate=False, keep_in=sys.argv[2], progress=watch)
print(int(table.solved.sum()), time.perf_counter() - began, most / 1024)
"""


def million(quick: bool) -> dict[str, float]:
    """A map of 10^5 and one of 10^6 points, each in a fresh process: time and memory."""
    result = {}
    for name, rows in (("hundred_thousand", 100),) if quick else (("hundred_thousand", 100), ("million", 1000)):
        with tempfile.TemporaryDirectory() as folder:
            out = subprocess.run([sys.executable, "-c", MILLION, str(BEACON), f"{folder}/kept", str(rows)], check=True,
                                 capture_output=True, text=True,
                                 env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)})
        solved, seconds, memory = map(float, out.stdout.split())
        result |= {f"{name}_solved": int(solved), f"{name}_s": seconds, f"{name}_mib": memory}
    return result


def main() -> None:
    """Run all and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json", metavar="FILE", help="the figures as JSON; - is standard output")
    parser.add_argument("--quick", action="store_true", help="a small table, no million points")
    options = parser.parse_args()
    found: dict = {}
    found |= map_of_two()
    found |= versus_root()
    row = Row(hbsim.load(ROOT / "examples" / "lumped_doubler.toml"), 8, USED)
    row.march()
    a_point = best(row.march, 15) / len(USED)
    domain = time_domain(USED)
    found |= {"lumped_us_a_point": 1e6 * a_point, "versus_time_domain": domain["blind_s"] / a_point,
              "versus_time_domain_foreseen": domain["foreseen_s"] / a_point}
    found |= million(options.quick)
    print(" devices  harmonics  unknowns  Jacobian kept  us a point    steps  x floor", file=sys.stderr)
    found["table"] = table(options.quick)
    found["growth_with_devices"] = growth(found["table"], "devices", "harmonics")
    found["growth_with_harmonics"] = growth(found["table"], "harmonics", "devices")
    if options.json != "-":
        for name, value in found.items():
            if name != "table":
                print(f"{name:30} {value if not isinstance(value, float) else f'{value:.4g}'}")
    if options.json:
        text = json.dumps(found, indent=1)
        print(text) if options.json == "-" else Path(options.json).write_text(text + "\n")


if __name__ == "__main__":
    main()
