"""What a spectrum analyser adds to a reading: noise, distortion of its own, compression.

Formulas as makers of analysers publish them: Application Note 150, "Spectrum Analysis Basics" (noise, intercepts,
compression); the correction of a power-averaged reading near the noise from a maker's note on measurements close to the
noise; the shift of a log-averaged reading derived here, and confirmed by a Monte-Carlo test.
"""

from __future__ import annotations

import numpy as np

LEAST_ABOVE_NOISE = 3.0  # of a reading over the noise; nearer it is no number but an upper limit. [dB]
_LOG_LOW = 10 * 0.5772156649015329 / np.log(10)  # noise read with averaging in decibels is so much too low. [dB]
_FAR_BELOW = 60.0  # the noise: where no tone is seen any more. [dB]
AVERAGING = ("power", "logarithmic", "unknown")


def intercept(distortion_dbc: float, mixer_dbm: float, order: int) -> float:
    """Intercept point of its own harmonic of an order, from a distortion at a level at the mixer. [dBm]

    H2 = L - SHI, H3 = 2 (L - THI).
    """
    return mixer_dbm - distortion_dbc / (order - 1)


def own_harmonic_dbc(mixer_dbm: float | np.ndarray, intercept_dbm: float, order: int) -> float | np.ndarray:
    """Harmonic that the analyser makes itself, against the line that makes it. [dB]"""
    return (order - 1) * (mixer_dbm - intercept_dbm)


def compression_db(mixer_dbm: float | np.ndarray, one_db_dbm: float) -> float | np.ndarray:
    """What a reading is off by near the 1 dB compression point of the mixer, by the cubic law; at most zero. [dB]

    20 log10(1 - 0.108749 x), x the power over that of the 1 dB point. Above that point the law does not hold: minus
    infinity, nothing is known.
    """
    over = np.asarray(mixer_dbm, float) - one_db_dbm
    share = (1 - 10 ** (-1 / 20)) * 10 ** (np.minimum(over, 0.0) / 10)
    return np.where(over > 0.0, -np.inf, 20 * np.log10(1 - share))


def log_average_shift(above_noise_db: float | np.ndarray) -> float | np.ndarray:
    """How much a tone reads too high with averaging in decibels, by its true power over the noise. [dB]

    (10 / ln 10) E1(S / N) for a tone in Gaussian noise, E1 the exponential integral.
    """
    from scipy.special import exp1
    return 10 / np.log(10) * exp1(10 ** (np.asarray(above_noise_db, float) / 10))


def without_noise(reading: np.ndarray, floor: float, averaging: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Readings without the noise in them.

    Parameters
    ----------
    reading : ndarray, (n,)
        [dBm]
    floor : float
        Reading of the noise alone, at the same settings. [dBm]
    averaging : str
        "power": the reading is tone plus noise in watts, and 10 log10(1 - 10^(-r/10)) is added. "logarithmic": what
        averaging in decibels adds is taken off (1.3 dB at most), the noise itself reading 2.51 dB low. "unknown":
        nothing is added, and the band reaches down to the lower of both.

    Returns
    -------
    corrected, lowest : ndarray, (n,)
        The value, and the lowest that the averaging allows. [dBm]
    upper : ndarray of bool, (n,)
        Readings nearer to the noise than `LEAST_ABOVE_NOISE`: upper limits, at so much above it, for a reading that
        noise has lowered says no more.
    """
    above = reading - floor
    upper = ~(above >= LEAST_ABOVE_NOISE) & np.isfinite(reading)
    share = 10 ** (-np.where(upper, LEAST_ABOVE_NOISE, above) / 10)
    found = {"power": reading + 10 * np.log10(1 - share), "logarithmic": _of_a_logarithmic_mean(reading, floor, upper)}
    found["unknown"] = reading
    corrected = np.where(upper, np.maximum(reading, floor + LEAST_ABOVE_NOISE), found[averaging])
    lowest = np.minimum(found["power"], found["logarithmic"]) if averaging == "unknown" else found[averaging]
    return corrected, np.where(upper, -np.inf, lowest), upper


def _of_a_logarithmic_mean(reading: np.ndarray, floor: float, upper: np.ndarray) -> np.ndarray:
    """The tone whose mean in decibels is the reading."""
    from scipy.optimize import brentq
    noise, found = floor + _LOG_LOW, np.array(reading, float)
    for point in np.flatnonzero(~upper & np.isfinite(reading)):
        def off(tone: float, read: float = float(reading[point])) -> float:
            return float(tone + log_average_shift(tone - noise) - read)
        found[point] = brentq(off, noise - _FAR_BELOW, float(reading[point]))
    return found
