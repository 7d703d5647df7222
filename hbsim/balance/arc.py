"""Past folds: the solution followed along its own curve, with the drive as one more unknown.

Where a multiplier jumps as the generator is turned up, the steady state as a function of the drive turns back, and no
step in the drive alone gets past. Followed by the length along the curve it has no such place. Pseudo-arclength:
H. B. Keller, "Numerical solution of bifurcation and nonlinear eigenvalue problems", in P. H. Rabinowitz (ed.),
Applications of Bifurcation Theory, Academic Press, 1977 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .newton import TOLERANCE
from .spectrum import real_form
from .system import System

_VOLT = 0.3  # a change of the largest voltage that counts like one of the drive by 1 neper. [V]
_MOST_POINTS = 600


@dataclass
class _Point:
    """A place on the curve: voltages (n, rows) [V], level of the drive [neper below full], tangent of both."""

    x: np.ndarray
    level: float
    dx: np.ndarray
    dlevel: float


class Arc:
    """The curve of steady states of one system as its drive grows from `rest` to `full`.

    Parameters
    ----------
    rest, full : ndarray, complex, (K + 1, n)
        Excitation without and with the drive; a level of 0 is full, -1 one neper (8.7 dB) below.
    """

    def __init__(self, system: System, rest: np.ndarray, full: np.ndarray, parameters: np.ndarray) -> None:
        self._system, self._rest, self._drive = system, rest, full - rest
        self._drive_form = real_form(self._drive.T)
        self._parameters = parameters
        self.steps = 0

    def _excitation(self, level: float) -> np.ndarray:
        return self._rest + np.exp(level) * self._drive

    def _linearised(self, x: np.ndarray, level: float) -> tuple[float, np.ndarray]:
        """Current error and residual; the system's `solved` then takes its Jacobian."""
        self.steps += 1
        return self._system.linearised(x, self._excitation(level), self._parameters)

    def _slope(self, level: float) -> np.ndarray:
        """By how much the voltages move for one neper of drive, (n, rows)."""
        return self._system.solved(np.exp(level) * self._drive_form)

    def _tangent(self, x: np.ndarray, level: float, along: _Point | None) -> _Point:
        self._linearised(x, level)
        slope = self._slope(level)
        length = np.sqrt((np.abs(slope).max() / _VOLT) ** 2 + 1.0)
        dx, dlevel = slope / length, 1.0 / length
        if along is not None and np.vdot(dx, along.dx) / _VOLT**2 + dlevel * along.dlevel < 0:
            dx, dlevel = -dx, -dlevel
        return _Point(x, level, dx, dlevel)

    def _next(self, point: _Point, stride: float) -> _Point | None:
        """The point a stride further on; None where the corrections do not converge."""
        x, level = point.x + stride * point.dx, point.level + stride * point.dlevel
        weight = 1.0 / _VOLT**2
        for step in range(9):
            error, f = self._linearised(x, level)
            if error <= TOLERANCE and step:
                found = self._tangent(x, level, point)
                return found if np.isfinite(found.dlevel) else None
            towards, slope = self._system.solved(-f), self._slope(level)
            off = weight * np.vdot(point.dx, x - point.x) + point.dlevel * (level - point.level) \
                - stride * (weight * np.vdot(point.dx, point.dx) + point.dlevel**2)
            change = -(off + weight * np.vdot(point.dx, towards)) / (point.dlevel + weight * np.vdot(point.dx, slope))
            x, level = x + towards + change * slope, level + change
            if not np.isfinite(level) or abs(level - point.level) > 3.0 * stride + 1e-12:
                return None
        return None

    def reach_full_drive(self, x: np.ndarray, share: float) -> np.ndarray | None:
        """Follow the curve from a balanced state at `share` of the full drive until it first crosses full drive.

        Returns
        -------
        ndarray, (n, rows), or None
            A start for a last Newton run at full drive. [V]
        """
        point = self._tangent(x.copy(), float(np.log(share)), None)
        stride = 0.02
        for _ in range(_MOST_POINTS):
            found = self._next(point, stride)
            if found is None:
                stride *= 0.4
                if stride < 1e-7:
                    return None
                continue
            if found.level >= 0.0 > point.level:
                part = point.level / (point.level - found.level)
                return point.x + part * (found.x - point.x)
            point, stride = found, min(stride * 1.4, 0.5)
        return None
