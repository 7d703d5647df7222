"""Points of a row: one circuit, one source with several values, and the runs that balance many points at once."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..balance.continuation import BEYOND, MOST_CURRENT, Effort, steady_state
from ..balance.newton import BALANCED
from ..balance.prepare import DRIVEN, Networks, generator_voltages, prepare, source_voltages
from ..balance.rounding import rounding_alone
from ..balance.system import System
from ..describe.description import Description
from ..errors import NotSolved

# Of this process: the next strip mostly has the same linear parts. Without frames, so that what a strip finds does not
# depend, in its last digits, on what was solved before it.
_whole = Networks(frames=False)


def source_kind(address: str) -> str | None:
    """"drive" or the supply's name where a quantity changes nothing but a source voltage, else None."""
    names = address.removeprefix("part.").split(".")
    if names == ["drive", "power"]:
        return "drive"
    return names[1] if names[0] == "supply" and names[2:] in ([], ["voltage"]) else None


@dataclass
class Batch:
    """Points of a row: one circuit, one source with several values."""

    description: Description
    along: str | None
    values: np.ndarray

    def drive_dbm(self, points: np.ndarray) -> np.ndarray:
        """Available drive power of points, (n_point,). [dBm]"""
        if self.along is not None and source_kind(self.along) == "drive":
            return self.values[points]
        return np.full(len(points), self.description.drive.power_dbm)

    def sources(self, system: System, points: np.ndarray) -> np.ndarray:
        """Source voltages at the harmonics that have any: (n_point, DRIVEN, n_source). [V]"""
        found = np.repeat(source_voltages(self.description, system)[None, :DRIVEN], len(points), axis=0)
        if self.along is not None:
            kind, names = source_kind(self.along), system.network.sources
            if kind == "drive":
                waves = [generator_voltages(self.description, float(power)) for power in self.values[points]]
                found[:, :, names.index(f"port.{self.description.drive.port}")] = np.reshape(waves, (-1, DRIVEN))
            else:
                found[:, 0, names.index(f"supply.{kind}")] = self.values[points]
        return found

    def excitations(self, system: System, points: np.ndarray | None = None) -> np.ndarray:
        """Right-hand sides of the balance, (n_point, K + 1, n)."""
        points = np.arange(len(self.values)) if points is None else points
        result = np.zeros((len(points), system.harmonics + 1, system.shape[0]), complex)
        result[:, :DRIVEN] = np.einsum("kns,pks->pkn", system.network.c[:DRIVEN], self.sources(system, points))
        return result


@dataclass
class Runs:
    """Systems of one circuit at each level of harmonics, and runs over many points with them.

    levels : (harmonics, samples or None) of each level.
    steps : harmonics -> Newton steps taken.
    """

    levels: list[tuple[int, int | None]]
    steps: dict[int, int] = field(default_factory=dict)
    _networks: Networks = field(default_factory=lambda: Networks(behind=_whole))
    _systems: dict[int, System] = field(default_factory=dict)

    def forget(self) -> None:
        """The circuit is about to change."""
        self._systems.clear()

    def system(self, description: Description, level: int) -> System:
        """The system of a level; raises Refusal where the data of a part does not reach so far."""
        if level not in self._systems:
            self._systems[level] = prepare(description, *self.levels[level], self._networks)
        return self._systems[level]

    def count(self, system: System, steps: int) -> None:
        """Add to the Newton steps taken."""
        self.steps[system.harmonics] = self.steps.get(system.harmonics, 0) + steps

    def march(self, system: System, cs: np.ndarray, start: np.ndarray | None) -> tuple:
        """Forms and currents of points by continuation from one to the next, which are good, the last state, and the
        reasons of those that are not."""
        parameters, reasons = system.parameters(), {}
        n_point = len(cs)
        xs = np.zeros((n_point, *system.shape))
        flows = np.zeros_like(xs)
        stops, steps, errors = np.full(n_point, -1), np.zeros(n_point, np.int64), np.zeros(n_point)
        at = 0
        while at < n_point:
            effort = Effort()
            try:
                start = steady_state(system, cs[at], parameters, start, effort)
                xs[at] = start
                reached = system.march(xs[at:], cs[at:], parameters, flows[at:], stops[at:], steps[at:], errors[at:])
                if reached == 0:  # balanced to rounding, which the march does not look at
                    xs[at], stops[at], flows[at] = start, BALANCED, system.flows(start, parameters)
                at += max(reached, 1)
                start = xs[at - 1].copy()
            except NotSolved as failure:
                reasons[at] = failure.reason
                at += 1
                start = None
            self.count(system, effort.steps)
        self.count(system, int(steps.sum()))
        good = believable(flows, stops)
        reasons |= {int(point): BEYOND.format(np.abs(flows[point]).max())
                    for point in np.flatnonzero((stops == BALANCED) & ~good)}
        return xs, flows, good, start, reasons

    def refined(self, system: System, cs: np.ndarray, starts: np.ndarray) -> tuple[np.ndarray, ...]:
        """Forms, currents and stops of points that have their own starts."""
        xs, flows, n_point = np.zeros_like(starts), np.zeros_like(starts), len(starts)
        stops, steps, errors = np.full(n_point, -1), np.zeros(n_point, np.int64), np.zeros(n_point)
        parameters = system.parameters()
        system.refine(xs, starts, cs, parameters, flows, stops, steps, errors)
        for point in np.flatnonzero(stops != BALANCED):
            if rounding_alone(system, xs[point], cs[point], parameters):
                stops[point], flows[point] = BALANCED, system.flows(xs[point], parameters)
        self.count(system, int(steps.sum()))
        return xs, flows, stops

    def found(self, system: System, c: np.ndarray, start: np.ndarray | None = None,
              detours: bool = True) -> np.ndarray | None:
        """Form of one point, from a state near by or from rest, as a single solve finds it; None if there is none."""
        effort = Effort()
        try:
            return steady_state(system, c, system.parameters(), start, effort, detours)
        except NotSolved:
            return None
        finally:
            self.count(system, effort.steps)


def believable(flows: np.ndarray, stops: np.ndarray) -> np.ndarray:
    """Which points are balanced with currents that a circuit can have."""
    return (stops == BALANCED) & (np.abs(flows).max(axis=(1, 2), initial=0.0) <= MOST_CURRENT)
