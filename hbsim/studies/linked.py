"""One axis that moves several quantities: "R1.resistance, R2.resistance" together, "scale gap_*.gap" by a factor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Any

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..quantities import Quantity
from .axis import axis_values

_SCALE = "scale "
FACTOR = Quantity("1", 0.0, above=True, meaning="factor on the described values")


@dataclass(frozen=True)
class Link:
    """What an axis moves.

    addresses : quantities that it sets.
    bases : their described values, which the axis multiplies; None: it sets all to the value itself.
    """

    addresses: tuple[str, ...]
    bases: tuple[float, ...] | None = None

    def settings(self, value: float) -> dict[str, float]:
        """Address -> value, in base units, where the axis stands at `value`."""
        if self.bases is None:
            return dict.fromkeys(self.addresses, value)
        return {address: base * value for address, base in zip(self.addresses, self.bases)}


def link_of(description: Description, name: str) -> Link:
    """What the axis of a name moves: one address; several with a comma between, or a pattern with "*", which take one
    value; or, after the word "scale", quantities whose described values are multiplied by a common factor.

    Raises
    ------
    Refusal
        A name or pattern that names nothing, quantities of different units, or some that cannot be multiplied.
    """
    scaled = name.startswith(_SCALE)
    named = name.removeprefix(_SCALE) if scaled else name
    addresses = tuple(dict.fromkeys(found for piece in named.split(",")
                                    for found in _addresses(description, piece.strip(), name)))
    if scaled:
        return Link(addresses, tuple(_base(description, address, name) for address in addresses))
    units = {address: description.look_up(address)[0].unit for address in addresses}
    if len(set(units.values())) > 1:
        raise Refusal("these hold quantities of different kinds and cannot take one value "
                      f"({', '.join(f'{a} in {u}' for a, u in units.items())}); name those of one unit, or write "
                      f"'{_SCALE}{named}' to multiply each by a factor", name)
    return Link(addresses)


def _addresses(description: Description, piece: str, name: str) -> list[str]:
    if "*" not in piece:
        description.look_up(piece)
        return [piece]
    known = [address for address in description.addresses() if fnmatchcase(address, piece.removeprefix("part."))]
    known = [address for address in known if f"{address}.voltage" not in known]  # "supply.VCC" is the same
    if not known:
        ending = piece.rpartition(".")[2]
        there = [address for address in description.addresses() if address.endswith(f".{ending}")]
        raise Refusal(f"no quantity of this circuit fits '{piece}'"
                      + (f"; there are {', '.join(there[:6])}" if there else "; write it like '*.resistance'"), name)
    return known


def _base(description: Description, address: str, name: str) -> float:
    spec, base = description.look_up(address)
    if spec.unit in ("dBm", "K"):
        kind = "a level in dBm" if spec.unit == "dBm" else "a temperature"
        raise Refusal(f"{kind} is not multiplied ({address}); vary it by itself", name)
    if base is None or not np.isfinite(base) or base == 0.0:
        told = "is not given" if base is None else ("is zero" if base == 0.0 else "is infinite")
        raise Refusal(f"{address} {told}, which no factor changes; leave it out", name)
    return base


class Grid:
    """The axes of a sweep.

    values : name -> values in base units, (n,).
    units : name -> base unit.
    links : name -> Link.
    """

    def __init__(self, description: Description, axes: Mapping[str, Sequence[Any] | str]) -> None:
        self.links = {name: link_of(description, name) for name in axes}
        moved = [address for link in self.links.values() for address in link.addresses]
        for address in moved:
            if moved.count(address) > 1:
                raise Refusal("is varied twice; keep one", address)
        specs = {name: self._spec(description, name) for name in axes}
        self.units = {name: spec.unit for name, spec in specs.items()}
        self.values = {name: axis_values(specs[name], values, name) for name, values in axes.items()}

    def _spec(self, description: Description, name: str) -> Quantity:
        link = self.links[name]
        # limits of the others are met when their values are put in, before the work
        return FACTOR if link.bases is not None else description.look_up(link.addresses[0])[0]

    def settings(self, place: Mapping[str, float]) -> dict[str, float]:
        """Address -> value of every quantity that the axes move, at a place on them."""
        return {address: value for name, at in place.items()
                for address, value in self.links[name].settings(at).items()}

    def moves_a_source(self, name: str) -> bool:
        """Whether the axis moves one quantity by itself, so that rows may run along it if it is a source."""
        return self.links[name] == Link((name,))
