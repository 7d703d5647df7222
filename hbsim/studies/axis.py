"""The values of one swept quantity, as people write them: "-20 dBm : 10 dBm : 1 dB"."""

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


def axis_column(address: str, unit: str) -> str:
    """Name of an axis in files: "drive.power_dbm", "supply.VCC_volts"."""
    return f"{address}_{SUFFIX[unit]}" if SUFFIX[unit] else address


def axis_values(spec: Quantity, values: Sequence[Any] | str, address: str) -> np.ndarray:
    """Values of an axis.

    Parameters
    ----------
    spec : Quantity
        What stands at the address: its unit and limits.
    values : sequence, or text "start:stop:step"
        Texts with units or numbers in base units. In the text form a piece without a unit takes the unit of another
        piece, and the step is a difference: of powers in dB (or dBm), of temperatures in kelvin (or degC).
    address : str
        For refusals.

    Returns
    -------
    ndarray, (n,)
        In base units. The stop belongs to it where the steps meet it.

    Raises
    ------
    Refusal
        No values, not three pieces, a zero step, a step away from the stop, too many points, or a value outside the
        quantity's limits.
    """
    if isinstance(values, str):
        return _steps(spec, values, address)
    found = [spec.take(value, address) for value in (values if isinstance(values, Iterable) else [values])]
    if not found:
        raise Refusal("no values to sweep; give at least one", address)
    return np.array(found)


def _steps(spec: Quantity, text: str, address: str) -> np.ndarray:
    """The values of "start:stop:step", in decimal: 0:1:0.1 holds 0.3 and ends with 1."""
    pieces = [piece.strip() for piece in text.split(":")]
    if len(pieces) != 3:
        raise Refusal(f"'{text}' is not START:STOP:STEP; write three values like '{sample(spec.unit)}', ':' between",
                      address)
    try:
        start, stop, step = _numbers(spec, pieces)
    except Refusal as refusal:
        raise Refusal(f"in '{text}': {refusal.what}", address) from None
    if step == 0:
        raise Refusal(f"the step of '{text}' is zero; give the distance from one point to the next", address)
    if (stop - start) * step < 0:
        raise Refusal(f"the step of '{text}' leads away from its stop; change its sign", address)
    count = int((stop - start) / step + Decimal("1e-9")) + 1  # a factor such as that of rad is not exact
    if count > MOST_POINTS:
        raise Refusal(f"'{text}' makes {count} points; at most {MOST_POINTS} are swept, so widen the step", address)
    return np.array([spec.take(float(start + n * step), address) for n in range(count)])


def _numbers(spec: Quantity, pieces: list[str]) -> tuple[Decimal, Decimal, Decimal]:
    """Start, stop and step in the unit of `spec`."""
    parts = []
    for piece in pieces:
        match = _PIECE.fullmatch(piece)
        if match is None:
            raise Refusal(f"'{piece}' is not a number with a unit; write it like '{sample(spec.unit)}'")
        parts.append(match.groups())
    if spec.unit == "dBm" and parts[2][1] == "dB":
        parts[2] = (parts[2][0], "dBm")  # the difference of two levels
    shared = next((unit for _, unit in parts if unit), "")

    def read(number: str, unit: str) -> Decimal:
        return Decimal(repr(parse(f"{number} {unit or shared}".strip(), spec.unit)))

    start, stop, end_of_step = (read(*part) for part in parts)
    return start, stop, end_of_step - read("0", parts[2][1])  # 5 degC is a step of 5 K: from 0 degC to 5 degC
