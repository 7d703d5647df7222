"""Picture of a bias study: output, match, current and angle for each drive; waveforms below, at and above the best."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..quantities import show
from ..studies.bias_study import BiasStudy, Waveforms, theory
from ..studies.junction_states import CUT_OFF, SATURATED
from .style import INK, LINES, LOWEST_DBM, MANY_LINES, PERIODS, axis_label, harmonic_name, heading, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_GROUNDS = {CUT_OFF: "#dddddd", SATURATED: "#a8a8a8"}
_TITLES = {"below": "below the best", "best": "most output", "above": "above the best"}


def bias_study_figure(study: BiasStudy) -> "Figure":
    """Curves above, waveforms side by side below."""
    figure = new_figure(9.0, 9.4)
    upper, lower = figure.subfigures(2, 1, height_ratios=(1.25, 1))
    panels = upper.subplots(2, 3)
    wanted = harmonic_name(study.description.wanted_harmonic)
    device = study.device
    average = f"average_amps_{device}_{study.pin}"
    _curves(panels[0, 0], study, study.wanted, f"{wanted} / dBm")
    _curves(panels[0, 1], study, "input_return_loss_db", "input return loss / dB")
    _curves(panels[0, 2], study, average, f"average {study.pin}\ncurrent", unit="A")
    _curves(panels[1, 0], study, f"conduction_angle_deg_{device}", "conduction angle / deg")
    _curves(panels[1, 1], study, f"share_saturated_{device}", "share of the period\nin saturation / %", factor=100.0)
    _against_theory(panels[1, 2], study)
    panels[0, 0].set_title("circles: most output", fontsize=8)
    panels[0, 1].set_title("circles: best match", fontsize=8)
    most = max(np.nanmax(curve.columns[f"share_saturated_{device}"]) for curve in study.curves if curve.columns)
    top = max(110 * most, 5.0)
    panels[1, 1].set_ylim(-0.03 * top, top)  # a line along 0 shows
    if not most > 0:
        panels[1, 1].text(0.5, 0.5, "never in saturation", transform=panels[1, 1].transAxes, ha="center", fontsize=8)
    panels[0, 2].legend(fontsize=7.5, frameon=False, handlelength=3.2, title="drive", title_fontsize=7.5, loc="best")
    if study.waveforms:
        _waveforms(lower, study)
    heading(figure, study.description.title)
    return figure


def _curves(axes: "Axes", study: BiasStudy, column: str, label: str, unit: str = "", factor: float = 1.0) -> None:
    x, x_unit = scaled(study.values, study.unit)
    ratio = x[-1] / study.values[-1] if study.values[-1] else 1.0
    drawn = [np.asarray(curve.columns.get(column, np.full(len(x), np.nan))) * factor for curve in study.curves]
    if unit:
        together, shown = scaled(np.array(drawn), unit)
        drawn, label = list(together), axis_label(label, shown)
    for (colour, dash), curve, y in zip(_styles(study), study.curves, drawn):
        with np.errstate(invalid="ignore"):
            y = np.where(y > LOWEST_DBM, y, np.nan)
        axes.plot(x, y, color=colour, linestyle=dash, linewidth=1.4, label=show(curve.drive_dbm, "dBm"))
        best = {study.wanted: curve.most_output, "input_return_loss_db": curve.best_match}.get(column)
        if best is not None:
            axes.plot(best.value * ratio, best.figure, "o", markeredgecolor=colour, markerfacecolor="white",
                      markersize=5.5, zorder=4)
    axes.set(xlabel=axis_label(study.address, x_unit), ylabel=label)


def _styles(study: BiasStudy) -> list[tuple[str, object]]:
    return [MANY_LINES[n % len(MANY_LINES)] for n in range(len(study.curves))]


def _against_theory(axes: "Axes", study: BiasStudy) -> None:
    """Harmonic over peak of the current at every point, over the curve of a clipped cosine."""
    n, device = study.description.wanted_harmonic, study.device
    axes.plot(*theory(n), color=INK, linewidth=1.0)
    for (colour, _), marker, curve in zip(_styles(study), "os^dv<>" * len(study.curves), study.curves):
        if curve.columns:
            axes.plot(curve.columns[f"conduction_angle_deg_{device}"], curve.harmonic_over_peak(device), marker,
                      color=colour, markersize=3,
                      markerfacecolor="white", markeredgewidth=0.8)
    axes.set(xlabel="conduction angle / deg", ylabel=f"current at {harmonic_name(n)} / its peak", xlim=(0, 365))
    axes.set_xticks(range(0, 361, 60))
    axes.set_title("line: tip of a cosine; marks: each drive", fontsize=8)


def _waveforms(figure: "Figure", study: BiasStudy) -> None:
    """Voltage above, current below, one column for each place, the states of the junctions as grounds."""
    grid = figure.subplots(2, len(study.waveforms), sharex=True, sharey="row", squeeze=False)
    volts, v_unit = scaled(np.array([w.voltage for w in study.waveforms]), "V")
    amps, a_unit = scaled(np.array([w.current for w in study.waveforms]), "A")
    for column, told in enumerate(study.waveforms):
        phase = np.arange(len(told.voltage) + 1) * 360.0 / len(told.voltage)
        for row, (values, colour) in enumerate(((volts, LINES[0][0]), (amps, LINES[1][0]))):
            axes = grid[row, column]
            _grounds(axes, told, phase)
            axes.plot(phase, np.append(values[column], values[column][0]), color=colour, linewidth=1.5, gid=PERIODS)
            axes.set(xlim=(0, 360), xticks=range(0, 361, 90))
            axes.grid(False, axis="x")
        grid[0, column].set_title(_words(study, told), fontsize=8)
        grid[1, column].set_xlabel("period / deg")
    grid[0, 0].set_ylabel(f"{study.device} {study.pin}\nvoltage / {v_unit}")
    grid[1, 0].set_ylabel(f"conduction\ncurrent / {a_unit}")
    figure.suptitle(f"at {show(study.explained_dbm, 'dBm')}; white: in between, light grey: cut off, dark grey: in "
                    "saturation", x=0.01, ha="left", fontsize=9)


def _words(study: BiasStudy, told: Waveforms) -> str:
    states = told.states
    return (f"{_TITLES[told.place]}: {show(told.value, study.unit, 3)}, {told.output_dbm:.2f} dBm\ncut off "
            f"{states.cut_off:.0%}, in between {states.between:.0%}, saturated {states.saturated:.0%}\n"
            f"{harmonic_name(study.description.wanted_harmonic)} current {show(told.harmonic_amps, 'A', 3)}, "
            f"peak {show(told.peak_amps, 'A', 3)}")


def _grounds(axes: "Axes", told: Waveforms, phase: np.ndarray) -> None:
    region = told.states.region
    edges = [0, *(np.flatnonzero(np.diff(region)) + 1), len(region)]
    for start, stop in zip(edges, edges[1:]):
        if int(region[start]) in _GROUNDS:
            axes.axvspan(phase[start], phase[stop], color=_GROUNDS[int(region[start])], linewidth=0, zorder=0)
