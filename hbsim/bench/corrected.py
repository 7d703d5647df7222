"""From what a file says to what left the circuit: columns with their meaning, corrected, with what may still be wrong.

The order: unit, compression (checked), noise, the analyser's own harmonics (a band), losses at the frequency of each
harmonic, level at the input, then the limits (mismatch, flatness, directivity). Noise comes off before losses are
added.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..balance.gradient import figure
from ..describe.description import Description
from ..errors import Refusal
from ..quantities import Quantity, parse, show
from ..studies.outputs import column_unit
from .analyser import compression_db, own_harmonic_dbc, without_noise
from .device_points import device_unit, is_device_word
from .inspection import LEVELS, inspect
from .levels import against_wanted, in_dbm
from .measurement import Correction, Measured, Measurement
from .mismatch import mismatch_bounds, mismatch_standard, phasor_bounds, return_loss_band
from .readings import LOWER_LIMIT, UPPER_LIMIT, Column, Readings
from .setup import Setup

_WORTH_TELLING = -0.05  # compression beyond which it is told. [dB]
_RETURN_LOSS = "input_return_loss_db"
_MARKER_OFF = 1e-3  # of f0: how far from a multiple of it a marker may stand


@dataclass(eq=False)
class _Quantity:
    """A quantity under way: its reading, its band as offsets to it, what was done."""

    values: np.ndarray
    limit: np.ndarray
    standard: np.ndarray
    low: np.ndarray
    high: np.ndarray
    done: list[Correction] = field(default_factory=list)

    def add(self, what: str, amount: np.ndarray | float) -> None:
        amount = np.broadcast_to(np.asarray(amount, float), self.values.shape).copy()
        if amount.any():
            self.values = self.values + amount
            self.done.append(Correction(what, amount))

    def widen(self, low: np.ndarray | float, high: np.ndarray | float) -> None:
        """By limits below and above, low <= 0 <= high."""
        self.low, self.high = self.low + low, self.high + high

    def measured(self) -> Measured:
        spread = 2.0 * self.standard  # where none is said there is no band either
        return Measured(self.values, self.standard, self.values + self.low - spread, self.values + self.high + spread,
                        self.limit, tuple(self.done))


def measurement(readings: Readings, setup: Setup, description: Description, name: str = "") -> Measurement:
    """What was measured on a circuit, or on one of its devices.

    Parameters
    ----------
    readings : Readings
        Each column's `meaning` says what it is: an address of the circuit ("drive.power"), a column of a sweep
        ("output_dbm_2"), or a word of a device alone ("collector_amps").
    setup : Setup
    description : Description
    name : str
        What to call it; the file's name if nothing is said.

    Raises
    ------
    Refusal
        No column has a meaning, one has a wrong unit, nothing was measured, or something was set twice.
    """
    rows = len(readings.sweep)
    settings: dict[str, np.ndarray] = {}
    found: dict[str, _Quantity] = {}
    notes = list(readings.notes)
    columns = against_wanted(readings.columns, description.wanted_harmonic, readings.file)
    for column in columns:
        if not column.meaning:
            continue
        if column.meaning in settings or column.meaning in found:
            raise Refusal(f"'{column.meaning}' is the meaning of two columns; keep one", "columns", readings.file)
        if _is_setting(column.meaning, [other.meaning for other in readings.columns], description, readings.file):
            settings[column.meaning] = _set_values(column, description, readings)
        else:
            found[column.meaning] = _quantity(column, setup, description, readings)
    if not found and not settings and is_spectrum(readings):
        return _of_a_spectrum(readings, setup, description, name)
    if not found:
        raise Refusal("no column says what was measured; write into the TOML file beside it, for example: [columns] "
                      f'"{readings.columns[-1].name if readings.columns else "name"}" = '
                      '{ is = "output_dbm_2" }', "columns", readings.file)
    _add_settings(settings, setup, description, rows)
    levels = {word: item for word, item in found.items() if word.startswith("output_dbm_")}
    f0 = settings.get("drive.frequency", np.full(rows, description.drive.frequency))
    if levels:
        _correct_levels(levels, setup, f0, notes)
    _correct_relative(found, setup, f0, description.wanted_harmonic)
    if _RETURN_LOSS in found:
        _correct_return_loss(found[_RETURN_LOSS], setup)
    if not any(is_device_word(word) for word in settings):
        _correct_drive(settings, setup, description, f0, notes)
    notes += _flag_notes(readings)
    return Measurement(name or readings.file, settings, {word: item.measured() for word, item in found.items()},
                       readings.lines, readings.sweep, tuple(notes), **_of_the_generator(setup))


def is_spectrum(readings: Readings) -> bool:
    """Whether a file is a trace of a spectrum, or a list of its markers."""
    units = [column.unit for column in readings.columns]
    return not units and bool(readings.markers) or (len(units) == 2 and units[0] == "Hz" and units[1] in LEVELS)


def _of_a_spectrum(readings: Readings, setup: Setup, description: Description, name: str) -> Measurement:
    """One state: the lines at the multiples of the drive's frequency, from a trace or from markers."""
    settings: dict[str, np.ndarray] = {}
    _add_settings(settings, setup, description, 1)
    f0 = settings.get("drive.frequency", np.full(1, description.drive.frequency))
    notes, lines = list(readings.notes), {}
    if readings.columns:
        (trace,) = inspect(readings, float(f0[0])).traces
        notes += [*trace.lines.notes, *(f"no harmonic: {show(other.frequency, 'Hz', 6)}, {other.level:.1f} dBm: "
                                        f"{other.relation.words}" for other in trace.lines.others)]
        lines = {line.harmonic: (line.level, 0 if line.above_noise else -1) for line in trace.lines.harmonics}
    else:
        for marker in readings.markers:
            order = round(marker.frequency / float(f0[0]))
            if marker.unit == "dBm" and order and abs(marker.frequency - order * f0[0]) < _MARKER_OFF * f0[0]:
                lines[order] = (marker.value, 0)
    if not lines:
        raise Refusal(f"nothing stands at a multiple of {show(float(f0[0]), 'Hz', 6)}, the drive; is this another "
                      'circuit, or another frequency? [settings] "drive.frequency" = ... says it', "", readings.file)
    zero, found = np.zeros(1), {}
    for order, (level, limit) in sorted(lines.items()):
        word, value = f"output_dbm_{order}", np.array([level])
        found[word] = _Quantity(value, np.array([limit]), setup.standard(word, "dBm", value), zero, zero)
    _correct_levels(found, setup, f0, notes)
    _correct_drive(settings, setup, description, f0, notes)
    return Measurement(name or readings.file, settings, {word: item.measured() for word, item in found.items()},
                       notes=tuple(notes), **_of_the_generator(setup))


def _of_the_generator(setup: Setup) -> dict[str, Any]:
    return {"level_error_db": setup.numbers.get("generator.level_error", 0.0),
            "generator_second_harmonic_db": setup.numbers.get("generator.second_harmonic")}


def _add_settings(settings: dict[str, np.ndarray], setup: Setup, description: Description, rows: int) -> None:
    """What stood still."""
    for address, text in setup.settings.items():
        if address in settings:
            raise Refusal("is set here and stands in a column too; keep one", f"settings.{address}", setup.file)
        if is_device_word(address):
            value = parse(text, device_unit(address), f"settings.{address}")
        else:
            value = _spec(address, description).take(text, f"settings.{address}")
        settings[address] = np.full(rows, value)


def _correct_drive(settings: dict[str, np.ndarray], setup: Setup, description: Description, f0: np.ndarray,
                   notes: list[str]) -> None:
    """The drive that reaches the circuit."""
    correction = setup.numbers.get("generator.level_correction", 0.0)
    if (setup.input or correction) and "drive.power" not in settings:
        settings["drive.power"] = np.full(len(f0), description.drive.power_dbm)
    if correction:
        settings["drive.power"] = settings["drive.power"] + correction
        notes.append(f"drive.power: the generator gives {correction:+g} dB against what it shows")
    for loss in setup.input:
        amount = loss.at(f0)
        settings["drive.power"] = settings["drive.power"] - amount
        notes.append(f"drive.power is what the generator shows less {_range(amount)} ({loss.rule})")


def _is_setting(word: str, meanings: Sequence[str], description: Description, file: str) -> bool:
    """Whether a meaning is something that was set."""
    if is_device_word(word):
        measured = [other for other in meanings if is_device_word(other)]
        return _device_setting(word, measured)
    if "." in word:
        _spec(word, description)
        return True
    try:
        figure(word, description)
    except Refusal as refusal:
        raise Refusal(f"{refusal.what}; a setting is an address such as drive.power", "columns", file) from None
    return False


def _device_setting(word: str, meanings: Sequence[str]) -> bool:
    """Volts and frequencies are set; amperes and the rest are measured, but for a base current without base volts."""
    if word == "base_amps":
        return "base_volts" not in meanings
    return word.rpartition("_")[2] == "volts" or word == "frequency"


def _spec(address: str, description: Description) -> Quantity:
    return description.look_up(address)[0]


def _set_values(column: Column, description: Description, readings: Readings) -> np.ndarray:
    wanted = device_unit(column.meaning) if is_device_word(column.meaning) else _spec(column.meaning, description).unit
    values = _in_unit(column, wanted, readings)
    bad = np.flatnonzero(~np.isfinite(values))
    if bad.size:
        line = f"line {readings.lines[bad[0]]}" if bad[0] < len(readings.lines) else ""
        raise Refusal(f"'{column.name}' says what was set, and has no number here; take the line out, or mend it", line,
                      readings.file)
    return values


def _quantity(column: Column, setup: Setup, description: Description, readings: Readings) -> _Quantity:
    word = column.meaning
    unit = device_unit(word) if is_device_word(word) else column_unit(word)
    values = _in_unit(column, unit, readings)
    if word == _RETURN_LOSS:
        values = _positive(values, column, readings)
    limit = np.zeros(len(values), int)
    for row, flag in column.flags.items():
        if np.isfinite(values[row]):
            limit[row] = {UPPER_LIMIT: -1, LOWER_LIMIT: 1}.get(flag, 0)
    zero = np.zeros(len(values))
    return _Quantity(values, limit, setup.standard(word, unit, values), zero, zero)


def _in_unit(column: Column, unit: str, readings: Readings) -> np.ndarray:
    if column.unit == unit:
        return column.values.copy()
    if unit == "dBm" and column.unit:
        return in_dbm(column, file=readings.file).values
    if not column.unit:
        raise Refusal(f"'{column.name}' has no unit; write it: \"{column.name}\" = {{ is = \"{column.meaning}\", "
                      f'unit = "{unit}" }}', "columns", readings.file)
    raise Refusal(f"'{column.name}' is in {column.unit}, and {column.meaning} is in {unit}", "columns", readings.file)


def _positive(values: np.ndarray, column: Column, readings: Readings) -> np.ndarray:
    """Return loss as a positive number: turned where the name says S11, refused where only the sign hints at it."""
    if column.name.lower().lstrip("|").startswith("s11"):
        return -values
    there = values[np.isfinite(values)]
    if there.size and (there < 0).sum() > there.size / 2:
        raise Refusal(f"most numbers of '{column.name}' are negative, and a return loss is positive; if this is S11 in "
                      "dB write scale = -1", "columns", readings.file)
    return values


def _correct_levels(levels: Mapping[str, _Quantity], setup: Setup, f0: np.ndarray, notes: list[str]) -> None:
    numbers = setup.numbers
    strongest = np.max([np.where(np.isfinite(item.values), item.values, -np.inf) for item in levels.values()], axis=0)
    mixer = strongest - numbers.get("analyser.attenuation", 0.0)
    for word, item in levels.items():
        order = int(word.rpartition("_")[2])
        _compression(item, word, mixer, numbers, notes)
        _noise(item, setup)
        intercept = numbers.get({2: "analyser.second_harmonic_intercept",
                                 3: "analyser.third_harmonic_intercept"}.get(order, ""))
        if intercept is not None and "output_dbm_1" in levels:
            f0_read = levels["output_dbm_1"].values - sum((done.amount for done in levels["output_dbm_1"].done), 0.0)
            own = f0_read + own_harmonic_dbc(f0_read - numbers.get("analyser.attenuation", 0.0), intercept, order)
            item.widen(*_bounds(own - item.values))
        for loss in setup.output:
            item.add(f"{loss.rule}, at {_range_of_frequency(order * f0)}", loss.at(order * f0))
        item.widen(-numbers.get("analyser.flatness", 0.0), numbers.get("analyser.flatness", 0.0))
        if "output.circuit_match" in numbers and "output.analyser_match" in numbers:
            sizes = [10 ** (-numbers[key] / 20) for key in ("output.circuit_match", "output.analyser_match")]
            low, high = mismatch_bounds(*sizes)
            item.widen(-high, -low)  # a reading too high means a true value that is lower


def _correct_relative(found: Mapping[str, _Quantity], setup: Setup, f0: np.ndarray, wanted: int) -> None:
    """Levels against the wanted line: what stands between takes more of one than of the other."""
    flatness = 2 * setup.numbers.get("analyser.flatness", 0.0)
    for word, item in found.items():
        if word.startswith("output_dbc_"):
            order = int(word.rpartition("_")[2])
            for loss in setup.output:
                item.add(f"{loss.rule}, at harmonic {order} less at {wanted}",
                         loss.at(order * f0) - loss.at(wanted * f0))
            item.widen(-flatness, flatness)


def _bounds(unwanted_db: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of the true line against a reading that an unwanted one, told against the reading, is in: (1 - u) to (1 + u)."""
    low, high = phasor_bounds(unwanted_db)
    return np.where(np.isnan(low), 0.0, low), np.where(np.isnan(high), 0.0, high)


def _compression(item: _Quantity, word: str, mixer: np.ndarray, numbers: Mapping[str, float],
                 notes: list[str]) -> None:
    if "analyser.compression_point" not in numbers:
        return
    error = compression_db(mixer, numbers["analyser.compression_point"])
    if (error < _WORTH_TELLING).any():
        count = int((error < _WORTH_TELLING).sum())
        notes.append(f"{word}: the analyser compresses by up to {-error.min():.2f} dB ({count} points); the band "
                     "reaches up by as much; use more attenuation")
    item.widen(0.0, -error)


def _noise(item: _Quantity, setup: Setup) -> None:
    floor = setup.numbers.get("analyser.noise_floor")
    if floor is None:
        return
    corrected, lowest, upper = without_noise(item.values, floor, setup.averaging)
    item.add(f"noise of {show(floor, 'dBm')} taken off, {setup.averaging} averaging",
             np.where(np.isfinite(corrected), corrected - item.values, 0.0))
    item.limit = np.where(upper, -1, item.limit)
    with np.errstate(invalid="ignore"):
        item.widen(np.where(np.isnan(lowest), 0.0, np.minimum(lowest - corrected, 0.0)), 0.0)


def _correct_return_loss(item: _Quantity, setup: Setup) -> None:
    if "bridge.directivity" not in setup.numbers:
        return
    low, high = return_loss_band(item.values, setup.numbers["bridge.directivity"],
                                 setup.numbers.get("bridge.source_match", np.inf))
    item.widen(low - item.values, high - item.values)
    # what stands beside the wave has any phase against it, another one at each drive: that is an uncertainty of a point
    beside = 10 ** (-setup.numbers["bridge.directivity"] / 20)
    item.standard = np.hypot(item.standard, mismatch_standard(beside, 10 ** (item.values / 20)))


def _range(amount: np.ndarray) -> str:
    low, high = float(np.min(amount)), float(np.max(amount))
    return f"{low:.2f} dB" if high - low < 0.005 else f"{low:.2f} to {high:.2f} dB"


def _range_of_frequency(frequency: np.ndarray) -> str:
    low, high = float(np.min(frequency)), float(np.max(frequency))
    return show(low, "Hz", 6) if low == high else f"{show(low, 'Hz', 6)} to {show(high, 'Hz', 6)}"


def _flag_notes(readings: Readings) -> list[str]:
    found = []
    for column in readings.columns:
        if column.meaning and column.flags:
            kinds = {}
            for flag in column.flags.values():
                kinds[flag] = kinds.get(flag, 0) + 1
            found.append(f"{column.meaning}: " + ", ".join(f"{count} {kind}" for kind, count in kinds.items()))
    return found
