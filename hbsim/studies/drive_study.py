"""The wanted output against the drive: power law, onset of saturation, most output, leakage; the same cold and hot.

All is read from solved points: the slope is the central difference from point to point. What is said to be at a drive
between two points was solved for there.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.solution import FLOOR_DBM
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import HbsimError, Refusal
from ..quantities import finite_or_none, show
from .axis import axis_values
from .compression import Compression, compression
from .highlights import highlights
from .sweep import sweep
from .table import SweepTable

LAW_BAND = 0.1  # dB/dB that the slope may be off the law where the law is said to hold
FLAT_SLOPE = 0.1  # dB/dB below which the output counts as saturated
LOWEST_DBM, ABOVE_DB, STEP_DB = -60.0, 12.0, 0.5  # drives where none are given; ABOVE_DB over that of the file
_CLEAR_DB = 20.0  # of rounding, what counts as output
_DIGITS_DB = 1e-4


@dataclass(frozen=True)
class Law:
    """Where the output follows its power law, and the straight line fitted there.

    from_dbm, to_dbm : drives between which the slope stays within LAW_BAND of the law. [dBm]
    slope : of the fitted line. [dB/dB]
    at_0_dbm : output on the fitted line at 0 dBm of drive. [dBm]
    worst_db : how far a point of the region is off the line at most. [dB]
    """

    from_dbm: float
    to_dbm: float
    slope: float
    at_0_dbm: float
    worst_db: float


@dataclass(frozen=True, eq=False)
class DriveCurve:
    """Output against drive at one temperature.

    temperature : of the devices, or of what surrounds them where they heat themselves; None: as the file says. [K]
    table : SweepTable along drive.power.
    slope : (n_point,), of the wanted output; nan where unknown. [dB/dB]
    law : Law or None where no two points follow it.
    found : Compression or None; the asymptote and the 1 dB point.
    turn_on_dbm : drive at which the output rises most steeply; None where it nowhere rises faster than the law. [dBm]
    onset_dbm : first drive beyond the steepest one at which the slope has fallen to half of the law. [dBm]
    most_dbm, most_at_dbm, slope_at_most : most output, its drive, the slope there. [dBm], [dBm], [dB/dB]
    """

    temperature: float | None
    table: SweepTable
    slope: np.ndarray
    law: Law | None
    found: Compression | None
    turn_on_dbm: float | None
    onset_dbm: float | None
    most_dbm: float | None
    most_at_dbm: float | None
    slope_at_most: float | None

    @property
    def drive(self) -> np.ndarray:
        """Drives, (n_point,). [dBm]"""
        return self.table["drive.power"]

    @property
    def output(self) -> np.ndarray:
        """Wanted output, (n_point,). [dBm]"""
        return self.table[self.table.wanted]

    @property
    def saturated(self) -> bool:
        """Whether the output has stopped rising: a maximum inside the range, or a slope below FLAT_SLOPE."""
        if self.most_at_dbm is None:
            return False
        return self.most_at_dbm < self.drive[-1] or self.slope_at_most < FLAT_SLOPE

    @property
    def steepest(self) -> float:
        """The greatest slope. [dB/dB]"""
        return float(np.nanmax(self.slope)) if np.isfinite(self.slope).any() else math.nan

    def output_at(self, drive: float | None) -> float | None:
        """Wanted output at a drive between the points, on a straight line between them; None at None. [dBm]"""
        return None if drive is None else finite_or_none(float(np.interp(drive, self.drive, self.output)))

    def leak(self, harmonic: int) -> np.ndarray:
        """A harmonic relative to the wanted one, (n_point,). [dBc]"""
        with np.errstate(invalid="ignore"):
            return self.table[f"output_dbm_{harmonic}"] - self.output


@dataclass(frozen=True)
class Shift:
    """What a temperature costs against the reference.

    drive_dbm, more_drive_db : drive for the reference output, and how much more that is; None where the output is not
        reached. [dBm], [dB]
    later_db : how much later the stage turns on. [dB]
    above_turn_on_db : by how much the drive of the file is above turn-on. [dB]
    """

    temperature: float
    drive_dbm: float | None
    more_drive_db: float | None
    later_db: float | None
    above_turn_on_db: float | None


@dataclass(frozen=True, eq=False)
class DriveStudy:
    """The curve of the circuit as its file says, those at other temperatures, and what these cost.

    leaks : harmonics that are told beside the wanted one.
    reference_k, reference_drive_dbm, reference_output_dbm : what the shifts are counted from.
    """

    description: Description
    curve: DriveCurve
    leaks: tuple[int, ...]
    remarks: tuple[str, ...]
    at_temperature: tuple[DriveCurve, ...] = ()
    reference_k: float | None = None
    reference_drive_dbm: float | None = None
    reference_output_dbm: float | None = None
    shifts: tuple[Shift, ...] = ()

    @property
    def order(self) -> int:
        """The law: dB of output per dB of drive."""
        return self.description.wanted_harmonic


def drive_study(description: Description, drives: Sequence[Any] | str | None = None,
                temperatures: Sequence[Any] = (), *, harmonics: int | None = None,
                accuracy: Accuracy = Accuracy(), progress: Callable[[int, int], None] | None = None) -> DriveStudy:
    """Study the wanted output along the drive.

    Parameters
    ----------
    drives : sequence or "start : stop : step", or None
        At least five, as in a sweep. None: from -60 dBm to 12 dB above the drive of the file, by 0.5 dB. [dBm]
    temperatures : sequence
        Texts with units, or numbers [K]: every device at each of these. What they cost is counted from the one nearest
        to that of the first device in the file, at the output that the drive of the file has there.
    harmonics, accuracy
        As in a sweep.
    progress : function of (points done, points in all), or None

    Raises
    ------
    Refusal
        Fewer than five drives, no device to heat or cool, or as a sweep.
    """
    spec, own = description.look_up("drive.power")
    top = math.ceil(own + ABOVE_DB)
    values = axis_values(spec, drives if drives is not None else f"{min(LOWEST_DBM, top - ABOVE_DB):g}:{top:g}:"
                                                                 f"{STEP_DB:g} dBm", "drive.power")
    values = np.unique(values)
    if len(values) < 5:
        raise Refusal("a study along the drive takes at least 5 drives; widen the range or narrow the step",
                      "drive.power")
    shown = max(accuracy.lines_of(description), description.wanted_harmonic + 1)
    accuracy = replace(accuracy, lines=shown)  # the leak above the wanted harmonic is told even where fewer are asked
    report = _reports(progress, 1 + len(temperatures))
    curve = _curve(description, values, harmonics, accuracy, None, report(0))
    leaks = tuple(k for k in range(1, description.wanted_harmonic + 2)
                  if k != description.wanted_harmonic and k <= curve.table.lines)
    study = DriveStudy(description, curve, leaks, tuple(highlights(description, curve.table)))
    return _with_temperatures(study, temperatures, values, harmonics, accuracy, report) if len(temperatures) else study


def _reports(progress: Callable[[int, int], None] | None, curves: int) -> Callable[[int], Any]:
    """For each curve by its number: what a sweep tells of its own points, counted among those of all curves."""
    if progress is None:
        return lambda number: None
    return lambda number: lambda done, total: progress(number * total + done, curves * total)


def _curve(description: Description, drives: np.ndarray, harmonics: int | None, accuracy: Accuracy,
           temperature: float | None, progress: Callable[[int, int], None] | None) -> DriveCurve:
    table = sweep(description, {"drive.power": drives}, harmonics, accuracy=accuracy, progress=progress)
    drive, output, order = table["drive.power"], table[table.wanted], table.wanted_harmonic
    level = np.where(output > FLOOR_DBM + _CLEAR_DB, output, np.nan)
    slope = np.gradient(level, drive)
    steepest = int(np.nanargmax(slope)) if np.isfinite(slope).any() else None
    turn_on = onset = None
    if steepest is not None:
        turn_on = _peak(drive, slope, steepest) if slope[steepest] > order + LAW_BAND else None
        onset = _falls_to(drive, slope, steepest, order / 2)
    most = int(np.nanargmax(level)) if np.isfinite(level).any() else None
    told = (None, None, None) if most is None else (float(level[most]), float(drive[most]), float(slope[most]))
    return DriveCurve(temperature, table, slope, law_region(drive, level, slope, order),
                      compression(description, table), turn_on, onset, *told)


def law_region(drive: np.ndarray, level: np.ndarray, slope: np.ndarray, order: int,
               band: float = LAW_BAND) -> Law | None:
    """The first stretch of drives along which the slope stays within `band` of the law, and its fitted line.

    drive [dBm], level [dBm] and slope [dB/dB], (n_point,), drives rising; None where no two neighbours follow the law.
    """
    with np.errstate(invalid="ignore"):
        holds = np.abs(slope - order) <= band
    starts = np.flatnonzero(holds[:-1] & holds[1:])
    if not len(starts):
        return None
    begin = int(starts[0])
    out = np.flatnonzero(~holds[begin:])
    end = begin + int(out[0]) if len(out) else len(drive)
    x, y = drive[begin:end], level[begin:end]
    rise, at_0 = np.polyfit(x, y, 1)
    return Law(float(x[0]), float(x[-1]), float(rise), float(at_0), float(np.abs(y - rise * x - at_0).max()))


def _peak(x: np.ndarray, y: np.ndarray, at: int) -> float:
    """Where the parabola through a greatest value and its neighbours has its vertex; the place itself at an end."""
    if not 0 < at < len(x) - 1 or not np.isfinite(y[at - 1:at + 2]).all():
        return float(x[at])
    a, b, _ = np.polyfit(x[at - 1:at + 2] - x[at], y[at - 1:at + 2], 2)
    return float(x[at] - b / (2 * a)) if a < 0 else float(x[at])


def _falls_to(x: np.ndarray, y: np.ndarray, begin: int, level: float) -> float | None:
    """First place from `begin` on where y has fallen to a level, linear between points."""
    with np.errstate(invalid="ignore"):
        below = np.flatnonzero(y[begin:] <= level)
    if not len(below) or below[0] == 0:
        return None
    n = begin + int(below[0])
    if not np.isfinite(y[n - 1]):
        return None
    return float(x[n - 1] + (y[n - 1] - level) / (y[n - 1] - y[n]) * (x[n] - x[n - 1]))


def _with_temperatures(study: DriveStudy, temperatures: Sequence[Any], drives: np.ndarray, harmonics: int | None,
                       accuracy: Accuracy, report: Callable[[int], Any]) -> DriveStudy:
    description = study.description
    if not description.devices:
        raise Refusal("there is no device whose temperature could change", "temperatures")
    first = f"{next(iter(description.devices))}.temperature"
    spec, own = description.look_up(first)
    kelvins = np.unique(axis_values(spec, temperatures, first))
    curves = tuple(_curve(at_temperature(description, t), drives, harmonics, accuracy, float(t), report(n))
                   for n, t in enumerate(kelvins, 1))
    reference = int(np.argmin(np.abs(kelvins - own)))
    power = description.drive.power_dbm

    def level(temperature: float) -> Callable[[float], float]:
        there = at_temperature(description, temperature)
        return lambda drive: solve(there.with_values({"drive.power": float(drive)}), harmonics,
                                   accuracy=accuracy).output_dbm(study.order)

    try:
        wanted = level(kelvins[reference])(power)
    except HbsimError:
        wanted = math.nan
    base = curves[reference].turn_on_dbm
    shifts = []
    for n, curve in enumerate(curves):
        on = curve.turn_on_dbm
        drive = power if n == reference else drive_for(curve, level(curve.temperature), wanted)
        shifts.append(Shift(curve.temperature, drive, None if drive is None else drive - power,
                            None if on is None or base is None else on - base, None if on is None else power - on))
    return DriveStudy(description, study.curve, study.leaks, study.remarks, curves, float(kelvins[reference]), power,
                      wanted if math.isfinite(wanted) else None, tuple(shifts))


def at_temperature(description: Description, temperature: float) -> Description:
    """The same circuit with every device at a temperature (with its surroundings there, where it heats itself). [K]"""
    return description.with_values({f"{name}.temperature": float(temperature) for name in description.devices})


def drive_for(curve: DriveCurve, level: Callable[[float], float], wanted_dbm: float) -> float | None:
    """The least drive at which the output reaches a level, solved for between the points of the curve. [dBm]

    level : drive [dBm] -> output [dBm]. None where the level is not reached inside the curve, or not solved for.
    """
    from scipy.optimize import brentq
    with np.errstate(invalid="ignore"):
        reached = np.flatnonzero(curve.output >= wanted_dbm)
    if not math.isfinite(wanted_dbm) or not len(reached) or reached[0] == 0:
        return None
    low, high = curve.drive[reached[0] - 1], curve.drive[reached[0]]
    try:
        return float(brentq(lambda drive: level(drive) - wanted_dbm, low, high, xtol=_DIGITS_DB))
    except (HbsimError, ValueError):  # unsolved, or a jump, on the way
        return None


def header(study: DriveStudy) -> list[str]:
    """Column names of the CSV file; each carries its unit. An empty temperature: as the file says."""
    table = study.curve.table
    return ["temperature_kelvin", "drive.power_dbm", "slope_db_per_db", "above_asymptote_db",
            *(f"output_dbc_{k}" for k in study.leaks), *table.columns]


def rows(study: DriveStudy) -> Iterator[list[Any]]:
    """Rows of the CSV file: the curve of the file, then those at the temperatures; unsolved points have no numbers."""
    for curve in (study.curve, *study.at_temperature):
        line = np.full(len(curve.drive), math.nan) if curve.found is None else curve.found.line(curve.drive)
        for n, drive in enumerate(curve.drive):
            with np.errstate(invalid="ignore"):
                derived = [curve.slope[n], curve.output[n] - line[n], *(curve.leak(k)[n] for k in study.leaks)]
            cells = [_cell(value) for value in derived]
            cells += [str(bool(column[n])).lower() if name == "solved" else _cell(column[n])
                      for name, column in curve.table.columns.items()]
            yield ["" if curve.temperature is None else repr(curve.temperature), repr(float(drive)), *cells]


def _cell(value: float) -> str:
    return repr(float(value)) if math.isfinite(value) else ""


def as_json(study: DriveStudy) -> dict[str, Any]:
    """All numbers of a study as plain data; None stands for no number."""
    return {
        "title": study.description.title, "wanted_harmonic": study.order,
        "definitions": definitions(study.order), "curve": _curve_json(study, study.curve),
        "temperatures": [_curve_json(study, curve) for curve in study.at_temperature],
        "reference": None if study.reference_k is None else {
            "temperature_kelvin": study.reference_k, "drive_dbm": study.reference_drive_dbm,
            "output_dbm": study.reference_output_dbm},
        "shifts": [{"temperature_kelvin": s.temperature, "drive_dbm": s.drive_dbm, "more_drive_db": s.more_drive_db,
                    "later_turn_on_db": s.later_db, "drive_above_turn_on_db": s.above_turn_on_db}
                   for s in study.shifts],
        "remarks": list(study.remarks),
    }


def definitions(order: int) -> dict[str, str]:
    """What the words of the study mean."""
    return {
        "law": f"the slope is within {LAW_BAND:g} dB/dB of {order} dB/dB; the line is fitted to the points there",
        "asymptote": f"the line of {order} dB/dB through the output at low drive",
        "one_db_point": "first drive at which the output is 1 dB below the asymptote",
        "turn_on": f"the drive at which the output rises most steeply, where that is faster than {order} dB/dB",
        "onset_of_saturation": f"first drive beyond the steepest rise where the slope is down to {order / 2:g} dB/dB",
        "saturated": f"the output has a maximum inside the range, or rises by less than {FLAT_SLOPE:g} dB/dB at its "
                     "end",
    }


def _curve_json(study: DriveStudy, curve: DriveCurve) -> dict[str, Any]:
    law, found, columns = curve.law, curve.found, curve.table.columns
    return {
        "temperature_kelvin": curve.temperature,
        "law": None if law is None else {
            "from_dbm": law.from_dbm, "to_dbm": law.to_dbm, "slope_db_per_db": law.slope,
            "line_dbm_at_0_dbm": law.at_0_dbm, "worst_db": law.worst_db},
        "asymptote": None if found is None else {"slope_db_per_db": found.order, "line_dbm_at_0_dbm": found.line_dbm,
                                                 "most_above_db": found.most_above_db,
                                                 "output_dbm": found.line(curve.drive).tolist()},
        "one_db_point": None if found is None or found.drive_dbm is None else {
            "drive_dbm": found.drive_dbm, "output_dbm": found.output_dbm},
        "turn_on_dbm": curve.turn_on_dbm, "steepest_db_per_db": finite_or_none(curve.steepest),
        "turn_on_output_dbm": curve.output_at(curve.turn_on_dbm),
        "onset_of_saturation_dbm": curve.onset_dbm, "onset_output_dbm": curve.output_at(curve.onset_dbm),
        "most_output": None if curve.most_dbm is None else {
            "output_dbm": curve.most_dbm, "drive_dbm": curve.most_at_dbm,
            "slope_db_per_db": finite_or_none(curve.slope_at_most), "saturated": curve.saturated},
        "drive_dbm": curve.drive.tolist(), "slope_db_per_db": _list(curve.slope),
        **{f"output_dbc_{k}": _list(curve.leak(k)) for k in study.leaks},
        "columns": {name: column.astype(bool).tolist() if name == "solved" else _list(column)
                    for name, column in columns.items()},
        "unsolved": [{"drive_dbm": float(curve.drive[n]), "reason": why}
                     for n, why in sorted(curve.table.reasons.items())],
    }


def _list(values: np.ndarray) -> list[float | None]:
    return [finite_or_none(float(value)) for value in values]


def temperature_name(kelvin: float | None) -> str:
    """A curve's temperature in words."""
    return "as the file says" if kelvin is None else show(kelvin, "K", 4)
