"""How junction parameters move with temperature.

Sources: laws as in I. Getreu, Modeling the Bipolar Transistor, Tektronix, 1976, and G. Massobrio and P. Antognetti,
Semiconductor Device Modeling, 2nd ed., McGraw-Hill, 1993 (from memory). Gap of silicon: Y. P. Varshni, Physica 34
(1967) 149-154, with the constants of those texts. By custom the constant EG stands in IS(T), the gap of silicon in
the built-in voltage. Resistances and transit times are taken as constant.
"""

from __future__ import annotations

import math

from ..errors import Refusal
from .contract import K_OVER_Q

LOWEST, HIGHEST = 100.0, 700.0  # junction temperatures accepted; silicon laws are of no use outside. [K]


def thermal_voltage(temperature: float) -> float:
    """k T / q. [V]"""
    return K_OVER_Q * temperature


def current_ratio(temperature: float, nominal: float, EG: float, XTI: float, slope: float = 1.0) -> float:
    """IS(T) / IS(nominal). [1]

    Parameters
    ----------
    temperature, nominal : float
        Junction temperature and the one at which the parameters were extracted. [K]
    EG : float
        Energy gap. [eV]
    XTI : float
        Exponent of T. [1]
    slope : float
        Emission coefficient by which both are divided: N for a diode, 1 for a transistor's transport current. [1]
    """
    ratio = temperature / nominal
    exponent = XTI * math.log(ratio) + EG / thermal_voltage(temperature) * (ratio - 1.0)
    return math.exp(exponent / slope)


def gain_ratio(temperature: float, nominal: float, XTB: float) -> float:
    """BF(T) / BF(nominal), the same for BR. [K] -> [1]"""
    return (temperature / nominal) ** XTB


def leakage_ratio(transport_ratio: float, gain: float, slope: float) -> float:
    """ISE(T) / ISE(nominal) from the ratios of IS and BF and the leakage's emission coefficient NE; ISC with NC. [1]"""
    return transport_ratio ** (1.0 / slope) / gain


def silicon_gap(temperature: float) -> float:
    """Energy gap of silicon at a temperature [K]. [eV]"""
    return 1.16 - 7.02e-4 * temperature**2 / (temperature + 1108.0)


def built_in_voltage(v0: float, temperature: float, nominal: float) -> float:
    """Built-in voltage of a junction at `temperature`, v0 at `nominal`. [V], [K]

    Raises
    ------
    Refusal
        The law has fallen to zero: it does not reach so far.
    """
    ratio = temperature / nominal
    v = (v0 - silicon_gap(nominal)) * ratio + silicon_gap(temperature) \
        - 3.0 * thermal_voltage(temperature) * math.log(ratio)
    if v <= 0.0:
        raise Refusal(f"at {temperature:.0f} K a junction with a built-in voltage of {v0:g} V (at {nominal:.0f} K) "
                      "would have none left: the law does not reach so far; take a lower temperature", "temperature")
    return v


def depletion(c0: float, v0: float, m: float, temperature: float, nominal: float) -> tuple[float, float]:
    """Zero-bias capacitance [F] and built-in voltage [V] at `temperature`, from those at `nominal`. [K]

    m is the grading exponent. A junction without capacitance (c0 = 0) is left as it is. Raises Refusal where the laws
    do not reach.
    """
    if c0 == 0.0:
        return c0, v0
    v0_now = built_in_voltage(v0, temperature, nominal)
    c0_now = c0 * (1.0 + m * (4e-4 * (temperature - nominal) - (v0_now / v0 - 1.0)))
    if c0_now <= 0.0:
        raise Refusal(f"at {temperature:.0f} K a junction with a built-in voltage of {v0:g} V (at {nominal:.0f} K) "
                      "would have no capacitance left: the law does not reach so far; take a higher temperature",
                      "temperature")
    return c0_now, v0_now
