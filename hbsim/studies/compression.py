"""Where a multiplier leaves its power law: the drive at which the output falls 1 dB below it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..balance.solution import FLOOR_DBM
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import HbsimError
from .sweep import sweep
from .table import SweepTable

LOWEST_DBM, HIGHEST_ANCHOR_DBM = -60.0, -40.0  # drives at which the n-th harmonic rises n dB per dB
_CLEAR_DB = 20.0  # of rounding, the output that anchors the line
DROP_DB = 1.0
_DIGITS_DB = 1e-4  # to which the drive is found


@dataclass(frozen=True)
class Compression:
    """The power-law line of the wanted harmonic and where the output leaves it.

    line_dbm : output on the line at 0 dBm of drive. [dBm]
    order : harmonic, the line's slope in dB per dB.
    drive_dbm, output_dbm : first drive at which the output is 1 dB below the line; None up to the end of the sweep.
        [dBm]
    most_above_db : how far the output rises above the line on the way there. [dB]
    """

    line_dbm: float
    order: int
    drive_dbm: float | None = None
    output_dbm: float | None = None
    most_above_db: float = 0.0

    def line(self, drive_dbm: np.ndarray) -> np.ndarray:
        """The line at given drives. [dBm]"""
        return self.line_dbm + self.order * np.asarray(drive_dbm)


def compression(description: Description, table: SweepTable) -> Compression | None:
    """Of a sweep along drive.power alone; None for other sweeps, where the low drives cannot be solved, and with a
    second harmonic of the generator's own.

    The drive is raised from -60 dBm, where the law holds, to the highest of the sweep; so the point is found also where
    it lies below the sweep. The line is anchored at the first output clear of rounding, which must come by -40 dBm of
    drive. Between two drives the point is solved for.
    """
    if list(table.axes) != ["drive.power"] or description.drive.second_harmonic is not None:
        return None  # what the generator itself gives at 2 f0 comes through at low drive, where the line would start
    order = table.wanted_harmonic
    highest = max(float(table["drive.power"].max()), HIGHEST_ANCHOR_DBM)
    drive = np.append(np.arange(LOWEST_DBM, highest, 1.0), highest)
    output = sweep(description, {"drive.power": drive}, table.harmonics, accuracy=table.accuracy,
                   estimate=False, both_ways=False)[table.wanted]
    clear = np.flatnonzero((output > FLOOR_DBM + _CLEAR_DB) & (drive <= HIGHEST_ANCHOR_DBM))
    if not len(clear):
        return None
    drive, output = drive[clear[0]:], output[clear[0]:]
    line = Compression(float(output[0] - order * drive[0]), order)

    def excess(power: float) -> float:
        state = solve(description.with_values({"drive.power": float(power)}), table.harmonics, accuracy=table.accuracy)
        return float(line.line(power)) - state.output_dbm(order) - DROP_DB

    past = np.flatnonzero(line.line(drive) - output > DROP_DB)
    before = slice(0, past[0] if len(past) else len(drive))
    line = replace(line, most_above_db=max(float(np.nanmax(output[before] - line.line(drive[before]))), 0.0))
    if not len(past):
        return line
    from scipy.optimize import brentq
    try:
        found = float(brentq(excess, drive[past[0] - 1], drive[past[0]], xtol=_DIGITS_DB))
        return replace(line, drive_dbm=found, output_dbm=float(line.line(found)) - DROP_DB)
    except (HbsimError, ValueError):  # unsolved, or without output, on the way
        return None


def sentence(found: Compression) -> str:
    """The compression point in words."""
    law = f"the {found.order} dB per dB line through its low-drive output ({found.line_dbm:.2f} dBm at 0 dBm of drive)"
    above = ""
    if found.most_above_db > 0.1:
        above = f" On the way it rises up to {found.most_above_db:.1f} dB above that line."
    if found.drive_dbm is None:
        return (f"Up to the highest drive of this sweep the wanted output stays within 1 dB of {law}, or above it."
                f"{above}")
    return (f"The wanted output is 1 dB below {law} at {found.drive_dbm:.2f} dBm of drive, where it is "
            f"{found.output_dbm:.2f} dBm.{above}")
