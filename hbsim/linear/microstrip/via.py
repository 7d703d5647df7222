"""Via to ground."""

from __future__ import annotations

import numpy as np

from .line import LIGHT, MU0, outside

SOURCE = "M. E. Goldfarb and R. A. Pucel, IEEE Microwave and Guided Wave Letters 1 (1991) 135-137"


def via_inductance(diameter: float, length: float) -> float:
    """Inductance of a plated hole from a strip to the ground plane, for diameter and length in m. [H]

    M. E. Goldfarb, R. A. Pucel, "Modeling via hole grounds in microstrip", IEEE Microwave and Guided Wave Letters 1
    (1991) 135-137: about 4 % for diameter / length 0.2 to 1.5, length up to some 3 % of a wavelength.
    """
    r = diameter / 2.0
    slant = np.hypot(r, length)
    return MU0 / (2.0 * np.pi) * (length * np.log((length + slant) / r) + 1.5 * (r - slant))


def via_warnings(diameter: float, length: float, permittivity: float, highest_frequency: float) -> list[str]:
    """Sentences on ranges left by a via of `diameter`, `length` [m] up to `highest_frequency` [Hz]."""
    wavelengths = length * highest_frequency * np.sqrt(permittivity) / LIGHT
    return (outside("via diameter / length", diameter / length, 0.2, 1.5, SOURCE)
            + outside("via length / wavelength in the board at the highest frequency", wavelengths, 0.0, 0.03, SOURCE))
