"""What of the heat in a line goes into its metal, what into its dielectric.

The attenuation of a line is alpha = alpha_c + alpha_d (D. M. Pozar, Microwave Engineering, 4th ed., Wiley 2012, sec.
2.7 and 3.8), and its heat is shared out as alpha_c : alpha_d, for a pair of lines in each of its two modes. That is
exact for a single wave, and for standing waves over whole quarter waves. Elsewhere metal heats where the current is and
dielectric where the voltage is; a line with a real impedance, as lines are here, does not tell these apart. Radiation
is not part of any of it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ..balance.spectrum import mean_power
from ..linear.coupled_lines import BoardCoupledLines, BoardFilterSection, CoupledLines, FilterSection
from ..linear.lines import BoardLine, BoardOpenStub, BoardShortedStub, Line, OpenStub, ShortedStub
from ..linear.part import Part
from ..linear.waves import Wave, pair

_ON_BOARD = (BoardLine, BoardOpenStub, BoardShortedStub, BoardFilterSection, BoardCoupledLines)
_SINGLE = (Line, OpenStub, ShortedStub, *_ON_BOARD[:3])
_SECTIONS = (FilterSection, BoardFilterSection)
_PAIRS = (*_SECTIONS, CoupledLines, BoardCoupledLines)
_ENDS = [0, 3]  # of a section, among the terminals (a1, b1, a2, b2) of its pair
_OPEN = [1, 2]


class LineLoss(NamedTuple):
    """Heat at each harmonic, (K + 1,) each: in the metal and in the dielectric. [W]"""

    conductor: np.ndarray
    dielectric: np.ndarray


def line_loss(part: Part, omega: np.ndarray, voltage: np.ndarray, current: np.ndarray) -> LineLoss | None:
    """The heat in a line, stub or pair of lines, shared out; None for any other part.

    Parameters
    ----------
    omega : ndarray, (K + 1,). [rad/s]
    voltage, current : ndarray, complex, (K + 1, n_terminal)
        At the terminals. [V], [A]
    """
    if isinstance(part, _SINGLE):
        return _shared_out([mean_power(voltage, current)], [part.wave(omega)], [_without(part).wave(omega)])
    if isinstance(part, _PAIRS):
        modes = part.modes(omega, *_extension(part))
        if isinstance(part, _SECTIONS):
            voltage, current = _all_ends(modes, voltage, current)
        first, second = (slice(0, 2), slice(2, 4))
        heat = [2 * mean_power((voltage[:, first] + sign * voltage[:, second]) / 2,
                               (current[:, first] + sign * current[:, second]) / 2) for sign in (1, -1)]
        return _shared_out(heat, modes, _without(part).modes(omega, *_extension(part)))
    return None


def _without(part: Part) -> Part:
    """The same line with a dielectric that takes nothing."""
    if isinstance(part, _ON_BOARD):
        return replace(part, board=replace(part.board, loss_tangent=0.0))
    return replace(part, loss_tangent=0.0) if hasattr(part, "loss_tangent") else part


def _extension(part: Part) -> tuple[float, ...]:
    """What a section on a board has to add to its length. [m]"""
    if not isinstance(part, BoardFilterSection):
        return ()
    from ..linear.lines import end_extension
    return (end_extension(part.width, part.metal, part.board) * part.end_effect,)


def _shared_out(heat: list[np.ndarray], waves: list[Wave], without: list[Wave]) -> LineLoss:
    conductor = np.zeros_like(heat[0])
    for power, wave, bare in zip(heat, waves, without):
        alpha = wave.exponent.real
        # at DC alpha is 0 and all heat is the resistance of the strip
        share = np.divide(bare.exponent.real, alpha, out=np.ones_like(alpha), where=alpha > 0)
        conductor += power * share
    return LineLoss(conductor, sum(heat) - conductor)


def _all_ends(modes: tuple[Wave, Wave], voltage: np.ndarray, current: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Voltages and currents at all four ends of a filter section's pair, the two open ones by the law of the pair."""
    law = pair(*modes)
    volts, amps = np.zeros((len(voltage), 4), complex), np.zeros((len(voltage), 4), complex)
    volts[:, _ENDS], amps[:, _ENDS] = voltage, current
    for k, (a, b) in enumerate(zip(law.a, law.b)):
        known = a[:, _ENDS] @ voltage[k] + b[:, _ENDS] @ current[k]
        volts[k, _OPEN] = np.linalg.lstsq(a[:, _OPEN], -known, rcond=None)[0]
    return volts, amps
