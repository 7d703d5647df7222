"""The page of a trade-off: what nothing beats, and what to change for it."""

from __future__ import annotations

import numpy as np

from ..balance.accuracy import Accuracy
from ..quantities import show
from ..studies.highlights import above_ratings
from ..studies.tradeoff import Point, TradeOff
from .text import listed, table, wrapped

_ROWS = 12  # of the front that are shown; JSON has all


def shown_rows(found: TradeOff) -> list[int]:
    """Numbers of the points that a page has room for: ends and knee, the others evenly between."""
    count = len(found.points)
    rows = {int(row) for row in np.linspace(0, count - 1, min(count, _ROWS)).round()}
    return sorted(rows | ({found.knee} if found.knee is not None else set()))


def tradeoff_page(found: TradeOff) -> str:
    """A trade-off in words and a table."""
    goal, against = found.goal.name, found.against.name
    better = "more" if found.against.better > 0 else "less"
    lines = [found.description.title, "", *wrapped(
        f"Trade-off: most {goal} against {against} (where {better} is better). Nothing between the limits beats any of "
        f"the {len(found.points)} points on both.")]
    lines += listed("Free:", [
        f"{item.name} from {show(item.low, item.spec.unit)} to {show(item.high, item.spec.unit)}"
        + (f"; {item.second} takes the rest of {show(item.total, item.spec.unit)}" if item.second else "")
        for item in found.free])
    lines += listed("Held:", [hold.text() for hold in found.holds])
    if found.points:
        lines += ["", *_table(found)]
    lines += listed("Best point:", [_best(found)] if found.finished else [])
    lines += listed("Ratings (the search does not look at them; --hold cannot):", _ratings(found))
    return "\n".join([*lines, *listed("How:", _how(found))])


def _names(found: TradeOff) -> list[str]:
    return [name for item in found.free for name in item.slopes()]


def _units(found: TradeOff) -> dict[str, str]:
    return {name: item.spec.unit for item in found.free for name in item.slopes()}


def _cells(found: TradeOff, point: Point) -> list[str]:
    units = _units(found)
    return [show(point.values[name], units[name]) for name in _names(found)] + [
        item.text(point.figures[item.name]) for item in found.wishes]


def _table(found: TradeOff) -> list[str]:
    rows = [[*_names(found), *(item.name for item in found.wishes), ""]]
    if found.present is not None:
        rows.append([*_cells(found, found.present), "as it is"])
    ends = {0: f"most {found.goal.name}", len(found.points) - 1: f"best {found.against.name}"}
    for row in shown_rows(found):
        mark = "knee" if row == found.knee else ends.get(row, "")
        rows.append([*_cells(found, found.points[row]), mark])
    if found.best is not None:
        rows.append([*_cells(found, found.best), "best by the limits" if found.holds else "best"])
    return table(rows, left=(len(rows[0]) - 1,))


def _best(found: TradeOff) -> str:
    if found.best is None:
        return "no point was found that keeps all limits; loosen one, or free more quantities."
    units = _units(found)
    changes = ", ".join(f"{name} = {show(found.best.values[name], units[name])}" for name in _names(found))
    limits = ", ".join(hold.text() for hold in found.holds)
    wish = f"Most {found.goal.name}" + (f" with {limits}" if limits else "")
    return f"{wish}: {found.goal.text(found.best.figures[found.goal.name])}, at {changes}."


def _ratings(found: TradeOff) -> list[str]:
    """What is above its rating at the points that have a name, each solved for once more."""
    named: dict[str, Point | None] = {"as it is": found.present}
    if found.points:
        named[f"most {found.goal.name}"] = found.points[0]
        if found.knee is not None:
            named["knee"] = found.points[found.knee]
        named[f"best {found.against.name}"] = found.points[-1]
    named["best by the limits" if found.holds else "best"] = found.best
    said = []
    for name, point in named.items():
        if point is None:
            continue
        over = above_ratings(found.description, point.values, point.harmonics, Accuracy())
        said.append(f"{name}: " + ("not known" if over is None else
                                   f"EXCEEDED: {'; '.join(over)}" if over else "within the ratings"))
    return said


def _how(found: TradeOff) -> list[str]:
    known = [point.truncation_db for point in found.points if point.truncation_db is not None]
    said = [f"{found.solves} steady states solved for, the search with {found.harmonics} harmonics."]
    if not found.finished:
        return ["Interrupted: this is what was found until then, not checked with more harmonics.", *said]
    if known:
        said.append(f"With more harmonics the wanted line moves by at most {max(known):.2g} dB at these points.")
    if found.unsolved:
        said.append(f"{found.unsolved} points on the way have no steady state or no slope; the search stepped back.")
    if found.otherwise:
        said.append(f"{found.otherwise} points are left out: switched on there, the circuit comes to another state.")
    return said
