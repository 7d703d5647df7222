"""From the bytes of a Touchstone file to lines that say something, and comments.

Source of the rules: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 2024, General Syntax.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from ...errors import Refusal

Range = tuple[int, int, int]  # line number at the start, start and end in `Text.code`
_NOT_TEXT = bytes(set(range(32)) - set(b"\t\n\r"))


@dataclass(frozen=True)
class Marked:
    """An option line ("#") or a keyword line ("["): its number, where it stands in `Text.code`, what it says."""

    line: int
    start: int
    end: int
    text: str

    @property
    def place(self) -> str:
        """For refusals."""
        return f"line {self.line}"


@dataclass(frozen=True)
class Text:
    """A file without its comments.

    code : the lines, comments cut off, each ended by LF: line numbers are those of the file.
    marked : option and keyword lines in their order.
    comments : without their "!" and outer blanks.
    encoding : of whatever is not ASCII.
    oddities : what was accepted though the standard does not have it, and changes no number.
    """

    code: bytes
    marked: tuple[Marked, ...]
    comments: tuple[str, ...]
    encoding: str
    oddities: tuple[str, ...]

    def first_words(self, ranges: list[Range]) -> tuple[int, str] | None:
        """Number and text of the first line in some ranges that is not blank."""
        for line, start, end in ranges:
            found = re.compile(rb"\S[^\n]*").search(self.code, start, end)
            if found:
                return line + self.code.count(b"\n", start, found.start()), found[0].decode(self.encoding).rstrip(" \t")
        return None

    def words(self, ranges: list[Range]) -> list[str]:
        """All words in some ranges, which are short."""
        return [word.decode(self.encoding) for _, start, end in ranges for word in self.code[start:end].split()]


def read_text(raw: bytes) -> Text:
    """Take off comments and find the marked lines.

    UTF-8 with or without a byte-order mark, else Latin-1; line ends LF, CR LF or CR; a final Ctrl-Z is dropped.

    Raises
    ------
    Refusal
        There is nothing, or it is no text.
    """
    oddities = []
    raw = raw.rstrip(b" \t\r\n")
    if raw.endswith(b"\x1a"):
        raw = raw.rstrip(b" \t\r\n\x1a")
        oddities.append("Ctrl-Z at the end")
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Refusal("the text is in UTF-16; save it as plain text or UTF-8")
    if raw.startswith(b"\xef\xbb\xbf"):
        raw = raw[3:]
        oddities.append("a byte-order mark before the text")
    if not raw.strip():
        raise Refusal("the file is empty; export it again")
    if len(raw.translate(None, _NOT_TEXT)) != len(raw):
        raise Refusal("this is no text file (it holds control bytes); export it as a Touchstone file")
    encoding = _encoding(raw, oddities)
    code = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in raw else raw
    del raw
    comments = ()
    if b"!" in code:
        comments = tuple(found.decode(encoding).strip() for found in re.findall(rb"!([^\n]*)", code))
        code = re.sub(rb"![^\n]*", b"", code)
    return Text(code, tuple(_marked(code, encoding)), comments, encoding, tuple(oddities))


def plain(text: str, place: str) -> str:
    """The same text, if it is in ASCII; else a refusal that names the letter."""
    if text.isascii():
        return text
    strange = next(letter for letter in text if not letter.isascii())
    names = {"\u2212": " (a typographic minus)", "\u2013": " (a dash)", "\u00a0": " (a hard blank)"}
    raise Refusal(f"character U+{ord(strange):04X} in the data{names.get(strange, '')}; write plain signs and blanks, "
                  "and begin remarks with '!'", place)


def _encoding(raw: bytes, oddities: list[str]) -> str:
    if raw.isascii():
        return "ascii"
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        oddities.append("letters outside ASCII, read as Latin-1")
        return "latin-1"
    oddities.append("letters outside ASCII, read as UTF-8")
    return "utf-8"


def _marked(code: bytes, encoding: str) -> list[Marked]:
    """Lines that begin with "#" or "[", blanks before it allowed."""
    found, position, line, counted = [], 0, 1, 0
    following = {sign: code.find(sign) for sign in (b"#", b"[")}
    while True:
        following = {sign: code.find(sign, position) if 0 <= at < position else at for sign, at in following.items()}
        signs = [at for at in following.values() if at >= 0]
        if not signs:
            return found
        at = min(signs)
        start = code.rfind(b"\n", 0, at) + 1
        end = code.find(b"\n", at)
        position = end if end >= 0 else len(code)
        if not code[start:at].strip():
            line += code.count(b"\n", counted, start)
            counted = start
            found.append(Marked(line, start, position, code[at:position].decode(encoding).rstrip(" \t")))
