"""A pair of equal coupled strips: width and gap <-> even and odd impedance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..errors import Refusal
from ..linear.board import Board, Conductor
from ..linear.coupled_lines import BoardCoupledLines
from ..linear.microstrip import coupled
from ..linear.microstrip import line as microstrip
from ..linear.microstrip.propagation import coupled_lines
from ..linear.network import Element
from ..quantities import show
from .solving import CUT, reached, rounded

WIDTHS, GAPS = (0.05, 20.0), (0.02, 8.0)  # over height, between which a layout is looked for


@dataclass(frozen=True)
class PairValues:
    """What a pair shows at one frequency (0 Hz: at low frequency).

    Parameters
    ----------
    frequency, width, gap : float
        [Hz], [m], [m]
    even_impedance, odd_impedance : float
        Of one strip against ground. [ohm]
    even_permittivity, odd_permittivity : float
        Effective. [1]
    even_loss_db_per_m, odd_loss_db_per_m : float
        [dB/m]
    """

    frequency: float
    width: float
    gap: float
    even_impedance: float
    odd_impedance: float
    even_permittivity: float
    odd_permittivity: float
    even_loss_db_per_m: float
    odd_loss_db_per_m: float

    @property
    def impedance(self) -> float:
        """Geometric mean of both: what matches a coupler of such strips. [ohm]"""
        return math.sqrt(self.even_impedance * self.odd_impedance)

    @property
    def coupling_db(self) -> float:
        """Largest voltage coupling, of a quarter wave, below the wave that comes in. [dB]"""
        return coupling_db(self.even_impedance, self.odd_impedance)

    @property
    def mean_wavelength(self) -> float:
        """Geometric mean of both modes; infinite at 0 Hz. [m]"""
        if self.frequency == 0.0:
            return math.inf
        return microstrip.LIGHT / self.frequency / (self.even_permittivity * self.odd_permittivity) ** 0.25


def coupling_db(even: float, odd: float) -> float:
    """-20 log10 of (Ze - Zo)/(Ze + Zo): coupling of a quarter wave (D. M. Pozar, Microwave Engineering, 4th ed., Wiley
    2012, sec. 7.6); infinite without coupling. [ohm] -> [dB]"""
    return -20.0 * math.log10((even - odd) / (even + odd)) if even > odd else math.inf


def impedances_for(impedance: float, coupling: float) -> tuple[float, float]:
    """Even and odd impedance of a coupler matched to `impedance` [ohm] with `coupling` [dB below]; same source. [ohm]

    Raises
    ------
    Refusal
        A coupling of 0 dB or less.
    """
    if not coupling > 0.0:
        raise Refusal(f"a coupling of {show(coupling, 'dB')} would be all of the wave or more; it counts down from 0 "
                      f"dB, such as 10dB", "coupling")
    c = 10.0 ** (-coupling / 20.0)
    return impedance * math.sqrt((1.0 + c) / (1.0 - c)), impedance * math.sqrt((1.0 - c) / (1.0 + c))


@lru_cache(maxsize=4096)
def pair_values(width: float, gap: float, board: Board, frequency: float = 0.0,
                conductor: Conductor | None = None) -> PairValues:
    """Strips of `width` and `gap` [m] at `frequency` [Hz]; formulas as in linear/microstrip/coupled.py."""
    metal, h = conductor or board.metal, board.height
    if frequency == 0.0:
        even, odd = coupled.static_modes(width / h, gap / h, metal.thickness / h, board.permittivity)
        return PairValues(0.0, width, gap, even.impedance, odd.impedance, even.permittivity, odd.permittivity, 0.0, 0.0)
    even, odd = coupled_lines(width, gap, metal, board, np.array([frequency]))
    k = 2.0 * math.pi * frequency / microstrip.LIGHT
    to_db = 20.0 / math.log(10.0)
    return PairValues(frequency, width, gap, float(even.impedance[0]), float(odd.impedance[0]),
                      (float(even.gamma[0].imag) / k) ** 2, (float(odd.gamma[0].imag) / k) ** 2,
                      to_db * float(even.gamma[0].real), to_db * float(odd.gamma[0].real))


@lru_cache(maxsize=256)  # a symmetrical filter asks for each section twice
def layout_for(even: float, odd: float, board: Board, frequency: float = 0.0,
               conductor: Conductor | None = None) -> tuple[float, float]:
    """Width and gap of the pair of these impedances [ohm] at `frequency` [Hz]. [m]

    At each gap the width is found that has the mean impedance; the gap is then found by the ratio of the impedances.

    Raises
    ------
    Refusal
        No layout between the limits WIDTHS and GAPS; names the couplings or impedances that can be reached.
    """
    if not even > odd:
        raise Refusal(f"an even impedance of {show(even, 'ohm')} is not above the odd one of {show(odd, 'ohm')}; "
                      f"exchange them", "even_impedance")
    h, mean = board.height, math.sqrt(even * odd)

    def width(gap: float) -> float:
        return reached(lambda w: pair_values(w, gap, board, frequency, conductor).impedance, mean, WIDTHS[0] * h,
                       WIDTHS[1] * h, f"with a gap of {show(gap, 'm', 3)}, a mean impedance", "ohm", "even_impedance")

    def coupling(gap: float) -> float:
        return pair_values(width(gap), gap, board, frequency, conductor).coupling_db

    gap = reached(coupling, coupling_db(even, odd), GAPS[0] * h, GAPS[1] * h,
                  f"with gaps from {show(GAPS[0] * h, 'm', 3)} to {show(GAPS[1] * h, 'm', 3)} on this board and a mean "
                  f"impedance of {show(mean, 'ohm')}, a coupling", "dB", "odd_impedance")
    return width(gap), gap


@dataclass(frozen=True)
class PairDesign:
    """A pair as it is cut.

    Parameters
    ----------
    board, conductor : Board, Conductor or None
    values : PairValues
        Of width and gap as they are cut.
    exact_width, exact_gap : float
        Before rounding. [m]
    length : float or None
        A quarter of the mean wavelength, rounded; None at 0 Hz. [m]
    warnings : tuple of str
    """

    board: Board
    conductor: Conductor | None
    values: PairValues
    exact_width: float
    exact_gap: float
    length: float | None
    warnings: tuple[str, ...]

    @property
    def elements(self) -> list[Element]:
        """The pair as a part, a quarter wave long."""
        if self.length is None:
            return []
        return [Element("pair", BoardCoupledLines(self.board, self.values.width, self.values.gap, self.length,
                                                  self.conductor), ("a1", "b1", "a2", "b2"))]


def design_pair(board: Board, *, even_impedance: float | None = None, odd_impedance: float | None = None,
                width: float | None = None, gap: float | None = None, frequency: float = 0.0,
                conductor: Conductor | None = None, cut: float = CUT) -> PairDesign:
    """Width and gap from even and odd impedance, or the other way about.

    Parameters
    ----------
    board, conductor : Board, Conductor or None
    even_impedance, odd_impedance : float or None
        [ohm]; or
    width, gap : float or None
        [m]
    frequency : float
        0: static values. [Hz]
    cut : float
        Found lengths are rounded to multiples of it; 0: not at all. [m]

    Raises
    ------
    Refusal
        Neither or both pairs of values, or impedances that no layout on this board has.
    """
    by_impedance = even_impedance is not None and odd_impedance is not None
    by_layout = width is not None and gap is not None
    given = sum(value is not None for value in (even_impedance, odd_impedance, width, gap))
    if by_impedance == by_layout or given != 2:
        raise Refusal("give both impedances, or width and gap", "even_impedance")
    exact = layout_for(even_impedance, odd_impedance, board, frequency, conductor) if by_impedance else (width, gap)
    kept = (rounded(exact[0], cut), max(rounded(exact[1], cut), cut)) if by_impedance else exact
    values = pair_values(*kept, board, frequency, conductor)
    length = None if frequency == 0.0 else rounded(values.mean_wavelength / 4.0, cut)
    if frequency == 0.0:  # losses mean nothing there
        said = coupled.coupled_warnings(*kept, (conductor or board.metal).thickness, board, 0.0)
    else:
        said = BoardCoupledLines(board, *kept, 0.0, conductor).warnings(frequency)
    return PairDesign(board, conductor, values, *exact, length, tuple(said))
