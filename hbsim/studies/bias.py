"""A single device on ideal DC sources, solved bias by bias."""

from __future__ import annotations

import numpy as np

from ..balance.continuation import Effort, operating_point
from ..balance.equations import currents, node_currents
from ..balance.system import Mounted, System, device_nodes
from ..devices.contract import Device
from ..errors import NotSolved
from ..linear.network import GROUND, Element, Network
from ..linear.sources import Termination

# A voltage behind this resistance is a current source to within 1 V / 1 Tohm = 1 pA. [ohm]
CURRENT_SOURCE = 1e12


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
        self._resistances = np.array(list(sources.values()))
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
        x = None
        for point, row in enumerate(values):
            source = np.where(self._resistances == CURRENT_SOURCE, row * CURRENT_SOURCE, row)[None].astype(complex)
            x = self._solved(self.system.excitation(source), x)
            if x is None:
                continue
            nodes[point], flows[point] = x[:, 0], self._currents(x, source)
            if np.abs(flows[point]).max() > most:
                return nodes[:point], flows[:point]
        return nodes, flows

    def _solved(self, c: np.ndarray, start: np.ndarray | None) -> np.ndarray | None:
        """Device-node voltages (n, 1) that balance, or None. [V]"""
        system, effort, parameters = self.system, Effort(), self.system.parameters()
        if start is not None:
            x = start.copy()
            if effort.newton(system, x, c, parameters, most_steps=25):
                return x
        try:
            return operating_point(system, c, parameters, effort)[:, None]
        except NotSolved:
            return None

    def _currents(self, x: np.ndarray, source: np.ndarray) -> np.ndarray:
        """Current out of each source, (n_source,). [A]"""
        system, network = self.system, self.system.network
        currents(x, system.parameters(), system.net, system.devices, system.transform, system.work)
        into_devices = np.zeros(x.shape)
        node_currents(system.devices, system.work.total, into_devices)
        found = network.unknowns(x.T.astype(complex), into_devices.T.astype(complex), source)
        return np.array([-network.terminal_currents(found, name)[0, 0].real for name in network.sources])
