"""Single microstrip line: static values, dispersion, open end.

Symbols of the sources: u = width / height, tt = thickness / height, er = permittivity of the dielectric,
ee = effective permittivity, F = frequency times height in GHz mm.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from ..board import Board

LIGHT = 299792458.0  # speed of light in vacuum, exact. [m/s]
MU0 = 4e-7 * np.pi  # [H/m]
ETA0 = MU0 * LIGHT  # wave impedance of vacuum. [ohm]

IMPEDANCE_DISPERSION = "R. H. Jansen and M. Kirschning, AEUe 37 (1983) 108-112"
STATIC = "E. Hammerstad and O. Jensen, IEEE MTT-S Digest 1980, 407-409"
OPEN_END = "M. Kirschning, R. H. Jansen and N. H. L. Koster, Electronics Letters 17 (1981) 123-125"
LARGEST_F = 30.0  # up to where the impedance formula holds. [GHz mm]
SMALLEST_ER = 1.1  # below, the impedance formula passes through a pole; the line is then nearly free of dispersion


class Static(NamedTuple):
    """A line at low frequency: impedance [ohm], effective permittivity [1], impedance of the strip in air [ohm]."""

    impedance: float
    permittivity: float
    air_impedance: float


def ghz_mm(frequency: np.ndarray, height: float) -> np.ndarray:
    """Frequency [Hz] times height [m], in GHz mm, as the dispersion formulas want it."""
    return np.asarray(frequency, float) * height * 1e-6


def exponential(x: np.ndarray) -> np.ndarray:
    """exp(-x) with x held at 20, so that it cannot underflow; the fits need no more."""
    return np.exp(-np.minimum(x, 20.0))


def air_impedance(u: float) -> float:
    """Impedance of an infinitely thin strip over ground in air. [ohm]

    E. Hammerstad, O. Jensen, "Accurate models for microstrip computer-aided design", IEEE MTT-S Int. Microwave
    Symp. Digest, 1980, pp. 407-409: 0.01 % for u <= 1, 0.03 % for u <= 1000.
    """
    f1 = 6.0 + (2.0 * np.pi - 6.0) * np.exp(-(30.666 / u) ** 0.7528)
    return ETA0 / (2.0 * np.pi) * np.log(f1 / u + np.sqrt(1.0 + (2.0 / u) ** 2))


def filling_exponent(u: float) -> float:
    """The factor a(u) of the static permittivity, shared with the coupled lines (source: `air_impedance`)."""
    return (1.0 + np.log((u**4 + (u / 52.0) ** 2) / (u**4 + 0.432)) / 49.0
            + np.log(1.0 + (u / 18.1) ** 3) / 18.7)


def static_permittivity(u: float, er: float, narrowing: float = 1.0) -> float:
    """Effective permittivity of an infinitely thin strip. [1]

    Same source as `air_impedance`: 0.2 % for 0.01 <= u <= 100, er <= 128. `narrowing` multiplies the part that
    depends on the width; 1 for a single line.
    """
    b = 0.564 * ((er - 0.9) / (er + 3.0)) ** 0.053
    return (er + 1.0) / 2.0 + (er - 1.0) / 2.0 * narrowing * (1.0 + 10.0 / u) ** (-filling_exponent(u) * b)


@lru_cache(maxsize=4096)  # one strip is asked for again at other frequencies and beside other strips
def static_line(u: float, tt: float, er: float) -> Static:
    """A strip of any thickness at low frequency.

    Same source as `air_impedance`; the strip is widened, by d1 in air and dr on the dielectric. tt up to about 0.1.
    Against an independent electrostatic solution: impedance within 0.28 %, permittivity within 0.56 %.
    """
    d1 = tt / np.pi * np.log(1.0 + 4.0 * np.e * np.tanh(np.sqrt(6.517 * u)) ** 2 / tt) if tt > 0.0 else 0.0
    dr = (1.0 + 1.0 / np.cosh(np.sqrt(er - 1.0))) / 2.0 * d1
    air, widened = air_impedance(u + d1), air_impedance(u + dr)
    thin = static_permittivity(u + dr, er)
    return Static(widened / np.sqrt(thin), thin * (air / widened) ** 2, air)


def dispersion_terms(F: np.ndarray, u: float, er: float) -> tuple[np.ndarray, float, np.ndarray, float]:
    """P1 to P4 of `dispersive_permittivity`, shared with the coupled lines."""
    p1 = 0.27488 + (0.6315 + 0.525 / (1.0 + 0.0157 * F) ** 20) * u - 0.065683 * exponential(8.7513 * u)
    p2 = 0.33622 * (1.0 - np.exp(-0.03442 * er))
    p3 = 0.0363 * exponential(4.6 * u) * (1.0 - exponential((F / 38.7) ** 4.97))
    p4 = 1.0 + 2.751 * (1.0 - exponential((er / 15.916) ** 8))
    return p1, p2, p3, p4


def dispersive_permittivity(F: np.ndarray, u: float, er: float, ee0: float) -> np.ndarray:
    """Effective permittivity over frequency, from its static value `ee0`. [1]

    M. Kirschning, R. H. Jansen, "Accurate model for effective dielectric constant of microstrip with validity up to
    millimetre-wave frequencies", Electronics Letters 18 (1982) 272-273: 0.6 % for 0.1 <= u <= 100, 1 <= er <= 20,
    F <= 39 GHz mm. (The print counts in GHz cm; its constants are rescaled here.)
    """
    p1, p2, p3, p4 = dispersion_terms(F, u, er)
    p = p1 * p2 * ((0.1844 + p3 * p4) * F) ** 1.5763
    return er - (er - ee0) / (1.0 + p)


def impedance_exponent(F: np.ndarray, u: float, er: float) -> np.ndarray:
    """R17 of `dispersive_impedance`, shared with the coupled lines."""
    r7 = 1.206 - 0.3144 * exponential(0.03891 * er**1.4) * (1.0 - exponential(0.267 * u**7))
    r10 = 0.00044 * er**2.136 + 0.0184
    r11 = (F / 19.47) ** 6 / (1.0 + 0.0962 * (F / 19.47) ** 6)
    r12 = 1.0 / (1.0 + 0.00245 * u**2)
    r15 = 0.707 * r10 * (F / 12.3) ** 1.097
    r16 = 1.0 + 0.0503 * er**2 * r11 * (1.0 - exponential((u / 15.0) ** 6))
    return r7 * (1.0 - 1.1241 * r12 / r16 * exponential(0.026 * F**1.15656 + r15))


def impedance_fall(F: np.ndarray, u: float, er: float, scale: float = 1.0) -> np.ndarray:
    """R9 of `dispersive_impedance`; `scale` multiplies er inside R4 (Q21 of the even mode)."""
    r4 = 0.016 + (0.0514 * er * scale) ** 4.524
    r5 = (F / 28.843) ** 12
    return (5.086 * r4 * r5 / (0.3838 + 0.386 * r4) * exponential(22.20 * u**1.92) / (1.0 + 1.2992 * r5)
            * (er - 1.0) ** 6 / (1.0 + 10.0 * (er - 1.0) ** 6))


def impedance_rise(F: np.ndarray, u: float, er: float) -> np.ndarray:
    """R8 of `dispersive_impedance`, shared with the even mode."""
    r3 = 4.766 * exponential(3.228 * u**0.641)
    return 1.0 + 1.275 * (1.0 - exponential(0.004625 * r3 * er**1.674 * (F / 18.365) ** 2.745))


def dispersive_impedance(F: np.ndarray, u: float, er: float, z0: float, ee0: float) -> np.ndarray:
    """Power-current impedance over frequency, from the static impedance and permittivity. [ohm]

    R. H. Jansen, M. Kirschning, "Arguments and an accurate model for the power-current formulation of microstrip
    characteristic impedance", AEUe 37 (1983) 108-112: 0.1 <= u <= 10, 1 <= er <= 18, F <= 30 GHz mm; against a
    full-wave solution 1.1 % up to F = 20 and 1.7 % up to F = 30 for er 1.5 to 10.2 (er 1.2: 3.2 % at F = 30). Above
    F = 30 the value at F = 30 is held: the fit grows without bound there.
    """
    F = np.minimum(F, LARGEST_F)
    if er < SMALLEST_ER:
        return np.full(F.shape, z0)
    eef = dispersive_permittivity(F, u, er, ee0)
    r8 = impedance_rise(F, u, er)
    r13 = 0.9408 * eef**r8 - 0.9603
    r14 = (0.9408 - impedance_fall(F, u, er)) * ee0**r8 - 0.9603
    return z0 * (r13 / r14) ** impedance_exponent(F, u, er)


def open_end(u: float, er: float, ee0: float) -> float:
    """Length that the fringing field of an open end seems to add, over the height. [1]

    M. Kirschning, R. H. Jansen, N. H. L. Koster, "Accurate model for open end effect of microstrip lines",
    Electronics Letters 17 (1981) 123-125: 2.5 % for 0.01 <= u <= 100, er <= 50.
    """
    x1 = (0.434907 * (ee0**0.81 + 0.26) / (ee0**0.81 - 0.189) * (u**0.8544 + 0.236) / (u**0.8544 + 0.87))
    x2 = 1.0 + u**0.371 / (2.358 * er + 1.0)
    x3 = 1.0 + 0.5274 * np.arctan(0.084 * u ** (1.9413 / x2)) / ee0**0.9236
    x4 = 1.0 + 0.0377 * np.arctan(0.067 * u**1.456) * (6.0 - 5.0 * np.exp(0.036 * (1.0 - er)))
    x5 = 1.0 - 0.218 * np.exp(-7.5 * u)
    return x1 * x3 * x5 / x4


def outside(what: str, value: float, low: float, high: float, source: str, unit: str = "",
            known: str = "published") -> list[str]:
    """A sentence if `value` is outside the range that `source` states, else none; `known` says what the range is."""
    if low <= value <= high:
        return []
    return [f"{what} is {value:.4g}{unit}; the formula is {known} for {low:g} to {high:g}{unit} ({source})"]


def line_warnings(width: float, thickness: float, board: Board, highest_frequency: float) -> list[str]:
    """Sentences on ranges left by a single strip of `width`, `thickness` [m] up to `highest_frequency` [Hz]."""
    return (outside("width / height", width / board.height, 0.1, 10.0, IMPEDANCE_DISPERSION)
            + outside("thickness / height", thickness / board.height, 0.0, 0.1, STATIC)
            + outside("permittivity", board.permittivity, 1.0, 18.0, IMPEDANCE_DISPERSION)
            + outside("highest frequency times height", float(ghz_mm(highest_frequency, board.height)), 0.0, LARGEST_F,
                      f"{IMPEDANCE_DISPERSION}; the impedance is held above", " GHz mm"))
