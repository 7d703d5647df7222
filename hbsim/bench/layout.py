"""Lines of text -> where the table stands: what kind a line is, how lines split into cells, runs of like rows."""

from __future__ import annotations

import csv
import itertools
import re
from dataclasses import dataclass, field
from operator import methodcaller

import numpy as np

from ..errors import Refusal
from .cells import looks_numeric, why_no_number
from .text import Text
from .units import unit_of

BLANK, CLEAN, TEXT, COMMENT, SECTION, BEGIN, END = range(7)
DELIMITERS = ("\t", ";", ",", "^", "|", " ", "")
NAMES = {"\t": "tab", ";": "';'", ",": "','", "^": "'^'", "|": "'|'", " ": "blanks", "": "none (one column)"}
_FEW = "0123456789+-.eE,;\t ^"
_BLANK_INSIDE = re.compile(r"[\d.] +[\d.+-]", re.ASCII)
_CLEAN_LINES = re.compile(bytes([CLEAN]) + b"*")
_COMMENT = re.compile(r'\s*"?\s*(?:[#!%]|//|\'(?!\d)|;(?=[^;]*$)(?=\s*[A-Za-z]))')
_SECTION = re.compile(r"\s*\[([^\]]{2,60})\]\s*[,;]*\s*")
_BEGIN = re.compile(r"\s*BEGIN\b[\w .:,-]*", re.IGNORECASE)
_END = re.compile(r"\s*END\b[\w .:,-]*", re.IGNORECASE)
_TRACE = re.compile(r"trace|data|values|measurement|results?$|sweep", re.IGNORECASE)
_NO_TRACE = re.compile(r"param|setting|setup|config|info|header|global", re.IGNORECASE)


@dataclass(eq=False)
class Run:
    """Rows of one make, one below the other: line indices from 0, cells in each, what each column holds so far."""

    rows: list[int]
    width: int
    kinds: list[bool | None]
    clean: bool = True
    after: str = ""  # what stands between the run before and this one: "" nothing but blanks, "text", "break"

    @property
    def numeric(self) -> int:
        """Columns that hold numbers."""
        return sum(kind is not False for kind in self.kinds)


@dataclass(eq=False)
class Table:
    """Runs that belong together, split by one delimiter."""

    delimiter: str
    runs: list[Run] = field(default_factory=list)

    @property
    def width(self) -> int:
        """Cells in a row."""
        return max(run.width for run in self.runs)

    @property
    def rows(self) -> list[int]:
        """All line indices."""
        return [row for run in self.runs for row in run.rows] if len(self.runs) > 1 else self.runs[0].rows

    def head(self, count: int) -> Table:
        """The table with its first `count` rows alone."""
        runs, left = [], count
        for run in self.runs:
            if left > 0:
                runs.append(Run(run.rows[:left], run.width, run.kinds, run.clean, run.after))
            left -= len(run.rows)
        return Table(self.delimiter, runs)

    @property
    def score(self) -> int:
        """How much of a table it is."""
        return sum(len(run.rows) * run.numeric for run in self.runs)

    @property
    def clean(self) -> bool:
        """Whether all rows are made of digits, signs, marks and delimiters only."""
        return all(run.clean for run in self.runs)


def split(line: str, delimiter: str) -> list[str]:
    """The cells of a line, stripped; quotes hold a cell together."""
    if delimiter == "":
        return [line.strip().strip('"')]
    if delimiter == " ":
        return line.split()
    if '"' in line:
        try:
            return [cell.strip() for cell in next(csv.reader([line.strip(" ")], delimiter=delimiter,
                                                             skipinitialspace=True))]
        except (csv.Error, StopIteration):
            return [cell.strip().strip('"') for cell in line.split(delimiter)]
    return [cell.strip() for cell in line.split(delimiter)]


def kinds_of(lines: list[str], comment: str = "") -> bytearray:
    """The kind of each line: BLANK, CLEAN (digits and marks only), TEXT, COMMENT, SECTION, BEGIN, END."""
    kinds = bytearray([CLEAN]) * len(lines)
    left = list(map(methodcaller("strip", _FEW), lines))
    # Most lines of a long file are clean and start with a digit: only the others are looked at one by one.
    for index in [k for k, (line, rest) in enumerate(zip(lines, left, strict=True)) if rest or not line[:1].isdigit()]:
        line = lines[index]
        if not left[index]:
            if not line.strip(" \t,;^-+.eE"):
                kinds[index] = BLANK
        elif comment and line.lstrip().startswith(comment) or _COMMENT.match(line):
            kinds[index] = COMMENT
        elif _SECTION.fullmatch(line) and not _units_only(line):
            kinds[index] = SECTION
        elif _BEGIN.fullmatch(line):
            kinds[index] = BEGIN
        elif _END.fullmatch(line):
            kinds[index] = END
        elif not line.strip(' ,;^|\t"'):
            kinds[index] = BLANK
        else:
            kinds[index] = TEXT
    return kinds


def _units_only(line: str) -> bool:
    return unit_of(line.strip(" ,;\t")) is not None


def section_name(line: str) -> str:
    """The name in [name]; "" if the line is no start of a section."""
    found = _SECTION.fullmatch(line)
    return found[1].strip() if found else ""


def regions(lines: list[str], kinds: bytearray) -> list[tuple[int, int]]:
    """Where a table may stand: between BEGIN and END, in the sections of traces; else anywhere."""
    if BEGIN in kinds:
        found, start = [], None
        for index, kind in enumerate(kinds):
            if kind == BEGIN:
                start = index + 1
            elif kind == END and start is not None:
                found.append((start, index))
                start = None
        return found + ([(start, len(lines))] if start is not None else [])
    if SECTION not in kinds:
        return [(0, len(lines))]
    starts = [index for index, kind in enumerate(kinds) if kind == SECTION]
    spans = list(zip(starts, starts[1:] + [len(lines)], strict=True))
    named = [(a + 1, b) for a, b in spans if _TRACE.search(name := section_name(lines[a]))
             and not _NO_TRACE.search(name)]
    return named or [(0, len(lines))]


def candidates(text: Text, kinds: bytearray, spans: list[tuple[int, int]]) -> list[str]:
    """Delimiters that split at least one line of the spans into numbers (or into a number and a text)."""
    inside = np.zeros(len(kinds), bool)
    for start, stop in spans:
        inside[start:stop] = True
    codes = np.frombuffer(kinds, np.uint8)
    clean = np.flatnonzero(inside & (codes == CLEAN)).tolist()
    probe = clean[:: max(1, len(clean) // 48)] or np.flatnonzero(inside & (codes == TEXT)).tolist()[:400]
    sample = [text.lines[i] for i in probe]
    # Digits and marks alone may also be dates ("2001-02-03"): then a line need not give numbers throughout.
    return _candidates(sample, bool(clean)) or _candidates(sample, False)


def _candidates(sample: list[str], clean: bool) -> list[str]:
    found: list[str] = []
    for delimiter in DELIMITERS:
        if not delimiter and found:
            break  # one column is what is left where nothing cuts the lines
        if delimiter == " " and clean and "\t" in found and not any(_BLANK_INSIDE.search(line) for line in sample):
            continue  # blanks and tabs cut the same cells
        if delimiter in ("", " ") or any(delimiter in line for line in sample):
            fit = sum(_fits(line, delimiter, clean) for line in sample)
            if fit and (not clean or 2 * fit >= len(sample) or fit >= 8):
                found.append(delimiter)
    hard = [d for d in found if d not in (" ", "")]
    # Blanks count as delimiters where nothing else is one, or where they alone cut a line into plain numbers.
    if hard and " " in found and not all(_fits(line, " ", True) for line in sample if line.strip()):
        found.remove(" ")
    return found


def _fits(line: str, delimiter: str, clean: bool) -> bool:
    """Whether a line is cut into a row; one of digits and marks only has to give numbers throughout."""
    cells = split(line, delimiter)
    kinds = [looks_numeric(cell) for cell in cells]
    if delimiter == "":
        return kinds[0] is True
    if clean or delimiter == " " and len(cells) < 3:
        return len(cells) > 1 and True in kinds and False not in kinds
    return len(cells) > 1 and True in kinds


def find_runs(lines: list[str], kinds: bytearray, spans: list[tuple[int, int]], delimiter: str) -> list[Run]:
    """Runs of rows: lines with as many cells, in which no column changes between number and text."""
    runs: list[Run] = []
    sure = _marks_free(lines, kinds, delimiter)
    for start, stop in spans:
        _runs_of(lines, kinds, start, stop, delimiter, sure, runs)
    return runs


def _runs_of(lines: list[str], kinds: bytearray, start: int, stop: int, delimiter: str, sure: bool,
             runs: list[Run]) -> None:
    """The runs of one span, put at the end of `runs`."""
    run, after, index = None, "break" if runs else "", start
    while index < stop:
        kind = kinds[index]
        if kind == CLEAN and sure and run is not None and False not in run.kinds:
            count = _alike(lines, kinds, index, stop, delimiter, run.width)
            run.rows.extend(range(index, index + count))
            index += count
            if count:
                continue
        if kind == CLEAN or kind == TEXT:
            pattern = [looks_numeric(cell) for cell in split(lines[index], delimiter)]
            if run is not None and _joins(run, pattern):
                run.rows.append(index)
                run.clean = False
            elif True in pattern:
                run = Run([index], len(pattern), pattern, kind == CLEAN and sure, after)
                runs.append(run)
                after = ""
            else:
                run, after = None, after or "text"
        elif kind != COMMENT:
            run = None
            after = after or ("break" if kind != BLANK else "")
        index += 1


def _alike(lines: list[str], kinds: bytearray, index: int, stop: int, delimiter: str, width: int) -> int:
    """How many clean lines with so many cells follow from a line on: in pieces that grow, since they are often many."""
    first, piece = index, 16
    while index < stop:
        end = _CLEAN_LINES.match(kinds, index, min(stop, index + piece)).end()
        part = lines[index:end]
        if delimiter == " ":
            widths, wanted = map(len, map(str.split, part)), width
        else:
            widths, wanted = map(methodcaller("count", delimiter), part), width - 1
        count = len(list(itertools.takewhile(wanted.__eq__, widths)))
        index += count
        if count < piece:
            break
        piece = min(4 * piece, 65536)
    return index - first


def _marks_free(lines: list[str], kinds: bytearray, delimiter: str) -> bool:
    """Whether clean lines hold no other mark than this delimiter (then their cells need not be looked at)."""
    if delimiter == "":
        return False
    clean = np.frombuffer(kinds, np.uint8) == CLEAN
    joined = "\n".join(itertools.compress(lines, clean.tolist()))
    others = [mark for mark in "\t;^" if mark != delimiter] + ([","] if delimiter == " " else [])
    if delimiter == " " and "\t" in joined:
        others.remove("\t")
    if any(mark in joined for mark in others):
        return False
    return delimiter == " " or " " not in joined or not _BLANK_INSIDE.search(joined)


def _joins(run: Run, pattern: list[bool | None]) -> bool:
    if len(pattern) != run.width:
        short, long = sorted((pattern, run.kinds), key=len)
        if any(kind is not None for kind in long[len(short):]) or not short:
            return False
        pattern = pattern[:run.width] + [None] * (run.width - len(pattern))
    if True not in pattern and any(kind is True for kind in run.kinds) and False in pattern:
        return False
    if any({a, b} == {True, False} for a, b in zip(run.kinds, pattern, strict=False)):
        return False
    run.kinds = [b if a is None else a for a, b in zip(run.kinds, pattern, strict=False)]
    return True


def is_table(run: Run) -> bool:
    """Whether a run may be a table and no list of settings (a word and a number in each line)."""
    if run.width == 1:
        return True
    return run.kinds[0] is not False or sum(kind is True for kind in run.kinds) >= 2


def tables(runs: list[Run], delimiter: str) -> list[Table]:
    """Runs gathered into tables: neighbours of one width and the same kinds of columns."""
    found: list[Table] = []
    for run in runs:
        if not is_table(run):
            continue
        last = found[-1].runs[-1] if found else None
        same = last is not None and last.width == run.width and not any(
            {a, b} == {True, False} for a, b in zip(last.kinds, run.kinds, strict=True))
        if same:
            found[-1].runs.append(run)
        else:
            found.append(Table(delimiter, [run]))
    return found


def check_ragged(text: Text, kinds: bytearray, table: Table) -> None:
    """Refuse a line that touches the table, starts like a row of it, and is none.

    Raises
    ------
    Refusal
        With the line and what differs.
    """
    for run in table.runs:
        index = run.rows[-1] + 1
        while index < len(kinds) and kinds[index] == COMMENT:
            index += 1
        if index >= len(kinds) or kinds[index] not in (CLEAN, TEXT):
            continue
        cells = split(text.lines[index], table.delimiter)
        numbers = [looks_numeric(cell) is True for cell in cells]
        if not any(numbers) or (not numbers[0] and run.kinds[0] is True and sum(numbers) * 2 < len(cells)):
            continue
        where = f"line {index + 1}"
        if len(cells) != run.width:
            raise Refusal(f"'{_short(text.lines[index])}' has {len(cells)} cells where the rows above have "
                          f"{run.width}; correct the line or take it out", where, text.file)
        for column, (cell, kind) in enumerate(zip(cells, run.kinds, strict=True), 1):
            if kind is True and looks_numeric(cell) is False:
                raise Refusal(why_no_number(cell), f"{where}, column {column}", text.file)
        raise Refusal(f"'{_short(text.lines[index])}' is no row like those above it; correct the line or take it out",
                      where, text.file)


def check_first(text: Text, kinds: bytearray, table: Table) -> None:
    """Refuse a line just above the table that would be its first row but for a cell that is no number.

    Raises
    ------
    Refusal
        With the cell.
    """
    index, run = table.rows[0] - 1, table.runs[0]
    if index < 0 or kinds[index] not in (CLEAN, TEXT):
        return
    cells = split(text.lines[index], table.delimiter)
    pattern = [looks_numeric(cell) for cell in cells]
    if len(cells) != run.width and all(pattern):
        raise Refusal(f"'{_short(text.lines[index])}' stands above rows of {run.width} cells; correct the line, or say "
                      f"first_row = {run.rows[0] + 1} in [table]", f"line {index + 1}", text.file)
    if len(cells) == run.width and pattern[0] is True and run.kinds[0] is True:
        column = next((k for k, (a, b) in enumerate(zip(pattern, run.kinds, strict=True)) if a is False and b), 0)
        raise Refusal(why_no_number(cells[column]), f"line {index + 1}, column {column + 1}", text.file)


def _short(line: str) -> str:
    line = line.strip()
    return line if len(line) <= 60 else line[:57] + "..."
