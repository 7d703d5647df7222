"""Past folds: the solution followed along its own curve, with the drive as one more unknown.

Where a multiplier jumps as the generator is turned up, the steady state as a function of the drive turns back, and no
step in the drive alone gets past. Followed by the length along the curve it has no such place. Pseudo-arclength:
H. B. Keller, "Numerical solution of bifurcation and nonlinear eigenvalue problems", in P. H. Rabinowitz (ed.),
Applications of Bifurcation Theory, Academic Press, 1977 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from .newton import BALANCED, TOLERANCE
from .spectrum import real_form
from .system import System

_VOLT = 0.3  # a change of the largest voltage that counts like one of the drive by 1 neper. [V]
_WEIGHT = 1.0 / _VOLT**2
_MOST_POINTS = 600
_FIRST_STRIDE, _LONGEST_STRIDE, _SHORTEST_STRIDE = 0.02, 0.5, 1e-7
_LEAST_COSINE = 0.85  # between the tangents at both ends of a stride, so that no pair of folds hides between them
_ASTRAY = 3.0  # so far below or above both ends, the curve is not on its way from one to the other. [neper]
_SAME_LEVEL = 1e-12  # [neper]
_ROUNDING = 1e-13  # a correction below this share of the largest voltage is rounding


@dataclass(eq=False)
class _Point:
    """A place on the curve: voltages (n, rows) [V], level of the drive [neper], tangent of both."""

    x: np.ndarray
    level: float
    dx: np.ndarray
    dlevel: float

    def along(self, dx: np.ndarray, dlevel: float) -> float:
        """How far a change leads along the tangent, times the length of that."""
        return _WEIGHT * float(np.vdot(self.dx, dx)) + self.dlevel * dlevel

    def cosine(self, other: _Point) -> float:
        """Of the angle between two tangents."""
        lengths = self.along(self.dx, self.dlevel) * other.along(other.dx, other.dlevel)
        return self.along(other.dx, other.dlevel) / math.sqrt(lengths)

    def stride_to(self, other: _Point) -> float:
        """Stride whose end lies level with another point."""
        return self.along(other.x - self.x, other.level - self.level) / self.along(self.dx, self.dlevel)


@dataclass(frozen=True, eq=False)
class Crossing:
    """A steady state at a wanted level.

    index: which of the levels; form: voltages (n, rows) [V], balanced at exactly that level; direction: +1 where the
    level rises along the curve, -1 where it falls. Where it runs against the way to the trace's end, between two
    folds, no real circuit stays.
    """

    index: int
    form: np.ndarray = field(repr=False)
    direction: int


@dataclass(frozen=True, eq=False)
class Fold:
    """Where the curve turns back: level [neper], known to better than 1e-5, and voltages (n, rows) [V]."""

    level: float
    form: np.ndarray = field(repr=False)


@dataclass(frozen=True, eq=False)
class Trace:
    """What was met along the curve, in order. `reason` says why it was left before its end; "" when it was not."""

    crossings: list[Crossing]
    folds: list[Fold]
    reason: str = ""


class _Left(Exception):
    """The curve was left; the text says why."""


class Arc:
    """The curve of steady states of one system as its drive grows.

    Parameters
    ----------
    rest, full : ndarray, complex, (K + 1, n)
        Excitation without and with the drive: at a level it is rest + exp(level) (full - rest), so that 0 is full and
        -1 one neper (8.7 dB) below.

    Attributes
    ----------
    steps : int
        Jacobians made so far.
    """

    def __init__(self, system: System, rest: np.ndarray, full: np.ndarray, parameters: np.ndarray) -> None:
        self._system, self._rest, self._drive = system, rest, full - rest
        self._drive_form = real_form(self._drive.T)
        self._parameters = parameters
        self.steps = 0

    def trace(self, x: np.ndarray, start: float, end: float, levels: np.ndarray,
              most_points: int = _MOST_POINTS) -> Trace:
        """Follow the curve from a balanced state until it first reaches another level, past any number of folds.

        Parameters
        ----------
        x : ndarray, (n, rows)
            State at `start`; the curve is taken the way that leads towards `end` from there. [V]
        start, end : float
            Either may be the higher one. What the curve does after it first reaches `end` is not met: to see all
            states at a level, choose an end beyond the folds. [neper above full drive]
        levels : ndarray, (n_level,)
            Where states are wanted; start and end may be among them. [neper above full drive]
        most_points : int
            Points of the curve after which it is left.
        """
        met = Trace([], [])
        heading = 1 if end >= start else -1
        try:
            first = self._first(x, start, heading)
            met.crossings.extend(Crossing(i, first.x, heading) for i, level in enumerate(levels)
                                 if abs(level - start) <= _SAME_LEVEL)
            for a, b in self._pieces(first, most_points):
                direction = 1 if b.level > a.level else -1
                last = direction == heading and heading * b.level >= heading * end - _SAME_LEVEL
                self._meet(a, b, levels, end if last else b.level, direction, met)
                if last:
                    return met
                if b.dlevel == 0.0:
                    met.folds.append(Fold(b.level, b.x))
                self._check_way(first, a, b, min(start, end), max(start, end))
        except _Left as left:
            return Trace(met.crossings, met.folds, str(left))
        return Trace(met.crossings, met.folds, f"its {most_points} points were used up at {_in_db(b.level)}")

    def _meet(self, a: _Point, b: _Point, levels: np.ndarray, bound: float, direction: int, met: Trace) -> None:
        """Add the crossings of a piece of the curve, up to the level `bound`."""
        for i in np.argsort(direction * np.asarray(levels), kind="stable"):
            level = float(levels[i])
            if direction * a.level + _SAME_LEVEL < direction * level <= direction * bound + _SAME_LEVEL:
                met.crossings.append(Crossing(int(i), self._at_level(a, b, level), direction))

    def _check_way(self, first: _Point, a: _Point, b: _Point, lower: float, upper: float) -> None:
        if not lower - _ASTRAY < b.level < upper + _ASTRAY:
            raise _Left(f"it leads away from both ends, past {_in_db(b.level)}")
        if a is not first and (b.level - a.level) * first.dlevel > 0 and (a.level - first.level) * (
                b.level - first.level) <= 0 and a.level != first.level:
            again = self._at_level(a, b, first.level)
            if np.abs(again - first.x).max() < 1e-6 * (1.0 + np.abs(first.x).max()):
                raise _Left("it is closed and does not reach its end")

    # -- along the curve ---------------------------------------------------------------------------------------

    def _excitation(self, level: float) -> np.ndarray:
        return self._rest + math.exp(level) * self._drive

    def _linearised(self, x: np.ndarray, level: float) -> tuple[float, np.ndarray, Callable]:
        """Current error, residual (n, rows), and what solves J y = b until the next call."""
        self.steps += 1
        error, f = self._system.linearised(x, self._excitation(level), self._parameters)
        return error, f, self._system.solved

    def _slope(self, level: float, solve: Callable) -> np.ndarray:
        """Change of the voltages with the level. [V / neper]"""
        return solve(math.exp(level) * self._drive_form)

    def _first(self, x: np.ndarray, level: float, heading: int) -> _Point:
        """A balanced state as a point of the curve, its tangent towards higher levels (heading 1) or lower (-1)."""
        _, _, solve = self._linearised(x, level)
        return _with_tangent(x.copy(), level, heading * self._slope(level, solve), float(heading))

    def _next(self, point: _Point, stride: float) -> _Point | None:
        """The point a stride further on; None where the corrections do not converge."""
        x, level = point.x + stride * point.dx, point.level + stride * point.dlevel
        length, change, towards = stride * point.along(point.dx, point.dlevel), math.inf, None
        for step in range(10):
            error, f, solve = self._linearised(x, level)
            slope = self._slope(level, solve)
            if not np.isfinite(slope).all():  # the Jacobian is singular
                return None
            rounding = towards is not None and np.abs(towards).max() <= _ROUNDING * np.abs(x).max()
            if step and (error <= TOLERANCE or rounding):
                sign = 1.0 if point.along(slope, 1.0) > 0 else -1.0
                return _with_tangent(x, level, sign * slope, sign)
            towards = solve(-f)
            off = point.along(x - point.x, level - point.level) - length
            change = -(off + _WEIGHT * float(np.vdot(point.dx, towards))) / point.along(slope, 1.0)
            towards = towards + change * slope
            x, level = x + towards, level + change
            if not np.isfinite(level) or abs(level - point.level) > 3.0 * stride + _SAME_LEVEL:
                return None
        return None

    def _pieces(self, point: _Point, most_points: int) -> Iterator[tuple[_Point, _Point]]:
        """Pieces of the curve, one after the other, along each of which the level only rises or only falls.

        Where a piece ends at a fold, that end's tangent is put at right angles to the level: dlevel is 0."""
        stride = _FIRST_STRIDE
        for _ in range(most_points):
            found = self._next(point, stride)
            if found is None or point.cosine(found) < _LEAST_COSINE:
                stride *= 0.4
                if stride < _SHORTEST_STRIDE:
                    raise _Left(f"no further point of it was found at {_in_db(point.level)}")
                continue
            if point.dlevel * found.dlevel < 0:
                fold = self._fold(point, stride)
                yield point, fold
                yield fold, found
            else:
                yield point, found
            point, stride = found, min(stride * 1.4, _LONGEST_STRIDE)

    def _sure(self, point: _Point, stride: float) -> _Point:
        """The point a stride further on, where one is known to be."""
        found = self._next(point, stride)
        if found is None:
            raise _Left(f"points of it could not be found again near {_in_db(point.level)}")
        return found

    def _fold(self, point: _Point, stride: float) -> _Point:
        """The fold that lies within the next stride."""
        # the level is flat at the fold: a stride known to 0.1 % gives it to 1e-6 of what the level changes in it
        where = _root(lambda s: (self._sure(point, s) if s else point).dlevel, 0.0, stride,
                                      xtol=1e-3 * stride)
        fold = self._sure(point, where)
        fold.dlevel = 0.0
        return fold

    def _at_level(self, a: _Point, b: _Point, level: float) -> np.ndarray:
        """The state at a level between two neighbouring points, the level rising or falling all along between them."""
        guess = _between(a, b, level)
        form = guess.copy()
        if self._balance(form, level):
            off, chord = np.abs(form - guess).max(), np.abs(b.x - a.x).max()
            _, _, solve = self._linearised(form, level)
            rises = a.along(self._slope(level, solve), 1.0) > 0
            if off <= 0.1 * chord + 1e-9 and rises == (b.level > a.level):
                return form
        # close to a fold, where a step at one level may fall on the neighbouring stretch of the curve
        end = a.stride_to(b)

        def miss(stride: float) -> float:
            here = a if stride == 0.0 else b if stride == end else self._sure(a, stride)
            return here.level - level

        form = self._sure(a, _root(miss, 0.0, end, xtol=1e-14, rtol=1e-13)).x
        if not self._balance(form, level):
            raise _Left(f"a wanted level lies on a fold at {_in_db(level)}")
        return form

    def _balance(self, form: np.ndarray, level: float) -> bool:
        stop, steps, _ = self._system.newton(form, self._excitation(level), self._parameters, 12)
        self.steps += steps
        return stop == BALANCED


def _root(f: Callable[[float], float], a: float, b: float, **tolerances: float) -> float:
    """Where f passes zero between a and b."""
    from scipy.optimize import brentq  # takes long to import, and few circuits have folds
    return brentq(f, a, b, **tolerances)


def _with_tangent(x: np.ndarray, level: float, dx: np.ndarray, dlevel: float) -> _Point:
    length = math.hypot(np.abs(dx).max() / _VOLT, dlevel)
    return _Point(x, level, dx / length, dlevel / length)


def _between(a: _Point, b: _Point, level: float) -> np.ndarray:
    """Voltages at a level between two points, on the cubic that joins them along their tangents. [V]"""
    stride = a.stride_to(b)

    def cubic(t: float, ya, yb, sa, sb):
        return (ya * (1 + 2 * t) * (1 - t) ** 2 + yb * t * t * (3 - 2 * t)
                + stride * (sa * t * (1 - t) ** 2 - sb * t * t * (1 - t)))

    t = _root(lambda t: cubic(t, a.level, b.level, a.dlevel, b.dlevel) - level, 0.0, 1.0, xtol=1e-10)
    return cubic(t, a.x, b.x, a.dx, b.dx)


def _in_db(level: float) -> str:
    return f"{20 * level / math.log(10):+.2f} dB of the full drive"
