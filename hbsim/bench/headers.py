"""What stands around a table: the row of names, the row of units, and the facts of the header."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .cells import LONGEST, NUMBERISH, looks_numeric, plain, read_cell
from .layout import BEGIN, BLANK, CLEAN, COMMENT, END, SECTION, TEXT, Table, section_name, split
from .text import Text
from .units import Unit, unit_of

_MARK = re.compile(r'\s*"?\s*(?:[#!%;\']+|//)\s*')
_WITH_UNIT = re.compile(r"(.+?)\s+UNITS?\s+(\S+)", re.IGNORECASE)
_KEY_VALUE = re.compile(r"([^\W\d_][^:=,;\t]*?)\s*[:=]\s*(.*)")
_FIRST_WORD = re.compile(r"([A-Za-z_][\w-]*)\s+(.*)")


@dataclass(frozen=True)
class Fact:
    """A line of the header: its index, its key ("" if it has none), what stands behind it, the section it is in."""

    line: int
    key: str
    values: tuple[str, ...]
    section: str = ""

    @property
    def text(self) -> str:
        """What stands behind the key, in one piece."""
        return " ".join(value for value in self.values if value)


@dataclass(frozen=True)
class Header:
    """Names and units as written, and the indices of the lines that they stand in."""

    names: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    lines: tuple[int, ...] = ()


def uncommented(line: str) -> str:
    """A remark without its mark."""
    return _MARK.sub("", line, count=1).strip().rstrip('"').strip() if _MARK.match(line) else line.strip()


def facts_of(text: Text, kinds: bytearray, rest: list[int], delimiter: str) -> list[Fact]:
    """The facts of all lines that are no rows of the table.

    Parameters
    ----------
    text, kinds
        The file, and the kind of each line.
    rest : list of int
        Indices of the lines that are neither empty, nor rows, nor names.
    delimiter : str
        Of the table; the header often has the same.
    """
    facts, section = [], ""
    for index in rest:
        kind = kinds[index]
        if kind == SECTION:
            section = section_name(text.lines[index])
        elif kind in (TEXT, COMMENT):
            facts.append(_fact(text.lines[index], index, kind == COMMENT, delimiter, section))
        elif kind == CLEAN and delimiter in (",", ";", "\t"):
            cells = split(text.lines[index], delimiter)
            if len(cells) > 1 and not cells[0]:  # a key that is not there: ",10000000,Hz"
                facts.append(Fact(index, "", tuple(cells[1:]), section))
    return facts


def _fact(line: str, index: int, comment: bool, delimiter: str, section: str) -> Fact:
    body = uncommented(line) if comment else line.strip()
    if len(body) > LONGEST:
        return Fact(index, "", (body,), section)
    if found := _WITH_UNIT.fullmatch(body):
        return Fact(index, f"{found[1]} unit", (found[2],), section)
    if found := _KEY_VALUE.fullmatch(body):
        return Fact(index, found[1], (found[2].strip(" ,;"),), section)
    for mark in ((delimiter, ",", ";", "\t") if delimiter not in ("", " ") else (",", ";", "\t")):
        if mark in body:
            cells = split(body, mark)
            while len(cells) > 1 and not cells[-1]:
                cells.pop()
            return Fact(index, cells[0], tuple(cells[1:]), section)
    if comment and (found := _FIRST_WORD.fullmatch(body)):
        return Fact(index, found[1], (found[2],), section)
    return Fact(index, "", (body,), section)


def find_header(text: Text, kinds: bytearray, table: Table) -> Header:
    """The names and units of a table.

    Names stand in the line above the first row (empty lines, and lines such as "IB = 10 uA", between do not count),
    units in one below them or in brackets; or in the last remark before the data that has as many cells as the table.
    """
    width, delimiter = table.width, table.delimiter
    above = _above(kinds, table.rows[0])
    used: list[int] = []
    units: tuple[str, ...] = ()
    for index in above:
        if kinds[index] in (BEGIN, END, SECTION) or kinds[index] == TEXT and _tells_value(text.lines[index]):
            continue
        cells = _cells(text.lines[index], kinds[index] == COMMENT, delimiter, width)
        if kinds[index] == TEXT and cells is None:
            break
        if cells is None or (kinds[index] == COMMENT and not _words(cells)):
            continue
        if not units and sum(unit_of(cell) is not None for cell in cells) >= max(1, sum(map(bool, cells)) - 1) and (
                any(cell[:1] in "[(" for cell in cells if cell) or _names_follow(text, kinds, above, index, table)):
            units, used = cells, [index]
            continue
        if _words(cells) and not _is_setting(cells):
            return Header(cells, units, tuple(used + [index]))
        if kinds[index] == TEXT:
            break
    return Header((), units, tuple(used))


def _tells_value(line: str) -> bool:
    """Whether a line is a word with a number and a unit ("IB = 10 uA"): it may stand between names and rows."""
    found = _KEY_VALUE.fullmatch(line.strip()) if len(line) <= LONGEST else None
    cell = read_cell(found[2].strip(" ,;")) if found else None
    return cell is not None and cell.unit is not None


def _names_follow(text: Text, kinds: bytearray, above: list[int], index: int, table: Table) -> bool:
    """Whether a row of names stands over a row of bare units ("MHz;dBm")."""
    for other in above[above.index(index) + 1:]:
        cells = _cells(text.lines[other], kinds[other] == COMMENT, table.delimiter, table.width)
        return cells is not None and _words(cells) and not _is_setting(cells)
    return False


def _above(kinds: bytearray, first: int) -> list[int]:
    found, index = [], first - 1
    while index >= 0 and len(found) < 40:
        if kinds[index] not in (BLANK,):
            if kinds[index] == CLEAN:
                break
            found.append(index)
        index -= 1
    return found


def _cells(line: str, comment: bool, delimiter: str, width: int) -> tuple[str, ...] | None:
    """A line as so many cells; None if it has another number of them."""
    body = uncommented(line) if comment else line
    ways = [split(body, delimiter)]
    if delimiter == " ":
        ways += [re.split(r"\s{2,}|\t+", body.strip()), split(body, ","), split(body, ";"),
                 re.findall(r"[^\s\[(]+(?:\s?[\[(][^\])]*[\])])?", body)]  # "Frequency (Hz) Level (dBm)"
    elif comment:
        ways += [split(body, mark) for mark in (",", ";", "\t") if mark != delimiter] + [body.split()]
        if found := re.match(r"DATA\s+(.+)", body):  # "! DATA Freq,S11"
            ways.insert(0, split(found[1], delimiter))
    for cells in ways:
        while len(cells) > width and not cells[-1]:
            cells = cells[:-1]
        if len(cells) == width:
            return tuple(cells)
        if delimiter not in ("", " ") and 1 < len(cells) < width and not comment:
            short = tuple(cells) + ("",) * (width - len(cells))
            return short if _words(short) else None
    return None


def _words(cells: tuple[str, ...]) -> bool:
    """Whether cells may be names: words, no numbers (units in brackets count as words)."""
    filled = [cell for cell in cells if cell]
    if len(cells) == 1 and re.search(r"[:=]", cells[0]):
        return False  # a fact of the header, no name
    return bool(filled) and not any(NUMBERISH.fullmatch(plain(cell)) for cell in filled) and any(
        any(letter.isalpha() for letter in cell) for cell in filled) and not any(
        looks_numeric(cell) and read_cell(cell) for cell in filled)


def _is_setting(cells: tuple[str, ...]) -> bool:
    """Whether a line is a key with its value ("y-Unit;dBm", "Trace Detector,Sample"), not two names."""
    first = cells[0].lower()
    return bool(re.search(r"unit\b|einheit|^(?:trace|detector|type|mode|average|rbw|vbw|ref|sweep (?:type|mode|rule))\b"
                          r"(?!.*[\[(])", first)) and len([cell for cell in cells if cell]) <= 2


def values_of(facts: list[Fact], pattern: str) -> list[Fact]:
    """The facts whose whole key fits a pattern, capitals apart."""
    wanted = re.compile(pattern, re.IGNORECASE)
    return [fact for fact in facts if wanted.fullmatch(fact.key.strip())]


def measure(fact: Fact) -> tuple[float, Unit | None] | None:
    """A fact as a number in the base unit with its unit: "100 Hz", ("48.4", "MHz"), ("10", "", "MHz"), "2399.5MHZ"."""
    for position, value in enumerate(fact.values):
        if not value:
            continue
        cell = read_cell(value)
        if cell is None and NUMBERISH.fullmatch(plain(value)):
            cell = read_cell(plain(value).replace(",", "."))
        if cell is None or not math.isfinite(cell.value):
            return None
        unit = cell.unit or next((found for other in fact.values[position + 1:] if (found := unit_of(other))), None)
        return (cell.value * unit.factor + unit.offset if unit else cell.value), unit
    return None


def rest_of(kinds: bytearray, taken: Iterable[int]) -> list[int]:
    """Indices of the lines that are not empty and not taken."""
    left = np.frombuffer(kinds, np.uint8) != BLANK
    left[np.fromiter(taken, int)] = False
    return np.flatnonzero(left).tolist()


def fact_table(facts: list[Fact]) -> dict[str, tuple[str, ...]]:
    """Facts by their keys, each with all that stood behind it."""
    found: dict[str, list[str]] = {}
    for fact in facts:
        found.setdefault(fact.key, []).append(fact.text)
    return {key: tuple(values) for key, values in found.items()}
