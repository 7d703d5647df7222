"""The layout of a coupled section on a board that is the inverter wanted, its two modes being of unequal speed.

Textbooks take width and gap from the even and odd impedance and the length lambda0 / (4 (ee_even ee_odd)^(1/4)) less
the extension of an open end (J.-S. Hong, M. J. Lancaster, Microstrip Filters for RF/Microwave Applications, Wiley 2001,
sec. 5.2, from memory). From there the three are moved until, at the centre frequency, the section is the wanted
inverter between lines of the wanted length (inverters.py, `equivalent`); half the sum of the impedances stays as
designed. For modes of equal speed that is the textbooks' section itself.
"""

from __future__ import annotations

import math

from ..errors import Refusal
from ..linear.board import Board, Conductor
from ..linear.lines import end_extension
from .inverters import Coupling, equivalent
from .pairs import GAPS, WIDTHS, PairValues, layout_for, pair_values


def section_layout(coupling: Coupling, impedance: float, board: Board, frequency: float,
                   conductor: Conductor | None = None) -> tuple[float, float, float]:
    """Width, gap, and length between the ends of the strips, of a section in a system of `impedance` [ohm]. [m]

    Raises
    ------
    Refusal
        No layout on this board is that section.
    """
    from scipy.optimize import root
    h = board.height
    width, gap = layout_for(coupling.even_impedance, coupling.odd_impedance, board, frequency, conductor)
    mean = pair_values(width, gap, board, frequency, conductor).mean_wavelength
    start = [math.log(width / h), math.log(gap / h), coupling.degrees / 360.0]
    limits = [tuple(math.log(value) for value in pair) for pair in (WIDTHS, GAPS)]

    def off(x: list[float]) -> list[float]:
        kept = [min(max(value, low), high) for value, (low, high) in zip(x, limits)]
        pair = pair_values(h * math.exp(kept[0]), h * math.exp(kept[1]), board, frequency, conductor)
        j, psi = equivalent(pair.even_impedance, pair.odd_impedance, *_degrees(pair, x[2] * mean), impedance)
        half_sum = (pair.even_impedance + pair.odd_impedance) / (coupling.even_impedance + coupling.odd_impedance)
        outside = sum(abs(value - inside) for value, inside in zip(x, kept))
        return [j - coupling.inverter + outside, math.radians(psi - coupling.degrees_to_inverter), half_sum - 1.0]

    found = root(off, start, tol=1e-12)
    if max(abs(value) for value in off(found.x)) > 1e-8:
        raise Refusal("no width and gap on this board make the coupling that is wanted here")
    width, gap = h * math.exp(found.x[0]), h * math.exp(found.x[1])
    return width, gap, found.x[2] * mean - end_extension(width, conductor or board.metal, board)


def section_length(width: float, gap: float, degrees_to_inverter: float, impedance: float, board: Board,
                   frequency: float, conductor: Conductor | None = None) -> float:
    """Length of a section of `width` and `gap` [m] for the wanted length of line beside its inverter [deg]. [m]"""
    from scipy.optimize import brentq
    pair = pair_values(width, gap, board, frequency, conductor)

    def off(length: float) -> float:
        return equivalent(pair.even_impedance, pair.odd_impedance, *_degrees(pair, length),
                          impedance)[1] - degrees_to_inverter

    around = degrees_to_inverter / 360.0 * pair.mean_wavelength
    return brentq(off, 0.5 * around, 1.5 * around, xtol=1e-12) - end_extension(width, conductor or board.metal, board)


def section_coupling(width: float, gap: float, length: float, impedance: float, board: Board, frequency: float,
                     conductor: Conductor | None = None) -> Coupling:
    """The way back: what a section of these sizes [m] is in a system of `impedance` [ohm] at `frequency` [Hz]."""
    pair = pair_values(width, gap, board, frequency, conductor)
    full = length + float(end_extension(width, conductor or board.metal, board))
    j, psi = equivalent(pair.even_impedance, pair.odd_impedance, *_degrees(pair, full), impedance)
    return Coupling(j, pair.even_impedance, pair.odd_impedance, 360.0 * full / pair.mean_wavelength, psi)


def quarter(width: float, gap: float, board: Board, frequency: float, conductor: Conductor | None = None) -> float:
    """A quarter of the mean wave of both modes, less the extension of an open end. [m]"""
    mean = pair_values(width, gap, board, frequency, conductor).mean_wavelength
    return mean / 4.0 - float(end_extension(width, conductor or board.metal, board))


def _degrees(pair: PairValues, length: float) -> tuple[float, float]:
    """Of both modes over `length` [m]. [deg]"""
    mean = 360.0 * length / pair.mean_wavelength
    return (mean * (pair.even_permittivity / pair.odd_permittivity) ** 0.25,
            mean * (pair.odd_permittivity / pair.even_permittivity) ** 0.25)
