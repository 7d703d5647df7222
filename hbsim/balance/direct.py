"""The Newton step by elimination where the iteration does not find it: outside the compiled kernel, for any size."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import scipy.linalg
from scipy.sparse import block_diag, csc_array, eye_array
from scipy.sparse.linalg import splu

from .clusters import Clusters
from .krylov import Krylov
from .regime import MOST_WHOLE

_FULL = 0.1  # share of entries above which elimination fills the rest anyway


def matrix(clusters: Clusters, krylov: Krylov) -> csc_array:
    """J = A + B D from its pieces; rows and columns run row by node as krylov.py's vectors do."""
    n, n_k = len(clusters.node), len(krylov.b_start)
    widths = [n] + [2 * n] * (n_k - 1)
    a = block_diag([krylov.a[at:at + w * w].reshape(w, w) for at, w in zip(krylov.net_start, widths)], format="csc")
    b = block_diag([eye_array(w) if at < 0 else krylov.b[at:at + w * w].reshape(w, w)
                    for at, w in zip(krylov.b_start, widths)], format="csc")
    rows, columns = [], []
    for first, last in zip(clusters.first[:-1], clusters.first[1:]):
        at = (np.arange(2 * n_k - 1) * n + np.arange(first, last)[:, None]).ravel()
        rows.append(np.repeat(at, len(at)))
        columns.append(np.tile(at, len(at)))
    size = n * (2 * n_k - 1)
    slopes = csc_array((krylov.device, (np.concatenate(rows), np.concatenate(columns))), shape=(size, size))
    slopes.eliminate_zeros()
    return csc_array(a + b @ slopes)


def solver(j: csc_array) -> Callable[[np.ndarray], np.ndarray]:
    """What gives J^-1 times a vector.

    Raises
    ------
    scipy.linalg.LinAlgError
        J is singular.
    """
    size = j.shape[0]
    if size <= MOST_WHOLE and j.nnz > _FULL * size**2:
        whole = j.toarray()
        lu, pivots, info = scipy.linalg.lapack.dgetrf(whole, overwrite_a=True)
        if info != 0:
            raise scipy.linalg.LinAlgError("singular")
        return lambda right: scipy.linalg.lapack.dgetrs(lu, pivots, right)[0]
    try:
        return splu(j).solve
    except RuntimeError as error:  # what splu raises for a singular matrix
        raise scipy.linalg.LinAlgError(str(error)) from None
