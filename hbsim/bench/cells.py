"""One cell of a table -> a number with what is unusual about it, or a text."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache

from .readings import LOWER_LIMIT, MISSING, OVER_RANGE, UPPER_LIMIT
from .units import Unit, unit_of

_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][+-]?\d{1,3})?", re.ASCII)
# Any spelling of a number, whichever of its marks is the decimal one.
NUMBERISH = re.compile(r"[+-]?(?:\d[\d.,']*(?: \d{3}(?!\d)[\d.,]*)*|\.\d+)(?:[eEdD][+-]?\d{1,3})?", re.ASCII)
_MISSING = frozenset(("", "-", "--", "---", "----", "n/a", "na", "nan", "-nan", "+nan", "#n/a", "#nv", "none", "null"))
_OVER = frozenset(("ol", "ovl", "ovld", "ovf", "overload", "ovrflw", "over", "+ol", "-ol"))
_RUNTIME = re.compile(r"[+-]?(?:\d\.#(?:INF|IND|QNAN|SNAN)\w*(?:[eE][+-]?\d+)?)", re.IGNORECASE)
_BROKEN = re.compile(r"#(?:DIV/0!|VALUE!|REF!|NUM!|NAME\?|NULL!|WERT!)", re.IGNORECASE)
_INFINITE = re.compile(r"([+-]?)\s*(?:inf|infinity)\b\s*(.*)", re.IGNORECASE)
_NUMBER_AND_REST = re.compile(r"([<>≤≥]?)\s*(" + NUMBERISH.pattern + r")\s*(\D.*)?", re.ASCII)
_NO_DECIMAL = re.compile(r"[+-]?0[xX][0-9a-fA-F]+|\d+\s*/\s*\d+|\d+:\d+")
_ODD = {0x2212: "-", 0x2012: "-", 0x2013: "-", 0xFE63: "-", 0xFF0D: "-", 0xFF0B: "+", 0xFF0E: ".", 0xFF0C: ",",
        0xA0: " ", 0x202F: " ", 0x2009: " ", 0x2007: " ", 0x2019: "'"} | {0xFF10 + n: str(n) for n in range(10)}
LONGEST = 300  # characters; what is longer is no cell and no fact of a header, and would take long to look at
_LARGEST = 9.9e37  # what meters write when they have no reading: 9.9E37, 9.91E37, 9.99999999E+37, 199.999E+99


@dataclass(frozen=True)
class Cell:
    """A cell that counts as a number: its value as written (nan for none), its unit if one stands in it, its flag."""

    value: float
    unit: Unit | None = None
    flag: str = ""


@dataclass(frozen=True)
class Marks:
    """How numbers are written: the decimal mark, and the mark between groups of three digits ("" for none)."""

    decimal: str = "."
    group: str = ""


def plain(text: str) -> str:
    """A cell without the odd minus signs, spaces and full-width digits that a word processor puts there; stripped."""
    return text.strip() if text.isascii() else text.translate(_ODD).strip()


def number(text: str, marks: Marks) -> float | None:
    """A number alone; None if the text is none under these marks."""
    if marks.group and marks.group in text:
        whole, mark, tail = text.partition(marks.decimal)
        head, *groups = whole.split(marks.group)
        if not 1 <= len(head.lstrip("+-")) <= 3 or any(len(group) != 3 or not group.isdecimal() for group in groups):
            return None
        text = head + "".join(groups) + mark + tail
    if marks.decimal == ",":
        if "." in text or text.endswith(","):
            return None
        text = text.replace(",", ".")
    if not _PLAIN.fullmatch(text):
        return None
    try:
        return float(text)
    except ValueError:
        return float(text.replace("D", "e").replace("d", "e"))


@lru_cache(maxsize=20000)
def read_cell(text: str, marks: Marks = Marks()) -> Cell | None:
    """A cell as a number; None if it is a text.

    Parameters
    ----------
    text : str
        As it stands in the file.
    marks : Marks

    Returns
    -------
    Cell or None
        Missing and over-range readings are nan with a flag; limits ("<-90") and remarks ("-140 (keyed)") keep their
        number with a flag; "-infinity (no drive)" is minus infinity, flagged with its text.
    """
    if len(text) > LONGEST:
        return None
    text = plain(text)
    value = number(text, marks)
    if value is not None:
        return _in_range(value, None, "")
    lower = text.lower()
    if lower in _MISSING:
        return Cell(math.nan, None, MISSING)
    if lower in _OVER:
        return Cell(math.nan, None, OVER_RANGE)
    if _RUNTIME.fullmatch(text):
        return Cell(math.nan, None, f"runtime error text {text}")
    if _BROKEN.fullmatch(text):
        return Cell(math.nan, None, text)
    infinite = _INFINITE.fullmatch(text)
    if infinite and (not infinite[2] or unit_of(infinite[2]) or infinite[2].startswith("(")):
        if infinite[1] == "-":
            return Cell(-math.inf, None, text)
        return Cell(math.nan, None, f"runtime error text {text}")
    return _with_rest(text, marks)


def _with_rest(text: str, marks: Marks) -> Cell | None:
    found = _NUMBER_AND_REST.fullmatch(text)
    if found is None:
        return None
    sign, digits, rest = found[1], found[2], (found[3] or "").strip()
    value = number(digits, marks)
    if value is None:
        return None
    limit = {"<": UPPER_LIMIT, "≤": UPPER_LIMIT, ">": LOWER_LIMIT, "≥": LOWER_LIMIT}.get(sign, "")
    if not rest:
        return _in_range(value, None, limit)
    unit = unit_of(rest) if rest[0] not in "([" else None
    if unit is not None:
        return _in_range(value, unit, limit)
    first, _, remark = rest.partition("(")
    if remark.endswith(")") and (not first.strip() or unit_of(first)):
        return _in_range(value, unit_of(first), f"{limit}: {text}" if limit else text)
    return None


def _in_range(value: float, unit: Unit | None, flag: str) -> Cell:
    if abs(value) >= _LARGEST:
        return Cell(math.nan, None, OVER_RANGE)
    return Cell(value, unit, flag)


@lru_cache(maxsize=20000)
def looks_numeric(text: str) -> bool | None:
    """Whether a cell may be a number under some marks: True, False (a text), None (missing or over-range: either)."""
    if len(text) > LONGEST:
        return False
    text = plain(text)
    if NUMBERISH.fullmatch(text):
        return True
    lower = text.lower()
    if lower in _MISSING or lower in _OVER or _BROKEN.fullmatch(text) or text and not text.strip("#"):
        return None
    for marks in (Marks(), Marks(","), Marks(".", ","), Marks(",", "."), Marks(".", "'"), Marks(",", " ")):
        if read_cell(text, marks) is not None:
            return True
    return False


def why_no_number(text: str) -> str:
    """What to say of a cell that should be a number and is none."""
    text = plain(text) if len(text) <= 60 else plain(text)[:57] + "..."
    if text and not text.strip("#"):
        return (f"'{text}' is what a spreadsheet shows when the column is too narrow: the number is lost; "
                "export it again")
    if _NO_DECIMAL.fullmatch(text):
        return f"'{text}' is no decimal number; write it as one"
    return f"'{text}' is no number here; correct it, or leave the cell empty where there was no reading"
