"""The linear equations of a Newton step, compiled: the same four calls whether the Jacobian is one matrix (LAPACK) or
is kept by clusters (krylov.py). `System` chose by what it gave room to (regime.py).

In this order: `residual`; `linearise`; `factor`; then `solve_linear` as often as wanted, also after later residuals.
"""

from __future__ import annotations

from numba import njit

from .equations import device_slopes, jacobian
from .krylov import factor_pieces, gmres, to_nodes, to_rows
from .native import lu_factor, lu_solve

_ROUNDING = 128 * 2.3e-16  # relative, of the voltages
_CUT_OFF = 1e-12  # an error above is never put down to rounding. [A]


@njit(cache=True, nogil=True)
def linearise(h, net, devices, transform, work, krylov):
    """Take the slopes left by the last `residual` into the Jacobian, or into its pieces."""
    if work.jacobian.shape[0]:
        jacobian(h, net, devices, transform, work)
    else:
        device_slopes(h, krylov.device, work.clusters, net, devices, transform, work)


@njit(cache=True, nogil=True)
def factor(lapack, work, krylov):
    """Factor what `linearise` left; False where a matrix is singular."""
    if work.jacobian.shape[0]:
        return lu_factor(lapack, work.jacobian, work.pivots) == 0
    return factor_pieces(lapack, work.clusters, krylov)


@njit(cache=True, nogil=True)
def solve_linear(lapack, work, krylov):
    """work.step (n, rows) becomes J^-1 of itself; False where the iteration does not get there."""
    if work.jacobian.shape[0]:
        lu_solve(lapack, work.jacobian, work.pivots, work.step.reshape(work.step.size))
        return True
    right, x = work.trial.reshape(work.trial.size), krylov.vectors[6]
    to_rows(work.step, work.clusters, krylov, right)
    solved = gmres(right, lapack, work.clusters, krylov, x)
    to_nodes(x, work.clusters, work.step)
    return solved


@njit(cache=True, nogil=True)
def rounding_alone(x, net, work, krylov):
    """Whether the current errors of every node are no more than rounding of the voltages makes: |F| <= 128 eps |J| |x|.

    In cut-off that is more current than flows, and nothing is left to gain. The largest |J| |x| over a node's harmonics
    counts, because the samples spread the rounding of one over all. After `linearise`, before `factor`."""
    errors = work.residual
    for j in range(errors.shape[0]):
        for r in range(errors.shape[1]):
            if not abs(errors[j, r]) <= _CUT_OFF:
                return False
    if work.jacobian.shape[0] == 0:
        _reach_of_devices(x, work.clusters, krylov, work.trial)
    for j in range(errors.shape[0]):
        reach, worst = 0.0, 0.0
        for r in range(errors.shape[1]):
            here = _reach(work.jacobian, x, j, r) if work.jacobian.shape[0] else _reach_by_pieces(x, net, j, r, work)
            reach, worst = max(reach, here), max(worst, abs(errors[j, r]))
        if worst > _ROUNDING * reach:
            return False
    return True


@njit(cache=True, nogil=True)
def _reach(jac, x, j, r):
    """|J| |x| of one equation."""
    v, here = x.reshape(x.size), 0.0
    for i in range(v.shape[0]):
        here += abs(jac[j * x.shape[1] + r, i]) * abs(v[i])
    return here


@njit(cache=True, nogil=True)
def _reach_of_devices(x, clusters, krylov, out):
    """out = |D + h| |x|, (n, rows)."""
    rows = x.shape[1]
    for c in range(clusters.first.shape[0] - 1):
        lo, hi, at = clusters.first[c], clusters.first[c + 1], clusters.offset[c]
        for p in range(lo, hi):
            for r in range(rows):
                here = 0.0
                for q in range(lo, hi):
                    for s in range(rows):
                        here += abs(krylov.device[at]) * abs(x[clusters.node[q], s])
                        at += 1
                out[clusters.node[p], r] = here


@njit(cache=True, nogil=True)
def _reach_by_pieces(x, net, j, r, work):
    """|A| |x| + |B| |D| |x| of one equation: no less than |J| |x|, and more only where A and D cancel."""
    k = (r + 1) // 2
    other = r if k == 0 else (r + 1 if r % 2 else r - 1)  # the imaginary part that goes with a real one, and back
    here = work.trial[j, r] if net.identity[k] else 0.0
    for l in range(x.shape[0]):
        a, b = net.a[k, j, l], net.b[k, j, l]
        here += abs(a.real) * abs(x[l, r]) + abs(a.imag) * abs(x[l, other])
        if not net.identity[k]:
            here += abs(b.real) * work.trial[l, r] + abs(b.imag) * work.trial[l, other]
    return here
