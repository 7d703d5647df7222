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

    frequency, decibels : ndarray, (n,), rising; one number without a frequency holds everywhere.
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
        if len(self.decibels) == 1:
            return np.full(frequency.shape, self.decibels[0])
        low, high = self.frequency[[0, -1]]
        outside = (frequency < low) | (frequency > high)
        if outside.any() and not self.beyond:
            raise Refusal(f"the table reaches from {show(low, 'Hz')} to {show(high, 'Hz')}, and "
                          f"{show(float(frequency[outside][0]), 'Hz')} is asked for; measure it there, or write "
                          'beyond = "hold" or beyond = "extend"', "", self.name)
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
        if len(self.decibels) == 1:
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
        with np.errstate(divide="ignore"):
            return Loss(name, data.frequency, -20 * np.log10(np.abs(data.s[:, end - 1, start - 1])), beyond)
    readings = read_readings(path)
    columns = [column for column in readings.columns if column.unit in ("Hz", "dB")]
    if [column.unit for column in columns] != ["Hz", "dB"]:
        raise Refusal("a loss table has a column of frequencies and one of losses in dB, with their units in the "
                      "header", "", str(path))
    frequency, decibels = (column.values for column in columns)
    order = np.argsort(frequency, kind="stable")
    frequency, decibels = frequency[order], decibels[order]
    if len(frequency) > 1 and (np.diff(frequency) <= 0).any() or not np.isfinite(decibels).all():
        raise Refusal("a frequency stands twice in this loss table, or a loss is missing", "", str(path))
    if (decibels < 0).all() and (decibels < 0).any():
        raise Refusal("all losses are negative here; a loss is a positive number of dB: turn the sign", "", str(path))
    return Loss(name, frequency, decibels, beyond)
