"""The picture of a trade-off: the front, and below it what changes along it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..studies.tradeoff import Point, TradeOff
from ..studies.wishes import BEST_MATCH_DB, Wish
from .style import INK, LINES, PALE, axis_label, figure_words, heading, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEAST_SHOWN = 0.05  # of a free range, in its panel
_FAR = 0.15  # of a free range between two neighbours: then they belong to two pieces
_COVERED = 0.04  # of both ranges: marks nearer than that cover each other
_WIDTH, _FRONT, _PANEL = 7.0, 3.6, 1.15  # [inch]


def tradeoff_figure(found: TradeOff) -> "Figure":
    """The front as a curve, and a panel for each free quantity."""
    figure = new_figure(_WIDTH, _FRONT + _PANEL * len(found.free) + 0.4)
    ratios = [_FRONT] + [_PANEL] * len(found.free)
    panels = figure.subplots(len(ratios), 1, sharex=True, gridspec_kw={"height_ratios": ratios})
    heading(figure, f"{found.description.title}: what nothing beats on both counts")
    x = np.array([_place(found.against, point) for point in found.points])
    joined = _pieces(found)
    _front(panels[0], found, x, joined)
    for number, (axes, item) in enumerate(zip(panels[1:], found.free)):
        told = [point.values[item.address] for point in found.points]
        together, unit = scaled(np.array([*told, item.low, item.high]), item.spec.unit)
        _curve(axes, x, together[:-2], joined, number + 1)
        low, high = axes.get_ylim()
        least = _LEAST_SHOWN * (together[-1] - together[-2])  # what stays at a limit is level, but for rounding
        if high - low < least:
            axes.set_ylim((low + high - least) / 2.0, (low + high + least) / 2.0)
        axes.set_title(axis_label(item.name, unit))
    panels[-1].set_xlabel(_label(found.against)
                          + (f"   ({BEST_MATCH_DB:g} and more stand at {BEST_MATCH_DB:g})" if found.against.is_match
                             and any(p.figures[found.against.name] > BEST_MATCH_DB for p in found.points) else ""))
    return figure


def _label(wish: Wish) -> str:
    return axis_label(figure_words(wish.name), "" if wish.unit == "1" else wish.shown_unit)


def _place(wish: Wish, point: Point) -> float:
    """Where a point stands on the axis of the second count."""
    return wish.uncounted(wish.counted(point.figures[wish.name]))


def _pieces(found: TradeOff) -> np.ndarray:
    """Whether each point hangs together with the next, (n_point - 1,)."""
    shares = np.array([[(point.values[item.address] - item.low) / (item.high - item.low) for item in found.free]
                       for point in found.points])
    return np.abs(np.diff(shares, axis=0)).max(axis=1) < _FAR


def _curve(axes: "Axes", x: np.ndarray, y: np.ndarray, joined: np.ndarray, number: int) -> None:
    breaks = np.flatnonzero(~joined) + 1
    colour, dashes = LINES[number % len(LINES)]
    axes.plot(np.insert(x, breaks, np.nan), np.insert(y, breaks, np.nan), color=colour, linestyle=dashes, linewidth=1.6)
    if len(breaks) or len(x) < 3:
        axes.plot(x, y, ".", color=colour, markersize=3)


def _front(axes: "Axes", found: TradeOff, x: np.ndarray, joined: np.ndarray) -> None:
    y = np.array([point.figures[found.goal.name] for point in found.points])
    _curve(axes, x, y, joined, 0)
    axes.set_title(_label(found.goal))
    first = "most output" if found.goal.name.startswith("output") else f"most {figure_words(found.goal.name)}"
    last = "best match" if found.against.is_match else f"best {figure_words(found.against.name)}"
    marked = [(found.points[0], first, "o"), (found.points[-1], last, "o")]
    if found.best is not None and found.holds:
        marked.insert(0, (found.best, "best by the limits", "D"))
    if found.present is not None:
        marked.append((found.present, "as it is", "s"))
    if found.knee is not None:
        marked.append((found.points[found.knee], "knee", "o"))
    right = x.min() + 0.75 * (x.max() - x.min())  # from there on labels stand below the falling curve, to the left
    for point, text, marker in _merged(found, marked):
        at = (_place(found.against, point), point.figures[found.goal.name])
        axes.plot(*at, marker, color=INK, markerfacecolor="white" if marker == "s" else INK, markersize=5, zorder=4)
        side = 1 if at[0] <= right else -1
        below = side < 0 or marker == "s"
        label = f"{text}\n{found.goal.text(point.figures[found.goal.name])}, " \
                f"{found.against.text(point.figures[found.against.name])}"
        axes.annotate(label, at, xytext=(7 * side, -6 if below else 9), textcoords="offset points", fontsize=8,
                      ha="left" if side > 0 else "right", va="top" if below else "bottom", color=INK,
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.8})
    axes.margins(x=0.04, y=0.2)
    axes.text(0.99, 0.98, "nothing was found above the curve", transform=axes.transAxes, ha="right",
              va="top", fontsize=8, color=PALE)


def _merged(found: TradeOff, marked: list[tuple[Point, str, str]]) -> list[tuple[Point, str, str]]:
    """Marked points without those that an earlier one would cover; one point in two roles has both texts."""
    result: list[tuple[Point, str, str]] = []
    ranges = [max(np.ptp([_place(wish, point) for point in found.points]), 1e-12)
              for wish in (found.goal, found.against)]
    for point, text, marker in marked:
        near = next((item for item in result if all(
            abs(_place(wish, item[0]) - _place(wish, point)) < _COVERED * size
            for wish, size in zip((found.goal, found.against), ranges))), None)
        if near is None:
            result.append((point, text, marker))
        elif point is near[0]:
            result[result.index(near)] = (point, f"{near[1]}, {text}", near[2])
    return result
