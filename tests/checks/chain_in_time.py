"""Independent reference: a chain of bipolar stages integrated in time until it repeats itself. Nothing is from hbsim.

Transport form of the transistor (J. J. Ebers, J. L. Moll, Proc. IRE 42 (1954) 1761-1772, with depletion and transit
charge; from memory), no resistances, no Early voltages. Per stage, with R_up from the supply to b and R_down from b to
ground, R_c from the supply to c, R_e from e to ground:

    c of the stage before (or 50 ohm and the generator) --| C |-- x -- R_pad -- b
    c of the last stage --| C |-- x -- R_pad -- 50 ohm

States are the voltages of the coupling capacitors and of the two junctions of each stage; what is left is a network of
resistors, whose one unknown for each stage is the base voltage.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from scipy.integrate import solve_ivp

THERMAL_VOLTAGE = 1.380649e-23 / 1.602176634e-19 * 300.15  # kT/q at 300.15 K, SI constants of 2019 [V]
R_UP, R_DOWN, R_C, R_E, R_PAD, PORT, SUPPLY = 1500.0, 1000.0, 100.0, 27.0, 120.0, 50.0, 3.0  # as in many_devices.py
NAMES = ("IS", "BF", "BR", "CJE", "VJE", "MJE", "CJC", "VJC", "MJC", "FC", "TF", "TR")
UNITS = ("A", "", "", "F", "V", "", "F", "V", "", "", "s", "s")


def chip() -> dict[str, tuple[float, str]]:
    """An invented transistor: name -> value and unit."""
    values = (1e-16, 100.0, 5.0, 0.4e-12, 0.9, 0.33, 0.15e-12, 0.7, 0.33, 0.5, 5e-12, 0.1e-9)
    return {name: pair for name, *pair in zip(NAMES, values, UNITS)}


@njit(error_model="numpy")
def _capacitance(v, c0, v_j, m, fc):
    """Of a depletion layer, its tangent above FC VJ. [F]"""
    if v < fc * v_j:
        return c0 * (1.0 - v / v_j) ** -m
    return c0 * (1.0 - fc) ** (-1.0 - m) * (1.0 - fc * (1.0 + m) + m * v / v_j)


@njit(error_model="numpy")
def _nodes(t, s, n, emf, f0, bases, matrix):
    """Base voltages into `bases`, (n,), from s = [n + 1 coupling voltages, n of b-e, n of b-c]. [V]"""
    g = 1.0 / (R_PAD + PORT)
    matrix[:, :] = 0.0
    for k in range(n):
        v_be, v_bc = s[n + 1 + k], s[2 * n + 1 + k]
        # all currents into b, c and e together sum to zero
        matrix[k, k] = 1.0 / R_UP + 1.0 / R_DOWN + 1.0 / R_C + 1.0 / R_E
        right = SUPPLY / R_UP + (SUPPLY + v_bc) / R_C + v_be / R_E
        if k == 0:
            matrix[k, k] += g
            right += g * (emf * math.cos(2.0 * math.pi * f0 * t) - s[0])
        else:
            matrix[k, k] += 1.0 / R_PAD
            matrix[k, k - 1] -= 1.0 / R_PAD
            right += (-s[2 * n + k] - s[k]) / R_PAD
        if k == n - 1:
            matrix[k, k] += g
            right += g * (v_bc + s[n])
        else:
            matrix[k, k] += 1.0 / R_PAD
            matrix[k, k + 1] -= 1.0 / R_PAD
            right += (v_bc + s[k + 1]) / R_PAD
        bases[k] = right
    bases[:] = np.linalg.solve(matrix, bases)


@njit(error_model="numpy")
def _slopes(t, s, n, p, emf, f0, coupling):
    IS, BF, BR, CJE, VJE, MJE, CJC, VJC, MJC, FC, TF, TR = p
    b, rates = np.empty(n), np.empty(len(s))
    _nodes(t, s, n, emf, f0, b, np.empty((n, n)))
    into = (emf * math.cos(2.0 * math.pi * f0 * t) - s[0] - b[0]) / (R_PAD + PORT)
    for k in range(n):
        rates[k] = into / coupling
        v_be, v_bc = s[n + 1 + k], s[2 * n + 1 + k]
        e, c = b[k] - v_be, b[k] - v_bc
        out = (c - s[k + 1] - b[k + 1]) / R_PAD if k < n - 1 else (c - s[n]) / (R_PAD + PORT)
        forward = IS * (math.exp(v_be / THERMAL_VOLTAGE) - 1.0)
        reverse = IS * (math.exp(v_bc / THERMAL_VOLTAGE) - 1.0)
        c_be = _capacitance(v_be, CJE, VJE, MJE, FC) + TF * (forward + IS) / THERMAL_VOLTAGE
        c_bc = _capacitance(v_bc, CJC, VJC, MJC, FC) + TR * (reverse + IS) / THERMAL_VOLTAGE
        through = forward - reverse
        rates[n + 1 + k] = (e / R_E - through - forward / BF) / c_be
        rates[2 * n + 1 + k] = (through - reverse / BR - (SUPPLY - c) / R_C + out) / c_bc
        into = out
    rates[n] = into / coupling
    return rates


def chain_in_time(params: dict[str, float], stages: int, drive_dbm: float, f0: float, coupling: float, *,
                  periods: int = 36, samples: int = 512) -> np.ndarray:
    """Phasors (stages + 1, 6) of harmonics 0 to 5 at the collectors and at the load. [V]

    Parameters
    ----------
    params : dict
        `NAMES` -> SI value.
    drive_dbm, f0, coupling : float
        [dBm], [Hz], [F]
    periods, samples : int
        Integrated before the last one, and samples of that one.

    Raises
    ------
    RuntimeError
        The last period does not close to 1e-8 V; the circuit is then still settling.
    """
    n, p = stages, tuple(float(params[name]) for name in NAMES)
    emf = 2.0 * math.sqrt(2.0 * PORT * 1e-3 * 10.0 ** (drive_dbm / 10.0))
    start = np.concatenate([[-1.0], np.full(n - 1, 1.0), [2.0], np.full(n, 0.8), np.full(n, -1.0)])
    arguments = (n, p, emf, f0, coupling)
    times = (periods + np.arange(samples + 1) / samples) / f0
    found = solve_ivp(_slopes, (0.0, times[-1]), start, method="DOP853", args=arguments, rtol=1e-10, atol=1e-12,
                      first_step=1e-4 / f0, t_eval=times)
    if not found.success:
        raise RuntimeError(found.message)
    if (closure := np.abs(found.y[:, -1] - found.y[:, 0]).max()) > 1e-8:
        raise RuntimeError(f"the last period closes to {closure:.1e} V only")
    waves, bases, matrix = np.empty((n + 1, samples)), np.empty(n), np.empty((n, n))
    for m in range(samples):
        state = np.ascontiguousarray(found.y[:, m])
        _nodes(times[m], state, n, emf, f0, bases, matrix)
        waves[:n, m] = bases - state[2 * n + 1:]
        waves[n, m] = (waves[n - 1, m] - state[n]) * PORT / (R_PAD + PORT)
    spectrum = np.fft.rfft(waves, axis=1)[:, :6] / samples
    spectrum[:, 1:] *= 2.0
    return spectrum
