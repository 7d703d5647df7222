"""What a linear part is: terminals, quantities, and one relation between terminal voltages and currents.

Conventions, stated once for all of hbsim: peak phasors, exp(+j omega t), x(t) = Re sum X_k exp(j k omega0 t),
harmonic 0 is DC; a terminal's current is positive into the part; terminal voltages are against ground.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import ClassVar, NamedTuple

import numpy as np

from .board import Board


@dataclass(frozen=True)
class Relation:
    """The law of a part at every frequency: a V + b I = 0.

    Parameters
    ----------
    a, b : ndarray, complex, shape (n_frequency, n_equation, n_terminal)
        n_equation = n_terminal. Rows of `a` against voltages [V], of `b` against currents [A]. This form holds
        where no admittance exists (an ideal inductor at DC, a half-wave line). `b` None means minus one times
        the identity: `a` is then the admittance matrix. [S]
    """

    a: np.ndarray
    b: np.ndarray | None = None


class Strip(NamedTuple):
    """What lies at a terminal: a strip of some width [m] on a board."""

    width: float
    board: Board


class Part(ABC):
    """A linear part. Subclasses are frozen dataclasses whose quantity fields are what a circuit file may say.

    kind : the words a circuit file uses ("open stub").
    terminals : names, in the order of the file's `nodes`. Empty: `terminal_names()` decides.
    joins_strips : it stands for a place where strips meet or end (a tee, a bend); its node needs no other.
    """

    kind: ClassVar[str] = ""
    terminals: ClassVar[tuple[str, ...]] = ()
    joins_strips: ClassVar[bool] = False

    def terminal_names(self) -> tuple[str, ...]:
        """Names of the terminals of this very part."""
        return self.terminals

    def strips(self) -> tuple[Strip | None, ...]:
        """The strip at each terminal, None where there is none; empty: at no terminal. One alone is a stub's."""
        return ()

    @abstractmethod
    def relation(self, omega: np.ndarray) -> Relation:
        """Relation at each angular frequency of `omega`, shape (n_frequency,), zero included. [rad/s]"""

    def inside(self) -> dict[str, Part]:
        """Parts that this one is told with, by their address in it ("fixture.1")."""
        return {}

    def with_inside(self, address: str, part: Part) -> Part:
        """The same part, with another one at an address of `inside`."""
        raise KeyError(address)

    def on_board(self, board: Board) -> Part:
        """The same part on another board; itself if it lies on none."""
        moved = replace(self, board=board) if getattr(self, "board", None) is not None else self
        for address, part in self.inside().items():
            other = part.on_board(board)
            moved = moved if other is part else moved.with_inside(address, other)
        return moved

    def data_range(self) -> tuple[float, float] | None:
        """First and last frequency of the data behind it, where its law may jump; None: it is a formula. [Hz]"""
        return None

    def warnings(self, highest_frequency: float) -> list[str]:
        """Sentences on what was computed outside a formula's published range, up to `highest_frequency`. [Hz]"""
        return []


def said_by(parts: Iterable[tuple[str, Part]], frequency: float) -> list[str]:
    """What parts say of their formulas' ranges up to `frequency` [Hz]: each sentence once, after the names of all that
    say it."""
    names: dict[str, list[str]] = {}
    for name, part in parts:
        for sentence in part.warnings(frequency):
            names.setdefault(sentence, []).append(name)
    return [f"{', '.join(who)}: {sentence}" for sentence, who in names.items()]


def admittance_between(y: np.ndarray) -> Relation:
    """Relation of a two-terminal admittance `y`, shape (n_frequency,). [S]"""
    pattern = np.array([[1.0, -1.0], [-1.0, 1.0]])
    return Relation(y[:, None, None] * pattern)


def impedance_between(z: np.ndarray, y_across: np.ndarray | float = 0.0) -> Relation:
    """Relation of a series impedance `z` with an admittance `y_across` beside it: exact for z = 0. [ohm], [S]

    Written as (1 + z y)(V1 - V2) = z I1 and I1 + I2 = 0.
    """
    n = len(z)
    a, b = np.zeros((n, 2, 2), complex), np.zeros((n, 2, 2), complex)
    grown = 1.0 + z * y_across
    a[:, 0, 0], a[:, 0, 1] = grown, -grown
    b[:, 0, 0] = -z
    b[:, 1, 0] = b[:, 1, 1] = 1.0
    return Relation(a, b)
