"""Quantities with units, as people write them: "2.304 GHz" <-> 2.304e9.

The only place that reads or prints a unit. Inside hbsim every number is SI; a power given in dBm is kept in dBm
under a name that says so (`power_dbm`).
"""

from __future__ import annotations

import math
import re
from dataclasses import MISSING, dataclass, field, fields
from decimal import Decimal
from numbers import Real
from typing import Any

from .errors import Refusal

PREFIXES = {"f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "": 1.0,
            "k": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}

# unit -> (spellings that take a prefix, {whole spelling: (factor, offset)}, a sample for the mend)
_UNITS: dict[str, tuple[tuple[str, ...], dict[str, tuple[float, float]], str]] = {
    "Hz": (("Hz",), {}, "1.152 GHz"),
    "ohm": (("ohm", "Ohm", "ohms", "Ω", "Ω"), {}, "4.7 kohm"),
    "S": (("S",), {}, "20 mS"),
    "H": (("H",), {}, "0.6 nH"),
    "F": (("F",), {}, "10 pF"),
    "V": (("V",), {}, "5 V"),
    "A": (("A",), {}, "20 mA"),
    "W": (("W",), {}, "100 mW"),
    "s": (("s",), {}, "10 ps"),
    "m": (("m",), {"cm": (1e-2, 0.0), "mil": (2.54e-5, 0.0), "in": (2.54e-2, 0.0), "inch": (2.54e-2, 0.0)}, "1.5 mm"),
    "dBm": ((), {"dBm": (1.0, 0.0)}, "0 dBm"),
    "dB": ((), {"dB": (1.0, 0.0)}, "0.3 dB"),
    "deg": ((), {"deg": (1.0, 0.0), "degree": (1.0, 0.0), "degrees": (1.0, 0.0), "°": (1.0, 0.0),
                 "rad": (180.0 / math.pi, 0.0)}, "90 deg"),
    "K": ((), {"K": (1.0, 0.0), "degC": (1.0, 273.15), "°C": (1.0, 273.15), "C": (1.0, 273.15)}, "27 degC"),
    "K/W": ((), {"K/W": (1.0, 0.0), "degC/W": (1.0, 0.0)}, "200 K/W"),
    "S/m": ((), {"S/m": (1.0, 0.0), "MS/m": (1e6, 0.0)}, "58 MS/m"),
    "eV": ((), {"eV": (1.0, 0.0)}, "1.11 eV"),
    "1": ((), {"": (1.0, 0.0), "%": (1e-2, 0.0)}, "4.4"),
}

_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
_COMMA = re.compile(r"\s*[+-]?\d+,\d")
_FACTORS = {unit: {prefix + spelling: (factor, 0.0) for spelling in bare for prefix, factor in PREFIXES.items()} | whole
            for unit, (bare, whole, _) in _UNITS.items()}


def parse(text: Any, unit: str, place: str = "") -> float:
    """Read one quantity.

    Parameters
    ----------
    text : str or number
        "4.7 kohm". A bare number is taken only where the unit is "1" (a pure number).
    unit : str
        The unit wanted, one of `units()`; the result is in it. Prefixes count: "3 mm" is 3e-3 m, "2 MHz" 2e6 Hz.
    place : str
        Where the text stands, for the refusal.

    Returns
    -------
    float
        The value in `unit`.

    Raises
    ------
    Refusal
        No unit, a unit of another kind, not a number, or not finite.
    """
    example = sample(unit)
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise Refusal(f"{text!r} is not a quantity; write for example '{example}'", place)
    if isinstance(text, str):
        value = _parse_text(text, unit, place)
    else:
        try:
            value = float(text)
        except OverflowError:  # a whole number of more than 308 digits
            value = math.inf
        if unit != "1" and math.isfinite(value):
            raise Refusal(f"'{text}' has no unit; write it like '{example}'", place)
    if not math.isfinite(value):
        raise Refusal(f"'{text}' is not a finite number; write for example '{example}'", place)
    return value


def _parse_text(text: str, unit: str, place: str) -> float:
    example = sample(unit)
    match = _NUMBER.match(text)
    if match is None:
        if text.strip().lower().lstrip("+-") in ("nan", "inf", "infinite", "infinity"):
            raise Refusal(f"'{text}' is not a finite number; write for example '{example}'", place)
        expected = "a number" if unit == "1" else "a number with a unit"
        raise Refusal(f"'{text}' is not {expected}; write for example '{example}'", place)
    number, written = match.groups()
    if written in _FACTORS[unit]:
        if not math.isfinite(float(number)):
            return math.inf  # the caller refuses it
        factor, offset = _FACTORS[unit][written]
        # In decimal, so that "14.2 mm" is the same number as 14.2e-3.
        return float(Decimal(number) * Decimal(repr(factor)) + Decimal(repr(offset)))
    if not written:
        # With a prefix put to it, a number from the file could turn out a thousand times too large.
        usual = example.partition(" ")[2]
        plain = not _UNITS[unit][0] and _FACTORS[unit][usual] == (1.0, 0.0)
        mend = f"write '{number} {usual}'" if plain else f"write it like '{example}'"
        raise Refusal(f"'{text}' has no unit; {mend}", place)
    if _COMMA.match(text):
        raise Refusal(f"'{text}' has a comma; {_without_comma(text.strip(), unit)}", place)
    expected = f"a plain number such as {example}" if unit == "1" else f"a unit like that of '{example}'"
    raise Refusal(f"'{written}' in '{text}' does not fit here; expected {expected}", place)


def _without_comma(text: str, unit: str) -> str:
    """The mend of a decimal comma; three digits after it may also be meant as thousands."""
    whole, rest = text.split(",", 1)
    match = _NUMBER.match(f"{whole}.{rest}")
    if match is None or match[2] not in _FACTORS[unit]:
        return f"write a point, like '{sample(unit)}'"
    thousands = f" or '{whole}{rest}'" if re.match(r"\d{3}(?!\d)", rest) else ""
    return f"write a point: '{whole}.{rest}'{thousands}"


def units() -> list[str]:
    """The units that `parse` knows."""
    return list(_UNITS)


def sample(unit: str) -> str:
    """A quantity in that unit as people write it, for the mend of a refusal: "1.5 mm"."""
    return _UNITS[unit][2]


def show(value: float, unit: str, digits: int = 4) -> str:
    """Print a quantity as people write it: show(2.304e9, "Hz") is "2.304 GHz".

    Units with prefixes get one that leaves 1 to 999 before the point; others are printed plain. `digits` counts
    significant digits.
    """
    if not math.isfinite(value):
        return "infinite" if value > 0 else ("-infinite" if value < 0 else "none")
    if unit == "1":
        return _rounded(value, digits)
    if unit == "K":
        return f"{_rounded(value - 273.15, digits)} degC"
    if not _UNITS[unit][0]:
        return f"{_rounded(value, digits)} {unit}"
    if value == 0:
        return f"0 {unit}"
    steps = {-15: "f", -12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
    if unit == "m":
        steps = {-6: "u", -3: "m", 0: ""}
    exponent = int(f"{value:.{digits - 1}e}".partition("e")[2])  # after rounding: 999.96 is printed as 1 k
    power = max(min(3 * (exponent // 3), max(steps)), min(steps))
    return f"{_rounded(value / 10.0**power, digits)} {steps[power]}{unit}"


def _rounded(value: float, digits: int) -> str:
    """Rounded to significant digits; 550, not 5.5e+02."""
    return f"{float(f'{value:.{digits}g}'):.{max(digits, 4)}g}"


def watts(power_dbm: float) -> float:
    """dBm -> W."""
    return 1e-3 * 10.0 ** (power_dbm / 10.0)


def dbm(power: float) -> float:
    """W -> dBm; zero or less is minus infinity."""
    return 10.0 * math.log10(power * 1e3) if power > 0 else -math.inf


def finite_or_none(value: float | None) -> float | None:
    """For plain data: None stands for no number, since JSON knows neither infinite nor "not a number"."""
    return float(value) if value is not None and math.isfinite(value) else None


@dataclass(frozen=True)
class Quantity:
    """What a key of a circuit or model file holds: its unit, its limits, what it means.

    Parameters
    ----------
    unit : str
        One of `units()`.
    minimum, maximum : float
        Allowed range, in `unit`; `above` makes the minimum itself forbidden.
    meaning : str
        A few words for help texts.
    zero_is_infinite : bool
        A printed 0 stands for "infinite" (a makers' custom for VAF, IKF and others).
    may_be_infinite : bool
        The word "infinite" is taken (a quality factor); every other quantity must be finite.
    """

    unit: str
    minimum: float = -math.inf
    maximum: float = math.inf
    above: bool = False
    meaning: str = ""
    zero_is_infinite: bool = False
    may_be_infinite: bool = False

    def read(self, text: Any, place: str = "") -> float:
        """Parse what a file says, with its unit, and check; raises Refusal naming `place`."""
        if self.may_be_infinite and isinstance(text, str) and text.strip().lower() == "infinite":
            return math.inf
        return self._checked(parse(text, self.unit, place), place)

    def take(self, value: str | float, place: str = "") -> float:
        """The same from Python: text is read with its unit, a number is in `unit` already."""
        if isinstance(value, str):
            return self.read(value, place)
        if isinstance(value, bool) or not isinstance(value, Real):
            raise Refusal(f"{value!r} is not a quantity; write for example '{sample(self.unit)}'", place)
        return self._checked(float(value), place)

    def _checked(self, value: float, place: str) -> float:
        if self.zero_is_infinite and value == 0.0:
            return math.inf
        self.check(value, place)
        return value

    def check(self, value: float, place: str = "") -> None:
        """Refuse a value outside the physical range."""
        if math.isnan(value) or math.isinf(value) and not (value > 0 and self.may_be_infinite):
            raise Refusal(f"'{value}' is not a finite number; write for example '{sample(self.unit)}'", place)
        if value < self.minimum or (self.above and value == self.minimum):
            relation = "above" if self.above else "at least"
            raise Refusal(f"{show(value, self.unit)} is not possible here; it must be {relation} "
                          f"{show(self.minimum, self.unit)}", place)
        if value > self.maximum:
            raise Refusal(f"{show(value, self.unit)} is not possible here; it must be at most "
                          f"{show(self.maximum, self.unit)}", place)


def quantity(unit: str, default: Any = MISSING, meaning: str = "", *, minimum: float = -math.inf,
             maximum: float = math.inf, above: bool = False, zero_is_infinite: bool = False) -> Any:
    """A dataclass field that is a quantity: `resistance: float = quantity("ohm", minimum=0)`.

    It may be infinite if its default is, or if a 0 says so.
    """
    spec = Quantity(unit, minimum, maximum, above, meaning, zero_is_infinite, zero_is_infinite or default == math.inf)
    return field(default=default, metadata={"quantity": spec}) if default is not MISSING \
        else field(metadata={"quantity": spec})


def quantities(cls: Any) -> dict[str, Quantity]:
    """The quantity fields of a dataclass, in order: name -> Quantity."""
    return {item.name: item.metadata["quantity"] for item in fields(cls) if "quantity" in item.metadata}
