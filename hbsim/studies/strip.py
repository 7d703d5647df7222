"""A strip: the piece of a sweep that is solved by itself, in one thread, process or machine.

A strip is a few rows of the grid. Along a row only one source changes, so that it is marched through in compiled code,
each point from an extrapolation of those before it; the next row starts where this one did. Then the harmonics of each
point are raised until its lines stay. What comes out depends on the strip alone, not on who solves it or when.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.continuation import BEYOND, MOST_CURRENT, Effort, steady_state
from ..balance.newton import BALANCED
from ..balance.prepare import Networks, prepare, source_voltages
from ..balance.solution import SteadyState
from ..balance.solve import COARSEST, WORTH_DETOURS, solve
from ..balance.spectrum import resized
from ..balance.system import System
from ..describe.description import Description
from ..errors import NotSolved, Refusal
from ..quantities import watts
from .outputs import column_names, heated_outputs, outputs, truncation_columns

_BATCH = 256  # points marched at once; keeps the memory of a long row small


@dataclass(frozen=True)
class Strip:
    """What a strip is made of; can be sent to another process.

    number : its place among the strips of the sweep.
    rows : for each row, address -> value of every axis but the one it runs along.
    along : address that a row runs along, a source; None: a row is one point.
    values : of that address, (n_column,); one value where there is none.
    harmonics, samples : as given by the user, or None.
    estimate : whether a given number of harmonics is held against more.
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

    @property
    def levels(self) -> list[tuple[int, int | None]]:
        """(harmonics, samples) to solve with in turn; the first is the coarsest."""
        if self.harmonics is None:
            return [(level, None) for level in self.accuracy.levels(self.description)]
        more = -(-3 * self.harmonics // 2)
        samples = None if self.samples is None else -(-3 * self.samples // 2)
        return [(self.harmonics, self.samples), (more, samples)][:1 + self.estimate]


@dataclass
class StripResult:
    """Columns of a strip's points, row after row; reasons of the unsolved ones; Newton steps by harmonics."""

    number: int
    columns: dict[str, np.ndarray]
    reasons: dict[int, str] = field(default_factory=dict)
    steps: dict[int, int] = field(default_factory=dict)


def source_kind(address: str) -> str | None:
    """"drive" or the supply's name where a quantity changes nothing but a source voltage, else None."""
    names = address.removeprefix("part.").split(".")
    if names == ["drive", "power"]:
        return "drive"
    return names[1] if names[0] == "supply" and names[2:] in ([], ["voltage"]) else None


_networks = Networks()  # of this process: the next strip mostly has the same linear parts


def solve_strip(strip: Strip) -> StripResult:
    """Solve every point of a strip."""
    return _Solver(strip).run()


class _Solver:
    """A strip under way."""

    def __init__(self, strip: Strip) -> None:
        self._strip, self._levels = strip, strip.levels
        self._lines = min(strip.accuracy.lines_of(strip.description), self._levels[0][0])
        points = len(strip.rows) * len(strip.values)
        names = column_names(strip.description, strip.accuracy, strip.harmonics)
        self._result = StripResult(strip.number, {name: np.full(points, np.nan) for name in names})
        self._result.columns["solved"][:] = 0.0
        self._systems: dict[int, System] = {}
        self._row_start: np.ndarray | None = None  # first state of the row before
        self._heated: SteadyState | None = None  # last state of the row before, where heat is looked for

    def run(self) -> StripResult:
        strip, before, count = self._strip, None, len(self._strip.values)
        for number, row in enumerate(strip.rows):
            if before is None or any(source_kind(a) is None and row[a] != before[a] for a in row):
                self._systems.clear()
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
        return self._result

    def _system(self, description: Description, level: int) -> System:
        if level not in self._systems:
            self._systems[level] = prepare(description, *self._levels[level], _networks)
        return self._systems[level]

    # -- one row ----------------------------------------------------------------------------------------------

    def _row(self, description: Description, places: np.ndarray) -> None:
        start, self._row_start = self._row_start, None
        values = self._strip.values
        for first in range(0, len(values), _BATCH):
            batch = _Batch(description, self._strip.along, values[first:first + _BATCH])
            start = self._solve(batch, places[first:first + _BATCH], start)

    def _solve(self, batch: "_Batch", places: np.ndarray, start: np.ndarray | None) -> np.ndarray | None:
        """Solve a batch; returns a start for the next one."""
        system = self._system(batch.description, 0)
        if start is not None and start.shape != system.shape:
            start = None  # a resistance went to zero and took its inner node along
        forms, flows, good, start = self._march(system, batch, places, start)
        if self._row_start is None and good[0]:
            self._row_start = forms[0].copy()
        pending = np.flatnonzero(good)
        levels = self._store(system, batch, pending, forms[good], flows[good], places)
        missing = np.flatnonzero(~good) if self._strip.harmonics is None else np.zeros(0, int)
        forms = forms[good]
        for level in range(1, len(self._levels)):
            if level <= COARSEST - 1 and len(missing):
                found, missing = self._cold(level, batch, missing, places)
            else:
                found = []
            if not len(pending) + len(found):
                break
            pending, forms, levels = self._raise(level, batch, places, pending, forms, levels, found)
        return start

    def _march(self, system: System, batch: "_Batch", places: np.ndarray, start: np.ndarray | None) -> tuple:
        """Forms and currents of a batch by continuation from point to point, which are good, and the last state."""
        cs, parameters = batch.excitations(system), system.parameters()
        n_point = len(cs)
        xs = np.zeros((n_point, *system.shape))
        flows = np.zeros_like(xs)
        stops, steps, errors = np.full(n_point, -1), np.zeros(n_point, np.int64), np.zeros(n_point)
        at = 0
        while at < n_point:
            effort = Effort()
            try:
                xs[at] = steady_state(system, cs[at], parameters, start, effort)
                reached = system.march(xs[at:], cs[at:], parameters, flows[at:], stops[at:], steps[at:], errors[at:])
                at += max(reached, 1)
                start = xs[at - 1].copy()
            except NotSolved as failure:
                self._result.reasons[int(places[at])] = failure.reason
                at += 1
                start = None
            self._count(system, effort.steps)
        self._count(system, int(steps.sum()))
        good = self._believable(flows, stops, places)
        return xs, flows, good, start

    def _believable(self, flows: np.ndarray, stops: np.ndarray, places: np.ndarray) -> np.ndarray:
        largest = np.abs(flows).max(axis=(1, 2), initial=0.0)
        for point in np.flatnonzero((stops == BALANCED) & (largest > MOST_CURRENT)):
            self._result.reasons[int(places[point])] = BEYOND.format(largest[point])
        return (stops == BALANCED) & (largest <= MOST_CURRENT)

    def _count(self, system: System, steps: int) -> None:
        counted = self._result.steps
        counted[system.harmonics] = counted.get(system.harmonics, 0) + steps

    # -- more harmonics ---------------------------------------------------------------------------------------

    def _cold(self, level: int, batch: "_Batch", missing: np.ndarray, places: np.ndarray) -> tuple[list, np.ndarray]:
        """States of points that had none with fewer harmonics: [(point, form)], and which are missing still."""
        system = self._system(batch.description, level)
        found, parameters = [], system.parameters()
        for point, c in zip(missing, batch.excitations(system, missing)):
            effort = Effort()
            try:
                found.append((point, steady_state(system, c, parameters, None, effort)))
            except NotSolved:
                continue
            finally:
                self._count(system, effort.steps)
        return found, np.setdiff1d(missing, [point for point, _ in found])

    def _raise(self, level: int, batch: "_Batch", places: np.ndarray, pending: np.ndarray, forms: np.ndarray,
               levels: np.ndarray, found: list) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Solve the points `pending` (with their forms and line levels so far) with more harmonics, each from its own
        state; store what is better. Returns the same three of those whose lines have not settled yet."""
        try:
            system = self._system(batch.description, level)
        except Refusal:  # the data of a part ends: how far the lines would move is not known
            return pending[:0], forms[:0], levels[:0]
        known = len(pending)
        pending = np.concatenate([pending, np.array([point for point, _ in found], int)])
        starts = np.array([resized(form, system.harmonics) for form in (*forms, *(form for _, form in found))])
        cs, parameters = batch.excitations(system, pending), system.parameters()
        xs, flows = np.zeros_like(starts), np.zeros_like(starts)
        n_point = len(pending)
        stops, steps, errors = np.full(n_point, -1), np.zeros(n_point, np.int64), np.zeros(n_point)
        system.refine(xs, starts, cs, parameters, flows, stops, steps, errors)
        self._count(system, int(steps.sum()))
        if system.harmonics <= WORTH_DETOURS:
            for point in np.flatnonzero(stops != BALANCED):
                self._detour(system, cs, xs, flows, stops, int(point))
        good = self._believable(flows, stops, places[pending])
        if self._strip.harmonics is not None:
            now = outputs(system, batch.description, xs[good], flows[good], batch.sources(system, pending[good]),
                          self._lines).levels
            changes = self._strip.accuracy.changes(levels[good[:known]], now)
            self._put(places[pending[good]], truncation_columns(changes, batch.description.wanted_harmonic))
            return pending[:0], forms[:0], levels[:0]
        now = self._store(system, batch, pending[good], xs[good], flows[good], places)
        before = np.full((n_point, now.shape[1]), np.nan)
        before[:known] = levels
        changes = self._strip.accuracy.changes(before[good], now)
        self._put(places[pending[good]], truncation_columns(changes, batch.description.wanted_harmonic))
        excess = self._strip.accuracy.excess(changes, batch.description.wanted_harmonic)
        further = (excess > 1.0) | np.isnan(before[good]).all(axis=1)
        return pending[good][further], xs[good][further], now[further]

    def _detour(self, system: System, cs: np.ndarray, xs: np.ndarray, flows: np.ndarray, stops: np.ndarray,
                point: int) -> None:
        effort, parameters = Effort(), system.parameters()
        try:
            xs[point] = steady_state(system, cs[point], parameters, None, effort)
        except NotSolved:
            return
        finally:
            self._count(system, effort.steps)
        one = slice(point, point + 1)
        system.march(xs[one], cs[one], parameters, flows[one], stops[one], np.zeros(1, np.int64), np.zeros(1))

    # -- what comes out ---------------------------------------------------------------------------------------

    def _store(self, system: System, batch: "_Batch", points: np.ndarray, forms: np.ndarray, flows: np.ndarray,
               places: np.ndarray) -> np.ndarray:
        """Put the columns of solved points; returns the levels of their lines, (n_point, line + 1). [dBm]"""
        found = outputs(system, batch.description, forms, flows, batch.sources(system, points), self._lines)
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
        for place, values in zip(places, self._along()):
            try:
                state = solve(description.with_values(values), strip.harmonics, strip.samples, state, _networks,
                              strip.accuracy)
            except NotSolved as failure:
                self._result.reasons[int(place)], state = failure.reason, None
                continue
            self._put(np.array([place]), heated_outputs(state, strip.estimate))
            self._count(state.system, state.solver.iterations)
        self._heated = state

    def _along(self) -> Iterator[dict[str, float]]:
        return ({} if self._strip.along is None else {self._strip.along: float(v)} for v in self._strip.values)


@dataclass
class _Batch:
    """Points of a row: one circuit, one source with several values."""

    description: Description
    along: str | None
    values: np.ndarray

    def drive_dbm(self, points: np.ndarray) -> np.ndarray:
        """Available drive power of points, (n_point,). [dBm]"""
        if self.along is not None and source_kind(self.along) == "drive":
            return self.values[points]
        return np.full(len(points), self.description.drive.power_dbm)

    def sources(self, system: System, points: np.ndarray) -> np.ndarray:
        """Source voltages at DC and the drive frequency, which alone have any: (n_point, 2, n_source). [V]"""
        found = np.repeat(source_voltages(self.description, system)[None, :2], len(points), axis=0)
        if self.along is not None:
            kind, names = source_kind(self.along), system.network.sources
            if kind == "drive":
                drive = self.description.drive
                resistance = self.description.ports[drive.port].impedance
                found[:, 1, names.index(f"port.{drive.port}")] = [
                    math.sqrt(8 * resistance * watts(float(power))) for power in self.values[points]]
            else:
                found[:, 0, names.index(f"supply.{kind}")] = self.values[points]
        return found

    def excitations(self, system: System, points: np.ndarray | None = None) -> np.ndarray:
        """Right-hand sides of the balance, (n_point, K + 1, n)."""
        points = np.arange(len(self.values)) if points is None else points
        result = np.zeros((len(points), system.harmonics + 1, system.shape[0]), complex)
        result[:, :2] = np.einsum("kns,pks->pkn", system.network.c[:2], self.sources(system, points))
        return result
