"""What a fit or a comparison asks of a set of measured data: numbers, how sure they are, what is predicted there."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

import numpy as np

from .compare import Comparison, compared
from .measurement import Measured, Measurement
from .setup import S_PARAMETERS

DRIVE_ERROR, OUTPUT_ERROR = "bench.drive_error_db", "bench.output_error_db"
_UNCERTAINTIES = {"dBm": "0.3 dB", "dB": "0.3 dB", "A": "0.1 mA", "W": "1 mW", "deg": "2 deg", "F": "0.05 pF",
                  "1": "0.01"}  # of examples
BENCH = (DRIVE_ERROR, OUTPUT_ERROR)  # unknowns that are no quantity of the circuit


class DataSet(ABC):
    """Measured numbers in one row, and the prediction of each as the unknowns have it.

    Attributes
    ----------
    name : str
    labels : list of str
        What each number is, for people: "point 3 (line 12), output_dbm_2".
    units : list of str
        Unit of each.
    measured : ndarray, (n_value,)
    standard : ndarray, (n_value,)
        Standard uncertainty, in the same unit.
    limit : ndarray of int, (n_value,)
        0; -1 where the true value is at most the measured one, +1 where it is at least that.
    losses : ndarray of bool, (n_value,), or None
        Return losses in dB: where the reflection vanishes they go to infinity, so that a search far away is led better
        by the reflection itself.
    beside : ndarray, (n_value,), or None
        Of return losses, as `Measured` has it; zero for all other numbers.
    solves : int
        Steady states solved for so far.
    reasons : mapping
        Point -> why it had no prediction last; a point without a word has none to tell.
    """

    name: str
    labels: list[str]
    units: list[str]
    measured: np.ndarray
    standard: np.ndarray
    limit: np.ndarray
    losses: np.ndarray | None = None
    beside: np.ndarray | None = None
    solves: int = 0
    reasons: Mapping[int, str] = MappingProxyType({})

    @abstractmethod
    def addresses(self) -> Sequence[str]:
        """The unknowns that it can be asked about."""

    @abstractmethod
    def predict(self, values: Mapping[str, float]) -> np.ndarray:
        """The numbers with unknowns at these values, (n_value,); nan where there is no answer."""

    @abstractmethod
    def slopes(self, addresses: Sequence[str]) -> np.ndarray:
        """Of what `predict` gave last, against each unknown, (n_value, n_address)."""

    @abstractmethod
    def comparison(self, predicted: np.ndarray) -> Comparison:
        """Measured beside the numbers (n_value,) that `predict` gave last."""

    def missing(self, number: int) -> tuple[str, str]:
        """What a number without a prediction lacks, in words that follow its label, and what else there is to say."""
        return "has no steady state", ""

    def with_other_states(self, one: Comparison) -> Comparison:
        """The same; where a prediction is far off another steady state is looked for, and told in a note."""
        return one

    def uncertainty_word(self, number: int) -> str:
        """What [uncertainty] calls one of the numbers."""
        return self.labels[number].rpartition(", ")[2]

    def uncertainty_line(self, number: int) -> str:
        """An example of what the TOML file beside the data may say of how sure one of the numbers is."""
        return f'[uncertainty] {self.uncertainty_word(number)} = "{_UNCERTAINTIES.get(self.units[number], "2 %")}"'

    def choose_anew(self, coarse: bool) -> None:
        """Let the next prediction choose anew how exact it is: coarse is enough to search by, against uncertainties.
        Nothing to do where there is no choice."""

    def forget(self) -> None:
        """Let the next prediction depend on nothing that was predicted before. Nothing to do where none does."""

    def deviation(self, predicted: np.ndarray) -> np.ndarray:
        """Predicted less measured, (n_value,): angles by the shorter way, limits only where they are broken."""
        away = predicted - self.measured
        turns = np.array([unit == "deg" for unit in self.units], bool)
        away[turns] = (away[turns] + 180.0) % 360.0 - 180.0
        kept = ((self.limit < 0) & (away < 0)) | ((self.limit > 0) & (away > 0))
        return np.where(kept, 0.0, away)


class MeasuredPoints(DataSet):
    """The numbers of a measurement, point by point, those that were not measured left out.

    measurement : Measurement
    place : list of (point, quantity), of each number.
    """

    measurement: Measurement
    place: list[tuple[int, str]]

    def _take(self, measurement: Measurement) -> None:
        """Set all but the units from a measurement."""
        self.measurement, self.name, self.solves = measurement, measurement.name, 0
        self.place = sorted(((int(point), name) for name, item in measurement.quantities.items()
                             for point in np.flatnonzero(np.isfinite(item.values))), key=lambda place: place[0])
        taken = [(measurement.quantities[name], point) for point, name in self.place]
        self.measured, self.standard = (np.array([getattr(item, what)[point] for item, point in taken])
                                        for what in ("values", "standard"))
        self.limit = np.array([item.limit[point] for item, point in taken], int)
        self.beside = np.array([np.broadcast_to(item.beside, item.values.shape)[point] for item, point in taken], float)
        lines = measurement.lines
        self.labels = [f"point {point + 1}{f' (line {lines[point]})' if point < len(lines) else ''}, {name}"
                       for point, name in self.place]

    def uncertainty_word(self, number: int) -> str:
        name = self.place[number][1]
        return S_PARAMETERS if name.endswith(("_re", "_im")) else name

    def _compared(self, predicted: np.ndarray, unit_of: Callable[[str], str], units: Mapping[str, str],
                  quantities: Mapping[str, Measured], unsolved: Mapping[int, str]) -> Comparison:
        """Numbers (n_value,) in the units of the quantities, beside `quantities`; `units` are those of the settings."""
        found = {}
        for name, item in quantities.items():
            numbers = np.full(len(item.values), np.nan)
            for (point, other), number in zip(self.place, predicted):
                if other == name:
                    numbers[point] = number
            found[name] = compared(name, unit_of(name), item, numbers)
        measurement = self.measurement
        return Comparison(measurement.name, measurement.settings, units, found, measurement.lines, dict(unsolved),
                          measurement.notes)
