"""From a table of texts to a checked object: the fields of a dataclass say what a table may hold.

A field with metadata "quantity" is read with its unit and limits, "words" takes one of a few words, "flag" a true or
false, "counts" a list of whole numbers (the metadata says of what), "reader" the name of a file. A field without any
of these is filled by the caller (`given`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import MISSING, Field, dataclass, fields, replace
from pathlib import Path
from typing import Any

from ..errors import Refusal, nearest
from ..quantities import Quantity, sample


@dataclass(frozen=True)
class Filled:
    """A model read from a table, the names of its quantities whose 0 was read as infinite, and those of all its fields
    that the table states."""

    model: Any
    read_as_infinite: tuple[str, ...] = ()
    stated: tuple[str, ...] = ()


def key_of(field: str) -> str:
    """The word of files and addresses: a field that is not SI carries its unit in its name, the word does not."""
    return field.removesuffix("_dbm")


def readable(cls: type) -> dict[str, Field]:
    """The fields of a dataclass that a table may hold: key -> field."""
    return {key_of(item.name): item for item in fields(cls)
            if item.init and item.metadata.keys() & {"quantity", "words", "flag", "counts", "reader"}}


def fill(cls: type, raw: Mapping[str, Any], place: str, *, given: Mapping[str, Any] | None = None,
         beside: tuple[str, ...] = (), folder: Path = Path()) -> Filled:
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
        Values that the caller has at hand, by the name of their field.
    beside : tuple of str
        Keys of the table that the caller reads.
    folder : Path
        Where file names start.

    Raises
    ------
    Refusal
        An unknown key, a missing one, or a value that does not fit.
    """
    known = readable(cls)
    read, infinite = _read(known, raw, place, beside, folder)
    values = dict(given or {}) | read
    for key, item in known.items():
        if item.name not in values and item.default is MISSING and item.default_factory is MISSING:
            raise Refusal(f"'{key}' is missing; write for example {key} = {_example(item)}", place)
    try:
        return Filled(cls(**values), infinite, tuple(read))
    except Refusal as refusal:  # the class itself weighs its values against each other
        raise refusal.located(place) from None


def override(filled: Filled, raw: Mapping[str, Any], place: str, *, beside: tuple[str, ...] = (),
             folder: Path = Path()) -> Filled:
    """The same model with some fields read anew; arguments and refusals as in `fill`."""
    read, infinite = _read(readable(type(filled.model)), raw, place, beside, folder)
    kept = tuple(name for name in filled.read_as_infinite if name not in read)
    try:
        return Filled(replace(filled.model, **read), kept + infinite, tuple({*filled.stated, *read}))
    except Refusal as refusal:
        raise refusal.located(place) from None


def _read(known: Mapping[str, Field], raw: Mapping[str, Any], place: str, beside: tuple[str, ...],
          folder: Path) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The values of a table, and the names of those whose 0 was read as infinite."""
    values, infinite = {}, []
    for key, value in raw.items():
        if key in beside:
            continue
        if key not in known:
            raise Refusal(f"unknown key '{key}'{nearest(key, (*known, *beside))}", place)
        item = known[key]
        values[item.name] = _read_field(item, value, f"{place}.{key}", folder)
        if zero_meant_infinite(item.metadata.get("quantity"), value, values[item.name]):
            infinite.append(item.name)
    return values, tuple(infinite)


def _read_field(item: Field, value: Any, place: str, folder: Path) -> Any:
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
    if "counts" in item.metadata:
        if not isinstance(value, list) or any(isinstance(n, bool) or not isinstance(n, int) for n in value):
            raise Refusal(f"{value!r} is not a list of whole numbers ({item.metadata['counts']}); write for example "
                          f"{item.name} = [2, 1]", place)
        return tuple(value)
    if not isinstance(value, str) or not value.strip():
        raise Refusal(f"{value!r} is not the name of a file; write {item.name} = \"...\"", place)
    try:
        return item.metadata["reader"](folder / value)
    except Refusal as refusal:
        raise Refusal(str(refusal), place) from None


def zero_meant_infinite(spec: Quantity | None, raw: Any, value: Any) -> bool:
    """Whether a 0 was written, `raw`, and infinite was understood, `value`."""
    return spec is not None and spec.zero_is_infinite and value == math.inf and raw != math.inf and \
        str(raw).strip().lower() != "infinite"


def infinite_note(place: str) -> str:
    """The sentence for a 0 that was read as infinite."""
    return f"{place}: 0 is read as infinite"


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
