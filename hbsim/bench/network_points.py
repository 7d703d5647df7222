"""Measured S-parameters of a linear circuit or of some of its parts, such as a filter with an analyser at its ends.

Compared in a fit are real and imaginary parts: their noise is that of the analyser, the same in all directions, and
nothing runs away where little comes through. For people, levels in dB stand beside each other, and phases where asked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..quantities import show
from ..studies.network_response import checked_frequencies, linear_circuit
from ..studies.network_slopes import scattering_slopes
from ..studies.parameter_names import key_of, pairs
from .compare import Comparison, compared
from .dataset import DataSet
from .measurement import Measured
from .setup import S_PARAMETERS

# Standard uncertainties to the ends of the band, of which one of 2000 normal numbers lies beyond: S-parameters come by
# the hundred, and at two every twentieth would. What is smaller than that is noise: that alone is larger once in 450.
_SIGMAS = 3.5


class NetworkPoints(DataSet):
    """S-parameters measured between ports of a circuit, or of some of its parts; devices are taken out.

    Parameters
    ----------
    description : Description
    name : str
        Of the file, say.
    frequency : sequence of float, (n,)
        Rising. [Hz]
    s : array, complex, (n, p, p)
        From port j to port i at [:, i, j], as of `read_touchstone`; a number that is none counts as not measured. [1]
    ports, parts : sequence of str, or None
        As for `network_response`; the ports in the order of the data.
    reference : float, sequence of float, or None
        Of the data; None: 50 ohm, or a port's own as described. [ohm]
    standard : float or array that fits (n, p, p)
        Standard uncertainty of the real and of the imaginary part, each. [1]
    low, high : float or None
        Frequencies outside are left out. [Hz]
    phase : bool
        Phases are compared for people besides levels.

    Raises
    ------
    Refusal
        Data and ports do not go together, fewer than two frequencies are left, or as `network_response`.
    """

    def __init__(self, description: Description, name: str, frequency: Sequence[float], s: np.ndarray,
                 ports: Sequence[str] | None = None, parts: Sequence[str] | None = None,
                 reference: float | Sequence[float] | None = None, standard: float | np.ndarray = 0.01, *,
                 low: float | None = None, high: float | None = None, phase: bool = False) -> None:
        self.description, self.name, self._phase = description, name, phase
        given = reference if reference is None or np.ndim(reference) == 0 else [float(value) for value in reference]
        at = linear_circuit(description, ports, reference=given, parts=parts).ports
        # what was measured stays, whatever a fit does to the resistance of a port of the circuit
        self._asked = {"ports": ports, "parts": parts, "reference": [port.reference for port in at]}
        self._measured_ports, count = {port.of_circuit for port in at}, len(at)
        frequency, s = checked_frequencies(frequency), np.asarray(s, complex)
        if s.shape != (len(frequency), count, count):
            raise Refusal(f"the data have {s.shape[-1]} port{'s' * (s.shape[-1] != 1)} at {len(s)} frequencies, and "
                          f"{count} at {len(frequency)} are asked for; name a port for each of theirs", "ports", name)
        kept = (frequency >= (-np.inf if low is None else low)) & (frequency <= (np.inf if high is None else high))
        if kept.sum() < 2:
            raise Refusal(f"{int(kept.sum())} of its frequencies, {show(frequency.min(), 'Hz', 6)} to "
                          f"{show(frequency.max(), 'Hz', 6)}, lie inside the limits; at least 2 are needed",
                          "frequency", name)
        self.frequency, self.s = frequency[kept], s[kept]
        self._standard = np.broadcast_to(np.asarray(standard, float), s.shape)[kept]
        self._there = np.isfinite(self.s)
        self.measured = _numbers(self.s[self._there])
        self.standard = np.repeat(self._standard[self._there], 2)
        self.limit = np.zeros(len(self.measured), int)
        self.units = ["1"] * len(self.measured)
        self.labels = [f"{show(self.frequency[k], 'Hz', 6)}, {self._name(i, j)}, {part} part"
                       for k, i, j in np.argwhere(self._there) for part in ("real", "imaginary")]
        self.reasons: dict[int, str] = {}
        self._at = description
        self._scattering(description)  # what is wrong from the beginning is said here

    def _name(self, i: int, j: int) -> str:
        return key_of(i, j, self.s.shape[1])

    def addresses(self) -> list[str]:
        """Quantities of the parts that count and of the board; of ports and supplies where the whole circuit counts."""
        description, parts = self.description, self._asked["parts"]
        counted = set(description.parts) if parts is None else {part.removeprefix("part.") for part in parts}
        found = [address for address in description.addresses() if address.partition(".")[0] in counted | {"board"}]
        if parts is None:
            found += [f"port.{name}.impedance" for name in description.ports if name not in self._measured_ports]
            found += [f"supply.{name}.resistance" for name in description.supplies]
        return found

    def _scattering(self, description: Description) -> np.ndarray:
        return linear_circuit(description, **self._asked).scattering(self.frequency)

    def predict(self, values: Mapping[str, float]) -> np.ndarray:
        self.reasons = {}
        try:
            self._at = self.description.with_values(values) if values else self.description
            return _numbers(self._scattering(self._at)[self._there])
        except Refusal as refusal:  # no such line can be computed, or nothing is determined there
            self.reasons = {0: str(refusal)}
            return np.full(len(self.measured), np.nan)

    def uncertainty_word(self, number: int) -> str:
        return S_PARAMETERS

    def slopes(self, addresses: Sequence[str]) -> np.ndarray:
        _, found = scattering_slopes(self._at, addresses, self.frequency, **self._asked)
        return np.array([_numbers(slope[self._there]) for slope in found]).T.reshape(len(self.measured), len(addresses))

    def comparison(self, predicted: np.ndarray) -> Comparison:
        """Levels "s21_db" in dB, and phases "s21_deg" in degrees where they were asked for. Where what was measured is
        within its noise, the level is a limit and the phase is none."""
        s = np.full(self.s.shape, complex(np.nan, np.nan))
        s[self._there] = np.ascontiguousarray(predicted).view(complex)
        found = {}
        for i, j in pairs(self.s.shape[1]):
            measured, standard, name = self.s[:, i, j], self._standard[:, i, j], self._name(i, j)
            found[f"{name}_db"] = compared(f"{name}_db", "dB", _level(measured, standard), _db(np.abs(s[:, i, j])))
        for i, j in pairs(self.s.shape[1]) if self._phase else ():
            measured, standard, name = self.s[:, i, j], self._standard[:, i, j], self._name(i, j)
            found[f"{name}_deg"] = compared(f"{name}_deg", "deg", _angle(measured, standard),
                                            np.degrees(np.angle(s[:, i, j])))
        return Comparison(self.name, {"frequency": self.frequency}, {"frequency": "Hz"}, found, np.zeros(0, int),
                          dict(self.reasons), self._notes())

    def _notes(self) -> tuple[str, ...]:
        faint = int((np.abs(self.s) <= _SIGMAS * self._standard).sum())
        notes = ("a fit goes by real and imaginary parts; the band of a level is "
                 f"{_SIGMAS:g} times their standard uncertainty",)
        return notes + ((f"within their noise, at most the level shown: {faint} of the numbers",) if faint else ())


def _numbers(s: np.ndarray) -> np.ndarray:
    """Real and imaginary part of each, (2 n,)."""
    return np.ascontiguousarray(s).view(float)


def _db(size: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return 20.0 * np.log10(size)


def _level(s: np.ndarray, standard: np.ndarray) -> Measured:
    """Levels (n,). [dB]"""
    size, spread = np.abs(s), _SIGMAS * standard
    faint = size <= spread
    with np.errstate(divide="ignore", invalid="ignore"):
        sure = 20.0 / np.log(10.0) * standard / np.where(faint, spread, size)
    high = _db(size + spread)
    return Measured(np.where(faint, high, _db(size)), sure, _db(np.maximum(size - spread, 0.0)), high,
                    np.where(faint, -1, 0))


def _angle(s: np.ndarray, standard: np.ndarray) -> Measured:
    """Phases (n,). [deg]"""
    size, spread = np.abs(s), _SIGMAS * standard
    clear = size > spread
    with np.errstate(divide="ignore", invalid="ignore"):
        angle = np.where(clear, np.degrees(np.angle(s)), np.nan)
        sure, most = np.degrees(standard / size), np.degrees(np.arcsin(np.where(clear, spread / size, np.nan)))
    return Measured(angle, sure, angle - most, angle + most, np.zeros(len(s), int))
