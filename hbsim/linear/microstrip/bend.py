"""Right-angle bend, square or with its corner cut: planes at the inner corner.

Every bend has a capacitance at its corner and half of an inductance in each arm. Symbols: u = width / height,
er = permittivity of the dielectric.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .line import outside

SQUARE = "R. Garg and I. J. Bahl, Int. J. Electronics 45 (1978) 81-87; compared with a static solution"
HALF_CUT = "M. Kirschning, R. H. Jansen and N. H. L. Koster, IEEE MTT-S Digest 1983, 495-497"
OPTIMUM = "R. J. P. Douville and D. S. James, IEEE Trans. MTT-26 (1978) 175-182"
TOLERATED = 0.05  # mitre above the optimum that still counts as the optimum: static solutions put it 2 to 4 % higher


class Bend(NamedTuple):
    """Capacitance at the corner [F] and inductance of both arms together [H]."""

    capacitance: float
    inductance: float


def square_bend(width: float, er: float, height: float) -> Bend:
    """Bend without a mitre.

    R. Garg, I. J. Bahl, "Microstrip discontinuities", Int. J. Electronics 45 (1978) 81-87. Against a static solution
    for u = 0.5 to 2, er 2.2 to 9.6: capacitance within 14 %, inductance (the total, not that of one arm) within 0.03 nH
    per mm of height. It is negative below u = 1.1: the corner is shorter than the way around it.
    """
    u = width / height
    if u < 1.0:
        capacitance = width * ((14.0 * er + 12.5) * u - (1.83 * er - 2.25)) / np.sqrt(u) + 0.02 * er * width / u
    else:
        capacitance = width * ((9.5 * er + 1.25) * u + 5.2 * er + 7.0)
    return Bend(1e-12 * capacitance, 1e-9 * height * 100.0 * (4.0 * np.sqrt(u) - 4.21))


def half_cut_bend(width: float, er: float, height: float) -> Bend:
    """Bend with a mitre of 50 %.

    M. Kirschning, R. H. Jansen, N. H. L. Koster, IEEE MTT-S Digest 1983, 495-497: 0.2 <= u <= 6, 2.4 <= er <= 10.4,
    frequency times height up to 12 GHz mm. Its inductance is that of one arm; a static solution agrees if the planes
    are moved outwards by 0.03 (u = 2) to 0.09 (u <= 1) of the height.
    """
    u = width / height
    capacitance = (3.93 * er + 0.62) * u**2 + (7.6 * er + 3.80) * u
    return Bend(1e-12 * height * capacitance,
                2e-6 * height * 0.44 * (1.0 - 1.062 * np.exp(-0.177 * u**0.947)))


def optimum_mitre(u: float) -> float:
    """Mitre that reflects least, as a part of the corner's diagonal. [1]

    R. J. P. Douville, D. S. James, "Experimental study of symmetric microstrip bends and their compensation", IEEE
    Trans. MTT-26 (1978) 175-182: u >= 0.25, er <= 25; held below u = 0.25, where it would pass 100 %. A static solution
    has 70 % at u = 1 (69 % here) and 59 % at u = 2 (56 %).
    """
    return 0.52 + 0.65 * np.exp(-1.35 * max(u, 0.25))


def bend(width: float, er: float, height: float, mitre: float, impedance: float) -> Bend:
    """Bend with any mitre from none to the optimum; `impedance` is that of the strip. [ohm]

    Published are no mitre, 50 %, and where the optimum lies. At the optimum the inductance of the half-cut bend is
    kept and the capacitance is what matches it, L / Z^2: the corner is then a short piece of the line itself. Between
    these three both values go over in proportion to the square of the mitre, as the area of the triangle cut away does
    up to 50 %. Both steps are hbsim's own.
    """
    square, half = square_bend(width, er, height), half_cut_bend(width, er, height)
    best = optimum_mitre(width / height)
    matched = Bend(half.inductance / impedance**2, half.inductance)
    cuts = [0.0, 0.5**2, best**2]
    cut = min(mitre, best) ** 2
    return Bend(float(np.interp(cut, cuts, [square.capacitance, half.capacitance, matched.capacitance])),
                float(np.interp(cut, cuts, [square.inductance, half.inductance, matched.inductance])))


def bend_warnings(u: float, er: float, mitre: float, F: float) -> list[str]:
    """Sentences on ranges left by a bend up to frequency times height F. [GHz mm]"""
    best = optimum_mitre(u)
    sentences = []
    if mitre < 0.5:
        sentences += outside("width / height", u, 0.5, 2.0, SQUARE, known="checked")
        sentences += outside("permittivity", er, 2.2, 9.6, SQUARE, known="checked")
    if mitre > 0.0:
        sentences += (outside("width / height", u, 0.2, 6.0, HALF_CUT)
                      + outside("permittivity", er, 2.4, 10.4, HALF_CUT)
                      + outside("highest frequency times height", F, 0.0, 12.0, HALF_CUT, " GHz mm"))
    if mitre > 0.5:
        sentences += outside("width / height", u, 0.25, np.inf, OPTIMUM)
    if mitre not in (0.0, 0.5) and mitre < best:
        sentences.append(f"a mitre of {100 * mitre:.3g} % lies between what is published (none, 50 %, and the optimum, "
                         f"here {100 * best:.3g} %: {HALF_CUT}; {OPTIMUM}); hbsim interpolates")
    elif mitre > best:
        sentences.append(f"a mitre of {100 * mitre:.3g} % is taken as the optimum, {100 * best:.3g} % ({OPTIMUM})")
    return sentences
