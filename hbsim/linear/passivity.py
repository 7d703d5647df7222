"""What measured S-parameters say of the part behind them: does it make power, lose power, is it the same both ways.

With power waves against real references the power that goes in and does not come out is a^H (1 - S^H S) a
(K. Kurokawa, "Power waves and the scattering matrix", IEEE Trans. MTT-13 (1965) 194-202), so a part is passive where
no singular value of S is above 1 and lossless where all are 1; it is reciprocal where S is symmetric. None of the
three depends on the references.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .touchstone import TouchstoneData

ACTIVE = 1e-3  # largest gain less 1 (0.01 dB) from which a part is said to give out power
LOPSIDED = 0.02  # |S_ij - S_ji|, 0.2 dB at full transmission, from which it is said (common practice, no source)


class Worst(NamedTuple):
    """The worst value of a check over all points, and the frequency it was found at [Hz]."""

    value: float
    frequency: float


def largest_gain(s: np.ndarray) -> np.ndarray:
    """Largest singular value of each matrix (..., p, p): above 1 the part can give out more than it takes in."""
    return np.linalg.svd(s, compute_uv=False)[..., 0]


def passivity(data: TouchstoneData) -> Worst:
    """The largest singular value of S; at most 1 for a passive part. [1]"""
    return _worst(largest_gain(data.s), data)


def losslessness(data: TouchstoneData) -> Worst:
    """The largest share of the incoming power that is lost, or made, whichever ports are driven; 0 if lossless. [1]"""
    with np.errstate(over="ignore"):  # infinite is worst enough
        return _worst(np.abs(1.0 - np.linalg.svd(data.s, compute_uv=False) ** 2).max(axis=1), data)


def asymmetry(s: np.ndarray) -> np.ndarray:
    """Largest |S_ij - S_ji| of each matrix (..., p, p)."""
    with np.errstate(over="ignore"):
        return np.abs(s - np.swapaxes(s, -1, -2)).max(axis=(-2, -1))


def reciprocity(data: TouchstoneData) -> Worst:
    """The largest |S_ij - S_ji|; 0 for a reciprocal part, and for one port. [1]"""
    return _worst(asymmetry(data.s), data)


def _worst(values: np.ndarray, data: TouchstoneData) -> Worst:
    at = int(np.argmax(values))
    return Worst(float(values[at]), float(data.frequency[at]))
