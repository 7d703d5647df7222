"""The Smith chart: the reflection coefficient with circles of constant resistance and reactance.

P. H. Smith, Electronics 12 (1939) 29-31. With z = r + j x over the reference and Gamma = (z - 1) / (z + 1), lines of
constant r are circles about r / (r + 1) with the radius 1 / (r + 1), those of constant x are arcs from the rim to
Gamma = 1. They end where they would crowd. Inches and points meet here: a chart is taken to be `_WIDE` inches wide.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from .style import INK, PALE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SCALE = "scale"  # marks lines that belong to the chart, as ticks belong to an axis
_FAINT = "#c9c9c9"
# r or |x| -> where its line ends: |x| on a circle of r, r on an arc of x
_MAIN = {0.2: 2.0, 0.5: 5.0, 1.0: 5.0, 2.0: 10.0, 5.0: 10.0}
_FINE = {0.1: 0.5, 0.3: 1.0, 0.4: 1.0, 0.6: 1.0, 0.8: 2.0, 1.5: 2.0, 3.0: 5.0, 10.0: 10.0}
_EDGE, _RIM = 1.16, 1.035  # half width of what is drawn, and where the reactances are written; the rim is at 1
_WIDE = 4.4
_POINTS = 7.5  # height of the letters. [pt]
_LETTER = 0.6  # width of a letter over its height, about
_AROUND = np.exp(2j * np.pi * (np.arange(16) + 0.5) / 16)  # where a label may stand about its point
_FAR = (0.075, 0.13, 0.2, 0.28)  # and how far


class Mark(NamedTuple):
    """A point with a label: reflection coefficient, text, colour, shape of the marker."""

    reflection: complex
    text: str
    colour: str
    shape: str = "o"


def smith_chart(axes: "Axes", reference: float | None = 50.0) -> None:
    """Draw the chart with its impedances; plot reflection coefficients on it as real and imaginary part.

    reference : impedance of the centre [ohm]; None writes impedances over it, 1 in the centre.
    """
    axes.set(aspect="equal", xlim=(-_EDGE, _EDGE), ylim=(-_EDGE, _EDGE))
    axes.axis("off")
    for ends, colour, width in ((_FINE, _FAINT, 0.4), (_MAIN, PALE, 0.55)):
        for value, end in ends.items():
            _line(axes, value + 1j * _between(-end, end), colour, width)
            for sign in (1.0, -1.0):
                _line(axes, _between(0.0, end) + 1j * sign * value, colour, width)
    _line(axes, np.array([0.0, 1e9]), PALE, 0.7)
    turn = np.exp(1j * np.linspace(0.0, 2.0 * np.pi, 361))
    axes.plot(turn.real, turn.imag, color=INK, linewidth=1.0, zorder=1.6, gid=SCALE)
    for label in _scale(reference):
        rim = abs(label.place) > 1.0
        axes.annotate(label.text, (label.place.real, label.place.imag), ha="center", va="center", color=INK,
                      fontsize=_POINTS - 0.5, zorder=1.8, annotation_clip=False,
                      bbox=None if rim else {"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.85})


def own_figures(reference: float | None = 50.0) -> list[tuple[float, float, float, float]]:
    """Middle and half sizes of the impedances written on the chart, in units of the chart."""
    return [tuple(_box(label.place, label.text)) for label in _scale(reference)]


def mark_points(axes: "Axes", marks: Sequence[Mark], curves: Sequence[np.ndarray],
                reference: float | None = 50.0) -> None:
    """Dots with labels that keep clear of each other, of the chart's own and, as far as they can, of the curves.

    marks : of reflection coefficients on the chart, the most important first.
    curves : ndarray, complex, (n,) each: what else is drawn there.
    """
    taken = [_box(label.place, label.text) for label in _scale(reference)]
    taken += [_Box(mark.reflection.real, mark.reflection.imag, 0.02, 0.02) for mark in marks]
    busy = np.concatenate([np.asarray(curve, complex) for curve in curves] or [np.zeros(0, complex)])
    named: set[tuple[int, int, str]] = set()
    for mark in marks:
        at = mark.reflection
        axes.plot(at.real, at.imag, mark.shape, color=mark.colour, markersize=4.5, zorder=3.2, markeredgecolor="white",
                  markeredgewidth=0.5, clip_on=False)
        spot = (round(at.real / 0.03), round(at.imag / 0.03), mark.text)
        if spot in named:  # the same point of another curve
            continue
        named.add(spot)
        place = _clear_place(at, mark.text, taken, busy)
        taken.append(_box(place, mark.text))
        axes.annotate(mark.text, (at.real, at.imag), xytext=(place.real, place.imag), ha="center", va="center",
                      fontsize=_POINTS, color=mark.colour, zorder=3.3, annotation_clip=False,
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.85},
                      arrowprops={"arrowstyle": "-", "color": mark.colour, "linewidth": 0.6, "shrinkA": 0,
                                  "shrinkB": 2})


class _Label(NamedTuple):
    place: complex
    text: str


class _Box(NamedTuple):
    """Middle and half sizes, in units of the chart."""

    x: float
    y: float
    wide: float
    high: float

    def meets(self, other: _Box) -> bool:
        return abs(self.x - other.x) < self.wide + other.wide and abs(self.y - other.y) < self.high + other.high


def _scale(reference: float | None) -> list[_Label]:
    """The chart's own labels: resistances on the axis, reactances about the rim, both ends."""
    unit = 1.0 if reference is None else reference
    found = [_Label(complex((r - 1.0) / (r + 1.0), 0.0), f"{r * unit:.3g}") for r in _MAIN]
    for x in _MAIN:
        at = (1j * x - 1.0) / (1j * x + 1.0)
        text = f"j{x * unit:.3g}"
        for place, said in ((at, text), (at.conjugate(), f"\N{MINUS SIGN}{text}")):
            # off the rim by half the letters that lie across it
            out = 0.5 * _unit() * (1.2 * abs(place.imag) + _LETTER * len(said) * abs(place.real))
            found.append(_Label(place * (_RIM + out), said))
    return [*found, _Label(complex(-_RIM - 0.03), "0"), _Label(complex(_RIM + 0.03), "\N{INFINITY}")]


def _unit() -> float:
    """Height of a letter in units of the chart."""
    return _POINTS / 72.0 * 2.0 * _EDGE / _WIDE


def _box(place: complex, text: str) -> _Box:
    return _Box(place.real, place.imag, 0.5 * _LETTER * _unit() * len(text) + 0.008, 0.55 * _unit() + 0.008)


def _clear_place(at: complex, text: str, taken: Sequence[_Box], busy: np.ndarray) -> complex:
    """Where a label is least in the way: first of others, then of the curves, then near."""
    def trouble(place: complex) -> float:
        box = _box(place, text)
        covered = int(((np.abs(busy.real - box.x) < box.wide) & (np.abs(busy.imag - box.y) < box.high)).sum())
        outside = max(abs(place.real) + box.wide, abs(place.imag) + box.high) > _EDGE or 0.9 < abs(place) < _RIM + 0.1
        return 1e3 * sum(box.meets(other) for other in taken) + 1e2 * outside + min(covered, 50) + 20 * abs(place - at)

    return min((at + far * way for far in _FAR for way in _AROUND), key=trouble)


def _between(low: float, high: float) -> np.ndarray:
    """Values whose reflections lie evenly along a line of the chart."""
    return np.tan(np.linspace(np.arctan(low), np.arctan(high), 181))


def _line(axes: "Axes", z: np.ndarray, colour: str, width: float) -> None:
    reflection = (z - 1.0) / (z + 1.0)
    axes.plot(reflection.real, reflection.imag, color=colour, linewidth=width, zorder=1.2, solid_capstyle="round",
              gid=SCALE)
