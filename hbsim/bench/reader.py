"""A text file of the bench -> Readings: what stands in it, in base units, with nothing guessed silently."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from ..errors import Refusal
from . import wide
from .assemble import check_frequency, columns_from, impedance_of, unnamed
from .cells import Marks
from .choose import choose, looks_transposed, side_by_side
from .consistency import check
from .families import Curves, family_of, parted_by_remarks, picked, unfolded
from .headers import Fact, Header, fact_table, facts_of, find_header, rest_of, uncommented
from .layout import CLEAN, COMMENT, Table, check_first, check_ragged, kinds_of, regions, split
from .mapping import Mapping, mapping_beside
from .markers import in_dbm, markers_of, only_markers
from .names import Name, read_name
from .numerals import Raw, check_comma, columns_of, joined_commas
from .orders import by_setting
from .readings import Marker, Readings
from .sweeps import sweeps_of
from .text import Text, read_text
from .traces import pick_trace
from .typed import PATTERN, typed_markers
from .units import Unit


def read_readings(path: str | Path, mapping: Mapping | None = None) -> Readings:
    """What a data file says.

    Parameters
    ----------
    path : str or Path
        A text file: spectrum trace, sweep, DC curve, list of markers.
    mapping : Mapping, optional
        What the person says about it; by default what stands in the TOML file of the same name beside it, if there is
        one.

    Returns
    -------
    Readings
        In Hz, dBm, V, A, W, s, dB, deg, K; rows in the order of the file. Columns of text have no numbers, and their
        texts as flags.

    Raises
    ------
    Refusal
        It cannot be read, holds no table, or can be read in two ways (with the choices, and what to write into the TOML
        file).
    """
    return interpret(read_text(path), mapping_beside(path) if mapping is None else mapping)


def interpret(text: Text, mapping: Mapping | None = None) -> Readings:
    """The same from a file that is text already.

    Raises
    ------
    Refusal
        As `read_readings`.
    """
    mapping = mapping or Mapping()
    notes = list(text.notes)
    if mapping.orientation:
        text, delimiter = wide.transposed(text, mapping)
        mapping = replace(mapping, orientation="", header=1, delimiter=delimiter)
        notes.append("the table was turned: a line number is the number of a cell in its lines")
    mapping, told = _told_delimiter(text, mapping)
    kinds = kinds_of(text.lines, mapping.comment)
    if told is not None:
        kinds[told] = COMMENT
    if mapping.first_row is None and mapping.header is None and (typed := typed_markers(text, kinds)) is not None:
        return _of_markers(text, *typed, mapping, notes)
    table = choose(text, kinds, _spans(text, kinds, mapping), mapping)
    if table is None or only_markers(text.lines[row] for row in table.rows[:40]):
        return _without_table(text, kinds, notes)
    if mapping.first_row is None:
        check_first(text, kinds, table)
    if mapping.last_row is None:
        check_ragged(text, kinds, table)
    notes += _left_out(kinds, table)
    header = _header(text, kinds, table, mapping)
    facts = facts_of(text, kinds, rest_of(kinds, [*table.rows, *header.lines]), table.delimiter)
    return _read(text, kinds, parted_by_remarks(table, facts), header, facts, mapping, notes)


def _told_delimiter(text: Text, mapping: Mapping) -> tuple[Mapping, int | None]:
    """A first line "sep=;" tells the delimiter."""
    for index, line in enumerate(text.lines[:3]):
        bare = line.strip().strip('"').lower()
        if bare.startswith("sep=") and len(bare) <= 5:
            mark = bare[4:] or "\t"
            return (mapping if mapping.delimiter is not None else replace(mapping, delimiter=mark)), index
    return mapping, None


def _spans(text: Text, kinds: bytearray, mapping: Mapping) -> list[tuple[int, int]]:
    """Where the table may stand: where the person says, else where the file's own words allow it."""
    if mapping.first_row is None and mapping.last_row is None and mapping.header is None:
        return regions(text.lines, kinds)
    first = max(0, (mapping.first_row or (mapping.header or 0) + 1) - 1)
    last = min(len(text.lines), mapping.last_row or len(text.lines))
    return [(first, last)] if first < last else []


def _header(text: Text, kinds: bytearray, table: Table, mapping: Mapping) -> Header:
    if mapping.header is None:
        return find_header(text, kinds, table)
    if not 1 <= mapping.header <= len(text.lines):
        raise Refusal(f"the file has {len(text.lines)} lines, no line {mapping.header}", "table.header", mapping.file)
    line = text.lines[mapping.header - 1]
    cells = split(uncommented(line) if kinds[mapping.header - 1] == COMMENT else line, table.delimiter)
    if len(cells) < table.width:
        cells += [""] * (table.width - len(cells))
    found = find_header(text, kinds, table)
    return Header(tuple(cells[:table.width]), found.units, (mapping.header - 1, *found.lines))


def _left_out(kinds: bytearray, table: Table) -> list[str]:
    """A note on lines of numbers that are in no table."""
    lines = [index + 1 for index in rest_of(kinds, table.rows) if kinds[index] == CLEAN]
    if not lines:
        return []
    shown = ", ".join(map(str, lines[:5])) + (" ..." if len(lines) > 5 else "")
    return [f"{len(lines)} lines of numbers outside the table are left out: {shown}"]


def _of_markers(text: Text, markers: list[Marker], rows: list[int], mapping: Mapping, notes: list[str]) -> Readings:
    notes.append("a list of markers, no trace")
    rest = tuple(line for k, line in enumerate(text.lines) if line.strip() and k not in set(rows))
    return Readings(text.file, (), np.zeros(0, int), rest, {}, in_dbm(markers, mapping.impedance), tuple(notes))


def _without_table(text: Text, kinds: bytearray, notes: list[str]) -> Readings:
    facts = facts_of(text, kinds, rest_of(kinds, ()), ",")
    markers = markers_of(facts)
    if not markers:
        raise Refusal("no data rows: no line holds numbers in columns; a list of markers has lines such as "
                      f"'{PATTERN}'", "", text.file)
    notes.append("no trace in the file, only markers")
    return Readings(text.file, (), np.zeros(0, int), tuple(text.lines), fact_table(facts), markers, tuple(notes))


def _read(text: Text, kinds: bytearray, table: Table, header: Header, facts: list[Fact], mapping: Mapping,
          notes: list[str]) -> Readings:
    file = text.file
    special = wide.special(text, kinds, table, header, facts, mapping, notes)
    if special is not None:
        return special
    if looks_transposed(text, table, header.names):
        raise Refusal(f"the rows look like quantities ('{split(text.lines[table.rows[0]], table.delimiter)[0]}' at the "
                      'start of the first); if they are say so in [table]: orientation = "transposed"',
                      f"line {table.rows[0] + 1}", file)
    raws, names = _raws(text, table, header, mapping, notes)
    table, raws, names, header = _one_side(text, table, raws, names, header, mapping)
    raws, names, header = _joined_units(raws, names, header)
    if len(raws) == 1 and not names:
        raws, names = wide.rebuilt_axis(raws, table, facts, mapping, file, notes)
    if not names:
        names = unnamed(raws, len(table.runs[0].rows), facts, mapping, file, notes)
    family = family_of(table, facts, mapping, notes)
    beside = {column.name for column in family}
    own = replace(mapping, columns={key: said for key, said in mapping.columns.items() if key not in beside})
    curves = unfolded(Curves(table, raws, names, header, own), file, notes)
    columns = columns_from(curves.raws, curves.names, curves.header, facts, curves.mapping, file, notes)
    check_frequency(columns, curves.names, file)
    columns += tuple(picked(column, curves.take) for column in family)
    rest = tuple(text.lines[index] for index in rest_of(kinds, table.rows))
    written = len(table.rows)
    columns, table = by_setting(columns, curves.table, mapping, file, notes)
    sweep = sweeps_of(table, columns, mapping, file, notes)
    markers = markers_of(facts, impedance_of(facts, mapping))
    check(columns, markers, facts, table, sweep, mapping, file, notes, written)
    lines = np.asarray(table.rows, int) + 1
    readings = Readings(file, columns, sweep, rest, fact_table(facts), markers, tuple(notes), lines)
    return pick_trace(readings, text, table, mapping)


def _raws(text: Text, table: Table, header: Header, mapping: Mapping,
          notes: list[str]) -> tuple[list[Raw], list[Name]]:
    if table.delimiter == "," and mapping.decimal == ",":
        raws = joined_commas(text, table)
        names = [cell for cell in header.names if cell]
        return raws, [read_name(name) for name in names] if len(names) == len(raws) else []
    if mapping.decimal is None:
        check_comma(text, table, sum(map(bool, header.names)))
    marks = None
    if mapping.decimal is not None or mapping.thousands is not None:
        decimal = mapping.decimal or ("," if mapping.thousands == "." else ".")
        marks = Marks(decimal, mapping.thousands if mapping.thousands is not None else "")
    names = list(mapping.names or header.names)
    raws = columns_of(text, table, marks, names, notes)
    while len(raws) > 1 and raws[-1].empty and not (len(names) >= len(raws) and names[len(raws) - 1]):
        raws.pop()
    if not names:
        return raws, []
    names = (names + [""] * len(raws))[:len(raws)]
    _check_named(text, table, raws, names)
    return raws, [read_name(name) for name in names]


def _check_named(text: Text, table: Table, raws: list[Raw], names: list[str]) -> None:
    """Refuse cells on the right of the last name."""
    for k in range(len(names) - 1, 0, -1):
        if names[k]:
            return
        row = next((row for row in range(len(table.rows)) if not raws[k].missing(row)), None)
        if row is not None:
            raise Refusal(f"a cell stands here, but the header has names for {sum(map(bool, names))} columns only; "
                          "name it in the header, or take it out", f"line {table.rows[row] + 1}, column {k + 1}",
                          text.file)


def _one_side(text: Text, table: Table, raws: list[Raw], names: list[Name], header: Header,
              mapping: Mapping) -> tuple[Table, list[Raw], list[Name], Header]:
    """One of the tables that stand side by side; the shorter ends at its first empty row."""
    spans = side_by_side(raws, names)
    if len(spans) == 1:
        return table, raws, names, header
    if mapping.table is None:
        listed = "; ".join(f"{number}: {', '.join(name.text for name in names[a:b]) or f'columns {a + 1} to {b}'}"
                           for number, (a, b) in enumerate(spans, 1))
        raise Refusal(f"{len(spans)} tables stand side by side ({listed}); say which in [table]: table = 1", "",
                      text.file)
    if not 1 <= mapping.table <= len(spans):
        raise Refusal(f"there are {len(spans)} tables side by side, no table {mapping.table}", "", text.file)
    first, stop = spans[mapping.table - 1]
    rows = table.rows
    count = len(rows)
    for row in range(len(rows)):
        if all(raw.missing(row) for raw in raws[first:stop]):
            count = row
            break
    keep = [raw.cut(count) for raw in raws[first:stop]]
    return table.head(count), keep, names[first:stop], Header(header.names[first:stop], header.units[first:stop],
                                                              header.lines)


def _joined_units(raws: list[Raw], names: list[Name], header: Header) -> tuple[list[Raw], list[Name], Header]:
    """A column of unit words belongs to the numbers at its left."""
    keep = []
    for k, raw in enumerate(raws):
        if raw.text and raw.unit is not None and k and not raws[k - 1].text and raws[k - 1].unit is None:
            left = raws[k - 1]
            raws[k - 1] = Raw(raw.unit.into(left.values), left.flags, Unit(raw.unit.name), raw.said)
        else:
            keep.append(k)
    if len(keep) == len(raws):
        return raws, names, header
    pick = [k for k in keep if k < len(header.units)]
    return ([raws[k] for k in keep], [names[k] for k in keep] if names else [],
            Header((), tuple(header.units[k] for k in pick), header.lines))
