"""Picture of `hbsim network`: transmission, reflection and group delay over frequency, reflections on a Smith chart."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..quantities import PREFIXES, show
from ..studies.network_chart import MOST_DRAWN, chart_curves
from ..studies.network_figures import Measured
from ..studies.network_response import LEAST, NetworkResponse
from ..studies.parameter_names import name_of
from .smith import Mark, mark_points, smith_chart
from .style import DOTS, LINES, PALE, axis_label, harmonic_name, heading, label_lines, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_DEEPEST_DB = 80.0  # below the highest of a panel: what is deeper is cut off
_DELAY_DB = 40.0  # a delay is drawn where no less than this below its largest comes through
_SHAPES = ("o", "s", "^", "D")
_SIZES = (6.5, 4.5, 5.5, 3.5)  # of measured points: those of one curve show about those of another
_UNDER = 2.6  # width of the first of several curves: it shows beside a dashed one that lies on it, in grey too. [pt]
_MOST_NAMED = 8  # harmonics that are named
_APART = 0.055  # of the width of a panel: names of harmonics closer than that would touch
_MOST_MARKS = 16  # on the chart, of all curves together
_HEADING_WIDTH = 110
_Pair = tuple[int, int]


def network_figure(found: NetworkResponse, beside: Measured | None = None) -> "Figure":
    """The picture; of more than 2 ports the four ways that let most through and the first four reflections."""
    reflections = [(i, i) for i in range(len(found.ports))][:MOST_DRAWN]
    ways = _ways(found)
    panels = ([("transmission", ways)] if ways else []) + [("reflection", reflections)]
    figure = new_figure(8.8, 1.4 + 1.85 * (len(panels) + 1))
    grid = figure.add_gridspec(len(panels) + 1, 2, width_ratios=(1.0, 1.02))
    left = [figure.add_subplot(grid[row, 0]) for row in range(len(panels) + 1)]
    for axes, (title, shown) in zip(left, panels):
        _sizes(axes, found, shown, beside)
        axes.set_ylabel(f"{title} / dB")
    _delays(left[-1], found, ways[:2] or reflections)
    _frequency_axis(left, found)
    _chart(figure.add_subplot(grid[:, 1]), found, reflections, beside)
    heading(figure, "\n".join([found.description.title, *textwrap.wrap(_subtitle(found, beside), _HEADING_WIDTH)]))
    return figure


def _subtitle(found: NetworkResponse, beside: Measured | None) -> str:
    ports = ", ".join(f"port {n} {port.name}" for n, port in enumerate(found.ports, 1))
    said = [f"{ports}; {_references(found)}"]
    if found.parts is not None:
        said.append(f"only {', '.join(found.parts)}")
    elif found.operating is None and found.description.devices:
        said.append(f"{', '.join(found.description.devices)} taken out")
    if found.operating is not None:
        said.append(f"{', '.join(found.operating)} linearised at the operating point")
    if beside is not None:
        said.append("marks: measured")
    return "; ".join(said)


def _references(found: NetworkResponse) -> str:
    values = [show(float(value), "ohm") for value in dict.fromkeys(found.reference)]
    return values[0] if len(values) == 1 else ", ".join(show(port.reference, "ohm") for port in found.ports)


def _ways(found: NetworkResponse) -> list[_Pair]:
    """Transmissions that are drawn: both ways of a 2-port that differ; of more ports the ones that let most through."""
    count = len(found.ports)
    if count == 2:
        return [(1, 0)] if found.reciprocal else [(1, 0), (0, 1)]
    every = [(i, j) for j in range(count) for i in range(count) if (i > j if found.reciprocal else i != j)]
    most = np.abs(found.s).max(axis=0)
    return sorted(sorted(every, key=lambda pair: -most[pair])[:len(LINES)], key=lambda pair: (pair[1], pair[0]))


def _sizes(axes: "Axes", found: NetworkResponse, shown: Sequence[_Pair], beside: Measured | None) -> None:
    """|S| in dB, and measured points."""
    frequency, unit = scaled(found.frequency, "Hz")
    curves = {pair: found.swept.db[:, pair[0], pair[1]] for pair in shown}
    drawn = [curve[np.isfinite(curve)] for curve in curves.values()]
    ends = []
    for (pair, curve), (colour, dash) in zip(curves.items(), LINES):
        if beside is not None:
            level = beside.seen.db[:, pair[0], pair[1]]
            drawn.append(level[np.isfinite(level)])
            axes.plot(beside.data.frequency[beside.common] / _factor(unit), level, linestyle="none", color=colour,
                      marker=_SHAPES[list(curves).index(pair)], markersize=_SIZES[list(curves).index(pair)],
                      markerfacecolor="none", alpha=0.6, markeredgewidth=0.7, zorder=1.8)
        ends.append((frequency[-1], curve[-1], name_of(*pair, len(found.ports)), colour))
    values = np.concatenate(drawn)
    top = float(values.max(initial=-300.0))
    bottom = max(float(values.min(initial=0.0)), top - _DEEPEST_DB)
    room = 0.06 * max(top - bottom, 1.0)
    axes.set_ylim(bottom - room, top + room)
    low = bottom - room
    for curve, (colour, dash) in zip(curves.values(), LINES):
        axes.plot(frequency, np.where(curve < bottom, np.nan, curve), color=colour, linestyle=dash,
                  **_width(dash, len(curves)))
    if any((curve < bottom).any() for curve in curves.values()):
        axes.annotate(f"below {bottom:.0f} dB not drawn", (0.01, 0.03), xycoords="axes fraction", fontsize=7.5,
                      zorder=4, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.8})
    label_lines(axes, [(x, max(y, low) if np.isfinite(y) else low, text, colour) for x, y, text, colour in ends])


def _width(dash: object, count: int) -> dict[str, float]:
    """Of a line among `count`: the full one is wide and pale, so that dashes that lie on it are told from it."""
    return {"linewidth": _UNDER, "alpha": 0.5} if dash == "-" and count > 1 else {"linewidth": 1.4}


def _delays(axes: "Axes", found: NetworkResponse, shown: Sequence[_Pair]) -> None:
    """Group delay where enough comes through."""
    frequency, _ = scaled(found.frequency, "Hz")
    curves = []
    for i, j in shown:
        level = found.swept.db[:, i, j]
        curves.append(np.where(level >= level.max() - _DELAY_DB, found.swept.delay[:, i, j], np.nan))
    if not np.isfinite(curves).any():
        axes.text(0.5, 0.5, f"next to nothing comes through: below {20 * np.log10(LEAST):.0f} dB",
                  transform=axes.transAxes, ha="center")
        axes.set(ylabel="group delay", yticks=[])
        return
    values, unit = scaled(np.array(curves), "s")
    ends = []
    for (i, j), curve, (colour, dash) in zip(shown, values, LINES):
        axes.plot(frequency, curve, color=colour, linestyle=dash, linewidth=1.3)
        solved = np.flatnonzero(np.isfinite(curve))
        if len(solved):
            ends.append((frequency[solved[-1]], curve[solved[-1]], name_of(i, j, len(found.ports)), colour))
    axes.set_ylabel(axis_label("group delay", unit))
    if np.isnan(values).any():
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.15 * (high - low))  # room for the words
        axes.annotate(f"drawn where S is within {_DELAY_DB:.0f} dB of its largest", (0.01, 0.95), va="top",
                      xycoords="axes fraction", fontsize=7.5, zorder=4)
    label_lines(axes, ends)


def _frequency_axis(panels: Sequence["Axes"], found: NetworkResponse) -> None:
    """One frequency axis for all; thin lines at the harmonics, named above the uppermost."""
    frequency, unit = scaled(found.frequency, "Hz")
    steps = np.diff(found.frequency)
    ratios = found.frequency[0] > 0 and steps[-1] > 1.5 * steps[0]
    harmonics = {k: value / _factor(unit) for k, value in found.harmonics.items()}
    for axes in panels:
        if ratios:
            axes.set_xscale("log")
            axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
        axes.set_xlim(frequency[0], frequency[-1])
        for place in list(harmonics.values())[:4 * _MOST_NAMED]:
            axes.axvline(place, color=PALE, linewidth=0.8, linestyle=DOTS, zorder=1.1)
        if axes is not panels[-1]:
            axes.tick_params(labelbottom=False)
    place = (lambda f: np.log(f / frequency[0]) / np.log(frequency[-1] / frequency[0])) if ratios else \
        (lambda f: (f - frequency[0]) / (frequency[-1] - frequency[0]))
    last = -1.0
    for k in list(harmonics)[:_MOST_NAMED]:
        if place(harmonics[k]) - last < _APART:
            continue
        last = place(harmonics[k])
        panels[0].annotate(harmonic_name(k), (harmonics[k], 1.0), xycoords=panels[0].get_xaxis_transform(),
                           xytext=(0, 2), textcoords="offset points", ha="center", fontsize=7.5)
    panels[-1].set_xlabel(f"frequency / {unit}")


def _factor(unit: str) -> float:
    return PREFIXES[unit.removesuffix("Hz")]


def _chart(axes: "Axes", found: NetworkResponse, shown: Sequence[_Pair], beside: Measured | None) -> None:
    """Reflections, with a mark at each harmonic."""
    references = {found.ports[i].reference for i, _ in shown}
    centre = references.pop() if len(references) == 1 else None
    smith_chart(axes, centre)
    marks, curves, samples, dots = [], [], [], []
    _, smooth = chart_curves(found, [i for i, _ in shown])
    named = min(_MOST_NAMED, _MOST_MARKS // len(shown))
    for n, ((i, _), (colour, dash)) in enumerate(zip(shown, LINES)):
        curve = smooth[:, n]
        curves.append(curve)
        if beside is not None:
            points = beside.data.s[beside.common][:, i, i]
            dots += axes.plot(points.real, points.imag, linestyle="none", marker=_SHAPES[n],
                              markersize=_SIZES[n], color=colour, markerfacecolor="none", alpha=0.6,
                              markeredgewidth=0.7, zorder=2.7)
        samples += axes.plot(curve.real, curve.imag, color=colour, linestyle=dash, zorder=2.5,
                             **_width(dash, len(shown)))
        marks += [Mark(complex(value), harmonic_name(k), colour, _SHAPES[n])
                  for k, value in zip(list(found.harmonics)[:named], found.at_harmonics.s[:, i, i])]
    mark_points(axes, marks, curves, centre)
    names = [name_of(i, i, len(found.ports)) for i, _ in shown]
    if dots:
        samples, names = list(zip(samples, dots)), [f"{name}; marks: measured" for name in names]
    axes.legend(samples, names, loc="upper left", bbox_to_anchor=(0.0, 1.0), frameon=False, fontsize=8,
                handlelength=3.2, borderaxespad=0)
    axes.annotate("impedances in ohm" if centre is not None else "impedances over\neach port's reference",
                  (1.0, 0.0), xycoords="axes fraction", ha="right", va="bottom", fontsize=7.5)
