"""Pictures of a prediction and of a sweep."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..errors import Refusal
from ..quantities import show
from ..studies.compression import Compression
from ..studies.prediction import Prediction
from ..studies.sweep import SweepTable
from .style import INK, LINES, PALE, label_lines, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOWEST_DBM = -100.0  # lines below this are left out of pictures


def prediction_figure(prediction: Prediction) -> "Figure":
    """Spectrum at the output; voltage, current and load line of the first device."""
    state = prediction.state
    figure = new_figure(8.0, 7.2)
    grid = figure.add_gridspec(3, 2, height_ratios=(1.35, 1, 1), width_ratios=(1.25, 1))
    _spectrum(figure.add_subplot(grid[0, :]), prediction)
    figure.suptitle(state.description.title, x=0.01, ha="left", fontsize=10)
    if state.devices:
        name, device = next(iter(state.devices.items()))
        pin, common = device.main_pin, device.common
        voltage, current = device.voltage_waveform(pin), 1e3 * device.current_waveform(pin)
        time = np.linspace(0, 2, 2 * len(voltage) + 1) / state.description.drive.frequency * 1e9
        top = figure.add_subplot(grid[1, 0])
        top.plot(time, np.append(np.tile(voltage, 2), voltage[0]), color=LINES[0][0])
        top.set_title(f"{name}: {pin} against {common}, and current into the {pin} pin, two periods of the drive")
        top.set_ylabel("voltage / V")
        top.tick_params(labelbottom=False)
        low = figure.add_subplot(grid[2, 0], sharex=top)
        low.plot(time, np.append(np.tile(current, 2), current[0]), color=LINES[1][0])
        low.set(xlabel="time / ns", ylabel="current / mA", xlim=(0, time[-1]))
        _load_line(figure.add_subplot(grid[1:, 1]), voltage, current, pin, common, name)
    return figure


def _spectrum(axes: "Axes", prediction: Prediction) -> None:
    state = prediction.state
    wanted = state.description.wanted_harmonic
    harmonics = np.arange(1, state.system.harmonics + 1)
    levels = np.array([state.output_dbm(int(k)) for k in harmonics])
    shown = levels > LOWEST_DBM
    if not shown.any():
        axes.text(0.5, 0.5, f"no line above {LOWEST_DBM:.0f} dBm", transform=axes.transAxes, ha="center")
        return
    top = np.ceil(levels[shown].max() / 10) * 10 + 10
    bottom = max(np.floor(levels[shown].min() / 10) * 10 - 10, LOWEST_DBM)
    frequency = state.frequency[harmonics] / 1e9
    for k, f, level in zip(harmonics[shown], frequency[shown], levels[shown]):
        colour, width = (LINES[1][0], 3.0) if k == wanted else (INK, 1.5)
        axes.plot([f, f], [bottom, level], color=colour, linewidth=width, solid_capstyle="butt")
        label = f"{level:.1f} dBm" if k == wanted else f"{level:.1f}"
        axes.annotate(label, (f, level), xytext=(0, 3), textcoords="offset points", ha="center", fontsize=7.5,
                      color=colour, fontweight="bold" if k == wanted else "normal")
    spacing = frequency[0]
    axes.set(xlabel="frequency / GHz", ylabel="level / dBm", ylim=(bottom, top),
             xlim=(0, frequency[shown].max() + spacing))
    axes.set_title(f"Port {state.description.wanted_port}, {state.description.drive.power_dbm:g} dBm at "
                   f"{show(state.description.drive.frequency, 'Hz', 7)} in; wanted: harmonic {wanted} (thick); "
                   f"return loss {state.input_return_loss_db:.1f} dB")


def _load_line(axes: "Axes", voltage: np.ndarray, current: np.ndarray, pin: str, common: str, name: str) -> None:
    axes.plot(np.append(voltage, voltage[0]), np.append(current, current[0]), color=LINES[0][0])
    for share in (0.125, 0.625):
        at = int(share * len(voltage))
        axes.annotate("", (voltage[at + 4], current[at + 4]), (voltage[at], current[at]),
                      arrowprops={"arrowstyle": "-|>", "color": LINES[0][0]})
    axes.plot(voltage.mean(), current.mean(), "o", color=INK, markersize=5)
    axes.annotate("average", (voltage.mean(), current.mean()), xytext=(6, 6), textcoords="offset points", fontsize=8)
    axes.set(xlabel=f"{pin} to {common} voltage / V", ylabel=f"current into the {pin} pin / mA")
    axes.set_title(f"{name}: load line, direction of time marked")


def sweep_figure(table: SweepTable, found: Compression | None = None) -> "Figure":
    """One axis: curves. Two axes: maps. Raises Refusal for more."""
    if len(table.axes) == 1:
        return _curves(table, found)
    if len(table.axes) == 2:
        return _maps(table)
    raise Refusal(f"a sweep of {len(table.axes)} quantities has no picture; vary one or two for --plot, or use --csv")


def _scaled(values: np.ndarray, unit: str) -> tuple[np.ndarray, str]:
    """Values and unit with a prefix that suits the largest of them."""
    if unit in ("dBm", "dB", "deg", "1", "eV", "K/W", "S/m"):
        return values, "" if unit == "1" else f" / {unit}"
    if unit == "K":
        return values - 273.15, " / degC"
    largest = float(np.abs(values).max())
    if largest == 0:
        return values, f" / {unit}"
    text = show(largest, unit, 15)
    return values / (largest / float(text.split(" ")[0])), f" / {text.split(' ')[1]}"


def _harmonics_shown(table: SweepTable) -> list[int]:
    return [k for k in sorted({1, 2, 3, table.wanted_harmonic}) if k <= table.harmonics]


def _curves(table: SweepTable, found: Compression | None) -> "Figure":
    (address, values), = table.axes.items()
    unit = table.units[address]
    x, unit_text = _scaled(values, unit)
    drive = address == "drive.power"
    figure = new_figure(7.5, 7.4 if drive else 6.0)
    rows = figure.subplots(3 if drive else 2, 1, sharex=True, height_ratios=(2.2, 1, 1)[:3 if drive else 2])
    levels = rows[0]
    ends = []
    lowest = np.inf
    for k, (colour, dash) in zip(_harmonics_shown(table), LINES):
        y = np.where(np.isfinite(table[f"output_dbm_{k}"]), table[f"output_dbm_{k}"], np.nan)
        y = np.where(y > LOWEST_DBM, y, np.nan)
        thick = 2.2 if k == table.wanted_harmonic else 1.3
        levels.plot(x, y, color=colour, linestyle=dash, linewidth=thick,
                    marker="o" if len(x) < 3 else None)
        good = np.flatnonzero(np.isfinite(y))
        if len(good):
            lowest = min(lowest, np.nanmin(y))
            name = "f0" if k == 1 else f"{k} f0"
            ends.append((x[good[-1]], y[good[-1]], name + (" (wanted)" if k == table.wanted_harmonic else ""), colour))
    if found is not None:
        limits = levels.get_ylim()
        levels.plot(x, found.line(values), color=PALE, linewidth=1.0, linestyle=(0, (1, 1.5)))
        levels.set_ylim(limits)
        if found.drive_dbm is not None:
            levels.plot(found.drive_dbm, found.output_dbm, "s", color=INK, markersize=5)
            levels.annotate(f"1 dB below the {found.order} dB/dB line: {found.drive_dbm:.1f} dBm in",
                            (found.drive_dbm, found.output_dbm), xytext=(-8, 10), textcoords="offset points",
                            ha="right", fontsize=8)
    levels.set_ylabel(f"output / dBm")
    levels.set_title(table.title)
    label_lines(levels, ends)
    loss = rows[1]
    loss.plot(x, _finite(table["input_return_loss_db"]), color=INK)
    loss.set_ylabel("input return\nloss / dB")
    if drive:
        slope = rows[2]
        y = _finite(table[f"output_dbm_{table.wanted_harmonic}"])
        if len(x) > 1:
            slope.plot(x, np.gradient(y, values), color=LINES[1][0])
        slope.axhline(table.wanted_harmonic, color=PALE, linewidth=1.0, linestyle=(0, (1, 1.5)))
        slope.set_ylabel(f"slope at {table.wanted_harmonic} f0\n/ dB per dB")
    rows[-1].set_xlabel(f"{address}{unit_text}")
    unsolved = ~table.solved
    if unsolved.any():
        for x_bad in x[unsolved]:
            levels.axvline(x_bad, color=PALE, linewidth=3, alpha=0.4)
        levels.annotate(f"grey: {int(unsolved.sum())} points unsolved", (0.01, 0.02), xycoords="axes fraction",
                        fontsize=8)
    return figure


def _finite(values: np.ndarray) -> np.ndarray:
    return np.where(np.isfinite(values), values, np.nan)


def _maps(table: SweepTable) -> "Figure":
    (first, rows), (second, columns) = table.axes.items()
    y, y_unit = _scaled(rows, table.units[first])
    x, x_unit = _scaled(columns, table.units[second])
    if len(x) < 2 or len(y) < 2:
        raise Refusal("a map needs at least two values of each quantity; vary one quantity for curves")
    figure = new_figure(10.5, 4.6)
    wanted = table.wanted_harmonic
    panels = ((f"output_dbm_{wanted}", f"output at {wanted} f0 / dBm"), ("input_return_loss_db",
                                                                         "input return loss / dB"))
    for axes, (column, title) in zip(figure.subplots(1, 2, sharey=True), panels):
        z = np.ma.masked_invalid(np.where(table[column] > LOWEST_DBM, table[column], np.nan))
        axes.set_facecolor("#eeeeee")
        if z.count():
            span = float(z.max() - z.min())
            steps = np.linspace(float(z.min()), float(z.max()), 13) if span > 0 else [float(z.min()), z.min() + 1]
            filled = axes.contourf(x, y, z, levels=steps, cmap="cividis")
            lines = axes.contour(x, y, z, levels=steps[::2], colors="white", linewidths=0.6)
            axes.clabel(lines, fmt="%.1f", fontsize=7)
            figure.colorbar(filled, ax=axes, format="%.1f")
            if column.startswith("output"):
                at = np.unravel_index(int(np.argmax(z)), z.shape)
                axes.plot(x[at[1]], y[at[0]], "x", color="white", markersize=9, markeredgewidth=2.5)
                axes.plot(x[at[1]], y[at[0]], "x", color=INK, markersize=8, markeredgewidth=1.2)
        axes.set(xlabel=f"{second}{x_unit}", title=title)
        axes.grid(False)
    figure.axes[0].set_ylabel(f"{first}{y_unit}")
    figure.suptitle(f"{table.title} (cross: most output on this grid; grey: unsolved)", x=0.01, ha="left", fontsize=9)
    return figure
