"""Lines and stubs, told by impedance and length or by width and length on a board.

Laws: waves.py. Line and stubs have a real characteristic impedance. Skin-effect loss of a line told by its impedance
grows as sqrt(f), dielectric loss as beta tan(delta) / 2 (Pozar, Microwave Engineering, 4th ed., Wiley 2012, secs. 1.7
and 2.7); at DC such a line is a perfect connection, a line on a board the resistance of its strip.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from ..errors import Refusal
from ..quantities import quantity
from .board import Board, Conductor
from .checks import Checked, refuse_together, refuse_without
from .microstrip import line, loss
from .microstrip.propagation import single_line
from .part import Part, Relation, Strip
from .waves import Wave, open_ended, short_ended, through

_NEPER = 20.0 / np.log(10.0)  # dB


def ideal_exponent(omega: np.ndarray, phase_per_omega: float, loss_db: float, at: float | None,
                   loss_tangent: float = 0.0) -> np.ndarray:
    """gamma l of a line without dispersion. [Np + j rad]

    Parameters
    ----------
    omega : ndarray, (n_frequency,). [rad/s]
    phase_per_omega : float
        Delay. [s]
    loss_db, at : float
        Skin-effect loss of the whole length [dB] at a frequency [Hz]; without loss, `at` may be None.
    loss_tangent : float
        [1]
    """
    phase = omega * phase_per_omega
    skin = loss_db / _NEPER * np.sqrt(omega / (2.0 * np.pi * at)) if loss_db else 0.0
    return skin + phase * (loss_tangent / 2.0 + 1j)


@dataclass(frozen=True)
class _ByImpedance(Checked, Part):
    """Fields and checks shared by lines told by their impedance; see `Line`."""

    told_by: ClassVar[tuple[str, ...]] = ("impedance",)
    impedance: float = quantity("ohm", minimum=0.0, above=True, meaning="characteristic impedance")
    electrical_length: float | None = quantity("deg", None, "length at 'at'", minimum=0.0)
    at: float | None = quantity("Hz", None, "where electrical length and loss hold", minimum=0.0, above=True)
    length: float | None = quantity("m", None, "length, instead of an electrical length", minimum=0.0)
    permittivity: float | None = quantity("1", None, "effective permittivity, with 'length'", minimum=1.0)
    loss: float = quantity("dB", 0.0, "loss of the whole length at 'at'", minimum=0.0)
    loss_tangent: float = quantity("1", 0.0, "of the dielectric", minimum=0.0, maximum=1.0)

    def __post_init__(self) -> None:
        super().__post_init__()
        refuse_together(self, "electrical_length", "length")
        refuse_together(self, "electrical_length", "permittivity")
        if self.electrical_length is None and self.length is None:
            raise Refusal("missing; give 'electrical_length' with 'at', or 'length'", "length")
        refuse_without(self, "electrical_length", "at")
        if self.loss and self.at is None:
            raise Refusal("missing: 'loss' needs the frequency where it holds; add 'at'", "at")

    @property
    def delay(self) -> float:
        """Of a wave over the whole length. [s]"""
        if self.length is not None:
            return self.length * np.sqrt(self.permittivity or 1.0) / line.LIGHT
        return self.electrical_length / 360.0 / self.at

    def wave(self, omega: np.ndarray) -> Wave:
        """The wave over the whole length."""
        return Wave(omega, np.full(len(omega), self.impedance),
                    ideal_exponent(omega, self.delay, self.loss, self.at, self.loss_tangent))


@dataclass(frozen=True)
class Line(_ByImpedance):
    """Line from a to b.

    Parameters
    ----------
    impedance : float
        [ohm]
    electrical_length, at : float or None
        [deg] at a frequency [Hz]; or
    length, permittivity : float or None
        Length [m] and effective permittivity (None: 1) [1].
    loss : float
        Skin-effect loss of the whole length at `at`, growing as sqrt(f). [dB]
    loss_tangent : float
        Adds an attenuation of beta tan(delta) / 2. [1]

    Raises
    ------
    Refusal
        Both or none of the two lengths, or a value without its frequency.
    """

    kind: ClassVar[str] = "line"
    terminals: ClassVar[tuple[str, ...]] = ("a", "b")

    def relation(self, omega: np.ndarray) -> Relation:
        return through(self.wave(omega))


@dataclass(frozen=True)
class OpenStub(_ByImpedance):
    """Line whose far end is open; fields as `Line`."""

    kind: ClassVar[str] = "open stub"
    terminals: ClassVar[tuple[str, ...]] = ("a",)

    def relation(self, omega: np.ndarray) -> Relation:
        return open_ended(self.wave(omega))


@dataclass(frozen=True)
class ShortedStub(_ByImpedance):
    """Line whose far end is shorted to ground; fields as `Line`."""

    kind: ClassVar[str] = "shorted stub"
    terminals: ClassVar[tuple[str, ...]] = ("a",)

    def relation(self, omega: np.ndarray) -> Relation:
        return short_ended(self.wave(omega))


@dataclass(frozen=True)
class _OnBoard(Checked, Part):
    """Fields shared by lines on a board; see `BoardLine`."""

    told_by: ClassVar[tuple[str, ...]] = ("width",)
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of the strip")
    length: float = quantity("m", minimum=0.0, meaning="length of the strip")
    conductor: Conductor | None = None

    @property
    def metal(self) -> Conductor:
        """What the strip is made of."""
        return self.conductor or self.board.metal

    def strips(self) -> tuple[Strip, ...]:
        return (Strip(self.width, self.board),) * len(self.terminals)

    def wave(self, omega: np.ndarray, extension: float = 0.0) -> Wave:
        """The wave over the length and an `extension` [m]."""
        impedance, gamma = single_line(self.width, self.metal, self.board, omega / (2.0 * np.pi))
        resistance = loss.dc_resistance(self.width, self.metal) * self.length
        return Wave(omega, impedance, gamma * (self.length + extension), resistance)

    def warnings(self, highest_frequency: float) -> list[str]:
        return (line.line_warnings(self.width, self.metal.thickness, self.board, highest_frequency)
                + loss.loss_warnings(self.metal, self.board, highest_frequency))


def end_extension(width: float, metal: Conductor, board: Board) -> float:
    """Length that an open end seems to add to a strip of `width` [m]. [m]"""
    u = width / board.height
    static = line.static_line(u, metal.thickness / board.height, board.permittivity)
    return line.open_end(u, board.permittivity, static.permittivity) * board.height


@dataclass(frozen=True)
class BoardLine(_OnBoard):
    """Microstrip line from a to b.

    Parameters
    ----------
    board : Board
    width, length : float
        [m]
    conductor : Conductor or None
        Replaces the board's metal in the strip; the ground plane stays the board's.

    References
    ----------
    As in microstrip/line.py and microstrip/loss.py.
    """

    kind: ClassVar[str] = "line"
    terminals: ClassVar[tuple[str, ...]] = ("a", "b")

    def relation(self, omega: np.ndarray) -> Relation:
        return through(self.wave(omega))


@dataclass(frozen=True)
class BoardOpenStub(_OnBoard):
    """Microstrip line whose far end is open; fields as `BoardLine`.

    Parameters
    ----------
    end_effect : bool
        Count the fringing field of the open end as extra length (microstrip/line.py, `open_end`).
    """

    kind: ClassVar[str] = "open stub"
    terminals: ClassVar[tuple[str, ...]] = ("a",)
    end_effect: bool = field(default=True, metadata={"flag": True})

    def relation(self, omega: np.ndarray) -> Relation:
        return open_ended(self.wave(omega, end_extension(self.width, self.metal, self.board) * self.end_effect))


@dataclass(frozen=True)
class BoardShortedStub(_OnBoard):
    """Microstrip line whose far end is ideally shorted to ground; fields as `BoardLine`."""

    kind: ClassVar[str] = "shorted stub"
    terminals: ClassVar[tuple[str, ...]] = ("a",)

    def relation(self, omega: np.ndarray) -> Relation:
        return short_ended(self.wave(omega))
