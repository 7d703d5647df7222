"""The option line of a Touchstone file.

Source of the rules: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 2024, Option Line.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from ...errors import Refusal
from ...quantities import show
from .text import Marked, Text, plain

UNITS = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
PARAMETERS = ("S", "Y", "Z", "H", "G")
FORMATS = ("DB", "MA", "RI")
_DEFAULT_REFERENCE = 50.0  # [ohm]
_LARGEST_REFERENCE = 1e150  # products of two of them must stay finite. [ohm]
_FIELDS = {"frequency unit": tuple(UNITS), "parameter": PARAMETERS, "format": FORMATS}
_KNOWN = "units are Hz, kHz, MHz, GHz; parameters S, Y, Z, H, G; formats DB, MA, RI; then R and the resistance"


@dataclass(frozen=True)
class Options:
    """What the option line says, defaults filled in.

    unit : of the frequencies. [Hz]
    parameter, format : one of PARAMETERS, one of FORMATS.
    resistances : one for all ports, or one a port (1.1). [ohm]
    line : its number.
    notes : sentences on what was assumed.
    """

    unit: float
    parameter: str
    format: str
    resistances: tuple[float, ...]
    line: int
    notes: tuple[str, ...] = ()

    def check(self, ports: int) -> None:
        """Refuse what does not go with the number of ports."""
        place = f"line {self.line}"
        if self.parameter in "HG" and ports != 2:
            raise Refusal("H and G parameters exist for 2 ports only; export S parameters", place)
        if len(self.resistances) == 1:
            return
        if len(self.resistances) != ports:
            raise Refusal(f"{len(self.resistances)} resistances, {ports} ports; give one for all or one for each",
                          place)
        if self.parameter in "HG" and len(set(self.resistances)) > 1:
            raise Refusal("the standard does not say how H and G are normalised to unequal resistances; export S "
                          "parameters", place)

    def references(self, ports: int) -> np.ndarray:
        """Reference resistance of each port, (ports,). [ohm]"""
        return np.array(self.resistances) if len(self.resistances) > 1 else np.full(ports, self.resistances[0])

    def show(self, frequency: float) -> str:
        """A frequency of the file (in its unit) with all its digits."""
        return show(float(frequency) * self.unit, "Hz", 12)


def options_above_data(text: Text) -> Options:
    """The option line of version 1: the first line that says something; later ones do not count.

    Raises
    ------
    Refusal
        There is none, something stands before it, or it holds a word that is unknown, doubled or not allowed.
    """
    first = text.first_words([(1, 0, len(text.code))])
    if first is None:
        raise Refusal("there is nothing but comments; an option line such as '# GHz S MA R 50' and data are needed")
    line, said = first
    place = f"line {line}"
    if said.startswith("#"):
        return read_options(text.marked[0])
    plain(said, place)
    if not re.match(r"[0-9.+-]", said):
        raise Refusal(f"'{said.split()[0][:60]}' stands before the option line; only comments, which begin with '!', "
                      "may", place)
    if any(mark.text.startswith("#") for mark in text.marked):
        raise Refusal("data before the option line; move the line with '#' above the data", place)
    raise Refusal("data but no option line (#) in the file; write one above the data, such as '# GHz S MA R 50'",
                  place)


def read_options(mark: Marked) -> Options:
    """What one option line says; a refusal names the line and the word."""
    said = plain(mark.text, mark.place)[1:]
    try:
        options = _options(said.split(), mark.line)
    except Refusal as refusal:
        raise refusal.located(mark.place) from None
    return options


def _options(words: list[str], line: int) -> Options:
    said: dict[str, str] = {}
    resistances: list[float] | None = None
    position = 0
    while position < len(words):
        word = words[position]
        position += 1
        if word.upper() == "R":
            if resistances is not None:
                raise Refusal("R is given twice; keep one")
            resistances = []
            while position < len(words) and not _is_word(words[position]):
                if not re.match(r"[(+\-.0-9]", words[position]):
                    raise Refusal(_unknown(words[position]))
                resistances.append(resistance(words[position]))
                position += 1
            if len(resistances) > 1 and position < len(words):
                raise Refusal(f"'{words[position]}' follows several resistances, which must close the line; move R and "
                              "its numbers to the end")
            continue
        name = next((name for name, known in _FIELDS.items() if word.upper() in known), None)
        if name is None:
            raise Refusal(_unknown(word))
        if name in said:
            raise Refusal(f"{said[name]} and {word} both given; keep one {name}")
        said[name] = word
    notes = () if resistances != [] else (f"line {line}: R without a number, read as 50 ohm",)
    return Options(UNITS[said.get("frequency unit", "GHz").upper()], said.get("parameter", "S").upper(),
                   said.get("format", "MA").upper(), tuple(resistances or (_DEFAULT_REFERENCE,)), line, notes)


def _is_word(text: str) -> bool:
    return text.upper() == "R" or any(text.upper() in known for known in _FIELDS.values())


def resistance(word: str) -> float:
    """A reference resistance [ohm]; refuses what is no number above zero, with the reason."""
    if re.fullmatch(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?", word):
        value = float(word)
        if not value < _LARGEST_REFERENCE:
            raise Refusal(f"'{word[:60]}' ohm is not finite, or too large; write for example R 50")
        if value < 1.0 / _LARGEST_REFERENCE:
            raise Refusal(f"the reference resistance must be above zero, not {word[:60]}; write for example R 50")
        return value
    if re.match(r"[(+\-.0-9].*[ij]\)?$", word, re.IGNORECASE):
        raise Refusal(f"'{word[:60]}': a complex reference impedance is not supported by the standard; renormalise to "
                      "a resistance")
    raise Refusal(f"'{word[:60]}' is no resistance; write a number above zero, in ohm")


def _unknown(word: str) -> str:
    glued = re.fullmatch(r"R([0-9]+\.?[0-9]*)", word, re.IGNORECASE)
    if glued:
        return f"'{word}' is unknown; write R {glued[1]}"
    if word.upper().endswith("HZ"):
        return f"'{word}' is unknown; units are Hz, kHz, MHz, GHz"
    if word[0].isdigit():
        return f"'{word[:60]}' without R before it is unknown here; write such as '# GHz S MA R 50'"
    return f"'{word[:60]}' is unknown; {_KNOWN}"
