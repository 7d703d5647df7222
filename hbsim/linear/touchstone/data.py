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
        Sentences on how the file was understood where it leaves doubt.
    noise : ndarray, (m, 5), or None
        Noise parameters of a 2-port, kept and not used: frequency [Hz], minimum noise figure [dB], magnitude [1]
        and angle [deg] of the best source reflection against reference[0], effective noise resistance [ohm].
    comments : tuple of str
        The comments, without their "!".
    """

    file: str
    frequency: np.ndarray
    s: np.ndarray
    reference: np.ndarray
    notes: tuple[str, ...] = ()
    noise: np.ndarray | None = None
    comments: tuple[str, ...] = ()

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
