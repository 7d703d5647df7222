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
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from threading import Lock
from weakref import WeakKeyDictionary

import numpy as np

from ..describe.description import Description, Placed
from ..errors import Refusal
from ..linear.elimination import REFERENCE
from ..linear.microstrip.line import LIGHT
from ..linear.network import GROUND, Element, Network, dc_ties
from ..linear.part import Relation
from ..linear.sensitivity import FormChanged, Offset, Transfer, law_slope
from .prepare import elements_of, harmonic_omegas, mounted_devices
from .solution import SteadyState
from .spectrum import phasors, real_form
from .system import Mounted

_STEP = 2.0**-13
_FROM_ZERO = 1e-6  # from a value of zero: of what is usual of the kind at the highest harmonic
_ONE_SIDED = ((0.0, -25 / 12), (1.0, 4.0), (2.0, -3.0), (3.0, 4 / 3), (4.0, -1 / 4))
_STENCILS = (((-2.0, 1 / 12), (-1.0, -2 / 3), (1.0, 2 / 3), (2.0, -1 / 12)),  # (place in steps, weight), fourth order
             _ONE_SIDED, tuple((-place, -weight) for place, weight in _ONE_SIDED))
_NOT_FROM_ZERO = 0.1  # of a part that is not there at a value of zero: how far its law may be from proportion
_MOST_NETWORKS = 4  # each holds its equations, some MB
_MOST_KEPT = 4096  # slopes of one network, in a sweep of something that it does not depend on
_OTHERWISE = "the circuit is put together otherwise just beside this value: a part or a node comes or goes"


class _Otherwise(Exception):
    """A neighbouring circuit has other parts or nodes."""


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

    stencil: tuple[tuple[float, float], ...]
    step: float
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
        points = points or _points(state.description, address, laws.stencil, laws.step)
        near = _devices(state, points)
        if any(d.devices is not state.description.devices for _, d in points):
            kept.devices[address] = near
    heating, temperature = ({name: slope for name in state.description.devices
                             if (slope := slope_of(points, lambda d: getattr(d.devices[name].part, what)))}
                            for what in ("heating", "temperature"))
    return Influence(address, points, offsets, _branch_slope(state, points, near.packed), _source_slope(state, points),
                     temperature, heating)


def slope_of(points: Sequence[tuple[float, Description]], f: Callable[[Description], float]) -> float:
    """Slope of any f(circuit) along the points of an influence; zero to the last digit where nothing moves."""
    first = f(points[0][1])
    return sum(weight * (f(description) - first) for weight, description in points)


def _points(description: Description, address: str, stencil: tuple[tuple[float, float], ...],
            step: float) -> tuple[tuple[float, Description], ...]:
    value = description.look_up(address)[1]
    return tuple((weight / step, description.with_values({address: value + place * step}) if place else description)
                 for place, weight in stencil)


def _laws(state: SteadyState, address: str) -> tuple[_Laws, tuple[tuple[float, Description], ...]]:
    """The slopes of the laws, by the first difference formula that can be taken here, and its points."""
    spec, value = state.description.look_up(address)
    if value is None:
        raise Refusal("is not given in this circuit; give it a value first", address)
    if not math.isfinite(value):
        raise Refusal("is infinite in this circuit, where nothing has a slope; give it a finite value first", address)
    step = _STEP * abs(value) or _FROM_ZERO * _usual(spec.unit, float(state.system.network.omega[-1]))
    if spec.unit == "dBm":
        step = _STEP
    reasons = []
    for stencil in _STENCILS:
        try:
            points = _points(state.description, address, stencil, step)
            else_moves = any(getattr(points[-1][1], what) is not getattr(state.description, what)
                             for what in ("drive", "ports", "supplies", "devices"))
            return _Laws(stencil, step, tuple(_slopes(state, points)), else_moves), points
        except (FormChanged, _Otherwise):
            reasons.insert(0, _OTHERWISE)
        except Refusal as refusal:
            reasons.append(str(refusal))
    raise Refusal(f"has no slope at {value:g} {spec.unit}: {reasons[0]}; give it another value first", address)


def _usual(unit: str, omega: float) -> float:
    """A value that is neither large nor small at a frequency [rad/s]. A law is written as an admittance up to 1 S; a
    millionth of REFERENCE in series with that (a resistance, an inductance) bends nothing."""
    return {"ohm": REFERENCE, "H": REFERENCE / omega, "F": 1.0 / (REFERENCE * omega), "s": 1.0 / omega,
            "m": LIGHT / omega, "Hz": omega, "A": 1e-10, "W": 1e-3}.get(unit, 1.0)


def _slopes(state: SteadyState, points: Sequence[tuple[float, Description]]) -> Iterator[tuple[Element, Relation]]:
    """The laws that move, with their slopes."""
    network = state.system.network
    circuits: list[tuple[float, Mapping[str, Element], np.ndarray]] = []
    for weight, description in reversed(points):
        if description is state.description:
            circuits.append((weight, network.elements, network.omega))
            continue
        mounted = mounted_devices(description)
        _same_branches(state.system.mounted, mounted)
        elements = {element.name: element for element in elements_of(description, mounted)[0]}
        omega = harmonic_omegas(description, state.system.harmonics)
        circuits.append((weight, elements, omega))
        if len(circuits) == 1 and elements == network.elements and omega[-1] == network.omega[-1]:
            return  # as for most quantities of devices and sources: the other points need no look
    for name in dict.fromkeys(name for _, elements, _ in circuits for name in elements):
        if name not in network.elements:
            yield _new_part(name, circuits[::-1], network)
            continue
        base = network.elements[name]
        laws, moves = [], False
        for weight, elements, omega in circuits:
            if name not in elements or elements[name].nodes != base.nodes:
                raise _Otherwise
            part = elements[name].part
            same = omega[-1] == network.omega[-1] and (part is base.part or part == base.part)
            moves = moves or not same
            laws.append((weight, network.relations[name] if same else part.relation(omega)))
        if moves:
            yield base, law_slope(laws, network.relations[name])


def _same_branches(base: Sequence[Mounted], moved: Sequence[Mounted]) -> None:
    for mine, its in zip(base, moved):
        if mine.device is not its.device and mine.branches() != its.branches():
            raise _Otherwise


def _new_part(name: str, circuits: Sequence[tuple[float, Mapping[str, Element], np.ndarray]],
              network: Network) -> tuple[Element, Relation]:
    """A part that a value of zero leaves out (a capacitance), if its admittance grows from none; with its slope."""
    known = {GROUND, *network.device_nodes, *(node for e in network.elements.values() for node in e.nodes)}
    found = [(weight, elements[name], omega) for weight, elements, omega in circuits if name in elements]
    laws = [(weight, element.part.relation(omega)) for weight, element, omega in found]
    element = found[0][1]
    if len(laws) != len(_ONE_SIDED) - 1 or any(law.b is not None for _, law in laws) \
            or not known.issuperset(element.nodes):
        raise _Otherwise
    near, far = laws[0][1].a, laws[1][1].a
    if np.abs(far - 2.0 * near).max() > _NOT_FROM_ZERO * np.abs(near).max():
        raise _Otherwise
    return element, law_slope(laws, Relation(np.zeros_like(near)))


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
