"""Pictures of `hbsim terminations`: contours on two Smith charts; output and match against the distance of a stub."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from ..quantities import show
from ..studies.contours import match_levels, output_levels
from ..studies.stub_distance import StubDistance
from ..studies.terminations import Surface, Terminations
from .smith import Mark, mark_points, smith_chart
from .style import DOTS, INK, LINES, PALE, harmonic_name, heading, label_lines, new_figure
from .terminations_page import definition, return_loss

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_HEADING_WIDTH = 118
_SHADES = ("#ffffff", "#9cc3dd")  # from the lowest to the highest: light, so that lines and letters stand out in grey
_FEWEST_DB = 0.02  # a surface that moves by less than this has no contours worth drawing


def terminations_figure(found: Terminations) -> "Figure":
    """Contours of output, left, and of input return loss, right, over the termination."""
    figure = new_figure(8.8, 5.2)
    left, right = figure.subplots(1, 2)
    where = found.plane
    levels, below = output_levels(found)
    names = {level: f"\N{MINUS SIGN}{step:.3g}" for level, step in zip(levels, below)}
    wanted = harmonic_name(where.description.wanted_harmonic)
    _chart(left, found, found.output, levels, names, [
        Mark(found.best.reflection, f"most: {found.best.output_dbm:.2f} dBm", LINES[1][0], "s"),
        Mark(found.present.reflection, f"as it is: {found.present.output_dbm:.2f} dBm", INK, "o")])
    left.set_title(f"output at {wanted}: dB below the most")
    losses = match_levels(found)
    place, level = found.match.highest
    _chart(right, found, found.match, losses, {level: f"{level:g}" for level in losses}, [
        Mark(found.present.reflection, f"as it is: {return_loss(found.present.input_return_loss_db)} dB", INK, "o"),
        Mark(place, f"best: {return_loss(level)} dB", LINES[1][0], "s")])
    right.set_title("input return loss / dB")
    said = (f"termination of {where.pin} at {harmonic_name(where.harmonic)} ({show(where.frequency, 'Hz', 6)}), "
            f"impedances in ohm; {definition(found)}")
    heading(figure, "\n".join([where.description.title, *textwrap.wrap(said, _HEADING_WIDTH)]))
    return figure


def _chart(axes: "Axes", found: Terminations, surface: Surface, levels: list[float], names: dict[float, str],
           marks: list[Mark]) -> None:
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.patches import Circle
    smith_chart(axes, found.plane.reference)
    values = np.ma.masked_invalid(surface.values)
    busy = []
    low, high = float(values.min()), float(values.max())
    if high - low > _FEWEST_DB and levels:
        shades = LinearSegmentedColormap.from_list("house", _SHADES)
        reach = Circle((0.0, 0.0), found.reach, transform=axes.transData)
        axes.contourf(surface.x, surface.y, values, [low - 1.0, *levels, high + 1.0], cmap=shades,
                      zorder=1.0).set_clip_path(reach)
        radius = np.hypot(*np.meshgrid(surface.x, surface.y))
        # lines are cut just outside the circle, or their names would be written out there
        cut = np.ma.masked_where(radius > found.reach + (surface.x[1] - surface.x[0]), values)
        lines = axes.contour(surface.x, surface.y, cut, levels, colors=INK, linewidths=0.9, linestyles="-",
                             zorder=2.0)
        lines.set_clip_path(reach)
        for text in axes.clabel(lines, fmt=names, fontsize=7.5, inline=True, inline_spacing=2):
            busy.append(np.array([complex(*text.get_position())]))
    else:
        axes.annotate("all but the same everywhere", (0.5, -0.02), xycoords="axes fraction", ha="center", fontsize=8)
    for lost in found.unsolved:
        axes.plot(lost.real, lost.imag, "x", color=PALE, markersize=4, zorder=2.1)
    mark_points(axes, marks, busy, found.plane.reference)


def stub_distance_figure(found: StubDistance) -> "Figure":
    """Output above, input return loss below, against the distance."""
    figure = new_figure(8.2, 6.2)
    upper, lower = figure.subplots(2, 1, sharex=True)
    wanted = found.description.wanted_harmonic
    curves = ("with the stub", "line alone", "reflector alone")[:3 if found.has_reflector else 2]
    for axes, values, level in ((upper, found.output_dbm, found.present.output_dbm(wanted)),
                                (lower, found.input_return_loss_db, found.present.input_return_loss_db)):
        axes.set_xlim(found.degrees[0], found.degrees[-1])
        axes.axhline(level, color=PALE, linestyle=DOTS, linewidth=1.0, zorder=1.5)
        ends = [(found.degrees[-1], level, f"as it is: {level:.2f}", INK)]
        for curve, name, (colour, dash) in zip(values, curves, LINES):
            axes.plot(found.degrees, curve, color=colour, linestyle=dash, linewidth=1.5)
            solved = np.flatnonzero(np.isfinite(curve))
            ends.append((found.degrees[-1], curve[solved[-1]], name, colour))
        axes.margins(y=0.1)
        label_lines(axes, ends)
    best = found.best()
    upper.plot(found.degrees[best], found.output_dbm[0, best], "s", color=LINES[0][0], markersize=5)
    upper.set_title(f"square: most with the stub, {found.output_dbm[0, best]:.2f} dBm at {found.degrees[best]:g} deg")
    upper.set_ylabel(f"output at {harmonic_name(wanted)} / dBm")
    lower.set_ylabel("input return loss / dB")
    lower.set_xlabel(f"distance from {found.pin} / deg at {harmonic_name(found.harmonic)}")
    frequency = show(found.harmonic * found.description.drive.frequency, "Hz", 6)
    said = (f"open stub, a quarter wave at {harmonic_name(found.harmonic)} ({frequency}), on a line of "
            f"{show(found.impedance, 'ohm')} at {found.pin}")
    heading(figure, "\n".join([*textwrap.wrap(found.description.title, 100), *textwrap.wrap(said, 100)]))
    return figure
