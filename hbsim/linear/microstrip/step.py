"""Step in width: a capacitance to ground between two inductances.

R. Garg, I. J. Bahl, "Microstrip discontinuities", Int. J. Electronics 45 (1978) 81-87. Against a static solution both
are within about 30 %, which is a few fF and tens of pH. Symbols: ratio = wider / narrower width.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .line import outside

SOURCE = "R. Garg and I. J. Bahl, Int. J. Electronics 45 (1978) 81-87"
_FROM, _TO = 1.5, 3.5  # ratios between which the capacitance is published for any permittivity
_LARGEST = 10.0  # ratio up to which it is published for a permittivity of 9.6


class Step(NamedTuple):
    """Capacitance at the step [F] and inductance of both sides together [H]."""

    capacitance: float
    inductance: float


def step(wide: float, narrow: float, er: float, height: float) -> Step:
    """Step between strips of widths `wide` and `narrow` on a board of `height`. [m]

    Garg and Bahl 1978: capacitance for er <= 10 and ratios from 1.5 to 3.5, and for er = 9.6 from 3.5 to 10.

    What is hbsim's own: below a ratio of 1.5, where the formula does not vanish for equal widths (it turns negative),
    the capacitance falls as the square of (ratio - 1) from its value at 1.5. A step seen from its other side is the
    same step, so what it stores cannot depend on the sign of a small change. Above 3.5 the dependence of the second
    formula is put to the first one's value at 3.5, which for er = 9.6 is 2 % more than the second formula. Above 10
    everything is held.
    """
    ratio = min(wide / narrow, _LARGEST)
    held = min(max(ratio, _FROM), _TO)
    permittivity = np.log10(er)
    per_width = (10.1 * permittivity + 2.33) * held - 12.6 * permittivity - 3.17
    if ratio < _FROM:
        per_width *= ((ratio - 1.0) / (_FROM - 1.0)) ** 2
    elif ratio > _TO:
        per_width *= (130.0 * np.log10(ratio) - 44.0) / (130.0 * np.log10(_TO) - 44.0)
    inductance = 40.5 * (ratio - 1.0) - 75.0 * np.log10(ratio) + 0.2 * (ratio - 1.0) ** 2
    return Step(1e-12 * np.sqrt(narrow**2 * ratio) * per_width, 1e-9 * height * inductance)


def step_warnings(wide: float, narrow: float, er: float) -> list[str]:
    """Sentences on ranges left by a step between two widths. [m]"""
    ratio = wide / narrow
    if ratio == 1.0:
        return []
    beyond = "below it the capacitance is brought to zero by hbsim" if ratio < _FROM else \
        "above it the form for a permittivity of 9.6 is scaled, and held from a ratio of 10"
    return (outside("ratio of widths", ratio, _FROM, _TO, f"{SOURCE}; {beyond}")
            + outside("permittivity", er, 1.0, 10.0, SOURCE))
