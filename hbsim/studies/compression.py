"""Where a multiplier leaves its power law: the drive at which the output falls 1 dB below it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..balance.prepare import Networks
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import HbsimError
from .sweep import SweepTable

ANCHOR_DBM = -60.0  # a drive at which the n-th harmonic certainly rises n dB per dB
DROP_DB = 1.0


@dataclass(frozen=True)
class Compression:
    """The power-law line of the wanted harmonic and where the output leaves it.

    line_dbm : output on the line at 0 dBm of drive. [dBm]
    order : harmonic, the line's slope in dB per dB.
    drive_dbm, output_dbm : first drive at which the output is 1 dB below the line; None within the sweep. [dBm]
    """

    line_dbm: float
    order: int
    drive_dbm: float | None
    output_dbm: float | None

    def line(self, drive_dbm: np.ndarray) -> np.ndarray:
        """The line at given drives. [dBm]"""
        return self.line_dbm + self.order * np.asarray(drive_dbm)


def compression(description: Description, table: SweepTable, networks: Networks | None = None) -> Compression | None:
    """Of a sweep along drive.power alone; None for other sweeps or where the anchor cannot be solved.

    The line is anchored by one more solve at -60 dBm, where the law holds to rounding of the printed digits.
    """
    if list(table.axes) != ["drive.power"]:
        return None
    order = table.wanted_harmonic
    try:
        anchor = solve(description.with_values({"drive.power": ANCHOR_DBM}), table.harmonics, None, None, networks)
    except HbsimError:
        return None
    level = anchor.output_dbm(order)
    if not np.isfinite(level):
        return None
    line = Compression(level - order * ANCHOR_DBM, order, None, None)
    drive, output = table["drive.power"], table[f"output_dbm_{order}"]
    below = line.line(drive) - output
    for n in range(1, len(drive)):
        low, high = below[n - 1], below[n]
        if np.isfinite(low) and np.isfinite(high) and (low - DROP_DB) * (high - DROP_DB) <= 0 and low != high:
            share = (DROP_DB - low) / (high - low)
            return Compression(line.line_dbm, order, float(drive[n - 1] + share * (drive[n] - drive[n - 1])),
                               float(output[n - 1] + share * (output[n] - output[n - 1])))
    return line


def sentence(found: Compression) -> str:
    """The compression point in words."""
    law = f"the {found.order} dB per dB line through its low-drive output ({found.line_dbm:.2f} dBm at 0 dBm of drive)"
    if found.drive_dbm is None:
        return f"Within this sweep the wanted output does not cross 1 dB below {law}."
    return (f"The wanted output crosses 1 dB below {law} at {found.drive_dbm:.2f} dBm of drive, where it is "
            f"{found.output_dbm:.2f} dBm.")
