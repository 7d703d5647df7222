"""The last part of every way from a file to a measurement: means, corrections, what stays uncertain."""

from __future__ import annotations

import numpy as np

from ..describe.description import Description
from .cautions import of_levels
from .corrections import LEVEL, RETURN_LOSS, correct_levels, correct_ratios, correct_return_loss
from .device_points import is_device_word
from .measurement import Measurement
from .repeats import Points, means
from .settled import check_uncertainties, correct_drive, second_harmonic
from .setup import MEAN, Setup


def finished(name: str, points: Points, setup: Setup, description: Description, notes: list[str]) -> Measurement:
    """Points with all their settings, corrected.

    Parameters
    ----------
    name : str
        Of the measurement.
    points : Points
        As they were read.
    setup : Setup
    description : Description
    notes : list of str
        So far; what is done is added.
    """
    check_uncertainties(setup, description)
    if setup.repeats == MEAN:
        points = means(points, notes)
    settings, readings = points.settings, points.readings
    levels = {word: item for word, item in readings.items() if word.startswith(LEVEL)}
    cautions = of_levels([item.values for item in levels.values()], setup.numbers)
    f0 = settings.get("drive.frequency", np.full(len(points.sweep), description.drive.frequency))
    if levels:
        correct_levels(levels, setup, f0, notes)
    correct_ratios(readings, setup, f0, description.wanted_harmonic)
    if RETURN_LOSS in readings:
        correct_return_loss(readings[RETURN_LOSS], setup, f0, notes)
    if not any(is_device_word(word) for word in settings):
        correct_drive(settings, setup, description, f0, notes)
        notes += _not_declared(setup, bool(levels))
    own = second_harmonic(setup, f0, notes)
    return Measurement(name, settings, {word: item.measured() for word, item in readings.items()}, points.lines,
                       points.sweep, tuple(notes), setup.numbers.get("generator.level_error", 0.0), own, cautions)


def _not_declared(setup: Setup, levels: bool) -> list[str]:
    """Cables and pads of which nothing is said."""
    found = []
    if not (setup.input or setup.level_correction):
        found.append("no losses are declared between generator and circuit ([input] losses): the drive counts as that "
                     "at the circuit's port")
    if levels and not setup.output:
        found.append("no losses are declared between circuit and analyser ([output] losses): levels count as those at "
                     "the circuit's port")
    return found
