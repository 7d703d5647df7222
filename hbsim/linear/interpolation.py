"""S-parameters between the points of a file.

Real and imaginary parts follow a cubic spline. On a line whose phase turns by 10 (30) degrees from point to point its
largest error away from the ends is 3e-6 (2e-4); that of monotone and of Akima cubics is 1e-3 (1e-2), that of straight
lines 4e-3 (3e-2). Magnitude and phase are not taken apart: the phase has no meaning at a zero of transmission and
jumps by a turn. A spline may overshoot where the steps are uneven (a DC point far below the rest): in an interval
where it would give out more power than the points at its ends do, the straight line between them is taken, which
cannot. Fewer than 4 points are joined by straight lines.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from .passivity import largest_gain
from .touchstone import TouchstoneData

SAME = 1e-9  # frequencies this near to each other, relatively, are the same: rounding of k f0 and of units
_OVERSHOOT = 1e-2  # gain above that of its ends (0.1 dB) at which an interval of the spline is not trusted


def between(data: TouchstoneData, frequency: np.ndarray) -> np.ndarray:
    """S at frequencies [Hz] inside the file's range, (n, p, p); see the head of this file."""
    points = data.frequency
    if len(points) == 1:
        return np.repeat(data.s, len(frequency), axis=0)
    left = np.clip(np.searchsorted(points, frequency, side="right") - 1, 0, len(points) - 2)
    step = points[left + 1] - points[left]
    s1, s2 = data.s[left], data.s[left + 1]
    straight = s1 + ((frequency - points[left]) / step)[:, None, None] * (s2 - s1)
    if len(points) < 4:
        return straight
    spline = _spline(data)
    inside = spline(points[left, None] + step[:, None] * np.array([0.25, 0.5, 0.75]))
    allowed = np.maximum(1.0, np.maximum(largest_gain(s1), largest_gain(s2))) * (1 + _OVERSHOOT)
    trusted = largest_gain(inside).max(axis=1) <= allowed
    return np.where(trusted[:, None, None], spline(frequency), straight)


def on_grid(data: TouchstoneData, frequency: np.ndarray) -> np.ndarray:
    """S at frequencies [Hz] inside the file's range, (n, p, p): its own points where all of them are asked for."""
    if same_grid(data.frequency, frequency):
        return data.s
    return between(data, np.clip(frequency, data.frequency[0], data.frequency[-1]))


def same_grid(first: np.ndarray, second: np.ndarray) -> bool:
    """Whether two rows of frequencies are the same but for rounding."""
    return len(first) == len(second) and bool(np.all(np.abs(first - second) <= SAME * second))


def covered(data: TouchstoneData, frequency: np.ndarray) -> np.ndarray:
    """Which frequencies [Hz] lie inside the file's range, (n,)."""
    return (frequency >= data.frequency[0] * (1 - SAME)) & (frequency <= data.frequency[-1] * (1 + SAME))


@lru_cache(maxsize=64)
def _spline(data: TouchstoneData) -> Callable[[np.ndarray], np.ndarray]:
    from scipy.interpolate import CubicSpline  # late: it doubles the time a command needs to start
    return CubicSpline(data.frequency, data.s)
