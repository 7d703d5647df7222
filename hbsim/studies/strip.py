"""A strip: the piece of a sweep that is solved by itself, in one thread, process or machine.

A strip is a few rows of the grid. Along a row only one source changes, so that it is marched through in compiled code,
each point from an extrapolation of those before it; the next row starts where this one did. Then the harmonics of each
point are raised until its lines stay. What comes out depends on the strip alone, not on who solves it or when.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ..balance.accuracy import STEPS, Accuracy
from ..balance.blas import one_thread
from ..balance.newton import BALANCED
from ..balance.solution import SteadyState
from ..balance.solve import COARSEST, WORTH_DETOURS, solve
from ..balance.spectrum import resized
from ..balance.system import System
from ..describe.description import Description
from ..errors import NotSolved, Refusal
from .outputs import column_names, device_columns, heated_outputs, outputs, truncation_columns
from .points import Batch, Runs, believable, source_kind
from .turning import OtherStates, other_states

_BATCH = 256  # points marched at once; keeps the memory of a long row small


@dataclass(frozen=True)
class Strip:
    """What a strip is made of; can be sent to another process.

    number : its place among the strips of the sweep.
    rows : for each row, address -> value of every quantity that the other axes than the one it runs along move.
    along : address that a row runs along, a source; None: a row is one point.
    values : of that address, (n_column,); one value where there is none.
    harmonics, samples : as given by the user, or None.
    estimate : whether a given number of harmonics is held against more.
    both_ways : whether the one row, a drive sweep, is also looked at as the drive is turned down.
    devices : whether the heat in each device and the peak voltage at it are kept; costs about as much again.
    """

    number: int
    description: Description
    rows: tuple[Mapping[str, float], ...]
    along: str | None
    values: np.ndarray
    harmonics: int | None
    samples: int | None
    accuracy: Accuracy
    estimate: bool = True
    both_ways: bool = False
    devices: bool = False

    @property
    def levels(self) -> list[tuple[int, int | None]]:
        """(harmonics, samples) to solve with in turn; the first is the coarsest."""
        if self.harmonics is None:
            return [(level, None) for level in self.accuracy.levels(self.description)]
        samples = None if self.samples is None else 2 * self.samples
        return [(self.harmonics, self.samples), (2 * self.harmonics, samples)][:1 + self.estimate]


@dataclass
class StripResult:
    """Columns of a strip's points, row after row; reasons of the unsolved ones; Newton steps by harmonics; of a drive
    sweep looked at both ways, the states besides those met on the way up."""

    number: int
    columns: dict[str, np.ndarray]
    reasons: dict[int, str] = field(default_factory=dict)
    steps: dict[int, int] = field(default_factory=dict)
    others: OtherStates | None = None


def solve_strip(strip: Strip) -> StripResult:
    """Solve every point of a strip."""
    with one_thread():
        return _Solver(strip).run()


class _Solver:
    """A strip under way."""

    def __init__(self, strip: Strip) -> None:
        self._strip, self._runs = strip, Runs(strip.levels)
        self._lines = strip.accuracy.lines_of(strip.description, strip.harmonics)
        points = len(strip.rows) * len(strip.values)
        names = column_names(strip.description, strip.accuracy, strip.harmonics, strip.devices)
        self._result = StripResult(strip.number, {name: np.full(points, np.nan) for name in names})
        self._result.columns["solved"][:] = 0.0
        self._last: dict[int, tuple] = {}  # point of the batch -> system, form and sources it was last stored with
        self._row_start: np.ndarray | None = None  # first state of the row before
        self._heated: SteadyState | None = None  # last state of the row before, where heat is looked for

    def run(self) -> StripResult:
        strip, before, count = self._strip, None, len(self._strip.values)
        for number, row in enumerate(strip.rows):
            if before is None or any(source_kind(a) is None and row[a] != before[a] for a in row):
                self._runs.forget()
            before, places = row, np.arange(number * count, (number + 1) * count)
            try:
                description = strip.description.with_values(row)
                if any(placed.part.thermal_resistance > 0 for placed in description.devices.values()):
                    self._singly(description, places)
                else:
                    self._row(description, places)
            except Refusal as refusal:  # the ends of the axes were fine: what else can be solved is
                missing = places[self._result.columns["solved"][places] == 0]
                self._result.reasons.update((int(place), str(refusal)) for place in missing)
        self._result.steps = self._runs.steps
        return self._result

    # -- one row ----------------------------------------------------------------------------------------------

    def _row(self, description: Description, places: np.ndarray) -> None:
        start, self._row_start = self._row_start, None
        values, up = self._strip.values, []
        for first in range(0, len(values), _BATCH):
            batch = Batch(description, self._strip.along, values[first:first + _BATCH])
            forms, start = self._solve(batch, places[first:first + _BATCH], start)
            up.append(forms)
        if self._strip.both_ways:
            self._result.others = other_states(self._runs, Batch(description, self._strip.along, values),
                                               np.concatenate(up), self._result.columns, self._lines,
                                               self._strip.accuracy)

    def _solve(self, batch: Batch, places: np.ndarray,
               start: np.ndarray | None) -> tuple[np.ndarray, np.ndarray | None]:
        """Solve a batch; returns its forms with the fewest harmonics (nan: none) and a start for the next one."""
        system = self._runs.system(batch.description, 0)
        if start is not None and start.shape != system.shape:
            start = None  # a resistance went to zero and took its inner node along
        coarse, flows, good, start, reasons = self._runs.march(system, batch.excitations(system), start)
        self._result.reasons.update((int(places[point]), reason) for point, reason in reasons.items())
        if self._row_start is None and good[0]:
            self._row_start = coarse[0].copy()
        pending, missing = np.flatnonzero(good), np.flatnonzero(~good)
        forms, now = coarse[good], self._store(system, batch, pending, coarse[good], flows[good], places)
        levels = np.stack([np.full_like(now, np.nan)] * (STEPS - 1) + [now])
        for level in range(1, len(self._runs.levels)):
            try:
                system = self._runs.system(batch.description, level)
            except Refusal:  # the data of a part ends: how far the lines would move is not known
                break
            if self._strip.harmonics is not None:
                self._estimate(system, batch, places, pending, forms, levels)
                break
            if level < COARSEST and len(missing):
                # with very few harmonics a strongly driven circuit may have no state
                found = self._from_rest(system, batch, missing)
                missing = np.setdiff1d(missing, list(found))
                pending, forms = np.append(pending, [*found]).astype(int), [*forms, *found.values()]
                unknown = np.full((STEPS, len(found), levels.shape[2]), np.nan)
                levels = np.concatenate([levels, unknown], axis=1)
            if not len(pending):
                break
            pending, forms, levels = self._raise(system, batch, places, pending, forms, levels)
        for point, state in self._last.items():
            found = device_columns(state[0], batch.description, *state[1:])
            self._put(places[[point]], {name: np.array([value]) for name, value in found.items()})
        self._last.clear()
        return np.where(good[:, None, None], coarse, np.nan), start

    def _from_rest(self, system: System, batch: Batch, points: np.ndarray) -> dict[int, np.ndarray]:
        """Forms of the points that have a state."""
        cs = batch.excitations(system, points)
        found = ((int(point), self._runs.found(system, c)) for point, c in zip(points, cs))
        return {point: form for point, form in found if form is not None}

    # -- more harmonics ---------------------------------------------------------------------------------------

    def _finer(self, system: System, batch: Batch, points: np.ndarray, forms: list[np.ndarray]) -> tuple:
        """Forms and currents with more harmonics, each point from its own state, and which have one."""
        cs = batch.excitations(system, points)
        xs, flows, stops = self._runs.refined(system, cs, np.array([resized(form, system.harmonics) for form in forms]))
        for point in np.flatnonzero(stops != BALANCED):
            form = self._runs.found(system, cs[point], forms[point], detours=system.harmonics <= WORTH_DETOURS)
            if form is not None:
                one = slice(point, point + 1)
                xs[one], flows[one], stops[one] = self._runs.refined(system, cs[one], form[None])
        return xs, flows, believable(flows, stops)

    def _estimate(self, system: System, batch: Batch, places: np.ndarray, points: np.ndarray, forms: list[np.ndarray],
                  levels: np.ndarray) -> None:
        """Hold a given number of harmonics against more."""
        if len(points):
            xs, flows, good = self._finer(system, batch, points, forms)
            now = outputs(system, batch.description, xs[good], flows[good], batch.sources(system, points[good]),
                          self._lines).levels
            self._put(places[points[good]], self._moved(levels[-1:, good], now, batch, xs[good])[0])

    def _raise(self, system: System, batch: Batch, places: np.ndarray, points: np.ndarray, forms: list[np.ndarray],
               levels: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Solve points, with their forms and the levels (step, n_point, line + 1) of their lines in the last steps,
        with more harmonics and store what is better.

        Returns the same three of those whose lines have not settled yet."""
        xs, flows, good = self._finer(system, batch, points, forms)
        now = self._store(system, batch, points[good], xs[good], flows[good], places)
        levels = levels[:, good]
        columns, settled = self._moved(levels, now, batch, xs[good])
        self._put(places[points[good]], columns)
        further = ~settled | np.isnan(levels).any(axis=(0, 2))
        return points[good][further], xs[good][further], np.concatenate([levels[1:], now[None]])[:, further]

    def _moved(self, before: np.ndarray, now: np.ndarray, batch: Batch,
               forms: np.ndarray) -> tuple[dict[str, np.ndarray], np.ndarray]:
        """Columns on how far lines moved in the last steps, and whether no more harmonics are needed."""
        accuracy, wanted = self._strip.accuracy, batch.description.wanted_harmonic
        changes = accuracy.changes(before, now)
        return truncation_columns(changes, wanted), accuracy.settled(changes, wanted, forms)

    # -- what comes out ---------------------------------------------------------------------------------------

    def _store(self, system: System, batch: Batch, points: np.ndarray, forms: np.ndarray, flows: np.ndarray,
               places: np.ndarray) -> np.ndarray:
        """Put the columns of solved points; returns the levels of their lines, (n_point, line + 1). [dBm]"""
        sources = batch.sources(system, points)
        found = outputs(system, batch.description, forms, flows, sources, self._lines)
        if self._strip.devices:
            self._last.update({int(point): (system, form.copy(), source)
                               for point, form, source in zip(points, forms, sources)})
        columns = found.columns(batch.drive_dbm(points))
        columns["harmonics"] = np.full(len(points), float(system.harmonics))
        columns["solved"] = np.ones(len(points))
        self._put(places[points], columns)
        for place in places[points]:
            self._result.reasons.pop(int(place), None)
        return found.levels

    def _put(self, places: np.ndarray, columns: Mapping[str, np.ndarray]) -> None:
        for name, values in columns.items():
            self._result.columns[name][places] = values

    def _singly(self, description: Description, places: np.ndarray) -> None:
        """Point by point, where the devices' own heat must be found at each."""
        strip, state = self._strip, self._heated
        for place, value in zip(places, strip.values):
            values = {} if strip.along is None else {strip.along: float(value)}
            try:
                state = solve(description.with_values(values), strip.harmonics, strip.samples, state, strip.accuracy)
            except NotSolved as failure:
                self._result.reasons[int(place)], state = failure.reason, None
                continue
            self._put(np.array([place]), heated_outputs(state, strip.estimate, strip.devices))
            self._runs.count(state.system, state.solver.iterations)
        self._heated = state
