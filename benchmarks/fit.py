"""What a fit costs: six unknowns of the beacon doubler from three drive sweeps of 31 points, at three supply voltages.

Data are made with known values of the circuit (an invented one of ours), with the noise of a real analyser. The fit
starts from the circuit as it was drawn: some hundred standard errors away.

    steady states   solved for, against those of the same search with slopes from differences (scipy's jac="2-point",
                    steps of 1e-5, same tolerances; it solves the circuit once more for each unknown): at least 5 times
                    fewer are asked
    time            processor time over that of one sweep of 31 points (Circuit.sweep, best of several in the same
                    process): less than 100 is asked

Figures are of one run on one machine; the ratios are what can be compared.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy

import sys  # noqa: E402
import time  # noqa: E402
from collections.abc import Callable  # noqa: E402
from pathlib import Path  # noqa: E402

import numpy as np  # noqa: E402
from scipy.optimize import least_squares  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

import hbsim  # noqa: E402
from hbsim.bench import fit as fitting  # noqa: E402
from hbsim.bench.circuit_points import CircuitPoints  # noqa: E402
from hbsim.bench.unknowns import Unknown, unknowns  # noqa: E402

from fit_coverage import NOISE, empty, read  # noqa: E402, I001

TRUTH = {"board.permittivity": 4.55, "Q1.BF": 130.0, "Q1.RE": 0.6, "via_1.inductance": 0.45e-9,
         "match_stub.length": 26.0e-3, "bench.output_error_db": -0.8}
DRIVES = np.linspace(-12.0, 3.0, 31)  # [dBm]
SUPPLIES = (2.0, 3.0, 4.0)  # [V]
SWEEPS, FITS = 7, 3  # repeated; the best counts
STEP = 1e-5


def measured(circuit: hbsim.Circuit) -> list:
    """The three sweeps as they were read."""
    noise, found = np.random.default_rng(1), []
    for volts in SUPPLIES:
        settings = {"drive.power": DRIVES, "supply.VCC": np.full(len(DRIVES), volts)}
        maker = CircuitPoints(circuit.description, empty(f"drive at {volts:g} V", settings, NOISE))
        numbers = maker.predict(TRUTH)
        found.append(read(maker, numbers + maker.standard * noise.standard_normal(len(numbers))))
    return found


def by_differences(sets: list[CircuitPoints], free: list[Unknown]) -> tuple[int, float]:
    """Steady states of the same search with slopes from differences, and the weighted sum of squares it ends with."""
    search = fitting.Search(sets, free)
    search.choose_anew(coarse=True)
    places = np.array([item.place(item.start) for item in free])
    search.choose(search.predict(places))
    low, high = (np.array([item.place(getattr(item, side)) for item in free]) for side in ("low", "high"))
    left = fitting._LEFT / sum(used.sum() for used in search.used)
    for search.gently, coarse, ftol in ((True, True, fitting._GENTLE), (False, True, left), (False, False, left)):
        if not coarse:
            search.choose_anew(coarse=False)
        places = least_squares(search.residuals, places, jac="2-point", diff_step=STEP, bounds=(low, high),
                               x_scale="jac", ftol=ftol, xtol=fitting._XTOL, gtol=fitting._XTOL).x
    return sum(item.solves for item in sets), float((search.residuals(places) ** 2).sum())


def best(job: Callable[[], object], times: int) -> tuple[float, object]:
    """Least processor time of some calls [s], and what the last gave."""
    spent, result = [], None
    for _ in range(times):
        began = time.process_time()
        result = job()
        spent.append(time.process_time() - began)
    return min(spent), result


def main() -> None:
    """Print both comparisons."""
    circuit = hbsim.load(ROOT / "examples" / "beacon_2304.toml")
    data, free = measured(circuit), unknowns(dict.fromkeys(TRUTH, ""), circuit.description)

    def sets() -> list[CircuitPoints]:
        return [CircuitPoints(circuit.description, item) for item in data]

    circuit.sweep({"drive.power": list(DRIVES)})
    sweep, _ = best(lambda: circuit.sweep({"drive.power": list(DRIVES)}), SWEEPS)
    spent, found = best(lambda: fitting.fit(sets(), free), FITS)
    again, _ = best(lambda: circuit.sweep({"drive.power": list(DRIVES)}), SWEEPS)
    sweep = min(sweep, again)
    print(f"fit: {found.steps} steps, {found.solves} steady states, {spent:.2f} s; "
          f"scatter {found.worth.scatter:.3f}, {found.away:.1g} standard errors from least squares")
    for name, true in TRUTH.items():
        print(f"  {name:<24}{found.values[name]:>11.5g} +- {found.errors[name]:<9.2g} true {true:.4g}, off by "
              f"{(found.values[name] - true) / found.errors[name]:+.2f} errors")
    print(f"one sweep of {len(DRIVES)} points: {1e3 * sweep:.0f} ms; the fit takes {spent / sweep:.0f} times as long")
    solves, squares = by_differences(sets(), free)
    ours = found.worth.scatter**2 * found.worth.freedom
    print(f"by differences: {solves} steady states, {solves / found.solves:.1f} times as many; "
          f"weighted sum of squares {squares:.3f}, ours {ours:.3f}")


if __name__ == "__main__":
    main()
