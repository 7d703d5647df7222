"""From a prototype to coupled quarter waves: inverters, and the even and odd impedances that make them.

S. B. Cohn, "Parallel-coupled transmission-line-resonator filters", IRE Trans. MTT-6 (1958) 223-231; also Matthaei,
Young, Jones 1964, sec. 8.09 (both from memory). Good for bandwidths up to about 20 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .prototype import Prototype


@dataclass(frozen=True)
class Coupling:
    """A coupled section at the centre frequency.

    Parameters
    ----------
    inverter : float
        Admittance of the inverter times the system's impedance. [1]
    even_impedance, odd_impedance : float
        [ohm]
    degrees : float
        Length of the coupled strips. [deg]
    degrees_to_inverter : float
        Length of line on either side of the inverter that the section stands for. [deg]
    """

    inverter: float
    even_impedance: float
    odd_impedance: float
    degrees: float = 90.0
    degrees_to_inverter: float = 90.0


def inverters(prototype: Prototype, fraction: float) -> tuple[float, ...]:
    """The n + 1 inverters of n half-wave resonators for a band of `fraction` (width over centre). [1]"""
    g, n = prototype.values, prototype.order
    ends = [math.sqrt(math.pi * fraction / (2.0 * g[k] * g[k + 1])) for k in (0, n)]
    inner = [math.pi * fraction / (2.0 * math.sqrt(g[k] * g[k + 1])) for k in range(1, n)]
    # Symmetrical values come out alike only up to rounding; as one they are laid out but once.
    return tuple(round(value, 14) for value in (ends[0], *inner, ends[1]))


def quarter_wave(inverter: float, impedance: float) -> Coupling:
    """A section of 90 degrees in a system of `impedance` [ohm] (Cohn 1958)."""
    j = inverter
    return Coupling(j, impedance * (1.0 + j + j * j), impedance * (1.0 - j + j * j))


def shortened(inverter: float, impedance: float, bend_degrees: float) -> Coupling:
    """A section whose resonators each have a bend of `bend_degrees`, of a line of `impedance` [ohm], at their middle.

    Half the bend and the section together are what a quarter wave is without it: the inverter j between two lines of
    psi = 90 deg - bend/2. Both are symmetrical, so that they agree when their two symmetrical excitations do. Those of
    the inverter see open lines of psi -+ atan j; those of open coupled strips -j (S cot theta +- D csc theta), with S
    and D half the sum and half the difference of even and odd impedance (E. M. T. Jones, J. T. Bolljahn, IRE Trans.
    MTT-4 (1956) 75-81). S stays that of `quarter_wave`. The idea of resonators folded at their middle: E. G. Cristal,
    S. Frankel, IEEE Trans. MTT-20 (1972) 719-728, from memory; this form of it was derived for this project.
    """
    j, psi = inverter, math.radians(90.0 - bend_degrees / 2.0)
    nearer, farther = (1.0 / math.tan(psi + turn) for turn in (-math.atan(j), math.atan(j)))
    half_sum = 1.0 + j * j
    theta = math.atan2(half_sum, (nearer + farther) / 2.0)
    half_difference = (nearer - farther) / 2.0 * math.sin(theta)
    return Coupling(j, impedance * (half_sum + half_difference), impedance * (half_sum - half_difference),
                    math.degrees(theta), math.degrees(psi))


def equivalent(even: float, odd: float, even_degrees: float, odd_degrees: float,
               impedance: float) -> tuple[float, float]:
    """The inverter, and the length of line on either side of it, that a section is at one frequency.

    Parameters
    ----------
    even, odd : float
        Impedances of the modes. [ohm]
    even_degrees, odd_degrees : float
        Their lengths, which differ on a board. [deg]
    impedance : float
        Of the lines around the inverter. [ohm]

    Returns
    -------
    inverter : float
        Its admittance times the impedance. [1]
    psi : float
        [deg]

    Z11 +- Z12 of the section (Jones and Bolljahn 1956) is -j impedance cot(psi -+ atan inverter).
    """
    half_even, half_odd = (math.tan(math.radians(degrees) / 2.0) for degrees in (even_degrees, odd_degrees))
    near = math.atan2(1.0, (even / half_even - odd * half_odd) / (2.0 * impedance))
    far = math.atan2(1.0, (odd / half_odd - even * half_even) / (2.0 * impedance))
    return math.tan((far - near) / 2.0), math.degrees((far + near) / 2.0)
