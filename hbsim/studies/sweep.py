"""Sweeps: a grid of quantities, solved row by row, and the table of what came out."""

from __future__ import annotations

import csv
import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..balance.continuation import Effort, steady_state
from ..balance.newton import BALANCED
from ..balance.prepare import Networks, prepare, source_voltages
from ..balance.solution import FLOOR_DBM
from ..balance.solve import solve
from ..balance.spectrum import phasors
from ..balance.system import System
from ..describe.description import Description
from ..errors import NotSolved, Refusal, nearest
from ..files import replaced
from ..quantities import Quantity, parse

SUFFIX = {"dBm": "dbm", "dB": "db", "Hz": "hz", "ohm": "ohm", "S": "siemens", "H": "henry", "F": "farad", "V": "volts",
          "A": "amps", "W": "watts", "s": "seconds", "m": "metres", "deg": "deg", "K": "kelvin", "K/W": "kelvin_per_watt",
          "S/m": "siemens_per_metre", "eV": "electronvolts", "1": ""}
MOST_POINTS = 10_000_000
_BATCH = 256  # points marched at once; keeps the memory of a long row small


@dataclass
class SweepTable:
    """A swept grid.

    axes : address -> values in base units, (n,). The grid runs over their product, the last axis fastest.
    units : address -> base unit.
    columns : name -> values over the flat grid; nan where unsolved. Names carry their unit.
    reasons : flat point number -> why it is unsolved.

    `table["output_dbm_2"]` is a column shaped like the grid, `table["drive.power"]` an axis.
    """

    title: str
    axes: dict[str, np.ndarray]
    units: dict[str, str]
    columns: dict[str, np.ndarray]
    wanted_harmonic: int
    harmonics: int
    reasons: dict[int, str] = field(default_factory=dict)
    iterations: int = 0

    @property
    def shape(self) -> tuple[int, ...]:
        """Points along each axis."""
        return tuple(len(values) for values in self.axes.values())

    @property
    def solved(self) -> np.ndarray:
        """Which points were solved, shaped like the grid."""
        return self.columns["solved"].astype(bool).reshape(self.shape)

    def __getitem__(self, name: str) -> np.ndarray:
        if name in self.axes:
            return self.axes[name]
        if name not in self.columns:
            raise Refusal(f"the table has no column '{name}'{nearest(name, [*self.axes, *self.columns])}")
        return self.columns[name].reshape(self.shape)

    def header(self) -> list[str]:
        """Column names of the CSV file: the axes with their unit, then the results."""
        return [axis_column(name, self.units[name]) for name in self.axes] + list(self.columns)

    def rows(self) -> Iterator[list[Any]]:
        """Rows of the CSV file; an unsolved point has empty results and solved = false."""
        for number, point in enumerate(itertools.product(*self.axes.values())):
            solved = bool(self.columns["solved"][number])
            results = [("true" if solved else "false") if name == "solved"
                       else (_number(column[number]) if solved else "") for name, column in self.columns.items()]
            yield [*map(_number, point), *results]

    def to_csv(self, path: str) -> None:
        """Write the table as CSV (comma, point, one header row); replaces the file whole or not at all."""
        with replaced(path) as handle:
            writer = csv.writer(handle, lineterminator="\n")
            writer.writerow(self.header())
            writer.writerows(self.rows())

    def __repr__(self) -> str:
        spans = ", ".join(f"{name} {len(v)} values" for name, v in self.axes.items())
        lines = [f"SweepTable of '{self.title}': {spans}; {int(self.solved.sum())} of {self.solved.size} points solved",
                 "  columns: " + ", ".join(self.columns)]
        return "\n".join(lines)


def as_json(table: SweepTable, found: Any = None) -> dict[str, Any]:
    """The table as plain data; None stands for no number. `found`: a Compression or None."""
    return {
        "title": table.title, "wanted_harmonic": table.wanted_harmonic, "harmonics": table.harmonics,
        "axes": {axis_column(a, table.units[a]): values.tolist() for a, values in table.axes.items()},
        "columns": {name: [bool(v) for v in column] if name == "solved"
                    else [float(v) if math.isfinite(v) else None for v in column]
                    for name, column in table.columns.items()},
        "unsolved": [{"point": number, "reason": reason} for number, reason in table.reasons.items()],
        "compression": None if found is None else {
            "law_db_per_db": found.order, "line_dbm_at_0_dbm": found.line_dbm, "drive_dbm": found.drive_dbm,
            "output_dbm": found.output_dbm},
    }


def axis_column(address: str, unit: str) -> str:
    """Name of an axis in files: "drive.power_dbm", "supply.VCC_volts"."""
    return f"{address}_{SUFFIX[unit]}" if SUFFIX[unit] else address


def _number(value: float) -> str:
    return repr(float(value)) if math.isfinite(value) else ""


def axis_values(spec: Quantity, values: Sequence[Any] | str, address: str) -> np.ndarray:
    """Values of an axis in base units.

    Parameters
    ----------
    values : sequence, or text "start:stop:step"
        Texts with units or numbers in base units; in the text form a part without a unit takes that of another, and a
        step in power may be written in dB.

    Raises
    ------
    Refusal
        A zero or endless step, a step away from the stop, a value outside the quantity's limits.
    """
    if not isinstance(values, str):
        found = [spec.read(v, address) if isinstance(v, str) else float(v) for v in np.ravel(values)]
        for v in found:
            spec.check(v, address)
        if not found:
            raise Refusal("no values to sweep", address)
        return np.array(found)
    pieces = [piece.strip() for piece in values.split(":")]
    if len(pieces) != 3:
        raise Refusal(f"'{values}' is not START:STOP:STEP", address)
    start, stop, step = _range(spec, pieces, values, address)
    if step == 0 or not math.isfinite(step):
        raise Refusal(f"the step of '{values}' is zero; give the distance from one point to the next", address)
    if (stop - start) * step < 0:
        raise Refusal(f"the step of '{values}' leads away from its stop; change its sign", address)
    count = int(math.floor((stop - start) / step + 1e-9)) + 1
    if count > MOST_POINTS:
        raise Refusal(f"'{values}' makes {count} points; at most {MOST_POINTS} are swept", address)
    found = start + step * np.arange(count)
    for v in (found[0], found[-1]):
        spec.check(v, address)
    return found


def _range(spec: Quantity, pieces: list[str], text: str, address: str) -> tuple[float, float, float]:
    """Start, stop and step; a bare number takes the unit written at another of the three."""
    written = [piece.lstrip("+-0123456789.eE").strip() for piece in pieces]
    unit_text = next((w for w in written if w and w != "dB"), "")
    step_unit = "dB" if spec.unit == "dBm" else spec.unit
    results = []
    for position, (piece, own) in enumerate(zip(pieces, written)):
        wanted = step_unit if position == 2 else spec.unit
        whole = piece if own or spec.unit == "1" else f"{piece} {unit_text or ''}".strip()
        if position == 2 and spec.unit == "dBm":
            whole = whole.replace("dBm", "dB") if not own or own == "dBm" else whole
            if not own:
                whole = f"{piece} dB"
        if position == 2 and spec.unit == "K" and whole.rstrip().endswith(("degC", "C")):
            whole = whole[:whole.index("d")] + "K" if "deg" in whole else whole.replace("°C", "K").replace("C", "K")
        try:
            results.append(parse(whole, wanted, address))
        except Refusal as refusal:
            raise Refusal(f"in '{text}': {refusal.what}", address) from None
    return results[0], results[1], results[2]


def sweep(description: Description, axes: Mapping[str, Sequence[Any] | str], harmonics: int, samples: int | None,
          networks: Networks, progress: Callable[[int, int], None] | None = None) -> SweepTable:
    """Solve `description` on the grid of `axes`; see Circuit.sweep."""
    if not axes:
        raise Refusal("nothing to sweep; name at least one quantity, such as drive.power")
    specs = {address: description.look_up(address)[0] for address in axes}
    grid = {address: axis_values(specs[address], values, address) for address, values in axes.items()}
    shape = tuple(len(values) for values in grid.values())
    total = math.prod(shape)
    if total > MOST_POINTS:
        raise Refusal(f"{total} points are more than the {MOST_POINTS} that are swept")
    columns = _empty_columns(description, harmonics, total)
    table = SweepTable(description.title, grid, {a: s.unit for a, s in specs.items()}, columns,
                       description.wanted_harmonic, harmonics)
    fast = [a for a in grid if _is_source(a)]
    slow = [a for a in grid if a not in fast]
    fast.sort(key=lambda a: a == "drive.power")  # the drive runs innermost: it is the one that is followed best
    numbers = np.arange(total).reshape(shape)
    order = [list(grid).index(a) for a in slow + fast]
    numbers = numbers.transpose(order).reshape(math.prod(len(grid[a]) for a in slow), -1)
    done = 0
    for row, slow_values in zip(numbers, itertools.product(*(grid[a] for a in slow))):
        fast_points = itertools.product(*(grid[a] for a in fast))
        for done in _solve_row(description.with_values(dict(zip(slow, slow_values))), fast, fast_points, row, table,
                               samples, networks, done):
            if progress is not None:
                progress(done, total)
    return table


def _is_source(address: str) -> bool:
    """Whether a quantity changes nothing but source voltages."""
    name, _, rest = address.removeprefix("part.").partition(".")
    return address == "drive.power" or (name == "supply" and (rest.endswith(".voltage") or "." not in rest))


def _empty_columns(description: Description, harmonics: int, total: int) -> dict[str, np.ndarray]:
    names = [f"output_dbm_{k}" for k in range(1, harmonics + 1)] + ["conversion_loss_db", "input_return_loss_db"]
    names += [f"supply_amps_{name}" for name in description.supplies]
    columns = {name: np.full(total, np.nan) for name in names}
    columns["solved"] = np.zeros(total, bool)
    return columns


def _solve_row(description: Description, fast: list[str], points, row: np.ndarray, table: SweepTable,
               samples: int | None, networks: Networks, done: int) -> Iterator[int]:
    """Solve all points that share one network; yields how many points are done."""
    if any(placed.part.thermal_resistance > 0 for placed in description.devices.values()):
        yield from _solve_singly(description, fast, points, row, table, samples, networks, done)
        return
    try:
        system = prepare(description, table.harmonics, samples, networks)
    except Refusal as refusal:
        raise Refusal(refusal.what, refusal.place, refusal.file or description.file) from None
    parameters, start = system.parameters(), None
    iterator = iter(points)
    for first in range(0, len(row), _BATCH):
        batch = row[first:first + _BATCH]
        described = [description.with_values(dict(zip(fast, next(iterator)))) for _ in batch]
        sources = np.array([source_voltages(d, system) for d in described])
        start = _march(system, parameters, described, sources, batch, table, start)
        done += len(batch)
        yield done


def _march(system: System, parameters: np.ndarray, described: list[Description], sources: np.ndarray,
           batch: np.ndarray, table: SweepTable, start: np.ndarray | None) -> np.ndarray | None:
    """Solve a batch by continuation from point to point; returns the last state found."""
    n_point = len(batch)
    cs = np.ascontiguousarray(np.einsum("kns,pks->pkn", system.network.c, sources))
    xs = np.zeros((n_point, *system.shape))
    flows = np.zeros_like(xs)
    stops, steps, errors = np.full(n_point, -1), np.zeros(n_point, np.int64), np.zeros(n_point)
    at = 0
    while at < n_point:
        effort = Effort()
        try:
            xs[at] = steady_state(system, cs[at], parameters, start, effort)
            reached = system.march(xs[at:], cs[at:], parameters, flows[at:], stops[at:], steps[at:], errors[at:])
            table.iterations += effort.steps
            at += max(reached, 1)
            start = xs[at - 1].copy()
        except NotSolved as failure:
            table.reasons[int(batch[at])] = failure.reason
            at += 1
            start = None
    good = stops == BALANCED
    table.iterations += int(steps.sum())
    _store(system, described, sources, xs, flows, good, batch, table)
    return start


def _store(system: System, described: list[Description], sources: np.ndarray, xs: np.ndarray, flows: np.ndarray,
           good: np.ndarray, batch: np.ndarray, table: SweepTable) -> None:
    """Output columns of a batch, from the rows of the network that lead to ports and supplies."""
    network, description, columns = system.network, described[0], table.columns
    voltages, currents = (phasors(form).transpose(0, 2, 1) for form in (xs, flows))
    given = np.concatenate([voltages, currents, sources], axis=2)

    def unknown(column: int) -> np.ndarray:
        return np.einsum("kg,pkg->pk", network.row(column), given)

    def node(name: str) -> np.ndarray:
        return unknown(network.layout.nodes[name])

    out = description.ports[description.wanted_port]
    e_out = sources[:, :, network.sources.index(f"port.{description.wanted_port}")]
    power = np.abs(node(out.node) - e_out / 2) ** 2 / (2 * out.impedance)
    with np.errstate(divide="ignore"):
        levels = 10 * np.log10(power * 1e3)
    levels[levels < FLOOR_DBM] = -np.inf
    for k in range(1, system.harmonics + 1):
        columns[f"output_dbm_{k}"][batch[good]] = levels[good, k]
    drive_dbm = np.array([d.drive.power_dbm for d in described])
    columns["conversion_loss_db"][batch[good]] = (drive_dbm - levels[:, description.wanted_harmonic])[good]
    e_in = sources[:, 1, network.sources.index(f"port.{description.drive.port}")]
    reflection = np.abs(2 * node(description.ports[description.drive.port].node)[:, 1] / e_in - 1)
    with np.errstate(divide="ignore"):
        columns["input_return_loss_db"][batch[good]] = -20 * np.log10(reflection[good])
    for name in description.supplies:
        delivered = -unknown(network.layout.currents[f"supply.{name}"])[:, 0].real
        columns[f"supply_amps_{name}"][batch[good]] = delivered[good]
    columns["solved"][batch] = good


def _solve_singly(description: Description, fast: list[str], points, row: np.ndarray, table: SweepTable,
                  samples: int | None, networks: Networks, done: int) -> Iterator[int]:
    """Point by point, where the devices' own heat must be found at each."""
    state = None
    for number, values in zip(row, points):
        try:
            state = solve(description.with_values(dict(zip(fast, values))), table.harmonics, samples, state, networks)
        except NotSolved as failure:
            table.reasons[int(number)], state = failure.reason, None
        else:
            columns = table.columns
            for k in range(1, table.harmonics + 1):
                columns[f"output_dbm_{k}"][number] = state.output_dbm(k)
            columns["conversion_loss_db"][number] = state.conversion_loss_db
            columns["input_return_loss_db"][number] = state.input_return_loss_db
            for name, supply in state.supplies.items():
                columns[f"supply_amps_{name}"][number] = supply.amps
            columns["solved"][number] = True
            table.iterations += state.solver.iterations
        done += 1
        yield done
