"""How lines lie to the multiples of a frequency, as far as arithmetic tells it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Relation:
    """The nearest multiple of f0 (0: below f0 / 2), the distance from it [Hz], and what that tells; "" if nothing.

    `multiple` is the odd multiple of f0 / 2 that the line stands at ("1.5"), None where it stands at none.
    """

    harmonic: int
    distance: float
    words: str
    multiple: float | None = None


def relations(frequency: np.ndarray, f0: float, sharpness: Callable[[float], float]) -> list[Relation]:
    """Of each line to the harmonics and to the other lines.

    Parameters
    ----------
    frequency : ndarray, (n_line,)
        Of lines that are no harmonic. [Hz]
    f0 : float
        [Hz]
    sharpness : callable
        Order -> how well a line's place is known there. [Hz]
    """
    order = np.floor(frequency / f0 + 0.5).astype(int)
    distance = frequency - order * f0
    known = np.array([sharpness(n) for n in order])
    halves = np.floor(frequency / f0) + 0.5
    near = np.abs(frequency - halves * f0) <= known
    return [Relation(int(order[i]), float(distance[i]), _words(i, order, distance, known, halves[i] if near[i] else 0),
                     float(halves[i]) if near[i] else None) for i in range(len(frequency))]


def _words(i: int, order: np.ndarray, distance: np.ndarray, known: np.ndarray, halves: float) -> str:
    if halves:
        return f"{halves:g} f0, an odd multiple of f0 / 2: a divider, or a circuit that halves by itself"
    size = np.abs(distance)
    if size[i] <= 2 * known[i]:
        return ""  # so near that any distance would be alike
    other = np.arange(len(size)) != i
    alike = other & (np.abs(size - size[i]) <= known + known[i])
    said = []
    if np.any(alike & (order == order[i]) & (distance * distance[i] < 0)):
        said.append(f"one on each side of {_name(order[i])}: modulation, or an oscillation at that distance")
    elsewhere = sorted({int(n) for n in order[alike] if n != order[i]})
    if elsewhere:
        said.append(f"as far from {', '.join(_name(n) for n in elsewhere)} as another line")
    half = other & (size > 2 * known) & (np.abs(2 * size - size[i]) <= 2 * known + known[i]) & (order == order[i])
    if np.any(half & (distance * distance[i] > 0)):
        said.append("twice as far as another line")
    return "; ".join(said)


def _name(order: int) -> str:
    return {0: "0", 1: "f0"}.get(int(order), f"{order} f0")
