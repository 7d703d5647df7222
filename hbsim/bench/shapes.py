"""Distributions of the power of noise as a spectrum analyser shows it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

LOW, MIDDLE, HIGH = 0.16, 0.5, 0.97
LIKE_LOOKS = 1000.0  # more are as good as these for what a line looks like
_LOOKS = (0.3, 1e6)  # 1 is a single look at Gaussian noise, more are averages
_PEAKS = (1.0, 1e6)
_DOUBTFUL = 1 / 3  # of the way from averages to peaks: beyond, the higher rare levels of peaks are believed
_DB = np.log(10) / 10


@dataclass(frozen=True)
class Shape:
    """Power of noise: the mean of so many independent powers, or the highest of so many.

    A single power of Gaussian noise is exponential; a mean of them is a gamma distribution, the highest of m has the
    distribution function (1 - exp(-x))^m with the mean 1 + 1/2 + ... + 1/m. Levels here are against the mean. [dB]

    Attributes
    ----------
    looks : float
        Averaged; inf where all levels are alike.
    peaks : float
        Of which the highest is kept (peak detector, or the highest of several sweeps).
    """

    looks: float = 1.0
    peaks: float = 1.0

    @property
    def single_db(self) -> float:
        """Mean of one of the powers that the highest is taken of."""
        return -10 * float(np.log10(_harmonic_number(self.peaks)))

    @property
    def middle_db(self) -> float:
        """The median."""
        return float(self.quantile_db(MIDDLE))

    def quantile_db(self, share: float) -> float:
        """Level that a share of all points lies below."""
        from scipy.special import gammaincinv
        if not np.isfinite(self.looks):
            return 0.0
        if self.peaks > 1:
            return self.single_db + 10 * float(np.log10(-np.log(-np.expm1(np.log(share) / self.peaks))))
        return 10 * float(np.log10(gammaincinv(self.looks, share) / self.looks))

    def level_db(self, share: float) -> float:
        """Level that a (small) share of all points lies above."""
        from scipy.special import gammainccinv
        if not np.isfinite(self.looks):
            return 0.0
        if self.peaks > 1:
            return self.single_db + 10 * float(np.log10(-np.log(-np.expm1(np.log1p(-share) / self.peaks))))
        return 10 * float(np.log10(gammainccinv(self.looks, share) / self.looks))

    def passed(self, level_db: np.ndarray) -> np.ndarray:
        """Share of points above levels."""
        from scipy.special import gammaincc
        x = 10 ** ((np.asarray(level_db) - self.single_db) / 10)
        if self.peaks > 1:
            return -np.expm1(self.peaks * np.log1p(-np.exp(-x)))
        return gammaincc(self.looks, self.looks * x)

    def density(self, share: float) -> float:
        """Of levels, at one of the quantiles. [1/dB]"""
        from scipy.special import gammaln
        x = 10 ** ((self.quantile_db(share) - self.single_db) / 10)
        if self.peaks > 1:
            return float(_DB * x * self.peaks * np.exp((self.peaks - 1) * np.log1p(-np.exp(-x)) - x))
        k = self.looks
        return float(_DB * np.exp(k * np.log(k * x) - k * x - gammaln(k)))

    def variances(self) -> tuple[float, float, float]:
        """Of the sample quantiles at LOW and MIDDLE, and their covariance, times the number of points. [dB^2]"""
        if not np.isfinite(self.looks):
            return np.inf, np.inf, np.inf
        low, middle = self.density(LOW), self.density(MIDDLE)
        return (LOW * (1 - LOW) / low**2, MIDDLE * (1 - MIDDLE) / middle**2, LOW * (1 - MIDDLE) / (low * middle))

    def steepness(self, share: float) -> float:
        """By how much a rare level rises above the median when the distance of both quantiles grows by 1 dB."""
        wanted = self.quantile_db(MIDDLE) - self.quantile_db(LOW)
        wider = _of_spread(1.02 * wanted, self.peaks > 1)
        rise = (wider.level_db(share) - wider.middle_db) - (self.level_db(share) - self.middle_db)
        return max(rise, 0.0) / (0.02 * wanted)


def shape_of(off: np.ndarray, detector: str = "") -> tuple[Shape, float]:
    """Shape of the noise, and the median.

    Both families are fitted to the distance of two quantiles in the lower half, where no lines are. A detector that is
    known to keep peaks has the one of peaks, whose rare levels lie higher; otherwise the quantile at 97 % decides, in
    favour of peaks where it lies between.

    Parameters
    ----------
    off : ndarray, (n_point,)
        Levels against a floor. [dB]
    """
    low, middle, high = np.quantile(off, (LOW, MIDDLE, HIGH))
    wanted = float(middle - low)
    averaged = _of_spread(wanted, False)
    if not 1 < averaged.looks < np.inf:
        return averaged, float(middle)
    peaks = _of_spread(wanted, True)
    near, far = (shape.quantile_db(HIGH) - shape.middle_db for shape in (averaged, peaks))
    if detector == "peak" or high - middle > near + _DOUBTFUL * (far - near):
        return peaks, float(middle)
    return averaged, float(middle)


@lru_cache(maxsize=4096)
def _of_spread(wanted: float, peaks: bool) -> Shape:
    """Of the distance between both quantiles. [dB]"""
    from scipy.optimize import brentq

    def made(log_number: float) -> Shape:
        number = float(np.exp(log_number))
        return Shape(1.0, number) if peaks else Shape(number)

    def wider(log_number: float) -> float:
        shape = made(log_number)
        return shape.quantile_db(MIDDLE) - shape.quantile_db(LOW) - wanted

    few, many = np.log(_PEAKS if peaks else _LOOKS)
    if wider(many) >= 0:
        return Shape(np.inf) if not peaks else made(many)
    return made(few) if wider(few) <= 0 else made(float(brentq(wider, few, many, xtol=1e-9)))


def _harmonic_number(number: float) -> float:
    from scipy.special import digamma
    return float(digamma(number + 1) + np.euler_gamma)
