"""A sweep along one quantity in curves: output lines, input return loss and, along the drive, the slope."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from ..balance.accuracy import tolerance_words
from ..quantities import show
from ..studies.axis import by_ratio
from ..studies.branches import Branch, Jump, between_the_jumps, branches, jumps, slope_of, unsettled_others
from ..studies.compression import Compression
from ..studies.table import SweepTable
from ..studies.turning import DOWN, UP
from .style import (DOTS, INK, LINES, LOWEST_DBM, PALE, axis_label, harmonic_name, heading, label_lines, log_axis,
                    new_figure, scaled)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST_MARKS = 10  # triangles or dots along a stretch
_MARKS = {UP: "^", DOWN: "v"}
_NOTE_WIDTH = 90


def curves(table: SweepTable, found: Compression | None) -> "Figure":
    """The picture of a sweep along one quantity; a second quantity may have a single value."""
    address = max(table.axes, key=lambda a: len(table.axes[a]))
    values = table.axes[address]
    x, unit = scaled(values, table.units[address])
    drive = address == "drive.power" and len(x) > 1
    figure = new_figure(7.5, 7.4 if drive else 5.6)
    rows = figure.subplots(3 if drive else 2, 1, sharex=True, height_ratios=(2.2, 1, 1)[:3 if drive else 2])
    others = ", ".join(f"{a} = {show(float(v[0]), table.units[a], 6)}" for a, v in table.axes.items() if a != address)
    heading(figure, f"{table.title} at {others}" if others else table.title)
    drawn = _Curve(table, x)
    _levels(rows[0], drawn)
    notes = [_law(rows[0], found, values)] if found is not None else []
    drawn.draw(rows[1], "input_return_loss_db", color=INK)
    rows[1].set_ylabel("input return\nloss / dB")
    if drive:
        _slope(rows[2], drawn)
    _mark_most(rows[0], drawn, table.wanted)
    _mark_most(rows[1], drawn, "input_return_loss_db")
    notes.append("circles: most output, best match")
    notes += _jumps(rows, drawn) + _unsettled(rows[0], table, x) + _unsolved(rows, table, x)
    rows[-1].set_xlabel(axis_label(address, unit))
    if by_ratio(values, table.units[address]):
        log_axis(rows[-1].xaxis, x)
    rows[0].set_title(textwrap.fill("; ".join(notes), _NOTE_WIDTH))
    return figure


class _Curve:
    """The stretches of a swept curve, and how any column is drawn along them."""

    def __init__(self, table: SweepTable, x: np.ndarray) -> None:
        self.table, self.x = table, x
        self.branches, (self.between, self.rows) = branches(table), between_the_jumps(table)
        self.others = table.others is not None and len(table.others.points) > 0
        self.jumps = jumps(table, self.branches)

    def draw(self, axes: "Axes", column: str, lowest: float = -np.inf, **look: object) -> None:
        """Stretches as lines; where there is more than one state, triangles on the two that are met, dots between."""
        for branch in self.branches:
            y = _above(branch.column(self.table, column), lowest)
            axes.plot(self.x[branch.points], y, **look, marker="o" if len(self.x) < 3 else None)
        for branch in self.branches:
            self.mark(axes, branch, _above(branch.column(self.table, column), lowest), look["color"])
        if len(self.rows):
            y = _above(self.table.others.columns[column][self.rows], lowest)
            axes.plot(self.x[self.between], y, ".", color=look["color"], markersize=3)

    def mark(self, axes: "Axes", branch: Branch, y: np.ndarray, colour: object) -> None:
        """Triangles along a stretch where the state depends on the way the drive is turned."""
        for way, marker in _MARKS.items():
            at = np.flatnonzero(branch.turned == way)
            at = at[::max(1, -(-len(at) // _MOST_MARKS))]
            if len(at):
                axes.plot(self.x[branch.points[at]], y[at], marker, color=colour, markersize=5, markeredgewidth=0)


def _above(values: np.ndarray, lowest: float = -np.inf) -> np.ndarray:
    return np.where(np.isfinite(values) & (values >= lowest), values, np.nan)


def _levels(axes: "Axes", drawn: _Curve) -> None:
    """Output at f0, 2 f0, 3 f0 and the wanted harmonic, each labelled at its end."""
    ends = []
    table, x = drawn.table, drawn.x
    wanted = table.wanted_harmonic
    for k, (colour, dash) in zip((k for k in sorted({1, 2, 3, wanted}) if k <= table.lines), LINES):
        column = f"output_dbm_{k}"
        drawn.draw(axes, column, LOWEST_DBM, color=colour, linestyle=dash, linewidth=2.2 if k == wanted else 1.3)
        y = _above(table.columns[column], LOWEST_DBM)
        good = np.flatnonzero(np.isfinite(y))
        if len(good):
            ends.append((x[good[-1]], y[good[-1]], harmonic_name(k) + (" (wanted)" if k == wanted else ""), colour))
    axes.set_ylabel("output / dBm")
    label_lines(axes, ends)


def _slope(axes: "Axes", drawn: _Curve) -> None:
    """How many dB the wanted output rises for one of drive, stretch by stretch: across a jump there is no slope."""
    table = drawn.table
    for branch in drawn.branches:
        if len(branch.points) < 2:
            continue
        slope = slope_of(table, branch)
        axes.plot(drawn.x[branch.points], slope, color=LINES[1][0])
        drawn.mark(axes, branch, slope, LINES[1][0])
    axes.axhline(table.wanted_harmonic, color=PALE, linewidth=1.0, linestyle=DOTS)
    axes.set_ylabel(f"slope at {harmonic_name(table.wanted_harmonic)}\n/ dB per dB")


def _mark_most(axes: "Axes", drawn: _Curve, column: str) -> None:
    """A circle with its value at the highest state that the sweep meets, unless that is at an end of what is known."""
    points = np.concatenate([branch.points for branch in drawn.branches])
    y = _above(np.concatenate([branch.column(drawn.table, column) for branch in drawn.branches]))
    if not np.isfinite(y).any():
        return
    most, known = int(np.nanargmax(y)), points[np.isfinite(y)]
    if known.min() < points[most] < known.max():
        place = (drawn.x[points[most]], y[most])
        axes.plot(*place, "o", markerfacecolor="white", markeredgecolor=INK, markersize=6, zorder=5)
        axes.annotate(f"{place[1]:.1f} at {place[0]:.4g}", place, xytext=(0, 7), textcoords="offset points",
                      ha="center", fontsize=8)
        axes.margins(y=0.18)


def _law(axes: "Axes", found: Compression, drive: np.ndarray) -> str:
    """Draw the power-law line and the point 1 dB below it; the words for both."""
    limits = axes.get_ylim()
    axes.plot(drive, found.line(drive), color=PALE, linewidth=1.0, linestyle=DOTS)
    axes.set_ylim(limits)
    words = f"dotted: {found.order} dB per dB"
    if found.drive_dbm is None or not drive.min() <= found.drive_dbm <= drive.max():
        return words
    axes.plot(found.drive_dbm, found.output_dbm, "s", color=INK, markersize=5)
    return f"{words}; square: 1 dB below it, {found.output_dbm:.1f} dBm at {found.drive_dbm:.1f} dBm of drive"


def _jumps(rows: np.ndarray, drawn: _Curve) -> list[str]:
    """A thin upright line at each jump, an arrow along it at the wanted output and the return loss; the words."""
    if not drawn.others:
        return []
    table, words = drawn.table, ["triangles: the state as the drive is turned up or down"]
    if len(drawn.rows):
        words.append("dots: states between, not reached by turning the drive")
    for jump in drawn.jumps:
        for axes in rows:
            axes.axvline(jump.drive_dbm, color=INK, linewidth=0.6, linestyle=DOTS, zorder=1)
        for axes, column in zip(rows, (table.wanted, "input_return_loss_db")):
            _arrow(axes, jump, jump.ends(table, column))
    for way, levels in (("up", table.others.jumps_up_dbm), ("down", table.others.jumps_down_dbm)):
        if levels:
            words.append(f"jumps {way} at {', '.join(f'{level:.2f}' for level in sorted(levels))} dBm")
    return words


def _arrow(axes: "Axes", jump: Jump, ends: tuple[float, float]) -> None:
    if np.isfinite(ends).all():
        axes.annotate("", (jump.drive_dbm, ends[1]), (jump.drive_dbm, ends[0]),
                      arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 1.0, "shrinkA": 0, "shrinkB": 0,
                                  "mutation_scale": 9})


def _unsettled(axes: "Axes", table: SweepTable, x: np.ndarray) -> list[str]:
    """Ticks at the foot of a panel where a line is less sure than was asked for; the words."""
    points = np.flatnonzero(table.unsettled)
    if table.others is not None:
        points = np.union1d(points, table.others.points[unsettled_others(table)])
    if not len(points):
        return []
    axes.plot(x[points], np.full(len(points), 0.02), "|", color=INK, markersize=7, markeredgewidth=0.8, clip_on=False,
              transform=axes.get_xaxis_transform())
    return [f"ticks at the foot: less sure than {tolerance_words(table.accuracy)}"]


def _unsolved(rows: np.ndarray, table: SweepTable, x: np.ndarray) -> list[str]:
    bad = x[~table.solved.ravel()]
    for axes in rows:
        for place in bad:
            axes.axvline(place, color=PALE, linewidth=3, alpha=0.4)
    return [f"grey: {len(bad)} of {len(x)} points not solved"] if len(bad) else []
