"""Lines of a spectrum that were noted one by one, as markers or as a short table, at multiples of the drive."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import Refusal
from ..quantities import show
from .levels import level_dbm
from .readings import Column, Marker, Readings
from .relations import Relation, relations
from .typed import PATTERN

LEVELS = ("dBm", "W")
FEWEST = 20  # points that a trace has at least; fewer rows are lines noted one by one
LEAST = 10  # where the file speaks of an analyser's settings
_OFF = 1e-3  # of f0: how far from a multiple of it a marker may stand (a marker stands on a point of a trace)


@dataclass(frozen=True)
class MarkedLine:
    """A line at a multiple of the drive's frequency: what it is called, where it stands [Hz, nan: it is called by its
    multiple], how far from the multiple, its level [dBm], and whether that is a limit (a flag of readings)."""

    harmonic: int
    name: str
    frequency: float
    distance: float
    level: float
    flag: str


@dataclass(frozen=True)
class OtherMark:
    """A line that is no harmonic, and how it lies to them."""

    name: str
    frequency: float
    level: float
    flag: str
    relation: Relation


@dataclass(frozen=True)
class MarkedLines:
    """What a list of lines says: harmonics by their order, the others by their place in the list, what is left out."""

    f0: float
    harmonics: tuple[MarkedLine, ...]
    others: tuple[OtherMark, ...]
    notes: tuple[str, ...]


def marked_lines(markers: Iterable[Marker], f0: float, frequency_error: float = 0.0, file: str = "") -> MarkedLines:
    """The nearest marker at each multiple of the drive's frequency, and all others.

    Parameters
    ----------
    f0, frequency_error : float
        Frequency of the drive, and by which it may be off; n times that at its n-th harmonic. Where none is known a
        marker may stand 0.1 % of f0 beside a multiple. [Hz]

    Raises
    ------
    Refusal
        Two markers stand equally near to one multiple.
    """
    if not 0 < f0 < np.inf:
        raise Refusal("the frequency of the drive must be above zero", "", file)
    notes, known = [], []
    for marker in markers:
        if marker.unit not in LEVELS or not math.isfinite(marker.value):
            what = f"is in {marker.unit}" if marker.unit else "has no unit"
            notes.append(f"marker {marker.name}: {marker.value:g} {what}, no level in dBm or W: not used")
        elif marker.order is not None or math.isfinite(marker.frequency) and marker.frequency > 0:
            known.append(marker)
    frequency = np.array([m.frequency if math.isfinite(m.frequency) else m.order * f0 for m in known])
    order = np.array([round(at / f0) if m.order is None else math.floor(m.order) for m, at in zip(known, frequency)],
                     int)
    distance = frequency - order * f0
    reach = np.maximum(_OFF * f0, frequency_error * order)
    at_multiple = np.array([m.order == n if m.order is not None else n > 0 and abs(away) <= far
                            for m, n, away, far in zip(known, order, distance, reach)], bool)
    taken = _nearest(known, order, np.abs(distance), at_multiple, file)
    found = tuple(MarkedLine(n, known[k].name, known[k].frequency, float(distance[k]), _dbm(known[k]), known[k].flag)
                  for n, k in sorted(taken.items()))
    rest = [k for k in range(len(known)) if k not in taken.values()]
    said = relations(frequency[rest], f0, lambda n: max(_OFF * f0, frequency_error * n))
    others = tuple(OtherMark(known[k].name, float(frequency[k]), _dbm(known[k]), known[k].flag, relation)
                   for k, relation in zip(rest, said))
    return MarkedLines(f0, found, others, tuple(notes))


def _nearest(known: Sequence[Marker], order: np.ndarray, away: np.ndarray, there: np.ndarray,
             file: str) -> dict[int, int]:
    """Order -> which marker."""
    taken: dict[int, int] = {}
    for n in sorted(set(order[there].tolist())):
        rows = np.flatnonzero(there & (order == n))
        rows = rows[np.argsort(away[rows], kind="stable")]
        if len(rows) > 1 and away[rows[1]] - away[rows[0]] <= 1e-9 * max(away[rows[1]], 1.0):
            raise Refusal(f"two markers stand at {n} f0, equally near: {known[rows[0]].name} and "
                          f"{known[rows[1]].name}; keep one", f"marker {known[rows[1]].name}", file)
        taken[n] = int(rows[0])
    return taken


def _dbm(marker: Marker) -> float:
    return float(level_dbm(marker.value, marker.unit))


def listed_lines(readings: Readings, f0: float, frequency_error: float = 0.0) -> MarkedLines | None:
    """The lines of a file that is a list of them: markers alone, or few rows of frequencies and levels.

    Returns
    -------
    MarkedLines or None
        None where the file is something else.

    Raises
    ------
    Refusal
        Rows are too few for a trace, and half of them or more stand at no multiple of f0.
    """
    if not readings.columns:
        return marked_lines(readings.markers, f0, frequency_error, readings.file) if readings.markers else None
    pair = frequency_and_level(readings)
    if pair is None or len(readings.sweep) >= FEWEST or says_spectrum(readings):
        return None
    found = marked_lines(_rows(readings, *pair), f0, frequency_error, readings.file)
    count, there = len(readings.sweep), len(found.harmonics)
    if there < 2 or 2 * there <= count:
        raise Refusal(f"{count} {'points are' if count > 1 else 'point is'} no trace of a spectrum (that has "
                      f"{FEWEST} at least), and {there} of them stand at multiples of {show(f0, 'Hz', 6)}: no list of "
                      f"its lines, which are typed as '{PATTERN}'; {settle(pair, count >= LEAST)}", "", readings.file)
    return found


def settle(pair: tuple[Column, Column], trace: bool = True) -> str:
    """What to write into the bench file where a table may be a trace, or a drive that was swept."""
    frequency, level = pair
    swept = (f'if the drive was swept write [columns] with the lines "{frequency.name}" = "drive.frequency" and '
             f'"{level.name}" = "output_dbm_2" (2: the harmonic)')
    return swept + ("; if it is a trace of a spectrum write [analyser] with the line resolution_bandwidth = "
                    '"100 kHz" (what it was)') * trace


def frequency_and_level(readings: Readings) -> tuple[Column, Column] | None:
    """The two columns of a trace, or of a list of lines; None where there are others with units."""
    frequency = [column for column in readings.columns if column.unit == "Hz"]
    level = [column for column in readings.columns if column.unit in LEVELS]
    others = [column for column in readings.columns if column.unit not in ("Hz", *LEVELS, "")]
    if len(frequency) != 1 or len(level) != 1 or others:
        return None
    return frequency[0], level[0]


def says_spectrum(readings: Readings) -> bool:
    """Whether the head of a file speaks of a spectrum analyser's settings."""
    return any(key.strip().lower().split(" ")[0] in ("rbw", "vbw", "span", "detector") or
               key.strip().lower().startswith(("resolution b", "res bw", "res. bw", "trace det", "video b"))
               for key in readings.facts)


def _rows(readings: Readings, frequency: Column, level: Column) -> list[Marker]:
    lines = readings.lines if len(readings.lines) else np.arange(1, len(readings.sweep) + 1)
    return [Marker(f"line {line}", float(at), float(value), level.unit, level.flags.get(row, ""))
            for row, (line, at, value) in enumerate(zip(lines, frequency.values, level.values))]
