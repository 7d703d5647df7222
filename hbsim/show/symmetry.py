"""S-parameters that say the same: of a reciprocal network one of each pair is enough in a picture."""

from __future__ import annotations

import re

import numpy as np

from ..bench.compare import Compared, Comparison, most_by_chance
from .style import figure_words

_PAIR = re.compile(r"s(?:(\d)(\d)|(\d+)_(\d+))_(db|deg)")
_SIGMAS = 2.0
_SAME = 1e-6  # of predictions: rounding. [dB], [deg]
_READ_SAME = 1e-3  # of readings whose uncertainty is not stated. [dB], [deg]


def told_twice(one: Comparison) -> dict[str, str]:
    """Names of quantities that another one says already, each with a sentence for people.

    Of Sij and Sji with i < j the first goes where both are predicted alike, and the readings differ by no more than
    twice their standard uncertainty but at as many points as chance explains (see `most_by_chance`); where no
    uncertainty is stated, by no more than a thousandth of a decibel or degree anywhere.
    """
    found = {}
    for name, item in one.quantities.items():
        turned = _turned(name)
        if turned in one.quantities and _alike(item, one.quantities[turned]):
            why = "within its uncertainty" if np.isfinite(item.measured.standard).any() else f"to {_READ_SAME:g} " \
                                                                                             f"{item.unit}"
            found[name] = f"{figure_words(name)} is that of {figure_words(turned).split()[0]} {why}, and not drawn."
    return found


def _turned(name: str) -> str:
    """"s21_db" of "s12_db"; "" of all others."""
    pair = _PAIR.fullmatch(name)
    if not pair:
        return ""
    i, j = pair[1] or pair[3], pair[2] or pair[4]
    return f"s{j}{'_' if pair[3] else ''}{i}_{pair[5]}" if int(i) < int(j) else ""


def _alike(first: Compared, second: Compared) -> bool:
    if not np.allclose(first.predicted, second.predicted, rtol=0.0, atol=_SAME, equal_nan=True):
        return False
    both = (first.measured.limit == 0) & (second.measured.limit == 0)
    away = first.measured.values - second.measured.values
    if first.unit == "deg":
        away = (away + 180.0) % 360.0 - 180.0
    sure = np.hypot(first.measured.standard, second.measured.standard)
    if not np.isfinite(sure).any():
        return bool(np.nanmax(np.abs(away), initial=0.0) <= _READ_SAME)
    there = both & np.isfinite(away) & np.isfinite(sure)
    return bool(there.any()) and int((np.abs(away[there]) > _SIGMAS * sure[there]).sum()) <= \
        most_by_chance(int(there.sum()))
