"""Picture of `hbsim device`."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from ..quantities import show
from ..studies.device_curves import DiodeCurves, TransistorCurves
from .style import INK, LINES, PALE, label_lines, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TITLE_WIDTH = 52
_SLOWEST = 0.005  # of the highest transition frequency: from there on it is drawn
_LOWEST_GAIN_DB = -6.0  # where the picture of the current gain over frequency ends


def device_figure(found: TransistorCurves | DiodeCurves) -> "Figure":
    """Transistor: output curves, currents, gains, transition frequency and how it is read, capacitances.

    Diode: forward current on both scales, capacitance, cut-off frequency.
    """
    if isinstance(found, TransistorCurves):
        figure = new_figure(8.6, 9.0)
        panels = figure.subplots(3, 2).ravel()
        for panel, draw in zip(panels, (_output, _currents, _capacitances, _current_gain, _transition, _reading)):
            draw(panel, found)
    else:
        figure = new_figure(8.4, 6.4)
        panels = figure.subplots(2, 2).ravel()
        for panel, draw in zip(panels, (_forward, _forward_log, _capacitances, _cut_off)):
            draw(panel, found)
    figure.suptitle(f"{found.entry.title}; bare chip at {show(found.entry.model.temperature, 'K')}", x=0.01, ha="left",
                    fontsize=10)
    return figure


# -- transistor ----------------------------------------------------------------------------------------------------


def _names(found: TransistorCurves) -> tuple[str, str, str, str]:
    """Of the collector voltage, base voltage, collector and base current in normal operation."""
    return ("VCE", "VBE", "IC", "IB") if found.entry.model.polarity == "npn" else ("VEC", "VEB", "-IC", "-IB")


def _output(axes: "Axes", found: TransistorCurves) -> None:
    v_ce, _, i_c, i_b = _names(found)
    title = "Output curves, one for each base current"
    if not found.output:
        return _empty(axes, title)
    ends = []
    for curve in found.output:
        axes.plot(curve.v_ce, 1e3 * curve.collector_current, color=LINES[0][0], linewidth=1.2)
        solved = np.flatnonzero(np.isfinite(curve.collector_current))
        if len(solved):
            ends.append((curve.v_ce[solved[-1]], 1e3 * curve.collector_current[solved[-1]],
                         f"{i_b} = {show(curve.base_current, 'A', 3)}", LINES[0][0]))
    top = 1e3 * np.nanmax([0.0, *(np.nanmax(curve.collector_current, initial=0.0) for curve in found.output)])
    axes.set(xlabel=f"{v_ce} / V", ylabel=f"{i_c} / mA", xlim=(0, found.output[0].v_ce[-1]), ylim=(0, 1.08 * top))
    axes.set_title(_folded(title))
    limit = found.entry.model.dissipation_max
    if limit is not None and 1e3 * limit / axes.get_xlim()[1] < axes.get_ylim()[1]:
        voltage, current = found.dissipation_limit
        axes.plot(voltage, 1e3 * current, color=PALE, linewidth=1.0, linestyle=(0, (4, 3)))
        axes.set_title(_folded(f"{title}; dashed: {show(limit, 'W', 3)}, the limit of the dissipation"))
    label_lines(axes, ends)
    return None


def _currents(axes: "Axes", found: TransistorCurves) -> None:
    v_ce, v_be, i_c, i_b = _names(found)
    title = f"{i_c} and {i_b} against {v_be}, {v_ce} = {show(found.v_ce, 'V')}"
    if not np.isfinite(found.collector_current).any():
        return _empty(axes, title)
    for values, name, (colour, dash) in ((found.collector_current, i_c, LINES[0]), (found.base_current, i_b, LINES[1])):
        axes.semilogy(1e3 * found.v_be, values, color=colour, linestyle=dash)
        last = np.flatnonzero(np.isfinite(values))[-1]
        _name_at_end(axes, 1e3 * found.v_be[last], values[last], name, colour)
    shown = 1e3 * found.v_be[np.isfinite(found.collector_current)]
    axes.set(xlabel=f"{v_be} / mV", ylabel="current / A", xlim=(shown[0], shown[-1]))
    axes.set_title(_folded(title))
    return None


def _current_gain(axes: "Axes", found: TransistorCurves) -> None:
    _against_current(axes, found, found.current_gain, "IC over IB", "Current gain", LINES[0][0])


def _transition(axes: "Axes", found: TransistorCurves) -> None:
    _against_current(axes, found, found.transition_frequency / 1e9, "transition frequency / GHz",
                     "Transition frequency", LINES[0][0])
    if found.fastest is not None:
        x, y = found.collector_current[found.fastest], found.transition_frequency[found.fastest] / 1e9
        axes.set_xlim(left=found.collector_current[found.transition_frequency > _SLOWEST * 1e9 * y].min())
        axes.plot(x, y, "o", color=INK, markersize=5)
        axes.annotate(f"{y:.3g} GHz at {show(x, 'A', 3)}", (x, y), xytext=(-8, 2), textcoords="offset points",
                      ha="right", fontsize=8)


def _against_current(axes: "Axes", found: TransistorCurves, values: np.ndarray, label: str, title: str,
                     colour: str) -> None:
    v_ce, _, i_c, _ = _names(found)
    title = f"{title} against {i_c}, {v_ce} = {show(found.v_ce, 'V')}"
    if not np.isfinite(values).any():
        return _empty(axes, title)
    axes.semilogx(found.collector_current, values, color=colour)
    axes.xaxis.set_major_formatter(lambda current, _: show(current, "A", 3))
    axes.set(xlabel=i_c, ylabel=label, ylim=(0, 1.1 * np.nanmax(values)))
    axes.set_title(_folded(title))
    return None


def _reading(axes: "Axes", found: TransistorCurves) -> None:
    """How the transition frequency is read: |h21| and its line of 20 dB a decade."""
    v_ce, _, i_c, _ = _names(found)
    title = "How the transition frequency is read"
    if found.fastest is None:
        return _empty(axes, title)
    limit = found.transition_frequency[found.fastest]
    level = found.gain_db
    shown = (level > _LOWEST_GAIN_DB) & (found.frequency > limit / 2e3) & (found.frequency < 3 * limit)
    frequency = found.frequency[shown] / 1e9
    axes.semilogx(frequency, level[shown], color=LINES[0][0])
    line = found.line_db[shown]
    under = line < level[0] + 3
    axes.semilogx(frequency[under], line[under], color=PALE, linestyle=(0, (4, 3)), linewidth=1.0)
    axes.plot(limit / 1e9, 0.0, "o", color=INK, markersize=5)
    axes.annotate(f"{limit / 1e9:.3g} GHz", (limit / 1e9, 0.0), xytext=(-8, -4), textcoords="offset points", ha="right",
                  va="center", fontsize=8)
    axes.set(xlabel="frequency / GHz", ylabel="|h21| / dB")
    axes.set_title(_folded(f"{title}: |h21| at {i_c} = {show(found.collector_current[found.fastest], 'A', 3)}, "
                           f"{v_ce} = {show(found.v_ce, 'V')}; dashed: 20 dB a decade"))
    return None


# -- both ----------------------------------------------------------------------------------------------------------


def _capacitances(axes: "Axes", found: TransistorCurves | DiodeCurves) -> None:
    title = "Junction capacitance under reverse voltage"
    if not found.capacitances:
        return _empty(axes, title)
    ends = []
    for (junction, item), (colour, dash) in zip(found.capacitances.items(), LINES):
        axes.plot(item.reverse_voltage, 1e12 * item.capacitance, color=colour, linestyle=dash)
        ends.append((item.reverse_voltage[-1], 1e12 * item.capacitance[-1], junction, colour))
    top = max(item.capacitance[0] for item in found.capacitances.values())
    axes.set(xlabel="reverse voltage / V", ylabel="capacitance / pF", ylim=(0, 1.1e12 * top))
    axes.set_xlim(left=0)
    axes.set_title(_folded(title))
    if len(ends) > 1:
        label_lines(axes, ends)
    return None


# -- diode ---------------------------------------------------------------------------------------------------------


def _forward(axes: "Axes", found: DiodeCurves) -> None:
    title = "Forward current"
    if not np.isfinite(found.current).any():
        return _empty(axes, title)
    axes.plot(found.voltage, 1e3 * found.current, color=LINES[0][0])
    axes.set(xlabel="voltage / V", ylabel="current / mA")
    axes.set_ylim(bottom=0)
    axes.set_title(title)
    return None


def _forward_log(axes: "Axes", found: DiodeCurves) -> None:
    title = "The same, logarithmic"
    if not np.isfinite(found.current).any():
        return _empty(axes, title)
    axes.semilogy(found.voltage, found.current, color=LINES[0][0])
    axes.set(xlabel="voltage / V", ylabel="current / A")
    axes.set_title(title)
    return None


def _cut_off(axes: "Axes", found: DiodeCurves) -> None:
    title = "Cut-off frequency 1 / (2 pi RS C)"
    if not len(found.cut_off):
        return _empty(axes, f"{title}: RS or C is 0")
    axes.plot(found.capacitances["junction"].reverse_voltage, found.cut_off / 1e9, color=LINES[0][0])
    axes.set(xlabel="reverse voltage / V", ylabel="frequency / GHz")
    axes.set_xlim(left=0)
    axes.set_ylim(bottom=0)
    axes.set_title(title)
    return None


def _empty(axes: "Axes", title: str) -> None:
    axes.set_title(_folded(title))
    axes.set(xticks=(), yticks=())
    axes.text(0.5, 0.5, "nothing to show", transform=axes.transAxes, ha="center", color=INK)


def _name_at_end(axes: "Axes", x: float, y: float, text: str, colour: str) -> None:
    axes.annotate(text, (x, y), xytext=(5, 0), textcoords="offset points", color=colour, va="center", fontsize=8,
                  annotation_clip=False)


def _folded(title: str) -> str:
    """A title of as many lines as keep it over its own panel."""
    return textwrap.fill(title, _TITLE_WIDTH)
