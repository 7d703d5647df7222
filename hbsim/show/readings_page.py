"""Page of text of `hbsim readings`: one file of the bench as understood."""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import shorten

import numpy as np

from ..bench.inspection import Inspection, TraceLines, flag_counts
from ..bench.readings import Column
from ..bench.units import unit_of
from ..quantities import show, units
from .style import harmonic_name
from .text import listed, table, wrapped

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
        lines += ["", "Markers", *table([[m.name, value_text(m.frequency, "Hz"), value_text(m.value, m.unit)]
                                         for m in readings.markers], left=(0,))]
    lines += listed("Notes", [*readings.notes, *found.notes])
    for trace in found.traces:
        lines += _trace_lines(trace, found.sweeps > 1)
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


def trace_name(found: TraceLines, several: bool) -> str:
    """"Level" or, of several sweeps, "Level, sweep 2"."""
    return f"{found.column}, sweep {found.sweep + 1}" if several else found.column


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


def _trace_lines(found: TraceLines, several: bool) -> list[str]:
    lines, trace = found.lines, found.lines.trace
    out = ["", f"Lines of '{trace_name(found, several)}' at multiples of {show(lines.f0, 'Hz', 7)}"]
    width = "resolution bandwidth not known" if trace.bandwidth is None else \
        f"resolution bandwidth {show(trace.bandwidth, 'Hz')}"
    loss = trace.point_loss_db
    low = f", a line between points reads at most {loss:.3f} dB low" if loss else ""
    out += wrapped(f"{width}, points {show(trace.spacing, 'Hz')} apart{low}", "  ", "  ")
    if lines.noise is not None:
        out += wrapped(f"noise {lines.noise.mean:.1f} dBm (mean power, from the lower half of the "
                       f"{100 * lines.noise.share:.0f} % of points that are no line); alone it reaches "
                       f"{lines.noise.reached(len(trace.level)):.1f} dBm in about 1 % of such traces", "  ", "  ")
    if lines.harmonics:
        out += table([["", "frequency", "level", "over noise"],
                      *([harmonic_name(line.harmonic), show(line.frequency, "Hz", 7),
                         f"{'' if line.above_noise else '< '}{line.level:.2f} dBm",
                         "" if line.ratio_db is None else f"{line.ratio_db:.1f} dB"] for line in lines.harmonics)],
                     left=(0,))
        if not all(line.above_noise for line in lines.harmonics):
            out += ["  < : not above the noise, an upper limit"]
    if lines.others:
        out += ["  Lines that are no harmonic",
                *table([["frequency", "level", "from", "by", ""],
                        *([show(line.frequency, "Hz", 7), f"{line.level:.2f} dBm",
                           harmonic_name(line.relation.harmonic) if line.relation.harmonic else "0",
                           show(line.relation.distance, "Hz", 5), line.relation.words] for line in lines.others)],
                       left=(4,))]
    elif lines.noise is not None:
        out += ["  no line that is no harmonic"]
    return [*out, *(line for note in lines.notes for line in wrapped(note, "  - ", "    "))]
