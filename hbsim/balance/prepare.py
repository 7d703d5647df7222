"""From a described circuit to a system that can be balanced, and to the source voltages that drive it."""

from __future__ import annotations

import cmath
import math
from threading import Lock
from typing import NamedTuple

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..linear.frame import Frame
from ..linear.network import Element, Network
from ..linear.sources import Termination
from ..quantities import watts
from .system import Mounted, System, device_nodes

DRIVEN = 3  # harmonics at which sources can have a voltage: DC, f0, the generator's own 2 f0
MOST_HARMONICS = 512  # beyond, one factorisation alone would take minutes
_MOST_KEPT, _MOST_FAMILIES = 24, 12  # for each number of harmonics that is tried there is one of both


def mounted_devices(description: Description) -> list[Mounted]:
    """The devices of a circuit with the nodes at their pins."""
    return [Mounted(placed.name, placed.part, dict(zip(placed.part.terminals, placed.nodes)))
            for placed in description.devices.values()]


def elements_of(description: Description, mounted: list[Mounted]) -> tuple[list[Element], list[str]]:
    """All linear elements (parts, the junctions between them, ports, supplies, insides of devices) and the names of
    those that are sources.

    Ports are named "port.NAME", supplies "supply.NAME", junctions "junction.NODE"; part names hold no dot, so the names
    cannot clash. Junctions do not depend on which devices are `mounted`.
    """
    elements = list(description.joined.elements)
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


class _Request(NamedTuple):
    """All that a network depends on."""

    elements: tuple[Element, ...]
    sources: tuple[str, ...]
    nodes: tuple[str, ...]
    omega: np.ndarray
    pins: dict[str, dict[str, str]]
    conducting: tuple[tuple[str, str], ...]

    def shape(self) -> tuple:
        """What the values of parts do not touch; networks of one shape may share a frame."""
        return (tuple((e.name, e.nodes) for e in self.elements), self.sources, self.nodes, self.omega.tobytes(),
                tuple((name, *table.items()) for name, table in self.pins.items()), self.conducting)

    def changed_from(self, other: _Request) -> frozenset[str]:
        """Names of the elements that differ from those of another request of the same shape."""
        return frozenset(mine.name for mine, its in zip(self.elements, other.elements)
                         if mine.part is not its.part and mine.part != its.part)


class _Family:
    """Requests of one shape, one after the other: which elements change among them, and the frame of the others."""

    def __init__(self, first: _Request) -> None:
        self._last = first
        self._moving: frozenset[str] = frozenset()
        self._frame: Frame | None = None
        self._in_vain: frozenset[str] | None = None  # what was moving when a frame gave no network

    def frame_for(self, request: _Request) -> Frame | None:
        """A frame, if no other elements have changed than before: one that changes once may stay from then on."""
        changed, self._last = request.changed_from(self._last), request
        if self._frame is not None and changed <= self._frame.loose:
            return self._frame
        self._frame = None
        if changed and changed <= self._moving and self._moving != self._in_vain:
            try:
                self._frame = Frame(*request, self._moving)
            except Refusal:  # for the network to say, in its own words
                self._in_vain = self._moving
        else:
            together = self._moving | changed
            if together == self._in_vain or not _worth_a_frame(together, request):
                together = changed
            self._moving = together if _worth_a_frame(together, request) else frozenset()
        return self._frame

    def give_up(self, frame: Frame) -> None:
        """Make no other frame for these elements."""
        if frame is self._frame:
            self._frame, self._in_vain = None, self._moving


def _worth_a_frame(moving: frozenset[str], request: _Request) -> bool:
    """A frame is built from the elements that do not move; where it holds few of them little is left to gain."""
    return 3 * len(moving) <= len(request.elements)


class Networks:
    """Networks, kept, and built on a frame of the parts that do not change where that pays.

    One that differs in nothing from a request before is taken as it stands. If the same few elements change again that
    changed before, all others are condensed once, onto a `Frame`, and from then on only what moves is put into it.
    Else the network is built from all parts. What it says does not depend on the way.

    May be shared by threads. A copy sent to another process begins anew.

    Parameters
    ----------
    most : int
        Networks kept.
    frames : bool
        Whether frames may be used. What is built on one differs in rounding from what is built without: with frames,
        the last digits of a network depend on the requests before it.
    behind : Networks or None
        Asked for the networks that are built without a frame.
    """

    def __init__(self, most: int = _MOST_KEPT, frames: bool = True, behind: Networks | None = None) -> None:
        self._most, self._frames, self._behind = most, frames, behind
        self._kept: list[tuple[tuple, _Request, Network]] = []
        self._families: dict[tuple, _Family] = {}
        self._lock = Lock()

    def __reduce__(self) -> tuple:
        return Networks, (self._most, self._frames, self._behind)

    def get(self, elements: list[Element], sources: list[str], nodes: list[str], omega: np.ndarray,
            pins: dict[str, dict[str, str]], conducting: list[tuple[str, str]]) -> Network:
        """The network of these elements; built when it is not kept."""
        request = _Request(tuple(elements), tuple(sources), tuple(nodes), omega, pins, tuple(conducting))
        shape = request.shape()
        with self._lock:
            for number, (other_shape, other, network) in enumerate(self._kept):
                if shape == other_shape and not request.changed_from(other):
                    self._kept.append(self._kept.pop(number))
                    return network
            family = self._families.pop(shape, None) if self._frames else None
            frame = family.frame_for(request) if family is not None else None
            self._families[shape] = family or _Family(request)
            if len(self._families) > _MOST_FAMILIES:
                del self._families[next(iter(self._families))]
        network = frame.network(request.elements) if frame is not None else None
        with self._lock:
            if frame is not None and network is None:
                family.give_up(frame)
        if network is None and self._behind is not None:
            network = self._behind.get(elements, sources, nodes, omega, pins, conducting)
        network = network or Network(*request)
        with self._lock:
            self._kept.append((shape, request, network))
            del self._kept[:-self._most]
        return network


_OF_THIS_PROCESS = Networks()


def prepare(description: Description, harmonics: int, samples: int | None = None,
            networks: Networks = _OF_THIS_PROCESS) -> System:
    """Assemble and condense the network at every harmonic, or take it from `networks`, which keeps the last ones.

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
        network = networks.get(elements, sources, device_nodes(mounted), harmonic_omegas(description, harmonics),
                               {m.name: m.pins for m in mounted},
                               [ends for m in mounted for ends in m.conducting()])
    except Refusal as refusal:
        raise refusal.located(file=description.file) from None
    return System(network, mounted, samples)


def generator_voltages(description: Description, power_dbm: float) -> np.ndarray:
    """Source voltages behind the drive port's resistance R at harmonics 0 to 2, peak phasors, (DRIVEN,). [V]

    sqrt(8 R P) at f0 for an available power P, with phase 0; the generator's own second harmonic moves with it.
    """
    drive = description.drive
    found = np.zeros(DRIVEN, complex)
    found[1] = math.sqrt(8 * description.ports[drive.port].impedance * watts(power_dbm))
    if drive.second_harmonic is not None:
        turned = math.radians(drive.second_harmonic_phase or 0.0)
        found[2] = found[1] * cmath.rect(10 ** (drive.second_harmonic / 20), turned)
    return found


class Systems:
    """Systems of one circuit, kept while nothing but the voltages of its sources changes: one for each number of
    harmonics. Not for two threads at once: a system has room for one computation at a time."""

    def __init__(self) -> None:
        self._of: Description | None = None
        self._kept: dict[tuple[int, int | None], System] = {}

    def get(self, description: Description, harmonics: int, samples: int | None = None) -> System:
        """As `prepare`."""
        if self._of is None or not _same_but_sources(self._of, description):
            self._kept.clear()
        self._of = description
        if (harmonics, samples) not in self._kept:
            self._kept[harmonics, samples] = prepare(description, harmonics, samples)
        return self._kept[harmonics, samples]


def _same_but_sources(one: Description, other: Description) -> bool:
    def fixed(description: Description) -> tuple:
        return (description.drive.frequency, description.wanted_harmonic,
                [(name, supply.node, supply.resistance) for name, supply in description.supplies.items()])
    return all(getattr(one, what) is getattr(other, what) for what in ("parts", "devices", "ports", "junctions")) \
        and fixed(one) == fixed(other)


def source_voltages(description: Description, system: System) -> np.ndarray:
    """Source voltages of every port and supply, (K + 1, n_source), peak phasors; that of the drive has phase 0. [V]"""
    names = system.network.sources
    voltages = np.zeros((system.harmonics + 1, len(names)), complex)
    drive = description.drive
    voltages[:DRIVEN, names.index(f"port.{drive.port}")] = generator_voltages(description, drive.power_dbm)
    for name, supply in description.supplies.items():
        voltages[0, names.index(f"supply.{name}")] = supply.voltage
    return voltages
