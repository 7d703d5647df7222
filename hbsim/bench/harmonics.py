"""Rows of single harmonics -> columns of settings: levels in dBm where the carrier's level is known, else in dBc."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from .families import picked
from .levels import in_dbm
from .readings import MISSING, Column
from .units import LEVELS

ABSOLUTE = ("dBm", "W", *LEVELS)
_CARRIER = re.compile(r"carrier|fundamental|träger|traeger|grundwelle", re.IGNORECASE)
_OFF = 1e-3  # of f0: how far from a multiple of it a line may be written, as for markers
_AGREE = 0.05  # between dBm and dBc of one line, rounded to a tenth each. [dB]


@dataclass(frozen=True, eq=False)
class Long:
    """A table with a row for each harmonic, understood.

    name, order : of the column of the orders; (n_row,)
    groups : setting of each row, (n_row,), rising.
    lines : line in the file, (n_row,)
    absolute, relative : levels in dBm, W ...; in dBc.
    frequency : of each line. [Hz]
    kept : columns with one value in each setting.
    free : texts, times and counts, which may differ.
    carrier : order that dBc counts from, if the person says it.
    """

    name: str
    order: np.ndarray
    groups: np.ndarray
    lines: np.ndarray
    absolute: Column | None
    relative: Column | None
    frequency: Column | None
    kept: Sequence[Column]
    free: Sequence[Column]
    carrier: int | None
    file: str

    @property
    def firsts(self) -> np.ndarray:
        """First row of each setting."""
        return np.flatnonzero(np.diff(self.groups, prepend=-1))

    @property
    def base(self) -> Column | None:
        """The column of f0, the only one in hertz that stands still in a setting."""
        found = [column for column in self.kept if column.unit == "Hz"]
        return found[0] if len(found) == 1 else None

    def f0(self) -> np.ndarray:
        """Of each setting: as written, else from its line of lowest order. [Hz]"""
        if self.base is not None:
            return self.base.values[self.firsts]
        found = np.full(len(self.firsts), np.nan)
        for row in np.lexsort((-self.order, self.groups)):  # lowest order last, so that it stays
            if np.isfinite(self.frequency.values[row]):
                found[self.groups[row]] = self.frequency.values[row] / self.order[row]
        return found


@dataclass(eq=False)
class _Lines:
    """Values of one column by setting and order, with the flags of each order."""

    orders: list[int]
    values: np.ndarray
    flags: list[dict[int, str]]

    def column(self, order: int, name: str, unit: str, said: str, meaning: str = "") -> Column:
        k = self.orders.index(order)
        return Column(name, unit, self.values[:, k], self.flags[k], said, meaning)

    def of(self, order: int | None) -> np.ndarray:
        """Levels of one order at each setting; no numbers where it has none."""
        return self.values[:, self.orders.index(order)] if order in self.orders else np.full(len(self.values), np.nan)

    def told(self, order: int | None) -> dict[int, str]:
        """Its flags."""
        return self.flags[self.orders.index(order)] if order in self.orders else {}


def contradictions(long: Long) -> np.ndarray:
    """Rows whose frequency is not as many times that of the setting as their order says."""
    if long.frequency is None:
        return np.zeros(0, int)
    f0 = long.f0()[long.groups]
    with np.errstate(invalid="ignore"):
        return np.flatnonzero(np.abs(long.frequency.values - long.order * f0) > _OFF * np.abs(f0))


def columns_of_settings(long: Long, notes: list[str]) -> tuple[Column, ...]:
    """One row for each setting: what is kept, then the levels by their order.

    Parameters
    ----------
    long : Long
    notes : list of str
        What was understood is added here.

    Raises
    ------
    Refusal
        The levels are voltages without an impedance.
    """
    firsts = long.firsts
    orders = np.unique(long.order).tolist()
    kept = [picked(column, firsts) for column in long.kept]
    level = " and ".join(f"'{column.name}'" for column in (long.absolute, long.relative) if column is not None)
    notes.append(f"a row for each harmonic: '{long.name}' is taken as its order ({listed(orders)}), {level} as its "
                 f"level at the output; {len(long.order)} rows are {len(firsts)} settings")
    missing = len(firsts) * len(orders) - len(long.order)
    if missing:
        sizes = np.bincount(long.groups)
        row = int(firsts[np.flatnonzero(sizes < len(orders))[0]])
        notes.append(f"{missing} harmonics have no row (the first setting that lacks one starts in line "
                     f"{long.lines[row]}): no numbers, flagged missing")
    kept += _frequencies(long, orders, notes)
    for column in long.free:
        kept += _free(long, column, orders)
    return tuple(_levels(long, orders, kept, notes))


def listed(orders: list[int], most: int = 8) -> str:
    """The first of some orders, in words."""
    return ", ".join(map(str, orders[:most])) + (" ..." if len(orders) > most else "")


def _lines(long: Long, column: Column, orders: list[int]) -> _Lines:
    values = np.full((len(long.firsts), len(orders)), np.nan)
    place = np.searchsorted(orders, long.order)
    values[long.groups, place] = column.values
    there = np.zeros(values.shape, bool)
    there[long.groups, place] = True
    flags = [dict.fromkeys(np.flatnonzero(~there[:, k]).tolist(), MISSING) for k in range(len(orders))]
    for row, flag in column.flags.items():
        flags[place[row]][int(long.groups[row])] = flag
    return _Lines(orders, values, flags)


def _apart(long: Long, column: Column, orders: list[int]) -> list[Column]:
    """A column as one for each order."""
    lines = _lines(long, column, orders)
    return [lines.column(n, f"{column.name} [harmonic {n}]", column.unit, column.said) for n in orders]


def _free(long: Long, column: Column, orders: list[int]) -> list[Column]:
    """A remark or time: one for each setting where it stands still there, else one for each order."""
    first = long.firsts[long.groups]
    same = all(column.flags.get(row) == column.flags.get(int(first[row])) for row in range(len(first)))
    if same and np.array_equal(column.values, column.values[first], equal_nan=True):
        return [picked(column, long.firsts)]
    return _apart(long, column, orders)


def _frequencies(long: Long, orders: list[int], notes: list[str]) -> list[Column]:
    """f0 where only the lines' frequencies are written; these themselves where they contradict."""
    if long.frequency is None:
        return []
    wrong, f0 = contradictions(long), long.f0()
    if wrong.size:
        row = wrong[0]
        base = f0[long.groups[row]]
        notes.append(f"line {long.lines[row]}: '{long.frequency.name}' reads {long.frequency.values[row]:.10g} Hz, "
                     f"where {long.order[row]} x {base:.10g} Hz = {long.order[row] * base:.10g} Hz ({wrong.size} such "
                     "rows); the order counts, the data stay as they are")
        return _apart(long, long.frequency, orders)
    away = np.abs(long.frequency.values - long.order * f0[long.groups])
    notes.append(f"'{long.frequency.name}' is '{long.name}' times f0 to within {np.nanmax(away, initial=0.0):.3g} Hz"
                 + (" and left out" if long.base is not None else ": f0 is taken from it"))
    if long.base is not None:
        return []
    flags = {int(k): MISSING for k in np.flatnonzero(np.isnan(f0))}
    meaning = long.frequency.meaning if "." in long.frequency.meaning else ""
    return [Column("f0", "Hz", f0, flags, long.frequency.said, meaning)]


@dataclass(frozen=True, eq=False)
class _Reference:
    """The level that dBc counts from: of which order (None: not said), at each setting [dBm], and where it stands."""

    order: int | None
    level: np.ndarray | None = None
    flags: Mapping[int, str] = field(default_factory=dict)
    where: str = ""
    column: Column | None = None


def _levels(long: Long, orders: list[int], kept: list[Column], notes: list[str]) -> list[Column]:
    """All columns, the levels last."""
    absolute = _lines(long, in_dbm(long.absolute, file=long.file), orders) if long.absolute is not None else None
    relative = _lines(long, long.relative, orders) if long.relative is not None else None
    if relative is None:
        return kept + [_dbm(absolute, n, long.absolute.said) for n in orders]
    reference = _reference(long, absolute, relative, kept)
    if reference.level is not None:
        _check_both(long, absolute, relative, reference, notes)
        notes.append(f"levels in dBc are taken to dBm by that of the carrier ({reference.where})")
        rest = [column for column in kept if reference.order is None or column is not reference.column]
        return rest + _in_dbm(long, absolute, relative, reference)
    if absolute is not None:
        notes.append(f"which line the levels of '{long.relative.name}' count from does not come out: left out beside "
                     f"'{long.absolute.name}'; if it is harmonic 1 say so in [table]: carrier = 1")
        return kept + [_dbm(absolute, n, long.absolute.said) for n in orders]
    return kept + _in_dbc(long, relative, reference.order, notes)


def _dbm(lines: _Lines, order: int, said: str) -> Column:
    return lines.column(order, f"output_dbm_{order}", "dBm", said, f"output_dbm_{order}")


def _reference(long: Long, absolute: _Lines | None, relative: _Lines, kept: Sequence[Column]) -> _Reference:
    """The carrier: by a column that stands still in each setting, or by its own row in dBm."""
    order = long.carrier or _only([n for n in relative.orders if _is_zero(relative.of(n))])
    for column in kept:
        said = re.fullmatch(r"output_dbm_([1-9]\d*)", column.meaning)
        if said or not column.meaning and _CARRIER.search(column.name) and column.unit in ABSOLUTE:
            taken = in_dbm(column, file=long.file)
            order = int(said[1]) if said else order
            return _Reference(order, taken.values, taken.flags, f"'{column.name}'", column)
    if absolute is not None:
        order = order or _only([n for n in absolute.orders if np.isfinite(absolute.of(n)).any()])
        if order in absolute.orders:
            return _Reference(order, absolute.of(order), absolute.told(order),
                              f"harmonic {order} in '{long.absolute.name}'")
    return _Reference(order)


def _only(orders: list[int]) -> int | None:
    return orders[0] if len(orders) == 1 else None


def _is_zero(levels: np.ndarray) -> bool:
    there = levels[~np.isnan(levels)]
    return there.size > 0 and not there.any()


def _check_both(long: Long, absolute: _Lines | None, relative: _Lines, reference: _Reference,
                notes: list[str]) -> None:
    """Note where dBm and dBc of one line do not agree."""
    levels = [(n, absolute.of(n)) for n in absolute.orders] if absolute is not None else [
        (n, reference.level) for n in relative.orders if n == reference.order]
    with np.errstate(invalid="ignore"):
        away = np.abs([level - reference.level - relative.of(n) for n, level in levels])
    wrong = np.argwhere(away > _AGREE)
    if len(wrong):
        k, setting = wrong[0]
        notes.append(f"harmonic {levels[k][0]} of the setting that starts in line {long.lines[long.firsts[setting]]}: "
                     f"its level in dBm and that in dBc differ by {away[k, setting]:.3g} dB ({len(wrong)} such); dBm "
                     "counts")


def _in_dbm(long: Long, absolute: _Lines | None, relative: _Lines, reference: _Reference) -> list[Column]:
    columns = []
    for n in sorted({*relative.orders, reference.order} - {None}):
        own = absolute.of(n) if absolute is not None else np.full(len(reference.level), np.nan)
        flags = absolute.told(n) if absolute is not None else {}
        against = 0.0 if n == reference.order else relative.of(n)
        with np.errstate(invalid="ignore"):
            values = np.where(np.isnan(own), reference.level + against, own)
        other = dict(reference.flags) | ({} if n == reference.order else relative.told(n))
        told = {k: (other if np.isnan(own[k]) else flags).get(k, "") for k in {*flags, *other}}
        told |= {int(k): told.get(int(k)) or MISSING for k in np.flatnonzero(~np.isfinite(values))}
        name = f"output_dbm_{n}"
        columns.append(Column(name, "dBm", values, {k: flag for k, flag in sorted(told.items()) if flag},
                              long.relative.said, name))
    return columns


def _in_dbc(long: Long, relative: _Lines, order: int | None, notes: list[str]) -> list[Column]:
    """Levels against a carrier that is not known itself; its own are zero."""
    columns = [relative.column(n, f"output_dbc_{n}", "dBc", long.relative.said, f"output_dbc_{n}")
               for n in relative.orders if n != order]
    mend = 'the level of the carrier is not in the file; if a column holds it say so in [columns]: { is = ' \
        f'"output_dbm_{order or 1}" }}'
    if order is None:
        notes.append(f"levels stay in dBc: {mend}; which line they count from is not said either (no order stands at 0 "
                     "dBc throughout): [table] carrier = 1")
        return columns
    notes.append(f"levels stay in dBc, against harmonic {order}: {mend}")
    zero = Column(f"output_dbc_{order}", "dBc", np.zeros(len(relative.values)), {}, long.relative.said,
                  f"output_dbc_{order}")
    return sorted([*columns, zero], key=lambda column: int(column.name.rpartition("_")[2]))
