"""The points that nothing beats on two counts: found by climbing one count above levels of the other.

Each level is a constraint (the epsilon-constraint method: Y. Y. Haimes, L. S. Lasdon and D. A. Wismer, IEEE Trans.
SMC-1 (1971) 296-297), which finds points of a front that is not convex too. A scatter (scipy's Sobol points) gives
starts that stand apart, for fronts of separate pieces; the climbs between two found points start between them, and
again from both where the point found lies below the line that joins its neighbours.

Between two neighbours a point that nothing beats is worse than one of them on one count by no more than their distance
on that count. So levels are added until every two neighbours are near on one of the counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..errors import NotSolved
from .climb import Climb
from .trials import Floor, Trial, Trials
from .wishes import Wish

FINE_DB = 0.05  # neighbours are this near on one count. [dB]
ALIKE = 0.2  # of it: with so little more of the other count a point is no better
FINE_SHARE = 0.01  # of its whole range, for a count that is no level
_SCATTER = {1: 8, 2: 32}  # starts for so many free quantities
_MOST_SCATTER = 64
_LEVELS, _STARTS, _ENDS = 7, 3, 4  # levels with starts from all over, how many there, and for each end
_APART = 0.25  # distance of two starts that stand apart, of the diagonal
_MOST_POINTS = 250


@dataclass(eq=False)
class Front:
    """A search for the front.

    Parameters
    ----------
    trials : Trials
    goal, against : Wish
        The two counts.
    floors : sequence of Floor
        What every point must reach besides.

    Attributes
    ----------
    found : list of Trial
        What climbs ended at.
    """

    trials: Trials
    goal: Wish
    against: Wish
    floors: Sequence[Floor]
    known: Sequence[Trial] = ()
    found: list[Trial] = field(default_factory=list)
    _scattered: list[Trial] = field(default_factory=list)
    _tried: list[float] = field(default_factory=list)

    def search(self) -> None:
        """Find the front; what is found so far stands in `found` if this is interrupted.

        Raises
        ------
        NotSolved
            No start has a steady state, or none leads to a point that keeps all limits.
        """
        self._scatter()
        self._ends()
        if not self.found:
            raise NotSolved("no point was found that keeps all limits; loosen one of --hold, or free more quantities")
        points = self.points()
        low, high = self._against(points[0]), self._against(points[-1])
        for level in np.linspace(low, high, _LEVELS + 2)[1:-1] if high > low else ():
            self._climb(float(level), self._starts([self._floor(float(level)), *self.floors], _STARTS))
        self._refine()

    def points(self) -> list[Trial]:
        """Those found that no other beats, the goal falling and the other count rising."""
        ranked = sorted(self.found, key=lambda trial: (self._goal(trial), self._against(trial)), reverse=True)
        front: list[Trial] = []
        least = ALIKE * self.fine(self.against)
        for trial in ranked:
            if not front or self._against(trial) > self._against(front[-1]) + least:
                front.append(trial)
        return front

    def best(self, floors: Sequence[Floor]) -> Trial | None:
        """The most of the goal above other floors, from the points of the front and starts all over."""
        front = [trial for trial in self.points() if all(floor.room(trial) >= 0.0 for floor in floors)]
        starts = front[:1] + self._starts(floors, _STARTS)
        found = [self._climbed(self.goal, floors, start) for start in starts]
        return max((trial for trial in found if trial is not None), key=self._goal, default=None)

    # -- counts -----------------------------------------------------------------------------------------------

    def _goal(self, trial: Trial) -> float:
        return self.goal.counted(trial.values[self.goal.name])

    def _against(self, trial: Trial) -> float:
        return self.against.counted(trial.values[self.against.name])

    def _floor(self, level: float) -> Floor:
        return Floor(self.against, self.against.uncounted(level))

    def fine(self, wish: Wish) -> float:
        """How near neighbours must be on a count."""
        if wish.in_decibels:
            return FINE_DB
        values = [trial.values[wish.name] for trial in (*self.found, *self._scattered)]
        return FINE_SHARE * (max(values) - min(values))

    def _scale(self, wish: Wish) -> float:
        """Of its worth, in a climb."""
        return 0.1 if wish.is_match else 1.0 if wish.in_decibels else self.fine(wish) / FINE_DB or 1.0

    # -- starts -----------------------------------------------------------------------------------------------

    def _scatter(self) -> None:
        from scipy.stats import qmc
        count = len(self.trials.free)
        shares = qmc.Sobol(count, scramble=False).random(_SCATTER.get(count, _MOST_SCATTER))
        present = np.array([item.start for item in self.trials.free])
        self._scattered += self.known
        for point in sorted([present, *shares], key=lambda point: float(np.linalg.norm(point - present))):
            near = min(self._scattered, key=lambda trial: float(np.linalg.norm(trial.shares - point)), default=None)
            trial = self.trials.solved(point, near.state if near else None)
            if trial is not None:
                self._scattered.append(trial)
        if not self._scattered:
            raise NotSolved(f"none of {self.trials.solves} points between the limits was solved: "
                            f"{self.trials.reasons[0]}")

    def _starts(self, floors: Sequence[Floor], most: int, wish: Wish | None = None) -> list[Trial]:
        """The most promising points that stand apart: least below the floors, then most of a wish (None: the goal)."""
        goal = wish or self.goal

        def rank(trial: Trial) -> tuple[float, float]:
            below = sum(min(floor.room(trial), 0.0) for floor in floors)
            return round(below, 3), goal.worth(trial.values[goal.name])

        chosen: list[Trial] = []
        apart = _APART * np.sqrt(len(self.trials.free))
        for trial in sorted([*self.found, *self._scattered], key=rank, reverse=True):
            if all(np.linalg.norm(trial.shares - other.shares) >= apart for other in chosen):
                chosen.append(trial)
            if len(chosen) == most:
                break
        return chosen

    # -- climbs -----------------------------------------------------------------------------------------------

    def _climbed(self, wish: Wish, floors: Sequence[Floor], start: Trial | np.ndarray,
                 near: Trial | None = None) -> Trial | None:
        climb = Climb(self.trials, wish, floors, self._scale(wish))
        return climb.run(start, near.state if near is not None else None)

    def _climb(self, level: float, starts: Sequence[Trial | np.ndarray], near: Trial | None = None) -> Trial | None:
        """Climb the goal above a level of the other count, from each start; the best that comes of it."""
        self._tried.append(level)
        floors = [self._floor(level), *self.floors]
        found = [trial for start in starts if (trial := self._climbed(self.goal, floors, start, near)) is not None]
        self.found += found
        return max(found, key=self._goal, default=None)

    def _ends(self) -> None:
        for wish in (self.goal, self.against):
            ends = [self._climbed(wish, self.floors, start) for start in self._starts(self.floors, _ENDS, wish)]
            self.found += [trial for trial in ends if trial is not None]
        if self.found:  # as much of the goal as goes with the most of the other count
            most = max(self.found, key=lambda trial: (self._against(trial), self._goal(trial)))
            self._climb(self._against(most), [most])

    def _refine(self) -> None:
        """Add levels until neighbours are near, then try again where the front is hollow."""
        again: set[int] = set()
        while len(self.points()) < _MOST_POINTS:
            gap = self._widest()
            if gap is not None:
                self._between(*gap)
                continue
            hollow = next((trio for trio in self._hollows() if id(trio[1]) not in again), None)
            if hollow is None:
                return
            before, middle, after = hollow
            again.add(id(middle))
            self._climb(self._against(middle), [before, after])

    def _widest(self) -> tuple[Trial, Trial, float] | None:
        """Two neighbours that are not near, and the level up to which nothing is known between them."""
        front, fine_goal, fine_against = self.points(), self.fine(self.goal), self.fine(self.against)
        widest, gap = 0.0, None
        for left, right in zip(front, front[1:]):
            low = self._against(left)
            high = min([level for level in self._tried if level > low + fine_against / 2] + [self._against(right)])
            drop = self._goal(left) - self._goal(right)
            if drop > fine_goal and high - low > fine_against:
                size = min(drop / fine_goal, (high - low) / fine_against)
                if size > widest:
                    widest, gap = size, (left, right, high)
        return gap

    def _between(self, left: Trial, right: Trial, high: float) -> None:
        level = (self._against(left) + high) / 2
        found = self._climb(level, [(left.shares + right.shares) / 2], left)
        if found is None or self._goal(found) < self._chord(left, right, level) - self.fine(self.goal):
            self._climb(level, [right, left])

    def _chord(self, left: Trial, right: Trial, level: float) -> float:
        return float(np.interp(level, [self._against(left), self._against(right)],
                               [self._goal(left), self._goal(right)]))

    def _hollows(self) -> list[tuple[Trial, Trial, Trial]]:
        front = self.points()
        return [(a, b, c) for a, b, c in zip(front, front[1:], front[2:])
                if self._goal(b) < self._chord(a, c, self._against(b)) - self.fine(self.goal)]
