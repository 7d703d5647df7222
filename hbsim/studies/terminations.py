"""What a device wants to see: output and input match against the termination of one pin at one harmonic.

Each point is a full solve of the circuit with another termination at that harmonic alone (plane.py says what counts as
output and input match then). The points are rings of the chart, each solved from a neighbour's state. Between them the
curves are those of a smooth surface of cubic pieces over triangles (scipy's, after P. Alfeld, Comput. Aided Geom.
Design
1 (1984) 169-181, from memory). The termination of most output is found again without that surface, by following the
exact slopes of the solved circuit.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.solution import SteadyState
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import NotSolved, Refusal
from ..quantities import finite_or_none
from .hot_reflection import HotReflection, hot_reflection
from .plane import DRIVE_SIDE, ELSEWHERE, Plane, plane

RINGS = 12  # of the chart, the middle apart
REACH = 0.95  # where a termination must take or give power
_TRIES = 3  # neighbours from whose state a point is tried
_MESH, _BEYOND = 161, 1.03  # points of the surface along each axis, and its size over the reach
_DISAGREES_DB = 0.05  # between surface and search, worth a sentence. [dB]
_MOVED_DB = 0.1  # of the state of most output when it is solved anew. [dB]
_REFINED, _RIGHT_DB = 12, 0.005  # points put in where the surface is highest, until it is right by so much
_MATCHED = 1e-5  # an input reflection below counts as this: 100 dB
_COUPLED = 0.02  # between termination and what is seen under drive, worth a sentence. [1]


@dataclass(frozen=True, eq=False)
class Point:
    """One solved termination: reflection coefficient [1], output at the wanted harmonic [dBm], reflection coefficient
    of the input [1], and the level of the generator [dBm]."""

    reflection: complex
    output_dbm: float
    input_reflection: complex
    drive_dbm: float

    @property
    def input_return_loss_db(self) -> float:
        """Of the input. [dB]"""
        size = abs(self.input_reflection)
        return -20.0 * math.log10(size) if size > 0.0 else math.inf


@dataclass(frozen=True, eq=False)
class Surface:
    """A quantity between the solved points.

    Attributes
    ----------
    x, y : ndarray, (n,)
        Real and imaginary part of the reflection coefficient.
    values : ndarray, (n, n)
        At (y, x), beyond the reach as at its edge; not a number about points that were not solved.
    highest : tuple of (complex, float)
        Where it is highest, and how high.
    """

    x: np.ndarray
    y: np.ndarray
    values: np.ndarray
    highest: tuple[complex, float]


@dataclass(frozen=True, eq=False)
class Terminations:
    """Output and input match over the chart.

    Attributes
    ----------
    plane : Plane
    reach : float
        Largest magnitude of the reflection coefficient.
    present : Point
        The circuit as it is.
    points : tuple of Point
    unsolved : tuple of complex
        Terminations without a steady state that was found.
    best : Point
        Of most output, found by following slopes.
    output, match : Surface
        Of output [dBm] and input return loss [dB].
    hot : HotReflection
        Of the present circuit, at the wanted port and harmonic.
    harmonics : int
        K of all solves.
    solves : int
    notes : tuple of str
    """

    plane: Plane
    reach: float
    present: Point
    points: tuple[Point, ...]
    unsolved: tuple[complex, ...]
    best: Point
    output: Surface
    match: Surface
    hot: HotReflection
    harmonics: int
    solves: int
    notes: tuple[str, ...]
    state: SteadyState = field(repr=False)
    best_state: SteadyState = field(repr=False)

    @property
    def at_edge(self) -> bool:
        """Whether the best termination lies at the end of the reach."""
        return abs(self.best.reflection) > self.reach - 1e-6


def default_reach(where: Plane) -> float:
    """The whole chart where a reflection of 1 is a sensible answer, else `REACH`."""
    return 1.0 if where.side == ELSEWHERE else REACH


def terminations(description: Description, at: str, harmonic: int, *, reference: float = 50.0,
                 reach: float | None = None, rings: int = RINGS, harmonics: int | None = None,
                 accuracy: Accuracy = Accuracy()) -> Terminations:
    """Solve the circuit with the terminations of a whole chart at one pin and harmonic.

    Parameters
    ----------
    at, harmonic, reference : see `plane`
    reach : float or None
        Largest reflection coefficient, above 0 and up to 1, below 1 on the drive's way. None: `default_reach`.
    rings : int
        3 or more; 1 + 3 n (n + 1) points.
    harmonics : int or None
        K; None: what the present circuit needs for `accuracy`.

    Raises
    ------
    NotSolved
        The present circuit has no steady state, or fewer than half of the points have one.
    Refusal
        See `plane`; or a reach or number of rings that is not possible.
    """
    where = plane(description, at, harmonic, reference)
    reach = default_reach(where) if reach is None else reach
    if not 0.0 < reach <= (0.999 if where.side == DRIVE_SIDE else 1.0):
        raise Refusal(f"a reach of {reach:g} is not possible; it is above 0 and at most 1, and on the drive's way at "
                      "most 0.999", "reach")
    if not 3 <= rings <= 60:
        raise Refusal(f"{rings} rings are not possible; take 3 to 60", "rings")
    state = solve(description, harmonics, accuracy=accuracy)
    if harmonic > state.system.harmonics:
        raise Refusal(f"harmonic {harmonic} is not among the {state.system.harmonics} that are solved; take a lower "
                      "one or more harmonics", "harmonic")
    march = _March(where, state)
    present = march.point(where.present, state)
    assert present is not None  # the added part does nothing there
    grid = rings_of(reach, rings)
    states = march.over(grid, present[1])
    solved = [n for n in range(len(grid)) if n in states]
    if 2 * len(solved) < len(grid):
        raise NotSolved(f"of {len(grid)} terminations at {where.pin} only {len(solved)} have a steady state that was "
                        "found; take a smaller reach or a weaker drive")
    found = [states[n] for n in solved]
    lost = tuple(complex(grid[n]) for n in range(len(grid)) if n not in states)
    output = march.refined(found, lost, reach)
    best = march.best(max(found, key=lambda item: item[0].output_dbm), reach)
    points = tuple(point for point, _ in found)
    notes = [*_notes(where, output, best, accuracy, harmonics), *_coupling(where, present[1])]
    return Terminations(where, reach, present[0], points, lost, best[0], output, match_surface(points, lost, reach),
                        hot_reflection(state), state.system.harmonics, march.solves, tuple(notes), state, best[1])


def rings_of(reach: float, rings: int) -> np.ndarray:
    """The middle and rings of 6, 12, 18, ... points about it: triangles of nearly one size. [1]"""
    found = [np.zeros(1, complex)]
    for ring in range(1, rings + 1):
        found.append(reach * ring / rings * np.exp(2j * np.pi * np.arange(6 * ring) / (6 * ring)))
    return np.concatenate(found)


_Solved = tuple[Point, SteadyState]


class _March:
    """Solves from one termination to the next."""

    def __init__(self, where: Plane, state: SteadyState) -> None:
        self._plane, self._harmonics, self._accuracy = where, state.system.harmonics, state.accuracy
        self.solves = 0

    def point(self, reflection: complex, start: SteadyState) -> _Solved | None:
        """One termination; None where no state is found."""
        self.solves += 1
        try:
            state = solve(self._plane.terminated(reflection), self._harmonics, start=start, accuracy=self._accuracy)
        except NotSolved:
            return None
        output = self._plane.output_dbm(state)
        return Point(reflection, output, self._plane.input_reflection(state),
                     state.description.drive.power_dbm), state

    def over(self, grid: np.ndarray, start: SteadyState) -> dict[int, _Solved]:
        """The points of a grid that have a state, by number, each from the neighbour that was solved first."""
        from scipy.spatial import Delaunay
        offsets, neighbours = Delaunay(np.column_stack([grid.real, grid.imag])).vertex_neighbor_vertices
        first = int(np.argmin(np.abs(grid - self._plane.present)))
        waiting: list[tuple[float, int, int]] = [(0.0, first, -1)]
        found: dict[int, _Solved] = {}
        tried: dict[int, int] = {}
        while waiting:
            _, number, origin = heapq.heappop(waiting)
            if number in found or tried.get(number, 0) >= _TRIES:
                continue
            tried[number] = tried.get(number, 0) + 1
            solved = self.point(complex(grid[number]), start if origin < 0 else found[origin][1])
            if solved is None:
                continue
            found[number] = solved
            for other in neighbours[offsets[number]:offsets[number + 1]]:
                if int(other) not in found:
                    # from the middle of what is solved outwards, so that no long chain of starts comes about
                    heapq.heappush(waiting, (abs(grid[other] - self._plane.present), int(other), number))
        return found

    def refined(self, found: list[_Solved], lost: tuple[complex, ...], reach: float) -> Surface:
        """The surface of the output, with points put in where it is highest until it is right there."""
        for _ in range(_REFINED):
            result = output_surface([point for point, _ in found], lost, reach)
            place, level = result.highest
            start = min(found, key=lambda item: abs(item[0].reflection - place))
            solved = self.point(place, start[1])
            if solved is None:
                return result
            off = abs(solved[0].output_dbm - level)
            if off < _RIGHT_DB or place == start[0].reflection:
                return result
            found.append(solved)
        return output_surface([point for point, _ in found], lost, reach)

    def best(self, start: _Solved, reach: float) -> _Solved:
        """From a good point to the best one near by, on the slopes of the solved circuit."""
        from scipy.optimize import minimize
        known: dict[tuple[float, float], _Solved] = {}
        last = start

        def at(x: np.ndarray) -> _Solved:
            nonlocal last
            key = float(x[0]), float(x[1])
            if key not in known:
                reflection = complex(*key)
                if abs(reflection) > reach:  # by rounding of the search
                    reflection *= reach / abs(reflection)
                solved = self.point(reflection, last[1])
                if solved is None:
                    raise NotSolved("the search met a termination without a state that was found")
                known[key] = last = solved
            return known[key]

        def slope(x: np.ndarray) -> np.ndarray:
            found = self._plane.slope(at(x)[1])
            return -np.array([found.real, found.imag])

        inside = {"type": "ineq", "fun": lambda x: reach**2 - x @ x, "jac": lambda x: -2.0 * x}
        begin = start[0].reflection
        try:
            minimize(lambda x: -at(x)[0].output_dbm, [begin.real, begin.imag], jac=slope, method="SLSQP",
                     constraints=[inside], options={"ftol": 1e-10, "maxiter": 60})
        except NotSolved:  # what was found until then stands
            pass
        return max([start, *known.values()], key=lambda item: item[0].output_dbm)


def output_surface(points: Sequence[Point], lost: Sequence[complex], reach: float) -> Surface:
    """The output [dBm] of the points as a smooth surface, with holes about the terminations that were lost."""
    return _surface(points, lost, reach, np.array([point.output_dbm for point in points]), lambda value: value)


def match_surface(points: Sequence[Point], lost: Sequence[complex], reach: float) -> Surface:
    """The input return loss [dB]: of the input reflection between the points, which is smooth at a match too."""
    return _surface(points, lost, reach, np.array([point.input_reflection for point in points]),
                    lambda value: -20.0 * np.log10(np.maximum(np.abs(value), _MATCHED)))


def _surface(points: Sequence[Point], lost: Sequence[complex], reach: float, values: np.ndarray,
             shown: Callable[[Any], Any]) -> Surface:
    from scipy.interpolate import CloughTocher2DInterpolator
    from scipy.optimize import minimize
    from scipy.spatial import cKDTree
    places = np.array([point.reflection for point in points])
    kept = np.isfinite(values)
    smooth = CloughTocher2DInterpolator(np.column_stack([places.real, places.imag])[kept], values[kept])
    axis = np.linspace(-_BEYOND * reach, _BEYOND * reach, _MESH)
    mesh = axis[None, :] + 1j * axis[:, None]
    # the outer ring is a polygon: beyond its inner circle stands what holds there
    within = np.abs(places).max() * math.cos(math.pi / max(int((np.abs(places) > reach - 1e-9).sum()), 6))
    mesh = mesh * np.minimum(1.0, within / np.maximum(np.abs(mesh), 1e-300))
    found = shown(smooth(mesh.real, mesh.imag))
    holes = np.concatenate([np.array(lost, complex), places[~kept]])
    if len(holes):
        every = np.concatenate([places[kept], holes])
        _, nearest = cKDTree(np.column_stack([every.real, every.imag])).query(
            np.stack([mesh.real, mesh.imag], axis=-1))
        found[nearest >= kept.sum()] = np.nan
    row, column = np.unravel_index(np.nanargmax(found), found.shape)

    def below(x: np.ndarray) -> float:
        value = float(shown(smooth(*x)))
        return -value if math.isfinite(value) and math.hypot(*x) <= reach else math.inf

    begin = np.array([mesh[row, column].real, mesh[row, column].imag])
    corners = begin - (axis[1] - axis[0]) * np.sign(begin) * np.array([[0.0, 0.0], [0.7, 0.0], [0.0, 0.7]])
    polished = minimize(below, begin, method="Nelder-Mead", options={"initial_simplex": corners, "xatol": 1e-6,
                                                                     "fatol": 1e-9})
    candidates = [(complex(*polished.x), -float(polished.fun)), (complex(*begin), float(found[row, column]))]
    on_points = shown(values[kept])
    top = int(np.argmax(on_points))
    candidates.append((complex(places[kept][top]), float(on_points[top])))
    return Surface(axis, axis, found, max(candidates, key=lambda item: item[1]))


def _notes(where: Plane, output: Surface, best: _Solved, accuracy: Accuracy, harmonics: int | None) -> list[str]:
    """What limits the numbers."""
    found = []
    place, level = output.highest
    if abs(level - best[0].output_dbm) > _DISAGREES_DB:
        found.append(f"the surface between the points is highest with {level:.2f} dBm; the search on the solved "
                     f"circuit found {best[0].output_dbm:.2f} dBm, which holds; take more rings for finer curves")
    try:
        anew = solve(where.terminated(best[0].reflection), harmonics, accuracy=accuracy)
    except NotSolved:
        found.append("the state of most output was found from its neighbours alone; solved from cold there is none")
        return found
    change = where.output_dbm(anew) - best[0].output_dbm
    if abs(change) > _MOVED_DB:
        found.append(f"solved from cold with {anew.system.harmonics} harmonics, the termination of most output gives "
                     f"{change:+.2f} dB against what is shown: more than one state may exist there")
    return found


def _coupling(where: Plane, state: SteadyState) -> list[str]:
    """A sentence where the device does not see what the circuit alone shows."""
    others = [name for name in where.description.devices if name != where.pin.split(".")[0]]
    found = []
    if others:
        found.append(f"the termination is that of the circuit with every device taken out, {', '.join(others)} too")
    if where.side == DRIVE_SIDE:
        return found
    seen = where.seen(state)
    if math.isfinite(abs(seen)) and abs(seen - where.present) > _COUPLED:
        found.append(f"under drive {where.pin} sees {abs(seen):.3f} at {math.degrees(np.angle(seen)):.1f} deg, as "
                     "other pins or the generator act on its node through the circuit")
    return found


def as_json(found: Terminations) -> dict[str, Any]:
    """All numbers as plain data; every key carries its unit, None stands for no number."""
    where = found.plane

    def told(reflection: complex) -> dict[str, Any]:
        z = where.impedance(reflection)
        return {"reflection_real": reflection.real, "reflection_imag": reflection.imag,
                "resistance_ohm": finite_or_none(z.real), "reactance_ohm": finite_or_none(z.imag)}

    def point(item: Point) -> dict[str, Any]:
        return told(item.reflection) | {"output_dbm": finite_or_none(item.output_dbm),
                                        "input_return_loss_db": finite_or_none(item.input_return_loss_db),
                                        "drive_dbm": item.drive_dbm}

    def highest(item: Surface, key: str) -> dict[str, Any]:
        return told(item.highest[0]) | {key: item.highest[1]}

    return {
        "title": where.description.title, "pin": where.pin, "node": where.node, "harmonic": where.harmonic,
        "frequency_hz": where.frequency, "reference_ohm": where.reference, "counts_as": where.side,
        "reach": found.reach, "present": point(found.present), "best": point(found.best),
        "best_at_edge": found.at_edge, "port_output_dbm": finite_or_none(_port_output(found)),
        "highest_of_surface": highest(found.output, "output_dbm"),
        "best_match_of_surface": highest(found.match, "input_return_loss_db"),
        "points": [point(item) for item in found.points],
        "unsolved": [told(item) for item in found.unsolved],
        "hot_reflection": found.hot.as_json(), "harmonics": found.harmonics, "solves": found.solves,
        "notes": list(found.notes),
    }


def _port_output(found: Terminations) -> float:
    return found.state.output_dbm(found.state.description.wanted_harmonic)
