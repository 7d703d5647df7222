"""One microstrip line: width <-> impedance, length <-> degrees, and what it loses."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..errors import Refusal
from ..linear.board import Board, Conductor
from ..linear.lines import BoardLine
from ..linear.microstrip import line as microstrip
from ..linear.microstrip.measured_loss import loss_factor_from_measurement
from ..linear.microstrip.propagation import single_line
from ..linear.network import Element
from .solving import CUT, reached, rounded

NARROWEST, WIDEST = 0.02, 50.0  # width over height between which a width is looked for
_NEPER = 20.0 / math.log(10.0)  # dB


@dataclass(frozen=True)
class LineValues:
    """What a strip shows at one frequency.

    Parameters
    ----------
    frequency : float
        0: at low frequency, where only impedance and permittivity mean anything. [Hz]
    width : float
        [m]
    impedance : float
        [ohm]
    effective_permittivity : float
        [1]
    wavelength : float
        Infinite at 0 Hz. [m]
    loss_db_per_m : float
        [dB/m]
    """

    frequency: float
    width: float
    impedance: float
    effective_permittivity: float
    wavelength: float
    loss_db_per_m: float

    def degrees(self, length: float) -> float:
        """Electrical length of `length` [m]. [deg]"""
        return 360.0 * length / self.wavelength

    def length(self, degrees: float) -> float:
        """Length of `degrees` [deg]. [m]"""
        return degrees / 360.0 * self.wavelength


def line_values(width: float, board: Board, frequency: float = 0.0, conductor: Conductor | None = None) -> LineValues:
    """The strip of `width` [m] at `frequency` [Hz]; formulas as in linear/microstrip."""
    metal = conductor or board.metal
    static = microstrip.static_line(width / board.height, metal.thickness / board.height, board.permittivity)
    if frequency == 0.0:
        return LineValues(0.0, width, static.impedance, static.permittivity, math.inf, 0.0)
    found = single_line(width, metal, board, np.array([frequency]))
    wavelength = 2.0 * math.pi / float(found.gamma[0].imag)
    return LineValues(frequency, width, float(found.impedance[0]),
                      (microstrip.LIGHT / frequency / wavelength) ** 2, wavelength,
                      _NEPER * float(found.gamma[0].real))


def width_for(impedance: float, board: Board, frequency: float = 0.0, conductor: Conductor | None = None) -> float:
    """Width of the strip of `impedance` [ohm] at `frequency` [Hz]. [m]

    Raises
    ------
    Refusal
        No width from 0.02 to 50 heights has it; names the range.
    """
    h = board.height
    return reached(lambda w: line_values(w, board, frequency, conductor).impedance, impedance, NARROWEST * h,
                   WIDEST * h, "an impedance", "ohm", "impedance")


@dataclass(frozen=True)
class LineDesign:
    """A line as it is cut.

    Parameters
    ----------
    board, conductor : Board, Conductor or None
    values : LineValues
        Of the width that is cut.
    exact_width, exact_length : float
        Before rounding; length None where none was asked for. [m]
    length, degrees, loss_db : float or None
        Of the length that is cut. [m], [deg], [dB]
    hand_width, hand_impedance : float
        Second opinion, from E. O. Hammerstad 1975 (`hand_formula_width`, `hand_formula`): width for the impedance [m]
        and impedance of the width [ohm], thin metal and low frequency.
    loss_factor : float or None
        Of the strip's metal, where a measured loss told it; it is in `conductor` then. [1]
    warnings : tuple of str
    """

    board: Board
    conductor: Conductor | None
    values: LineValues
    exact_width: float
    exact_length: float | None
    length: float | None
    degrees: float | None
    loss_db: float | None
    hand_width: float
    hand_impedance: float
    loss_factor: float | None
    warnings: tuple[str, ...]

    @property
    def elements(self) -> list[Element]:
        """The line as a part, if it has a length."""
        if self.length is None:
            return []
        return [Element("line", BoardLine(self.board, self.values.width, self.length, self.conductor), ("a", "b"))]


def design_line(board: Board, *, impedance: float | None = None, width: float | None = None,
                frequency: float = 0.0, degrees: float | None = None, length: float | None = None,
                conductor: Conductor | None = None, cut: float = CUT,
                measured_loss_db: float | None = None) -> LineDesign:
    """Width from impedance or impedance from width; length from degrees or degrees from length.

    Parameters
    ----------
    board, conductor : Board, Conductor or None
    impedance, width : float or None
        One of the two: [ohm], [m].
    frequency : float
        0: static values; a length then means nothing. [Hz]
    degrees, length : float or None
        At most one of the two: [deg], [m].
    cut : float
        Width and length are rounded to multiples of it where they are found; 0: not at all. [m]
    measured_loss_db : float or None
        Of a line of this width and length at this frequency: tells the loss factor of its metal. [dB]

    Raises
    ------
    Refusal
        None or both of two that exclude each other, a length without a frequency, an impedance out of reach, a measured
        loss without a length or below what the dielectric alone loses.
    """
    if (impedance is None) == (width is None):
        raise Refusal("give the impedance or the width, one of the two", "impedance")
    if degrees is not None and length is not None:
        raise Refusal("both degrees and length are given; keep one", "degrees")
    if frequency == 0.0 and (degrees is not None or length is not None):
        raise Refusal("a length in degrees holds at one frequency; give it", "at")
    exact = width if width is not None else width_for(impedance, board, frequency, conductor)
    values = line_values(exact if width is not None else rounded(exact, cut), board, frequency, conductor)
    wanted = length if length is not None else None if degrees is None else values.length(degrees)
    kept = wanted if length is not None or wanted is None else rounded(wanted, cut)
    factor = None
    if measured_loss_db is not None:
        if kept is None:
            raise Refusal("a measured loss is that of a length; give it, with the frequency", "length")
        metal = conductor or board.metal
        factor = loss_factor_from_measurement(values.width, kept, board, metal, frequency, measured_loss_db)
        conductor = replace(metal, loss_factor=float(f"{factor:.4g}"))
        values = line_values(values.width, board, frequency, conductor)
    hand = hand_formula_width(values.impedance, board.permittivity) * board.height
    return LineDesign(board, conductor, values, exact, wanted, kept, None if kept is None else values.degrees(kept),
                      None if kept is None else values.loss_db_per_m * kept, hand,
                      hand_formula(values.width / board.height, board.permittivity)[0], factor,
                      _warnings(board, conductor, values))


def _warnings(board: Board, conductor: Conductor | None, values: LineValues) -> tuple[str, ...]:
    """Losses mean nothing at low frequency, and are not spoken of there."""
    if values.frequency == 0.0:
        return tuple(microstrip.line_warnings(values.width, (conductor or board.metal).thickness, board, 0.0))
    return tuple(BoardLine(board, values.width, 0.0, conductor).warnings(values.frequency))


def hand_formula(u: float, er: float) -> tuple[float, float]:
    """Impedance [ohm] and effective permittivity [1] of a thin strip, width over height u, by formulas for the hand.

    E. O. Hammerstad, "Equations for microstrip circuit design", Proc. 5th European Microwave Conf., 1975, 268-272 (from
    memory). Against an independent electrostatic solution, u 0.1 to 10, er 1 to 10.2: 0.65 % and 0.81 %.
    """
    ee = (er + 1.0) / 2.0 + (er - 1.0) / 2.0 * ((1.0 + 12.0 / u) ** -0.5 + 0.04 * max(1.0 - u, 0.0) ** 2)
    if u <= 1.0:
        return 60.0 / math.sqrt(ee) * math.log(8.0 / u + u / 4.0), ee
    return 120.0 * math.pi / (math.sqrt(ee) * (u + 1.393 + 0.667 * math.log(u + 1.444))), ee


def hand_formula_width(impedance: float, er: float) -> float:
    """Width over height of a thin strip of `impedance` [ohm], by formulas for the hand (source as `hand_formula`). [1]

    The strip so found has the impedance within 0.3 % for er 2.2 to 10.2 and 25 to 120 ohm.
    """
    A = impedance / 60.0 * math.sqrt((er + 1.0) / 2.0) + (er - 1.0) / (er + 1.0) * (0.23 + 0.11 / er)
    if A > 1.0:  # exp(2 A) - 2 is positive from 0.35 on; the narrow form holds up to u = 2, from A = 1.52 on
        narrow = 8.0 * math.exp(A) / (math.exp(2.0 * A) - 2.0)
        if narrow <= 2.0:
            return narrow
    B = 377.0 * math.pi / (2.0 * impedance * math.sqrt(er))
    return 2.0 / math.pi * (B - 1.0 - math.log(2.0 * B - 1.0)
                            + (er - 1.0) / (2.0 * er) * (math.log(B - 1.0) + 0.39 - 0.61 / er))
