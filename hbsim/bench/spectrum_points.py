"""The lines of a spectrum at the multiples of the drive's frequency, as a measurement: a point for each trace."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..quantities import show
from .corrections import Reading
from .finish import finished
from .inspection import LEVELS, inspect
from .measurement import Measurement
from .readings import Readings
from .repeats import Points
from .settled import add_settings
from .setup import Setup

_MARKER_OFF = 1e-3  # of f0: how far from a multiple of it a marker may stand


def is_spectrum(readings: Readings) -> bool:
    """Whether a file is a trace of a spectrum, or a list of its markers."""
    units = [column.unit for column in readings.columns]
    return not units and bool(readings.markers) or (len(units) == 2 and units[0] == "Hz" and units[1] in LEVELS)


def of_a_spectrum(readings: Readings, setup: Setup, description: Description, name: str) -> Measurement:
    """One state: the lines at the multiples of the drive's frequency, from each trace, or from markers.

    Raises
    ------
    Refusal
        No line stands at a multiple; the multiples are not told apart.
    """
    still: dict[str, np.ndarray] = {}
    add_settings(still, setup, description, 1)
    f0 = float(still["drive.frequency"][0]) if "drive.frequency" in still else description.drive.frequency
    notes = list(readings.notes)
    traces = _of_traces(readings, setup, f0, notes) if readings.columns else [_of_markers(readings, f0)]
    orders = sorted({order for lines in traces for order in lines})
    if not orders:
        raise Refusal(f"nothing stands at a multiple of {show(f0, 'Hz', 6)}, the drive; is this another circuit, or "
                      'another frequency? [settings] "drive.frequency" = ... says it', "", readings.file)
    none, found = _Line(np.nan, 0, 0.0), {}
    for order in orders:
        lines, word = [lines.get(order, none) for lines in traces], f"output_dbm_{order}"
        levels, limit, lost = (np.array(column) for column in zip(*lines))
        found[word] = Reading(levels, limit, setup.standard(word, "dBm", levels), np.zeros(len(lines)), lost)
    settings = {address: np.repeat(value, len(traces)) for address, value in still.items()}
    numbers = np.arange(len(traces))
    return finished(name, Points(settings, found, numbers[:0], numbers), setup, description, notes)


class _Line(NamedTuple):
    """Level [dBm]; 0, or -1 where it is an upper limit; by how much it may read low [dB]."""

    level: float
    limit: int
    lost: float


def _of_traces(readings: Readings, setup: Setup, f0: float, notes: list[str]) -> list[dict[int, _Line]]:
    """Order -> line, of each trace."""
    inspection = inspect(readings, f0, bandwidth=setup.numbers.get("analyser.resolution_bandwidth"),
                         detector=setup.detector, frequency_error=setup.numbers.get("analyser.frequency_error", 0.0))
    notes += inspection.notes
    for trace in inspection.traces:
        which = f"trace {trace.sweep + 1}: " if len(inspection.traces) > 1 else ""
        notes += [which + note for note in trace.lines.notes]
        notes += [f"{which}no harmonic: {show(other.frequency, 'Hz', 6)}, {other.level:.1f} dBm: "
                  f"{other.relation.words}" for other in trace.lines.others]
    return [{line.harmonic: _Line(line.level, 0, trace.lines.trace.point_loss_db or 0.0) if line.above_noise
             else _Line(line.level, -1, 0.0)
             for line in trace.lines.harmonics} for trace in inspection.traces]


def _of_markers(readings: Readings, f0: float) -> dict[int, _Line]:
    found: dict[int, _Line] = {}
    for marker in readings.markers:
        order = round(marker.frequency / f0)
        if marker.unit == "dBm" and order and abs(marker.frequency - order * f0) < _MARKER_OFF * f0:
            if order in found:
                raise Refusal(f"two markers stand at {order} f0; keep one", f"marker {marker.name}", readings.file)
            found[order] = _Line(marker.value, 0, 0.0)
    return found
