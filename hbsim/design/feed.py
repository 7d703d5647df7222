"""Bias feed: a quarter wave of narrow line, held at its far end by an open stub of a quarter wave.

Open stub, quarter wave: a short at its frequency and three times that, nothing at twice that; the line turns a short
into an open end and, half a wave long, leaves a short a short (textbook: D. M. Pozar, Microwave Engineering, 4th ed.,
Wiley 2012, ch. 2). At twice its frequency the stub holds nothing: what lies beyond, on the way to the supply, is seen.
On a board both lengths are moved until the parts themselves (strips, tee, open end) resonate, then rounded to a cut.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import Refusal
from ..linear.board import Board, Conductor
from ..linear.discontinuities import BoardTee
from ..linear.lines import BoardLine, BoardOpenStub, Line, OpenStub, end_extension
from ..linear.network import Element
from ..linear.part import Part
from ..linear.radial_stub import BoardRadialStub
from ..quantities import show
from .lines import line_values, width_for
from .solving import CUT, rounded, warnings_of
from .termination import seen_through

HARMONICS = 4  # the last one told
LINE_OHM = 50.0  # of the line that a feed is held against in its picture
ENDS = ("main", "feed_supply")  # nodes of the line that is fed, and where the way to the supply goes on
OPEN = 1e9  # what stands for an open end of the supply's side. [ohm]
_BEYOND = 10.0  # ohm, for a capacitor with its leads and the way to it: common practice, no source
_REFERENCE = 50.0  # of reflections here; any would do. [ohm]
_CURVE = 601


@dataclass(frozen=True)
class Presented:
    """What the feed is to the line at one harmonic.

    Parameters
    ----------
    harmonic : int
    open_beyond, resistive_beyond : complex
        Impedance with the supply's side open, and with a resistance there. [ohm]
    loss_db, resistive_loss_db : float
        What either takes from a 50 ohm line that it hangs on. [dB]
    """

    harmonic: int
    open_beyond: complex
    resistive_beyond: complex
    loss_db: float
    resistive_loss_db: float


@dataclass(frozen=True)
class FeedDesign:
    """A bias feed.

    Parameters
    ----------
    frequency : float
        f0. [Hz]
    harmonic : int
        At which line and stub are a quarter wave.
    impedance, stub_impedance : float
        [ohm]
    board, conductor : Board, Conductor or None
    width, length, stub_width, stub_length : float or None
        As cut; of a radial stub, across its narrow end and the radius of its rim. [m]
    stub_angle : float or None
        Of a radial stub. [deg]
    beyond : float
        Resistance that stands for the supply's side in `Presented.resistive_beyond`. [ohm]
    elements : tuple of Element
        Between the nodes "main" and "feed_supply".
    presented : tuple of Presented
        Harmonics 1 to 4.
    curve_frequency, curve_open, curve_resistive : tuple of float, complex, complex
        From 0.05 to 4.5 f0. [Hz], [ohm], [ohm]
    warnings : tuple of str
    """

    frequency: float
    harmonic: int
    impedance: float
    stub_impedance: float
    board: Board | None
    conductor: Conductor | None
    width: float | None
    length: float | None
    stub_width: float | None
    stub_length: float | None
    stub_angle: float | None
    beyond: float
    elements: tuple[Element, ...]
    presented: tuple[Presented, ...]
    curve_frequency: tuple[float, ...]
    curve_open: tuple[complex, ...]
    curve_resistive: tuple[complex, ...]
    warnings: tuple[str, ...]


def ideal_feed(frequency: float, impedance: float, stub_impedance: float, harmonic: int = 1,
               beyond: float = _BEYOND) -> FeedDesign:
    """A feed of ideal lines.

    Parameters
    ----------
    frequency : float
        f0. [Hz]
    impedance, stub_impedance : float
        Of the feed's line and of its stub. [ohm]
    harmonic : int
        Of f0, at which both are a quarter wave.
    beyond : float
        Resistance of the supply's side, for the second column. [ohm]

    Raises
    ------
    Refusal
        The harmonic is not a whole number from 1 to 4.
    """
    at = _at(frequency, harmonic)
    elements = (Element("feed_line", Line(impedance, 90.0, at), ENDS),
                Element("feed_stub", OpenStub(stub_impedance, 90.0, at), (ENDS[1],)))
    return _design(frequency, harmonic, (impedance, stub_impedance), None, None, (None,) * 5, beyond, elements, ())


def board_feed(frequency: float, impedance: float, stub_impedance: float, board: Board,
               conductor: Conductor | None = None, *, harmonic: int = 1, beyond: float = _BEYOND,
               radial_angle: float | None = None, cut: float = CUT) -> FeedDesign:
    """A feed on a board; arguments as `ideal_feed`, widths and lengths rounded to multiples of `cut` [m].

    radial_angle : of a radial stub, whose narrow end is as wide as the feed, in place of a straight one of
    `stub_impedance`. [deg]

    Raises
    ------
    Refusal
        As `ideal_feed`; an impedance that no strip has; strips that do not resonate.
    """
    at = _at(frequency, harmonic)
    widths = [rounded(width_for(z, board, at, conductor), cut) for z in (impedance, stub_impedance)]
    if radial_angle is not None:
        widths[1] = widths[0]
    quarters = [line_values(width, board, at, conductor).wavelength / 4.0 for width in widths]

    parts = _board_parts(board, conductor, *widths, radial_angle)
    first = quarters[1] - float(end_extension(widths[1], conductor or board.metal, board))
    if radial_angle is not None:  # wide at its end, it is shorter than a quarter wave of an even width
        first *= 0.7
    stub = _resonant(lambda x: parts(0.0, x)[1:], ("feed_t", ENDS[1]), first, at, -1.0)
    stub = rounded(stub, cut)
    length = rounded(_resonant(lambda x: parts(x, stub), ENDS, quarters[0], at, 1.0), cut)
    elements = parts(length, stub)
    return _design(frequency, harmonic, (impedance, stub_impedance), board, conductor,
                   (widths[0], length, widths[1], stub, radial_angle), beyond, elements,
                   warnings_of(elements, HARMONICS * frequency))


def feed_as_cut(frequency: float, width: float, length: float, stub_width: float, stub_length: float, board: Board,
                conductor: Conductor | None = None, *, harmonic: int = 1, beyond: float = _BEYOND,
                radial_angle: float | None = None) -> FeedDesign:
    """The way back: what a feed of these strips [m] is to the line; other arguments as `board_feed`.

    Raises
    ------
    Refusal
        The harmonic, at which the impedances of the strips are told, is not a whole number from 1 to 4.
    """
    at = _at(frequency, harmonic)
    impedances = tuple(line_values(w, board, at, conductor).impedance for w in (width, stub_width))
    elements = _board_parts(board, conductor, width, stub_width, radial_angle)(length, stub_length)
    sizes = (width, length, stub_width, stub_length, radial_angle)
    return _design(frequency, harmonic, impedances, board, conductor, sizes, beyond, elements,
                   warnings_of(elements, HARMONICS * frequency))


def _board_parts(board: Board, conductor: Conductor | None, width: float, stub_width: float,
                 radial_angle: float | None) -> Callable:
    """(length of the line, length of the stub or radius of its rim) in m -> elements."""
    def end(size: float) -> Part:
        if radial_angle is None:
            return BoardOpenStub(board, stub_width, size, conductor)
        return BoardRadialStub(board, size, radial_angle, inner_width=stub_width, conductor=conductor)

    return lambda length, stub: (
        Element("feed_line", BoardLine(board, width, length, conductor), (ENDS[0], "feed_t")),
        Element("feed_tee", BoardTee(board, width, stub_width), ("feed_t", ENDS[1], "feed_s")),
        Element("feed_stub", end(stub), ("feed_s",)))


def _at(frequency: float, harmonic: int) -> float:
    if not isinstance(harmonic, int) or not 1 <= harmonic <= HARMONICS:
        raise Refusal(f"{harmonic} is not a harmonic from 1 to {HARMONICS}", "harmonic")
    return frequency * harmonic


def _resonant(parts: Callable[[float], Sequence[Element]], ends: tuple[str, str], around: float, at: float,
              side: float) -> float:
    """Length [m] near `around` at which the reflection at ends[0], the other end open, is real: of the sign of `side`,
    1 for an open end and -1 for a short."""
    from scipy.optimize import brentq

    def off(length: float) -> float:
        return cmath.phase(side * seen_through(parts(length), ends, OPEN, _REFERENCE, np.array([at]))[0])

    low, high = 0.6 * around, 1.4 * around
    if off(low) * off(high) > 0.0:
        raise Refusal("line and stub do not come to resonance near a quarter wave on this board; take a narrower stub",
                      "stub_impedance")
    return brentq(off, low, high, xtol=1e-12)


def _design(frequency: float, harmonic: int, impedances: tuple[float, float], board: Board | None,
            conductor: Conductor | None, sizes: tuple, beyond: float, elements: tuple[Element, ...],
            warnings: tuple[str, ...]) -> FeedDesign:
    if not beyond > 0.0:
        raise Refusal(f"{show(beyond, 'ohm')} beyond the stub is not possible; take more than 0 ohm", "beyond")

    def both(at: np.ndarray) -> list[np.ndarray]:
        return [_impedance(seen_through(elements, ENDS, load, _REFERENCE, at)) for load in (OPEN, beyond)]

    told = []
    for k, values in enumerate(zip(*both(frequency * np.arange(1, HARMONICS + 1))), 1):
        told.append(Presented(k, *map(complex, values), *(_taken(complex(z)) for z in values)))
    curve = np.linspace(0.05, HARMONICS + 0.5, _CURVE) * frequency
    curves = both(curve)
    return FeedDesign(frequency, harmonic, *impedances, board, conductor, *sizes, beyond, elements, tuple(told),
                      tuple(curve.tolist()), *(tuple(z.tolist()) for z in curves), warnings)


def _impedance(reflection: np.ndarray) -> np.ndarray:
    """Of a reflection against the reference; held at 1e12 ohm. [ohm]"""
    rest = 1.0 - reflection
    return _REFERENCE * (1.0 + reflection) / np.where(np.abs(rest) < 1e-10, 1e-10, rest)


def _taken(z: complex) -> float:
    """Insertion loss of an impedance across a 50 ohm line, at most 400 dB. [dB]"""
    return min(20.0 * math.log10(abs(1.0 + 25.0 / z)) if z else 400.0, 400.0)
