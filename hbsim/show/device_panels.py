"""Waveforms and load lines of the devices of a prediction, told apart by colour and by dash."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from ..balance.device_state import DeviceState
from ..balance.solution import SteadyState
from ..devices.contract import Rating
from ..quantities import PREFIXES, show
from .ranking import foremost
from .style import DASHES, INK, LINES, PERIODS, harmonic_name, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_DRAWN = len(LINES)  # devices that can be told apart in print
_NEAR = 0.5  # of the drawn range: a limit not farther outside is drawn too
_LEGEND_LETTERS = 34  # that fit beside each other above the waveforms, four line samples included
# Ratings on what the load line is drawn of: pin voltage and pin current.
_VOLTAGE_LIMITS = ("peak collector-emitter voltage",)
_CURRENT_LIMITS = ("peak collector current", "peak forward current")
_Style = tuple[str, object, float]  # colour, dash, width


def draw_devices(voltage: "Axes", current: "Axes", load_line: "Axes", state: SteadyState) -> None:
    """Voltage and current at the main pin over two periods, and one against the other, of up to four devices."""
    devices = foremost(state, MOST_DRAWN)
    frequency = state.description.drive.frequency
    if len(devices) == 1:
        colours = ((LINES[0][0], "-", 1.5), (LINES[1][0], "-", 1.5))
        _waveforms(voltage, current, devices, [colours], frequency)
        voltage.set_title(f"{devices[0].name} {devices[0].main_pin}, two periods")
        _load_lines(load_line, devices, [colours[0]])
        return
    # where lines coincide, the wider one below shows through the gaps of the one above
    styles = [(colour, dash, 2.2 - 0.25 * n) for n, (colour, dash) in enumerate(LINES[:len(devices)])]
    _waveforms(voltage, current, devices, [(style, style) for style in styles], frequency)
    pins = _joined(device.main_pin for device in devices)
    words, count = f"{pins}, two periods", len(state.devices)
    if count > len(devices):
        wanted = harmonic_name(state.description.wanted_harmonic)
        words = f"{pins}; {len(devices)} of {count} devices, no other gives more at {wanted}"
    _legend(voltage, devices, words)
    _load_lines(load_line, devices, styles)


def _joined(words: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(words))


def _legend(axes: "Axes", devices: Sequence[DeviceState], title: str) -> None:
    """A sample of each line with its device's name, between title and panel."""
    several = len({device.main_pin for device in devices}) > 1
    names = [f"{device.name} {device.main_pin}" if several else device.name for device in devices]
    columns = max(n for n in (1, 2, len(names)) if n == 1 or n * max(map(len, names)) <= _LEGEND_LETTERS)
    legend = axes.legend(axes.lines, names, loc="lower left", bbox_to_anchor=(0, 1), ncols=columns, frameon=False,
                         borderaxespad=0, borderpad=0.2, handlelength=3.4, columnspacing=1.4, fontsize=8)
    for text, line in zip(legend.get_texts(), axes.lines):
        text.set_color(line.get_color())
    axes.set_title(title, pad=6 + 13 * math.ceil(len(names) / columns))


def _waveforms(top: "Axes", low: "Axes", devices: Sequence[DeviceState], styles: Sequence[tuple[_Style, _Style]],
               frequency: float) -> None:
    """Two periods of the drive: voltage between the main and the common pin, current into the main pin."""
    for axes, rows, unit, which, name in (
            (top, [d.voltage_waveform(d.main_pin) for d in devices], "V", 0, "voltage"),
            (low, [d.current_waveform(d.main_pin) for d in devices], "A", 1, "current")):
        shown, unit = scaled(np.array(rows), unit)
        time, time_unit = scaled(np.arange(2 * shown.shape[1] + 1) / shown.shape[1] / frequency, "s")
        for row, both in zip(shown, styles):
            colour, dash, width = both[which]
            axes.plot(time, np.append(np.tile(row, 2), row[0]), color=colour, linestyle=dash, linewidth=width,
                      gid=PERIODS)
        axes.set(ylabel=f"{name} / {unit}", xlim=(0, time[-1]))
    top.tick_params(labelbottom=False)
    # a current with steep edges rings at the last harmonics; the number tells such waves from the circuit's own
    low.set_xlabel(f"time / {time_unit}; drawn with {len(devices[0].pin_current[devices[0].main_pin]) - 1} harmonics")


def _load_lines(axes: "Axes", devices: Sequence[DeviceState], styles: Sequence[_Style]) -> None:
    voltages, volts = scaled(np.array([device.voltage_waveform(device.main_pin) for device in devices]), "V")
    currents, amps = scaled(np.array([device.current_waveform(device.main_pin) for device in devices]), "A")
    for voltage, current, style in zip(voltages, currents, styles):
        _load_line(axes, voltage, current, style, named=len(devices) == 1)
    pins = _joined(f"{device.main_pin} to {device.common}" for device in devices)
    axes.set(xlabel=f"{pins} / {volts}",
             ylabel=f"current into the {_joined(device.main_pin for device in devices)} pin / {amps}")
    axes.set_title("load line; the arrows show the course of time" if len(devices) == 1 else
                   "load lines; arrows: time, dots: averages")
    _limits(axes, devices, volts, amps)


def _load_line(axes: "Axes", voltage: np.ndarray, current: np.ndarray, style: _Style, named: bool) -> None:
    colour, dash, width = style
    axes.plot(np.append(voltage, voltage[0]), np.append(current, current[0]), color=colour, linestyle=dash,
              linewidth=width)
    speed = np.hypot(np.diff(voltage) / max(np.ptp(voltage), 1e-12), np.diff(current) / max(np.ptp(current), 1e-12))
    half = len(speed) // 2
    for at in (int(np.argmax(speed[:half])), half + int(np.argmax(speed[half:]))):  # where the line runs straight
        axes.annotate("", (voltage[at + 1], current[at + 1]), (voltage[at], current[at]),
                      arrowprops={"arrowstyle": "-|>", "color": colour, "mutation_scale": 14})
    axes.plot(voltage.mean(), current.mean(), "o", color=INK if named else colour, markersize=5)
    if named:
        axes.annotate("average", (voltage.mean(), current.mean()), xytext=(7, 4), textcoords="offset points",
                      fontsize=8, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.8})


def _limits(axes: "Axes", devices: Sequence[DeviceState], volts: str, amps: str) -> None:
    """Dashed lines at the limits of voltage and current, where these are in or near what is drawn."""
    across, up = axes.get_xlim(), axes.get_ylim()
    for unit, (low, high), meanings, draw, waveform in (
            (volts, across, _VOLTAGE_LIMITS, axes.axvline, lambda d: d.voltage_waveform(d.main_pin)),
            (amps, up, _CURRENT_LIMITS, axes.axhline, lambda d: d.current_waveform(d.main_pin))):
        for limit, rating, names in _found(devices, meanings, unit, waveform):
            if not low - _NEAR * (high - low) < limit < high + _NEAR * (high - low):
                continue
            draw(limit, color=INK, linewidth=0.9, linestyle=DASHES)
            upright = draw == axes.axvline
            of = "" if len(names) == len(devices) else f" of {', '.join(names)}"
            axes.annotate(f"limit{of} {show(rating.limit, rating.unit, 3)}", (limit, 0.5) if upright else (0.5, limit),
                          xycoords=axes.get_xaxis_transform() if upright else axes.get_yaxis_transform(),
                          xytext=(-3, 0) if upright else (0, -3), textcoords="offset points", fontsize=8,
                          rotation=90 if upright else 0, ha="right" if upright else "center",
                          va="center" if upright else "top",
                          bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.8})


def _found(devices: Sequence[DeviceState], meanings: Sequence[str], unit: str,
           waveform: Callable[[DeviceState], np.ndarray]) -> list[tuple[float, Rating, list[str]]]:
    """Each limit once, in `unit` and with the sign it has in the drawing, and the devices that it holds for."""
    found: dict[float, tuple[Rating, list[str]]] = {}
    for device in devices:
        for rating in (r for r in device.ratings if r.meaning in meanings and r.limit is not None):
            # the rating counts in the direction of normal operation, for a PNP the negative one
            sign = 1.0 if np.isclose(waveform(device).max(), rating.value) else -1.0
            limit = sign * rating.limit / PREFIXES.get(unit.removesuffix(rating.unit), 1.0)
            found.setdefault(limit, (rating, []))[1].append(device.name)
    return [(limit, rating, names) for limit, (rating, names) in found.items()]
