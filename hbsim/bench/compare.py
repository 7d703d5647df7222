"""Prediction beside measurement: solved at the measured points, and the difference in numbers and in words.

Difference is always measured less predicted. Each number has a standard uncertainty of its own and a band, between
whose ends the true value lies at the worst of all known limits. Points that are limits (below the noise) count only
where the prediction breaks them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..quantities import finite_or_none, show
from .circuit_points import CircuitPoints
from .measurement import Measured

_SIGMAS = 2.0  # "Agreement": within twice the standard uncertainty (JCGM 100:2008, 6.3.3: coverage near 95 %)
_MOST = 0.05  # share of points that may lie outside by chance then


@dataclass(frozen=True, eq=False)
class Compared:
    """One quantity of one measurement.

    Attributes
    ----------
    name, unit : str
        As the column of a sweep.
    measured : Measured
    predicted : ndarray, (n_point,)
        nan where there is no steady state.
    difference : ndarray, (n_point,)
        Measured less predicted; 0 where a limit holds, nan where there is nothing to compare.
    bias, spread : float
        Mean of the differences, and their standard deviation about it; nan without enough numbers.
    typical : float
        Root mean square of the standard uncertainties, what `spread` should be like.
    outside_band, outside_standard : tuple of int
        Points beyond the band, and beyond twice the standard uncertainty.
    count : int
        Points that were compared.
    verdict : str
    """

    name: str
    unit: str
    measured: Measured
    predicted: np.ndarray
    difference: np.ndarray
    bias: float
    spread: float
    typical: float
    outside_band: tuple[int, ...]
    outside_standard: tuple[int, ...]
    count: int
    verdict: str


@dataclass(frozen=True, eq=False)
class Comparison:
    """One measurement beside the circuit.

    points : CircuitPoints, as solved.
    quantities : by name.
    unsolved : point -> why it has no steady state.
    """

    points: CircuitPoints
    quantities: dict[str, Compared]
    unsolved: dict[int, str]

    @property
    def name(self) -> str:
        """Of the measurement."""
        return self.points.name


def compare(points: CircuitPoints) -> Comparison:
    """Solve at all points of a measurement and compare."""
    numbers = points.predict({})
    found = {}
    for name, item in points.measurement.quantities.items():
        predicted = np.full(len(item.values), np.nan)
        rows = [row for row, (_, other) in enumerate(points.place) if other == name]
        predicted[[points.place[row][0] for row in rows]] = numbers[rows]
        found[name] = compared(name, points.unit_of(name), item, predicted)
    return Comparison(points, found, dict(points.reasons))


def compared(name: str, unit: str, item: Measured, predicted: np.ndarray) -> Compared:
    """One quantity: difference, bias, spread, verdict."""
    away = item.values - predicted
    if unit == "deg":
        away = (away + 180.0) % 360.0 - 180.0
    holds = ((item.limit < 0) & (away >= 0)) | ((item.limit > 0) & (away <= 0))
    away = np.where(holds, 0.0, away)
    there = np.isfinite(away)
    numbers = away[there & (item.limit == 0)]
    low, high = item.values - item.low, item.high - item.values  # how far the band reaches to both sides
    outside_band = np.flatnonzero(there & ((away > low) | (-away > high)))
    outside_standard = np.flatnonzero(there & (np.abs(away) > _SIGMAS * item.standard))
    bias = float(numbers.mean()) if numbers.size else np.nan
    spread = float(numbers.std(ddof=1)) if numbers.size > 1 else np.nan
    sure = item.standard[there & (item.limit == 0)]
    typical = float(np.sqrt((sure**2).mean())) if sure.size else np.nan
    count = int(there.sum())
    verdict = _verdict(unit, count, bias, spread, typical, len(outside_band), len(outside_standard), numbers.size)
    return Compared(name, unit, item, predicted, np.where(there, away, np.nan), bias, spread, typical,
                    tuple(map(int, outside_band)), tuple(map(int, outside_standard)), count, verdict)


def _verdict(unit: str, count: int, bias: float, spread: float, typical: float, band: int, standard: int,
             numbers: int) -> str:
    """Words that the numbers support."""
    if not count:
        return "nothing to compare: no point has both a number and a steady state"
    away = f"{standard} of {count} points lie beyond twice their standard uncertainty"
    if band == 0 and standard <= _MOST * count:
        return f"agrees within its uncertainty: {away}, none beyond its band"
    if band == 0:
        return f"agrees within its band, but not within its standard uncertainty: {away}; what is common to the " \
               "points (cables, generator level) may be the cause"
    share = f"{band} of {count} points lie beyond their band"
    if numbers > 2 and np.isfinite(spread) and abs(bias) > 2.0 * spread:
        return f"disagrees by an offset: {share}, all much alike, {_signed(bias, unit)} on the mean with a spread " \
               f"of {show(spread, unit, 2)}"
    if numbers > 2 and spread > 2.0 * typical:
        return f"disagrees in its course: {share}; the spread of {show(spread, unit, 2)} is more than the " \
               f"uncertainty of {show(typical, unit, 2)} explains"
    return f"disagrees at some points: {share}"


def _signed(value: float, unit: str) -> str:
    return f"{'+' if value >= 0 else ''}{show(value, unit, 2)}"


def as_json(comparisons: Sequence[Comparison]) -> list[dict]:
    """Plain data of comparisons."""
    return [{"measurement": one.name,
             "settings": {address: [finite_or_none(value) for value in values]
                          for address, values in one.points.measurement.settings.items()},
             "notes": list(one.points.measurement.notes),
             "unsolved": {str(point + 1): reason for point, reason in one.unsolved.items()},
             "quantities": {name: _quantity_json(item) for name, item in one.quantities.items()}}
            for one in comparisons]


def _quantity_json(item: Compared) -> dict:
    def row(values: np.ndarray) -> list:
        return [finite_or_none(value) for value in values]
    return {"unit": item.unit, "measured": row(item.measured.values),
            "standard_uncertainty": row(item.measured.standard),
            "band_low": row(item.measured.low), "band_high": row(item.measured.high),
            "limit": [int(value) for value in item.measured.limit], "predicted": row(item.predicted),
            "difference": row(item.difference),
            "bias": finite_or_none(item.bias), "spread": finite_or_none(item.spread),
            "typical_uncertainty": finite_or_none(item.typical), "compared": item.count,
            "outside_band_points": [point + 1 for point in item.outside_band],
            "outside_twice_standard_points": [point + 1 for point in item.outside_standard],
            "verdict": item.verdict,
            "corrections": [{"what": done.what, "amount": row(done.amount)} for done in item.measured.corrections]}
