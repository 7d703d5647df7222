"""The cells of a table -> values and flags: which mark is decimal, and the conversion (quick for a clean table)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ..errors import Refusal
from .cells import NUMBERISH, Marks, plain, read_cell, why_no_number
from .layout import NAMES, Table, split
from .readings import MISSING, OVER_RANGE
from .text import Text
from .units import Unit, unit_of

_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}(?:[.,]\d{3})+", re.ASCII)
_DECIMAL_COMMA = re.compile(r"(?<![\d,])0\d*,\d|\d{4},\d|,(?:\d{1,2}|\d{4,})(?!\d)", re.ASCII)
_TWO_COMMAS = re.compile(r",\d*,", re.ASCII)
_TIME = re.compile(r"time|date|zeit|uhr|datum|hora|fecha|heure", re.IGNORECASE)
_ODD_NUMBER = re.compile(r"[+-]?0[xX][0-9a-fA-F]+|\d+\s*/\s*\d+|\d+:\d+")


@dataclass(eq=False)
class Raw:
    """A column as it stands: written values, flags, the unit its cells carry, its texts if it is one of texts."""

    values: np.ndarray
    flags: dict[int, str] = field(default_factory=dict)
    unit: Unit | None = None
    said: str = ""
    text: bool = False

    @property
    def empty(self) -> bool:
        """Whether no cell holds anything."""
        return len(self.flags) == len(self.values) and all(flag == MISSING for flag in self.flags.values())

    def missing(self, row: int) -> bool:
        """Whether a cell holds nothing."""
        return self.flags.get(row) == MISSING

    def cut(self, count: int) -> Raw:
        """The first `count` rows."""
        return Raw(self.values[:count], {row: flag for row, flag in self.flags.items() if row < count}, self.unit,
                   self.said, self.text)


def marks_of(cells: Sequence[str], file: str) -> Marks:
    """Which mark is decimal in these cells, and which parts groups of three digits.

    Raises
    ------
    Refusal
        Two readings are possible ("1,250" alone), or none.
    """
    odd = [cell for cell in cells if ("," in cell or "'" in cell or " " in cell or cell.count(".") > 1)
           and NUMBERISH.fullmatch(cell)]
    if not odd:
        return Marks()
    for group in ("'", " "):
        if any(group in cell for cell in odd):
            commas, dots = ([cell for cell in cells if mark in cell and NUMBERISH.fullmatch(cell)] for mark in ",.")
            if commas and dots:
                raise Refusal(f"'{commas[0]}' and '{dots[0]}', with '{group}' between thousands: it is not clear which "
                              'mark is decimal; say so in [table]: decimal = "comma" or decimal = "point"', "", file)
            return Marks("," if any("," in cell for cell in odd) else ".", group)
    both = [cell for cell in odd if "," in cell and "." in cell]
    if both:
        decimals = {max(cell[cell.rfind(","):], cell[cell.rfind("."):], key=lambda tail: -len(tail))[0]
                    for cell in both}
        if len(decimals) == 1:
            decimal = decimals.pop()
            return Marks(decimal, "." if decimal == "," else ",")
        raise Refusal(f"'{both[0]}' and '{both[-1]}': comma and point are both decimal marks; say which in [table]: "
                      'decimal = "comma" or "point"', "", file)
    commas = [cell for cell in cells if "," in cell and NUMBERISH.fullmatch(cell)]
    dots = [cell for cell in cells if "." in cell and NUMBERISH.fullmatch(cell)]
    if not commas:
        return Marks(",", ".")
    grouped = all(_GROUPED.fullmatch(cell) for cell in commas)
    sure_group = any(cell.count(",") > 1 for cell in commas)
    if dots:
        if grouped and not all(_GROUPED.fullmatch(cell) for cell in dots):
            return Marks(".", ",")
        if not grouped and all(_GROUPED.fullmatch(cell) for cell in dots):
            return Marks(",", ".")
        raise Refusal(f"'{commas[0]}' and '{dots[0]}': it is not clear which mark is decimal; say so in [table]: "
                      'decimal = "comma" or decimal = "point"', "", file)
    if sure_group and grouped:
        return Marks(".", ",")
    if grouped:
        raise Refusal(f"'{commas[0]}' may be {commas[0].replace(',', '')} (comma between thousands) or "
                      f"{commas[0].replace(',', '.')} (decimal comma); say which in [table]: decimal = \"point\" or "
                      'decimal = "comma"', "", file)
    return Marks(",")


def columns_of(text: Text, table: Table, marks: Marks | None, names: Sequence[str], notes: list[str]) -> list[Raw]:
    """The columns of a table.

    Parameters
    ----------
    text : Text
    table : Table
    marks : Marks or None
        None where the table itself has to tell.
    names : sequence of str
        For refusals, and because a column called a time may hold "12:34".
    notes : list of str
        What was told by the table itself is added.

    Raises
    ------
    Refusal
        With line and column: a cell that is no number in a column of numbers, two units in a column.
    """
    rows = table.rows
    lines = [text.lines[row] for row in rows]
    if table.clean and table.delimiter and (marks is None or not marks.group):
        quick = _quick(lines, table.delimiter, marks)
        if quick is not None:
            return [_checked(column) for column in quick.T]
    grid = [split(line, table.delimiter) for line in lines]
    width = max(map(len, grid))
    cells = [[row[k] if k < len(row) else "" for row in grid] for k in range(width)]
    if marks is None:
        plainly = [plain(cell) for column in cells for cell in column]
        marks = marks_of(plainly, text.file)
        grouped = next((cell for cell in plainly if marks.group and marks.group in cell and NUMBERISH.fullmatch(cell)),
                       None)
        if grouped is not None:
            read = grouped.replace(marks.group, "").replace(marks.decimal, ".")
            notes.append(f"'{grouped}' is read as {read}: by the other numbers '{marks.group}' stands between "
                         f"thousands and '{marks.decimal}' is the decimal mark; if not, say so in [table]: decimal")
    return [_column(column, marks, text, rows, k, names[k] if k < len(names) else "")
            for k, column in enumerate(cells)]


def _quick(lines: list[str], delimiter: str, marks: Marks | None) -> np.ndarray | None:
    """All numbers at once, where nothing but one decimal mark and one delimiter stands in the lines."""
    if delimiter != ",":
        joined = "\n".join(lines)
        if "," in joined:
            if "." in joined or (marks is None and not _surely_decimal(joined)) or (marks and marks.decimal != ","):
                return None
            lines = joined.replace(",", ".").split("\n")
        elif marks is not None and marks.decimal == "," and "." in joined:
            return None
    elif marks is not None and marks.decimal == ",":
        return None
    if lines[0].rstrip().endswith(delimiter):
        # An empty last column; the others say so by the count of their cells.
        if not all(line.rstrip().endswith(delimiter) for line in lines):
            return None
        lines = [line.rstrip()[:-1] for line in lines]
    try:
        return np.loadtxt(lines, delimiter=None if delimiter == " " else delimiter, comments=None, ndmin=2)
    except ValueError:
        return None


def _surely_decimal(text: str) -> bool:
    """Whether commas can only be decimal marks: none twice in a number, one with other than three digits behind it."""
    return _DECIMAL_COMMA.search(text) is not None and _TWO_COMMAS.search(text) is None


def _checked(values: np.ndarray) -> Raw:
    values = np.ascontiguousarray(values)
    over = np.abs(values) >= 9.9e37
    if over.any():
        flags = {int(row): OVER_RANGE for row in np.flatnonzero(over)}
        return Raw(np.where(over, np.nan, values), flags)
    return Raw(values)


def _column(cells: list[str], marks: Marks, text: Text, rows: list[int], index: int, name: str) -> Raw:
    file = text.file
    read = [read_cell(cell, marks) for cell in cells]
    numbers = [cell for cell in read if cell is not None and cell.flag != MISSING]
    texts = sum(cell is None for cell in read)
    if not numbers and texts or texts and texts > len(numbers) and not _numbers_above(read):
        return _texts(cells, text, rows, index, name)
    if texts:
        row = next(i for i, cell in enumerate(read) if cell is None)
        raise Refusal(why_no_number(cells[row]), _place(rows[row], index, name), file)
    units = {cell.unit for cell in numbers if cell.unit is not None}
    flags = {row: cell.flag for row, cell in enumerate(read) if cell.flag}
    if not units:
        return Raw(np.array([cell.value for cell in read], float), flags)
    if len({unit.name for unit in units}) > 1:
        row = next(i for i, cell in enumerate(read) if cell.unit not in (None, read[0].unit))
        raise Refusal(f"'{cells[row]}' has another unit than '{cells[0]}'; a column holds one quantity",
                      _place(rows[row], index, name), file)
    bare = [i for i, cell in enumerate(read) if cell.unit is None and np.isfinite(cell.value)]
    if bare:
        raise Refusal(f"'{cells[bare[0]]}' has no unit where other cells of the column have one",
                      _place(rows[bare[0]], index, name), file)
    unit = next(iter(units))
    values = [cell.value if cell.unit is None else cell.value * cell.unit.factor + cell.unit.offset for cell in read]
    return Raw(np.array(values, float), flags, Unit(unit.name), "in the cells")


def _numbers_above(read: list) -> bool:
    return bool(read) and read[0] is not None and not np.isnan(read[0].value)


def _texts(cells: list[str], text: Text, rows: list[int], index: int, name: str) -> Raw:
    for row, cell in enumerate(cells):
        if _ODD_NUMBER.fullmatch(cell) and not _TIME.search(name) or cell and not cell.strip("#"):
            raise Refusal(why_no_number(cell), _place(rows[row], index, name), text.file)
    values = np.full(len(cells), np.nan)
    raw = Raw(values, {row: cell or MISSING for row, cell in enumerate(cells)}, text=True)
    known = {cell for cell in cells if cell}
    if known and all(unit_of(cell) for cell in known) and len({unit_of(cell) for cell in known}) == 1:
        raw.unit, raw.said = unit_of(next(iter(known))), next(iter(known))
    return raw


def _place(row: int, column: int, name: str) -> str:
    return f"line {row + 1}, column {column + 1}" + (f" ('{name}')" if name else "")


def check_comma(text: Text, table: Table, named: int) -> None:
    """Refuse a comma table that may as well hold decimal commas.

    Parameters
    ----------
    text, table
        As found, split at the commas.
    named : int
        How many names the header has; 0 without a header. As many names as cells settle it.

    Raises
    ------
    Refusal
        Both readings are possible.
    """
    if table.delimiter != "," or named == table.width:
        return
    if any("." in text.lines[row] for row in table.rows[:64]):
        return
    lines = [text.lines[row] for row in table.rows]
    if any("." in line or '"' in line for line in lines):
        return
    pairs = re.compile(r"\s*[+-]?\d+,\d+(?:[eE][+-]?\d+)?(?:\s*,\s*[+-]?\d+,\d+(?:[eE][+-]?\d+)?)*\s*", re.ASCII)
    if not all(pairs.fullmatch(line) for line in lines):
        return
    cells = split(lines[0], ",")
    joined = [f"{a}.{b}" for a, b in zip(cells[::2], cells[1::2], strict=True)]
    several = f"{len(joined)} columns" if len(joined) > 1 else "one column"
    cells_shown, joined_shown = (" | ".join(parts[:8]) + " | ..." * (len(parts) > 8) for parts in (cells, joined))
    raise Refusal(f"'{lines[0].strip()[:60]}' can be read as {len(cells)} columns ({cells_shown}) or, since the comma "
                  f"is both delimiter and decimal mark, as {several} ({joined_shown}); say which in [table]: "
                  'decimal = "point" or decimal = "comma"', f"line {table.rows[0] + 1}", text.file)


def joined_commas(text: Text, table: Table) -> list[Raw]:
    """A table in which the comma parts columns and is the decimal mark, because the person says so."""
    rows = []
    for row in table.rows:
        cells = split(text.lines[row], ",")
        if len(cells) % 2:
            raise Refusal(f"with decimal commas each number has two parts, but there are {len(cells)}",
                          f"line {row + 1}", text.file)
        rows.append([read_cell(f"{a}.{b}") for a, b in zip(cells[::2], cells[1::2], strict=True)])
        if any(cell is None for cell in rows[-1]):
            raise Refusal(f"'{text.lines[row].strip()}' is no row of numbers with decimal commas", f"line {row + 1}",
                          text.file)
    return [Raw(np.array([cell.value for cell in column], float)) for column in zip(*rows, strict=True)]


def describe(table: Table) -> str:
    """A table in words, for refusals and notes."""
    rows = table.rows
    return (f"lines {rows[0] + 1} to {rows[-1] + 1}: {len(rows)} rows of {table.width} cells, delimiter "
            f"{NAMES.get(table.delimiter, table.delimiter)}")
