"""What a Touchstone file holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...quantities import show


@dataclass(frozen=True, eq=False)
class TouchstoneData:
    """What a Touchstone file holds, as S-parameters.

    Parameters
    ----------
    file : str
        Name of the file.
    frequency : ndarray, (n,)
        Increasing. [Hz]
    s : ndarray, complex, (n, p, p)
        S-parameters against `reference`: s[:, i, j] from port j to port i, counted from 0. [1]
    reference : ndarray, (p,)
        Reference resistance of each port. [ohm]
    notes : tuple of str
        Sentences on how the file was understood where it leaves doubt, and on what it has outside the standard.
    noise : ndarray, (m, 5), or None
        Noise parameters of a 2-port, kept and not used: frequency [Hz], minimum noise figure [dB], magnitude [1]
        and angle [deg] of the best source reflection against `noise_reference`, effective noise resistance [ohm].
    comments : tuple of str
        The comments, without their "!".
    parameter, format, version : str
        What stands in the file: "S", "Y", "Z", "H" or "G"; "RI", "MA" or "DB"; "1.0", "1.1", "2.0" or "2.1".
    corner : (complex, complex), or None
        Element 11 of the first and of the last point as it stands in the file, before a change of reference, unit or
        kind: for a look at the file beside the numbers. None for data that come from no file.
    noise_reference : float or None
        Of the best source reflection: the resistance on the option line, whatever `reference` is. None means
        reference[0]. [ohm]
    information : tuple of str
        Lines between [Begin Information] and [End Information] of version 2.
    """

    file: str
    frequency: np.ndarray
    s: np.ndarray
    reference: np.ndarray
    notes: tuple[str, ...] = ()
    noise: np.ndarray | None = None
    comments: tuple[str, ...] = ()
    parameter: str = "S"
    format: str = "RI"
    version: str = "1.0"
    corner: tuple[complex, complex] | None = None
    noise_reference: float | None = None
    information: tuple[str, ...] = ()

    @property
    def ports(self) -> int:
        """Number of ports."""
        return len(self.reference)

    def __repr__(self) -> str:
        return (f"TouchstoneData({self.file!r}: {ports_text(self.ports)}, {len(self.frequency)} frequencies, "
                f"{show(self.frequency[0], 'Hz')} to {show(self.frequency[-1], 'Hz')})")


def ports_text(count: int) -> str:
    """"1 port", "2 ports"."""
    return f"{count} port{'s' * (count != 1)}"
