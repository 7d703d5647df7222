"""A trade-off: how much of one figure must be given up for how much of another, and what to change at each point."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import NotSolved, Refusal
from .axis import axis_column
from .climb import SLACK
from .free import Free, at, free_quantities
from .front import ALIKE, Front
from .trials import Trial, Trials, floors_of
from .wishes import BEST_MATCH_DB, Hold, Wish, holds_of, met, usual_wishes, wish

SLACK_OF_LIMITS_DB = 0.01  # climb.SLACK of a reflection coefficient. [dB]
_ROUNDS = 2  # searches with more harmonics, where the found points ask for them


@dataclass(frozen=True, eq=False)
class Point:
    """One point of a front.

    values : address -> value. [SI; dBm, deg]
    figures : name -> value, in the figure's unit.
    harmonics : with which the figures were solved.
    truncation_db : by how much the wanted line moves with more harmonics; None where that is not known. [dB]
    """

    values: dict[str, float]
    figures: dict[str, float]
    harmonics: int
    truncation_db: float | None


@dataclass(frozen=True, eq=False)
class TradeOff:
    """Points that nothing beats on two counts, within the limits of the free quantities.

    Attributes
    ----------
    description : Description
        The circuit as it is.
    goal, against : Wish
    wishes : tuple of Wish
        All figures that points have.
    free : tuple of Free
    holds : tuple of Hold
        Those on the two counts themselves do not cut the front; they say which point is `best`.
    points : tuple of Point
        From the most of the goal to the most of the other count.
    knee : int or None
        Number of the point farthest from the line between the ends, each count over its range.
    best : Point or None
        Most of the goal with every limit of `holds` kept; None where no point keeps them.
    present : Point or None
        The circuit as it is; None where it is not solved.
    solves : int
        Steady states solved for, in all.
    harmonics : int
        Used in the search.
    unsolved : int
        Points on the way that have no steady state; the search stepped back from them.
    otherwise : int
        Points left out since the circuit, switched on there, comes to another state than the search followed.
    finished : bool
        False if it was interrupted; then points were not checked with more harmonics.
    """

    description: Description
    goal: Wish
    against: Wish
    wishes: tuple[Wish, ...]
    free: tuple[Free, ...]
    holds: tuple[Hold, ...]
    points: tuple[Point, ...]
    best: Point | None
    present: Point | None
    solves: int
    harmonics: int
    unsolved: int
    otherwise: int
    finished: bool

    @property
    def knee(self) -> int | None:
        """See above (common practice, no source); None where the front is hollow throughout."""
        if len(self.points) < 3:
            return None
        counts = np.array([[item.counted(point.figures[item.name]) for item in (self.goal, self.against)]
                           for point in self.points])
        range_of = counts.max(axis=0) - counts.min(axis=0)
        shares = (counts - counts.min(axis=0)) / np.where(range_of > 0.0, range_of, 1.0)
        number = int(np.argmax(shares.sum(axis=1)))
        return number if 0 < number < len(self.points) - 1 else None


def tradeoff(description: Description, free: Mapping[str, Any], *, maximise: str | None = None,
             against: str = "input_return_loss_db", hold: Mapping[str, Any] | None = None,
             harmonics: int | None = None, accuracy: Accuracy = Accuracy(),
             tell: Callable[[int], None] | None = None) -> TradeOff:
    """The points that nothing beats on two counts.

    Parameters
    ----------
    free : mapping
        Address -> "1V:8V" or (low, high): what may change; see `free_quantities`.
    maximise : str or None
        Name of a figure (see `wish`); None: the wanted output.
    against : str
        Another figure; more of the wanted line, return loss and efficiency, less of all else counts as better.
    hold : mapping or None
        Figure -> "10dB:" or (low, high): limits to keep.
    harmonics : int or None
        Used everywhere; None: what the present circuit needs, and more where the found points ask for it.
    accuracy : Accuracy
    tell : function of the solves done, or None

    Raises
    ------
    NotSolved
        Nothing was solved, or no point keeps the limits.
    Refusal
        Unknown or impossible quantities, figures or limits.
    """
    goal = wish(maximise or f"output_dbm_{description.wanted_harmonic}", description, 1)
    other = wish(against, description)
    if goal.name == other.name:
        raise Refusal("is weighed against itself; give another figure", against)
    holds = tuple(holds_of(hold or {}, description))
    wishes = {item.name: item for item in (goal, other, *usual_wishes(description), *(item.wish for item in holds))}
    study = _Study(description, tuple(free_quantities(free, description)), goal, other, tuple(wishes.values()), holds,
                   accuracy, harmonics, tell)
    return study.run()


@dataclass(eq=False)
class _Study:
    description: Description
    free: tuple[Free, ...]
    goal: Wish
    against: Wish
    wishes: tuple[Wish, ...]
    holds: tuple[Hold, ...]
    accuracy: Accuracy
    harmonics: int | None
    tell: Callable[[int], None] | None
    known: Sequence[Trial] = ()

    def run(self) -> TradeOff:
        """Search, check what was found, and search again where it asks for more harmonics."""
        given = self.harmonics is not None
        trials = Trials(self.description, self.free, self.wishes, self.harmonics or self._needed(), self.accuracy,
                        self.tell, {self.goal.name, self.against.name, *(hold.wish.name for hold in self.holds)})
        for _ in range(_ROUNDS):
            result, more = self._round(trials, given)
            if given or more <= trials.harmonics or not result.finished:
                break
            trials.harmonics = more
        return result

    def _needed(self) -> int:
        """Harmonics that the present circuit needs, or the middle of what is free."""
        reason = None
        for circuit in (self.description, self.description.with_values(at(self.free, np.full(len(self.free), 0.5)))):
            try:
                return solve(circuit, accuracy=self.accuracy).solver.harmonics
            except NotSolved as failure:
                reason = reason or failure
        raise reason

    def _round(self, trials: Trials, given: bool) -> tuple[TradeOff, int]:
        own = (self.goal.name, self.against.name)
        front = Front(trials, self.goal, self.against, floors_of([h for h in self.holds if h.wish.name not in own]),
                      self.known)
        found: list[Trial] = []
        best, finished = None, True
        points: list[Point] = []
        checked, more, otherwise = None, trials.harmonics, 0
        try:
            front.search()
            best = front.best(floors_of(self.holds)) if self.holds else None
            front.found += [best] if best is not None else []
            found = self._thinned(front)
            self.known = found
            for trial in found + ([best] if best is not None and best not in found else []):
                exact = trials.from_rest(trial.shares, trials.harmonics if given else None)
                if exact is None or self._elsewhere(trial, exact):
                    otherwise += 1
                    continue
                more = max(more, exact.state.solver.harmonics if self._moved(trial, exact) else 0)
                point = self._point(trials, exact, True)
                if trial is best:
                    checked = point
                points.append(point)
        except KeyboardInterrupt:
            finished = False
            points = points or [self._point(trials, trial, False) for trial in self._thinned(front)]
        ends = self._unbeaten(points)
        # a climb keeps limits to climb.SLACK, and the harmonics leave lines open by what was asked for
        slack_db = SLACK_OF_LIMITS_DB + self.accuracy.wanted_db
        if checked is not None and not met(self.holds, checked.figures, slack_db, 2 * SLACK):
            checked = None
        if not self.holds and ends:
            checked = ends[0]
        present = self._present(trials, given) if finished else None
        return TradeOff(self.description, self.goal, self.against, self.wishes, self.free, self.holds, tuple(ends),
                        checked, present, trials.solves, trials.harmonics, len(trials.reasons), otherwise,
                        finished), more

    def _present(self, trials: Trials, given: bool) -> Point | None:
        as_is = Trials(self.description, (), self.wishes, trials.harmonics, self.accuracy)
        found = as_is.from_rest(np.zeros(0), trials.harmonics if given else None)
        trials.solves += 1
        if found is None:
            return None
        values = {address: self.description.look_up(address)[1] for address in trials.addresses}
        return replace(self._point(as_is, found, True), values=values)

    def _thinned(self, front: Front) -> list[Trial]:
        """The front without points that are as good as their neighbours; both ends stay."""
        kept: list[Trial] = []
        points = front.points()
        for trial in points:
            if kept and trial is not points[-1] and all(
                    abs(item.counted(trial.values[item.name]) - item.counted(kept[-1].values[item.name]))
                    < ALIKE * front.fine(item) for item in (self.goal, self.against)):
                continue
            kept.append(trial)
        return kept

    def _unbeaten(self, points: Sequence[Point]) -> list[Point]:
        """What the check with more harmonics leaves of the front."""
        def counts(point: Point) -> tuple[float, float]:
            return tuple(item.counted(point.figures[item.name]) for item in (self.goal, self.against))

        left: list[Point] = []
        for point in sorted(points, key=counts, reverse=True):
            if not left or counts(point)[1] > counts(left[-1])[1]:
                left.append(point)
        return left

    def _moved(self, trial: Trial, exact: Trial) -> bool:
        """Whether the harmonics of the search were too few there."""
        wanted = f"output_dbm_{self.description.wanted_harmonic}"
        return abs(trial.values[wanted] - exact.values[wanted]) > self.accuracy.wanted_db

    def _elsewhere(self, trial: Trial, exact: Trial) -> bool:
        """Whether the circuit, switched on, comes to another state than the search followed: held with equal
        harmonics, a state is the same to rounding; more of them move lines by what accuracy tells apart."""
        if not self._moved(trial, exact):
            return False
        again = Trials(self.description, self.free, self.wishes, trial.state.solver.harmonics, self.accuracy)
        same = again.solved(trial.shares, exact.state)
        return same is None or self._moved(trial, same)

    def _point(self, trials: Trials, trial: Trial, estimate: bool) -> Point:
        truncation = trial.state.truncation if estimate else None
        moved = None if truncation is None else float(truncation.line_db[self.description.wanted_harmonic])
        return Point(at(trials.free, trial.shares), dict(trial.values), trial.state.solver.harmonics,
                     moved if moved is not None and math.isfinite(moved) else None)


def as_json(found: TradeOff) -> dict[str, Any]:
    """A trade-off as plain data; every key carries its unit, None stands for no number."""
    description = found.description
    units = {address: description.look_up(address)[0].unit for item in found.free for address in item.slopes()}

    def point(one: Point | None) -> dict[str, Any] | None:
        if one is None:
            return None
        return {"values": {axis_column(address, units[address]): value for address, value in one.values.items()},
                "output_dbm": one.figures[f"output_dbm_{description.wanted_harmonic}"], **one.figures,
                "harmonics": one.harmonics, "truncation_db": one.truncation_db}

    return {
        "title": description.title,
        "maximise": found.goal.name, "against": found.against.name,
        "against_better": "more" if found.against.better > 0 else "less",
        "free": [{"name": item.name, "unit": item.spec.unit, "low": item.low, "high": item.high}
                 for item in found.free],
        "hold": [{"figure": hold.wish.name, "unit": hold.wish.shown_unit, "low": hold.low, "high": hold.high}
                 for hold in found.holds],
        "points": [point(one) for one in found.points],
        "counts_at_most_db": BEST_MATCH_DB if found.against.is_match or found.goal.is_match else None,
        "knee": found.knee, "best": point(found.best), "present": point(found.present),
        "solves": found.solves, "harmonics": found.harmonics, "unsolved": found.unsolved,
        "left_out_other_state": found.otherwise, "finished": found.finished,
    }
