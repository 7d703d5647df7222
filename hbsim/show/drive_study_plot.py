"""Picture of a drive study: output with its asymptote, slope, leakage; the curve at other temperatures."""

from __future__ import annotations

import math
import textwrap
from itertools import cycle
from typing import TYPE_CHECKING

import numpy as np

from ..quantities import show
from ..studies.drive_study import LAW_BAND, DriveStudy
from .drive_study_page import short_temperature
from .style import DOTS, INK, LINES, LOWEST_DBM, MANY_LINES, PALE, harmonic_name, heading, label_lines, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LOWEST_DBC = -100.0
_MOST_LINES = len(LINES)


def drive_study_figure(study: DriveStudy) -> "Figure":
    """Output against drive with the asymptote, the slope and the leakage below; beside it the temperatures."""
    hot = bool(study.at_temperature)
    figure = new_figure(9.0 if hot else 7.5, 7.2)
    left, right = figure.subfigures(1, 2) if hot else (figure, None)
    top, slope, leak = left.subplots(3, 1, sharex=True, height_ratios=(2.2, 1, 1))
    _output(top, study)
    _slope(slope, study)
    _leaks(leak, study)
    leak.set_xlabel("drive / dBm")
    if hot:
        upper, lower = right.subplots(2, 1, height_ratios=(3.2, 1))
        _temperatures(upper, study)
        _shifts(lower, study)
    heading(figure, study.description.title)
    return figure


def _shown(values: np.ndarray, lowest: float) -> np.ndarray:
    with np.errstate(invalid="ignore"):
        return np.where(values > lowest, values, np.nan)


def _output(axes: "Axes", study: DriveStudy) -> None:
    curve, colour = study.curve, LINES[0][0]
    level = _shown(curve.output, LOWEST_DBM)
    axes.plot(curve.drive, level, color=colour, linewidth=1.8)
    top = math.ceil(np.nanmax(level) / 10) * 10 + 5 if np.isfinite(level).any() else 0.0
    marks = []
    if curve.found is not None:
        line = curve.found.line(curve.drive)
        seen = (line > LOWEST_DBM) & (line < top)
        axes.plot(curve.drive[seen], line[seen], color=INK, linewidth=0.9, linestyle=DOTS)
        if seen.any():
            _along(axes, curve.drive[seen], line[seen], f"asymptote, {curve.found.order} dB/dB")
        if curve.found.drive_dbm is not None and curve.found.drive_dbm <= curve.drive[-1]:
            marks.append((curve.found.drive_dbm, curve.found.output_dbm, "o", "1 dB below the asymptote"))
    if curve.turn_on_dbm is not None:
        marks.append((curve.turn_on_dbm, curve.output_at(curve.turn_on_dbm), "^", "turn-on"))
    if curve.onset_dbm is not None:
        marks.append((curve.onset_dbm, curve.output_at(curve.onset_dbm), "s", "onset of saturation"))
    told = []
    for x, y, marker, words in marks:
        axes.plot(x, y, marker, markerfacecolor="white", markeredgecolor=INK, markersize=5.5, zorder=4, label=words)
        told.append(f"{words} {x:.1f} dBm")
    if marks:
        handles = axes.get_legend_handles_labels()[0]
        axes.legend(handles, told, loc="lower right", fontsize=7.5, frameon=False)
    if curve.law is not None:
        axes.axvspan(curve.law.from_dbm, curve.law.to_dbm, color="#eeeeee", zorder=0)
    axes.set(ylabel=f"{harmonic_name(study.order)} at port {study.description.wanted_port} / dBm", ylim=(None, top))
    law = "" if curve.law is None else (f"grey: within {LAW_BAND:g} of {study.order} dB/dB; fitted there "
                                        f"{curve.law.slope:.3f} dB/dB")
    axes.set_title(law)


def _along(axes: "Axes", x: np.ndarray, y: np.ndarray, words: str) -> None:
    """Words below the end of a straight line, turned as the line is."""
    n = int(0.72 * len(x))
    axes.text(x[n], y[n], f"\n{words}", fontsize=7.5, rotation=math.degrees(math.atan2(y[-1] - y[0], x[-1] - x[0])),
              rotation_mode="anchor", transform_rotates_text=True, ha="center", va="top", linespacing=0.6)


def _slope(axes: "Axes", study: DriveStudy) -> None:
    curve, order = study.curve, study.order
    axes.plot(curve.drive, curve.slope, color=INK, linewidth=1.2)
    axes.axhspan(order - LAW_BAND, order + LAW_BAND, color="#dddddd", zorder=0)
    axes.set(ylabel="slope / dB/dB", ylim=(min(0.0, np.nanmin(curve.slope, initial=0.0)), None))


def _leaks(axes: "Axes", study: DriveStudy) -> None:
    ends = []
    for (colour, dash), k in zip(LINES, study.leaks[:_MOST_LINES]):
        level = _shown(study.curve.leak(k), _LOWEST_DBC)
        axes.plot(study.curve.drive, level, color=colour, linestyle=dash, linewidth=1.4)
        if np.isfinite(level).any():
            last = np.flatnonzero(np.isfinite(level))[-1]
            ends.append((float(study.curve.drive[last]), float(level[last]), harmonic_name(k), colour))
    axes.set(ylabel=f"to {harmonic_name(study.order)} / dBc")
    label_lines(axes, ends, share=0.15)  # the panel is low


def _temperatures(axes: "Axes", study: DriveStudy) -> None:
    for (colour, dash), curve in zip(cycle(MANY_LINES), study.at_temperature):
        axes.plot(curve.drive, _shown(curve.output, LOWEST_DBM), color=colour, linestyle=dash, linewidth=1.5,
                  label=short_temperature(curve))
        if curve.turn_on_dbm is not None:
            axes.plot(curve.turn_on_dbm, curve.output_at(curve.turn_on_dbm), "^", color=colour,
                      markerfacecolor="white", markersize=5.5)
    if study.reference_output_dbm is not None:
        axes.axhline(study.reference_output_dbm, color=PALE, linewidth=0.8, linestyle=DOTS)
    axes.legend(loc="lower right", fontsize=8, frameon=False, handlelength=3.2, title="every device at")
    turned = any(curve.turn_on_dbm is not None for curve in study.at_temperature)
    axes.set(ylabel=f"{harmonic_name(study.order)} / dBm", xlabel="drive / dBm",
             title="triangles: turn-on; dotted: the output compared" if turned else "dotted: the output compared")


def _shifts(axes: "Axes", study: DriveStudy) -> None:
    """Bars: by how much more drive each temperature needs, for the same output and for turn-on."""
    for place, shift in enumerate(study.shifts):
        for side, value, face in ((-0.19, shift.more_drive_db, INK), (0.19, shift.later_db, "white")):
            if value is None or shift.temperature == study.reference_k:
                continue
            axes.bar(place + side, value, 0.34, color=face, edgecolor=INK, linewidth=0.9)
            axes.annotate(f"{value:+.2f}", (place + side, value), xytext=(0, 3 if value >= 0 else -3),
                          textcoords="offset points", ha="center", va="bottom" if value >= 0 else "top", fontsize=7.5)
    axes.axhline(0, color=INK, linewidth=0.8)
    axes.margins(y=0.3)
    axes.grid(False, axis="x")
    axes.set_xticks(range(len(study.shifts)), [show(s.temperature, "K") for s in study.shifts])
    output = "" if study.reference_output_dbm is None else f" of {study.reference_output_dbm:.2f} dBm"
    later = "; white: turn-on" if any(s.later_db is not None for s in study.shifts) else ""
    axes.set(ylabel="more drive / dB", xlim=(-0.6, len(study.shifts) - 0.4),
             title=textwrap.fill(f"against {show(study.reference_k, 'K')}; black: same output{output}{later}", 48))
