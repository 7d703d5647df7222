"""Pictures of a prediction and of a sweep; every number in them is read from the state or the table."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..balance.device_state import DeviceState
from ..errors import Refusal
from ..quantities import show
from ..studies.compression import Compression
from ..studies.prediction import Prediction
from ..studies.table import SweepTable
from .style import INK, LINES, PALE, label_lines, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOWEST_DBM = -100.0  # lines below this are left out of pictures
_DOTS = (0, (1, 1.5))


def prediction_figure(prediction: Prediction) -> "Figure":
    """Spectrum at the output; voltage, current and load line of the first device."""
    state = prediction.state
    devices = list(state.devices.values())
    figure = new_figure(8.0, 7.2 if devices else 3.6)
    grid = figure.add_gridspec(3 if devices else 1, 2, width_ratios=(1.25, 1))
    _spectrum(figure.add_subplot(grid[0, :]), prediction)
    _heading(figure, state.description.title)
    if devices:
        voltage, current = figure.add_subplot(grid[1, 0]), figure.add_subplot(grid[2, 0])
        _waveforms(voltage, current, devices[0], state.description.drive.frequency)
        _load_line(figure.add_subplot(grid[1:, 1]), devices[0])
    return figure


def _heading(figure: "Figure", title: str) -> None:
    figure.suptitle(title, x=0.01, ha="left", fontsize=10)


def _spectrum(axes: "Axes", prediction: Prediction) -> None:
    state = prediction.state
    description, wanted = state.description, state.description.wanted_harmonic
    harmonics = np.arange(1, state.system.harmonics + 1)
    levels = np.array([state.output_dbm(int(k)) for k in harmonics])
    shown = levels > LOWEST_DBM
    loss = state.conversion_loss_db
    axes.set_title(f"{show(description.drive.power_dbm, 'dBm')} at {show(description.drive.frequency, 'Hz', 7)} into "
                   f"port {description.drive.port}; conversion {'gain' if loss < 0 else 'loss'} {abs(loss):.1f} dB, "
                   f"input return loss {state.input_return_loss_db:.1f} dB")
    axes.set(xlabel="frequency / GHz", ylabel=f"at port {description.wanted_port} / dBm")
    if not shown.any():
        axes.text(0.5, 0.5, f"nothing above {LOWEST_DBM:.0f} dBm", transform=axes.transAxes, ha="center")
        return
    top = np.ceil(levels[shown].max() / 10) * 10 + 10
    bottom = max(np.floor(levels[shown].min() / 10) * 10 - 10, LOWEST_DBM)
    frequency = state.frequency[harmonics] / 1e9
    crowded = shown.sum() > 20
    for k, f, level in zip(harmonics[shown], frequency[shown], levels[shown]):
        colour, width = (LINES[1][0], 3.0) if k == wanted else (INK, 1.5)
        axes.plot([f, f], [bottom, level], color=colour, linewidth=width, solid_capstyle="butt")
        if k == wanted or not crowded or k <= 5:
            axes.annotate(f"{level:.1f}", (f, level), xytext=(0, 3), textcoords="offset points", ha="center",
                          fontsize=7.5, color=colour, fontweight="bold" if k == wanted else "normal")
    axes.annotate("wanted", (frequency[wanted - 1], bottom), xytext=(4, 4), textcoords="offset points", rotation=90,
                  color=LINES[1][0], fontsize=7.5, va="bottom")
    axes.set(ylim=(bottom, top), xlim=(0, frequency[shown].max() + frequency[0]))


def _waveforms(top: "Axes", low: "Axes", device: DeviceState, frequency: float) -> None:
    """Two periods of the drive: voltage between the main and the common pin, current into the main pin."""
    pin = device.main_pin
    voltage, current = device.voltage_waveform(pin), device.current_waveform(pin)
    time, time_unit = scaled(np.arange(2 * len(voltage) + 1) / len(voltage) / frequency, "s")
    for axes, values, unit, (colour, _), name in ((top, voltage, "V", LINES[0], "voltage"),
                                                  (low, current, "A", LINES[1], "current")):
        shown, unit = scaled(np.append(np.tile(values, 2), values[0]), unit)
        axes.plot(time, shown, color=colour)
        axes.set(ylabel=f"{name} / {unit}", xlim=(0, time[-1]))
    top.set_title(f"{device.name} {pin}, two periods")
    top.tick_params(labelbottom=False)
    low.set_xlabel(f"time / {time_unit}")


def _load_line(axes: "Axes", device: DeviceState) -> None:
    pin, common = device.main_pin, device.common
    voltage, volts = scaled(device.voltage_waveform(pin), "V")
    current, amps = scaled(device.current_waveform(pin), "A")
    axes.plot(np.append(voltage, voltage[0]), np.append(current, current[0]), color=LINES[0][0])
    speed = np.hypot(np.diff(voltage) / max(np.ptp(voltage), 1e-12), np.diff(current) / max(np.ptp(current), 1e-12))
    half = len(speed) // 2
    for at in (int(np.argmax(speed[:half])), half + int(np.argmax(speed[half:]))):  # where the line runs straight
        axes.annotate("", (voltage[at + 1], current[at + 1]), (voltage[at], current[at]),
                      arrowprops={"arrowstyle": "-|>", "color": LINES[0][0], "mutation_scale": 14})
    axes.plot(voltage.mean(), current.mean(), "o", color=INK, markersize=5)
    axes.annotate("average", (voltage.mean(), current.mean()), xytext=(7, 4), textcoords="offset points", fontsize=8,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.8})
    axes.set(xlabel=f"{pin} to {common} / {volts}", ylabel=f"current into the {pin} pin / {amps}")
    axes.set_title("load line; the arrows show the course of time")


def sweep_figure(table: SweepTable, found: Compression | None = None) -> "Figure":
    """Curves for one quantity, maps for two; raises Refusal for more."""
    if len(table.axes) > 2:
        raise Refusal(f"a sweep of {len(table.axes)} quantities has no picture; vary one or two, or use --csv")
    if len(table.axes) == 2 and min(table.shape) > 1:
        return _maps(table)
    return _curves(table, found)


def _axis_label(address: str, unit: str) -> str:
    return f"{address} / {unit}" if unit else address


def _name(harmonic: int) -> str:
    return "f0" if harmonic == 1 else f"{harmonic} f0"


def _curves(table: SweepTable, found: Compression | None) -> "Figure":
    address = max(table.axes, key=lambda a: len(table.axes[a]))  # another one has a single value
    values = table.axes[address]
    x, unit = scaled(values, table.units[address])
    drive = address == "drive.power" and len(x) > 1
    figure = new_figure(7.5, 7.4 if drive else 5.6)
    rows = figure.subplots(3 if drive else 2, 1, sharex=True, height_ratios=(2.2, 1, 1)[:3 if drive else 2])
    marker = "o" if len(x) < 3 else None
    others = ", ".join(f"{a} = {show(float(v[0]), table.units[a], 6)}" for a, v in table.axes.items() if a != address)
    _heading(figure, f"{table.title} at {others}" if others else table.title)
    _levels(rows[0], table, x, marker)
    notes = [_law(rows[0], found, values)] if found is not None else []
    rows[1].plot(x, _finite(table["input_return_loss_db"].ravel()), color=INK, marker=marker)
    rows[1].set_ylabel("input return\nloss / dB")
    if drive:
        with np.errstate(divide="ignore", invalid="ignore"):  # a list may hold a drive twice
            slope = np.gradient(_finite(table[table.wanted].ravel()), values)
        rows[2].plot(x, slope, color=LINES[1][0])
        rows[2].axhline(table.wanted_harmonic, color=PALE, linewidth=1.0, linestyle=_DOTS)
        rows[2].set_ylabel(f"slope at {_name(table.wanted_harmonic)}\n/ dB per dB")
    rows[-1].set_xlabel(_axis_label(address, unit))
    bad = x[~table.solved.ravel()]
    for axes in rows:
        for place in bad:
            axes.axvline(place, color=PALE, linewidth=3, alpha=0.4)
    if len(bad):
        notes.append(f"grey: {len(bad)} of {len(x)} points not solved")
    rows[0].set_title("; ".join(notes))
    return figure


def _levels(axes: "Axes", table: SweepTable, x: np.ndarray, marker: str | None) -> None:
    """Output at f0, 2 f0, 3 f0 and the wanted harmonic, each labelled at its end."""
    ends = []
    wanted = table.wanted_harmonic
    for k, (colour, dash) in zip((k for k in sorted({1, 2, 3, wanted}) if k <= table.harmonics), LINES):
        y = _finite(table[f"output_dbm_{k}"].ravel())
        y[y < LOWEST_DBM] = np.nan
        axes.plot(x, y, color=colour, linestyle=dash, linewidth=2.2 if k == wanted else 1.3, marker=marker)
        good = np.flatnonzero(np.isfinite(y))
        if len(good):
            ends.append((x[good[-1]], y[good[-1]], _name(k) + (" (wanted)" if k == wanted else ""), colour))
    axes.set_ylabel("output / dBm")
    label_lines(axes, ends)


def _law(axes: "Axes", found: Compression, drive: np.ndarray) -> str:
    """Draw the power-law line and the point 1 dB below it; the words for both."""
    limits = axes.get_ylim()
    axes.plot(drive, found.line(drive), color=PALE, linewidth=1.0, linestyle=_DOTS)
    axes.set_ylim(limits)
    words = f"dotted: {found.order} dB per dB"
    if found.drive_dbm is None or not drive.min() <= found.drive_dbm <= drive.max():
        return words
    axes.plot(found.drive_dbm, found.output_dbm, "s", color=INK, markersize=5)
    return f"{words}; square: 1 dB below it, {found.output_dbm:.1f} dBm at {found.drive_dbm:.1f} dBm of drive"


def _finite(values: np.ndarray) -> np.ndarray:
    return np.where(np.isfinite(values), values, np.nan)


def _maps(table: SweepTable) -> "Figure":
    (first, second) = table.axes
    (y, y_unit), (x, x_unit) = (scaled(table[a], table.units[a]) for a in (first, second))
    figure = new_figure(10.0, 4.4)
    panels = ((table.wanted, f"output at {_name(table.wanted_harmonic)} / dBm", "most output"),
              ("input_return_loss_db", "input return loss / dB", "best match"))
    for axes, (column, title, best) in zip(figure.subplots(1, 2, sharey=True), panels):
        z = np.ma.masked_invalid(np.where(table[column] > LOWEST_DBM, table[column], np.nan))
        axes.set_facecolor("#dddddd")
        axes.grid(False)
        axes.set(xlabel=_axis_label(second, x_unit), title=f"{title}; cross: {best}")
        if z.count():
            _map(figure, axes, x, y, z)
    figure.axes[0].set_ylabel(_axis_label(first, y_unit))
    unsolved = int((~table.solved).sum())
    _heading(figure, table.title + (f"; grey: {unsolved} points not solved" if unsolved else ""))
    return figure


def _map(figure: "Figure", axes: "Axes", x: np.ndarray, y: np.ndarray, z: np.ma.MaskedArray) -> None:
    """Filled contours at round levels, each line with its value, and a cross at the highest point."""
    from matplotlib.ticker import MaxNLocator
    levels = MaxNLocator(12).tick_values(float(z.min()), max(float(z.max()), float(z.min()) + 1e-3))
    filled = axes.contourf(x, y, z, levels=levels, cmap="cividis")
    dark = levels < levels.mean()
    lines = axes.contour(x, y, z, levels=levels, colors=["white" if d else INK for d in dark], linewidths=0.6,
                         linestyles="solid")
    axes.clabel(lines, levels=levels[::2], fmt="%g", fontsize=7)
    figure.colorbar(filled, ax=axes, ticks=levels[::2])
    row, column = np.unravel_index(int(np.argmax(z)), z.shape)
    for colour, size, width in (("white", 9, 3.0), (INK, 8, 1.4)):
        axes.plot(x[column], y[row], "x", color=colour, markersize=size, markeredgewidth=width, clip_on=False, zorder=5)
