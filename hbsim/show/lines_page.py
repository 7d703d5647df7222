"""Page of text of lines: those of a trace, or of a list that was noted one by one."""

from __future__ import annotations

import numpy as np

from ..bench.inspection import TraceLines
from ..bench.marked import MarkedLines
from ..bench.readings import LOWER_LIMIT, UPPER_LIMIT
from ..bench.relations import Relation
from ..bench.spectrum import Lines
from ..quantities import show
from .style import harmonic_name
from .text import table, wrapped

LIMIT_SIGNS = {UPPER_LIMIT: "< ", LOWER_LIMIT: "> "}


def trace_name(found: TraceLines, several: bool) -> str:
    """"Level" or, of several sweeps, "Level, sweep 2"."""
    return f"{found.column}, sweep {found.sweep + 1}" if several else found.column


def place_name(relation: Relation, digits: int = 4) -> str:
    """Where a line that is no harmonic stands: "1.5 f0", or "2 f0 - 574 MHz"."""
    if relation.multiple is not None:
        return f"{relation.multiple:g} f0"
    name = harmonic_name(relation.harmonic) if relation.harmonic else "0"
    return f"{name} {'+' if relation.distance >= 0 else '-'} {show(abs(relation.distance), 'Hz', digits)}"


def trace_page(found: TraceLines, several: bool) -> list[str]:
    """Noise and lines of a trace."""
    lines, trace = found.lines, found.lines.trace
    out = ["", f"Lines of '{trace_name(found, several)}' at multiples of {show(lines.f0, 'Hz', 7)}"]
    width = "resolution bandwidth not known" if trace.bandwidth is None else \
        f"resolution bandwidth {show(trace.bandwidth, 'Hz')}"
    loss = trace.point_loss_db
    low = f", a line between points reads at most {loss:.3f} dB low" if loss else ""
    out += wrapped(f"{width}, points {show(trace.spacing, 'Hz')} apart{low}", "  ", "  ")
    if lines.noise is not None:
        out += [line for text in _noise_words(lines) for line in wrapped(text, "  ", "  ")]
    if lines.harmonics:
        out += table([["", "frequency", "level", "over noise"],
                      *([harmonic_name(line.harmonic), show(line.frequency, "Hz", 7),
                         f"{'' if line.above_noise else '< '}{line.level:.2f} dBm",
                         "" if line.ratio_db is None else f"{line.ratio_db:.1f} dB"] for line in lines.harmonics)],
                     left=(0,))
        if not all(line.above_noise for line in lines.harmonics):
            out += _limit_words(lines)
    if lines.others:
        out += ["  Lines that are no harmonic",
                *table([["frequency", "level", "at", ""],
                        *([show(line.frequency, "Hz", 7), f"{line.level:.2f} dBm", place_name(line.relation, 5),
                           line.relation.words] for line in lines.others)], left=(2, 3))]
    elif lines.noise is not None:
        out += ["  no line that is no harmonic"]
    return [*out, *(line for note in lines.notes for line in wrapped(note, "  - ", "    "))]


def marked_page(found: MarkedLines) -> list[str]:
    """A list of lines, noted one by one."""
    out = ["", f"Lines at multiples of {show(found.f0, 'Hz', 7)}"]
    if found.harmonics:
        out += table([["", "", "frequency", "level", "beside it"],
                      *([harmonic_name(line.harmonic), line.name,
                         show(line.frequency, "Hz", 7) if np.isfinite(line.frequency) else "",
                         _limited(line.level, line.flag), show(line.distance, "Hz", 4) if line.distance else ""]
                        for line in found.harmonics)], left=(0, 1))
    else:
        out += ["  none"]
    if found.others:
        out += ["  Lines that are no harmonic",
                *table([["", "frequency", "level", "at", ""],
                        *([line.name, show(line.frequency, "Hz", 7), _limited(line.level, line.flag),
                           place_name(line.relation, 5), line.relation.words] for line in found.others)],
                       left=(0, 3, 4))]
    return [*out, *(line for note in found.notes for line in wrapped(note, "  - ", "    "))]


def _noise_words(lines: Lines) -> list[str]:
    """How strong the noise is, and from where on it is not noise."""
    noise, points = lines.noise, len(lines.trace.level)
    low, high = float(noise.floor.min()), float(noise.floor.max())
    mean = f"{noise.mean:.1f} dBm" if noise.level else f"{low:.1f} to {high:.1f} dBm: not level over the trace"
    over = f"{noise.reached(points):.1f} dBm" if noise.level else f"{noise.over_db(points):.1f} dB above its mean there"
    near = sorted({round(line.called_db, 1) for line in lines.harmonics})
    beside = f"{near[0]:.1f}" if len(near) == 1 else f"{near[0]:.1f} to {near[-1]:.1f}" if near else ""
    said = f"{beside} dB over it at a multiple of f0, " if near else ""
    return [f"noise {mean} (mean power, from the lower half of the {100 * noise.share:.0f} % of points that are no "
            f"line); alone it reaches {over} in about 1 % of such traces",
            f"called a line: what stands {said}{noise.called_db(points):.1f} dB over it elsewhere, at least (noise "
            "alone does so in 1 % of traces, and never less than 3 dB)"]


def _limit_words(lines: Lines) -> list[str]:
    loss = "" if lines.trace.point_loss_db is None else ", with what a line between two points may read low"
    if lines.noise is None:
        return ["  < : no line, an upper limit: what was read" + loss]
    return wrapped("< : no line, an upper limit: what a line must have to be seen in 99 % of such traces, or what was "
                   f"read if that is more{loss}; 'over noise' is what was read", "  ", "      ")


def _limited(level: float, flag: str) -> str:
    return f"{LIMIT_SIGNS.get(flag, '')}{level:.2f} dBm"
