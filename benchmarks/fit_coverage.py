"""Whether a fit finds the truth, and whether its standard errors are what they say.

Data are made with known values of the beacon doubler (an invented circuit of ours), read by a bench with two cables
that are wrong by some tenths of a decibel and with the noise of a real analyser, once for each seed: a drive sweep and
a supply sweep. The fit starts from the circuit as it was drawn. The share of seeds in which the truth lies within one
standard error of what was found is 68 % where the errors are right (the normal distribution's 68.27 %); with 200 seeds
the share itself is uncertain by 3.3 points (binomial), so that 60 to 76 % is asked of each unknown.

    share      seeds in which the truth lies within one standard error
    two        within two; 95.4 %
    bias       mean of (found - true) over the standard error; sure to 0.07
    spread     standard deviation of the same; 1 where the errors are right, sure to 0.05
    scatter    mean of the root of the weighted sum of squares over the degrees of freedom; 1

Last, a case that the data cannot tell: the current gain and the base resistor of a stage whose supply current alone was
read. The fit must say so.

    python benchmarks/fit_coverage.py [seeds]
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: two processes, one thread each

import sys  # noqa: E402
import time  # noqa: E402
from concurrent.futures import ProcessPoolExecutor  # noqa: E402
from dataclasses import replace  # noqa: E402
from functools import cache  # noqa: E402
from pathlib import Path  # noqa: E402

import numpy as np  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

import hbsim  # noqa: E402
from hbsim.bench.circuit_points import CircuitPoints  # noqa: E402
from hbsim.bench.fit import Fit, fit  # noqa: E402
from hbsim.bench.measurement import Measured, Measurement  # noqa: E402
from hbsim.bench.unknowns import unknowns  # noqa: E402

TRUTH = {"board.permittivity": 4.47, "Q1.BF": 120.0, "Q1.RE": 0.55, "match_stub.length": 25.8e-3,
         "bench.output_error_db": -0.4, "bench.drive_error_db": 0.3}
NOISE = {"output_dbm_1": 0.3, "output_dbm_2": 0.3, "input_return_loss_db": 0.3, "supply_amps_VCC": 1e-4}  # [dB], [A]
SEEDS, PROCESSES = 200, 2


def empty(name: str, settings: dict[str, np.ndarray], noise: dict[str, float]) -> Measurement:
    """Where it is measured and how surely; nothing is read yet."""
    n = np.zeros(len(next(iter(settings.values()))))
    return Measurement(name, settings, {quantity: Measured(n, np.full(len(n), standard), n, n, n.astype(int))
                                        for quantity, standard in noise.items()})


def read(points: CircuitPoints, numbers: np.ndarray) -> Measurement:
    """The same with these numbers read."""
    quantities = {}
    for name, item in points.measurement.quantities.items():
        rows = [row for row, (_, other) in enumerate(points.place) if other == name]
        quantities[name] = replace(item, values=numbers[rows])
    return replace(points.measurement, quantities=quantities)


@cache
def bench() -> tuple:
    """The circuit as drawn, the sweeps, and what is true at their points."""
    drawn = hbsim.load(ROOT / "examples" / "beacon_2304.toml").description
    sweeps = [empty("drive", {"drive.power": np.linspace(-12.0, 4.0, 9)}, NOISE),
              empty("supply", {"supply.VCC": np.linspace(1.8, 4.2, 7)}, NOISE)]
    makers = [CircuitPoints(drawn, sweep) for sweep in sweeps]
    return drawn, makers, [maker.predict(TRUTH) for maker in makers]


def one(seed: int) -> tuple[np.ndarray, np.ndarray, float, int, int, str]:
    """Found less true, standard errors, scatter, steps, steady states, and why it ended if it was cut off."""
    drawn, makers, truth = bench()
    noise = np.random.default_rng(seed)
    sets = [CircuitPoints(drawn, read(maker, numbers + maker.standard * noise.standard_normal(len(numbers))))
            for maker, numbers in zip(makers, truth)]
    found = fit(sets, unknowns(dict.fromkeys(TRUTH, ""), drawn))
    off = np.array([found.values[name] - true for name, true in TRUTH.items()])
    reason = found.reason or "; ".join([*sorted(set(found.left_out.values())),
                                        *(f"{name} at its limit" for name in found.at_limit)])
    return (off, np.array([found.errors[name] for name in TRUTH]), found.worth.scatter, found.steps, found.solves,
            reason)


def cannot_be_told() -> Fit:
    """Current gain and base resistor, from the supply current alone."""
    drawn = hbsim.load(ROOT / "examples" / "beacon_2304.toml").description
    sweep = empty("supply current", {"supply.VCC": np.linspace(2.0, 4.0, 7)}, {"supply_amps_VCC": 1e-4})
    maker = CircuitPoints(drawn, sweep)
    noise = np.random.default_rng(0).standard_normal(7)
    data = read(maker, maker.predict({}) + maker.standard * noise)
    return fit([CircuitPoints(drawn, data)], unknowns({"Q1.BF": "", "R_b.resistance": ""}, drawn))


def main() -> None:
    """Print the table."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else SEEDS
    began = time.perf_counter()
    with ProcessPoolExecutor(PROCESSES) as pool:
        rows = list(pool.map(one, range(seeds), chunksize=5))
    off, errors = (np.array([row[i] for row in rows]) for i in (0, 1))
    away = off / errors
    print(f"{seeds} seeds, {time.perf_counter() - began:.0f} s in {PROCESSES} processes; "
          f"{np.mean([row[3] for row in rows]):.1f} steps and {np.mean([row[4] for row in rows]):.0f} steady states "
          "a fit")
    print(f"{'unknown':<24}{'true':>11}{'mean error':>12}{'share %':>9}{'two %':>8}{'bias':>8}{'spread':>8}")
    for number, (name, true) in enumerate(TRUTH.items()):
        column = away[:, number]
        print(f"{name:<24}{true:>11.4g}{errors[:, number].mean():>12.2g}{100 * np.mean(np.abs(column) < 1):>9.1f}"
              f"{100 * np.mean(np.abs(column) < 2):>8.1f}{column.mean():>8.2f}{column.std(ddof=1):>8.2f}")
    print(f"{'all':<47}{100 * np.mean(np.abs(away) < 1):>9.1f}{100 * np.mean(np.abs(away) < 2):>8.1f}"
          f"{away.mean():>8.2f}{away.std(ddof=1):>8.2f}")
    print(f"scatter {np.mean([row[2] for row in rows]):.3f}")
    for seed, row in enumerate(rows):
        if row[5]:
            print(f"seed {seed}: {row[5]}")
    found = cannot_be_told()
    print("cannot be told: " + "; ".join(
        " with ".join(f"{name} {move:+.2f}" for name, move in way.moves.items()) + f", uncertain by {way.error:.2g}"
        for way in found.worth.vague))


if __name__ == "__main__":
    main()
