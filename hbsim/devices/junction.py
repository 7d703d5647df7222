"""One junction, sample by sample or whole waveforms: its exponential and its depletion charge.

Sources: exponential junction and depletion law: S. M. Sze and K. K. Ng, Physics of Semiconductor Devices, 3rd ed.,
Wiley, 2007, ch. 2; the tangent beyond FC: G. Massobrio and P. Antognetti, Semiconductor Device Modeling, 2nd ed.,
McGraw-Hill, 1993, ch. 1 (both from memory). The only place where an exponential is continued.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit, types

from .elementary import exponential, logarithm

# A junction current beyond any that these devices are for. From here on the law goes along its tangent: a wild Newton
# step stays finite, and comes back in one step instead of one thermal voltage a step.
TANGENT_CURRENT = 1e9  # [A]
_OVERFLOW = 700.0  # exp of more may not be a number
_BLOCKED = -45.0  # exp of less is lost beside 1: it need not be computed

_row = types.float64[::1]
_pair = types.UniTuple(types.float64, 2)


@njit(_pair(types.float64, types.float64, types.float64), cache=True, error_model="numpy", forceinline=True)
def junction_current(v, saturation, per_slope):
    """Current [A] and conductance [S] of IS (exp(v / (n V_T)) - 1), for v [V], IS > 0 [A] and 1 / (n V_T) [1/V].

    The only place where an exponential is continued: along the tangent past TANGENT_CURRENT."""
    x = v * per_slope
    within = x if x < _OVERFLOW else _OVERFLOW
    flow = saturation * exponential(within if within > _BLOCKED else _BLOCKED) if x >= _BLOCKED else 0.0
    beyond = x - (logarithm(TANGENT_CURRENT) - logarithm(saturation))
    past = (flow > TANGENT_CURRENT) | (x >= _OVERFLOW)
    current = TANGENT_CURRENT * (1.0 + beyond) if past else flow
    return current - saturation, (TANGENT_CURRENT if past else flow) * per_slope


@njit(_pair(types.float64, *[types.float64] * 7), cache=True, error_model="numpy", forceinline=True)
def _depletion_at(v, c0, v0, m, edge, q_edge, c_edge, slope):
    beyond = v - edge
    room = 1.0 - (v if beyond < 0.0 else edge) / v0
    c = c0 * exponential(-m * logarithm(room))  # quicker than a power
    charge = v0 / (1.0 - m) * (c0 - room * c)
    past = not beyond < 0.0
    return (q_edge + beyond * (c_edge + 0.5 * slope * beyond) if past else charge), \
        (c_edge + slope * beyond if past else c)


@njit(_pair(types.float64, types.float64[::1], types.int64), cache=True)
def depletion(v, p, at):
    """Charge [C] and capacitance [F] of a depletion layer at the junction voltage v. [V]

    p[at:at + 7] comes from `depletion_constants`. The capacitance is C0 (1 - v/V0)^-M below FC V0 and its tangent
    line above; charge, capacitance and the slope of the capacitance are continuous there.
    """
    if p[at] == 0.0:
        return 0.0, 0.0
    return _depletion_at(v, p[at], p[at + 1], p[at + 2], p[at + 3], p[at + 4], p[at + 5], p[at + 6])


@njit(types.void(_row, types.float64, types.float64, types.float64, _row, _row), cache=True, error_model="numpy")
def junction_currents(v, sign, saturation, per_slope, current, conductance):
    """`junction_current` at every sample of sign * v."""
    for n in range(v.shape[0]):
        current[n], conductance[n] = junction_current(sign * v[n], saturation, per_slope)


@njit(types.void(_row, types.float64, _row, types.int64, _row, _row), cache=True, error_model="numpy")
def depletions(v, sign, p, at, charge, capacitance):
    """`depletion` at every sample of sign * v; the charge has the sign too."""
    c0, v0, m, edge, q_edge, c_edge, slope = p[at], p[at + 1], p[at + 2], p[at + 3], p[at + 4], p[at + 5], p[at + 6]
    if c0 == 0.0:
        charge[:] = 0.0
        capacitance[:] = 0.0
        return
    for n in range(v.shape[0]):
        q, capacitance[n] = _depletion_at(sign * v[n], c0, v0, m, edge, q_edge, c_edge, slope)
        charge[n] = sign * q


def depletion_constants(c0: float, v0: float, m: float, fc: float) -> np.ndarray:
    """What `depletion` reads of one junction.

    Parameters
    ----------
    c0 : float
        Capacitance at 0 V. [F]
    v0 : float
        Built-in voltage; above zero. [V]
    m : float
        Grading exponent, 0 <= m < 1: 1/2 abrupt, 1/3 linearly graded. [1]
    fc : float
        Share of v0 from which the capacitance goes on along its tangent, 0 <= fc < 1. [1]

    Returns
    -------
    ndarray, shape (7,)
        c0, v0, m, then at the edge fc v0: the voltage [V], charge [C], capacitance [F] and its slope [F/V].
    """
    room = 1.0 - fc
    return np.array([c0, v0, m, fc * v0, c0 * v0 / (1.0 - m) * (1.0 - room ** (1.0 - m)), c0 * room**-m,
                     c0 * m / v0 * room ** (-m - 1.0)])


def critical_voltage(saturation_current: float, slope_voltage: float) -> float:
    """Where the exponential bends hardest on paper with these axes: n v_t ln(n v_t / (sqrt(2) IS)). [V]

    Parameters
    ----------
    saturation_current : float
        IS, above zero. [A]
    slope_voltage : float
        n k T / q. [V]
    """
    return slope_voltage * math.log(slope_voltage / (math.sqrt(2.0) * saturation_current))
