"""Of several traces in one file the one that the person names."""

from __future__ import annotations

import re

from ..errors import Refusal
from .layout import Table
from .mapping import Mapping
from .readings import Column, Readings
from .text import Text


def pick_trace(readings: Readings, text: Text, table: Table, mapping: Mapping) -> Readings:
    """The readings, or of them the trace that [table] trace = ... asks for.

    A trace is a block of rows (its name stands in the lines above it, its number counts from 1) or a column of levels
    beside others.

    Raises
    ------
    Refusal
        There is no such trace.
    """
    if mapping.trace is None:
        return readings
    if len(table.runs) > 1:
        return _block(readings, _titles(text, table), mapping)
    levels = [k for k, column in enumerate(readings.columns) if k and column.unit.startswith("dB")]
    names = [readings.columns[k].name for k in levels]
    number = _number(mapping, names, readings.file)
    keep = tuple(column for k, column in enumerate(readings.columns) if k not in levels or k == levels[number])
    return _with(readings, keep, slice(None))


def _titles(text: Text, table: Table) -> list[str]:
    """The name of each block, as far as the lines above it say one ("Trace Name,Trace A")."""
    titles, previous = [], 0
    for run in table.runs:
        found = [match[1].strip(" ,;") for line in text.lines[previous:run.rows[0]]
                 if (match := re.match(r'\W*(?:trace name|trace|curve|sweep)\s*[,;:=]\s*"?([^,;"]+)', line, re.I))]
        titles.append(found[-1] if found else "")
        previous = run.rows[-1] + 1
    return titles


def _number(mapping: Mapping, names: list[str], file: str) -> int:
    wanted = mapping.trace
    if isinstance(wanted, int) and 1 <= wanted <= len(names):
        return wanted - 1
    if isinstance(wanted, str) and names.count(wanted) == 1:
        return names.index(wanted)
    listed = ", ".join(f"{k} '{name}'" for k, name in enumerate(names, 1)) or "none"
    raise Refusal(f"there is no trace {wanted!r}; the file has {listed}", "table.trace", mapping.file or file)


def _block(readings: Readings, titles: list[str], mapping: Mapping) -> Readings:
    number = _number(mapping, titles, readings.file)
    rows = [row for row, sweep in enumerate(readings.sweep) if sweep == number]
    place = {row: k for k, row in enumerate(rows)}
    columns = tuple(Column(c.name, c.unit, c.values[rows], {place[r]: f for r, f in c.flags.items() if r in place},
                           c.said, c.meaning) for c in readings.columns)
    return _with(readings, columns, rows)


def _with(readings: Readings, columns: tuple[Column, ...], rows: slice | list[int]) -> Readings:
    return Readings(readings.file, columns, readings.sweep[rows], readings.header, readings.facts, readings.markers,
                    readings.notes, readings.lines[rows])
