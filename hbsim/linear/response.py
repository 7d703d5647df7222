"""What a linear network shows at its ports: S-parameters over frequency.

Every port p ends in its reference resistance R_p, behind which a source may act. With A V + B I = 0 of a network seen
from the port nodes (network.py; I flows out of it), E the incidence of nodes and ports, v = E^T V the port voltages and
the power waves of K. Kurokawa, IEEE Trans. MTT-13 (1965) 194-202,

    (A + B E R^-1 E^T) V = 2 B E R^-1/2 a,    b = R^-1/2 E^T V - a

which needs neither an admittance nor an impedance of the network to exist.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .islands import GROUND
from .network import Element, Network


def scattering(elements: Sequence[Element], ports: Sequence[tuple[str, str]], reference: np.ndarray,
               omega: np.ndarray) -> np.ndarray:
    """S-parameters of a network of linear parts.

    Parameters
    ----------
    elements : sequence of Element
        Without sources.
    ports : sequence of (node, node)
        Plus and minus node of each port; the minus node may be "ground".
    reference : ndarray, (n_port,). [ohm]
    omega : ndarray, (n_frequency,)
        Angular frequencies, rising. [rad/s]

    Returns
    -------
    ndarray, complex, (n_frequency, n_port, n_port): from port j to port i at [:, i, j]. [1]

    Raises
    ------
    Refusal
        The network leaves a voltage or current undetermined.
    """
    nodes = list(dict.fromkeys(node for port in ports for node in port if node != GROUND))
    network = Network(elements, [], nodes, omega)
    return between_ports(network.a, network.b, incidence(nodes, ports), reference)


def incidence(nodes: Sequence[str], ports: Sequence[tuple[str, str]]) -> np.ndarray:
    """+1 at the plus node of each port, -1 at its minus node, (n_node, n_port)."""
    found = np.zeros((len(nodes), len(ports)))
    for column, (plus, minus) in enumerate(ports):
        for node, sign in ((plus, 1.0), (minus, -1.0)):
            if node != GROUND:
                found[nodes.index(node), column] += sign
    return found


def between_ports(a: np.ndarray, b: np.ndarray, ends: np.ndarray, reference: np.ndarray) -> np.ndarray:
    """S-parameters from A V + B I = 0, (n_frequency, n_node, n_node), and the incidence of its ports; see above."""
    root = np.sqrt(reference)
    voltage = np.linalg.solve(a + b @ (ends / reference) @ ends.T, 2.0 * b @ (ends / root))
    return (ends.T @ voltage) / root[:, None] - np.eye(len(root))
