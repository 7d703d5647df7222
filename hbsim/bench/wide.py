"""Tables of other make: quantities in lines, a sweep or a hop in each line, levels without frequencies."""

from __future__ import annotations

import itertools
import re
from datetime import datetime

import numpy as np

from ..errors import Refusal
from .assemble import axis_of, impedance_of, level_unit
from .cells import read_cell, why_no_number
from .consistency import count_of
from .headers import Fact, Header, fact_table, measure, uncommented
from .layout import CLEAN, COMMENT, TEXT, Table, candidates, kinds_of, split
from .mapping import Mapping
from .names import Name
from .numerals import Raw
from .readings import MISSING, Column, Readings
from .text import Text
from .units import LEVELS, Unit, level_offset, unit_of


def transposed(text: Text, mapping: Mapping) -> tuple[Text, str]:
    """A file with a quantity in each line, turned so that each is a column; with the delimiter that it then has."""
    kinds = kinds_of(text.lines, mapping.comment)
    delimiters = [mapping.delimiter] if mapping.delimiter is not None else [
        d for d in candidates(text, kinds, [(0, len(text.lines))]) if d]
    rows = [split(line, delimiters[0]) for line, kind in zip(text.lines, kinds, strict=True)
            if kind in (TEXT, CLEAN)] if delimiters else []
    if len(rows) < 2 or len({len(row) for row in rows}) > 1:
        raise Refusal("not all lines have the same number of cells; the table cannot be turned", "", text.file)
    mark = ";" if delimiters[0] == " " else delimiters[0]
    quoted = [['"' + cell + '"' if mark in cell else cell for cell in row] for row in rows]
    return Text(text.file, [mark.join(column) for column in zip(*quoted, strict=True)], text.encoding, text.notes), mark


def rebuilt_axis(raws: list[Raw], table: Table, facts: list[Fact], mapping: Mapping, file: str,
                 notes: list[str]) -> tuple[list[Raw], list[Name]]:
    """Frequencies for a list of levels, from the start and stop of the header.

    Raises
    ------
    Refusal
        The spacing is not said, or the header's count is not that of the rows.
    """
    axis, level = axis_of(facts), level_unit(facts)
    if axis is None:
        return raws, []
    count = len(table.rows)
    words = " ".join(f"{fact.key} {fact.text}" for fact in facts)
    log = re.search(r"\blog(?:arithmic)?\b.{0,12}(?:sweep|axis|freq|x)|(?:sweep|axis|freq|x).{0,12}\blog", words, re.I)
    spacing = mapping.axis or ("" if log or re.search(r"\bsteps\b", words, re.I) else "linear")
    if not spacing:
        raise Refusal("the frequencies are not in the file, and whether they are spaced evenly or by factors is not "
                      'clear; say so in [table]: axis = "linear" or axis = "logarithmic"', "", file)
    if spacing == "logarithmic" and not (axis.first > 0 and axis.last > 0):
        raise Refusal("a logarithmic axis cannot start at zero", "table.axis", mapping.file or file)
    said = count_of(facts)
    if said is None or said != count:
        counted = "no points" if said is None else f"{said:g} points"
        raise Refusal(f"the frequencies are not in the file, and the header counts {counted} "
                      f"where there are {count} rows: they cannot be rebuilt", "", file)
    make = np.linspace if spacing == "linear" else np.geomspace
    notes.append(f"frequencies rebuilt from the header: {axis.first:.10g} to {axis.last:.10g} Hz, {count} points, "
                 f"{spacing}" + ("" if axis.written else "; no unit is written there, taken as Hz"))
    unit = level[0] if level else None
    return [Raw(make(axis.first, axis.last, count)), raws[0]], [
        Name("Frequency", "Frequency", Unit("Hz")), Name("Level", "Level", unit, level[1].text if level else "")]


def special(text: Text, kinds: bytearray, table: Table, header: Header, facts: list[Fact], mapping: Mapping,
            notes: list[str]) -> Readings | None:
    """A file with a whole sweep, or a part of one, in each line; None if it is no such file."""
    if header.names or mapping.names or table.width < 4 or not table.delimiter:
        return None
    first = table.rows[0]
    grid = [split(text.lines[row], table.delimiter) for row in table.rows]
    hops = _hops(grid)
    if hops:
        return _from_hops(text, table, grid, facts, mapping, notes)
    for index, skip in ((first - 1, 0), (first, 1)):
        if index >= 0 and kinds[index] in (TEXT, COMMENT):
            line = text.lines[index]
            cells = split(uncommented(line) if kinds[index] == COMMENT else line, table.delimiter)
            lead = _lead(cells, table.width)
            if skip and not all(re.match(r"date|time|sweep|no\b|scan|datum|zeit", cell, re.I) for cell in cells[:lead]):
                lead = 0  # its first row is like all others: a table turned on its side
            if lead:
                return _from_rows(text, table, grid[skip:], table.rows[skip:], cells, lead, facts, mapping, notes)
    return None


def _lead(cells: list[str], width: int) -> int:
    """How many names stand before the frequencies of a row of names; 0 if it is none of that make."""
    while len(cells) > width and not cells[-1]:
        cells.pop()
    lead = sum(1 for _ in itertools.takewhile(lambda cell: read_cell(cell) is None, cells))
    tail = [read_cell(cell) for cell in cells[lead:]]
    if len(cells) != width or not lead or len(tail) < 2 or any(cell is None or np.isnan(cell.value) for cell in tail):
        return 0
    words = all(re.search(r"[^\W\d_]", cell) and not re.search(r"\d", cell) for cell in cells[:lead])
    return lead if words and tail[0].value >= 0 and np.all(np.diff([cell.value for cell in tail]) > 0) else 0


def _from_rows(text: Text, table: Table, grid: list[list[str]], rows: list[int], cells: list[str], lead: int,
               facts: list[Fact], mapping: Mapping, notes: list[str]) -> Readings:
    """A sweep in each row, frequencies as names: in the long form."""
    named = [read_cell(cell) for cell in cells[lead:]]
    units = {cell.unit for cell in named}
    unit = units.pop() if len(units) == 1 else None
    where = "in the names"
    if unit is None:
        unit, where = _frequency_unit(facts, mapping)
    if unit is None or unit.name != "Hz":
        raise Refusal(f"the names of the columns are frequencies ({cells[lead]} ...) without a unit; say it in "
                      '[table]: units = ["MHz"]', "", text.file)
    count = len(named)
    frequency = np.tile(unit.into(np.array([cell.value for cell in named])), len(grid))
    values, flags = _numbers(grid, rows, lead, count, text.file)
    columns = _leading(cells[:lead], grid, count) + [
        Column("Frequency", "Hz", frequency, {}, where), _levels(values, flags, facts, mapping, notes)]
    notes.append(f"each row is a sweep over {count} frequencies, which are the names of the columns ({where})")
    return _long(text, table, columns, np.repeat(np.arange(len(grid)), count), np.repeat(rows, count), facts, notes)


def _frequency_unit(facts: list[Fact], mapping: Mapping) -> tuple[Unit | None, str]:
    if mapping.units:
        return unit_of(mapping.units[0]), mapping.units[0]
    for fact in facts:
        if re.search(r"freq|start|stop|span|unit", fact.key, re.I):
            found = measure(fact)
            unit = found[1] if found else next((u for value in fact.values if (u := unit_of(value))), None)
            if unit is not None and unit.name == "Hz":
                return unit, f"unit from line {fact.line + 1}: '{fact.key}' {fact.text}"
    return None, ""


def _numbers(grid: list[list[str]], rows: list[int], lead: int, count: int,
             file: str) -> tuple[np.ndarray, dict[int, str]]:
    values, flags = np.full(len(grid) * count, np.nan), {}
    for r, row in enumerate(grid):
        for k in range(count):
            text = row[lead + k] if lead + k < len(row) else ""
            cell = read_cell(text)
            if cell is None:
                raise Refusal(why_no_number(text), f"line {rows[r] + 1}, column {lead + k + 1}", file)
            values[r * count + k] = cell.value
            if cell.flag:
                flags[r * count + k] = cell.flag
    return values, flags


def _leading(names: list[str], grid: list[list[str]], count: int) -> list[Column]:
    """The columns before the levels, each value at all frequencies; date, time and thousandths as seconds, too."""
    columns = []
    for k, name in enumerate(names):
        read = [read_cell(row[k]) for row in grid]
        if all(cell is not None for cell in read):
            odd = {r * count + j: cell.flag for r, cell in enumerate(read) if cell.flag for j in range(count)}
            columns.append(Column(name, "", np.repeat([cell.value for cell in read], count), odd))
        else:
            columns.append(Column(name, "", np.full(len(grid) * count, np.nan),
                                  {r * count + j: row[k] or MISSING for r, row in enumerate(grid)
                                   for j in range(count)}))
    seconds = _seconds([name.lower() for name in names], grid)
    if seconds is not None:
        columns.append(Column("Time since the first", "s", np.repeat(seconds, count)))
    return columns


def _seconds(names: list[str], grid: list[list[str]]) -> np.ndarray | None:
    """Seconds since the first row, where date and time are written in the ISO way."""
    if "date" not in names or "time" not in names:
        return None
    date, clock = names.index("date"), names.index("time")
    small = next((k for k, name in enumerate(names) if name.startswith("millis")), None)
    try:
        stamps = [datetime.fromisoformat(f"{row[date]}T{row[clock]}") for row in grid]
    except ValueError:
        return None
    if len({stamp.tzinfo is None for stamp in stamps}) > 1:
        return None
    part = np.zeros(len(grid))
    if small is not None:
        cells = [read_cell(row[small]) for row in grid]
        if any(cell is None or not np.isfinite(cell.value) for cell in cells):
            return None
        part = np.array([cell.value for cell in cells])
        # ".750" is a part of a second, "750" are thousandths.
        part = part if all("." in row[small] for row in grid) else part / 1000.0
    seconds = np.array([(stamp - stamps[0]).total_seconds() for stamp in stamps]) + part
    return seconds - seconds[0]


def _levels(values: np.ndarray, flags: dict[int, str], facts: list[Fact], mapping: Mapping, notes: list[str]) -> Column:
    level = level_unit(facts)
    if level is None:
        notes.append("the levels have no unit in the file; it stays unknown")
        return Column("Level", "", values, flags)
    impedance = impedance_of(facts, mapping)
    if level[0].name in LEVELS and impedance is not None:
        return Column("Level", "dBm", values + level_offset(level[0].name, impedance), flags, level[1].text)
    return Column("Level", level[0].name, level[0].into(values), flags, level[1].text)


def _long(text: Text, table: Table, columns: list[Column], sweep: np.ndarray, rows: np.ndarray, facts: list[Fact],
          notes: list[str]) -> Readings:
    taken = set(table.rows)
    rest = tuple(line for index, line in enumerate(text.lines) if index not in taken and line.strip())
    return Readings(text.file, tuple(columns), sweep, rest, fact_table(facts), (), tuple(notes), np.asarray(rows) + 1)


def _hops(grid: list[list[str]]) -> bool:
    """Whether rows are date, time, first and last frequency, step, a count, and as many levels as steps fit in."""
    for row in grid:
        if len(row) < 7 or not re.fullmatch(r"\d{4}-\d\d-\d\d", row[0]) or not re.match(r"\d\d:\d\d", row[1]):
            return False
        low, high, step = (read_cell(cell) for cell in row[2:5])
        if not (low and high and step) or not (0 < step.value < np.inf) or not low.value < high.value < np.inf:
            return False
        if len(row) - 6 - round(min((high.value - low.value) / step.value, 1e9)) not in (0, 1):
            return False
    return bool(grid)


def _from_hops(text: Text, table: Table, grid: list[list[str]], facts: list[Fact], mapping: Mapping,
               notes: list[str]) -> Readings:
    """Parts of a sweep, one in a row, put together; a last level that repeats the one before it is dropped."""
    place, values, flags, sweep, rows = [], [], {}, [], []
    number, before, kept = 0, -np.inf, 0
    for line, row in zip(table.rows, grid, strict=True):
        low, high, step = (read_cell(cell).value for cell in row[2:5])
        if low <= before:
            number += 1
        before = low
        count = round((high - low) / step)
        numbers, odd = _numbers([row], [line], 6, len(row) - 6, text.file)
        if len(numbers) == count + 1:
            if np.array_equal(numbers[-1:], numbers[-2:-1], equal_nan=True):
                numbers = numbers[:-1]
            else:
                kept += 1
        flags |= {len(values) + k: flag for k, flag in odd.items() if k < len(numbers)}
        place += [low + k * step for k in range(len(numbers))]
        values += numbers.tolist()
        sweep += [number] * len(numbers)
        rows += [line] * len(numbers)
    notes.append("each row is a part of a sweep (date, time, first, last, step, count, levels); frequencies are taken "
                 "as Hz")
    if kept:
        notes.append(f"in {kept} rows the last level differs from the one before it: kept at the last frequency")
    columns = [Column("Frequency", "Hz", np.array(place)), _levels(np.array(values), flags, facts, mapping, notes)]
    return _long(text, table, columns, np.array(sweep, int), np.array(rows, int), facts, notes)
