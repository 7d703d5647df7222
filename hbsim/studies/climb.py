"""One climb: from a point to the most of a wish that is near it, above some floors, by scipy's SLSQP.

The slopes are those of the balance itself (balance/gradient.py). Where a point is not solved the climb is told that it
is worse than the last one that was, so that its line search comes back; where it cannot go on, the best that was found
stands.

D. Kraft, "A software package for sequential quadratic programming", DFVLR-FB 88-28 (1988), is the method in scipy.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..balance.solution import SteadyState
from .trials import Floor, Trial, Trials
from .wishes import Wish

SLACK = 1e-3  # of a floor: 0.001 dB of a level, 0.009 dB of a return loss
_EXACT = 1e-5  # of what is climbed, in its own scale
_STEPS = 40
_WORSE = 10.0  # scales by which a point that is not solved is worse than the last that was


class _Stop(Exception):
    """The climb stands where nothing is known."""


class Climb:
    """A wish to climb above floors.

    Parameters
    ----------
    trials : Trials
    goal : Wish
    floors : sequence of Floor
    scale : float
        Change of the goal's worth that counts as one.
    """

    def __init__(self, trials: Trials, goal: Wish, floors: Sequence[Floor], scale: float) -> None:
        self._trials, self._goal, self._floors, self._scale = trials, goal, floors, scale
        self._at: np.ndarray | None = None
        self._trial: Trial | None = None
        self._last: Trial | None = None
        self._start: SteadyState | None = None
        self.best: Trial | None = None

    def run(self, start: Trial | np.ndarray, state: SteadyState | None = None) -> Trial | None:
        """The best point above all floors that was met; None where there was none.

        Parameters
        ----------
        start : Trial, or ndarray of shares (n_free,)
        state : SteadyState or None
            For shares: a state near by.
        """
        from scipy.optimize import minimize
        if isinstance(start, Trial):
            self._take(start)
            shares = start.shares
        else:
            self._start, shares = state, start
        constraints = [] if not self._floors else [
            {"type": "ineq", "fun": self._room, "jac": self._room_slope}]
        try:
            minimize(self._cost, shares, jac=self._cost_slope, bounds=[(0.0, 1.0)] * len(shares), method="SLSQP",
                     constraints=constraints, options={"ftol": _EXACT, "maxiter": _STEPS})
        except _Stop:
            pass
        return self.best

    def _take(self, trial: Trial) -> None:
        self._at, self._trial, self._last, self._start = trial.shares.copy(), trial, trial, trial.state
        if all(floor.room(trial) >= -SLACK for floor in self._floors) and (
                self.best is None or self._worth(trial) > self._worth(self.best)):
            self.best = trial

    def _worth(self, trial: Trial) -> float:
        return self._goal.worth(trial.values[self._goal.name])

    def _go(self, shares: np.ndarray) -> Trial | None:
        """The point at these shares; the one just asked for is kept."""
        shares = np.clip(shares, 0.0, 1.0)  # a step may leave the limits by rounding
        if not np.isfinite(shares).all():
            raise _Stop
        if self._at is None or not np.array_equal(self._at, shares):
            trial = self._trials.solved(shares, self._start)
            if trial is not None:
                self._take(trial)
            elif self._last is None:
                raise _Stop
            else:
                self._at, self._trial = shares.copy(), None
        return self._trial

    def _cost(self, shares: np.ndarray) -> float:
        trial = self._go(shares)
        if trial is None:
            return -self._worth(self._last) / self._scale + _WORSE
        return -self._worth(trial) / self._scale

    def _cost_slope(self, shares: np.ndarray) -> np.ndarray:
        trial = self._go(shares)
        slopes = self._slopes(trial)
        return -self._goal.worth_slope(trial.values[self._goal.name]) / self._scale * slopes[self._goal.name]

    def _room(self, shares: np.ndarray) -> np.ndarray:
        trial = self._go(shares) or self._last
        return np.array([floor.room(trial) for floor in self._floors])

    def _room_slope(self, shares: np.ndarray) -> np.ndarray:
        trial = self._go(shares)
        slopes = self._slopes(trial)
        return np.array([floor.slope(trial, slopes) for floor in self._floors])

    def _slopes(self, trial: Trial | None) -> dict[str, np.ndarray]:
        slopes = self._trials.slopes(trial) if trial is not None else None
        if slopes is None:
            raise _Stop
        return slopes
