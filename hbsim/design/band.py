"""What a filter does, read from an analysis of its parts: edges, centre, ripple, loss, rejection."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..linear.junctions import join_strips
from ..linear.network import Element
from ..linear.response import scattering

_POINTS = 601
_BESIDE = 1.0 + 1e-8  # at twice the centre the inner nodes of ideal quarter waves are held by nothing
_SEARCHED = 2.5  # half bandwidths on either side of the centre within which the edges are looked for


@dataclass(frozen=True)
class Band:
    """A pass-band as it is wanted: edges. [Hz]"""

    low: float
    high: float

    @property
    def centre(self) -> float:
        """Arithmetic mean of the edges: the response of coupled quarter waves mirrors itself there. [Hz]"""
        return (self.low + self.high) / 2.0

    @property
    def width(self) -> float:
        """[Hz]"""
        return self.high - self.low

    @property
    def fraction(self) -> float:
        """Width over centre. [1]"""
        return self.width / self.centre


@dataclass(frozen=True)
class Found:
    """What an analysis gives; losses and rejections count down from a perfect connection.

    Parameters
    ----------
    low, high : float
        Where the loss is `edge_db` above the least loss, on the outside; nan if the band has no such edge. [Hz]
    edge_db : float
        [dB]
    least_loss_db, most_loss_db : float
        Within the wanted band. [dB]
    ripple_db : float
        Most less least loss between the first and the last point of best match between the edges; 0 where there is but
        one. [dB]
    centre_loss_db : float
        At the wanted centre. [dB]
    return_loss_db : float
        Least within the wanted band, at the input. [dB]
    half_rejection_db, double_rejection_db : float
        At half and at twice the wanted centre. [dB]
    """

    low: float
    high: float
    edge_db: float
    least_loss_db: float
    most_loss_db: float
    ripple_db: float
    centre_loss_db: float
    return_loss_db: float
    half_rejection_db: float
    double_rejection_db: float

    @property
    def centre(self) -> float:
        """Middle of the edges. [Hz]"""
        return (self.low + self.high) / 2.0


def through_and_back(elements: Sequence[Element], ends: tuple[str, str], impedance: float,
                     frequency: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """S21 and S11 between two nodes and ground, with the steps that a circuit would have. (n_frequency,) [Hz] -> [1]"""
    s = scattering(join_strips(elements, ends).elements, [(end, "ground") for end in ends],
                   np.array([impedance, impedance]), 2.0 * np.pi * frequency)
    return s[:, 1, 0], s[:, 0, 0]


def loss_db(transmission: np.ndarray) -> np.ndarray:
    """-20 log10 |S|; nothing at all counts as 400 dB. [dB]"""
    return -20.0 * np.log10(np.maximum(np.abs(transmission), 1e-20))


def analysed(elements: Sequence[Element], ends: tuple[str, str], impedance: float, band: Band,
             edge_db: float) -> Found:
    """Analyse a filter between the nodes `ends` in a system of `impedance` [ohm] around `band`.

    edge_db : by how much the loss at a band edge is above the least one. [dB]
    """
    def losses(frequency: np.ndarray) -> np.ndarray:
        return loss_db(through_and_back(elements, ends, impedance, frequency)[0])

    inside = np.linspace(band.low, band.high, _POINTS)
    s21, s11 = through_and_back(elements, ends, impedance, inside)
    inner = loss_db(s21)
    low, high = edges(losses, band, edge_db)
    half, centre, double = losses(np.array([0.5, 1.0, 2.0 * _BESIDE]) * band.centre)
    return Found(low, high, edge_db, float(inner.min()), float(inner.max()), _ripple(losses, low, high), float(centre),
                 float(loss_db(s11).min()), float(half), float(double))


def _ripple(losses: Callable[[np.ndarray], np.ndarray], low: float, high: float) -> float:
    if math.isnan(low + high):
        return math.nan
    loss = losses(np.linspace(low, high, _POINTS))
    best = np.flatnonzero((loss[1:-1] <= loss[:-2]) & (loss[1:-1] <= loss[2:])) + 1
    between = loss[best[0]:best[-1] + 1] if len(best) else loss[:1]
    return float(between.max() - between.min())


def edges(losses: Callable[[np.ndarray], np.ndarray], band: Band, edge_db: float) -> tuple[float, float]:
    """The outermost frequencies whose loss is `edge_db` above the least one; nan where there is none. [Hz]"""
    from scipy.optimize import brentq
    reach = min(_SEARCHED * band.width, 0.9 * band.centre)
    frequency = np.linspace(band.centre - reach, band.centre + reach, _POINTS)
    loss = losses(frequency)
    top = _least(losses, frequency, loss)
    passed = np.flatnonzero(loss <= top + edge_db)
    found = []
    for inner, step in ((passed[0], -1), (passed[-1], 1)):
        outer = inner + step
        if not 0 <= outer < len(frequency):
            found.append(math.nan)
            continue
        found.append(brentq(lambda f: losses(np.array([f]))[0] - top - edge_db, frequency[inner], frequency[outer],
                            xtol=1e-9 * band.centre))
    return found[0], found[1]


def _least(losses: Callable[[np.ndarray], np.ndarray], frequency: np.ndarray, loss: np.ndarray) -> float:
    """Least loss, sought between the points around the best one. [dB]"""
    from scipy.optimize import minimize_scalar
    best = int(np.clip(loss.argmin(), 1, len(loss) - 2))
    found = minimize_scalar(lambda f: losses(np.array([f]))[0], bounds=(frequency[best - 1], frequency[best + 1]),
                            method="bounded", options={"xatol": 1e-7 * frequency[best]})
    return float(min(found.fun, loss.min()))
