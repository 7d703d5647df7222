"""S-parameters from Z, Y, H and G, and back, for any number of ports with unequal references.

With normalised voltages v = a + b and currents i = a - b (a, b: waves in and out; K. Kurokawa, IEEE Trans. MTT-13
(1965) 194-202, real references), each kind gives at every port one of the two from the other: Z gives v from i, Y gives
i from v, H gives v from i at port 1 and i from v at port 2, G the reverse. With d = 1 where v is given and -1 where i
is, the given one is a + d b and the other a - d b, so that for the normalised matrix M and D = diag(d)

    a + D b = M (a - D b),    D S = (1 + M)^-1 (M - 1),    M = (1 - D S)^-1 (1 + D S)
"""

from __future__ import annotations

import numpy as np

from ...errors import Refusal
from ...quantities import show

_GIVES_VOLTAGE = {"Z": (1.0,), "Y": (-1.0,), "H": (1.0, -1.0), "G": (-1.0, 1.0)}  # d of each port; one for all
_LARGEST_CONDITION = 1e12  # beyond it fewer than 4 of 16 digits would be left


def normalisation(parameter: str, reference: np.ndarray) -> np.ndarray:
    """Factors (p, p) that make ohms and siemens of normalised elements, against references (p,) [ohm].

    z_ij sqrt(R_i R_j), y_ij / sqrt(R_i R_j); H and G have the entries of Z and Y where voltage and current meet, and
    ratios of sqrt(R) elsewhere. For equal references: R, 1/R and 1, exactly.
    """
    if parameter == "S":
        return np.ones((len(reference), len(reference)))
    given = np.broadcast_to(_GIVES_VOLTAGE[parameter], len(reference)) > 0
    # V = sqrt(R) v and I = i / sqrt(R); the row is what is given, the column what it is given from.
    squared = np.where(given, reference, 1.0 / reference)
    factors = np.sqrt(squared[:, None] * squared)
    same = (reference[:, None] == reference) & (given[:, None] != given)
    factors[same] = 1.0
    return factors


def to_scattering(parameter: str, matrix: np.ndarray, reference: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """S-parameters of S, Z, Y, H or G parameters.

    Parameters
    ----------
    parameter : str
        "S", "Z", "Y", "H" or "G"; the last two for 2 ports only.
    matrix : ndarray, complex, (n, p, p)
        Z [ohm], Y [S], or the mixture of H and G; S is given back as it is.
    reference : ndarray, (p,)
        Of the S-parameters. [ohm]
    frequency : ndarray, (n,)
        For the refusal. [Hz]

    Returns
    -------
    ndarray, complex, (n, p, p). [1]

    Raises
    ------
    Refusal
        No S-parameters exist at some frequency: an active network that just balances its terminations.
    """
    if parameter == "S":
        return matrix
    signs, one = _signs(parameter, matrix.shape[1]), np.eye(matrix.shape[1])
    with np.errstate(all="ignore"):  # what overflows is refused
        normalised = matrix / normalisation(parameter, reference)
        return signs[:, None] * _divided(one + normalised, normalised - one, normalised, frequency,
                                         f"the {parameter} data have no S-parameters", "export S parameters")


def from_scattering(parameter: str, s: np.ndarray, reference: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """Z [ohm], Y [S], H or G parameters of S-parameters; arguments as in `to_scattering`.

    Raises
    ------
    Refusal
        They do not exist at some frequency: no Z of an ideal open or series part, no Y of an ideal short or shunt part.
    """
    if parameter == "S":
        return s
    turned, one = _signs(parameter, s.shape[1])[:, None] * s, np.eye(s.shape[1])
    with np.errstate(all="ignore"):
        matrix = _divided(one - turned, one + turned, turned, frequency, f"{parameter} parameters do not exist",
                          "write S parameters")
        return matrix * normalisation(parameter, reference)


def _signs(parameter: str, ports: int) -> np.ndarray:
    if parameter in "HG" and ports != 2:
        raise Refusal(f"H and G parameters exist for 2 ports only, not for {ports}; use S parameters")
    return np.broadcast_to(_GIVES_VOLTAGE[parameter], ports)


def _divided(left: np.ndarray, right: np.ndarray, given: np.ndarray, frequency: np.ndarray, what: str,
             mend: str) -> np.ndarray:
    """left^-1 right, each (n, p, p) made of 1 and `given`; refuses a frequency at which no digits would be left."""
    # A row is one equation, known to 16 digits of 1 or of its largest entry, whichever is more: a port far from its
    # reference is no loss of digits, a row that cancels is.
    size = np.maximum(np.abs(given).max(axis=2, keepdims=True), 1.0)
    left, right = left / size, right / size
    try:
        inverse = np.linalg.inv(left)
        result = inverse @ right
        usable = (np.abs(inverse).sum(axis=2).max(axis=1) <= _LARGEST_CONDITION) & np.isfinite(result).all(axis=(1, 2))
    except np.linalg.LinAlgError:
        finite = np.isfinite(left).all(axis=(1, 2))
        usable = finite & (np.linalg.cond(np.where(finite[:, None, None], left, 0.0)) <= _LARGEST_CONDITION)
    if not usable.all():
        raise Refusal(f"{what} at {show(frequency[np.argmin(usable)], 'Hz', 12)} (the equations have no answer there); "
                      f"remove this frequency or {mend}")
    return result
