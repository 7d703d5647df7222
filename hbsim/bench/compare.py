"""Prediction beside measurement: solved at the measured points, and the difference in numbers and in words.

Difference is always measured less predicted. Each number has a standard uncertainty of its own and a band, between
whose ends the true value lies at the worst of all known limits. Points that are limits (below the noise) count only
where the prediction breaks them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..quantities import finite_or_none, show
from .measurement import Measured, reflection_off

_SIGMAS = 2.0  # "Agreement": within twice the standard uncertainty (JCGM 100:2008, 6.3.3: coverage near 95 %)
_OUTSIDE, _CHANCE = 0.0455, 0.05  # share of points beyond that by chance; likelihood that more are taken for chance


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

    @property
    def of_difference(self) -> str:
        """Unit of differences: dB between two levels in dBm."""
        return "dB" if self.unit == "dBm" else self.unit

    @property
    def verdict(self) -> str:
        """The agreement, in words that the numbers support."""
        band, standard, unit = len(self.outside_band), len(self.outside_standard), self.of_difference
        if not self.count:
            return "nothing to compare: no point has both a number and a prediction"
        if not np.isfinite(self.measured.standard[np.isfinite(self.difference)]).any():
            return self._without_uncertainty()
        away = f"{standard} of {self.count} points lie beyond twice their standard uncertainty"
        if band == 0 and standard <= most_by_chance(self.count):
            return f"agrees within its uncertainty: {away}, none beyond its band"
        if band == 0:
            return f"agrees within its band, but not within its standard uncertainty: {away}; what is common to the " \
                   "points (cables, generator level) may be the cause"
        share = f"{band} of {self.count} points lie beyond their band"
        if abs(self.bias) > 2.0 * self.spread:
            return f"disagrees by an offset: {share}; {_signed(self.bias, unit)} on the mean, with a spread of only " \
                   f"{show(self.spread, unit, 3)}"
        if self.spread > 2.0 * self.typical:
            return f"disagrees in its course: {share}; the spread of {show(self.spread, unit, 3)} is more than the " \
                   f"uncertainty of {show(self.typical, unit, 3)} explains"
        return f"disagrees at some points: {share}"

    @property
    def limits(self) -> tuple[int, int]:
        """How many of the points that were compared are limits, and how many of these are broken."""
        found = (self.measured.limit != 0) & np.isfinite(self.difference)
        return int(found.sum()), int((found & (self.difference != 0.0)).sum())

    def _without_uncertainty(self) -> str:
        unit, (limits, broken) = self.of_difference, self.limits
        told = [f"differs by {_signed(self.bias, unit)} on the mean" + (
            f", with a spread of {show(self.spread, unit, 3)}" if math.isfinite(self.spread) else "")] \
            if math.isfinite(self.bias) else []
        if limits:
            worst = float(np.abs(self.difference[self.measured.limit != 0]).max(initial=0.0, where=np.isfinite(
                self.difference[self.measured.limit != 0])))
            told.append(f"{broken} of {limits} limits are broken, by up to {show(worst, unit, 3)}" if broken else
                        f"all its {limits} limits hold")
        if limits and not broken and len(told) == 1:
            return f"{told[0]}; it has no numbers"
        return f"{' and '.join(told)}; no uncertainty is stated, so that nothing says whether this is agreement"


@dataclass(frozen=True, eq=False)
class Comparison:
    """One measurement beside what is predicted for it.

    Attributes
    ----------
    name : str
        Of the measurement.
    settings : mapping
        What was set -> (n_point,), and `units` the unit of each.
    quantities : dict
        By name.
    lines : ndarray of int
        Lines of the file; empty where they are not known.
    unsolved : dict
        Point -> why there is no prediction.
    notes : tuple of str
    still : mapping
        What the measurement does not say and the circuit has: drive and supplies. Address -> (value, unit).
    cautions : tuple of str
        What could break a part or an instrument, at the measured points.
    """

    name: str
    settings: Mapping[str, np.ndarray]
    units: Mapping[str, str]
    quantities: dict[str, Compared]
    lines: np.ndarray
    unsolved: dict[int, str]
    notes: tuple[str, ...] = ()
    still: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()

    @property
    def points(self) -> int:
        """How many."""
        return len(next(iter(self.quantities.values())).predicted)

    @property
    def axis(self) -> str:
        """The setting that takes the most values: what curves are drawn against; "" without settings."""
        return max(self.settings, key=lambda name: len(np.unique(self.settings[name])), default="")

    def groups(self) -> dict[str, np.ndarray]:
        """Points that differ in `axis` alone: words for what stands still among them -> numbers of points, in order."""
        others = [name for name in self.settings if name != self.axis and len(np.unique(self.settings[name])) > 1]
        found: dict[str, list[int]] = {}
        for point in range(self.points):
            words = ", ".join(show(float(self.settings[name][point]), self.units[name]) for name in others)
            found.setdefault(words, []).append(point)
        return {words: np.array(points) for words, points in found.items()}


def most_by_chance(count: int) -> int:
    """How many of so many points may lie beyond twice their standard uncertainty before chance explains it in less than
    one case of twenty."""
    from scipy.stats import binom
    return int(binom.ppf(1.0 - _CHANCE, count, _OUTSIDE))


def compared(name: str, unit: str, item: Measured, predicted: np.ndarray) -> Compared:
    """One quantity: difference, bias, spread, points that are off."""
    away = item.values - predicted
    if unit == "deg":
        away = (away + 180.0) % 360.0 - 180.0
    holds = ((item.limit < 0) & (away >= 0)) | ((item.limit > 0) & (away <= 0))
    away = np.where(holds, 0.0, away)
    there = np.isfinite(away)
    numbers = away[there & (item.limit == 0)]
    low, high = item.values - item.low, item.high - item.values  # how far the band reaches to both sides
    outside_band = np.flatnonzero(there & ((away > low) | (-away > high)))
    sure = item.whole_standard
    with np.errstate(divide="ignore", invalid="ignore"):
        off = reflection_off(predicted, item.values, item.standard, item.beside)[0] if np.any(item.beside) \
            else away / sure
    outside_standard = np.flatnonzero(there & (away != 0.0) & (np.abs(off) > _SIGMAS))
    bias = float(numbers.mean()) if numbers.size else np.nan
    spread = float(numbers.std(ddof=1)) if numbers.size > 1 else np.nan
    sure = sure[there & (item.limit == 0)]
    typical = float(np.sqrt((sure**2).mean())) if sure.size else np.nan
    count = int(there.sum())
    return Compared(name, unit, item, predicted, np.where(there, away, np.nan), bias, spread, typical,
                    tuple(map(int, outside_band)), tuple(map(int, outside_standard)), count)


def _signed(value: float, unit: str) -> str:
    return f"{'+' if value >= 0 else ''}{show(value, unit, 3)}"


def as_json(comparisons: Sequence[Comparison]) -> list[dict]:
    """Plain data of comparisons."""
    return [{"measurement": one.name,
             "settings": {address: {"unit": one.units[address], "values": [finite_or_none(value) for value in values]}
                          for address, values in one.settings.items()},
             "as_the_circuit_has_it": {address: {"unit": unit, "value": value}
                                       for address, (value, unit) in one.still.items()},
             "lines": [int(line) for line in one.lines], "notes": list(one.notes), "cautions": list(one.cautions),
             "unsolved": {str(point + 1): reason for point, reason in one.unsolved.items()},
             "quantities": {name: _quantity_json(item) for name, item in one.quantities.items()}}
            for one in comparisons]


def _quantity_json(item: Compared) -> dict:
    def row(values: np.ndarray) -> list:
        return [finite_or_none(value) for value in values]
    return {"unit": item.unit, "measured": row(item.measured.values),
            "standard_uncertainty": row(item.measured.whole_standard),
            "band_low": row(item.measured.low), "band_high": row(item.measured.high),
            "limit": [int(value) for value in item.measured.limit], "predicted": row(item.predicted),
            "difference": row(item.difference),
            "difference_over_predicted": row(np.divide(item.difference, item.predicted,
                                                       out=np.full(len(item.predicted), np.nan),
                                                       where=item.predicted != 0.0)),
            "bias": finite_or_none(item.bias), "spread": finite_or_none(item.spread),
            "typical_uncertainty": finite_or_none(item.typical), "compared": item.count,
            "outside_band_points": [point + 1 for point in item.outside_band],
            "outside_twice_standard_points": [point + 1 for point in item.outside_standard],
            "verdict": item.verdict,
            "corrections": [{"what": done.what, "amount": row(done.amount)} for done in item.measured.corrections]}


def table(one: Comparison) -> tuple[list[str], list[list]]:
    """A comparison as a table: names with their units, rows of all points; None where there is no number."""
    names = ["point", "line", *(f"{name} [{one.units[name]}]" for name in one.settings)]
    columns: list[list] = [list(range(1, one.points + 1)),
                           [int(line) for line in one.lines] or [None] * one.points,
                           *([finite_or_none(value) for value in values] for values in one.settings.values())]
    for name, item in one.quantities.items():
        for what, values, unit in (("measured", item.measured.values, item.unit),
                                   ("standard_uncertainty", item.measured.whole_standard, item.of_difference),
                                   ("band_low", item.measured.low, item.unit),
                                   ("band_high", item.measured.high, item.unit),
                                   ("predicted", item.predicted, item.unit),
                                   ("difference", item.difference, item.of_difference)):
            names.append(f"{name} {what} [{unit}]")
            columns.append([finite_or_none(value) for value in values])
        if item.measured.limit.any():
            names.append(f"{name} limit")
            columns.append([{-1: "at most", 1: "at least"}.get(int(kind)) for kind in item.measured.limit])
    return names, [list(row) for row in zip(*columns)]
