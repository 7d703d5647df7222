"""One file of the bench as it was understood, with the lines of its spectrum traces where the drive is known."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..errors import Refusal
from ..quantities import finite_or_none, parse
from .levels import level_dbm
from .marked import FEWEST, LEAST, LEVELS, MarkedLine, MarkedLines, OtherMark, listed_lines, says_spectrum
from .readings import Column, Readings
from .relations import Relation
from .spectrum import PEAK, Lines, find_lines, trace_of

_BANDWIDTH = re.compile(r"(?:rbw|res(?:olution)?[ ._]*(?:bw|bandwidth))\b", re.IGNORECASE)
_DETECTOR = re.compile(r"(?:trace )?detect(?:or|ion)(?: type| mode)?$", re.IGNORECASE)
_PEAK = re.compile(r"peak|pk\b|positive|pos\b", re.IGNORECASE)
_NO_PEAK = re.compile(r"quasi|qp|neg|min", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class TraceLines:
    """Lines of one column in one of the file's sweeps."""

    column: str
    sweep: int
    lines: Lines


@dataclass(frozen=True, eq=False)
class Inspection:
    """A file, and what was found in its traces, or in its list of lines (none without a drive's frequency)."""

    readings: Readings
    traces: tuple[TraceLines, ...] = ()
    notes: tuple[str, ...] = ()
    marked: MarkedLines | None = None

    @property
    def sweeps(self) -> int:
        """How many."""
        return len(np.unique(self.readings.sweep))


def inspect(readings: Readings, f0: float | None = None, *, bandwidth: float | None = None,
            detector: str | None = None, frequency_error: float = 0.0) -> Inspection:
    """What a file holds; with the drive's frequency also the lines of all its traces.

    Parameters
    ----------
    f0 : float, optional
        [Hz]
    bandwidth : float, optional
        Resolution bandwidth; by default what the file says with its unit. [Hz]
    detector : str, optional
        "peak" or another; by default what the file says.
    frequency_error : float
        By which f0 may be off. [Hz]

    Raises
    ------
    Refusal
        f0 is given and the file holds no spectrum trace and no list of lines, or its levels are not told apart from
        others'.
    """
    if f0 is None:
        return Inspection(readings)
    marked = listed_lines(readings, f0, frequency_error) if bandwidth is None or not readings.columns else None
    if marked is not None:
        return Inspection(readings, marked=marked)
    frequency, levels = _trace_columns(readings)
    notes: list[str] = []
    if bandwidth is None:
        bandwidth = _bandwidth(readings, notes)
    if detector is None:
        detector = _detector(readings, notes)
    found = []
    for column in levels:
        for sweep in np.unique(readings.sweep):
            rows = readings.sweep == sweep
            try:
                _check_points(int(rows.sum()), bandwidth is not None or says_spectrum(readings))
                trace = trace_of(frequency.values[rows], level_dbm(column.values[rows], column.unit), bandwidth,
                                 detector, frequency_error)
                found.append(TraceLines(column.name, int(sweep), find_lines(trace, f0)))
            except Refusal as refusal:
                raise refusal.located(f"column '{column.name}', sweep {sweep}", readings.file) from None
    return Inspection(readings, tuple(found), tuple(notes))


def _check_points(count: int, told: bool) -> None:
    """Refuse what is too short for noise and lines to be told apart."""
    if count < (LEAST if told else FEWEST):
        raise Refusal(f"{count} points are no trace of a spectrum: its noise is known from {FEWEST} at least ({LEAST} "
                      "where the resolution bandwidth is known); leave --f0 out to see the file")


def _trace_columns(readings: Readings) -> tuple[Column, list[Column]]:
    """Frequency and levels; refuses where the file is no trace."""
    frequency = [column for column in readings.columns if column.unit == "Hz"]
    if len(frequency) != 1:
        raise Refusal(f"a spectrum trace has one column of frequencies; here are {len(frequency)}; leave --f0 out to "
                      f"see the file", "--f0", readings.file)
    levels = [column for column in readings.columns if column.unit in LEVELS]
    if not levels:
        units = sorted({column.unit or "none" for column in readings.columns if column is not frequency[0]})
        raise Refusal(f"no column is a level in dBm or W (units here: {', '.join(units)}); say the unit in [columns] "
                      f"of the TOML file beside it, or leave --f0 out", "--f0", readings.file)
    return frequency[0], levels


def _said(readings: Readings, pattern: re.Pattern) -> list[tuple[str, str]]:
    return [(key, text.strip()) for key, texts in readings.facts.items() if pattern.match(key.strip())
            for text in texts if text.strip()]


def _bandwidth(readings: Readings, notes: list[str]) -> float | None:
    """The resolution bandwidth where the file says it once, with a unit."""
    values = {}
    for key, text in _said(readings, _BANDWIDTH):
        try:
            values[parse(" ".join(text.split()[:2]), "Hz")] = f"{key} {text}"
        except Refusal:
            notes.append(f"resolution bandwidth: '{key}: {text}' has no unit and is not used; give --rbw")
    if len(values) > 1:
        notes.append(f"resolution bandwidth: the file says {' and '.join(values.values())}; give --rbw")
    return next(iter(values)) if len(values) == 1 else None


def _detector(readings: Readings, notes: list[str]) -> str:
    said = sorted({text for _, text in _said(readings, _DETECTOR)})
    if len(said) != 1:
        if said:
            notes.append(f"detector: the file says {' and '.join(said)}; give --detector")
        return ""
    if _PEAK.search(said[0]) and not _NO_PEAK.search(said[0]):
        notes.append(f"detector: '{said[0]}' is taken as one that keeps the peak between points")
        return PEAK
    return said[0].lower()


def flag_counts(column: Column) -> dict[str, int]:
    """What is unusual about numbers of a column, and how often."""
    return dict(Counter(column.flags.values()))


def as_json(found: Inspection) -> dict[str, Any]:
    """Everything that page and picture show."""
    readings = found.readings
    return {"file": readings.file, "rows": len(readings.sweep), "sweeps": found.sweeps,
            "columns": [_column(column) for column in readings.columns],
            "sweep": [int(number) for number in readings.sweep],
            "markers": [{"name": m.name, "frequency_hz": finite_or_none(m.frequency), "value": finite_or_none(m.value),
                         "unit": m.unit, "flag": m.flag, "multiple": m.order} for m in readings.markers],
            "notes": [*readings.notes, *found.notes], "traces": [_trace(trace) for trace in found.traces],
            "marked": None if found.marked is None else _marked(found.marked)}


def _column(column: Column) -> dict[str, Any]:
    values = [finite_or_none(value) for value in column.values]
    return {"name": column.name, "unit": column.unit, "said": column.said, "meaning": column.meaning,
            "first": values[0] if values else None, "last": values[-1] if values else None,
            "flags": flag_counts(column), "values": values}


def _trace(found: TraceLines) -> dict[str, Any]:
    lines = found.lines
    noise, trace = lines.noise, lines.trace
    points = len(trace.level)
    return {"column": found.column, "sweep": found.sweep, "f0_hz": lines.f0,
            "resolution_bandwidth_hz": trace.bandwidth, "detector": trace.detector, "spacing_hz": trace.spacing,
            "point_loss_db": trace.point_loss_db, "noise_dbm": noise and noise.mean,
            "noise_reaches_dbm": noise and noise.reached(points), "noise_share": noise and noise.share,
            "noise_is_level": noise and noise.level, "noise_reaches_over_mean_db": noise and noise.over_db(points),
            "noise_floor_dbm": None if noise is None or noise.level else noise.floor.tolist(),
            "line_least_over_noise_db": noise and noise.called_db(points),
            "harmonics": [{"harmonic": line.harmonic, "frequency_hz": line.frequency, "level_dbm": line.level,
                           "above_noise": line.above_noise, "over_noise_db": line.ratio_db,
                           "reading_dbm": line.reading, "line_least_over_noise_db": line.called_db}
                          for line in lines.harmonics],
            "others": [{"frequency_hz": line.frequency, "level_dbm": line.level, **_relation(line.relation)}
                       for line in lines.others],
            "notes": list(lines.notes)}


def _relation(relation: Relation) -> dict[str, Any]:
    return {"nearest_harmonic": relation.harmonic, "distance_hz": relation.distance, "multiple": relation.multiple,
            "relation": relation.words}


def _marked(found: MarkedLines) -> dict[str, Any]:
    def common(line: MarkedLine | OtherMark) -> dict[str, Any]:
        return {"name": line.name, "frequency_hz": finite_or_none(line.frequency), "level_dbm": line.level,
                "flag": line.flag}

    return {"f0_hz": found.f0,
            "harmonics": [{"harmonic": line.harmonic, **common(line), "distance_hz": line.distance}
                          for line in found.harmonics],
            "others": [{**common(line), **_relation(line.relation)} for line in found.others],
            "notes": list(found.notes)}
