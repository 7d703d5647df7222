"""The numbers of a Touchstone file, with refusals that name the line and the word.

Source of the rules: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 2024, General Syntax.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import chain

import numpy as np

from ...errors import Refusal
from .text import Range, Text, plain

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eEdD][+-]?[0-9]+)?")
_CLEAN = b"0123456789+-.eE \t\n"  # no letters of nan and inf, no "_", no "x": float() would take some of them
_BLOCK = 1 << 18  # bytes read at once, so that the words of a long file never stand in memory together


@dataclass(frozen=True)
class Numbers:
    """All numbers of the data lines.

    values : (n_number,) float64. counts : (n_line,) numbers on each data line. lines : (n_line,) its number.
    fortran : line of the first exponent written with D, 0 if there is none.
    """

    values: np.ndarray
    counts: np.ndarray
    lines: np.ndarray
    fortran: int = 0


def read_numbers(text: Text, ranges: list[Range]) -> Numbers:
    """The numbers in some ranges of the text.

    Raises
    ------
    Refusal
        A word is not a finite number.
    """
    values, counts, lines, fortran = [np.zeros(0)], [np.zeros(0, int)], [np.zeros(0, int)], 0
    for line, start, end in ranges:
        while start < end:
            stop = text.code.find(b"\n", start + _BLOCK, end) + 1 or end
            block = text.code[start:stop]
            odd = block.translate(None, _CLEAN)
            if odd.strip(b"dD"):
                _refuse_word(block, line, text.encoding)
            if odd:
                fortran = fortran or line + re.split(b"[dD]", block, maxsplit=1)[0].count(b"\n")
                block = block.replace(b"d", b"e").replace(b"D", b"e")
            rows = block.split(b"\n")
            words = list(map(bytes.split, rows))
            try:
                found = np.fromiter(map(float, chain.from_iterable(words)), float)
            except ValueError:
                _refuse_word(text.code[start:stop], line, text.encoding)
            if not np.isfinite(found).all():
                _refuse_word(text.code[start:stop], line, text.encoding)
            held = np.fromiter(map(len, words), int, len(words))
            filled = np.flatnonzero(held)
            values.append(found)
            counts.append(held[filled])
            lines.append(line + filled)
            line += len(rows) - 1
            start = stop
    return Numbers(np.concatenate(values), np.concatenate(counts), np.concatenate(lines), fortran)


def _refuse_word(block: bytes, line: int, encoding: str) -> None:
    """Name the first word that is no finite number, and what it probably is."""
    for number, row in enumerate(block.decode(encoding).split("\n"), line):
        place = f"line {number}"
        plain(row, place)
        for word in row.split():
            if not NUMBER.fullmatch(word):
                raise Refusal(_why_not_a_number(word), place)
            if np.isinf(float(word.upper().replace("D", "E"))):
                raise Refusal(f"'{word}' is not a finite number; mend or remove the row", place)
    raise AssertionError("every word is a number, yet they could not be read together")


def _why_not_a_number(word: str) -> str:
    if word.lower().lstrip("+-") in ("nan", "inf", "infinity"):
        return f"'{word}' is not a finite number; mend or remove the row"
    if re.fullmatch(r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?", word):
        return f"'{word}' is not a number (decimal comma); write a decimal point"
    if "," in word or ";" in word:
        return f"'{word}' is not a number; separate numbers by blanks, and write a decimal point"
    parts = re.split(r"(?<=[0-9.])(?=[+-])", word)
    if len(parts) > 1 and all(map(NUMBER.fullmatch, parts)):
        return f"'{word}' is not a number (two numbers run together?); put a blank between them"
    return f"'{word[:60]}' is not a number; a remark must begin with '!'"
