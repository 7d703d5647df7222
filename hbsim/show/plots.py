"""Pictures of a prediction and of a sweep; every number in them is read from the state or the table."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from ..balance.accuracy import tolerance_words
from ..errors import Refusal
from ..quantities import show
from ..studies.axis import by_ratio
from ..studies.compression import Compression
from ..studies.prediction import UNSURE, Prediction
from ..studies.table import SweepTable
from .device_panels import draw_devices
from .style import (INK, LINES, LOWEST_DBM, PALE, STEM, axis_label, harmonic_name, heading, log_axis, new_figure,
                    scaled)
from .sweep_curves import curves

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_HEADING_WIDTH = 100
_MAP_HEADING_WIDTH = 110
_MOST_TICKS = 16  # labels that fit side by side under a spectrum


def prediction_figure(prediction: Prediction) -> "Figure":
    """Spectrum at the output; voltage, current and load line of the devices, at most four of them."""
    state = prediction.state
    figure = new_figure(8.0, 7.2 if state.devices else 3.6)
    grid = figure.add_gridspec(3 if state.devices else 1, 2, width_ratios=(1.25, 1))
    _spectrum(figure.add_subplot(grid[0, :]), prediction)
    heading(figure, "\n".join([state.description.title, *_subtitle(prediction)]))
    if state.devices:
        draw_devices(figure.add_subplot(grid[1, 0]), figure.add_subplot(grid[2, 0]), figure.add_subplot(grid[1:, 1]),
                     state)
    return figure


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
    told = "; ".join([f"frequency / {unit}", f"thick: wanted, {harmonic_name(wanted)}", *below])
    axes.set(xlabel="\n".join([told, *remark]),
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
                  solid_capstyle="butt", gid=STEM)
        # where lines stand close, only a sure one that towers over its neighbours has room for a figure
        towers = abs(k - wanted) > step and not unsure and level >= levels[max(0, k - 1 - step):k + step].max()
        if k == wanted or step == 1 or towers:
            axes.annotate(f"{level:.1f}", (f, level), xytext=(0, 3), textcoords="offset points", ha="center",
                          fontsize=7.5, color=colour, fontweight="bold" if k == wanted else "normal")
    ticks = harmonics[step - 1:last:step]
    axes.set_xticks(frequency[ticks - 1], [f"{harmonic_name(k)}\n{f:.5g}" for k, f in zip(ticks, frequency[ticks - 1])],
                    fontsize=7.5)
    axes.grid(False, axis="x")
    axes.set(ylim=(bottom, top), xlim=(0, frequency[last - 1] + frequency[0]))


def sweep_figure(table: SweepTable, found: Compression | None = None) -> "Figure":
    """Curves for one quantity, maps for two; raises Refusal for more."""
    if len(table.axes) > 2:
        raise Refusal(f"a sweep of {len(table.axes)} quantities has no picture; vary one or two, or use --csv")
    if len(table.axes) == 2 and min(table.shape) > 1:
        return _maps(table)
    return curves(table, found)


def _maps(table: SweepTable) -> "Figure":
    (first, second) = table.axes
    (y, y_unit), (x, x_unit) = (scaled(table[a], table.units[a]) for a in (first, second))
    figure = new_figure(10.0, 4.4)
    panels = ((table.wanted, f"output at {harmonic_name(table.wanted_harmonic)} / dBm", "most output"),
              ("input_return_loss_db", "input return loss / dB", "best match"))
    for axes, (column, title, best) in zip(figure.subplots(1, 2, sharey=True), panels):
        z = np.ma.masked_invalid(np.where(table[column] > LOWEST_DBM, table[column], np.nan))
        axes.set_facecolor("#dddddd")
        axes.grid(False)
        axes.set(xlabel=axis_label(second, x_unit), title=f"{title}; cross: {best}")
        for name, axis, ticks in ((second, axes.xaxis, x), (first, axes.yaxis, y)):
            if by_ratio(table[name], table.units[name]):
                log_axis(axis, ticks)
        if z.count():
            _map(figure, axes, x, y, z)
            if column == table.wanted and table.unsettled.any():
                _dots(axes, x, y, table.unsettled.reshape(table.shape))
    figure.axes[0].set_ylabel(axis_label(first, y_unit))
    said, unsolved = [table.title], int((~table.solved).sum())
    if unsolved:
        said.append(f"grey: {unsolved} of {table.solved.size} points not solved")
    if table.unsettled.any():
        said.append(f"dots: less sure than {tolerance_words(table.accuracy)}")
    heading(figure, textwrap.fill("; ".join(said), _MAP_HEADING_WIDTH))
    return figure


def _map(figure: "Figure", axes: "Axes", x: np.ndarray, y: np.ndarray, z: np.ma.MaskedArray) -> None:
    """Filled contours at round levels, each line with its value, and a cross at the highest point."""
    from matplotlib.ticker import MaxNLocator
    levels = MaxNLocator(12).tick_values(float(z.min()), max(float(z.max()), float(z.min()) + 1e-3))
    filled = axes.contourf(x, y, z, levels=levels, cmap="cividis")
    dark = levels < levels.mean()
    lines = axes.contour(x, y, z, levels=levels, colors=["white" if d else INK for d in dark], linewidths=0.6,
                         linestyles="solid")
    axes.clabel(lines, levels=levels[::2], fmt="%g", fontsize=7.5)
    figure.colorbar(filled, ax=axes, ticks=levels[::2])
    row, column = np.unravel_index(int(np.argmax(z)), z.shape)
    for colour, size, width in (("white", 9, 3.0), (INK, 8, 1.4)):
        axes.plot(x[column], y[row], "x", color=colour, markersize=size, markeredgewidth=width, clip_on=False, zorder=5)


def _dots(axes: "Axes", x: np.ndarray, y: np.ndarray, where: np.ndarray) -> None:
    """A dot, light with a dark edge so that it shows on any ground, at each point that is less sure."""
    row, column = np.nonzero(where)
    axes.plot(x[column], y[row], "o", markerfacecolor="white", markeredgecolor=INK, markersize=2.5,
              markeredgewidth=0.5, linestyle="none", clip_on=False)
