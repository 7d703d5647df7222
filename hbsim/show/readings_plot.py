"""Picture of `hbsim readings`: a spectrum trace with its lines named, or a table's columns against the first."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..bench.inspection import Inspection, TraceLines
from ..bench.readings import Column
from ..errors import Refusal
from ..quantities import show, units
from .readings_page import trace_name
from .style import DASHES, INK, LINES, PALE, harmonic_name, heading, label_lines, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST_TRACES = 4
_MOST_PANELS = 6
_DEEPEST = 0.002  # share of a trace's points that may lie below the picture
_NAMED = 8  # other lines with a label, the strongest
_SWEEP_MARKS = "os^Dv"
_FEW = 41  # points that are marked one by one


def readings_figure(found: Inspection) -> "Figure":
    """The picture.

    Raises
    ------
    Refusal
        There are no two columns of numbers.
    """
    if found.traces:
        return _spectra(found)
    return _columns(found)


def _spectra(found: Inspection) -> "Figure":
    shown = found.traces[:_MOST_TRACES]
    figure = new_figure(9.0, 1.2 + 3.4 * len(shown))
    for axes, trace in zip(np.atleast_1d(figure.subplots(len(shown), 1)), shown):
        _spectrum(axes, trace, found.sweeps > 1)
    more = f"; {len(found.traces) - len(shown)} more traces are not drawn" * (len(found.traces) > len(shown))
    heading(figure, f"{Path(found.readings.file).name}: lines at multiples of {show(shown[0].lines.f0, 'Hz', 7)}{more}")
    return figure


def _spectrum(axes: "Axes", found: TraceLines, several: bool) -> None:
    lines, trace = found.lines, found.lines.trace
    frequency, unit = scaled(trace.frequency, "Hz")
    factor = frequency[-1] / trace.frequency[-1]
    axes.plot(frequency, trace.level, color=PALE, linewidth=0.9, zorder=2)
    if lines.noise is not None:
        axes.axhline(lines.noise.mean, color=INK, linewidth=0.9, linestyle=DASHES, zorder=3)
        axes.annotate(f"noise {lines.noise.mean:.0f} dBm", (1, lines.noise.mean), xytext=(4, 0), va="center",
                      xycoords=("axes fraction", "data"), textcoords="offset points", fontsize=8, annotation_clip=False)
    low, high = np.quantile(trace.level, _DEEPEST), trace.level.max()  # single dips of noise would take half the height
    tall = max([high + 0.16 * (high - low), *(line.level + 0.4 * (high - low) for line in lines.others)])
    axes.set_ylim(low - 0.04 * (high - low) - 0.5, tall + 0.5)
    axes.set_xlim(frequency[0], frequency[-1])
    for line in lines.harmonics:
        at, colour = line.frequency * factor, LINES[0][0] if line.above_noise else INK
        axes.plot(at, line.level, "o" if line.above_noise else "v", color=colour, markersize=4.5, zorder=4,
                  markerfacecolor=colour if line.above_noise else "white")
        axes.annotate(f"{harmonic_name(line.harmonic)}\n{'' if line.above_noise else '< '}{line.level:.1f}",
                      (at, line.level), xytext=(0, 5), textcoords="offset points", ha="center", va="bottom", fontsize=8,
                      color=colour, zorder=5,
                      bbox=None if line.above_noise else {"facecolor": "white", "edgecolor": "none", "pad": 1})
    strongest = sorted(lines.others, key=lambda line: -line.level)
    for place, line in enumerate(strongest):
        at = line.frequency * factor
        axes.plot(at, line.level, "D", color=LINES[1][0], markerfacecolor="white", markersize=4.5, zorder=4)
        if place < _NAMED:
            sign = "+" if line.relation.distance >= 0 else "-"
            axes.annotate(f"{harmonic_name(line.relation.harmonic)} {sign} "
                          f"{show(abs(line.relation.distance), 'Hz', 4)}",
                          (at, line.level), xytext=(0, 6), textcoords="offset points", rotation=90, ha="center",
                          va="bottom", fontsize=7, color=LINES[1][0], zorder=5)
    axes.set(xlabel=f"frequency / {unit}", ylabel="level / dBm")
    axes.set_title(f"{trace_name(found, several)}; dot: multiple of f0, open triangle: not above the noise, "
                   f"diamond: other line")


def _columns(found: Inspection) -> "Figure":
    columns = [column for column in found.readings.columns if np.isfinite(column.values).sum() > 1]
    across = next((column for column in columns if _runs(column.values, found.readings.sweep)), None)
    across = across or next((column for column in columns if np.nanmax(column.values) > np.nanmin(column.values)), None)
    others = [column for column in columns
              if column is not across and np.nanmin(column.values) < np.nanmax(column.values)]
    if across is None or not others:
        raise Refusal("a picture needs two columns of numbers that are not constant", "--plot", found.readings.file)
    groups: dict[str, list[Column]] = {}
    for column in others:
        groups.setdefault(column.unit, []).append(column)
    panels = [(unit, group[i:i + len(LINES)]) for unit, group in groups.items()
              for i in range(0, len(group), len(LINES))]
    shown = panels[:_MOST_PANELS]
    rows = (len(shown) + 1) // 2
    figure = new_figure(6.0 if len(shown) == 1 else 10.5, 0.8 + 3.0 * rows)
    cells = np.atleast_1d(figure.subplots(rows, 1 if len(shown) == 1 else 2, squeeze=False)).ravel()
    for axes, (unit, group) in zip(cells, shown):
        _panel(axes, found, across, unit, group)
    for axes in cells[len(shown):]:
        axes.set_visible(False)
    missing = sum(len(group) for _, group in panels[_MOST_PANELS:])
    constant = len(columns) - 1 - len(others)
    heading(figure, "; ".join([f"{Path(found.readings.file).name}: columns against '{across.name}'",
                               *[f"{found.sweeps} sweeps, each with its own mark"] * (found.sweeps > 1),
                               *[f"{constant} constant"] * (constant > 0),
                               *[f"{missing} more are not drawn"] * (missing > 0)]))
    return figure


def _runs(values: np.ndarray, sweep: np.ndarray) -> bool:
    """Whether a column goes one way in every sweep, as what is set does."""
    steps = [np.diff(values[sweep == number]) for number in np.unique(sweep)]
    steps = [step for step in steps if len(step)]
    return bool(steps) and all(np.all(step > 0) or np.all(step < 0) for step in steps)


def _panel(axes: "Axes", found: Inspection, across: Column, unit: str, group: list[Column]) -> None:
    x, x_unit = _scaled(across.values, across.unit)
    stacked, y_unit = _scaled(np.stack([column.values for column in group]), unit)
    ends = []
    for (colour, dash), column, y in zip(LINES, group, stacked):
        for sweep in np.unique(found.readings.sweep):
            rows = (found.readings.sweep == sweep) & np.isfinite(y) & np.isfinite(x)
            mark = _SWEEP_MARKS[sweep % len(_SWEEP_MARKS)]
            axes.plot(x[rows], y[rows], color=colour, linestyle=dash, linewidth=1.2, markersize=3.5,
                      marker=mark if rows.sum() <= _FEW else None, markerfacecolor="white" if sweep else colour)
        there = np.flatnonzero(np.isfinite(y) & np.isfinite(x))
        if len(there):
            at = there[np.argmax(x[there])]
            ends.append((x[at], y[at], column.name, colour))
    axes.set(xlabel=f"{across.name}, in {x_unit}" if x_unit and x_unit not in across.name else across.name,
             ylabel=y_unit or ("ratio, 1 = 100 %" if unit == "1" else "unit not known"))
    axes.ticklabel_format(useOffset=False)
    if len(group) == 1:
        axes.set_title(group[0].name)
    else:
        label_lines(axes, ends)


def _scaled(values: np.ndarray, unit: str) -> tuple[np.ndarray, str]:
    return scaled(values, unit) if unit in units() else (values, unit)
