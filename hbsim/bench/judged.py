"""What a least-squares answer is worth: standard errors, correlations, and what the data cannot tell apart.

With residuals weighted by their standard uncertainties, r = (f(p) - y) / s, and the Jacobian J at the answer, the
covariance of the unknowns is (J^T J)^-1 (linear regression theory: W. H. Press et al., Numerical Recipes, 3rd ed.,
Cambridge 2007, section 15.4; from memory). From J = U S V^T the unknowns are uncertain by 1 / S_i along the direction
V_i: a direction with a small S_i is one in which the data hardly change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .unknowns import Unknown

TOO_WIDE = 0.3  # of a value, or of an unknown's limits: an error beyond says that the data do not fix it
_SHARE = 0.2  # of the largest, from which on an unknown is named as part of a direction
LOST = 1e-7  # of the largest singular value: below it stand the rounding and the differences inside the slopes
_CLOSE = 0.95  # a correlation worth a sentence


@dataclass(frozen=True, eq=False)
class Direction:
    """A way in which the unknowns move together while the data hardly change.

    moves : address -> change along it, relative (0.1: 10 %) where the unknown is a matter of ratio, else in its unit;
        the largest part is 1 in the unknown's own measure.
    error : standard uncertainty along it, in the same measure.
    """

    moves: dict[str, float]
    error: float


@dataclass(frozen=True, eq=False)
class Worth:
    """Errors of an answer.

    Attributes
    ----------
    errors : ndarray, (n,)
        Standard errors, relative where an unknown is a matter of ratio (`Unknown.whole`), else in its unit.
        Infinite where the data say nothing.
    correlations : ndarray, (n, n)
    vague : tuple of Direction
        What the data cannot tell apart, the worst first.
    scatter : float
        Root of the weighted sum of squares over the degrees of freedom: 1 where the residuals are as large as their
        uncertainties say; nan without degrees of freedom.
    freedom : int
        Numbers less unknowns.
    """

    errors: np.ndarray
    correlations: np.ndarray
    vague: tuple[Direction, ...]
    scatter: float
    freedom: int


def worth(unknowns: Sequence[Unknown], values: Sequence[float], jacobian: np.ndarray, residuals: np.ndarray) -> Worth:
    """Judge an answer.

    Parameters
    ----------
    unknowns : sequence of Unknown
    values : sequence of float
        What was found for each. [unit of the quantity]
    jacobian : ndarray, (n_value, n)
        Of the weighted residuals, against each unknown in its unit.
    residuals : ndarray, (n_value,)
        Weighted.
    """
    n = len(unknowns)
    # each column by what the unknown may be wrong by before it counts as unknown: then all directions compare
    measure = np.array([item.room(value) for item, value in zip(unknowns, values)])
    whole = np.array([item.whole(value) for item, value in zip(unknowns, values)])
    _, sizes, ways = np.linalg.svd(jacobian * whole * measure, full_matrices=True)
    sizes = np.concatenate([sizes, np.zeros(n - len(sizes))])
    known = sizes > sizes.max(initial=0.0) * LOST
    with np.errstate(divide="ignore"):
        spread = np.where(known, 1.0 / sizes, np.inf)
    scaled = np.where(ways == 0.0, 0.0, ways * np.where(np.isinf(spread), 1.0, spread)[:, None])
    errors = np.sqrt((scaled**2).sum(axis=0)) * measure
    lost = (np.abs(ways[~known]) > 1e-6).any(axis=0)
    covariance = scaled[known].T @ scaled[known]
    root = np.sqrt(np.diag(covariance))
    with np.errstate(divide="ignore", invalid="ignore"):
        correlations = np.where(np.outer(root, root) > 0, covariance / np.outer(root, root), 0.0)
    np.fill_diagonal(correlations, 1.0)
    vague = tuple(_direction(unknowns, ways[i] * measure, ways[i], spread[i])
                  for i in np.argsort(-spread, kind="stable") if spread[i] > TOO_WIDE)
    freedom = len(residuals) - n
    scatter = float(np.sqrt((residuals**2).sum() / freedom)) if freedom > 0 else float("nan")
    return Worth(np.where(lost, np.inf, errors), correlations, vague, scatter, freedom)


def _direction(unknowns: Sequence[Unknown], moves: np.ndarray, shares: np.ndarray, spread: float) -> Direction:
    first = int(np.argmax(np.abs(shares)))
    kept = {item.address: float(move / moves[first])
            for item, move, share in zip(unknowns, moves, shares) if abs(share) >= _SHARE * abs(shares[first])}
    return Direction(kept, float(spread * abs(moves[first])))


def close_pairs(unknowns: Sequence[Unknown], correlations: np.ndarray) -> list[tuple[str, str, float]]:
    """Pairs of unknowns that are found together rather than each by itself, the closest first."""
    found = [(unknowns[i].address, unknowns[j].address, float(correlations[i, j]))
             for i in range(len(unknowns)) for j in range(i) if abs(correlations[i, j]) >= _CLOSE]
    return sorted(found, key=lambda pair: -abs(pair[2]))
