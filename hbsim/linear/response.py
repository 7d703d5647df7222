"""What a linear network shows at its ports: S-parameters over frequency.

Every port p ends in its reference resistance R_p, behind which a source may act. With A V + B I = 0 of a network seen
from the kept nodes (network.py; I flows out of it), E the incidence of nodes and ports, v = E^T V the port voltages,
Y the admittance of whatever else hangs on the kept nodes (devices for small signals), and the power waves of K.
Kurokawa, IEEE Trans. MTT-13 (1965) 194-202,

    (A + B (E R^-1 E^T + Y)) V = 2 B E R^-1/2 a,    b = R^-1/2 E^T V - a

which needs neither an admittance nor an impedance of the network to exist.

A piece that touches no ground and is held by ports between two of its own nodes has no common voltage. The matrix is
then singular, but its null vectors move no port voltage, and the shortest solution gives the S-parameters exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

import numpy as np

from ..errors import Refusal
from ..quantities import show
from .islands import GROUND
from .network import Element, Network, node_names

_ROOM = 64e6  # of the matrices of one piece of the frequencies. [byte]
_COPIES = 5  # of the assembled matrix that exist at one time while it is eliminated
_SMALLEST = 1e12  # norm of the inverse, beside terms of size 1, from which a matrix counts as singular
_NONE = 1e-9  # relative: what must vanish, and does so but for rounding


class Loads(NamedTuple):
    """What hangs on a network besides its parts: devices for small signals.

    nodes : the nodes they touch.
    admittance : from angular frequencies (n_frequency,) [rad/s] to the admittance between `nodes`,
        (n_frequency, n_node, n_node) [S].
    """

    nodes: tuple[str, ...]
    admittance: Callable[[np.ndarray], np.ndarray]


def scattering(elements: Sequence[Element], ports: Sequence[tuple[str, str]], reference: np.ndarray,
               omega: np.ndarray, loads: Loads | None = None) -> np.ndarray:
    """S-parameters of a network of linear parts.

    Parts that hang together with none of the ports are left out: no current can reach them.

    Parameters
    ----------
    elements : sequence of Element
        Without sources.
    ports : sequence of (node, node)
        Plus and minus node of each port; the minus node may be "ground".
    reference : ndarray, (n_port,). [ohm]
    omega : ndarray, (n_frequency,)
        Angular frequencies, rising. [rad/s]
    loads : Loads or None

    Returns
    -------
    ndarray, complex, (n_frequency, n_port, n_port): from port j to port i at [:, i, j]. [1]

    Raises
    ------
    Refusal
        The network leaves a voltage or current undetermined.
    """
    loaded = loads.nodes if loads is not None else ()
    nodes = list(dict.fromkeys([*loaded, *(node for port in ports for node in port if node != GROUND)]))
    elements = joined_to(elements, nodes)
    ends = incidence(nodes, ports)
    found = np.zeros((len(omega), len(ports), len(ports)), complex)
    step = at_once(elements, nodes)
    for first in range(0, len(omega), step):
        piece = slice(first, first + step)
        network = Network(elements, [], nodes, omega[piece])
        admittance = np.zeros((len(omega[piece]), len(nodes), len(nodes)), complex)
        if loads is not None:
            admittance[:, :len(loaded), :len(loaded)] = loads.admittance(omega[piece])
        found[piece] = between_ports(network.a, network.b, ends, reference, admittance, omega[piece])
    return found


def joined_to(elements: Iterable[Element], nodes: Iterable[str]) -> list[Element]:
    """The elements that hang together with any of the nodes, ground apart, in their order."""
    left, reached, taken = list(elements), set(nodes) - {GROUND}, set()
    grew = True
    while grew:
        grew = False
        for number, element in enumerate(left):
            if number not in taken and reached.intersection(element.nodes):
                taken.add(number)
                reached.update(set(element.nodes) - {GROUND})
                grew = True
    return [element for number, element in enumerate(left) if number in taken]


def incidence(nodes: Sequence[str], ports: Sequence[tuple[str, str]]) -> np.ndarray:
    """+1 at the plus node of each port, -1 at its minus node, (n_node, n_port)."""
    found = np.zeros((len(nodes), len(ports)))
    for column, (plus, minus) in enumerate(ports):
        for node, sign in ((plus, 1.0), (minus, -1.0)):
            if node != GROUND:
                found[nodes.index(node), column] += sign
    return found


def between_ports(a: np.ndarray, b: np.ndarray, ends: np.ndarray, reference: np.ndarray,
                  admittance: np.ndarray | float = 0.0, omega: np.ndarray | None = None) -> np.ndarray:
    """S-parameters from A V + B I = 0, the incidence of the ports and what else hangs on the nodes; see above.

    Parameters
    ----------
    a, b : ndarray, complex, (n_frequency, n_node, n_node)
    ends : ndarray, (n_node, n_port)
    reference : ndarray, (n_port,). [ohm]
    admittance : ndarray, complex, (n_frequency, n_node, n_node), or 0. [S]
    omega : ndarray, (n_frequency,), or None
        To name a frequency in a refusal. [rad/s]

    Returns
    -------
    ndarray, complex, (n_frequency, n_port, n_port). [1]

    Raises
    ------
    Refusal
        A port voltage is not determined: an active network at the edge of oscillation.
    """
    return PortLoad(a, b, ends, reference, admittance, omega).s


class PortLoad:
    """A network with its references hung on, and the kept nodes as one wave after another enters it.

    Parameters and refusals as for `between_ports`.

    Attributes
    ----------
    voltage, current : ndarray, complex, (n_frequency, n_node, n_port)
        Of the kept nodes, for a wave of 1 into each port alone; the current flows out of the network. [V], [A]
    s : ndarray, complex, (n_frequency, n_port, n_port). [1]
    """

    def __init__(self, a: np.ndarray, b: np.ndarray, ends: np.ndarray, reference: np.ndarray,
                 admittance: np.ndarray | float = 0.0, omega: np.ndarray | None = None) -> None:
        self._ends, self._root, self._omega = ends, np.sqrt(reference), omega
        hung = (ends / reference) @ ends.T + admittance
        matrix, given = a + b @ hung, 2.0 * ends / self._root
        # the size of the terms before they cancel: a row that does so but for rounding must not look like another
        largest = (np.abs(a) + np.abs(b) @ np.abs(hung)).max(axis=2, initial=0.0)
        self._scale = np.where(largest > 0.0, largest, 1.0)[:, :, None]
        self._matrix = matrix / self._scale
        with np.errstate(divide="ignore", invalid="ignore"):
            inverse = np.linalg.cond(self._matrix, "fro") / np.linalg.norm(self._matrix, axis=(1, 2))  # the norm of it
        self._singular = ~(inverse < _SMALLEST)
        self.voltage = self._solved(self._matrix, b @ given / self._scale, ends)
        self.current = hung @ self.voltage - given
        self.s = (ends.T @ self.voltage) / self._root[:, None] - np.eye(len(reference))

    def slope(self, equations: np.ndarray) -> np.ndarray:
        """How S moves, (n_frequency, n_port, n_port), where what the equations A V + B I = 0 hold moves so: `equations`
        (n_frequency, n_node, n_port), at the voltages and currents of the wave into each port."""
        right = np.broadcast_to(self._ends / self._root, (len(self._matrix), *self._ends.shape))
        # what else solves the transposed equations weighs only what is no answer to any wave
        left = self._solved(self._matrix.transpose(0, 2, 1), right, np.zeros_like(self._ends))
        return -left.transpose(0, 2, 1) @ (equations / self._scale)

    def _solved(self, matrix: np.ndarray, right: np.ndarray, ends: np.ndarray) -> np.ndarray:
        found, singular = np.zeros(right.shape, complex), self._singular
        found[~singular] = np.linalg.solve(matrix[~singular], right[~singular])
        for k in np.flatnonzero(singular):
            shortest = _shortest(matrix[k], right[k], ends)
            if shortest is None:
                at = "" if self._omega is None else f" at {show(float(self._omega[k]) / (2 * np.pi), 'Hz', 6)}"
                raise Refusal(f"the voltages of the ports are not determined{at}: the circuit is at the edge of "
                              "oscillation there; change a port's reference or add a loss")
            found[k] = shortest
        return found


def _shortest(matrix: np.ndarray, right: np.ndarray, ends: np.ndarray) -> np.ndarray | None:
    """The shortest solution; None where there is none, or where others have other port voltages."""
    u, s, vh = np.linalg.svd(matrix)
    rank = int(np.sum(s > 1.0 / _SMALLEST))
    left_over = np.abs(u[:, rank:].conj().T @ right).max(initial=0.0)
    loose = np.abs(vh[rank:] @ ends).max(initial=0.0)
    if left_over > _NONE * np.abs(right).max(initial=0.0) or loose > _NONE:
        return None
    return (vh[:rank].conj().T / s[:rank]) @ (u[:, :rank].conj().T @ right)


def at_once(elements: Sequence[Element], nodes: Sequence[str]) -> int:
    """How many frequencies are eliminated at a time, so that the matrices keep to `_ROOM`."""
    size = len(node_names(nodes, elements)) + sum(len(element.nodes) for element in elements)
    return max(1, int(_ROOM / (16 * _COPIES * max(size, 1) * (size + len(nodes)))))
