"""Radial stub: a sector of metal, fed at its narrow end and open at its rim.

Waves on a sector follow the radial-line equations, whose solutions are Bessel functions (N. Marcuvitz, Waveguide
Handbook, McGraw-Hill 1951, sec. 1.7; as a microstrip stub: B. A. Syrett, IEEE Trans. MTT-28 (1980) 925-927; H. A.
Atwater, IEEE Trans. MTT-31 (1983) 488-491; F. Giannini, R. Sorrentino, J. Vrba, IEEE Trans. MTT-32 (1984) 1652-1655;
with loss: S. L. March, IEEE Trans. MTT-33 (1985) 269-271; all from memory).

How a sector of height h, angle phi and radii r1, r2 is brought to them here (hbsim's own):

* The rim is an open end: r2 is lengthened by the extension of an open end as wide as the rim.
* Across radius r the sector is a strip of width phi r; it carries the field of a plane waveguide of width
  D = eta0 h / Z_air (line.py), which counts the field beyond its straight edges. D is nearly linear in r. The radial
  line that is taken has D = slope rho; slope and rho are found from the area of the plane, and from the inductance
  that its current meets at low frequency, integral of (charge outside r / whole charge)^2 / D.
* Permittivity (with its dispersion) is the mean over the sector's plane, weighted with D, so that the capacitance at
  low frequency is that of all its strips together.
* Losses, too, are those of the strips: the dielectric's weighted with D, the metal's with the square of the current at
  low frequency, where it falls towards the rim as the charge outside does.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..board import Board, Conductor
from . import line, loss
from .line import ETA0, LIGHT, MU0, outside
from .propagation import strip_spread

_NODES = 16  # of the Gauss rule along the radius; twice as many change what is found by less than 1e-4
_SMALL = 1.0  # |k rho| below which Bessel functions are used as they are; above, waves in and out


def _rule(nodes: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gauss rule from 0 to 1: points, weights, and the matrix that integrates from each point to 1."""
    from numpy.polynomial import legendre
    point, weight = legendre.leggauss(nodes)
    basis = legendre.legvander(point, nodes - 1)
    to_coefficients = basis.T * weight * (np.arange(nodes)[:, None] + 0.5)
    integrals = np.array([legendre.legval(1.0, legendre.legint(row)) - legendre.legval(point, legendre.legint(row))
                          for row in np.eye(nodes)])
    return (1.0 + point) / 2.0, weight / 2.0, integrals.T @ to_coefficients / 2.0


_POINTS, _WEIGHTS, _OUTSIDE = _rule(_NODES)


class Sector(NamedTuple):
    """A sector as a radial line. Radii, from where its plane width vanishes [m]; slope of that width [1].

    Over frequency: effective permittivity and loss tangent [1], resistance over inductance of the metal [1/s], taken
    as the same at every radius.
    """

    inner: float
    outer: float
    slope: float
    permittivity: np.ndarray
    loss_tangent: np.ndarray
    decay: np.ndarray


def rim_extension(outer_radius: float, angle: float, metal: Conductor, board: Board) -> float:
    """Length that the open rim adds: that of an open end as wide as the rim. [m]"""
    rim = _strip(angle * outer_radius, metal, board)
    return line.open_end(angle * outer_radius / board.height, board.permittivity, rim.permittivity) * board.height


def _strip(width: float, metal: Conductor, board: Board) -> line.Static:
    return line.static_line(width / board.height, metal.thickness / board.height, board.permittivity)


def _origin(wanted: float) -> float:
    """Inner radius over length of the radial line for which the integral of (area outside / area)^2 / D, times the
    mean of D, is `wanted` per length; 1/3 for a uniform line. [1]"""
    from scipy.optimize import brentq  # late: it doubles the time a command needs to start

    def excess(log_inner: float) -> float:
        inner = np.exp(log_inner)
        outer = inner + 1.0
        reach = _POINTS * np.log(outer / inner)  # rho = inner exp(reach): D d(reach) = slope d(rho)
        left = (outer**2 - (inner * np.exp(reach)) ** 2) / (outer**2 - inner**2)
        return float(_WEIGHTS @ left**2 * np.log(outer / inner) * (inner + 0.5)) - wanted

    ends = np.log(1e-6), np.log(1e4)
    if excess(ends[1]) >= 0.0:  # so narrow an angle that nothing tells it from a uniform line
        return 1e4
    return float(np.exp(brentq(excess, *ends, xtol=1e-12)))


def sector(inner_radius: float, outer_radius: float, angle: float, metal: Conductor, board: Board,
           frequency: np.ndarray) -> Sector:
    """The radial line that stands for a sector, see the head of this file; radii in m, angle in rad, frequencies (zero
    included) in Hz."""
    h, er = board.height, board.permittivity
    length = outer_radius + rim_extension(outer_radius, angle, metal, board) - inner_radius
    along, weight = _POINTS, _WEIGHTS
    widths = angle * (inner_radius + along * length)
    strips = [_strip(float(width), metal, board) for width in widths]
    plane = np.array([ETA0 * h / strip.air_impedance for strip in strips])
    charge = plane * [strip.permittivity for strip in strips]
    share, outside_it = weight * plane / (weight @ plane), _OUTSIDE @ charge / (weight @ charge)
    inner = length * _origin(weight @ (outside_it**2 / plane) * (weight @ plane))
    slope = weight @ plane / (inner + length / 2.0)

    F = line.ghz_mm(frequency, h)
    local = np.array([line.dispersive_permittivity(F, width / h, er, strip.permittivity)
                      for width, strip in zip(widths, strips)])
    filling = (local - 1.0) / (er - 1.0) if er > 1.0 else np.ones_like(local)
    permittivity = share @ local

    resistance = np.array([loss.series_resistance(frequency, strip_spread(float(width), metal, board), float(width),
                                                  metal, board.metal) for width in widths])
    tangent = board.loss_tangent * er * (share @ filling) / permittivity
    lost = weight * outside_it**2
    return Sector(inner, inner + length, slope, permittivity, tangent,
                  lost @ resistance / (lost @ (MU0 * h / plane)))


def input_law(radial: Sector, height: float, omega: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """a and b of the stub's law a V + b I = 0 at its inner radius, each (n_frequency,); exact at DC (I = 0).

    With Z' = j w mu0 h / (s rho) + R' and Y' = j w eps s rho / h, where R' falls with rho as the inductance does, V and
    I follow k^2 = -Z' Y', and I = 0 at the rim gives (Marcuvitz 1951)

        V / I = (Z' / k) [J0(x1) N1(x2) - N0(x1) J1(x2)] / [J1(x1) N1(x2) - N1(x1) J1(x2)],  x = k rho

    with Z' / k at the inner radius. Large arguments are written with waves in and out (Hankel
    functions without their exponentials), which neither overflow nor cancel under loss.
    """
    from scipy.special import hankel1e, hankel2e, jv, yv  # late: it doubles the time a command needs to start
    at_dc = omega == 0.0
    w = np.where(at_dc, 1.0, omega)
    series = (1j * w + np.where(at_dc, 0.0, radial.decay)) * MU0  # times h / (s rho)
    shunt = 1j * w * radial.permittivity * (1.0 - 1j * radial.loss_tangent) / (MU0 * LIGHT**2)  # times s rho / h
    k = -1j * np.sqrt(series) * np.sqrt(shunt)  # each root in the first eighth of the plane: waves lose power
    x1, x2 = k * radial.inner, k * radial.outer
    small = np.abs(x2) < _SMALL
    s1, s2 = np.where(small, x1, 1.0), np.where(small, x2, 1.0)
    above = jv(0, s1) * yv(1, s2) - yv(0, s1) * jv(1, s2)
    below = jv(1, s1) * yv(1, s2) - yv(1, s1) * jv(1, s2)
    l1, l2 = np.where(small, 1.0, x1), np.where(small, 1.0, x2)
    turn = np.exp(np.where(small, 0.0, -2j * k * (radial.outer - radial.inner)))
    out = hankel1e(1, l2)
    back = hankel2e(1, l2) * turn
    above = np.where(small, above, (hankel2e(0, l1) * out - hankel1e(0, l1) * back) / 2j)
    below = np.where(small, below, (hankel2e(1, l1) * out - hankel1e(1, l1) * back) / 2j)
    wave = np.sqrt(series) / np.sqrt(shunt) * height / (radial.slope * radial.inner)
    a, b = x2 * below, -1j * x2 * wave * above
    return np.where(at_dc, 0.0, a), np.where(at_dc, 1.0, b)


def radial_warnings(outer_radius: float, angle: float, metal: Conductor, board: Board,
                    highest_frequency: float) -> list[str]:
    """Sentences on ranges left by a sector of `angle` [rad] up to `highest_frequency` [Hz]."""
    rim = angle * outer_radius
    strip = _strip(rim, metal, board)
    return (outside("arc of the rim / wavelength at the highest frequency",
                    rim * highest_frequency * np.sqrt(strip.permittivity) / LIGHT, 0.0, 1.0,
                    "beyond, the field may vary along the arc, which a radial line does not know; estimate of hbsim",
                    known="meant")
            + outside("arc of the rim / height", rim / board.height, 0.01, 100.0,
                      f"{line.OPEN_END}, end effect of the rim")
            + outside("highest frequency times height", float(line.ghz_mm(highest_frequency, board.height)), 0.0, 39.0,
                      "M. Kirschning and R. H. Jansen, Electronics Letters 18 (1982) 272-273", " GHz mm"))
