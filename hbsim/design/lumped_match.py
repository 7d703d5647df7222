"""Match of a load to a resistance by two lumped parts, one in series and one across: all solutions there are.

Textbook: D. M. Pozar, Microwave Engineering, 4th ed., Wiley 2012, sec. 5.1. With the part across at the load, its
admittance G + j B is brought to the conductance that has resistance R0 in it; with the part in series at the load, its
impedance is brought to the resistance whose admittance has 1/R0 in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import Refusal
from ..linear.lumped import Capacitor, Inductor
from ..linear.network import Element
from .termination import load_matched_by, refuse_unmatchable, reflection_of, return_loss_db, seen_through

ENDS = ("match", "load")
_DIGITS = 3
_NOTHING = 1e-9  # a reactance or susceptance below this, relative to the line's, needs no part
_BESIDE = (0.95, 1.0, 1.05)


@dataclass(frozen=True)
class LumpedMatch:
    """One solution.

    Parameters
    ----------
    elements : tuple of Element
        From the node "match" to the load at "load"; a single part across stands at "load", where the line comes in.
    series_reactance, shunt_susceptance : float
        Before rounding; 0 where no part is needed. [ohm], [S]
    shunt_at_load : bool
        Whether the part across stands at the load, or else at the line.
    passes : str
        What becomes of other frequencies and DC, in words.
    return_loss_db : tuple of float
        At 0.95, 1 and 1.05 of the frequency, with the values as rounded, the load staying as it is. [dB]
    """

    elements: tuple[Element, ...]
    series_reactance: float
    shunt_susceptance: float
    shunt_at_load: bool
    passes: str
    return_loss_db: tuple[float, ...]


@dataclass(frozen=True)
class LumpedMatchDesign:
    """All solutions for one load: two or four; one where a single part will do. [ohm], [ohm], [Hz]"""

    load: complex
    impedance: float
    frequency: float
    solutions: tuple[LumpedMatch, ...]


def lumped_match(load: complex, impedance: float, frequency: float, *,
                 digits: int | None = _DIGITS) -> LumpedMatchDesign:
    """Match `load` to `impedance` [ohm] at `frequency` [Hz]; values rounded to so many digits, None: not rounded.

    Raises
    ------
    Refusal
        The load takes no power, or is matched as it is.
    """
    refuse_unmatchable(load, impedance)
    found: dict[tuple, LumpedMatch] = {}
    for shunt_at_load, x, b in _reactances(load, impedance):
        solution = _solution(load, impedance, frequency, shunt_at_load, x, b, digits)
        one = len(solution.elements) == 1  # one part stands where it stands, whatever the order
        found.setdefault((not one and shunt_at_load, round(x / impedance, 9), round(b * impedance, 9)), solution)
    return LumpedMatchDesign(load, impedance, frequency, tuple(found.values()))


def load_of_lumped_match(series: Inductor | Capacitor | None, shunt: Inductor | Capacitor | None, impedance: float,
                         frequency: float, *, shunt_at_load: bool = True) -> LumpedMatchDesign:
    """The way back: the load that these two parts, one in series and one across, match to `impedance` [ohm].

    Raises
    ------
    Refusal
        No part, or parts that let nothing through.
    """
    if series is None and shunt is None:
        raise Refusal("give a part in series, a part across, or both", "series")
    elements = [] if series is None else [Element("match_series", series, ENDS)]
    if shunt is not None:
        node = ENDS[1] if shunt_at_load or series is None else ENDS[0]
        elements.insert(len(elements) if shunt_at_load else 0, Element("match_shunt", shunt, (node, "ground")))
    ends = ENDS if series is not None else (ENDS[1], ENDS[1])
    load = load_matched_by(elements, ends, impedance, frequency)
    omega = 2.0 * math.pi * frequency
    x = 0.0 if series is None else -1.0 / (omega * series.capacitance) if isinstance(series, Capacitor) else \
        omega * series.inductance
    b = 0.0 if shunt is None else omega * shunt.capacitance if isinstance(shunt, Capacitor) else \
        -1.0 / (omega * shunt.inductance)
    solution = LumpedMatch(tuple(elements), x, b, shunt_at_load, _passes(x, b),
                           _losses(elements, ends, load, impedance, frequency))
    return LumpedMatchDesign(load, impedance, frequency, (solution,))


def ways(design: LumpedMatchDesign, solution: LumpedMatch, points: int = 41) -> tuple[np.ndarray, ...]:
    """Reflections while each part grows to its value, in turn from the load on. (points,) each. [1]"""
    z, found = design.load, []
    for element in reversed(solution.elements):
        share = np.linspace(0.0, 1.0, points)
        grown = z + 1j * share * solution.series_reactance if element.name == "match_series" else \
            1.0 / (1.0 / z + 1j * share * solution.shunt_susceptance)
        found.append(reflection_of(grown, design.impedance))
        z = complex(grown[-1])
    return tuple(found)


def _losses(elements: list[Element], ends: tuple[str, str], load: complex, impedance: float,
            frequency: float) -> tuple[float, ...]:
    return tuple(return_loss_db(seen_through(elements, ends, load, impedance, np.array([share * frequency]))[0])
                 for share in _BESIDE)


def _reactances(load: complex, impedance: float) -> list[tuple[bool, float, float]]:
    """(part across at the load, reactance in series [ohm], susceptance across [S]) of every solution."""
    found = []
    admittance = 1.0 / load
    if admittance.real * impedance <= 1.0 + 1e-12:  # 1/(G + jB) = R0 - jX
        root = math.sqrt(max(admittance.real / impedance - admittance.real**2, 0.0))
        for sign in ((1.0, -1.0) if root else (1.0,)):
            rest = complex(admittance.real, sign * root)
            found.append((True, -(1.0 / rest).imag, sign * root - admittance.imag))
    if load.real <= impedance * (1.0 + 1e-12):  # 1/(R + jX) = 1/R0 - jB
        root = math.sqrt(max(load.real * impedance - load.real**2, 0.0))
        for sign in ((1.0, -1.0) if root else (1.0,)):
            rest = complex(load.real, sign * root)
            found.append((False, sign * root - load.imag, -(1.0 / rest).imag))
    return found


def _solution(load: complex, impedance: float, frequency: float, shunt_at_load: bool, x: float, b: float,
              digits: int | None) -> LumpedMatch:
    series, shunt = abs(x) > _NOTHING * impedance, abs(b) > _NOTHING / impedance
    omega = 2.0 * math.pi * frequency
    elements = []
    if series:
        part = _inductor(x / omega, digits) if x > 0.0 else _capacitor(-1.0 / (omega * x), digits)
        elements.append(Element("match_series", part, ENDS))
    if shunt:
        part = _capacitor(b / omega, digits) if b > 0.0 else _inductor(-1.0 / (omega * b), digits)
        node = ENDS[1] if shunt_at_load or not series else ENDS[0]
        elements.insert(len(elements) if shunt_at_load else 0, Element("match_shunt", part, (node, "ground")))
    ends = ENDS if series else (ENDS[1], ENDS[1])
    return LumpedMatch(tuple(elements), x if series else 0.0, b if shunt else 0.0, shunt_at_load,
                       _passes(x if series else 0.0, b if shunt else 0.0),
                       _losses(elements, ends, load, impedance, frequency))


def _passes(x: float, b: float) -> str:
    """What a reactance in series and a susceptance across, 0 for none, mean for other frequencies."""
    if x >= 0.0 and b >= 0.0:
        return "passes low frequencies, and DC"
    if x <= 0.0 and b <= 0.0:
        return "passes high frequencies" + ("; blocks DC" if x else "") + (
            "; the inductor grounds DC" if b else "")
    return "inductors only: DC goes through, and to ground" if x > 0.0 else "capacitors only: blocks DC"


def _inductor(value: float, digits: int | None) -> Inductor:
    return Inductor(_short(value, digits))


def _capacitor(value: float, digits: int | None) -> Capacitor:
    return Capacitor(_short(value, digits))


def _short(value: float, digits: int | None) -> float:
    return value if digits is None else float(f"{value:.{digits}g}")
