"""A line cut into names, numbers, signs and words."""

from __future__ import annotations

import re
from dataclasses import dataclass

from .names import is_known

_NUMBER = r"[+-]?(?:[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]+|[0-9]+[.,][0-9]+|[0-9]+\.?|\.[0-9]+)"
_POWER = r"(?:[eEdD][+-]?[0-9]+|\s[eEdD][+-][0-9]+|\s*[xX×·]\s*10\s*(?:\^\s*[+-]?|[+-])\s*[0-9]+)?"
_TAIL = r"(?:[^\s=:,;|()\[\]{}\"'*†‡±]|\*(?=\w))*"
_WORD = r"[^\W\d_][\w./°%]*(?:-(?=[^\W\d_])[\w./°%]+)*|[°%∞Ω]\w*"
_TOKEN = re.compile("|".join((
    r"(?P<expression>\{[^}]*\}?|'[^']*[*/+^][^']*'|=\s*\d+[.\d]*\s*\*\s*[A-Za-z]\w*)",
    r"(?P<equals>[=:])",
    r"(?P<bracketed>\(\s*[^()\[\]=\s]+\s*\)|\[\s*[^()\[\]=\s]+\s*\])",
    r"(?P<tolerance>(?:±|\+/-|\+-)\s*[\d.,]+\S*)",
    rf"(?P<number>{_NUMBER}{_POWER}{_TAIL})",
    r"(?P<ditto>''|\")",
    rf"(?P<word>{_WORD})",
    r"(?P<dash>-+)",
    r"(?P<mark>[*†‡]+)",
    r"(?P<separator>[,;|()\[\]'])",
    r"(?P<other>\S)",
)))
_SPLIT = re.compile(rf"({_NUMBER})({_POWER})(.*)", re.DOTALL)
# In names that are glued to a unit by a stroke, as in CJE/pF; pF/mm2 is a unit by itself, and stays whole.
_WITH_UNIT = re.compile(r"([A-Za-z]\w*)/(\w+)")
_ALSO_A_UNIT = "ps"  # PS is another spelling of VJS
LEGEND = re.compile(r"\b(capacitance|resistance|voltage|current|time|inductance)s?\s+(in\s+|\[|\()?([^\s\])]+)",
                    re.IGNORECASE)
FIRST_COLUMN = re.compile(r"parameters?|symbols?|names?|quantity", re.IGNORECASE)
INFINITE = frozenset(("INF", "∞", "INFINITE", "INFINITY"))
NOT_GIVEN = frozenset(("N/A", "NA", "N.A.", "NONE"))


@dataclass(frozen=True)
class Token:
    """kind : a group name of the pattern. text : as it stands. start, end : in the line. line : its number."""

    kind: str
    text: str
    start: int
    end: int
    line: int

    @property
    def inner(self) -> str:
        """Text in brackets without them."""
        return self.text.strip("()[] ")

    @property
    def holds_digits(self) -> bool:
        """Whether brackets hold a whole number: a footnote, or a value."""
        return self.inner.isascii() and self.inner.isdigit()

    @property
    def upper(self) -> str:
        """In capitals."""
        return self.text.upper()

    @property
    def place(self) -> str:
        """For refusals."""
        return f"line {self.line}"

    @property
    def is_count(self) -> bool:
        """Whether it can number a row or a footnote: a whole number of at most three digits."""
        return self.kind == "number" and bool(re.fullmatch(r"\d{1,3}\.?", self.text))


def tokens_of(text: str, line: int) -> list[Token]:
    """The tokens of a line; raises nothing."""
    found = []
    for match in _TOKEN.finditer(text):
        kind, piece, start = match.lastgroup, match[0], match.start()
        with_unit = _WITH_UNIT.fullmatch(piece) if kind == "word" and piece.upper() not in NOT_GIVEN else None
        with_unit = with_unit if with_unit and is_known(with_unit[1]) and with_unit[1] != _ALSO_A_UNIT else None
        if kind == "expression" and piece.startswith("="):
            found.append(Token("equals", "=", start, start + 1, line))
            found.append(Token(kind, piece[1:].strip(), start + 1, match.end(), line))
        elif with_unit:
            found.append(Token("word", with_unit[1], start, start + with_unit.end(1), line))
            found.append(Token("bracketed", f"({with_unit[2]})", start + with_unit.end(1), match.end(), line))
        else:
            found.append(Token(kind, piece, start, match.end(), line))
    return found


def split_number(text: str) -> tuple[str, str, str]:
    """Digits, power of ten and what is glued to them: "7.4E-12s" -> ("7.4", "E-12", "s")."""
    match = _SPLIT.fullmatch(text)
    return match[1], match[2], match[3]
