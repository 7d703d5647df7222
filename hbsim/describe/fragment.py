"""Pieces of circuit files written from parts: what `circuitfile` reads back to the same parts."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import fields
from decimal import Decimal
from typing import Any

from ..errors import Refusal
from ..linear.board import Conductor
from ..linear.network import Element
from ..linear.part import Part
from ..quantities import PREFIXES, show
from .filling import readable
from .nodes import check_name, node


def fragment(elements: Iterable[Element], remarks: Mapping[str, str] | None = None) -> str:
    """Tables [part.NAME] to paste into a circuit file.

    Parameters
    ----------
    elements : iterable of Element
        Parts with their names and nodes, in the order in which they are written. Parts on a board are written without
        it: they lie on that of the circuit.
    remarks : mapping
        Name -> what is said in comments above that part's table.

    Raises
    ------
    Refusal
        A name or node that a circuit file could not hold, a part that is told by a file, or two parts of one name.
    """
    tables, seen = [], set()
    for element in elements:
        if element.name in seen:
            raise Refusal("two parts have this name; rename one", f"part.{element.name}")
        seen.add(element.name)
        said = [f"# {line}".rstrip() for line in (remarks or {}).get(element.name, "").splitlines()]
        tables.append("\n".join([*said, *_table(element)]))
    return "\n\n".join(tables) + "\n" if tables else ""


def _table(element: Element) -> list[str]:
    place = f"part.{element.name}"
    check_name(element.name, place)
    nodes = ", ".join(f'"{node(name, f"{place}.nodes")}"' for name in element.nodes)
    key = element.name if re.fullmatch(r"[A-Za-z0-9_-]+", element.name) else f'"{element.name}"'  # TOML's bare keys
    lines = [f"[part.{key}]",
             f'kind = "{element.part.kind}"', f"nodes = [{nodes}]"]
    return lines + [f"{key} = {value}" for key, value in _values(element.part, place).items()]


def _values(part: Part, place: str) -> dict[str, str]:
    """Key -> what is written after the sign of equality; values that hold anyway are left out."""
    known = {item.name: key for key, item in readable(type(part)).items()}
    found = {}
    for item in fields(part):
        value = getattr(part, item.name)
        if item.name == "board" or value is None or (item.name in known and value == item.default):
            continue
        if isinstance(value, Conductor):
            found[item.name] = _inline(value)
        elif item.name not in known or "reader" in item.metadata:
            raise Refusal("this part is told by a file; write its table by hand", f"{place}.{item.name}")
        else:
            found[known[item.name]] = _written(value, item.metadata)
    return found


def _inline(conductor: Conductor) -> str:
    values = ", ".join(f"{item.name} = {_written(getattr(conductor, item.name), item.metadata)}"
                       for item in fields(conductor) if getattr(conductor, item.name) != item.default)
    return f"{{ {values} }}"


def _written(value: Any, metadata: Mapping[str, Any]) -> str:
    if "flag" in metadata:
        return "true" if value else "false"
    if "words" in metadata:
        return f'"{value}"'
    return f'"{exact(value, metadata["quantity"].unit)}"'


def exact(value: float, unit: str) -> str:
    """A quantity as people write it, with all digits that it takes to read the same number back: "14.25 mm".

    value in `unit`. The decimal form is scaled as such, as `quantities.parse` does it, so that nothing is rounded.
    """
    if value == float("inf"):
        return "infinite"
    shown = show(value, unit).partition(" ")[2] if unit != "K" else "K"
    if unit == "m" and 1e-4 <= value < 1e-3:
        shown = "mm"  # as boards are drawn: a gap of 0.15 mm
    prefix = shown.removesuffix(unit) if shown != unit and shown.endswith(unit) else ""
    number = Decimal(repr(float(value))) / Decimal(repr(PREFIXES[prefix]))
    plain = f"{number.normalize():f}"
    if len(plain) > 20:
        plain = str(number)
    return plain if unit == "1" else f"{plain} {shown}"
