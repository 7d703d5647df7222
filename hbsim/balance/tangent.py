"""The balance at a solution, linearised, in the terms that gradients are made of (gradient.py).

With a figure's slopes h against the unknowns u of the network and w against the device branch currents J_m
(figures.py), a quantity's r, ds and dJ_p (influence.py: what laws are off by, sources, device branch currents at the
same voltages), and what linear/sensitivity.py says of u,

    du = T (ds - r + S (G dV - dI)),    W (ds - r) = A dV + B dI,    t = T^T h,    w' = w - N^T S^T t

there follow, with the Jacobian J_V of the branch currents, and N that sums branch currents up at the nodes,

    F_p = B N dJ_p - W (ds - r)
    y_p = Re [t (ds - r) + w' dJ_p]
    y_x dx = Re [G S^T t dV + w' J_V dV]

Everything sampled is transposed as it is sampled, so that this is the gradient of what was solved, to rounding.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from ..errors import Refusal
from .differences import slope_of
from .equations import residual
from .figures import Figure, Slopes
from .influence import Influence, kept_of
from .linearised import linearise
from .solution import SteadyState
from .spectrum import real_form


@dataclass(frozen=True, eq=False)
class Reading:
    """A figure in the terms of the balance; see the head of this file.

    figure, slopes : what it is, and what it is read from
    by_form : (n, 2 K + 1), against the device-node voltages, their currents going along
    by_put : t, (K + 1, size)
    by_branch : w', (K + 1, n_branch)
    by_offset : (element, terminal) -> (K + 1,), against what laws with an admittance are off by, besides
    """

    figure: Figure
    slopes: Slopes
    by_form: np.ndarray
    by_put: np.ndarray
    by_branch: np.ndarray
    by_offset: dict[tuple[str, int], np.ndarray]


class Tangent:
    """The balance of a state, linearised: network, devices and Jacobian.

    Parameters
    ----------
    state : SteadyState

    Attributes
    ----------
    solved : function
        J^-1 times each of (m, n, 2 K + 1); with `transposed=True`, that of the transposed J.

    Raises
    ------
    Refusal
        J is singular: the state stands at the very edge of a jump.
    """

    def __init__(self, state: SteadyState) -> None:
        self._state, system = state, state.system
        self._transfer = kept_of(state).transfer
        parameters, work = system.parameters(), system.work
        residual(state.form, system.excitation(state.source), parameters, 0.0, state.form, system.net, system.devices,
                 system.transform, work)
        linearise(0.0, system.net, system.devices, system.transform, work, system.krylov)
        self._cubes = [[cube[d, :n * n].reshape(n, n, -1).copy() for cube in (work.di, work.dq, work.dt)]
                       for d, n in enumerate(np.diff(system.devices.branch_start))]
        self.solved = _solver(state)

    # -- figures -----------------------------------------------------------------------------------------------

    def reading(self, item: Figure) -> Reading:
        """A figure in the terms of the balance."""
        transfer, system, slopes = self._transfer, self._state.system, item.slopes(self._state)
        by_unknown: dict[int, np.ndarray] = {}
        by_offset = {}

        def add(node: str, h: np.ndarray) -> None:
            if node in transfer.nodes:
                unknown = transfer.nodes[node]
                by_unknown[unknown] = by_unknown.get(unknown, 0.0) + h

        for node, h in slopes.nodes.items():
            add(node, h)
        for (name, terminal), h in slopes.currents.items():
            law = system.network.relations[name]
            if law.b is not None:
                unknown = int(transfer.rows[name][terminal])
                by_unknown[unknown] = by_unknown.get(unknown, 0.0) + h
                continue
            by_offset[name, terminal] = h  # the current is a V, and moves with a too
            for column, node in enumerate(system.network.elements[name].nodes):
                add(node, h * law.a[:, terminal, column])
        by_put = np.zeros((system.harmonics + 1, transfer.size), complex)
        for h, row in zip(by_unknown.values(), transfer.answers(by_unknown)):
            by_put += h[:, None] * row
        by_branch = self._between(-by_put[:, :system.shape[0]])
        if slopes.branches is not None:
            by_branch = by_branch + slopes.branches
        by_form = real_form(transfer.load * by_put[:, :system.shape[0]].T.conj()) + self._through_devices(by_branch)
        return Reading(item, slopes, by_form, by_put, by_branch, by_offset)

    def _between(self, at_nodes: np.ndarray) -> np.ndarray:
        """(K + 1, n) -> (K + 1, n_branch): what stands at the start of each branch less what stands at its end."""
        padded = np.concatenate([at_nodes, np.zeros((len(at_nodes), 1))], axis=1)  # -1 is ground
        devices = self._state.system.devices
        return padded[:, devices.branch_from] - padded[:, devices.branch_to]

    def _at_nodes(self, of_branches: np.ndarray) -> np.ndarray:
        """(n_branch, m) -> (n, m): what leaves each node into the branches."""
        devices = self._state.system.devices
        result = np.zeros((self._state.system.shape[0] + 1, of_branches.shape[1]), of_branches.dtype)
        np.add.at(result, devices.branch_from, of_branches)
        np.add.at(result, devices.branch_to, -of_branches)
        return result[:-1]

    def _through_devices(self, by_branch: np.ndarray) -> np.ndarray:
        """w' J_V: from slopes against the branch currents, (K + 1, n_branch), to those against the node voltages, real
        form. Sample by sample, with transposed slopes: the transpose of what the Jacobian is made of."""
        system = self._state.system
        devices, transform, omega = system.devices, system.transform, system.network.omega[:, None]
        voltage = np.zeros((by_branch.shape[1], system.samples))
        for d, cubes in enumerate(self._cubes):
            span = slice(devices.branch_start[d], devices.branch_start[d + 1])
            w = by_branch[:, span]
            for cube, of_kind in zip(cubes, (w, 1j * omega * w, devices.late[d][:, None] * w)):
                samples = real_form(of_kind.T.conj()) @ transform.analysis.T
                voltage[span] += np.einsum("rcn,rn->cn", cube, samples)
        return self._at_nodes(voltage @ transform.synthesis.T)

    # -- quantities --------------------------------------------------------------------------------------------

    def put(self, item: Influence) -> np.ndarray:
        """ds - r, (K + 1, size)."""
        result = np.zeros((self._state.system.harmonics + 1, self._transfer.size), complex)
        for rows, off in item.offsets.values():
            for terminal, row in enumerate(rows):
                if row >= 0:
                    result[:, row] -= off[:, terminal]
        for number, name in enumerate(self._state.system.network.sources):
            result[:, self._transfer.rows[name][0]] += item.source[:, number]
        return result

    def unbalance(self, item: Influence, put: np.ndarray) -> np.ndarray:
        """dF/dp, (n, 2 K + 1), with what `put` gave."""
        current = self._at_nodes(item.branch.T)
        network = self._state.system.network
        unbalance = np.einsum("kij,jk->ki", network.b, current) - (self._transfer.condensed @ put[:, :, None])[:, :, 0]
        return real_form(unbalance.T)

    def outright(self, readings: Sequence[Reading], item: Influence, put: np.ndarray) -> np.ndarray:
        """y_p of each figure, (n_figure,), with what `put` gave: all device-node voltages held."""
        result = np.zeros(len(readings))
        state, base = self._state, self._state.description
        explicit = any(d.drive is not base.drive or d.ports is not base.ports or d.supplies is not base.supplies
                       for _, d in item.points)
        for number, reading in enumerate(readings):
            slope = np.vdot(reading.by_put.conj(), put) + np.vdot(reading.by_branch.conj(), item.branch)
            for (name, terminal), h in reading.by_offset.items():
                if name in item.offsets:
                    slope += h @ item.offsets[name].off[:, terminal]
            for source, h in reading.slopes.sources.items():
                slope += h @ item.source[:, state.system.network.sources.index(source)]
            result[number] = slope.real
            if explicit and reading.figure.reads_description:
                result[number] += slope_of(item.points, lambda d: reading.figure.value(state, d))
        return result


def _solver(state: SteadyState) -> Callable[..., np.ndarray]:
    """What gives J^-1, or J^-1 transposed, times each of (m, n, 2 K + 1), from what `linearise` left."""
    system, edge = state.system, "the state is at the very edge of a jump: there nothing has a slope"
    n, rows = system.shape
    if not system.keeps_whole:
        from scipy.sparse.linalg import splu  # as in direct.py, which few circuits need

        from .direct import matrix
        try:
            factored = splu(matrix(system.work.clusters, system.krylov))
        except RuntimeError:
            raise Refusal(edge) from None
        order = system.work.clusters.node

        def by_pieces(right: np.ndarray, transposed: bool = False) -> np.ndarray:
            ordered = right[:, order].transpose(2, 1, 0).reshape(n * rows, -1)
            found = factored.solve(ordered, trans="T" if transposed else "N").reshape(rows, n, -1)
            result = np.empty(right.shape)
            result[:, order] = found.transpose(2, 1, 0)
            return result

        return by_pieces
    if n == 0:
        return lambda right, transposed=False: right
    lu, pivots, info = lapack.dgetrf(system.work.jacobian)
    if info != 0:
        raise Refusal(edge)

    def whole(right: np.ndarray, transposed: bool = False) -> np.ndarray:
        if not len(right):
            return right
        columns = right.reshape(len(right), -1).T
        return lapack.dgetrs(lu, pivots, columns, trans=int(transposed))[0].T.reshape(right.shape)

    return whole
