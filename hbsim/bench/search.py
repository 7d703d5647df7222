"""All data sets of a fit as one row of weighted residuals over the places of the unknowns, with exact slopes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..errors import NotSolved
from .compare import Comparison
from .dataset import DataSet
from .judged import LOST, PULLS
from .measurement import reflection_off
from .unknowns import Unknown

_NO_SLOPE = 1e-9  # weighted, of a place: rounding
_LEAST_REFLECTION = 0.03  # that a search which is still far away tells from none
_SAME = 0.1  # standard uncertainties by which a prediction may depend on the way to it


class Search:
    """Residuals and slopes, kept for the places asked for last.

    Attributes
    ----------
    used : list of ndarray of bool, (n_value,)
        Of each set: what counts.
    gently : bool
        Return losses count as reflections, as is good far away.
    tried : int
        Places asked for.
    best : (sum of squares, places) or None
    """

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
        """The numbers of each set."""
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

    def choose(self, before: Sequence[np.ndarray]) -> dict[tuple[str, int], str]:
        """Mark what is used; what has no prediction at the start is left out for good.

        Raises
        ------
        NotSolved
            A set has none at all.
        """
        left = {}
        for item, predicted in zip(self.sets, before):
            used = np.isfinite(predicted)
            self.used.append(used)
            for number in np.flatnonzero(~used):
                what, more = item.missing(int(number))
                left[item.name, int(number)] = f"{item.labels[number]} {what} at the start{more}"
            if not used.any():
                raise NotSolved(f"{item.name}: none of its points has a steady state at the start"
                                + (f" ({next(iter(item.reasons.values()))})" if item.reasons else ""))
        return left

    def drop_missing(self, places: np.ndarray) -> dict[tuple[str, int], str]:
        """Use no more what has no prediction here; what that is, in words."""
        dropped = {}
        for item, predicted, used in zip(self.sets, self.predict(places), self.used):
            for number in np.flatnonzero(used & ~np.isfinite(predicted)):
                what, more = item.missing(int(number))
                dropped[item.name, int(number)] = f"{item.labels[number]} {what} with the values found{more}"
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

    def afresh(self, places: np.ndarray) -> list[str]:
        """Predict once more without what the search left behind; numbers that come out otherwise, in words."""
        last = [np.array(item) for item in self.predict(places)]
        for item in self.sets:
            item.forget()
        self._at = self._table = None
        return [f"{item.labels[number]}" for item, old, new in zip(self.sets, last, self.predict(places))
                for number in np.flatnonzero(np.abs(new - old) > _SAME * item.standard)]

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
        if item.losses is not None:
            chosen, off, _ = self._reflections(item, predicted)
            found = np.where(chosen & (found != 0.0), off, found)
        return found

    def _reflections(self, item: DataSet, predicted: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Which return losses are weighed as reflections, how far these are off, and its slope against the predicted
        decibels: those of a bridge whose directivity is known, and all while the search is far away, for a deep null of
        the one where the other has none is some 20 dB, but a reflection of a tenth."""
        beside = np.zeros(len(predicted)) if item.beside is None else item.beside
        beside = np.hypot(beside, _LEAST_REFLECTION) if self.gently else beside
        chosen = item.losses & (beside > 0.0)
        numbers = (np.where(chosen, each, 1.0) for each in (predicted, item.measured, item.standard, beside))
        return chosen, *reflection_off(*numbers)

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
            if item.losses is not None:
                chosen, _, slope = self._reflections(item, numbers)
                weight = np.where(chosen & ~kept, slope, weight)
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
