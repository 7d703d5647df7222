"""Picture of `hbsim touchstone`: all magnitudes over frequency, and the reflections on a Smith chart."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..linear.touchstone import TouchstoneData
from ..linear.touchstone.data import ports_text
from ..quantities import show
from ..studies.touchstone_file import Inspection
from .smith import smith_chart
from .style import INK, MANY_LINES, PALE, heading, label_lines, new_figure, scaled
from .touchstone_page import element_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_NAMED = 10  # lines that are told apart by a label at their end; more would lie on each other
_ALIKE = 0.005  # of the height of the picture, and of the chart's radius: lines so near are drawn as one
_DEEPEST_DB = 100.0  # below the largest value: there the picture ends
_FEW = 12  # points that are marked one by one
_FARTHEST = 3.0  # reflection up to which the chart grows for an active part


@dataclass
class _Curve:
    """A line and the elements that it stands for."""

    names: list[str]
    values: np.ndarray

    @property
    def label(self) -> str:
        """"S21, S12"; long lists are cut."""
        more = f" and {len(self.names) - 3} more" if len(self.names) > 4 else ""
        return ", ".join(self.names[:3] if more else self.names) + more


def touchstone_figure(found: Inspection) -> "Figure":
    """The picture; an element has the same colour on both sides."""
    data = found.data
    figure = new_figure(8.8, 4.4)
    levels, chart = figure.subplots(1, 2, width_ratios=(1.3, 1.0))
    figure.get_layout_engine().set(wspace=0.06)  # the names at the lines stand there
    _magnitudes(levels, found, _reflections(chart, data))
    heading(figure, f"{Path(data.file).name}: {ports_text(data.ports)}, {len(data.frequency)} "
                    f"point{'s' * (len(data.frequency) > 1)}")
    return figure


def _magnitudes(axes: "Axes", found: Inspection, charted: dict[str, int]) -> None:
    """Levels over frequency; `charted`: how elements are drawn on the chart."""
    data = found.data
    level = found.db
    highest = level.max()
    axes.set_title("Magnitudes")
    if not np.isfinite(highest):
        axes.set_title("Magnitudes: all elements are zero")
        return
    floor = max(level[np.isfinite(level)].min(), highest - _DEEPEST_DB)
    curves = _together(_ordered(level, floor), _ALIKE * max(highest - floor, 1.0), floor)
    frequency, unit = scaled(data.frequency, "Hz")
    ends, further = [], len(set(charted.values()))
    for place, curve in enumerate(curves):
        n = charted.get(curve.names[0], further)
        further += n == further
        axes.plot(frequency, np.where(np.isfinite(curve.values), curve.values, np.nan), **_style(n, len(frequency)))
        if place < _NAMED:
            ends.append((frequency[-1], max(curve.values[-1], floor), curve.label,
                         MANY_LINES[n][0] if n < len(MANY_LINES) else INK))
    remarks = [f"without a name: {len(curves) - _NAMED} more"] * (len(curves) > _NAMED)
    below = data.ports**2 - sum(len(curve.names) for curve in curves)
    remarks += [f"{below} of {data.ports**2} below {floor:.0f} dB"] * (below > 0)
    axes.set_title("; ".join(["Magnitudes", *remarks]))
    axes.set(xlabel=f"frequency / {unit}", ylabel="|S| / dB")
    axes.ticklabel_format(useOffset=False)
    if found.spacing.word == "geometric" and data.frequency[-1] > 4 * data.frequency[0]:
        axes.set_xscale("log")
    if len(frequency) > 1:
        axes.set_xlim(frequency[0], frequency[-1])
    margin = 0.04 * max(highest - floor, 1.0)
    axes.set_ylim(floor - margin, highest + margin)
    label_lines(axes, ends)


def _ordered(level: np.ndarray, floor: float) -> list[_Curve]:
    """Elements that come above the floor [dB]: reflections first, then the rest, the largest first."""
    ports = level.shape[1]
    places = sorted(((i, j) for i in range(ports) for j in range(ports)),
                    key=lambda at: (at[0] != at[1], at[0] if at[0] == at[1] else -level[:, at[0], at[1]].max()))
    return [_Curve([element_name(i, j, ports)], level[:, i, j]) for i, j in places
            if level[:, i, j].max() >= floor]


def _together(curves: list[_Curve], near: float, floor: float = -np.inf) -> list[_Curve]:
    """Curves that lie on each other where they are above the floor become one."""
    found: list[_Curve] = []
    for curve in curves:
        shown = np.maximum(curve.values, floor)
        same = next((other for other in found
                     if np.abs(np.maximum(other.values, floor) - shown).max() <= near), None)
        if same:
            same.names += curve.names
        else:
            found.append(curve)
    return found


def _reflections(axes: "Axes", data: TouchstoneData) -> dict[str, int]:
    """S_ii as points of the chart; the first point is marked, the last one named. Returns the style of each."""
    one = len(set(data.reference)) == 1
    smith_chart(axes, float(data.reference[0]) if one else 1.0)
    values = np.diagonal(data.s, axis1=1, axis2=2)
    largest = min(float(np.abs(values).max()), _FARTHEST)
    if largest > 1.05:  # an active part: its curves leave the chart
        axes.set(xlim=(-1.05 * largest, 1.05 * largest), ylim=(-1.05 * largest, 1.05 * largest))
    curves = [_Curve([element_name(i, i, data.ports)], values[:, i]) for i in range(data.ports)]
    drawn = {}
    for n, curve in enumerate(_together(curves, _ALIKE)):
        drawn |= dict.fromkeys(curve.names, n)
        style = _style(n, len(data.frequency))
        axes.plot(curve.values.real, curve.values.imag, **style)
        axes.plot(curve.values[0].real, curve.values[0].imag, "o", color=style["color"], markersize=4.5, zorder=4)
        if n < _NAMED:
            axes.annotate(curve.label, (curve.values[-1].real, curve.values[-1].imag), xytext=(4, 5 - 11 * (n % 2)),
                          textcoords="offset points", fontsize=8, zorder=5,
                          color=MANY_LINES[n][0] if n < len(MANY_LINES) else INK,
                          bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.7, "pad": 0.6})
    against = f"against {show(float(data.reference[0]), 'ohm')}" if one else "in multiples of each port's reference"
    axes.set_title(f"Reflection {against}; dot: {show(data.frequency[0], 'Hz', 6)}")
    return drawn


def _style(n: int, points: int) -> dict[str, Any]:
    colour, dash = MANY_LINES[n] if n < len(MANY_LINES) else (PALE, "-")
    return {"color": colour, "linestyle": dash, "linewidth": 1.3 if n < len(MANY_LINES) else 0.8,
            "marker": "o" if points <= _FEW else None, "markersize": 2.5, "zorder": 3 if n < len(MANY_LINES) else 2}
