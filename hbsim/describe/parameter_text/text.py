"""From the bytes of a text file to lines without hidden characters and whole-line comments."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from ...errors import Refusal
from ...files import read_bytes

MOST_BYTES = 200_000
LONGEST_LINE = 4000
_HIDDEN = re.compile("[\u00ad\u200b-\u200f\u2028-\u202e\u2060\ufeff]")  # soft hyphen, blanks of no width, marks
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")
_DIGITS = "⁰¹²³⁴⁵⁶⁷⁸⁹"
_RAISED = str.maketrans(_DIGITS + "⁺⁻", "0123456789+-")
_POWER = re.compile(rf"([xX×·⋅*]\s*10)\s*([⁺⁻]?[{_DIGITS}]+)")
_MARK = re.compile(rf"([{_DIGITS}]+)")
_PLAIN = str.maketrans({"−": "-", "–": "-", "—": "-", "‐": "-", "‑": "-", "⋅": "·", "“": '"', "”": '"', "„": '"',
                        "″": '"', "〃": '"', "‘": "'", "’": "'", "′": "'"})
_WHOLE = re.compile(r"\s*(?:[*#!%]|//)")
_REST = re.compile(r"[$!]|//")


@dataclass(frozen=True)
class Line:
    """A line that says something: its number in the file, its text, whether it goes on from the line before."""

    number: int
    text: str
    goes_on: bool = False

    @property
    def place(self) -> str:
        """For refusals."""
        return f"line {self.number}"


def read_file(path: Path) -> tuple[str, tuple[str, ...]]:
    """The text of a file, and a note if it is not UTF-8.

    Raises
    ------
    Refusal
        It is missing, is a folder, cannot be read, is no text, or is far too long.
    """
    content = read_bytes(path, MOST_BYTES)
    if len(content) > MOST_BYTES:
        raise Refusal("more than 200 kB; parameters of a transistor fill a page: cut out the table")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings, note = ("utf-16",), ()
    else:
        encodings, note = ("utf-8-sig", "cp1252", "latin-1"), ("not UTF-8; read as Windows Latin text",)
    for tried, encoding in enumerate(encodings):
        try:
            return content.decode(encoding), note if tried else ()
        except UnicodeDecodeError:
            continue
    raise Refusal("not a text that can be decoded; save it as UTF-8")


def lines_of(text: str) -> list[Line]:
    """Lines that say something, without hidden characters and comments ('; ...' is left to the layout).

    Raises
    ------
    Refusal
        A NUL byte, a line that goes on from none, or one that is far too long.
    """
    if "\0" in text:
        raise Refusal("holds NUL bytes, so it is no text; copy the table out as text")
    found: list[Line] = []
    carried = False
    for number, raw in enumerate(re.split(r"\r\n|\r|\n", text), 1):
        if len(raw) > LONGEST_LINE:
            raise Refusal(f"a line of more than {LONGEST_LINE} characters; cut out the table of the parameters",
                          f"line {number}")
        if _WHOLE.match(_HIDDEN.sub("", raw)):
            continue
        line = _REST.split(plain(raw))[0].strip()
        goes_on = carried
        if line.startswith("+") and not re.match(r"\+\s*[.\d]", line):
            if not found:
                raise Refusal("'+' goes on from the line before, and there is none; put the first line of the list "
                              "above it", f"line {number}")
            line, goes_on = line[1:].strip(), True
        elif line.startswith("+") and found and found[-1].text.endswith(("-", "+", "=")):
            line, goes_on = line[1:].strip(), True
        carried = line.endswith(("\\", "&"))
        line = line.rstrip("\\& \t")
        if line:
            found.append(Line(number, line, goes_on))
    return found


def plain(raw: str) -> str:
    """A line in plain characters: raised digits as ^n or footnotes, full-width letters and ligatures mapped."""
    raw = _HIDDEN.sub("", raw)
    raw = _POWER.sub(lambda found: f"{found[1]}^{found[2].translate(_RAISED)}", raw)
    raw = _MARK.sub(lambda found: f"({found[1].translate(_RAISED)})", raw)
    raw = unicodedata.normalize("NFKC", raw.translate(_PLAIN))
    return _CONTROL.sub(" ", raw.translate(_PLAIN)).replace("\t", " ")
