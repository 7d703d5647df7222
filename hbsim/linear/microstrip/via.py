"""Via to ground: a hole plated, filled, or lined with foil; foil around the board's edge.

Anything upright is taken as a round post of some radius. A post of metal has its own; a flat foil of width w has w / 4,
and N foils of angle theta, evenly spaced in a hole of radius r, have r (sin(N theta / 4))^(1/N): these are the
logarithmic capacities of a segment and of N arcs of a circle, the radii of the round wires of the same field far away
(T. Ransford, Potential Theory in the Complex Plane, Cambridge 1995, ch. 5, from memory; for one arc r sin(theta / 4)).
Foil that covers the whole wall gives r.
"""

from __future__ import annotations

import numpy as np

from .line import LIGHT, MU0, outside

SOURCE = "M. E. Goldfarb and R. A. Pucel, IEEE Microwave and Guided Wave Letters 1 (1991) 135-137"


def via_inductance(diameter: float, length: float) -> float:
    """Inductance of a plated hole from a strip to the ground plane, for diameter and length in m. [H]

    M. E. Goldfarb, R. A. Pucel, "Modeling via hole grounds in microstrip", IEEE Microwave and Guided Wave Letters 1
    (1991) 135-137: about 4 % for diameter / length 0.2 to 1.5, length up to some 3 % of a wavelength. Above 1.5 it goes
    on falling as length^2 / diameter, so that it stays positive.
    """
    r = diameter / 2.0
    slant = np.hypot(r, length)
    return MU0 / (2.0 * np.pi) * (length * np.log((length + slant) / r) + 1.5 * (r - slant))


def foil_diameter(foil_width: float, foils: float, hole: float | None) -> float:
    """Diameter of the round post that stands for foil through a hole of diameter `hole`, or for one flat foil. [m]"""
    if hole is None:
        return foil_width / 2.0
    covered = min(2.0 * np.pi, foils * foil_width / (hole / 2.0))
    return hole * np.sin(covered / 4.0) ** (1.0 / foils)


def via_resistance(frequency: np.ndarray, area: float, girth: float, length: float, conductivity: float) -> np.ndarray:
    """Resistance of a post with a metal cross-section of `area` [m2], whose current at high frequency flows in a skin
    along `girth` [m], for length [m] and conductivity [S/m]. [ohm]

    Goldfarb and Pucel 1991: R = Rdc sqrt(1 + f / fd), fd = 1 / (pi mu0 sigma t^2) for a plating of thickness t; with
    t = area / girth it has the right limits for solid posts and foils, too: Rdc, and surface resistance times length
    over girth.
    """
    depth = area / girth
    return length / (conductivity * area) * np.sqrt(1.0 + np.pi * MU0 * conductivity * depth**2 * np.asarray(frequency))


def via_warnings(diameter: float, length: float, permittivity: float, highest_frequency: float) -> list[str]:
    """Sentences on ranges left by a via of `diameter`, `length` [m] up to `highest_frequency` [Hz]."""
    wavelengths = length * highest_frequency * np.sqrt(permittivity) / LIGHT
    return (outside("via diameter / length", diameter / length, 0.2, 1.5, SOURCE)
            + outside("via length / wavelength in the board at the highest frequency", wavelengths, 0.0, 0.03, SOURCE))
