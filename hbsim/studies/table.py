"""The table of a sweep: a grid of quantities and what came out at each point."""

from __future__ import annotations

import csv
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import IO, Any

import numpy as np

from ..balance.accuracy import Accuracy
from ..errors import Refusal, nearest
from ..files import replaced
from ..quantities import show
from .axis import axis_column
from .turning import BOTH, DOWN, NEITHER, UP, OtherStates


@dataclass(eq=False)
class SweepTable:
    """A swept grid.

    axes : address -> values in base units, (n,). The grid runs over their product, the last axis fastest.
    units : address -> base unit.
    columns : name -> values over the flat grid; nan where unsolved. Names carry their unit.
    reasons : flat point number -> why it is unsolved.
    accuracy : what the harmonics of each point were chosen for.
    harmonics : their number where it was given, else None; the column "harmonics" holds that of each point.
    iterations : harmonics -> Newton steps taken with so many.
    others : of a sweep along the drive alone, which was turned up and down: the states besides those met on the way
        up, which the columns hold.

    `table["output_dbm_2"]` is a column shaped like the grid, `table["drive.power"]` an axis.
    """

    title: str
    axes: dict[str, np.ndarray]
    units: dict[str, str]
    columns: dict[str, np.ndarray]
    wanted_harmonic: int
    accuracy: Accuracy = Accuracy()
    harmonics: int | None = None
    reasons: dict[int, str] = field(default_factory=dict)
    iterations: dict[int, int] = field(default_factory=dict)
    others: OtherStates | None = None

    @property
    def shape(self) -> tuple[int, ...]:
        """Points along each axis."""
        return tuple(len(values) for values in self.axes.values())

    @property
    def solved(self) -> np.ndarray:
        """Which points were solved, shaped like the grid."""
        return self["solved"]

    @property
    def wanted(self) -> str:
        """Name of the column of the wanted output."""
        return f"output_dbm_{self.wanted_harmonic}"

    @property
    def lines(self) -> int:
        """Harmonics that have a column, 1 to this."""
        return sum(name.startswith("output_dbm_") for name in self.columns)

    @property
    def unsettled(self) -> np.ndarray:
        """Which points have a line that still moves by more than its tolerance, or by an unknown amount; flat."""
        columns, tolerance = self.columns, self.accuracy
        unknown = np.isnan(columns["truncation_db"]) & (columns[self.wanted] > tolerance.floor_dbm)
        moving = (columns["truncation_db"] > tolerance.wanted_db)
        moving |= columns["truncation_others_db"] > tolerance.tolerance_of_others_db
        return columns["solved"] & (unknown | moving)

    def __getitem__(self, name: str) -> np.ndarray:
        if name in self.axes:
            return self.axes[name]
        if name not in self.columns:
            raise Refusal(f"the table has no column '{name}'{nearest(name, [*self.axes, *self.columns])}")
        return self.columns[name].reshape(self.shape)

    def place(self, number: int) -> dict[str, float]:
        """Where a point of the flat grid lies: address -> value in base units."""
        at = np.unravel_index(number, self.shape)
        return {address: float(values[i]) for (address, values), i in zip(self.axes.items(), at)}

    def place_text(self, number: int) -> str:
        """The same in words: "drive.power = 3 dBm, supply.VCC = 4.5 V"."""
        return ", ".join(f"{a} = {show(value, self.units[a], 6)}" for a, value in self.place(number).items())

    def most_output(self) -> int | None:
        """Flat number of the point with most output at the wanted harmonic; None where nothing comes out."""
        levels = self.columns[self.wanted]
        return int(np.nanargmax(levels)) if np.isfinite(levels).any() else None

    def turned(self, number: int) -> str:
        """How the state of a point in the columns is met, in a sweep of the drive both ways: "up", or "both"."""
        return UP if self.others is not None and DOWN in self.others.turned[self.others.points == number] else BOTH

    def header(self) -> list[str]:
        """Column names of the CSV file: the axes with their unit, how a state is met, then the results."""
        met = [] if self.others is None else ["turned", "reachable"]
        return [axis_column(name, self.units[name]) for name in self.axes] + met + list(self.columns)

    def rows(self) -> Iterator[list[str]]:
        """Rows of the CSV file; an unsolved point has empty results and solved = false.

        Where the drive was turned both ways, a point has a row for each of its states; those met neither way, between
        two folds, are not reachable."""
        for number, point in enumerate(itertools.product(*self.axes.values())):
            place = [_axis_number(value) for value in point]
            if self.others is None:
                yield [*place, *_results(self.columns, number)]
                continue
            yield [*place, self.turned(number), "true", *_results(self.columns, number)]
            for other in np.flatnonzero(self.others.points == number):
                turned = self.others.turned[other]
                yield [*place, turned, str(turned != NEITHER).lower(), *_results(self.others.columns, other)]

    def write_csv(self, handle: IO[str]) -> None:
        """Write the table as CSV (comma, point, one header row) to an open text file."""
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(self.header())
        writer.writerows(self.rows())

    def to_csv(self, path: str) -> None:
        """The same to a file, which is replaced whole or not at all; raises Refusal where it cannot be written."""
        with replaced(path) as handle:
            self.write_csv(handle)

    def __repr__(self) -> str:
        count = int(self.solved.sum())
        lines = [f"SweepTable of '{self.title}': {count} of {self.solved.size} points solved"]
        for address, values in self.axes.items():
            first, last = (show(float(value), self.units[address], 6) for value in (values[0], values[-1]))
            lines.append(f"  {address}: {len(values)} values, {first} to {last}")
        best = self.most_output()
        if best is not None:
            level = self.columns[self.wanted][best]
            lines.append(f"  most output at harmonic {self.wanted_harmonic}: {level:.2f} dBm at "
                         f"{self.place_text(best)}")
        return "\n".join([*lines, "  columns: " + ", ".join(self.columns)])


def as_json(table: SweepTable, found: Any = None, remarks: Sequence[str] = ()) -> dict[str, Any]:
    """The table as plain data; None stands for no number. `found`: a Compression or None; `remarks`: highlights."""
    return {
        "title": table.title, "wanted_harmonic": table.wanted_harmonic, "harmonics_given": table.harmonics,
        "tolerance_db": {"wanted": table.accuracy.wanted_db, "others": table.accuracy.tolerance_of_others_db,
                         "above_dbm": table.accuracy.floor_dbm},
        "axes": {axis_column(a, table.units[a]): [v if math.isfinite(v) else "infinite" for v in values.tolist()]
                 for a, values in table.axes.items()},
        "columns": _columns_json(table.columns),
        "other_states": None if table.others is None else _others_json(table.others),
        "unsolved": [{"point": number, "reason": reason} for number, reason in sorted(table.reasons.items())],
        "compression": None if found is None else {
            "law_db_per_db": found.order, "line_dbm_at_0_dbm": found.line_dbm, "drive_dbm": found.drive_dbm,
            "output_dbm": found.output_dbm, "most_above_db": found.most_above_db},
        "remarks": list(remarks),
    }


def _others_json(others: OtherStates) -> dict[str, Any]:
    return {"point": others.points.tolist(), "turned": others.turned.tolist(),
            "reachable": (others.turned != NEITHER).tolist(), "columns": _columns_json(others.columns),
            "jumps_turned_up_dbm": others.jumps_up_dbm, "jumps_turned_down_dbm": others.jumps_down_dbm,
            "left_early": others.reason or None}


def _columns_json(columns: dict[str, np.ndarray]) -> dict[str, list]:
    return {name: column.astype(bool).tolist() if name == "solved"
            else [v if math.isfinite(v) else None for v in column.tolist()] for name, column in columns.items()}


def _results(columns: dict[str, np.ndarray], number: int) -> list[str]:
    return [str(bool(column[number])).lower() if name == "solved" else _number(column[number])
            for name, column in columns.items()]


def _axis_number(value: float) -> str:
    return _number(value) or "infinite"


def _number(value: float) -> str:
    return repr(float(value)) if math.isfinite(value) else ""
