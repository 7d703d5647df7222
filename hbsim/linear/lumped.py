"""Lumped parts: resistor, capacitor, inductor, via to ground."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from ..errors import Refusal
from ..quantities import quantity, show
from .board import Board, Conductor
from .checks import Checked, refuse_together, refuse_without
from .microstrip import via
from .part import Part, Relation, admittance_between, impedance_between

PLATING = 20e-6  # of a drilled hole where none is told; common practice, no source. [m]
_SMALL = 1.0  # below, a resistor is written as an impedance, so that 0 ohm is exact. [ohm]
_OVERLAP = 0.05  # of the hole's girth, by which foils may lie over each other: cut by hand


@dataclass(frozen=True)
class Resistor(Checked, Part):
    """Ideal resistor; 0 ohm is a perfect connection.

    Parameters
    ----------
    resistance : float
        [ohm]
    """

    kind: ClassVar[str] = "resistor"
    terminals: ClassVar[tuple[str, ...]] = ("a", "b")
    resistance: float = quantity("ohm", minimum=0.0, meaning="resistance")

    def relation(self, omega: np.ndarray) -> Relation:
        value = np.full(len(omega), self.resistance, complex)
        return impedance_between(value) if self.resistance < _SMALL else admittance_between(1.0 / value)


@dataclass(frozen=True)
class Capacitor(Checked, Part):
    """Capacitor with a constant series resistance and a series inductance.

    A quality factor stands for the series resistance 1 / (2 pi at C Q), taken as constant because it is that of
    electrodes and leads rather than of the dielectric (common practice, no source). At DC the part is open.

    Parameters
    ----------
    capacitance : float
        [F]
    series_resistance : float or None
        [ohm]
    quality_factor, at : float or None
        Instead of the resistance: Q [1] at a frequency [Hz].
    series_inductance : float
        [H]

    Raises
    ------
    Refusal
        A quality factor without its frequency, or together with a series resistance.
    """

    kind: ClassVar[str] = "capacitor"
    terminals: ClassVar[tuple[str, ...]] = ("a", "b")
    capacitance: float = quantity("F", minimum=0.0, meaning="capacitance")
    series_resistance: float | None = quantity("ohm", None, "resistance in series", minimum=0.0)
    quality_factor: float | None = quantity("1", None, "quality factor at 'at'", minimum=0.0, above=True)
    at: float | None = quantity("Hz", None, "frequency where the quality factor holds", minimum=0.0, above=True)
    series_inductance: float = quantity("H", 0.0, "inductance in series", minimum=0.0)

    def __post_init__(self) -> None:
        super().__post_init__()
        refuse_together(self, "series_resistance", "quality_factor")
        refuse_without(self, "quality_factor", "at")

    @property
    def time_constant(self) -> float:
        """Series resistance times capacitance. [s]"""
        if self.quality_factor is not None:
            return 1.0 / (2.0 * np.pi * self.at * self.quality_factor)
        return (self.series_resistance or 0.0) * self.capacitance

    def relation(self, omega: np.ndarray) -> Relation:
        above = 1j * omega * self.capacitance
        below = 1.0 + 1j * omega * self.time_constant - omega**2 * self.series_inductance * self.capacitance
        if self.series_inductance == 0.0 and np.abs(above).max() * _SMALL < 1.0:
            return admittance_between(above / below)
        # jwC (V1 - V2) = (1 + jwRC - w^2 LC) I1: holds at the series resonance, where no admittance exists, and for a
        # capacitor so large that its admittance would drown all others
        pair = np.array([[1.0, -1.0], [0.0, 0.0]])
        b = below[:, None, None] * np.array([[-1.0, 0.0], [0.0, 0.0]]) + np.array([[0.0, 0.0], [1.0, 1.0]])
        return Relation(above[:, None, None] * pair, b)


@dataclass(frozen=True)
class Inductor(Checked, Part):
    """Inductor with loss in series and a capacitance across its ends.

    The series resistance is constant and carries DC. A quality factor adds what skin effect adds to it:
    R(f) = R0 + (2 pi at L / Q - R0) sqrt(f / at), so that both a maker's numbers hold, the one at DC and the one at
    radio frequency (the square root is that of thick metal; H. A. Wheeler, Proc. IRE 30 (1942) 412-424).

    Parameters
    ----------
    inductance : float
        [H]
    series_resistance : float
        At DC, and at all frequencies if there is no quality factor. [ohm]
    quality_factor, at : float or None
        Q of the coil without its self-capacitance [1] at a frequency [Hz].
    self_capacitance : float
        Across the ends. [F]

    Raises
    ------
    Refusal
        A quality factor without its frequency, or one that leaves less resistance than `series_resistance`.
    """

    kind: ClassVar[str] = "inductor"
    terminals: ClassVar[tuple[str, ...]] = ("a", "b")
    inductance: float = quantity("H", minimum=0.0, meaning="inductance")
    series_resistance: float = quantity("ohm", 0.0, "resistance in series, at DC", minimum=0.0)
    quality_factor: float | None = quantity("1", None, "quality factor at 'at'", minimum=0.0, above=True)
    at: float | None = quantity("Hz", None, "frequency where the quality factor holds", minimum=0.0, above=True)
    self_capacitance: float = quantity("F", 0.0, "capacitance across the ends", minimum=0.0)

    def __post_init__(self) -> None:
        super().__post_init__()
        refuse_without(self, "quality_factor", "at")
        if self._skin_resistance < 0.0:
            raise Refusal("the quality factor asks for less than 'series_resistance'; lower one of the two",
                          "quality_factor")

    @property
    def _skin_resistance(self) -> float:
        """What skin effect adds at `at`. [ohm]"""
        if self.quality_factor is None:
            return 0.0
        return 2.0 * np.pi * self.at * self.inductance / self.quality_factor - self.series_resistance

    def relation(self, omega: np.ndarray) -> Relation:
        resistance = np.full(len(omega), self.series_resistance)
        if self.quality_factor is not None:
            resistance = resistance + self._skin_resistance * np.sqrt(omega / (2.0 * np.pi * self.at))
        return impedance_between(resistance + 1j * omega * self.inductance, 1j * omega * self.self_capacitance)


def _to_ground(impedance: np.ndarray) -> Relation:
    a = np.ones((len(impedance), 1, 1), complex)
    return Relation(a, -impedance[:, None, None] * a)


@dataclass(frozen=True)
class Via(Checked, Part):
    """Inductance to ground, lossless.

    Parameters
    ----------
    inductance : float
        [H]
    """

    kind: ClassVar[str] = "via"
    terminals: ClassVar[tuple[str, ...]] = ("top",)
    told_by: ClassVar[tuple[str, ...]] = ("inductance",)
    inductance: float = quantity("H", minimum=0.0, meaning="inductance to ground")

    def relation(self, omega: np.ndarray) -> Relation:
        return _to_ground(1j * omega * self.inductance)


@dataclass(frozen=True)
class BoardVia(Checked, Part):
    """Way through the board to the ground plane, with its inductance and resistance; at DC the resistance alone.

    Three ways of making one: a drilled hole plated inside (`diameter`, `plating`), a hole filled with a wire or with
    solder (`filled`), and copper foil bent through a large hole (`diameter`, `foil_width`, `foils`) or around the
    board's edge (`foil_width` alone).

    Parameters
    ----------
    board : Board
    diameter : float or None
        Of the hole. [m]
    length : float or None
        None: the board's height. [m]
    plating : float or None
        Thickness of the metal inside a drilled hole; None: 20 um. [m]
    filled : bool
        The hole is full of metal.
    foil_width : float or None
        Of each foil through the hole; as wide as the hole's circumference, it covers the wall. [m]
    foils : float
        How many there are, evenly spaced around the hole: 1, 2, 3, ... [1]
    conductor : Conductor or None
        Metal of plating, filling or foil; None: the board's. Its thickness is that of the foil; roughness and loss
        factor, which are told of long strips, are left out.

    Raises
    ------
    Refusal
        Neither a diameter nor a foil; plating, filling and foil mixed; plating thicker than the hole; foils that do not
        count, have no hole to be spaced in, or are wider than it is around.

    References
    ----------
    As in microstrip/via.py. That a foil carries current on one of its faces is common practice, no source.
    """

    kind: ClassVar[str] = "via"
    terminals: ClassVar[tuple[str, ...]] = ("top",)
    told_by: ClassVar[tuple[str, ...]] = ("diameter", "foil_width")
    board: Board
    diameter: float | None = quantity("m", None, "diameter of the hole", minimum=0.0, above=True)
    length: float | None = quantity("m", None, "length, if not the board's height", minimum=0.0, above=True)
    plating: float | None = quantity("m", None, "metal thickness inside a drilled hole", minimum=0.0, above=True)
    filled: bool = field(default=False, metadata={"flag": True})
    foil_width: float | None = quantity("m", None, "width of a foil through the hole", minimum=0.0, above=True)
    foils: float = quantity("1", 1.0, "how many foils", minimum=1.0)
    conductor: Conductor | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.diameter is None and self.foil_width is None:
            raise Refusal("missing; give 'diameter' of a hole, or 'foil_width' of foil around the edge", "diameter")
        refuse_together(self, "plating", "foil_width")
        if self.filled and (self.plating is not None or self.foil_width is not None):
            other = "plating" if self.plating is not None else "foil_width"
            raise Refusal(f"both 'filled' and '{other}' are given; take one of them out", other)
        if self.foils != int(self.foils):
            raise Refusal(f"{self.foils:g} is not a number of foils; write 1, 2, 3, ...", "foils")
        if self.foils > 1 and (self.foil_width is None or self.diameter is None):
            raise Refusal("several foils need 'foil_width' and the 'diameter' of the hole they go through", "foils")
        if self.diameter is not None and self.foil_width is not None and \
                self.foils * self.foil_width > (1.0 + _OVERLAP) * np.pi * self.diameter:
            raise Refusal(f"{self.foils:g} foil{'s' * (self.foils > 1)} of {show(self.foil_width, 'm')} take more than "
                          f"the hole is around, {show(np.pi * self.diameter, 'm')}; give what lies on the wall",
                          "foil_width")
        if self.diameter is not None and (self.plating or 0.0) > self.diameter / 2.0:
            raise Refusal("it is thicker than the hole's radius; write filled = true, or less", "plating")

    @property
    def depth(self) -> float:
        """Length of the way. [m]"""
        return self.board.height if self.length is None else self.length

    @property
    def post(self) -> float:
        """Diameter of the round post of the same inductance. [m]"""
        return self.diameter if self.foil_width is None else \
            via.foil_diameter(self.foil_width, self.foils, self.diameter)

    @property
    def inductance(self) -> float:
        """Inductance to ground. [H]"""
        return via.via_inductance(self.post, self.depth)

    @property
    def metal(self) -> Conductor:
        """What the via is made of."""
        return self.conductor or self.board.metal

    def cross_section(self) -> tuple[float, float]:
        """Area of the metal [m2], and length of the line along which the skin runs [m]."""
        if self.foil_width is not None:
            girth = self.foils * self.foil_width
            girth = girth if self.diameter is None else min(girth, np.pi * self.diameter)
            return girth * self.metal.thickness, girth
        thickness = self.diameter / 2.0 if self.filled else min(self.plating or PLATING, self.diameter / 2.0)
        return np.pi * thickness * (self.diameter - thickness), np.pi * self.diameter

    def resistance(self, omega: np.ndarray) -> np.ndarray:
        """Resistance to ground, (n_frequency,). [ohm]"""
        return via.via_resistance(omega / (2.0 * np.pi), *self.cross_section(), self.depth, self.metal.conductivity)

    def relation(self, omega: np.ndarray) -> Relation:
        return _to_ground(self.resistance(omega) + 1j * omega * self.inductance)

    def warnings(self, highest_frequency: float) -> list[str]:
        return via.via_warnings(self.post, self.depth, self.board.permittivity, highest_frequency)
