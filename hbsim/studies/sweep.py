"""Sweeps: a grid of quantities, cut into strips that are solved side by side.

The axes are ordered so that the drive, or else a supply, runs along the rows of a strip (strip.py) and whatever changes
the linear network changes least often. Strips depend on nothing but themselves: threads, processes or machines may take
them in any order, and a sweep that was cut short goes on with those that are missing.
"""

from __future__ import annotations

import itertools
import math
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, ThreadPoolExecutor, wait
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.prepare import prepare
from ..describe.description import Description
from ..errors import Refusal
from ..quantities import show
from .axis import MOST_POINTS
from .fingerprint import circuit_fingerprint, digest
from .linked import Grid
from .outputs import column_names
from .points import source_kind
from .strip import Strip, StripResult, solve_strip
from .table import SweepTable
from .unfinished import Unfinished

_STRIP_POINTS = 256  # a strip has about as many points: tens of milliseconds of work
_WAITING = 64  # strips handed to an executor and not yet taken back

Progress = Callable[[int, int], None]


def sweep(description: Description, axes: Mapping[str, Sequence[Any] | str], harmonics: int | None = None,
          samples: int | None = None, *, accuracy: Accuracy = Accuracy(), estimate: bool = True,
          both_ways: bool = True, devices: bool = False, progress: Progress | None = None,
          executor: Executor | None = None, keep_in: str | Path | None = None, resume: bool = False) -> SweepTable:
    """Solve `description` on the grid of `axes`; see Circuit.sweep.

    Raises
    ------
    Refusal
        Before the first point is solved: an unknown quantity, a value that is not possible, a network that cannot
        be computed at an end of an axis, or a folder of an earlier sweep that is not this one.
    """
    if not axes:
        raise Refusal("nothing to sweep; name at least one quantity, such as drive.power")
    if harmonics is None and samples is not None:
        raise Refusal("samples are chosen together with the harmonics; give both or neither", "samples")
    grid = Grid(description, axes)
    total = math.prod(len(values) for values in grid.values.values())
    if total > MOST_POINTS:
        raise Refusal(f"{total} points are more than the {MOST_POINTS} that are swept; widen a step")
    both_ways = both_ways and list(grid.values) == ["drive.power"]
    if both_ways:
        # turned up, then down, whatever the order asked for
        grid.values["drive.power"] = np.sort(grid.values["drive.power"])
    order = _order(grid)
    _check(description, grid, order, harmonics, samples, accuracy)
    strips = _Strips(description, grid, order, (harmonics, samples, accuracy, estimate, both_ways, devices))
    places = _places(grid.values, order)
    names = column_names(description, accuracy, harmonics, devices)
    kept = None if keep_in is None else Unfinished(Path(keep_in), strips.fingerprint(names), names, total, resume)
    table = SweepTable(description.title, grid.values, grid.units,
                       {name: np.full(total, np.nan) for name in names} if kept is None else dict(kept.columns),
                       description.wanted_harmonic, accuracy, harmonics, links=grid.links,
                       fingerprint=f"{circuit_fingerprint(description)}-{_swept(grid, harmonics, samples, accuracy)}")
    table.columns["solved"] = np.zeros(total, bool)
    done = 0

    def take(result: StripResult, again: bool = False) -> None:
        nonlocal done
        at = places[strips.span(result.number)]
        for name, values in result.columns.items():
            table.columns[name][at] = values
        table.reasons.update((int(at[local]), reason) for local, reason in result.reasons.items())
        for level, steps in result.steps.items():
            table.iterations[level] = table.iterations.get(level, 0) + steps
        if result.others is not None:
            table.others = result.others
        elif kept is not None and not again:
            kept.note(result, at)
        done += len(at)
        if progress is not None and not again:
            progress(done, total)

    had = set()
    if kept is not None:
        for result in kept.results(len(strips), strips.span, places):
            take(result, again=True)
            had.add(result.number)
    if progress is not None and had:
        progress(done, total)
    try:
        _solve_all((strip for strip in strips if strip.number not in had), len(strips) - len(had), executor, take)
    finally:
        if kept is not None:
            kept.leave()
    return table


def _swept(grid: Grid, harmonics: int | None, samples: int | None, accuracy: Accuracy) -> str:
    """A fingerprint of what was swept and what was asked of it."""
    axes = [[name, link.addresses, link.bases, grid.values[name].tolist()] for name, link in grid.links.items()]
    return digest([axes, harmonics, samples, accuracy.wanted_db, accuracy.tolerance_of_others_db, accuracy.floor_dbm])


def _source(grid: Grid, name: str) -> str | None:
    """The source that an axis moves and nothing else, as `source_kind`; links change sources row by row."""
    return source_kind(name) if grid.moves_a_source(name) else None


def _order(grid: Grid) -> list[str]:
    """The axes from the slowest to the one that rows run along: linear values, supplies, drive."""
    ranks = {None: 0, "drive": 2}
    return sorted(grid.values, key=lambda name: ranks.get(_source(grid, name), 1))


def _places(grid: Mapping[str, np.ndarray], order: Sequence[str]) -> np.ndarray:
    """Number in the table of each point, in the order of solving."""
    shape = [len(values) for values in grid.values()]
    numbers = np.arange(math.prod(shape)).reshape(shape)
    return numbers.transpose([list(grid).index(address) for address in order]).ravel()


class _Strips:
    """The strips of a grid, made one by one."""

    def __init__(self, description: Description, grid: Grid, order: Sequence[str], given: tuple) -> None:
        self._description, self._axes, self._grid, self._given = description, grid, grid.values, given
        self._along = order[-1] if _source(grid, order[-1]) is not None else None
        self._slow = list(order[:-1]) if self._along else list(order)
        self._columns = len(self._grid[self._along]) if self._along else 1
        self._rows = math.prod(len(self._grid[name]) for name in self._slow)
        self._rows_each = max(1, _STRIP_POINTS // self._columns)

    def __len__(self) -> int:
        return -(-self._rows // self._rows_each)

    def __iter__(self) -> Iterator[Strip]:
        values = self._grid[self._along] if self._along else np.zeros(1)
        rows = (self._axes.settings(dict(zip(self._slow, map(float, row))))
                for row in itertools.product(*(self._grid[name] for name in self._slow)))
        for number in range(len(self)):
            some = tuple(itertools.islice(rows, self._rows_each))
            yield Strip(number, self._description, some, self._along, values, *self._given)

    def span(self, number: int) -> slice:
        """Points of a strip, in the order of solving."""
        each = self._rows_each * self._columns
        return slice(number * each, min((number + 1) * each, self._rows * self._columns))

    def fingerprint(self, names: Sequence[str]) -> str:
        """Tells this sweep from any other: circuit, axes, harmonics, accuracy, columns, and the cut into strips."""
        import hashlib
        import pickle

        from .. import __version__
        axes = [(address, values.tobytes()) for address, values in self._grid.items()]
        described = replace(self._description, file="")  # wherever it was read from
        told = pickle.dumps((__version__, described, axes, self._slow, self._rows_each, self._given, list(names)))
        return hashlib.sha256(told).hexdigest()


def _solve_all(strips: Iterable[Strip], count: int, executor: Executor | None,
               take: Callable[[StripResult], None]) -> None:
    """Solve strips side by side; `take` gets each result as it comes, in this thread."""
    cores = os.cpu_count() or 1
    if executor is None and min(cores, count) > 1:
        with ThreadPoolExecutor(min(cores, count), "sweep") as threads:
            _hand_out(strips, threads, take)
    elif executor is None:
        for strip in strips:
            take(solve_strip(strip))
    else:
        _hand_out(strips, executor, take)


def _hand_out(strips: Iterable[Strip], executor: Executor, take: Callable[[StripResult], None]) -> None:
    """A few strips wait at a time, so that a sweep of any length needs little memory."""
    strips = iter(strips)
    waiting = {executor.submit(solve_strip, strip) for strip in itertools.islice(strips, _WAITING)}
    try:
        while waiting:
            ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            for future in ready:
                take(future.result())
            waiting |= {executor.submit(solve_strip, strip) for strip in itertools.islice(strips, len(ready))}
    except BaseException:
        for future in waiting:
            future.cancel()
        raise


def _check(description: Description, grid: Grid, order: Sequence[str], harmonics: int | None, samples: int | None,
           accuracy: Accuracy) -> None:
    """Refuse before the work what would be refused in its midst: each value by itself, and the corners' networks."""
    first = {name: float(values[0]) for name, values in grid.values.items()}
    for name, values in grid.values.items():
        for value in values if _source(grid, name) is None else values[:1]:
            try:
                description.with_values(grid.settings(first | {name: float(value)}))
            except Refusal as refusal:
                raise refusal if name in grid.links[name].addresses else _on_axis(refusal, grid, name, value) from None
    slow = [name for name in order if _source(grid, name) is None]
    least = harmonics if harmonics is not None else accuracy.levels(description)[0]
    for values in itertools.product(*({grid.values[name].min(), grid.values[name].max()} for name in slow)):
        place = grid.settings(first | dict(zip(slow, map(float, values))))
        prepare(description.with_values(place), least, samples)


def _on_axis(refusal: Refusal, grid: Grid, name: str, value: float) -> Refusal:
    """The refusal of a value that a linked axis gives one of its quantities, with where on the axis that is."""
    return Refusal(f"at '{name}' = {show(float(value), grid.units[name], 6)}: {refusal.what}", refusal.place)
