"""The way of the power at one harmonic, from what gives it to a port: what each part on the way takes from it.

From the port the stream is followed upwards: at each node to the part that brings most of the power, until a device or
the generator brings more. Power at a terminal is Re(V I*) / 2, V against ground; what does not go on along the way is
counted where it leaves. So every step is computed from the solved state alone, and the steps' decibels add up.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..balance.solution import FLOOR_DBM, SteadyState
from ..balance.spectrum import mean_power
from ..linear.network import GROUND
from ..quantities import watts

_LEAST = 1e-9  # of the power on the way: a step that moves less is rounding


class Flow(NamedTuple):
    """Power into a part at one of its terminals. [W]"""

    owner: str
    node: str
    watts: float


@dataclass(frozen=True)
class Step:
    """What happens to the power on a piece of its way.

    kind : "part", the heat in a part; "side", what leaves for a part beside the way, or comes in from there if
        negative; "reflected", what goes back into the generator; "pins", what the origin gives at its other pins, or
        takes there if negative; "group".
    names : the part, on the way or beside it; the devices; or the members of the group.
    place : a node, a part or the name of a group.
    watts_in, watts_out : before and after. [W]
    """

    kind: str
    place: str
    names: tuple[str, ...]
    watts_in: float
    watts_out: float

    @property
    def loss_db(self) -> float:
        """10 log10 of before over after; negative where power comes in. [dB]"""
        return 10.0 * math.log10(self.watts_in / self.watts_out)


@dataclass(frozen=True)
class SignalPath:
    """From what gives to a port, at one harmonic.

    origin : names of the devices that give the power at the first node, or "generator".
    node : the first node. parts : on the way, in order. steps : see `Step`.
    given, delivered : what the origin gives, what the port takes. [W]
    """

    harmonic: int
    port: str
    origin: tuple[str, ...]
    node: str
    parts: tuple[str, ...]
    steps: tuple[Step, ...]
    given: float
    delivered: float

    @property
    def loss_db(self) -> float:
        """From the origin to the port; the sum of the steps. [dB]"""
        return 10.0 * math.log10(self.given / self.delivered)


class Flows:
    """Power into every part and device of a solved state, terminal by terminal, at one harmonic."""

    def __init__(self, state: SteadyState, harmonic: int) -> None:
        self.harmonic = harmonic
        inner = {e.name for m in state.system.mounted for e in m.elements()}
        sources = set(state.system.network.sources)
        self.parts: dict[str, tuple[Flow, ...]] = {}
        for name, element in state.system.network.elements.items():
            if name not in inner and name not in sources:
                voltage = np.stack([state.voltage(node) for node in element.nodes], axis=1)
                self.parts[name] = self._flows(name, element.nodes, voltage, state.current(name))
        self.devices: dict[str, tuple[Flow, ...]] = {}
        for mounted in state.system.mounted:
            device = state.devices[mounted.name]
            pins = list(device.pin_voltage)
            self.devices[mounted.name] = self._flows(
                mounted.name, [mounted.pins[pin] for pin in pins], np.stack(list(device.pin_voltage.values()), axis=1),
                np.stack([device.pin_current[pin] for pin in pins], axis=1))

    def _flows(self, owner: str, nodes: Sequence[str], voltage: np.ndarray, current: np.ndarray) -> tuple[Flow, ...]:
        return tuple(Flow(owner, node, float(mean_power(v[:, None], i[:, None])[self.harmonic]))
                     for node, v, i in zip(nodes, voltage.T, current.T))

    def everything(self) -> Iterator[Flow]:
        """Of all parts and devices."""
        for table in (self.parts, self.devices):
            for flows in table.values():
                yield from flows

    def taken(self, name: str) -> float:
        """Power that a part or device takes, all terminals together. [W]"""
        return sum(flow.watts for flow in (self.parts.get(name) or self.devices[name]))

    def at(self, node: str) -> list[Flow]:
        """What parts and devices take at a node."""
        return [flow for flow in self.everything() if flow.node == node]


class Way(NamedTuple):
    """Upstream from the port: nodes from the first on, and the part between each and the next."""

    nodes: list[str]
    parts: list[str]


def signal_path(state: SteadyState, harmonic: int, port: str,
                groups: Mapping[str, Sequence[str]] | None = None) -> SignalPath | None:
    """The way of the power to a port; None where nothing to speak of comes out there.

    Parameters
    ----------
    harmonic : int
        Above 0.
    groups : mapping, or None
        Name -> parts. Members that follow each other on the way become one step.
    """
    element = state.absorbed(f"port.{port}")[harmonic]
    if not element > watts(FLOOR_DBM):
        return None
    flows = Flows(state, harmonic)
    drive = state.description.drive
    generator = state.description.ports[drive.port].node if harmonic == 1 else None
    incoming = -float(state.absorbed(f"port.{drive.port}")[1])
    way = upstream(flows, state.description.ports[port].node, generator, incoming)
    if way is None:
        return None
    ports = [Flow(f"port.{name}", p.node, float(state.absorbed(f"port.{name}")[harmonic]))
             for name, p in state.description.ports.items()]
    ports += [Flow(f"supply.{name}", supply.node, float(state.absorbed(f"supply.{name}")[harmonic]))
              for name, supply in state.description.supplies.items()]
    start = way.nodes[0]
    here = {name: sum(f.watts for f in table if f.node == start) for name, table in flows.devices.items()}
    givers = tuple(name for name, power in here.items() if power < 0)
    if start == generator and incoming > -sum(here[name] for name in givers):
        givers = ("generator",)
        given = watts(drive.power_dbm)
        steps = [Step("reflected", start, (f"port.{drive.port}",), given, incoming)]
        power = incoming
    else:
        given = -sum(flows.taken(name) for name in givers)
        power = -sum(here[name] for name in givers)
        steps = []
        if given > 0:
            steps = [Step("pins", start, givers, given, power)]
        else:  # what a device gives here it takes at other pins, and more
            given = power
    told = (f"port.{drive.port}",) if givers == ("generator",) else givers
    steps += _downstream(flows, way, power, told, ports, f"port.{port}")
    return SignalPath(harmonic, port, givers, start, tuple(way.parts), tuple(_merged(steps, way.parts, groups or {})),
                      given, float(element))


def upstream(flows: Flows, node: str, generator: str | None, incoming: float) -> Way | None:
    """Follow the stream from a node to what gives it; None where it runs in a circle."""
    nodes, parts = [node], []
    while True:
        here = flows.at(node)
        device = -sum(f.watts for f in here if f.owner in flows.devices and f.watts < 0)
        if node == generator:
            device = max(device, incoming)
        feeding = [f for f in here if f.owner in flows.parts and f.watts < 0 and f.owner not in parts]
        main = min(feeding, key=lambda f: f.watts, default=None)
        if main is None or device >= -main.watts:
            return Way(nodes[::-1], parts[::-1]) if device > 0 else None
        inward = max((f for f in flows.parts[main.owner] if f.node not in (node, GROUND)), key=lambda f: f.watts,
                     default=None)
        if inward is None or inward.watts <= 0 or inward.node in nodes:
            return None
        parts.append(main.owner)
        node = inward.node
        nodes.append(node)


def _downstream(flows: Flows, way: Way, power: float, origin: tuple[str, ...], ports: list[Flow],
                goal: str) -> list[Step]:
    steps, least = [], _LEAST * power

    def step(kind: str, place: str, name: str, after: float) -> None:
        nonlocal power
        if abs(power - after) > least:  # a lossless junction on the way changes nothing but the last digit
            steps.append(Step(kind, place, (name,), power, after))
            power = after

    for n, node in enumerate(way.nodes):
        last = n == len(way.nodes) - 1
        on_way = {goal, *origin, *way.parts[max(n - 1, 0):n + 1]}
        for flow in _beside(flows, ports, [node], on_way):
            step("side", node, flow.owner, power - flow.watts)
        if not last:
            name = way.parts[n]
            others = sorted({f.node for f in flows.parts[name]} - {node, way.nodes[n + 1], GROUND})
            for flow in _beside(flows, ports, others, {name}):
                step("side", name, flow.owner, power - flow.watts)
            step("part", name, name, -sum(f.watts for f in flows.parts[name] if f.node == way.nodes[n + 1]))
    return steps


def _beside(flows: Flows, ports: list[Flow], nodes: Sequence[str], on_way: set[str]) -> list[Flow]:
    """What goes from nodes into everything that is not on the way, seen through junctions; first what comes in."""
    found: dict[str, float] = {}
    waiting, through = list(nodes), set(on_way)
    while waiting:
        node = waiting.pop()
        for flow in [*flows.at(node), *(p for p in ports if p.node == node)]:
            if flow.owner in through:
                continue
            if flow.owner.startswith("junction."):
                through.add(flow.owner)
                waiting += [f.node for f in flows.parts[flow.owner] if f.node not in (node, GROUND)]
            else:
                found[flow.owner] = found.get(flow.owner, 0.0) + flow.watts
    order = sorted(found, key=lambda name: (found[name] > 0, -abs(found[name]), name))
    return [Flow(name, nodes[0], found[name]) for name in order]


def _merged(steps: list[Step], parts: list[str], groups: Mapping[str, Sequence[str]]) -> list[Step]:
    """One step for all of a group whose members follow each other."""
    for group, members in groups.items():
        places = [n for n, name in enumerate(parts) if name in members]
        if not places or any(name not in members and not name.startswith("junction.")
                             for name in parts[places[0]:places[-1] + 1]):
            continue
        mine = [n for n, s in enumerate(steps) if s.kind == "part" and s.place in members]
        if len(mine) > 1 and all(s.kind == "part" for s in steps[mine[0]:mine[-1] + 1]):
            first, last = mine[0], mine[-1]
            joined = Step("group", group, tuple(parts[n] for n in places), steps[first].watts_in, steps[last].watts_out)
            steps = [*steps[:first], joined, *steps[last + 1:]]
    return steps
