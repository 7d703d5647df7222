"""The linear network at every harmonic: assembled, condensed onto the device nodes, and recovered from them.

Modified nodal analysis: the unknowns are the node voltages and, for every part whose law has no admittance, its
terminal currents (C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The modified nodal approach to network analysis",
IEEE Trans. Circuits Syst. 22 (1975) 504-509). With the device currents I (out of the node, into the device) and the
source voltages E, elimination of all other unknowns x leaves

    A V + B I = C E        (n_device_node equations a harmonic)
    x = X_v V + X_i I + X_e E

B is the identity wherever an admittance exists, and A is then the admittance matrix; where it does not (a choke at
DC that ties the collector to the supply) the pair still holds exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import scipy.linalg

from ..errors import Refusal
from .islands import GROUND, dc_groups, dc_islands, tied_to_ground
from .part import Part, Relation

_REFERENCE = 50.0  # brings voltage rows and current rows to one scale before pivots are compared. [ohm]
_LOSS_OF_DIGITS = 1e6  # B is divided out where its condition number stays below this
_SINGULAR = 1e-14  # a pivot this small beside the largest: the unknown is not determined


@dataclass(frozen=True)
class Element:
    """A part and the nodes it is soldered to."""

    name: str
    part: Part
    nodes: tuple[str, ...]


@lru_cache(maxsize=8192)
def _relation(part: Part, omega: tuple[float, ...]) -> Relation:
    """Laws are kept, so that a sweep recomputes only the parts that changed."""
    return part.relation(np.array(omega))


@lru_cache(maxsize=8192)
def _joined_at_dc(part: Part) -> tuple[list[set[int]], set[int]]:
    return dc_groups(part.relation(np.zeros(1)))


@dataclass
class Layout:
    """Where each unknown stands: node voltages first, then the currents of parts without admittance."""

    nodes: dict[str, int]
    currents: dict[str, int] = field(default_factory=dict)
    size: int = 0


class Network:
    """A linear network seen from the device nodes.

    Parameters
    ----------
    elements : sequence of Element
        Parts; the ones named in `sources` are `Termination`s and carry a source voltage.
    sources : sequence of str
        Names of elements with a source, in the order of E.
    device_nodes : sequence of str
        Nodes onto which the network is condensed; ground is not one of them.
    omega : ndarray, shape (n_frequency,)
        Angular frequencies. [rad/s]
    device_pins : dict
        Device name -> {pin name: node}, to refuse pins without a DC path by name.
    conducting : sequence of (node, node), or None
        Ends of the device branches that carry current at DC; None: the devices are taken out.

    Attributes
    ----------
    a, b : ndarray, complex, (n_frequency, n_device_node, n_device_node). [S], [1] where B is the identity
    c : ndarray, complex, (n_frequency, n_device_node, n_source). [S]
    identity : ndarray of bool, (n_frequency,)
        Where B is the identity.

    Raises
    ------
    Refusal
        A device pin without DC path, or a network that leaves a voltage or current undetermined.
    """

    def __init__(self, elements: Sequence[Element], sources: Sequence[str], device_nodes: Sequence[str],
                 omega: np.ndarray, device_pins: dict[str, dict[str, str]] | None = None,
                 conducting: Sequence[tuple[str, str]] | None = None) -> None:
        self.elements = {element.name: element for element in elements}
        self.sources = tuple(sources)
        self.device_nodes = tuple(device_nodes)
        self.omega = np.asarray(omega, float)
        key = tuple(self.omega.tolist())
        self.relations = {e.name: self._law(e, key) for e in elements}
        self.layout = self._lay_out()
        matrix, source_matrix = self._assemble()
        if self.omega[0] == 0.0:
            islands = dc_islands(((e.nodes, _joined_at_dc(e.part)) for e in elements), self.layout.nodes)
            # without devices (`conducting` None) a node that only they would hold is left undetermined
            branches = [(node, GROUND) for node in self.device_nodes] if conducting is None else conducting
            for node in tied_to_ground(islands, self.device_nodes, device_pins or {}, branches):
                matrix[0, self.layout.nodes[node], self.layout.nodes[node]] += 1.0 / _REFERENCE
        self._condense(matrix, source_matrix)

    @staticmethod
    def _law(element: Element, omega: tuple[float, ...]) -> Relation:
        try:
            return _relation(element.part, omega)
        except Refusal as refusal:
            raise refusal.located(f"part.{element.name}") from None

    # -- assembly ---------------------------------------------------------------------------------------------

    def _lay_out(self) -> Layout:
        names = list(self.device_nodes)
        for element in self.elements.values():
            names.extend(element.nodes)
        layout = Layout({name: i for i, name in enumerate(n for n in dict.fromkeys(names) if n != GROUND)})
        position = len(layout.nodes)
        for element in self.elements.values():
            if self.relations[element.name].b is not None:
                layout.currents[element.name] = position
                position += len(element.nodes)
        layout.size = position
        return layout

    def _assemble(self) -> tuple[np.ndarray, np.ndarray]:
        n_f, size, nodes = len(self.omega), self.layout.size, self.layout.nodes
        matrix = np.zeros((n_f, size, size), complex)
        source_matrix = np.zeros((n_f, size, len(self.sources)), complex)
        for element in self.elements.values():
            law = self.relations[element.name]
            at = [nodes.get(node, -1) for node in element.nodes]
            if law.b is None:
                for row, r in enumerate(at):
                    for column, c in enumerate(at):
                        if r >= 0 and c >= 0:
                            matrix[:, r, c] += law.a[:, row, column]
                continue
            first = self.layout.currents[element.name]
            span = slice(first, first + len(at))
            scale = np.maximum(np.abs(law.a).max(axis=2) * _REFERENCE, np.abs(law.b).max(axis=2))
            scale = 1.0 / np.where(scale > 0, scale, 1.0)
            matrix[:, span, span] += law.b * scale[:, :, None]
            for column, c in enumerate(at):
                if c >= 0:
                    matrix[:, span, c] += law.a[:, :, column] * scale
                    matrix[:, c, first + column] += 1.0
            if element.name in self.sources:
                acts = self.omega == 0.0 if element.part.steady else 1.0
                source_matrix[:, first, self.sources.index(element.name)] = scale[:, 0] * acts
        return matrix, source_matrix

    # -- elimination ------------------------------------------------------------------------------------------

    def _condense(self, matrix: np.ndarray, source_matrix: np.ndarray) -> None:
        n_f, size, n_d, n_s = len(self.omega), self.layout.size, len(self.device_nodes), len(self.sources)
        injection = np.zeros((size, n_d))
        injection[:n_d] = np.eye(n_d)
        self.a = np.zeros((n_f, n_d, n_d), complex)
        self.b = np.zeros((n_f, n_d, n_d), complex)
        self.c = np.zeros((n_f, n_d, n_s), complex)
        self.identity = np.zeros(n_f, bool)
        self._recover = np.zeros((n_f, size - n_d, 2 * n_d + n_s), complex)
        for k in range(n_f):
            given = np.hstack([matrix[k, :, :n_d], injection, -source_matrix[k]])
            rest, self._recover[k] = self._eliminate(matrix[k, :, n_d:], given, k)
            a, b, c = rest[:, :n_d], rest[:, n_d:2 * n_d], -rest[:, 2 * n_d:]
            if n_d and np.linalg.cond(b) < _LOSS_OF_DIGITS:
                a, c = np.linalg.solve(b, a), np.linalg.solve(b, c)
                b = np.eye(n_d)
                self.identity[k] = True
            elif n_d:
                scale = 1.0 / np.maximum(np.abs(a).max(axis=1) * _REFERENCE, np.abs(b).max(axis=1))[:, None]
                a, b, c = a * scale, b * scale, c * scale
            self.a[k], self.b[k], self.c[k] = a, b, c

    def _eliminate(self, inner: np.ndarray, given: np.ndarray, k: int) -> tuple[np.ndarray, np.ndarray]:
        """Split inner x + given g = 0 into (rows free of x) and (x as a function of g)."""
        n_x, n_d = inner.shape[1], inner.shape[0] - inner.shape[1]
        if n_x == 0:
            return given, np.zeros((0, given.shape[1]))
        permuted, lower, upper = scipy.linalg.lu(inner, check_finite=False)
        pivots = np.abs(np.diag(upper))
        given = permuted.T @ given
        if pivots.min() > _SINGULAR * pivots.max():
            top = scipy.linalg.solve_triangular(lower[:n_x], given[:n_x], lower=True, unit_diagonal=True)
            x = -scipy.linalg.solve_triangular(upper, top)
            return given[n_x:] - lower[n_x:] @ top, x
        return self._eliminate_singular(permuted.T @ inner, given, n_d, k)

    def _eliminate_singular(self, inner: np.ndarray, given: np.ndarray, n_d: int,
                            k: int) -> tuple[np.ndarray, np.ndarray]:
        """The same where currents can circulate in a loop without resistance: they share alike (least norm)."""
        u, s, vh = np.linalg.svd(inner)
        rank = int(np.sum(s > _SINGULAR * s[0]))
        loops = np.abs(vh[rank:, :])
        free_nodes = [name for name, i in self.layout.nodes.items() if i >= n_d and loops[:, i - n_d].max() > 1e-6]
        if free_nodes:
            raise Refusal(f"the voltage of node '{free_nodes[0]}' is not determined at "
                          f"{self.omega[k] / (2 * np.pi):.6g} Hz: nothing but ideal resonances or open ends holds it; "
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

    # -- reading a solution -----------------------------------------------------------------------------------

    def unknowns(self, voltage: np.ndarray, current: np.ndarray, source: np.ndarray) -> np.ndarray:
        """All unknowns of the network.

        Parameters
        ----------
        voltage, current : ndarray, complex, (n_frequency, n_device_node)
            At the device nodes; current out of the network into the devices. [V], [A]
        source : ndarray, complex, (n_frequency, n_source). [V]

        Returns
        -------
        ndarray, complex, (n_frequency, n_unknown): node voltages [V], then part currents [A].
        """
        given = np.concatenate([voltage, current, source], axis=1)
        inner = np.einsum("kxg,kg->kx", self._recover, given)
        return np.concatenate([voltage, inner], axis=1)

    def node_voltage(self, unknowns: np.ndarray, node: str) -> np.ndarray:
        """Phasors of one node, (n_frequency,). [V]"""
        if node == GROUND:
            return np.zeros(len(self.omega), complex)
        return unknowns[:, self.layout.nodes[node]]

    def terminal_voltages(self, unknowns: np.ndarray, name: str) -> np.ndarray:
        """Phasors at the terminals of one element, (n_frequency, n_terminal). [V]"""
        return np.stack([self.node_voltage(unknowns, node) for node in self.elements[name].nodes], axis=1)

    def terminal_currents(self, unknowns: np.ndarray, name: str) -> np.ndarray:
        """Phasors of the currents into the terminals of one element, (n_frequency, n_terminal). [A]"""
        law = self.relations[name]
        if law.b is not None:
            first = self.layout.currents[name]
            return unknowns[:, first:first + len(self.elements[name].nodes)]
        return np.einsum("kij,kj->ki", law.a, self.terminal_voltages(unknowns, name))

    def row(self, column: int) -> np.ndarray:
        """How one unknown follows from (V, I, E): (n_frequency, 2 n_device_node + n_source)."""
        n_d = len(self.device_nodes)
        if column >= n_d:
            return self._recover[:, column - n_d]
        row = np.zeros((len(self.omega), 2 * n_d + len(self.sources)), complex)
        row[:, column] = 1.0
        return row

    def impedance(self, plus: str, minus: str) -> np.ndarray:
        """Driving-point impedance between two device nodes with the devices absent, (n_frequency,). [ohm]

        Not a number where the network leaves it undetermined (an open end at DC).
        """
        e = np.zeros(len(self.device_nodes))
        for node, sign in ((plus, 1.0), (minus, -1.0)):
            if node != GROUND:
                e[self.device_nodes.index(node)] += sign
        result = np.full(len(self.omega), np.nan + 0j)
        for k in range(len(self.omega)):
            given = self.b[k] @ e
            v, _, rank, _ = np.linalg.lstsq(self.a[k], given, rcond=1e-13)
            # a node that nothing holds may move freely as long as the two asked for do not move with it
            loose = scipy.linalg.null_space(self.a[k], rcond=1e-13) if rank < len(e) else np.zeros((len(e), 0))
            if np.abs(self.a[k] @ v - given).max(initial=0.0) < 1e-9 * max(np.abs(given).max(initial=0.0), 1e-12) \
                    and np.abs(e @ loose).max(initial=0.0) < 1e-9:
                result[k] = e @ v
        return result
