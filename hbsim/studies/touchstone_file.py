"""What a Touchstone file holds, looked at on its own: `hbsim touchstone`."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ..linear.passivity import Worst, losslessness, passivity, reciprocity
from ..linear.touchstone import TouchstoneData
from ..quantities import finite_or_none
from .parameter_names import key_of, pairs

_EQUAL = 1e-2  # of a step: points so near to an even row stand in one, as files round their frequencies


class Spacing(NamedTuple):
    """How the points follow each other.

    word : "single", "equal" (steps), "geometric" (ratios) or "uneven".
    smallest, largest : step; 0 for a single point. [Hz]
    per_decade : points in a decade, where ratios are equal; else 0.
    """

    word: str
    smallest: float = 0.0
    largest: float = 0.0
    per_decade: float = 0.0


@dataclass(frozen=True)
class Inspection:
    """A file and what its data say of the part; see linear/passivity.py."""

    data: TouchstoneData
    spacing: Spacing
    passivity: Worst
    losslessness: Worst
    reciprocity: Worst

    @property
    def db(self) -> np.ndarray:
        """20 log10 |S|, (n, p, p); minus infinity where S is 0. [dB]"""
        with np.errstate(divide="ignore"):
            return 20.0 * np.log10(np.abs(self.data.s))


def inspect(data: TouchstoneData) -> Inspection:
    """Look at what `read_touchstone` has read."""
    return Inspection(data, spacing(data.frequency), passivity(data), losslessness(data), reciprocity(data))


def spacing(frequency: np.ndarray) -> Spacing:
    """How frequencies, (n,) [Hz], follow each other."""
    if len(frequency) == 1:
        return Spacing("single")
    steps = np.diff(frequency)
    smallest, largest = float(steps.min()), float(steps.max())
    if _is_even(frequency):
        return Spacing("equal", smallest, largest)
    if frequency[0] > 0 and _is_even(np.log(frequency)):
        return Spacing("geometric", smallest, largest, len(steps) / float(np.log10(frequency[-1] / frequency[0])))
    return Spacing("uneven", smallest, largest)


def _is_even(row: np.ndarray) -> bool:
    ideal = np.linspace(row[0], row[-1], len(row))
    return bool(np.abs(row - ideal).max() <= _EQUAL * (ideal[1] - ideal[0]))


def as_json(found: Inspection) -> dict[str, Any]:
    """All figures, the unit in the key; `first` and `last` are the 11 pair as the file has it, [re, im], unscaled."""
    data = found.data
    first, last = ([float(np.real(value)), float(np.imag(value))] for value in data.corner)
    return {
        "file": data.file,
        "ports": data.ports,
        "points": len(data.frequency),
        "frequency_hz": [float(data.frequency[0]), float(data.frequency[-1])],
        "step_hz": None if found.spacing.word == "single" else [found.spacing.smallest, found.spacing.largest],
        "spacing": found.spacing.word,
        "version": data.version,
        "parameter": data.parameter,
        "format": data.format,
        "reference_ohm": data.reference.tolist(),
        "first": first,
        "last": last,
        "noise_points": 0 if data.noise is None else len(data.noise),
        "comments": len(data.comments),
        "passivity": _worst("largest_singular_value", found.passivity),
        "losslessness": _worst("largest_share_of_power", found.losslessness),
        "reciprocity": _worst("largest_difference", found.reciprocity),
        "notes": list(data.notes),
        "curves": {"frequency_hz": data.frequency.tolist(), **{
            key_of(i, j, data.ports): {"re": data.s[:, i, j].real.tolist(), "im": data.s[:, i, j].imag.tolist(),
                                       "db": [finite_or_none(value) for value in found.db[:, i, j].tolist()]}
            for i, j in pairs(data.ports)}},
    }


def _worst(name: str, worst: Worst) -> dict[str, float | None]:
    """JSON has no infinite number, which the power of absurd data may be."""
    return {name: worst.value if math.isfinite(worst.value) else None, "frequency_hz": worst.frequency}
