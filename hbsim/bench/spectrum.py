"""Lines of a spectrum trace: those at multiples of the drive's frequency, the noise under them, and all others."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from ..errors import Refusal
from ..quantities import show
from .noise import LEAST_RATIO_DB, Noise, noise_of
from .relations import Relation, relations

PEAK = "peak"
_POINT_LOSS_DB = 10 * np.log10(2)  # at half a Gaussian resolution bandwidth from its middle
_SHARE_OF_RBW = 0.25  # a line's top is so flat that noise moves it by about that much


@dataclass(frozen=True, eq=False)
class Trace:
    """One sweep of a spectrum analyser.

    Attributes
    ----------
    frequency : ndarray, (n_point,)
        Rising. [Hz]
    level : ndarray, (n_point,)
        [dBm]
    bandwidth : float or None
        Resolution bandwidth, at -3 dB. [Hz]
    detector : str
        PEAK, another ("sample", "average"), or "" where it is not known.
    frequency_error : float
        By which the drive's frequency may be off; n times that at its n-th harmonic. [Hz]
    """

    frequency: np.ndarray
    level: np.ndarray
    bandwidth: float | None = None
    detector: str = ""
    frequency_error: float = 0.0

    @property
    def spacing(self) -> float:
        """Largest step between points. [Hz]"""
        return float(np.diff(self.frequency).max())

    @property
    def point_loss_db(self) -> float | None:
        """By how much a line between two points may read low; None where the resolution bandwidth is not known.

        3.0103 (spacing / bandwidth)^2 dB for a Gaussian filter: half a spacing from its middle. None is lost with a
        detector that keeps the peak between points.
        """
        if self.detector == PEAK:
            return 0.0
        return None if self.bandwidth is None else float(_POINT_LOSS_DB * (self.spacing / self.bandwidth) ** 2)

    def reach(self, order: float) -> float:
        """How far from `order` times the drive's frequency a line may stand. [Hz]"""
        return max(self.bandwidth or 0.0, self.spacing, self.frequency_error * order)

    def sharpness(self, order: float) -> float:
        """How well the place of a line is known. [Hz]"""
        return max(self.spacing, _SHARE_OF_RBW * (self.bandwidth or 0.0)) + self.frequency_error * order


@dataclass(frozen=True)
class HarmonicLine:
    """What a trace says at a multiple of the drive's frequency.

    Attributes
    ----------
    harmonic : int
    frequency, reading : float
        Of the highest point that is a line, or of the highest of all where none is. [Hz, dBm]
    above_noise : bool
        Whether it is a line.
    level : float
        The reading of a line. Else an upper limit: the reading, or what a line would need to be called one in 99 % of
        all sweeps, whichever is higher, and what it may read low between two points. [dBm]
    ratio_db : float or None
        Reading against the noise there; None where the noise is not known.
    called_db : float or None
        From which ratio on a reading is called a line.
    """

    harmonic: int
    frequency: float
    reading: float
    above_noise: bool
    level: float
    ratio_db: float | None
    called_db: float | None


@dataclass(frozen=True)
class OtherLine:
    """A line that is no harmonic: where it stands [Hz], its level [dBm], and how it lies to the drive's harmonics."""

    frequency: float
    level: float
    relation: Relation


@dataclass(frozen=True, eq=False)
class Lines:
    """All that was found in a trace; `noise` is None where it cannot be told from lines."""

    f0: float
    trace: Trace
    noise: Noise | None
    harmonics: tuple[HarmonicLine, ...]
    others: tuple[OtherLine, ...]
    notes: tuple[str, ...] = field(default=())


def trace_of(frequency: np.ndarray, level: np.ndarray, bandwidth: float | None = None, detector: str = "",
             frequency_error: float = 0.0) -> Trace:
    """A trace in the order of its frequencies, without points that have no number.

    Parameters
    ----------
    frequency, level : ndarray, (n_point,)
        In any order. [Hz, dBm]

    Raises
    ------
    Refusal
        Fewer than 3 points, or one frequency twice (several sweeps).
    """
    there = np.isfinite(frequency) & np.isfinite(level)
    frequency, level = np.asarray(frequency, float)[there], np.asarray(level, float)[there]
    if len(frequency) < 3:
        raise Refusal("a spectrum trace needs at least 3 points with numbers")
    order = np.argsort(frequency, kind="stable")
    frequency, level = frequency[order], level[order]
    twice = frequency[1:][np.diff(frequency) <= 0]
    if len(twice):
        raise Refusal(f"{twice[0]:.10g} Hz stands twice in the trace; take one sweep, or their mean (mean_dbm)")
    return Trace(frequency, level, bandwidth, detector, frequency_error)


def find_lines(trace: Trace, f0: float, harmonics: Iterable[int] | None = None) -> Lines:
    """Everything: harmonics, other lines, noise, and what is to be said of the trace.

    Parameters
    ----------
    f0 : float
        Frequency of the drive. [Hz]
    harmonics : iterable of int, optional
        All that lie inside the trace by default.

    Raises
    ------
    Refusal
        As `harmonic_lines`.
    """
    noise = noise_of(trace.level, trace.detector, (trace.bandwidth or 0.0) / trace.spacing)
    found = harmonic_lines(trace, f0, harmonics, noise)
    notes = [] if found else [f"no multiple of {show(f0, 'Hz', 7)} lies inside the trace"]
    if noise is None:
        notes.append("less than half of the trace is noise: it cannot be told from lines; no limit is known")
    return Lines(f0, trace, noise, found, other_lines(trace, f0, noise), (*notes, *_remarks(trace)))


def harmonic_lines(trace: Trace, f0: float, harmonics: Iterable[int] | None = None,
                   noise: Noise | None = None) -> tuple[HarmonicLine, ...]:
    """The lines at multiples of the drive's frequency.

    Looked for within the resolution bandwidth, the spacing of points, or the drive's error times the harmonic,
    whichever is largest; the slope of a line beside it is no line. What is called a line stands 3 dB above the mean of
    the noise there, and above what noise alone reaches within that distance in 1 % of all sweeps.

    Raises
    ------
    Refusal
        f0 is not above zero, or so small that its multiples are not told apart.
    """
    if not 0 < f0 < np.inf:
        raise Refusal("the frequency of the drive must be above zero")
    low, high = trace.frequency[0], trace.frequency[-1]
    wanted = list(range(max(1, int(np.ceil(low / f0))), int(high / f0) + 1)) if harmonics is None else list(harmonics)
    wanted = [n for n in wanted if n > 0 and low <= n * f0 <= high]
    if wanted and 2 * trace.reach(max(wanted)) > f0:
        raise Refusal(f"multiples of {show(f0, 'Hz', 7)} are not told apart: the trace resolves "
                      f"{show(trace.reach(max(wanted)), 'Hz')} at the highest; take a narrower span")
    return tuple(_harmonic(trace, f0, n, noise) for n in wanted)


def _harmonic(trace: Trace, f0: float, n: int, noise: Noise | None) -> HarmonicLine:
    reach = trace.reach(n) * (1 + 1e-9)
    window = np.arange(*np.searchsorted(trace.frequency, (n * f0 - reach, n * f0 + reach)))
    around = trace.level[np.clip(np.stack((window - 1, window + 1)), 0, len(trace.level) - 1)]
    tops = window[(trace.level[window] >= around).all(0)]
    points = tops if len(tops) else window
    best = points[np.argmax(trace.level[points] - (0.0 if noise is None else noise.floor[points]))]
    place, reading = float(trace.frequency[best]), float(trace.level[best])
    if noise is None:
        above = bool(len(tops))
        return HarmonicLine(n, place, reading, above, reading + (0.0 if above else trace.point_loss_db or 0.0),
                            None, None)
    ratio, called = reading - float(noise.floor[best]), noise.called_db(len(window))
    above = bool(len(tops)) and ratio > called
    seen = float(noise.floor[window].max()) + noise.seen_db(len(window))
    limit = max(float(trace.level[window].max()), seen) + (trace.point_loss_db or 0.0)
    return HarmonicLine(n, place, reading, above, reading if above else limit, ratio, called)


def other_lines(trace: Trace, f0: float, noise: Noise | None = None) -> tuple[OtherLine, ...]:
    """Lines that are no harmonic, by frequency; none where the noise is not known.

    A line stands 3 dB above the mean of the noise there, and above what noise alone reaches anywhere in 1 % of all
    sweeps, and 3 dB out of its surroundings (`scipy.signal.find_peaks`).
    """
    from scipy.signal import find_peaks
    if noise is None:
        return ()
    apart = max(1, int(round((trace.bandwidth or 0.0) / trace.spacing)))
    padded = np.concatenate(([-np.inf], trace.level, [-np.inf]))
    height = noise.floor + noise.called_db(len(trace.level))
    height = np.concatenate(([np.inf], height, [np.inf]))
    tops = find_peaks(padded, height=height, prominence=LEAST_RATIO_DB, distance=apart)[0] - 1
    order = np.round(trace.frequency[tops] / f0)
    reach = np.array([trace.reach(n) for n in order])
    tops = tops[(order < 1) | (np.abs(trace.frequency[tops] - order * f0) > reach * (1 + 1e-9))]
    frequency = trace.frequency[tops]
    said = relations(frequency, f0, trace.sharpness)
    return tuple(OtherLine(float(f), float(trace.level[top]), relation)
                 for f, top, relation in zip(frequency, tops, said))


def _remarks(trace: Trace) -> list[str]:
    """What limits the levels of all lines."""
    if trace.detector == PEAK:
        return []
    loss = trace.point_loss_db
    kind = f"the detector is '{trace.detector}'" if trace.detector else "the detector is not known"
    if loss is None:
        return [f"the resolution bandwidth is not known and {kind}: how much a line between two points reads low "
                f"cannot be told"]
    if trace.spacing > trace.bandwidth / 2:
        return [f"points stand {show(trace.spacing, 'Hz')} apart, more than half of the resolution bandwidth of "
                f"{show(trace.bandwidth, 'Hz')}, and {kind}: a line between two points reads up to {loss:.3f} dB low"]
    return []
