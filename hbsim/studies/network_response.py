"""S-parameters of the linear circuit, or of a group of its parts, between any of its nodes.

The devices are taken out, or stand there as their slopes at the DC point of the circuit (small_signal.py).

Group delay is -d(phase)/d(omega) at each frequency by itself: from the phase between two frequencies 1e-5 of it to
either side, computed for that purpose. It does not depend on how dense the points are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..balance.prepare import elements_of
from ..describe.description import Description
from ..errors import NotSolved, Refusal
from ..linear.junctions import Junction
from ..linear.network import Element, node_names
from ..linear.part import said_by
from ..linear.response import Loads, joined_to, scattering
from ..linear.touchstone import TouchstoneData
from ..quantities import show
from .network_ports import (ResponsePort, assumptions, elements_of_group, elements_that_count, part_names,
                            response_ports)

ABSENT, LINEARISED = "absent", "linearised"
MOST_POINTS = 100_001
_APART = 1e-5  # of the frequencies from whose phases a delay is taken, relatively: below 1 % of a width at a Q of 1000
_AT_END = 1e-9  # as near to an end of data, relatively, a frequency is at it (linear/block.py)
LEAST = 1e-6  # modulus (-120 dB) below which rounding would show in the delay
_QUIET_DBM = -300.0  # the least that a drive may be: some 1e-15 V


@dataclass(frozen=True, eq=False)
class Seen:
    """S-parameters and group delays at a row of frequencies.

    frequency : ndarray, (n,). [Hz]
    s : ndarray, complex, (n, p, p): from port j to port i at [:, i, j]. [1]
    delay : ndarray, (n, p, p): of the same; not a number at 0 Hz and where next to nothing comes through. [s]
    """

    frequency: np.ndarray
    s: np.ndarray
    delay: np.ndarray

    @property
    def db(self) -> np.ndarray:
        """20 log10 |S|, (n, p, p); minus infinity where S is 0. [dB]"""
        with np.errstate(divide="ignore"):
            return 20.0 * np.log10(np.abs(self.s))

    @property
    def deg(self) -> np.ndarray:
        """Phase of S, (n, p, p). [deg]"""
        return np.degrees(np.angle(self.s))

    def impedance(self, ports: Sequence[ResponsePort]) -> np.ndarray:
        """What each port shows while all others end in their references, complex, (n, p); infinite at an open end.
        [ohm]"""
        reflection = np.einsum("kii->ki", self.s)
        with np.errstate(divide="ignore", invalid="ignore"):
            found = np.array([port.reference for port in ports]) * (1.0 + reflection) / (1.0 - reflection)
        return np.where(reflection == 1.0, np.inf, found)


@dataclass(frozen=True, eq=False)
class LinearCircuit:
    """A linear circuit between ports, to be asked at any frequency."""

    elements: tuple[Element, ...]
    ports: tuple[ResponsePort, ...]
    loads: Loads | None

    def scattering(self, frequency: np.ndarray) -> np.ndarray:
        """S-parameters, complex, (n, p, p), at rising frequencies (n,) [Hz]; raises Refusal as `scattering` does."""
        return scattering(self.elements, [(port.plus, port.minus) for port in self.ports],
                          np.array([port.reference for port in self.ports]), 2 * np.pi * frequency, self.loads)

    def seen(self, frequency: np.ndarray, low: float, high: float) -> Seen:
        """S-parameters and group delays at frequencies (n,) [Hz], without leaving the range from `low` to `high`: the
        data of a part may end there. Nor is a delay taken across an end of data further in, where phases jump."""
        before = np.maximum(frequency * (1.0 - _APART), low)
        after = np.minimum(frequency * (1.0 + _APART), high)
        for first, last in {found for e in self.elements if (found := e.part.data_range()) is not None}:
            inside = (frequency >= first * (1.0 - _AT_END)) & (frequency <= last * (1.0 + _AT_END))
            before = np.where(inside, np.maximum(before, first), before)
            after = np.where(inside, np.minimum(after, last), after)
            beneath, above = frequency < first * (1.0 - _AT_END), frequency > last * (1.0 + _AT_END)
            after = np.where(beneath, np.minimum(after, first * (1.0 - 2.0 * _AT_END)), after)
            before = np.where(above, np.maximum(before, last * (1.0 + 2.0 * _AT_END)), before)
        points, where = np.unique(np.concatenate([frequency, before, after]), return_inverse=True)
        s, s_before, s_after = np.split(self.scattering(points)[where], 3)
        step = 2.0 * np.pi * (after - before)[:, None, None]
        clear = (np.minimum(np.abs(s_before), np.abs(s_after)) > LEAST) & (step > 0.0) & \
            (frequency > 0.0)[:, None, None]
        turned = -np.angle(s_after * s_before.conj())
        return Seen(frequency, s, np.where(clear, turned / np.where(step > 0.0, step, 1.0), np.nan))


@dataclass(frozen=True)
class OperatingPoint:
    """Where a device is linearised: pin -> volts against ground, pin -> amps into it, heat [W], temperature [K]."""

    volts: dict[str, float]
    amps: dict[str, float]
    dissipation: float
    temperature: float


@dataclass(frozen=True, eq=False)
class NetworkResponse:
    """What a circuit shows between ports.

    Attributes
    ----------
    description : Description
    ports : tuple of ResponsePort
    swept : Seen
        At the frequencies that were asked for.
    harmonics : dict
        Harmonic of the drive -> its frequency [Hz], of those inside the range.
    at_harmonics : Seen
        At these, computed there.
    parts : tuple of str, or None
        Those that count; None: all.
    operating : dict or None
        Device -> OperatingPoint, of the devices that are linearised; None where they are absent.
    notes, warnings : tuple of str
        What it rests on; what to beware of.
    junctions : tuple of Junction
        Of strips, put in by themselves, that count.
    model : LinearCircuit
        What was asked, to be asked again at other frequencies.
    """

    description: Description
    ports: tuple[ResponsePort, ...]
    swept: Seen
    harmonics: dict[int, float]
    at_harmonics: Seen
    parts: tuple[str, ...] | None
    operating: dict[str, OperatingPoint] | None
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    junctions: tuple[Junction, ...]
    model: LinearCircuit

    @property
    def frequency(self) -> np.ndarray:
        """(n,). [Hz]"""
        return self.swept.frequency

    @property
    def s(self) -> np.ndarray:
        """S-parameters, complex, (n, p, p): from port j to port i at [:, i, j]. [1]"""
        return self.swept.s

    @property
    def reference(self) -> np.ndarray:
        """Of each port, (p,). [ohm]"""
        return np.array([port.reference for port in self.ports])

    @property
    def reciprocal(self) -> bool:
        """Whether S is symmetrical, but for rounding."""
        return bool(np.abs(self.s - np.swapaxes(self.s, 1, 2)).max() < 1e-9)

    def at(self, frequency: np.ndarray) -> np.ndarray:
        """S-parameters at other frequencies, rising [Hz]: complex, (n, p, p). [1]"""
        return self.model.scattering(np.asarray(frequency, float))

    def data(self, file: str = "") -> TouchstoneData:
        """The same as `read_touchstone` would give it."""
        said = [self.description.title, *(f"port {n}: {port.name}, {port.place}, {show(port.reference, 'ohm')}"
                                          for n, port in enumerate(self.ports, 1)), *self.notes]
        return TouchstoneData(file, self.frequency, self.s, self.reference, comments=tuple(f" {text}" for text in said))

    def __repr__(self) -> str:
        first, last = (show(float(f), "Hz", 6) for f in self.frequency[[0, -1]])
        return (f"NetworkResponse of '{self.description.title}': {', '.join(port.name for port in self.ports)}, "
                f"{len(self.frequency)} points from {first} to {last}")


def network_response(description: Description, frequency: Sequence[float], ports: Sequence[str] | None = None, *,
                     reference: float | Sequence[float] | None = None, parts: Sequence[str] | None = None,
                     device: str = ABSENT) -> NetworkResponse:
    """S-parameters between ports; see `Circuit.network`.

    Raises
    ------
    NotSolved
        Devices are to be linearised, and no DC point was found.
    Refusal
        A name is not known, the frequencies do not rise, or the network leaves a voltage undetermined.
    """
    frequency = checked_frequencies(frequency)
    if device not in (ABSENT, LINEARISED):
        raise Refusal(f"'{device}' is no way of taking devices; write '{ABSENT}' or '{LINEARISED}'", "device")
    try:
        return _response(description, ports, frequency, _listed(reference), parts, device == LINEARISED)
    except Refusal as refusal:
        raise refusal.located(file=description.file) from None


def _response(description: Description, names: Sequence[str] | None, frequency: np.ndarray,
              reference: Sequence[float] | None, parts: Sequence[str] | None, linearised: bool) -> NetworkResponse:
    group = part_names(description, parts, linearised)
    if linearised and not set(group or description.devices) & set(description.devices):
        raise Refusal("no device counts, so that there is none to linearise; name one among the parts, or leave "
                      "devices absent", "device")
    if linearised:
        mounted, bias, operating = _linearised(description, group)
    else:
        mounted, bias, operating = [], {}, None
    model, apart = _model(description, names, reference, group, mounted, _loads(mounted, bias) if linearised else None)
    at, joined = model.ports, model.elements
    names_joined = {element.name for element in joined}
    junctions = tuple(item for item in description.joined.added if item.element.name in names_joined)
    low, high = float(frequency[0]), float(frequency[-1])
    drive = description.drive.frequency
    harmonics = {k: k * drive for k in range(max(1, int(np.ceil(low / drive))), int(high / drive) + 1)}
    found = model.seen(np.concatenate([frequency, list(harmonics.values())]), low, high)
    pieces = [Seen(found.frequency[piece], found.s[piece], found.delay[piece])
              for piece in (slice(len(frequency)), slice(len(frequency), None))]
    notes = assumptions(description, at, group, linearised, apart)
    if any(item.device.thermal_resistance > 0 for item in mounted):
        notes += ("junctions keep the temperature of the operating point while the signal changes",)
    return NetworkResponse(description, at, pieces[0], harmonics, pieces[1], group, operating, notes,
                           _warnings(description, joined, high), junctions, model)


def linear_circuit(description: Description, ports: Sequence[str] | None = None, *,
                   reference: float | Sequence[float] | None = None,
                   parts: Sequence[str] | None = None) -> LinearCircuit:
    """What `network_response` asks of its frequencies, the devices taken out; words and refusals as there."""
    return _model(description, ports, _listed(reference), part_names(description, parts, False), [], None)[0]


def _listed(reference: float | Sequence[float] | None) -> Sequence[float] | None:
    return [reference] if isinstance(reference, (int, float)) else reference


def _model(description: Description, names: Sequence[str] | None, reference: Sequence[float] | None,
           group: Sequence[str] | None, mounted: list, loads: Loads | None) -> tuple[LinearCircuit, list[str]]:
    """The linear circuit, and the parts that hang together with none of its ports."""
    elements, _ = elements_of(description, mounted)
    if group is not None:
        elements = elements_of_group(description, elements, group)
    loaded = loads.nodes if loads else ()
    nodes = [node for node in node_names(loaded, elements) if "|" not in node]  # others are inside a junction
    at = response_ports(description, names, reference, nodes)
    elements = elements_that_count(elements, at)
    joined = joined_to(elements, [*loaded, *(node for port in at for node in (port.plus, port.minus))])
    apart = [e.name for e in elements if e not in joined and e.name in description.parts]
    return LinearCircuit(tuple(joined), at, loads), apart


def checked_frequencies(frequency: Sequence[float]) -> np.ndarray:
    """Frequencies as an array, (n,) [Hz]; raises Refusal where they are too few or too many, or do not rise."""
    points = np.asarray(frequency, float).ravel()
    if len(points) < 2:
        raise Refusal("fewer than 2 frequencies; give at least 2", "frequency")
    if len(points) > MOST_POINTS:
        raise Refusal(f"{len(points)} frequencies are too many; at most {MOST_POINTS} are taken", "frequency")
    if not np.isfinite(points).all() or points[0] < 0.0 or not (np.diff(points) > 0.0).all():
        raise Refusal("the frequencies must rise from 0 Hz or above", "frequency")
    return points


def _linearised(description: Description, group: Sequence[str] | None) -> tuple[list, dict[str, float], dict]:
    """The devices that count as they are at the DC point, the voltages of their nodes, and that point in words."""
    from ..balance.solve import solve  # late: without devices nothing of the balance is needed
    quiet = description.with_values({"drive.power": _QUIET_DBM})
    try:
        state = solve(quiet, max(2, description.wanted_harmonic))
    except NotSolved as failure:
        raise NotSolved(f"the operating point was not found, so that there is nothing to linearise at: {failure}",
                        failure.iterate) from None
    mounted = [item for item in state.system.mounted if group is None or item.name in group]
    bias = dict(zip(state.system.network.device_nodes, state.form[:, 0].tolist()))
    operating = {}
    for item in mounted:
        found = state.devices[item.name]
        operating[item.name] = OperatingPoint(
            {pin: float(v[0].real) for pin, v in found.pin_voltage.items()},
            {pin: float(i[0].real) for pin, i in found.pin_current.items()}, found.dissipation, found.temperature)
    return mounted, bias, operating


def _loads(mounted: list, bias: dict[str, float]) -> Loads:
    from ..balance.system import device_nodes
    from .small_signal import device_admittance
    nodes = tuple(device_nodes(mounted))
    at = np.array([bias[node] for node in nodes])
    return Loads(nodes, lambda omega: device_admittance(mounted, nodes, at, omega))


def _warnings(description: Description, elements: Sequence[Element], highest: float) -> tuple[str, ...]:
    """What the parts that count say of their formulas, each sentence once."""
    called = {item.element.name: f"{item.kind} at {item.node}" for item in description.joined.added}
    return (*description.notes, *said_by(((called.get(e.name, e.name), e.part) for e in elements), highest))
