"""Exact slopes of S-parameters: what each of them does when each quantity of the circuit moves a little.

With A V + B I = 0 of the network seen from its ports, and what the moved law of a part is off by at the voltages and
currents of one wave, r (linear/sensitivity.py),

    A dV + B dI = -W r,    dS = -Y^T W r,    (A + B G)^T Y = E R^-1/2

with G of the references hung on (linear/response.py). One factorisation a frequency serves all quantities; for each,
the laws of the parts that it moves are differenced, and nothing is solved again. These differences are of fourth order
at steps of 2^-13 of the value: wrong by some 1e-9 of the slope, how far in each case: balance/influence.py.

A resistance that is also the reference of a port moves the waves themselves, a' = a - d b and b' = b - d a with
d = dR / (2 R) (from the waves of K. Kurokawa, IEEE Trans. MTT-13 (1965) 194-202), so that S moves by S d S - d.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..balance.differences import Circuit, differenced, moved_laws
from ..describe.description import Description
from ..errors import Refusal
from ..linear.islands import GROUND
from ..linear.network import Network
from ..linear.response import PortLoad, at_once, incidence
from ..linear.sensitivity import Offset, Transfer
from .network_response import LinearCircuit, checked_frequencies, linear_circuit


def scattering_slopes(description: Description, addresses: Sequence[str], frequency: Sequence[float],
                      ports: Sequence[str] | None = None, *, reference: float | Sequence[float] | None = None,
                      parts: Sequence[str] | None = None) -> tuple[np.ndarray, np.ndarray]:
    """S-parameters of the linear circuit, and their slopes against quantities of its parts and its board.

    Parameters
    ----------
    description : Description
    addresses : sequence of str
        Such as "board.permittivity" or "filter_1.gap". What moves nothing here, such as the drive, has slopes of zero.
    frequency : sequence of float, (n_frequency,)
        Rising. [Hz]
    ports, reference, parts : as for `network_response`; devices are taken out.

    Returns
    -------
    s : ndarray, complex, (n_frequency, n_port, n_port)
        From port j to port i at [:, i, j]. [1]
    slopes : ndarray, complex, (n_address, n_frequency, n_port, n_port)
        Per unit of each quantity (SI; deg for an angle, K for a temperature).

    Raises
    ------
    Refusal
        As `network_response`; a quantity that is unknown, not given, or without a slope at its value.
    """
    def at(moved: Description) -> LinearCircuit:
        return linear_circuit(moved, ports, reference=reference, parts=parts)

    omega = 2.0 * np.pi * checked_frequencies(frequency)
    try:
        circuit = at(description)
        nodes = list(dict.fromkeys(node for port in circuit.ports for node in (port.plus, port.minus)
                                   if node != GROUND))
        shape = (len(omega), len(circuit.ports), len(circuit.ports))
        s, slopes = np.zeros(shape, complex), np.zeros((len(addresses), *shape), complex)
        step = max(1, at_once(circuit.elements, nodes) // 2)  # the whole equations are kept beside those of the ports
        for first in range(0, len(omega), step):
            rows = slice(first, first + step)
            waves = _Waves(circuit, nodes, omega[rows])
            s[rows] = waves.s
            for number, address in enumerate(addresses):
                slopes[number, rows] = differenced(
                    description, address, float(omega[-1]),
                    lambda _, points: waves.slope([(weight, at(moved)) for weight, moved in points]))
        return s, slopes
    except Refusal as refusal:
        raise refusal.located(file=description.file) from None


class _Waves:
    """A linear circuit at some frequencies, solved for a wave into each port."""

    def __init__(self, circuit: LinearCircuit, nodes: Sequence[str], omega: np.ndarray) -> None:
        self._circuit, self._network = circuit, Network(circuit.elements, [], nodes, omega)
        self._reference = np.array([port.reference for port in circuit.ports])
        network, ends = self._network, incidence(nodes, [(port.plus, port.minus) for port in circuit.ports])
        self._load = PortLoad(network.a, network.b, ends, self._reference, omega=omega)
        self.s = self._load.s
        self._transfer = Transfer(network, network.ties)
        sources = np.zeros((len(omega), 0))
        self._unknowns = [network.unknowns(self._load.voltage[:, :, port], self._load.current[:, :, port], sources)
                          for port in range(len(circuit.ports))]

    def slope(self, points: Sequence[tuple[float, LinearCircuit]]) -> np.ndarray:
        """Of S, (n_frequency, n_port, n_port), along the points of a difference."""
        network, transfer = self._network, self._transfer
        circuits = [Circuit(weight, {element.name: element for element in moved.elements}, network.omega)
                    for weight, moved in points]
        turned = sum(weight * (np.array([port.reference for port in moved.ports]) - self._reference)
                     for weight, moved in points) / (2.0 * self._reference)
        found = self.s @ (turned[:, None] * self.s) - np.diag(turned)
        if all(circuit.elements == network.elements for circuit in circuits):
            return found
        off = np.zeros((len(network.omega), transfer.size, len(self._unknowns)), complex)
        offsets: list[list[Offset]] = [[] for _ in self._unknowns]
        for element, law in moved_laws(circuits, network.elements, network.relations, network.omega,
                                       transfer.nodes.keys()):
            for port, unknowns in enumerate(self._unknowns):
                offset = transfer.offset(element, law, unknowns)
                offsets[port].append(offset)
                for terminal, row in enumerate(offset.rows):
                    if row >= 0:
                        off[:, row, port] += offset.off[:, terminal]
        for wave in offsets:
            transfer.check(wave)
        return found + self._load.slope(transfer.condensed @ off)
