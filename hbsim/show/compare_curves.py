"""Two panels of a comparison against what was swept: measured and predicted, and their difference."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..bench.compare import Compared, Comparison
from .compare_scale import LIMITS, Scale, beyond, holds, inside, scale_of, show_differences, show_values
from .style import DASHES, INK, MANY_LINES, PALE, axis_label, label_lines, meaning_words, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MANY = 60  # points beyond which readings are drawn as a track, since marks would hide what is predicted
_MARKS = "osDph8PX"
_PALENESS = 0.35  # share of its colour in a track
_FEW = 25  # points of a curve whose marks do not touch
_MOST_CURVES = len(_MARKS)  # beyond, points have no curves: more settings move than a picture tells apart


def curves(above: "Axes", below: "Axes", one: Comparison, item: Compared, before: Compared | None) -> None:
    """Draw one quantity of a measurement that was swept.

    before : the same with an earlier prediction, or None.
    """
    x, x_unit = scaled(one.settings[one.axis], one.units[one.axis])
    scale, groups = scale_of([item]), one.groups()
    if len(groups) > _MOST_CURVES:
        groups = {"": np.arange(one.points)}
        curve = False
    else:
        curve = True
    show_values(above, [item], scale)
    show_differences(below, [item], scale)
    ends = []
    for number, (words, points) in enumerate(groups.items()):
        order = points[np.argsort(x[points], kind="stable")]
        style = _Style(*MANY_LINES[number % len(MANY_LINES)], _MARKS[number % len(_MARKS)], one.points > MANY, curve,
                       len(order) <= _FEW)
        _above(above, x, item, before, order, scale, style)
        _below(below, x, item, order, scale, style, 0.25 / len(groups))
        solved = order[np.isfinite(item.predicted[order]) & ~holds(item)[order]]
        if words and solved.size:
            ends.append((float(x[solved[-1]]), float(item.predicted[solved[-1]] * scale.factor), words, style.colour))
    below.axhline(0.0, color=INK, linewidth=0.8)
    if np.isfinite(item.bias) and not scale.decades:
        below.axhline(item.bias * scale.factor, color=INK, linewidth=0.9, linestyle=DASHES)
    label_lines(above, ends)
    for axes in (above, below):
        axes.margins(x=0.04)  # no mark is cut at the edge
    above.tick_params(labelbottom=False)
    above.set_ylabel(scale.unit)
    below.set(ylabel=f"\u0394 / {scale.of_difference}", xlabel=axis_label(meaning_words(one.axis), x_unit))


def other_settings(one: Comparison) -> list[str]:
    """What curves of a panel differ in, if they can be told apart."""
    moving = [name for name in one.settings if name != one.axis and len(np.unique(one.settings[name])) > 1]
    return moving if 1 < len(one.groups()) <= _MOST_CURVES else []


class _Style:
    """How one curve is drawn; `many`: its readings are a track; not `curve`: points are not joined; `few`: marks have
    room."""

    def __init__(self, colour: str, dash: object, mark: str, many: bool, curve: bool, few: bool) -> None:
        self.colour, self.many = colour, many
        self.line = {"color": colour, "linestyle": dash, "linewidth": 1.0 if many else 1.4} if curve else \
            {"color": INK, "linestyle": "none", "marker": "x", "markersize": 3.5}
        self.earlier = {**self.line, "color": PALE, "linewidth": 0.9}
        dots = {"marker": "o", "markeredgewidth": 0}
        marks = {"marker": mark, "markersize": 3.8 if few else 2.8, "color": colour, "markerfacecolor": "white"}
        self.reading = dots | {"markersize": 3.4, "color": _light(colour)} if many else marks
        self.difference = dots | {"markersize": 1.6, "color": colour} if many else marks
        self.limit = {"markersize": 4.5, "color": colour, "markerfacecolor": "white"}


def _light(colour: str) -> tuple[float, ...]:
    """A colour mixed with white: a track of it stays pale where its dots lie on each other."""
    from matplotlib.colors import to_rgb
    return tuple(1.0 - _PALENESS * (1.0 - part) for part in to_rgb(colour))


def _above(axes: "Axes", x: np.ndarray, item: Compared, before: Compared | None, order: np.ndarray, scale: Scale,
           style: _Style) -> None:
    limit = item.measured.limit[order]
    low, high = (np.where(limit == 0, inside(values[order] * scale.factor, axes), np.nan)
                 for values in (item.measured.low, item.measured.high))
    axes.fill_between(x[order], low, high, color=style.colour, alpha=0.15, linewidth=0)
    there = np.isfinite(low) & np.isfinite(high)
    alone = there & ~np.roll(there, 1) & ~np.roll(there, -1) if len(order) > 2 else there
    axes.vlines(x[order][alone], low[alone], high[alone], color=style.colour, alpha=0.3, linewidth=2.5)
    if before is not None:
        axes.plot(x[order], before.predicted[order] * scale.factor, **style.earlier)
    axes.plot(x[order], item.predicted[order] * scale.factor, zorder=4 if style.many else 2, **style.line)
    read = order[limit == 0]
    axes.plot(x[read], item.measured.values[read] * scale.factor, linestyle="none", zorder=3, **style.reading)
    for way, mark in LIMITS:
        kept = order[limit == way]
        axes.plot(x[kept], item.measured.values[kept] * scale.factor, mark, zorder=3, **style.limit)


def _below(axes: "Axes", x: np.ndarray, item: Compared, order: np.ndarray, scale: Scale, style: _Style,
           alpha: float) -> None:
    factor = scale.differences(item)
    sure, away = 2.0 * item.measured.whole_standard * np.abs(factor), item.difference * factor
    axes.fill_between(x[order], -sure[order], sure[order], color=PALE, alpha=alpha, linewidth=0)
    limit = item.measured.limit[order]
    read = order[limit == 0]
    axes.plot(x[read], away[read], linestyle="none", **style.difference)
    for way, mark in LIMITS:
        kept = order[limit == way]
        axes.plot(x[kept], away[kept], mark, zorder=3, **style.limit)
        beyond(axes, x[kept], away[kept], style.colour, mark, "+")
