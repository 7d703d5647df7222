"""An admittance to ground that acts at one frequency alone: what turns the reflection seen there into another one.

With Gp = (1 - Yp R) / (1 + Yp R) of the circuit at a node, the extra current I that makes the sum look like G obeys

    2 (Gp - G) V - R (1 + G) (1 + Gp) I = 0

from (Yp + I / V) R = (1 - G) / (1 + G), its denominators multiplied out: exact for a short and an open end too. The
admittance may be active. At every other frequency, and at DC, I = 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..quantities import quantity
from .part import Part, Relation

_SAME = 1e-9  # relative: frequencies that differ by less are one


@dataclass(frozen=True)
class OneFrequencyTermination(Part):
    """Gives a node a reflection coefficient G at one frequency, where the circuit alone has Gp.

    frequency : where it acts. [Hz]
    reference : of both reflections. [ohm]
    before_real, before_imag : Gp. [1]
    reflection_real, reflection_imag : G. [1]
    """

    kind = "termination at one frequency"
    terminals = ("node",)
    frequency: float
    reference: float
    before_real: float
    before_imag: float
    reflection_real: float = quantity("1", meaning="real part of the reflection coefficient")
    reflection_imag: float = quantity("1", meaning="imaginary part of the reflection coefficient")

    def relation(self, omega: np.ndarray) -> Relation:
        acts = np.abs(omega - 2 * np.pi * self.frequency) < _SAME * 2 * np.pi * self.frequency
        before = complex(self.before_real, self.before_imag)
        wanted = complex(self.reflection_real, self.reflection_imag)
        a, b = np.zeros((len(omega), 1, 1), complex), np.ones((len(omega), 1, 1), complex)
        a[acts] = 2.0 * (before - wanted)
        b[acts] = -self.reference * (1.0 + wanted) * (1.0 + before)
        return Relation(a, b)
