"""Pictures of a prediction and of a sweep; every number in them is read from the state or the table."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from ..balance.device_state import DeviceState
from ..errors import Refusal
from ..quantities import PREFIXES, show
from ..studies.compression import Compression
from ..studies.prediction import UNSURE, Prediction
from ..studies.table import SweepTable
from .style import INK, LINES, PALE, label_lines, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOWEST_DBM = -100.0  # lines below this are left out of pictures
_DOTS = (0, (1, 1.5))
_DASHES = (0, (4, 3))
_HEADING_WIDTH = 100
_MOST_TICKS = 16  # labels that fit side by side under a spectrum
_NEAR = 0.5  # of the drawn range: a limit not farther outside is drawn too
# Ratings on what the load line is drawn of: pin voltage and pin current.
_VOLTAGE_LIMITS = ("peak collector-emitter voltage",)
_CURRENT_LIMITS = ("peak collector current", "peak forward current")


def prediction_figure(prediction: Prediction) -> "Figure":
    """Spectrum at the output; voltage, current and load line of the first device."""
    state = prediction.state
    devices = list(state.devices.values())
    figure = new_figure(8.0, 7.2 if devices else 3.6)
    grid = figure.add_gridspec(3 if devices else 1, 2, width_ratios=(1.25, 1))
    _spectrum(figure.add_subplot(grid[0, :]), prediction)
    _heading(figure, "\n".join([state.description.title, *_subtitle(prediction)]))
    if devices:
        voltage, current = figure.add_subplot(grid[1, 0]), figure.add_subplot(grid[2, 0])
        _waveforms(voltage, current, devices[0], state.description.drive.frequency)
        _load_line(figure.add_subplot(grid[1:, 1]), devices[0])
    return figure


def _heading(figure: "Figure", title: str) -> None:
    figure.suptitle(title, x=0.01, ha="left", fontsize=10)


def _subtitle(prediction: Prediction) -> list[str]:
    """Supplies and the number of warnings, where there are any."""
    said = [f"{name} {show(supply.volts, 'V', 3)}, {show(supply.amps, 'A', 3)}"
            for name, supply in prediction.state.supplies.items()]
    count = len(prediction.warnings)
    if count:
        said.append(f"{count} warning{'s' if count > 1 else ''}, see the page")
    return textwrap.wrap("; ".join(said), _HEADING_WIDTH)


def _spectrum(axes: "Axes", prediction: Prediction) -> None:
    state = prediction.state
    description, wanted = state.description, state.description.wanted_harmonic
    harmonics = np.arange(1, state.lines + 1)
    levels = np.array([state.output_dbm(int(k)) for k in harmonics])
    shown = levels > LOWEST_DBM
    loss = state.conversion_loss_db
    axes.set_title(f"{show(description.drive.power_dbm, 'dBm')} at {show(description.drive.frequency, 'Hz', 7)} into "
                   f"port {description.drive.port}; conversion {'gain' if loss < 0 else 'loss'} {abs(loss):.1f} dB, "
                   f"input return loss {state.input_return_loss_db:.1f} dB")
    frequency, unit = scaled(state.frequency[harmonics], "Hz")
    below = [] if shown.all() else [f"lines below {LOWEST_DBM:.0f} dBm are left out"]
    remark = [f"dashed: {UNSURE}"] if (shown & prediction.unsure[1:]).any() else []
    axes.set(xlabel="\n".join(["; ".join([f"frequency / {unit}", f"thick: wanted, {_name(wanted)}", *below]), *remark]),
             ylabel=f"at port {description.wanted_port} / dBm")
    if not shown.any():
        axes.text(0.5, 0.5, f"nothing above {LOWEST_DBM:.0f} dBm", transform=axes.transAxes, ha="center")
        return
    top = np.ceil(levels[shown].max() / 10) * 10 + 10
    bottom = max(np.floor(levels[shown].min() / 10) * 10 - 10, LOWEST_DBM)
    last = int(harmonics[shown].max())
    step = 1
    while last > _MOST_TICKS * step:
        step *= 2
    for k, f, level in zip(harmonics[shown], frequency[shown], levels[shown]):
        unsure = prediction.unsure[k]
        colour, width = (LINES[1][0], 3.0) if k == wanted else (PALE if unsure else INK, 1.5)
        axes.plot([f, f], [level, bottom], color=colour, linewidth=width, linestyle=(0, (2, 1)) if unsure else "-",
                  solid_capstyle="butt")
        # where lines stand close, only a sure one that towers over its neighbours has room for a figure
        towers = abs(k - wanted) > step and not unsure and level >= levels[max(0, k - 1 - step):k + step].max()
        if k == wanted or step == 1 or towers:
            axes.annotate(f"{level:.1f}", (f, level), xytext=(0, 3), textcoords="offset points", ha="center",
                          fontsize=7.5, color=colour, fontweight="bold" if k == wanted else "normal")
    ticks = harmonics[step - 1:last:step]
    axes.set_xticks(frequency[ticks - 1], [f"{_name(k)}\n{f:.5g}" for k, f in zip(ticks, frequency[ticks - 1])],
                    fontsize=7.5)
    axes.grid(False, axis="x")
    axes.set(ylim=(bottom, top), xlim=(0, frequency[last - 1] + frequency[0]))


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
    _limits(axes, device, volts, amps)


def _limits(axes: "Axes", device: DeviceState, volts: str, amps: str) -> None:
    """Dashed lines at the limits of voltage and current, where these are in or near what is drawn."""
    across, up = axes.get_xlim(), axes.get_ylim()
    for values, unit, (low, high), meanings, draw in (
            (device.voltage_waveform(device.main_pin), volts, across, _VOLTAGE_LIMITS, axes.axvline),
            (device.current_waveform(device.main_pin), amps, up, _CURRENT_LIMITS, axes.axhline)):
        for rating in (r for r in device.ratings if r.meaning in meanings and r.limit is not None):
            # the rating counts in the direction of normal operation, for a PNP the negative one
            sign = 1.0 if np.isclose(values.max(), rating.value) else -1.0
            limit = sign * rating.limit / PREFIXES.get(unit.removesuffix(rating.unit), 1.0)
            if not low - _NEAR * (high - low) < limit < high + _NEAR * (high - low):
                continue
            draw(limit, color=INK, linewidth=0.9, linestyle=_DASHES)
            upright = draw == axes.axvline
            axes.annotate(f"limit {show(rating.limit, rating.unit, 3)}", (limit, 0.5) if upright else (0.5, limit),
                          xycoords=axes.get_xaxis_transform() if upright else axes.get_yaxis_transform(),
                          xytext=(-3, 0) if upright else (0, -3), textcoords="offset points", fontsize=8,
                          rotation=90 if upright else 0, ha="right" if upright else "center",
                          va="center" if upright else "top",
                          bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.8})


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
    _mark_most(rows[0], x, table[table.wanted].ravel())
    _mark_most(rows[1], x, table["input_return_loss_db"].ravel())
    notes.append("circles: most output, best match")
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
    rows[0].set_title(textwrap.fill("; ".join(notes), 90))
    return figure


def _mark_most(axes: "Axes", x: np.ndarray, y: np.ndarray) -> None:
    """A circle with its value at the highest point of a curve, unless it is at an end."""
    if not np.isfinite(y).any():
        return
    most = int(np.nanargmax(_finite(y)))
    if 0 < most < len(y) - 1:
        axes.plot(x[most], y[most], "o", markerfacecolor="white", markeredgecolor=INK, markersize=6, zorder=5)
        axes.annotate(f"{y[most]:.1f} at {x[most]:.3g}", (x[most], y[most]), xytext=(0, 7), textcoords="offset points",
                      ha="center", fontsize=8)
        axes.margins(y=0.18)


def _levels(axes: "Axes", table: SweepTable, x: np.ndarray, marker: str | None) -> None:
    """Output at f0, 2 f0, 3 f0 and the wanted harmonic, each labelled at its end."""
    ends = []
    wanted = table.wanted_harmonic
    for k, (colour, dash) in zip((k for k in sorted({1, 2, 3, wanted}) if k <= table.lines), LINES):
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
