"""A table with a row for each harmonic ("f0_MHz,order,f_MHz,level_dBc"): which column is the order, what belongs to it,
and which rows are one setting."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import Refusal
from .families import picked
from .harmonics import ABSOLUTE, Long, columns_of_settings, contradictions, listed
from .layout import Table
from .mapping import COUNTER, HARMONIC, Mapping
from .names import INDEX, ORDER, ORDER_LETTER, read_name
from .readings import MISSING, Column
from .units import unit_of

_HIGHEST = 1000  # an order of a harmonic; what counts further is no order
_WRITTEN = re.compile(r"(?:h|n ?= ?)?([1-9]\d{0,2})(?:st|nd|rd|th|\.)?(?: ?[x*·×]? ?f_?0)?|f_?0|fundamental",
                      re.IGNORECASE)
_STEMS = {"output_dbm": "absolute", "output_dbc": "relative"}
_TYPE = '"{}" = {{ is = "harmonic" }}, or {{ is = "counter" }} if it only counts'


def by_setting(columns: tuple[Column, ...], table: Table, mapping: Mapping, file: str,
               notes: list[str]) -> tuple[tuple[Column, ...], Table]:
    """A table with a row for each harmonic as one with a row for each setting; any other as it is.

    Parameters
    ----------
    columns, table
        As read; the rows of `table` are those of `columns`.
    mapping, file
        What the person says: { is = "harmonic" } of a column, { is = "counter" } of one that is no order.
    notes : list of str
        What was understood is added here.

    Returns
    -------
    columns : tuple of Column
        What was set or read once, then "output_dbm_1", "output_dbm_2" ..., or "output_dbc_2" ... where the level of the
        carrier is not in the file. What a setting lacks is not a number, flagged MISSING.
    table : Table
        Its rows are the first line of each setting.

    Raises
    ------
    Refusal
        A column is the order by its name or by what is said, and the rest does not fit: two columns may be the level,
        something else differs within a setting, an order stands twice at one.
    """
    asked = tuple(_with_numbers(column) for column in columns)
    found = _order_column(asked, table, file, notes)
    columns, asked = _without_words(columns), _without_words(asked)
    if found is None:
        return columns, table
    k, sure = found
    asked = _by_units(asked, k)
    count = len(notes)
    try:
        long = _understood(asked, k, sure, table, mapping, file)
        if long is None:
            if sure:
                notes.append(f"column '{columns[k].name}' may be the order of a harmonic, but no other column is its "
                             "level in dBm, W or dBc for sure; left as it is; if one is say so in [columns]: { is = "
                             '"output_dbm" }')
            return columns, table
        result = columns_of_settings(long, notes)
        if not sure:
            notes.append(f"if '{long.name}' only counts say so in [columns]: \"{long.name}\" = {{ is = \"counter\" }}")
    except Refusal:
        if sure:
            raise
        del notes[count:]
        return columns, table
    return result, _first_rows(table, long)


def _without_words(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    return tuple(replace(column, meaning="") if column.meaning in (COUNTER, HARMONIC) else column
                 for column in columns)


def _by_units(columns: tuple[Column, ...], k: int) -> tuple[Column, ...]:
    """Levels that have dBm or dBc in a cell at their right as two columns, so that all other places stay."""
    result = list(columns)
    for place in range(1, len(columns)):
        level, words = columns[place - 1], columns[place]
        if place - 1 == k or level.unit or words.unit or len(words.flags) < len(words.values):
            continue
        units = [unit_of(words.flags[row]) for row in range(len(words.values))]
        if None not in units and {unit.name for unit in units} == {"dBm", "dBc"}:
            names = np.array([unit.name for unit in units])
            result[place - 1:place + 1] = (_where(level, names == unit, unit) for unit in ("dBm", "dBc"))
    return tuple(result)


def _where(level: Column, there: np.ndarray, unit: str) -> Column:
    """Of a column what is in one unit; the rest is missing."""
    flags = {row: flag for row, flag in level.flags.items() if there[row]} | dict.fromkeys(
        np.flatnonzero(~there).tolist(), MISSING)
    return replace(level, name=f"{level.name} ({unit})", unit=unit, said=unit, flags=flags,
                   values=np.where(there, level.values, np.nan))


def _with_numbers(column: Column) -> Column:
    """A column of orders in words ("f0", "2f0", "H3", "2nd") as one of numbers."""
    if column.unit or len(column.flags) < len(column.values) or not (
            column.meaning == HARMONIC or ORDER.fullmatch(read_name(column.name).bare)):
        return column
    read = [_WRITTEN.fullmatch(column.flags[row]) for row in range(len(column.values))]
    if None in read:
        return column
    return replace(column, values=np.array([float(found[1] or 1) for found in read]), flags={})


def _order_column(columns: Sequence[Column], table: Table, file: str, notes: list[str]) -> tuple[int, bool] | None:
    """Its place, and whether it is one for sure: a letter alone may as well be a count."""
    said = [k for k, column in enumerate(columns) if column.meaning == HARMONIC]
    if said:
        wrong = np.flatnonzero(~_whole(columns[said[0]].values))
        if wrong.size:
            raise Refusal(f"'{columns[said[0]].name}' is said to be the order of the harmonic, and here is no whole "
                          "number above zero", f"line {table.rows[wrong[0]] + 1}", file)
        _check_one(columns, said, file)
        return said[0], True
    free = [(k, read_name(column.name).bare) for k, column in enumerate(columns)
            if not column.meaning and column.unit in ("", "1")]
    named = [k for k, bare in free if ORDER.fullmatch(bare)]
    sure = [k for k in named if _whole(columns[k].values).all()]
    notes += [f"column '{columns[k].name}' is not taken as the order of a harmonic: it holds more than whole numbers "
              f"from 1 to {_HIGHEST}" for k in named if k not in sure and np.isfinite(columns[k].values).any()]
    if sure:
        _check_one(columns, sure, file)
        return sure[0], True
    weak = [k for k, bare in free if ORDER_LETTER.fullmatch(bare) and _whole(columns[k].values).all()
            and 1 < np.unique(columns[k].values).size < len(columns[k].values)]
    return (weak[0], False) if len(weak) == 1 else None


def _whole(values: np.ndarray) -> np.ndarray:
    with np.errstate(invalid="ignore"):
        return (values == np.round(values)) & (values >= 1) & (values <= _HIGHEST)


def _check_one(columns: Sequence[Column], places: list[int], file: str) -> None:
    if len(places) > 1:
        listed = " and ".join(f"'{columns[k].name}'" for k in places)
        raise Refusal(f"{listed} may both be the order of the harmonic; say which in [columns]: "
                      + _TYPE.format(columns[places[0]].name), "columns", file)


@dataclass(frozen=True, eq=False)
class _Rough:
    """A first guess of the settings, in which most are whole: it tells which columns go with the order."""

    order: np.ndarray
    blocks: np.ndarray
    groups: np.ndarray

    def moves(self, column: Column) -> bool:
        """Whether a column differs within at least half of the settings that have several rows."""
        changed = _changed(column.values)
        inside = self.groups[1:] == self.groups[:-1]
        several = np.unique(self.groups[1:][inside])
        differing = np.unique(self.groups[1:][inside & changed[1:]])
        return bool(several.size) and 2 * differing.size >= several.size


def _changed(values: np.ndarray) -> np.ndarray:
    """Whether a row differs from the one before; no number is like no number."""
    with np.errstate(invalid="ignore"):
        differs = (values[1:] != values[:-1]) & ~(np.isnan(values[1:]) & np.isnan(values[:-1]))
    return np.concatenate([[True], differs])


def _understood(columns: tuple[Column, ...], k: int, sure: bool, table: Table, mapping: Mapping,
                file: str) -> Long | None:
    """What each column is, and which rows are one setting; None if no column is a level."""
    blocks = np.repeat(np.arange(len(table.runs)), [len(run.rows) for run in table.runs])
    order = columns[k].values.astype(int)
    turn = _turned(order, blocks)
    if turn is not None:
        columns = tuple(picked(column, turn) for column in columns)
        order = order[turn]
    lines = (np.asarray(table.rows, int) + 1)[turn if turn is not None else slice(None)]
    nothing = np.zeros(len(order), bool)
    rough = _Rough(order, blocks, _groups(order, blocks, nothing, nothing, False))
    others = [column for place, column in enumerate(columns) if place != k]
    relative = _level(others, "relative", rough, columns[k].name, file)
    absolute = _level(others, "absolute", rough, columns[k].name, file, alone=relative is None)
    if absolute is None and relative is None:
        return None
    moving = [column for column in others if column.unit == "Hz" and rough.moves(column)]
    frequency = moving[0] if len(moving) == 1 else None
    others = [column for column in others if not any(column is one for one in (absolute, relative, frequency))]
    free = [column for column in others if _is_remark(column)]
    kept = [column for column in others if not any(column is one for one in free)]
    groups = _settings(order, blocks, kept, columns[k].name, lines, file)
    long = Long(columns[k].name, order, groups, lines, absolute, relative, frequency, kept, free, mapping.carrier, file)
    _check_counter(long, sure, any(said.meaning == HARMONIC for said in mapping.columns.values()))
    return long


def _turned(order: np.ndarray, blocks: np.ndarray) -> np.ndarray | None:
    """Where all rows of one harmonic stand before those of the next: the rows, each setting brought together."""
    turn = []
    for block in range(int(blocks[-1]) + 1):
        rows = np.flatnonzero(blocks == block)
        part = order[rows]
        step = np.diff(part)
        values, counts = np.unique(part, return_counts=True)
        if len(values) < 2 or counts[0] < 2 or np.any(counts != counts[0]) or not (
                np.all(step >= 0) or np.all(step <= 0)):
            return None
        turn.append(rows.reshape(len(values), counts[0]).T.ravel())
    return np.concatenate(turn)


def _groups(order: np.ndarray, blocks: np.ndarray, changed: np.ndarray, certain: np.ndarray,
            known: bool) -> np.ndarray:
    """Number of the setting of each row.

    A setting ends with a block, where what was set for certain changes, where an order comes again, and where the
    orders do not go on in their direction (if columns tell settings apart: only where one of these changes as well).
    """
    steps = np.sign(np.diff(order))
    way = 1 if np.count_nonzero(steps > 0) >= np.count_nonzero(steps < 0) else -1
    back = np.concatenate([[False], way * steps <= 0])
    ends = certain | np.concatenate([[False], np.diff(blocks) != 0]) | back & (changed | (not known))
    ends[0] = False
    groups, seen, number = [], set(), 0
    for one, end in zip(order.tolist(), ends.tolist()):
        if end or one in seen:
            number += 1
            seen = set()
        seen.add(one)
        groups.append(number)
    return np.array(groups)


def _level(columns: Sequence[Column], kind: str, rough: _Rough, order: str, file: str, *,
           alone: bool = True) -> Column | None:
    """The column of the levels in dBm (or W, dBuV), or of those in dBc; `alone`: none of the other kind is found."""
    said = [column for column in columns if _STEMS.get(column.meaning) == kind]
    if said:
        return said[0]
    fit = [column for column in columns if column.unit in (ABSOLUTE if kind == "absolute" else ("dBc",))]
    moving = [column for column in fit if rough.moves(column)]
    if not moving and alone and np.unique(rough.order).size == 1:
        free = [column for column in fit if not column.meaning]
        moving = free if len(free) == 1 else []
    named = [column for column in moving if column.meaning]
    if named:
        raise Refusal(f"'{named[0].name}' is said to be {named[0].meaning}, but holds the levels of all harmonics that "
                      f"'{order}' tells apart; write {{ is = \"output_{'dbm' if kind == 'absolute' else 'dbc'}\" }} of "
                      f'it, or {{ is = "counter" }} of \'{order}\'', "columns", file)
    if len(moving) > 1:
        listed = ", ".join(f"'{column.name}'" for column in moving)
        raise Refusal(f"'{order}' is the order of the harmonic, and its level may be {listed}; say which in [columns]: "
                      f'"{moving[0].name}" = {{ is = "output_dbm" }}', "columns", file)
    return moving[0] if moving else None


def _is_remark(column: Column) -> bool:
    """Texts, times and counts may differ within a setting."""
    return column.unit == "s" or INDEX.fullmatch(column.name) is not None or not np.isfinite(column.values).any()


def _settings(order: np.ndarray, blocks: np.ndarray, kept: Sequence[Column], name: str, lines: np.ndarray,
              file: str) -> np.ndarray:
    """Number of the setting of each row.

    Raises
    ------
    Refusal
        A column differs within a setting, or an order stands twice at one.
    """
    changes = [_changed(column.values) for column in kept]
    changed = np.any(changes, axis=0) if changes else np.zeros(len(order), bool)
    certain = [change for column, change in zip(kept, changes) if "." in column.meaning]
    groups = _groups(order, blocks, changed, np.any(certain, axis=0) if certain else np.zeros(len(order), bool),
                     bool(kept))
    inside = np.concatenate([[False], groups[1:] == groups[:-1]])
    for column, change in zip(kept, changes):
        wrong = np.flatnonzero(inside & change)
        if wrong.size:
            row = wrong[0]
            raise Refusal(f"'{column.name}' differs between lines {lines[row - 1]} and {lines[row]}, which are "
                          f"harmonics {order[row - 1]} and {order[row]} ('{name}') of one setting ({wrong.size} such "
                          "places); make it one value, or take the column out; if it was set, and a setting lacks "
                          f'harmonics, say what it is in [columns]: "{column.name}" = {{ is = "drive.power" }}, or '
                          "another address", f"line {lines[row]}", file)
    _check_twice(order, blocks, groups, changed, name, lines, file)
    return groups


def _check_twice(order: np.ndarray, blocks: np.ndarray, groups: np.ndarray, changed: np.ndarray, name: str,
                 lines: np.ndarray, file: str) -> None:
    """Refuse a setting that comes twice in a row unless it is a whole sweep over the orders again."""
    starts = np.append(np.flatnonzero(np.diff(groups, prepend=-1)), len(order)).tolist()
    for before, start, stop in zip(starts, starts[1:], starts[2:]):
        if changed[start] or blocks[start] != blocks[before]:
            continue
        former, latter = order[before:start].tolist(), order[start:stop].tolist()
        if former == latter or former[0] == latter[0] and min(len(former), len(latter)) > 1:
            continue
        raise Refusal(f"the same setting stands twice, in lines {lines[before]} to {lines[start - 1]} with '{name}' "
                      f"{listed(former, 6)} and from line {lines[start]} with {listed(latter, 6)}; take out what "
                      "stands twice, or part two readings by an empty line", f"line {lines[start]}", file)


def _check_counter(long: Long, sure: bool, said: bool) -> None:
    """Refuse an order by its name alone whose frequencies say otherwise."""
    wrong = contradictions(long)
    if not said and (2 * wrong.size > len(long.order) or not sure and wrong.size):
        row = wrong[0]
        raise Refusal(f"'{long.name}' looks like the order of a harmonic, but '{long.frequency.name}' is not so many "
                      f"times the frequency ({wrong.size} rows, the first in line {long.lines[row]}); say in "
                      f"[columns]: {_TYPE.format(long.name)}", f"line {long.lines[row]}", long.file)


def _first_rows(table: Table, long: Long) -> Table:
    """The table with the first line of each setting alone."""
    edges = np.cumsum([0] + [len(run.rows) for run in table.runs])
    parts = np.split(long.lines[long.firsts] - 1, np.searchsorted(long.firsts, edges[1:-1]))
    return Table(table.delimiter, [replace(run, rows=part.tolist()) for run, part in zip(table.runs, parts)])
