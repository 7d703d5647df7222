"""Picture of comparisons: measured points with their band over the prediction, the difference below."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..bench.compare import Compared, Comparison
from .style import DASHES, INK, LINES, PALE, axis_label, figure_words, heading, label_lines, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_ACROSS = 3  # quantities beside each other
_LEAST_HIGH = 2.4  # inches of a row of quantities: five of them and a heading fill a page
_DECADES = 100.0  # currents that span more are drawn by their logarithm


def compare_figure(title: str, comparisons: Sequence[Comparison], before: Sequence[Comparison] = ()) -> "Figure":
    """Every quantity of every measurement: measured and predicted above, their difference below.

    before : the same with an earlier prediction, drawn thin and grey.
    """
    earlier = {one.name: one for one in before}
    blocks = [block for one in comparisons for block in _blocks(one)]
    across = max(len(names) for _, names in blocks)
    high = min(4.0, max(_LEAST_HIGH, 11.0 / len(blocks)))
    figure = new_figure(3.9 * across, high * len(blocks) + 0.3)
    grid = figure.add_gridspec(2 * len(blocks), across, height_ratios=[2.0, 1.0] * len(blocks))
    for row, (one, names) in enumerate(blocks):
        for column, name in enumerate(names):
            above = figure.add_subplot(grid[2 * row, column])
            below = figure.add_subplot(grid[2 * row + 1, column], sharex=above)
            _curves(above, below, one, one.quantities[name], earlier[one.name].quantities[name] if before else None)
            words = figure_words(name)
            above.set_title(words if len(comparisons) == 1 else f"{words}, {one.name}")
    heading(figure, f"{title}\nCircles: measured, with their band (triangles: limits); lines: predicted"
            + (", grey before the fit" if before else "")
            + ".\nBelow: measured less predicted; grey: twice the standard uncertainty; dashed: the mean.")
    return figure


def _blocks(one: Comparison) -> list[tuple[Comparison, list[str]]]:
    """Rows of panels with like numbers of quantities."""
    names = list(one.quantities)
    across = -(-len(names) // -(-len(names) // _ACROSS))
    return [(one, names[start:start + across]) for start in range(0, len(names), across)]


def _curves(above: "Axes", below: "Axes", one: Comparison, item: Compared, before: Compared | None) -> None:
    count = len(item.predicted)
    settings = one.settings[one.axis] if one.axis else np.arange(1.0, count + 1)
    x, x_unit = scaled(settings, one.units[one.axis]) if one.axis else (settings, "")
    _, unit = scaled(np.concatenate([item.measured.values, item.predicted]), item.unit)
    factor = _factor(item, unit)
    both = np.concatenate([item.measured.values, item.predicted])
    both = both[np.isfinite(both)]
    decades = item.unit == "A" and both.size > 0 and both.min() > 0 and both.max() > _DECADES * both.min()
    below_factor = 100.0 / item.predicted if decades else np.full(count, factor)
    ends = []
    for number, (words, points) in enumerate(one.groups().items()):
        colour, dash = LINES[number % len(LINES)]
        order = points[np.argsort(x[points], kind="stable")]
        band = [_inside(values[order] * factor, item.measured.values[order] * factor)
                for values in (item.measured.low, item.measured.high)]
        above.fill_between(x[order], *band, color=colour, alpha=0.15, linewidth=0)
        if before is not None:
            above.plot(x[order], before.predicted[order] * factor, color=PALE, linestyle=dash, linewidth=0.9)
        above.plot(x[order], item.predicted[order] * factor, color=colour, linestyle=dash, linewidth=1.5)
        for limit, marker in ((0, "o"), (-1, "v"), (1, "^")):
            kept = order[item.measured.limit[order] == limit]
            above.plot(x[kept], item.measured.values[kept] * factor, marker, color=colour, markersize=3.5,
                       markerfacecolor="white", zorder=3)
        below.plot(x[order], item.difference[order] * below_factor[order], "o", color=colour, markersize=3,
                   markerfacecolor="white")
        solved = order[np.isfinite(item.predicted[order])]
        if words and solved.size:
            ends.append((float(x[solved[-1]]), float(item.predicted[solved[-1]] * factor), words, colour))
    sure = 2.0 * item.measured.standard * np.abs(below_factor)
    order = np.argsort(x, kind="stable")
    below.fill_between(x[order], -sure[order], sure[order], color=PALE, alpha=0.25, linewidth=0)
    below.axhline(0.0, color=INK, linewidth=0.8)
    if np.isfinite(item.bias) and not decades:
        below.axhline(item.bias * factor, color=INK, linewidth=0.9, linestyle=DASHES)
    label_lines(above, ends)
    if decades:
        above.set_yscale("log")
    above.tick_params(labelbottom=False)
    above.set_ylabel(unit)
    of_difference = "% of predicted" if decades else "dB" if unit == "dBm" else unit
    below.set(ylabel=f"\u0394 / {of_difference}", xlabel=axis_label(one.axis or "point", x_unit))
    for axes in (above, below):
        axes.margins(x=0.03, y=0.1)  # no circle is cut at the edge


def _factor(item: Compared, unit: str) -> float:
    probe, _ = scaled(np.concatenate([item.measured.values, item.predicted]), item.unit)
    both = np.concatenate([item.measured.values, item.predicted])
    there = np.flatnonzero(np.isfinite(both) & (both != 0.0))
    return float(probe[there[0]] / both[there[0]]) if there.size and item.unit != "K" else 1.0


def _inside(edge: np.ndarray, values: np.ndarray) -> np.ndarray:
    """The edge of a band, an infinite one drawn a fixed way off."""
    reach = np.nanmax(values, initial=0.0) - np.nanmin(values, initial=0.0) + 1.0 if np.isfinite(values).any() else 1.0
    return np.clip(edge, values - reach, values + reach)
