"""Turned up and turned down: the states of a drive sweep where the circuit has more than one.

A strongly driven circuit can jump: the curve of its steady states turns back in the drive (a fold), and between the two
folds the state depends on the way the generator was turned. The sweep upward is compared with one downward; where they
differ, the whole curve between is followed (balance/arc.py), which gives both branches, the folds, and the states in
between that cannot be reached by turning the drive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.arc import Arc, Trace
from ..balance.continuation import Effort, steady_state
from ..balance.spectrum import resized
from ..balance.system import System
from ..errors import NotSolved, Refusal
from .outputs import HEAT, device_columns, outputs, truncation_columns
from .points import Batch, Runs, believable

UP, DOWN, NEITHER, BOTH = "up", "down", "neither", "both"
BACK = "back"  # met where the drive is turned back on the way
_STEP_DB = 1.0  # the drive is turned down in steps no longer than this: a longer one may leap over a branch
_BEYOND = 0.115  # how far the curve is followed above the last drive: 1 dB. [neper]
_SAME = 1e-5  # relative difference of the voltages up to which two states are one


@dataclass(eq=False)
class OtherStates:
    """What a drive sweep found besides the states met on the way up.

    points : (n,), numbers of the drives in the sweep, rising; may name one several times.
    turned : (n,), "down": met on the way down; "back": where the drive is turned back on the way; "neither": on a
        stretch of the curve that falls with the drive, between two folds, where no turning leads.
    columns : name -> (n,), as those of the table.
    jumps_up_dbm, jumps_down_dbm : drives at which the state is lost and the circuit jumps, by way. [dBm]
    reason : why the curve could not be followed to its end; "" where it was.
    """

    points: np.ndarray
    turned: np.ndarray
    columns: dict[str, np.ndarray]
    jumps_up_dbm: list[float] = field(default_factory=list)
    jumps_down_dbm: list[float] = field(default_factory=list)
    reason: str = ""


def other_states(runs: Runs, batch: Batch, up: np.ndarray, columns: dict[str, np.ndarray], lines: int,
                 accuracy: Accuracy) -> OtherStates:
    """Look at a drive sweep as the drive is turned down; where that meets other states, follow the whole curve.

    Parameters
    ----------
    batch : Batch
        The row, its drives rising.
    up : ndarray, (n_point, n, rows)
        Forms met on the way up at the first level of `runs`; nan where there are none. [V]
    columns : dict
        Of the row; where the curve shows a better state for the way up, it is put there.
    """
    known = np.flatnonzero(np.isfinite(up).all(axis=(1, 2)))
    found = Found({}, [])
    if len(known) > 1:
        system = runs.system(batch.description, 0)
        steps, asked = _fine(batch.values[known])
        cs = Batch(batch.description, batch.along, steps).excitations(system)
        down, _, good, *_ = runs.march(system, np.ascontiguousarray(cs[::-1]), up[known[-1]].copy())
        down, good = down[::-1][asked], good[::-1][asked]
        differs = np.zeros(len(up), bool)
        differs[known] = differing(up[known], down) & good
        for first, last in spans(differs):
            met = {int(point): form for point, form in zip(known, down) if first <= point <= last}
            found.add(_around(runs, batch, up, met, _needed(runs, columns)))
    level = _needed(runs, columns)
    better = _columns_of(runs, batch, level, list(found.up.items()), columns, lines, accuracy)
    for name, values in better.items():
        columns[name][list(found.up)] = values
    others = [(index, form) for index, _, form in found.others]
    return OtherStates(np.array([index for index, _ in others], int),
                       np.array([turned for _, turned, _ in found.others], "U7"),
                       _columns_of(runs, batch, level, others, columns, lines, accuracy),
                       found.jumps_up_dbm, found.jumps_down_dbm, found.reason)


@dataclass(eq=False)
class Found:
    """States as the curve gave them: on the way up (replacing those of the sweep), and others; by drive number."""

    up: dict[int, np.ndarray]
    others: list[tuple[int, str, np.ndarray]]
    jumps_up_dbm: list[float] = field(default_factory=list)
    jumps_down_dbm: list[float] = field(default_factory=list)
    reason: str = ""

    def add(self, more: Found) -> None:
        """Take in what was found around another span of drives."""
        self.up |= more.up
        self.others += more.others
        self.jumps_up_dbm += more.jumps_up_dbm
        self.jumps_down_dbm += more.jumps_down_dbm
        self.reason = self.reason or more.reason


def differing(up: np.ndarray, down: np.ndarray) -> np.ndarray:
    """At which points, (n_point,) of bool, two sweeps found different states; forms (n_point, n, rows) [V]."""
    size = np.maximum(np.abs(up), np.abs(down)).max(axis=(1, 2), initial=0.0)
    return np.abs(up - down).max(axis=(1, 2), initial=0.0) > _SAME * size + 1e-9


def _fine(drive_dbm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rising drives with more put between them, and which of the result they are. [dBm]"""
    between = [np.linspace(a, b, max(1, math.ceil((b - a) / _STEP_DB)), endpoint=False)
               for a, b in zip(drive_dbm[:-1], drive_dbm[1:])]
    asked = np.cumsum([0, *(len(piece) for piece in between)])
    return np.concatenate([*between, drive_dbm[-1:]]), asked


def spans(where: np.ndarray) -> list[tuple[int, int]]:
    """First and last number of each run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], where.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2])]


def follow(system: System, drive_dbm: np.ndarray, cs: np.ndarray, start: np.ndarray, first: int, last: int,
           effort: Effort) -> Found:
    """All states between two drives of a sweep, along the curve that leaves the first one upward.

    Parameters
    ----------
    drive_dbm : ndarray, (n_point,)
        Rising. [dBm]
    cs : ndarray, complex, (n_point, K + 1, n)
        Excitations with the drives; at DC those without.
    start : ndarray
        A state near that of the first drive on the way up, real form with any number of harmonics. [V]

    Raises
    ------
    NotSolved
        The first drive has no state near `start`.
    """
    parameters = system.parameters()
    x = steady_state(system, cs[first], parameters, start, effort)
    levels = (drive_dbm[first:last + 1] - drive_dbm[last]) * math.log(10) / 20
    rest = np.zeros_like(cs[last])
    rest[0] = cs[last, 0]
    arc = Arc(system, rest, cs[last], parameters)
    met = arc.trace(x, float(levels[0]), _BEYOND, levels)  # the fold may lie a little higher than the sweeps showed
    effort.steps += arc.steps
    return _sorted(met, first, float(drive_dbm[last]))


def _sorted(met: Trace, first: int, full_dbm: float) -> Found:
    found = Found({}, [], reason=met.reason)
    by_index: dict[int, list[tuple[np.ndarray, int]]] = {}
    for crossing in met.crossings:
        by_index.setdefault(first + crossing.index, []).append((crossing.form, crossing.direction))
    for index, states in sorted(by_index.items()):
        found.up[index] = states[0][0]
        found.others += [(index, BACK if direction > 0 else NEITHER, form) for form, direction in states[1:-1]]
        if len(states) > 1:
            form, direction = states[-1]  # a curve that was left early may end on its way back
            found.others.append((index, DOWN if direction > 0 else NEITHER, form))
    for number, fold in enumerate(met.folds):
        drives = found.jumps_down_dbm if number % 2 else found.jumps_up_dbm
        drives.append(full_dbm + 20 * fold.level / math.log(10))
    return found


def _needed(runs: Runs, columns: dict[str, np.ndarray]) -> int:
    """The level that the most demanding point of a row needed."""
    most = np.nanmax(columns["harmonics"], initial=0.0)
    return max(number for number, (harmonics, _) in enumerate(runs.levels) if number == 0 or harmonics <= most)


def _around(runs: Runs, batch: Batch, up: np.ndarray, down: dict[int, np.ndarray], level: int) -> Found:
    """The states at and around the drives at which the two ways differ; `down`: those met on the way down."""
    system, effort = runs.system(batch.description, level), Effort()
    first, last = max(min(down) - 1, 0), min(max(down) + 1, len(up) - 1)
    try:
        found = follow(system, batch.values, batch.excitations(system), up[first], first, last, effort)
    except NotSolved as failure:
        found = Found({}, [], reason=failure.reason)
    runs.count(system, effort.steps)
    if found.reason:  # the way down at least is known
        met = {index for index, turned, _ in found.others if turned == DOWN}
        found.others += [(index, DOWN, resized(form, system.harmonics)) for index, form in down.items()
                         if index not in met]
    return found


def _columns_of(runs: Runs, batch: Batch, level: int, states: list[tuple[int, np.ndarray]],
                like: dict[str, np.ndarray], lines: int, accuracy: Accuracy) -> dict[str, np.ndarray]:
    """Columns of single states, with their own estimate of what more harmonics change."""
    points = np.array([index for index, _ in states], int)
    columns = {name: np.full(len(points), np.nan) for name in like} | {"solved": np.zeros(len(points))}
    forms, levels = [form for _, form in states], None
    for number in range(level, min(level + 2, len(runs.levels)) if states else level):
        try:
            system = runs.system(batch.description, number)
        except Refusal:  # the data of a part ends
            break
        starts = np.array([resized(form, system.harmonics) for form in forms])
        xs, flows, stops = runs.refined(system, batch.excitations(system, points), starts)
        good = believable(flows, stops)
        found = outputs(system, batch.description, xs, flows, batch.sources(system, points), lines)
        if levels is None:
            shown = found.columns(batch.drive_dbm(points))
            shown |= {"harmonics": np.full(len(points), float(system.harmonics)), "solved": np.ones(len(points))}
            forms, levels = xs, found.levels
        else:
            shown = truncation_columns(accuracy.changes(levels[None], found.levels), batch.description.wanted_harmonic)
        for name, values in shown.items():
            columns[name][good] = values[good]
        if forms is xs and any(name.startswith(HEAT) for name in like):
            for row, source in zip(np.flatnonzero(good), batch.sources(system, points[good])):
                for name, value in device_columns(system, batch.description, xs[row], source).items():
                    columns[name][row] = value
    return columns
