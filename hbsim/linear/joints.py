"""A place where several arms meet: lossless pieces of line, transformers, and a susceptance to ground.

With theta = beta l of the piece between a terminal and the place (a negative length where the strip ends nearer to the
place than its plane), Z its impedance and n the arm's voltage over that of the place,

    V' = cos(theta) V - j Z sin(theta) I,    I' = cos(theta) I - j sin(theta) V / Z

are its voltage and current at the place (D. M. Pozar, Microwave Engineering, 4th ed., Wiley 2012, ch. 2 and 4), where
V' / n is the same for all arms and sum n I' = j B V' / n. At DC, theta = 0, n = 1, B = 0: a perfect connection.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from .part import Relation


class Arm(NamedTuple):
    """Phase over a piece of line [rad], its impedance [ohm], voltage over that of the place [1], (n_frequency,)."""

    phase: np.ndarray
    impedance: np.ndarray
    ratio: np.ndarray | float = 1.0


def joint(arms: Sequence[Arm], susceptance: np.ndarray) -> Relation:
    """Law of the place with a terminal at the outer end of each arm; susceptance (n_frequency,). [S]"""
    n = len(arms)
    a, b = np.zeros((2, len(susceptance), n, n), complex)
    for place, arm in enumerate(arms):
        cosine, sine = np.cos(arm.phase), 1j * np.sin(arm.phase)
        for row, sign in ((place, 1.0), (place - 1, -1.0)):  # this arm's voltage less the next one's
            if 0 <= row < n - 1:
                a[:, row, place], b[:, row, place] = sign * cosine / arm.ratio, -sign * arm.impedance * sine / arm.ratio
        a[:, -1, place], b[:, -1, place] = -arm.ratio * sine / arm.impedance, arm.ratio * cosine
    first = arms[0]
    a[:, -1, 0] -= 1j * susceptance * np.cos(first.phase) / first.ratio
    b[:, -1, 0] -= 1j * susceptance * -1j * first.impedance * np.sin(first.phase) / first.ratio
    return Relation(a, b)


def tee_section(first: np.ndarray, second: np.ndarray, shunt: np.ndarray) -> Relation:
    """Two series impedances [ohm] with an admittance to ground between them [S], each (n_frequency,)."""
    a, b = np.zeros((2, len(shunt), 2, 2), complex)
    a[:, 0, 0], a[:, 0, 1], b[:, 0, 0], b[:, 0, 1] = 1.0, -1.0, -first, second
    a[:, 1, 0], b[:, 1, 0], b[:, 1, 1] = shunt, -(1.0 + shunt * first), -1.0
    return Relation(a, b)
