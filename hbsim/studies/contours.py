"""Levels of the contours over a chart of terminations."""

from __future__ import annotations

import numpy as np

from .terminations import Terminations

# dB below the highest, of the output: the last levels step wider, so that a steep side stays readable
_BELOW_DB = (0.2, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0)
_LOSSES_DB = (1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0)


def output_levels(found: Terminations) -> tuple[list[float], list[float]]:
    """Rising levels of the output that occur, and how far each is below the most. [dBm], [dB]"""
    values = found.output.values
    top = max(found.best.output_dbm, float(np.nanmax(values)))
    below = [step for step in _BELOW_DB if top - step > np.nanmin(values)][::-1]
    return [top - step for step in below], below


def match_levels(found: Terminations) -> list[float]:
    """Rising levels of the input return loss that occur. [dB]"""
    values = found.match.values
    return [level for level in _LOSSES_DB if np.nanmin(values) < level < np.nanmax(values)]


def contours_json(found: Terminations) -> dict[str, object]:
    """What a picture of contours is drawn from: the surfaces on their grid, to 1e-6 dB, and the levels."""
    output, match = found.output, found.match
    levels, below = output_levels(found)
    return {
        "surface": {"reflection_real": output.x.tolist(), "reflection_imag": output.y.tolist(),
                    "order": "a row for each imaginary part",
                    "output_dbm": _rows(output.values), "input_return_loss_db": _rows(match.values)},
        "contours": {"output_dbm": levels, "output_below_most_db": below, "input_return_loss_db": match_levels(found)},
    }


def _rows(values: np.ndarray) -> list[list[float | None]]:
    return [[None if np.isnan(value) else round(value, 6) for value in row] for row in values.tolist()]
