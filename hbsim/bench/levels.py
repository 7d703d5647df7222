"""Levels of instruments in dBm, and their mean in watts."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from ..errors import Refusal
from .readings import LOWER_LIMIT, UPPER_LIMIT, Column
from .units import LEVELS, level_offset

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
            return values + level_offset(unit, impedance)
        return watts_to_dbm((values * _EFFECTIVE[unit]) ** 2 / impedance)
    why = _REFUSED.get(unit, "none that hbsim knows as a level" if unit else "not said")
    raise Refusal(f"the unit '{unit}' is {why}" if unit else f"the unit of the level is {why}", place)


def in_dbm(column: Column, impedance: float | None = None, file: str = "") -> Column:
    """A column of levels as dBm.

    Parameters
    ----------
    column : Column
        In dBm, W, dBuV, dBmV, dBV.
    impedance : float, optional
        For the last three. [ohm]
    file : str
        For the refusal.

    Returns
    -------
    Column
        In dBm. A power of 0 W lies below the last digit of the meter: nan, flagged "below resolution".

    Raises
    ------
    Refusal
        The unit is that of no power (dBm/Hz, dBuV/m, dBc, V without rms or peak, ...), or the impedance is missing.
    """
    place = f"column '{column.name}'"
    flags = dict(column.flags)
    if column.unit == "dBm":
        return column
    if column.unit == "W":
        values = watts_to_dbm(column.values)
        low = column.values <= 0.0
        flags |= {int(row): "below resolution" for row in np.flatnonzero(low)}
        values = np.where(low, np.nan, values)
    elif column.unit in LEVELS:
        if impedance is None:
            raise Refusal(f"{column.unit} is a voltage and no power without the impedance; write impedance = 50 (or "
                          "what it is) into [table] of the TOML file beside it", place, file)
        values = column.values + level_offset(column.unit, impedance)
    else:
        more = {"V": "; it may be rms, peak or peak to peak: write unit = \"Vrms\" and give the level as dBV with an "
                     "impedance", "dB": "; the trace is relative (normalised)", "dBc": "; it needs the carrier's level",
                "": "; say its unit in [columns] of the TOML file beside it"}.get(column.unit, "")
        raise Refusal(f"'{column.unit or 'no unit'}' is not a power and cannot become dBm{more}", place, file)
    return Column(column.name, "dBm", values, flags, column.said, column.meaning)


def against_wanted(columns: Sequence[Column], wanted: int, file: str) -> tuple[Column, ...]:
    """Columns with levels in dBc, whatever line these count from, against the wanted line.

    Parameters
    ----------
    columns : sequence of Column
        With "output_dbc_2" as the meaning of one in dBc.
    wanted : int
        Order of the wanted line.
    file : str
        For the refusal.

    Returns
    -------
    tuple of Column
        Those in dBc in dB, that of the wanted line left out (zero by itself); all others as they are. Where the wanted
        line is a limit only, there is no number.

    Raises
    ------
    Refusal
        There are levels in dBc, and none of the wanted line.
    """
    relative = [column for column in columns
                if column.unit == "dBc" and re.fullmatch(r"output_dbc_\d+", column.meaning)]
    own = next((column for column in relative if column.meaning == f"output_dbc_{wanted}"), None)
    if not relative:
        return tuple(columns)
    if own is None:
        raise Refusal(f"'{relative[0].name}' is in dBc, and what it is against harmonic {wanted}, the wanted line of "
                      f"the circuit, does not come out: its own level is not in the file; if the levels count from it "
                      f'say so: [table] carrier = {wanted} for a table with a row for each harmonic, [columns] unit = '
                      '"dB" for one with a column for each', "columns", file)
    limited = {row: f"wanted line: {flag}" for row, flag in own.flags.items()
               if flag.startswith((UPPER_LIMIT, LOWER_LIMIT)) or not np.isfinite(own.values[row])}
    return tuple(_less(column, own, limited) if column in relative else column for column in columns
                 if column is not own)


def _less(column: Column, own: Column, limited: dict[int, str]) -> Column:
    values = column.values - np.where(np.isfinite(own.values), own.values, 0.0)
    values[list(limited)] = np.nan
    return replace(column, unit="dB", values=values, flags=dict(column.flags) | limited)
