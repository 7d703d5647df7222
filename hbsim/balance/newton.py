"""The compiled balance: residual, Jacobian, damped Newton steps.

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

from .native import call_law, lu_factor, lu_solve

Net = namedtuple("Net", "a b identity omega")
"""a, b: (K+1, n, n) complex; identity: (K+1,) bool; omega: (K+1,) [rad/s]."""

Devices = namedtuple("Devices", "address branch_start branch_from branch_to parameter_start delay junction "
                                "slot_start slot_row slot_column slot_i slot_q slot_t wave_device wave_kind wave_at")
"""All devices of a circuit, flattened. branch_*: device node numbers, -1 ground. junction: (n_branch, 2).
slot_*: pairs (row branch, column branch) with the numbers of their slope waveforms, -1 where zero; wave_*: where
each slope waveform stands (device, 0 i / 1 q / 2 t, row * n_branch + column)."""

Work = namedtuple("Work", "u i q t di dq dt spectrum branch slopes coefficient node residual scale jacobian "
                          "block pivots step trial sum_of_sizes change")

BALANCED, STALLED, SPENT, SINGULAR = 0, 1, 2, 3
TOLERANCE = 1e-10  # of the currents that cancel at a node
_FLOOR = 1e-17  # currents below are rounding. [A]


@njit(cache=True, nogil=True)
def _currents(x, parameters, devices, transform, work):
    """Device laws at the voltages x (rows, n): branch spectra in work.branch (3, n_branch, rows)."""
    n_branch, rows = devices.branch_from.shape[0], x.shape[0]
    for m in range(n_branch):
        start, end = devices.branch_from[m], devices.branch_to[m]
        for h in range(rows):
            value = 0.0
            if start >= 0:
                value += x[h, start]
            if end >= 0:
                value -= x[h, end]
            work.spectrum[m, h] = value
    np.dot(work.spectrum, transform.synthesis, work.u)
    for d in range(devices.address.shape[0]):
        lo, hi = devices.branch_start[d], devices.branch_start[d + 1]
        call_law(devices.address[d], work.u[lo:hi], parameters[devices.parameter_start[d]:],
                 work.i[lo:hi], work.q[lo:hi], work.t[lo:hi], work.di[d], work.dq[d], work.dt[d])
    np.dot(work.i, transform.analysis, work.branch[0])
    np.dot(work.q, transform.analysis, work.branch[1])
    np.dot(work.t, transform.analysis, work.branch[2])


@njit(cache=True, nogil=True)
def _branch_phasor(work, devices, omega, d, m, k):
    """Total current phasor of branch m of device d at harmonic k."""
    branch = work.branch
    if k == 0:
        return complex(branch[0, m, 0] + branch[2, m, 0], 0.0)
    r = 2 * k - 1
    total = complex(branch[0, m, r], branch[0, m, r + 1])
    total += 1j * omega * complex(branch[1, m, r], branch[1, m, r + 1])
    lag = omega * devices.delay[d]
    total += complex(np.cos(lag), -np.sin(lag)) * complex(branch[2, m, r], branch[2, m, r + 1])
    return total


@njit(cache=True, nogil=True)
def residual(x, c, parameters, h, x_ref, net, devices, transform, work):
    """Fill work.residual (rows, n) and work.scale (rows, n); returns (largest relative error, sum of squares)."""
    _currents(x, parameters, devices, transform, work)
    n, n_k = x.shape[1], net.omega.shape[0]
    worst, squares = 0.0, 0.0
    for j in range(n):
        work.scale[j] = _FLOOR
    for k in range(n_k):
        r = 2 * k - 1 if k else 0
        node, size = work.node, work.sum_of_sizes
        for j in range(n):
            v = complex(x[r, j], x[r + 1, j]) if k else complex(x[0, j], 0.0)
            v_ref = complex(x_ref[r, j], x_ref[r + 1, j]) if k else complex(x_ref[0, j], 0.0)
            node[j] = h * (v - v_ref)
            size[j] = abs(node[j])
        for d in range(devices.address.shape[0]):
            for m in range(devices.branch_start[d], devices.branch_start[d + 1]):
                current = _branch_phasor(work, devices, net.omega[k], d, m, k)
                start, end = devices.branch_from[m], devices.branch_to[m]
                if start >= 0 and start != end:
                    node[start] += current
                    size[start] += abs(current)
                if end >= 0 and start != end:
                    node[end] -= current
                    size[end] += abs(current)
        for j in range(n):
            total, extent = -c[k, j], abs(c[k, j])
            for l in range(n):
                v = complex(x[r, l], x[r + 1, l]) if k else complex(x[0, l], 0.0)
                term = net.a[k, j, l] * v
                total += term
                extent += abs(term)
                if not net.identity[k]:
                    total += net.b[k, j, l] * node[l]
                    extent += abs(net.b[k, j, l]) * size[l]
            if net.identity[k]:
                total += node[j]
                extent += size[j]
                work.scale[j] = max(work.scale[j], extent)
            else:
                worst = max(worst, abs(total) / max(extent, _FLOOR))
            work.residual[r, j] = total.real
            squares += total.real * total.real
            if k:
                work.residual[r + 1, j] = total.imag
                squares += total.imag * total.imag
    for k in range(n_k):
        if net.identity[k]:
            r = 2 * k - 1 if k else 0
            for j in range(n):
                error = abs(work.residual[r, j])
                if k:
                    error = np.hypot(work.residual[r, j], work.residual[r + 1, j])
                worst = max(worst, error / work.scale[j])
    if not np.isfinite(squares):
        return np.inf, np.inf
    return worst, squares


@njit(cache=True, nogil=True)
def _scatter(jacobian, row, column, n, r, l, direct, mirror, sign):
    """Add sign * (direct V_l + mirror conj(V_l)) to the rows of harmonic row r, node `row`."""
    base = 2 * l - 1 if l else 0
    i, j = r * n + row, base * n + column
    if l == 0:
        jacobian[i, j] += sign * direct.real
        if r:
            jacobian[i + n, j] += sign * direct.imag
        return
    cosine, sine = direct + mirror, 1j * (direct - mirror)
    jacobian[i, j] += sign * cosine.real
    jacobian[i, j + n] += sign * sine.real
    if r:
        jacobian[i + n, j] += sign * cosine.imag
        jacobian[i + n, j + n] += sign * sine.imag


@njit(cache=True, nogil=True)
def _slope(coefficient, wave, m):
    """Two-sided coefficient m of a slope waveform; zero where there is none."""
    if wave < 0:
        return 0j
    if m >= 0:
        return complex(coefficient[wave, 2 * m], coefficient[wave, 2 * m + 1])
    return complex(coefficient[wave, -2 * m], -coefficient[wave, 1 - 2 * m])


@njit(cache=True, nogil=True)
def jacobian(h, net, devices, transform, work):
    """Fill work.jacobian from the slopes left by the last `residual`; rows and columns run harmonic by harmonic."""
    n, n_k = work.residual.shape[1], net.omega.shape[0]
    jac = work.jacobian
    jac[:, :] = 0.0
    for w in range(devices.wave_device.shape[0]):
        d, at = devices.wave_device[w], devices.wave_at[w]
        if devices.wave_kind[w] == 0:
            work.slopes[w, :] = work.di[d, at]
        elif devices.wave_kind[w] == 1:
            work.slopes[w, :] = work.dq[d, at]
        else:
            work.slopes[w, :] = work.dt[d, at]
    np.dot(work.slopes, transform.slopes, work.coefficient)
    coefficient = work.coefficient
    for d in range(devices.address.shape[0]):
        for s in range(devices.slot_start[d], devices.slot_start[d + 1]):
            m_row, m_column = devices.slot_row[s], devices.slot_column[s]
            row_from, row_to = devices.branch_from[m_row], devices.branch_to[m_row]
            col_from, col_to = devices.branch_from[m_column], devices.branch_to[m_column]
            if row_from == row_to or col_from == col_to:
                continue
            wi, wq, wt = devices.slot_i[s], devices.slot_q[s], devices.slot_t[s]
            for k in range(n_k):
                r = 2 * k - 1 if k else 0
                lag = net.omega[k] * devices.delay[d]
                late, rate = complex(np.cos(lag), -np.sin(lag)), 1j * net.omega[k]
                for l in range(n_k):
                    direct = _slope(coefficient, wi, k - l) + late * _slope(coefficient, wt, k - l)
                    mirror = _slope(coefficient, wi, k + l) + late * _slope(coefficient, wt, k + l)
                    if wq >= 0 and k:
                        direct += rate * _slope(coefficient, wq, k - l)
                        mirror += rate * _slope(coefficient, wq, k + l)
                    if k and l == 0:
                        direct *= 2.0
                    elif k == 0 and l:
                        # harmonic 0 is real: Re(g_l* V_l), half of it from each of the two terms
                        mirror = direct.conjugate() * 0.5
                        direct = direct * 0.5
                    if row_from >= 0:
                        if col_from >= 0:
                            _scatter(jac, row_from, col_from, n, r, l, direct, mirror, 1.0)
                        if col_to >= 0:
                            _scatter(jac, row_from, col_to, n, r, l, direct, mirror, -1.0)
                    if row_to >= 0:
                        if col_from >= 0:
                            _scatter(jac, row_to, col_from, n, r, l, direct, mirror, -1.0)
                        if col_to >= 0:
                            _scatter(jac, row_to, col_to, n, r, l, direct, mirror, 1.0)
    if h > 0:
        for i in range(jac.shape[0]):
            jac[i, i] += h
    for k in range(n_k):
        if not net.identity[k]:
            _times_b(jac, net.b[k], n, k, work.block)
        _add_a(jac, net.a[k], n, k)


@njit(cache=True, nogil=True)
def _times_b(jac, b, n, k, block):
    """Rows of harmonic k: B_k times what stands there."""
    first = (2 * k - 1 if k else 0) * n
    rows = 2 * n if k else n
    block[:rows, :] = jac[first:first + rows, :]
    for j in range(n):
        for column in range(jac.shape[1]):
            re, im = 0.0, 0.0
            for l in range(n):
                re += b[j, l].real * block[l, column]
                if k:
                    re -= b[j, l].imag * block[n + l, column]
                    im += b[j, l].imag * block[l, column] + b[j, l].real * block[n + l, column]
            jac[first + j, column] = re
            if k:
                jac[first + n + j, column] = im


@njit(cache=True, nogil=True)
def _add_a(jac, a, n, k):
    first = (2 * k - 1 if k else 0) * n
    for j in range(n):
        for l in range(n):
            jac[first + j, first + l] += a[j, l].real
            if k:
                jac[first + j, first + n + l] -= a[j, l].imag
                jac[first + n + j, first + l] += a[j, l].imag
                jac[first + n + j, first + n + l] += a[j, l].real


@njit(cache=True, nogil=True)
def _longest_step(devices, transform, work):
    """Share of the Newton step after which the first junction would run far up its exponential."""
    n_branch, rows = work.spectrum.shape
    for m in range(n_branch):
        start, end = devices.branch_from[m], devices.branch_to[m]
        for h in range(rows):
            value = 0.0
            if start >= 0:
                value += work.step[h, start]
            if end >= 0:
                value -= work.step[h, end]
            work.spectrum[m, h] = value
    change = work.change
    np.dot(work.spectrum, transform.synthesis, change)
    share = 1.0
    for m in range(n_branch):
        slope_voltage, critical = devices.junction[m, 0], devices.junction[m, 1]
        if slope_voltage == 0.0:
            continue
        sign = 1.0 if slope_voltage > 0 else -1.0
        for s in range(change.shape[1]):
            now, move = sign * work.u[m, s], sign * change[m, s]
            allowed = max(critical - now, 0.0) + 6.0 * abs(slope_voltage)
            if move > allowed:
                share = min(share, allowed / move)
    return share


@njit(cache=True, nogil=True)
def newton(x, c, parameters, h, x_ref, most_steps, net, devices, transform, lapack, work):
    """Bring x (rows, n) to balance in place.

    Returns
    -------
    stop : int
        BALANCED, STALLED, SPENT or SINGULAR.
    steps : int
        Newton steps taken (factorisations).
    error : float
        Largest current error relative to the currents that cancel.
    """
    rows, n = x.shape
    error, squares = residual(x, c, parameters, h, x_ref, net, devices, transform, work)
    steps, polished = 0, False
    while True:
        if not np.isfinite(squares):
            return STALLED, steps, error
        if error <= TOLERANCE:
            if polished or error <= 1e-3 * TOLERANCE:
                return BALANCED, steps, error
            polished = True  # one more step: quadratic convergence brings it to rounding
        elif polished:
            return BALANCED, steps, error
        if steps == most_steps:
            return SPENT, steps, error
        jacobian(h, net, devices, transform, work)
        if lu_factor(lapack, work.jacobian, work.pivots) != 0:
            return SINGULAR, steps, error
        steps += 1
        flat = work.step.reshape(rows * n)
        flat[:] = -work.residual.reshape(rows * n)
        lu_solve(lapack, work.jacobian, work.pivots, flat)
        if polished:
            for r in range(rows):
                for j in range(n):
                    work.trial[r, j] = x[r, j] + work.step[r, j]
            new_error, new_squares = residual(work.trial, c, parameters, h, x_ref, net, devices, transform, work)
            if new_error <= TOLERANCE:
                x[:, :] = work.trial
                return BALANCED, steps, new_error
            residual(x, c, parameters, h, x_ref, net, devices, transform, work)
            return BALANCED, steps, error
        share = _longest_step(devices, transform, work)
        while True:
            for r in range(rows):
                for j in range(n):
                    work.trial[r, j] = x[r, j] + share * work.step[r, j]
            new_error, new_squares = residual(work.trial, c, parameters, h, x_ref, net, devices, transform, work)
            if new_squares <= (1.0 - 1e-4 * share) * squares or new_error <= TOLERANCE:
                break
            share *= 0.5
            if share < 1e-5:
                return STALLED, steps, error
        x[:, :] = work.trial
        error, squares = new_error, new_squares


@njit(cache=True, nogil=True)
def march(xs, cs, parameters, most_steps, currents, stops, steps, errors, net, devices, transform, lapack, work):
    """Solve a row of points in order, each from an extrapolation of the two before it.

    xs: (n_point, rows, n), xs[0] holds the start. cs: (n_point, K+1, n); parameters: (n_parameter,).
    currents: (n_point, K+1, n), filled with the device currents at every node. stops, steps, errors: (n_point,).
    Stops at the first point that does not balance and returns its number; n_point when all did.
    """
    for point in range(xs.shape[0]):
        if point >= 2:
            # the last two points tell the direction; amplitude steps are equal only on a linear axis, so scale
            # by the ratio of the source steps
            num, den = 0.0, 0.0
            for k in range(cs.shape[1]):
                for j in range(cs.shape[2]):
                    before = cs[point - 1, k, j] - cs[point - 2, k, j]
                    ahead = cs[point, k, j] - cs[point - 1, k, j]
                    num += (ahead * before.conjugate()).real
                    den += (before * before.conjugate()).real
            ratio = min(max(num / den, 0.0), 3.0) if den > 0 else 1.0
            xs[point] = xs[point - 1] + ratio * (xs[point - 1] - xs[point - 2])
        elif point == 1:
            xs[1] = xs[0]
        stop, count, error = newton(xs[point], cs[point], parameters, 0.0, xs[point], most_steps, net, devices,
                                    transform, lapack, work)
        if stop != BALANCED and point >= 2:
            xs[point] = xs[point - 1]
            stop, more, error = newton(xs[point], cs[point], parameters, 0.0, xs[point], most_steps, net,
                                       devices, transform, lapack, work)
            count += more
        stops[point], steps[point], errors[point] = stop, count, error
        if stop != BALANCED:
            return point
        node_currents(devices, net, work, currents[point])
    return xs.shape[0]


@njit(cache=True, nogil=True)
def node_currents(devices, net, work, out):
    """Device currents out of every node, (K+1, n), at the voltages of the last `residual`."""
    out[:, :] = 0.0
    for k in range(net.omega.shape[0]):
        for d in range(devices.address.shape[0]):
            for m in range(devices.branch_start[d], devices.branch_start[d + 1]):
                current = _branch_phasor(work, devices, net.omega[k], d, m, k)
                if devices.branch_from[m] >= 0:
                    out[k, devices.branch_from[m]] += current
                if devices.branch_to[m] >= 0:
                    out[k, devices.branch_to[m]] -= current
