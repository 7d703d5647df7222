"""From a table of texts to a checked object: the fields of a dataclass say what a table may hold.

A field with metadata "quantity" is read with its unit and limits, "words" takes one of a few words, "flag" a true or
false, "reader" the name of a file. A field without any of these is filled by the caller (`given`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, Field, dataclass, fields
from pathlib import Path
from typing import Any

from ..errors import Refusal, nearest
from ..quantities import sample


@dataclass(frozen=True)
class Filled:
    """A model read from a table, and the names of its quantities whose 0 was read as infinite."""

    model: Any
    read_as_infinite: tuple[str, ...] = ()


def readable(cls: type) -> dict[str, Field]:
    """The fields of a dataclass that a table may hold: name -> field."""
    return {item.name: item for item in fields(cls)
            if item.init and item.metadata.keys() & {"quantity", "words", "flag", "reader"}}


def fill(cls: type, raw: Mapping[str, Any], place: str, *, given: Mapping[str, Any] | None = None,
         folder: Path = Path()) -> Filled:
    """Read a table into the dataclass `cls`.

    Parameters
    ----------
    cls : type
        A dataclass.
    raw : mapping
        Key -> what the file says.
    place : str
        Key path of the table, for refusals.
    given : mapping
        Fields that the caller has at hand, by name; they count as known and are not read.
    folder : Path
        Where file names start.

    Raises
    ------
    Refusal
        An unknown key, a missing one, or a value that does not fit.
    """
    known, values, infinite = readable(cls), dict(given or {}), []
    for key, value in raw.items():
        if key not in known:
            raise Refusal(f"unknown key '{key}'{nearest(key, known)}", place)
        values[key] = read_field(known[key], value, f"{place}.{key}", folder)
        if is_infinite_zero(known[key], value, values[key]):
            infinite.append(key)
    for name, item in known.items():
        if name not in values and item.default is MISSING and item.default_factory is MISSING:
            raise Refusal(f"'{name}' is missing; write for example {name} = {_example(item)}", place)
    try:
        return Filled(cls(**values), tuple(infinite))
    except Refusal as refusal:  # the class itself weighs its values against each other
        raise refusal.located(place) from None


def read_field(item: Field, value: Any, place: str, folder: Path = Path()) -> Any:
    """What a file says under one key, read as the field's metadata asks."""
    if "quantity" in item.metadata:
        return item.metadata["quantity"].read(value, place)
    if "words" in item.metadata:
        words = item.metadata["words"]
        if value not in words:
            raise Refusal(f"{value!r} is not one of the words known here{nearest(str(value), words)}", place)
        return value
    if "flag" in item.metadata:
        if not isinstance(value, bool):
            raise Refusal(f"{value!r} is not a yes or no; write {item.name} = true or {item.name} = false", place)
        return value
    if not isinstance(value, str) or not value.strip():
        raise Refusal(f"{value!r} is not the name of a file; write {item.name} = \"...\"", place)
    return item.metadata["reader"](folder / value)


def is_infinite_zero(item: Field, raw: Any, value: Any) -> bool:
    """Whether the file said 0 and infinite was understood."""
    spec = item.metadata.get("quantity")
    return spec is not None and spec.zero_is_infinite and value == float("inf") and \
        not (isinstance(raw, str) and raw.strip().lower() == "infinite")


def _example(item: Field) -> str:
    if "quantity" in item.metadata:
        return f'"{sample(item.metadata["quantity"].unit)}"'
    if "words" in item.metadata:
        return " or ".join(f'"{word}"' for word in item.metadata["words"])
    return "true" if "flag" in item.metadata else '"the name of a file"'


def choose(kind: str, candidates: tuple[type, ...], raw: Mapping[str, Any], place: str) -> type:
    """The class that a table tells, where a kind can be told in more than one way (class attribute `told_by`).

    Raises
    ------
    Refusal
        None of the ways is told, or two are mixed.
    """
    if len(candidates) == 1:
        return candidates[0]
    ways = " or ".join(f"by {' and '.join(cls.told_by)}" for cls in candidates)
    told = [cls for cls in candidates if any(key in raw for key in cls.told_by)]
    if not told:
        raise Refusal(f"a part of kind '{kind}' is told {ways}; give one of them", place)
    if len(told) > 1:
        mixed = " and ".join(f"'{key}'" for cls in told for key in cls.told_by if key in raw)
        raise Refusal(f"a part of kind '{kind}' is told {ways}; {mixed} are both here, keep one way", place)
    for key in raw:
        others = [cls for cls in candidates if key in readable(cls)]
        if others and told[0] not in others:
            raise Refusal(f"'{key}' belongs to a {kind} told by {' and '.join(others[0].told_by)}, and this one is "
                          f"told by {' and '.join(told[0].told_by)}; keep one way", place)
    return told[0]
