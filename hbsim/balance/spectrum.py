"""Between time samples and harmonics: one pair of matrices for waveforms, one for the slopes of the device laws.

A waveform is x(t) = X_0 + Re sum_k X_k exp(j k omega0 t), X_k peak phasors; its real form is the column
[X_0, Re X_1, Im X_1, ... Re X_K, Im X_K]. Products with these small matrices are exact for the samples taken and, at
the sizes met here, as fast as a fast Fourier transform. A later set of frequencies that is not k omega0 needs only
other matrices.
"""

from __future__ import annotations

from collections import namedtuple
from functools import lru_cache

import numpy as np

Transform = namedtuple("Transform", "synthesis analysis slopes")
"""synthesis: (n_row, n_time), waveform = real form @ synthesis. analysis: (n_time, n_row), real form = waveform @
analysis. slopes: (n_time, 2 * (2 K + 1)), Re and Im of the two-sided coefficients 0..2K of a slope waveform."""


def samples_for(harmonics: int) -> int:
    """Time samples taken by default: six a harmonic.

    At least 4 K + 1 are needed for the slopes' coefficients to order 2 K; the rest holds down aliasing, which with six
    is below what the harmonics left out do, and is measured together with that (accuracy.py).
    """
    return 1 if harmonics == 0 else max(16, 6 * harmonics)


@lru_cache(maxsize=16)
def transform(harmonics: int, samples: int) -> Transform:
    """The matrices for K harmonics and N samples; see `Transform`."""
    theta = 2 * np.pi * np.arange(samples) / samples
    synthesis = np.zeros((2 * harmonics + 1, samples))
    synthesis[0] = 1.0
    for k in range(1, harmonics + 1):
        synthesis[2 * k - 1], synthesis[2 * k] = np.cos(k * theta), -np.sin(k * theta)
    analysis = 2.0 / samples * synthesis.T
    analysis[:, 0] = 1.0 / samples
    order = np.arange(2 * harmonics + 1)
    slopes = np.zeros((samples, 2 * len(order)))
    slopes[:, 0::2] = np.cos(np.outer(theta, order)) / samples
    slopes[:, 1::2] = -np.sin(np.outer(theta, order)) / samples
    return Transform(synthesis, np.ascontiguousarray(analysis), slopes)


def phasors(real_form: np.ndarray) -> np.ndarray:
    """Real form (..., 2 K + 1) -> complex phasors (..., K + 1)."""
    result = np.zeros((*real_form.shape[:-1], real_form.shape[-1] // 2 + 1), complex)
    result[..., 0] = real_form[..., 0]
    result[..., 1:] = real_form[..., 1::2] + 1j * real_form[..., 2::2]
    return result


def real_form(phasor: np.ndarray) -> np.ndarray:
    """Complex phasors (..., K + 1) -> real form (..., 2 K + 1)."""
    result = np.zeros((*phasor.shape[:-1], 2 * phasor.shape[-1] - 1))
    result[..., 0] = phasor[..., 0].real
    result[..., 1::2], result[..., 2::2] = phasor[..., 1:].real, phasor[..., 1:].imag
    return result


def waveform(phasor: np.ndarray, samples: int) -> np.ndarray:
    """Phasors (..., K + 1) -> one period at `samples` equal steps, (..., samples)."""
    return real_form(phasor) @ transform(phasor.shape[-1] - 1, samples).synthesis


def resized(form: np.ndarray, harmonics: int) -> np.ndarray:
    """Real form (..., rows) with more or fewer harmonics; the new ones are zero."""
    result = np.zeros((*form.shape[:-1], 2 * harmonics + 1))
    rows = min(form.shape[-1], result.shape[-1])
    result[..., :rows] = form[..., :rows]
    return result


def mean_power(voltage: np.ndarray, current: np.ndarray) -> np.ndarray:
    """Power at each harmonic, (K + 1,), from phasors (K + 1, n_terminal): DC product, half the real part else. [W]"""
    power = (voltage * current.conj()).real.sum(axis=1)
    power[1:] *= 0.5
    return power
