"""Lists of markers as people type them: "M1 1152.0 MHz -43.9 dBm", "M1;1152,0 MHz;-43,9 dBm", "2f0 -9.6 dBm"."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ..errors import Refusal
from .cells import LONGEST, plain
from .layout import BLANK, CLEAN, COMMENT, SECTION
from .names import read_name
from .readings import LOWER_LIMIT, UPPER_LIMIT, Marker
from .text import Text
from .units import Unit, unit_of

PATTERN = "M1 1152.0 MHz -43.9 dBm"
_NAME = re.compile(r"\s*\"?((?:M|MKR|Marker)\s?\d{1,2})\b\"?\s*[:=,;\t]?", re.IGNORECASE)
_MULTIPLE = re.compile(r"\s*\"?((\d{1,2}(?:[.,]5)?)?\s*[x×*·]?\s*f_?0)\b\"?\s*[:=,;\t]?", re.IGNORECASE)
_QUANTITY = re.compile(r"([<>≤≥]?)\s*(?<![\w.])([+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?)(?![\d.,]*\d)"
                       r"\s*([A-Za-zµμ%°][A-Za-zµμ/%]*)?")
_WORDS = re.compile(r"[\w\s,;:=@|\"()/-]*")
_OFF = re.compile(r"\boff\b|\bdisabled\b", re.IGNORECASE)
_THOUSAND = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}")


@dataclass(frozen=True)
class _Line:
    """A line that begins as a marker does: its index, what it is called, its multiple of f0 if it is called by it."""

    index: int
    name: str
    order: float | None
    quantities: tuple[tuple[str, str, str], ...]
    rest: str


def typed_markers(text: Text, kinds: bytearray) -> tuple[list[Marker], list[int]] | None:
    """The markers of a file that is a list of them and nothing else, and the lines that they stand in, from 0.

    What stands above the first is a title, or names of columns with units ("Pegel (dBm)").

    Returns
    -------
    tuple or None
        None where the file is something else: it has rows of numbers, sections, or more other lines than markers.

    Raises
    ------
    Refusal
        A line of the list is not understood, or a number can be read in two ways.
    """
    if CLEAN in kinds or SECTION in kinds:
        return None
    wanted = [k for k, kind in enumerate(kinds) if kind not in (BLANK, COMMENT) and len(text.lines[k]) <= LONGEST]
    lines = {k: line for k in wanted if (line := _line(k, text.lines[k])) is not None}
    if not lines:
        return None
    first = min(lines)
    others = [k for k in wanted if k > first and k not in lines]
    if len(others) > len(lines) or not any(len(line.quantities) > (line.order is None) for line in lines.values()):
        return None
    if others:
        raise Refusal(f"'{text.lines[others[0]].strip()[:60]}' is no marker like the lines above; write it as "
                      f"'{PATTERN}' or '3 f0 < -70 dBm', or put # before it", f"line {others[0] + 1}", text.file)
    _check_marks([(line.index, number) for line in lines.values() for _, number, _ in line.quantities], text)
    units = _head(text.lines[first - 1]) if first else {}
    markers = [_marker(line, units, text) for line in lines.values() if not _OFF.search(line.rest)]
    return markers, list(lines)


def _line(index: int, line: str) -> _Line | None:
    line = plain(line)
    found = _NAME.match(line) or _MULTIPLE.match(line)
    if found is None:
        return None
    rest = line[found.end():]
    quantities = tuple((sign, number, unit or "") for sign, number, unit in _QUANTITY.findall(rest))
    order = None
    if not _NAME.match(line):
        order = float((found[2] or "1").replace(",", "."))
        if not quantities or (last := unit_of(quantities[-1][2])) is None or not _is_level(last):
            return None  # "f0 = 1152 MHz" says what f0 is
    return _Line(index, " ".join(found[1].split()), order, quantities, _QUANTITY.sub(" ", rest))


def _is_level(unit: Unit) -> bool:
    return unit.name.startswith("dB") or unit.name == "W"


def _check_marks(numbers: list[tuple[int, str]], text: Text) -> None:
    """Refuse numbers whose mark may be that of thousands: "1,152" in a file where no other mark is surely decimal."""
    sure = {mark for _, number in numbers for mark in ".," if mark in number and not _THOUSAND.fullmatch(number)}
    for index, number in numbers:
        found = _THOUSAND.fullmatch(number)
        if len(sure) > 1 or found and found[1] not in sure and (found[1] == "," or sure):
            raise Refusal(f"'{number}' can be read in two ways: the mark in it may be the decimal one, or that of "
                          f"thousands; write decimal points and no marks of thousands, as in '{PATTERN}'",
                          f"line {index + 1}", text.file)


def _head(line: str) -> dict[str, Unit]:
    """Units in the names of columns above the markers: "f" of frequencies, "level"."""
    found = {}
    for cell in re.split(r"[;,\t]|\s{2,}", line):
        cell = cell.strip()
        unit = read_name(cell).unit if cell and not re.match(r"[+-]?[\d.]", cell) else None  # "0 dBm" is no name
        if unit is not None:
            found["f" if unit.name == "Hz" else "level"] = unit
    return found


def _marker(line: _Line, head: dict[str, Unit], text: Text) -> Marker:
    place = f"line {line.index + 1}"
    number = len(line.quantities)
    if not (number == 2 or number == 1 and line.order is not None) or not _WORDS.fullmatch(line.rest):
        raise Refusal(f"'{text.lines[line.index].strip()[:60]}' is not understood; a marker is written as '{PATTERN}' "
                      "or '3 f0 < -70 dBm'", place, text.file)
    level = _measured(line.quantities[-1], head.get("level"), "level", "dBm", place, text)
    if not _is_level(level[1]):
        raise Refusal(f"a marker has a frequency, then a level; here '{line.quantities[-1][2]}' is no unit of a level",
                      place, text.file)
    frequency = float("nan")
    if number == 2:
        frequency, unit = _measured(line.quantities[0], head.get("f"), "frequency", "MHz", place, text)
        if unit.name != "Hz" or line.quantities[0][0]:
            raise Refusal(f"a marker has a frequency, then a level, as in '{PATTERN}'", place, text.file)
    flag = {"<": UPPER_LIMIT, "≤": UPPER_LIMIT, ">": LOWER_LIMIT, "≥": LOWER_LIMIT}.get(line.quantities[-1][0], "")
    return Marker(line.name, frequency, level[0], level[1].name, flag, line.order)


def _measured(quantity: tuple[str, str, str], head: Unit | None, what: str, example: str, place: str,
              text: Text) -> tuple[float, Unit]:
    _, number, written = quantity
    unit = unit_of(written) if written else head
    if unit is None:
        said = f"'{written}' is no unit" if written else f"the {what} has no unit"
        raise Refusal(f"{said}; write it behind the number: {number} {example}", place, text.file)
    return float(number.replace(",", ".")) * unit.factor + unit.offset, unit
