"""Damped Newton steps on the equations of the balance, and the march along a row of points; compiled."""

from __future__ import annotations

import numpy as np
from numba import njit

from .equations import branch_voltages, jacobian, node_currents, residual
from .native import lu_factor, lu_solve

BALANCED, STALLED, SPENT, SINGULAR = 0, 1, 2, 3
TOLERANCE = 1e-10  # of the currents that cancel at a node


@njit(cache=True, nogil=True)
def _longest_step(devices, transform, work):
    """Share of the Newton step after which the first junction would run far up its exponential."""
    branch_voltages(work.step, devices, work.spectrum)
    change = work.change
    np.dot(work.spectrum, transform.synthesis, change)
    share = 1.0
    for m in range(change.shape[0]):
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
def _moved(x, share, step, trial):
    for j in range(x.shape[0]):
        for r in range(x.shape[1]):
            trial[j, r] = x[j, r] + share * step[j, r]


@njit(cache=True, nogil=True)
def newton(x, c, parameters, h, x_ref, most_steps, net, devices, transform, lapack, work):
    """Bring x (n, rows) to balance in place; work holds the last `residual` at x.

    Returns
    -------
    stop : int
        BALANCED, STALLED, SPENT or SINGULAR.
    steps : int
        Newton steps taken (factorisations).
    error : float
        Largest current error relative to the currents that cancel.
    """
    error, squares = residual(x, c, parameters, h, x_ref, net, devices, transform, work)
    steps = 0
    while True:
        if not np.isfinite(squares):
            return STALLED, steps, error
        # quadratic convergence: the step after one that balances to TOLERANCE is taken too, down to rounding
        last = error <= TOLERANCE
        if last and error <= 1e-3 * TOLERANCE:
            return BALANCED, steps, error
        if steps >= most_steps:
            return (BALANCED if last else SPENT), steps, error
        jacobian(h, net, devices, transform, work)
        if lu_factor(lapack, work.jacobian, work.pivots) != 0:
            return (BALANCED if last else SINGULAR), steps, error
        steps += 1
        flat, wanted = work.step.reshape(work.step.size), work.residual.reshape(work.residual.size)
        for i in range(flat.shape[0]):
            flat[i] = -wanted[i]
        lu_solve(lapack, work.jacobian, work.pivots, flat)
        share = 1.0 if last else _longest_step(devices, transform, work)
        while True:
            _moved(x, share, work.step, work.trial)
            new_error, new_squares = residual(work.trial, c, parameters, h, x_ref, net, devices, transform, work)
            if last or new_squares <= (1.0 - 1e-4 * share) * squares or new_error <= TOLERANCE:
                break
            share *= 0.5
            if share < 1e-5:
                return STALLED, steps, error
        if last:
            if new_error < error:
                x[:, :] = work.trial
                return BALANCED, steps, new_error
            residual(x, c, parameters, h, x_ref, net, devices, transform, work)
            return BALANCED, steps, error
        x[:, :] = work.trial
        error, squares = new_error, new_squares


@njit(cache=True, nogil=True)
def march(xs, cs, parameters, most_steps, flows, stops, steps, errors, net, devices, transform, lapack, work):
    """Solve a row of points in order, each from an extrapolation of the two before it.

    xs: (n_point, n, rows), xs[0] holds the start. cs: (n_point, K+1, n); parameters: (n_parameter,).
    flows: (n_point, n, rows), filled with the device currents at every node. stops, steps, errors: (n_point,).
    Stops at the first point that does not balance and returns its number; n_point when all did.
    """
    for point in range(xs.shape[0]):
        if point >= 2:
            # how far the sources move, against how far they moved to the point before
            along, before = 0.0, 0.0
            for k in range(cs.shape[1]):
                for j in range(cs.shape[2]):
                    past = cs[point - 1, k, j] - cs[point - 2, k, j]
                    ahead = cs[point, k, j] - cs[point - 1, k, j]
                    along += ahead.real * past.real + ahead.imag * past.imag
                    before += past.real * past.real + past.imag * past.imag
            ratio = min(max(along / before, 0.0), 3.0) if before > 0 else 0.0
            for j in range(xs.shape[1]):
                for r in range(xs.shape[2]):
                    xs[point, j, r] = xs[point - 1, j, r] + ratio * (xs[point - 1, j, r] - xs[point - 2, j, r])
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
        node_currents(devices, work.total, flows[point])
    return xs.shape[0]
