"""From a table of texts to an object: every kind of field, and what each refuses."""

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from hbsim.describe.filling import choose, fill, override
from hbsim.errors import Refusal
from hbsim.quantities import quantity


def first_line(path: Path) -> str:
    if not path.is_file():
        raise Refusal("there is no such file", file=str(path))
    return path.read_text().splitlines()[0]


@dataclass(frozen=True)
class Everything:
    board: object
    length: float = quantity("m", minimum=0)
    level_dbm: float = quantity("dBm", 0.0)
    VAF: float = quantity("V", float("inf"), zero_is_infinite=True)
    shape: str = field(default="round", metadata={"words": ("round", "square")})
    plated: bool = field(default=False, metadata={"flag": True})
    order: tuple[int, ...] = field(default=(), metadata={"counts": "what comes first"})
    data: str = field(default="", metadata={"reader": first_line})
    inner: int = field(default=7, init=False)


def test_every_kind_of_field(tmp_path):
    (tmp_path / "a.txt").write_text("hello\n")
    raw = {"kind": "x", "length": "3 mm", "level": "2 dBm", "VAF": "0 V", "shape": "square", "plated": True,
           "order": [2, 1], "data": "a.txt"}
    filled = fill(Everything, raw, "part.a", given={"board": "b"}, beside=("kind",), folder=tmp_path)
    assert filled.model == Everything("b", 0.003, 2.0, float("inf"), "square", True, (2, 1), "hello")
    assert filled.read_as_infinite == ("VAF",)
    changed = override(filled, {"VAF": "20 V"}, "part.a")
    assert changed.model.VAF == 20.0 and changed.model.length == 0.003 and changed.read_as_infinite == ()


@pytest.mark.parametrize("raw, place, words", [
    ({}, "part.a", ["'length' is missing", "mm"]),
    ({"length": "1 m", "lenght": "1 m"}, "part.a", ["unknown key 'lenght'", "'length'"]),
    ({"length": "1 m", "level_dbm": "1 dBm"}, "part.a", ["unknown key", "'level'"]),
    ({"length": "1 m", "board": "x"}, "part.a", ["unknown key 'board'"]),
    ({"length": "1 m", "inner": 3}, "part.a", ["unknown key 'inner'"]),
    ({"length": "1 m", "shape": "sqare"}, "part.a.shape", ["'sqare'", "'square'"]),
    ({"length": "1 m", "plated": "true"}, "part.a.plated", ["plated = true"]),
    ({"length": "1 m", "plated": 1}, "part.a.plated", ["plated = true"]),
    ({"length": "1 m", "order": [1, True]}, "part.a.order", ["list of whole numbers (what comes first)", "[2, 1]"]),
    ({"length": "1 m", "order": 2}, "part.a.order", ["list of whole numbers"]),
    ({"length": "1 m", "data": 3}, "part.a.data", ["not the name of a file"]),
    ({"length": "1 m", "data": "gone.txt"}, "part.a.data", ["gone.txt", "no such file"]),
])
def test_what_is_refused(raw, place, words):
    with pytest.raises(Refusal) as caught:
        fill(Everything, raw, "part.a", given={"board": "b"})
    assert caught.value.place == place and all(word in str(caught.value) for word in words)


@dataclass(frozen=True)
class ByWidth:
    told_by = ("width", "gap")
    width: float = quantity("m")
    gap: float = quantity("m")


@dataclass(frozen=True)
class ByImpedance:
    told_by = ("even", "odd")
    even: float = quantity("ohm")
    odd: float = quantity("ohm")
    frequency: float = quantity("Hz")


@pytest.mark.parametrize("raw, words", [
    ({}, ["by width and gap or by even and odd", "give one"]),
    ({"width": 1, "odd": 2}, ["'width' and 'odd' are both here"]),
    ({"width": 1, "frequency": 2}, ["'frequency' belongs to", "told by even and odd", "told by width and gap"]),
])
def test_ways_of_telling(raw, words):
    assert choose("coupled lines", (ByWidth, ByImpedance), {"width": 1}, "part.a") is ByWidth
    assert choose("coupled lines", (ByWidth, ByImpedance), {"even": 1, "frequency": 1}, "part.a") is ByImpedance
    with pytest.raises(Refusal) as caught:
        choose("coupled lines", (ByWidth, ByImpedance), raw, "part.a")
    assert caught.value.place == "part.a" and all(word in str(caught.value) for word in words)
