"""Unknowns of a fit: what may move, between which limits, and in which measure it is searched."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..describe.description import Description
from ..errors import Refusal
from ..quantities import Quantity, show
from ..studies.free import refuse_twice
from ..studies.linked import FACTOR, Link, link_of
from ..studies.wishes import limits
from .dataset import BENCH

_SMALL = ("F", "H", "s", "A", "m", "W", "Hz")  # units that are themselves no usual size of a value
_WHOLES = {"dB": 10.0 / math.log(10.0), "dBm": 10.0 / math.log(10.0),  # of a power a change by itself, to first order
           "deg": 180.0 / math.pi}
_WIDE = 1e3  # a quantity that is above zero by its nature may move by this factor both ways, where no limits are given


@dataclass(frozen=True)
class Unknown:
    """A quantity to be found.

    A quantity that has to be above zero is searched by its natural logarithm, one that may be zero, as an emitter
    resistance may, against what it starts with: by its logarithm a search that has gone too low once sees no slope any
    more. So a saturation current and a length are both a matter of some per cent. Any other is searched as it is.

    address : str
    spec : what stands at the address.
    start : value to begin with. [unit of the quantity]
    low, high : limits; may be infinite.
    by_ratio : cannot be negative, and is a matter of some per cent.
    limited : whether the person gave limits.
    link : what it moves, where this is more than the quantity of its address.
    scale : what a change of it is compared with where it is no matter of ratio. [unit of the quantity]
    """

    address: str
    spec: Quantity
    start: float
    low: float
    high: float
    by_ratio: bool
    limited: bool
    link: Link | None = None
    scale: float = 1.0

    def moves(self) -> dict[str, float]:
        """What it moves: address -> slope against its own value."""
        if self.link is None:
            return {self.address: 1.0}
        return self.link.settings(1.0) if self.link.bases else dict.fromkeys(self.link.addresses, 1.0)

    def settings(self, value: float) -> dict[str, float]:
        """Address -> value in base units, where the unknown has a value."""
        return {self.address: value} if self.link is None else self.link.settings(value)

    @property
    def _by_logarithm(self) -> bool:
        return self.by_ratio and (self.spec.above or self.spec.minimum < 0.0)

    def place(self, value: float) -> float:
        """Where the search has a value."""
        if self._by_logarithm:
            return math.log(value) if value > 0.0 else -math.inf
        return value / (self.start if self.by_ratio else self.scale)

    def value(self, place: float) -> float:
        """The value at a place of the search."""
        if self._by_logarithm:
            return math.exp(place)
        return place * (self.start if self.by_ratio else self.scale)

    def slope(self, value: float) -> float:
        """Of the value against the place."""
        if self._by_logarithm:
            return value
        return self.start if self.by_ratio else self.scale

    def whole(self, value: float) -> float:
        """What a change of it is compared with: its value, or what it started with if that is more and it may be zero;
        else `scale`."""
        if self._by_logarithm:
            return value
        return max(value, self.start) if self.by_ratio else self.scale

    def room(self, value: float) -> float:
        """What counts as the whole of what may be unknown, in that measure: the limits given, else one, or the value
        itself where that is more."""
        if not (self.limited and math.isfinite(self.high - self.low)):
            return 1.0 if self.by_ratio else max(1.0, abs(value) / self.scale)
        if self._by_logarithm:
            return self.place(self.high) - self.place(self.low)
        return (self.high - self.low) / self.whole(value)

    def written(self, value: float, digits: int = 4) -> str:
        """With its unit."""
        return show(value, self.spec.unit, digits)

    def change_written(self, change: float, digits: int = 3) -> str:
        """A difference or an error with its unit: that of temperatures is in kelvins."""
        return f"{change:.{digits}g} K" if self.spec.unit == "K" else show(change, self.spec.unit, digits)


def unknowns(given: Mapping[str, Any], description: Description) -> list[Unknown]:
    """Unknowns by address, each "" (no limits) or "low:high".

    Several addresses with a comma between, or a pattern with "*", take one value; after the word "scale" the described
    values are multiplied by one factor (as the axis of a sweep).

    Raises
    ------
    Refusal
        Nothing is free, an unknown address, limits that are not possible or leave out the present value.
    """
    if not given:
        raise Refusal("nothing is free; give for example --free board.permittivity=4:5", "free")
    found = [_unknown(address, text, description) for address, text in given.items()]
    refuse_twice([address for item in found for address in item.moves()])
    return found


def _unknown(address: str, text: Any, description: Description) -> Unknown:
    link = None
    if address in BENCH:
        spec, present = Quantity("dB"), 0.0
    elif address.startswith("bench."):
        raise Refusal(f"the bench has no such unknown; it has {' and '.join(BENCH)}", address)
    elif "," in address or "*" in address or address.startswith("scale "):
        link = link_of(description, address)
        spec, present = (FACTOR, 1.0) if link.bases else _common(description, link, address)
    else:
        spec, present = description.look_up(address)
    if present is None:
        raise Refusal("is not given; give it a value to start from with --set", address)
    by_ratio = spec.minimum >= 0.0 and present > 0.0 and spec.unit != "dBm"
    if not math.isfinite(present):
        raise Refusal("is infinite now; give it a finite value to start from with --set", address)
    low, high = (None, None) if not text else limits(text, spec.unit, address) if isinstance(text, str) else text
    limited = low is not None or high is not None
    low = (max(spec.minimum, present / _WIDE) if by_ratio else spec.minimum) if low is None else float(low)
    high = (min(spec.maximum, present * _WIDE) if by_ratio else spec.maximum) if high is None else float(high)
    if by_ratio and low <= 0.0:
        low = present / _WIDE
    if not low < high:
        raise Refusal(f"the limits {low:g} and {high:g} leave no room; give the lower one first", address)
    for value in (low, high):
        if math.isfinite(value):
            spec.check(value, address)
    if not low <= present <= high:
        raise Refusal(f"is {show(present, spec.unit)} now, outside the limits given for it; set it inside with --set, "
                      "or widen them", address)
    width = high - low if limited and math.isfinite(high - low) else math.inf
    if present == 0.0 and not by_ratio and spec.unit in _SMALL and not math.isfinite(width):
        raise Refusal("is zero now, which says nothing of its size; give limits (LOW:HIGH), or a value to begin "
                      "with by --set", address)
    scale = width if present == 0.0 and spec.unit in _SMALL else _WHOLES.get(spec.unit, 1.0)
    return Unknown(address, spec, present, low, high, by_ratio, limited, link, scale)


def _common(description: Description, link: Link, name: str) -> tuple[Quantity, float]:
    """Kind and present value of quantities that take one value."""
    specs, present = zip(*(description.look_up(address) for address in link.addresses))
    if len(set(present)) > 1:
        raise Refusal("these have different values now, and one value is to be found for all; write "
                      f"'scale {name}' to find a factor on each", name)
    return specs[0], present[0]
