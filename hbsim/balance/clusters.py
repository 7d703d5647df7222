"""Which device nodes hang together by device slopes, and the choice of how the Newton step is solved.

The Jacobian is J = A + B D. A and B are full between nodes but diagonal in harmonics; D, the device slopes, is full in
harmonics but couples only nodes that one device touches. Nodes so coupled are a cluster; J is kept as A, B and one
block of D a cluster, and the step is found by iteration (krylov.py) wherever that is quicker than the whole matrix.
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np

from .equations import Devices

Clusters = namedtuple("Clusters", "cluster place node first offset")
"""cluster, place: (n,), of every node: its cluster and its place in it. node: (n,), the nodes cluster by cluster.
first: (n_cluster + 1,), where each begins in `node`; offset: the same in the row of blocks, (nodes x rows)^2 numbers
each."""

_REFERENCE = 50.0  # brings voltages and currents to one scale before columns are compared. [ohm]


def one_cluster(n: int, rows: int) -> Clusters:
    """All nodes together: the whole matrix as one block."""
    return _arranged(np.zeros(n, np.int64), rows)


def find_clusters(n: int, rows: int, devices: Devices) -> Clusters:
    """Clusters of n nodes from the ends of the branches and the slopes between branches."""
    # an import of some 30 ms that circuits of one device do without
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from_to = np.stack([devices.branch_from, devices.branch_to])
    pairs = np.concatenate([from_to]
                           + [np.stack([one[devices.slot_row], other[devices.slot_column]])
                              for one in from_to for other in from_to],
                           axis=1)
    pairs = pairs[:, (pairs >= 0).all(axis=0)]
    _, label = connected_components(coo_array((np.ones(pairs.shape[1]), tuple(pairs)), shape=(n, n)), directed=False)
    return _arranged(label.astype(np.int64), rows)


def _arranged(label: np.ndarray, rows: int) -> Clusters:
    node = np.argsort(label, kind="stable")
    counts = np.bincount(label, minlength=1)
    first = np.concatenate([[0], np.cumsum(counts)])
    place = np.empty(len(label), np.int64)
    place[node] = np.arange(len(label)) - first[label[node]]
    return Clusters(label, place, node, first, np.concatenate([[0], np.cumsum((counts * rows) ** 2)]))


def rows_by_node(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """A mixture of the equations A V + B I = c, (n, n) complex, after which row j is about node j.

    Where no admittance exists the equations of a harmonic come in whatever order elimination left them, and blocks on
    the diagonal would mean nothing. Of each node either the current or the voltage is made to stand alone in its row
    (the hybrid form of an n-port), chosen greedily by the column that is the most independent of those chosen so far.
    """
    n = len(a)
    columns = np.stack([b, a * _REFERENCE]).astype(complex)  # (2, n rows, n nodes)
    left, chosen, open_nodes = columns.copy(), np.zeros((n, n), complex), np.ones(n, bool)
    for _ in range(n):
        size = np.linalg.norm(left, axis=1) * open_nodes
        kind, node = np.unravel_index(np.argmax(size), size.shape)
        if size[kind, node] < 1e-9 * np.linalg.norm(columns, axis=1).max():
            return np.eye(n, dtype=complex)  # no such form: the iteration will say if it suffers
        direction = left[kind, :, node] / size[kind, node]
        left -= direction[None, :, None] * np.einsum("r,crn->cn", direction.conj(), left)[:, None, :]
        chosen[:, node], open_nodes[node] = columns[kind, :, node], False
    return np.linalg.inv(chosen)
