"""Elimination: the equations of a linear network brought down to the nodes that are kept.

LU from the whole column, whatever rows the pivots come from, leaves a pair of matrices that holds where no admittance
exists, and recovers each unknown from what tells it best: the current of a choke from the device currents, not from a
voltage across it that is next to nothing.

The careful way does so at one frequency; currents in loops without resistance are shared by least norm. The quick way
takes the rows that the pivots came from at one frequency, and solves for all frequencies at once; it is taken where
that turns out well conditioned.
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
_CONDITION = 1e6  # of the quick way; eight decades from where a pivot would count as none
_TRIES = 3  # frequencies whose pivots are tried


class Equations(NamedTuple):
    """matrix u + injection I - source E = 0 at every frequency, the kept node voltages first in u.

    columns : ndarray, complex, (n_frequency, size, size + n_kept + n_source)
        matrix, injection and -source side by side. Columns of the matrix: node voltages in the order of `nodes`, then
        currents; of the injection: currents out of the network at the kept nodes.
    largest : ndarray, (n_frequency, size)
        Of each row, the largest term that was added up in it; those of currents over `REFERENCE`.
    nodes : tuple of str
        All nodes, the kept ones first.
    kept : int
        n_kept.
    omega : ndarray, (n_frequency,). [rad/s]
    """

    columns: np.ndarray
    largest: np.ndarray
    nodes: tuple[str, ...]
    kept: int
    omega: np.ndarray


class Care(NamedTuple):
    """Which loss of digits is taken.

    growth : largest ratio of an unknown to what it is told from, currents times `REFERENCE`, in the quick way. [1]
    divided : B is divided out where its inverse stays below this, beside rows of size 1. [1]
    """

    growth: float
    divided: float


NETWORK = Care(growth=1e3, divided=1e6)
# what a frame leaves is eliminated from again, together with other parts: there a large admittance may not drown a
# small one that hangs on it
FRAME = Care(growth=1e3, divided=1e2)


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
    equations, unit = _to_one_scale(equations)
    n_f, size, width = equations.columns.shape
    n_d = equations.kept
    n_s = width - size - n_d
    found = Condensed(np.zeros((n_f, n_d, n_d), complex), np.zeros((n_f, n_d, n_d), complex),
                      np.zeros((n_f, n_d, n_s), complex), np.zeros((n_f, size - n_d, 2 * n_d + n_s), complex),
                      np.zeros(n_f, bool))
    left = np.arange(1, n_f)
    for _ in range(_TRIES if care.growth > 0 else 0):
        if len(left):
            left = left[~_quickly(equations, left, care, found)]
    for k in (0, *left):  # the first is DC in a balance, and often the one with loops
        _carefully(equations, k, care, found)
    found.recover *= unit[n_d:, None]
    return found


def _to_one_scale(equations: Equations) -> tuple[Equations, np.ndarray]:
    """The same with currents counted in what a volt drives through `REFERENCE` and each row divided by its largest
    term, device columns included; and the units of the unknowns.

    Else a node that hangs on a large resistance would take its pivot from the row of the node behind it, and be
    recovered from the currents there: their rounding is large beside the current through the resistance. Terms count
    before they cancel: a node that an ideal resonance leaves open stays without a pivot."""
    size = equations.columns.shape[1]
    unit = np.ones(size)
    unit[len(equations.nodes):] = 1.0 / REFERENCE
    columns = equations.columns / np.where(equations.largest > 0.0, equations.largest, 1.0)[:, :, None]
    columns[:, :, :size] *= unit
    return equations._replace(columns=columns), unit


def _quickly(equations: Equations, which: np.ndarray, care: Care, found: Condensed) -> np.ndarray:
    """Fill `found` at some frequencies, by the pivots of the middle one; returns where it may be taken."""
    n_d, size = equations.kept, equations.columns.shape[1]
    n_x = size - n_d
    columns = equations.columns[which[0]:] if len(which) == len(equations.columns) - which[0] else \
        equations.columns[which]
    if n_x:
        order, _, _ = scipy.linalg.lu(columns[len(which) // 2, :, n_d:size], p_indices=True, check_finite=False)
        columns = columns[:, np.argsort(order)]
    inner, outer = columns[:, :, n_d:size], np.concatenate([columns[:, :, :n_d], columns[:, :, size:]], axis=2)
    probe = np.broadcast_to(_probe(n_x)[:, None], (len(which), n_x, 1))
    try:
        solved = np.linalg.solve(inner[:, :n_x], np.concatenate([outer[:, :n_x], probe], axis=2))
    except np.linalg.LinAlgError:  # one of them is exactly singular
        return np.zeros(len(which), bool)
    parts = columns.view(float)  # real and imaginary: their squares need no room
    condition = np.sqrt(np.einsum("kij,kij->k", parts, parts)) * np.abs(solved[:, :, -1]).max(axis=1, initial=0.0)
    x = -solved[:, :, :-1]
    size_of = np.abs(x)
    size_of[:, :, n_d:2 * n_d] /= REFERENCE
    good = (condition < _CONDITION) & (size_of.max(axis=(1, 2), initial=0.0) < care.growth)
    found.recover[which] = x
    _store(outer[:, n_x:] + inner[:, n_x:] @ x, which, care, found)
    return good


def _store(rest: np.ndarray, which: np.ndarray, care: Care, found: Condensed) -> None:
    """Fill a, b, c of `found` from the rows that are free of x, (n, n_kept, 2 n_kept + n_source)."""
    n_d = rest.shape[1]
    if not n_d:
        return
    size = np.maximum(np.abs(rest[:, :, :n_d]).max(axis=2) * REFERENCE, np.abs(rest[:, :, n_d:2 * n_d]).max(axis=2))
    rest = rest / np.where(size > 0.0, size, 1.0)[:, :, None]
    b = rest[:, :, n_d:2 * n_d]
    found.identity[which] = divided = _inverse_size(b) < care.divided
    rest[divided] = np.linalg.solve(b[divided], rest[divided])
    b[divided] = np.eye(n_d)
    found.a[which], found.b[which], found.c[which] = rest[:, :, :n_d], b, -rest[:, :, 2 * n_d:]


def _inverse_size(b: np.ndarray) -> np.ndarray:
    """Norm of the inverse of each matrix (n, m, m), infinite where there is none."""
    with np.errstate(divide="ignore", over="ignore"):  # of a matrix that hardly has an inverse it is infinite
        try:
            return np.linalg.norm(np.linalg.inv(b), axis=(1, 2))
        except np.linalg.LinAlgError:  # one of them is exactly singular
            return np.linalg.norm(1.0 / np.linalg.svd(b, compute_uv=False), axis=1)


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
    _store(rest[None], np.array([k]), care, found)


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
