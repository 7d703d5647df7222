"""Numbers and units in the two customs of data sheets, which collide.

List: a scale letter glued to the number, any case, M = 1e-3 and MEG = 1e6; letters after it are a unit. Table: a
prefix and a unit apart from the number, where case counts. What both read differently is refused with the choices.
Source of the list's letters: G. Massobrio and P. Antognetti, Semiconductor Device Modeling, 2nd ed., McGraw-Hill, 1993
(from memory); the rest common practice, no source.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from decimal import Decimal

from ...errors import Refusal
from .names import WORD_OF
from .result import Undecided
from .tokens import split_number

_LIST_SCALES = {"MEG": "1e6", "T": "1e12", "G": "1e9", "K": "1e3", "M": "1e-3", "U": "1e-6", "Μ": "1e-6", "N": "1e-9",
                "P": "1e-12", "F": "1e-15"}  # the second U is the Greek letter
_PREFIXES = {"a": "1e-18", "f": "1e-15", "p": "1e-12", "n": "1e-9", "u": "1e-6", "μ": "1e-6", "m": "1e-3", "": "1",
             "k": "1e3", "G": "1e9", "T": "1e12"}
_SPELLINGS = {"A": ("A", "amp", "amps", "ampere", "amperes"), "V": ("V", "volt", "volts"),
              "ohm": ("ohm", "Ohm", "OHM", "ohms", "Ohms", "Ω"), "F": ("F", "farad", "farads"),
              "s": ("s", "sec", "second", "seconds"), "H": ("H", "henry", "henries"),
              "eV": ("eV", "V"), "deg": ("deg", "Deg", "DEG", "degree", "degrees", "°"),
              "K": ("K", "°K", "kelvin", "degC", "°C", "C"), "1": ("-", "m")}
_CELSIUS = ("DEGC", "°C", "C")
_SCALED = ("A", "V", "ohm", "F", "s", "H")
_OTHERS = {"W": "watt", "S": "siemens or seconds", "HZ": "hertz", "MIL": "a length", "MM": "a length", "%": "per cent",
           "DB": "decibels", "DBM": "dBm", "M": "metres or a bare milli"}
_HIGHEST_CELSIUS = Decimal(150)  # a bare temperature below it is in degC
_MOST_POWER = 300


@dataclass(frozen=True)
class Value:
    """A number in the unit of its quantity. `written` is the unit or scale found, `form` one of list, table, bare."""

    number: Decimal
    written: str
    form: str
    comma: bool = False
    point: bool = False
    warnings: tuple[str, ...] = ()


def bare_number(text: str, comma_is_point: bool) -> tuple[Decimal, str, bool]:
    """Number, what is glued to it, and whether it has a power of ten.

    Raises
    ------
    Refusal
        A decimal comma that was not agreed, or a number beyond 1e300.
    """
    digits, power, tail = split_number(text)
    if "," in digits:
        if "." in digits:
            digits = digits.replace(",", "")
        elif comma_is_point:
            digits = digits.replace(",", ".")
        else:
            raise Undecided(f"'{text}' has a comma: {digits.replace(',', '.')}, two values, or thousands; write a "
                            "point, or say that commas are decimal", "decimal_comma")
    elif comma_is_point and "." in digits:
        raise Refusal(f"'{text}' has a point where other values have a decimal comma; write all of them one way")
    exponent = re.search(r"[+-]?\s*[0-9]+$", power)[0].replace(" ", "") if power else "0"
    if len(exponent.lstrip("+-0")) > 3 or len(digits) > 40:
        raise Refusal(f"'{text}' is beyond any number read here")
    number = Decimal(digits) * Decimal(10) ** int(exponent)
    if number and not -_MOST_POWER < number.adjusted() < _MOST_POWER:
        raise Refusal(f"'{text}' is beyond any number read here")
    return number, tail, bool(power)


def has_unit(text: str) -> bool:
    """Whether a word after a number looks like its unit, right or wrong."""
    if any(reads_as(text, unit) for unit in _SPELLINGS) or text.upper() in _OTHERS or not text.isascii():
        return True
    spelt = any(text.upper() == (scale + spelling).upper() for unit in _SCALED for spelling in _SPELLINGS[unit][:3]
                for scale in (*_PREFIXES, "M", "MEG"))
    return spelt or text.upper() in ("MW", "UW", "EV") or text in _PREFIXES \
        or text.upper() in _LIST_SCALES


def reads_as(text: str, unit: str) -> Decimal | None:
    """Factor of a unit apart from its number, case counting; None if it is no spelling of this unit."""
    for spelling in _SPELLINGS[unit]:
        if text == spelling:
            return Decimal("1e-3") if (unit, text) == ("1", "m") else Decimal(1)
        if unit in _SCALED and text.endswith(spelling) and text[:-len(spelling)] in _PREFIXES:
            return Decimal(_PREFIXES[text[:-len(spelling)]])
    return None


def read_value(text: str, unit: str, apart: str = "", comma_is_point: bool = False) -> Value:
    """One number with whatever unit stands with it.

    Parameters
    ----------
    text : str
        The number with what is glued to it: "0.31", "620fF", "18M".
    unit : str
        Unit of the quantity.
    apart : str
        The unit that stands apart from it, or in the head; "" if none.

    Raises
    ------
    Refusal
        Not a number, another unit, or a reading that is not the only one.
    """
    number, tail, power = bare_number(text, comma_is_point)
    digits = split_number(text)[0]
    if re.match(r"\.\.|-\d|\.\.\.", tail):
        raise Refusal(f"'{text}' is a range; write the one value that is meant")
    if re.search(r"[*/^+]\w|\w[*/^]", tail) and not tail.endswith(("%", "°")):
        raise Refusal(f"'{text}' is an expression; write the number that it gives")
    if tail and apart and apart != "-":
        raise Refusal(f"'{text}' has a scale or unit glued to it and '{apart}' after it; keep one")
    if not tail and not apart:
        value = Value(number, "", "bare")
    elif tail:
        value = _glued(number, tail, unit, text, power)
    else:
        value = Value(number * _apart(number, apart, unit, text), apart, "table")
    value = replace(value, comma="," in digits and "." not in digits, point="." in digits)
    if unit == "K":
        return _temperature(value, text)
    return value


def _glued(number: Decimal, tail: str, unit: str, text: str, power: bool) -> Value:
    upper = tail.upper()
    units = {spelling.upper() for spelling in _SPELLINGS[unit] if (unit, spelling) not in (("1", "-"), ("1", "m"))}
    if unit == "K" and upper in units or unit == "deg" and upper in units:
        return Value(number, tail, "list")
    if unit == "A" and tail == "aA":
        return Value(number * Decimal("1e-18"), tail, "table")
    found = {}
    if upper in units:
        found[tail] = Decimal(1)
    for scale, factor in _LIST_SCALES.items():
        if upper.startswith(scale) and upper[len(scale):] in units | {""}:
            if scale == "M" and upper == "MEG":
                continue
            found[scale] = Decimal(factor)
    if unit == "F" and tail == "F" and number:
        raise Refusal(f"'{text}' can be read as {number:f} F or {number:f} fF; write the one that is meant with its "
                      "unit after a blank, or as a power of ten")
    if unit == "F" and tail == "f":
        del found[tail]  # farad has a capital, so that only femto is left
    if not found:
        raise Refusal(_wrong_unit(tail, unit, text))
    if unit == "ohm" and upper != "M" and tail.startswith("M") and not upper.startswith("MEG"):
        raise Refusal(f"'{text}' can be read as {number:f} milliohm or {number:f} megaohm; write mohm, or MEG")
    name, factor = next(iter(found.items()))
    scaled = factor != 1
    if power and scaled:
        raise Refusal(f"'{text}' has a power of ten and the scale letter '{name}'; keep one of them")
    said = ("M read as milli; write MEG for 1e6",) if unit == "ohm" and tail == "M" else ()
    if unit == "A" and tail == "A":
        said = ("A is ampere; atto must be written aA",)
    return Value(number * factor, tail, "list", warnings=said)


def _apart(number: Decimal, apart: str, unit: str, text: str) -> Decimal:
    factor = reads_as(apart, unit)
    if factor is not None:
        return factor
    shown = f"{text} {apart}"
    if apart == "-":
        raise Refusal(f"'{shown}': the dash says no unit, and this is {WORD_OF[unit]}; write its unit")
    if apart.startswith("M") and reads_as(apart[1:], unit) is not None or apart == "M":
        raise Refusal(f"'{shown}' is mega, or a capital typed for m (milli); write which")
    raise Refusal(_wrong_unit(apart, unit, shown))


def _wrong_unit(written: str, unit: str, shown: str) -> str:
    if written in _PREFIXES and unit not in ("1", "ohm"):
        return f"'{shown}': '{written}' stands apart from the number and has no unit; write it with its unit"
    if not written.isascii():
        known = all(letter.isascii() or letter in "μΩ°∞" for letter in written)
        if not known:
            raw = written.encode("utf-8", "surrogatepass").hex(" ")
            return f"'{written}' in '{shown}' is no unit (bytes {raw}), a sign was lost in copying; write it anew"
    lost = written.upper() in ("W", "MW", "UW", "KW", "M", "K")
    if unit == "ohm" and lost:
        return f"'{shown}': unit {written} on a resistance; ohm sign lost? write ohm, mohm or kohm"
    other = next((WORD_OF[kind] for kind in _SCALED if reads_as(written, kind) is not None
                  or any(written.upper() in (scale + _SPELLINGS[kind][0].upper()) and
                         written.upper().endswith(_SPELLINGS[kind][0].upper())
                         for scale in (*_LIST_SCALES, "")) and kind != unit), "")
    other = other or _OTHERS.get(written.upper(), "")
    meant = f" (that of {other})" if other else ""
    usual = "no unit" if unit == "1" else f"a unit like {_SPELLINGS[unit][0]}"
    return f"'{shown}': '{written}'{meant} does not fit {WORD_OF[unit]}; write {usual}, capitals as they are meant"


def _temperature(value: Value, text: str) -> Value:
    if value.written.upper() in _CELSIUS:
        return replace(value, number=value.number + Decimal("273.15"))
    if value.form != "bare":
        return value
    if value.number >= _HIGHEST_CELSIUS:
        raise Refusal(f"'{text}' has no unit, and kelvin is likely but not said; write {text} K or {text} degC")
    return replace(value, number=value.number + Decimal("273.15"),
                   warnings=(f"{text} without a unit is read as {text} degC",))


def finite(number: Decimal, shown: str) -> float:
    """As a float; raises Refusal where it would not be finite or would vanish."""
    value = float(number)
    if not math.isfinite(value) or (number and not value):
        raise Refusal(f"'{shown}' is beyond any number read here")
    return value
