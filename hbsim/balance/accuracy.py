"""How many harmonics are enough: the lines are followed while the harmonics are raised, until they stay.

Truncation and aliasing have no bound that could be read from one solution; what can be measured is by how much the
lines move as the harmonics are raised (the samples grow alike). The lines must stay over two steps, in which the number
about doubles: in one step a line may stay by chance. For a smooth circuit the error falls by a power with each step, so
that what is left is less than the last moves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..quantities import show

LEVELS = (6, 8, 12, 16, 24, 32, 48, 64, 96, 128)  # harmonics tried in turn; each about half as many again
STEPS = 2  # over which the lines must stay
_SAFETY = 2.0  # the harmonics are raised until the lines stay within their tolerance over this
# A waveform whose highest harmonics are still so large beside the others has edges that were not resolved: lines may
# then stay by chance, and must stay closer to be believed.
_TAIL, _SAFETY_WITH_TAIL = 1e-3, 20.0
_OTHERS = 10.0  # times the tolerance of the wanted line is asked of the others, unless they have their own


@dataclass(frozen=True)
class Accuracy:
    """By how much the lines at the wanted port may still move when the harmonics are raised.

    Parameters
    ----------
    wanted_db : float
        The wanted line. [dB]
    others_db : float or None
        The other lines shown; None: ten times as much. [dB]
    floor_dbm : float
        Lines below this may move freely. [dBm]
    lines : int or None
        Harmonics shown, from the first on; None: 6, or two more than the wanted one.
    """

    wanted_db: float = 0.01
    others_db: float | None = None
    floor_dbm: float = -100.0
    lines: int | None = None

    def __post_init__(self) -> None:
        for name in ("wanted_db", "others_db"):
            value = getattr(self, name)
            if value is not None and not 0 < value < np.inf:
                raise Refusal(f"{value:g} dB is no tolerance; give a value above zero, such as 0.01 dB", "accuracy")
        if self.lines is not None and self.lines < 1:
            raise Refusal(f"{self.lines} lines cannot be shown; give at least 1", "lines")

    def lines_of(self, description: Description, harmonics: int | None = None) -> int:
        """Lines shown of a circuit: no more than harmonics, where their number is given."""
        lines = max(self.lines or max(6, description.wanted_harmonic + 2), description.wanted_harmonic)
        return lines if harmonics is None else min(lines, harmonics)

    def levels(self, description: Description) -> tuple[int, ...]:
        """Numbers of harmonics to try in turn, three at least.

        Raises
        ------
        Refusal
            More lines are asked for than can be balanced.
        """
        lines = self.lines_of(description)
        found = tuple(level for level in LEVELS if level >= lines)
        if len(found) <= STEPS:
            raise Refusal(f"{lines} lines are too many for a choice of harmonics; at most {LEVELS[-1 - STEPS]}, or "
                          "give the number of harmonics too", "lines")
        return found

    @property
    def tolerance_of_others_db(self) -> float:
        """Of the lines that are not the wanted one. [dB]"""
        return _OTHERS * self.wanted_db if self.others_db is None else self.others_db

    def excess(self, changes: np.ndarray, wanted: int) -> np.ndarray:
        """Largest change over its tolerance, (...), from changes (..., line + 1) in dB; met where it is 1 or less."""
        tolerance = np.full(changes.shape[-1], self.tolerance_of_others_db)
        tolerance[wanted] = self.wanted_db
        return np.where(np.isnan(changes), 0.0, changes / tolerance).max(axis=-1, initial=0.0)

    def settled(self, changes: np.ndarray, wanted: int, forms: np.ndarray) -> np.ndarray:
        """Whether no more harmonics are needed, (...), from changes (..., line + 1) in dB and the voltages of the
        device nodes (..., n, 2 K + 1) in real form. [V]"""
        return self.excess(changes, wanted) <= 1.0 / np.where(tail(forms) > _TAIL, _SAFETY_WITH_TAIL, _SAFETY)

    def changes(self, coarse: np.ndarray, fine: np.ndarray) -> np.ndarray:
        """By how much lines moved at most, from coarser levels (step, ..., line + 1) to finer ones (..., line + 1),
        all in dBm. [dB]

        Not a number where all are below the floor, or no coarser one is known (nan); without limit where a line above
        the floor came or went."""
        below = np.fmax(np.fmax.reduce(coarse), fine) < self.floor_dbm
        with np.errstate(invalid="ignore"):
            return np.where(below, np.nan, np.fmax.reduce(np.abs(fine - coarse)))


def tail(forms: np.ndarray) -> np.ndarray:
    """Largest of the upper quarter of harmonics over the largest of all but DC, (...), from real forms
    (..., n, 2 K + 1). [1]"""
    sizes = np.abs(forms[..., 1:])
    upper = max(2, forms.shape[-1] // 4)
    largest = sizes.max(axis=(-2, -1), initial=0.0)
    return sizes[..., -upper:].max(axis=(-2, -1), initial=0.0) / np.where(largest > 0.0, largest, 1.0)


@dataclass(frozen=True, eq=False)
class Truncation:
    """What the harmonics that were left out may do to the lines at the wanted port.

    line_db : (line + 1,), by how much each line moves when the harmonics are raised from `coarse` to `fine`; not a
        number where it is below the floor. [dB]
    coarse, fine : numbers of harmonics. The answer itself has one of the two.
    met : whether every line moves by no more than its tolerance.
    settled : whether with so much to spare that no more harmonics are needed.
    """

    line_db: np.ndarray
    coarse: int
    fine: int
    met: bool
    settled: bool


def tolerance_words(accuracy: Accuracy) -> str:
    """The tolerance in words."""
    return (f"{show(accuracy.wanted_db, 'dB', 3)} at the wanted line, {show(accuracy.tolerance_of_others_db, 'dB', 3)} "
            f"at the others above {accuracy.floor_dbm:.0f} dBm")
