"""The most of a solved quantity along a frequency, and the edges of the band around it, found by solves between points.

The points of a grid only say where to look: the most is looked for between the neighbours of the highest point (scipy's
bounded minimiser, R. P. Brent's), an edge between the two points that it lies between (scipy's brentq, the same book:
Algorithms for Minimization without Derivatives, Prentice-Hall 1973). All solves of one search balance the same number
of harmonics, so that the quantity is smooth in between.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from ..errors import HbsimError

FAR_DB = 200.0  # beyond it, on either side, a level or return loss is drawn and searched as this
_BESIDE = 5e-3  # of the distance of the neighbours: so near to one the most is that of an end
_PLACE = 1e-3  # of the distance of two points: how close the most is found
_EDGE = 1e-7  # of its frequency: how close an edge is found
_OFF_DB = 1e-3  # from its level, at an edge: more is a jump

BEYOND, GAP, JUMP, FAILED = "beyond the range", "beside a gap", "a jump", "not found"


@dataclass(frozen=True, eq=False)
class Mark:
    """A frequency that was solved for, and what comes out there.

    hz : f0. [Hz]
    columns : name -> value, as in a sweep's table.
    place : "inside", "end" of the range, "gap": beside a point that is not solved, or "jump": beside another state.
    """

    hz: float
    columns: Mapping[str, float]
    place: str = "inside"


@dataclass(frozen=True, eq=False)
class Edge:
    """Where a band ends.

    hz : f0; None where it is not known. [Hz]
    why : "" where it was found; "beyond the range"; "beside a gap", at `near_hz` a point is not solved; "a jump", the
        quantity jumps at this frequency past its level; "not found", a solve on the way to it failed near `near_hz`.
    columns : what comes out there; None where hz is.
    """

    hz: float | None
    why: str = ""
    near_hz: float | None = None
    columns: Mapping[str, float] | None = None


@dataclass(frozen=True, eq=False)
class Band:
    """The band around the most of a quantity in which it is at least `level`."""

    level: float
    low: Edge
    high: Edge

    @property
    def width_hz(self) -> float | None:
        """Of f0; None where an edge is not known. [Hz]"""
        return None if self.low.hz is None or self.high.hz is None else self.high.hz - self.low.hz

    @property
    def share(self) -> float | None:
        """The width over the middle; None where an edge is not known. [1]"""
        return None if self.width_hz is None else self.width_hz / ((self.low.hz + self.high.hz) / 2)

    def known(self, frequency: np.ndarray) -> np.ndarray:
        """Which frequencies [Hz] lie within what is known of the band, bool of the same shape."""
        low, high = (edge.hz if edge.hz is not None else edge.near_hz for edge in (self.low, self.high))
        return (frequency >= (-math.inf if low is None else low)) & (frequency <= (math.inf if high is None else high))


@dataclass(frozen=True, eq=False)
class Course:
    """A solved grid, and how to solve between its points.

    frequency : (n_point,), rising. [Hz]
    columns : name -> (n_point,); nan where not solved.
    at : function of a frequency and the number of the point whose state it starts from -> columns there; raises
        HbsimError where it is not solved.
    """

    frequency: np.ndarray
    columns: Mapping[str, np.ndarray]
    at: Callable[[float, int], Mapping[str, float]]

    def values(self, name: str) -> np.ndarray:
        """A column within FAR_DB, (n_point,); nan where not solved."""
        values = self.columns[name]
        return np.where(self.columns["solved"] > 0, _within(values), np.nan)

    def point(self, n: int) -> dict[str, float]:
        """What came out at a point."""
        return {name: float(values[n]) for name, values in self.columns.items()}


def _within(values: np.ndarray | float) -> np.ndarray:
    return np.clip(np.nan_to_num(values, nan=-FAR_DB), -FAR_DB, FAR_DB)


def most(course: Course, name: str) -> Mark | None:
    """Where a column is largest; None where it is nowhere above the floor."""
    from scipy.optimize import minimize_scalar
    x, y = course.frequency, course.values(name)
    if not np.nanmax(y, initial=-FAR_DB) > -FAR_DB:
        return None
    n = int(np.nanargmax(y))
    if n in (0, len(x) - 1):
        return Mark(float(x[n]), course.point(n), "end")
    if np.isnan(y[n - 1:n + 2]).any():
        return Mark(float(x[n]), course.point(n), "gap")
    try:
        found = minimize_scalar(lambda hz: -float(_within(course.at(hz, n)[name])), bounds=(x[n - 1], x[n + 1]),
                                method="bounded", options={"xatol": _PLACE * float(np.diff(x[n - 1:n + 2]).min())})
        columns = course.at(float(found.x), n)
    except HbsimError:
        return Mark(float(x[n]), course.point(n), "gap")
    # the largest at an end of what was searched is no maximum: its neighbour on the grid is another state
    if min(found.x - x[n - 1], x[n + 1] - found.x) < _BESIDE * (x[n + 1] - x[n - 1]):
        return Mark(float(x[n]), course.point(n), "jump")
    if columns[name] >= y[n]:
        return Mark(float(found.x), columns)
    return Mark(float(x[n]), course.point(n))


def band(course: Course, name: str, top: Mark, level: float) -> Band:
    """The band around the most of a column, in which it is at least `level`."""
    return Band(level, _edge(course, name, top, level, -1), _edge(course, name, top, level, 1))


def _edge(course: Course, name: str, top: Mark, level: float, way: int) -> Edge:
    x, y = course.frequency, course.values(name)
    points = np.flatnonzero(x * way > top.hz * way)[::way]  # outwards
    inner, near = top.hz, int(np.argmin(np.abs(x - top.hz)))
    for n in points:
        if np.isnan(y[n]):
            return Edge(None, GAP, float(x[n]))
        if y[n] < level:
            return _between(course, name, level, (inner, float(x[n])), near)
        inner, near = float(x[n]), int(n)
    return Edge(None, BEYOND)


def _between(course: Course, name: str, level: float, ends: tuple[float, float], near: int) -> Edge:
    from scipy.optimize import brentq
    try:
        hz = float(brentq(lambda f: float(_within(course.at(f, near)[name])) - level, *ends, xtol=_EDGE * ends[0]))
        columns = course.at(hz, near)
    except HbsimError:
        return Edge(None, FAILED, ends[1])
    except ValueError:  # no change of sign: the state met at the far end is another one than on the grid
        return Edge(None, JUMP, ends[1])
    off = float(_within(columns[name])) - level
    return Edge(hz, "" if math.fabs(off) <= _OFF_DB else JUMP, None, columns)
