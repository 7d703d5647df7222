"""The lines of a spectrum at the multiples of the drive's frequency, as a measurement: a point for each trace."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..quantities import show
from .corrections import Reading
from .finish import finished
from .inspection import inspect
from .levels import level_dbm
from .marked import FEWEST, MarkedLines, frequency_and_level, listed_lines, says_spectrum, settle
from .measurement import Measurement
from .readings import Readings, limit_of
from .relations import Relation
from .repeats import Points
from .settled import add_settings
from .setup import Setup

_LONG = 50  # points from which on a table of frequencies and levels may be taken for a trace
_STANDS_OUT_DB = 10.0  # by which the highest point of a trace lies above its middle one, at least


def is_spectrum(readings: Readings) -> bool:
    """Whether a file looks like a trace of a spectrum, or a list of its lines or markers."""
    if not readings.columns:
        return bool(readings.markers)
    return frequency_and_level(readings) is not None and (len(readings.columns) == 2 or len(readings.sweep) < FEWEST)


def of_a_spectrum(readings: Readings, setup: Setup, description: Description, name: str) -> Measurement:
    """One state: the lines at the multiples of the drive's frequency, from each trace, or from markers.

    Raises
    ------
    Refusal
        No line stands at a multiple; the multiples are not told apart; the frequency may be that of a drive that was
        swept.
    """
    still: dict[str, np.ndarray] = {}
    add_settings(still, setup, description, 1)
    f0 = float(still["drive.frequency"][0]) if "drive.frequency" in still else description.drive.frequency
    notes = list(readings.notes)
    marked = None if "analyser.resolution_bandwidth" in setup.numbers and readings.columns else \
        listed_lines(readings, f0, setup.numbers.get("analyser.frequency_error", 0.0))
    traces = _of_traces(readings, setup, f0, notes) if marked is None else [_of_list(marked, notes)]
    orders = sorted({order for lines in traces for order in lines})
    if not orders:
        raise Refusal(f"nothing stands at a multiple of {show(f0, 'Hz', 6)}, the drive; is this another circuit, or "
                      'another frequency? [settings] "drive.frequency" = ... says it', "", readings.file)
    none, found = _Line(np.nan, 0, 0.0), {}
    for order in orders:
        lines, word = [lines.get(order, none) for lines in traces], f"output_dbm_{order}"
        levels, limit, lost = (np.array(column) for column in zip(*lines))
        found[word] = Reading(levels, limit, setup.standard(word, "dBm", levels), np.zeros(len(lines)), lost)
    settings = {address: np.repeat(value, len(traces)) for address, value in still.items()}
    numbers = np.arange(len(traces))
    return finished(name, Points(settings, found, numbers[:0], numbers), setup, description, notes)


class _Line(NamedTuple):
    """Level [dBm]; 0, or -1 where it is an upper limit; by how much it may read low [dB]."""

    level: float
    limit: int
    lost: float


def _of_traces(readings: Readings, setup: Setup, f0: float, notes: list[str]) -> list[dict[int, _Line]]:
    """Order -> line, of each trace."""
    if "analyser.resolution_bandwidth" not in setup.numbers and not says_spectrum(readings):
        _check_trace(readings, f0)
    inspection = inspect(readings, f0, bandwidth=setup.numbers.get("analyser.resolution_bandwidth"),
                         detector=setup.detector, frequency_error=setup.numbers.get("analyser.frequency_error", 0.0))
    notes += inspection.notes
    for trace in inspection.traces:
        which = f"trace {trace.sweep + 1}: " if len(inspection.traces) > 1 else ""
        notes += [which + note for note in trace.lines.notes]
        notes += [which + _no_harmonic(other.frequency, other.level, other.relation) for other in trace.lines.others]
    return [{line.harmonic: _Line(line.level, 0, trace.lines.trace.point_loss_db or 0.0) if line.above_noise
             else _Line(line.level, -1, 0.0)
             for line in trace.lines.harmonics} for trace in inspection.traces]


def _check_trace(readings: Readings, f0: float) -> None:
    """Refuse a table that may be a drive that was swept: its levels stay together, those of lines stand out of noise"""
    frequency, level = frequency_and_level(readings)
    there = np.isfinite(frequency.values) & np.isfinite(level.values)
    at, levels = frequency.values[there], level_dbm(level.values[there], level.unit)
    several = len(at) and at.max() >= (np.ceil(at.min() / f0 - 1e-9) + 1) * f0 > 0  # no drive is swept over an octave
    alone = len(at) and levels.max() - np.median(levels) > _STANDS_OUT_DB
    if len(at) < _LONG or not (several or alone):
        raise Refusal(f"{len(at)} points of '{level.name}' against '{frequency.name}': this may be a trace of a "
                      f"spectrum, or a drive whose frequency was swept; {settle((frequency, level))}", "",
                      readings.file)


def _no_harmonic(frequency: float, level: float, relation: Relation, name: str = "") -> str:
    beside = "0" if not relation.harmonic else "f0" if relation.harmonic == 1 else f"{relation.harmonic} f0"
    away = f"{show(abs(relation.distance), 'Hz', 5)} {'above' if relation.distance >= 0 else 'below'} {beside}"
    return f"no harmonic: {name}{show(frequency, 'Hz', 6)}, {level:.1f} dBm: {relation.words or away}"


def _of_list(marked: MarkedLines, notes: list[str]) -> dict[int, _Line]:
    notes += marked.notes
    notes += [_no_harmonic(other.frequency, other.level, other.relation, f"{other.name}, ") for other in marked.others]
    return {line.harmonic: _Line(line.level, limit_of(line.flag), 0.0) for line in marked.harmonics}
