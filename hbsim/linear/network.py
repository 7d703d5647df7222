"""The linear network at every harmonic: assembled, condensed onto the device nodes, and recovered from them.

Modified nodal analysis: the unknowns are the node voltages and, for every part whose law has no admittance, its
terminal currents (C.-W. Ho, A. E. Ruehli, P. A. Brennan, "The modified nodal approach to network analysis",
IEEE Trans. Circuits Syst. 22 (1975) 504-509). With the device currents I (out of the node, into the device) and the
source voltages E, elimination of all other unknowns x leaves

    A V + B I = C E        (n_device_node equations a harmonic)
    x = X_v V + X_i I + X_e E

B is the identity wherever an admittance exists, and A is then the admittance matrix; where it does not (a choke at
DC that ties the collector to the supply) the pair still holds exactly. How it is eliminated: elimination.py.

A network may stand on a frame: a network of some of its parts, condensed before onto the nodes where the others are
soldered. With A V + B I = 0 of the frame, and its currents I those that flow on into the other parts and the devices,
B times the node equations of these, plus A V, stand in for the node equations of the whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import scipy.linalg

from ..errors import Refusal
from .elimination import NETWORK, REFERENCE, Care, Equations, condense
from .islands import GROUND, Groups, dc_groups, dc_islands, tied_to_ground
from .part import Part


@dataclass(frozen=True)
class Element:
    """A part and the nodes it is soldered to."""

    name: str
    part: Part
    nodes: tuple[str, ...]


class Law:
    """The law of a part at the frequencies of a network, its rows brought to one scale where it has no admittance.

    relation : as the part gives it
    a, b, (n_frequency, n, n), and scale, (n_frequency, n) : what is put into the matrix
    """

    def __init__(self, part: Part, omega: tuple[float, ...]) -> None:
        self.relation = part.relation(np.array(omega))
        self.a, self.b, self.scale = self.relation.a, self.relation.b, None
        if self.b is not None:
            scale = np.maximum(np.abs(self.a).max(axis=2) * REFERENCE, np.abs(self.b).max(axis=2))
            self.scale = 1.0 / np.where(scale > 0, scale, 1.0)
            self.a, self.b = self.a * self.scale[:, :, None], self.b * self.scale[:, :, None]

    @cached_property
    def joined_at_dc(self) -> Groups:
        """Which terminals it joins at the first frequency, DC."""
        return dc_groups(self.relation)


# kept, so that a sweep recomputes only the parts that changed
_kept_law = lru_cache(maxsize=8192)(Law)


def law_of(element: Element, omega: tuple[float, ...]) -> Law:
    """The law of an element, kept from earlier requests; a refusal says where it stands."""
    try:
        return _kept_law(element.part, omega)
    except Refusal as refusal:
        raise refusal.located(f"part.{element.name}") from None


def node_names(device_nodes: Iterable[str], elements: Iterable[Element]) -> list[str]:
    """All nodes but ground, the device nodes first."""
    names = dict.fromkeys(device_nodes)
    for element in elements:
        names.update(dict.fromkeys(element.nodes))
    names.pop(GROUND, None)
    return list(names)


def dc_ties(elements: Sequence[Element], omega: tuple[float, ...], device_nodes: Sequence[str],
            device_pins: dict[str, dict[str, str]], conducting: Sequence[tuple[str, str]] | None) -> list[str]:
    """The nodes to be tied to ground at DC, the first of `omega`; see `Network` and `tied_to_ground`."""
    islands = dc_islands(((e.nodes, law_of(e, omega).joined_at_dc) for e in elements),
                         node_names(device_nodes, elements))
    # without devices (`conducting` None) a node that only they would hold is left undetermined
    branches = [(node, GROUND) for node in device_nodes] if conducting is None else conducting
    return tied_to_ground(islands, device_nodes, device_pins, branches)


@dataclass(frozen=True)
class Layout:
    """Where each unknown stands: of each node, and the first of each part without admittance."""

    nodes: dict[str, int]
    currents: dict[str, int]


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
    frame : Network or None
        Of some of the elements, without sources, at the same frequencies; see frame.py. Its device nodes are those of
        this network and then every node that other elements or `ties` touch.
    ties : sequence of str, or None
        Nodes to be tied to ground at DC, those inside the frame left out. None finds them, where there is no frame.
    care : Care
        Which loss of digits is taken.

    Attributes
    ----------
    a, b : ndarray, complex, (n_frequency, n_device_node, n_device_node). [S], [1] where B is the identity
    c : ndarray, complex, (n_frequency, n_device_node, n_source). [S]
    identity : ndarray of bool, (n_frequency,)
        Where B is the identity.
    relations : dict
        The law of each element by its name.
    ties : tuple of str
        Nodes tied to ground at DC, those inside the frame left out.
    clear, settled : bool
        No pivot was near to none, that is, another order of elimination would have found the same; and no loop without
        resistance was met either, inside the frame apart.

    Raises
    ------
    Refusal
        A device pin without DC path, or a network that leaves a voltage or current undetermined.
    """

    def __init__(self, elements: Sequence[Element], sources: Sequence[str], device_nodes: Sequence[str],
                 omega: np.ndarray, device_pins: dict[str, dict[str, str]] | None = None,
                 conducting: Sequence[tuple[str, str]] | None = None, frame: Network | None = None,
                 ties: Sequence[str] | None = None, care: Care = NETWORK) -> None:
        self.elements = {element.name: element for element in elements}
        self.sources = tuple(sources)
        self.device_nodes = tuple(device_nodes)
        self.omega = np.asarray(omega, float)
        self._frame = frame
        key = tuple(self.omega.tolist())
        loose = [e for e in elements if frame is None or e.name not in frame.elements]
        laws = {e.name: law_of(e, key) for e in loose}
        self.relations = (frame.relations if frame else {}) | {name: law.relation for name, law in laws.items()}
        own_nodes = frame.device_nodes if frame else tuple(node_names(device_nodes, elements))
        self._place(loose, laws, own_nodes)
        if ties is None:
            ties = dc_ties(elements, key, self.device_nodes, device_pins or {}, conducting) if key[0] == 0.0 else ()
        self.ties = tuple(ties)
        equations = self._assemble(loose, laws, own_nodes)
        found = condense(equations, care)
        self.a, self.b, self.c, self.identity = found.a, found.b, found.c, found.identity
        self._recover = found.recover
        self.clear, self.settled = found.clear, found.clear and not found.singular

    # -- assembly ---------------------------------------------------------------------------------------------

    def _place(self, loose: list[Element], laws: dict[str, Law], nodes: tuple[str, ...]) -> None:
        """Lay out the unknowns: own nodes, own currents, then what the frame has eliminated."""
        places = {name: i for i, name in enumerate(nodes)}
        currents, position = {}, len(nodes)
        for element in loose:
            if laws[element.name].b is not None:
                currents[element.name] = position
                position += len(element.nodes)
        self._own = position
        if self._frame is not None:
            shift = self._own - len(nodes)
            inside = self._frame.layout
            places |= {name: i + shift for name, i in inside.nodes.items() if name not in places}
            currents |= {name: i + shift for name, i in inside.currents.items()}
            # told in the order of the elements, as without a frame
            places = {name: places[name] for name in node_names(self.device_nodes, self.elements.values())}
        self.layout = Layout(places, currents)

    def _assemble(self, loose: list[Element], laws: dict[str, Law], own_nodes: tuple[str, ...]) -> Equations:
        n_d, size, nodes, n_node = len(self.device_nodes), self._own, self.layout.nodes, len(own_nodes)
        matrix = np.zeros((len(self.omega), size, size + n_d + len(self.sources)), complex)
        matrix[:, :n_d, size:size + n_d] = np.eye(n_d)
        largest = np.zeros((len(self.omega), size))
        for element in loose:
            law = laws[element.name]
            at = [nodes.get(node, -1) for node in element.nodes]
            if law.b is None:
                for row, r in enumerate(at):
                    if r >= 0:
                        largest[:, r] = np.maximum(largest[:, r], np.abs(law.a[:, row]).max(axis=1))
                    for column, c in enumerate(at):
                        if r >= 0 and c >= 0:
                            matrix[:, r, c] += law.a[:, row, column]
                continue
            first = self.layout.currents[element.name]
            span = slice(first, first + len(at))
            matrix[:, span, span] = law.b
            largest[:, span] = np.maximum(np.abs(law.a).max(axis=2), np.abs(law.b).max(axis=2) / REFERENCE)
            for column, c in enumerate(at):
                if c >= 0:
                    largest[:, c] = np.maximum(largest[:, c], 1.0 / REFERENCE)
                    matrix[:, span, c] += law.a[:, :, column]
                    matrix[:, c, first + column] = 1.0
            if element.name in self.sources:
                acts = self.omega == 0.0 if element.part.steady else 1.0
                matrix[:, first, size + n_d + self.sources.index(element.name)] = -law.scale[:, 0] * acts
        for node in self.ties:
            matrix[0, nodes[node], nodes[node]] += 1.0 / REFERENCE
            largest[0, nodes[node]] = max(largest[0, nodes[node]], 1.0 / REFERENCE)
        if self._frame is not None:
            self._onward = matrix[:, :n_node, :size].copy()
            mixed = ~self._frame.identity
            matrix[mixed, :n_node] = self._frame.b[mixed] @ matrix[mixed, :n_node]
            matrix[:, :n_node, :n_node] += self._frame.a
            inside = np.maximum(self._frame.largest, np.abs(self._frame.a).max(axis=2, initial=0.0))
            largest[:, :n_node] = np.maximum(largest[:, :n_node], inside)
            largest[mixed, :n_node] = (np.abs(self._frame.b[mixed]) @ largest[mixed, :n_node, None])[:, :, 0]
        self.largest = largest[:, :n_d].copy()  # as a frame: of what was added up at each node
        largest[:, :n_d] = np.maximum(largest[:, :n_d], 1.0 / REFERENCE)
        return Equations(matrix, largest, own_nodes, n_d, self.omega)

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
        ndarray, complex, (n_frequency, n_unknown): node voltages [V] and part currents [A], placed by `layout`.
        """
        given = np.concatenate([voltage, current, source], axis=1)
        own = np.concatenate([voltage, np.einsum("kxg,kg->kx", self._recover, given)], axis=1)
        if self._frame is None:
            return own
        outward = np.einsum("knu,ku->kn", self._onward, own)
        outward[:, :current.shape[1]] += current
        inside = self._frame.unknowns(own[:, :outward.shape[1]], outward, np.zeros((len(own), 0)))
        return np.concatenate([own, inside[:, outward.shape[1]:]], axis=1)

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
        n_d, given = len(self.device_nodes), 2 * len(self.device_nodes) + len(self.sources)
        if column < n_d:
            row = np.zeros((len(self.omega), given), complex)
            row[:, column] = 1.0
            return row
        if column < self._own:
            return self._recover[:, column - n_d]
        n_node = len(self._frame.device_nodes)
        own = np.zeros((len(self.omega), self._own, given), complex)
        own[:, :n_d, :n_d] = np.eye(n_d)
        own[:, n_d:] = self._recover
        outward = self._onward @ own
        outward[:, :n_d, n_d:2 * n_d] += np.eye(n_d)
        inside = self._frame.row(column - self._own + n_node)
        return np.einsum("kg,kgr->kr", inside, np.concatenate([own[:, :n_node], outward], axis=1))

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
