"""What a person wants to know first of a swept table: best output, best match, best gain, ratings, jumps."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..balance.accuracy import Accuracy, tolerance_words
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import HbsimError
from ..quantities import show
from .table import SweepTable
from .turning import DOWN

_MOST_TRIED = 60  # points whose ratings are looked at, from the most output down
_JUMP_DB, _JUMP_RATIO = 0.5, 4.0  # a step so large, and so much larger than both beside it, is no smooth curve


def highlights(description: Description, table: SweepTable) -> list[str]:
    """Sentences on a sweep; the ratings come from a solve of each point in question."""
    found = [*_most_output(description, table), *_best_match(table)]
    if "drive.power" in table.axes and len(table.axes["drive.power"]) > 1:
        found += _best_conversion(table)
    return found + _sureness(table) + (_jumps(table) if table.others is None else _hysteresis(table))


def exceeded(description: Description, table: SweepTable, number: int) -> list[str] | None:
    """What is above its rating at one point of the table; None where the point alone is not solved."""
    return above_ratings(description, table.settings(number), table.harmonics, table.accuracy)


def above_ratings(description: Description, values: Mapping[str, float], harmonics: int | None,
                  accuracy: Accuracy) -> list[str] | None:
    """What is above its rating with some values set, address -> value in SI; None where that is not solved."""
    try:
        state = solve(description.with_values(values), harmonics, accuracy=accuracy)
    except HbsimError:
        return None
    return [f"{name}: {rating.meaning} {show(rating.value, rating.unit, 3)} "
            f"(limit {show(rating.limit, rating.unit, 3)})"
            for name, device in state.devices.items() for rating in device.ratings if rating.exceeded]


def _most_output(description: Description, table: SweepTable) -> list[str]:
    best = table.most_output()
    if best is None:
        return []
    levels = table.columns[table.wanted]
    at = f"at harmonic {table.wanted_harmonic}"
    found = [f"Most output {at}: {levels[best]:.2f} dBm at {_place(table, best)}."]
    above = exceeded(description, table, best)
    if not above:
        return found
    found.append(f"RATINGS EXCEEDED there: {'; '.join(above)}.")
    order = np.argsort(-np.where(np.isfinite(levels), levels, -np.inf))[1:]
    for number in order[:_MOST_TRIED]:
        if np.isfinite(levels[number]) and exceeded(description, table, int(number)) == []:
            return [*found, f"Most output within the ratings: {levels[number]:.2f} dBm at "
                            f"{_place(table, int(number))}."]
    return [*found, f"None of the next {min(len(order), _MOST_TRIED)} points in output is within the ratings."]


def _best_match(table: SweepTable) -> list[str]:
    loss = table.columns["input_return_loss_db"]
    if not np.isfinite(loss).any() or table.solved.sum() < 2:
        return []
    best = int(np.nanargmax(np.where(np.isfinite(loss), loss, np.nan)))
    return [f"Best input return loss: {loss[best]:.2f} dB at {_place(table, best)}."]


def _best_conversion(table: SweepTable) -> list[str]:
    loss = table.columns["conversion_loss_db"]
    if not np.isfinite(loss).any():
        return []
    best = int(np.nanargmin(np.where(np.isfinite(loss), loss, np.nan)))
    word = "Least conversion loss" if loss[best] >= 0 else "Best conversion gain"
    return [f"{word}: {abs(loss[best]):.2f} dB at {_place(table, best)}."]


def _place(table: SweepTable, number: int) -> str:
    """Where a point lies, and along which axes it is the last one swept: the true best may lie beyond."""
    at = np.unravel_index(number, table.shape)
    ends = [name for name, i, count in zip(table.axes, at, table.shape) if count > 2 and i in (0, count - 1)]
    return table.place_text(number) + (f" (the end of the range of {' and '.join(ends)})" if ends else "")


def _sureness(table: SweepTable) -> list[str]:
    """By how much lines moved with more harmonics, and how many points are less sure than was asked for."""
    columns, found = table.columns, []
    most = [np.max(columns[name], where=np.isfinite(columns[name]), initial=-1.0)
            for name in ("truncation_db", "truncation_others_db")]
    if max(most) >= 0.0:
        words = [f"{name} by {value:.1g} dB" for name, value in zip(("the wanted line", "another"), most) if value >= 0]
        found.append(f"As the harmonics were last raised, {' and '.join(words)} moved at most (asked for: "
                     f"{tolerance_words(table.accuracy)}); return loss and peaks are not followed in this way.")
    count = int(table.unsettled.sum())
    if count:
        unknown = int((table.unsettled & np.isnan(columns["truncation_db"])).sum())
        found.append(f"{count} of {table.solved.size} points are less sure than that"
                     f"{f', {unknown} of them by an unknown amount' if unknown else ''} (column truncation_db).")
    return found


def _hysteresis(table: SweepTable) -> list[str]:
    """Where the drive, turned up and down, meets different states."""
    others = table.others
    if not len(others.points):
        return []
    drives, lines = table.axes["drive.power"][others.points[others.turned == DOWN]], []
    ways = [f"turned {way}, the circuit jumps at {', '.join(f'{level:.2f} dBm' for level in sorted(levels))}"
            for way, levels in (("up", others.jumps_up_dbm), ("down", others.jumps_down_dbm)) if levels]
    if len(drives):
        lines.append(f"Hysteresis: from {drives.min():.4g} to {drives.max():.4g} dBm of drive the state depends on the "
                     f"way the drive was turned{': ' if ways else ''}{'; '.join(ways)}.")
        lines.append(_on_the_way_down(table))
    if others.reason:
        lines.append(f"The curve between the two ways could not be followed to its end: {others.reason}.")
    return lines


def _on_the_way_down(table: SweepTable) -> str:
    """The best of the states that only the way down meets; the other sentences are of the way up."""
    others = table.others
    down = np.flatnonzero(others.turned == DOWN)
    drives = table.axes["drive.power"][others.points[down]]
    said = []
    for column, words, unit in ((table.wanted, "output", "dBm"), ("input_return_loss_db", "input return loss", "dB")):
        values = others.columns[column][down]
        if np.isfinite(values).any():
            best = int(np.nanargmax(np.where(np.isfinite(values), values, np.nan)))
            said.append(f"{words} {values[best]:.2f} {unit} at {show(float(drives[best]), 'dBm', 6)}")
    return f"All else is told of the way up; the most that only the way down meets: {', '.join(said)}."


def _jumps_of_rows(table: SweepTable) -> list[str]:
    """The same along the drive of a map, whose rows are only turned up."""
    levels = np.moveaxis(table[table.wanted], list(table.axes).index("drive.power"), -1)
    if levels.shape[1] < 4:
        return []
    steps = np.abs(np.diff(levels, axis=1))
    beside = np.maximum(steps[:, :-2], steps[:, 2:])
    rows = ((steps[:, 1:-1] > _JUMP_DB) & (steps[:, 1:-1] > _JUMP_RATIO * beside)).any(axis=1)
    if not rows.any():
        return []
    return [f"In {int(rows.sum())} of {len(rows)} rows the output jumps along drive.power. In a map the drive is only "
            "turned up, and contours run across the jump: vary the drive alone to see both ways."]


def _jumps(table: SweepTable) -> list[str]:
    """Steps that are no smooth curve: there more than one state may exist."""
    if len(table.axes) == 2 and "drive.power" in table.axes:
        return _jumps_of_rows(table)
    if len(table.axes) != 1:
        return []
    levels = table.columns[table.wanted]
    steps = np.abs(np.diff(levels))
    found = []
    for n in range(1, len(steps) - 1):
        if steps[n] > _JUMP_DB and steps[n] > _JUMP_RATIO * max(steps[n - 1], steps[n + 1]):
            (name, unit), = table.units.items()
            values = table.axes[name]
            found.append(f"The output jumps by {steps[n]:.1f} dB between {name} = {show(float(values[n]), unit, 6)} "
                         f"and {show(float(values[n + 1]), unit, 6)}: more than one steady state may exist here; "
                         "sweep the other way too.")
    return found[:3]
