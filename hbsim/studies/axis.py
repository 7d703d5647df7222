"""The values of one swept quantity, as people write them.

    -20 dBm : 10 dBm : 1 dB             equal steps
    1 pF : 10 pF : 5 points             so many values with equal differences, both ends among them
    1 pF : 10 pF : 5 points by ratio    so many values with equal ratios
    1, 2, 5 pF                          these
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

import numpy as np

from ..errors import Refusal
from ..quantities import Quantity, parse, sample

SUFFIX = {"dBm": "dbm", "dB": "db", "Hz": "hz", "ohm": "ohm", "S": "siemens", "H": "henry", "F": "farad", "V": "volts",
          "A": "amps", "W": "watts", "s": "seconds", "m": "metres", "deg": "deg", "K": "kelvin",
          "K/W": "kelvin_per_watt", "S/m": "siemens_per_metre", "eV": "electronvolts", "1": ""}
MOST_POINTS = 10_000_000
_PIECE = re.compile(r"([+-]?[\d.]+(?:[eE][+-]?\d+)?)\s*(.*)")
_COUNT = re.compile(r"([\d.,eE+-]+)\s*points?\b\s*(.*)")
_BY_RATIO = "by ratio"
_NOT_A_POINT = re.compile(r"[+-]?\d+,\d+\s*\D*|[+-]?\d{1,3}(,\d{3})+\s*\D*")  # 1,5 V and 1,000,000 Hz
_SAME_RATIO = 1e-6


def axis_column(address: str, unit: str) -> str:
    """Name of an axis in files: "drive.power_dbm", "supply.VCC_volts"."""
    return f"{address}_{SUFFIX[unit]}" if SUFFIX[unit] else address


def axis_values(spec: Quantity, values: Sequence[Any] | str, address: str) -> np.ndarray:
    """Values of an axis.

    Parameters
    ----------
    spec : Quantity
        What stands at the address: its unit and limits.
    values : sequence, or text
        Texts with units or numbers in base units. The text forms are "start:stop:step", "start:stop:N points",
        "start:stop:N points by ratio" and a list "1, 2, 5 pF". In them a piece without a unit takes the unit of another
        piece, and a step is a difference: of powers in dB (or dBm), of temperatures in kelvin (or degC).
    address : str
        For refusals.

    Returns
    -------
    ndarray, (n,)
        In base units. The stop belongs to it where the steps meet it.

    Raises
    ------
    Refusal
        No values, not three pieces, a zero step, a step away from the stop, too many points, equal ratios from or to
        what is not above zero, a comma that may be a decimal point, or a value outside the quantity's limits.
    """
    if isinstance(values, str):
        return _from_text(spec, values, address)
    found = [spec.take(value, address) for value in (values if isinstance(values, Iterable) else [values])]
    if not found:
        raise Refusal("no values to sweep; give at least one", address)
    return np.array(found)


def by_ratio(values: np.ndarray, unit: str) -> bool:
    """Whether values of an axis, (n,), stand at equal ratios, so that a logarithmic scale shows them evenly.

    A level in dB is a logarithm already."""
    if unit in ("dB", "dBm") or len(values) < 3 or not (np.isfinite(values).all() and values.min() > 0):
        return False
    ratios = values[1:] / values[:-1]
    return bool(abs(ratios[0] - 1) > 1e3 * _SAME_RATIO and np.ptp(ratios) <= _SAME_RATIO * ratios[0])


def _from_text(spec: Quantity, text: str, address: str) -> np.ndarray:
    pieces = [piece.strip() for piece in text.split(":")]
    try:
        if len(pieces) == 1 and "," in text:
            return _listed(spec, text)
        counted = _COUNT.fullmatch(pieces[-1]) if len(pieces) == 3 else None
        return _counted(spec, text, pieces, *counted.groups()) if counted else _steps(spec, text, pieces)
    except Refusal as refusal:
        raise refusal if refusal.place else refusal.located(address) from None


def _listed(spec: Quantity, text: str) -> np.ndarray:
    """The values of "1, 2, 5 pF"."""
    if _NOT_A_POINT.fullmatch(text.strip()):
        raise Refusal(f"'{text}' may be one number with a comma, or a list; write a decimal point, or a list with a "
                      f"space after each comma: '{', '.join(text.replace(' ', '').split(','))}'")
    parts = _parts(spec, [piece.strip() for piece in text.split(",")])
    shared = next((unit for _, unit in reversed(parts) if unit), "")
    return np.array([spec.take(f"{number} {unit or shared}".strip()) for number, unit in parts])


def _counted(spec: Quantity, text: str, pieces: list[str], number: str, manner: str) -> np.ndarray:
    """The values of "1 pF : 10 pF : 5 points by ratio"; the ends are met exactly."""
    if manner not in ("", _BY_RATIO):
        raise Refusal(f"'{manner}' in '{text}' is not known here; write '{number} points' for equal differences or "
                      f"'{number} points {_BY_RATIO}' for equal ratios")
    if not number.isdecimal() or not 2 <= int(number) <= MOST_POINTS:
        raise Refusal(f"'{number}' in '{text}' is no number of points; give a whole number from 2 to {MOST_POINTS}")
    start, stop = _read(spec, text, pieces[:2])
    if start == stop:
        raise Refusal(f"'{text}' starts where it stops; give two ends, or the one value with --set")
    first, last, count = spec.take(float(start)), spec.take(float(stop)), int(number)
    if manner == "":
        return np.array([spec.take(float(start + n * (stop - start) / (count - 1))) for n in range(count)])
    if spec.unit in ("dB", "dBm"):
        raise Refusal(f"a level in {spec.unit} is a ratio already: leave out '{_BY_RATIO}' in '{text}'")
    if not (start > 0 and stop > 0):
        raise Refusal(f"equal ratios cannot start or stop at zero or below ('{text}'); give ends above zero, or leave "
                      f"out '{_BY_RATIO}'")
    return np.array([first, *np.geomspace(first, last, count)[1:-1].tolist(), last])


def _steps(spec: Quantity, text: str, pieces: list[str]) -> np.ndarray:
    """The values of "start:stop:step", in decimal: 0:1:0.1 holds 0.3 and ends with 1."""
    if len(pieces) != 3:
        raise Refusal(f"'{text}' is not START:STOP:STEP; write three values like '{sample(spec.unit)}', ':' between, "
                      "'START:STOP:5 points', or a list, ',' between")
    start, stop, step = _read(spec, text, pieces)
    if step == 0:
        raise Refusal(f"the step of '{text}' is zero; give the distance from one point to the next")
    if (stop - start) * step < 0:
        raise Refusal(f"the step of '{text}' leads away from its stop; change its sign")
    count = int((stop - start) / step + Decimal("1e-9")) + 1  # a factor such as that of rad is not exact
    if count > MOST_POINTS:
        raise Refusal(f"'{text}' makes {count} points; at most {MOST_POINTS} are swept, so widen the step")
    return np.array([spec.take(float(start + n * step)) for n in range(count)])


def _parts(spec: Quantity, pieces: list[str]) -> list[tuple[str, str]]:
    """Number and unit of each piece."""
    parts = []
    for piece in pieces:
        match = _PIECE.fullmatch(piece)
        if match is None:
            raise Refusal(f"'{piece}' is not a number with a unit; write it like '{sample(spec.unit)}'")
        parts.append((match[1], match[2]))
    return parts


def _read(spec: Quantity, text: str, pieces: list[str]) -> list[Decimal]:
    """Start, stop and, if it is among the pieces, step, in the unit of `spec`."""
    try:
        parts = _parts(spec, pieces)
        if spec.unit == "dBm" and parts[2:] and parts[2][1] == "dB":
            parts[2] = (parts[2][0], "dBm")  # the difference of two levels
        shared = next((unit for _, unit in parts if unit), "")

        def read(number: str, unit: str) -> Decimal:
            return Decimal(repr(parse(f"{number} {unit or shared}".strip(), spec.unit)))

        found = [read(*part) for part in parts]
        if len(found) == 3:
            found[2] -= read("0", parts[2][1])  # 5 degC is a step of 5 K: from 0 degC to 5 degC
        return found
    except Refusal as refusal:
        raise Refusal(f"in '{text}': {refusal.what}") from None
