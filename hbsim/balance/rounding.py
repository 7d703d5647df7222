"""How small the current error at a node can be made at all: what rounding leaves of voltages, charges and currents.

Where a device is off and the drive does not reach it, the currents at its nodes are themselves rounding: of its charge,
which the samples spread over all harmonics, times the highest frequency. No step makes that any smaller, so that it is
no error. A bound from the slopes alone, without the Jacobian.
"""

from __future__ import annotations

import numpy as np

from .equations import residual
from .newton import TOLERANCE
from .spectrum import phasors
from .system import System

ROUNDINGS = 128 * 2.3e-16  # of the sizes that come together at a node
_CUT_OFF = 1e-12  # an error above is never put down to rounding. [A]
_FLOOR = 1e-9  # as in equations.py. [A]
_BUILT_IN = 1.0  # about the built-in voltage of any junction. [V]


def rounding_alone(system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray) -> bool:
    """Whether every current error at x (n, rows) is within tolerance or no more than rounding makes."""
    if not np.isfinite(x).all():
        return False
    work = system.work
    residual(x, c, parameters, 0.0, x, system.net, system.devices, system.transform, work)
    errors = np.abs(phasors(work.residual))
    against = np.where(system.net.identity, work.scale[:, None], np.maximum(work.extent, _FLOOR))
    rounding = np.minimum(ROUNDINGS * sizes(system, x, c), _CUT_OFF)
    return bool((errors <= np.maximum(TOLERANCE * against, rounding[:, None])).all())


def sizes(system: System, x: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Sum of what comes together at each node, in absolute value, (n,), all at its largest; after `residual` at x. [A]

    The laws of junctions are differences too: of exponentials, I_S (exp(v / n V_T) - 1), so that their rounding is that
    of slope times n V_T; of powers of 1 - v / V_J in the charge, so that it is that of slope times some volt.
    """
    devices, work, top = system.devices, system.work, system.net.omega[-1]
    largest = np.append(np.abs(phasors(x)).sum(axis=1), 0.0)  # of each node's waveform; ground last
    voltage = largest[devices.branch_from] + largest[devices.branch_to]
    behind_i, behind_q = voltage + np.abs(devices.junction[:, 0]), voltage + _BUILT_IN
    i, q, t = np.abs(work.iqt).max(axis=2)
    branch = i + t + top * q
    for d, first in enumerate(devices.branch_start[:-1]):
        n = devices.branch_start[d + 1] - first
        rows = slice(first, first + n)
        di, dq, dt = (np.abs(slopes[d, :n * n]).max(axis=1).reshape(n, n) for slopes in (work.di, work.dq, work.dt))
        branch[rows] += (di + dt) @ behind_i[rows] + top * dq @ behind_q[rows]
    node = np.zeros(len(largest))
    np.add.at(node, devices.branch_from, branch)
    np.add.at(node, devices.branch_to, branch)
    into = np.abs(system.net.b) @ node[:-1]
    return (into + np.abs(system.net.a) @ largest[:-1] + np.abs(c)).max(axis=0)
