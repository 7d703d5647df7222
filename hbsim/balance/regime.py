"""Whether the Jacobian is kept as one matrix or by clusters: whichever a simple model of the times says is quicker.

The constants are least-squares fits, each case weighted by its own time, to the Newton runs of
benchmarks/many_devices.py (processor time of one thread on a 2-core machine): chains, rows of parallel stages and
rings of 1 to 32 devices at 4 to 32 harmonics, 27 to 4160 unknowns. They are for a run of Newton steps from near by,
with about two factorisations. For transistors the ratio of the two times is right within a factor of some 2, for rings
of diodes of 5.
"""

from __future__ import annotations

import numpy as np

from .clusters import Clusters, find_clusters
from .equations import Devices

_ELIMINATION = 2.0e-11  # a matrix of N rows to factor: this times N^3. [s]
_ENTRY = 17e-9  # to make it and solve with it: this times N^2. [s]
_PIECE_ENTRY = 42e-9  # to make the pieces and iterate with them: this for each of their entries. [s]
# Share of the whole matrix's time that the pieces must promise, as iterations differ threefold from circuit to circuit;
# with it the pieces were found slower in one case of 28, 32 diodes in a ring at 4 harmonics
_SURE = 0.55
_LEAST = 400  # unknowns below which no circuit was found to gain by pieces; saves looking for clusters
MOST_WHOLE = 12_000  # unknowns up to which the whole matrix (1.1 GiB) is made where nothing else serves


def whole_time(unknowns: int) -> float:
    """For a Newton run with the whole matrix. [s]"""
    return _ELIMINATION * unknowns**3 + _ENTRY * unknowns**2


def pieces_time(rows: int, clusters: Clusters) -> float:
    """The same with the pieces: a matrix a cluster and one a harmonic; rows = 2 K + 1. [s]"""
    n = len(clusters.node)
    widths = np.concatenate([np.diff(clusters.first) * rows, [n], [2 * n] * (rows // 2)]).astype(float)
    return _ELIMINATION * float((widths**3).sum()) + _PIECE_ENTRY * float((widths**2).sum())


def quicker_clusters(n: int, rows: int, devices: Devices) -> Clusters | None:
    """The clusters of n nodes where keeping the Jacobian by them pays; else None."""
    if n * rows < _LEAST:
        return None
    clusters = find_clusters(n, rows, devices)
    return clusters if pieces_time(rows, clusters) < _SURE * whole_time(n * rows) else None
