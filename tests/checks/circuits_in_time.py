"""Independent reference for the hard cases: circuits integrated in time, their periodic orbits found by shooting.

Nothing here comes from hbsim. The diode is written anew: exponential junction, depletion charge straightened above
FC VJ, and charge TT times the junction current (S. M. Sze and K. K. Ng, Physics of Semiconductor Devices, 3rd ed.,
Wiley, 2007, ch. 2; the tangent as in G. Massobrio and P. Antognetti, Semiconductor Device Modeling, 2nd ed.,
McGraw-Hill, 1993, ch. 1; both from memory). The transistor stage is that of time_domain.py, started from elsewhere.

Which of several states a circuit settles in is decided by `settled`, a Runge-Kutta method of fixed step, compiled
because it runs for thousands of periods. Every number that is compared comes from `orbit` and `course`: DOP853 of
scipy. Shooting finds the unstable orbits too; the Floquet multipliers say which they are.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import time_domain
from numba import njit
from scipy.integrate import solve_ivp

THERMAL_VOLTAGE = time_domain.THERMAL_VOLTAGE
TIGHT = 1e-11  # relative tolerance of DOP853 where numbers are compared; absolute: this part of 1 mV
ASIDE = 1e-6  # distance of the copies of a circuit that give the monodromy matrix [V]
CLOSED = 1e-8  # last step of the shooting; it converges quadratically, so that what is left is far less [V]


class Diode(NamedTuple):
    """Parameters by their published names, SI units, 300.15 K."""

    IS: float
    N: float
    TT: float
    CJO: float
    VJ: float
    M: float
    FC: float


class Orbit(NamedTuple):
    """A periodic orbit: `state` at time 0; `multipliers` by which its disturbances grow in a period, largest first."""

    state: np.ndarray
    multipliers: np.ndarray


class InTime(NamedTuple):
    """A circuit as an explicit differential equation.

    slopes : compiled, (t, x, *arguments) -> d(x)/dt of any number of copies of the circuit, one after another in x.
    arguments : what it takes besides.
    period : of the generator. [s]
    volts : what makes a voltage of each state, (n,). [V per state]
    """

    slopes: Callable
    arguments: tuple
    period: float
    volts: np.ndarray


@njit(error_model="numpy")
def _junction(v, d):
    """Current [A] and capacitance [F] of a diode junction. The exponential is held beyond 1e26, where only trial steps
    that are thrown away go."""
    flow = d.IS * math.exp(min(v / (d.N * THERMAL_VOLTAGE), 60.0))
    if v < d.FC * d.VJ:
        c = d.CJO * (1.0 - v / d.VJ) ** -d.M
    else:
        c = d.CJO * (1.0 - d.FC) ** (-1.0 - d.M) * (1.0 - d.FC * (1.0 + d.M) + d.M * v / d.VJ)
    return flow - d.IS, c + d.TT * flow / (d.N * THERMAL_VOLTAGE)


@njit(error_model="numpy")
def _diode_loop(t, x, c):
    """States, pair by pair: coil current [A], junction voltage [V]."""
    diode, omega, emf, R, L, R_probe = c
    out = np.empty_like(x)
    for n in range(0, x.size, 2):
        current, c_j = _junction(x[n + 1], diode)
        out[n] = (emf * math.cos(omega * t) - R * x[n] - x[n + 1]) / L
        out[n + 1] = (x[n] - current - x[n + 1] / R_probe) / c_j
    return out


@njit(error_model="numpy")
def _varactor_loop(t, x, c):
    """States, four by four: coil current [A]; voltages of C, of the varactor and of C_out [V]."""
    diode, omega, emf, R, L, C, R_bias, v_bias, C_out, R_load = c
    out = np.empty_like(x)
    for n in range(0, x.size, 4):
        v = x[n + 2]
        current, c_j = _junction(v, diode)
        i_out = (v - x[n + 3]) / R_load
        out[n] = (emf * math.cos(omega * t) - R * x[n] - x[n + 1] - v) / L
        out[n + 1] = x[n] / C
        out[n + 2] = (x[n] - current - (v - v_bias) / R_bias - i_out) / c_j
        out[n + 3] = i_out / C_out
    return out


def emf(drive_dbm: float, resistance: float) -> float:
    """Peak voltage of a generator with so much available power. [V]"""
    return 2.0 * math.sqrt(2.0 * resistance * 1e-3 * 10.0 ** (drive_dbm / 10.0))


def diode_loop(diode: Diode, frequency: float, drive_dbm: float, *, R: float, L: float, R_probe: float) -> InTime:
    """Generator of R, coil and junction in series; a probe of R_probe across the junction."""
    constants = (diode, 2.0 * math.pi * frequency, emf(drive_dbm, R), R, L, R_probe)
    return InTime(_diode_loop, (constants,), 1.0 / frequency, np.array([R, 1.0]))


def varactor_loop(diode: Diode, frequency: float, drive_dbm: float, *, R_generator: float, R_coil: float, L: float,
                  C: float, R_bias: float, v_bias: float, C_out: float, R_load: float) -> InTime:
    """Generator, coil, C and varactor in series; bias through R_bias and load through C_out at the varactor."""
    constants = (diode, 2.0 * math.pi * frequency, emf(drive_dbm, R_generator), R_generator + R_coil, L, C, R_bias,
                 v_bias, C_out, R_load)
    return InTime(_varactor_loop, (constants,), 1.0 / frequency, np.array([R_generator + R_coil, 1.0, 1.0, 1.0]))


@njit(error_model="numpy")
def _march(slopes, x, arguments, period, periods, steps):
    h = period / steps
    for _ in range(periods):
        for s in range(steps):
            t = s * h
            k1 = slopes(t, x, *arguments)
            k2 = slopes(t + h / 2, x + h / 2 * k1, *arguments)
            k3 = slopes(t + h / 2, x + h / 2 * k2, *arguments)
            k4 = slopes(t + h, x + h * k3, *arguments)
            x = x + h / 6 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
    return x


def settled(circuit: InTime, x: np.ndarray, periods: int, steps: int) -> np.ndarray:
    """State after so many periods of the classical fourth-order Runge-Kutta method, `steps` in each."""
    return _march(circuit.slopes, np.asarray(x, float), circuit.arguments, circuit.period, periods, steps)


def course(circuit: InTime, x: np.ndarray, times: np.ndarray) -> np.ndarray:
    """States from x at time 0, (n_state, n_time), by DOP853."""
    copies = len(x) // len(circuit.volts)
    found = solve_ivp(circuit.slopes, (0.0, times[-1]), x, method="DOP853", t_eval=times, args=circuit.arguments,
                      rtol=TIGHT, atol=TIGHT * 1e-3 / np.tile(circuit.volts, copies))
    if not found.success:
        raise RuntimeError(found.message)
    return found.y


def orbit(circuit: InTime, x: np.ndarray, longest: float = 0.1) -> Orbit:
    """The periodic orbit near x, stable or not: Newton on x(T) - x(0) = 0.

    The matrix comes from copies that start a little aside and share all steps with the original, so that the
    differences are free of step noise. No step is longer than `longest` [V], the reach of an exponential's bend.
    """
    x, n = np.asarray(x, float), len(circuit.volts)
    for _ in range(60):
        family = np.vstack([x, x + np.diag(ASIDE / circuit.volts)])
        end = course(circuit, family.ravel(), np.array([circuit.period]))[:, 0].reshape(family.shape)
        monodromy = (end[1:] - end[0]).T * (circuit.volts / ASIDE)
        step = np.linalg.solve(monodromy - np.eye(n), x - end[0])
        length = np.abs(step * circuit.volts).max()
        x = x + step * min(1.0, longest / length)
        if length < CLOSED:
            multipliers = np.linalg.eigvals(monodromy)
            return Orbit(x, multipliers[np.argsort(-np.abs(multipliers))])
    raise RuntimeError(f"shooting did not close: last step {length:.1e} V")


def one_period(circuit: InTime, x: np.ndarray, samples: int = 1024) -> np.ndarray:
    """States at equal steps over one period, its end left out. (n_state, samples)"""
    return course(circuit, x, np.arange(samples + 1) / samples * circuit.period)[:, :-1]


def phasors(waveform: np.ndarray) -> np.ndarray:
    """Peak phasors from one evenly sampled period, (n_time // 2 + 1,)."""
    spectrum = np.fft.rfft(waveform) / len(waveform)
    spectrum[1:] *= 2.0
    return spectrum


# -- the transistor stage of time_domain.py --------------------------------------------------------------------------

def stage(params: dict[str, float], circuit: time_domain.Doubler, drive_dbm: float, v_cc: float) -> InTime:
    """That stage as an equation. `time_domain.steady_state` starts from a forward bias and waits where Newton's step is
    long; a stage without bias takes 10,000 periods to settle, and one with a supply below zero has no such bias."""
    arguments = (time_domain._packed(params), time_domain._constants(circuit, drive_dbm, v_cc))
    return InTime(time_domain._slopes, arguments, 1.0 / circuit.f0, time_domain.SCALE)
