"""The option line of a Touchstone file, and what its numbers mean as S-parameters.

Source of the rules: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 2024, Option Line.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from ...errors import Refusal
from ...quantities import show
from .text import Lines

UNITS = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
PARAMETERS = ("S", "Y", "Z", "H", "G")
NORMALISED = ("Y", "Z", "H", "G")  # version 1 divides these by the reference
FORMATS = ("DB", "MA", "RI")
_DEFAULT_REFERENCE = 50.0  # [ohm]
_FIELDS = {"frequency unit": tuple(UNITS), "parameter": PARAMETERS, "format": FORMATS}
_KNOWN = "units are Hz, kHz, MHz, GHz; parameters S, Y, Z, H, G; formats DB, MA, RI; then R and the resistance"


@dataclass(frozen=True)
class Options:
    """What the option line says, defaults filled in.

    unit : of the frequencies. [Hz]
    parameter, format : one of PARAMETERS, one of FORMATS.
    resistances : one for all ports (1.0) or one a port (1.1). [ohm]
    line : its number.
    notes : sentences on what was assumed.
    """

    unit: float
    parameter: str
    format: str
    resistances: tuple[float, ...]
    line: int
    notes: tuple[str, ...] = ()

    def references(self, ports: int) -> np.ndarray:
        """Reference resistance of each port, (ports,). [ohm] Refuses what does not go with the number of ports."""
        place = f"line {self.line}"
        if self.parameter in "HG" and ports != 2:
            raise Refusal("H and G parameters exist for 2 ports only; export S parameters", place)
        if len(self.resistances) == 1:
            return np.full(ports, self.resistances[0])
        if len(self.resistances) != ports:
            raise Refusal(f"{len(self.resistances)} resistances, {ports} ports; give one for all or one for each",
                          place)
        if self.parameter in "HG" and len(set(self.resistances)) > 1:
            raise Refusal("the standard does not say how H and G are normalised to unequal resistances; export S "
                          "parameters", place)
        return np.array(self.resistances)

    def show(self, frequency: float) -> str:
        """A frequency of the file (in its unit) with all its digits."""
        return show(frequency * self.unit, "Hz", 12)


def read_options(lines: Lines) -> Options:
    """Read the first option line; later ones do not count.

    Raises
    ------
    Refusal
        There is none, something stands before it, or it holds a word that is unknown, doubled or not allowed.
    """
    if not lines.code:
        raise Refusal("there is nothing but comments; an option line such as '# GHz S MA R 50' and data are needed")
    number, text = lines.code[0]
    place = f"line {number}"
    if not text.startswith("#"):
        if not re.match(r"[\d.+-]", text):
            raise Refusal(f"'{text.split()[0]}' stands before the option line; only comments, which begin with '!', "
                          "may", place)
        if lines.marked("#"):
            raise Refusal("data before the option line; move the line with '#' above the data", place)
        raise Refusal("data but no option line (#) in the file; write one above the data, such as '# GHz S MA R 50'",
                      place)
    try:
        return _options(text[1:].split(), number)
    except Refusal as refusal:
        raise refusal.located(place) from None


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
                resistances.append(_resistance(words[position]))
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


def _resistance(word: str) -> float:
    if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", word):
        value = float(word)
        if math.isinf(value):
            raise Refusal(f"'{word}' is not a finite number; write for example R 50")
        if value <= 0:
            raise Refusal(f"the reference resistance must be above zero, not {word}; write for example R 50")
        return value
    if re.match(r"[(+\-.\d].*[ij]\)?$", word, re.IGNORECASE):
        raise Refusal(f"'{word}': a complex reference impedance is not supported by the standard; renormalise to a "
                      "resistance")
    raise Refusal(_unknown(word))


def _unknown(word: str) -> str:
    glued = re.fullmatch(r"R(\d+\.?\d*)", word, re.IGNORECASE)
    if glued:
        return f"'{word}' is unknown; write R {glued[1]}"
    if word.upper().endswith("HZ"):
        return f"'{word}' is unknown; units are Hz, kHz, MHz, GHz"
    if word[0].isdigit():
        return f"'{word}' without R before it is unknown on an option line; write such as '# GHz S MA R 50'"
    return f"'{word}' is unknown; {_KNOWN}"


def as_complex(pairs: np.ndarray, written: str) -> np.ndarray:
    """Pairs (..., 2) in the format DB (dB, deg), MA (magnitude, deg) or RI as complex numbers (...)."""
    first, second = pairs[..., 0], pairs[..., 1]
    if written == "RI":
        return first + 1j * second
    with np.errstate(over="ignore", invalid="ignore"):  # the caller looks for what is not finite, and names the line
        return (10.0 ** (first / 20.0) if written == "DB" else first) * np.exp(1j * np.deg2rad(second))


def scattering(parameter: str, matrix: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """S-parameters from normalised S, Z, Y, H or G parameters.

    Each of them is a law A v + B i = 0 between normalised voltages v = a + b and currents i = a - b
    (a, b: waves in and out), hence S = -(A - B)^-1 (A + B). For Z this is (z - 1)(z + 1)^-1.

    Parameters
    ----------
    parameter : str
        One of PARAMETERS.
    matrix : ndarray, complex, (n, p, p)
        Normalised to the references. [1]
    frequency : ndarray, (n,)
        For the refusal. [Hz]

    Returns
    -------
    ndarray, complex, (n, p, p)

    Raises
    ------
    Refusal
        No S-parameters exist at some frequency: an active network that just balances its terminations.
    """
    if parameter == "S":
        return matrix
    n, p, _ = matrix.shape
    one = np.broadcast_to(np.eye(p), (n, p, p))
    if parameter == "Z":
        a, b = one, -matrix
    elif parameter == "Y":
        a, b = matrix, -one
    else:
        # H: v1 = h11 i1 + h12 v2, i2 = h21 i1 + h22 v2; G is the same with v and i exchanged.
        known, asked = np.zeros((n, 2, 2), complex), np.zeros((n, 2, 2), complex)
        asked[:, :, 1] = -matrix[:, :, 1]
        asked[:, 0, 0] = 1.0
        known[:, :, 0] = -matrix[:, :, 0]
        known[:, 1, 1] = 1.0
        a, b = (asked, known) if parameter == "H" else (known, asked)
    outgoing = a - b
    singular = np.linalg.cond(outgoing) > 1e14
    if singular.any():
        raise Refusal(f"the {parameter} data have no S-parameters at {show(frequency[np.argmax(singular)], 'Hz', 12)}; "
                      "remove this frequency or export S parameters")
    return -np.linalg.solve(outgoing, a + b)
