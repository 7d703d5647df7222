"""The tip of a cosine: what a current that flows for a part of the period holds at each harmonic.

Source: the pulses of class AB, B and C stages, as in H. L. Krauss, C. W. Bostian and F. H. Raab, Solid State Radio
Engineering, Wiley, 1980, and S. C. Cripps, RF Power Amplifiers for Wireless Communications, Artech House, 1999 (from
memory, both). i = I_peak (cos t - cos h) / (1 - cos h) where |t| < h, else 0; 2 h is the conduction angle.
"""

from __future__ import annotations

import math


def pulse_harmonic(angle_deg: float, harmonic: int) -> float:
    """I_n / I_peak of the tip of a cosine; negative: in opposite phase at the peak.

    Parameters
    ----------
    angle_deg : float
        Conduction angle 2 h, above 0 and at most 360. [deg]
    harmonic : int
        n; 0 is the average.

    Returns
    -------
    float
        (1 / pi) integral of i cos(n t) over the period (half of it for n = 0), over I_peak. [1]

    Raises
    ------
    ValueError
        The angle is outside its limits.
    """
    if not 0.0 < angle_deg <= 360.0:
        raise ValueError(f"a conduction angle of {angle_deg:g} deg is not between 0 and 360")
    h, n = math.radians(angle_deg / 2), harmonic
    scale = math.pi * (1.0 - math.cos(h))
    if n == 0:
        return (math.sin(h) - h * math.cos(h)) / scale
    if n == 1:
        return (h - math.sin(h) * math.cos(h)) / scale
    return 2.0 * (math.sin(n * h) * math.cos(h) - n * math.cos(n * h) * math.sin(h)) / (n * (n * n - 1) * scale)


def angle_above(angle_deg: float, share: float) -> float:
    """In how much of the period the tip of a cosine is above a share of its peak. [deg]

    angle_deg : conduction angle, as in `pulse_harmonic`. share : 0 to 1.
    """
    low = math.cos(math.radians(angle_deg / 2))
    return 2.0 * math.degrees(math.acos(low + share * (1.0 - low)))
