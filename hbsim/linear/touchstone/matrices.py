"""From the rows of a Touchstone file to matrices of complex numbers.

Source of the rules: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 2024, Network Data.
"""

from __future__ import annotations

import numpy as np


def as_complex(numbers: np.ndarray, written: str) -> np.ndarray:
    """Pairs side by side, (n, 2 m), in the format DB (dB, deg), MA (magnitude, deg) or RI, as complex (n, m)."""
    pairs = np.ascontiguousarray(numbers).reshape(len(numbers), -1, 2)
    if written == "RI":
        return pairs.view(complex)[..., 0]
    found = np.empty(pairs.shape[:2], complex)
    with np.errstate(over="ignore", under="ignore", invalid="ignore"):  # the caller looks for what is not finite
        size = 10.0 ** (pairs[..., 0] / 20.0) if written == "DB" else pairs[..., 0]
        angle = np.deg2rad(pairs[..., 1])
        found.real, found.imag = size * np.cos(angle), size * np.sin(angle)
    return found


def as_pairs(values: np.ndarray, written: str) -> np.ndarray:
    """The reverse of `as_complex`: (n, m) complex to (n, 2 m) numbers. DB of zero is -inf."""
    pairs = np.empty((*values.shape, 2))
    with np.errstate(all="ignore"):  # the caller looks for what is not finite
        if written == "RI":
            pairs[..., 0], pairs[..., 1] = values.real, values.imag
        else:
            size = np.abs(values)
            pairs[..., 0] = 20.0 * np.log10(size) if written == "DB" else size
            pairs[..., 1] = np.rad2deg(np.angle(values))
    return pairs.reshape(len(values), -1)


def matrices(elements: np.ndarray, ports: int, form: str, order: str) -> np.ndarray:
    """Elements in the order of the file, (n, m), as matrices (n, p, p).

    form : "full", or "lower" and "upper", whose other half is the mirror image; order : of a full 2-port.
    """
    if form == "full":
        square = elements.reshape(-1, ports, ports)
        return np.ascontiguousarray(square.swapaxes(1, 2)) if ports == 2 and order == "21_12" else square
    row, column = np.tril_indices(ports) if form == "lower" else np.triu_indices(ports)
    square = np.empty((len(elements), ports, ports), complex)
    square[:, row, column] = elements
    square[:, column, row] = elements
    return square
