"""Whether the Jacobian is kept as one matrix or by clusters: whichever a simple model of the times says is quicker.

The constants are least-squares fits, each case weighted by its own time, to benchmarks/many_devices.py on a 2-core
machine, one thread: chains, rows of parallel stages and rings of 1 to 32 devices at 4 to 32 harmonics.
"""

from __future__ import annotations

import numpy as np

from .clusters import Clusters, find_clusters

_ELIMINATION = 1.6e-11  # a matrix of N rows: this times N^3. [s]
_ENTRY = 6.4e-9  # its assembly and back-substitutions: this times N^2. [s]
# The pieces, for each of their entries: 11e-9 to make and factor them, 0.4e-9 an iteration, some 32 iterations with one
# factorisation (4 steps of 8 iterations, the worse end of what chains and parallel stages take). [s]
_PIECE_ENTRY = 24e-9
_SURE = 0.4  # share of the one's time that the other must promise: iterations differ threefold from circuit to circuit
_LEAST = 400  # unknowns below which no circuit gains by clusters; saves looking for them


def whole_time(unknowns: int) -> float:
    """For one factorisation of the whole matrix and the steps made with it. [s]"""
    return _ELIMINATION * unknowns**3 + _ENTRY * unknowns**2


def pieces_time(rows: int, clusters: Clusters) -> float:
    """The same for the pieces, with `rows` = 2 K + 1. [s]"""
    n = len(clusters.node)
    widths = np.concatenate([np.diff(clusters.first) * rows, [n], [2 * n] * (rows // 2)]).astype(float)
    return _ELIMINATION * float((widths**3).sum()) + _PIECE_ENTRY * float((widths**2).sum())


def quicker_clusters(n: int, rows: int, devices) -> Clusters | None:
    """The clusters of n nodes (devices: equations.py, `Devices`) where keeping the Jacobian by them pays; else None."""
    if n * rows < _LEAST:
        return None
    clusters = find_clusters(n, rows, devices)
    return clusters if pieces_time(rows, clusters) < _SURE * whole_time(n * rows) else None
