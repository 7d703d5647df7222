"""What stands above the data: in version 1 the option line, in version 2 keywords too (keywords.py)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .mixed import Mode
from .options import Options
from .text import Range


@dataclass(frozen=True)
class Header:
    """What a file says of its data.

    version : "1.0", "1.1", "2.0" or "2.1".
    network, noise : where the data stand; noise of version 1 follows the network data without a mark.
    ports : 0 where only the name or the rows tell.
    points, noise_points : as announced, None where nothing is.
    resistances : of [Reference]; empty where the option line holds. [ohm]
    order : of a 2-port, "12_21" or "21_12"; empty where version 2 must say and does not.
    form : "full", "lower" or "upper".
    modes : of mixed-mode data, in the order of rows and columns; empty for single-ended data.
    information : lines between [Begin Information] and [End Information].
    """

    version: str
    options: Options
    network: list[Range]
    noise: list[Range] | None = None
    ports: int = 0
    points: int | None = None
    noise_points: int | None = None
    resistances: tuple[float, ...] = ()
    order: str = "21_12"
    form: str = "full"
    modes: tuple[Mode, ...] = ()
    information: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def normalised(self) -> bool:
        """Whether Z, Y, H, G and noise resistances are divided by the reference: the rule of version 1."""
        return self.version.startswith("1")

    def references(self, ports: int) -> np.ndarray:
        """Reference resistance of each port, (ports,). [ohm]"""
        return np.array(self.resistances) if self.resistances else self.options.references(ports)

    def numbers_a_point(self, ports: int) -> int:
        """A frequency and its matrix."""
        return 1 + (2 * ports * ports if self.form == "full" else ports * (ports + 1))
