"""Page of text of `hbsim drive`: the law, where the output leaves it, what leaks, what cold and heat cost."""

from __future__ import annotations

import math

import numpy as np

from ..quantities import show
from ..studies.compression import sentence
from ..studies.drive_study import FLAT_SLOPE, LAW_BAND, DriveCurve, DriveStudy, definitions, temperature_name
from .style import harmonic_name
from .text import listed, table, wrapped

_ROWS = 16  # drives told of; --csv holds all


def drive_study_page(study: DriveStudy) -> str:
    """The readable page of a drive study."""
    curve, description = study.curve, study.description
    first, last = (show(float(drive), "dBm", 5) for drive in curve.drive[[0, -1]])
    lines = [*wrapped(description.title), *wrapped(
        f"Harmonic {study.order} at port {description.wanted_port}, for {len(curve.drive)} drives from {first} to "
        f"{last} at {show(description.drive.frequency, 'Hz', 7)}; {int(curve.table.solved.sum())} solved"), ""]
    lines += [line for text in sentences(study) for line in wrapped(text, "  - ", "    ")]
    lines += ["", *_table(study)]
    if study.shifts:
        lines += ["", *_temperatures(study)]
    lines += listed("Also seen", study.remarks)
    return "\n".join([*lines, *listed("Meant by this", [f"{key.replace('_', ' ')}: {meaning}" for key, meaning
                                                       in definitions(study.order).items()])])


def sentences(study: DriveStudy) -> list[str]:
    """What the curve of the file shows, in words."""
    curve, order, found = study.curve, study.order, []
    if curve.law is None:
        found.append(f"Nowhere in this range does the output rise by {order} dB per dB, within {LAW_BAND:g} dB/dB.")
    else:
        law = curve.law
        found.append(f"Power law: from {law.from_dbm:.4g} to {law.to_dbm:.4g} dBm the slope stays within {LAW_BAND:g} "
                     f"of {order} dB/dB. The line fitted there rises by {law.slope:.3f} dB/dB; no point is more than "
                     f"{law.worst_db:.2f} dB off it.")
    if curve.turn_on_dbm is not None:
        found.append(f"Turn-on: at {curve.turn_on_dbm:.2f} dBm the output rises most steeply, by {curve.steepest:.2f} "
                     "dB/dB. Below that the stage snaps off.")
    if curve.found is not None:
        found.append(sentence(curve.found))
    elif study.description.drive.second_harmonic is not None:
        found.append("No 1 dB point is told: at low drive the generator's own second harmonic comes through, so there "
                     "is no line to count from. Leave second_harmonic out to have it.")
    if curve.onset_dbm is not None:
        found.append(f"Onset of saturation: from {curve.onset_dbm:.2f} dBm on the output rises by less than "
                     f"{order / 2:g} dB/dB.")
    if curve.most_dbm is not None:
        words = f"{curve.most_dbm:.2f} dBm at {curve.most_at_dbm:.2f} dBm of drive"
        found.append(f"Saturated output: {words}." if curve.saturated else
                     f"Not saturated in this range: most output is {words}, its end, where it still rises by "
                     f"{curve.slope_at_most:.2f} dB/dB (saturated is below {FLAT_SLOPE:g}).")
    return found


def _table(study: DriveStudy) -> list[str]:
    curve = study.curve
    heads = ["drive / dBm", f"{harmonic_name(study.order)} / dBm", "slope / dB/dB", "above asymptote / dB",
             *(f"{harmonic_name(k)} / dBc" for k in study.leaks)]
    line = np.full(len(curve.drive), math.nan) if curve.found is None else curve.found.line(curve.drive)
    chosen = np.unique(np.linspace(0, len(curve.drive) - 1, _ROWS).round().astype(int))
    with np.errstate(invalid="ignore"):
        columns = [curve.drive, curve.output, curve.slope, curve.output - line, *map(curve.leak, study.leaks)]
    return table([heads, *([_cell(column[n]) for column in columns] for n in chosen)])


def _cell(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else "-"


def _temperatures(study: DriveStudy) -> list[str]:
    reference = show(study.reference_k, "K")
    if study.reference_output_dbm is None:
        lines = wrapped(f"At {reference} and the drive of the file nothing was solved, so no shift is told.")
    else:
        lines = wrapped(f"Temperature of every device; counted from {reference} with {study.reference_drive_dbm:.4g} "
                        f"dBm, which gives {study.reference_output_dbm:.2f} dBm:")
    rows = [["", "drive for the same output", "more drive", "turn-on", "later", "drive of the file above turn-on"]]
    for curve, shift in zip(study.at_temperature, study.shifts):
        rows.append([temperature_name(shift.temperature), _told(shift.drive_dbm, "dBm"),
                     _told(shift.more_drive_db, "dB"), _told(curve.turn_on_dbm, "dBm"), _told(shift.later_db, "dB"),
                     _told(shift.above_turn_on_db, "dB")])
    return [*lines, *table(rows, left=(0,)), *cold_lines(study)]


def cold_lines(study: DriveStudy) -> list[str]:
    """What the coldest of the temperatures costs, in words."""
    coldest = study.shifts[0]
    if coldest.temperature == study.reference_k:
        return []
    where, said = show(coldest.temperature, "K"), []
    if coldest.more_drive_db is not None:
        said.append(f"At {where} the same output takes {_more(coldest.more_drive_db)} drive.")
    else:
        said.append(f"At {where} that output is not reached in this range.")
    if coldest.later_db is not None:
        said.append(f"The stage turns on at {_more(coldest.later_db)} drive.")
    return wrapped(" ".join(said), "  ", "  ")


def _more(db: float) -> str:
    return f"{abs(db):.2f} dB {'more' if db >= 0 else 'less'}"


def _told(value: float | None, unit: str) -> str:
    return "-" if value is None else f"{value:.2f} {unit}"


def short_temperature(curve: DriveCurve) -> str:
    """The label of a curve in a picture."""
    return temperature_name(curve.temperature)
