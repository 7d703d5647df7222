"""Match of a load to a line by one stub: where it stands and how long it is, both solutions.

On the way from the load along the line, the reflection turns until its conductance is that of the line; there the stub
takes the susceptance away (textbook: D. M. Pozar, Microwave Engineering, 4th ed., Wiley 2012, sec. 5.2; written here
with reflections, which stay finite for every load). On a board, distance and length are then moved until the parts
themselves (line with its loss, tee, stub with its open end) match, and rounded to a cut.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..errors import Refusal
from ..linear.board import Board, Conductor
from ..linear.discontinuities import BoardTee
from ..linear.lines import (BoardLine, BoardOpenStub, BoardShortedStub, Line, OpenStub, ShortedStub, end_extension)
from ..linear.network import Element
from ..quantities import show
from .lines import line_values, width_for
from .solving import CUT, rounded, warnings_of
from .termination import load_matched_by, refuse_unmatchable, reflection_of, return_loss_db, seen_through

KINDS = ("open", "shorted")
ENDS = ("match", "load")  # nodes of the line that comes in, and of the load
_DEGREE_CUT = 0.01
_STEPS = 81  # points of each way drawn on a chart
_BESIDE = (0.95, 1.0, 1.05)  # of the frequency, where the return loss is told


@dataclass(frozen=True)
class StubMatch:
    """One solution.

    Parameters
    ----------
    kind : str
        "open" or "shorted".
    distance_degrees, stub_degrees : float
        Of the ideal solution: from the load to the stub, and of the stub. [deg]
    distance, stub : float or None
        As cut on a board: from the load to the stub's centre line, and from the line's edge to the stub's end. [m]
    elements : tuple of Element
        Between the nodes "match" and "load".
    return_loss_db : tuple of float
        At 0.95, 1 and 1.05 of the frequency, the load staying as it is. [dB]
    along_line, along_stub : tuple of complex
        Reflection at the stub's place while the line grows from the load on, and then while the stub grows, an open one
        from nothing, a shorted one from a quarter wave.
    """

    kind: str
    distance_degrees: float
    stub_degrees: float
    distance: float | None
    stub: float | None
    elements: tuple[Element, ...]
    return_loss_db: tuple[float, ...]
    along_line: tuple[complex, ...]
    along_stub: tuple[complex, ...]


@dataclass(frozen=True)
class StubMatchDesign:
    """Both solutions for one load.

    Parameters
    ----------
    load : complex
        [ohm]
    impedance, stub_impedance : float
        Of the line and of the stub. [ohm]
    frequency : float
        [Hz]
    board, conductor : Board, Conductor or None
    width, stub_width : float or None
        [m]
    solutions : tuple of StubMatch
        The one nearer to the load first.
    warnings : tuple of str
    """

    load: complex
    impedance: float
    stub_impedance: float
    frequency: float
    board: Board | None
    conductor: Conductor | None
    width: float | None
    stub_width: float | None
    solutions: tuple[StubMatch, ...]
    warnings: tuple[str, ...]


def stub_angles(load: complex, impedance: float, stub_impedance: float,
                kind: str = "open") -> tuple[tuple[float, float], tuple[float, float]]:
    """Distance and stub length of both solutions, ideal lines, each from 0 to 180 deg. [ohm] -> [deg]

    Raises
    ------
    Refusal
        The load takes no power, or is matched already, or the kind is unknown.
    """
    refuse_unmatchable(load, impedance)
    if kind not in KINDS:
        raise Refusal(f"'{kind}' is not a kind of stub; take {' or '.join(KINDS)}", "stub")
    reflection = complex(reflection_of(load, impedance))
    found = []
    for sign in (1.0, -1.0):
        # On the circle of conductance 1, y = 1 + j b: reflection -j b/(2 + j b), whose magnitude fixes b.
        b = sign * 2.0 * abs(reflection) / math.sqrt(1.0 - abs(reflection) ** 2)
        turned = (cmath.phase(reflection) - cmath.phase(-1j * b / (2.0 + 1j * b))) / 2.0
        wanted = -b * stub_impedance / impedance  # of the stub, in its own admittance
        stub = math.atan(wanted) if kind == "open" else math.atan2(1.0, -wanted)
        found.append((math.degrees(turned) % 180.0, math.degrees(stub) % 180.0))
    return tuple(sorted(found))


def ideal_stub_match(load: complex, impedance: float, frequency: float, *, stub_impedance: float | None = None,
                     kind: str = "open", cut_degrees: float = _DEGREE_CUT) -> StubMatchDesign:
    """Match by ideal lines.

    Parameters
    ----------
    load : complex
        At `frequency`. [ohm]
    impedance : float
        Of the line, to which the load is matched. [ohm]
    frequency : float
        [Hz]
    stub_impedance : float or None
        None: that of the line. [ohm]
    kind : str
        "open" or "shorted".
    cut_degrees : float
        Lengths are multiples of it; 0: not rounded. [deg]

    Raises
    ------
    Refusal
        As `stub_angles`.
    """
    other = stub_impedance or impedance
    parts = _ideal_parts(kind, impedance, other, frequency)
    solutions = []
    for angles in stub_angles(load, impedance, other, kind):
        kept = rounded(angles[0], cut_degrees), rounded(angles[1], cut_degrees)
        solutions.append(_solution(kind, angles, None, parts, kept, load, impedance, frequency))
    return StubMatchDesign(load, impedance, other, frequency, None, None, None, None, tuple(solutions), ())


def board_stub_match(load: complex, impedance: float, frequency: float, board: Board,
                     conductor: Conductor | None = None, *, stub_impedance: float | None = None, kind: str = "open",
                     cut: float = CUT) -> StubMatchDesign:
    """Match by strips on a board; arguments as `ideal_stub_match`, lengths rounded to multiples of `cut` [m].

    Raises
    ------
    Refusal
        As `stub_angles`; an impedance that no strip has; or no distance and length that match with the losses there.
    """
    other = stub_impedance or impedance
    width, stub_width = (rounded(width_for(z, board, frequency, conductor), cut) for z in (impedance, other))
    waves = [line_values(w, board, frequency, conductor).wavelength for w in (width, stub_width)]
    parts = _board_parts(kind, board, conductor, width, stub_width)
    solutions, warnings = [], []
    for angles in stub_angles(load, impedance, other, kind):
        start = [angle / 360.0 * wave for angle, wave in zip(angles, waves)]
        if kind == "open":
            start[1] -= float(end_extension(stub_width, conductor or board.metal, board))
        exact = _matched(parts, start, waves, load, impedance, frequency)
        kept = rounded(exact[0], cut), rounded(exact[1], cut)
        solutions.append(_solution(kind, angles, kept, parts, kept, load, impedance, frequency))
        if kept[0] < stub_width / 2.0:
            warnings.append(f"solution {len(solutions)}: the stub's edge would lie behind the load, which is "
                            f"{show(kept[0], 'm', 3)} from its centre line; half a wave of line more "
                            f"({show(waves[0] / 2.0, 'm', 4)}) makes room")
    warnings += warnings_of(solutions[0].elements, frequency)
    return StubMatchDesign(load, impedance, other, frequency, board, conductor, width, stub_width, tuple(solutions),
                           tuple(warnings))


def load_of_stub_match(distance: float, stub: float, impedance: float, frequency: float, board: Board | None = None,
                       conductor: Conductor | None = None, *, stub_impedance: float | None = None,
                       kind: str = "open", cut: float = CUT) -> StubMatchDesign:
    """The way back: the load that a line and a stub of these lengths match; other arguments as there.

    distance, stub : on a board in m, else in deg.

    Raises
    ------
    Refusal
        An impedance that no strip has, or a stub that lets nothing through.
    """
    other = stub_impedance or impedance
    if board is None:
        widths: tuple = (None, None)
        parts, angles = _ideal_parts(kind, impedance, other, frequency), (distance, stub)
    else:
        widths = tuple(rounded(width_for(z, board, frequency, conductor), cut) for z in (impedance, other))
        parts = _board_parts(kind, board, conductor, *widths)
        angles = tuple(line_values(width, board, frequency, conductor).degrees(length)
                       for width, length in zip(widths, (distance, stub)))
    load = load_matched_by(parts(distance, stub), ENDS, impedance, frequency)
    solution = _solution(kind, angles, None if board is None else (distance, stub), parts, (distance, stub), load,
                         impedance, frequency)
    warnings = () if board is None else warnings_of(solution.elements, frequency)
    return StubMatchDesign(load, impedance, other, frequency, board, conductor, *widths, (solution,), warnings)


def _ideal_parts(kind: str, impedance: float, stub_impedance: float, frequency: float) -> Callable:
    """(distance, stub) in deg -> elements, the line last."""
    cls = OpenStub if kind == "open" else ShortedStub
    return lambda distance, stub: (
        Element("match_stub", cls(stub_impedance, stub, frequency), ENDS[:1]),
        Element("match_line", Line(impedance, distance, frequency), ENDS))


def _board_parts(kind: str, board: Board, conductor: Conductor | None, width: float, stub_width: float) -> Callable:
    """(distance, stub) in m -> elements, the line last."""
    cls = BoardOpenStub if kind == "open" else BoardShortedStub
    return lambda distance, stub: (
        Element("match_tee", BoardTee(board, width, stub_width), (ENDS[0], "match_t", "match_s")),
        Element("match_stub", cls(board, stub_width, stub, conductor), ("match_s",)),
        Element("match_line", BoardLine(board, width, distance, conductor), ("match_t", ENDS[1])))


def _matched(parts: Callable, start: list[float], waves: list[float], load: complex, impedance: float,
             frequency: float) -> tuple[float, float]:
    """Distance and stub length [m] at which the parts match, from those of ideal lines; none below zero."""
    from scipy.optimize import root
    at = np.array([frequency])

    def lengths(x: np.ndarray) -> list[float]:
        """Of line and stub; what is below zero gets half waves more."""
        return [(value + 0.5 * math.ceil(-2.0 * value) if value < 0.0 else value) * wave
                for value, wave in zip(x, waves)]

    def off(x: np.ndarray) -> list[float]:
        seen = seen_through(parts(*lengths(x)), ENDS, load, impedance, at)[0]
        return [seen.real, seen.imag]

    def solved(x: np.ndarray) -> np.ndarray:
        return root(off, x, tol=1e-12).x

    # Again from where half waves were put in, whose loss moves both lengths a little.
    found = solved(np.array([value / wave for value, wave in zip(start, waves)]))
    found = solved(np.array([value / wave for value, wave in zip(lengths(found), waves)]))
    if math.hypot(*off(found)) > 1e-8:
        raise Refusal("no distance and length match this load with the losses of these strips; another stub or another "
                      "board may", "resistance")
    return tuple(lengths(found))


def _solution(kind: str, angles: tuple[float, float], cut: tuple[float, float] | None, parts: Callable,
              kept: tuple[float, float], load: complex, impedance: float, frequency: float) -> StubMatch:
    """A solution with what its parts, of the lengths `kept`, do."""
    elements = parts(*kept)
    losses = tuple(return_loss_db(seen_through(elements, ENDS, load, impedance, np.array([share * frequency]))[0])
                   for share in _BESIDE)
    at, shares = np.array([frequency]), np.linspace(0.0, 1.0, _STEPS)
    node = elements[-1].nodes[0]  # of the line, where the stub stands
    along_line = [seen_through(parts(share * kept[0], kept[1])[-1:], (node, ENDS[1]), load, impedance, at)[0]
                  for share in shares]
    # An open stub of no length does nothing, nor does a shorted one of a quarter wave.
    nothing = 0.0 if kind == "open" else 90.0 / angles[1] * kept[1]
    along_stub = [seen_through(parts(kept[0], nothing + share * (kept[1] - nothing)), ENDS, load, impedance, at)[0]
                  for share in shares]
    return StubMatch(kind, *angles, *(cut or (None, None)), elements, losses, tuple(map(complex, along_line)),
                     tuple(map(complex, along_stub)))
