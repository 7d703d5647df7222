"""The kinds of linear part that a circuit file may name."""

from __future__ import annotations

from .block import TouchstoneBlock
from .coupled_lines import BoardCoupledLines, BoardFilterSection, CoupledLines, FilterSection
from .discontinuities import BoardBend, BoardCross, BoardGap, BoardOpenEnd, BoardStep, BoardTee
from .lines import BoardLine, BoardOpenStub, BoardShortedStub, Line, OpenStub, ShortedStub
from .lumped import BoardVia, Capacitor, Inductor, Resistor, Via
from .part import Part
from .radial_stub import BoardRadialStub

_CLASSES: tuple[type[Part], ...] = (
    Resistor, Capacitor, Inductor, Via, BoardVia, Line, BoardLine, OpenStub, BoardOpenStub, ShortedStub,
    BoardShortedStub, CoupledLines, BoardCoupledLines, FilterSection, BoardFilterSection, BoardOpenEnd, BoardGap,
    BoardStep, BoardBend, BoardTee, BoardCross, BoardRadialStub, TouchstoneBlock)

KINDS: dict[str, tuple[type[Part], ...]] = {
    kind: tuple(cls for cls in _CLASSES if cls.kind == kind) for kind in dict.fromkeys(cls.kind for cls in _CLASSES)}
"""Kind -> its classes; where there are two ways of telling a part, each class says so in `told_by`."""
