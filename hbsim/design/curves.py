"""What the pictures of designs draw, as numbers: responses over frequency, impedances over a size."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .band import loss_db, through_and_back
from .coupled_filter import FilterDesign
from .lines import LineDesign, line_values
from .pairs import PairDesign, pair_values

_POINTS = 801
_SIZES, _REACH = 121, 6.0  # points of a curve over a size, from one `_REACH`th of the chosen one to as many times it
_NEAR = 1.6  # band-widths to each side
_FAR = (0.3, 2.3)  # of the centre
_BESIDE = 1e-7  # ideal parts leave nodes undetermined at exact quarter waves


class Response(NamedTuple):
    """A filter over frequency, each (n,): losses count downwards. [Hz], [dB]"""

    frequency: np.ndarray
    through: np.ndarray
    reflected: np.ndarray
    prototype_through: np.ndarray
    prototype_reflected: np.ndarray


def response_near(design: FilterDesign) -> Response:
    """Around the pass-band."""
    band = design.wish.band
    return _response(design, band.centre - _NEAR * band.width, band.centre + _NEAR * band.width)


def response_far(design: FilterDesign) -> Response:
    """From a third to more than twice the centre."""
    centre = design.wish.band.centre
    return _response(design, _FAR[0] * centre, _FAR[1] * centre)


def _response(design: FilterDesign, low: float, high: float) -> Response:
    band = design.wish.band
    frequency = np.linspace(max(low, 0.01 * band.centre), high, _POINTS) * (1.0 + _BESIDE)
    through, reflected = through_and_back(design.elements, design.ends, design.wish.impedance, frequency)
    wanted = design.wish.prototype.loss_db(2.0 * (frequency - band.centre) / band.width)
    with np.errstate(divide="ignore"):
        back = -loss_db(np.sqrt(1.0 - 10.0 ** (-wanted / 10.0)))
    return Response(frequency, -loss_db(through), -loss_db(reflected), -wanted, back)


def line_curve(design: LineDesign) -> tuple[np.ndarray, np.ndarray]:
    """Widths about the chosen one, and the impedance of each. [m], [ohm]"""
    v = design.values
    widths = np.geomspace(v.width / _REACH, v.width * _REACH, _SIZES)
    return widths, np.array([line_values(float(w), design.board, v.frequency, design.conductor).impedance
                             for w in widths])


def pair_curve(design: PairDesign) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gaps about the chosen one, and the even and the odd impedance of each. [m], [ohm], [ohm]"""
    v = design.values
    gaps = np.geomspace(v.gap / _REACH, v.gap * _REACH, _SIZES)
    values = [pair_values(v.width, float(gap), design.board, v.frequency, design.conductor) for gap in gaps]
    return gaps, np.array([w.even_impedance for w in values]), np.array([w.odd_impedance for w in values])
