"""The same circuit with fewer harmonics: what costs many steps is done there, where a step is cheap."""

from __future__ import annotations

import copy

import numpy as np

from .system import System

FEWEST = 8  # with fewer, a waveform with its edges cut off says little of the one sought


def with_fewer_harmonics(system: System, harmonics: int) -> System:
    """The system cut off above `harmonics`, with the default number of samples."""
    network = copy.copy(system.network)
    for name in ("omega", "a", "b", "c", "identity"):
        setattr(network, name, np.ascontiguousarray(getattr(network, name)[:harmonics + 1]))
    return System(network, system.mounted)
