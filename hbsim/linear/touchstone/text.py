"""From the bytes of a Touchstone file to its lines and numbers, with refusals that name the line.

Source of the rules: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 2024, General Syntax.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ...errors import Refusal

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][+-]?\d+)?")
_CLEAN = frozenset("0123456789+-.ED \t")  # no letters of nan and inf, no "_", no "x": float() would take them
_NOT_TEXT = bytes(set(range(32)) - set(b"\t\n\r"))


@dataclass(frozen=True)
class Lines:
    """The lines that say something, with their numbers counted from 1, and the comments.

    code : (line number, text without comment and outer blanks), none of them empty.
    """

    code: tuple[tuple[int, str], ...]
    comments: tuple[str, ...]

    def marked(self, sign: str) -> list[tuple[int, str]]:
        """The lines that begin with `sign`."""
        return [line for line in self.code if line[1].startswith(sign)]


@dataclass(frozen=True)
class Numbers:
    """All numbers of the data lines.

    values : (n_number,) float64. counts : (n_line,) numbers on each data line. lines : (n_line,) its number.
    """

    values: np.ndarray
    counts: np.ndarray
    lines: np.ndarray


def read_lines(path: Path) -> Lines:
    """Decode a file and take off its comments.

    UTF-8 with or without a byte-order mark, else Latin-1; line ends LF, CR LF or CR; a final Ctrl-Z is dropped.

    Raises
    ------
    Refusal
        The file is missing, is a folder, cannot be read, is empty, or is no text.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise Refusal("there is no such file; check the name and the folder") from None
    except IsADirectoryError:
        raise Refusal("this is a folder; name a file in it") from None
    except OSError as error:
        raise Refusal(f"cannot be read ({error.strerror}); check the file's name and permissions") from None
    raw = raw.rstrip(b" \t\r\n").removesuffix(b"\x1a")
    if not raw.strip():
        raise Refusal("the file is empty; export it again")
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Refusal("the text is in UTF-16; save it as plain text or UTF-8")
    if len(raw.translate(None, _NOT_TEXT)) != len(raw):
        raise Refusal("this is no text file (it holds control bytes); export it as a Touchstone file")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    code, comments = [], []
    for number, line in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        said, sign, comment = line.partition("!")
        said = said.strip()
        if said:
            code.append((number, said))
        if sign:
            comments.append(comment.strip())
    return Lines(tuple(code), tuple(comments))


def read_numbers(lines: Lines) -> Numbers:
    """The numbers of all lines but option lines, read in bulk; a word that is no number is looked for only then.

    Raises
    ------
    Refusal
        A word is not a finite number.
    """
    data = [line for line in lines.code if line[1][0] != "#"]
    joined = " ".join(text for _, text in data).upper()
    if not _CLEAN.issuperset(joined):
        _refuse_word(data)
    try:
        values = np.array(joined.replace("D", "E").split(), dtype=float)
    except ValueError:
        _refuse_word(data)
    if not np.isfinite(values).all():
        _refuse_word(data)
    return Numbers(values, np.array([len(text.split()) for _, text in data], dtype=int),
                   np.array([number for number, _ in data], dtype=int))


def _refuse_word(data: list[tuple[int, str]]) -> None:
    """Name the first word that is no finite number, and what it probably is."""
    for number, text in data:
        place = f"line {number}"
        strange = next((letter for letter in text if not letter.isascii()), None)
        if strange:
            names = {"\u2212": " (a typographic minus)", "\u2013": " (a dash)", "\u00a0": " (a hard blank)"}
            raise Refusal(f"character U+{ord(strange):04X} in the data{names.get(strange, '')}; write plain signs and "
                          "blanks", place)
        for word in text.split():
            if not _NUMBER.fullmatch(word):
                raise Refusal(_why_not_a_number(word), place)
            if np.isinf(float(word.upper().replace("D", "E"))):
                raise Refusal(f"'{word}' is not a finite number; mend or remove the row", place)
    raise AssertionError("every word is a number, yet they could not be read together")


def _why_not_a_number(word: str) -> str:
    if word.lower().lstrip("+-") in ("nan", "inf", "infinity"):
        return f"'{word}' is not a finite number; mend or remove the row"
    if re.fullmatch(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?", word):
        return f"'{word}' is not a number (decimal comma); write a decimal point"
    if "," in word or ";" in word:
        return f"'{word}' is not a number; separate numbers by blanks, and write a decimal point"
    if re.fullmatch(rf"(?:{_NUMBER.pattern}){{2,}}", word):
        return f"'{word}' is not a number (two numbers run together?); put a blank between them"
    return f"'{word}' is not a number; a remark must begin with '!'"
