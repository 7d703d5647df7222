"""What is added to readings until they are what left the circuit, and how far each may still be off.

The order: unit, the mean of repeated readings where it is wanted, compression (checked), noise, the analyser's own
harmonics (a band), losses at the frequency of each harmonic, level at the input, then the limits (mismatch, flatness,
directivity). Noise comes off before losses are added.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ..quantities import show
from .analyser import compression_db, own_harmonic_dbc, without_noise
from .levels import dbm_to_watts, watts_to_dbm
from .measurement import Correction, Measured
from .mismatch import mismatch_bounds, mismatch_standard, phasor_bounds, return_loss_band
from .setup import Setup

RETURN_LOSS = "input_return_loss_db"
_WORTH_TELLING = -0.05  # compression beyond which it is told. [dB]


@dataclass(eq=False)
class Reading:
    """A quantity under way: its readings, (n_point,), what is done to them, and how far the true values reach.

    Attributes
    ----------
    values, standard : ndarray, (n_point,)
        As `Measured` has them; so has `limit`.
    low, high : ndarray, (n_point,)
        The band as offsets from the values: at most 0, at least 0.
    done : list of Correction
    """

    values: np.ndarray
    limit: np.ndarray
    standard: np.ndarray
    low: np.ndarray
    high: np.ndarray
    done: list[Correction] = field(default_factory=list)

    def add(self, what: str, amount: np.ndarray | float) -> None:
        """A correction, which is kept if it is any."""
        amount = np.broadcast_to(np.asarray(amount, float), self.values.shape).copy()
        if amount.any():
            self.values = self.values + amount
            self.done.append(Correction(what, amount))

    def widen(self, low: np.ndarray | float, high: np.ndarray | float) -> None:
        """By limits below and above, low <= 0 <= high."""
        self.low, self.high = self.low + low, self.high + high

    def measured(self) -> Measured:
        """What it has become."""
        spread = 2.0 * self.standard  # where none is said there is no band either
        return Measured(self.values, self.standard, self.values + self.low - spread, self.values + self.high + spread,
                        self.limit, tuple(self.done))


def correct_levels(levels: Mapping[str, Reading], setup: Setup, f0: np.ndarray, notes: list[str]) -> None:
    """Levels as the analyser shows them, by their names ("output_dbm_2"), become those at the circuit's port.

    f0 : ndarray, (n_point,)
        [Hz]
    """
    numbers = setup.numbers
    # the analyser compresses by all that reaches its mixer together
    watts = [dbm_to_watts(np.where(np.isfinite(item.values), item.values, -np.inf)) for item in levels.values()]
    mixer = watts_to_dbm(np.sum(watts, axis=0)) - numbers.get("analyser.attenuation", 0.0)
    f0_read = levels["output_dbm_1"].values if "output_dbm_1" in levels else None
    for word, item in levels.items():
        order = int(word.rpartition("_")[2])
        _compression(item, word, mixer, numbers, notes)
        _noise(item, setup)
        intercept = numbers.get({2: "analyser.second_harmonic_intercept",
                                 3: "analyser.third_harmonic_intercept"}.get(order, ""))
        if intercept is not None and f0_read is not None:
            own = f0_read + own_harmonic_dbc(f0_read - numbers.get("analyser.attenuation", 0.0), intercept, order)
            item.widen(*_bounds(own - item.values))
        for loss in setup.output:
            item.add(f"{loss.rule}, at {_range_of_frequency(order * f0)}", loss.at(order * f0))
        item.widen(-numbers.get("analyser.flatness", 0.0), numbers.get("analyser.flatness", 0.0))
        if "output.circuit_match" in numbers and "output.analyser_match" in numbers:
            sizes = [10 ** (-numbers[key] / 20) for key in ("output.circuit_match", "output.analyser_match")]
            low, high = mismatch_bounds(*sizes)
            item.widen(-high, -low)  # a reading too high means a true value that is lower


def correct_relative(readings: Mapping[str, Reading], setup: Setup, f0: np.ndarray, wanted: int) -> None:
    """Levels against the wanted line ("output_dbc_3"): what stands between takes more of one than of the other.

    f0 : ndarray, (n_point,)
        [Hz]
    wanted : int
        Order of the wanted line.
    """
    flatness = 2 * setup.numbers.get("analyser.flatness", 0.0)  # either line may be off
    for word, item in readings.items():
        if word.startswith("output_dbc_"):
            order = int(word.rpartition("_")[2])
            for loss in setup.output:
                item.add(f"{loss.rule}, at {order} f0 less that at {wanted} f0",
                         loss.at(order * f0) - loss.at(wanted * f0))
            item.widen(-flatness, flatness)


def _bounds(unwanted_db: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of the true line against a reading that an unwanted one, told against the reading, is in: (1 - u) to (1 + u)."""
    low, high = phasor_bounds(unwanted_db)
    return np.where(np.isnan(low), 0.0, low), np.where(np.isnan(high), 0.0, high)


def _compression(item: Reading, word: str, mixer: np.ndarray, numbers: Mapping[str, float],
                 notes: list[str]) -> None:
    if "analyser.compression_point" not in numbers:
        return
    error = compression_db(mixer, numbers["analyser.compression_point"])
    if (error < _WORTH_TELLING).any():
        count = int((error < _WORTH_TELLING).sum())
        notes.append(f"{word}: the analyser compresses by up to {-error.min():.2f} dB ({count} points); the band "
                     "reaches up by as much; use more attenuation")
    item.widen(0.0, -error)


def _noise(item: Reading, setup: Setup) -> None:
    floor = setup.numbers.get("analyser.noise_floor")
    if floor is None:
        return
    corrected, lowest, upper = without_noise(item.values, floor, setup.averaging)
    item.add(f"noise of {show(floor, 'dBm')} taken off, {setup.averaging} averaging",
             np.where(np.isfinite(corrected), corrected - item.values, 0.0))
    item.limit = np.where(upper, -1, item.limit)
    with np.errstate(invalid="ignore"):
        item.widen(np.where(np.isnan(lowest), 0.0, np.minimum(lowest - corrected, 0.0)), 0.0)


def correct_return_loss(item: Reading, setup: Setup) -> None:
    """What a bridge leaves uncertain about return losses."""
    if "bridge.directivity" not in setup.numbers:
        return
    low, high = return_loss_band(item.values, setup.numbers["bridge.directivity"],
                                 setup.numbers.get("bridge.source_match", np.inf))
    item.widen(low - item.values, high - item.values)
    # what stands beside the wave has any phase against it, another one at each drive: that is an uncertainty of a point
    beside = 10 ** (-setup.numbers["bridge.directivity"] / 20)
    item.standard = np.hypot(item.standard, mismatch_standard(beside, 10 ** (item.values / 20)))


def range_of(amount: np.ndarray, sign: str = "") -> str:
    """Of decibels, in words; "+" shows the sign of each."""
    low, high = float(np.min(amount)), float(np.max(amount))
    first = f"{low:{sign}.2f}"
    return f"{first} dB" if high - low < 0.005 else f"{first} to {high:{sign}.2f} dB"


def _range_of_frequency(frequency: np.ndarray) -> str:
    low, high = float(np.min(frequency)), float(np.max(frequency))
    return show(low, "Hz", 6) if low == high else f"{show(low, 'Hz', 6)} to {show(high, 'Hz', 6)}"
