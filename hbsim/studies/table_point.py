"""Single points of a sweep's table: the one nearest to asked values, and the best one that holds to conditions."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import NotSolved, Refusal, nearest
from ..quantities import parse, sample, show
from .axis import by_ratio
from .outputs import PHASE_CHANGE, column_unit

if TYPE_CHECKING:
    from .table import SweepTable

_CONDITION = re.compile(r"(at least|at most)\s+(.+)")
_ROUNDING = 1e-9  # of the length of an axis: values given in another spelling still meet its ends


@dataclass(frozen=True)
class TablePoint:
    """One solved point.

    number : of the flat grid.
    place : axis -> value, in base units.
    settings : address -> value, in base units; for `Circuit.solve`.
    values : column -> value; not a number where the column has none there.
    units : axis or column -> unit.
    at_end : axes with more than two values at whose end it lies: what is best here may be better beyond.
    unsure : whether a line still moves by more than its tolerance.
    """

    number: int
    place: dict[str, float]
    settings: dict[str, float]
    values: dict[str, float]
    units: dict[str, str]
    at_end: tuple[str, ...]
    unsure: bool

    def __getitem__(self, name: str) -> float:
        known = self.place | self.values
        if name not in known:
            raise Refusal(f"the table has no column '{name}'{nearest(name, known)}")
        return known[name]

    def __repr__(self) -> str:
        lines = ["TablePoint at " + ", ".join(f"{a} = {show(v, self.units[a], 6)}" for a, v in self.place.items())]
        lines += [f"  {name}: {_said(name, value)}" for name, value in self.values.items() if np.isfinite(value)]
        lines += [f"  at the end of {name}" for name in self.at_end]
        return "\n".join(lines + ["  less sure than was asked for"] * self.unsure)


def _said(name: str, value: float) -> str:
    return show(value, column_unit(name), 6) + (" per dB" if name == PHASE_CHANGE else "")


def point(table: "SweepTable", number: int) -> TablePoint:
    """A point by its flat number; raises NotSolved with the reason where it is not solved."""
    if not table.columns["solved"][number]:
        reason = table.reasons.get(number, "no steady state was found")
        raise NotSolved(f"{table.place_text(number)} is not solved: {reason}")
    at = np.unravel_index(number, table.shape)
    ends = tuple(name for name, i, count in zip(table.axes, at, table.shape) if count > 2 and i in (0, count - 1))
    values = {name: float(table.flat(name)[number]) for name in table.names if name != "solved"}
    return TablePoint(number, table.place(number), table.settings(number), values,
                      table.units | {name: column_unit(name) for name in values}, ends,
                      bool(table.unsettled[number]))


def nearest_number(table: "SweepTable", place: Mapping[str, Any]) -> int:
    """Flat number of the point nearest to values on the axes; see `SweepTable.at`."""
    for name in place:
        if name not in table.axes:
            raise Refusal(f"the table has no axis '{name}'{nearest(name, table.axes)}", "at")
    at = []
    for name, values in table.axes.items():
        if name not in place and len(values) > 1:
            raise Refusal(f"'{name}' is not given, and it has {len(values)} values; name one of them", "at")
        at.append(_index(table, name, place[name]) if name in place else 0)
    return int(np.ravel_multi_index(at, table.shape))


def _index(table: "SweepTable", name: str, asked: Any) -> int:
    """Place on an axis, of the nearest value, by ratio where the axis is by ratio; of two equally near the first."""
    values, unit = table.axes[name], table.units[name]
    if isinstance(asked, str) and asked.strip().lower() == "infinite":
        value = np.inf
    else:
        value = parse(asked, unit, name) if isinstance(asked, str) else float(asked)
    low, high = float(values.min()), float(values.max())
    slack = _ROUNDING * (high - low if np.isfinite(high - low) else 1.0) + _ROUNDING * abs(low)
    if np.isnan(value) or not (value == high or low - slack <= value <= high + slack):
        raise Refusal(f"{show(value, unit, 6)} lies outside the sweep, {show(low, unit, 6)} to {show(high, unit, 6)}; "
                      "nothing is extended: ask within it, or sweep further", name)
    if value in values:
        return int(np.flatnonzero(values == value)[0])
    distance = np.abs(np.log(values / max(value, low))) if by_ratio(values, unit) else np.abs(values - value)
    return int(np.argmin(distance))


def best_number(table: "SweepTable", column: str, hold: Mapping[str, Any], least: bool) -> int:
    """Flat number of the solved point with the most (or least) of a column; see `SweepTable.best`."""
    values = np.array(table.flat(column), float)
    open_ = table.columns["solved"].astype(bool) & np.isfinite(values)
    if not open_.any():
        raise Refusal("no point of the sweep has a value here", column)
    for name, condition in hold.items():
        met = _on_axis(table, name, condition) if name in table.axes else _meets(table, name, condition)
        if not (open_ & met).any():
            reach = table.axes[name] if name in table.axes else np.array(table.flat(name))[open_]
            reach = reach[np.isfinite(reach)]
            told = f"; with what was asked before, it runs from {_shown(table, name, reach.min())} to " \
                   f"{_shown(table, name, reach.max())}" if len(reach) else ""
            raise Refusal(f"no point of the sweep holds '{condition}'{told}; ask for less", name)
        open_ &= met
    ranked = np.where(open_, -values if least else values, -np.inf)
    return int(np.argmax(ranked))


def _shown(table: "SweepTable", name: str, value: float) -> str:
    return show(float(value), table.units[name] if name in table.axes else column_unit(name), 4)


def _on_axis(table: "SweepTable", name: str, value: Any) -> np.ndarray:
    """Which points, (n,), stand at the value of an axis nearest to that given; or at least or at most there."""
    spread = np.broadcast_to(np.expand_dims(table.axes[name], [i for i, other in enumerate(table.axes)
                                                               if other != name]), table.shape).ravel()
    match = _CONDITION.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        return spread == table.axes[name][_index(table, name, value)]
    limit = parse(match[2], table.units[name], name)
    return spread >= limit if match[1] == "at least" else spread <= limit


def _meets(table: "SweepTable", name: str, condition: Any) -> np.ndarray:
    """Which points, (n,), meet "at least 10 dB" or "at most 30 mA" in a column; without a value: none does, but that a
    line from which nothing comes out is below any limit."""
    values, unit = np.array(table.flat(name), float), column_unit(name)
    match = _CONDITION.fullmatch(condition.strip()) if isinstance(condition, str) else None
    if match is None:
        example = "0.3" if unit == "1" else sample(unit)
        raise Refusal(f"{condition!r} is no condition; write 'at least {example}' or 'at most {example}'", name)
    limit = parse(match[2], unit, name)
    with np.errstate(invalid="ignore"):
        return values >= limit if match[1] == "at least" else values <= limit
