"""Radial stub on a board."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ..errors import Refusal
from ..quantities import quantity
from .board import Board, Conductor
from .checks import Checked, refuse_together
from .microstrip import loss, radial
from .part import Part, Relation, Strip


@dataclass(frozen=True)
class BoardRadialStub(Checked, Part):
    """Sector of a ring, fed at its narrow end, open at its rim; open at DC.

    Parameters
    ----------
    board : Board
    outer_radius : float
        From the point where the straight edges would meet to the rim. [m]
    angle : float
        Between the straight edges. [deg]
    inner_radius : float or None
        From the same point to the narrow end. [m]
    inner_width : float or None
        Instead of the inner radius: straight across the narrow end, as wide as the strip that leads to it. [m]
    conductor : Conductor or None
        Replaces the board's metal in the stub.

    Raises
    ------
    Refusal
        Both or none of inner radius and inner width, or an outer radius that is not the larger one.

    References
    ----------
    As in microstrip/radial.py.
    """

    kind: ClassVar[str] = "radial stub"
    terminals: ClassVar[tuple[str, ...]] = ("a",)
    board: Board
    outer_radius: float = quantity("m", minimum=0.0, above=True, meaning="radius of the rim")
    angle: float = quantity("deg", minimum=1.0, maximum=180.0, meaning="angle of the sector")
    inner_radius: float | None = quantity("m", None, "radius of the narrow end", minimum=0.0, above=True)
    inner_width: float | None = quantity("m", None, "width of the narrow end", minimum=0.0, above=True)
    conductor: Conductor | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        refuse_together(self, "inner_radius", "inner_width")
        if self.inner_radius is None and self.inner_width is None:
            raise Refusal("missing; give 'inner_width', or 'inner_radius'", "inner_width")
        if self.outer_radius <= self.start:
            raise Refusal(f"it ends before it begins, {1e3 * self.start:.4g} mm from the point of the sector; make it "
                          "larger", "outer_radius")

    @property
    def opening(self) -> float:
        """Angle of the sector. [rad]"""
        return float(np.radians(self.angle))

    @property
    def start(self) -> float:
        """Radius of the narrow end. [m]"""
        return self.inner_radius or self.inner_width / (2.0 * np.sin(self.opening / 2.0))

    @property
    def metal(self) -> Conductor:
        """What the stub is made of."""
        return self.conductor or self.board.metal

    def strips(self) -> tuple[Strip, ...]:
        width = self.inner_width or 2.0 * self.start * float(np.sin(self.opening / 2.0))
        return (Strip(width, self.board),)

    def relation(self, omega: np.ndarray) -> Relation:
        shape = radial.sector(self.start, self.outer_radius, self.opening, self.metal, self.board,
                              omega / (2.0 * np.pi))
        a, b = radial.input_law(shape, self.board.height, omega)
        return Relation(a[:, None, None] + 0j, b[:, None, None] + 0j)

    def warnings(self, highest_frequency: float) -> list[str]:
        return (radial.radial_warnings(self.outer_radius, self.opening, self.metal, self.board, highest_frequency)
                + loss.loss_warnings(self.metal, self.board, highest_frequency))
