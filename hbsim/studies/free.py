"""Free quantities: what a search may change, between which limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..quantities import Quantity
from .wishes import limits


@dataclass(frozen=True)
class Free:
    """A quantity between two limits; `second` gives what it takes, so that their sum stays.

    A stub moves along a line: the piece before it grows as the piece behind it shrinks.

    address, second : quantities of the circuit, of one unit; second may be None.
    spec : what stands at the address.
    low, high : limits of the first. [unit of the quantity]
    present : value of the first in the circuit as it is.
    total : of both, which stays; 0 without a second.
    """

    address: str
    second: str | None
    spec: Quantity
    low: float
    high: float
    present: float
    total: float = 0.0

    @property
    def name(self) -> str:
        """As it was asked for."""
        return f"{self.address}/{self.second}" if self.second else self.address

    def values(self, share: float) -> dict[str, float]:
        """Values at a share of the way from low to high, 0 to 1."""
        value = self.low + (self.high - self.low) * share
        return {self.address: value} | ({self.second: self.total - value} if self.second else {})

    def slopes(self) -> dict[str, float]:
        """Of the values against the share."""
        width = self.high - self.low
        return {self.address: width} | ({self.second: -width} if self.second else {})

    @property
    def start(self) -> float:
        """Share at the present value, or at the limit next to it."""
        return min(max((self.present - self.low) / (self.high - self.low), 0.0), 1.0)


def free_quantities(given: Mapping[str, Any], description: Description) -> list[Free]:
    """Free quantities by address, each "1V:8V" or (low, high) in the quantity's unit.

    "match_line.length/input_line.length" is one quantity: the limits are of the first, and what it takes the second
    gives.

    Raises
    ------
    Refusal
        Unknown quantities, one named twice, limits that are missing, turned round or not possible.
    """
    if not given:
        raise Refusal("nothing is free; give for example supply.VCC=1V:8V", "free")
    found = [_free(name, text, description) for name, text in given.items()]
    refuse_twice([address for item in found for address in item.slopes()])
    return found


def refuse_twice(addresses: Sequence[str]) -> None:
    """Refuse what two free quantities move."""
    for address in addresses:
        if addresses.count(address) > 1:
            raise Refusal("is free twice; keep one", address)


def _free(name: str, given: Any, description: Description) -> Free:
    address, slash, second = (piece.strip() for piece in name.partition("/"))
    spec, present = description.look_up(address)
    low, high = limits(given, spec.unit, name) if isinstance(given, str) else given
    if low is None or high is None:
        raise Refusal("needs a limit at both ends, such as 1V:8V", name)
    if not low < high:
        raise Refusal(f"the limits {low:g} and {high:g} leave no room; give the lower one first", name)
    total = 0.0
    if slash:
        other, value = description.look_up(second)
        if other.unit != spec.unit or second == address:
            raise Refusal("is no pair of quantities of one kind; write two lengths, say, with '/' between", name)
        total = present + value
    item = Free(address, second if slash else None, spec, float(low), float(high), present, total)
    for share in (0.0, 1.0):
        for one, value in item.values(share).items():
            description.look_up(one)[0].check(value, name)
    return item


def at(free: Sequence[Free], shares: np.ndarray) -> dict[str, float]:
    """Values of all addresses at shares (n_free,)."""
    return {address: value for item, share in zip(free, shares) for address, value in item.values(float(share)).items()}
