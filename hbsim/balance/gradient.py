"""Exact gradients of a solved state: what each figure does when each quantity moves a little.

With the balance F(x, p) = 0 and a figure y(x, p), all of Jacobian, figure and dF/dp taken at the solution,

    dy/dp = y_p - y_x J^-1 F_p                            (implicit function theorem)

`gradient` solves J^T lambda = y_x, one back-substitution a figure for any number of quantities (the adjoint method:
Director and Rohrer, see linear/sensitivity.py); `sensitivities` solves J dx/dp = -F_p, one a quantity for any number of
figures. Both from the same pieces: y_x and y_p of a figure (figures.py), F_p and what else moves of a quantity
(influence.py), W and the rows of T of the network (linear/sensitivity.py). In these terms, a figure with slopes h
against the unknowns u of the network and w against the device branch currents J_m, and the change of u that

    du = T (-r + ds + S (G dV - dI)),    t = T^T h

says, has y_p = Re [t (ds - r) + w' dJ_p] and y_x dx = Re [G S^T t dV + w' J_V dV], w' = w - (S^T t of both ends).

A device that heats itself has its junction temperature as one more unknown: T - T_ambient - R_th H(x, T, p) = 0. Its
heat H is one more figure, its temperature one more quantity, and the temperatures are solved for after all else.

A quantity of the description moves everything that is derived from it. The number of harmonics and of samples stays.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.linalg import lapack

from ..describe.description import Description
from ..errors import Refusal, nearest
from .equations import residual
from .figures import ConversionLoss, DeviceHeat, Figure, OutputLevel, ReturnLoss, Slopes, SupplyCurrent
from .influence import Influence, given_quantities, influence, kept_of, slope_of
from .linearised import linearise
from .solution import SteadyState
from .spectrum import real_form


def figure(name: str, description: Description) -> Figure:
    """The figure of a column of a sweep's table: "output_dbm_2", "input_return_loss_db", "supply_amps_VCC", ...

    Raises
    ------
    Refusal
        There is no such column, or it has no slope.
    """
    known: dict[str, Figure] = {"conversion_loss_db": ConversionLoss(), "input_return_loss_db": ReturnLoss()}
    known |= {f"supply_amps_{supply}": SupplyCurrent(supply) for supply in description.supplies}
    if name in known:
        return known[name]
    stem, _, harmonic = name.rpartition("_")
    if stem == "output_dbm" and harmonic.isdecimal():
        return OutputLevel(int(harmonic))
    known["output_dbm_2"] = OutputLevel(2)
    raise Refusal(f"there is no figure '{name}'{nearest(name, known)}")


def gradient(state: SteadyState, figures: Mapping[str, Figure] | Sequence[str],
             addresses: Sequence[str] | None = None) -> dict[str, dict[str, float]]:
    """Slopes of some figures against any number of quantities: one back-substitution a figure.

    Parameters
    ----------
    state : SteadyState
    figures : mapping of str to Figure, or names as in a sweep's table (see `figure`)
    addresses : sequence of str or None
        Quantities; None: all that have a finite value and a slope here.

    Returns
    -------
    dict
        Name of the figure -> {address: slope}, in the figure's unit per unit of the quantity (SI; dBm for a power, deg
        for an angle, K for a temperature). The temperature of a device that heats itself is that of its surroundings.

    Raises
    ------
    Refusal
        An unknown figure or quantity, a quantity without a slope, or a state at the very edge of a jump.
    """
    named = _named(figures, state)
    moves = _Moves(state, addresses)
    tangent = _Tangent(state)
    readings = [tangent.reading(item) for item in (*named.values(), *moves.heats)]
    right = np.array([reading.by_form for reading in readings]).reshape(len(readings), *state.system.shape)
    adjoint = tangent.solved(right, transposed=True).reshape(len(readings), -1)
    columns = []
    for item in moves.all:
        put = tangent.put(item)
        columns.append(tangent.outright(readings, item, put) - adjoint @ tangent.unbalance(item, put).ravel())
    table, _ = moves.settled(np.array(columns).T.reshape(len(readings), len(moves.all)), len(named))
    return {name: dict(zip(moves.addresses, map(float, row))) for name, row in zip(named, table)}


@dataclass(frozen=True, eq=False)
class Sensitivities:
    """How a whole solution moves with each quantity.

    Attributes
    ----------
    forms : dict
        Address -> slope of the device-node voltages in real form, (n, 2 K + 1). [V] per unit of the quantity
    temperatures : dict
        Address -> {device that heats itself: slope of its junction temperature [K]}.
    """

    forms: dict[str, np.ndarray]
    temperatures: dict[str, dict[str, float]]
    _state: SteadyState = field(repr=False)
    _moves: _Moves = field(repr=False)
    _tangent: _Tangent = field(repr=False)
    _each: np.ndarray = field(repr=False)

    def of(self, figures: Mapping[str, Figure] | Sequence[str]) -> dict[str, dict[str, float]]:
        """Slopes of any number of figures, as `gradient` gives them; nothing is solved again."""
        named = _named(figures, self._state)
        table = _read(self._tangent, [*named.values(), *self._moves.heats], self._moves, self._each)
        table, _ = self._moves.settled(table, len(named))
        return {name: dict(zip(self._moves.addresses, map(float, row))) for name, row in zip(named, table)}


def sensitivities(state: SteadyState, addresses: Sequence[str] | None = None) -> Sensitivities:
    """How the solution moves with some quantities: one back-substitution a quantity, for any number of figures.

    Parameters and refusals as for `gradient`.
    """
    moves = _Moves(state, addresses)
    tangent = _Tangent(state)
    right = np.array([tangent.unbalance(item, tangent.put(item)) for item in moves.all])
    each = -tangent.solved(right.reshape(len(moves.all), *state.system.shape))
    heats = _read(tangent, moves.heats, moves, each)
    forms = each.reshape(len(each), -1).T
    table, warmer = moves.settled(np.concatenate([forms, heats]), len(forms))
    return Sensitivities(
        dict(zip(moves.addresses, table.T.reshape(-1, *state.system.shape))),
        {address: dict(zip(moves.heated, map(float, column))) for address, column in zip(moves.addresses, warmer.T)},
        state, moves, tangent, each)


def _named(figures: Mapping[str, Figure] | Sequence[str], state: SteadyState) -> dict[str, Figure]:
    if isinstance(figures, Mapping):
        return dict(figures)
    return {name: figure(name, state.description) for name in figures}


def _read(tangent: _Tangent, figures: Sequence[Figure], moves: _Moves, each: np.ndarray) -> np.ndarray:
    """Slopes of figures, (n_figure, n_move), from those of the solution, (n_move, n, 2 K + 1)."""
    readings = [tangent.reading(item) for item in figures]
    columns = [tangent.outright(readings, item, tangent.put(item)) for item in moves.all]
    outright = np.array(columns).T.reshape(len(readings), len(moves.all))
    by_form = np.array([reading.by_form for reading in readings]).reshape(len(readings), -1)
    return outright + by_form @ each.reshape(len(moves.all), -1).T


class _Moves:
    """All that moves: the quantities asked for, then the junction temperatures of devices that heat themselves."""

    def __init__(self, state: SteadyState, addresses: Sequence[str] | None) -> None:
        asked = []
        for address in given_quantities(state.description) if addresses is None else addresses:
            try:
                asked.append(influence(state, address))
            except Refusal:
                if addresses is not None:
                    raise
        self.asked = asked
        self.addresses = [item.address for item in asked]
        placed = state.description.devices
        self.heated = [name for name in placed if placed[name].part.heating > 0.0
                       or any(name in item.heating for item in asked)]
        self.heats = [DeviceHeat(name) for name in self.heated]
        self.all = asked + [influence(state, f"{name}.temperature") for name in self.heated]
        self._heat = np.array([heat.value(state, state.description) for heat in self.heats])
        self._heating = np.array([placed[name].part.heating for name in self.heated])

    def settled(self, table: np.ndarray, own: int) -> tuple[np.ndarray, np.ndarray]:
        """Slopes with the junctions at the temperature that their own heat gives them, from those with all junction
        temperatures as they are.

        Parameters
        ----------
        table : ndarray, (own + n_heated, n_move)
            `own` figures, and then the heat of each device.

        Returns
        -------
        slopes : ndarray, (own, n_asked)
        warmer : ndarray, (n_heated, n_asked)
            Of the junction temperatures. [K] per unit
        """
        n = len(self.asked)
        if not self.heated:
            return table, np.zeros((0, n))
        ambient, heating = (np.array([[getattr(item, what).get(name, 0.0) for item in self.asked]
                                      for name in self.heated]).reshape(-1, n) for what in ("temperature", "heating"))
        asked, by_temperature = table[:, :n], table[:, n:]
        asked = asked - by_temperature @ ambient  # what a device is given is where its temperature starts from
        right = ambient + heating * self._heat[:, None] + self._heating[:, None] * asked[own:]
        kept = np.eye(len(self.heated)) - self._heating[:, None] * by_temperature[own:]
        try:
            warmer = np.linalg.solve(kept, right)
        except np.linalg.LinAlgError:
            raise Refusal("a junction is at the very edge of thermal runaway: there nothing has a slope") from None
        return asked[:own] + by_temperature[:own] @ warmer, warmer


@dataclass(frozen=True, eq=False)
class _Reading:
    """A figure in the terms of the balance; see the head of this file.

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


class _Tangent:
    """The balance of a state, linearised: network, devices and Jacobian."""

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

    def reading(self, item: Figure) -> _Reading:
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
        return _Reading(item, slopes, by_form, by_put, by_branch, by_offset)

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
        """dF/dp, (n, 2 K + 1)."""
        current = self._at_nodes(item.branch.T)
        network = self._state.system.network
        unbalance = np.einsum("kij,jk->ki", network.b, current) - (self._transfer.condensed @ put[:, :, None])[:, :, 0]
        return real_form(unbalance.T)

    def outright(self, readings: Sequence[_Reading], item: Influence, put: np.ndarray) -> np.ndarray:
        """y_p of each figure, (n_figure,): with all device-node voltages held."""
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
    lu, pivots, info = lapack.dgetrf(system.work.jacobian)
    if info != 0:
        raise Refusal(edge)

    def whole(right: np.ndarray, transposed: bool = False) -> np.ndarray:
        if not right.size:
            return right
        return lapack.dgetrs(lu, pivots, right.reshape(len(right), -1).T, trans=int(transposed))[0].T.reshape(right.shape)

    return whole
