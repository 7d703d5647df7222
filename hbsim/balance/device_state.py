"""What a solved state says of each device: at its pins, inside it, and against its ratings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from ..devices.contract import Device, Rating
from ..linear.network import GROUND, Network
from .prepare import elements_of
from .spectrum import mean_power, waveform
from .system import Mounted

if TYPE_CHECKING:
    from .solution import SteadyState

_SAMPLES = 512
CONDUCTING = 0.05  # share of its peak above which a current counts as flowing


@dataclass(frozen=True, eq=False)
class DeviceState:
    """One device in the steady state.

    Attributes
    ----------
    pin_voltage : dict
        Pin -> phasors against ground, (K + 1,). [V]
    pin_current : dict
        Pin -> phasors of the current into the pin, package included, (K + 1,). [A]
    common, main_pin : str
        The pin that the others are referred to (the emitter, the cathode), and the one whose voltage and current are
        drawn (the collector, the anode).
    dissipation : float
        Heat in the device, its fixed resistances and package included. [W]
    temperature : float
        Of the junctions. [K]
    conduction_angle_deg : float
        Part of the period in which the conduction current is above 5 % of its peak. [deg]
    conduction : ndarray, (512,)
        The conduction current over one period: of a transistor, collector to emitter without capacitive parts. [A]
    ratings : list of Rating
    """

    name: str
    pin_voltage: dict[str, np.ndarray]
    pin_current: dict[str, np.ndarray]
    common: str
    main_pin: str
    dissipation: float
    temperature: float
    conduction_angle_deg: float
    conduction: np.ndarray = field(repr=False)
    ratings: list[Rating]
    _all_impedances: Callable[[], dict[tuple[str, str], np.ndarray]] = field(repr=False)

    @property
    def circuit_impedance(self) -> dict[str, np.ndarray]:
        """Pin -> impedance, (K + 1,), that the linear circuit shows between this pin and the common pin with every
        device taken out and all sources off; not a number where it is undetermined. [ohm]

        Another network is condensed for it, once a state and only when asked."""
        return {pin: shown for (name, pin), shown in self._all_impedances().items() if name == self.name}

    def voltage_waveform(self, pin: str, samples: int = _SAMPLES) -> np.ndarray:
        """Voltage of a pin against the common pin over one period, (samples,). [V]"""
        return waveform(self.pin_voltage[pin] - self.pin_voltage[self.common], samples)

    def current_waveform(self, pin: str, samples: int = _SAMPLES) -> np.ndarray:
        """Current into a pin over one period, (samples,). [A]"""
        return waveform(self.pin_current[pin], samples)


def device_states(state: "SteadyState") -> dict[str, DeviceState]:
    """DeviceState of every device of a solved state."""
    shown = cache(lambda: _circuit_impedances(state))
    starts = state.system.devices.branch_start
    return {m.name: _device_state(state, m, slice(starts[d], starts[d + 1]), shown)
            for d, m in enumerate(state.system.mounted)}


def _device_state(state: "SteadyState", mounted: Mounted, span: slice,
                  shown: Callable[[], dict]) -> DeviceState:
    device = mounted.device
    pins, flows = _at_pins(state, mounted, span)
    heat = _heat(pins, flows)
    branch_voltage = waveform(state._branches[0][:, span].T, _SAMPLES)
    conduction = _conduction(device, branch_voltage, state.description.drive.frequency)
    share = float(np.mean(conduction > CONDUCTING * conduction.max())) if conduction.max() > 0 else 0.0
    ratings = device.ratings(branch_voltage, {p: waveform(v, _SAMPLES) for p, v in pins.items()},
                             {p: waveform(i, _SAMPLES) for p, i in flows.items()}, heat)
    return DeviceState(mounted.name, pins, flows, device.common, device.main_pin, heat, device.temperature,
                       360.0 * share, conduction, ratings, shown)


def device_heat(state: "SteadyState") -> dict[str, float]:
    """Heat in each device, its own linear parts included. [W]"""
    starts = state.system.devices.branch_start
    heat = {}
    for d, mounted in enumerate(state.system.mounted):
        pins, flows = _at_pins(state, mounted, slice(starts[d], starts[d + 1]))
        heat[mounted.name] = _heat(pins, flows)
    return heat


def _at_pins(state: "SteadyState", mounted: Mounted, span: slice) -> tuple[dict, dict]:
    """Voltage phasors of the pins, and current phasors into them: from branches and linear parts at each pin."""
    device, currents = mounted.device, state._branches[1][:, span]
    pins = {pin: state.voltage(node) for pin, node in mounted.pins.items()}
    flows = {pin: np.zeros(state.system.harmonics + 1, complex) for pin in pins}
    for m, (start, end) in enumerate(device.branches()):
        for local, sign in ((start, 1.0), (end, -1.0)):
            if local in flows and start != end:
                flows[local] += sign * currents[:, m]
    for inner, element in zip(device.inside(), mounted.elements()):
        into = state.current(element.name)
        for terminal, local in enumerate(inner.nodes):
            if local in flows:
                flows[local] += into[:, terminal]
    return pins, flows


def _heat(pins: dict[str, np.ndarray], flows: dict[str, np.ndarray]) -> float:
    """What flows in at the pins of a device and does not come out again. [W]"""
    voltage, current = (np.stack(list(table.values()), axis=1) for table in (pins, flows))
    return float(mean_power(voltage, current).sum())


def _conduction(device: Device, branch_voltage: np.ndarray, frequency: float) -> np.ndarray:
    """The device's conduction current, from its law at the branch voltages over one period, (n_branch, n_time). [A]"""
    i, _, t, *_ = device.law(branch_voltage)
    late = int(round(device.delay * frequency * branch_voltage.shape[1]))
    return device.conduction_current(i + np.roll(t, late, axis=1))


def _circuit_impedances(state: "SteadyState") -> dict[tuple[str, str], np.ndarray]:
    """(device, pin) -> impedance between the pin and the device's common pin, all devices taken out."""
    system, description = state.system, state.description
    elements, sources = elements_of(description, [])
    nodes = [node for m in system.mounted for node in m.pins.values() if node != GROUND]
    bare = Network(elements, sources, list(dict.fromkeys(nodes)), system.network.omega)
    return {(m.name, pin): bare.impedance(node, m.pins[m.device.common])
            for m in system.mounted for pin, node in m.pins.items() if pin != m.device.common and node != GROUND}
