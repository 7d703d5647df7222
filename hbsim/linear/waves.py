"""A wave over one length of line, and the laws of the parts that such waves make.

Everything is written with e = exp(-gamma l) and 1 - e, never with a cotangent, so that the laws hold at DC and where
the line is any number of half waves long. Textbook: D. M. Pozar, Microwave Engineering, 4th ed., Wiley 2012, ch. 2.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .part import Relation


class Passes(NamedTuple):
    """For e = exp(-gamma l): 1 - e and 1 + e [1], Z (1 - e) and Z (1 + e) [ohm]; each (n_frequency,)."""

    lost: np.ndarray
    kept: np.ndarray
    series: np.ndarray
    shunt: np.ndarray


class Wave(NamedTuple):
    """One mode of a line over its whole length.

    Parameters
    ----------
    omega : ndarray, (n_frequency,). [rad/s]
    impedance : ndarray, (n_frequency,)
        Characteristic impedance. [ohm]
    exponent : ndarray, complex, (n_frequency,)
        gamma l; zero at DC. [Np + j rad]
    resistance : float
        From end to end at DC. [ohm]
    """

    omega: np.ndarray
    impedance: np.ndarray
    exponent: np.ndarray
    resistance: float = 0.0

    def passes(self, times: int = 1) -> Passes:
        """`times` lengths of the line. At DC, Z (1 - e) is the resistance that it tends to: Z gamma l -> R l."""
        lost = -np.expm1(-times * self.exponent)
        kept = 2.0 - lost
        series = np.where(self.omega > 0.0, self.impedance * lost, times * self.resistance)
        return Passes(lost, kept, series, self.impedance * kept)


def _sum_and_difference(voltage: tuple[np.ndarray, np.ndarray], current: tuple[np.ndarray, np.ndarray]) -> Relation:
    """Law of a part that is the same seen from both ends: u+ (V1 + V2) = w+ (I1 + I2), u- (V1 - V2) = w- (I1 - I2)."""
    signs = np.array([[1.0, 1.0], [1.0, -1.0]])
    a = np.stack(voltage, axis=1)[:, :, None] * signs
    b = -np.stack(current, axis=1)[:, :, None] * signs
    return Relation(a.astype(complex), b.astype(complex))


def through(wave: Wave) -> Relation:
    """A line from end to end: sum and difference of V1 - Z I1 = e (V2 + Z I2) and its mirror image."""
    p = wave.passes()
    return _sum_and_difference((p.lost, p.kept), (p.shunt, p.series))


def open_ended(wave: Wave) -> Relation:
    """A line whose far end is open: V - Z I = e^2 (V + Z I)."""
    p = wave.passes(2)
    return Relation(p.lost[:, None, None] + 0j, -p.shunt[:, None, None] + 0j)


def short_ended(wave: Wave) -> Relation:
    """A line whose far end is shorted: V - Z I = -e^2 (V + Z I)."""
    p = wave.passes(2)
    return Relation(p.kept[:, None, None] + 0j, -p.series[:, None, None] + 0j)


def pair(even: Wave, odd: Wave) -> Relation:
    """Two equal coupled lines, terminals (a1, b1, a2, b2): the sums of both strips obey `through` of the even mode,
    the differences that of the odd."""
    rows = [(through(even), 1.0), (through(odd), -1.0)]
    return Relation(np.concatenate([np.concatenate([law.a, sign * law.a], axis=2) for law, sign in rows], axis=1),
                    np.concatenate([np.concatenate([law.b, sign * law.b], axis=2) for law, sign in rows], axis=1))


def section(even: Wave, odd: Wave) -> Relation:
    """`pair` seen from a1 and b2, with b1 and a2 open: a filter section.

    Z11 +- Z12 = (Ze coth(ge/2) + Zo tanh(go/2)) / 2 and the same with the modes exchanged, where g = gamma l
    (E. M. T. Jones, J. T. Bolljahn, IRE Trans. MTT-4 (1956) 75-81), multiplied by its denominators.
    """
    e, o = even.passes(), odd.passes()
    return _sum_and_difference(
        (2.0 * e.lost * o.kept, 2.0 * e.kept * o.lost),
        (e.shunt * o.kept + o.series * e.lost, e.series * o.lost + o.shunt * e.kept))
