"""How a network answers when the law of one of its parts moves: exactly, and without building it again.

The nodal equations of the whole network, M u + S I = s (S picks the device nodes, V = S^T u), with a conductance
G = 1 / REFERENCE added at every device node and taken away again on the right, and with what the laws of the parts are
off by, r = da V_part + db I_part in the rows of each part:

    (M + S G S^T) u = s - r + S (G V - I),    T = (M + S G S^T)^-1

With that load T exists wherever the balance has an answer, also where the network alone has no admittance. Its rows at
the device nodes say (1 - T_dd G) V + T_dd I = S^T T (s - r). That is the same set of equations as A V + B I = C E of
network.py, and since (1 - T_dd G) + T_dd G = 1, the matrix from one to the other is A + B G:

    A V + B I = W (s - r),    W = (A + B G) S^T T

Both need rows of T only: of the device nodes, and of the unknowns that are asked for. Textbook of the method, the
transposed ("adjoint") network: S. W. Director, R. A. Rohrer, "The generalized adjoint network and network
sensitivities", IEEE Trans. Circuit Theory 16 (1969) 318-323 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from ..errors import Refusal
from .elimination import REFERENCE
from .network import GROUND, Element, Network, law_of
from .part import Relation

_LOAD = 1.0 / REFERENCE  # at every device node. [S]
_CONDITION = 1e10  # from here on a frequency is solved with care
_INCONSISTENT = 1e-8  # of a change, the share that two laws of one loop may contradict each other by: rounding


class Offset(NamedTuple):
    """What the law of a part is off by.

    rows : ndarray of int, (n_terminal,)
        The equations that it stands in; -1 for ground.
    off : ndarray, complex, (n_frequency, n_terminal)
        [A] in equations of nodes, [V] in those of a part.
    """

    rows: np.ndarray
    off: np.ndarray



class FormChanged(Exception):
    """The law of a part is written in another form at a neighbouring value: no difference of the two is a slope."""


def law_slope(relations: Sequence[tuple[float, Relation]], base: Relation) -> Relation:
    """Slope of a law: the sum of weight times what each relation differs by from `base`, the law as it stands.

    Its `b` is None where `base` is an admittance (there -1 does not move); neighbours are then brought to that form.

    Raises
    ------
    FormChanged
        A neighbour cannot be.
    """
    # differences first: the sum of large terms would leave its rounding, divided by the step
    if base.b is None:
        return Relation(sum(weight * (_admittance(relation) - base.a) for weight, relation in relations))
    if any(relation.b is None for _, relation in relations):
        raise FormChanged
    return Relation(sum(weight * (relation.a - base.a) for weight, relation in relations),
                    sum(weight * (relation.b - base.b) for weight, relation in relations))


def _admittance(relation: Relation) -> np.ndarray:
    if relation.b is None:
        return relation.a
    try:
        return -np.linalg.solve(relation.b, relation.a)
    except np.linalg.LinAlgError:
        raise FormChanged from None


class Transfer:
    """The rows of T and W of a network; see the head of this file.

    Parameters
    ----------
    network : Network
    ties : sequence of str
        All nodes that are tied to ground at DC (`network.dc_ties`).

    Attributes
    ----------
    size : int
        Equations at a frequency, as many as unknowns: node voltages [V], then currents of parts without admittance [A].
    nodes : dict
        Node -> its unknown, which is also the number of its equation (currents that leave it). [A]
    rows : dict
        Element -> its equations, (n_terminal,): its own where it has no admittance [V], those of its nodes where it has
        one [A]; -1 for ground.
    condensed : ndarray, complex, (n_frequency, n_device_node, size)
        W.
    """

    def __init__(self, network: Network, ties: Sequence[str]) -> None:
        self.network = network
        omega = tuple(network.omega.tolist())
        names = [*network.device_nodes, *(node for e in network.elements.values() for node in e.nodes)]
        self.nodes = {name: i for i, name in enumerate(name for name in dict.fromkeys(names) if name != GROUND)}
        self.rows: dict[str, np.ndarray] = {}
        self._laws = {name: law_of(element, omega).relation for name, element in network.elements.items()}
        self.size = len(self.nodes)
        for name, element in network.elements.items():
            if self._laws[name].b is None:
                self.rows[name] = np.array([self.nodes.get(node, -1) for node in element.nodes])
            else:
                self.rows[name] = np.arange(self.size, self.size + len(element.nodes))
                self.size += len(element.nodes)
        self._set_up(self._assembled(ties))
        self._found: dict[int, np.ndarray] = {}
        n, size = len(network.device_nodes), (len(omega), 0, self.size)
        if n:
            at_nodes = np.stack(self.answers(range(n)), axis=1)
        else:
            at_nodes = np.zeros(size)
            self._solved(np.zeros((self.size, 0)))  # else done on the way: finds the loops
        self.condensed = (network.a + _LOAD * network.b) @ at_nodes

    def _assembled(self, ties: Sequence[str]) -> np.ndarray:
        """M + S G S^T at every frequency."""
        matrix = np.zeros((len(self.network.omega), self.size, self.size), complex)
        for name, element in self.network.elements.items():
            law, at = self._laws[name], [self.nodes.get(node, -1) for node in element.nodes]
            rows = self.rows[name]
            for column, c in enumerate(at):
                if c < 0:
                    continue
                for row, r in enumerate(rows):
                    if r >= 0:
                        matrix[:, r, c] += law.a[:, row, column]
                if law.b is not None:
                    matrix[:, c, rows[column]] += 1.0
            if law.b is not None:
                matrix[:, rows[0]:rows[-1] + 1, rows] += law.b
        for node in ties:  # as the network has it: no current flows there
            matrix[0, self.nodes[node], self.nodes[node]] += _LOAD
        held = np.arange(len(self.network.device_nodes))
        matrix[:, held, held] += _LOAD
        return matrix

    def _set_up(self, matrix: np.ndarray) -> None:
        """Bring voltages and currents, and all rows, to one scale; find the loops without resistance."""
        self._unit = np.ones(self.size)
        self._unit[len(self.nodes):] = _LOAD
        matrix *= self._unit
        largest = np.abs(matrix).max(axis=2)
        self._row_scale = 1.0 / np.where(largest > 0.0, largest, 1.0)  # none: a short from ground to ground
        matrix *= self._row_scale[:, :, None]
        self._matrix = matrix.transpose(0, 2, 1)  # T is asked for by rows
        self._inverse: dict[int, np.ndarray] = {}
        self._loops: dict[int, np.ndarray] = {}
        self._with_care(0)  # DC: most loops stand there

    def _with_care(self, k: int) -> None:
        """Keep the transposed inverse of one frequency; in loops without resistance, that of least currents."""
        u, s, vh = np.linalg.svd(self._matrix[k])
        rank = int(np.sum(s > self.size * np.finfo(float).eps * s[0]))
        self._inverse[k] = (vh[:rank].conj().T / s[:rank]) @ u[:, :rank].conj().T
        if rank < self.size:  # what is zero times the matrix from the left is the conjugate of these
            self._loops[k] = vh[rank:].conj() * self._row_scale[k]

    def answers(self, unknowns: Iterable[int]) -> list[np.ndarray]:
        """Rows of T: how each unknown answers to what is put into each equation, (n_frequency, size)."""
        wanted = list(unknowns)
        missing = [unknown for unknown in dict.fromkeys(wanted) if unknown not in self._found]
        if missing:
            right = np.zeros((self.size, len(missing)))
            right[missing, np.arange(len(missing))] = self._unit[missing]
            found = self._solved(right)
            for number, unknown in enumerate(missing):
                self._found[unknown] = np.ascontiguousarray(found[:, :, number])
        return [self._found[unknown] for unknown in wanted]

    def _solved(self, right: np.ndarray) -> np.ndarray:
        """T^T right, (n_frequency, size, n), for right (size, n) in scaled units."""
        probe = np.exp(2j * np.pi * np.modf(np.arange(1, self.size + 1)**2 * 0.6180339887498949)[0])[:, None]
        result = np.zeros((len(self._matrix), *right.shape), complex)
        quick = [k for k in range(len(self._matrix)) if k not in self._inverse]
        if quick:
            both = np.concatenate([right, probe], axis=1)
            try:
                found = np.linalg.solve(self._matrix[quick], np.broadcast_to(both, (len(quick), *both.shape)))
                poor = ~(np.abs(found[:, :, -1]).max(axis=1) < _CONDITION)
            except np.linalg.LinAlgError:  # one of them is exactly singular
                found, poor = np.zeros((len(quick), *both.shape)), np.ones(len(quick), bool)
            result[quick] = found[:, :, :-1]
            for k in np.array(quick)[poor]:
                self._with_care(int(k))
        for k, inverse in self._inverse.items():
            result[k] = inverse @ right
        return result * self._row_scale[:, :, None]

    @property
    def load(self) -> float:
        """The conductance G at every device node. [S]"""
        return _LOAD

    def offset(self, element: Element, slope: Relation, unknowns: np.ndarray) -> Offset:
        """What the law of an element is off by, from its slope and the unknowns of the network (`Network.unknowns`).

        The element may be one that the network does not have, between nodes that it has, if its slope is an
        admittance."""
        network = self.network
        voltage = np.stack([network.node_voltage(unknowns, node) for node in element.nodes], axis=1)
        off = np.einsum("kij,kj->ki", slope.a, voltage)
        if slope.b is None:
            return Offset(np.array([self.nodes.get(node, -1) for node in element.nodes]), off)
        off += np.einsum("kij,kj->ki", slope.b, network.terminal_currents(unknowns, element.name))
        return Offset(self.rows[element.name], off)

    def check(self, offsets: Iterable[Offset]) -> None:
        """Refuse a change that two laws of one loop without resistance do not agree on: it would decide how a current
        is shared there, which until then nothing decides.

        Raises
        ------
        Refusal
        """
        for k, loops in self._loops.items():
            told, size = np.zeros(len(loops), complex), 0.0
            for rows, off in offsets:
                for row, r in enumerate(rows):
                    if r >= 0:
                        told += loops[:, r] * off[k, row]
                        size += self._row_scale[k, r] * abs(off[k, row])
            if np.abs(told).max() > _INCONSISTENT * size:
                raise Refusal("decides how the current is shared in a loop without resistance, and has no slope there; "
                              "give the parts of the loop a resistance")
