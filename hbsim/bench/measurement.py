"""A measurement laid on a circuit: at which settings what was measured, corrected, and how sure it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

_NEPER = np.log(10.0) / 20.0


def alike(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Kinds of equal rows, (n_point, n), in the order in which they first come: the first row of each kind, and the
    kind of each row."""
    _, first, where = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    return first[order], np.argsort(order)[where.ravel()]


def reflection_off(predicted: np.ndarray, measured: np.ndarray, standard: np.ndarray,
                   beside: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """How far return losses are off as reflections, in standard uncertainties, with the sign of decibels; and the slope
    of that against the predicted decibels.

    Parameters
    ----------
    predicted, measured, standard : ndarray, (n,)
        dB.
    beside : standard uncertainty of the reflection itself.
    """
    there, read = (10.0 ** (-loss / 20.0) for loss in (predicted, measured))
    sure = np.hypot(_NEPER * read * standard, beside)
    return (read - there) / sure, _NEPER * there / sure


@dataclass(frozen=True, eq=False)
class Correction:
    """One thing that was done to a quantity.

    Attributes
    ----------
    what : str
        "cable.csv at 2.304 GHz, linear in frequency", in the order in which it was done.
    amount : ndarray, (n_point,)
        What was added, in the quantity's unit.
    """

    what: str
    amount: np.ndarray


@dataclass(frozen=True, eq=False)
class Measured:
    """One quantity at all points.

    Attributes
    ----------
    values : ndarray, (n_point,)
        Corrected, in the unit of the column of a sweep of the same name; nan where it was not measured.
    standard : ndarray, (n_point,)
        Standard uncertainty of a point that is its own (noise, scale, reading). Same unit; decibels for a return loss.
    low, high : ndarray, (n_point,)
        The band: what the true value lies between when every known limit (mismatch, directivity, level error) is used
        up at its worst; may be infinite.
    limit : ndarray of int, (n_point,)
        0 a value; -1: the true value is at most this (below the noise), +1: at least this.
    corrections : tuple of Correction
    beside : ndarray, (n_point,), or zero
        Of a return loss: standard uncertainty of the reflection itself by what a bridge lets stand beside it, apart
        from `standard`; in decibels it grows as the reflection vanishes.
    """

    values: np.ndarray
    standard: np.ndarray
    low: np.ndarray
    high: np.ndarray
    limit: np.ndarray
    corrections: tuple[Correction, ...] = ()
    beside: np.ndarray | float = 0.0

    @property
    def whole_standard(self) -> np.ndarray:
        """`standard` and what stands beside the reflection together, to first order, (n_point,)."""
        if not np.any(self.beside):
            return self.standard
        return np.hypot(self.standard, self.beside * 10.0 ** (self.values / 20.0) / _NEPER)


@dataclass(frozen=True, eq=False)
class Measurement:
    """A data set that a prediction can be solved at.

    Attributes
    ----------
    name : str
        The file it came from, or what the person calls it.
    settings : mapping
        Address of a circuit ("drive.power", "supply.VCC") -> (n_point,), in the unit of the quantity: SI, dBm for a
        power.
    quantities : mapping
        Name of a column of a sweep ("output_dbm_2", "input_return_loss_db", "supply_amps_VCC") -> Measured.
    lines : ndarray of int, (n_point,)
        Lines of the file; a point left out can be named by it.
    sweep : ndarray of int, (n_point,)
        Which of the file's sweeps a point belongs to.
    notes : tuple of str
        What a reader should know: how it was read, what was assumed because the person said so.
    level_error_db : float
        Limit of what the drive may be off by, at all points alike; what it does to each quantity follows from the
        predicted slope.
    generator_second_harmonic_db : ndarray, (n_point,), or None
        Of the generator against its f0, where both reach the circuit; its phase is not known.
    cautions : tuple of str
        What the readings tell that can harm an instrument.
    """

    name: str
    settings: Mapping[str, np.ndarray]
    quantities: Mapping[str, Measured]
    lines: np.ndarray = field(default_factory=lambda: np.zeros(0, int))
    sweep: np.ndarray = field(default_factory=lambda: np.zeros(0, int))
    notes: tuple[str, ...] = ()
    level_error_db: float = 0.0
    generator_second_harmonic_db: np.ndarray | None = None
    cautions: tuple[str, ...] = ()

    @property
    def points(self) -> int:
        """How many."""
        return len(next(iter(self.settings.values()))) if self.settings else 1
