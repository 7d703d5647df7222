"""From names with printed values to numbers in SI units, weighed against each other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from ...errors import Refusal, nearest
from ...quantities import show
from . import names
from .layout import NOTHING, Layout, choose_column
from .pairs import Cell, Pair
from .result import Choices, Parameter, Undecided
from .tokens import split_number
from .values import Value, finite, has_unit, read_value, reads_as

_ONE_UNIT_ONLY = ("1", "K", "deg", "eV")  # nothing is in doubt where the unit of such a value is missing


@dataclass
class Meaning:
    """What the pairs mean; fields as in `result.Parameters`."""

    convention: str = "list"
    exact: dict[str, Decimal] = field(default_factory=dict)
    found: dict[str, Parameter] = field(default_factory=dict)
    unused: list[Parameter] = field(default_factory=list)
    unknown: list[Parameter] = field(default_factory=list)
    not_given: list[Parameter] = field(default_factory=list)
    factors: list[tuple[int, str, str]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def weigh(layout: Layout, polarity: str | None, choices: Choices) -> Meaning:
    """Read every value and hold them against each other.

    Raises
    ------
    Refusal
        A value that cannot be read in one way only, or that contradicts another or the physics.
    """
    meaning = Meaning(convention=_convention(layout), factors=list(layout.factors))
    comma = _comma_is_point(layout.pairs, choices, meaning)
    for pair in layout.pairs:
        _take(pair, layout, choices, comma, meaning)
    if not meaning.found:
        raise Refusal(NOTHING)
    _ratios(meaning)
    _area(meaning, choices)
    _signs(meaning, polarity)
    _limits(meaning)
    _usual(meaning)
    _row_gaps(layout.rows, meaning)
    return meaning


def _convention(layout: Layout) -> str:
    """"table" where units stand apart from their numbers."""
    if layout.is_list:
        return "list"
    read = [pair for pair in layout.pairs if names.unit_of(names.canonical(pair.name)) and pair.cells]
    apart = sum(bool(pair.head_unit or any(cell.unit for cell in pair.cells)) for pair in read)
    glued = sum(any(_is_number(cell.text) and split_number(cell.text)[2] for cell in pair.cells) for pair in read)
    return "table" if apart and apart >= glued else "list"


def _is_number(text: str) -> bool:
    return bool(text) and text != "inf" and text.lstrip("+-").lstrip()[:1] in "0123456789.,"


def _comma_is_point(pairs: Sequence[Pair], choices: Choices, meaning: Meaning) -> bool:
    """Whether commas are decimal: said by the person, or by every broken number of the text, two at least."""
    if choices.decimal_comma:
        return True
    digits = [split_number(cell.text)[0] for pair in pairs for cell in pair.cells if _is_number(cell.text)
              and names.unit_of(names.canonical(pair.name))]
    commas = [text for text in digits if "," in text and "." not in text]
    points = [text for text in digits if "." in text.rstrip(".")]
    if len(commas) < 2 or points or all(len(text.partition(",")[2]) == 3 for text in commas):
        return False
    meaning.notes.append("commas are read as decimal: every broken number of the text has one")
    return True


def _take(pair: Pair, layout: Layout, choices: Choices, comma: bool, meaning: Meaning) -> None:
    if not pair.name.isascii():
        raise Refusal(f"'{pair.name}' has a letter that only looks like one of the alphabet; type the name anew",
                      pair.place)
    name = names.canonical(pair.name)
    if name in names.OF_A_DIODE:
        raise Refusal(f"{pair.name} belongs to the list of a diode; parameters of a transistor are wanted", pair.place)
    cell = pair.cells[choose_column(pair, choices)] if pair.cells else Cell("")
    notes = tuple(pair.notes + [layout.footnotes.get(mark, f"footnote {mark}") for mark in pair.marks])
    entry = Parameter(name, None, names.unit_of(name), pair.line, pair.shown, cell.unit or pair.head_unit, notes)
    if not entry.unit:
        _set_aside(entry, pair, choices, meaning)
        return
    if not cell.text:
        meaning.not_given.append(entry)
        return
    try:
        number, entry = _read(entry, cell, pair, layout, choices, comma, meaning)
    except Undecided as refusal:
        raise refusal.of(pair.name, pair.place) from None
    except Refusal as refusal:
        raise Refusal(f"{pair.name}: {refusal.what}", pair.place) from None
    if name in names.FACTORS:
        meaning.factors.append((pair.line, str(number), pair.shown))
        return
    _keep(entry, number, pair, meaning)


def _set_aside(entry: Parameter, pair: Pair, choices: Choices, meaning: Meaning) -> None:
    if entry.name in names.UNUSED:
        meaning.unused.append(entry)
        return
    entry = replace(entry, name=pair.name)
    swapped = next((known for known in names.UNITS if sorted(known) == sorted(pair.name.upper())), "")
    mend = f"; did you mean '{swapped}'?" if swapped else nearest(pair.name, names.UNITS)
    mend = mend if "mean" in mend else ""
    if choices.strict:
        raise Undecided(f"unknown name '{pair.name}'{mend}", "strict", place=pair.place, against=True)
    meaning.unknown.append(entry)
    meaning.warnings.append(f"{entry.place}: '{pair.name}' is not known and not used{mend}")


def _read(entry: Parameter, cell: Cell, pair: Pair, layout: Layout, choices: Choices, comma: bool,
          meaning: Meaning) -> tuple[Decimal, Parameter]:
    if cell.text == "inf":
        if entry.name not in names.ZERO_IS_INFINITE and entry.name != "IRB":
            raise Refusal("infinite is not possible here; write a number")
        return Decimal("Infinity"), replace(entry, value=math.inf)
    apart = cell.unit
    if not apart and pair.columns:  # one unit for the whole row
        units = {other.unit for other in pair.cells if other.unit}
        apart = units.pop() if len(units) == 1 else ""
    glued = split_number(cell.text)[2]
    if apart and pair.head_unit and apart != pair.head_unit and has_unit(pair.head_unit):
        raise Refusal(f"'{entry.text}' has two units, {pair.head_unit} and {apart}; keep one")
    apart = apart or pair.head_unit
    if not apart and not glued:
        apart = _from_legend(entry, layout)
        if apart:
            entry = replace(entry, notes=(*entry.notes, f"unit {apart} from the legend"))
    value = read_value(cell.text, entry.unit, apart, comma)
    if value.form == "bare":
        _without_unit(entry, value, choices, meaning)
        if entry.unit == "K" and choices.bare_is_si and value.number > Decimal("273.15") + 150:
            raise Refusal(f"'{cell.text}' has no unit; write K or degC after it")
    for warning in value.warnings:
        meaning.warnings.append(f"{entry.place}: {pair.name}: {warning}")
    return value.number, replace(entry, value=finite(value.number, cell.text), written=value.written)


def _from_legend(entry: Parameter, layout: Layout) -> str:
    """Unit that a legend gives: a plain one holds everywhere, a scaled one for the lines after it."""
    given = [(line, unit) for line, kind, unit in layout.legend
             if kind == entry.unit and reads_as(unit, kind) is not None]
    above = [unit for line, unit in given if line <= entry.line]
    if above:
        return above[-1]
    return next((unit for _, unit in given if reads_as(unit, entry.unit) == 1), "")


def _without_unit(entry: Parameter, value: Value, choices: Choices, meaning: Meaning) -> None:
    if entry.unit in _ONE_UNIT_ONLY or meaning.convention == "list":
        return
    if not value.number or choices.bare_is_si:
        meaning.warnings.append(f"{entry.place}: {entry.name} has no unit; read in {entry.unit}")
        return
    raise Undecided(f"'{entry.text}' has no unit, and other rows have theirs; write it, or say that values without "
                    "one are in SI units", "bare_is_si")


def _keep(entry: Parameter, number: Decimal, pair: Pair, meaning: Meaning) -> None:
    before = meaning.found.get(entry.name)
    if before is None:
        meaning.found[entry.name], meaning.exact[entry.name] = entry, number
    elif meaning.exact[entry.name] != number:
        raise Refusal(f"{entry.name} is given twice with different values: '{before.text}' in line {before.line} and "
                      f"'{entry.text}' in line {entry.line}; keep one", entry.place)
    else:
        meaning.warnings.append(f"{entry.name} is given twice, with the same value (lines {before.line} and "
                                f"{entry.line})")


def _change(name: str, number: Decimal, note: str, meaning: Meaning) -> None:
    entry = meaning.found[name]
    meaning.exact[name] = number
    meaning.found[name] = replace(entry, value=finite(number, entry.text) if number.is_finite() else math.inf,
                                  notes=(*entry.notes, note))


def _ratios(meaning: Meaning) -> None:
    """C2 and C4 of old lists: leakage currents as multiples of IS."""
    for ratio, name in names.RATIOS.items():
        entry = meaning.found.get(ratio)
        if entry is None:
            continue
        if name in meaning.found:
            other = meaning.found[name]
            raise Refusal(f"both '{entry.text}' (line {entry.line}) and '{other.text}' (line {other.line}) give {name};"
                          " keep one", entry.place)
        if "IS" not in meaning.found:
            raise Refusal(f"{ratio} is {name} / IS, and there is no IS", entry.place)
        order = list(meaning.found)
        meaning.found[name] = replace(entry, name=name, unit="A")
        _change(name, meaning.exact[ratio] * meaning.exact["IS"], f"{ratio} times IS", meaning)
        order[order.index(ratio)] = name
        meaning.found = {key: meaning.found[key] for key in order}
        del meaning.exact[ratio]


def _area(meaning: Meaning, choices: Choices) -> None:
    """Values of one finger, or of a transistor that stands there several times."""
    stated = [(line, Decimal(factor), text) for line, factor, text in meaning.factors if Decimal(factor) != 1]
    wanted = None if choices.area is None else Decimal(repr(float(choices.area)))
    if wanted is not None and not (wanted.is_finite() and wanted > 0):
        raise Refusal(f"an area factor of {choices.area:g} is not possible; it is above 0")
    for line, factor, text in stated:
        if wanted is None or wanted not in (1, factor):
            said = "" if wanted is None else f", not {choices.area:g}"
            raise Undecided(f"'{text}' speaks of a factor {factor:g}{said}; confirm it as the area factor, or give 1 "
                            "if the values are for the whole transistor", "area", (f"{factor:g}", "1"), f"line {line}")
        if wanted == 1:
            meaning.notes.append(f"line {line}: the factor {factor:g} was said to be in the values already")
    if wanted is None or wanted == 1:
        return
    if not stated:
        meaning.warnings.append(f"the area factor {choices.area:g} was given; the text itself states none")
    for name in list(meaning.found):
        number = meaning.exact[name]
        if name in names.GROWS_WITH_AREA and number.is_finite():
            _change(name, number * wanted, f"times the area factor {choices.area:g}", meaning)
        elif name in names.FALLS_WITH_AREA:
            _change(name, number / wanted, f"over the area factor {choices.area:g}", meaning)


def _signs(meaning: Meaning, polarity: str | None) -> None:
    signed = [name for name in meaning.found if name in names.SIGNED_FOR_PNP and meaning.exact[name]]
    negative = [name for name in signed if meaning.exact[name] < 0]
    if negative and polarity == "pnp" and len(negative) == len(signed):
        for name in negative:
            _change(name, -meaning.exact[name], "printed negative, as of a PNP", meaning)
        meaning.warnings.append("voltages and currents are printed negative, as of a PNP; magnitudes are taken")
    for name, number in meaning.exact.items():
        if number < 0 and name not in names.MAY_BE_NEGATIVE:
            entry = meaning.found[name]
            custom = " (for a PNP all voltages and currents would have to be)" if name in negative else ""
            raise Refusal(f"'{entry.text}': {name} cannot be negative{custom}", entry.place)


def _limits(meaning: Meaning) -> None:
    for name, limit, inclusive in (("MJE", 1, True), ("MJC", 1, True), ("MJS", 1, True), ("FC", 1, True),
                                   ("XCJC", 1, False)):
        number = meaning.exact.get(name)
        if number is not None and (number > limit or inclusive and number == limit):
            entry = meaning.found[name]
            raise Refusal(f"'{entry.text}': {name} must be {'below' if inclusive else 'at most'} {limit}", entry.place)


def _usual(meaning: Meaning) -> None:
    """Warnings where a value is allowed and out of the ordinary."""
    exact, warn = meaning.exact, meaning.warnings.append
    for name, entry in meaning.found.items():
        low, high = names.USUAL.get(name, (-math.inf, math.inf))
        if name in names.ZERO_IS_INFINITE and entry.value == 0:
            warn(f"{entry.place}: {name} = 0 means infinite by custom")
        elif entry.value is not None and math.isfinite(entry.value) and entry.value and \
                not low <= entry.value <= high:
            unit = "" if entry.unit == "1" else f" {entry.unit}"
            warn(f"{entry.place}: {name} = {entry.value:g}{unit} is outside {low:g} to {high:g}{unit}, usual for a "
                 "small silicon transistor of high frequency; a lost or wrong prefix?")
    if exact.get("ITF") == 0 and exact.get("XTF", 0) > 0:
        warn("ITF = 0 with XTF above 0: TF grows at every current")
    if "RBM" in exact and "RB" in exact and exact["RBM"] > exact["RB"]:
        warn(f"RBM ({show(meaning.found['RBM'].value, 'ohm')}) is above RB ({show(meaning.found['RB'].value, 'ohm')})")


def _row_gaps(rows: Sequence[int], meaning: Meaning) -> None:
    if rows:
        missing = sorted(set(range(min(rows), max(rows) + 1)) - set(rows))
        if missing:
            shown = ", ".join(str(number) for number in missing[:12]) + (" ..." if len(missing) > 12 else "")
            meaning.warnings.append(f"the rows are numbered, and these are missing: {shown}")
