"""Levels of instruments in dBm, and their mean in watts."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from ..errors import Refusal
from .units import LEVELS

_REFUSED = {"dBuV/m": "a field strength; a level needs the factor of the antenna",
            "dBm/Hz": "a density; a level needs the noise bandwidth",
            "dBc/Hz": "a density against a carrier; a level needs both",
            "dBuA": "a current; a level needs the transfer impedance of the probe",
            "dBFS": "against full scale; a level needs what full scale is",
            "dB": "a ratio (a trace that was normalised); a level needs its reference",
            "V": "a voltage; say whether it is effective, peak, or peak to peak (Vrms, Vpeak, Vpp)"}
_EFFECTIVE = {"Vrms": 1.0, "Vpeak": math.sqrt(0.5), "Vpp": math.sqrt(0.125)}  # of a sine


def dbm_to_watts(level: ArrayLike) -> np.ndarray:
    """Levels [dBm] in watts; nan stays nan."""
    return 1e-3 * 10.0 ** (np.asarray(level, float) / 10)


def watts_to_dbm(power: ArrayLike) -> np.ndarray:
    """Powers [W] in dBm; zero is -inf, less than zero nan."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return 10 * np.log10(np.asarray(power, float) * 1e3)


def mean_dbm(levels: ArrayLike, axis: int | None = None) -> np.ndarray:
    """Mean of readings of one thing at one setting, in watts.

    The mean of the decibels lies below it, by 0.1151 times their variance [dB^2] where they differ little.

    Parameters
    ----------
    levels : array_like
        dBm; nan is left out.
    axis : int, optional
        Along which the readings stand (0 for repeated traces as rows); all by default.

    Returns
    -------
    ndarray
        dBm; nan where there is no reading.
    """
    power = dbm_to_watts(levels)
    there = ~np.isnan(power)
    with np.errstate(invalid="ignore"):
        return watts_to_dbm(np.where(there, power, 0.0).sum(axis) / there.sum(axis))


def level_dbm(values: ArrayLike, unit: str, *, impedance: float | None = None, carrier: float | None = None,
              place: str = "") -> np.ndarray:
    """What an instrument shows, in dBm.

    Parameters
    ----------
    values : array_like
        In `unit`.
    unit : str
        "dBm", "W", "dBuV", "dBmV", "dBV", "dBc", "Vrms", "Vpeak" or "Vpp".
    impedance : float, optional
        That a voltage stands at. [ohm]
    carrier : float, optional
        Level that dBc counts from. [dBm]
    place : str
        Where it stands, for the refusal.

    Raises
    ------
    Refusal
        The unit is that of no level (dBuV/m, dBm/Hz, dB), or the impedance or the carrier that it needs is not said.
    """
    values = np.asarray(values, float)
    if unit == "dBm":
        return values
    if unit == "W":
        return watts_to_dbm(values)
    if unit == "dBc":
        if carrier is None:
            raise Refusal("dBc counts from a carrier; give its level", place)
        return values + carrier
    if unit in LEVELS or unit in _EFFECTIVE:
        if impedance is None or not 0 < impedance < math.inf:
            raise Refusal(f"{unit} is a voltage; give the impedance that it stands at, such as 50 ohm", place)
        if unit in LEVELS:
            return values - 10 * math.log10(impedance * LEVELS[unit])
        return watts_to_dbm((values * _EFFECTIVE[unit]) ** 2 / impedance)
    why = _REFUSED.get(unit, "none that hbsim knows as a level" if unit else "not said")
    raise Refusal(f"the unit '{unit}' is {why}" if unit else f"the unit of the level is {why}", place)
