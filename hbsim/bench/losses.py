"""Loss between a port of the circuit and an instrument, at each frequency that is read.

A loss is interpolated linearly in decibels over frequency. Beyond the table instruments differ (one holds the end, one
goes on along the last piece), so here it is refused unless a word says which.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..errors import Refusal
from ..linear.touchstone import read_touchstone
from ..quantities import show
from .reader import read_readings

BEYOND = ("", "hold", "extend")


@dataclass(frozen=True, eq=False)
class Loss:
    """A loss in decibels, positive where power is lost.

    frequency, decibels : ndarray, (n,), rising; one number without a frequency (an empty array) holds everywhere.
    name : for people.
    beyond : "": refused outside the table; "hold": its end holds; "extend": its last piece goes on.
    """

    name: str
    frequency: np.ndarray
    decibels: np.ndarray
    beyond: str = ""

    def at(self, frequency: np.ndarray) -> np.ndarray:
        """At frequencies (n,). [dB]

        Raises
        ------
        Refusal
            One is outside the table and no word says what holds there.
        """
        frequency = np.asarray(frequency, float)
        if not len(self.frequency):
            return np.full(frequency.shape, self.decibels[0])
        low, high = self.frequency[[0, -1]]
        outside = (frequency < low) | (frequency > high)
        if outside.any() and (not self.beyond or self.beyond == "extend" and low == high):
            known = f"{show(low, 'Hz')} to {show(high, 'Hz')}" if low < high else show(low, "Hz")
            raise Refusal(f"the table knows {known}, and "
                          f"{show(float(frequency[outside][0]), 'Hz')} is asked for; measure it there, or write "
                          'beyond = "hold"' + (' or beyond = "extend"' if low < high else ""), "", self.name)
        found = np.interp(frequency, self.frequency, self.decibels)
        if self.beyond == "extend":
            for end, pair in ((frequency < low, (0, 1)), (frequency > high, (-2, -1))):
                a, b = pair
                slope = (self.decibels[b] - self.decibels[a]) / (self.frequency[b] - self.frequency[a])
                found = np.where(end, self.decibels[a] + slope * (frequency - self.frequency[a]), found)
        return found

    @property
    def rule(self) -> str:
        """How it is read between and beyond its points."""
        if not len(self.frequency):
            return self.name
        return f"{self.name}, linear in frequency" + (f", {self.beyond} beyond its ends" if self.beyond else "")


def loss_of_file(path: Path, start: int = 1, end: int = 2, beyond: str = "", name: str = "") -> Loss:
    """From a table of two columns (frequency, loss in dB), or |S| of a Touchstone file from port to port.

    Raises
    ------
    Refusal
        As the readers; a table that is no loss over frequency, or has a frequency twice.
    """
    name = name or path.name
    if path.suffix.lower() == ".ts" or path.suffix.lower().startswith(".s"):
        data = read_touchstone(path)
        ports = data.s.shape[1]
        if not (1 <= start <= ports and 1 <= end <= ports and start != end):
            raise Refusal(f"from = {start}, to = {end} are no two of its {ports} ports", "", str(path))
        through = np.abs(data.s[:, end - 1, start - 1])
        if not through.all():
            raise Refusal(f"S{end}{start} is zero here: nothing passes, and no loss follows", "", str(path))
        return Loss(name, data.frequency, -20 * np.log10(through), beyond)
    found = table_of_file(path, beyond, name)
    if (found.decibels <= 0).all() and found.decibels.any():
        raise Refusal("all losses are negative here; a loss is a positive number of dB: turn the sign", "", str(path))
    return found


def table_of_file(path: Path, beyond: str = "", name: str = "") -> Loss:
    """Decibels over frequency, of either sign, from a table of two columns.

    Raises
    ------
    Refusal
        As the readers; other columns, a frequency twice, a number missing.
    """
    readings = read_readings(path)
    columns = [column for column in readings.columns if column.unit in ("Hz", "dB")]
    if [column.unit for column in columns] != ["Hz", "dB"]:
        raise Refusal("such a table has a column of frequencies and one of decibels, with their units in the header",
                      "", str(path))
    if any(column.flags for column in columns):
        row, flag = next((row, flag) for column in columns for row, flag in column.flags.items())
        raise Refusal(f"'{flag}' here, where a table of corrections needs a number", f"line {readings.lines[row]}",
                      str(path))
    frequency, decibels = (column.values for column in columns)
    order = np.argsort(frequency, kind="stable")
    frequency, decibels = frequency[order], decibels[order]
    if (np.diff(frequency) <= 0).any() or not (np.isfinite(frequency).all() and np.isfinite(decibels).all()):
        raise Refusal("a frequency stands twice in this table, or a number is missing", "", str(path))
    return Loss(name or path.name, frequency, decibels, beyond)
