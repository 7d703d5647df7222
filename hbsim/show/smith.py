"""The Smith chart: the reflection coefficient with circles of constant resistance and reactance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .style import INK, PALE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_RESISTANCES, _REACTANCES = (0.2, 0.5, 1.0, 2.0, 5.0), (0.2, 0.5, 1.0, 2.0, 5.0)


def smith_chart(axes: "Axes", reference: float = 50.0) -> None:
    """Draw the chart's circles and name the resistances; plot reflection coefficients on it as real, imaginary part.

    P. H. Smith, Electronics 12 (1939) 29-31. reference : impedance of the centre. [ohm]
    """
    axes.set(aspect="equal", xlim=(-1.08, 1.08), ylim=(-1.08, 1.08))
    axes.axis("off")
    turn = np.linspace(0.0, 2.0 * np.pi, 361)
    axes.plot(np.cos(turn), np.sin(turn), color=INK, linewidth=0.9)
    axes.plot([-1, 1], [0, 0], color=PALE, linewidth=0.6)
    for r in _RESISTANCES:
        axes.plot(r / (1 + r) + np.cos(turn) / (1 + r), np.sin(turn) / (1 + r), color=PALE, linewidth=0.5)
        axes.annotate(f"{r * reference:g}", ((r - 1) / (r + 1), 0.0), xytext=(1, 1), textcoords="offset points",
                      fontsize=6.5, color=INK)
    along = np.concatenate([np.linspace(0, 2, 200), np.geomspace(2, 1e3, 200)])
    for x in _REACTANCES:
        for sign in (1.0, -1.0):
            z = along + 1j * sign * x
            arc = (z - 1) / (z + 1)
            axes.plot(arc.real, arc.imag, color=PALE, linewidth=0.5)
