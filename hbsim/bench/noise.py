"""Noise of a spectrum trace: how strong it is at each of its points, and what it reaches by chance."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .floor import Floor, floor_of
from .shapes import LIKE_LOOKS, Shape, shape_of

LEAST_RATIO_DB = 3.0  # below, a reading is an upper limit: most of it may be noise
RARE = 0.01  # chance that noise alone is called a line
_MISSED = 0.005  # chance that a line at the limit is missed: half of 1 %, the other half is for the noise's own scatter
_LINE = 1e-4  # share of noise above what is taken for a line
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(21)


@dataclass(frozen=True, eq=False)
class Noise:
    """Power of the noise: a mean at each point, and one shape of distribution about it.

    Attributes
    ----------
    mean : float
        That of the middle one of all points: in watts, as dBm.
    shape : Shape
    share : float
        Of the trace's points that are no line.
    floor : ndarray, (n_point,)
        Mean at each point. [dBm]
    level : bool
        Whether one mean holds for the whole trace.
    scatter_db : float
        Standard error of the mean.
    independent : float
        Number of independent points that the shape is known from.
    """

    mean: float
    shape: Shape
    share: float
    floor: np.ndarray
    level: bool
    scatter_db: float
    independent: float

    def reached(self, points: int) -> float:
        """Level that noise alone exceeds anywhere in so many points in 1 % of all sweeps, where it is highest. [dBm]"""
        return float(self.floor.max()) + self.over_db(points)

    def over_db(self, points: int) -> float:
        """The same against the mean at a point. [dB]

        As much above what the fitted shape reaches as makes up for what the fit does not know: the chance, averaged
        over the errors of the fit, is 1 %.
        """
        return _over(self.shape, self.level, self.scatter_db, self.independent, RARE / max(points, 1))

    def called_db(self, points: int) -> float:
        """From which level against the mean on a reading within so many points is called a line. [dB]"""
        return max(self.over_db(points), LEAST_RATIO_DB)

    def seen_db(self, points: int) -> float:
        """How strong a line is that is called one in at least 99 % of all sweeps, against the mean. [dB]"""
        return _seen(self.shape, self.called_db(points))


def noise_of(level: np.ndarray, detector: str = "", width: float = 0.0) -> Noise | None:
    """The noise of a trace.

    The floor is fitted to medians of blocks of points (see `floor`), the shape to quantiles at 16 % and 50 % of what
    stands above or below it (see `shapes`). Points above what the noise reaches in one of 10000, and 3 dB above its
    mean, are lines, and left out until nothing changes. Noise alone passes what is said to be reached in 1 % of traces
    in 1 to 2 % of them on level and sloping floors (400 to 2000 points), and in up to 3 % of those of 100 points, where
    a floor bends or steps, and where peaks are kept and nothing says so.

    Parameters
    ----------
    level : ndarray, (n_point,)
        [dBm]
    detector : str
        "peak": keeps the highest of several powers at each point. Else the levels themselves tell.
    width : float
        Resolution bandwidth in points, 0 where it is not known.

    Returns
    -------
    Noise or None
        None where lines take more than half of the points.
    """
    kept = np.ones(len(level), bool)
    for _ in range(20):
        fitted = _fitted(level, kept, detector, width)
        if fitted is None:
            return None
        noise, off = fitted
        top = max(noise.shape.level_db(_LINE), LEAST_RATIO_DB)
        fewer = off <= top
        if not fewer.any() or np.array_equal(fewer, kept):
            break
        kept = fewer
    return noise if noise.share > 0.5 else None


def _fitted(level: np.ndarray, kept: np.ndarray, detector: str, width: float) -> tuple[Noise, np.ndarray] | None:
    """Noise, and how far each level stands from its mean [dB]; None where there is nothing but slopes of lines."""
    floor: Floor = floor_of(level, kept, width)
    off, seen = level - floor.middle, kept & floor.noisy
    if not seen.any():
        return None
    shape, middle = shape_of(off[seen], detector)
    mean = floor.middle + middle - shape.middle_db
    share = float(seen.mean())
    independent = max(seen.sum() / floor.alike, 2.0)
    noise = Noise(float(np.median(mean)), shape, share, mean, floor.level, floor.scatter_db, float(independent))
    return noise, level - mean


@lru_cache(maxsize=4096)
def _over(shape: Shape, level: bool, scatter_db: float, independent: float, share: float) -> float:
    """Level above the mean with a chance of `share` to be passed, errors of the fit included. [dB]"""
    from scipy.optimize import brentq
    plain = shape.level_db(share)
    error = _error_db(shape, level, scatter_db, independent, share)
    if not error:
        return plain
    weights = _WEIGHTS / _WEIGHTS.sum()

    def passed(t: float) -> float:
        return float(np.log(weights @ np.maximum(shape.passed(t + error * _NODES), 1e-300)) - np.log(share))

    return float(brentq(passed, plain - 1e-6, plain + 12 * error + 1, xtol=1e-4)) if passed(plain) > 0 else plain


def _error_db(shape: Shape, level: bool, scatter_db: float, independent: float, share: float) -> float:
    """Standard error of a level far above the mean that was found from sample quantiles.

    Sample quantiles at p and q, p <= q, have the covariance p (1 - q) / (n f(p) f(q)) (f: density; David and Nagaraja,
    Order Statistics, 3rd ed., 10.3); the level is the middle one plus a function of their distance.
    """
    low, middle, cross = shape.variances()
    if not np.isfinite(low):
        return 0.0
    steep = shape.steepness(share)
    if level:
        variance = (1 + steep) ** 2 * middle + steep**2 * low - 2 * (1 + steep) * steep * cross
        return float(np.sqrt(max(variance, 0.0) / independent))
    spread = max(low + middle - 2 * cross, 0.0) / independent
    return float(np.hypot(scatter_db, steep * np.sqrt(spread)))


@lru_cache(maxsize=4096)
def _seen(shape: Shape, called_db: float) -> float:
    """A steady line in noise of `looks` single powers has a power of noncentral chi-square distribution, 2 looks
    degrees of freedom and the noncentrality 2 looks S / N (Johnson, Kotz, Balakrishnan, Continuous Univariate
    Distributions 2, 29.1). Of a detector that keeps peaks one power alone counts: it need not keep more of the line."""
    from scipy.optimize import brentq
    from scipy.special import chndtr
    looks = min(shape.looks, LIKE_LOOKS)
    single = shape.single_db  # of the mean of one power, against the mean
    called = 10 ** ((called_db - single) / 10)

    def missed(line_db: float) -> float:
        line = 10 ** (line_db / 10)
        return float(chndtr(2 * looks * called, 2 * looks, 2 * looks * line)) - _MISSED

    top = 10 * np.log10(called) + 25
    line_db = brentq(missed, -30.0, top, xtol=1e-4) if missed(-30.0) > 0 > missed(top) else 10 * np.log10(called)
    return max(float(line_db) + single, called_db)
