"""A swept curve cut where it jumps: the stretches that can be joined by a line, and the jumps between them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from .turning import BOTH, DOWN, NEITHER, UP

if TYPE_CHECKING:
    from .table import SweepTable

_IN_TABLE = -1


@dataclass(frozen=True, eq=False)
class Branch:
    """A stretch of a curve without a jump.

    points : (n,), numbers of its swept values, rising.
    rows : (n,), where each stands among the other states of the table; -1: in the table's own columns.
    turned : (n,), "up", "down" or "both": the ways of turning the drive that meet the state.
    """

    points: np.ndarray
    rows: np.ndarray
    turned: np.ndarray

    def column(self, table: SweepTable, name: str) -> np.ndarray:
        """A column of the table along the stretch, (n,)."""
        values = table.columns[name][self.points].astype(float)
        if table.others is not None:
            other = self.rows != _IN_TABLE
            values[other] = table.others.columns[name][self.rows[other]]
        return values


@dataclass(frozen=True)
class Jump:
    """A jump of the drive turned one way.

    drive_dbm : float. [dBm]
    lost : Branch, which the drive leaves there at its point number `last`.
    met : Branch, on which it lands.
    """

    drive_dbm: float
    lost: Branch
    last: int
    met: Branch

    def ends(self, table: SweepTable, name: str) -> tuple[float, float]:
        """A column at the last swept state before the jump, and where it lands."""
        drives = table.axes["drive.power"]
        return (float(self.lost.column(table, name)[self.lost.points == self.last][0]),
                float(np.interp(self.drive_dbm, drives[self.met.points], self.met.column(table, name))))


def branches(table: SweepTable) -> list[Branch]:
    """The curve of a sweep along one quantity, cut at its jumps; a single stretch where it has none.

    Where the drive was turned both ways, the stretch met on the way down goes on, above the jump up, with the states
    that both ways meet.
    """
    count = table.solved.size
    if table.others is None or not len(table.others.points):
        return [Branch(np.arange(count), np.full(count, _IN_TABLE), np.full(count, BOTH))]
    turned = np.array([table.turned(n) for n in range(count)])
    down = {int(point): row for row, (point, way) in enumerate(zip(table.others.points, table.others.turned))
            if way == DOWN}
    lost_up = [n for n in range(count - 1) if (turned[n] == UP and turned[n + 1] != UP)
               or _between(table, table.others.jumps_up_dbm, n)]
    met_up = [Branch(part, np.full(len(part), _IN_TABLE), turned[part])
              for part in np.split(np.arange(count), np.array(lost_up, int) + 1)]
    return _with_way_down(table, met_up, down)


def slope_of(table: SweepTable, branch: Branch) -> np.ndarray:
    """How many dB the wanted output rises for one of drive, (n,); not a number where an output is none. [dB/dB]"""
    level = branch.column(table, table.wanted)
    with np.errstate(divide="ignore", invalid="ignore"):  # a list may hold a drive twice
        return np.gradient(np.where(np.isfinite(level), level, np.nan), table.axes["drive.power"][branch.points])


def slopes_json(table: SweepTable) -> list[dict[str, Any]] | None:
    """The slope along each stretch of a sweep along the drive alone; None for other sweeps."""
    if any((name == "drive.power") != (len(values) > 1) for name, values in table.axes.items()):
        return None
    return [{"point": branch.points.tolist(),
             "row_of_other_states": [None if row == _IN_TABLE else row for row in branch.rows.tolist()],
             "slope_db_per_db": [v if np.isfinite(v) else None for v in slope_of(table, branch).tolist()]}
            for branch in branches(table) if len(branch.points) > 1]


def _with_way_down(table: SweepTable, met_up: list[Branch], down: Mapping[int, int]) -> list[Branch]:
    """Put the states met on the way down before the stretch that they lead to, or by themselves."""
    found, points = {int(branch.points[0]): branch for branch in met_up}, sorted(down)
    cuts = [n + 1 for n, (a, b) in enumerate(zip(points, points[1:]))
            if b != a + 1 or _between(table, table.others.jumps_down_dbm, a)]
    alone = []
    for part in np.split(np.array(points, int), cuts):
        if not len(part):
            continue
        stretch = Branch(part, np.array([down[int(n)] for n in part]), np.full(len(part), DOWN))
        next_up, last = found.get(int(part[-1]) + 1), int(part[-1])
        if next_up is None or _between(table, table.others.jumps_down_dbm, last):
            alone.append(stretch)
        else:
            found[last + 1] = replace(stretch, **{name: np.concatenate([getattr(stretch, name), getattr(next_up, name)])
                                                  for name in ("points", "rows", "turned")})
    return [*found.values(), *alone]


def _between(table: SweepTable, jumps: list[float], number: int) -> bool:
    """Whether a jump lies between a drive and the next."""
    low, high = table.axes["drive.power"][number:number + 2]
    return any(low < jump <= high for jump in jumps)


def jumps(table: SweepTable, found: list[Branch]) -> list[Jump]:
    """The jumps within the drives of a sweep."""
    if table.others is None:
        return []
    drives, met = table.axes["drive.power"], []
    for way, levels in ((UP, table.others.jumps_up_dbm), (DOWN, table.others.jumps_down_dbm)):
        for level in levels:
            above = int(np.searchsorted(drives, level))
            if not 0 < above < len(drives):
                continue
            before, after = (above - 1, above) if way == UP else (above, above - 1)
            lost = [b for b in found if before in b.points and after not in b.points]
            lands = [b for b in found if after in b.points and before in b.points]
            if lost and lands:
                met.append(Jump(level, lost[0], before, lands[0]))
    return met


def between_the_jumps(table: SweepTable) -> tuple[np.ndarray, np.ndarray]:
    """Point numbers and rows of the other states that no way of turning the drive meets."""
    if table.others is None:
        return np.zeros(0, int), np.zeros(0, int)
    rows = np.flatnonzero(table.others.turned == NEITHER)
    return table.others.points[rows], rows


def unsettled_others(table: SweepTable) -> np.ndarray:
    """Which of the other states have a line that is less sure than was asked for, (n,) of bool."""
    columns = table.others.columns
    return replace(table, columns=columns | {"solved": columns["solved"].astype(bool)}).unsettled
