"""Unknowns from measured data: least squares over any mix of data sets, with the exact slopes of the prediction.

scipy's trust-region method does the search. The prediction is solved once for each step that is tried, at every point;
slopes are taken from the solved states by one back-substitution a figure, at steps that are kept. A step to where a
point has no steady state is taken back by the method, which sees that it leads nowhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..errors import Refusal
from ..quantities import finite_or_none
from .compare import Comparison
from .compare import as_json as compared_json
from .dataset import DataSet
from .judged import Worth, worth
from .search import Search
from .unknowns import Unknown

LOSSES = {"squares": "linear", "soft": "soft_l1", "bounded": "arctan"}  # a word of ours -> scipy's
_LEFT = 0.005  # of the weighted sum of squares, that is about its number times one: 0.07 standard errors
_XTOL = 1e-6  # of the places: far inside the standard errors
_EDGE = 1e-6  # of the room between two limits: nearer counts as at the limit
MOST_STEPS = 100
_GENTLE = 0.02  # of the weighted sum of squares, by reflections: only where to begin
_STEADY, _ROUNDS = 0.1, 4  # standard errors; searches, the first with a coarse prediction
_STILL = 1.0  # standard errors: a search that stands still farther away has not found the least squares
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
        squares from the residuals, see judged.py); infinite where the data say nothing, the search did not finish, or
        the value stands at its limit.
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
        Addresses that ended at one of their limits; the errors of the others are those with it held there.
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
    if loss not in LOSSES:
        raise Refusal(f"there is no loss '{loss}'; choose one of {', '.join(LOSSES)}", "loss")
    _check(sets, unknowns)
    search = Search(sets, unknowns)
    search.choose_anew(coarse=True)
    places = np.array([item.place(item.start) for item in unknowns])
    before = tuple(np.array(item) for item in search.predict(places))
    left_out = search.choose(before)
    comparisons_before = search.comparisons(before)
    if sum(used.sum() for used in search.used) < len(unknowns):
        raise Refusal(f"{sum(int(used.sum()) for used in search.used)} numbers cannot tell {len(unknowns)} unknowns; "
                      "free fewer, or measure more", "free")

    low, high = (np.array([item.place(getattr(item, side)) for item in unknowns]) for side in ("low", "high"))
    places, finished, reason, away = _find(search, places, (low, high), loss, left_out)
    otherwise = search.afresh(places)
    if otherwise and finished:
        finished, reason = False, f"{otherwise[0]}{f' and {len(otherwise) - 1} more' if otherwise[1:] else ''}: more " \
                                  "than one steady state stands here, and the search took another than a comparison " \
                                  "does; begin nearer with --set"
    left_out |= search.drop_missing(places)
    after = tuple(np.array(item) for item in search.predict(places))
    values = {item.address: item.value(float(place)) for item, place in zip(unknowns, places)}
    stuck = np.logical_or(*_at_ends(places, low, high))
    # what stands at its limit does not move any more, so that the others are as sure as without it
    found = worth(unknowns, list(values.values()), np.where(stuck, 0.0, search.slopes(places)),
                  search.residuals(places), loss)
    at_limit = tuple(item.address for item, at in zip(unknowns, stuck) if at)
    found = replace(found, vague=tuple(way for way in found.vague if not way.moves.keys() <= set(at_limit)))
    errors = {item.address: float(error * item.whole(values[item.address])) if finished else float("inf")
              for item, error in zip(unknowns, found.errors)}
    return Fit(tuple(unknowns), values, errors, found, tuple(sets), before, after, comparisons_before,
               search.comparisons(after), left_out, at_limit,
               sum(item.solves for item in sets), search.tried, finished, reason, away)


def _find(search: Search, places: np.ndarray, limits: tuple[np.ndarray, np.ndarray], loss: str,
          left_out: dict[tuple[str, int], str]) -> tuple[np.ndarray, bool, str, float]:
    """The places, whether they are the answer, why not, and how far away it still is; adds to `left_out`."""
    from scipy.optimize import least_squares

    def searched(start: np.ndarray, ftol: float, kind: str = loss) -> Any:
        return least_squares(search.residuals, start, jac=search.jacobian, bounds=limits, x_scale="jac",
                             loss=LOSSES[kind], ftol=ftol, xtol=_XTOL, gtol=_XTOL, max_nfev=MOST_STEPS)

    finished, reason, away = True, "", np.inf
    try:
        if any(item.losses is not None and item.losses.any() for item in search.sets):
            search.gently = True
            places = searched(places, _GENTLE).x
            search.gently = False
        if loss == "bounded":  # it has minima everywhere: begin where a loss with one only leads
            places = searched(places, _GENTLE, "soft").x
        for _ in range(_ROUNDS):
            answer = searched(places, _LEFT / sum(used.sum() for used in search.used))
            places, finished = answer.x, answer.status > 0
            reason = "" if finished else f"{MOST_STEPS} steps were not enough; the values are the best so far"
            if away > _NEAR:
                search.choose_anew(coarse=False)
            left_out |= search.drop_missing(places)
            away = search.pull(places, loss, _at_ends(places, *limits))
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
    return places, finished, reason, away


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
