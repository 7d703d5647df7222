"""Picture of comparisons: what was measured and what is predicted there, the difference below; a printed page wide."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..bench.compare import Compared, Comparison
from .compare_curves import MANY, curves, other_settings
from .compare_scale import scale_of
from .compare_state import is_state, state, state_words
from .style import figure_words, heading, meaning_words, print_figure
from .symmetry import told_twice
from .text import folded

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ACROSS = 3  # panels beside each other
_MOST_ROWS = 5
_HIGH = {1: 3.7, 2: 3.0, 3: 2.5}  # inches of a row of so many panels beside each other
_PAGE = 8.4  # inches that all rows fill at most: a page, less the heading and a caption
_FILLED = 0.7  # share of a matrix that must hold a panel: else rows are filled one after the other
_LETTERS, _LINE = 9.0, 0.17  # of the heading: points, inches from line to line
_HEADING = 104  # letters of its lines


@dataclass(frozen=True, eq=False)
class _Panel:
    """One or, of a state, several quantities of one measurement, with what was predicted before."""

    one: Comparison
    title: str
    items: dict[str, Compared]
    before: dict[str, Compared]


def compare_figure(title: str, comparisons: Sequence[Comparison], before: Sequence[Comparison] = ()) -> "Figure":
    """Every quantity of every measurement: measured and predicted above, their difference below.

    A page at most; what finds no room is named in the heading.

    before : the same with an earlier prediction, drawn thin and grey.
    """
    earlier = {one.name: one for one in before}
    twice = [told_twice(one) for one in comparisons]
    panels = [_panels(one, names, earlier.get(one.name)) for one, names in zip(comparisons, twice)]
    equal = [words for names in twice for words in names.values()]
    places, rows, across = _placed(panels)
    left = sum(map(len, panels)) - len(places)
    several = len(comparisons) > 1
    states = [f"{f'{one.name}: at' if several else 'At'} {state_words(one)}." for one in comparisons
              if is_state(one) and state_words(one)]
    words = folded(title if several else f"{title}: {comparisons[0].name}", _HEADING) + folded(" ".join(
        [*states, *_legend([panel for _, _, panel in places], bool(before)), *dict.fromkeys(equal),
         *[f"{left} more panels find no room: compare fewer files at once."] * (left > 0)]), _HEADING)
    high = min(_HIGH[across], _PAGE / rows)
    figure = print_figure(high * rows + _LINE * len(words) + 0.1)
    grid = figure.add_gridspec(2 * rows, across, height_ratios=[2.0, 1.0] * rows)
    for row, column, panel in places:
        above = figure.add_subplot(grid[2 * row, column])
        below = figure.add_subplot(grid[2 * row + 1, column], sharex=above)
        if is_state(panel.one):
            state(above, below, panel.one, panel.items, panel.before)
        else:
            (name, item), = panel.items.items()
            curves(above, below, panel.one, item, panel.before.get(name))
        above.set_title(f"{panel.one.name}\n{panel.title}" if several else panel.title)
    heading(figure, "\n".join(words), _LETTERS)
    return figure


def _panels(one: Comparison, twice: Collection[str], before: Comparison | None) -> list[_Panel]:
    """Of one measurement: one a quantity; of a state one for all quantities of a unit.

    twice : names of quantities that others say already.
    """
    earlier = {} if before is None else before.quantities
    shown = {name: item for name, item in one.quantities.items() if name not in twice}
    if not is_state(one):
        return [_Panel(one, figure_words(name), {name: item}, earlier) for name, item in shown.items()]
    units: dict[str, dict[str, Compared]] = {}
    for name, item in shown.items():
        units.setdefault(name.rpartition("_")[0] if name.startswith("output_") else item.unit, {})[name] = item
    return [_Panel(one, _state_title(items), items, earlier) for items in units.values()]


def _state_title(items: dict[str, Compared]) -> str:
    first = next(iter(items))
    return figure_words(first) if len(items) == 1 else "output" if first.startswith("output_dbm") else ""


def _placed(panels: list[list[_Panel]]) -> tuple[list[tuple[int, int, _Panel]], int, int]:
    """(row, column, panel) of all that find room; how many rows, and columns.

    Two or three measurements of mostly the same quantities stand side by side, a quantity in each row.
    """
    titles = list(dict.fromkeys(panel.title for column in panels for panel in column))
    count = sum(map(len, panels))
    if 1 < len(panels) <= _ACROSS and len(titles) <= _MOST_ROWS and count >= _FILLED * len(panels) * len(titles):
        return [(titles.index(panel.title), number, panel)
                for number, column in enumerate(panels) for panel in column], len(titles), len(panels)
    across = 2 if count == 4 else min(_ACROSS, count)
    row = [panel for column in panels for panel in column][:_MOST_ROWS * across]
    return [(number // across, number % across, panel) for number, panel in enumerate(row)], -(-len(row) // across), \
        across


def _legend(panels: Sequence[_Panel], before: bool) -> list[str]:
    """What the marks mean that are there, as sentences."""
    swept = [panel for panel in panels if not is_state(panel.one)]
    items = [item for panel in panels for item in panel.items.values()]
    told = "; ".join([*_marks(panels, swept), *_of_limits(items), *["pale: predicted before the fit"] * before])
    decades = [scale_of(list(panel.items.values())).decades for panel in swept]
    sure = any(np.isfinite(item.measured.standard).any() for item in items)
    below = ["measured less predicted" + " (currents over decades: in % of predicted)" * any(decades),
             *["grey: twice the standard uncertainty"] * sure, *["dashed: the mean"] * (not all(decades))]
    named = dict.fromkeys(meaning_words(name) for panel in swept for name in other_settings(panel.one))
    return [f"{told[0].upper()}{told[1:]}.", f"Below: {'; '.join(below)}.",
            *[f"Curves differ in {' and '.join(named)}."] * bool(named)]


def _marks(panels: Sequence[_Panel], swept: Sequence[_Panel]) -> list[str]:
    found = []
    if any(panel.one.points <= MANY for panel in swept):
        found.append("open marks: measured, in their band; lines: predicted")
    if any(panel.one.points > MANY for panel in swept):
        found.append("broad tracks: measured, in their band; thin lines: predicted")
    if len(swept) < len(panels):
        found.append("circles: measured, with their band; crosses: predicted")
    return found


def _of_limits(items: Sequence[Compared]) -> list[str]:
    found = []
    if any(item.measured.limit.any() for item in items):
        found.append("triangles: limits, the true value lies where they point")
    if any(np.isinf(values[item.measured.limit == 0]).any() for item in items
           for values in (item.measured.low, item.measured.high)):
        found.append("a band without an end leaves the panel")
    return found
