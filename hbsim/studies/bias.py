"""A single device on ideal DC sources, solved bias by bias."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..balance.continuation import Effort, operating_point
from ..balance.equations import currents, node_currents
from ..balance.system import Mounted, System, device_nodes
from ..devices.contract import Device
from ..errors import NotSolved
from ..linear.network import GROUND, Element, Network
from ..linear.sources import Termination

# A voltage behind this resistance is nearly a current source; what the pin's own voltage takes away from the current
# is added again. [ohm]
CURRENT_SOURCE = 1e12
_AGAIN = 2  # solutions more for that: 10 pA come out to some 1e-5


class Biased(NamedTuple):
    """One solved bias.

    nodes : ndarray, (n_device_node,). [V]
    volts, amps : ndarray, (n_source,), of each source: its pin's voltage, and the current out of it. [V], [A]
    """

    nodes: np.ndarray
    volts: np.ndarray
    amps: np.ndarray

    @property
    def heat(self) -> float:
        """What the sources put into the device, all of which becomes heat. [W]"""
        return float(self.volts @ self.amps)


class Bias:
    """A device with a DC source at some of its pins, all others grounded.

    Parameters
    ----------
    device : Device
    sources : dict
        Pin -> resistance in series with its source: 0, or `CURRENT_SOURCE` for a current. [ohm]

    Raises
    ------
    Refusal
        The device's linear parts leave a voltage undetermined.
    """

    def __init__(self, device: Device, sources: dict[str, float]) -> None:
        self.device, self._pins = device, list(sources)
        self._of_amps = np.array(list(sources.values())) == CURRENT_SOURCE
        mounted = Mounted("device", device, {pin: pin if pin in sources else GROUND for pin in device.terminals})
        elements = [Element(f"source.{pin}", Termination(resistance), (pin,)) for pin, resistance in sources.items()]
        names = [element.name for element in elements]
        self.system = System(Network(elements + mounted.elements(), names, device_nodes([mounted]), np.zeros(1)),
                             [mounted])

    def sweep(self, values: np.ndarray, most: float = np.inf) -> tuple[np.ndarray, np.ndarray]:
        """Solve a row of biases, each from the one before it.

        Parameters
        ----------
        values : ndarray, (n_point, n_source)
            Voltage of each source, or its current where it is a current source. [V], [A]
        most : float
            The row ends before the current of any source passes this size. [A]

        Returns
        -------
        nodes : ndarray, (n_found, n_device_node)
            Voltages of the device nodes. [V]
        currents : ndarray, (n_found, n_source)
            Out of each source, into the device. [A]

        n_found is n_point or, with `most`, less. A bias that cannot be solved is a row of not-a-number.
        """
        network = self.system.network
        nodes = np.full((len(values), len(network.device_nodes)), np.nan)
        flows = np.full((len(values), len(network.sources)), np.nan)
        start, parameters = None, self.system.parameters()
        for point, row in enumerate(values):
            found = self.solve(row, start, parameters)
            start = None if found is None else found.nodes
            if found is None:
                continue
            nodes[point], flows[point] = found.nodes, found.amps
            if np.abs(flows[point]).max() > most:
                return nodes[:point], flows[:point]
        return nodes, flows

    def solve(self, row: np.ndarray, start: np.ndarray | None, parameters: np.ndarray) -> Biased | None:
        """One bias, None if it cannot be solved.

        Parameters
        ----------
        row : ndarray, (n_source,)
            As in `sweep`.
        start : ndarray, (n_device_node,), or None
            Where to begin. [V]
        parameters : ndarray
            Packed ones of the device, at whatever temperature; `device.packed()`.
        """
        x = None if start is None else start[:, None]
        found, own = None, np.zeros(len(row))
        for _ in range(1 + _AGAIN * bool(self._of_amps.any())):
            source = np.where(self._of_amps, row * CURRENT_SOURCE + own, row)[None].astype(complex)
            x = self._solved(self.system.excitation(source), x, parameters)
            if x is None:
                return None
            found = self._at_pins(x, source, parameters)
            own = found.volts
        return found

    def _solved(self, c: np.ndarray, start: np.ndarray | None, parameters: np.ndarray) -> np.ndarray | None:
        """Device-node voltages (n, 1) that balance, or None. [V]"""
        system, effort = self.system, Effort()
        if start is not None:
            x = start.copy()
            if effort.newton(system, x, c, parameters, most_steps=25):
                return x
        try:
            return operating_point(system, c, parameters, effort)[:, None]
        except NotSolved:
            return None

    def _at_pins(self, x: np.ndarray, source: np.ndarray, parameters: np.ndarray) -> Biased:
        system, network = self.system, self.system.network
        currents(x, parameters, system.net, system.devices, system.transform, system.work)
        into_devices = np.zeros(x.shape)
        node_currents(system.devices, system.work.total, into_devices)
        found = network.unknowns(x.T.astype(complex), into_devices.T.astype(complex), source)
        amps = np.array([-network.terminal_currents(found, name)[0, 0].real for name in network.sources])
        volts = np.array([network.node_voltage(found, pin)[0].real for pin in self._pins])
        return Biased(x[:, 0].copy(), volts, amps)
