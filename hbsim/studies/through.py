"""The power carried at a place of a solved circuit, at each harmonic; and where one stage of a chain ends and the next
begins.

Through a node goes what all that give power there give, which is what all others take there. Through a part goes what
comes out of it. Both are read from the flows of the power budget (signal_path.py), Re(V I*) / 2 at a terminal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..balance.solution import SteadyState
from ..describe.description import Description
from ..errors import Refusal, nearest
from ..linear.network import GROUND
from .signal_path import Flow, Flows, signal_path, upstream

NODE, PART = "node", "part"
_FEWEST = 4  # the least harmonic that two stages make


@dataclass(frozen=True)
class Place:
    """Where carried power is asked for: a node, or a linear part.

    kind : "node" or "part".
    """

    name: str
    kind: str

    @property
    def words(self) -> str:
        """As it is told of: "node b2"."""
        return f"{self.kind} {self.name}"


@dataclass(frozen=True, eq=False)
class Carried:
    """Power carried at a place.

    watts : ndarray, (lines + 1,), at each harmonic; nothing is told of DC, which is 0. [W]
    by : (lines + 1,), at a node who gives most of it, at a part the node where most of it comes out; "" where nothing
        is carried.
    """

    watts: np.ndarray
    by: tuple[str, ...]


def place_of(description: Description, text: str) -> Place:
    """The place of a name: "b2", or "node.b2" and "part.filter_11" where a node and a part have the same.

    Raises
    ------
    Refusal
        No node or linear part has the name, or both have it.
    """
    nodes, parts = _nodes(description), description.parts
    kind, dot, rest = text.partition(".")
    if dot and kind in (NODE, PART):
        if rest not in (nodes if kind == NODE else parts):
            raise Refusal(f"there is no {kind} '{rest}'{nearest(rest, nodes if kind == NODE else parts)}")
        return Place(rest, kind)
    if text in nodes and text in parts:
        raise Refusal(f"'{text}' is a node and a part; write {NODE}.{text} or {PART}.{text}")
    if text in description.devices:
        pins = ", ".join(dict.fromkeys(node for node in description.devices[text].nodes if node != GROUND))
        raise Refusal(f"'{text}' is a device, through whose pins power goes in and out; name the node at one of them "
                      f"({pins})")
    if text not in nodes and text not in parts:
        raise Refusal(f"there is no node or part '{text}'{nearest(text, [*nodes, *parts])}")
    return Place(text, NODE if text in nodes else PART)


def _nodes(description: Description) -> list[str]:
    """Names of nodes as the circuit file has them, ground apart."""
    named = [node for table in (description.parts, description.devices) for placed in table.values()
             for node in placed.nodes]
    named += [one.node for table in (description.ports, description.supplies) for one in table.values()]
    return [node for node in dict.fromkeys(named) if node != GROUND]


def carried(state: SteadyState, places: Sequence[Place], lines: int) -> list[Carried]:
    """Power carried at each place, at harmonics 1 to `lines`."""
    watts = np.zeros((len(places), lines + 1))
    by = [[""] * (lines + 1) for _ in places]
    for harmonic in range(1, lines + 1):
        flows = Flows(state, harmonic)
        for n, place in enumerate(places):
            here = flows.parts[place.name] if place.kind == PART else _at_node(state, flows, place.name)
            giving = [flow for flow in here if flow.watts < 0]
            watts[n, harmonic] = -sum(flow.watts for flow in giving)
            if giving:
                main = min(giving, key=lambda flow: flow.watts)
                by[n][harmonic] = main.node if place.kind == PART else main.owner
    return [Carried(w, tuple(names)) for w, names in zip(watts, by)]


def _at_node(state: SteadyState, flows: Flows, node: str) -> list[Flow]:
    """What parts, devices and terminations take at a node; a junction of strips is part of the node it stands for."""
    nodes, waiting = {node}, [node]
    while waiting:
        for flow in flows.at(waiting.pop()):
            if flow.owner.startswith("junction."):
                beyond = {f.node for f in flows.parts[flow.owner]} - nodes - {GROUND}
                nodes |= beyond
                waiting += beyond
    found = [flow for at in nodes for flow in flows.at(at) if not flow.owner.startswith("junction.")]
    for head, table in (("port", state.description.ports), ("supply", state.description.supplies)):
        found += [Flow(f"{head}.{name}", one.node, float(state.absorbed(f"{head}.{name}")[flows.harmonic]))
                  for name, one in table.items() if one.node in nodes]
    return found


def between_stages(state: SteadyState) -> list[Place]:
    """Of a chain: the node where each stage gives what drives the next, and that where the next takes it, in order;
    none where one stage makes the wanted harmonic from f0.

    The devices that give the wanted harmonic take most power at some lower harmonic at one pin; if that is not f0, the
    stream is followed upwards from there to the stage before."""
    description = state.description
    harmonic = description.wanted_harmonic
    path = signal_path(state, harmonic, description.wanted_port) if harmonic >= _FEWEST else None
    origin = () if path is None else path.origin
    found: list[Place] = []
    while set(origin) & set(description.devices):
        every = {k: Flows(state, k) for k in range(1, harmonic)}
        pins = [(flow.watts, k, flow.node) for k, flows in every.items() for name in origin if name in flows.devices
                for flow in flows.devices[name]]
        power, harmonic, node = max(pins, default=(0.0, 1, ""))
        way = upstream(every[harmonic], node, None, 0.0) if harmonic > 1 and power > 0 else None
        if way is None:
            break
        first = way.nodes[0]
        origin = tuple(flow.owner for flow in every[harmonic].at(first)
                       if flow.owner in description.devices and flow.watts < 0)
        found = [Place(first, NODE), Place(node, NODE), *found]
    return found
