"""A fingerprint of a described circuit: the same on every machine and in every run, another for any other number in it.

Counted are the values of everything that the answer depends on: drive, ports, supplies, parts, devices, board, wanted
output, junctions. Not counted: title, notes, where a file stood, and the order in which things are named. Data of
Touchstone files count by what they hold. The digits are the first of a SHA-256 (FIPS 180-4).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from ..describe.description import Description

_DIGITS = 12  # 48 bits: chance likeness of a million circuits, below 1 in 500
_WORDS = {"title", "about", "notes", "comments", "information", "origin"}  # said, not reckoned with
_LATER = {"second_harmonic", "second_harmonic_phase"}  # not counted while they are not given: older ones stay the same
_WHERE = "file"


def circuit_fingerprint(description: Description) -> str:
    """12 hexadecimal digits that stand for a circuit as it is described."""
    return digest(plain(description))


def digest(thing: Any) -> str:
    """12 hexadecimal digits of plain data."""
    text = json.dumps(thing, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:_DIGITS]


def plain(thing: Any) -> Any:
    """Numbers, texts and their arrangement, without anything that depends on the machine."""
    if is_dataclass(thing) and not isinstance(thing, type):
        kept = {item.name: getattr(thing, item.name) for item in fields(thing)
                if item.compare and item.name not in _WORDS}
        kept = {name: value for name, value in kept.items() if name not in _LATER or value is not None}
        if isinstance(kept.get(_WHERE), str):
            del kept[_WHERE]
        return [type(thing).__name__, {name: plain(value) for name, value in kept.items()}]
    if isinstance(thing, np.ndarray):
        number = "<c16" if np.iscomplexobj(thing) else "<f8"
        return [list(thing.shape), hashlib.sha256(np.ascontiguousarray(thing, number).tobytes()).hexdigest()]
    if isinstance(thing, Mapping):
        return {str(key): plain(value) for key, value in thing.items()}
    if isinstance(thing, (tuple, list)):
        return [plain(value) for value in thing]
    if isinstance(thing, (set, frozenset)):
        return sorted((plain(value) for value in thing), key=repr)
    if thing is None or isinstance(thing, (bool, str)):
        return thing
    if isinstance(thing, (complex, np.complexfloating)):
        return [float(thing.real).hex(), float(thing.imag).hex()]
    return float(thing).hex()  # every bit, and 1 the same as 1.0
