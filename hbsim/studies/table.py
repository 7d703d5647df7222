"""The table of a sweep: a grid of quantities and what came out at each point."""

from __future__ import annotations

import csv
import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import numpy as np

from ..balance.accuracy import Accuracy
from ..errors import Refusal, nearest
from ..files import replaced
from ..quantities import show
from .axis import axis_column
from .branches import slopes_json
from .linked import Link
from .outputs import PHASE_CHANGE, TRUST
from .table_point import TablePoint, best_number, nearest_number, point
from .turning import BOTH, DOWN, NEITHER, UP, OtherStates


@dataclass(eq=False)
class SweepTable:
    """A swept grid.

    axes : name -> values in base units, (n,). The grid runs over their product, the last axis fastest. The name is the
        address that the axis moves, or that of a link (linked.py): "R1.resistance, R2.resistance", "scale *.gap".
    units : name of an axis -> base unit.
    columns : name -> values over the flat grid; nan where unsolved. Names carry their unit.
    reasons : flat point number -> why it is unsolved.
    accuracy : what the harmonics of each point were chosen for.
    harmonics : their number where it was given, else None; the column "harmonics" holds that of each point.
    iterations : harmonics -> Newton steps taken with so many.
    others : of a sweep along the drive alone, which was turned up and down: the states besides those met on the way
        up, which the columns hold.
    links : name of an axis -> what it moves; none: the address that it is named after.
    fingerprint : "CIRCUIT-SWEEP", 12 hexadecimal digits each: of the circuit as it was described (fingerprint.py),
        and of the axes and the accuracy asked for. The same on every machine; "" where it is not known.

    `table["output_dbm_2"]` is a column shaped like the grid, `table["drive.power"]` an axis. Besides what is kept
    there are derived columns: `output_dbc_K`, a line against the wanted one, and, along the drive,
    `phase_change_deg_per_db`, by how much the phase of the wanted output turns for one dB of drive (see `names`).
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
    links: dict[str, Link] = field(default_factory=dict)
    fingerprint: str = ""

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
        return self.flat(name).reshape(self.shape)

    @property
    def names(self) -> list[str]:
        """All columns, kept and derived, in the order of the files."""
        kept = [name for name in self.columns if name not in TRUST]
        lines = [k for k in range(1, self.lines + 1) if k != self.wanted_harmonic]
        derived = [f"output_dbc_{k}" for k in lines] if self.wanted in self.columns else []
        if len(self.axes.get("drive.power", ())) > 1 and self._phase in self.columns:
            derived.append(PHASE_CHANGE)
        return kept + derived + [name for name in TRUST if name in self.columns]

    @property
    def _phase(self) -> str:
        return f"output_phase_deg_{self.wanted_harmonic}"

    def flat(self, name: str) -> np.ndarray:
        """A column over the flat grid, (n_point,)."""
        if name in self.columns:
            return self.columns[name]
        if name not in self.names:
            raise Refusal(f"the table has no column '{name}'{nearest(name, [*self.axes, *self.names])}")
        return self._phase_change().ravel() if name == PHASE_CHANGE else _against(self.columns, name, self.wanted)

    def _phase_change(self) -> np.ndarray:
        """Difference of the phase over that of the drive, second order between points, one-sided at ends and beside
        unsolved points and jumps; shaped like the grid. [deg per dB]

        Between neighbours the phase is taken to turn by less than half a circle."""
        along, drive = list(self.axes).index("drive.power"), self.axes["drive.power"]
        phase = np.moveaxis(self.columns[self._phase].reshape(self.shape), along, -1)
        step = np.diff(drive)
        with np.errstate(divide="ignore", invalid="ignore"):  # a list may hold a drive twice
            slope = (np.mod(np.diff(phase, axis=-1) + 180.0, 360.0) - 180.0) / step
            if self.others is not None:
                for jump in self.others.jumps_up_dbm:
                    slope[..., (drive[:-1] < jump) & (jump <= drive[1:])] = np.nan
            missing = np.full((*phase.shape[:-1], 1), np.nan)
            before, after = (np.concatenate(pair, axis=-1) for pair in ((missing, slope), (slope, missing)))
            weight = np.concatenate([[0.0], step[1:] / (step[1:] + step[:-1]), [1.0]])
            both = weight * before + (1 - weight) * after
        found = np.where(np.isfinite(both), both, np.where(np.isfinite(before), before, after))
        found[~(np.isfinite(found) & np.isfinite(phase))] = np.nan
        return np.moveaxis(found, -1, along)

    def link(self, name: str) -> Link:
        """What an axis moves."""
        return self.links.get(name, Link((name,)))

    def at(self, place: Mapping[str, Any]) -> TablePoint:
        """The given point nearest to values on the axes: {"drive.power": "3 dBm", "supply.VCC": 4.5}.

        Nothing is interpolated; `TablePoint.place` says where the point stands. Nearest is by difference, on an axis of
        equal ratios by ratio. An axis of one value may be left out.

        Raises
        ------
        Refusal
            An unknown axis, one left out, or a value outside it: nothing is extended.
        NotSolved
            The point is not solved; with the reason.
        """
        return point(self, nearest_number(self, place))

    def best(self, column: str, hold: Mapping[str, Any] | None = None, least: bool = False) -> TablePoint:
        """The solved point with the most of a column, or with the least.

        Parameters
        ----------
        column : str
            "output_dbm_2", "efficiency", ...
        hold : mapping or None
            Conditions: column -> "at least 10 dB" or "at most 30 mA"; axis -> the same, or a value, of which the
            nearest given one is held.
        least : bool
            Look for the smallest value, as of a loss.

        Raises
        ------
        Refusal
            An unknown column or axis, what is no condition, or conditions that no point meets.
        """
        return point(self, best_number(self, column, hold or {}, least))

    def place(self, number: int) -> dict[str, float]:
        """Where a point of the flat grid lies: address -> value in base units."""
        at = np.unravel_index(number, self.shape)
        return {address: float(values[i]) for (address, values), i in zip(self.axes.items(), at)}

    def settings(self, number: int) -> dict[str, float]:
        """Address -> value in base units of everything that the axes move, at a point of the flat grid; for
        `Circuit.solve` and `Description.with_values`."""
        return {address: value for name, at in self.place(number).items()
                for address, value in self.link(name).settings(at).items()}

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
        """Column names of the CSV file: the axes with their unit, how a state is met, the results, the fingerprint."""
        met = [] if self.others is None else ["turned", "reachable"]
        return [axis_column(name, self.units[name]) for name in self.axes] + met + self.names + ["fingerprint"]

    def rows(self) -> Iterator[list[str]]:
        """Rows of the CSV file; an unsolved point has empty results and solved = false.

        Where the drive was turned both ways, a point has a row for each of its states; those met neither way, between
        two folds, are not reachable. The fingerprint stands in each row, so that rows of several files can be put
        together."""
        columns, others = self._all(), self._all_of_others()
        for number, given in enumerate(itertools.product(*self.axes.values())):
            place = [_axis_number(value) for value in given]
            if self.others is None:
                yield [*place, *_results(columns, number), self.fingerprint]
                continue
            yield [*place, self.turned(number), "true", *_results(columns, number), self.fingerprint]
            for other in np.flatnonzero(self.others.points == number):
                turned = self.others.turned[other]
                reachable = str(turned != NEITHER).lower()
                yield [*place, turned, reachable, *_results(others, other), self.fingerprint]

    def _all(self) -> dict[str, np.ndarray]:
        return {name: self.flat(name) for name in self.names}

    def _all_of_others(self) -> dict[str, np.ndarray]:
        """The same columns of the other states, (n,); how the phase changes is only known of the way up."""
        if self.others is None:
            return {}
        columns, nothing = self.others.columns, np.full(len(self.others.points), np.nan)
        return {name: columns[name] if name in columns else nothing if name == PHASE_CHANGE
                else _against(columns, name, self.wanted) for name in self.names}

    def write_csv(self, handle: IO[str]) -> None:
        """Write the table as CSV (comma, point, one header row) to an open text file."""
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(self.header())
        writer.writerows(self.rows())

    def to_csv(self, path: str) -> None:
        """The same to a file, which is replaced whole or not at all; raises Refusal where it cannot be written."""
        with replaced(path) as handle:
            self.write_csv(handle)

    def save(self, path: str) -> None:
        """Write the table as a binary file, .npz, which `load` reads back digit by digit; see table_file.py."""
        from .table_file import save_table
        save_table(self, path)

    @staticmethod
    def load(path: str | Path) -> SweepTable:
        """Read a table that `save` wrote; raises Refusal for anything else."""
        from .table_file import load_table
        return load_table(path)

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
        return "\n".join([*lines, "  columns: " + ", ".join(self.names)])


def as_json(table: SweepTable, found: Any = None, remarks: Sequence[str] = ()) -> dict[str, Any]:
    """The table as plain data; None stands for no number. `found`: a Compression or None; `remarks`: highlights."""
    return {
        "title": table.title, "fingerprint": table.fingerprint or None,
        "wanted_harmonic": table.wanted_harmonic, "harmonics_given": table.harmonics,
        "tolerance_db": {"wanted": table.accuracy.wanted_db, "others": table.accuracy.tolerance_of_others_db,
                         "above_dbm": table.accuracy.floor_dbm},
        "axes": {axis_column(a, table.units[a]): [v if math.isfinite(v) else "infinite" for v in values.tolist()]
                 for a, values in table.axes.items()},
        "links": {axis_column(name, table.units[name]): {
                      "addresses": list(link.addresses),
                      "described_in_base_units": None if link.bases is None else list(link.bases)}
                  for name, link in table.links.items() if link != Link((name,))},
        "columns": _columns_json(table._all()),
        "other_states": None if table.others is None else _others_json(table.others, table._all_of_others()),
        "unsolved": [{"point": number, "reason": reason} for number, reason in sorted(table.reasons.items())],
        "compression": None if found is None else {
            "law_db_per_db": found.order, "line_dbm_at_0_dbm": found.line_dbm, "drive_dbm": found.drive_dbm,
            "output_dbm": found.output_dbm, "most_above_db": found.most_above_db,
            "line_dbm": found.line(table["drive.power"]).tolist()},
        "stretches": slopes_json(table),
        "remarks": list(remarks),
    }


def _others_json(others: OtherStates, columns: dict[str, np.ndarray]) -> dict[str, Any]:
    return {"point": others.points.tolist(), "turned": others.turned.tolist(),
            "reachable": (others.turned != NEITHER).tolist(), "columns": _columns_json(columns),
            "jumps_turned_up_dbm": others.jumps_up_dbm, "jumps_turned_down_dbm": others.jumps_down_dbm,
            "left_early": others.reason or None}


def _columns_json(columns: dict[str, np.ndarray]) -> dict[str, list]:
    return {name: column.astype(bool).tolist() if name == "solved"
            else [v if math.isfinite(v) else None for v in column.tolist()] for name, column in columns.items()}


def _against(columns: dict[str, np.ndarray], name: str, wanted: str) -> np.ndarray:
    """"output_dbc_3": the line against the wanted one, (n,); not a number where that does not come out. [dB]"""
    level = columns[wanted]
    return columns[name.replace("output_dbc_", "output_dbm_")] - np.where(np.isfinite(level), level, np.nan)


def _results(columns: dict[str, np.ndarray], number: int) -> list[str]:
    return [str(bool(column[number])).lower() if name == "solved" else _number(column[number])
            for name, column in columns.items()]


def _axis_number(value: float) -> str:
    return _number(value) or "infinite"


def _number(value: float) -> str:
    return repr(float(value)) if math.isfinite(value) else ""
