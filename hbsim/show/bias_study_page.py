"""Page of text of `hbsim bias`: the best value at each drive, and what the waveforms do around it."""

from __future__ import annotations

import math

import numpy as np

from ..quantities import show
from ..studies.bias_study import LOST_DB, Best, BiasStudy, Waveforms
from ..studies.junction_states import DEFINITION
from .style import harmonic_name
from .text import listed, table, wrapped


def bias_study_page(study: BiasStudy) -> str:
    """The readable page of a bias study."""
    first, last = (show(float(value), study.unit) for value in study.values[[0, -1]])
    lines = [*wrapped(study.description.title),
             *wrapped(f"{study.address} from {first} to {last}, {len(study.values)} values, for each drive; currents "
                      f"and waveforms of {study.device}"), "", *_bests(study), ""]
    lines += [line for text in sentences(study) for line in wrapped(text, "  - ", "    ")]
    if study.waveforms:
        lines += ["", *_states(study)]
    return "\n".join([*lines, *listed("Above ratings at the most output", _ratings(study)),
                      *listed("Meant by this", [DEFINITION, f"below, above: where {LOST_DB:g} dB of output are lost, "
                                                "or the end of the range"])])


def _bests(study: BiasStudy) -> list[str]:
    rows = [["drive", "most output", "at", "return loss there", "best match", "at", "output there"]]
    for curve in study.curves:
        rows.append([show(curve.drive_dbm, "dBm"), *_best(study, curve.most_output, "dBm"),
                     _near(study, curve.columns, curve.most_output, "input_return_loss_db", "dB"),
                     *_best(study, curve.best_match, "dB"),
                     _near(study, curve.columns, curve.best_match, study.wanted, "dBm")])
    return [*table(rows), "  values at the other's best are read between the points of the grid; * end of the range"]


def _best(study: BiasStudy, best: Best | None, unit: str) -> tuple[str, str]:
    if best is None:
        return "-", "-"
    return f"{best.figure:.2f} {unit}", f"{'* ' if best.at_end else ''}{show(best.value, study.unit, 3)}"


def _near(study: BiasStudy, columns: dict, best: Best | None, column: str, unit: str) -> str:
    value = math.nan if best is None else float(np.interp(best.value, study.values, columns[column]))
    return f"{value:.1f} {unit}" if math.isfinite(value) else "-"


def sentences(study: BiasStudy) -> list[str]:
    """What the best values say, in words; only what the numbers show."""
    found, sure = [], [c for c in study.curves if c.most_output is not None and not c.most_output.at_end]
    values = [curve.most_output.value for curve in sure]
    if len(values) > 1:
        rising = all(a < b for a, b in zip(values, values[1:]))
        falling = all(a > b for a, b in zip(values, values[1:]))
        way = "rises" if rising else "falls" if falling else "does not move one way"
        found.append(f"The value of most output {way} with the drive: "
                     f"{', '.join(show(v, study.unit, 3) for v in values)}.")
    for curve in sure:
        match = curve.best_match
        if match is not None and not match.at_end:
            apart = curve.most_output.value - match.value
            found.append(f"At {show(curve.drive_dbm, 'dBm')} most output lies {show(abs(apart), study.unit, 3)} "
                         f"{'above' if apart > 0 else 'below'} the best match.")
    below, best, above = (next((w for w in study.waveforms if w.place == place), None)
                          for place in ("below", "best", "above"))
    return found + [text for other in (below, above) if best and other for text in [_why(study, best, other)]]


def _why(study: BiasStudy, best: Waveforms, other: Waveforms) -> str:
    """How the current's harmonic, peak, angle and states differ from those at the best."""
    name = harmonic_name(study.description.wanted_harmonic)
    return (f"{other.place.capitalize()} the best, {other.lost_db:.2f} dB of output lost: {study.device}'s current at "
            f"{name} is {show(other.harmonic_amps, 'A', 3)} instead of {show(best.harmonic_amps, 'A', 3)} "
            f"({_share(other)} instead of {_share(best)} of its peak of {show(other.peak_amps, 'A', 3)} and "
            f"{show(best.peak_amps, 'A', 3)}), with {other.angle_deg:.0f} instead of {best.angle_deg:.0f} deg of "
            f"conduction{_saturated(best, other)}.")


def _saturated(best: Waveforms, other: Waveforms) -> str:
    shares = [f"{100 * told.states.saturated:.1f} %" for told in (other, best)]
    if set(shares) == {"0.0 %"}:
        return ", in saturation at neither"
    return f" and {shares[0]} instead of {shares[1]} of the period in saturation"


def _share(told: Waveforms) -> str:
    return f"{100 * told.harmonic_amps / told.peak_amps:.1f} %"


def _states(study: BiasStudy) -> list[str]:
    name = harmonic_name(study.description.wanted_harmonic)
    rows = [["", study.address, "output", "cut off", "in between", "saturated", "conduction", f"{name} current",
             "average", "peak"]]
    for told in study.waveforms:
        states = told.states
        rows.append([told.place, show(told.value, study.unit, 3), f"{told.output_dbm:.2f} dBm",
                     f"{states.cut_off:.1%}", f"{states.between:.1%}", f"{states.saturated:.1%}",
                     f"{told.angle_deg:.0f} deg", show(told.harmonic_amps, "A", 3), show(told.average_amps, "A", 3),
                     show(told.peak_amps, "A", 3)])
    return [f"{study.device} over the period, at {show(study.explained_dbm, 'dBm')}:", *table(rows, left=(0,))]


def _ratings(study: BiasStudy) -> list[str]:
    found = []
    for curve in study.curves:
        if curve.most_output is not None:
            nearest = int(np.argmin(np.abs(study.values - curve.most_output.value)))
            found += [f"{show(curve.drive_dbm, 'dBm')}: {words}" for words in curve.exceeded.get(nearest, ())]
    return found
