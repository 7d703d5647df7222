"""Reflections of a network as curves on a Smith chart: with frequencies put in where its points lie far apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .network_response import NetworkResponse

MOST_DRAWN = 4  # reflections on one chart
_STEP, _MOST_ADDED = 0.03, 4000  # of the reflection from point to point of a curve; points put between


def chart_curves(found: NetworkResponse, ports: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies (n,) [Hz] and the reflections there (n, len(ports)), every one computed."""
    frequency = found.frequency
    curves = found.s[:, ports, ports]
    pieces = np.ceil(np.abs(np.diff(curves, axis=0)).max(axis=1) / _STEP).clip(1, None)
    pieces = np.minimum(pieces, max(1.0, _MOST_ADDED // max(int((pieces > 1).sum()), 1))).astype(int)
    between = [low + (high - low) * np.arange(1, count) / count
               for low, high, count in zip(frequency, frequency[1:], pieces)]
    added = np.concatenate(between)
    if not len(added):
        return frequency, curves
    every = np.concatenate([frequency, added])
    order = np.argsort(every, kind="stable")
    return every[order], np.concatenate([curves, found.at(added)[:, ports, ports]])[order]
