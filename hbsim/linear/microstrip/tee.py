"""Tee: a branch on a line, and a cross: two branches that face each other.

E. Hammerstad, "Computer-aided design of microstrip couplers with accurate discontinuity models", IEEE MTT-S Digest
1981, 54-56. Each strip is replaced by a plane waveguide of width D = eta0 h / Z_air between magnetic walls. Arms meet
at planes shifted into them; between the planes stand a transformer in the branch and a susceptance to ground.

Against a static solution of tees (er 2.2 to 9.6, widths 0.5 to 3 heights) the branch's plane is within 0.06 h, the
susceptance within about 0.03 pF per mm of height, and the arms' planes lie about 0.1 h too far out. Terms with the
square of frequency are not confirmed by anything but a plane-waveguide estimate: averaging a standing wave over the
branch's mouth gives the square of the transformer's ratio as 1 - pi^2 (f/fp)^2 [...], where the formula has pi.
Symbols: line 1 is the main line, 2 the branch, r = Z1 / Z2, fp the frequency where line 1 is half a wave wide.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .line import ETA0, Static, outside
from .plane import TRUSTED, plane_cutoff, plane_width, width_warnings

SOURCE = "E. Hammerstad, IEEE MTT-S Digest 1981, 54-56"
LARGEST_RATIO = 3.0  # r at which its terms are held; beyond, the branch's plane runs away


class Tee(NamedTuple):
    """What a branch does to a line, over frequency.

    main_shift : float
        From the branch's centre line to the plane of either arm. [m]
    branch_shift : ndarray, (n_frequency,)
        From the line's centre line to the plane of the branch. [m]
    ratio : ndarray, (n_frequency,)
        Voltage of the branch over that of the line. [1]
    susceptance : ndarray, (n_frequency,)
        Across the line; multiply with D1 / (Z1 wavelength on line 1). [1]
    """

    main_shift: np.ndarray
    branch_shift: np.ndarray
    ratio: np.ndarray
    susceptance: np.ndarray


def tee(main: Static, branch: Static, er: float, height: float, frequency: np.ndarray) -> Tee:
    """Hammerstad 1981; terms with the square of frequency are held at 0.3 fp, r at 3 (hbsim's own limits)."""
    r = min(main.impedance / branch.impedance, LARGEST_RATIO)
    d_main, d_branch = plane_width(main, height), plane_width(branch, height)
    part = np.minimum(np.asarray(frequency, float) / plane_cutoff(main, height), TRUSTED) ** 2
    main_shift = 0.055 * (1.0 - 2.0 * r * part) * r
    branch_shift = 0.5 - (0.05 + 0.7 * np.exp(-1.6 * r) + 0.25 * r * part - 0.17 * np.log(r)) * r
    squared = 1.0 - np.pi * part * (r**2 / 12.0 + (0.5 - branch_shift) ** 2)
    susceptance = (5.5 * (er + 2.0) / er * main_shift / squared
                   * (1.0 + 0.9 * np.log(r) + 4.5 * r * part - 4.4 * np.exp(-1.3 * r)
                      - 20.0 * (branch.impedance / ETA0) ** 2))
    return Tee(main_shift * d_branch, branch_shift * d_main, np.sqrt(squared), susceptance)


def tee_warnings(main: Static, branch: Static, height: float, highest_frequency: float) -> list[str]:
    """Sentences on ranges left by a tee up to `highest_frequency`. [Hz]"""
    return (outside("impedance of the line / impedance of the branch", main.impedance / branch.impedance, 0.5, 1.5,
                    f"{SOURCE}, against a static solution; held from {LARGEST_RATIO:g}", known="checked")
            + width_warnings(main, height, highest_frequency, f"{SOURCE}; terms that grow with frequency are held"))
