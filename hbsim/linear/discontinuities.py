"""Where strips meet or end: step, tee, cross."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ..quantities import quantity
from .board import Board
from .checks import Checked
from .part import Part, Relation


def joint(omega: np.ndarray, terminals: int) -> Relation:
    """A perfect connection: one voltage, and no current lost."""
    a, b = np.zeros((2, len(omega), terminals, terminals), complex)
    for row in range(terminals - 1):
        a[:, row, row], a[:, row, row + 1] = 1.0, -1.0
    b[:, -1] = 1.0
    return Relation(a, b)


@dataclass(frozen=True)
class BoardStep(Checked, Part):
    """Change of width from `width` (at a) to `second_width` (at b)."""

    kind: ClassVar[str] = "step"
    joins_strips: ClassVar[bool] = True
    terminals: ClassVar[tuple[str, ...]] = ("a", "b")
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of the strip at a")
    second_width: float = quantity("m", minimum=0.0, above=True, meaning="width of the strip at b")

    def relation(self, omega: np.ndarray) -> Relation:
        return joint(omega, 2)


@dataclass(frozen=True)
class BoardTee(Checked, Part):
    """A branch on a line: the line runs from a to b, the branch leaves it at `branch`.

    Lengths of the line count to the centre line of the branch, that of the branch from the edge of the line.
    """

    kind: ClassVar[str] = "tee"
    joins_strips: ClassVar[bool] = True
    terminals: ClassVar[tuple[str, ...]] = ("a", "b", "branch")
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of the line")
    branch_width: float = quantity("m", minimum=0.0, above=True, meaning="width of the branch")

    def relation(self, omega: np.ndarray) -> Relation:
        return joint(omega, 3)


@dataclass(frozen=True)
class BoardCross(Checked, Part):
    """Two branches that face each other on a line from a to b; lengths count as in `BoardTee`."""

    kind: ClassVar[str] = "cross"
    joins_strips: ClassVar[bool] = True
    terminals: ClassVar[tuple[str, ...]] = ("a", "b", "branch", "second_branch")
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of the line")
    branch_width: float = quantity("m", minimum=0.0, above=True, meaning="width of the branch")
    second_branch_width: float = quantity("m", minimum=0.0, above=True, meaning="width of the second branch")

    def relation(self, omega: np.ndarray) -> Relation:
        return joint(omega, 4)
