"""What a file says twice must agree: counts, start and stop, marker and trace, gain, power; what looks odd is noted."""

from __future__ import annotations

import re

import numpy as np

from ..errors import Refusal
from .assemble import axis_of, impedance_of
from .headers import Fact, measure, values_of
from .layout import Table
from .mapping import Mapping
from .readings import Column, Marker
from .units import LEVELS, level_offset

_COUNT = r"(?:number of points|numberpoints|num(?:ber)? ?points|points|n ?points|#? ?bins|values|sweep points)"
_OFFSET = r"(?:ref(?:erence)? )?level offset|ref(?:erence)? ?lvl ?offset|ext(?:ernal)? (?:gain|att\w*)"
_SUPPLY_POWER = r"\b(?:p_?dc|dc|p_?cc|p_?dd|p_?sup\w*|supply|bias|dissip\w*)\b"
_POWER_OFF = 0.05  # of it: two readings of three digits and their product agree far better (common practice, no source)
_FILLERS = (-999.0, -9999.0, -200.0, -999.9, 999.0)


def check(columns: tuple[Column, ...], markers: tuple[Marker, ...], facts: list[Fact], table: Table, sweep: np.ndarray,
          mapping: Mapping, file: str, notes: list[str], written: int) -> None:
    """Compare what a file says twice; `written` is the number of rows in the file itself.

    Raises
    ------
    Refusal
        A marker contradicts the trace by a factor between units, or the trace is relative; with `strict`, any
        contradiction.
    """
    odd: list[str] = []
    _count(facts, written, sweep, odd)
    frequency = next((column for column in columns if column.unit == "Hz"), None)
    if frequency is not None:
        _ends(frequency, facts, odd)
        _markers(frequency, columns, markers, facts, mapping, file, odd)
        _doubles(frequency, sweep, notes)
    _gain(columns, odd)
    _supply_power(columns, odd)
    if odd and mapping.strict:
        raise Refusal(odd[0] + "; strict = true in [table] asks for agreement", "", file)
    notes += odd
    for column in columns:
        _look(column, table, notes)
    _offsets(facts, notes)


def count_of(facts: list[Fact]) -> float | None:
    """How many points the header says there are; None if it says nothing."""
    found = [number[0] for fact in values_of(facts, _COUNT) if (number := measure(fact)) is not None]
    return found[-1] if found else None


def _count(facts: list[Fact], rows: int, sweep: np.ndarray, odd: list[str]) -> None:
    for fact in values_of(facts, _COUNT):
        number = measure(fact)
        sizes = set(np.bincount(sweep).tolist()) | {len(sweep), rows}
        if number is not None and number[0] not in sizes:
            odd.append(f"line {fact.line + 1} says '{fact.key}' {number[0]:g}, but there are {rows} rows: "
                       "the file may be cut")
            return


def _ends(frequency: Column, facts: list[Fact], odd: list[str]) -> None:
    axis, values = axis_of(facts), frequency.values[np.isfinite(frequency.values)]
    if axis is None or not len(values) or not axis.written and max(abs(axis.first), abs(axis.last)) < 1e3:
        return
    reach = max(1e-6 * abs(axis.last), 0.5 * abs(axis.last - axis.first) / max(1, len(values) - 1))
    if abs(values.min() - min(axis.first, axis.last)) > reach or abs(values.max() - max(axis.first, axis.last)) > reach:
        odd.append(f"the header says {axis.first:.10g} to {axis.last:.10g} Hz, the rows run from "
                   f"{values.min():.10g} to {values.max():.10g} Hz")


def _markers(frequency: Column, columns: tuple[Column, ...], markers: tuple[Marker, ...], facts: list[Fact],
             mapping: Mapping, file: str, odd: list[str]) -> None:
    """U1 to U3: a marker that reads the trace in another unit shows what the trace is in."""
    traces = [column for column in columns if column is not frequency and (column.unit.startswith("dB"))]
    if len(traces) != 1 or not np.isfinite(frequency.values).any():
        return
    trace = traces[0]
    impedance = impedance_of(facts, mapping) or 50.0
    for marker in markers:
        finite = np.where(np.isfinite(frequency.values), frequency.values, np.inf)
        row = int(np.argmin(np.abs(finite - marker.frequency)))
        step = np.abs(np.diff(frequency.values[max(0, row - 1):row + 2]))
        reach = np.max(step, initial=0.0, where=np.isfinite(step))
        if abs(finite[row] - marker.frequency) > reach or not np.isfinite(trace.values[row]):
            continue
        read = trace.values[row]
        differ = marker.value - read
        both = (f"marker {marker.name} reads {marker.value:g} {marker.unit}".rstrip() + f" where the trace "
                f"('{trace.name}', {trace.unit}) has {read:g}")
        if marker.unit == "dB" and trace.unit != "dB" and not mapping.allow_relative:
            raise Refusal(f"{both}: the trace is relative to a stored one (normalised); say in [table] "
                          'allow_relative = true, or the unit in [columns]', "", file)
        for unit in LEVELS:
            # The header's impedance, and both usual ones: the difference itself tells which.
            for ohm in {impedance, 50.0, 75.0}:
                step_db = -level_offset(unit, ohm)
                if abs(abs(differ) - abs(step_db)) < 0.6 and not _said(trace, mapping):
                    raise Refusal(f"{both}; they differ by {abs(differ):.2f} dB = {unit} to dBm at {ohm:g} ohm. State "
                                  f'the unit of the trace in [columns]: "{trace.name}" = {{ unit = "dBm" }}', "", file)
        if marker.unit == trace.unit and abs(differ) > 3.0:
            odd.append(both)


def _said(column: Column, mapping: Mapping) -> bool:
    return bool(column.said) and column.said in {said.unit for said in mapping.columns.values()}


def _doubles(frequency: Column, sweep: np.ndarray, notes: list[str]) -> None:
    for number in range(min(3, int(sweep.max(initial=0)) + 1)):
        values = frequency.values[sweep == number]
        step = np.diff(values)
        if len(step) and np.any(step < 0) and np.any(step > 0):
            notes.append(f"'{frequency.name}' is not sorted; the order of the file is kept")
            return
        # A frequency that stands still throughout is a setting, not a double.
        if len(step) and np.any(step == 0) and np.any(step != 0):
            notes.append(f"'{frequency.name}' has {int(np.sum(step == 0))} values twice; all are kept")
            return


def _gain(columns: tuple[Column, ...], odd: list[str]) -> None:
    """Gain = output - input, where all three are there."""
    found = {}
    for key, word in (("in", r"\b(?:rf )?(?:in(?:put)?|p_?in)\b.*"), ("out", r"\b(?:rf )?(?:out(?:put)?|p_?out)\b.*")):
        fit = [c for c in columns if re.match(word, c.name, re.I) and c.unit == "dBm"]
        if len(fit) == 1:
            found[key] = fit[0].values
    gain = [c for c in columns if re.match(r"gain\b", c.name, re.I) and c.unit in ("", "dB")]
    if len(found) == 2 and len(gain) == 1:
        with np.errstate(invalid="ignore"):
            wrong = np.abs(found["out"] - found["in"] - gain[0].values)
        if np.nanmax(wrong, initial=0.0) > 0.05:
            row = int(np.nanargmax(wrong))
            odd.append(f"'{gain[0].name}' is not output less input: row {row + 1} differs by {wrong[row]:.3g} dB")


def _supply_power(columns: tuple[Column, ...], odd: list[str]) -> None:
    """P = V I, where a table has one voltage, one current, and a power that is called that of the supply."""
    volts, amps, watts = ([column for column in columns if column.unit == unit] for unit in "VAW")
    watts = [column for column in watts if re.search(_SUPPLY_POWER, column.name, re.I)]
    if not len(volts) == len(amps) == len(watts) == 1:
        return
    product = volts[0].values * amps[0].values
    off = np.abs(np.abs(watts[0].values) - np.abs(product)) / np.maximum(np.abs(product), 1e-3 * _largest(product))
    if np.nanmax(off, initial=0.0) > _POWER_OFF:
        row = int(np.nanargmax(off))
        odd.append(f"'{watts[0].name}' is not '{volts[0].name}' times '{amps[0].name}': row {row + 1} has "
                   f"{watts[0].values[row]:.4g} W, and {product[row]:.4g} W by these")


def _largest(values: np.ndarray) -> float:
    return max(float(np.nanmax(np.abs(values), initial=0.0)), 1e-300)


def _look(column: Column, table: Table, notes: list[str]) -> None:
    """What is unusual in one column; nothing is changed."""
    lines = table.rows
    values = column.values
    finite = values[np.isfinite(values)]
    counts: dict[str, int] = {}
    if column.unit or len(finite):
        for flag in column.flags.values():
            counts[flag] = counts.get(flag, 0) + 1
    if counts:
        listed = ", ".join(f"{count} x {flag}" for flag, count in list(counts.items())[:5])
        notes.append(f"column '{column.name}': {listed}" + (" ..." if len(counts) > 5 else ""))
    elif column.flags and {"C"} & set(column.flags.values()):
        limited = [row for row, flag in column.flags.items() if flag == "C"]
        notes.append(f"column '{column.name}': {len(limited)} rows in compliance (C), the first in line "
                     f"{lines[limited[0]] + 1 if limited[0] < len(lines) else limited[0] + 1}")
    for filler in _FILLERS:
        if np.count_nonzero(finite == filler):
            notes.append(f"column '{column.name}': {filler:g} looks like a filler for no reading; if it is one say "
                         f"filler = {filler:g} in [table]")
    if len(finite) > 1 and not finite.any():
        notes.append(f"column '{column.name}' is zero throughout")
    if re.match(r"s\d\d|s11", column.name, re.I) and column.unit == "dB" and re.match(r"s(\d)\1", column.name, re.I) \
            and np.any(finite > 0):
        notes.append(f"column '{column.name}' has positive values: gain, or a return loss under the name of S11")
    if column.unit not in ("dBm", "dB", "Hz", "deg") and 4 <= len(values) == len(finite):
        _slipped(column, lines, notes)


def _slipped(column: Column, lines: list[int], notes: list[str]) -> None:
    """A row that is ten times or a tenth of both its neighbours, which are alike: a slipped decimal mark."""
    left, here, right = np.abs(column.values[:-2]), np.abs(column.values[1:-1]), np.abs(column.values[2:])
    with np.errstate(divide="ignore", invalid="ignore"):
        against = np.abs(np.log10(here / np.sqrt(left * right)))
        alike = np.abs(np.log10(left / right)) < 0.25
        for row in np.flatnonzero(alike & (against > 0.85) & (against < 1.15))[:3]:
            notes.append(f"column '{column.name}', line {lines[row + 1] + 1 if row + 1 < len(lines) else row + 2}: "
                         f"{column.values[row + 1]:g} differs by about 10x from its neighbours")


def _offsets(facts: list[Fact], notes: list[str]) -> None:
    for fact in values_of(facts, _OFFSET):
        number = measure(fact)
        if number is not None and number[0] != 0.0:
            notes.append(f"line {fact.line + 1}: '{fact.key}' {fact.text}: the levels hold it already")
    for fact in facts:
        if re.search(r"already (?:subtracted|corrected|included)|attenuation (?:is )?(?:subtracted|included)",
                     fact.key + " " + fact.text, re.I):
            notes.append(f"line {fact.line + 1}: '{(fact.key + ' ' + fact.text).strip()}'")


