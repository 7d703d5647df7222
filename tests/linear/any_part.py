"""Parts of every kind with values drawn within physical ranges, for properties that all of them share.

Built from the fields of the classes in `hbsim.linear.kinds.KINDS` alone: a new kind is drawn without a word here.
"""

from dataclasses import MISSING, fields
from functools import lru_cache
from itertools import combinations
from typing import get_type_hints

import numpy as np
from hypothesis import assume
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear.board import Board, Conductor
from hbsim.linear.kinds import KINDS
from hbsim.linear.touchstone import TouchstoneData

CLASSES = tuple(dict.fromkeys(cls for classes in KINDS.values() for cls in classes))

# by name, else by unit; lengths across a strip are in heights of the board: the published range of most formulas
_NAMED = {"permittivity": (1.0, 12.0), "loss_tangent": (1e-4, 0.05), "roughness": (1e-8, 3e-6),
          "thickness": (5e-6, 70e-6), "conductivity": (1e6, 6e7), "height": (0.2e-3, 1.6e-3), "length": (1e-5, 50e-3),
          "quality_factor": (5.0, 1e3), "series_resistance": (1e-3, 10.0), "angle": (20.0, 150.0)}
_UNITS = {"ohm": (1.0, 300.0), "F": (1e-15, 1e-9), "H": (1e-12, 1e-7), "Hz": (1e8, 1e10), "deg": (1.0, 400.0),
          "1": (1.0, 10.0), "dB": (1e-2, 3.0), "m": (0.1, 10.0), "S": (1e-4, 1.0), "s": (1e-12, 1e-9)}
# what loses power, and its value in a part that does not
LOSSLESS = {"loss": 0.0, "loss_tangent": 0.0, "roughness": 0.0, "conductivity": 1e30, "resistance": 0.0,
            "series_resistance": 0.0, "quality_factor": None}


def lengths(cls):
    """The fields of a class that say how long its strips are; zero is allowed."""
    return [item.name for item in fields(cls) if item.name.endswith("length") and not _quantity(item).above]


def is_data(cls):
    """A part known by a file alone."""
    return any("reader" in item.metadata for item in fields(cls))


def _quantity(item):
    return item.metadata.get("quantity")


def _range(item, height):
    low, high = _NAMED.get(item.name) or _UNITS[_quantity(item).unit]
    scale = height if _quantity(item).unit == "m" and item.name not in _NAMED else 1.0
    low, high = low * scale, high * scale
    return max(low, _quantity(item).minimum), min(high, _quantity(item).maximum)


@st.composite
def _value(draw, item, height, lossless):
    if lossless and item.name in LOSSLESS:
        return LOSSLESS[item.name]
    low, high = _range(item, height)
    share = draw(st.floats(0.0, 1.0))
    return low * (high / low) ** share  # even in the logarithm: inside the range but for rounding, as limits are not


@lru_cache(maxsize=None)
def told(cls, lossless):
    """Sets of optional fields with which the class can be told, by trying all of them."""
    optional = [item for item in fields(cls) if _quantity(item) and item.default is None
                and not (lossless and item.name in LOSSLESS)]
    found = []
    for count in range(len(optional) + 1):
        for chosen in combinations(optional, count):
            values = {item.name: np.sqrt(np.prod(_range(item, 1e-3))) for item in chosen}
            for item in filter(lambda item: item.init, fields(cls)):
                if item.name not in values and item.default is MISSING or _quantity(item) and item.default == 0.0:
                    values[item.name] = _middle(cls, item, lossless)
            try:
                cls(**values)
            except Refusal as refusal:
                if "missing" in str(refusal) or "both" in str(refusal):
                    continue
            found.append(frozenset(item.name for item in chosen))
    assert found, f"no way was found to tell a {cls.__name__}; say in any_part.py what its fields may be"
    return tuple(found)


def _middle(cls, item, lossless):
    hint = get_type_hints(cls)[item.name]
    if hint is Board:
        return Board(1e-3, 4.0, 0.0, 35e-6, 5.8e7)
    if "reader" in item.metadata:
        return _data(np.eye(2) * 0.5, 1e-10)
    if lossless and item.name in LOSSLESS:
        return LOSSLESS[item.name]
    return np.sqrt(np.prod(_range(item, 1e-3)))


def _data(matrix, delay):
    """Passive data from 0.1 to 20 GHz: a constant matrix and a delay."""
    frequency = np.linspace(1e8, 20e9, 200)
    s = matrix * np.exp(-2j * np.pi * frequency * delay)[:, None, None]
    return TouchstoneData("drawn.s2p", frequency, s, np.array([50.0, 75.0]))


@st.composite
def data(draw):
    """What a file of a passive two-port may hold; not reciprocal."""
    entries = np.array(draw(st.lists(st.floats(-1.0, 1.0), min_size=8, max_size=8)))
    matrix = (entries[:4] + 1j * entries[4:]).reshape(2, 2)
    return _data(matrix / max(np.linalg.norm(matrix, 2), 1e-3) * draw(st.floats(0.0, 0.99)),
                 draw(st.floats(0.0, 0.2e-9)))


@st.composite
def dataclass_of(draw, cls, height, lossless):
    """A board or conductor."""
    return cls(**{item.name: draw(_value(item, height, lossless)) for item in fields(cls)})


@st.composite
def parts(draw, classes=CLASSES, lossless=False):
    """A part of one of the classes; and the height of its board, 1 mm if it has none. [m]"""
    cls = draw(st.sampled_from(list(classes)))
    hints, values, height = get_type_hints(cls), {}, 1e-3
    chosen = draw(st.sampled_from(told(cls, lossless)))
    for item in filter(lambda item: item.init, fields(cls)):  # fields of none of these sorts keep their default
        hint = hints[item.name]
        if hint is Board:
            values[item.name] = draw(dataclass_of(Board, 1e-3, lossless))
            height = values[item.name].height
        elif hint == Conductor | None:
            values[item.name] = draw(st.none() | dataclass_of(Conductor, 1e-3, lossless))
        elif "reader" in item.metadata:
            values[item.name] = draw(data())
        elif "words" in item.metadata:
            values[item.name] = draw(st.sampled_from([word for word in item.metadata["words"] if word != "refuse"]))
        elif "flag" in item.metadata:
            values[item.name] = draw(st.booleans())
        elif _quantity(item) and (item.default is not None or item.name in chosen):
            values[item.name] = draw(_value(item, height, lossless))
    try:
        return cls(**values), height
    except Refusal:  # two values that do not go together, such as an odd impedance above the even one
        assume(False)
