"""What one measured line says about its metal.

Attenuation as in loss.py: alpha = (R_strip + R_ground) / (2 Z0) + alpha_dielectric (D. M. Pozar, Microwave
Engineering, 4th ed., Wiley 2012, sec. 2.7), solved for R_strip.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...errors import Refusal
from ..board import Board, Conductor
from . import line, loss
from .propagation import strip_spread

_NEPER = 20.0 / np.log(10.0)  # dB
_ROUNDING = 1e-9  # by which a loss may seem to be below the least there is


def loss_factor_from_measurement(width: float, length: float, board: Board, conductor: Conductor, frequency: float,
                                 measured_loss_db: float) -> float:
    """The `loss_factor` of a conductor with which a line loses what was measured.

    Parameters
    ----------
    width, length : float
        Of the line. [m]
    board : Board
        Its ground plane and dielectric are taken as they are told.
    conductor : Conductor
        What the strip is made of; a factor that it has already is left out of account.
    frequency : float
        Where the loss was measured. [Hz]
    measured_loss_db : float
        Of the line alone, matched: without connectors and without mismatch. [dB]

    Returns
    -------
    float
        To be written as `loss_factor`. [1]

    Raises
    ------
    Refusal
        The dielectric (and the ground plane) alone would lose more, or what is left for the strip is less than its
        resistance at DC, or than a tenth of what its metal has.

    References
    ----------
    As in loss.py.
    """
    for name, value in (("width", width), ("length", length), ("frequency", frequency),
                        ("measured_loss_db", measured_loss_db)):
        if not (np.isfinite(value) and value > 0.0):
            raise Refusal(f"{value} is not above zero and finite; write the value that was measured", name)
    h, er = board.height, board.permittivity
    static = line.static_line(width / h, conductor.thickness / h, er)
    permittivity = line.dispersive_permittivity(line.ghz_mm(np.array([frequency]), h), width / h, er,
                                                static.permittivity)[0]
    dielectric = float(loss.dielectric_loss(frequency, er, permittivity, board.loss_tangent))
    spread = strip_spread(width, conductor, board)
    ground = float(spread[1] * loss.skin_resistance(frequency, board.metal)) / (2.0 * static.impedance)
    metal = float(spread[0] * loss.skin_resistance(frequency, replace(conductor, loss_factor=1.0)))
    in_strip = 2.0 * static.impedance * (measured_loss_db / _NEPER / length - dielectric - ground)
    if in_strip <= 0.0:
        raise Refusal(f"{measured_loss_db:.4g} dB is not more than this line loses in its dielectric "
                      f"({dielectric * length * _NEPER:.4g} dB) and ground plane ({ground * length * _NEPER:.4g} dB) "
                      "alone; measure again, or lower the board's loss_tangent", "measured_loss_db")
    least = max(loss.dc_resistance(width, conductor), 0.1 * metal)
    if in_strip < least * (1.0 - _ROUNDING):
        lost = (dielectric + ground + least / (2.0 * static.impedance)) * length * _NEPER
        raise Refusal(f"{measured_loss_db:.4g} dB leaves less for the strip than its resistance at DC, or a tenth of "
                      f"what its metal has; such a line loses {lost:.4g} dB at least. Measure again, lower the board's "
                      "loss_tangent, or correct the conductor", "measured_loss_db")
    return float(in_strip / metal)
