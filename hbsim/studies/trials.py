"""One point of a search: the circuit with its free quantities at given shares of their way, solved, with slopes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.gradient import gradient
from ..balance.solution import MATCH_FLOOR_DBM, SteadyState
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import HbsimError, NotSolved, Refusal
from .free import Free, at
from .wishes import Hold, Wish

_LEAST = 1e-12  # of what a limit is measured by


@dataclass(eq=False)
class Trial:
    """A solved point.

    shares : ndarray, (n_free,), each 0 (lower limit) to 1 (upper limit).
    values : figure -> value.
    state : SteadyState
    """

    shares: np.ndarray
    values: dict[str, float]
    state: SteadyState = field(repr=False)
    slopes: dict[str, np.ndarray] | None = None


class Trials:
    """Solves points with a fixed number of harmonics and counts them.

    Parameters
    ----------
    description : Description
    free : sequence of Free
    wishes : sequence of Wish
        The figures that are read from every point.
    harmonics : int
    accuracy : Accuracy
    tell : function of the count of solves, or None
    steering : names of the figures that have slopes; None: all

    Attributes
    ----------
    solves : int
        Steady states solved for, those without success too.
    reasons : list of str
        Why points were not solved.
    """

    def __init__(self, description: Description, free: Sequence[Free], wishes: Sequence[Wish], harmonics: int,
                 accuracy: Accuracy, tell: Callable[[int], None] | None = None,
                 steering: Sequence[str] | None = None) -> None:
        if description.drive.power_dbm < MATCH_FLOOR_DBM:
            raise Refusal("there is no drive worth the name, and so no return loss", "drive.power")
        self.description, self.free, self.wishes = description, free, {wish.name: wish for wish in wishes}
        self.harmonics, self.accuracy, self._tell = harmonics, accuracy, tell
        self.steering = list(self.wishes) if steering is None else list(steering)
        self.solves = 0
        self.reasons: list[str] = []
        self.addresses = list(at(free, np.zeros(len(free))))

    def circuit(self, shares: np.ndarray) -> Description:
        """The circuit at these shares."""
        return self.description.with_values(at(self.free, shares))

    def solved(self, shares: np.ndarray, start: SteadyState | None) -> Trial | None:
        """A point; None where there is no steady state or a figure has no value."""
        return self._counted(shares, lambda circuit: solve(circuit, self.harmonics, None, start, self.accuracy))

    def from_rest(self, shares: np.ndarray, harmonics: int | None) -> Trial | None:
        """A point as a prediction has it: from no start; None: with as many harmonics as the lines need."""
        return self._counted(shares, lambda circuit: solve(circuit, harmonics, accuracy=self.accuracy))

    def _counted(self, shares: np.ndarray, solving: Callable[[Description], SteadyState]) -> Trial | None:
        self.solves += 1
        if self._tell is not None:
            self._tell(self.solves)
        try:
            state = solving(self.circuit(shares))
            values = {name: float(wish.figure.value(state, state.description)) for name, wish in self.wishes.items()}
        except (NotSolved, Refusal) as failure:
            self.reasons.append(failure.reason if isinstance(failure, NotSolved) else str(failure))
            return None
        missing = [name for name, value in values.items() if not np.isfinite(value)]
        if missing:
            self.reasons.append(f"{missing[0]} has no value there")
            return None
        return Trial(np.array(shares), values, state)

    def slopes(self, trial: Trial) -> dict[str, np.ndarray] | None:
        """Figure that steers -> slope against the shares, (n_free,); None at the very edge of a jump."""
        if trial.slopes is None:
            try:
                table = gradient(trial.state, {name: self.wishes[name].figure for name in self.steering},
                                 self.addresses)
            except HbsimError as failure:
                self.reasons.append(str(failure))
                return None
            trial.slopes = {name: np.array([sum(row[address] * factor for address, factor in item.slopes().items())
                                            for item in self.free]) for name, row in table.items()}
        return trial.slopes


@dataclass(frozen=True)
class Floor:
    """A value that a figure must reach; as one number that is positive where it does, 1 for a dB or the whole of it."""

    wish: Wish
    value: float

    @property
    def _scale(self) -> float:
        if self.wish.in_decibels and not self.wish.is_match:
            return 1.0
        return max(abs(self.wish.worth(self.value)), _LEAST)

    def room(self, trial: Trial) -> float:
        """How far above it a point is."""
        return (self.wish.worth(trial.values[self.wish.name]) - self.wish.worth(self.value)) / self._scale

    def slope(self, trial: Trial, slopes: dict[str, np.ndarray]) -> np.ndarray:
        """Of the room against the shares."""
        return self.wish.worth_slope(trial.values[self.wish.name]) / self._scale * slopes[self.wish.name]


def floors_of(holds: Sequence[Hold]) -> list[Floor]:
    """All limits as floors."""
    return [Floor(wish, value) for hold in holds for wish, value in hold.sides()]
