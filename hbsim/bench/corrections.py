"""What is added to readings until they are what left the circuit, and how far each may still be off.

The order: unit, the mean of repeated readings where it is wanted, compression (checked), noise, the analyser's own
harmonics (a band), losses at the frequency of each harmonic, level at the input, then the limits (mismatch, flatness,
directivity). Noise comes off before losses are added.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ..errors import Refusal
from ..quantities import show
from .analyser import compression_db, own_harmonic_dbc, without_noise
from .levels import dbm_to_watts, watts_to_dbm
from .measurement import Correction, Measured
from .mismatch import mismatch_bounds, phasor_bounds, return_loss_band
from .setup import Setup

LEVEL, RETURN_LOSS, CONVERSION_LOSS = "output_dbm_", "input_return_loss_db", "conversion_loss_db"
_RELATIVE = "output_dbc_"
_MATCHES = {"output.circuit_match", "output.analyser_match"}
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
    beside : ndarray, (n_point,), or zero
        As `Measured` has it.
    """

    values: np.ndarray
    limit: np.ndarray
    standard: np.ndarray
    low: np.ndarray
    high: np.ndarray
    done: list[Correction] = field(default_factory=list)
    beside: np.ndarray | float = 0.0

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
        low = np.where(self.limit < 0, -np.inf, self.values + self.low - spread)
        high = np.where(self.limit > 0, np.inf, self.values + self.high + spread)
        return Measured(self.values, self.standard, low, high, self.limit, tuple(self.done), self.beside)


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
        if intercept is not None and f0_read is None:
            notes.append(f"{word}: no band for the analyser's own harmonic, which needs the level at f0 (output_dbm_1)")
        elif intercept is not None:
            own = f0_read + own_harmonic_dbc(f0_read - numbers.get("analyser.attenuation", 0.0), intercept, order)
            item.widen(*_bounds(own - item.values))
        for loss in setup.output:
            item.add(f"{loss.rule}, at {_range_of_frequency(order * f0)}", loss.at(order * f0))
        item.widen(-numbers.get("analyser.flatness", 0.0), numbers.get("analyser.flatness", 0.0))
        if len(_MATCHES & set(numbers)) == 1:
            notes.append(f"{word}: no band for mismatch, which needs circuit_match and analyser_match")
        if _MATCHES <= set(numbers):
            sizes = [10 ** (-numbers[key] / 20) for key in sorted(_MATCHES)]
            low, high = mismatch_bounds(*sizes)
            item.widen(-high, -low)  # a reading too high means a true value that is lower


def correct_ratios(readings: Mapping[str, Reading], setup: Setup, f0: np.ndarray, wanted: int) -> None:
    """What was told of two levels, or of a level and the drive: both have passed what stood between.

    wanted : harmonic of the wanted line.

    Raises
    ------
    Refusal
        An efficiency, of which nobody knows what is to be corrected.
    """
    flat = setup.numbers.get("analyser.flatness", 0.0)
    for word, item in readings.items():
        if word == "efficiency" and (setup.input or setup.output or setup.level_correction):
            raise Refusal("an efficiency that was computed from what the instruments showed is not corrected for what "
                          "stood between; give the levels and the currents", word, setup.file)
        if word == CONVERSION_LOSS:
            for loss in setup.output:
                item.add(f"{loss.rule}, at {_range_of_frequency(wanted * f0)}", -loss.at(wanted * f0))
            for loss in setup.input:
                item.add(f"{loss.rule}, at {_range_of_frequency(f0)}", -loss.at(f0))
            if setup.level_correction:
                item.add(f"generator ({setup.level_correction.rule})", setup.level_correction.at(f0))
            item.widen(-flat, flat)
        elif word.startswith(_RELATIVE):
            order = int(word.rpartition("_")[2])
            for loss in setup.output:
                where = f"{_range_of_frequency(order * f0)} against {_range_of_frequency(wanted * f0)}"
                item.add(f"{loss.rule}, at {where}", loss.at(order * f0) - loss.at(wanted * f0))
            item.widen(-2.0 * flat, 2.0 * flat)


def _bounds(unwanted_db: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of the true line against a reading that an unwanted one, told against the reading, is in: (1 - u) to (1 + u)."""
    low, high = phasor_bounds(unwanted_db)
    return np.where(np.isnan(low), 0.0, low), np.where(np.isnan(high), 0.0, high)


def _compression(item: Reading, word: str, mixer: np.ndarray, numbers: Mapping[str, float],
                 notes: list[str]) -> None:
    if "analyser.compression_point" not in numbers:
        return
    error = compression_db(mixer, numbers["analyser.compression_point"])
    lost = int(np.isinf(error).sum())
    seen = error[np.isfinite(error) & (error < _WORTH_TELLING)]
    if seen.size:
        notes.append(f"{word}: the analyser compresses by up to {-seen.min():.2f} dB ({seen.size} points); the band "
                     "reaches up by as much; use more attenuation")
    if lost:
        notes.append(f"{word}: at {lost} points the analyser was driven beyond its compression point, where its "
                     "reading says only what the level is at least; use more attenuation, for its mixer may suffer "
                     "as well")
    item.widen(0.0, -error)


def _noise(item: Reading, setup: Setup) -> None:
    floor = setup.numbers.get("analyser.noise_floor")
    if floor is None:
        return
    corrected, lowest, upper = without_noise(item.values, floor, setup.averaging)
    value = np.isfinite(corrected) & (item.limit == 0)  # a limit holds for the line already
    item.add(f"noise of {show(floor, 'dBm')} taken off, {setup.averaging} averaging",
             np.where(value, corrected - item.values, 0.0))
    item.limit = np.where(upper, -1, item.limit)
    with np.errstate(invalid="ignore"):
        item.widen(np.where(np.isnan(lowest), 0.0, np.minimum(lowest - corrected, 0.0)), 0.0)


def correct_return_loss(item: Reading, setup: Setup, f0: np.ndarray, notes: list[str]) -> None:
    """What a bridge leaves uncertain about return losses; with what lay between it and the circuit, passed twice.

    f0 : ndarray, (n_point,)
        [Hz]
    """
    numbers = setup.numbers
    if "bridge.directivity" in numbers:
        low, high = return_loss_band(item.values, numbers["bridge.directivity"],
                                     numbers.get("bridge.source_match", np.inf))
        item.widen(low - item.values, high - item.values)
        # what stands beside the wave has any phase against it, another at each drive: an uncertainty of each point
        item.beside = np.full(len(item.values), 10 ** (-numbers["bridge.directivity"] / 20) / np.sqrt(2))
    elif "bridge.source_match" in numbers:
        notes.append("the bridge's source match widens no band without its directivity")
    if setup.behind_losses:
        for loss in setup.input:
            amount = loss.at(f0)
            item.add(f"{loss.rule}, passed twice, at {_range_of_frequency(f0)}", -2.0 * amount)
            item.beside = item.beside * 10 ** (2.0 * amount / 20)
    elif setup.input:
        notes.append("return loss is taken as read at the circuit's port; if the bridge stood at the generator's end "
                     'of what is in [input], write place = "generator" into [bridge]')


def range_of(amount: np.ndarray, sign: str = "") -> str:
    """Of decibels, in words; "+" shows the sign of each."""
    low, high = float(np.min(amount)), float(np.max(amount))
    first = f"{low:{sign}.2f}"
    return f"{first} dB" if high - low < 0.005 else f"{first} to {high:{sign}.2f} dB"


def _range_of_frequency(frequency: np.ndarray) -> str:
    low, high = float(np.min(frequency)), float(np.max(frequency))
    return show(low, "Hz", 6) if low == high else f"{show(low, 'Hz', 6)} to {show(high, 'Hz', 6)}"
