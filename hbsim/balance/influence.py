"""How a quantity acts on the equations of a solved circuit, all voltages and currents held: dF/dp, by its pieces.

Nothing is known of what an address means: the description is taken at neighbouring values, and whatever differs there
counts, be it the law of a linear part (of any part that is derived from the quantity), a device's law, a source, or a
frequency. Laws are differenced at the voltages and currents of the state, so nothing is solved again.

Differences are of fourth order, at steps of 2^-13 of the value (1.2e-4). They are wrong by step^4 / 30 times the fifth
derivative over the first, that is by 7e-18 times the fourth power of the phase, in radians, of the longest line at the
highest harmonic (100: 7e-10) or of the exponent of a junction (40: 2e-11), and by rounding, 2e-12 over the share that
the quantity has in its part's law (1e-4 for the roughness of a strip: 2e-8). Second order at its own best step, 2^-17,
would leave 1e-7 and 2e-8 there, too much where what a quantity does through several laws cancels. Complex steps are
not open to laws with checked, real fields. Beside a limit, or where a part is written in another form on one side (a
resistor of 1 ohm), points on the other side serve, to the same order.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from threading import Lock
from weakref import WeakKeyDictionary

import numpy as np

from ..describe.description import Description, Placed
from ..errors import Refusal
from ..linear.network import Element, Network, dc_ties
from ..linear.part import Relation
from ..linear.sensitivity import Offset, Transfer
from .differences import Circuit, Formula, Otherwise, Points, differenced, moved_laws, slope_of
from .prepare import elements_of, harmonic_omegas, mounted_devices
from .solution import SteadyState
from .spectrum import phasors, real_form
from .system import Mounted

_MOST_NETWORKS = 4  # each holds its equations, some MB
_MOST_KEPT = 4096  # slopes of one network, in a sweep of something that it does not depend on


@dataclass(frozen=True, eq=False)
class Influence:
    """What changes per unit of one quantity while voltages and currents stay.

    Attributes
    ----------
    address : str
    points : tuple of (float, Description)
        Weights and circuits of the difference: the sum of weight times f(circuit) is the slope of any f. None where
        nothing but laws of linear parts moves.
    offsets : dict
        Element -> what its law is off by. [A] or [V], per unit
    branch : ndarray, complex, (K + 1, n_branch)
        Of the device branch currents. [A], per unit
    source : ndarray, complex, (K + 1, n_source)
        Of the source voltages. [V], per unit
    temperature, heating : dict
        Device -> change of the temperature it is given [K], and of its thermal resistance [K/W], per unit.
    """

    address: str
    points: tuple[tuple[float, Description], ...]
    offsets: Mapping[str, Offset]
    branch: np.ndarray
    source: np.ndarray
    temperature: dict[str, float] = field(default_factory=dict)
    heating: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class _Laws:
    """What holds for all states of one network: the difference formula, the slopes of the laws, and whether anything
    but a law moves: a device, a source, or what a figure may read from the description."""

    formula: Formula
    slopes: tuple[tuple[Element, Relation], ...]
    else_moves: bool


@dataclass(frozen=True, eq=False)
class _Devices:
    """Neighbouring devices, good for all states of circuits that have the same ones.

    of : the devices of the circuit itself
    near : (weight, devices) of each point of the difference
    packed : device -> its parameters at each point; none where they are the same at all
    """

    of: Mapping[str, Placed]
    near: tuple[tuple[float, Mapping[str, Placed]], ...]
    packed: Mapping[str, list[np.ndarray]]


class Kept:
    """What gradients need of a network, kept for all its states: the transfer, the slopes of its laws, and the
    neighbours of devices.

    Attributes
    ----------
    transfer : Transfer
    laws : dict
        (address, value) -> slopes of the laws that the quantity moves.
    devices : dict
        Address -> neighbouring devices, if the quantity is one of a device.
    """

    def __init__(self, state: SteadyState) -> None:
        network, mounted = state.system.network, state.system.mounted
        ties = dc_ties(list(network.elements.values()), tuple(network.omega.tolist()), network.device_nodes,
                       {m.name: m.pins for m in mounted}, [ends for m in mounted for ends in m.conducting()])
        self.transfer = Transfer(network, ties)
        self.laws: dict[tuple[str, float], _Laws] = {}
        self.devices: dict[str, _Devices] = {}


_KEPT: WeakKeyDictionary[Network, Kept] = WeakKeyDictionary()
_LOCK = Lock()


def kept_of(state: SteadyState) -> Kept:
    """What is kept of the network of a state."""
    network = state.system.network
    with _LOCK:
        found = _KEPT.get(network)
    if found is None:
        found = Kept(state)
        with _LOCK:
            _KEPT[network] = found
            for oldest in list(_KEPT)[:-_MOST_NETWORKS]:
                del _KEPT[oldest]
    return found


def given_quantities(description: Description) -> list[str]:
    """Addresses of the quantities that have a finite value in this circuit."""
    def value(address: str) -> float | None:
        return description.look_up(address)[1]
    return [address for address in description.addresses()
            if value(address) is not None and math.isfinite(value(address))]


def influence(state: SteadyState, address: str) -> Influence:
    """How the quantity at an address acts on the equations of a solved state.

    Raises
    ------
    Refusal
        The quantity is unknown, is not given or infinite in this circuit, or has no slope at its value.
    """
    kept = kept_of(state)
    key = address, state.description.look_up(address)[1]
    laws, points = kept.laws.get(key), ()
    if laws is None:
        laws, points = _laws(state, address)
        if len(kept.laws) >= _MOST_KEPT:
            kept.laws.clear()
        kept.laws[key] = laws
    offsets = {element.name: kept.transfer.offset(element, slope, state._unknowns) for element, slope in laws.slopes}
    try:
        kept.transfer.check(offsets.values())
    except Refusal as refusal:
        raise refusal.located(address) from None
    if not laws.else_moves:
        harmonics, n_branch = state.system.harmonics + 1, len(state.system.devices.branch_from)
        return Influence(address, (), offsets, np.zeros((harmonics, n_branch), complex), np.zeros_like(state.source))
    near = kept.devices.get(address)
    if near is not None and near.of is state.description.devices:
        points = points or tuple((weight, replace(state.description, devices=these)) for weight, these in near.near)
    else:
        points = points or laws.formula.points(state.description, address)
        near = _devices(state, points)
        if any(d.devices is not state.description.devices for _, d in points):
            kept.devices[address] = near
    heating, temperature = ({name: slope for name in state.description.devices
                             if (slope := slope_of(points, lambda d: getattr(d.devices[name].part, what)))}
                            for what in ("heating", "temperature"))
    return Influence(address, points, offsets, _branch_slope(state, points, near.packed), _source_slope(state, points),
                     temperature, heating)


def _laws(state: SteadyState, address: str) -> tuple[_Laws, Points]:
    """The slopes of the laws, by the first difference formula that can be taken here, and its points."""
    def take(formula: Formula, points: Points) -> tuple[_Laws, Points]:
        else_moves = any(getattr(points[-1][1], what) is not getattr(state.description, what)
                         for what in ("drive", "ports", "supplies", "devices"))
        return _Laws(formula, tuple(_slopes(state, points)), else_moves), points

    return differenced(state.description, address, float(state.system.network.omega[-1]), take)


def _slopes(state: SteadyState, points: Points) -> Iterable[tuple[Element, Relation]]:
    """The laws that move, with their slopes."""
    network = state.system.network
    circuits: list[Circuit] = []
    for weight, description in reversed(points):
        if description is state.description:
            circuits.append(Circuit(weight, network.elements, network.omega))
            continue
        mounted = mounted_devices(description)
        _same_branches(state.system.mounted, mounted)
        elements = {element.name: element for element in elements_of(description, mounted)[0]}
        omega = harmonic_omegas(description, state.system.harmonics)
        circuits.append(Circuit(weight, elements, omega))
        if len(circuits) == 1 and elements == network.elements and omega[-1] == network.omega[-1]:
            return ()  # as for most quantities of devices and sources: the other points need no look
    known = {*network.device_nodes, *(node for e in network.elements.values() for node in e.nodes)}
    return moved_laws(circuits[::-1], network.elements, network.relations, network.omega, known)


def _same_branches(base: Sequence[Mounted], moved: Sequence[Mounted]) -> None:
    for mine, its in zip(base, moved):
        if mine.device is not its.device and mine.branches() != its.branches():
            raise Otherwise


def _devices(state: SteadyState, points: Sequence[tuple[float, Description]]) -> _Devices:
    packed = {}
    for name in state.description.devices:
        parts = [description.devices[name].part for _, description in points]
        if any(part is not parts[0] for part in parts):
            found = [part.packed() for part in parts]
            if any(not np.array_equal(found[0], other) for other in found):
                packed[name] = found
    return _Devices(state.description.devices, tuple((weight, d.devices) for weight, d in points), packed)


def _source_slope(state: SteadyState, points: Sequence[tuple[float, Description]]) -> np.ndarray:
    """Of E = sqrt(8 R P) at the driven port, and of each supply's voltage: exact."""
    result, names, base = np.zeros_like(state.source), state.system.network.sources, state.description
    if any(d.drive is not base.drive or d.ports is not base.ports for _, d in points):
        column = names.index(f"port.{base.drive.port}")
        share = math.log(10.0) / 20.0 * slope_of(points, lambda d: d.drive.power_dbm)
        resistance = base.ports[base.drive.port].impedance
        share += 0.5 / resistance * slope_of(points, lambda d: d.ports[base.drive.port].impedance)
        result[1, column] = share * state.source[1, column]
        if base.drive.second_harmonic is not None:
            share += math.log(10.0) / 20.0 * slope_of(points, lambda d: d.drive.second_harmonic)
            turned = math.radians(slope_of(points, lambda d: d.drive.second_harmonic_phase or 0.0))
            result[2, column] = (share + 1j * turned) * state.source[2, column]
    if any(d.supplies is not base.supplies for _, d in points):
        for name in base.supplies:
            result[0, names.index(f"supply.{name}")] = slope_of(points, lambda d: d.supplies[name].voltage)
    return result


def _branch_slope(state: SteadyState, points: Sequence[tuple[float, Description]],
                  packed: Mapping[str, list[np.ndarray]]) -> np.ndarray:
    """Of the device branch currents, from the devices' laws at the waveforms that they have, and from frequency."""
    system = state.system
    omega, transform, starts = system.network.omega, system.transform, system.devices.branch_start
    per_omega = slope_of(points, lambda d: 2.0 * np.pi * d.drive.frequency) * np.arange(len(omega))
    result = np.zeros((len(omega), starts[-1]), complex)
    for d, mounted in enumerate(system.mounted):
        devices = [(weight, description.devices[mounted.name].part) for weight, description in points]
        if not per_omega.any() and all(device is devices[0][1] for _, device in devices):
            continue
        late, span = system.devices.late[d][:, None], slice(starts[d], starts[d + 1])
        voltage = real_form(state._branches[0][:, span].T) @ transform.synthesis
        if mounted.name in packed:
            waves = [np.stack(device.law(voltage, given)[:3]) for (_, device), given
                     in zip(devices, packed[mounted.name])]
            change = sum(weight * (wave - waves[0]) for (weight, _), wave in zip(devices, waves))
            i, q, t = phasors(change @ transform.analysis).transpose(0, 2, 1)
            result[:, span] = i + 1j * omega[:, None] * q + late * t
        per_delay = sum(weight * (device.delay - mounted.device.delay) for weight, device in devices)
        if per_delay or per_omega.any():
            _, q, t = phasors(mounted.device.law(voltage)[:3] @ transform.analysis).transpose(0, 2, 1)
            result[:, span] += 1j * per_omega[:, None] * q
            result[:, span] -= 1j * (omega * per_delay + per_omega * mounted.device.delay)[:, None] * late * t
    return result
