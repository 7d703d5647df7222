"""What panels of a comparison share: units, the range that is shown, marks that lie beyond it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..bench.compare import Compared
from .style import scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_DECADES = 100.0  # currents that span more are drawn by their logarithm
_REACH, _ROOM = 0.5, 0.08  # shares of the numbers' span: that bands may take beyond them, that is left free
_WIDEST = 4.0  # times the numbers' span: a usual band that is wider is not shown whole
LIMITS = ((-1, "v"), (1, "^"))  # of `Measured.limit`, and the mark


@dataclass(frozen=True)
class Scale:
    """Of the numbers of some quantities of one unit.

    Attributes
    ----------
    factor : float
        What is drawn is so many times the value.
    unit : str
        It is drawn in.
    decades : bool
        By logarithms, and differences in percent of what is predicted.
    """

    factor: float
    unit: str
    decades: bool = False

    def differences(self, item: Compared) -> np.ndarray:
        """What a difference of each point is multiplied by."""
        return 100.0 / item.predicted if self.decades else np.full(len(item.predicted), self.factor)

    @property
    def of_difference(self) -> str:
        """Unit of differences."""
        return "%" if self.decades else "dB" if self.unit == "dBm" else self.unit


def scale_of(items: Sequence[Compared], one_axis: bool = True) -> Scale:
    """For all measured and predicted numbers of some quantities; `one_axis`: decades are allowed."""
    numbers = np.concatenate([values for item in items for values in (item.measured.values, item.predicted)])
    numbers, unit = numbers[np.isfinite(numbers)], items[0].unit
    probe, shown = scaled(numbers, unit)
    there = np.flatnonzero(numbers != 0.0)
    factor = float(probe[there[0]] / numbers[there[0]]) if there.size and unit != "K" else 1.0
    decades = one_axis and unit == "A" and numbers.size > 0 and numbers.min() > 0 \
        and numbers.max() > _DECADES * numbers.min()
    return Scale(factor, shown if unit != "K" else "K", decades)


def holds(item: Compared) -> np.ndarray:
    """Points whose limit the prediction keeps, (n_point,) of bool."""
    return (item.measured.limit != 0) & (item.difference == 0.0)


def show_values(axes: "Axes", items: Sequence[Compared], scale: Scale) -> None:
    """Set the range: all readings and what is predicted, bands as far as they leave these large enough to be seen.

    A prediction that keeps a limit is no reason for a longer axis: it may lie anywhere below.
    """
    numbers = np.concatenate([values for item in items
                              for values in (item.measured.values, item.predicted[~holds(item)])]) * scale.factor
    ends = [np.concatenate([values[item.measured.limit == 0] for item, values in pairs]) * scale.factor
            for pairs in zip(*(((item, item.measured.low), (item, item.measured.high)) for item in items))]
    if scale.decades:
        axes.set_yscale("log")
        numbers, ends = _logarithms(numbers), [_logarithms(values) for values in ends]
    numbers, edges, widths = (values[np.isfinite(values)] for values in (numbers, np.concatenate(ends),
                                                                        ends[1] - ends[0]))
    if not numbers.size:
        return
    low, high = float(numbers.min()), float(numbers.max())
    band = float(np.median(widths)) if widths.size else 0.0  # a usual one is shown whole
    span = max(high - low, min(2.0 * band, _WIDEST * (high - low) or 2.0 * band)) or 0.1 * abs(high) or 1.0
    near = np.clip(edges, low - _REACH * span, high + _REACH * span)
    low, high = min([low, *near]) - _ROOM * span, max([high, *near]) + _ROOM * span
    axes.set_ylim(*(10.0**np.array([low, high]) if scale.decades else (low, high)))


def show_differences(axes: "Axes", items: Sequence[Compared], scale: Scale) -> None:
    """Set the range by the readings; a broken limit may lie beyond it."""
    found = [np.zeros(1)]
    for item in items:
        factor, kept = scale.differences(item), item.measured.limit == 0
        standard = item.measured.whole_standard
        sure = 2.0 * np.where(np.isfinite(standard), standard, 0.0) * np.abs(factor)
        found += [(item.difference * factor)[kept], sure[kept], -sure[kept]]
    numbers = np.concatenate(found)
    numbers = numbers[np.isfinite(numbers)]
    if not np.ptp(numbers):  # nothing but limits
        numbers = np.concatenate([numbers, *(item.difference * scale.differences(item) for item in items)])
        numbers = numbers[np.isfinite(numbers)]
    span = float(np.ptp(numbers)) or 1.0
    axes.set_ylim(numbers.min() - 0.12 * span, numbers.max() + 0.12 * span)


def inside(edge: np.ndarray, axes: "Axes") -> np.ndarray:
    """Edges of a band in the coordinates of a panel, an endless one just out of sight."""
    low, high = axes.get_ylim()
    far = (low / 10.0, high * 10.0) if axes.get_yscale() == "log" else (low - (high - low), high + (high - low))
    return np.clip(edge, *far)


def beyond(axes: "Axes", x: np.ndarray, y: np.ndarray, colour: str, mark: str, sign: str = "") -> None:
    """Put a mark on the edge for each point that lies beyond the range, with its value."""
    low, high = axes.get_ylim()
    for at, value in zip(x, y):
        if np.isfinite(value) and not low <= value <= high:
            under = value < low
            axes.plot(at, 0.07 if under else 0.93, mark, transform=axes.get_xaxis_transform(), color=colour,
                      markerfacecolor="white", markersize=4.5, zorder=6)
            axes.annotate(f"{value:{sign}.3g}", (at, 0.07 if under else 0.93), xycoords=("data", "axes fraction"),
                          xytext=(0, 3 if under else -3), textcoords="offset points", ha="center", color=colour,
                          va="bottom" if under else "top", fontsize=7, zorder=6,
                          bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5, "alpha": 0.8})


def _logarithms(values: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.log10(values)
