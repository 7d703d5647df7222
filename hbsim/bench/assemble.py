"""Raw columns + names + units + what the person says -> Columns in base units; what is not known stays unknown."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from ..errors import Refusal
from .headers import Fact, Header, measure, values_of
from .mapping import HARMONIC, Mapping, Said
from .names import FREQUENCY, INDEX, ORDER, ORDER_LETTER, Name, read_name, unique
from .numerals import Raw
from .readings import MISSING, Column, turned
from .units import LEVELS, Unit, level_offset, unit_of

_START = r"(?:x ?)?start(?:[ _-]?freq(?:uency)?)?|f[ _-]?start|freq(?:uency)?[ _-]start|start x"
_STOP = r"(?:x ?)?stop(?:[ _-]?freq(?:uency)?)?|f[ _-]?stop|freq(?:uency)?[ _-]stop|(?:x ?)?end|stop x"
_CENTRE, _SPAN = r"cent(?:er|re)(?: ?freq(?:uency)?)?", r"(?:freq(?:uency)? )?span"
_X_UNIT = r"x[ -]?(?:axis[ -]?)?unit|freq(?:uency)?[ -]?unit"
_Y_UNIT = r"y[ -]?(?:axis[ -]?)?unit|amplitude[ -]?unit|level[ -]?unit|data[ -]?unit"
_NAMED = {"FREQ": "Frequency"}


@dataclass(frozen=True)
class Axis:
    """What the header says of the frequencies: first and last [Hz], and whether a unit was written there."""

    first: float
    last: float
    written: bool


def axis_of(facts: list[Fact]) -> Axis | None:
    """Start and stop from the header, or centre and span."""
    start, stop = (_number(facts, pattern) for pattern in (_START, _STOP))
    if start and stop:
        return Axis(start[0], stop[0], start[1] is not None)
    centre, span = (_number(facts, pattern) for pattern in (_CENTRE, _SPAN))
    if centre and span:
        return Axis(centre[0] - span[0] / 2, centre[0] + span[0] / 2, centre[1] is not None)
    return None


def _number(facts: list[Fact], pattern: str) -> tuple[float, Unit | None] | None:
    # The last one: that of the trace stands nearest to it.
    found = [number for fact in values_of(facts, pattern) if (number := measure(fact)) is not None]
    return found[-1] if found else None


def declared(facts: list[Fact], pattern: str) -> tuple[Unit, Fact] | None:
    """A unit that a line of the header declares ("y-Unit;dBm")."""
    for fact in reversed(values_of(facts, pattern)):
        for value in fact.values:
            if (unit := unit_of(value)) is not None:
                return unit, fact
    return None


def level_unit(facts: list[Fact]) -> tuple[Unit, Fact] | None:
    """The unit of the levels that the header declares, also in the line of the trace ("Trace 1,,dBuVPerMeter")."""
    found = declared(facts, _Y_UNIT)
    if found is not None:
        return found
    traces = [fact for fact in values_of(facts, r"trace ?\w{0,3}") if re.search("trace", fact.section or "trace", re.I)
              and not re.search("marker", fact.section, re.I)]
    for fact in reversed(traces):
        for value in fact.values:
            if (unit := unit_of(value)) is not None and unit.name != "1":
                return unit, fact
    return None


def impedance_of(facts: list[Fact], mapping: Mapping) -> float | None:
    """The impedance [ohm] that levels refer to: the person's word, else the header's."""
    if mapping.impedance is not None:
        return float(mapping.impedance)
    found = _number(facts, r"(?:input )?impedance|z0?|impedanz|rf impedance")
    return found[0] if found and 1.0 <= found[0] <= 1e4 else None


def unnamed(raws: list[Raw], block: int, facts: list[Fact], mapping: Mapping, file: str,
            notes: list[str]) -> list[Name]:
    """Names of the columns of a table without a row of names, from the facts of the header alone.

    Parameters
    ----------
    raws : list of Raw
    block : int
        Rows of the first sweep or trace, which has to run over the frequencies once.
    facts, mapping, file
        What the header and the person say.
    notes : list of str
        How it was decided is added here.

    Raises
    ------
    Refusal
        The header does not tell them.
    """
    first = " | ".join(f"{raw.values[0]:.10g}" if not raw.text else str(raw.flags.get(0, ""))[:40] for raw in raws[:12])
    first += " | ..." * (len(raws) > 12)
    if mapping.names or all(mapping.said_of(k, ()) for k in range(1, len(raws) + 1)):
        return [read_name(mapping.names[k] if k < len(mapping.names) else "") for k in range(len(raws))]
    level, unit_x, axis = level_unit(facts), declared(facts, _X_UNIT), axis_of(facts)
    numbers = [k for k, raw in enumerate(raws) if not raw.text]
    carried = [raws[k].unit for k in numbers]
    if len(numbers) == 2 and all(carried):
        return [Name(f"column {k + 1}", f"column {k + 1}") for k in range(len(raws))]
    if len(raws) == 2 and len(numbers) == 2 and level is not None:
        which = _axis_column([raw.values[:block] for raw in raws], axis, unit_x[0] if unit_x else None)
        if which is not None:
            why = "it runs from the start to the stop that the header gives" if axis else \
                "the header names x and y in this order and only it runs up"
            notes.append(f"no row of names: column {which + 1} is taken as the frequency ({why}), the other as the "
                         f"level in {level[0].name} (line {level[1].line + 1})")
            if unit_x is None and axis is not None and not axis.written:
                notes.append("no unit is written at the start and stop frequencies of the header; taken as Hz")
            names = [Name("Level", "Level", level[0], level[1].text)] * 2
            unit = unit_x[0] if unit_x else Unit("Hz")
            names[which] = Name("Frequency", "Frequency", unit, unit_x[1].text if unit_x else "")
            return names
    raise Refusal(f"{len(raws)} column{'s' * (len(raws) > 1)}, no row of names. First row {first}. Name the columns "
                  'and their units in the TOML file beside it: [columns] 1 = { is = "drive.power", unit = "dBm" }, '
                  '2 = ...',
                  "", file)


def _axis_column(columns: list[np.ndarray], axis: Axis | None, unit: Unit | None) -> int | None:
    if axis is not None:
        factor = unit.factor if unit else 1.0
        reach = 1e-6 * max(abs(axis.first), abs(axis.last))
        fit = [k for k, values in enumerate(columns) if abs(values[0] * factor - axis.first) <= reach
               and abs(values[-1] * factor - axis.last) <= reach]
        return fit[0] if len(fit) == 1 else None
    if unit is None:
        return None
    up = [bool(np.all(np.diff(values) > 0)) for values in columns]
    return 0 if up[0] and not up[1] else None


def columns_from(raws: list[Raw], names: list[Name], header: Header, facts: list[Fact], mapping: Mapping, file: str,
                 notes: list[str]) -> tuple[Column, ...]:
    """Columns in base units.

    Parameters
    ----------
    raws, names, header, facts, mapping, file
        What was found, and what is said. A word of the person goes before a unit in the cells, that before one in the
        name, that before the row of units.
    notes : list of str
        What a reader should know is added here.
    """
    texts, repeated = unique([name.text for name in names])
    if repeated:
        notes.append("several columns have the same name, told apart by their number: " +
                     ", ".join(f"'{name}'" for name in dict.fromkeys(repeated)))
    _check_said(mapping, names, texts, file)
    impedance = impedance_of(facts, mapping)
    columns = []
    for k, (raw, name, text) in enumerate(zip(raws, names, texts, strict=True)):
        said = _said(mapping, k, names, texts)
        columns.append(_column(raw, name, text, k, said, header, facts, mapping, impedance, notes))
    return tuple(columns)


def _check_said(mapping: Mapping, names: list[Name], texts: list[str], file: str) -> None:
    bare = [name.bare for name in names]
    for key in mapping.columns:
        number = int(key) if str(key).isdecimal() else None
        if number is not None and 1 <= number <= len(names) or key in texts:
            continue
        if bare.count(str(key)) > 1:
            raise Refusal(f"'{key}' is the name of {bare.count(str(key))} columns; use the whole name or the number",
                          f"columns.{key}", mapping.file or file)
        if key not in bare:
            listed = ", ".join(f"{k} '{text[:60]}'" for k, text in enumerate(texts[:20], 1))
            listed += ", ..." * (len(texts) > 20)
            raise Refusal(f"there is no column '{key}'; the file has {listed}", f"columns.{key}", mapping.file or file)


def _said(mapping: Mapping, k: int, names: list[Name], texts: list[str]) -> Said:
    bare = [name.bare for name in names]
    known = (texts[k], names[k].bare) if bare.count(names[k].bare) == 1 else (texts[k],)
    return mapping.said_of(k + 1, known) or Said()


def _column(raw: Raw, name: Name, text: str, k: int, said: Said, header: Header, facts: list[Fact], mapping: Mapping,
            impedance: float | None, notes: list[str]) -> Column:
    unit, written = _unit(raw, name, k, said, header, facts, mapping, notes, text)
    if raw.text:
        odd = [cell for cell in raw.flags.values() if cell[:1].isdigit()]
        if odd and len(odd) == len(raw.flags):
            notes.append(f"column '{text}' is taken as text, though '{odd[0][:40]}' begins like a number")
        return Column(text, "", raw.values, raw.flags, raw.said, said.meaning)
    values, flags = raw.values, raw.flags
    if mapping.filler:
        filled = np.isin(values, mapping.filler)
        values = np.where(filled, np.nan, values)
        flags = flags | {int(row): MISSING for row in np.flatnonzero(filled)}
    if said.scale is not None:
        values, flags = values * said.scale, turned(flags) if said.scale < 0 else flags
    if unit is None:
        return Column(text, "", values, flags, written, said.meaning)
    values = unit.into(values) if raw.unit is None or said.unit else values
    if unit.name in LEVELS and impedance is not None:
        notes.append(f"column '{text}': {unit.name} taken to dBm at {impedance:g} ohm")
        return Column(text, "dBm", values + level_offset(unit.name, impedance), flags, written, said.meaning)
    return Column(text, unit.name, values, flags, written, said.meaning)


def _unit(raw: Raw, name: Name, k: int, said: Said, header: Header, facts: list[Fact], mapping: Mapping,
          notes: list[str], text: str) -> tuple[Unit | None, str]:
    if said.unit:
        return unit_of(said.unit), said.unit
    if raw.unit is not None and not raw.text:
        return raw.unit, raw.said
    if raw.text:
        return None, ""
    if k < len(mapping.units) and mapping.units[k]:
        return unit_of(mapping.units[k]), mapping.units[k]
    if name.trouble:
        if said.scale is None or name.trouble.startswith("is called"):
            notes.append(f"column '{text}' {name.trouble}: its unit is not believed; say it in [columns] "
                         "(unit, and scale where there is a factor)")
        return None, name.said
    if name.unit is not None:
        return name.unit, name.said
    if k < len(header.units) and header.units[k]:
        unit = unit_of(header.units[k])
        if unit is None:
            notes.append(f"column '{text}': '{header.units[k]}' is no unit that is known here")
        return unit, header.units[k]
    found = declared(facts, _X_UNIT) if FREQUENCY.search(name.bare) else (
        declared(facts, _Y_UNIT) if re.match(r"s\d\d|trace|level|amplitud|value", name.bare, re.I) else None)
    if found is not None:
        return found[0], found[1].text
    if said.meaning != HARMONIC and not any(word.fullmatch(name.bare) for word in (INDEX, ORDER, ORDER_LETTER)):
        notes.append(f"column '{text}' has no unit; say it in [columns]: \"{text}\" = {{ unit = \"...\" }}")
    return None, ""


def check_frequency(columns: tuple[Column, ...], names: list[Name], file: str) -> None:
    """Refuse frequencies without a unit: 1388.8 may be Hz, kHz or MHz."""
    for column, name in zip(columns, names, strict=True):
        known = column.unit or column.meaning or name.trouble or not np.isfinite(column.values).any()
        if not known and FREQUENCY.match(name.bare) and not INDEX.fullmatch(name.bare):
            finite = column.values[np.isfinite(column.values)]
            raise Refusal(f"'{column.name}' has no unit: {finite[0]:.10g} may be Hz, kHz or MHz; say it in the TOML "
                          f"file beside it: [columns] \"{column.name}\" = {{ unit = \"MHz\" }}", "", file)
