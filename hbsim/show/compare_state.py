"""Two panels of a comparison of one state: quantities of one unit side by side, levels by their harmonic."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np

from ..bench.compare import Compared, Comparison
from ..quantities import show
from .compare_scale import LIMITS, Scale, beyond, holds, inside, scale_of, show_differences, show_values
from .style import INK, LINES, PALE, axis_label, figure_words, harmonic_name, meaning_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_COLOUR = LINES[0][0]
_MARK = {"color": _COLOUR, "markerfacecolor": "white", "markersize": 4.5}
_LABEL = 14  # letters of a line of a quantity's name below the axis
_ASIDE = 0.08  # of the step between quantities: predictions stand beside the readings, since both are often alike
_LEAST = 1.2  # of the width of a panel, in quantities: a single one stands in its middle


def is_state(one: Comparison) -> bool:
    """Whether nothing that was set moves: a spectrum, markers, a single row."""
    return all(len(np.unique(values)) < 2 for values in one.settings.values())


def state_words(one: Comparison) -> str:
    """What stood still, as people say it: "drive power 0 dBm, supply VCC 3 V"."""
    told = {name: (float(values[0]), one.units[name]) for name, values in one.settings.items()} | dict(one.still)
    return ", ".join(f"{meaning_words(name)} {show(value, unit)}" for name, (value, unit) in told.items())


def state(above: "Axes", below: "Axes", one: Comparison, items: Mapping[str, Compared],
          before: Mapping[str, Compared]) -> None:
    """Draw some quantities of one unit.

    before : the same with an earlier prediction; may be empty.
    """
    scale = scale_of(list(items.values()), one_axis=False)
    places = _places(list(items))
    show_values(above, list(items.values()), scale)
    show_differences(below, list(items.values()), scale)
    for (name, item), place in zip(items.items(), places):
        x = np.full(one.points, place, float)
        _values(above, x, item, before.get(name), scale)
        _differences(below, x, item, scale)
    below.axhline(0.0, color=INK, linewidth=0.8)
    middle, reach = (places[0] + places[-1]) / 2, max(_LEAST, 0.55 + (places[-1] - places[0]) / 2)
    below.set_xlim(middle - reach, middle + reach)
    by_harmonic = _harmonics(list(items)) is not None
    below.set_xticks(places, [harmonic_name(n) for n in places] if by_harmonic
                     else [fill(figure_words(name), _LABEL) for name in items] if len(items) > 1 else [""])
    if by_harmonic:
        below.set_xlabel("harmonic of the drive")
    for axes in (above, below):
        axes.grid(axis="x", visible=False)
    above.tick_params(labelbottom=False)
    above.set_ylabel(f"level / {scale.unit}" if by_harmonic and scale.unit == "dBm" else scale.unit)
    below.set_ylabel(axis_label("\u0394", scale.of_difference))


def _harmonics(names: list[str]) -> list[int] | None:
    """The harmonics of names such as "output_dbm_2"; None where one has none."""
    last = [name.rpartition("_")[2] for name in names]
    return [int(text) for text in last] if all(name.startswith("output_") for name in names) else None


def _places(names: list[str]) -> list[int]:
    return _harmonics(names) or list(range(1, len(names) + 1))


def _values(axes: "Axes", x: np.ndarray, item: Compared, before: Compared | None, scale: Scale) -> None:
    read = item.measured.limit == 0
    low, high = (inside(values * scale.factor, axes) for values in (item.measured.low, item.measured.high))
    axes.vlines(x[read], low[read], high[read], color=_COLOUR, linewidth=1.1)
    for edge in (item.measured.low, item.measured.high):
        ends = read & np.isfinite(edge)
        axes.plot(x[ends], edge[ends] * scale.factor, "_", color=_COLOUR, markersize=7)
    axes.plot(x[read], item.measured.values[read] * scale.factor, "o", zorder=3, **_MARK)
    for way, mark in LIMITS:
        kept = item.measured.limit == way
        axes.plot(x[kept], item.measured.values[kept] * scale.factor, mark, zorder=3, **_MARK)
    x = x + _ASIDE
    if before is not None:
        axes.plot(x, before.predicted * scale.factor, "+", color=PALE, markersize=7, markeredgewidth=1.4, zorder=4)
    axes.plot(x, item.predicted * scale.factor, "x", color=INK, markersize=6, markeredgewidth=1.2, zorder=5)
    kept = holds(item)
    beyond(axes, x[kept], item.predicted[kept] * scale.factor, INK, "x")


def _differences(axes: "Axes", x: np.ndarray, item: Compared, scale: Scale) -> None:
    away, sure = item.difference * scale.factor, 2.0 * item.measured.whole_standard * scale.factor
    read = item.measured.limit == 0
    axes.vlines(x[read], -sure[read], sure[read], color=PALE, alpha=0.5, linewidth=6)
    axes.plot(x[read], away[read], "o", zorder=3, **_MARK)
    for way, mark in LIMITS:
        kept = item.measured.limit == way
        axes.plot(x[kept], away[kept], mark, zorder=3, **_MARK)
        beyond(axes, x[kept], away[kept], _COLOUR, mark, "+")
