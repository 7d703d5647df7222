"""Page of text of `hbsim frequency`: output, bandwidth, match, leakage and carried power across f0."""

from __future__ import annotations

import math

import numpy as np

from ..balance.accuracy import tolerance_words
from ..quantities import show
from ..studies.band_edges import BEYOND, GAP, JUMP, Band, Edge, Mark
from ..studies.frequency_figures import definitions
from ..studies.frequency_study import BELOW_MOST_DB, FrequencyStudy, Through
from .style import harmonic_name
from .text import listed, table, wrapped

_ROWS = 16  # frequencies told of; --csv holds all
_DIGITS = 6
_MOST_REASONS = 4
_LOWEST_DBM = -120.0  # carried power below this is told as nothing


def frequency_page(study: FrequencyStudy) -> str:
    """The readable page of a frequency study."""
    description, wanted = study.description, harmonic_name(study.order)
    first, last = (show(float(hz), "Hz", _DIGITS) for hz in study.frequency[[0, -1]])
    there = "" if study.order == 1 else (f" ({wanted}: {_times(study, study.frequency[0])} to "
                                         f"{_times(study, study.frequency[-1])})")
    lines = [*wrapped(description.title), *wrapped(
        f"Harmonic {study.order} at port {description.wanted_port} for f0 from {first} to {last}{there}, "
        f"{show(description.drive.power_dbm, 'dBm')} into port {description.drive.port}; {len(study.frequency)} "
        f"frequencies, {int(study.solved.sum())} solved"), ""]
    lines += [line for text in sentences(study) for line in wrapped(text, "  - ", "    ")]
    lines += ["", *_table(study)]
    for one in study.through:
        lines += ["", *_through(study, one)]
    return "\n".join([*lines, *listed("Also seen", remarks(study)), *listed("Meant by this", [
        f"{key.replace('_', ' ')}: {meaning}" for key, meaning in definitions(study).items()])])


def sentences(study: FrequencyStudy) -> list[str]:
    """What was found, in words."""
    wanted = harmonic_name(study.order)
    if study.most is None:
        return [f"Nothing comes out at {wanted} at any frequency that was solved for."]
    found = [f"Most output at {wanted}: {study.most.columns[study.wanted]:.2f} dBm at {_both(study, study.most.hz)}"
             f"{_place(study.most)}."]
    if study.own is not None:
        level = study.own.columns[study.wanted]
        found.append(f"At f0 of the file, {show(study.own.hz, 'Hz', _DIGITS)}: {level:.2f} dBm, "
                     f"{study.most.columns[study.wanted] - level:.2f} dB below the most.")
    found += [f"{_band_name(below)}: {band_words(study, one)}." for below, one in zip(BELOW_MOST_DB, study.bands)]
    if study.match is not None:
        best = study.match.columns["input_return_loss_db"]
        found.append(f"Best match at port {study.description.drive.port}, at f0: {best:.1f} dB of return loss at "
                     f"{_both(study, study.match.hz)}{_place(study.match)}.")
        found.append(f"Return loss of {study.matched_db:g} dB or more: " + (
            "nowhere in this range." if study.matched is None else f"{band_words(study, study.matched)}."))
    return found + _leak_sentences(study)


def _band_name(below: float) -> str:
    return f"Bandwidth at -{below:g} dB"


def _leak_sentences(study: FrequencyStudy) -> list[str]:
    told = [f"{harmonic_name(one.harmonic)} {one.dbc:.1f} dBc at f0 = {show(one.at_hz, 'Hz', _DIGITS)}"
            for one in study.leaks if math.isfinite(one.dbc)]
    part = "" if study.bands[-1].width_hz is not None else ", as far as it lies in this range"
    return [f"Leakage at its worst within the -3 dB band{part}, against {harmonic_name(study.order)}: "
            f"{'; '.join(told)}."] if told else []


def band_words(study: FrequencyStudy, band: Band) -> str:
    """Where a band lies, and how wide it is at f0 and at the wanted harmonic."""
    low, high = (edge_words(edge) for edge in (band.low, band.high))
    if band.low.why == band.high.why == BEYOND:
        return "all of the range, and beyond"
    if band.width_hz is None:
        return f"f0 from {low} to {high}; no width is told, as an edge is not known"
    wanted = "" if study.order == 1 else (
        f" ({harmonic_name(study.order)}: {_times(study, band.low.hz)} to {_times(study, band.high.hz)}, "
        f"{show(band.width_hz * study.order, 'Hz')} wide)")
    return (f"f0 from {low} to {high}, {show(band.width_hz, 'Hz')} wide{wanted}, {100 * band.share:.2f} % of its "
            "middle")


def edge_words(edge: Edge) -> str:
    """Where a band ends, or why that is not known."""
    if edge.why == BEYOND:
        return "an edge beyond the range"
    if edge.why == GAP:
        return f"an edge that is not known ({show(edge.near_hz, 'Hz', _DIGITS)} is not solved)"
    if edge.hz is None and edge.why == JUMP:
        return f"an edge at a jump near {show(edge.near_hz, 'Hz', _DIGITS)}"
    if edge.hz is None:
        return f"an edge near {show(edge.near_hz, 'Hz', _DIGITS)} that was not found (a solve on the way failed)"
    return show(edge.hz, "Hz", _DIGITS) + (" (a jump)" if edge.why == JUMP else "")


def _both(study: FrequencyStudy, hz: float) -> str:
    """A frequency of the drive and what it makes of the wanted harmonic."""
    wanted = "" if study.order == 1 else f" ({harmonic_name(study.order)} = {_times(study, hz)})"
    return f"f0 = {show(hz, 'Hz', _DIGITS)}{wanted}"


def _times(study: FrequencyStudy, hz: float) -> str:
    return show(float(hz) * study.order, "Hz", _DIGITS)


def _place(mark: Mark) -> str:
    return {"end": ", the end of the range: there may be more beyond",
            "gap": ", beside a frequency that is not solved: there may be more",
            "jump": ", the highest point solved, beside a jump: there may be more"}.get(mark.place, "")


def chosen(study: FrequencyStudy) -> np.ndarray:
    """Numbers of the points told of on the page, both ends among them."""
    return np.unique(np.linspace(0, len(study.frequency) - 1, _ROWS).round().astype(int))


def _table(study: FrequencyStudy) -> list[str]:
    wanted, supplies = harmonic_name(study.order), list(study.description.supplies)
    own = [wanted] if study.order > 1 else []
    heads = [["f0", *own, "output", "loss", *map(harmonic_name, study.others), "match", *supplies],
             ["", *("" for _ in own), "dBm", "dB", *("dBc" for _ in study.others), "dB", *("mA" for _ in supplies)]]
    columns = [study.columns[study.wanted], study.columns["conversion_loss_db"], *map(study.leak, study.others),
               study.columns["input_return_loss_db"],
               *(1e3 * study.columns[f"supply_amps_{name}"] for name in supplies)]
    lines = []
    for n in chosen(study):
        hz = study.frequency[n]
        at = [show(float(hz), "Hz", _DIGITS), *(_times(study, hz) for _ in own)]
        lines.append([*at, *(_cell(column[n]) if study.solved[n] else "-" for column in columns)])
    told = [f"  output at {wanted}; loss: drive over output; match: input return loss at f0"
            + ("" if study.solved[chosen(study)].all() else "; -: not solved")]
    return [*table([*heads, *lines]), *told]


def _cell(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else "none"


def _through(study: FrequencyStudy, one: Through) -> list[str]:
    """What a place carries: at the most output with who gives it, and across f0."""
    harmonics, node = range(1, study.lines + 1), one.place.kind == "node"
    lines = wrapped(f"Power carried through {one.place.words}, in dBm" + (
        "" if one.at_most is None else f"; at the most output, f0 = {show(study.most.hz, 'Hz', _DIGITS)}: " + "; ".join(
            f"{harmonic_name(k)} {_level(one.at_most.watts[k])}{' from ' if node else ' to node '}{one.at_most.by[k]}"
            for k in harmonics if one.at_most.watts[k] > 0)))
    rows = [["f0", *map(harmonic_name, harmonics)]]
    for n in chosen(study):
        cells = [f"{level:.2f}" if level > _LOWEST_DBM else "none" for level in (one.dbm(k)[n] for k in harmonics)]
        rows.append([show(float(study.frequency[n]), "Hz", _DIGITS),
                     *(cells if study.solved[n] else ["-"] * len(cells))])
    return [*lines, *table(rows)]


def _level(watts: float) -> str:
    return f"{10 * math.log10(1e3 * watts):.2f} dBm"


def remarks(study: FrequencyStudy) -> list[str]:
    """What else should be known: gaps, further bands, lines less sure than asked for, how places were found."""
    found = [f"Not solved, so that nothing is told of it: f0 = {show(float(study.frequency[n]), 'Hz', _DIGITS)}: {why}"
             for n, why in sorted(study.reasons.items())[:_MOST_REASONS]]
    if len(study.reasons) > _MOST_REASONS:
        found.append(f"{len(study.reasons) - _MOST_REASONS} more frequencies are not solved; --json says which.")
    found += _beyond_the_band(study)
    if study.unsure.any():
        found.append(f"{int(study.unsure.sum())} frequencies have lines less sure than "
                     f"{tolerance_words(study.accuracy)}, or not known to be sure.")
    if study.found_places:
        found.append("The nodes whose carried power is told stand where a stage gives what drives the next and where "
                     "that takes it, as the budget shows them in the middle of the range; --through names others.")
    return found


def _beyond_the_band(study: FrequencyStudy) -> list[str]:
    again = study.again
    if not len(again):
        return []
    first, last = (show(float(study.frequency[n]), "Hz", _DIGITS) for n in again[[0, -1]])
    return [f"Outside the band that is told, {len(again)} of the frequencies give an output within "
            f"{BELOW_MOST_DB[-1]:g} dB of the most too, from f0 = {first} to {last}."]
