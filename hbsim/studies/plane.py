"""A plane of the circuit: the node at a device's pin, and what the circuit shows the device there at one harmonic.

The termination at a pin is the reflection coefficient of the circuit at the pin's node with every device taken out.
Another one is put there by an admittance to ground that acts at that harmonic alone (linear/one_frequency.py); DC and
all other harmonics stay as the circuit has them. That admittance may feed power into the circuit, so

- where the node lies on the way of the wanted harmonic to its port, the output is what goes into the termination at the
  node (what a lossless network of this reflection would pass on), not what arrives at the port;
- where it lies on the way of the drive, at f0, the generator is set so that the power available at the node stays
  (as with a lossless tuner), and the input match is that at the node, of power waves (K. Kurokawa, IEEE Trans. MTT-13
  (1965) 194-202);
- else output and input match are those at the ports.

Of several pins the way leads through the one that a generator at the port reaches with the largest voltage.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..balance.figures import Figure, OutputLevel, Slopes
from ..balance.prepare import elements_of
from ..balance.solution import SteadyState
from ..describe.description import Description, Placed
from ..errors import Refusal, nearest
from ..linear.islands import GROUND
from ..linear.network import Element, Network
from ..linear.one_frequency import OneFrequencyTermination
from ..linear.response import joined_to, scattering
from ..quantities import dbm

_SHORT = 1e-9  # of 1 + reflection: below, the circuit holds the node whatever hangs on it
_DB = 10.0 / math.log(10.0)
DRIVE_SIDE, OUTPUT_SIDE, ELSEWHERE = "drive", "output", "elsewhere"


@dataclass(frozen=True)
class PlaneWatts(Figure):
    """Power out of the devices into the linear circuit at a node, at a harmonic above DC. [W]

    terminals : (element, terminal) of all linear parts at the node that are not inside a device.
    """

    node: str
    harmonic: int
    terminals: tuple[tuple[str, int], ...]

    def at(self, state: SteadyState) -> tuple[complex, complex]:
        """Voltage of the node [V], and current into the linear circuit there [A]."""
        current = sum(state.current(name)[self.harmonic, terminal] for name, terminal in self.terminals)
        return complex(state.voltage(self.node)[self.harmonic]), complex(current)

    def value(self, state: SteadyState, description: Description) -> float:
        voltage, current = self.at(state)
        return 0.5 * (voltage * current.conjugate()).real

    def slopes(self, state: SteadyState) -> Slopes:
        voltage, current = self.at(state)

        def only(h: complex) -> np.ndarray:
            result = np.zeros(state.system.harmonics + 1, complex)
            result[self.harmonic] = h
            return result

        return Slopes(nodes={self.node: only(current.conjugate() / 2)},
                      currents={key: only(voltage.conjugate() / 2) for key in self.terminals})


@dataclass(frozen=True)
class PlaneLevel(PlaneWatts):
    """The same in dBm; minus infinity where nothing goes in."""

    def value(self, state: SteadyState, description: Description) -> float:
        power = super().value(state, description)
        return dbm(power) if power > 0.0 else -math.inf

    def slopes(self, state: SteadyState) -> Slopes:
        power = super().value(state, state.description)
        if not power > 0.0:
            raise Refusal(f"no power goes into the termination at node '{self.node}': its level has no slope")
        result = Slopes()
        result.add(super().slopes(state), _DB / power)
        return result


@dataclass(frozen=True, eq=False)
class Plane:
    """Where and at which harmonic the termination is looked at; made by `plane`.

    Attributes
    ----------
    description : Description
    pin, node : str
        "Q1.collector", and its node.
    harmonic : int
    reference : float
        Of all reflection coefficients here. [ohm]
    present : complex
        The circuit's own termination. [1]
    side : str
        "drive", "output" or "elsewhere": which of the rules at the head of this file holds.
    part : str
        Name of the added part.
    """

    description: Description
    pin: str
    node: str
    harmonic: int
    reference: float
    present: complex
    side: str
    part: str
    _terminals: tuple[tuple[str, int], ...]

    @property
    def frequency(self) -> float:
        """Of the harmonic. [Hz]"""
        return self.harmonic * self.description.drive.frequency

    def impedance(self, reflection: complex) -> complex:
        """Of a reflection coefficient; infinite for an open end. [ohm]"""
        return self.reference * (1 + reflection) / (1 - reflection) if reflection != 1 else complex(math.inf)

    @property
    def addresses(self) -> tuple[str, str]:
        """Of real and imaginary part of the reflection coefficient, in circuits that `terminated` makes."""
        return f"{self.part}.reflection_real", f"{self.part}.reflection_imag"

    def terminated(self, reflection: complex) -> Description:
        """The circuit with another termination at this plane.

        Raises
        ------
        Refusal
            A termination without resistance on the drive's way: no power would be available there. One on that way
            with a second harmonic of the generator's own.
        """
        part = OneFrequencyTermination(self.frequency, self.reference, self.present.real, self.present.imag,
                                       reflection.real, reflection.imag)
        base = self.description
        result = replace(base, parts={**base.parts, self.part: Placed(self.part, part, (self.node,))})
        if self.side != DRIVE_SIDE:
            return result
        if base.drive.second_harmonic is not None:
            raise Refusal("terminations on the drive's way move the drive, and with it the generator's own second "
                          "harmonic, which should stay; leave it out for this study", "drive.second_harmonic")
        if abs(reflection) >= 1.0:
            raise Refusal("without resistance no power is available from a termination; take a reflection below 1",
                          "reach")
        power = base.drive.power_dbm + _DB * (self._log_conductance(reflection) - self._log_conductance(self.present))
        return result.with_values({"drive.power": power})

    @staticmethod
    def _log_conductance(reflection: complex) -> float:
        return math.log(1.0 - abs(reflection) ** 2) - math.log(abs(1.0 + reflection) ** 2)

    @property
    def figure(self) -> Figure:
        """The output that is looked at, as a figure. [dBm]"""
        if self.side == OUTPUT_SIDE:
            return PlaneLevel(self.node, self.harmonic, (*self._terminals, (self.part, 0)))
        return OutputLevel(self.description.wanted_harmonic)

    def output_dbm(self, state: SteadyState) -> float:
        """Output at the wanted harmonic, as the head of this file says. [dBm]"""
        return self.figure.value(state, state.description)

    def input_reflection(self, state: SteadyState) -> complex:
        """Reflection coefficient of the input: at the port, or on the drive's side at this plane, of power
        waves. [1]"""
        if self.side != DRIVE_SIDE:
            return state.input_reflection
        part = state.description.parts[self.part].part
        g = complex(part.reflection_real, part.reflection_imag)
        voltage, outward = self._at(state)
        back = (1 - g.conjugate()) * voltage + self.reference * (1 + g.conjugate()) * outward
        forth = (1 - g) * voltage - self.reference * (1 + g) * outward
        return back / forth

    def seen(self, state: SteadyState) -> complex:
        """Reflection coefficient that the devices do see under drive: it differs from the termination where generator
        or other pins act on the node through the circuit. Not a number where nothing flows. [1]"""
        voltage, current = self._at(state)
        total = voltage + self.reference * current
        return (voltage - self.reference * current) / total if total != 0.0 else complex(math.nan, math.nan)

    def _at(self, state: SteadyState) -> tuple[complex, complex]:
        return PlaneWatts(self.node, self.harmonic, (*self._terminals, (self.part, 0))).at(state)

    def slope(self, state: SteadyState) -> complex:
        """Slope of the output against real + j imaginary part of the reflection coefficient. [dB]"""
        wanted = [*self.addresses, *(["drive.power"] if self.side == DRIVE_SIDE else [])]
        found = state.gradient({"output": self.figure}, wanted)["output"]
        result = complex(*(found[address] for address in self.addresses))
        if self.side == DRIVE_SIDE:
            part = state.description.parts[self.part].part
            g = complex(part.reflection_real, part.reflection_imag)
            by_power = -2 * g / (1 - abs(g) ** 2) - 2 * (1 + g) / abs(1 + g) ** 2
            result += found["drive.power"] * _DB * by_power
        return result


def pin_of(description: Description, at: str) -> tuple[str, str]:
    """Device and pin of "Q1.collector", or of "collector" where one device alone has such a pin.

    Raises
    ------
    Refusal
        There is none, there are several, or it is at ground.
    """
    pins = {f"{name}.{pin}": (name, pin) for name, placed in description.devices.items() for pin in placed.terminals}
    fits = [at] if at in pins else [key for key in pins if key.endswith(f".{at}")]
    if not fits:
        known = [*pins, *(pin for _, pin in pins.values())]
        raise Refusal(f"there is no pin '{at}'{nearest(at, known)}; the pins are {', '.join(pins) or 'none'}", "at")
    if len(fits) > 1:
        raise Refusal(f"'{at}' may be {' or '.join(fits)}; write one of them", "at")
    device, pin = pins[fits[0]]
    if _pins(description)[fits[0]] == GROUND:
        raise Refusal(f"the pin '{fits[0]}' is at ground, where there is nothing to choose; take another", "at")
    return device, pin


def plane(description: Description, at: str, harmonic: int, reference: float = 50.0) -> Plane:
    """The plane at a pin.

    Parameters
    ----------
    at : str
        "Q1.collector", or "collector" where one device alone has such a pin.
    harmonic : int
        1 for f0.
    reference : float
        [ohm]

    Raises
    ------
    Refusal
        No such pin, a harmonic below 1, or a node that the circuit itself shorts or leaves undetermined there.
    """
    if harmonic < 1:
        raise Refusal(f"harmonic {harmonic} has no termination on the chart; 1 is f0", "harmonic")
    if not reference > 0.0:
        raise Refusal(f"a reference of {reference:g} ohm is not possible; it must be above 0 ohm", "reference")
    device, pin = pin_of(description, at)
    key = f"{device}.{pin}"
    node = _pins(description)[key]
    elements, sources = elements_of(description, [])
    omega = np.array([2 * np.pi * harmonic * description.drive.frequency])
    present = complex(scattering(elements, [(node, GROUND)], np.array([reference]), omega)[0, 0, 0])
    if abs(1.0 + present) < _SHORT:
        raise Refusal(f"the circuit shorts node '{node}' at harmonic {harmonic}, so that no other termination can be "
                      "put there; take another pin or harmonic", "at")
    side = _side(description, elements, sources, node, harmonic, omega)
    if side == DRIVE_SIDE and abs(present) >= 1.0 - _SHORT:
        raise Refusal(f"the circuit makes no drive power available at node '{node}'", "at")
    name = "added_termination"
    while name in description.parts or name in description.devices:
        name += "_"
    terminals = tuple((e.name, terminal) for e in elements for terminal, other in enumerate(e.nodes) if other == node)
    return Plane(description, key, node, harmonic, reference, present, side, name, terminals)


def _pins(description: Description) -> dict[str, str]:
    """Node of each pin of each device."""
    return {f"{name}.{pin}": node for name, placed in description.devices.items()
            for pin, node in zip(placed.terminals, placed.nodes)}


def _side(description: Description, elements: list[Element], sources: list[str], node: str, harmonic: int,
          omega: np.ndarray) -> str:
    def is_way(port: str) -> bool:
        return _nearest(description, elements, sources, port, omega) == node

    if harmonic == description.wanted_harmonic and is_way(description.wanted_port):
        return OUTPUT_SIDE
    return DRIVE_SIDE if harmonic == 1 and is_way(description.drive.port) else ELSEWHERE


def _nearest(description: Description, elements: list[Element], sources: list[str], port: str,
             omega: np.ndarray) -> str:
    """The pin's node that a generator at a port reaches with the largest voltage, devices taken out."""
    nodes = [node for node in dict.fromkeys(_pins(description).values()) if node != GROUND]
    kept = joined_to(elements, nodes)
    names = [name for name in sources if any(e.name == name for e in kept)]
    if f"port.{port}" not in names:  # no way at all
        return ""
    network = Network(kept, names, nodes, omega)
    reached = np.linalg.lstsq(network.a[0], network.c[0][:, names.index(f"port.{port}")], rcond=1e-13)[0]
    return nodes[int(np.argmax(np.abs(reached)))]


def moved_pin(description: Description, device: str, pin: str, node: str,
              added: Mapping[str, Placed]) -> Description:
    """The circuit with one pin of a device soldered to another node, and some parts added."""
    placed = description.devices[device]
    nodes = tuple(node if name == pin else other for name, other in zip(placed.terminals, placed.nodes))
    return replace(description, parts={**description.parts, **added},
                   devices={**description.devices, device: replace(placed, nodes=nodes)})
