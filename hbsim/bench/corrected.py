"""From what a file says to what left the circuit: columns with their meaning, corrected (see corrections.py)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..balance.gradient import figure
from ..describe.description import Description
from ..errors import Refusal
from .corrections import RETURN_LOSS, Reading
from .device_points import device_unit, is_device_word
from .finish import finished
from .inspection import flag_counts
from .levels import against_wanted, in_dbm
from .measurement import Measurement
from .readings import Column, Readings, limit_of, turned
from .repeats import Points
from .settled import add_settings, spec, unit_of
from .setup import Setup
from .skeleton import not_known, skeleton, there_are, words_of
from .spectrum_points import is_spectrum, of_a_spectrum

_NO_GAIN = -1.0  # of a return loss: within what a bridge is off by. [dB]


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
    found: dict[str, Reading] = {}
    notes = list(readings.notes)
    meanings = [*(column.meaning for column in readings.columns), *filter(is_device_word, setup.settings)]
    for column in against_wanted(readings.columns, description.wanted_harmonic, readings.file):
        if not column.meaning:
            continue
        if column.meaning in settings or column.meaning in found:
            raise Refusal(f"'{column.meaning}' is the meaning of two columns; keep one", "columns", readings.file)
        if _is_setting(column, meanings, description, setup.file or readings.file):
            settings[column.meaning] = _set_values(column, description, readings)
        else:
            found[column.meaning] = _quantity(column, setup, readings, notes)
    if not found and not settings and is_spectrum(readings):
        return of_a_spectrum(readings, setup, description, name or readings.file)
    if not found:
        raise Refusal(skeleton(readings, description, setup.file), "", readings.file)
    add_settings(settings, setup, description, rows)
    notes += _flag_notes(readings)
    return finished(name or readings.file, Points(settings, found, readings.lines, readings.sweep), setup, description,
                    notes)


def _is_setting(column: Column, meanings: Sequence[str], description: Description, file: str) -> bool:
    """Whether a column's meaning is something that was set; `file` is that which says the meaning."""
    word, place = column.meaning, f'[columns] "{column.name}"'
    if is_device_word(word):
        other = next((text for text in meanings if text and not is_device_word(text)), "")
        if other:
            raise Refusal(f"'{word}' is of a device measured alone, and '{other}' of a driven circuit: no file has "
                          f"both; for a circuit {there_are(words_of(description))}", place, file)
        return _device_setting(word, [other for other in meanings if is_device_word(other)])
    try:
        if "." in word:
            spec(word, description)
            return True
        figure(word, description)
    except Refusal as refusal:
        known = "." not in word and "there is no figure" in refusal.what
        raise Refusal(not_known(word, description) if known else refusal.what, place, file) from None
    return False


def _device_setting(word: str, meanings: Sequence[str]) -> bool:
    """Volts and frequencies are set; amperes and the rest are measured, but for a base current without base volts."""
    if word == "base_amps":
        return "base_volts" not in meanings
    return word.rpartition("_")[2] == "volts" or word == "frequency"


def _set_values(column: Column, description: Description, readings: Readings) -> np.ndarray:
    wanted = device_unit(column.meaning) if is_device_word(column.meaning) else spec(column.meaning, description).unit
    values = _in_unit(column, wanted, readings)
    limits = [row for row, flag in column.flags.items() if limit_of(flag)]
    bad = sorted([*np.flatnonzero(~np.isfinite(values)), *limits])
    if bad:
        line = f"line {readings.lines[bad[0]]}" if bad[0] < len(readings.lines) else ""
        lacks = "only a limit" if bad[0] in limits else "no number"
        raise Refusal(f"'{column.name}' says what was set, and has {lacks} here; take the line out, or mend it", line,
                      readings.file)
    return values


def _quantity(column: Column, setup: Setup, readings: Readings, notes: list[str]) -> Reading:
    word = column.meaning
    unit = unit_of(word)
    values, flags = _in_unit(column, unit, readings), column.flags
    if word == RETURN_LOSS:
        values, flags = _positive(values, column, setup.file or readings.file)
        _tell_gain(values, readings, notes)
    limit = np.zeros(len(values), int)
    for row, flag in flags.items():
        if np.isfinite(values[row]):
            limit[row] = limit_of(flag)
    zero = np.zeros(len(values))
    return Reading(values, limit, setup.standard(word, unit, values), zero, zero)


def _in_unit(column: Column, unit: str, readings: Readings) -> np.ndarray:
    if column.unit == unit:
        return column.values.copy()
    if unit == "dBm" and column.unit:
        return in_dbm(column, file=readings.file).values
    if not column.unit:
        raise Refusal(f"'{column.name}' has no unit; write it: \"{column.name}\" = {{ is = \"{column.meaning}\", "
                      f'unit = "{unit}" }}', "columns", readings.file)
    raise Refusal(f"'{column.name}' is in {column.unit}, and {column.meaning} is in {unit}", "columns", readings.file)


def _positive(values: np.ndarray, column: Column, file: str) -> tuple[np.ndarray, Mapping[int, str]]:
    """Return loss as a positive number: turned where the name says S11, refused where only the sign hints at it."""
    there = values[np.isfinite(values)]
    if not there.size or (there < 0).sum() <= there.size / 2:
        return values, column.flags
    if column.name.lower().lstrip("|").startswith("s11"):
        return -values, turned(column.flags)
    raise Refusal(f"most numbers of '{column.name}' are negative, and a return loss is positive; if this is S11 in "
                  f'dB write "{column.name}" = {{ is = "{column.meaning}", scale = -1 }}', "[columns]", file)


def _tell_gain(values: np.ndarray, readings: Readings, notes: list[str]) -> None:
    """More came back than went in: possible, and more often a sign that is wrong."""
    gain = np.flatnonzero(values < _NO_GAIN)
    if gain.size:
        lines = ", ".join(str(readings.lines[row]) for row in gain[:6] if row < len(readings.lines))
        notes.append(f"{RETURN_LOSS}: {gain.size} readings say that more came back than went in (lines {lines}"
                     f"{' ...' if gain.size > 6 else ''}): a wrong sign, or an oscillation")


def _flag_notes(readings: Readings) -> list[str]:
    found = []
    for column in readings.columns:
        if column.meaning and column.flags:
            found.append(f"{column.meaning}: " + ", ".join(f"{count} {kind}"
                                                           for kind, count in flag_counts(column).items()))
    return found
