"""Where strips meet: finds the steps, tees and crosses of a circuit and puts the parts in that stand for them.

What meets at a node decides. Strips on a board count: ends of lines, of coupled lines and of filter sections (all
called lines here), and stubs. Everything else that touches the node is a lead. Widths within 1 % are equal.

    two lines, or a line and a stub, no leads       a step where the widths differ
    two lines of equal width and a stub, no leads   a tee; the stub is its branch
    a line, a stub and leads                        a tee; the leads sit where the line would go on
    the same with two stubs                         a cross; the stubs face each other

Where this does not settle what the board looks like, nothing is put in, and the list says why and what to write. A
node where a part with `joins_strips` stands is left to it; if the strip there has another width than that part says,
the list says so.

A node with a junction keeps its name where the leads are, else at the arm of the part named first; every other arm
gets a hidden node, "m|match_stub" ('|' cannot stand in the name of a node). The part is the element "junction.m".
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from .discontinuities import BoardCross, BoardStep, BoardTee
from .network import GROUND, Element
from .part import Part, Strip

_EQUAL = 0.01  # widths that differ by less, relatively, are of one line: the etching differs by as much
_STEP_LEADS = ("two lines of unequal width meet at leads: whether the width steps, before or behind the leads, or one "
               "line branches off is not known; write a part of kind 'step' or 'tee' with a node for each arm, and "
               "give the leads one of them")
_NO_LINE = ("stubs alone meet at the leads, on no line that they could branch from; write how they leave as a part of "
            "kind 'tee' or 'cross'")
_BOTH_STUBS = ("a line ends in two stubs, and which two of the three run on is not known; write a part of kind 'tee' "
               "with a node for each arm")
_UNEQUAL = ("the two lines differ in width, and the formula is for a branch on a line of one width; write a part of "
            "kind '{kind}' and one of kind 'step', with a node between them")
_BRANCH_LEADS = ("leads are soldered on as well, on which side of the stub is not known; write a part of kind '{kind}' "
                 "with a node for each arm, and give the leads one of them")
_THREE = ("which of the three lines is the branch is not known; write a part of kind 'tee' with a node for each arm")
_MANY = ("{count} strips meet, and how is not known; write the parts of kind 'tee', 'cross' and 'step' that join them, "
         "with nodes between them")
_TWICE = ("two ends of {part} meet there, and how is not known; give each end a node of its own and write what joins "
          "them as a part")
_CONTRADICTION = ("a part that joins strips says another width there than the other part does; write one width in "
                  "both, or a step between them")
_BOARDS = "the strips lie on different boards; write what joins them as a part"
ASKED = "the circuit file asks for it"


class Arm(NamedTuple):
    """An end of a strip at a node: the part it belongs to and its width [m]."""

    part: str
    width: float


@dataclass(frozen=True)
class Junction:
    """A junction that was put in: the node, the element that stands for it, and its arms by the element's terminals.

    Arm b of a tee or cross at the end of a line has no strip and is not in `arms`: the leads sit there.
    """

    node: str
    element: Element
    arms: dict[str, Arm]

    @property
    def kind(self) -> str:
        """The kind of the part that stands for it."""
        return self.element.part.kind


class LeftOut(NamedTuple):
    """A node where strips meet and nothing was put in, and why, with what to write instead."""

    node: str
    arms: tuple[Arm, ...]
    reason: str


@dataclass(frozen=True)
class Joined:
    """Elements with the junctions between them.

    elements : the given ones in their order, some on hidden nodes, then those of the junctions
    added, left_out : what was put in, and where nothing was
    """

    elements: tuple[Element, ...] = field(repr=False)
    added: tuple[Junction, ...] = ()
    left_out: tuple[LeftOut, ...] = ()


def join_strips(elements: Sequence[Element], leads: Iterable[str] = (), without: Iterable[str] = ()) -> Joined:
    """Put the junctions in that follow from what meets where; the rules stand at the head of this file.

    Parameters
    ----------
    elements : sequence of Element
        Linear parts.
    leads : iterable of str
        Nodes that something else touches (ports, supplies, pins of devices), each as often as it is touched.
    without : iterable of str
        Nodes where nothing is to be put in.

    Returns
    -------
    Joined
        Equal widths and boards at the same nodes give the same junctions, object for object, whatever the lengths.
    """
    plan = _plan(tuple([(e.name, e.nodes, e.part.strips(), e.part.joins_strips) for e in elements]), tuple(leads),
                 tuple(without))
    joined = list(elements)
    for index, nodes in plan.moved:
        joined[index] = Element(joined[index].name, joined[index].part, nodes)
    return Joined((*joined, *(junction.element for junction in plan.added)), plan.added, plan.left_out)


class _Plan(NamedTuple):
    """What to do with elements of given strips: numbers of those that get other nodes, and the list."""

    moved: tuple[tuple[int, tuple[str, ...]], ...]
    added: tuple[Junction, ...]
    left_out: tuple[LeftOut, ...]


class _End(NamedTuple):
    """An end of a strip: number and name of its element, its terminal, the strip, whether it is a stub's."""

    index: int
    part: str
    terminal: int
    strip: Strip
    stub: bool

    @property
    def arm(self) -> Arm:
        return Arm(self.part, self.strip.width)


class _Meeting(NamedTuple):
    """What is put in at a node: the class, and its terminals with the ends there (None: the leads)."""

    cls: type[Part]
    ends: dict[str, _End | None]


@lru_cache(maxsize=512)  # a sweep of lengths asks for the same again at every point
def _plan(parts: tuple[tuple[str, tuple[str, ...], tuple[Strip | None, ...], bool], ...], leads: tuple[str, ...],
          without: tuple[str, ...]) -> _Plan:
    ends: dict[str, list[_End]] = {}
    lead_nodes, spoken_for = set(leads), {GROUND}
    for index, (name, nodes, strips, joins) in enumerate(parts):
        if joins:
            spoken_for.update(nodes)
        for terminal, node in enumerate(nodes):
            strip = strips[terminal] if strips else None
            if strip is None:
                lead_nodes.add(node)
            else:
                ends.setdefault(node, []).append(_End(index, name, terminal, strip, len(nodes) == 1))
    new_nodes: dict[int, list[str]] = {}
    added, left_out = [], []
    for node, here in ends.items():
        if node in spoken_for:
            if node != GROUND and len(here) == 2 and not _equal(*here):
                left_out.append(LeftOut(node, tuple(end.arm for end in here), _CONTRADICTION))
            continue
        found = _meeting(here, node in lead_nodes)
        if found is not None and node in without:
            found = ASKED
        if isinstance(found, str):
            left_out.append(LeftOut(node, tuple(end.arm for end in here), found))
        elif found is not None:
            added.append(_junction(node, found, node in lead_nodes))
            for end, own in zip(found.ends.values(), added[-1].element.nodes):
                if end is not None:
                    new_nodes.setdefault(end.index, list(parts[end.index][1]))[end.terminal] = own
    moved = tuple((index, tuple(nodes)) for index, nodes in new_nodes.items() if tuple(nodes) != parts[index][1])
    return _Plan(moved, tuple(added), tuple(left_out))


def _meeting(ends: list[_End], leads: bool) -> _Meeting | str | None:
    """What ends of strips at one node make: a junction, a sentence why it is not known, or nothing."""
    if len(ends) < 2:
        return None
    names = [end.part for end in ends]
    for name in names:
        if names.count(name) > 1:
            return _TWICE.format(part=name)
    found = _shape([end for end in ends if not end.stub], [end for end in ends if end.stub], leads)
    if isinstance(found, _Meeting) and any(end.strip.board != ends[0].strip.board for end in ends):
        return _BOARDS
    return found


def _shape(lines: list[_End], stubs: list[_End], leads: bool) -> _Meeting | str | None:
    """The same of ends on one board, each of a part of its own; a dozen cases, told at the head of this file."""
    count = len(lines) + len(stubs)
    if count == 2 and not (stubs and leads):
        first, second = sorted(lines + stubs)
        if _equal(first, second):
            return None
        return _STEP_LEADS if leads else _Meeting(BoardStep, {"a": first, "b": second})
    if len(stubs) > 2 or len(lines) > 2:
        return _THREE if count == 3 and len(lines) == 3 else _MANY.format(count=count)
    if not lines:
        return _NO_LINE
    cls = BoardTee if len(stubs) == 1 else BoardCross
    branches = dict(zip(("branch", "second_branch"), stubs))
    if len(lines) == 1:
        return _Meeting(cls, {"a": lines[0], "b": None, **branches}) if leads else _BOTH_STUBS
    if not _equal(*lines):
        return _UNEQUAL.format(kind=cls.kind)
    return _BRANCH_LEADS.format(kind=cls.kind) if leads else _Meeting(cls, {"a": lines[0], "b": lines[1], **branches})


def _equal(first: _End, second: _End) -> bool:
    return abs(first.strip.width - second.strip.width) <= _EQUAL * max(first.strip.width, second.strip.width)


def _junction(node: str, found: _Meeting, leads: bool) -> Junction:
    ends = {terminal: end for terminal, end in found.ends.items() if end is not None}
    keeps = None if leads else min(ends.values())
    nodes = tuple(node if end is keeps else f"{node}|{end.part}" for end in found.ends.values())
    board, widths = ends["a"].strip.board, [end.strip.width for end in ends.values()]
    if found.cls is BoardStep:
        part = BoardStep(board, *widths)
    else:
        part = found.cls(board, ends["a"].strip.width,
                         *(end.strip.width for terminal, end in ends.items() if terminal not in ("a", "b")))
    return Junction(node, Element(f"junction.{node}", part, nodes), {name: end.arm for name, end in ends.items()})
