"""The name of a column -> its unit, in every way people write one: "Freq (MHz)", "f / MHz", "freq_mhz", "f in MHz"."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

from .cells import LONGEST
from .units import Unit, unit_of

_BRACKET = re.compile(r"(.*?)\s*[\[({<]([^\[\](){}<>]*)[\])}>]\s*(.*)")
_FACTOR = re.compile(r"(?:x|×|\*|/)\s*\d+(?:\.\d+)?(?:\s*\S+)?|dB/\d+", re.IGNORECASE)
_TAILS = (re.compile(r"(.*\S)\s*/\s*([^\s/]+)"), re.compile(r"(.*\S)\s+in\s+(\S+)"),
          re.compile(r"(.*\S)\s*[,;:]\s*(\S+)"), re.compile(r"(.+)[_.]([^\W\d_]+%?|%)"), re.compile(r"(.*\S)\s+(\S+)"))
_FORMATS = {"mag": Unit("1"), "lin": Unit("1"), "re": Unit("1"), "im": Unit("1"), "real": Unit("1"), "imag": Unit("1"),
            "deg": Unit("deg"), "ang": None, "log": Unit("dB"), "logmag": Unit("dB"), "": Unit("1")}
FREQUENCY = re.compile(r"\b(?:f|f_?0|freq|fre[qck]uen[a-zé]*|frequenz|fréquence|frekvens|frequenza|частота)(?:\b|_)|"
                       r"freq", re.IGNORECASE)
_HARMONIC = re.compile(r"\bf_?0\b", re.IGNORECASE)  # "f0 (dBm)", "2 f0 (dBm)": the level of a line, no frequency
INDEX = re.compile(r"(?:no|nr|num|#|index|idx|point|n|step|sweep|punkt|row|sample|order|harmonic)\.?(?:\s*no\.?)?",
                   re.IGNORECASE)
# A column of the orders of harmonics; by a letter alone only where all else fits.
ORDER = re.compile(r"(?:harmonic|harm\.?)s?(?:[ _]?(?:order|no|nr|number|index))?\.?|n_?harm|"
                   r"order(?:[ _]of[ _](?:the[ _])?harmonic)?|harmonische|ordnung", re.IGNORECASE)
ORDER_LETTER = re.compile(r"[nk]", re.IGNORECASE)
_LEVELS = frozenset(("dBm", "W", "dB", "dBuV", "dBmV", "dBV", "dBuV/m", "dBc", "dBFS", "dBm/Hz", "dBuA", "V", "Vrms",
                     "Vpp", "Vpeak", "1", "dBc/Hz"))
# What a name says a quantity is, and the units that it can have; the unit is not believed where they do not agree.
_QUANTITIES = ((re.compile(r"temp", re.IGNORECASE), frozenset(("K",))),
               (re.compile(r"phase|\bang", re.IGNORECASE), frozenset(("deg", "s"))),
               (re.compile(r"power|leistung|potencia|puissance|level|pegel|^p\b|p_?(?:in|out|ein|aus)\b",
                           re.IGNORECASE), _LEVELS),
               (FREQUENCY, frozenset(("Hz", "1"))),
               (re.compile(r"current|strom|corriente|courant", re.IGNORECASE), frozenset(("A",))),
               (re.compile(r"voltage|spannung|tensi[oó]n", re.IGNORECASE),
                frozenset(("V", "Vrms", "Vpp", "Vpeak", "dBV", "dBuV", "dBmV"))))
_SINGLE = {"V": re.compile(r"v|u", re.IGNORECASE), "A": re.compile(r"i", re.IGNORECASE),
           "W": re.compile(r"p", re.IGNORECASE), "s": re.compile(r"t(?:ime)?$", re.IGNORECASE)}


@dataclass(frozen=True)
class Name:
    """A name with what it says: `text` as in the header, `bare` without the unit, the unit, what is wrong with it."""

    text: str
    bare: str
    unit: Unit | None = None
    said: str = ""
    trouble: str = ""


def read_name(text: str) -> Name:
    """What the name of a column says.

    Parameters
    ----------
    text : str
        A cell of the header.

    Returns
    -------
    Name
        `trouble` says why a unit is not believed: a factor in it ("x20 A"), or a quantity that cannot have it.
    """
    text = " ".join(text.strip().strip("\"'").split())
    if len(text) > LONGEST:
        return Name(text, text)
    bracket = _BRACKET.fullmatch(text)
    if bracket:
        return _bracketed(text, bracket)
    if _FACTOR.fullmatch(text) or re.search(r"\bdB\s?/\s?\d", text) or re.search(r"\s(?:x|×)\s?\d+(?:\.\d+)?$", text):
        return Name(text, text, None, "", "has a factor in it")
    for pattern in _TAILS:
        found = pattern.fullmatch(text)
        unit = unit_of(found[2]) if found else None
        if unit is not None and _believed(found[1], found[2], pattern is _TAILS[0] or pattern is _TAILS[1]):
            return _agreed(text, found[1].rstrip(" ,:;"), unit, found[2])
    if len(text) > 1 and text.lower() not in ("min", "deg", "sec") and unit_of(text) is not None:
        return Name(text, text, unit_of(text), text)
    return Name(text, text)


def _other_brackets(text: str) -> list[str]:
    return [piece.strip() for piece in re.findall(r"[(\[]([^)\]]*)[)\]]", text)]


def _bracketed(text: str, found: re.Match) -> Name:
    bare = (found[1] + (" " + found[3] if found[3] else "")).strip() or found[2]
    inner = found[2].strip()
    if any(_FACTOR.match(piece) or re.match(r"[x×]\s*(?:10\^?|\d)", piece)
           for piece in (inner, *_other_brackets(text))):
        return Name(text, bare, None, inner, f"has a factor in it ('{inner}')")
    unit = unit_of(inner)
    if unit is None and inner.lower() in _FORMATS:
        unit = _FORMATS[inner.lower()]
    if unit is None:
        return Name(text, bare, None, inner)
    return _agreed(text, bare, unit, inner)


def _believed(bare: str, said: str, apart: bool) -> bool:
    """A single letter is a unit only where the name is that of such a quantity: "Trace A" is in no amperes."""
    if said in ("min", "h", "Min", "1", "K", "H", "F", "S") or said.isdigit():
        return apart and said != "1"
    if len(said) > 1 or said in "°%Ω":
        return True
    wanted = _SINGLE.get(said)
    return wanted is not None and (apart or wanted.match(bare) is not None)


def _agreed(text: str, bare: str, unit: Unit, said: str) -> Name:
    if _HARMONIC.search(bare) and unit.name in _LEVELS and unit.name != "1":
        return Name(text, bare, unit, said)
    for word, units in _QUANTITIES:
        if word.search(bare):
            if unit.name not in units and not (unit.name == "1" and said in ("", "%")):
                return Name(text, bare, None, said, f"is called '{bare}' but its unit is written as '{said}'")
            break
    return Name(text, bare, unit, said)


def unique(names: list[str]) -> tuple[list[str], list[str]]:
    """Names made unique by position ("Det. (VDC) [column 2]"), and those that were not."""
    repeated = [name for name, count in Counter(filter(None, names)).items() if count > 1]
    result: list[str] = []
    for number, name in enumerate(names, 1):
        name = name or f"column {number}"
        while name in repeated or name in result:
            name += f" [column {number}]"
        result.append(name)
    return result, repeated
