"""Damped Newton steps on the equations of the balance, and the march along a row of points; compiled."""

from __future__ import annotations

import numpy as np
from numba import njit

from .equations import branch_voltages, node_currents, residual
from .linearised import factor, linearise, rounding_alone, solve_linear

BALANCED, STALLED, SPENT, SINGULAR, UNSOLVED = 0, 1, 2, 3, 4
TOLERANCE = 1e-9  # of the currents that cancel at a node
_NO_JACOBIAN = -1  # in the place of the number of updates to the factored one
_FEW_STEPS = 3  # after more, the Jacobian kept costs the next point more steps than it saves (measured)
_KNOTS = 4  # points that the next is extrapolated from
_POLISH = 3  # steps spent, within the tolerance, on two more digits
_CONTRACTS = 0.1  # an old Jacobian is kept while each step with it leaves less than this share of the error


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
def _updated_step(work, follows, step):
    """Turn `step` = -(factored Jacobian)^-1 F into Broyden's step, from the steps taken since that was made; `follows`:
    the last of them led to this F.

    C. T. Kelley, Iterative Methods for Linear and Nonlinear Equations, SIAM, 1995, algorithm brsol (from memory);
    a step and the one that followed it make an update, which serves at later points of a row too.
    False where the update breaks down."""
    history, followers, lengths = work.history, work.followers, work.lengths
    known = work.kept[0]
    for j in range(known + 1 if follows else known):
        along = 0.0
        for i in range(step.shape[0]):
            along += history[j, i] * step[i]
        along /= lengths[j]
        if j < known:
            for i in range(step.shape[0]):
                step[i] += along * followers[j, i]
        else:
            if abs(1.0 - along) < 0.1:
                return False
            for i in range(step.shape[0]):
                step[i] /= 1.0 - along
                followers[j, i] = step[i]
            work.kept[0] += 1
    return True


@njit(cache=True, nogil=True)
def _keep_step(work, step):
    """Remember a step taken in full, for the update that the next one makes of it; a full memory is begun anew."""
    if work.kept[0] == work.history.shape[0]:
        work.kept[0] = 0
    length = 0.0
    for i in range(step.shape[0]):
        work.history[work.kept[0], i] = step[i]
        length += step[i] * step[i]
    work.lengths[work.kept[0]] = length


@njit(cache=True, nogil=True)
def damped_step(x, squares, c, parameters, h, x_ref, net, devices, transform, work):
    """Move x along work.step as far as lessens the error; (share taken, 0 where none does; error; sum of squares)."""
    share = _longest_step(devices, transform, work)
    while True:
        _moved(x, share, work.step, work.trial)
        error, now = residual(work.trial, c, parameters, h, x_ref, net, devices, transform, work)
        if now <= (1.0 - 1e-4 * share) * squares or error <= TOLERANCE:
            x[:, :] = work.trial
            return share, error, now
        share *= 0.5
        if share < 1e-5:
            return 0.0, error, squares


@njit(cache=True, nogil=True)
def newton(x, c, parameters, h, x_ref, most_steps, net, devices, transform, lapack, work, krylov):
    """Bring x (n, rows) to balance in place; work.total then holds the branch currents at x.

    Returns
    -------
    stop : int
        BALANCED, STALLED, SPENT or SINGULAR; or UNSOLVED: the step could not be found by iteration, and x is where a
        step found otherwise has to begin (`System.newton` sees to it).
    steps : int
        Steps taken, those with an old Jacobian included; work.factorisations counts the new ones.
    error : float
        Largest current error relative to the currents that cancel.
    """
    work.kept[0] = _NO_JACOBIAN
    return _to_balance(x, c, parameters, h, x_ref, most_steps, net, devices, transform, lapack, work, krylov)


@njit(cache=True, nogil=True)
def _to_balance(x, c, parameters, h, x_ref, most_steps, net, devices, transform, lapack, work, krylov):
    """`newton`, begun with the Jacobian that the point before left, if it left one (work.kept).

    Newton steps with a new Jacobian are damped; once one of them contracts the error well, the factored Jacobian is
    kept and improved by Broyden's updates for as long as that goes on."""
    error, squares = residual(x, c, parameters, h, x_ref, net, devices, transform, work)
    steps, follows, polished = 0, False, 0
    flat, wanted = work.step.reshape(work.step.size), work.residual.reshape(work.residual.size)
    while True:
        if not np.isfinite(squares):
            return STALLED, steps, error
        if error <= TOLERANCE and (polished >= _POLISH or error <= 1e-2 * TOLERANCE):
            return BALANCED, steps, error
        if steps >= most_steps:
            return (BALANCED if error <= TOLERANCE else SPENT), steps, error
        new = work.kept[0] == _NO_JACOBIAN
        if new:
            linearise(h, net, devices, transform, work, krylov)
            if rounding_alone(x, net, work, krylov):
                return BALANCED, steps, error
            if not factor(lapack, work, krylov):
                # a piece may be singular where the whole is not
                lost = SINGULAR if work.jacobian.shape[0] else UNSOLVED
                return (BALANCED if error <= TOLERANCE else lost), steps, error
            work.factorisations[0] += 1
            work.kept[0], follows = 0, False
        for i in range(flat.shape[0]):
            flat[i] = -wanted[i]
        if not solve_linear(lapack, work, krylov):
            work.kept[0] = _NO_JACOBIAN
            if not new:  # with the slopes of here it may go better
                continue
            return (BALANCED if error <= TOLERANCE else UNSOLVED), steps, error
        steps += 1
        if new and error > TOLERANCE:
            share, new_error, squares = damped_step(x, squares, c, parameters, h, x_ref, net, devices, transform, work)
            if share == 0.0:
                work.kept[0] = _NO_JACOBIAN
                return STALLED, steps, error
            follows = share == 1.0 and new_error < _CONTRACTS * error
            if follows:
                _keep_step(work, flat)
            else:
                work.kept[0] = _NO_JACOBIAN
            error = new_error
            continue
        polishing = error <= TOLERANCE
        sound = _updated_step(work, follows, flat)
        _moved(x, 1.0, work.step, work.trial)
        new_error, new_squares = residual(work.trial, c, parameters, h, x_ref, net, devices, transform, work)
        better = sound and new_error < error and (polishing or new_squares < squares)
        follows = better and new_error < _CONTRACTS * error
        if polishing:  # the power balance wants more digits than the tolerance, as long as there are any
            polished += _POLISH if new and not better else 1
        if better:
            x[:, :] = work.trial
            error, squares = new_error, new_squares
        else:  # rounding is reached, or the old Jacobian no longer serves: back to x, whose slopes are wanted again
            error, squares = residual(x, c, parameters, h, x_ref, net, devices, transform, work)
        if follows:
            _keep_step(work, flat)
        else:
            work.kept[0] = _NO_JACOBIAN


@njit(cache=True, nogil=True)
def _moved_by(cs, point, before):
    """How far the sources moved from the point before to this one, and along the move to the last point; squared."""
    here, along = 0.0, 0.0
    for k in range(cs.shape[1]):
        for j in range(cs.shape[2]):
            d = cs[before, k, j] - cs[before - 1, k, j]
            last = cs[point, k, j] - cs[point - 1, k, j]
            here += d.real * d.real + d.imag * d.imag
            along += d.real * last.real + d.imag * last.imag
    return here, along


@njit(cache=True, nogil=True)
def _extrapolate(xs, cs, point):
    """Start of a point from up to `_KNOTS` before it, as long as the sources move on along one line; else from the
    last: the polynomial through them, by Lagrange's formula in the distance from the new point."""
    ahead, _ = _moved_by(cs, point, point)
    ahead = np.sqrt(ahead)
    away = np.zeros(_KNOTS)
    away[0] = ahead
    known, before = 1, ahead
    while known < _KNOTS and point - known >= 1:
        past, along = _moved_by(cs, point, point - known)
        past = np.sqrt(past)
        if not (past > 0.0 and along > 0.999 * ahead * past and before < 3.0 * past):
            break
        away[known] = away[known - 1] + past
        known, before = known + 1, past
    xs[point, :, :] = 0.0
    for m in range(known):
        weight = 1.0
        for l in range(known):
            if l != m:
                weight *= away[l] / (away[l] - away[m])
        for j in range(xs.shape[1]):
            for r in range(xs.shape[2]):
                xs[point, j, r] += weight * xs[point - 1 - m, j, r]


@njit(cache=True, nogil=True)
def refine(xs, starts, cs, parameters, most_steps, flows, stops, steps, errors, net, devices, transform, lapack, work,
           krylov):
    """Solve points that each have a start of their own, such as their state with fewer harmonics; arrays as in `march`.

    What the point before gained over its start is added to the start of the next, for it mostly gains the same."""
    work.kept[0] = _NO_JACOBIAN
    before = -1  # the last point that balanced
    for point in range(xs.shape[0]):
        tries = 0 if before >= 0 else 1
        while tries < 2:
            for j in range(xs.shape[1]):
                for r in range(xs.shape[2]):
                    xs[point, j, r] = starts[point, j, r]
                    if tries == 0:
                        xs[point, j, r] += xs[before, j, r] - starts[before, j, r]
            stop, count, error = _to_balance(xs[point], cs[point], parameters, 0.0, xs[point], most_steps, net, devices,
                                        transform, lapack, work, krylov)
            stops[point], errors[point] = stop, error
            steps[point] += count
            tries = 2 if stop == BALANCED else tries + 1
        if stops[point] == BALANCED:
            before = point
            node_currents(devices, work.total, flows[point])


@njit(cache=True, nogil=True)
def march(xs, cs, parameters, most_steps, first, flows, stops, steps, errors, net, devices, transform, lapack, work,
          krylov):
    """Solve a row of points in order from the point `first`, each from an extrapolation of those before it.

    xs: (n_point, n, rows), xs[0] holds the start. cs: (n_point, K+1, n); parameters: (n_parameter,).
    flows: (n_point, n, rows), filled with the device currents at every node. stops, steps, errors: (n_point,).
    Stops at the first point that does not balance and returns its number; n_point when all did.
    """
    work.kept[0] = _NO_JACOBIAN
    for point in range(first, xs.shape[0]):
        if point >= 1:
            _extrapolate(xs, cs, point)
        stop, count, error = _to_balance(xs[point], cs[point], parameters, 0.0, xs[point], most_steps, net, devices,
                                    transform, lapack, work, krylov)
        if stop != BALANCED and stop != UNSOLVED and point >= 1:
            xs[point] = xs[point - 1]
            stop, more, error = newton(xs[point], cs[point], parameters, 0.0, xs[point], most_steps, net,
                                       devices, transform, lapack, work, krylov)
            count += more
        stops[point], steps[point], errors[point] = stop, count, error
        if stop != BALANCED:
            return point
        if count > _FEW_STEPS:
            work.kept[0] = _NO_JACOBIAN
        node_currents(devices, work.total, flows[point])
    return xs.shape[0]
