"""Limits that unknown phases set: mismatch of two planes, directivity of a bridge, an unwanted line on a wanted one.

Formulas as in Application Note 150, "Spectrum Analysis Basics" (mismatch), Application Note 1287-3 (error of a return
loss) and a network-analyser guide's one-port error model; the sum of two phasors is derived. The error model, the power
delivered, what a pad hides and the standard uncertainty serve people from Python; no command calls them.
"""

from __future__ import annotations

import numpy as np


def phasor_bounds(unwanted_db: float | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What a line changes by at most, down and up, with another on it of unknown phase, so many dB below it. [dB]

    (20 log10(1 - u), 20 log10(1 + u)), u = 10^(d/20); minus infinity where they may cancel.
    """
    share = 10 ** (np.asarray(unwanted_db, float) / 20)
    with np.errstate(divide="ignore", invalid="ignore"):
        low = np.where(share < 1.0, 20 * np.log10(np.where(share < 1.0, 1 - share, 1.0)), -np.inf)
    return low, 20 * np.log10(1 + share)


def reflection_of_vswr(vswr: float) -> float:
    """(VSWR - 1) / (VSWR + 1)."""
    return (vswr - 1) / (vswr + 1)


def mismatch_bounds(one: float, other: float) -> tuple[float, float]:
    """Limits of the interaction of two reflections of unknown phase, 20 log10(1 -+ |G1| |G2|). [dB]"""
    low, high = phasor_bounds(20 * np.log10(one * other)) if one * other > 0 else (0.0, 0.0)
    return float(low), float(high)


def mismatch_standard(one: float, other: float | np.ndarray) -> float | np.ndarray:
    """Standard uncertainty of the same, both sizes known and the phase uniform: 8.686 |G1| |G2| / sqrt(2). [dB]"""
    return 20 / np.log(10) * one * other / np.sqrt(2)


def return_loss_band(reading: np.ndarray, directivity_db: float, source_match_db: float = np.inf
                     ) -> tuple[np.ndarray, np.ndarray]:
    """Between which limits the true return loss lies. [dB]

    A wave of unknown phase stands beside the true one: |G| +- (D + |G|^2 Ms). Where it may be as large as the reading
    the upper limit is infinite.
    """
    size = 10 ** (-np.asarray(reading, float) / 20)
    error = 10 ** (-directivity_db / 20) + size**2 * 10 ** (-source_match_db / 20)
    with np.errstate(divide="ignore", invalid="ignore"):
        high = np.where(size - error > 1e-9 * size, -20 * np.log10(np.maximum(size - error, 1e-300)), np.inf)
    return -20 * np.log10(size + error), high


def measured_reflection(true: complex, directivity: complex, tracking: complex, source_match: complex) -> complex:
    """One-port error model: Gm = D + T G / (1 - Ms G)."""
    return directivity + tracking * true / (1 - source_match * true)


def true_reflection(measured: complex, directivity: complex, tracking: complex, source_match: complex) -> complex:
    """The same backwards: G = (Gm - D) / (T + Ms (Gm - D))."""
    return (measured - directivity) / (tracking + source_match * (measured - directivity))


def delivered(source: complex, load: complex) -> float:
    """Power into a load over what the source has available: (1 - |Gs|^2)(1 - |Gl|^2) / |1 - Gs Gl|^2."""
    return float((1 - abs(source) ** 2) * (1 - abs(load) ** 2) / abs(1 - source * load) ** 2)


def behind_pad(reflection: float, pad_db: float) -> float:
    """Size of a reflection seen through a matched pad: twice its loss smaller."""
    return reflection * 10 ** (-pad_db / 10)
