"""Losses of microstrip: skin effect by the incremental-inductance rule, roughness, dielectric."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..board import Board, Conductor
from .line import ETA0, LIGHT, MU0, outside

ROUGHNESS = "E. Hammerstad and F. Bekkadal, Microstrip Handbook, ELAB report STF44 A74169, 1975"
SKIN = "H. A. Wheeler, Proc. IRE 30 (1942) 412-424, for metal thicker than about 4 skin depths"


def surface_resistance(frequency: np.ndarray, conductivity: float) -> np.ndarray:
    """Resistance of a square of thick metal: sqrt(pi f mu0 / sigma) for f [Hz], sigma [S/m]. [ohm]"""
    return np.sqrt(np.pi * MU0 * np.asarray(frequency, float) / conductivity)


def skin_depth(frequency: float, conductivity: float) -> float:
    """1 / sqrt(pi f mu0 sigma) for f > 0 [Hz], sigma [S/m]. [m]"""
    return 1.0 / np.sqrt(np.pi * MU0 * frequency * conductivity)


def roughness_factor(frequency: np.ndarray, metal: Conductor) -> np.ndarray:
    """By how much rough metal raises the skin-effect resistance, 1 to 2. [1]

    Hammerstad and Bekkadal 1975, after S. P. Morgan, J. Appl. Phys. 20 (1949) 352-362: 1 + 2/pi atan(1.4 (rq/delta)^2).
    Not to be expected to hold for a roughness above the skin depth.
    """
    per_depth_squared = np.pi * MU0 * np.asarray(frequency, float) * metal.conductivity * metal.roughness**2
    return 1.0 + 2.0 / np.pi * np.arctan(1.4 * per_depth_squared)


def recession(air_impedance: Callable[[float, float], float], step: float) -> tuple[float, float]:
    """Series resistance per surface resistance, of the strip and of the ground plane. [1/m]

    H. A. Wheeler, "Formulas for the skin effect", Proc. IRE 30 (1942) 412-424: R = Rs/mu0 dL/dn, where dL is the rise
    of inductance per length when the metal walls recede by dn; here L = Z_air / c.

    Parameters
    ----------
    air_impedance : callable
        Of how far the walls of the strip and the ground plane recede [m]: impedance in air. [ohm]
    step : float
        Central difference of the recession, small beside the strip's thickness. [m]
    """
    strip = (air_impedance(step, 0.0) - air_impedance(-step, 0.0)) / (2.0 * step)
    ground = (air_impedance(0.0, step) - air_impedance(0.0, -step)) / (2.0 * step)
    return strip / ETA0, ground / ETA0


def series_resistance(frequency: np.ndarray, spread: tuple[float, float], width: float, strip: Conductor,
                      ground: Conductor) -> np.ndarray:
    """Resistance per length from the spread of the current that `recession` found. [ohm/m]

    The strip never has less than its DC resistance, which is what a strip thinner than a skin depth shows.
    """
    return (np.maximum(spread[0] * skin_resistance(frequency, strip), dc_resistance(width, strip))
            + spread[1] * skin_resistance(frequency, ground))


def skin_resistance(frequency: np.ndarray, metal: Conductor) -> np.ndarray:
    """Surface resistance of a metal as it is: rough, and by its `loss_factor` worse than that. [ohm]"""
    return (surface_resistance(frequency, metal.conductivity) * roughness_factor(frequency, metal)
            * metal.loss_factor)


def dc_resistance(width: float, metal: Conductor) -> float:
    """Of a strip, per length. [ohm/m]"""
    return 1.0 / (metal.conductivity * width * metal.thickness)


def dielectric_loss(frequency: np.ndarray, er: float, ee: np.ndarray, loss_tangent: float) -> np.ndarray:
    """Attenuation in the dielectric for the effective permittivity `ee`. [Np/m]

    J. D. Welch, H. J. Pratt, NEREM Record 8 (1966) 100-101; M. V. Schneider, Proc. IEEE 57 (1969) 1206-1207. About
    1 % high. In air (er = 1) a loss is spread over the whole field: (ee - 1)/(er - 1) is then 1.
    """
    filling = (ee - 1.0) / (er - 1.0) if er > 1.0 else 1.0
    return np.pi * np.asarray(frequency, float) / LIGHT * er * filling / np.sqrt(ee) * loss_tangent


def loss_warnings(strip: Conductor, board: Board, highest_frequency: float) -> list[str]:
    """Sentences on metal that is too thin or too rough for the formulas at `highest_frequency`. [Hz]"""
    metals = {"strip": strip, "ground plane": board.metal}
    depths = {name: skin_depth(max(highest_frequency, 1.0), metal.conductivity) for name, metal in metals.items()}
    sentences = [f"the {name} is {metal.thickness / depths[name]:.2g} skin depths thick at the highest frequency; "
                 f"its loss is uncertain ({SKIN})"
                 for name, metal in metals.items() if metal.thickness < 4.0 * depths[name]]
    worst = max(metals, key=lambda name: metals[name].roughness / depths[name])
    return sentences + outside(f"roughness / skin depth of the {worst} at the highest frequency",
                               metals[worst].roughness / depths[worst], 0.0, 1.0, ROUGHNESS)
