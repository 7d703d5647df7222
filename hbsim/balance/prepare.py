"""From a described circuit to a system that can be balanced, and to the source voltages that drive it."""

from __future__ import annotations

import math

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..linear.network import Element, Network
from ..linear.sources import Termination
from ..quantities import watts
from .system import Mounted, System, device_nodes


MOST_HARMONICS = 512  # beyond, one factorisation alone would take minutes


def mounted_devices(description: Description) -> list[Mounted]:
    """The devices of a circuit with the nodes at their pins."""
    return [Mounted(placed.name, placed.part, dict(zip(placed.part.terminals, placed.nodes)))
            for placed in description.devices.values()]


def elements_of(description: Description, mounted: list[Mounted]) -> tuple[list[Element], list[str]]:
    """All linear elements (parts, ports, supplies, insides of devices) and the names of those that are sources.

    Ports are named "port.NAME", supplies "supply.NAME"; part names hold no dot, so the names cannot clash.
    """
    elements = [Element(placed.name, placed.part, placed.nodes) for placed in description.parts.values()]
    sources = []
    for name, port in description.ports.items():
        elements.append(Element(f"port.{name}", Termination(port.impedance), (port.node,)))
        sources.append(f"port.{name}")
    for name, supply in description.supplies.items():
        elements.append(Element(f"supply.{name}", Termination(supply.resistance, steady=True), (supply.node,)))
        sources.append(f"supply.{name}")
    for device in mounted:
        elements += device.elements()
    return elements, sources


def harmonic_omegas(description: Description, harmonics: int) -> np.ndarray:
    """Angular frequencies of harmonics 0..K of the drive, (K + 1,). [rad/s]"""
    return 2 * np.pi * description.drive.frequency * np.arange(harmonics + 1)


class Networks:
    """Condensed networks kept by what they depend on, so that only a changed linear value rebuilds one."""

    def __init__(self, most: int = 8) -> None:
        self._most = most
        self._kept: dict[tuple, Network] = {}

    def get(self, elements: list[Element], sources: list[str], nodes: list[str], omega: np.ndarray,
            pins: dict[str, dict[str, str]], conducting: list[tuple[str, str]]) -> Network:
        """The network of these elements; built when it is not kept."""
        key = (tuple(elements), tuple(sources), tuple(nodes), omega.tobytes(), tuple(conducting))
        network = self._kept.pop(key, None) or Network(elements, sources, nodes, omega, pins, conducting)
        self._kept[key] = network
        if len(self._kept) > self._most:
            del self._kept[next(iter(self._kept))]
        return network


def prepare(description: Description, harmonics: int, samples: int | None = None,
            networks: Networks | None = None) -> System:
    """Assemble and condense the network at every harmonic.

    Raises
    ------
    Refusal
        Fewer than 2 harmonics or than the wanted one, or whatever the network refuses.
    """
    least = max(2, description.wanted_harmonic)
    if harmonics < least:
        raise Refusal(f"{harmonics} harmonics are too few; at least {least} are needed here", "harmonics")
    if harmonics > MOST_HARMONICS:
        raise Refusal(f"{harmonics} harmonics are too many; at most {MOST_HARMONICS} are balanced, and some tens are "
                      "enough for any multiplier", "harmonics")
    if samples is not None and samples <= 4 * harmonics:
        raise Refusal(f"{samples} samples are too few; {harmonics} harmonics need more than {4 * harmonics}", "samples")
    mounted = mounted_devices(description)
    elements, sources = elements_of(description, mounted)
    try:
        network = (networks or Networks()).get(elements, sources, device_nodes(mounted),
                                               harmonic_omegas(description, harmonics),
                                               {m.name: m.pins for m in mounted},
                                               [ends for m in mounted for ends in m.conducting()])
    except Refusal as refusal:
        raise refusal.located(file=description.file) from None
    return System(network, mounted, samples)


def source_voltages(description: Description, system: System) -> np.ndarray:
    """Source voltages of every port and supply, (K + 1, n_source), peak phasors. [V]

    The generator's available power P behind its resistance R stands for the voltage sqrt(8 R P), phase 0.
    """
    names = system.network.sources
    voltages = np.zeros((system.harmonics + 1, len(names)), complex)
    drive = description.drive
    resistance = description.ports[drive.port].impedance
    voltages[1, names.index(f"port.{drive.port}")] = math.sqrt(8 * resistance * watts(drive.power_dbm))
    for name, supply in description.supplies.items():
        voltages[0, names.index(f"supply.{name}")] = supply.voltage
    return voltages
