"""Tables of other make: quantities in lines, a sweep or a hop in each line, levels without frequencies."""

from __future__ import annotations

import itertools
import re

import numpy as np

from ..errors import Refusal
from .assemble import axis_of, impedance_of, level_unit
from .cells import Marks, plain, read_cell
from .headers import Fact, Header, uncommented
from .layout import COMMENT, TEXT, CLEAN, Table, candidates, kinds_of, split
from .mapping import Mapping
from .names import Name
from .numerals import Raw
from .readings import Column, Readings
from .text import Text
from .units import LEVELS, Unit, level_offset, unit_of


def transposed(text: Text, mapping: Mapping) -> Text:
    """A file with a quantity in each line, turned so that each is a column."""
    kinds = kinds_of(text.lines, mapping.comment)
    delimiters = [mapping.delimiter] if mapping.delimiter is not None else [
        d for d in candidates(text, kinds, [(0, len(text.lines))]) if d]
    rows = [split(line, delimiters[0]) for line, kind in zip(text.lines, kinds, strict=True)
            if kind in (TEXT, CLEAN)] if delimiters else []
    if len(rows) < 2 or len({len(row) for row in rows}) > 1:
        raise Refusal("not all lines have the same number of cells; the table cannot be turned", "", text.file)
    mark = ";" if delimiters[0] == " " else delimiters[0]
    quoted = [['"' + cell + '"' if mark in cell else cell for cell in row] for row in rows]
    return Text(text.file, [mark.join(column) for column in zip(*quoted, strict=True)], text.encoding, text.notes)


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
        raise Refusal("the frequencies are not in the file, and whether they are spaced evenly or by factors is not clear; "
                      'say so in [table]: axis = "linear" or axis = "logarithmic"', "", file)
    if spacing == "logarithmic" and not (axis.first > 0 and axis.last > 0):
        raise Refusal("a logarithmic axis cannot start at zero", "table.axis", mapping.file or file)
    from .consistency import count_of
    said = count_of(facts)
    if said is None or said != count:
        raise Refusal(f"the frequencies are not in the file, and the header counts {'nothing' if said is None else said} "
                      f"where there are {count} rows: they cannot be rebuilt", "", file)
    make = np.linspace if spacing == "linear" else np.geomspace
    notes.append(f"frequencies rebuilt from the header: {axis.first:.10g} to {axis.last:.10g} Hz, {count} points, {spacing}"
                 + ("" if axis.written else "; no unit is written there, taken as Hz"))
    unit = level[0] if level else None
    return [Raw(make(axis.first, axis.last, count)), raws[0]], [
        Name("Frequency", "Frequency", Unit("Hz")), Name("Level", "Level", unit, level[1].text if level else "")]


def special(text: Text, kinds: bytearray, table: Table, header: Header, facts: list[Fact], mapping: Mapping,
            notes: list[str]) -> Readings | None:
    """A file with a whole sweep, or a part of one, in each line; None if it is no such file."""
    return None


assert itertools and COMMENT and plain and read_cell and Marks and uncommented and impedance_of and Column and LEVELS
assert level_offset and unit_of
