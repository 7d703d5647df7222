"""Sweeps: a grid of quantities, solved row by row.

A row holds the points that share one linear network: along it only sources change, so that it is marched through in
compiled code, each point from an extrapolation of the two before it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from ..balance.continuation import BEYOND, MOST_CURRENT, Effort, steady_state
from ..balance.newton import BALANCED
from ..balance.prepare import Networks, prepare, source_voltages
from ..balance.solution import FLOOR_DBM
from ..balance.solve import solve
from ..balance.spectrum import phasors
from ..balance.system import System
from ..describe.description import Description
from ..errors import NotSolved, Refusal
from .axis import MOST_POINTS, axis_values
from .table import SweepTable

_BATCH = 256  # points marched at once; keeps the memory of a long row small


def sweep(description: Description, axes: Mapping[str, Sequence[Any] | str], harmonics: int, samples: int | None,
          networks: Networks, progress: Callable[[int, int], None] | None = None) -> SweepTable:
    """Solve `description` on the grid of `axes`; see Circuit.sweep.

    Raises
    ------
    Refusal
        Before the first point is solved: an unknown quantity, a value that is not possible, a network that cannot
        be computed at an end of an axis.
    """
    if not axes:
        raise Refusal("nothing to sweep; name at least one quantity, such as drive.power")
    specs = {address: description.look_up(address)[0] for address in axes}
    grid = {address: axis_values(specs[address], values, address) for address, values in axes.items()}
    total = math.prod(len(values) for values in grid.values())
    if total > MOST_POINTS:
        raise Refusal(f"{total} points are more than the {MOST_POINTS} that are swept; widen a step")
    fast = [address for address in grid if _is_source(address)]
    slow = [address for address in grid if address not in fast]
    fast.sort(key=lambda address: address == "drive.power")  # runs innermost: it is the one that is followed best
    _check(description, grid, slow, harmonics, samples, networks)
    table = SweepTable(description.title, grid, {address: spec.unit for address, spec in specs.items()},
                       _empty_columns(description, harmonics, total), description.wanted_harmonic, harmonics)
    order = [list(grid).index(address) for address in slow + fast]
    numbers = np.arange(total).reshape(table.shape).transpose(order)
    numbers = numbers.reshape(math.prod(len(grid[address]) for address in slow), -1)
    run = _Run(table, samples, networks, progress)
    for row, values in zip(numbers, itertools.product(*(grid[address] for address in slow))):
        run.solve_row(description.with_values(dict(zip(slow, values))), {a: grid[a] for a in fast}, row)
    return table


def _is_source(address: str) -> bool:
    """Whether a quantity changes nothing but source voltages."""
    names = address.removeprefix("part.").split(".")
    return names == ["drive", "power"] or (names[0] == "supply" and names[2:] in ([], ["voltage"]))


def _check(description: Description, grid: dict[str, np.ndarray], slow: list[str], harmonics: int,
           samples: int | None, networks: Networks) -> None:
    """Refuse before the work what would be refused in its midst."""
    description.with_values({address: values[0] for address, values in grid.items()})
    for values in itertools.product(*(grid[address] for address in slow)):
        description.with_values(dict(zip(slow, values)))
    for values in itertools.product(*({grid[address].min(), grid[address].max()} for address in slow)):
        prepare(description.with_values(dict(zip(slow, values))), harmonics, samples, networks)


def _empty_columns(description: Description, harmonics: int, total: int) -> dict[str, np.ndarray]:
    names = [f"output_dbm_{k}" for k in range(1, harmonics + 1)] + ["conversion_loss_db", "input_return_loss_db"]
    names += [f"supply_amps_{name}" for name in description.supplies]
    return {name: np.full(total, np.nan) for name in names} | {"solved": np.zeros(total, bool)}


class _Run:
    """A sweep under way: the table that is filled, and the states that the next points start from."""

    def __init__(self, table: SweepTable, samples: int | None, networks: Networks,
                 progress: Callable[[int, int], None] | None) -> None:
        self._table, self._samples, self._networks, self._progress = table, samples, networks, progress
        self._done = 0
        self._row_start: np.ndarray | None = None  # first state of the row before

    def solve_row(self, description: Description, axes: dict[str, np.ndarray], numbers: np.ndarray) -> None:
        """Solve all points that share one network; `numbers`: their places in the table."""
        described = (description.with_values(dict(zip(axes, values))) for values in itertools.product(*axes.values()))
        if any(placed.part.thermal_resistance > 0 for placed in description.devices.values()):
            self._solve_singly(described, numbers)
            return
        try:
            system = prepare(description, self._table.harmonics, self._samples, self._networks)
        except Refusal as refusal:  # the ends of the axes were fine: what was solved so far is kept
            self._table.reasons.update((int(number), str(refusal)) for number in numbers)
            self._count(len(numbers))
            return
        start, self._row_start = self._row_start, None
        if start is not None and start.shape != system.shape:
            start = None  # a resistance went to zero and took its inner node along
        for first in range(0, len(numbers), _BATCH):
            batch = numbers[first:first + _BATCH]
            start = self._march(system, list(itertools.islice(described, len(batch))), batch, start)
            self._count(len(batch))

    def _count(self, points: int) -> None:
        self._done += points
        if self._progress is not None:
            self._progress(self._done, self._table.solved.size)

    def _march(self, system: System, described: list[Description], batch: np.ndarray,
               start: np.ndarray | None) -> np.ndarray | None:
        """Solve a batch by continuation from point to point; returns the last state found."""
        n_point, parameters = len(batch), system.parameters()
        sources = np.array([source_voltages(d, system) for d in described])
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
                at += max(reached, 1)
                start = xs[at - 1].copy()
            except NotSolved as failure:
                self._table.reasons[int(batch[at])] = failure.reason
                at += 1
                start = None
            self._table.iterations += effort.steps
        largest = np.abs(flows).max(axis=(1, 2), initial=0.0)
        for point in np.flatnonzero((stops == BALANCED) & (largest > MOST_CURRENT)):
            self._table.reasons[int(batch[point])] = BEYOND.format(largest[point])
        good = (stops == BALANCED) & (largest <= MOST_CURRENT)
        self._table.iterations += int(steps.sum())
        self._store(system, described, sources, (xs, flows), good, batch)
        if self._row_start is None and good[0]:
            self._row_start = xs[0].copy()
        return start

    def _store(self, system: System, described: list[Description], sources: np.ndarray,
               forms: Iterable[np.ndarray], good: np.ndarray, batch: np.ndarray) -> None:
        """Output columns of a batch, from the rows of the network that lead to ports and supplies."""
        network, description, columns = system.network, described[0], self._table.columns
        voltages, currents = (phasors(form).transpose(0, 2, 1) for form in forms)
        given = np.concatenate([voltages, currents, sources], axis=2)

        def unknown(column: int) -> np.ndarray:
            return np.einsum("kg,pkg->pk", network.row(column), given)

        def port(name: str) -> tuple[np.ndarray, np.ndarray]:
            """Voltage at a port and of its source, (n_point, K + 1). [V]"""
            return (unknown(network.layout.nodes[description.ports[name].node]),
                    sources[:, :, network.sources.index(f"port.{name}")])

        v, e = port(description.wanted_port)
        power = np.abs(v - e / 2) ** 2 / (2 * description.ports[description.wanted_port].impedance)
        with np.errstate(divide="ignore"):
            levels = 10 * np.log10(1e3 * power)
        levels[levels < FLOOR_DBM] = -np.inf
        drive = np.array([d.drive.power_dbm for d in described])
        found = {f"output_dbm_{k}": levels[:, k] for k in range(1, system.harmonics + 1)}
        found["conversion_loss_db"] = drive - levels[:, description.wanted_harmonic]
        v, e = port(description.drive.port)
        with np.errstate(divide="ignore"):
            found["input_return_loss_db"] = -20 * np.log10(np.abs(2 * v[:, 1] / e[:, 1] - 1))
        for name in description.supplies:
            found[f"supply_amps_{name}"] = -unknown(network.layout.currents[f"supply.{name}"])[:, 0].real
        for name, values in found.items():
            columns[name][batch[good]] = values[good]
        columns["solved"][batch] = good

    def _solve_singly(self, described: Iterable[Description], numbers: np.ndarray) -> None:
        """Point by point, where the devices' own heat must be found at each."""
        table, state = self._table, None
        for number, description in zip(numbers, described):
            try:
                state = solve(description, table.harmonics, self._samples, state, self._networks)
            except (NotSolved, Refusal) as failure:
                table.reasons[int(number)], state = str(failure), None
            else:
                found = {f"output_dbm_{k}": state.output_dbm(k) for k in range(1, table.harmonics + 1)}
                found |= {"conversion_loss_db": state.conversion_loss_db, "solved": True,
                          "input_return_loss_db": state.input_return_loss_db}
                found |= {f"supply_amps_{name}": supply.amps for name, supply in state.supplies.items()}
                for name, value in found.items():
                    table.columns[name][number] = value
                table.iterations += state.solver.iterations
            self._count(1)
