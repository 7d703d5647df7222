"""Gap between two strips in line: a capacitance across it and one to ground at each end.

Symbols: u = width / height (u1 the narrower strip), g = gap / height, er = permittivity of the dielectric. Lengths in
m, capacitances in F.

Two published forms are joined. That of Kirschning, Jansen and Koster (1983) holds from g = 0.2 up; below, it gives 13
to 27 % too little series capacitance, and that of Garg and Bahl (1978) is the better one. Between g = 0.1 and 0.2 the
logarithm of the series capacitance goes over from the one to the other in proportion to log g (hbsim's own), so that
nothing jumps there. The older form knows equal strips of u = 0.5 to 2 and er = 2.5 to 15 only; others are brought in
by the ratio of the newer form at g = 0.2 (own). Capacitances to ground are those of the newer form throughout; between
equal strips they vanish with the gap.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .line import outside

DYNAMIC = ("M. Kirschning, R. H. Jansen and N. H. L. Koster, IEEE MTT-S Digest 1983, 495-497; compared with a "
           "full-wave solution down to 4.4: series capacitance within 12 %, to ground 20 %")
STATIC = "R. Garg and I. J. Bahl, Int. J. Electronics 45 (1978) 81-87"
SMALLEST = 0.2  # g from which the newer form is taken alone
_OLDER_ALONE = 0.1  # g below which the series capacitance is that of the older form
_WIDEST_RATIO = 3.0  # of the strips' widths, up to which the newer form is published
_REFERENCE_ER = 9.6  # permittivity for which the older form is tabulated


class Gap(NamedTuple):
    """Series capacitance, and capacitances to ground beside the narrower and the wider strip. [F]"""

    series: float
    narrow: float
    wide: float


def dynamic_gap(u1: float, u2: float, g: float, er: float, height: float, ends: tuple[float, float]) -> Gap:
    """The newer form; `ends` are the capacitances of the open ends of the two strips. [F]

    M. Kirschning, R. H. Jansen, N. H. L. Koster, "Measurement and computer-aided modeling of microstrip discontinuities
    by an improved resonator method", IEEE MTT-S Digest 1983, 495-497: 0.1 <= u1 <= u2 <= 3, u2 <= 3 u1, 6 <= er <= 13,
    g >= 0.2. The ratio of widths is held at 3 beyond. A capacitance to ground is what the gap adds to the strips'
    own, and comes out negative beside a narrow strip that a wide one shields.
    """
    ratio = min(u2 / u1, _WIDEST_RATIO)
    q1 = 0.04598 * (0.03 + u1 ** (1.23 / (1.0 + 0.12 * (ratio - 1.0) ** 0.9))) * (0.272 + 0.07 * er)
    q2 = 0.107 * (u1 + 9.0) * g**3.23 + 2.09 * g**1.05 * (1.5 + 0.3 * u1) / (1.0 + 0.6 * u1)
    q3 = np.exp(-0.5978 * ratio**1.35) - 0.55
    q4 = np.exp(-0.5978 * ratio**-1.35) - 0.55
    series = 500e-12 * height * np.exp(-1.86 * g) * q1 * (
        1.0 + 4.19 * (1.0 - np.exp(-0.785 * np.sqrt(1.0 / u1) * ratio)))
    return Gap(series, ends[0] * (q2 + q3) / (q2 + 1.0), ends[1] * (q2 + q4) / (q2 + 1.0))


def static_gap(u: float, g: float, er: float, height: float) -> Gap:
    """The older form, for equal strips.

    R. Garg, I. J. Bahl, "Microstrip discontinuities", Int. J. Electronics 45 (1978) 81-87 (the factor 12 of the even
    capacitance is confirmed by an electrostatic solution): 0.5 <= u <= 2, 2.5 <= er <= 15, 0.1 <= gap / width <= 1.
    Its even capacitance has two pieces, which differ at gap / width = 0.3: the series capacitance drops there by up to
    2 % (u = 0.5), and by less than 1 % where the piece is in use here.
    """
    x, width = g / u, u * height
    mo, ko = u * (0.619 * np.log10(u) - 0.3853), 4.26 - 1.453 * np.log10(u)
    me, ke = (0.8675, 2.043 * u**0.12) if x <= 0.3 else (1.565 / u**0.16 - 1.0, 1.97 - 0.03 / u)
    odd = 1e-12 * width * x**mo * np.exp(ko) * (er / _REFERENCE_ER) ** 0.8
    even = 12e-12 * width * x**me * np.exp(ke) * (er / _REFERENCE_ER) ** 0.9
    return Gap(odd / 2.0 - even / 4.0, even / 2.0, even / 2.0)


def series_gap(u1: float, u2: float, g: float, er: float, height: float, ends: tuple[float, float]) -> Gap:
    """Both forms joined, for any widths u1 <= u2 and any gap; see the head of this file. [F]"""
    newer = dynamic_gap(u1, u2, g, er, height, ends)
    if g >= SMALLEST:
        return newer
    known, known_er = min(max(u1, 0.5), 2.0), min(max(er, 2.5), 15.0)
    carried = (dynamic_gap(u1, u2, SMALLEST, er, height, ends).series
               / dynamic_gap(known, known, SMALLEST, known_er, height, ends).series)
    older = static_gap(known, g, known_er, height).series * carried
    share = min(1.0, np.log(g / SMALLEST) / np.log(_OLDER_ALONE / SMALLEST))
    return newer._replace(series=newer.series ** (1.0 - share) * older**share)


def gap_warnings(u1: float, u2: float, g: float, er: float, F: float) -> list[str]:
    """Sentences on ranges left by strips u1 <= u2, gap g, up to frequency times height F [GHz mm]."""
    sentences = (outside("narrower width / height", u1, 0.1, 3.0, DYNAMIC)
                 + outside("wider width / height", u2, 0.1, 3.0, DYNAMIC)
                 + outside("ratio of widths", u2 / u1, 1.0, _WIDEST_RATIO, DYNAMIC + "; held at its end")
                 + outside("permittivity", er, 6.0, 13.0, DYNAMIC)
                 + outside("highest frequency times height", F, 0.0, 12.0, DYNAMIC, " GHz mm"))
    if g < SMALLEST:
        sentences += (outside("gap / width", g / u1, 0.1, 1.0, STATIC)
                      + outside("width / height at a narrow gap", u1, 0.5, 2.0, STATIC)
                      + outside("permittivity at a narrow gap", er, 2.5, 15.0, STATIC))
    return sentences
