"""Generators and supplies: a source voltage behind an impedance, from a node to ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..quantities import quantity
from .part import Part, Relation


@dataclass(frozen=True)
class Termination(Part):
    """A port or a supply without its source: V - R I = E, with E put in by the network.

    Written for the impedance, so that a supply of 0 ohm is exact.
    """

    kind = "termination"
    terminals = ("node",)
    impedance: float = quantity("ohm", minimum=0.0, meaning="resistance to ground behind which the source sits")
    steady: bool = False  # its source gives DC alone

    def relation(self, omega: np.ndarray) -> Relation:
        a = np.ones((len(omega), 1, 1), complex)
        return Relation(a, -self.impedance * a)
