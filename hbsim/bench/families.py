"""Families of curves: the value that each curve was taken at, in the names of columns or above each block, as a column.

"IC@IB=10uA", "Ic (Ib=20µA)", "IC[mA] @ IB = 10 uA"; "IB = 10 uA" or "# IB: 1e-5 A" above a block.
"""

from __future__ import annotations

import bisect
import re
from collections import Counter
from dataclasses import dataclass, replace
from typing import NoReturn

import numpy as np

from ..errors import Refusal
from .cells import LONGEST, plain, read_cell
from .headers import Fact, Header, measure
from .layout import Run, Table
from .mapping import Mapping
from .names import Name, read_name
from .numerals import Raw
from .readings import MISSING, Column
from .units import Unit, unit_of

FAMILY = "family"  # of Run.after: the run is a curve that stood in a column of its own
_VALUE = re.compile(r"\s*([+-]?[\d.,]+(?:[eE][+-]?\d{1,3})?)\s*([^\s\[\](){},;]*)\s*[)\]}]?\s*(.*)")
_KEY = re.compile(r"([^\W\d_]\w*)\s*$")
_AT = re.compile(r"(?:\s+|^)(?:at|for|with|bei|à)$", re.IGNORECASE)
_INSIDE = re.compile(r"([^\W\d_]\w*)\s*=\s*(\S.*)")
_OF_A_DEVICE = re.compile(r"[IVU]_?[BCEGDS]{1,2}", re.IGNORECASE)


@dataclass(frozen=True)
class _Member:
    """A column that is one curve: of what, at which value of what."""

    column: int
    what: str
    key: str
    value: float
    unit: Unit | None
    said: str


@dataclass(frozen=True, eq=False)
class Curves:
    """A table as it is worked with: columns as they stand, their names, the units below these, what the person says.

    `take` holds the row of the file's table that each row was taken from; None where they are the same.
    """

    table: Table
    raws: list[Raw]
    names: list[Name]
    header: Header
    mapping: Mapping
    take: np.ndarray | None = None


def unfolded(curves: Curves, file: str, notes: list[str]) -> Curves:
    """A table with a curve in each column, the curves one below the other and their value in a column of its own.

    Parameters
    ----------
    curves : Curves
    file : str
    notes : list of str
        What was understood is added here.

    Returns
    -------
    Curves
        The same where no two names tell of one quantity at two values.

    Raises
    ------
    Refusal
        The cells of two curves are in different units.
    """
    members = [member for k, name in enumerate(curves.names) if (member := _member(k, name.text)) is not None]
    places = _places(members)
    if len(set(places)) < 2 or len({(member.key, member.unit and member.unit.name) for member in members}) > 1:
        return curves
    points = list(dict.fromkeys(places))
    runs = [(first, first + len(run.rows)) for run, first in zip(curves.table.runs, _firsts(curves.table))]
    take = np.concatenate([np.arange(*span) for span in runs for _ in points])
    which = np.concatenate([np.full(stop - first, k) for first, stop in runs for k in range(len(points))])
    by_what: dict[str, dict[int, int]] = {}
    for member, place in zip(members, places, strict=True):
        by_what.setdefault(member.what, {})[points.index(place)] = member.column
    for what, columns in by_what.items():
        for units in (curves.header.units, curves.mapping.units):
            if len(set(_picked(units, list(columns.values())))) > 1:
                _refuse_units(what, file)
    raws, names, units = [], [], []
    for k, name in enumerate(curves.names):
        member = next((member for member in members if member.column == k), None)
        if member is None:
            raws.append(picked_raw(curves.raws[k], take))
            names.append(name)
            units.append(k)
        elif k == min(by_what[member.what].values()):
            columns = {point: curves.raws[column] for point, column in by_what[member.what].items()}
            raws.append(_joined(columns, take, which, member.what, file))
            names.append(read_name(member.what))
            units.append(k)
    first = members[0]
    raws.append(Raw(np.array([value for value, _ in points])[which], {}, first.unit and Unit(first.unit.name),
                    first.said))
    values = ", ".join(f"{value:.6g}" for value, _ in points[:6]) + ", ..." * (len(points) > 6)
    notes.append(f"the names of the columns tell of {len(points)} curves ({', '.join(by_what)} at {first.key} = "
                 f"{values}{' ' + first.unit.name if first.unit else ''}): they stand one below the other, each a "
                 f"sweep, and '{first.key}' is a column")
    table = Table(curves.table.delimiter, [replace(run, after=FAMILY) for run in curves.table.runs for _ in points])
    header = replace(curves.header, names=(), units=_picked(curves.header.units, units))
    mapping = replace(curves.mapping, units=_picked(curves.mapping.units, units))
    return Curves(table, raws, [*names, Name(first.key, first.key)], header, mapping, take)


def _member(column: int, text: str) -> _Member | None:
    left, equal, right = text.partition("=")
    if not equal or "=" in right or len(text) > LONGEST:
        return None
    key, value = _KEY.search(left), _VALUE.fullmatch(right)
    if key is None or value is None:
        return None
    cell, unit = read_cell(plain(value[1]).replace(",", ".")), unit_of(value[2]) if value[2] else None
    if cell is None or not np.isfinite(cell.value) or (unit is None and value[2]):
        return None
    what = _AT.sub("", left[:key.start()].rstrip(" @([{,;:_-"))
    what = f"{what} {value[3]}".strip() or "Value"
    number = cell.value * unit.factor + unit.offset if unit else cell.value
    return _Member(column, what, key[1], number, unit, value[2])


def _places(members: list[_Member]) -> list[tuple[float, int]]:
    """Value of each, and how many curves of the same quantity at that value stand before it (up and down)."""
    seen: Counter[tuple[str, float]] = Counter()
    places = []
    for member in members:
        places.append((member.value, seen[member.what, member.value]))
        seen[member.what, member.value] += 1
    return places


def _firsts(table: Table) -> list[int]:
    return np.cumsum([0] + [len(run.rows) for run in table.runs]).tolist()[:-1]


def _picked(units: tuple[str, ...], keep: list[int]) -> tuple[str, ...]:
    return tuple(units[k] if k < len(units) else "" for k in keep) if units else ()


def picked_flags(flags: dict[int, str], take: np.ndarray) -> dict[int, str]:
    """Flags of rows that were taken from others."""
    return {new: flags[old] for new, old in enumerate(take.tolist()) if old in flags} if flags else {}


def picked_raw(raw: Raw, take: np.ndarray) -> Raw:
    """A column with rows that were taken from others."""
    return Raw(raw.values[take], picked_flags(raw.flags, take), raw.unit, raw.said, raw.text)


def picked(column: Column, take: np.ndarray | None) -> Column:
    """The same of a column in base units; the column itself where nothing was taken."""
    return column if take is None else replace(column, values=column.values[take],
                                               flags=picked_flags(dict(column.flags), take))


def _joined(columns: dict[int, Raw], take: np.ndarray, which: np.ndarray, what: str, file: str) -> Raw:
    """The curves of one quantity, one below the other; missing where one was not taken."""
    units = {raw.unit for raw in columns.values() if not raw.empty}
    if len(units) > 1:
        _refuse_units(what, file)
    values, flags = np.full(len(take), np.nan), {}
    for point in range(int(which.max()) + 1):
        rows = np.flatnonzero(which == point)
        if point not in columns:
            flags |= dict.fromkeys(rows.tolist(), MISSING)
            continue
        raw = columns[point]
        values[rows] = raw.values[take[rows]]
        flags |= {int(rows[k]): flag for k, flag in picked_flags(raw.flags, take[rows]).items()}
    some = next((raw for raw in columns.values() if not raw.empty), next(iter(columns.values())))
    return Raw(values, flags, some.unit, some.said, all(raw.text for raw in columns.values()))


def _refuse_units(what: str, file: str) -> NoReturn:
    raise Refusal(f"the curves of '{what}' are in different units; write them in one", "", file)


def parted_by_remarks(table: Table, facts: list[Fact]) -> Table:
    """A table whose rows are parted by remarks that tell a value, and another one than above ("# IB: 1e-5 A")."""
    rows = table.rows
    inside = [fact for fact in facts if rows[0] < fact.line < rows[-1]]
    if not inside:
        return table
    above = {told[0]: told[1] for fact in facts if fact.line < rows[0] and (told := _told(fact)) is not None}
    found = [(fact.line, told) for fact in inside if (told := _told(fact)) is not None and told[0] in above]
    changing = {key for _, (key, number) in found if number != above[key]}
    cuts = sorted({line for line, (key, _) in found if key in changing})
    runs: list[Run] = []
    for run in table.runs:
        edges = [0, *(bisect.bisect(run.rows, line) for line in cuts), len(run.rows)]
        parts = [run.rows[a:b] for a, b in zip(edges, edges[1:]) if b > a]
        runs += [replace(run, rows=part, after="text" if k else run.after) for k, part in enumerate(parts)]
    return Table(table.delimiter, runs)


def _told(fact: Fact) -> tuple[str, tuple[float, Unit | None]] | None:
    """What a line tells a value of: "IB = 10 uA", "Curve 1: IB = 10 uA"."""
    if not fact.key:
        return None
    number = measure(fact)
    if number is not None:
        return fact.key, number
    found = _INSIDE.fullmatch(fact.text)
    number = measure(Fact(fact.line, found[1], (found[2],))) if found else None
    return None if number is None else (found[1], number)


def family_of(table: Table, facts: list[Fact], mapping: Mapping, notes: list[str]) -> tuple[Column, ...]:
    """What the lines above each block say with a unit, and differently for each ("Vcc = 3 V"): as columns.

    Parameters
    ----------
    table, facts
        As found.
    mapping : Mapping
        May say what such a line means, and its unit where the line has none, under its key.
    notes : list of str
        A word on each is added here.
    """
    if len(table.runs) < 2:
        return ()
    above: dict[str, dict[int, tuple[float, Unit | None]]] = {}
    ends = [run.rows[0] for run in table.runs]
    for fact in facts:
        block = bisect.bisect(ends, fact.line)
        told = _told(fact) if block < len(ends) else None
        if told is not None:
            above.setdefault(told[0], {})[block] = told[1]
    columns = []
    sizes = [len(run.rows) for run in table.runs]
    for key, found in above.items():
        if len(found) < len(sizes) or len({value for value, _ in found.values()}) < 2:
            continue
        said = mapping.said_of(0, (key,))
        units = {unit or (unit_of(said.unit) if said and said.unit else None) for _, unit in found.values()}
        if None in units and _OF_A_DEVICE.fullmatch(key):
            notes.append(f"'{key}' stands above each block and differs, but has no unit; say it in [columns]: "
                         f'"{key}" = {{ unit = "A" }}')
        if None in units or len({unit.name for unit in units}) > 1:
            continue
        values = [value if unit else float(unit_of(said.unit).into(np.array(value))) for value, unit in
                  (found[k] for k in range(len(sizes)))]
        columns.append(Column(key, units.pop().name, np.repeat(values, sizes), {}, "above each block",
                              said.meaning if said else ""))
        notes.append(f"'{key}' stands above each block and differs: taken as a column")
    return tuple(columns)
