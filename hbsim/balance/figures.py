"""Figures: real numbers that are read from a solved state, each with its slope against what it is read from.

A figure has a value and, for the gradient, complex h for every phasor z that it is read from: dy = Re sum h dz over
the harmonics. For a function of ln z that is one division: the level 20 log10 |z| has h = 20 / (ln 10 z), the phase of
z in degrees h = -j (180 / pi) / z, and a power Re(v i*) / 2 has h_v = i* / 2 and h_i = v* / 2.

A new figure is one small class: `value`, which may read resistances and the like from the description it is given (that
dependence is differenced by the caller), and `slopes`.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from ..describe.description import Description
from ..errors import Refusal, nearest
from ..linear.network import GROUND
from ..quantities import dbm, watts
from .solution import SteadyState
from .spectrum import mean_power, waveform

_DB = 20.0 / math.log(10.0)  # of a relative change of a voltage
_SAMPLES = 1024  # in which a peak is looked for, before it is refined


@dataclass(eq=False)
class Slopes:
    """h of everything that a figure is read from; arrays (K + 1,) but for `branches`, (K + 1, n_branch).

    Attributes
    ----------
    nodes : dict
        Node -> h of its voltage.
    currents : dict
        (element, terminal) -> h of the current into it.
    branches : ndarray or None
        h of the total currents of all device branches.
    sources : dict
        Source -> h of its voltage, where the figure names it outright.
    """

    nodes: dict[str, np.ndarray] = field(default_factory=dict)
    currents: dict[tuple[str, int], np.ndarray] = field(default_factory=dict)
    branches: np.ndarray | None = None
    sources: dict[str, np.ndarray] = field(default_factory=dict)

    def add(self, other: Slopes, weight: float) -> None:
        """Add those of another figure, times a weight."""
        for mine, its in ((self.nodes, other.nodes), (self.currents, other.currents), (self.sources, other.sources)):
            for key, h in its.items():
                mine[key] = mine.get(key, 0.0) + weight * h
        if other.branches is not None:
            self.branches = (0.0 if self.branches is None else self.branches) + weight * other.branches


class Figure(ABC):
    """A real number read from a solved state.

    reads_description : whether its value reads resistances or settings, and not phasors alone.
    """

    reads_description: ClassVar[bool] = False

    @abstractmethod
    def value(self, state: SteadyState, description: Description) -> float:
        """Its value, with resistances and settings as `description` has them."""

    @abstractmethod
    def slopes(self, state: SteadyState) -> Slopes:
        """Against the phasors that it is read from."""


def _at(state: SteadyState, harmonic: int, h: complex) -> np.ndarray:
    if not 0 <= harmonic <= state.system.harmonics:
        raise Refusal(f"harmonic {harmonic} was not solved; 0 to {state.system.harmonics} were", "harmonic")
    result = np.zeros(state.system.harmonics + 1, complex)
    result[harmonic] = h
    return result


def _mean(state: SteadyState) -> np.ndarray:
    """The factor of a mean power at each harmonic: 1 at DC, else 1/2, (K + 1,)."""
    return np.where(np.arange(state.system.harmonics + 1) == 0, 1.0, 0.5)


@dataclass(frozen=True)
class OutputWatts(Figure):
    """Power into the load of a port (None: the wanted one) at a harmonic above DC. [W]"""

    reads_description = True
    harmonic: int
    port: str | None = None

    def _wave(self, state: SteadyState) -> tuple[str, complex]:
        name = state._port(self.port)
        _at(state, self.harmonic, 0.0)
        if self.harmonic == 0:
            raise Refusal("a port's output is asked for at the harmonics of the drive, 1 and up", "harmonic")
        source = state.source[self.harmonic, state.system.network.sources.index(f"port.{name}")]
        return name, state.voltage(state.description.ports[name].node)[self.harmonic] - source / 2

    def value(self, state: SteadyState, description: Description) -> float:
        name, wave = self._wave(state)
        return float(abs(wave) ** 2 / (2 * description.ports[name].impedance))

    def slopes(self, state: SteadyState) -> Slopes:
        name, wave = self._wave(state)
        port = state.description.ports[name]
        return self._of_wave(state, name, wave.conjugate() / port.impedance)

    def _of_wave(self, state: SteadyState, name: str, h: complex) -> Slopes:
        """Slopes of a figure with dy = Re h d(V - E / 2)."""
        return Slopes(nodes={state.description.ports[name].node: _at(state, self.harmonic, h)},
                      sources={f"port.{name}": _at(state, self.harmonic, -h / 2)})


@dataclass(frozen=True)
class OutputLevel(OutputWatts):
    """The same in dBm; not to be had where nothing comes out."""

    def value(self, state: SteadyState, description: Description) -> float:
        return dbm(super().value(state, description))

    def slopes(self, state: SteadyState) -> Slopes:
        name, wave = self._wave(state)
        if wave == 0.0:
            raise Refusal(f"nothing comes out of port '{name}' at harmonic {self.harmonic}: its level has no slope")
        return self._of_wave(state, name, _DB / wave)


@dataclass(frozen=True)
class RelativeLevel(Figure):
    """A line at the wanted port against the wanted one. [dB], dBc where the wanted one is the carrier"""

    harmonic: int

    def value(self, state: SteadyState, description: Description) -> float:
        return OutputLevel(self.harmonic).value(state, description) \
            - OutputLevel(state.description.wanted_harmonic).value(state, description)

    def slopes(self, state: SteadyState) -> Slopes:
        result = OutputLevel(self.harmonic).slopes(state)
        result.add(OutputLevel(state.description.wanted_harmonic).slopes(state), -1.0)
        return result


@dataclass(frozen=True)
class OutputPhase(Figure):
    """Phase of the voltage at a port against the generator's own, as `SteadyState.output_phase_deg`. [deg]"""

    harmonic: int
    port: str | None = None

    def value(self, state: SteadyState, description: Description) -> float:
        return state.output_phase_deg(self.harmonic, self.port)

    def slopes(self, state: SteadyState) -> Slopes:
        node = state.description.ports[state._port(self.port)].node
        voltage = state.voltage(node)[self.harmonic]
        if voltage == 0.0:
            raise Refusal(f"there is no voltage at node '{node}' at harmonic {self.harmonic}: its phase has no slope")
        return Slopes(nodes={node: _at(state, self.harmonic, -1j * math.degrees(1.0) / voltage)})


@dataclass(frozen=True)
class ReturnLoss(Figure):
    """-20 log10 of the input reflection coefficient's magnitude at the drive. [dB]"""

    def value(self, state: SteadyState, description: Description) -> float:
        return -_DB * math.log(abs(state.input_reflection))

    def slopes(self, state: SteadyState) -> Slopes:
        port, reflection = state.description.drive.port, state.input_reflection
        if reflection == 0.0:
            raise Refusal("the input is matched to the last digit: its return loss is infinite and has no slope")
        node = state.description.ports[port].node
        voltage, source = state.voltage(node)[1], state.source[1, state.system.network.sources.index(f"port.{port}")]
        h = -2.0 * _DB / (source * reflection)  # the reflection coefficient is 2 V / E - 1
        return Slopes(nodes={node: _at(state, 1, h)}, sources={f"port.{port}": _at(state, 1, -h * voltage / source)})


@dataclass(frozen=True)
class SupplyCurrent(Figure):
    """Direct current that a supply delivers. [A]"""

    supply: str

    def value(self, state: SteadyState, description: Description) -> float:
        return state.supplies[_known(self.supply, state.description.supplies, "supply")].amps

    def slopes(self, state: SteadyState) -> Slopes:
        return Slopes(currents={(f"supply.{self.supply}", 0): _at(state, 0, -1.0)})


@dataclass(frozen=True)
class SupplyPower(Figure):
    """What all supplies give, the heat in their own resistance included. [W]"""

    reads_description = True

    def value(self, state: SteadyState, description: Description) -> float:
        return sum(supply.voltage * state.supplies[name].amps for name, supply in description.supplies.items())

    def slopes(self, state: SteadyState) -> Slopes:
        return Slopes(currents={(f"supply.{name}", 0): _at(state, 0, -supply.voltage)
                                for name, supply in state.description.supplies.items()})


@dataclass(frozen=True)
class ConversionLoss(Figure):
    """Available drive power over output at the wanted harmonic. [dB]"""

    reads_description = True

    def _level(self, state: SteadyState) -> OutputLevel:
        return OutputLevel(state.description.wanted_harmonic)

    def value(self, state: SteadyState, description: Description) -> float:
        return description.drive.power_dbm - self._level(state).value(state, description)

    def slopes(self, state: SteadyState) -> Slopes:
        result = Slopes()
        result.add(self._level(state).slopes(state), -1.0)
        return result


@dataclass(frozen=True)
class Efficiency(Figure):
    """Output at the wanted harmonic over supply power plus available drive power. [1]"""

    reads_description = True

    def value(self, state: SteadyState, description: Description) -> float:
        output, given = self._terms(state, description)
        return output / given

    def _terms(self, state: SteadyState, description: Description) -> tuple[float, float]:
        output = OutputWatts(state.description.wanted_harmonic).value(state, description)
        return output, SupplyPower().value(state, description) + watts(description.drive.power_dbm)

    def slopes(self, state: SteadyState) -> Slopes:
        output, given = self._terms(state, state.description)
        result = Slopes()
        result.add(OutputWatts(state.description.wanted_harmonic).slopes(state), 1.0 / given)
        result.add(SupplyPower().slopes(state), -output / given**2)
        return result


@dataclass(frozen=True)
class DirectVoltage(Figure):
    """Mean voltage of a node. [V]"""

    node: str

    def value(self, state: SteadyState, description: Description) -> float:
        return float(state.voltage(self.node)[0].real)

    def slopes(self, state: SteadyState) -> Slopes:
        return Slopes(nodes={self.node: _at(state, 0, 1.0)})


@dataclass(frozen=True)
class PeakVoltage(Figure):
    """Largest voltage between two nodes within the period, between samples too. [V]

    At the peak the waveform is level, so that its slope is that of the waveform at an instant that stays. Where two
    peaks are equally high there is none; the first is taken.
    """

    plus: str
    minus: str = GROUND

    def _peak(self, state: SteadyState) -> tuple[float, np.ndarray]:
        """The voltage, and exp(j k theta) at its instant, (K + 1,)."""
        v = state.voltage(self.plus) - state.voltage(self.minus)
        order = np.arange(len(v))
        theta = 2 * np.pi * int(np.argmax(waveform(v, _SAMPLES))) / _SAMPLES
        for _ in range(20):  # Newton on dv / d theta = 0, never beyond the samples beside
            turning = v * np.exp(1j * order * theta)
            slope, curve = -(order * turning).imag.sum(), -(order**2 * turning).real.sum()
            if not curve < 0.0:
                break
            step = float(np.clip(-slope / curve, -2 * np.pi / _SAMPLES, 2 * np.pi / _SAMPLES))
            theta += step
            if abs(step) < 1e-14:
                break
        rotor = np.exp(1j * order * theta)
        return float((v * rotor).real.sum()), rotor

    def value(self, state: SteadyState, description: Description) -> float:
        return self._peak(state)[0]

    def slopes(self, state: SteadyState) -> Slopes:
        _, rotor = self._peak(state)
        return Slopes(nodes={node: sign * rotor for node, sign in ((self.plus, 1.0), (self.minus, -1.0))
                             if node != GROUND})


@dataclass(frozen=True)
class PartHeat(Figure):
    """Heat in a linear part, the inside of a device among them ("Q1.RE"). [W]

    For "port.NAME" and "supply.NAME": in its own resistance.
    """

    reads_description = True
    part: str

    def value(self, state: SteadyState, description: Description) -> float:
        _known(self.part, state.system.network.elements, "part")
        if self.part in state.system.network.sources:
            current = state.current(self.part)
            return float(mean_power(current, current).sum() * _resistance(self.part, description))
        return float(state.absorbed(self.part).sum())

    def slopes(self, state: SteadyState) -> Slopes:
        current = state.current(self.part)
        if self.part in state.system.network.sources:
            h = 2.0 * _mean(state) * current[:, 0].conj() * _resistance(self.part, state.description)
            return Slopes(currents={(self.part, 0): h})
        network = state.system.network
        result = Slopes()
        voltage = network.terminal_voltages(state._unknowns, self.part)
        for terminal, node in enumerate(network.elements[self.part].nodes):
            by_current = {(self.part, terminal): _mean(state) * voltage[:, terminal].conj()}
            by_node = {} if node == GROUND else {node: _mean(state) * current[:, terminal].conj()}
            result.add(Slopes(by_node, by_current), 1.0)
        return result


@dataclass(frozen=True)
class DeviceHeat(Figure):
    """Heat in a device, its fixed resistances and package included. [W]

    Summed over what it is made of; by Kirchhoff's law that is what flows in at its pins and not out again.
    """

    device: str

    def _parts(self, state: SteadyState) -> tuple[slice, list[tuple[str, str]], list[PartHeat]]:
        """Its branches, their ends, and its linear parts."""
        names = [m.name for m in state.system.mounted]
        number = names.index(_known(self.device, names, "device"))
        starts, mounted = state.system.devices.branch_start, state.system.mounted[number]
        return (slice(starts[number], starts[number + 1]), mounted.branches(),
                [PartHeat(element.name) for element in mounted.elements()])

    def value(self, state: SteadyState, description: Description) -> float:
        span, _, inside = self._parts(state)
        voltage, current = state._branches
        return float(mean_power(voltage[:, span], current[:, span]).sum()) \
            + sum(heat.value(state, description) for heat in inside)

    def slopes(self, state: SteadyState) -> Slopes:
        span, ends, inside = self._parts(state)
        voltage, current = state._branches
        result = Slopes(branches=np.zeros(current.shape, complex))
        result.branches[:, span] = _mean(state)[:, None] * voltage[:, span].conj()
        for branch, (start, end) in zip(range(span.start, span.stop), ends):
            if start == end:
                continue
            for node, sign in ((start, 1.0), (end, -1.0)):
                if node != GROUND:
                    result.add(Slopes(nodes={node: _mean(state) * current[:, branch].conj()}), sign)
        for heat in inside:
            result.add(heat.slopes(state), 1.0)
        return result


def _resistance(source: str, description: Description) -> float:
    """Of a port or a supply. [ohm]"""
    kind, name = source.split(".", 1)
    return description.ports[name].impedance if kind == "port" else description.supplies[name].resistance


def _known(name: str, known: object, what: str) -> str:
    if name not in known:
        raise Refusal(f"there is no {what} '{name}'{nearest(name, known)}")
    return name
