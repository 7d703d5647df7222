"""Markers that an analyser writes beside a trace: in rows, in sections of their own, or one in a line."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import replace

from .assemble import level_unit
from .cells import read_cell
from .headers import Fact, measure
from .readings import LOWER_LIMIT, UPPER_LIMIT, Marker
from .units import LEVELS, level_offset, unit_of

_OFF = re.compile(r"off|false|0|disabled|no", re.IGNORECASE)
_ROW = re.compile(r"marker(?: type| x(?: axis)?| ampt| amplitude| freq(?:uency)?| y(?: axis)?| level| state)?")
_LINE = re.compile(r"(?:M|MKR|Marker )\s?\d{1,2}", re.IGNORECASE)


def only_markers(lines: Iterable[str]) -> bool:
    """Whether each of the lines is a marker ("M1;2.4 GHz;-23.4 dBm"), so that they are no table."""
    return all(_LINE.fullmatch(re.split(r"[,;\t ]", line.strip().strip('"'), maxsplit=1)[0]) for line in lines)


def markers_of(facts: list[Fact], impedance: float | None = None) -> tuple[Marker, ...]:
    """The markers that are on.

    Parameters
    ----------
    facts : list of Fact
        Of the whole header. A level without a unit of its own has that of the trace.
    impedance : float, optional
        With it levels in dBuV, dBmV and dBV become dBm, as those of the trace do. [ohm]
    """
    level = level_unit(facts)
    unit = level[0].name if level else ""
    return in_dbm([*_in_rows(facts, unit), *_in_sections(facts, unit), *_in_lines(facts, unit)], impedance)


def in_dbm(markers: Iterable[Marker], impedance: float | None) -> tuple[Marker, ...]:
    """Levels in dBuV, dBmV and dBV become dBm where an impedance is known. [ohm]"""
    return tuple(replace(marker, value=marker.value + level_offset(marker.unit, impedance), unit="dBm")
                 if impedance is not None and marker.unit in LEVELS else marker for marker in markers)


def _in_rows(facts: list[Fact], unit: str) -> list[Marker]:
    rows: dict[str, tuple[str, ...]] = {}
    for fact in facts:
        key = fact.key.lower()
        if _ROW.fullmatch(key):
            rows.setdefault(key, fact.values)
    names = rows.get("marker", ())
    places = next((rows[key] for key in rows if re.search(r" x| freq", key)), ())
    levels = next((rows[key] for key in rows if re.search(r"ampt|amplitude| y|level", key)), ())
    states = rows.get("marker type", rows.get("marker state", ()))
    found = []
    for k, name in enumerate(names):
        if k < len(places) and k < len(levels) and not (k < len(states) and _OFF.fullmatch(states[k])):
            found += _marker(name, (places[k],), (levels[k],), unit)
    return found


def _in_sections(facts: list[Fact], unit: str) -> list[Marker]:
    found = []
    sections: dict[str, list[Fact]] = {}
    for fact in facts:
        if re.fullmatch(r"marker\s+\S+", fact.section, re.IGNORECASE):
            sections.setdefault(fact.section, []).append(fact)
    for section, inside in sections.items():
        if any(fact.key.lower() in ("active", "enabled", "state") and _OFF.fullmatch(fact.text) for fact in inside):
            continue
        place = next((fact for fact in inside if re.match(r"freq|x\b", fact.key, re.I)), None)
        level = next((fact for fact in inside if re.match(r"trace|level|ampl|y\b", fact.key, re.I)), None)
        if place and level:
            found += _marker(section.split()[-1], place.values, level.values, unit)
    return found


def _in_lines(facts: list[Fact], unit: str) -> list[Marker]:
    found = []
    for fact in facts:
        if not _LINE.fullmatch(fact.key) or any(_OFF.fullmatch(value) for value in fact.values if value not in ("0",)):
            continue
        numbers = [value for value in fact.values if (cell := read_cell(value)) and not math.isnan(cell.value)]
        if len(numbers) >= 2:
            at = fact.values.index(numbers[0])
            second = fact.values.index(numbers[1], at + 1)
            found += _marker(fact.key, fact.values[at:second], fact.values[second:], unit)
    return found


def _marker(name: str, place: tuple[str, ...], level: tuple[str, ...], unit: str) -> list[Marker]:
    where, what = measure(Fact(0, "", place)), measure(Fact(0, "", level))
    if where is None or what is None or not math.isfinite(where[0]) or (where[1] and where[1].name != "Hz"):
        return []
    own = what[1] or next((found for value in level if (found := unit_of(value))), None)
    cell = next((cell for value in level if value and (cell := read_cell(value))), None)
    flag = cell.flag if cell and cell.flag in (UPPER_LIMIT, LOWER_LIMIT) else ""
    return [Marker(name, where[0], what[0], own.name if own else unit, flag)]
