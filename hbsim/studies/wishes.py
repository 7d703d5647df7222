"""What can be wished for: figures of a solved state, each with its unit, its better direction and a scale for a search.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..balance.figures import Figure, OutputPhase, RelativeLevel
from ..balance.gradient import figure
from ..describe.description import Description
from ..errors import Refusal
from ..quantities import parse, show
from .outputs import column_unit

# Common practice, no source: connectors and the directivity of analysers hide what comes back 40 dB below what went in.
BEST_MATCH_DB = 40.0
_MATCH = "input_return_loss_db"
_DB_UNITS = ("dBm", "dB")


@dataclass(frozen=True)
class Wish:
    """A figure that should be large (`better` = 1) or small (-1).

    A search works on its worth, of which more is better. That of the return loss is minus the size of the reflection
    coefficient, which is nearly linear in what moves the match, where the decibels run away at it.

    name, unit : as in tables, such as "output_dbm_2" in dBm.
    """

    name: str
    figure: Figure
    unit: str
    better: int = 1

    @property
    def is_match(self) -> bool:
        """Whether it is the return loss, of which more is better."""
        return self.name == _MATCH and self.better > 0

    @property
    def in_decibels(self) -> bool:
        """Whether its unit is one of levels."""
        return self.unit in _DB_UNITS

    def worth(self, value: float) -> float:
        """Of a value of the figure; more is better."""
        return -10.0 ** (-value / 20.0) if self.is_match else self.better * value

    def worth_slope(self, value: float) -> float:
        """Of the worth against the figure."""
        return math.log(10.0) / 20.0 * 10.0 ** (-value / 20.0) if self.is_match else float(self.better)

    def counted(self, value: float) -> float:
        """A value as it counts in a comparison: more is better, a return loss no more than BEST_MATCH_DB."""
        return min(value, BEST_MATCH_DB) if self.is_match else self.better * value

    def uncounted(self, counted: float) -> float:
        """The value that counts so."""
        return counted if self.is_match else self.better * counted

    def text(self, value: float, digits: int = 4) -> str:
        """The value with its unit, levels to 0.01 dB."""
        return f"{value:.2f} {self.shown_unit}" if self.in_decibels else show(value, self.unit, digits)

    @property
    def shown_unit(self) -> str:
        """dBc for a line against the wanted one."""
        return "dBc" if isinstance(self.figure, RelativeLevel) else self.unit


@dataclass(frozen=True)
class Hold:
    """Limits that a figure is held within, in its unit; None where there is none."""

    wish: Wish
    low: float | None
    high: float | None

    def sides(self) -> list[tuple[Wish, float]]:
        """Each limit as a wish and the value that it must reach."""
        wish = self.wish
        found = [] if self.low is None else [(Wish(wish.name, wish.figure, wish.unit, 1), self.low)]
        return found if self.high is None else [*found, (Wish(wish.name, wish.figure, wish.unit, -1), self.high)]

    def text(self) -> str:
        """In words."""
        pieces = [] if self.low is None else [f"at least {self.wish.text(self.low)}"]
        pieces += [] if self.high is None else [f"at most {self.wish.text(self.high)}"]
        return f"{self.wish.name} {' and '.join(pieces)}"


def wish(name: str, description: Description, better: int | None = None) -> Wish:
    """A figure by its name, that of a column of a sweep: "output_dbm_2", "output_dbc_1" (against the wanted line),
    "input_return_loss_db", "conversion_loss_db", "efficiency", "supply_amps_VCC", "dissipation_watts_Q1", ...

    Parameters
    ----------
    better : 1, -1 or None
        Whether more or less is better; None: more of the wanted line, return loss and efficiency, less of all else.

    Raises
    ------
    Refusal
        There is no such figure, or it is a phase.
    """
    wanted = f"output_dbm_{description.wanted_harmonic}"
    natural = 1 if name in (wanted, _MATCH, "efficiency") else -1
    direction = natural if better is None else better
    found = figure(name, description)
    if isinstance(found, OutputPhase):
        raise Refusal("a phase goes round in a circle, so that no value of it is better than another", name)
    return Wish(name, found, column_unit(name), direction)


def usual_wishes(description: Description) -> list[Wish]:
    """The figures that are told of every point."""
    names = [f"output_dbm_{description.wanted_harmonic}", _MATCH, "efficiency"]
    names += ["output_dbc_1"] if description.wanted_harmonic != 1 else []
    return [wish(name, description) for name in (*names, *(f"supply_amps_{supply}" for supply in description.supplies))]


def limits(text: str, unit: str, place: str) -> tuple[float | None, float | None]:
    """"10dB:", ":20mA", "1:8V" as two limits; an end without a unit takes that of the other, an empty one is None.

    Raises
    ------
    Refusal
        Not two ends, both empty, or the first above the second.
    """
    pieces = [piece.strip() for piece in text.split(":")]
    if len(pieces) != 2 or not any(pieces):
        raise Refusal(f"'{text}' is not LOW:HIGH; write two limits with ':' between, of which one may be left out",
                      place)
    units = [re.sub(r"^[+-]?[\d.]+(?:[eE][+-]?\d+)?\s*", "", piece) for piece in pieces]
    shared = next((found for found in units if found), "")
    full = [piece if not piece or found else f"{piece} {shared}".strip() for piece, found in zip(pieces, units)]
    low, high = (parse(piece.removesuffix("c") if unit == "dB" else piece, unit, place) if piece else None
                 for piece in full)
    if low is not None and high is not None and low >= high:
        raise Refusal(f"in '{text}' the first limit is not below the second; write the lower one first", place)
    return low, high


def holds_of(texts: Mapping[str, Any], description: Description) -> list[Hold]:
    """Limits by the name of the figure: "10dB:" or (low, high) in the figure's unit, None for no limit."""
    found = []
    for name, given in texts.items():
        item = wish(name, description)
        low, high = limits(given, item.unit, name) if isinstance(given, str) else given
        if low is None and high is None:
            raise Refusal("is held within no limits; give at least one", name)
        found.append(Hold(item, low, high))
    return found


def met(holds: Sequence[Hold], values: Mapping[str, float], slack_db: float, slack: float) -> bool:
    """Whether values keep all limits but for a slack, in dB for levels, relative for others."""
    for hold in holds:
        value = values[hold.wish.name]
        for limit, sign in ((hold.low, 1.0), (hold.high, -1.0)):
            if limit is not None:
                allowed = slack_db if hold.wish.in_decibels else slack * abs(limit)
                if not sign * (value - limit) >= -allowed:
                    return False
    return True
