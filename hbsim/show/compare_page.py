"""Page of text of `hbsim compare`: what was measured, what is predicted there, and what the difference supports."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..bench.compare import Compared, Comparison
from ..quantities import show
from .report import CAUTION
from .text import listed, table, wrapped

_MOST = 3  # points of each quantity told in full; --csv and --json hold all


def compare_page(title: str, comparisons: Sequence[Comparison]) -> str:
    """The readable page of comparisons with one circuit."""
    lines = wrapped(title)
    for one in comparisons:
        lines += ["", *wrapped(f"{one.name}: {_settings(one)}"), "", *comparison_lines(one), *about_lines(one)]
    return "\n".join([*lines, *meanings(), "", *wrapped(CAUTION)])


def comparison_lines(one: Comparison) -> list[str]:
    """Numbers of a comparison, and its verdicts."""
    return [*_table(one), "", *(line for name, item in one.quantities.items()
                                for line in wrapped(f"{name}: {item.verdict}.", "  - ", "    "))]


def about_lines(one: Comparison) -> list[str]:
    """What was done to the data, which points are off, and what else there is to know."""
    return [*listed("Warnings", list(one.cautions)),
            *listed("Corrections, in the order in which they were made", corrections(one)),
            *listed("Points beyond their band", _outside(one)),
            *listed("No prediction", [f"{_point(one, point)}: {reason}" for point, reason in one.unsolved.items()]),
            *listed("Also to know", list(one.notes))]


def meanings() -> list[str]:
    """The words of the table."""
    return listed("Meant by this", [
        "difference: measured less predicted; bias: its mean; spread: its standard deviation about that mean",
        "uncertainty: root mean square of the standard uncertainties of the single points",
        "band: between its ends lies the true value when all known limits are used up at their worst"])


def _settings(one: Comparison) -> str:
    told = []
    for name, values in one.settings.items():
        low, high = show(float(values.min()), one.units[name]), show(float(values.max()), one.units[name])
        told.append(f"{name} {low}" if low == high else f"{name} from {low} to {high}")
    still = ", ".join(f"{name} {show(value, unit)}" for name, (value, unit) in one.still.items())
    return "; ".join([f"{one.points} point{'s' * (one.points != 1)}", *[", ".join(told)] * bool(told),
                      *[f"as the circuit has it: {still}"] * bool(still)])


def _table(one: Comparison) -> list[str]:
    heads = ["quantity", "points", "bias", "spread", "uncertainty", "beyond 2 x it", "beyond band",
             "largest difference"]
    rows = [[name, str(item.count), _signed(item.bias, item.of_difference), _value(item.spread, item.of_difference),
             _value(item.typical, item.of_difference), str(len(item.outside_standard)), str(len(item.outside_band)),
             _largest(item)] for name, item in one.quantities.items()]
    return table([heads, *rows], left=(0,))


def _largest(item: Compared) -> str:
    if not item.count:
        return "-"
    return _signed(float(item.difference[int(np.nanargmax(np.abs(item.difference)))]),
                   item.of_difference)


def _value(value: float, unit: str) -> str:
    return show(value, unit, 3) if math.isfinite(value) else "-"


def _signed(value: float, unit: str) -> str:
    return ("+" if value > 0 else "") + show(value, unit, 3) if math.isfinite(value) else "-"


def corrections(one: Comparison) -> list[str]:
    """What was done to each quantity, in words with amounts."""
    found = []
    for name, item in one.quantities.items():
        for done in item.measured.corrections:
            amount = done.amount[np.isfinite(done.amount)]
            if not amount.size:
                continue
            low, high = float(amount.min()), float(amount.max())
            told = _signed(low, item.of_difference) if math.isclose(low, high, abs_tol=5e-4) else \
                f"{_signed(low, item.of_difference)} to {_signed(high, item.of_difference)}"
            found.append(f"{name}: {done.what}: {told}")
    return found


def _point(one: Comparison, point: int) -> str:
    line = f" (line {one.lines[point]})" if point < len(one.lines) else ""
    at = f", {one.axis} {show(float(one.settings[one.axis][point]), one.units[one.axis])}" if one.axis else ""
    return f"point {point + 1}{line}{at}"


def _outside(one: Comparison) -> list[str]:
    found = []
    for name, item in one.quantities.items():
        if not item.outside_band:
            continue
        worst = []
        for point in sorted(item.outside_band, key=lambda n: -abs(item.difference[n]))[:_MOST]:
            measured, predicted = float(item.measured.values[point]), float(item.predicted[point])
            low, high = float(item.measured.low[point]), float(item.measured.high[point])
            ends = " to ".join("no limit" if math.isinf(end) else show(end, item.unit) for end in (low, high))
            limit = int(item.measured.limit[point])
            reading = f"measured {show(measured, item.unit)}, band {ends}" if not limit else \
                f"measured at {'most' if limit < 0 else 'least'} {show(measured, item.unit)}"
            worst.append(f"{_point(one, point)}: {reading}, predicted {show(predicted, item.unit)}")
        found.append(f"{name}: point{'s' * (len(item.outside_band) > 1)} {_runs(item.outside_band)}; the worst: "
                     + "; ".join(worst))
    return found


def _runs(points: Sequence[int]) -> str:
    """Numbers of points from 1, runs as "3 to 7"."""
    runs: list[list[int]] = []
    for point in points:
        if runs and point == runs[-1][1] + 1:
            runs[-1][1] = point
        else:
            runs.append([point, point])
    return ", ".join(f"{a + 1}" if a == b else f"{a + 1} to {b + 1}" for a, b in runs)
