"""The equations of the balance, compiled: residual and Jacobian.

At harmonic k, with the network condensed by linear/network.py,

    F_k = A_k V_k + B_k ( I_k + j omega_k Q_k + exp(-j omega_k tau) T_k + h (V_k - V_ref,k) ) - c_k = 0

I, Q, T: Fourier coefficients of the devices' currents, charges and delayed currents; h: an added conductance at
every device node, zero in every answer given out, used on the way to it (continuation.py). Residual and Jacobian
come from the same samples, so Newton converges quadratically to the sampled problem (K. S. Kundert, A.
Sangiovanni-Vincentelli, IEEE Trans. CAD 5 (1986) 521-535; Jacobian as in nonlinear circuit texts: two-sided
coefficients g_(k-l) on V_l and g_(k+l) on its conjugate).
"""

from __future__ import annotations

from collections import namedtuple

import numpy as np
from numba import njit

from .native import call_law

Net = namedtuple("Net", "a b identity omega")
"""a, b: (K+1, n, n) complex; identity: (K+1,) bool; omega: (K+1,) [rad/s]."""

Devices = namedtuple("Devices", "address branch_start branch_from branch_to parameter_start late junction "
                                "slot_start slot_row slot_column slot_i slot_q slot_t wave_device wave_kind wave_at")
"""All devices of a circuit, flattened. branch_*: device node numbers, -1 ground. late: (n_device, K+1) complex,
exp(-j omega_k tau). junction: (n_branch, 2). slot_*: pairs (row branch, column branch) with the numbers of their slope
waveforms, -1 where zero; wave_*: where each slope waveform stands (device; 0 i, 1 q, 2 t; row * n_branch + column)."""

Work = namedtuple("Work", "u iqt di dq dt spectrum branch total slopes coefficient two_sided slot row residual "
                          "scale largest extent jacobian block pivots step trial change history followers "
                          "lengths factorisations kept clusters")
"""Room to work in; System makes it. u: (n_branch, n_time); iqt: (3, n_branch, n_time); di, dq, dt: (n_device,
n_branch^2, n_time); spectrum, total: (n_branch, rows); branch: (3, n_branch, rows); history: steps since the Jacobian
was made, lengths: their squared lengths; factorisations: (1,), counted up. jacobian: the whole matrix, (size, size), or
(0, 0) where its pieces are kept instead (krylov.py); clusters: see clusters.py."""

_FLOOR = 1e-9  # TOLERANCE of it, 1e-18 A, is rounding whatever flows. [A]


@njit(cache=True, nogil=True)
def branch_voltages(x, devices, spectrum):
    """Real form of every branch voltage, (n_branch, rows), from node voltages (n, rows)."""
    for m in range(devices.branch_from.shape[0]):
        start, end = devices.branch_from[m], devices.branch_to[m]
        if start >= 0 and end >= 0:
            for h in range(x.shape[1]):
                spectrum[m, h] = x[start, h] - x[end, h]
        elif start >= 0:
            spectrum[m, :] = x[start]
        elif end >= 0:
            for h in range(x.shape[1]):
                spectrum[m, h] = -x[end, h]
        else:
            spectrum[m, :] = 0.0


@njit(cache=True, nogil=True)
def currents(x, parameters, net, devices, transform, work):
    """Device laws at the voltages x (n, rows); leaves the total current of every branch in work.total."""
    branch_voltages(x, devices, work.spectrum)
    np.dot(work.spectrum, transform.synthesis, work.u)
    i, q, t = work.iqt[0], work.iqt[1], work.iqt[2]
    for d in range(devices.address.shape[0]):
        lo, hi = devices.branch_start[d], devices.branch_start[d + 1]
        call_law(devices.address[d], work.u[lo:hi], parameters[devices.parameter_start[d]:],
                 i[lo:hi], q[lo:hi], t[lo:hi], work.di[d], work.dq[d], work.dt[d])
    n_branch, n_time = work.u.shape
    rows = x.shape[1]
    np.dot(work.iqt.reshape(3 * n_branch, n_time), transform.analysis, work.branch.reshape(3 * n_branch, rows))
    branch, total = work.branch, work.total
    for d in range(devices.address.shape[0]):
        for m in range(devices.branch_start[d], devices.branch_start[d + 1]):
            total[m, 0] = branch[0, m, 0] + branch[2, m, 0]
            for k in range(1, net.omega.shape[0]):
                r, omega, late = 2 * k - 1, net.omega[k], devices.late[d, k]
                t_re, t_im = branch[2, m, r], branch[2, m, r + 1]
                total[m, r] = branch[0, m, r] - omega * branch[1, m, r + 1] + late.real * t_re - late.imag * t_im
                total[m, r + 1] = branch[0, m, r + 1] + omega * branch[1, m, r] + late.real * t_im + late.imag * t_re


@njit(cache=True, nogil=True)
def node_currents(devices, total, out):
    """Currents out of every node into the devices, real form (n, rows), from the branch totals."""
    out[:, :] = 0.0
    for m in range(total.shape[0]):
        start, end = devices.branch_from[m], devices.branch_to[m]
        if start >= 0:
            for h in range(total.shape[1]):
                out[start, h] += total[m, h]
        if end >= 0:
            for h in range(total.shape[1]):
                out[end, h] -= total[m, h]


@njit(cache=True, nogil=True)
def residual(x, c, parameters, h, x_ref, net, devices, transform, work):
    """Fill work.residual (n, rows); returns (largest error relative to what cancels, sum of squares).

    c: (K+1, n) complex. work.jacobian's slopes are left ready for `jacobian`."""
    currents(x, parameters, net, devices, transform, work)
    n, rows = x.shape
    node, extent = work.residual, work.extent  # device currents first; the network's are added below
    node_currents(devices, work.total, node)
    extent[:, :] = 0.0
    for m in range(work.total.shape[0]):
        for at in (devices.branch_from[m], devices.branch_to[m]):
            if at >= 0:
                extent[at, 0] += abs(work.total[m, 0])
                for k in range(1, net.omega.shape[0]):
                    extent[at, k] += abs(work.total[m, 2 * k - 1]) + abs(work.total[m, 2 * k])
    for j in range(n):
        # what a harmonic lacks, by symmetry or for want of a source, is rounding of the node's largest current and
        # voltage
        extent[j, :] = extent[j].max()
        work.largest[j] = np.abs(x[j]).max()
    if h > 0:
        for j in range(n):
            for r in range(rows):
                node[j, r] += h * (x[j, r] - x_ref[j, r])
    for k in range(net.omega.shape[0]):
        if not net.identity[k]:
            _through_b(net.b[k], k, node, extent, work.row)
    worst, squares = 0.0, 0.0
    for j in range(n):
        scale = _FLOOR
        for k in range(net.omega.shape[0]):
            r = 2 * k - 1
            size = abs(c[k, j]) + extent[j, k]
            if k == 0:
                re = node[j, 0] - c[0, j].real
                for l in range(n):
                    term = net.a[0, j, l].real * x[l, 0]
                    re += term
                    size += abs(term)
                node[j, 0] = re
                squares += re * re
            else:
                re, im = node[j, r] - c[k, j].real, node[j, r + 1] - c[k, j].imag
                for l in range(n):
                    a, v_re, v_im = net.a[k, j, l], x[l, r], x[l, r + 1]
                    re += a.real * v_re - a.imag * v_im
                    im += a.real * v_im + a.imag * v_re
                    size += (abs(a.real) + abs(a.imag)) * (abs(v_re) + abs(v_im))
                node[j, r], node[j, r + 1] = re, im
                squares += re * re + im * im
            if not net.identity[k]:
                for l in range(n):
                    size += abs(net.a[k, j, l]) * work.largest[l]
            extent[j, k] = size
            if net.identity[k]:
                scale = max(scale, size)
        work.scale[j] = scale
    for j in range(n):
        for k in range(net.omega.shape[0]):
            error = abs(node[j, 0]) if k == 0 else abs(node[j, 2 * k - 1]) + abs(node[j, 2 * k])
            worst = max(worst, error / (work.scale[j] if net.identity[k] else max(extent[j, k], _FLOOR)))
    if not np.isfinite(squares):
        return np.inf, np.inf
    return worst, squares


@njit(cache=True, nogil=True)
def _through_b(b, k, node, extent, row):
    """Replace the device currents at harmonic k by B times them, and their sizes by |B| times theirs."""
    n, r = node.shape[0], 2 * k - 1 if k else 0
    for j in range(n):
        row[0, j], row[1, j], row[2, j] = 0.0, 0.0, 0.0
        for l in range(n):
            re, im = node[l, r], (node[l, r + 1] if k else 0.0)
            row[0, j] += b[j, l].real * re - b[j, l].imag * im
            row[1, j] += b[j, l].real * im + b[j, l].imag * re
            row[2, j] += abs(b[j, l]) * extent[l, k]
    for j in range(n):
        node[j, r], extent[j, k] = row[0, j], row[2, j]
        if k:
            node[j, r + 1] = row[1, j]


@njit(cache=True, nogil=True)
def _both_sides(devices, transform, work):
    """Coefficients -2K..2K of every slope waveform into work.two_sided (2, n_wave, 4K+1): real, imaginary parts."""
    for w in range(devices.wave_device.shape[0]):
        d, at = devices.wave_device[w], devices.wave_at[w]
        if devices.wave_kind[w] == 0:
            work.slopes[w, :] = work.di[d, at]
        elif devices.wave_kind[w] == 1:
            work.slopes[w, :] = work.dq[d, at]
        else:
            work.slopes[w, :] = work.dt[d, at]
    np.dot(work.slopes, transform.slopes, work.coefficient)
    middle = (work.two_sided.shape[2] - 1) // 2
    for w in range(work.two_sided.shape[1]):
        for m in range(middle + 1):
            re, im = work.coefficient[w, 2 * m], work.coefficient[w, 2 * m + 1]
            work.two_sided[0, w, middle + m], work.two_sided[1, w, middle + m] = re, im
            work.two_sided[0, w, middle - m], work.two_sided[1, w, middle - m] = re, -im


@njit(cache=True, nogil=True)
def _alive(slopes, wave):
    """The number of a slope waveform; -1, as where there is none, if it is zero throughout."""
    if wave >= 0:
        for s in range(slopes.shape[1]):
            if slopes[wave, s] != 0.0:
                return wave
    return -1


@njit(cache=True, nogil=True)
def _add_slope(two_sided, wave, k, factor_re, factor_im, slot):
    """Add the coefficients g of a slope waveform, times a complex factor, to the two rows of harmonic k of a slot.

    Against Re V_l, Im V_l the real row has g_(l+k) + g_(l-k), the imaginary one j (g_(l-k) - g_(l+k)), each as real
    part, imaginary part: g_(k-l) is the conjugate of g_(l-k), and so all runs forward in memory."""
    middle = (two_sided.shape[2] - 1) // 2
    # unsigned: an index that may be below zero, counted from the end, keeps a loop from taking several at a time
    above, below, one = np.uintp(middle + k), np.uintp(middle - k), np.uintp(1)
    for l in range(np.uintp(slot.shape[1] // 2)):
        re_above, im_above = two_sided[0, wave, above + l], two_sided[1, wave, above + l]
        re_below, im_below = two_sided[0, wave, below + l], two_sided[1, wave, below + l]
        slot[2 * k, l + l] += factor_re * (re_above + re_below) - factor_im * (im_above - im_below)
        slot[2 * k, l + l + one] += factor_re * (im_above + im_below) - factor_im * (re_below - re_above)
        slot[2 * k + 1, l + l] += factor_re * (im_above - im_below) + factor_im * (re_above + re_below)
        slot[2 * k + 1, l + l + one] += factor_re * (re_below - re_above) + factor_im * (im_above + im_below)


@njit(cache=True, nogil=True)
def _fill_slot(two_sided, i, q, t, omega, late, d, slot):
    """All harmonics of one slot, i + j omega q + late t, into slot[1:, 1:]. i, q, t: slope waveforms, -1 for none."""
    slot[:, :] = 0.0
    for k in range(omega.shape[0]):
        share = 1.0 if k else 0.5  # at DC both sides are the same coefficients
        if i >= 0:
            _add_slope(two_sided, i, k, share, 0.0, slot)
        if q >= 0 and k:
            _add_slope(two_sided, q, k, 0.0, omega[k], slot)
        if t >= 0:
            _add_slope(two_sided, t, k, share * late[d, k].real, share * late[d, k].imag, slot)
    # DC has no imaginary part: its real part moves to the place of that, beside the other harmonics
    slot[1, :] = slot[0]
    slot[:, 1] = slot[:, 0]


@njit(cache=True, nogil=True)
def _add_slot(block, row, column, slot, sign):
    """Add slot[1:, 1:] to a matrix, from this row and column on (-1: ground)."""
    if row < 0 or column < 0:
        return
    rows, first, one = np.uintp(slot.shape[0] - 1), np.uintp(column), np.uintp(1)
    for r in range(slot.shape[0] - 1):
        for h in range(rows):
            block[row + r, first + h] += sign * slot[r + 1, h + one]


@njit(cache=True, nogil=True)
def _place(clusters, node, rows):
    """Where a node begins in the block of its cluster; -1 for ground."""
    return clusters.place[node] * rows if node >= 0 else -1


@njit(cache=True, nogil=True)
def device_slopes(h, flat, clusters, net, devices, transform, work):
    """The devices' share of the Jacobian, D + h, from the slopes left by the last `residual`, into `flat`: one dense
    block a cluster, one after the other; rows and columns of a block run node by node.

    With two-sided coefficients g_m of a slope, harmonic k of its product with V_0 + Re sum V_l exp(j l theta) is
    2 g_k V_0 + sum_l (g_(k-l) V_l + g_(k+l) conj V_l), and harmonic 0 is g_0 V_0 + sum_l Re(conj(g_l) V_l)."""
    n, rows = work.residual.shape
    flat[:] = 0.0
    _both_sides(devices, transform, work)
    # arrays by name: handing whole records to the innermost functions costs more than what they do
    slopes, two_sided, slot = work.slopes, work.two_sided, work.slot
    slot_i, slot_q, slot_t = devices.slot_i, devices.slot_q, devices.slot_t
    for d in range(devices.address.shape[0]):
        for s in range(devices.slot_start[d], devices.slot_start[d + 1]):
            row_branch, column = devices.slot_row[s], devices.slot_column[s]
            row_from = _place(clusters, devices.branch_from[row_branch], rows)
            row_to = _place(clusters, devices.branch_to[row_branch], rows)
            col_from = _place(clusters, devices.branch_from[column], rows)
            col_to = _place(clusters, devices.branch_to[column], rows)
            if max(row_from, row_to) < 0 or max(col_from, col_to) < 0:
                continue
            i, q, t = _alive(slopes, slot_i[s]), _alive(slopes, slot_q[s]), _alive(slopes, slot_t[s])
            if max(i, q, t) < 0:
                continue
            c = clusters.cluster[max(devices.branch_from[row_branch], devices.branch_to[row_branch])]
            width = (clusters.first[c + 1] - clusters.first[c]) * rows
            block = flat[clusters.offset[c]:clusters.offset[c + 1]].reshape(width, width)
            _fill_slot(two_sided, i, q, t, net.omega, devices.late, d, slot)
            _add_slot(block, row_from, col_from, slot, 1.0)
            _add_slot(block, row_from, col_to, slot, -1.0)
            _add_slot(block, row_to, col_from, slot, -1.0)
            _add_slot(block, row_to, col_to, slot, 1.0)
    if h > 0:
        for c in range(clusters.first.shape[0] - 1):
            width = (clusters.first[c + 1] - clusters.first[c]) * rows
            for i in range(width):
                flat[clusters.offset[c] + i * (width + 1)] += h


@njit(cache=True, nogil=True)
def jacobian(h, net, devices, transform, work):
    """Fill work.jacobian from the slopes left by the last `residual`; rows and columns run node by node."""
    n, rows = work.residual.shape
    jac = work.jacobian
    device_slopes(h, jac.reshape(jac.size), work.clusters, net, devices, transform, work)
    for k in range(net.omega.shape[0]):
        if not net.identity[k]:
            _times_b(jac, net.b[k], n, rows, k, work.block)
        _add_a(jac, net.a[k], n, rows, k)


@njit(cache=True, nogil=True)
def _times_b(jac, b, n, rows, k, block):
    """Rows of harmonic k: B_k times what stands there."""
    r = 2 * k - 1 if k else 0
    for l in range(n):
        block[l, :] = jac[l * rows + r]
        if k:
            block[n + l, :] = jac[l * rows + r + 1]
    for j in range(n):
        for column in range(jac.shape[1]):
            re, im = 0.0, 0.0
            for l in range(n):
                re += b[j, l].real * block[l, column]
                if k:
                    re -= b[j, l].imag * block[n + l, column]
                    im += b[j, l].imag * block[l, column] + b[j, l].real * block[n + l, column]
            jac[j * rows + r, column] = re
            if k:
                jac[j * rows + r + 1, column] = im


@njit(cache=True, nogil=True)
def _add_a(jac, a, n, rows, k):
    r = 2 * k - 1 if k else 0
    for j in range(n):
        for l in range(n):
            i, column = j * rows + r, l * rows + r
            jac[i, column] += a[j, l].real
            if k:
                jac[i, column + 1] -= a[j, l].imag
                jac[i + 1, column] += a[j, l].imag
                jac[i + 1, column + 1] += a[j, l].real
