"""From strips on a board to what a line's relation needs: impedance and propagation constant over frequency.

Impedances are real: attenuation is taken as small per wavelength (R << omega L; D. M. Pozar,
Microwave Engineering, 4th ed., Wiley 2012, sec. 2.7), which holds for metal tens of micrometres thick from about 10 MHz
up. DC is not described here; the lines put their resistance there.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, wraps
from typing import NamedTuple

import numpy as np

from ..board import Board, Conductor
from . import coupled, line, loss

_STEP = 1e-4  # recession of the walls in the incremental-inductance rule, as a part of the thickness


class Propagation(NamedTuple):
    """Characteristic impedance [ohm] and propagation constant [Np/m + j rad/m], each of shape (n_frequency,)."""

    impedance: np.ndarray
    gamma: np.ndarray


def _kept(formula: Callable) -> Callable:
    """Values are kept by all arguments, the last one an array: of a line on a board it is the length, on which nothing
    here depends, that changes most often."""
    @lru_cache(maxsize=1024)
    def computed(*arguments: object) -> object:
        return formula(*arguments[:-1], np.array(arguments[-1]))

    @wraps(formula)
    def asked(*arguments: object) -> object:
        return computed(*arguments[:-1], tuple(arguments[-1].tolist()))

    return asked


def _read_only(impedance: np.ndarray, gamma: np.ndarray) -> Propagation:
    """What is kept is shared."""
    for item in (impedance, gamma):
        item.flags.writeable = False
    return Propagation(impedance, gamma)


def _gamma(frequency: np.ndarray, permittivity: np.ndarray, impedance: float, resistance: np.ndarray,
           board: Board) -> np.ndarray:
    """alpha + j beta; zero at DC. `impedance` is the static one. [ohm] -> [1/m]"""
    alpha = resistance / (2.0 * impedance) + loss.dielectric_loss(frequency, board.permittivity, permittivity,
                                                                  board.loss_tangent)
    beta = 2.0 * np.pi * frequency * np.sqrt(permittivity) / line.LIGHT
    return np.where(frequency > 0.0, alpha + 1j * beta, 0.0)


@_kept
def single_line(width: float, strip: Conductor, board: Board, frequency: np.ndarray) -> Propagation:
    """A strip of `width` [m] and metal `strip` at each `frequency` [Hz], zero included.

    Sources: static values, dispersion and losses as in line.py and loss.py.
    """
    h, er = board.height, board.permittivity
    static = line.static_line(width / h, strip.thickness / h, er)
    F = line.ghz_mm(frequency, h)
    permittivity = line.dispersive_permittivity(F, width / h, er, static.permittivity)
    impedance = line.dispersive_impedance(F, width / h, er, static.impedance, static.permittivity)
    resistance = loss.series_resistance(frequency, strip_spread(width, strip, board), width, strip, board.metal)
    return _read_only(impedance, _gamma(frequency, permittivity, static.impedance, resistance, board))


def strip_spread(width: float, strip: Conductor, board: Board) -> tuple[float, float]:
    """Resistance over surface resistance of a strip of `width` [m] and of the ground plane below it
    (`loss.recession`). [1/m]"""
    t = strip.thickness

    def air(strip_recedes: float, ground_recedes: float) -> float:
        height = board.height + strip_recedes + ground_recedes
        return line.static_line((width - 2.0 * strip_recedes) / height, (t - 2.0 * strip_recedes) / height,
                                1.0).impedance

    return loss.recession(air, _STEP * min(t, width))


@_kept
def coupled_lines(width: float, gap: float, strip: Conductor, board: Board,
                  frequency: np.ndarray) -> tuple[Propagation, Propagation]:
    """Even and odd mode of a pair of strips (`width`, `gap` in m) at each `frequency` [Hz], zero included.

    Impedances are those of one strip against ground. Sources as in coupled.py and loss.py, each mode with its own
    inductance and permittivity.
    """
    h, t, er = board.height, strip.thickness, board.permittivity
    u, g = width / h, gap / h
    modes, single = coupled.static_modes(u, g, t / h, er), line.static_line(u, t / h, er)
    F = line.ghz_mm(frequency, h)
    permittivities = coupled.dispersive_permittivities(F, u, g, er, modes.even.permittivity, modes.odd.permittivity)
    impedances = coupled.dispersive_impedances(F, u, g, er, modes, single)

    def mode(number: int) -> Propagation:
        def air(strip_recedes: float, ground_recedes: float) -> float:
            height = h + strip_recedes + ground_recedes
            receded = coupled.static_modes((width - 2.0 * strip_recedes) / height, (gap + 2.0 * strip_recedes) / height,
                                           (t - 2.0 * strip_recedes) / height, 1.0)
            return receded[number].impedance

        spread = loss.recession(air, _STEP * min(t, width, gap))
        resistance = loss.series_resistance(frequency, spread, width, strip, board.metal)
        return _read_only(impedances[number], _gamma(frequency, permittivities[number], modes[number].impedance,
                                                     resistance, board))

    return mode(0), mode(1)
