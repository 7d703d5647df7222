"""What a least-squares answer is worth: standard errors, correlations, and what the data cannot tell apart.

With residuals weighted by their standard uncertainties, r = (f(p) - y) / s, and the Jacobian J at the answer, the
covariance of the unknowns is (J^T J)^-1 (linear regression theory: W. H. Press et al., Numerical Recipes, 3rd ed.,
Cambridge 2007, section 15.4; from memory). From J = U S V^T the unknowns are uncertain by 1 / S_i along the direction
V_i: a direction with a small S_i is one in which the data hardly change.

Where a loss lets numbers far off pull less, psi(r) stands for r, and the covariance is that of an M-estimate,

    K^2 [sum psi^2 / (n_value - n)] / (mean psi')^2 (J^T J)^-1,    K = 1 + n / n_value var(psi') / (mean psi')^2

(P. J. Huber, Robust Statistics, Wiley 1981, section 7.6; from memory). It is taken from the residuals as they are, for
whoever chooses such a loss does not trust the stated uncertainties of all numbers; but never less than squares give.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .unknowns import Unknown

TOO_WIDE = 0.3  # of a value, or of an unknown's limits: an error beyond says that the data do not fix it
_SHARE = 0.2  # of the largest, from which on an unknown is named as part of a direction
_NOTHING = 1e-6  # an error of a million wholes: the slopes are rounding
LOST = 1e-7  # of the largest singular value: below it stand the rounding and the differences inside the slopes
_CLOSE = 0.95  # a correlation worth a sentence


@dataclass(frozen=True, eq=False)
class Direction:
    """A way in which the unknowns move together while the data hardly change.

    moves : address -> change along it, relative (0.1: 10 %) where the unknown is a matter of ratio, else in its unit;
        the largest part is 1 in the unknown's own measure (`Unknown.whole`).
    error : standard uncertainty along it, of that part.
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
        Numbers, without limits that hold, less unknowns.
    widening : float
        How much larger the errors are than those of squares, for a loss that lets numbers far off pull less; infinite
        where most numbers are so far off that they say nothing.
    """

    errors: np.ndarray
    correlations: np.ndarray
    vague: tuple[Direction, ...]
    scatter: float
    freedom: int
    widening: float = 1.0


def _soft(r: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """psi and its slope of rho = 2 (sqrt(1 + r^2) - 1)."""
    return r / np.sqrt(1.0 + r**2), (1.0 + r**2) ** -1.5


def _bounded(r: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """psi and its slope of rho = arctan r^2."""
    return r / (1.0 + r**4), (1.0 - 3.0 * r**4) / (1.0 + r**4) ** 2


def _squares(r: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return r, np.ones_like(r)


PULLS = {"squares": _squares, "soft": _soft, "bounded": _bounded}  # psi and its slope, of each loss


def widening(loss: str, residuals: np.ndarray, unknowns: int) -> float:
    """How much larger the standard errors of a loss are than those of squares (see the head of this file)."""
    n = len(residuals)
    if loss == "squares" or n <= unknowns:
        return 1.0
    pull, slope = PULLS[loss](residuals)
    if not slope.mean() > 0.0:
        return float("inf")
    correction = 1.0 + unknowns / n * slope.var() / slope.mean() ** 2
    return max(1.0, float(correction * np.sqrt((pull**2).sum() / (n - unknowns)) / slope.mean()))


def worth(unknowns: Sequence[Unknown], values: Sequence[float], jacobian: np.ndarray, residuals: np.ndarray,
          loss: str = "squares") -> Worth:
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
    loss : str
        That they were found with: "squares", "soft" or "bounded".
    """
    n = len(unknowns)
    # each column by what the unknown may be wrong by before it counts as unknown: then all directions compare
    measure = np.array([item.room(value) for item, value in zip(unknowns, values)])
    whole = np.array([item.whole(value) for item, value in zip(unknowns, values)])
    _, sizes, ways = np.linalg.svd(jacobian * whole * measure, full_matrices=len(jacobian) < n)
    sizes = np.concatenate([sizes, np.zeros(n - len(sizes))])
    wider = widening(loss, residuals[jacobian.any(axis=1)], n)  # a limit that holds has no part in it
    known = (sizes > max(sizes.max(initial=0.0) * LOST, _NOTHING)) & np.isfinite(wider)
    with np.errstate(divide="ignore"):
        spread = np.where(known, wider / sizes, np.inf)
    scaled = np.where(ways == 0.0, 0.0, ways * np.where(np.isinf(spread), 1.0, spread)[:, None])
    errors = np.sqrt((scaled**2).sum(axis=0)) * measure
    lost = (np.abs(ways[~known]) > 1e-6).any(axis=0)
    covariance = scaled[known].T @ scaled[known]
    root = np.sqrt(np.diag(covariance))
    with np.errstate(divide="ignore", invalid="ignore"):
        correlations = np.where(np.outer(root, root) > 0, covariance / np.outer(root, root), 0.0)
    correlations[lost] = correlations[:, lost] = 0.0  # where nothing is known nothing goes together
    np.fill_diagonal(correlations, 1.0)
    vague = tuple(_direction(unknowns, ways[i] * measure, ways[i], spread[i])
                  for i in np.argsort(-spread, kind="stable") if spread[i] > TOO_WIDE)
    counted = jacobian.any(axis=1) | (residuals != 0.0)  # a limit that holds adds nothing to the sum of squares
    freedom = max(int(counted.sum()) - n, 0)
    scatter = float(np.sqrt((residuals**2).sum() / freedom)) if freedom > 0 else float("nan")
    return Worth(np.where(lost, np.inf, errors), correlations, vague, scatter, freedom, wider)


def _direction(unknowns: Sequence[Unknown], moves: np.ndarray, shares: np.ndarray, spread: float) -> Direction:
    first = int(np.argmax(np.abs(shares)))
    units = [1.0 if item.by_ratio else item.scale for item in unknowns]
    kept = {item.address: float(move / moves[first] * unit) for item, move, share, unit
            in zip(unknowns, moves, shares, units) if abs(share) >= _SHARE * abs(shares[first])}
    return Direction(kept, float(spread * abs(moves[first]) * units[first]))


def close_pairs(unknowns: Sequence[Unknown], correlations: np.ndarray) -> list[tuple[str, str, float]]:
    """Pairs of unknowns that are found together rather than each by itself, the closest first."""
    found = [(unknowns[i].address, unknowns[j].address, float(correlations[i, j]))
             for i in range(len(unknowns)) for j in range(i) if abs(correlations[i, j]) >= _CLOSE]
    return sorted(found, key=lambda pair: -abs(pair[2]))
