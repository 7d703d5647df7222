"""Page of text of `hbsim readings`: one file of the bench as understood."""

from __future__ import annotations

from pathlib import Path
from textwrap import shorten

import numpy as np

from ..bench.inspection import Inspection, TraceLines, flag_counts
from ..bench.readings import Column
from ..quantities import show, units
from .style import harmonic_name
from .text import listed, table, wrapped

_LONGEST = 24  # of a unit as it is written in the file
_MOST_FLAGS = 4  # kinds named for one column


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


def trace_name(found: TraceLines, several: bool) -> str:
    """"Level" or, of several sweeps, "Level, sweep 2"."""
    return f"{found.column}, sweep {found.sweep}" if several else found.column


def _many(count: int, word: str) -> str:
    return f"{count} {word}{'s' * (count != 1)}"


def _row(column: Column) -> list[str]:
    ends = [value_text(float(column.values[at]), column.unit) for at in (0, -1)] if len(column.values) else ["none"] * 2
    counts = sorted(flag_counts(column).items(), key=lambda item: -item[1])
    flags = [f"{count} {text}" for text, count in counts[:_MOST_FLAGS]]
    if len(counts) > _MOST_FLAGS:
        flags.append(f"{sum(count for _, count in counts[_MOST_FLAGS:])} more")
    name = f"{column.name} = {column.meaning}" if column.meaning else column.name
    said = shorten(column.said, _LONGEST, placeholder=" ...")
    return [name, column.unit or "not known", *ends, said, ", ".join(flags)]


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
