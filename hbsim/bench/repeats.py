"""Readings that were repeated at one setting, and their mean: of levels and ratios in watts, not in decibels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..quantities import show
from .corrections import Reading
from .levels import mean_dbm
from .measurement import Correction, alike
from .settled import unit_of

_LOSSES = ("input_return_loss_db", "conversion_loss_db")  # decibels that grow where a power falls


@dataclass(frozen=True, eq=False)
class Points:
    """A measurement under way.

    Attributes
    ----------
    settings : dict
        Address -> (n_point,).
    readings : dict
        Name of a quantity -> Reading.
    lines, sweep : ndarray of int, (n_point,)
        As `Measurement` has them.
    """

    settings: dict[str, np.ndarray]
    readings: dict[str, Reading]
    lines: np.ndarray
    sweep: np.ndarray


def means(points: Points, notes: list[str]) -> Points:
    """One point for all that were read at the same settings, reached from the same side.

    Readings of a sweep upward and of one downward are never put together, for heat and hysteresis part them. A mean of
    numbers with limits among them is a limit itself; without a number it stays without. The standard uncertainty stays
    as it is stated for one reading, for what repeats do not show (scale, flatness) is in it; where none is stated it is
    the pooled scatter over the root of the number of readings (JCGM 100:2008, 4.2.3 and 4.2.4).
    """
    first, where = alike(np.column_stack([*points.settings.values(), _side(points)]))
    if len(first) == len(where):
        notes.append("no setting was read more than once: there is nothing to take the mean of")
        return points
    readings = {name: _mean(name, item, where, notes) for name, item in points.readings.items()}
    notes.append(f"{len(where)} readings at {len(first)} settings: the mean of each, levels in watts")
    return Points({address: values[first] for address, values in points.settings.items()}, readings,
                  points.lines[first] if len(points.lines) else points.lines, points.sweep[first])


def _side(points: Points) -> np.ndarray:
    """Whether what moves most goes up (+1), down (-1) or stands still in the sweep of each point."""
    side = np.zeros(len(points.sweep))
    if points.settings:
        axis = max(points.settings.values(), key=lambda values: len(np.unique(values)))
        for number in np.unique(points.sweep):
            rows = points.sweep == number
            side[rows] = np.sign(axis[rows][-1] - axis[rows][0])
    return side


def _mean(name: str, item: Reading, where: np.ndarray, notes: list[str]) -> Reading:
    unit, groups = unit_of(name), [np.flatnonzero((where == number) & np.isfinite(item.values))
                                   for number in range(where.max() + 1)]
    limit = np.array([_limit(item.limit[rows]) for rows in groups])
    values = np.array([_mean_of(item.values[rows], name, unit) if kind is not None else np.nan
                       for rows, kind in zip(groups, limit)])
    standard = np.array([item.standard[rows].max() if len(rows) else np.nan for rows in groups])
    limit = np.array([kind or 0 for kind in limit], int)
    away = [_away(item.values[rows], unit) for rows, kind in zip(groups, limit) if len(rows) and not kind]
    freedom = sum(len(off) - 1 for off in away)
    if freedom:
        scatter = float(np.sqrt(sum((off**2).sum() for off in away) / freedom))
        notes.append(f"{name}: repeated readings scatter by {show(scatter, 'dB' if unit == 'dBm' else unit, 2)}, "
                     "standard deviation")
        many = np.array([max(len(rows), 1) for rows in groups])
        standard = np.where(np.isnan(standard) & (limit == 0) & (scatter > 0), scatter / np.sqrt(many), standard)
    done = []
    if unit in ("dBm", "dB"):
        of_decibels = np.array([item.values[rows].mean() if len(rows) else np.nan for rows in groups])
        done.append(Correction("mean of repeated readings in watts, against that of decibels", values - of_decibels))
    low, high = (np.array([getattr(item, side)[rows].mean() if len(rows) else 0.0 for rows in groups])
                 for side in ("low", "high"))
    return Reading(values, limit, standard, low, high, done)


def _limit(kinds: np.ndarray) -> int | None:
    """Of the mean of numbers that are limits or none; None where there is nothing to say."""
    found = set(kinds.tolist()) - {0}
    return None if not len(kinds) or len(found) > 1 else next(iter(found), 0)


def _away(values: np.ndarray, unit: str) -> np.ndarray:
    """From their mean, in their own unit: that of decibels for a scatter in dB."""
    if unit == "deg":
        return (values - _mean_of(values, "", unit) + 180.0) % 360.0 - 180.0
    return values - values.mean()


def _mean_of(values: np.ndarray, name: str, unit: str) -> float:
    if unit == "dBm":
        return float(mean_dbm(values))
    if unit == "dB":
        sign = -1.0 if name in _LOSSES else 1.0
        return sign * float(mean_dbm(sign * values))
    if unit == "deg":
        return float(np.degrees(np.angle(np.exp(1j * np.radians(values)).mean())))
    return float(values.mean())
