"""Pairs of coupled lines and edge-coupled filter sections, told by even and odd impedance or by their layout.

Laws: waves.py. At DC the strips are not coupled; each is the resistance of its own metal.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from ..errors import Refusal
from ..quantities import quantity
from .board import Board, Conductor
from .checks import Checked
from .lines import end_extension, ideal_exponent
from .microstrip import coupled, loss
from .microstrip.propagation import coupled_lines
from .part import Part, Relation, Strip
from .waves import Wave, pair, section


@dataclass(frozen=True)
class _ByImpedances(Checked, Part):
    """Fields and checks shared by pairs told by their impedances; see `CoupledLines`."""

    told_by: ClassVar[tuple[str, ...]] = ("even_impedance",)
    even_impedance: float = quantity("ohm", minimum=0.0, above=True, meaning="impedance of the even mode")
    odd_impedance: float = quantity("ohm", minimum=0.0, above=True, meaning="impedance of the odd mode")
    electrical_length: float = quantity("deg", minimum=0.0, meaning="length at 'at'")
    at: float = quantity("Hz", minimum=0.0, above=True, meaning="where electrical length and loss hold")
    odd_electrical_length: float | None = quantity("deg", None, "of the odd mode, if it differs", minimum=0.0)
    loss: float = quantity("dB", 0.0, "loss of the whole length at 'at'", minimum=0.0)

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.even_impedance < self.odd_impedance:
            raise Refusal("the even impedance of coupled strips is not below the odd one; exchange them",
                          "even_impedance")

    def modes(self, omega: np.ndarray) -> tuple[Wave, Wave]:
        """Even and odd wave over the whole length."""
        odd_length = self.electrical_length if self.odd_electrical_length is None else self.odd_electrical_length
        even, odd = (Wave(omega, np.full(len(omega), impedance),
                          ideal_exponent(omega, length / 360.0 / self.at, self.loss, self.at))
                     for impedance, length in ((self.even_impedance, self.electrical_length),
                                               (self.odd_impedance, odd_length)))
        return even, odd


@dataclass(frozen=True)
class CoupledLines(_ByImpedances):
    """Two equal strips; strip 1 from a1 to b1, strip 2 from a2 to b2.

    Parameters
    ----------
    even_impedance, odd_impedance : float
        Of one strip against ground; even not below odd. [ohm]
    electrical_length, at : float
        [deg] at a frequency [Hz]
    odd_electrical_length : float or None
        Of the odd mode, if it differs. [deg]
    loss : float
        Of the whole length at `at`, in both modes, growing as sqrt(f). [dB]
    """

    kind: ClassVar[str] = "coupled lines"
    terminals: ClassVar[tuple[str, ...]] = ("a1", "b1", "a2", "b2")

    def relation(self, omega: np.ndarray) -> Relation:
        return pair(*self.modes(omega))


@dataclass(frozen=True)
class FilterSection(_ByImpedances):
    """`CoupledLines` from a1 (in) to b2 (out), the two other ends open; fields as there."""

    kind: ClassVar[str] = "filter section"
    terminals: ClassVar[tuple[str, ...]] = ("in", "out")

    def relation(self, omega: np.ndarray) -> Relation:
        return section(*self.modes(omega))


@dataclass(frozen=True)
class _PairOnBoard(Checked, Part):
    """Fields shared by pairs on a board; see `BoardCoupledLines`."""

    told_by: ClassVar[tuple[str, ...]] = ("width",)
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of each strip")
    gap: float = quantity("m", minimum=0.0, above=True, meaning="gap between the strips")
    length: float = quantity("m", minimum=0.0, meaning="length of the strips")
    conductor: Conductor | None = None

    @property
    def metal(self) -> Conductor:
        """What the strips are made of."""
        return self.conductor or self.board.metal

    def strips(self) -> tuple[Strip, ...]:
        return (Strip(self.width, self.board),) * len(self.terminals)

    def modes(self, omega: np.ndarray, extension: float = 0.0) -> tuple[Wave, Wave]:
        """Even and odd wave over the length and an `extension` [m]."""
        resistance = loss.dc_resistance(self.width, self.metal) * self.length
        even, odd = (Wave(omega, mode.impedance, mode.gamma * (self.length + extension), resistance)
                     for mode in coupled_lines(self.width, self.gap, self.metal, self.board, omega / (2.0 * np.pi)))
        return even, odd

    def warnings(self, highest_frequency: float) -> list[str]:
        return (coupled.coupled_warnings(self.width, self.gap, self.metal.thickness, self.board, highest_frequency)
                + loss.loss_warnings(self.metal, self.board, highest_frequency))


@dataclass(frozen=True)
class BoardCoupledLines(_PairOnBoard):
    """Two equal microstrips side by side; strip 1 from a1 to b1, strip 2 from a2 to b2.

    Parameters
    ----------
    board : Board
    width, gap, length : float
        [m]
    conductor : Conductor or None
        Replaces the board's metal in the strips; the ground plane stays the board's.

    References
    ----------
    As in microstrip/coupled.py and microstrip/loss.py.
    """

    kind: ClassVar[str] = "coupled lines"
    terminals: ClassVar[tuple[str, ...]] = ("a1", "b1", "a2", "b2")

    def relation(self, omega: np.ndarray) -> Relation:
        return pair(*self.modes(omega))


@dataclass(frozen=True)
class BoardFilterSection(_PairOnBoard):
    """`BoardCoupledLines` from a1 (in) to b2 (out), the two other ends open; fields as there.

    Parameters
    ----------
    end_effect : bool
        Count the fringing field of the open ends as extra length, that of a single strip of the same width
        (J.-S. Hong, M. J. Lancaster, Microstrip Filters for RF/Microwave Applications, Wiley 2001, sec. 5.2).
    """

    kind: ClassVar[str] = "filter section"
    terminals: ClassVar[tuple[str, ...]] = ("in", "out")
    end_effect: bool = field(default=True, metadata={"flag": True})

    def relation(self, omega: np.ndarray) -> Relation:
        return section(*self.modes(omega, end_extension(self.width, self.metal, self.board) * self.end_effect))
