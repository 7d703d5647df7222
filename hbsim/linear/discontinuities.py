"""Where strips meet or end: open end, gap, step, bend, tee, cross.

None of them has loss but the open end, which is a short piece of its strip. Strips are taken to have the thickness of
the board's metal.
"""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from ..errors import Refusal
from ..quantities import quantity
from .board import Board
from .checks import Checked
from .joints import Arm, joint, tee_section
from .lines import end_extension
from .microstrip import bend, gap, line, plane, step, tee
from .microstrip.propagation import single_line
from .part import Part, Relation, Strip
from .waves import Wave, open_ended


def _static(width: float, board: Board) -> line.Static:
    return line.static_line(width / board.height, board.thickness / board.height, board.permittivity)


def _phase_and_impedance(width: float, board: Board, omega: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of a strip without loss: phase over a length [rad/m] and impedance [ohm]."""
    found = single_line(width, board.metal, board, omega / (2.0 * np.pi))
    return found.gamma.imag, found.impedance


def _end_capacitance(width: float, board: Board) -> float:
    """Of an open end at low frequency: that of the length it seems to add. [F]"""
    strip = _static(width, board)
    return end_extension(width, board.metal, board) * np.sqrt(strip.permittivity) / (line.LIGHT * strip.impedance)


def _height_frequency(board: Board, frequency: float) -> float:
    return float(line.ghz_mm(frequency, board.height))


@dataclass(frozen=True)
class BoardOpenEnd(Checked, Part):
    """Open end of a strip: the piece of open line that its fringing field seems to add.

    Parameters
    ----------
    board : Board
    width : float
        Of the strip. [m]

    References
    ----------
    microstrip/line.py, `open_end`.
    """

    kind: ClassVar[str] = "open end"
    joins_strips: ClassVar[bool] = True
    terminals: ClassVar[tuple[str, ...]] = ("a",)
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of the strip")

    def strips(self) -> tuple[Strip, ...]:
        return (Strip(self.width, self.board),)

    def relation(self, omega: np.ndarray) -> Relation:
        impedance, gamma = single_line(self.width, self.board.metal, self.board, omega / (2.0 * np.pi))
        return open_ended(Wave(omega, impedance, gamma * end_extension(self.width, self.board.metal, self.board)))

    def warnings(self, highest_frequency: float) -> list[str]:
        return (line.outside("width / height", self.width / self.board.height, 0.01, 100.0, line.OPEN_END)
                + line.outside("permittivity", self.board.permittivity, 1.0, 50.0, line.OPEN_END))


@dataclass(frozen=True)
class BoardGap(Checked, Part):
    """Gap between two strips in line; open at DC.

    Parameters
    ----------
    board : Board
    width : float
        Of the strip at a. [m]
    gap : float
        Between the strips' ends. [m]
    second_width : float or None
        Of the strip at b; None: the same. [m]

    References
    ----------
    As in microstrip/gap.py.
    """

    kind: ClassVar[str] = "gap"
    joins_strips: ClassVar[bool] = True
    terminals: ClassVar[tuple[str, ...]] = ("a", "b")
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of the strip at a")
    gap: float = quantity("m", minimum=0.0, above=True, meaning="gap between the strips")
    second_width: float | None = quantity("m", None, "width of the strip at b, if another", minimum=0.0, above=True)

    @property
    def widths(self) -> tuple[float, float]:
        """Of the strips at a and b. [m]"""
        return self.width, self.second_width or self.width

    def strips(self) -> tuple[Strip, ...]:
        return tuple(Strip(width, self.board) for width in self.widths)

    def capacitances(self) -> tuple[float, float, float]:
        """To ground at a, across the gap, to ground at b. [F]"""
        h = self.board.height
        narrow, wide = sorted(self.widths)
        ends = _end_capacitance(narrow, self.board), _end_capacitance(wide, self.board)
        found = gap.series_gap(narrow / h, wide / h, self.gap / h, self.board.permittivity, h, ends)
        sides = (found.narrow, found.wide) if self.widths == (narrow, wide) else (found.wide, found.narrow)
        return sides[0], found.series, sides[1]

    def relation(self, omega: np.ndarray) -> Relation:
        at_a, across, at_b = self.capacitances()
        return Relation(1j * omega[:, None, None] * np.array([[at_a + across, -across], [-across, at_b + across]]))

    def warnings(self, highest_frequency: float) -> list[str]:
        h = self.board.height
        narrow, wide = sorted(self.widths)
        return gap.gap_warnings(narrow / h, wide / h, self.gap / h, self.board.permittivity,
                                _height_frequency(self.board, highest_frequency))


@dataclass(frozen=True)
class BoardStep(Checked, Part):
    """Change of width from `width` (at a) to `second_width` (at b); for equal widths a perfect connection.

    Parameters
    ----------
    board : Board
    width, second_width : float
        [m]

    References
    ----------
    As in microstrip/step.py; the inductance is shared out like that of the two strips per length.
    """

    kind: ClassVar[str] = "step"
    joins_strips: ClassVar[bool] = True
    terminals: ClassVar[tuple[str, ...]] = ("a", "b")
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of the strip at a")
    second_width: float = quantity("m", minimum=0.0, above=True, meaning="width of the strip at b")

    def strips(self) -> tuple[Strip, ...]:
        return Strip(self.width, self.board), Strip(self.second_width, self.board)

    @property
    def values(self) -> step.Step:
        """Capacitance [F] and inductance of both sides [H]."""
        narrow, wide = sorted((self.width, self.second_width))
        return step.step(wide, narrow, self.board.permittivity, self.board.height)

    def relation(self, omega: np.ndarray) -> Relation:
        found = self.values
        first, second = (_static(width, self.board).air_impedance for width in (self.width, self.second_width))
        share = first / (first + second)
        return tee_section(1j * omega * found.inductance * share, 1j * omega * found.inductance * (1.0 - share),
                           1j * omega * found.capacitance)

    def warnings(self, highest_frequency: float) -> list[str]:
        narrow, wide = sorted((self.width, self.second_width))
        return step.step_warnings(wide, narrow, self.board.permittivity) + (plane.width_warnings(
            _static(wide, self.board), self.board.height, highest_frequency, step.SOURCE) if wide > narrow else [])


@dataclass(frozen=True)
class BoardBend(Checked, Part):
    """Right-angle bend; lengths of both strips count to the inner corner.

    Its inductance is written as a piece of line in each arm and the capacitance as what exceeds that of these pieces:
    the same at low frequency, and a compensated bend is a piece of the line at any frequency.

    Parameters
    ----------
    board : Board
    width : float
        Of both strips. [m]
    mitre : float
        How much of the corner's diagonal is cut away, from the outer corner: 0 a square corner, 0.5 (or "50 %") a
        half-cut one, up to the optimum of `optimum_mitre`; between these it is interpolated, with a warning. [1]
    compensated : bool
        Take the optimum mitre for this width, whatever it is.

    Raises
    ------
    Refusal
        More is cut away than at the optimum (and 5 % of the diagonal more), or both `mitre` and `compensated` are told.

    References
    ----------
    As in microstrip/bend.py.
    """

    kind: ClassVar[str] = "bend"
    joins_strips: ClassVar[bool] = True
    terminals: ClassVar[tuple[str, ...]] = ("a", "b")
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of both strips")
    mitre: float | None = quantity("1", None, "part of the corner's diagonal cut away; 0 if not told", minimum=0.0,
                                   maximum=1.0)
    compensated: bool = field(default=False, metadata={"flag": True})

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.compensated and self.mitre is not None:
            raise Refusal("both 'mitre' and 'compensated' are given; take one of them out", "mitre")
        best = bend.optimum_mitre(self.width / self.board.height)
        if (self.mitre or 0.0) > best + bend.TOLERATED:
            raise Refusal(f"no formula knows a corner cut away that far; for this width the best mitre is "
                          f"{100 * best:.3g} %, write that or less, or compensated = true", "mitre")

    def strips(self) -> tuple[Strip, ...]:
        return (Strip(self.width, self.board),) * 2

    @property
    def cut(self) -> float:
        """The mitre that is taken. [1]"""
        return bend.optimum_mitre(self.width / self.board.height) if self.compensated else self.mitre or 0.0

    @property
    def values(self) -> bend.Bend:
        """Capacitance [F] and inductance of both arms [H]."""
        return bend.bend(self.width, self.board.permittivity, self.board.height, self.cut,
                         _static(self.width, self.board).impedance)

    def relation(self, omega: np.ndarray) -> Relation:
        strip, found = _static(self.width, self.board), self.values
        beta, impedance = _phase_and_impedance(self.width, self.board, omega)
        arm = Arm(beta * found.inductance * line.LIGHT / strip.air_impedance / 2.0, impedance)
        return joint([arm, arm], omega * (found.capacitance - found.inductance / strip.impedance**2))

    def warnings(self, highest_frequency: float) -> list[str]:
        sentences = bend.bend_warnings(self.width / self.board.height, self.board.permittivity, self.cut,
                                       _height_frequency(self.board, highest_frequency))
        return sentences + (plane.width_warnings(_static(self.width, self.board), self.board.height, highest_frequency,
                                                 bend.SQUARE) if self.cut < 0.5 else [])


class _Branching(Checked, Part):
    """What tee and cross share: arms, and branches that disturb the line."""

    board: Board
    width: float

    @abstractmethod
    def branch_widths(self) -> tuple[float, ...]:
        """Of every branch. [m]"""

    def strips(self) -> tuple[Strip, ...]:
        return tuple(Strip(width, self.board) for width in (self.width, self.width, *self.branch_widths()))

    def relation(self, omega: np.ndarray) -> Relation:
        beta, impedance = _phase_and_impedance(self.width, self.board, omega)
        main = _static(self.width, self.board)
        shift, susceptance, branches = np.zeros(len(omega)), np.zeros(len(omega)), []
        for width in self.branch_widths():
            found = tee.tee(main, _static(width, self.board), self.board.permittivity, self.board.height,
                            omega / (2.0 * np.pi))
            shift = shift + found.main_shift
            susceptance = susceptance + found.susceptance
            branch_beta, branch_impedance = _phase_and_impedance(width, self.board, omega)
            branches.append(Arm(branch_beta * (self.width / 2.0 - found.branch_shift), branch_impedance, found.ratio))
        width = plane.plane_width(main, self.board.height)
        arm = Arm(-beta * shift, impedance)
        return joint([arm, arm, *branches], susceptance * width * beta / (2.0 * np.pi * impedance))

    def warnings(self, highest_frequency: float) -> list[str]:
        main = _static(self.width, self.board)
        return list(dict.fromkeys(
            sentence for width in self.branch_widths()
            for sentence in tee.tee_warnings(main, _static(width, self.board), self.board.height, highest_frequency)))


@dataclass(frozen=True)
class BoardTee(_Branching):
    """A branch on a line: the line runs from a to b, the branch leaves it at `branch`.

    Lengths of the line count to the centre line of the branch, that of the branch from the edge of the line; the part
    takes away or adds what lies between there and the planes of the formula. Both arms of the line have one width.

    Parameters
    ----------
    board : Board
    width : float
        Of the line. [m]
    branch_width : float
        [m]

    References
    ----------
    As in microstrip/tee.py.
    """

    kind: ClassVar[str] = "tee"
    joins_strips: ClassVar[bool] = True
    terminals: ClassVar[tuple[str, ...]] = ("a", "b", "branch")
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of the line")
    branch_width: float = quantity("m", minimum=0.0, above=True, meaning="width of the branch")

    def branch_widths(self) -> tuple[float, ...]:
        return (self.branch_width,)


@dataclass(frozen=True)
class BoardCross(_Branching):
    """Two branches that face each other on a line from a to b; lengths count as in `BoardTee`.

    No published formula could be checked, so hbsim adds what each branch alone does to the line (microstrip/tee.py):
    the line's arms lose both shifts, and both susceptances stand at one place. That is right where each branch disturbs
    the line little. A warning says that it is hbsim's own.

    Parameters
    ----------
    board : Board
    width : float
        Of the line. [m]
    branch_width, second_branch_width : float
        [m]
    """

    kind: ClassVar[str] = "cross"
    joins_strips: ClassVar[bool] = True
    terminals: ClassVar[tuple[str, ...]] = ("a", "b", "branch", "second_branch")
    board: Board
    width: float = quantity("m", minimum=0.0, above=True, meaning="width of the line")
    branch_width: float = quantity("m", minimum=0.0, above=True, meaning="width of the branch")
    second_branch_width: float = quantity("m", minimum=0.0, above=True, meaning="width of the second branch")

    def branch_widths(self) -> tuple[float, ...]:
        return self.branch_width, self.second_branch_width

    def warnings(self, highest_frequency: float) -> list[str]:
        return ["a cross is taken as two tees at one place (hbsim's own; no published formula was checked)",
                *super().warnings(highest_frequency)]
