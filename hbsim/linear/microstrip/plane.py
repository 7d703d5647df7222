"""The plane waveguide that stands for a strip at a junction: as wide as gives its impedance, between magnetic walls.

I. Wolff, G. Kompa, R. Mehran, "Calculation method for microstrip discontinuities and T junctions", Electronics
Letters 8 (1972) 177-179 (from memory).
"""

from __future__ import annotations

from .line import ETA0, MU0, Static, outside

TRUSTED = 0.3  # part of the cutoff up to which junction formulas are trusted; common practice, no source


def plane_width(strip: Static, height: float) -> float:
    """Width of the plane waveguide: D = eta0 h / Z_air. [m]"""
    return ETA0 * height / strip.air_impedance


def plane_cutoff(strip: Static, height: float) -> float:
    """Frequency where it is half a wave wide: Z / (2 mu0 h), 0.4 Z/ohm / (h/mm) GHz. [Hz]"""
    return strip.impedance / (2.0 * MU0 * height)


def width_warnings(strip: Static, height: float, highest_frequency: float, source: str) -> list[str]:
    """A sentence where the strip is too wide for what `source` says of a junction, up to a frequency [Hz]."""
    return outside("highest frequency / frequency where the strip is half a wave wide",
                   highest_frequency / plane_cutoff(strip, height), 0.0, TRUSTED, source, known="trusted")
