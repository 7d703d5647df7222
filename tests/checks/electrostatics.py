"""Microstrip at low frequency by electrostatics in the plane across it: an independent judge of closed formulas.

Lengths are in units of the height of the sheet, potentials in volts, charges per length in units of eps0 times a volt.
A line charge in the air at (x', z'), where z = 1 is the face of the sheet and z = 0 the ground plane, is seen from the
air through its images (J. D. Jackson, Classical Electrodynamics, ch. 4; P. Silvester, Proc. IEE 115 (1968) 43-48), with
b = (er - 1)/(er + 1) and s = z + z' - 2:

    4 pi V = -ln(x^2 + (z - z')^2) + b ln(x^2 + s^2) + (1 - b^2) sum_n>0 (-b)^(n-1) ln(x^2 + (s + 2 n)^2)

Two solutions: `thin` has a charge of Chebyshev polynomials over the square root that holds at both edges, and
converges exponentially; `thick` has panels of constant charge around the outline, graded towards the corners.
"""

from typing import NamedTuple

import numpy as np

ETA0 = 4e-7 * np.pi * 299792458.0
SMALLEST_IMAGE = 1e-14


class Strip(NamedTuple):
    """Impedance [ohm], effective permittivity [1], impedance in air [ohm]."""

    impedance: float
    permittivity: float
    air_impedance: float


def from_charges(loaded, in_air):
    """Charges at 1 V with and without the sheet: Z = 1 / (c sqrt(C C_air)), ee = C / C_air."""
    return Strip(ETA0 / np.sqrt(loaded * in_air), loaded / in_air, ETA0 / in_air)


def images(er):
    """Weights of the images at s + 2 n, n = 1, 2, ...; they add up to 1 - b."""
    b = (er - 1.0) / (er + 1.0)
    count = 1 if b == 0.0 else int(np.ceil(np.log(SMALLEST_IMAGE) / np.log(b))) + 1
    return b, (1.0 - b * b) * (-b) ** np.arange(count)


def smooth_kernel(x, s, er):
    """The sum over n of the head of this file."""
    _, weights = images(er)
    total = np.zeros(np.broadcast(x, s).shape)
    for n, weight in enumerate(weights, 1):
        total += weight * np.log(x * x + (s + 2.0 * n) ** 2)
    return total


# -- thin strips -------------------------------------------------------------------------------------------------

def _thin_charge(u, g, er, sign, n):
    """Charge of a strip at 1 V; `sign` +1, -1 for a neighbour at the same, the opposite voltage, 0 for none."""
    theta = np.pi * (np.arange(n) + 0.5) / n
    t = np.cos(theta)
    order = np.arange(n)
    polynomials = np.cos(order * theta[:, None])  # T_m at the nodes
    coefficients = 2.0 / n * polynomials.T  # of a charge given at the nodes
    coefficients[0] /= 2.0
    # integral of -ln|t - t'| T_m(t') / sqrt(1 - t'^2): pi ln 2 for m = 0, pi / m T_m(t) above
    own = polynomials @ (np.pi * np.concatenate([[np.log(2.0)], 1.0 / order[1:]])[:, None] * coefficients)
    weight = np.pi / n  # of a node, Gauss and Chebyshev
    x = u / 2.0 * t
    b, _ = images(er)
    apart = x[:, None] - x
    kernel = (1.0 - b) * 2.0 * (own - np.log(u / 2.0) * weight) + weight * smooth_kernel(apart, 0.0, er)
    if sign:
        apart = x[:, None] + x + g + u
        kernel += sign * weight * (smooth_kernel(apart, 0.0, er) - (1.0 - b) * np.log(apart**2))
    return weight * np.linalg.solve(kernel, np.full(n, 4.0 * np.pi)).sum()


def thin(u, er, g=None, sign=0, n=None):
    """A strip without thickness; with a gap g and `sign` +1 (-1) one of a pair in the even (odd) mode.

    The number of nodes follows from the nearest singularity outside the strip, whose distance from the middle is rho in
    the measure of Bernstein: the error falls as rho^(-2 n).
    """
    if n is None:
        near = 1.0 + 2.0 * g / u if sign else np.inf
        across = 4.0 / u  # of the first image
        rho = min(near + np.sqrt(near**2 - 1.0) if sign else np.inf, across + np.sqrt(across**2 + 1.0))
        n = int(np.clip(12.0 / np.log(rho), 10, 400))
    return from_charges(_thin_charge(u, g, er, sign, n), _thin_charge(u, g, 1.0, sign, n))


# -- strips with thickness ---------------------------------------------------------------------------------------

def rectangle(u, tt, along, across, left):
    """Panels around a strip on the sheet, (n, 2 ends, 2): lengths fall as the cube of the distance from a corner."""
    corners = np.array([[left, 1.0], [left + u, 1.0], [left + u, 1.0 + tt], [left, 1.0 + tt]])
    sides = []
    for i, n in enumerate((along, across, along, across)):
        k = np.linspace(-1.0, 1.0, n + 1)
        s = 0.5 * (1.0 + np.sign(k) * (1.0 - (1.0 - np.abs(k)) ** 3))
        points = corners[i] + s[:, None] * (corners[(i + 1) % 4] - corners[i])
        sides.append(np.stack([points[:-1], points[1:]], axis=1))
    return np.concatenate(sides)


def panel_potential(at, panels):
    """Integral of -ln r^2 over each panel from the points `at`, (n_point, n_panel): in closed form."""
    start, along = panels[:, 0], panels[:, 1] - panels[:, 0]
    length = np.hypot(*along.T)
    tangent = along / length[:, None]
    away = at[:, None] - start
    x = (away * tangent).sum(2)
    y = away[..., 0] * tangent[:, 1] - away[..., 1] * tangent[:, 0]
    y = np.where(np.abs(y) < 1e-15, 1e-15, np.abs(y))

    def primitive(x):
        return 2.0 * x - x * np.log(x * x + y * y) - 2.0 * y * np.arctan2(x, y)

    return primitive(x) - primitive(x - length)


def _panels_charge(panels, er, sign):
    at = panels.mean(axis=1)
    length = np.hypot(*(panels[:, 1] - panels[:, 0]).T)
    b, _ = images(er)
    upside_down = panels * [1.0, -1.0] + [0.0, 2.0]
    kernel = np.zeros((len(at), len(at)))
    for side, weight in ((1.0, 1.0), (-1.0, sign)):
        if not weight:
            continue
        mirrored, x = [side, 1.0], at[:, None, 0] - side * at[None, :, 0]
        s = at[:, None, 1] + at[None, :, 1] - 2.0
        kernel += weight * panel_potential(at, panels * mirrored)
        kernel += weight * length * smooth_kernel(x, s, er)
        if b:
            kernel -= weight * b * panel_potential(at, upside_down * mirrored)
    return length @ np.linalg.solve(kernel, np.full(len(at), 4.0 * np.pi))


def thick(u, tt, er, g=None, sign=0, along=40, across=14):
    """A strip of thickness tt that lies on the sheet; g and `sign` as for `thin`."""
    panels = rectangle(u, tt, along, across, g / 2.0 if sign else -u / 2.0)
    in_air = _panels_charge(panels, 1.0, sign)
    return from_charges(in_air if er == 1.0 else _panels_charge(panels, er, sign), in_air)


def outline_impedance(panels):
    """Impedance in air of a conductor of any outline above the ground plane at z = 0. [ohm]"""
    return ETA0 / _panels_charge(panels, 1.0, 0)
