"""Small signals: a circuit with every device replaced by its slopes at a DC point.

At the angular frequency omega each device becomes, between its branches, the admittance

    di/dv + j omega dq/dv + exp(-j omega tau) dt/dv

with the slopes of its own law at the DC voltages: the balance's Jacobian at one frequency and without drive. Nothing
here knows what the devices are.

The transition frequency is where the short-circuit current gain h21 would fall to 1 if it went on falling by
20 dB a decade, as it does well above its corner (the usual definition; e.g. S. M. Sze and K. K. Ng, Physics of
Semiconductor Devices, 3rd ed., Wiley, 2007, ch. 5, from memory). Where one pole rules, 1/h21 = 1/h0 + j f/f_T, so it
is read at one frequency from the imaginary part of 1/h21 (derived here); the corner itself then does no harm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..balance.system import Mounted, System
from ..devices.contract import Device
from ..linear.network import Network

LEAST_GAIN = 4.0  # of h0: below it no stretch of h21 falls by 20 dB a decade, and there is no f_T to read


def slopes(device: Device, voltage: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Slopes of a device's law.

    Parameters
    ----------
    voltage : ndarray, (n_branch, n_point)
        Branch voltages; the points are independent. [V]

    Returns
    -------
    di, dq, dt : ndarray, (n_branch, n_branch, n_point)
        Of current, charge and delayed current; row = what changes, column = voltage. [S], [F], [S]
    """
    return device.law(voltage)[3:]


def device_admittance(mounted: Sequence[Mounted], nodes: Sequence[str], bias: np.ndarray,
                      omega: np.ndarray) -> np.ndarray:
    """Admittance of devices between nodes, complex, (n_frequency, n_node, n_node). [S]

    Parameters
    ----------
    mounted : sequence of Mounted
    nodes : sequence of str
        Every end of a branch of theirs but ground is among them.
    bias : ndarray, (n_node,)
        DC voltages of the nodes. [V]
    omega : ndarray, (n_frequency,)
        Angular frequencies. [rad/s]
    """
    number = {node: i for i, node in enumerate(nodes)}
    total = np.zeros((len(omega), len(nodes), len(nodes)), complex)
    rate = 1j * omega[:, None, None]
    for item in mounted:
        ends = _incidence(item, number)
        di, dq, dt = (slope[:, :, 0] for slope in slopes(item.device, (ends @ bias)[:, None]))
        total += ends.T @ (di + rate * dq + np.exp(-rate * item.device.delay) * dt) @ ends
    return total


def _incidence(item: Mounted, number: dict[str, int]) -> np.ndarray:
    """(n_branch, n_node): branch voltages from node voltages."""
    ends = np.zeros((len(item.branches()), len(number)))
    for row, (start, end) in enumerate(item.branches()):
        if start in number:
            ends[row, number[start]] += 1.0
        if end in number:
            ends[row, number[end]] -= 1.0
    return ends


class SmallSignal:
    """A circuit linearised at a row of frequencies, around any of its DC points.

    Parameters
    ----------
    system : System
        Its linear elements, sources and devices are used; its harmonics are not.
    omega : ndarray, (n_frequency,)
        Angular frequencies. [rad/s]

    Raises
    ------
    Refusal
        The linear network leaves a voltage undetermined at one of the frequencies.
    """

    def __init__(self, system: System, omega: np.ndarray) -> None:
        circuit = system.network
        self.mounted = system.mounted
        self.network = Network(list(circuit.elements.values()), circuit.sources, circuit.device_nodes, omega)

    def admittance(self, bias: np.ndarray) -> np.ndarray:
        """Of all devices between the device nodes, complex, (n_frequency, n_device_node, n_device_node). [S]

        bias: DC voltages of the device nodes, (n_device_node,). [V]
        """
        return device_admittance(self.mounted, self.network.device_nodes, bias, self.network.omega)

    def source_admittance(self, bias: np.ndarray) -> np.ndarray:
        """What the circuit shows to its sources, complex, (n_frequency, n_source, n_source). [S]

        Entry [i, j]: current that flows out of source i into the circuit for 1 V in source j, the others at 0 V; each
        source lies behind its own resistance, so with ideal ones this is the admittance matrix of their nodes.

        bias: DC voltages of the device nodes, (n_device_node,). [V]
        """
        network, devices = self.network, self.admittance(bias)
        voltage = np.linalg.solve(network.a + network.b @ devices, network.c)
        current = devices @ voltage
        result = np.empty((len(network.omega), len(network.sources), len(network.sources)), complex)
        for j in range(len(network.sources)):
            source = np.zeros((len(network.omega), len(network.sources)))
            source[:, j] = 1.0
            found = network.unknowns(voltage[:, :, j], current[:, :, j], source)
            for i, name in enumerate(network.sources):
                result[:, i, j] = -network.terminal_currents(found, name)[:, 0]
        return result


def transition_frequency(frequency: np.ndarray, current_gain: np.ndarray) -> float:
    """Transition frequency from h21 over frequency. [Hz]

    Parameters
    ----------
    frequency : ndarray, (n_frequency,)
        Rising; the first is 0. [Hz]
    current_gain : ndarray, complex, (n_frequency,)
        Short-circuit current gain h21. [1]

    Returns
    -------
    float
        f / |Im(1/h21)| at the frequency where |h21| is nearest, in dB, half way between h0 and 1; not a number when
        h0 is below 4 or the frequencies do not reach that far.
    """
    size = np.abs(current_gain)
    if not size[0] > LEAST_GAIN or size.min() > math.sqrt(size[0]):
        return math.nan
    at = int(np.argmin(np.abs(np.log(size[1:] / math.sqrt(size[0]))))) + 1
    return float(frequency[at] / abs((1.0 / current_gain[at]).imag))
