"""Bytes of a data file -> lines of text: encodings, line ends, what does not belong there, files that are no text."""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from pathlib import Path

from ..errors import Refusal
from ..files import read_bytes

LARGEST = 400_000_000  # bytes; more is a recording, not a table, and would fill the memory
_MARKS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
_NO_TEXT = ((b"PK\x03\x04", "a spreadsheet (or other packed) file"), (b"\xd0\xcf\x11\xe0", "an old spreadsheet file"),
            (b"%PDF", "a PDF file"), (b"\x89PNG", "a picture"), (b"\xff\xd8\xff", "a picture"),
            (b"\x1f\x8b", "a packed file"), (b"{\\rtf", "a word-processor file"))


@dataclass(frozen=True)
class Text:
    """A file as lines.

    Attributes
    ----------
    file : str
    lines : list of str
        Without their ends; line n of the file is `lines[n - 1]`.
    encoding : str
        "utf-8", "utf-16-le", "utf-16-be" or "cp1252".
    notes : tuple of str
        What was taken out or assumed.
    """

    file: str
    lines: list[str]
    encoding: str
    notes: tuple[str, ...] = ()


def read_text(path: str | Path) -> Text:
    """The lines of a file.

    Raises
    ------
    Refusal
        It is missing, cannot be read, is no text, or is too large.
    """
    file = str(path)
    raw = read_bytes(path, LARGEST)
    if len(raw) > LARGEST:
        raise Refusal(f"more than {LARGEST // 1_000_000} MB; cut it to what is needed", file=file)
    return decode(raw, file)


def decode(raw: bytes, file: str = "") -> Text:
    """Bytes -> lines.

    A byte-order mark decides, else UTF-8, else cp1252 (in which every byte that an instrument writes for a micro or
    degree sign has its place). Line ends are LF, CR LF, CR, and CR CR LF, which is one line end written in text mode
    twice.

    Raises
    ------
    Refusal
        The file is empty, or is no text (a spreadsheet under the name of a table).
    """
    for start, kind in _NO_TEXT:
        if raw.startswith(start):
            mend = "export the table as CSV" if "spreadsheet" in kind else "give the table as text (CSV)"
            raise Refusal(f"this is {kind}, no text; {mend}", file=file)
    notes: list[str] = []
    text, encoding = _decoded(raw, file, notes)
    text = _cleaned(text, notes)
    if not text.strip():
        raise Refusal("no data rows: the file is empty", file=file)
    if "\r" in text:
        text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    if not lines[-1]:
        lines.pop()
    return Text(file, lines, encoding, tuple(notes))


def _decoded(raw: bytes, file: str, notes: list[str]) -> tuple[str, str]:
    for mark, encoding in _MARKS:
        if raw.startswith(mark):
            try:
                return raw[len(mark):].decode(encoding), encoding
            except UnicodeDecodeError as error:
                raise Refusal(f"starts with the mark of {encoding.upper()} but byte {error.start + len(mark) + 1} is "
                              "none; save the file as UTF-8", file=file) from None
    sides = raw[0:4096:2].count(0), raw[1:4096:2].count(0)
    half = min(len(raw), 4096) // 2
    if half >= 4 and max(sides) > 0.8 * half and min(sides) < 0.05 * half and len(raw) % 2 == 0:
        encoding = "utf-16-le" if sides[1] > sides[0] else "utf-16-be"
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            pass
        else:
            notes.append(f"read as {encoding.upper()}: no byte-order mark, but every second byte is zero")
            return text, encoding
    try:
        return raw.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as error:
        notes.append(f"byte {error.start + 1} is not UTF-8; read as Windows text (cp1252)")
        return raw.decode("cp1252", errors="replace"), "cp1252"


def _cleaned(text: str, notes: list[str]) -> str:
    if "\x1a" in text:
        head, _, tail = text.partition("\x1a")
        # Ctrl-Z ends a text of old systems; anything but filling after it is text that has to stay.
        text = head if not tail.strip("\x1a\x00\r\n\t ") else text.replace("\x1a", "")
    if "\x00" in text:
        notes.append(f"{text.count(chr(0))} NUL bytes inside the text left out")
        text = text.replace("\x00", "")
    return text.removeprefix("\ufeff")
