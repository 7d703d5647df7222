"""Picture of a table of the bench: its columns against what was swept, sweeps, limits and markers told apart."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from textwrap import fill, shorten
from typing import TYPE_CHECKING

import numpy as np

from ..bench.inspection import Inspection
from ..bench.names import read_name
from ..bench.readings import LOWER_LIMIT, UPPER_LIMIT, Column, Marker
from ..devices.contract import ZERO_CELSIUS
from ..errors import Refusal
from ..quantities import PREFIXES, show, units
from .readings_page import below_celsius, in_percent, shown_value, written_unit
from .style import INK, LINES, PRINT_INCHES, axis_label, heading, label_lines, log_axis, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_ACROSS = 95  # letters of a heading over that width
_NAME = 36  # letters of a name over one panel of two
_SAMPLE = 9  # letters that the piece of line before a name takes
_MOST_PANELS = 8
_FEW = 41  # points that are marked one by one
_MARKS_A_CURVE = 8  # of longer ones, where marks tell sweeps apart
_SWEEP_MARKS = "osDPX"  # no triangles: these are limits
_TOLD_BY_MARKS = 2 * len(_SWEEP_MARKS)  # each filled and open
_MOST_ENDS = 16  # curves with a label at their end
_LIMITS = {UPPER_LIMIT: ("v", "down"), LOWER_LIMIT: ("^", "up")}
_LOGARITHMIC = {"A": "current", "W": "power"}  # unit -> word of the axis, whose figures have their own units
_SPAN, _OVER_MEDIAN = 1e3, 10.0  # of numbers that go by decades, not straight from almost nothing
_FLAT = 30.0  # a curve so much smaller than another cannot be read on one axis with it
_ONE_AXIS = ("dBm", "dB", "deg", "K")  # units in which a small number is as well seen as a large one


@dataclass(frozen=True)
class _Panel:
    unit: str  # of the values, or "%"
    columns: list[Column]
    by_decades: bool = False


@dataclass(frozen=True)
class _Sweeps:
    numbers: np.ndarray
    words: list[str]
    telling: list[Column]  # by which they are told apart, none where only their numbers do
    still: list[Column]  # constant in each, not over all

    @property
    def by(self) -> str:
        return ", ".join(plain_name(column) for column in self.telling)

    @property
    def by_marks(self) -> bool:
        return 1 < len(self.numbers) <= _TOLD_BY_MARKS

    @property
    def by_ends(self) -> bool:
        return len(self.numbers) > _TOLD_BY_MARKS


def columns_figure(found: Inspection) -> "Figure":
    """The picture.

    Raises
    ------
    Refusal
        There are no two columns of numbers that change.
    """
    columns = [column for column in found.readings.columns if np.isfinite(column.values).sum() > 1]
    sweep = found.readings.sweep
    # what runs was swept; else what changes inside a sweep, before what only tells sweeps apart
    across = next((column for test in (_runs, _changes_inside, _changes_at_all) for column in columns
                   if test(column.values, sweep)), None)
    others = [column for column in columns if column is not across and _changes_at_all(column.values, sweep)]
    if across is None or not others:
        raise Refusal("a picture needs two columns of numbers that are not constant", "--plot", found.readings.file)
    sweeps = _sweeps(found, others)
    drawn = [column for column in others if column not in sweeps.still] or others
    panels = _panels(drawn, 1 if sweeps.by_ends else len(LINES))
    figure = _draw(found, across, panels[:_MOST_PANELS], sweeps)
    words = [f"{Path(found.readings.file).name}: columns against '{plain_name(across)}'"]
    if len(sweeps.numbers) > 1:
        ends = f", at their ends {sweeps.by}" if sweeps.by_ends and sweeps.telling else ""
        words.append(f"{len(sweeps.numbers)} sweeps{ends}")
    flags = {flag for panel in panels[:_MOST_PANELS] for column in panel.columns for flag in column.flags.values()}
    words += [f"open triangle {way}: {flag}" for flag, (_, way) in _LIMITS.items() if flag in flags]
    constant = len(columns) - 1 - len(others)
    still = len(others) - len(drawn) - len(sweeps.telling)
    missing = sum(len(panel.columns) for panel in panels[_MOST_PANELS:])
    words += [f"{still} more constant in each sweep"] * (still > 0)
    words += [f"{constant} constant"] * (constant > 0) + [f"{missing} more are not drawn"] * (missing > 0)
    heading(figure, fill("; ".join(words), _ACROSS))
    return figure


def plain_name(column: Column) -> str:
    """The name of a column without a unit that the axis says, short enough for a panel."""
    plain = column.name
    if column.unit and (column.unit != "1" or written_unit(column) in ("", "%")):  # S11(MAG) and S11(DEG) stay two
        plain = read_name(column.name).bare
    return shorten(plain, _NAME, placeholder=" ...")


def _changes_at_all(values: np.ndarray, sweep: np.ndarray) -> bool:
    return bool(np.nanmin(values) < np.nanmax(values))


def _changes_inside(values: np.ndarray, sweep: np.ndarray) -> bool:
    """Whether a column changes in any sweep."""
    parts = [values[(sweep == number) & np.isfinite(values)] for number in np.unique(sweep)]
    return any(len(part) and part.min() < part.max() for part in parts)


def _runs(values: np.ndarray, sweep: np.ndarray) -> bool:
    """Whether a column goes one way in every sweep, as what is set does."""
    steps = [np.diff(values[sweep == number]) for number in np.unique(sweep)]
    steps = [step for step in steps if len(step)]
    return bool(steps) and all(np.all(step > 0) or np.all(step < 0) for step in steps)


def _sweeps(found: Inspection, columns: list[Column]) -> _Sweeps:
    """What tells sweeps apart: one column constant in each, or else all such together, or else their numbers."""
    sweep = found.readings.sweep
    numbers = np.unique(sweep)
    firsts = [int(np.argmax(sweep == number)) for number in numbers]
    still = [column for column in columns if len(numbers) > 1 and np.isfinite(column.values).all()
             and (column.values == column.values[firsts][np.searchsorted(numbers, sweep)]).all()]
    for telling in [*([column] for column in still), still]:
        rows = [tuple(column.values[first] for column in telling) for first in firsts]
        if telling and len(set(rows)) == len(numbers):
            words = [", ".join(shown_value(value, column) for value, column in zip(row, telling)) for row in rows]
            return _Sweeps(numbers, words, telling, still)
    return _Sweeps(numbers, [f"sweep {number + 1}" for number in range(len(numbers))], [], still)


def _panels(columns: list[Column], most: int) -> list[_Panel]:
    """Columns of one unit and, where the axis cannot go by decades, of like size together; at most so many in one."""
    groups: dict[str, list[Column]] = {}
    for column in columns:
        groups.setdefault("%" if in_percent(column) else column.unit, []).append(column)
    panels = []
    for unit, group in groups.items():
        by_decades = unit in _LOGARITHMIC and _by_decades(np.concatenate([column.values for column in group]))
        alike = [group] if by_decades or unit in _ONE_AXIS else _alike(group)
        panels += [_Panel(unit, some[i:i + most], by_decades) for some in alike for i in range(0, len(some), most)]
    return panels


def _by_decades(values: np.ndarray) -> bool:
    values = values[np.isfinite(values)]
    return bool(values.min() > 0 and values.max() > max(_SPAN * values.min(), _OVER_MEDIAN * np.median(values)))


def _alike(group: list[Column]) -> list[list[Column]]:
    """Parts of a group whose largest magnitudes lie within a factor."""
    peaks = {id(column): np.nanmax(np.abs(column.values)) for column in group}
    parts: list[list[Column]] = []
    for column in sorted(group, key=lambda column: -peaks[id(column)]):
        if not parts or peaks[id(column)] < peaks[id(parts[-1][0])] / _FLAT:
            parts.append([])
        parts[-1].append(column)
    parts = [sorted(part, key=group.index) for part in parts]
    return sorted(parts, key=lambda part: group.index(part[0]))


def _draw(found: Inspection, across: Column, panels: list[_Panel], sweeps: _Sweeps) -> "Figure":
    rows = (len(panels) + 1) // 2
    figure = new_figure(PRINT_INCHES, 3.6 if len(panels) == 1 else 0.7 + 2.4 * rows)
    cells = figure.subplots(rows, 1 if len(panels) == 1 else 2, squeeze=False).ravel()
    for axes, panel in zip(cells, panels):
        _panel(axes, found, across, panel, sweeps)
    for axes in cells[len(panels):]:
        axes.set_visible(False)
    if sweeps.by_marks:
        from matplotlib.lines import Line2D
        handles = [Line2D([], [], color=INK, linestyle="none", markersize=5, **_mark(place, INK))
                   for place in range(len(sweeps.numbers))]
        texts = [f"{sweeps.by}: {word}" if sweeps.by and not place else word
                 for place, word in enumerate(sweeps.words)]
        figure.legend(handles, texts, loc="outside lower left", frameon=False, fontsize=8, handletextpad=0.2,
                      ncols=_side_by_side(texts, _ACROSS))
    return figure


def _side_by_side(texts: list[str], letters: int) -> int:
    return max(1, min(len(texts), letters // (max(map(len, texts)) + _SAMPLE)))


def _mark(place: int, colour: str) -> dict[str, str]:
    """Mark of a sweep: shapes in turn, filled and open in turn, ten in all."""
    turn, shape = divmod(place, len(_SWEEP_MARKS))
    return {"marker": _SWEEP_MARKS[shape], "markeredgecolor": colour,
            "markerfacecolor": "white" if (turn + shape) % 2 else colour}


def _panel(axes: "Axes", found: Inspection, across: Column, panel: _Panel, sweeps: _Sweeps) -> None:
    to_x, x_unit = _scale([across], across.unit)
    to_y, y_unit = (_same, panel.unit) if panel.by_decades else _scale(panel.columns, panel.unit)
    x = to_x(across.values)
    for (colour, dash), column in zip(LINES, panel.columns):
        y, ends = to_y(column.values), []
        for place, number in enumerate(sweeps.numbers):
            rows = np.flatnonzero((found.readings.sweep == number) & np.isfinite(y) & np.isfinite(x))
            if not len(rows):
                continue
            _curve(axes, x[rows], y[rows], [column.flags.get(int(row), "") for row in rows], colour, dash,
                   (place, sweeps))
            last = rows[np.argmax(x[rows])]
            if place % -(-len(sweeps.numbers) // _MOST_ENDS) == 0:
                ends.append((x[last], y[last], sweeps.words[place], INK))
        if sweeps.by_ends:
            label_lines(axes, ends)
    if across.unit == "Hz":
        _markers(axes, [marker for marker in found.readings.markers if marker.unit == panel.unit], to_x, to_y)
    _name(axes, panel, axis_label(plain_name(across), x_unit), y_unit)
    if not across.unit and np.all(np.mod(x[np.isfinite(x)], 1) == 0):  # numbers of points, harmonics
        from matplotlib.ticker import MaxNLocator
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))


def _curve(axes: "Axes", x: np.ndarray, y: np.ndarray, flags: list[str], colour: str, dash: object,
           sweep: tuple[int, _Sweeps]) -> None:
    """One sweep of a column; a limit is no reading, so that no line goes through it."""
    place, sweeps = sweep
    limits = np.isin(flags, list(_LIMITS))
    joined = np.where(limits, np.nan, y)
    there = np.isfinite(joined)
    marked = np.flatnonzero(there)
    if len(x) > _FEW:
        apart = -(-len(x) // _MARKS_A_CURVE)
        alone = there & ~np.r_[False, there[:-1]] & ~np.r_[there[1:], False]
        regular = (np.arange(len(x)) % apart == place * apart // len(sweeps.numbers)) & sweeps.by_marks
        marked = np.flatnonzero(there & (alone | regular))
    axes.plot(x, joined, color=colour, linestyle=dash, linewidth=1.2, markersize=3.5, markevery=marked.tolist(),
              **_mark(place if sweeps.by_marks else 0, colour))
    for flag, (mark, _) in _LIMITS.items():
        rows = np.array([said == flag for said in flags])
        if rows.any():
            axes.plot(x[rows], y[rows], linestyle="none", marker=mark, markersize=5, color=colour,
                      markerfacecolor="white", zorder=3)


def _markers(axes: "Axes", markers: list[Marker], to_x: Callable, to_y: Callable) -> None:
    for marker in markers:
        if np.isfinite(marker.frequency) and np.isfinite(marker.value):
            draw_marker(axes, to_x(marker.frequency), to_y(marker.value), marker.name)


def draw_marker(axes: "Axes", x: float, y: float, name: str, beside: bool = False) -> None:
    """A marker of the file: a small triangle that stands with its tip on the place, and its name over or beside it."""
    from matplotlib.markers import CARETDOWN
    axes.plot(x, y, linestyle="none", marker=CARETDOWN, color=INK, markersize=6, zorder=5)
    named = name if name.upper().startswith("M") else f"marker {name}"
    axes.annotate(named, (x, y), xytext=(6, 1) if beside else (0, 7), textcoords="offset points",
                  ha="left" if beside else "center", va="bottom", fontsize=8, zorder=5)


def _name(axes: "Axes", panel: _Panel, x_label: str, y_unit: str) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.ticker import FuncFormatter
    if panel.by_decades:
        values = np.concatenate([column.values for column in panel.columns])
        log_axis(axes.yaxis, values[np.isfinite(values)])
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: show(value, panel.unit, 3)))
        axes.set_ylabel(_LOGARITHMIC[panel.unit])
    else:
        axes.set_ylabel(y_unit or ("ratio" if panel.unit == "1" else "unit not known"))
        axes.ticklabel_format(axis="y", useOffset=False)
    axes.set_xlabel(x_label)
    axes.ticklabel_format(axis="x", useOffset=False)
    names = [plain_name(column) for column in panel.columns]
    if len(names) == 1:
        axes.set_title(names[0])
        return
    handles = [Line2D([], [], color=colour, linestyle=dash, linewidth=1.2) for colour, dash in LINES]
    axes.legend(handles[:len(names)], names, loc="lower left", bbox_to_anchor=(0, 1), borderaxespad=0.2, borderpad=0,
                frameon=False, fontsize=8, handlelength=2.8, ncols=_side_by_side(names, _NAME))


def _same(values: np.ndarray) -> np.ndarray:
    return values


def _scale(columns: list[Column], unit: str) -> tuple[Callable, str]:
    """What takes values to the unit that is shown, and that unit."""
    values = np.concatenate([column.values for column in columns])
    if unit == "%":
        return lambda values: 100 * values, unit
    if unit not in units() or unit == "K" and below_celsius(values):
        return _same, unit
    if unit == "K":
        return lambda values: values - ZERO_CELSIUS, "degC"
    shown = scaled(values, unit)[1]
    factor = PREFIXES.get(shown.removesuffix(unit), 1.0)
    return lambda values: values / factor, shown
