"""The power budget of a solved state: who gives and who takes how much at each harmonic, and where decibels are lost.

What a part takes at a harmonic is Re(sum over its terminals of V I*) / 2, at DC the sum of V I. Kirchhoff's laws make
the sum over all parts, devices and terminations zero at each harmonic by itself (B. D. H. Tellegen, Philips Research
Reports 7 (1952) 259-269); devices take at DC and the drive's frequency and give at the others. A generator gives what
is available from it, and its port takes what comes back; a supply gives its voltage times its current, and its
resistance takes its heat.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..balance.prepare import generator_voltages
from ..balance.solution import SteadyState
from ..balance.spectrum import mean_power
from ..describe.description import Description
from ..errors import NotSolved, Refusal, nearest
from ..linear.network import GROUND
from .board_loss import LineLoss, line_loss
from .signal_path import Flows, SignalPath, signal_path

CLOSES = 1e-6  # of all that is given: what the budget may leave open
GENERATOR, SUPPLY, RESISTANCE, PORT = "generator", "supply", "supply resistance", "port"
PART, JUNCTION, DEVICE = "part", "junction", "device"


@dataclass(frozen=True, eq=False)
class Item:
    """One line of the budget.

    name : of the part, device, port or supply; "drive" for the generator.
    kind : "generator", "supply", "supply resistance", "port", "part", "junction" or "device".
    taken : ndarray, (K + 1,)
        Power taken at each harmonic; negative where it gives. [W]
    line : LineLoss or None
        Of a line: what of it goes into metal and dielectric.
    """

    name: str
    kind: str
    taken: np.ndarray
    line: LineLoss | None = None

    @property
    def total(self) -> float:
        """Over all harmonics: the heat, for a part or device. [W]"""
        return float(self.taken.sum())


@dataclass(frozen=True)
class Group:
    """What some parts, seen as one, do to the power at the wanted harmonic.

    watts_in, watts_out : over their outer nodes, where power goes in and where it comes out. [W]
    taken, conductor, dielectric : the heat, and what of it is in the metal and the dielectric of lines. [W]
    """

    name: str
    members: tuple[str, ...]
    watts_in: float
    watts_out: float
    taken: float
    conductor: float
    dielectric: float

    @property
    def loss_db(self) -> float:
        """10 log10 of in over out; infinite where nothing comes out, not a number where nothing goes in. [dB]"""
        if not self.watts_in > 0:
            return math.nan
        return 10.0 * math.log10(self.watts_in / self.watts_out) if self.watts_out > 0 else math.inf

    def share_db(self, power: float) -> float:
        """The part of the loss that a part of the heat stands for, in proportion. [dB]"""
        return self.loss_db * power / self.taken if self.taken > 0 else 0.0


@dataclass(frozen=True, eq=False)
class Budget:
    """The power budget of a solved state; made by `budget`.

    items : givers first, then what takes, each in the order of the circuit file.
    path : the way to the wanted port at the wanted harmonic; None where nothing comes out, or no way is found.
    groups : as asked for.
    """

    state: SteadyState
    items: tuple[Item, ...]
    path: SignalPath | None
    groups: tuple[Group, ...]

    def item(self, name: str, kind: str | None = None) -> Item:
        """A line of the budget; raises Refusal for a name that is not there."""
        for item in self.items:
            if item.name == name and kind in (None, item.kind):
                return item
        raise Refusal(f"the budget has no '{name}'{nearest(name, [i.name for i in self.items])}")

    @cached_property
    def given(self) -> np.ndarray:
        """By all that give at each harmonic, devices that convert included, (K + 1,). [W]"""
        return -sum(np.minimum(item.taken, 0.0) for item in self.items)

    @property
    def given_in_all(self) -> float:
        """By generator and supplies. [W]"""
        return -sum(item.total for item in self.items if item.kind in (GENERATOR, SUPPLY) and item.total < 0)

    @cached_property
    def error(self) -> np.ndarray:
        """What the sum over all lines leaves open at each harmonic, (K + 1,). [W]"""
        return sum(item.taken for item in self.items)

    @property
    def closure(self) -> float:
        """The largest error, of any harmonic or of their sum, over all that is given. [1]"""
        most = max(float(np.abs(self.error).max()), abs(float(self.error.sum())))
        scale = max(self.given_in_all, float(self.given.max()))
        return most / scale if scale > 0 else 0.0


def budget(state: SteadyState, groups: Mapping[str, Sequence[str]] | None = None) -> Budget:
    """The power budget of a solved state.

    Parameters
    ----------
    groups : mapping, or None
        Name -> names of linear parts, to be told of as one at the wanted harmonic.

    Raises
    ------
    NotSolved
        The sum leaves more than 1e-6 of what is given open: the state is not one to take powers from.
    Refusal
        A group is empty, or names what is no linear part.
    """
    groups = {name: tuple(members) for name, members in (groups or {}).items()}
    check_groups(state.description, groups)
    items = (*_terminations(state), *_parts(state), *_devices(state))
    description = state.description
    flows = Flows(state, description.wanted_harmonic)
    table = {item.name: item for item in items if item.kind in (PART, JUNCTION)}
    found = Budget(state, items, signal_path(state, description.wanted_harmonic, description.wanted_port, groups),
                   tuple(_group(state, flows, table, name, members) for name, members in groups.items()))
    if not found.closure <= CLOSES:
        raise NotSolved(f"the power budget leaves {found.closure:.1e} of what is given open, more than {CLOSES:g}: "
                        "circulating powers are so large that rounding hides what is lost; give lossless resonators "
                        "their loss")
    return found


def _terminations(state: SteadyState) -> list[Item]:
    description, sources = state.description, state.system.network.sources
    none = np.zeros(state.system.harmonics + 1)
    generator = none.copy()
    waves = generator_voltages(description, description.drive.power_dbm)
    generator[:len(waves)] = -np.abs(waves) ** 2 / (8 * description.ports[description.drive.port].impedance)
    givers, takers = [Item("drive", GENERATOR, generator)], []
    for name, supply in description.supplies.items():
        current = state.current(f"supply.{name}")
        source = state.source[:, [sources.index(f"supply.{name}")]]
        givers.append(Item(name, SUPPLY, mean_power(source, current)))
        takers.append(Item(name, RESISTANCE, mean_power(current, current) * supply.resistance))
    for name in description.ports:
        taken = state.absorbed(f"port.{name}")
        takers.append(Item(name, PORT, taken - generator if name == description.drive.port else taken))
    return givers + takers


def _parts(state: SteadyState) -> list[Item]:
    network, found = state.system.network, []
    inner = {e.name for m in state.system.mounted for e in m.elements()}
    for name, element in network.elements.items():
        if name in inner or name in network.sources:
            continue
        voltage = np.stack([state.voltage(node) for node in element.nodes], axis=1)
        current = state.current(name)
        found.append(Item(name, JUNCTION if name.startswith("junction.") else PART, mean_power(voltage, current),
                          line_loss(element.part, network.omega, voltage, current)))
    return found


def _devices(state: SteadyState) -> list[Item]:
    return [Item(name, DEVICE, mean_power(*(np.stack(list(table.values()), axis=1)
                                            for table in (device.pin_voltage, device.pin_current))))
            for name, device in state.devices.items()]


def check_groups(description: Description, groups: Mapping[str, Sequence[str]]) -> None:
    """Refuse groups that cannot be told of, before anything is solved; see `budget`."""
    known, taken = description.parts, {}
    for group, members in groups.items():
        if not members:
            raise Refusal(f"the group '{group}' has no parts", "group")
        for name in members:
            if name not in known:
                device = " (a device; groups are of linear parts)" if name in description.devices else ""
                raise Refusal(f"the group '{group}' names '{name}', which is no part{device}{nearest(name, known)}",
                              "group")
            if name in taken:
                raise Refusal(f"'{name}' stands in '{taken[name]}' already; a part is counted once", "group")
            taken[name] = group
        if group in known or group in description.devices:
            raise Refusal(f"'{group}' is a part or device already; give the group another name", "group")


def _group(state: SteadyState, flows: Flows, items: Mapping[str, Item], name: str, members: tuple[str, ...]) -> Group:
    inside = {*members, *_junctions_between(state, members)}
    harmonic = state.description.wanted_harmonic
    outer: dict[str, float] = {}
    for flow in (flow for owner in inside for flow in flows.parts[owner]):
        if flow.node != GROUND:
            outer[flow.node] = outer.get(flow.node, 0.0) + flow.watts
    shared = {node for element in state.system.network.elements.values() if element.name not in inside
              for node in element.nodes} | {node for m in state.system.mounted for node in m.pins.values()}
    # at a node inside, what goes into one member comes out of another
    at = [power for node, power in outer.items() if node in shared]
    lines = [items[member].line for member in members if items[member].line is not None]
    return Group(name, members, sum(p for p in at if p > 0), -sum(p for p in at if p < 0),
                 float(sum(items[member].taken[harmonic] for member in members)),
                 float(sum(line.conductor[harmonic] for line in lines)),
                 float(sum(line.dielectric[harmonic] for line in lines)))


def _junctions_between(state: SteadyState, members: tuple[str, ...]) -> list[str]:
    """Names of the junctions of strips whose every neighbour is a member."""
    found = []
    for junction in state.description.joined.added:
        element = junction.element
        others = {e.name for e in state.system.network.elements.values() if set(e.nodes) & (set(element.nodes) -
                  {GROUND})} | {m.name for m in state.system.mounted if set(m.pins.values()) & set(element.nodes)}
        if others - {element.name} <= set(members):
            found.append(element.name)
    return found
