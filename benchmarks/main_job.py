"""How fast is the main job? Ratios, each measured side by side in one run on this machine.

    python benchmarks/main_job.py [--json -]

1. `floor_ratio`: a 41-point drive sweep (K = 8, solver only) over the bare cost of its Newton steps, each one device
   evaluation and one LU factorisation of the same size; `least_ratio` counts only the factorisations really made.
   Drives from -10 to 10 dBm, where a doubler is used, and from -30 dBm.
2. `versus_time_domain`: time a point of the plain time integration of the lumped doubler over time a point of that
   sweep of the beacon doubler. The integration (scipy's LSODA, compiled right-hand side) runs from rest until f0 and
   2 f0 at the load move by less than 0.01 dB in 20 periods, as someone would who does not know the answer; `foreseen`
   is the same with the stop placed by foreknowledge of the answer, at the cheapest tolerance that holds 0.01 dB.
3. `start_ratio`: the whole process `hbsim predict` with a warm cache over
   `python -c "import numpy, scipy.linalg, numba"`.
4. `sweep_peak_mib`: peak memory of a whole process that sweeps 10,000 points.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402
from numba import njit  # noqa: E402

import hbsim  # noqa: E402
from hbsim.balance.continuation import Effort, steady_state  # noqa: E402
from hbsim.balance.native import call_law, lapack_addresses, lu_factor, lu_solve  # noqa: E402
from hbsim.balance.prepare import prepare, source_voltages  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests" / "checks"))

HARMONICS = 8
USED = np.linspace(-10.0, 10.0, 41)  # drives at which a doubler is used. [dBm]
WIDE = np.arange(-30.0, 11.0)  # from deep in the square law. [dBm]


@njit
def _bare(repeats, factorisations, address, u, p, i, q, t, di, dq, dt, lapack, matrix, work, pivots, right):
    """One device evaluation and one back-substitution `repeats` times; an LU at the first `factorisations` of them."""
    for step in range(repeats):
        call_law(address, u, p, i, q, t, di, dq, dt)
        if step < factorisations:
            work[:, :] = matrix
            lu_factor(lapack, work, pivots)
        lu_solve(lapack, work, pivots, right)


def _best(task, repeats: int = 7) -> float:
    """Least time of several runs: the one least disturbed by other work on the machine. [s]"""
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        task()
        times.append(time.perf_counter() - began)
    return min(times)


def drive_sweep(file: str, drives: np.ndarray) -> dict[str, float]:
    """Time of a sweep of 41 drives [dBm], solver only, and of its bare floor."""
    description = hbsim.load(ROOT / "examples" / file).description
    system = prepare(description, HARMONICS)
    parameters = system.parameters()
    sources = [source_voltages(description.with_values({"drive.power": float(level)}), system) for level in drives]
    cs = np.ascontiguousarray([system.excitation(source) for source in sources])
    start = steady_state(system, cs[0], parameters, None, Effort())
    xs = np.zeros((len(cs), *system.shape))
    flows = np.zeros_like(xs)
    stops, steps, errors = np.zeros(len(cs), int), np.zeros(len(cs), int), np.zeros(len(cs))

    def run() -> None:
        xs[0] = start
        if system.march(xs, cs, parameters, flows, stops, steps, errors) != len(cs):
            raise RuntimeError("the sweep did not run through")

    run()
    work = system.work
    work.factorisations[0] = 0
    run()
    count, factored = int(steps.sum()), int(work.factorisations[0])
    sweep_time = _best(run, 15)
    lo, hi = system.devices.branch_start[:2]
    matrix = work.jacobian + 10 * np.eye(len(work.jacobian))
    arguments = (system.devices.address[0], work.u[lo:hi], parameters, *(work.iqt[kind][lo:hi] for kind in range(3)),
                 work.di[0], work.dq[0], work.dt[0], lapack_addresses(), matrix, matrix.copy(), work.pivots,
                 np.ones(len(matrix)))
    _bare(1, 1, *arguments)
    floor = _best(lambda: _bare(count, count, *arguments), 15)
    least = _best(lambda: _bare(count, factored, *arguments), 15)
    return {"file": file, "drive_dbm": [float(drives[0]), float(drives[-1])],
            "unknowns": int(np.prod(system.shape)), "points": len(cs), "newton_steps": count,
            "factorisations": factored, "least_ratio": sweep_time / least,
            "us_a_point": 1e6 * sweep_time / len(cs), "floor_us_a_point": 1e6 * floor / len(cs),
            "floor_ratio": sweep_time / floor}


def time_domain(drives: np.ndarray) -> dict[str, float]:
    """Seconds a point of plain integration at five drives of a sweep [dBm], without and with foreknowledge."""
    import time_domain as reference
    description = hbsim.load(ROOT / "examples" / "lumped_doubler.toml").description
    device = description.devices["Q1"].part
    params = {name: getattr(device, name) for name in reference.PARAMETERS}
    params = {name: (device.RB if name == "RBM" and value is None else value) for name, value in params.items()}
    supply = description.supplies["VCC"].voltage
    blind, foreseen = [], []
    for level in drives[::10]:
        blind.append(_settle(reference, params, reference.Doubler(), float(level), supply))
        foreseen.append(reference.plain_cost(params, reference.Doubler(), float(level), supply).seconds)
    return {"blind_s": statistics.mean(blind), "foreseen_s": statistics.mean(foreseen)}


def _settle(reference, params, circuit, level: float, supply: float) -> float:
    p, c = reference._packed(params), reference._constants(circuit, level, supply)
    state, period, samples, block = reference._rest(p, c), 1.0 / circuit.f0, 128, 20
    reference._integrated("LSODA", state, 0.0, period, p, c, 1e-6)  # compiled before the clock starts
    began, before = time.perf_counter(), None
    for number in range(200):
        times = (number * block + np.arange(block * samples + 1) / samples) * period
        course = reference._integrated("LSODA", state, times[0], times[-1], p, c, 1e-6, times[-samples - 1:]).y
        state, level_now = course[:, -1], reference._load_dbm(course[:, :-1])
        if before is not None and np.abs(level_now - before)[1:3].max() < 0.01:
            break
        before = level_now
    return time.perf_counter() - began


def whole_process() -> dict[str, float]:
    """Start ratio and peak memory, from child processes."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    predict = [sys.executable, "-m", "hbsim", "predict", str(ROOT / "examples" / "beacon_2304.toml")]
    bare = [sys.executable, "-c", "import numpy, scipy.linalg, numba"]

    def timed(command: list[str]) -> float:
        began = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=environment)
        return time.perf_counter() - began

    timed(predict), timed(bare)
    ratios = [timed(predict) / timed(bare) for _ in range(5)]
    # VmHWM starts anew with the child's program; ru_maxrss may remember the parent it was forked from
    script = ("import hbsim; c = hbsim.load(r'%s'); "
              "t = c.sweep({'supply.VCC': '1:5.95:0.05V', 'drive.power': '-20:9.7:0.3dBm'}, harmonics=8); "
              "assert t.solved.size == 10000; "
              "peak = [int(line.split()[1]) for line in open('/proc/self/status') if line.startswith('VmHWM')][0]; "
              "print(peak / 1024, int(t.solved.sum()))"
              % (ROOT / "examples" / "beacon_2304.toml"))
    began = time.perf_counter()
    out = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True, env=environment)
    peak, solved = out.stdout.split()
    return {"start_ratio": statistics.median(ratios), "sweep_peak_mib": float(peak), "sweep_solved": int(solved),
            "sweep_s": time.perf_counter() - began}


def main() -> None:
    """Run all four and print a table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json", metavar="FILE", help="the figures as JSON; - is standard output")
    options = parser.parse_args()
    began = time.perf_counter()
    hbsim.load(ROOT / "examples" / "lumped_doubler.toml").solve(harmonics=HARMONICS)
    compile_s = time.perf_counter() - began
    sweeps = [drive_sweep(file, drives) for file in ("beacon_2304.toml", "lumped_doubler.toml")
              for drives in (USED, WIDE)]
    domains, process = [time_domain(drives) for drives in (USED, WIDE)], whole_process()
    ratios = [{name: 1e6 * domain[f"{name}_s"] / sweep["us_a_point"] for name in ("blind", "foreseen")}
              for domain, sweep in zip(domains, sweeps)]
    found = {"floor_ratio": sweeps[0]["floor_ratio"], "versus_time_domain": ratios[0]["blind"],
             "versus_time_domain_ratios": ratios, **process, "sweeps": sweeps, "time_domain": domains,
             "first_solve_s": compile_s}
    if options.json != "-":
        for sweep in sweeps:
            print(f"{sweep['file']}, {sweep['drive_dbm']} dBm: {sweep['points']} points, {sweep['unknowns']} unknowns, "
                  f"{sweep['newton_steps']} Newton steps, {sweep['factorisations']} factorisations, "
                  f"{sweep['us_a_point']:.0f} us a point, "
                  f"{sweep['floor_ratio']:.2f} times the floor ({sweep['least_ratio']:.2f} counting those only)")
        for domain, ratio, drives in zip(domains, ratios, (USED, WIDE)):
            print(f"time integration of the lumped doubler, {drives[0]:g} to {drives[-1]:g} dBm: "
                  f"{domain['blind_s']:.3f} s a point, {ratio['blind']:.0f} times a point of the beacon doubler; "
                  f"with foreknowledge "
                  f"{domain['foreseen_s']:.3f} s, {ratio['foreseen']:.0f} times")
        print(f"hbsim predict, warm: {found['start_ratio']:.2f} times the bare import of its packages")
        print(f"10,000 points: {found['sweep_solved']} solved, peak {found['sweep_peak_mib']:.0f} MiB, "
              f"{found['sweep_s']:.1f} s with start")
        print(f"first solve in this process (compiles when the cache is cold): {compile_s:.1f} s")
    if options.json:
        text = json.dumps(found, indent=1)
        print(text) if options.json == "-" else Path(options.json).write_text(text + "\n")


if __name__ == "__main__":
    main()
