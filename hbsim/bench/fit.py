"""Unknowns from measured data: least squares over any mix of data sets, with the exact slopes of the prediction.

scipy's trust-region method does the search. The prediction is solved once for each step that is tried, at every point;
slopes are taken from the solved states by one back-substitution a figure, at steps that are kept. A step to where a
point has no steady state is taken back by the method, which sees that it leads nowhere.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..errors import NotSolved, Refusal
from ..quantities import finite_or_none
from .compare import Comparison
from .compare import as_json as compared_json
from .dataset import DataSet
from .judged import LOST, PULLS, Worth, worth
from .unknowns import Unknown

LOSSES = {"squares": "linear", "soft": "soft_l1", "bounded": "arctan"}  # a word of ours -> scipy's
_LEFT = 0.005  # of the weighted sum of squares, that is about its number times one: 0.07 standard errors
_XTOL = 1e-6  # of the places: far inside the standard errors
_EDGE = 1e-6  # of the room between two limits: nearer counts as at the limit
MOST_STEPS = 100
_LEAST_REFLECTION = 0.03  # that a search which is still far away tells from none
_GENTLE = 0.02  # of the weighted sum of squares, by reflections: only where to begin
_STEADY, _ROUNDS = 0.1, 4  # standard errors; searches, the first with a coarse prediction
_STILL = 1.0  # standard errors: a search that stands still farther away has not found the least squares
_NO_SLOPE = 1e-9  # weighted, of a place: rounding
_NEAR = 3.0  # standard errors, within which a prediction stays as exact as it was chosen to be


@dataclass(frozen=True, eq=False)
class Fit:
    """What was found.

    Attributes
    ----------
    unknowns : tuple of Unknown
    values : dict
        Address -> value found. [unit of the quantity]
    errors : dict
        Address -> standard error in the same unit, from the stated uncertainties of the data (with another loss than
        squares from the residuals, see judged.py); infinite where the data say nothing.
    worth : Worth
        In the measure of the search.
    sets : tuple of DataSet
    before, after : tuple of ndarray
        Predicted numbers of each set at the start and at the end.
    comparisons_before, comparisons_after : tuple of Comparison
        Each set beside these.
    left_out : dict
        (set, number of the value) -> why it was not used.
    at_limit : tuple of str
        Addresses that ended at one of their limits; their errors mean little.
    solves : int
        Steady states solved for.
    steps : int
        Steps tried.
    finished : bool
        False where it was interrupted or ran out of steps; the values are the best so far.
    reason : str
        Why it ended, in words.
    away : float
        How far the least squares of the exact prediction are from the answer, in standard errors, by linear regression;
        the search itself is done with a coarser prediction first.
    """

    unknowns: tuple[Unknown, ...]
    values: dict[str, float]
    errors: dict[str, float]
    worth: Worth
    sets: tuple[DataSet, ...]
    before: tuple[np.ndarray, ...]
    after: tuple[np.ndarray, ...]
    comparisons_before: tuple[Comparison, ...]
    comparisons_after: tuple[Comparison, ...]
    left_out: dict[tuple[str, int], str] = field(default_factory=dict)
    at_limit: tuple[str, ...] = ()
    solves: int = 0
    steps: int = 0
    finished: bool = True
    reason: str = ""
    away: float = 0.0


class _Search:
    """All data sets as one row of weighted residuals over the places of the unknowns."""

    def __init__(self, sets: Sequence[DataSet], unknowns: Sequence[Unknown]) -> None:
        self.sets, self.unknowns = sets, unknowns
        self.used: list[np.ndarray] = []
        self.predicted: list[np.ndarray] = []
        self.gently = False
        self._at: np.ndarray | None = None
        self._table: list[np.ndarray] | None = None
        self.tried = 0
        self.best: tuple[float, np.ndarray] | None = None

    def values(self, places: np.ndarray) -> dict[str, float]:
        """Of all that the unknowns move."""
        return {address: value for item, place in zip(self.unknowns, places)
                for address, value in item.settings(item.value(float(place))).items()}

    def predict(self, places: np.ndarray) -> list[np.ndarray]:
        if self._at is None or not np.array_equal(self._at, places):
            values = self.values(places)
            self.predicted = [item.predict(self._known(item, values)) for item in self.sets]
            self._at, self._table = np.array(places), None
            self.tried += 1
        return self.predicted

    def comparisons(self, predicted: Sequence[np.ndarray]) -> tuple[Comparison, ...]:
        """Each set beside what was predicted last; bands depend on the states of that."""
        return tuple(item.comparison(numbers) for item, numbers in zip(self.sets, predicted))

    def choose_anew(self, coarse: bool) -> None:
        """Let all sets choose anew how exact their prediction is."""
        for item in self.sets:
            item.choose_anew(coarse)
        self._at = self._table = self.best = None  # what was found so far was found otherwise

    def drop_missing(self, places: np.ndarray) -> dict[tuple[str, int], str]:
        """Use no more what has no prediction here; what that is, in words."""
        dropped = {}
        for item, predicted, used in zip(self.sets, self.predict(places), self.used):
            for number in np.flatnonzero(used & ~np.isfinite(predicted)):
                dropped[item.name, int(number)] = f"{item.labels[number]} has no steady state with the values found"
            used &= np.isfinite(predicted)
        return dropped

    def pull(self, places: np.ndarray, loss: str, ends: tuple[np.ndarray, np.ndarray]) -> float:
        """How far the best answer is still away by linear regression, at most, in standard errors; what would be gained
        beyond the limits of an unknown does not count.

        ends : whether each unknown stands at its lower and at its upper limit.
        """
        (force, slope), jacobian = PULLS[loss](self.residuals(places)), self.jacobian(places)
        gradient = jacobian.T @ force
        free = ~(ends[0] & (gradient > 0.0) | ends[1] & (gradient < 0.0))
        _, sizes, ways = np.linalg.svd((jacobian * np.sqrt(np.maximum(slope, 0.0))[:, None])[:, free],
                                       full_matrices=False)
        kept = sizes > max(LOST * sizes.max(initial=0.0), _NO_SLOPE)
        return float(np.sqrt((((ways @ gradient[free])[kept] / sizes[kept]) ** 2).sum()))

    @staticmethod
    def _known(item: DataSet, values: Mapping[str, float]) -> dict[str, float]:
        known = set(item.addresses())
        return {address: value for address, value in values.items() if address in known}

    def residuals(self, places: np.ndarray) -> np.ndarray:
        """Weighted, of the numbers that are used; nan where one of them has no prediction."""
        found = np.concatenate([self._weighed(item, predicted)[used] for item, predicted, used
                                in zip(self.sets, self.predict(places), self.used)])
        cost = float((found**2).sum())
        if np.isfinite(cost) and (self.best is None or cost < self.best[0]):
            self.best = (cost, np.array(places))
        return found

    def _weighed(self, item: DataSet, predicted: np.ndarray) -> np.ndarray:
        found = item.deviation(predicted) / item.standard
        if self.gently and item.losses is not None:
            found = np.where(item.losses & (found != 0.0), _by_reflection(item, predicted)[0], found)
        return found

    def jacobian(self, places: np.ndarray) -> np.ndarray:
        """Of the residuals against the places."""
        found = self.slopes(places) * [item.slope(item.value(float(place)))
                                       for item, place in zip(self.unknowns, places)]
        # what the data do not know would wander with the rounding of its slopes
        return np.where(np.sqrt((found**2).sum(axis=0)) < _NO_SLOPE, 0.0, found)

    def slopes(self, places: np.ndarray) -> np.ndarray:
        """Of the residuals against the unknowns in their units."""
        rows = []
        for item, numbers, used, table in zip(self.sets, self.predict(places), self.used, self._tables(places)):
            kept = (item.limit != 0) & (item.deviation(numbers) == 0.0)  # a limit that holds pulls nowhere
            weight = np.where(kept, 0.0, 1.0 / item.standard)
            if self.gently and item.losses is not None:
                weight = np.where(item.losses & ~kept, _by_reflection(item, numbers)[1], weight)
            rows.append((table * weight[:, None])[used])
        return np.concatenate(rows)

    def _tables(self, places: np.ndarray) -> list[np.ndarray]:
        """Slopes of the numbers of each set against the unknowns in their units."""
        self.predict(places)
        if self._table is None:
            self._table = []
            for item in self.sets:
                known = set(item.addresses())
                asked = [address for unknown in self.unknowns for address in unknown.moves() if address in known]
                table = np.zeros((len(item.measured), len(self.unknowns)))
                slopes = dict(zip(asked, item.slopes(asked).T)) if asked else {}
                for column, unknown in enumerate(self.unknowns):
                    for address, share in unknown.moves().items():
                        if address in slopes:
                            table[:, column] += share * slopes[address]
                self._table.append(table)
        return self._table


def _by_reflection(item: DataSet, predicted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What return losses are off by as reflections, weighted, and the slope of that against the predicted numbers.

    A deep null of the one where the other has none is some 20 dB, but a reflection of a tenth."""
    there, measured = (10.0 ** (-np.where(item.losses, numbers, 0.0) / 20.0) for numbers in (predicted, item.measured))
    neper = math.log(10.0) / 20.0
    standard = np.hypot(neper * measured * np.where(item.losses, item.standard, 0.0), _LEAST_REFLECTION)
    return (there - measured) / standard, -neper * there / standard


def fit(sets: Sequence[DataSet], unknowns: Sequence[Unknown], loss: str = "squares") -> Fit:
    """Find the unknowns.

    Parameters
    ----------
    sets : sequence of DataSet
    unknowns : sequence of Unknown
    loss : str
        "squares"; "soft" lets a number far off pull like its distance, not its square; "bounded" hardly at all.

    Raises
    ------
    Refusal
        An unknown that none of the data know, fewer numbers than unknowns, numbers without an uncertainty.
    NotSolved
        None of the points has a steady state at the start.
    """
    from scipy.optimize import least_squares
    if loss not in LOSSES:
        raise Refusal(f"there is no loss '{loss}'; choose one of {', '.join(LOSSES)}", "loss")
    _check(sets, unknowns)
    search = _Search(sets, unknowns)
    search.choose_anew(coarse=True)
    places = np.array([item.place(item.start) for item in unknowns])
    before = tuple(np.array(item) for item in search.predict(places))
    left_out = _left_out(search, before)
    comparisons_before = search.comparisons(before)
    if sum(used.sum() for used in search.used) < len(unknowns):
        raise Refusal(f"{sum(int(used.sum()) for used in search.used)} numbers cannot tell {len(unknowns)} unknowns; "
                      "free fewer, or measure more", "free")

    def searched(start: np.ndarray, ftol: float) -> Any:
        return least_squares(search.residuals, start, jac=search.jacobian, bounds=(low, high), x_scale="jac",
                             loss=LOSSES[loss], ftol=ftol, xtol=_XTOL, gtol=_XTOL, max_nfev=MOST_STEPS)

    low, high = (np.array([item.place(value) for item, value in ((item, getattr(item, side)) for item in unknowns)])
                 for side in ("low", "high"))
    finished, reason, away = True, "", np.inf
    try:
        if any(item.losses is not None and item.losses.any() for item in sets):
            search.gently = True
            places = searched(places, _GENTLE).x
            search.gently = False
        for _ in range(_ROUNDS):
            answer = searched(places, _LEFT / sum(used.sum() for used in search.used))
            places, finished = answer.x, answer.status > 0
            reason = "" if finished else f"{MOST_STEPS} steps were not enough; the values are the best so far"
            if away > _NEAR:
                search.choose_anew(coarse=False)
            left_out |= search.drop_missing(places)
            away = search.pull(places, loss, _at_ends(places, low, high))
            if away <= _STEADY or not finished:
                break
        if finished and away > _STILL:
            finished, reason = False, f"the search stands still {away:.2g} standard errors from the best answer; " \
                                      "begin elsewhere with --set, or give limits"
    except KeyboardInterrupt:
        places = places if search.best is None else search.best[1]
        finished, reason = False, "interrupted; the values are the best so far"
        search.gently = False
        search.choose_anew(coarse=False)
    left_out |= search.drop_missing(places)
    after = tuple(np.array(item) for item in search.predict(places))
    values = {item.address: item.value(float(place)) for item, place in zip(unknowns, places)}
    found = worth(unknowns, list(values.values()), search.slopes(places), search.residuals(places),
                  loss)
    errors = {item.address: float(error * item.whole(values[item.address]))
              for item, error in zip(unknowns, found.errors)}
    stuck = np.logical_or(*_at_ends(places, low, high))
    return Fit(tuple(unknowns), values, errors, found, tuple(sets), before, after, comparisons_before,
               search.comparisons(after), left_out, tuple(item.address for item, at in zip(unknowns, stuck) if at),
               sum(item.solves for item in sets), search.tried, finished, reason, away)


def _at_ends(places: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whether places stand at their lower and at their upper limits."""
    room = np.where(np.isfinite(high - low), high - low, 1.0)
    return places - low < _EDGE * room, high - places < _EDGE * room


def _check(sets: Sequence[DataSet], unknowns: Sequence[Unknown]) -> None:
    known = {address for item in sets for address in item.addresses()}
    for unknown in unknowns:
        for address in unknown.moves():
            if address not in known:
                raise Refusal("none of the data can tell it: it is set by the data at every point, or is no quantity "
                              "that they depend on", address)
    for item in sets:
        bad = np.flatnonzero(~(np.isfinite(item.standard) & (item.standard > 0.0)))
        if bad.size:
            raise Refusal(f"{item.labels[bad[0]]}: a measured number needs a standard uncertainty above zero to be "
                          f"weighed against others; write for example {item.uncertainty_line(int(bad[0]))} into the "
                          "TOML file beside it", "", item.name)


def _left_out(search: _Search, before: Sequence[np.ndarray]) -> dict[tuple[str, int], str]:
    """Mark what is used; what has no prediction at the start is left out for good."""
    left = {}
    for item, predicted in zip(search.sets, before):
        used = np.isfinite(predicted)
        search.used.append(used)
        reasons = getattr(item, "reasons", {})
        for number in np.flatnonzero(~used):
            left[item.name, int(number)] = f"{item.labels[number]} has no steady state at the start"
        if not used.any():
            raise NotSolved(f"{item.name}: none of its points has a steady state at the start"
                            + (f" ({next(iter(reasons.values()))})" if reasons else ""))
    return left


def as_json(found: Fit) -> dict:
    """Plain data of a fit; standard errors of None: not to be told."""
    unknowns = [{"name": item.address, "unit": item.spec.unit, "start": finite_or_none(item.start),
                 "value": finite_or_none(found.values[item.address]),
                 "standard_error": finite_or_none(found.errors[item.address]), "low": finite_or_none(item.low),
                 "high": finite_or_none(item.high), "at_limit": item.address in found.at_limit}
                for item in found.unknowns]
    return {"unknowns": unknowns, "correlations": found.worth.correlations.tolist(),
            "not_told_apart": [{"moves": dict(way.moves), "error": finite_or_none(way.error)}
                               for way in found.worth.vague],
            "scatter": finite_or_none(found.worth.scatter), "degrees_of_freedom": found.worth.freedom,
            "standard_errors_over_those_of_squares": finite_or_none(found.worth.widening),
            "standard_errors_from_least_squares": finite_or_none(found.away), "steady_states": found.solves,
            "steps": found.steps,
            "finished": found.finished, "reason": found.reason,
            "left_out": [f"{name}: {reason}" for (name, _), reason in found.left_out.items()],
            "before": compared_json(found.comparisons_before), "after": compared_json(found.comparisons_after)}
