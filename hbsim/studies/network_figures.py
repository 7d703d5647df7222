"""What S-parameters say in a few figures: pass band, passivity, the difference to a measurement; and as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..errors import Refusal
from ..linear.measured import renormalised
from ..linear.passivity import largest_gain
from ..linear.touchstone import TouchstoneData, read_touchstone
from ..linear.touchstone.data import ports_text
from ..quantities import show
from .junctions import junctions_json
from .network_chart import MOST_DRAWN, chart_curves
from .network_response import NetworkResponse, Seen
from .parameter_names import key_of, pairs

DOWN_DB = 3.0  # from the largest value of S21 to the edges of the band
_SAME_REFERENCE = 1e-9  # relative difference of references that are one
# Common practice, no source: the phase counts where both are above this, below noise turns it; and rms of size and
# phase at which other reference planes are suspected.
PHASE_FLOOR_DB = -30.0
_SIZES_AGREE_DB, _PHASES_PART_DEG = 0.5, 10.0


@dataclass(frozen=True)
class Band:
    """Where a 2-port lets most through, from port 1 to port 2.

    frequency, db : of the largest |S21| among the points. [Hz], [dB]
    low, high : where |S21| is 3 dB less, interpolated in dB between points; None where that is outside the range. [Hz]
    """

    frequency: float
    db: float
    low: float | None
    high: float | None


def band(found: NetworkResponse) -> Band | None:
    """The pass band of a 2-port; None for other port counts, and where nothing comes through."""
    if len(found.ports) != 2 or not found.s[:, 1, 0].any():
        return None
    frequency, db = found.frequency, found.swept.db[:, 1, 0]
    top = int(np.argmax(db))
    edges = [_edge(frequency, db, range(top, end, step), db[top] - DOWN_DB) for end, step in ((-1, -1), (len(db), 1))]
    return Band(float(frequency[top]), float(db[top]), *edges)


def _edge(frequency: np.ndarray, db: np.ndarray, way: range, level: float) -> float | None:
    """Where a curve first falls to `level` on a way that begins above it. [Hz]"""
    for inside, outside in zip(way, way[1:]):
        if db[outside] <= level:
            share = (db[inside] - level) / (db[inside] - db[outside])  # 0 where nothing at all is left outside
            return float(frequency[inside] + share * (frequency[outside] - frequency[inside]))
    return None


@dataclass(frozen=True)
class Difference:
    """How far one S-parameter is from a measured one: in dB of its size, as a complex number, in phase.

    largest_db, at : the largest difference, measured less computed [dB], and where [Hz]
    rms_db : root mean square over the points. [dB]
    points : how many; those where either is exactly 0 have no dB and do not count.
    largest, largest_at, rms : |S measured - S computed| over all common points: largest [1], where [Hz], root mean
        square [1].
    phase : the same of the phase, where both are above PHASE_FLOOR_DB; None where they are nowhere.
    """

    largest_db: float
    at: float
    rms_db: float
    points: int
    largest: float
    largest_at: float
    rms: float
    phase: PhaseDifference | None

    @property
    def other_planes(self) -> bool:
        """Whether sizes agree and phases do not, as between other reference planes."""
        return self.phase is not None and self.rms_db < _SIZES_AGREE_DB and self.phase.rms_deg > _PHASES_PART_DEG


@dataclass(frozen=True)
class PhaseDifference:
    """Phase measured less computed, between -180 and 180 deg: the largest [deg], where [Hz], rms [deg], points."""

    largest_deg: float
    at: float
    rms_deg: float
    points: int


@dataclass(frozen=True, eq=False)
class Measured:
    """Measured data beside a computed response.

    data : TouchstoneData, against the references of the response.
    common : ndarray of bool, (n,): which of its frequencies lie in the range of the response.
    seen : Seen, the data there; without group delay. computed : Seen, the response there.
    differences : {(i, j): Difference}, from port j to port i, counted from 0.
    """

    data: TouchstoneData
    common: np.ndarray
    seen: Seen
    computed: Seen
    differences: dict[tuple[int, int], Difference]


def measured(path: str, found: NetworkResponse) -> Measured:
    """Read a Touchstone file, and compute the response at its points: nothing is interpolated.

    Raises
    ------
    Refusal
        The file cannot be read, has another number of ports, or no point in the range.
    """
    data = read_touchstone(path)
    if data.ports != len(found.ports):
        raise Refusal(f"the file has {ports_text(data.ports)}, {len(found.ports)} are asked for; name as many, in the "
                      "order of the file", file=path)
    data = _against(data, found.reference)
    low, high = found.frequency[[0, -1]]
    common = (data.frequency >= low) & (data.frequency <= high)
    if not common.any():
        raise Refusal(f"no point of the file, which goes from {show(float(data.frequency[0]), 'Hz', 6)} to "
                      f"{show(float(data.frequency[-1]), 'Hz', 6)}, lies between {show(float(low), 'Hz', 6)} and "
                      f"{show(float(high), 'Hz', 6)}; ask for other frequencies", file=path)
    computed = found.model.seen(data.frequency[common], float(low), float(high))
    seen = Seen(data.frequency[common], data.s[common], np.full(computed.s.shape, np.nan))
    with np.errstate(invalid="ignore"):  # two infinities
        change = seen.db - computed.db
    differences = {(i, j): _difference(seen, computed, change[:, i, j], (i, j))
                   for i in range(data.ports) for j in range(data.ports) if np.isfinite(change[:, i, j]).any()}
    return Measured(data, common, seen, computed, differences)


def _difference(seen: Seen, computed: Seen, change: np.ndarray, pair: tuple[int, int]) -> Difference:
    """`change`: of the size, (n,) [dB], at least one of them finite."""
    frequency, one, other = seen.frequency, seen.s[:, *pair], computed.s[:, *pair]
    counts = np.flatnonzero(np.isfinite(change))
    worst = counts[int(np.argmax(np.abs(change[counts])))]
    error = np.abs(one - other)
    farthest = int(np.argmax(error))
    return Difference(float(change[worst]), float(frequency[worst]), _rms(change[counts]), len(counts),
                      float(error[farthest]), float(frequency[farthest]), _rms(error),
                      _phase_difference(frequency, one, other))


def _phase_difference(frequency: np.ndarray, one: np.ndarray, other: np.ndarray) -> PhaseDifference | None:
    loud = np.flatnonzero(np.minimum(np.abs(one), np.abs(other)) > 10.0**(PHASE_FLOOR_DB / 20.0))
    if not len(loud):
        return None
    turned = np.degrees(np.angle(one[loud] * other[loud].conj()))
    worst = int(np.argmax(np.abs(turned)))
    return PhaseDifference(float(turned[worst]), float(frequency[loud[worst]]), _rms(turned), len(loud))


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _against(data: TouchstoneData, reference: np.ndarray) -> TouchstoneData:
    """The file's data against other references, exactly."""
    if np.abs(data.reference / reference - 1.0).max() < _SAME_REFERENCE:
        return data
    return renormalised(data, reference)


# -- plain data ----------------------------------------------------------------------------------------------------


def header(ports: int) -> list[str]:
    """Columns of the CSV file; the names carry units, real and imaginary parts have none."""
    found = ["frequency_hz"]
    for i, j in pairs(ports):
        name = key_of(i, j, ports)
        found += [f"{name}_re", f"{name}_im", f"{name}_db", f"{name}_deg", f"{name}_delay_s"]
    return found


def rows(found: NetworkResponse) -> Iterator[list[str]]:
    """Rows of the CSV file; where there is no number a cell is empty."""
    swept = found.swept
    figures = np.stack([swept.s.real, swept.s.imag, swept.db, swept.deg, swept.delay])
    table = np.stack([figures[:, :, i, j] for i, j in pairs(len(found.ports))])  # (pair, figure, frequency)
    for k, frequency in enumerate(found.frequency.tolist()):
        yield [repr(value) if math.isfinite(value) else "" for value in [frequency, *table[:, :, k].ravel().tolist()]]


def as_json(found: NetworkResponse, beside: Measured | None = None) -> dict[str, Any]:
    """The response as plain data; every key carries its unit, None stands for no number."""
    count, gain, through = len(found.ports), largest_gain(found.s), band(found)
    worst = int(np.argmax(gain))
    drawn, curves = chart_curves(found, range(min(count, MOST_DRAWN)))
    return {
        "title": found.description.title,
        "devices": "absent" if found.operating is None else "linearised",
        "parts": None if found.parts is None else list(found.parts),
        "ports": [{"name": port.name, "plus": port.plus, "minus": port.minus, "reference_ohm": port.reference,
                   "of_circuit": port.of_circuit or None} for port in found.ports],
        "frequency_hz": found.frequency.tolist(),
        **_seen_json(found.swept, count),
        "harmonics": {"harmonic": list(found.harmonics), "frequency_hz": found.at_harmonics.frequency.tolist(),
                      **_seen_json(found.at_harmonics, count)},
        "band": None if through is None else {"largest_s21_hz": through.frequency, "largest_s21_db": through.db,
                                              "low_3_db_hz": through.low, "high_3_db_hz": through.high},
        "largest_gain": {"amplitude": float(gain[worst]), "frequency_hz": float(found.frequency[worst])},
        "operating_point": None if found.operating is None else {
            name: {"volts": point.volts, "amps": point.amps, "dissipation_w": point.dissipation,
                   "junction_temperature_k": point.temperature} for name, point in found.operating.items()},
        "chart": {"frequency_hz": drawn.tolist(), **{
            key_of(i, i, count): {"re": curves[:, i].real.tolist(), "im": curves[:, i].imag.tolist()}
            for i in range(curves.shape[1])}},
        "measured": None if beside is None else {
            "file": beside.data.file, "points": int(beside.common.sum()),
            "frequency_hz": beside.seen.frequency.tolist(), **{
                key: {name: seen[name] for name in ("re", "im", "db")}
                for key, seen in _seen_json(beside.seen, count).items()},
            "difference": {key_of(*pair, count): _difference_json(d) for pair, d in beside.differences.items()}},
        **junctions_json(found.description),
        "junctions_that_count": [junction.element.name for junction in found.junctions],
        "notes": list(found.notes),
        "warnings": list(found.warnings),
    }


def _difference_json(found: Difference) -> dict[str, Any]:
    turned = found.phase
    return {"largest_db": found.largest_db, "at_hz": found.at, "rms_db": found.rms_db, "points": found.points,
            "largest_amplitude": found.largest, "largest_amplitude_at_hz": found.largest_at,
            "rms_amplitude": found.rms,
            "phase": None if turned is None else {"largest_deg": turned.largest_deg, "at_hz": turned.at,
                                                  "rms_deg": turned.rms_deg, "points": turned.points}}


def _seen_json(seen: Seen, count: int) -> dict[str, Any]:
    return {key_of(i, j, count): {
        "re": seen.s[:, i, j].real.tolist(), "im": seen.s[:, i, j].imag.tolist(), "db": _plain(seen.db[:, i, j]),
        "deg": seen.deg[:, i, j].tolist(), "delay_s": _plain(seen.delay[:, i, j])} for i, j in pairs(count)}


def _plain(values: np.ndarray) -> list[float | None]:
    return [value if math.isfinite(value) else None for value in values.tolist()]
