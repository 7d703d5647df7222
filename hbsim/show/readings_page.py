"""Page of text of `hbsim readings`: one file of the bench as understood."""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import shorten

import numpy as np

from ..bench.inspection import Inspection, flag_counts
from ..bench.readings import Column, Marker
from ..bench.units import unit_of
from ..quantities import show, units
from .lines_page import LIMIT_SIGNS, marked_page, trace_page
from .text import listed, table

_LONGEST = 24  # of a unit as it is written in the file
_NUMBERS_BEHIND = re.compile(r"(?:\s+[-+]?[\d.]+(?:[eE][-+]?\d+)?)+$")  # the line of a trace may go on with numbers
_MOST_FLAGS = 4  # kinds named for one column
_PERCENT = 0.01
_COLD = 200.0  # a temperature below it is said in kelvin by whoever measures at one. [K]


def readings_page(found: Inspection) -> str:
    """The page; raises nothing."""
    readings = found.readings
    rows, columns = len(readings.sweep), len(readings.columns)
    lines = [f"{Path(readings.file).name}: {_many(rows, 'row')}, {_many(columns, 'column')}, "
             f"{_many(found.sweeps, 'sweep')}"]
    if columns:
        lines += ["", *table([["column", "unit", "first", "last", "written as", "unusual"],
                              *(_row(column) for column in readings.columns)], left=(0, 1, 4, 5))]
    if readings.markers:
        lines += ["", "Markers", *table([_marker_row(marker) for marker in readings.markers], left=(0,))]
    lines += listed("Notes", [*readings.notes, *found.notes])
    if found.marked is not None:
        lines += marked_page(found.marked)
    for trace in found.traces:
        lines += trace_page(trace, found.sweeps > 1)
    return "\n".join(lines)


def value_text(value: float, unit: str) -> str:
    """A number of a file with its unit, also one that hbsim does not convert; "none" where there is no number."""
    if unit in units() or not np.isfinite(value):
        return show(value, unit, 7)
    return f"{value:.7g} {unit}".rstrip()


def shown_value(value: float, column: Column) -> str:
    """A number of a column as its kind is said: percent where the file has percent, what is cold in kelvin."""
    if np.isfinite(value) and in_percent(column):
        return f"{100 * value:.7g} %"
    if np.isfinite(value) and column.unit == "K" and below_celsius(column.values):
        return f"{value:.7g} K"
    return value_text(float(value), column.unit)


def in_percent(column: Column) -> bool:
    """Whether a pure number is written in percent in the file."""
    written = unit_of(column.said)
    return column.unit == "1" and written is not None and written.factor == _PERCENT


def written_unit(column: Column) -> str:
    """The unit as it is written in the file, without brackets around it and numbers behind it."""
    said = _NUMBERS_BEHIND.sub("", column.said.strip())
    return said[1:-1].strip() if said[:1] + said[-1:] in ("[]", "()") else said


def below_celsius(values: np.ndarray) -> bool:
    """Whether temperatures [K] are of a kind that is said in kelvin: a cold stage, the noise of a receiver."""
    return bool((values < _COLD).any())


def _marker_row(marker: Marker) -> list[str]:
    called = not np.isfinite(marker.frequency) and marker.order is not None
    place = f"{marker.order:g} f0" if called else value_text(marker.frequency, "Hz")
    return [marker.name, place, LIMIT_SIGNS.get(marker.flag, "") + value_text(marker.value, marker.unit)]


def _many(count: int, word: str) -> str:
    return f"{count} {word}{'s' * (count != 1)}"


def _row(column: Column) -> list[str]:
    ends = [shown_value(column.values[at], column) for at in (0, -1)] if len(column.values) else ["none"] * 2
    counts = sorted(flag_counts(column).items(), key=lambda item: -item[1])
    flags = [f"{count} {text}" for text, count in counts[:_MOST_FLAGS]]
    if len(counts) > _MOST_FLAGS:
        flags.append(f"{sum(count for _, count in counts[_MOST_FLAGS:])} more")
    name = f"{column.name} = {column.meaning}" if column.meaning else column.name
    said = shorten(written_unit(column), _LONGEST, placeholder=" ...")
    unit = "%" if in_percent(column) else column.unit or "not known"
    return [name, unit, *ends, said, ", ".join(flags)]
