"""Picture of `hbsim readings`: a spectrum trace with its lines named, or a table's columns against the first."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..bench.inspection import Inspection, TraceLines
from ..quantities import show
from .lines_page import place_name, trace_name
from .readings_columns import columns_figure, draw_marker
from .style import DASHES, INK, LINES, PALE, PRINT_INCHES, harmonic_name, heading, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST_TRACES = 4
_DEEPEST = 0.002  # share of a trace's points that may lie below the picture
_NAMED = 8  # other lines with a label, the strongest


def readings_figure(found: Inspection) -> "Figure":
    """The picture.

    Raises
    ------
    Refusal
        There are no two columns of numbers.
    """
    if found.traces:
        return _spectra(found)
    return columns_figure(found)


def _spectra(found: Inspection) -> "Figure":
    shown = found.traces[:_MOST_TRACES]
    figure = new_figure(PRINT_INCHES, 0.9 + 3.2 * len(shown))
    for axes, trace in zip(np.atleast_1d(figure.subplots(len(shown), 1)), shown):
        factor = _spectrum(axes, trace, found.sweeps > 1)
        for marker in found.readings.markers:
            if marker.unit == "dBm" and axes.get_xlim()[0] <= marker.frequency * factor <= axes.get_xlim()[1]:
                draw_marker(axes, marker.frequency * factor, marker.value, marker.name, beside=True)
    more = f"; {len(found.traces) - len(shown)} more traces are not drawn" * (len(found.traces) > len(shown))
    heading(figure, f"{Path(found.readings.file).name}: lines at multiples of {show(shown[0].lines.f0, 'Hz', 7)}{more}")
    return figure


def _spectrum(axes: "Axes", found: TraceLines, several: bool) -> float:
    """Draws; returns what takes hertz to the unit of the axis."""
    lines, trace = found.lines, found.lines.trace
    frequency, unit = scaled(trace.frequency, "Hz")
    factor = frequency[-1] / trace.frequency[-1]
    axes.plot(frequency, trace.level, color=PALE, linewidth=0.9, zorder=2)
    if lines.noise is not None:
        axes.plot(frequency, lines.noise.floor, color=INK, linewidth=0.9, linestyle=DASHES, zorder=3)
        axes.annotate(f"noise {lines.noise.floor[-1]:.0f} dBm", (1, lines.noise.floor[-1]), xytext=(4, 0), va="center",
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
            axes.annotate(place_name(line.relation),
                          (at, line.level), xytext=(0, 6), textcoords="offset points", rotation=90, ha="center",
                          va="bottom", fontsize=7, color=LINES[1][0], zorder=5)
    axes.set(xlabel=f"frequency / {unit}", ylabel="level / dBm")
    axes.set_title(f"{trace_name(found, several)}; dot: multiple of f0, open triangle: not above the noise, "
                   f"diamond: other line")
    return factor
