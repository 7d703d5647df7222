"""Which sweep a row belongs to: blocks of the file, else the runs in which the inner variable goes one way."""

from __future__ import annotations

import numpy as np

from ..errors import Refusal
from .families import FAMILY
from .layout import Table
from .mapping import Mapping
from .names import INDEX
from .readings import Column


def sweeps_of(table: Table, columns: tuple[Column, ...], mapping: Mapping, file: str, notes: list[str]) -> np.ndarray:
    """Number of the sweep of each row, from 0.

    Blocks that the file parts itself are sweeps. Else the inner variable (the first column that changes in at least
    half of the rows; counters and times excepted) tells them: a sweep ends where it jumps back by more than half of
    its range, or turns and goes on the other way for two rows or more.

    Returns
    -------
    ndarray of int, (n_row,)
    """
    count = len(table.rows)
    if len(table.runs) > 1 and not mapping.sweep:
        numbers = np.repeat(np.arange(len(table.runs)), [len(run.rows) for run in table.runs])
        if table.runs[-1].after == FAMILY:
            return numbers  # told where the curves were put one below the other
        apart = "empty lines" if not any(run.after for run in table.runs) else "lines of text or empty lines"
        notes.append(f"{len(table.runs)} blocks parted by {apart}: each is a sweep")
        return numbers
    numbers = np.zeros(count, int)
    if mapping.sweep == "none" or count < 3:
        return numbers
    inner = _said(columns, mapping, file) or _inner(columns)
    if inner is None:
        return numbers
    starts, turns, flips = _starts(inner.values)
    # A jump back is two changes of direction, a turn one; many more than that are noise, not sweeps.
    if flips > 2 * len(starts) + max(2, count // 20) and not mapping.sweep:
        notes.append(f"'{inner.name}' changes its direction {flips} times in {count} rows: not parted into sweeps")
        return numbers
    if not starts:
        return numbers
    numbers[starts] = 1
    how = f"{len(starts) + 1} sweeps, parted where '{inner.name}' jumps back or turns"
    if turns:
        how += "; the turning point in line " + ", ".join(str(table.rows[row] + 1) for row in turns[:6]) + \
            (" ..." if len(turns) > 6 else "") + " belongs to both sides, and is counted with the first"
    notes.append(how)
    return np.cumsum(numbers)


def _said(columns: tuple[Column, ...], mapping: Mapping, file: str) -> Column | None:
    if not mapping.sweep:
        return None
    found = [column for column in columns if mapping.sweep in (column.name, column.meaning)]
    if len(found) != 1:
        listed = ", ".join(f"'{column.name}'" for column in columns)
        raise Refusal(f"'{mapping.sweep}' is no column; the file has {listed}", "table.sweep", mapping.file or file)
    return found[0]


def _inner(columns: tuple[Column, ...]) -> Column | None:
    for column in columns:
        values = column.values
        if INDEX.fullmatch(column.name) or column.unit == "s" or not np.isfinite(values).all():
            continue
        if np.count_nonzero(np.diff(values)) >= 0.5 * (len(values) - 1):
            return column
    return None


def _starts(values: np.ndarray) -> tuple[list[int], list[int], int]:
    """Rows at which a sweep starts, the rows before them that are turning points, and all changes of direction."""
    step = np.diff(values)
    signs = np.sign(np.where(np.isfinite(step), step, 0.0))
    moving = np.flatnonzero(signs)
    flips = [int(moving[k + 1]) for k in np.flatnonzero(signs[moving[:-1]] != signs[moving[1:]])]
    if not flips or 5 * len(flips) > 2 * len(values) + 10:
        return [], [], len(flips)
    starts, turns, first = [], [], 0
    position = {int(at): k for k, at in enumerate(moving)}
    for at in flips:
        if at < first:
            continue
        reach = np.ptp(values[first:at + 1])
        k = position[at]
        went_on = k + 1 < len(moving) and signs[moving[k + 1]] == signs[at]
        came = k >= 2 and moving[k - 2] >= first and signs[moving[k - 2]] == signs[moving[k - 1]] == -signs[at]
        back = k + 1 < len(moving) and signs[moving[k + 1]] == -signs[at]
        if abs(step[at]) > 0.5 * reach and reach > 0 and (back or k + 1 == len(moving)) and came:
            starts.append(at + 1)
            first = at + 1
        elif went_on and came:
            starts.append(at + 1)
            turns.append(at)
            first = at + 1
    return starts, turns, len(flips)
