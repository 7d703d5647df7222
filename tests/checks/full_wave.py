"""One thin microstrip at any frequency, full-wave, in the spectral domain: a judge of dispersion formulas.

T. Itoh, R. Mittra, IEEE Trans. MTT-21 (1973) 496-499, with the immittances of T. Itoh, IEEE Trans. MTT-28 (1980)
733-736. Lengths are in units of the height of the sheet. With currents exp(j a x - j b z) on the face of the sheet,
y1^2 = a^2 + b^2 - er k0^2, y2^2 = a^2 + b^2 - k0^2, j omega eps0 times the field that they need is

    E = 1 / (er coth(y1)/y1 + 1/y2) of the part along (a, b),   -k0^2 / (y1 coth(y1) + y2) of the part across it.

The strip's currents are Chebyshev polynomials over (along) and times (across) the square root that holds at its edges;
b is where the field on the strip can vanish. The power that flows follows from how the reaction changes with b: of a
wave that decays slowly, kept up by its currents, what flows less is what they take out, so that with the field
-Z J, P = j/4 (J, dZ/db J). Z = 2 P / I^2 is the power-current impedance.
"""

from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import jv

ETA0 = 4e-7 * np.pi * 299792458.0
ALONG, ACROSS = 5, 4  # functions of the current
HALF = 150.0 * np.pi  # of the range of integration; the tail falls as 1/range


@lru_cache(maxsize=1)
def _points():
    """Points and weights over 0 to 2 HALF in x = a u/2: what is beyond is extrapolated from the halves."""
    panels = np.concatenate([[0.0], np.geomspace(1e-3, np.pi, 14), np.pi * np.arange(2, 301)])
    nodes, weights = np.polynomial.legendre.leggauss(8)
    middle, half = (panels[1:] + panels[:-1]) / 2.0, np.diff(panels) / 2.0
    x = (middle[:, None] + half[:, None] * nodes).ravel()
    # I(infinity) = 2 I(2 HALF) - I(HALF)
    weight = (half[:, None] * weights).ravel() * np.where(x < HALF, 1.0, 2.0)
    m, n = np.arange(ALONG), np.arange(1, ACROSS + 1)
    along = np.pi * (-1.0) ** m[:, None] * jv(2 * m[:, None], x)
    across = 2.0 * np.pi * n[:, None] * (-1.0) ** n[:, None] * jv(2 * n[:, None], x) / x
    return x, weight, along, across


def reaction(b, u, er, k0):
    """Reactions between the functions of the current, times j omega eps0."""
    x, weight, along, across = _points()
    a = 2.0 * x / u
    y1, y2 = np.sqrt(a * a + b * b - er * k0 * k0 + 0j), np.sqrt(a * a + b * b - k0 * k0)
    coth = 1.0 / np.tanh(y1)
    parallel = 1.0 / (er * (coth / y1).real + 1.0 / y2)
    normal = -k0 * k0 / ((y1 * coth).real + y2)
    size = weight * 2.0 / u / (a * a + b * b)
    zz, zx, xx = b * b * parallel + a * a * normal, a * b * (parallel - normal), a * a * parallel + b * b * normal
    cross = (along * size * zx) @ across.T
    return np.block([[(along * size * zz) @ along.T, cross], [cross.T, (across * size * xx) @ across.T]])


def microstrip(u, er, F, lowest):
    """Effective permittivity and power-current impedance [ohm] at F = frequency times height [GHz mm].

    `lowest`: from where to look for the permittivity, up to er; the largest there belongs to the wave without cutoff.
    """
    k0 = 2.0 * np.pi * F * 1e6 / 299792458.0

    def determinant(ee):
        return np.linalg.det(reaction(k0 * np.sqrt(ee), u, er, k0))

    trials = np.linspace(er * (1.0 - 1e-4), lowest, 60)
    signs = np.sign([determinant(ee) for ee in trials])
    first = int(np.argmax(signs != signs[0]))
    ee = brentq(determinant, trials[first], trials[first - 1], xtol=1e-12)
    b = k0 * np.sqrt(ee)
    current = np.linalg.svd(reaction(b, u, er, k0))[2][-1]
    step = 1e-4 * b
    slope = (reaction(b + step, u, er, k0) - reaction(b - step, u, er, k0)) / (2.0 * step)
    # power: both signs of a, over 2 pi, peak phasors; the current is pi times its first coefficient
    power = ETA0 / (4.0 * k0) * (current @ slope @ current) / np.pi
    return ee, 2.0 * power / (np.pi * current[0]) ** 2
