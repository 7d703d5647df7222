"""The Newton step by iteration, compiled: J = A + B D kept as its pieces, never as one matrix.

Restarted GMRES, preconditioned from the right (Y. Saad, M. H. Schultz, "GMRES: a generalized minimal residual
algorithm for solving nonsymmetric linear systems", SIAM J. Sci. Stat. Comput. 7 (1986) 856-869, from memory), with
modified Gram-Schmidt and Givens rotations. Two preconditioners, one after the other:

1. J with all its couplings between different harmonics left out, a matrix a harmonic. It is exact where devices hardly
   mix and knows how the network couples all devices; known in harmonic balance for long.
2. J with all couplings between different clusters left out, a matrix a cluster. It is exact for each device by itself,
   however hard it mixes.

What one is blind to the other sees. Iterations to 1e-4 with both, with the clusters alone and with the harmonics alone,
measured at K = 8: chain of 16 stages 6, 28, 19; 8 stages side by side 12, 53, 36; ring of 16 diodes 25, over 120, 24.

Vectors here run row by row, (rows, n), the nodes cluster by cluster; so harmonic k is one piece [Re, Im].
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np
from numba import njit

from .clusters import Clusters, rows_by_node
from .equations import Net
from .native import lu_factor, lu_solve

ROOM = 60  # vectors kept before a restart
_CYCLES = 3  # with restarts; what is not found in these many is not found in more
_ORTHOGONAL = 1e-14  # a next direction this small beside its product: the space is exhausted

Krylov = namedtuple("Krylov", "tolerance net_start b_start a b mix device cluster cluster_pivots harmonic "
                              "harmonic_pivots kept product basis hessenberg rotation vectors iterations")
"""tolerance: (1,), of the linear residual relative to the right-hand side.
a, b, mix: real forms of the matrices at each harmonic, one after the other, with the rows mixed as `rows_by_node`
says; net_start: (K + 2,), where each begins in a; b_start: (K + 1,), where in b and mix, -1 where B is the identity.
device: the blocks of D + h; cluster: the factors of the blocks of J; harmonic: of its matrices a harmonic.
kept: room for a harmonic's rows of one block; product: for two vectors of one cluster.
basis: (ROOM + 1, size); hessenberg: (ROOM + 1, ROOM); rotation: (3, ROOM + 1): cosines, sines, right-hand side;
vectors: (7, size); iterations: (1,), counted up."""


def room(net: Net, clusters: Clusters, tolerance: float) -> Krylov:
    """Room for one System and its network; see `Krylov`."""
    n_k, n = net.a.shape[:2]
    rows, size, node = 2 * n_k - 1, (2 * n_k - 1) * n, clusters.node
    a, b, mix, b_start = [], [], [], np.full(n_k, -1)
    for k in range(n_k):
        at_k, b_k = net.a[k], net.b[k]
        if not net.identity[k]:
            t = rows_by_node(at_k, b_k)[node]
            at_k, b_k = t @ at_k, t @ b_k
            b_start[k] = sum(piece.size for piece in b)
            b.append(_real(b_k[:, node], k))
            mix.append(_real(t[:, node], k))
            at_k = at_k[:, node]
        else:
            at_k = at_k[np.ix_(node, node)]
        a.append(_real(at_k, k))
    widest = int(np.diff(clusters.first).max()) * rows
    return Krylov(
        np.array([tolerance]), np.concatenate([[0], np.cumsum([piece.size for piece in a])]), b_start,
        _joined(a), _joined(b), _joined(mix), np.zeros(clusters.offset[-1]), np.zeros(clusters.offset[-1]),
        np.zeros(size, np.int32), np.zeros(sum(piece.size for piece in a)), np.zeros(size, np.int32),
        np.zeros((2 * widest // rows, widest)), np.zeros((2, widest)), np.zeros((ROOM + 1, size)),
        np.zeros((ROOM + 1, ROOM)), np.zeros((3, ROOM + 1)), np.zeros((7, size)), np.zeros(1, np.int64))


def no_room() -> Krylov:
    """The same types with nothing in them, for a System that keeps the whole matrix."""
    none, whole = np.zeros(0), np.zeros(0, np.int64)
    plane, pivots = np.zeros((0, 0)), np.zeros(0, np.int32)
    return Krylov(none, whole, whole, none, none, none, none, none, pivots, none, pivots, plane, plane, plane, plane,
                  plane, plane, np.zeros(1, np.int64))


def _joined(pieces: list[np.ndarray]) -> np.ndarray:
    return np.concatenate([piece.ravel() for piece in pieces]) if pieces else np.zeros(0)


def _real(matrix: np.ndarray, k: int) -> np.ndarray:
    """What takes [Re, Im] of a phasor vector to that of its product; of harmonic 0 the real part alone."""
    return matrix.real if k == 0 else np.block([[matrix.real, -matrix.imag], [matrix.imag, matrix.real]])


@njit(cache=True, nogil=True)
def _span(k, n):
    """Where harmonic k begins in a vector, and its length."""
    return (0, n) if k == 0 else ((2 * k - 1) * n, 2 * n)


@njit(cache=True, nogil=True)
def _square(flat, start, width):
    return flat[start:start + width * width].reshape(width, width)


@njit(cache=True, nogil=True)
def _gather(v, first, last, n, rows, out):
    """A cluster's part of a vector, node by node as its block runs."""
    at = 0
    for p in range(first, last):
        for r in range(rows):
            out[at] = v[r * n + p]
            at += 1


@njit(cache=True, nogil=True)
def _times_devices(v, clusters, krylov, out):
    """out = (D + h) v."""
    n = clusters.node.shape[0]
    rows = v.shape[0] // n
    for c in range(clusters.first.shape[0] - 1):
        first, last = clusters.first[c], clusters.first[c + 1]
        width = (last - first) * rows
        gathered, product = krylov.product[0, :width], krylov.product[1, :width]
        _gather(v, first, last, n, rows, gathered)
        np.dot(_square(krylov.device, clusters.offset[c], width), gathered, product)
        at = 0
        for p in range(first, last):
            for r in range(rows):
                out[r * n + p] = product[at]
                at += 1


@njit(cache=True, nogil=True)
def multiply(v, clusters, krylov, current, out):
    """out = J v; `current` is room for the currents D v."""
    n = clusters.node.shape[0]
    _times_devices(v, clusters, krylov, current)
    for k in range(krylov.b_start.shape[0]):
        at, width = _span(k, n)
        here, flow = out[at:at + width], current[at:at + width]
        if krylov.b_start[k] >= 0:
            np.dot(_square(krylov.b, krylov.b_start[k], width), flow, here)
            flow[:] = here
        np.dot(_square(krylov.a, krylov.net_start[k], width), v[at:at + width], here)
        for i in range(width):
            here[i] += flow[i]


@njit(cache=True, nogil=True)
def _fill_harmonic(k, clusters, krylov):
    """The share of J within harmonic k, into krylov.harmonic."""
    n, n_k = clusters.node.shape[0], krylov.b_start.shape[0]
    rows, parts, r0 = 2 * n_k - 1, 2 if k else 1, 2 * k - 1 if k else 0
    _, width = _span(k, n)
    start = krylov.net_start[k]
    krylov.harmonic[start:start + width * width] = krylov.a[start:start + width * width]
    matrix = _square(krylov.harmonic, start, width)
    for c in range(clusters.first.shape[0] - 1):
        first, size = clusters.first[c], clusters.first[c + 1] - clusters.first[c]
        block = _square(krylov.device, clusters.offset[c], size * rows)
        for p in range(size):
            for q in range(size):
                for i in range(parts):
                    for j in range(parts):
                        slope = block[p * rows + r0 + i, q * rows + r0 + j]
                        row, column = i * n + first + p, j * n + first + q
                        if krylov.b_start[k] < 0:
                            matrix[row, column] += slope
                        else:
                            b = _square(krylov.b, krylov.b_start[k], width)
                            for l in range(width):
                                matrix[l, column] += b[l, row] * slope


@njit(cache=True, nogil=True)
def _fill_cluster(c, clusters, krylov):
    """The share of J within cluster c, into krylov.cluster: the block of D, through B, and A added."""
    n, n_k = clusters.node.shape[0], krylov.b_start.shape[0]
    rows, first, size = 2 * n_k - 1, clusters.first[c], clusters.first[c + 1] - clusters.first[c]
    lo, hi = clusters.offset[c], clusters.offset[c + 1]
    krylov.cluster[lo:hi] = krylov.device[lo:hi]
    block = _square(krylov.cluster, lo, size * rows)
    for k in range(n_k):
        parts, r0 = 2 if k else 1, 2 * k - 1 if k else 0
        _, width = _span(k, n)
        if krylov.b_start[k] >= 0:
            _through_b(block, _square(krylov.b, krylov.b_start[k], width), n, first, size, rows, r0, parts,
                       krylov.kept)
        a = _square(krylov.a, krylov.net_start[k], width)
        for p in range(size):
            for q in range(size):
                for i in range(parts):
                    for j in range(parts):
                        block[p * rows + r0 + i, q * rows + r0 + j] += a[i * n + first + p, j * n + first + q]


@njit(cache=True, nogil=True)
def _through_b(block, b, n, first, size, rows, r0, parts, kept):
    """Rows of one harmonic in a cluster's block: B within the cluster times what stands there."""
    for p in range(size):
        for i in range(parts):
            kept[i * size + p, :block.shape[1]] = block[p * rows + r0 + i]
    for p in range(size):
        for i in range(parts):
            row = block[p * rows + r0 + i]
            row[:] = 0.0
            for q in range(size):
                for j in range(parts):
                    factor = b[i * n + first + p, j * n + first + q]
                    for column in range(block.shape[1]):
                        row[column] += factor * kept[j * size + q, column]


@njit(cache=True, nogil=True)
def factor_pieces(lapack, clusters, krylov):
    """Factor both preconditioners for the blocks in krylov.device; False where one of their matrices is singular."""
    n, n_k = clusters.node.shape[0], krylov.b_start.shape[0]
    rows = 2 * n_k - 1
    for k in range(n_k):
        at, width = _span(k, n)
        _fill_harmonic(k, clusters, krylov)
        matrix = _square(krylov.harmonic, krylov.net_start[k], width)
        if lu_factor(lapack, matrix, krylov.harmonic_pivots[at:at + width]) != 0:
            return False
    for c in range(clusters.first.shape[0] - 1):
        first, width = clusters.first[c] * rows, (clusters.first[c + 1] - clusters.first[c]) * rows
        _fill_cluster(c, clusters, krylov)
        block = _square(krylov.cluster, clusters.offset[c], width)
        if lu_factor(lapack, block, krylov.cluster_pivots[first:first + width]) != 0:
            return False
    return True


@njit(cache=True, nogil=True)
def _precondition(v, lapack, clusters, krylov, out, product):
    """out = M^-1 v and product = J out: first the harmonics, then the clusters on what that leaves."""
    n = clusters.node.shape[0]
    rows = v.shape[0] // n
    out[:] = v
    for k in range(krylov.b_start.shape[0]):
        at, width = _span(k, n)
        lu_solve(lapack, _square(krylov.harmonic, krylov.net_start[k], width), krylov.harmonic_pivots[at:at + width],
                 out[at:at + width])
    left, current, more = krylov.vectors[0], krylov.vectors[1], krylov.vectors[2]
    multiply(out, clusters, krylov, current, product)
    for i in range(v.shape[0]):
        left[i] = v[i] - product[i]
    for c in range(clusters.first.shape[0] - 1):
        first, last = clusters.first[c], clusters.first[c + 1]
        width = (last - first) * rows
        gathered = krylov.product[0, :width]
        _gather(left, first, last, n, rows, gathered)
        lu_solve(lapack, _square(krylov.cluster, clusters.offset[c], width),
                 krylov.cluster_pivots[first * rows:last * rows], gathered)
        at = 0
        for p in range(first, last):
            for r in range(rows):
                left[r * n + p] = gathered[at]
                at += 1
    multiply(left, clusters, krylov, current, more)
    for i in range(v.shape[0]):
        out[i] += left[i]
        product[i] += more[i]


@njit(cache=True, nogil=True)
def _cycle(wanted, size, lapack, clusters, krylov, x, residual):
    """One run of GMRES until the residual is `wanted` or the room is used up: x and residual are improved in place."""
    basis, hessenberg = krylov.basis, krylov.hessenberg
    cosine, sine, right = krylov.rotation
    for i in range(residual.shape[0]):
        basis[0, i] = residual[i] / size
    right[0] = size
    done = 0
    for j in range(hessenberg.shape[1]):
        direction = basis[j + 1]
        _precondition(basis[j], lapack, clusters, krylov, krylov.vectors[3], direction)
        krylov.iterations[0] += 1
        before = np.sqrt(np.dot(direction, direction))
        if not np.isfinite(before):
            break
        for i in range(j + 1):
            along = np.dot(basis[i], direction)
            hessenberg[i, j] = along
            for l in range(direction.shape[0]):
                direction[l] -= along * basis[i, l]
        beyond = np.sqrt(np.dot(direction, direction))
        for i in range(j):
            upper, lower = hessenberg[i, j], hessenberg[i + 1, j]
            hessenberg[i, j] = cosine[i] * upper + sine[i] * lower
            hessenberg[i + 1, j] = cosine[i] * lower - sine[i] * upper
        radius = np.hypot(hessenberg[j, j], beyond)
        if radius == 0.0:
            break
        cosine[j], sine[j] = hessenberg[j, j] / radius, beyond / radius
        hessenberg[j, j] = radius
        right[j + 1], right[j] = -sine[j] * right[j], cosine[j] * right[j]
        done = j + 1
        if abs(right[done]) <= wanted or beyond <= _ORTHOGONAL * before:
            break
        for i in range(direction.shape[0]):
            direction[i] /= beyond
    _back_substituted(hessenberg, right, done)
    total = krylov.vectors[4]
    total[:] = 0.0
    for j in range(done):
        for i in range(total.shape[0]):
            total[i] += right[j] * basis[j, i]
    step, product = krylov.vectors[3], krylov.vectors[5]
    _precondition(total, lapack, clusters, krylov, step, product)
    for i in range(total.shape[0]):
        x[i] += step[i]
        residual[i] -= product[i]


@njit(cache=True, nogil=True)
def _back_substituted(upper, right, count):
    for j in range(count - 1, -1, -1):
        for i in range(j + 1, count):
            right[j] -= upper[j, i] * right[i]
        right[j] /= upper[j, j]


@njit(cache=True, nogil=True)
def gmres(right, lapack, clusters, krylov, x):
    """Solve J x = right from x = 0, for the pieces left by `factor_pieces`; False where the tolerance is not reached.

    right is turned into the residual."""
    x[:] = 0.0
    size = np.sqrt(np.dot(right, right))
    wanted = krylov.tolerance[0] * size
    if size == 0.0:
        return True
    for _ in range(_CYCLES):
        before = size
        _cycle(wanted, size, lapack, clusters, krylov, x, right)
        size = np.sqrt(np.dot(right, right))
        # a tenth above: the residual kept by rotations drifts from the true one by rounding
        if size <= 1.1 * wanted:
            return True
        if not size < 0.5 * before:
            return False
    return False


@njit(cache=True, nogil=True)
def to_rows(v, clusters, krylov, out):
    """From nodes (n, rows) to rows (rows * n), the equations mixed as those of J are."""
    n, rows = v.shape
    for p in range(n):
        for r in range(rows):
            out[r * n + p] = v[clusters.node[p], r]
    for k in range(krylov.b_start.shape[0]):
        if krylov.b_start[k] >= 0:
            at, width = _span(k, n)
            mixed = krylov.vectors[0, :width]
            np.dot(_square(krylov.mix, krylov.b_start[k], width), out[at:at + width], mixed)
            out[at:at + width] = mixed


@njit(cache=True, nogil=True)
def to_nodes(v, clusters, out):
    """Voltages from rows (rows * n) to nodes (n, rows)."""
    n, rows = out.shape
    for p in range(n):
        for r in range(rows):
            out[clusters.node[p], r] = v[r * n + p]
