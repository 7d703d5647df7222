"""Picture of a power budget: who gives and who takes, in all and at each harmonic, and the way to the output."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from ..quantities import show
from ..studies.budget import Budget
from ..studies.budget_figures import Bar, Share, bars
from .budget_page import others_who_give, step_sentence
from .style import INK, LINES, PALE, harmonic_name, heading, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SHADES = ("#d9e6ef", "#b3cfe3", "#8fb7d6", "#c9d6cf", "#e8d9c9", "#d6c4dc", "#e3e3e3", "#f2f2f2")
_LETTERS = 0.92  # that fit into a percent of a bar
_LONGEST = 70  # letters of a sentence on the way


def budget_figure(budget: Budget) -> "Figure":
    """Bars of what is given (above) and taken (below), in percent of each; below them the way to the wanted port."""
    told = bars(budget)
    steps = [] if budget.path is None else list(budget.path.steps)
    figure = new_figure(8.6, 1.2 + 0.95 * len(told) + 0.34 * max(len(steps), 1) + 0.8)
    top, bottom = figure.subplots(2, 1, height_ratios=(0.95 * len(told), 0.34 * max(len(steps), 1) + 0.6))
    drive = budget.state.description.drive
    heading(figure, f"{budget.state.description.title}\npower budget with {show(drive.power_dbm, 'dBm')} at "
                    f"{show(drive.frequency, 'Hz', 6)}")
    for row, bar in enumerate(told):
        _bar(top, len(told) - 1 - row, bar)
    top.set(xlim=(0, 100), ylim=(-0.55, len(told) - 0.35), xlabel="percent of what is given there")
    top.set_yticks([len(told) - 1 - row for row in range(len(told))],
                   [f"{bar.name}\n{show(bar.watts, 'W', 3)}" for bar in told])
    top.set_title("upper half: who gives; lower half: who takes; pieces too narrow for a name are in --json")
    top.grid(False)
    _way(bottom, budget, steps)
    return figure


def _bar(axes: "Axes", y: int, bar: Bar) -> None:
    for shares, low in ((bar.givers, 0.02), (bar.takers, -0.4)):
        left = 0.0
        for number, share in enumerate(shares):
            axes.barh(y + low, share.percent, height=0.36, left=left, align="edge", edgecolor=INK, linewidth=0.6,
                      color=_SHADES[number % len(_SHADES)])
            axes.text(left + share.percent / 2.0, y + low + 0.18, _name(share), ha="center", va="center", fontsize=7,
                      linespacing=0.95)
            left += share.percent


def _name(share: Share) -> str:
    """Name and percent, on one line or two, the name alone, or nothing, as the piece has room."""
    room = int(_LETTERS * share.percent)
    figure = f"{share.percent:.0f} %"
    tries = (f"{share.name} {figure}", f"{share.name}\n{figure}", share.name, "\n".join(share.name.split(" ", 1)),
             share.name.replace(", ", "\n", 1))
    return next((text for text in tries if max(map(len, text.split("\n"))) <= room), "")


def _way(axes: "Axes", budget: Budget, steps: list) -> None:
    """The decibels lost step by step on the way to the port, each with its sentence."""
    path = budget.path
    if path is None:
        axes.axis("off")
        axes.text(0.0, 0.5, "no way of the power to the wanted port is found", transform=axes.transAxes, fontsize=8)
        return
    lost = 0.0
    for row, step in enumerate(steps):
        y = len(steps) - 1 - row
        low, high = sorted((lost, lost + step.loss_db))
        colour = LINES[1][0] if step.loss_db >= 0 else LINES[2][0]
        axes.barh(y, max(high - low, 1e-3), left=low, height=0.6, color=colour)
        sentence = textwrap.shorten(step_sentence(budget, step), _LONGEST)
        axes.text(high, y, f"  {step.loss_db:.2f} dB  {sentence}", va="center", fontsize=7)
        lost += step.loss_db
    reached = [0.0, *(sum(s.loss_db for s in steps[:n + 1]) for n in range(len(steps)))]
    low, span = min(reached), max(max(reached) - min(reached), 0.1)
    axes.set(ylim=(-0.6, len(steps) - 0.4), xlim=(low, low + 2.4 * span), yticks=(),
             xlabel="decibels lost on the way")
    axes.set_title(f"from {' and '.join(path.origin)} to port {path.port} at {harmonic_name(path.harmonic)}: "
                   f"{abs(path.loss_db):.2f} dB {'lost' if path.loss_db >= 0 else 'gained'}, "
                   f"{show(path.given, 'W', 4)} to {show(path.delivered, 'W', 4)}"
                   f"{others_who_give(budget).replace('; ', chr(10), 1)}")
    axes.grid(True, axis="x", color=PALE, linewidth=0.3)
