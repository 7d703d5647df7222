"""Elimination: the equations of a linear network brought down to the nodes that are kept.

The quick way takes many frequencies at once. It solves for the eliminated unknowns and for the currents at the kept
nodes, by LU with row pivots, and is taken at a frequency only where all of this is well conditioned. The careful way
takes one frequency. It eliminates by LU from the whole column, whatever rows the pivots come from, and leaves a pair of
matrices that holds where no admittance exists; currents in loops without resistance are shared by least norm.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import scipy.linalg

from ..errors import Refusal

REFERENCE = 50.0  # brings voltage rows and current rows to one scale before pivots are compared. [ohm]
_SINGULAR = 1e-14  # a pivot this small beside the largest: the unknown is not determined
_CLEAR = 1e-11  # a pivot this large will not be below `_SINGULAR` in another order of elimination
_CONDITION = 1e8  # of the quick way; six decades from where a pivot would count as none


class Equations(NamedTuple):
    """matrix u + injection I - source E = 0 at every frequency, the kept node voltages first in u.

    columns : ndarray, complex, (n_frequency, size, size + n_kept + n_source)
        matrix, injection and -source side by side. Columns of the matrix: node voltages in the order of `nodes`, then
        currents; of the injection: currents out of the network at the kept nodes.
    nodes : tuple of str
        All nodes, the kept ones first.
    kept : int
        n_kept.
    omega : ndarray, (n_frequency,). [rad/s]
    """

    columns: np.ndarray
    nodes: tuple[str, ...]
    kept: int
    omega: np.ndarray


class Care(NamedTuple):
    """Which loss of digits is taken for plain admittances.

    growth : largest voltage per volt, or current per volt times `REFERENCE`, that the quick way may show. [1]
    divided : B of the careful way is divided out where its inverse stays below this, beside rows of size 1. [1]
    """

    growth: float
    divided: float


NETWORK = Care(growth=1e4, divided=1e6)
# what a frame leaves is eliminated from again, together with other parts: there a large admittance may not drown a
# small one that hangs on it
FRAME = Care(growth=1e2, divided=0.0)


@dataclass
class Condensed:
    """a V + b I = c E and x = recover [V, I, E].

    a, b, c : as in `Network`
    recover : (n_frequency, n_x, 2 n_kept + n_source)
    identity : where b is the identity, (n_frequency,)
    singular : whether the currents of a loop had to be shared, at any frequency
    clear : whether it would surely be found the same in another order of elimination
    """

    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    recover: np.ndarray
    identity: np.ndarray
    singular: bool = False
    clear: bool = True


def condense(equations: Equations, care: Care = NETWORK) -> Condensed:
    """Eliminate all voltages but the kept ones, and all currents.

    Raises
    ------
    Refusal
        A voltage is not determined, or two sources are tied to each other.
    """
    n_f, size, width = equations.columns.shape
    n_d = equations.kept
    n_s = width - size - n_d
    found = Condensed(np.zeros((n_f, n_d, n_d), complex), np.zeros((n_f, n_d, n_d), complex),
                      np.zeros((n_f, n_d, n_s), complex), np.zeros((n_f, size - n_d, 2 * n_d + n_s), complex),
                      np.zeros(n_f, bool))
    done = np.zeros(n_f, bool)
    # the first is DC in a balance: one that is exactly singular, as it often is, spoils the batch that it stands in
    for batch in (slice(0, 1), slice(1, n_f)):
        done[batch] = _quickly(equations, batch, care, found)
    for k in np.flatnonzero(~done):
        _carefully(equations, k, care, found)
    return found


def _quickly(equations: Equations, batch: slice, care: Care, found: Condensed) -> np.ndarray | bool:
    """Fill `found` at the frequencies of a batch; returns where it may be taken."""
    columns, n_d = equations.columns[batch], equations.kept
    n_f, size, _ = columns.shape
    n_x, n_voltage = size - n_d, len(equations.nodes) - n_d
    square = columns[:, :, n_d:size + n_d]
    probe = np.broadcast_to(_probe(size)[:, None], (n_f, size, 1))
    given = np.concatenate([columns[:, :, :n_d], columns[:, :, size + n_d:], probe], axis=2)
    try:
        solved = np.linalg.solve(square, -given)
    except np.linalg.LinAlgError:
        return False
    parts = columns.view(float)[:, :, 2 * n_d:2 * (size + n_d)]  # real and imaginary: their squares need no room
    condition = np.sqrt(np.einsum("kij,kij->k", parts, parts)) * np.abs(solved[:, :, -1]).max(axis=1, initial=0.0)
    solved = solved[:, :, :-1]
    size_of = np.abs(solved).max(axis=2, initial=0.0)
    size_of[:, n_voltage:] *= REFERENCE
    found.a[batch], found.c[batch] = -solved[:, n_x:, :n_d], solved[:, n_x:, n_d:]
    found.b[batch] = np.eye(n_d)
    found.recover[batch, :, :n_d], found.recover[batch, :, 2 * n_d:] = solved[:, :n_x, :n_d], solved[:, :n_x, n_d:]
    good = (condition < _CONDITION) & (size_of.max(axis=1, initial=0.0) < care.growth)
    found.identity[batch] = good
    return good


@lru_cache(maxsize=None)
def _probe(size: int) -> np.ndarray:
    """A right-hand side of modulus 1 without symmetry: its solution shows the norm of the inverse, but for luck."""
    return np.exp(2j * np.pi * np.modf(np.arange(1, size + 1)**2 * 0.6180339887498949)[0])


def _carefully(equations: Equations, k: int, care: Care, found: Condensed) -> None:
    """Fill `found` at one frequency."""
    columns, n_d = equations.columns[k], equations.kept
    if not columns.imag.any():  # DC
        columns = columns.real
    inner = columns[:, n_d:len(columns)]
    given = np.concatenate([columns[:, :n_d], columns[:, len(columns):]], axis=1)
    rest, found.recover[k] = _eliminate(inner, given, equations, k, found)
    a, b, c = rest[:, :n_d], rest[:, n_d:2 * n_d], -rest[:, 2 * n_d:]
    if n_d:
        scale = 1.0 / np.maximum(np.abs(a).max(axis=1) * REFERENCE, np.abs(b).max(axis=1))[:, None]
        a, b, c = a * scale, b * scale, c * scale
        found.identity[k] = np.linalg.svd(b, compute_uv=False)[-1] * care.divided > 1.0
    if found.identity[k]:
        a, c = np.linalg.solve(b, a), np.linalg.solve(b, c)
        b = np.eye(n_d)
    found.a[k], found.b[k], found.c[k] = a, b, c


def _eliminate(inner: np.ndarray, given: np.ndarray, equations: Equations, k: int,
               found: Condensed) -> tuple[np.ndarray, np.ndarray]:
    """Split inner x + given g = 0 into (rows free of x) and (x as a function of g)."""
    n_x = inner.shape[1]
    if n_x == 0:
        return given, np.zeros((0, given.shape[1]))
    order, lower, upper = scipy.linalg.lu(inner, p_indices=True, check_finite=False)
    pivots = np.abs(np.diag(upper))
    if pivots.min() > _SINGULAR * pivots.max():
        found.clear = found.clear and pivots.min() > _CLEAR * pivots.max()
        given = given[np.argsort(order)]  # inner = (lower @ upper)[order]
        top = scipy.linalg.solve_triangular(lower[:n_x], given[:n_x], lower=True, unit_diagonal=True,
                                            check_finite=False)
        x = -scipy.linalg.solve_triangular(upper, top, check_finite=False)
        return given[n_x:] - lower[n_x:] @ top, x
    found.singular = True
    return _eliminate_singular(inner, given, equations, k, found)


def _eliminate_singular(inner: np.ndarray, given: np.ndarray, equations: Equations, k: int,
                        found: Condensed) -> tuple[np.ndarray, np.ndarray]:
    """The same where currents can circulate in a loop without resistance: they share alike (least norm)."""
    n_d = inner.shape[0] - inner.shape[1]
    u, s, vh = np.linalg.svd(inner)
    rank = int(np.sum(s > _SINGULAR * s[0]))
    found.clear = found.clear and s[:rank].min(initial=np.inf) > _CLEAR * s[0]
    loops = np.abs(vh[rank:, :])
    free_nodes = [name for i, name in enumerate(equations.nodes[n_d:]) if loops[:, i].max(initial=0.0) > 1e-6]
    if free_nodes:
        raise Refusal(f"the voltage of node '{free_nodes[0]}' is not determined at "
                      f"{equations.omega[k] / (2 * np.pi):.6g} Hz: nothing but ideal resonances or open ends holds it; "
                      "add a resistance or a loss")
    x = -(vh[:rank].conj().T / s[:rank]) @ (u[:, :rank].conj().T @ given)
    left = u[:, rank:].conj().T @ given
    # each loop leaves one equation too many, a repetition: keep the n_d independent ones
    _, _, order = scipy.linalg.qr(left.conj().T, pivoting=True, mode="economic")
    kept, dropped = left[order[:n_d]], left[order[n_d:]]
    residual = dropped - dropped @ np.linalg.pinv(kept) @ kept if n_d else dropped
    if np.abs(residual).max(initial=0.0) > 1e-9 * max(np.abs(given).max(), 1e-300):
        raise Refusal("a supply without resistance is shorted, or tied to another, by parts without "
                      "resistance; give the supply or the parts one")
    return kept, x
