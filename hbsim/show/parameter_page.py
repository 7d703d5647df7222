"""Page of text of `hbsim device --from-text`: a text of parameters as it was understood."""

from __future__ import annotations

import math
from collections.abc import Iterable

from ..describe.parameter_text import Parameter, Parameters
from ..quantities import show
from .text import listed, table, wrapped


def parameter_page(found: Parameters) -> str:
    """The page; raises nothing."""
    kind = f"{found.polarity.upper()} transistor" if found.polarity else "transistor, NPN or PNP not said"
    title = f" '{found.title}'" if found.title else ""
    lines = [*wrapped(f"{found.file or 'Text'}: {kind}{title}, {len(found.values)} parameters understood"), "",
             *table([("name", "value", "line", "as written"), *(_row(entry) for entry in found.values.values())],
                    left=(0, 3))]
    for heading, entries in (("Package, kept apart from the chip and not written", found.package.values()),
                             ("Known and not used", found.unused), ("Not known and not used", found.unknown),
                             ("Named without a value: what the model has by itself holds", found.not_given)):
        lines += listed(heading, [_sentence(entry) for entry in entries])
    lines += listed("The text says where it holds", found.validity)
    lines += listed("To see whether it can be right", [f"{check.meaning}: {show(check.value, check.unit, 5)}"
                                                       for check in found.checks])
    lines += listed("Notes", [*found.notes, *_noted(found.values.values())])
    lines += listed("Warnings", found.warnings)
    return "\n".join(lines)


def _row(entry: Parameter) -> tuple[str, ...]:
    return entry.name, _value(entry), str(entry.line), entry.text


def _value(entry: Parameter) -> str:
    if entry.value is None:
        return ""
    if entry.unit == "K" and math.isfinite(entry.value):
        return f"{entry.value:.6g} K"  # as the parameter is defined
    return show(entry.value, entry.unit, 6)


def _sentence(entry: Parameter) -> str:
    value = f"{entry.name} = {_value(entry)}, " if entry.value is not None else ""
    return f"{value}{entry.place}: {entry.text}"


def _noted(entries: Iterable[Parameter]) -> list[str]:
    return [f"{entry.place}: {entry.name}: {note}" for entry in entries for note in entry.notes]
