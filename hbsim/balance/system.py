"""One circuit made ready for the compiled balance: network, devices, transforms and room to work in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError

from ..devices.contract import Device
from ..linear.network import GROUND, Element, Network
from .clusters import Clusters, find_clusters, one_cluster
from .equations import Devices, Net, Work, currents, node_currents, residual
from .krylov import no_room, room, to_nodes, to_rows
from .linearised import factor, linearise, solve_linear
from .native import lapack_addresses, law_address
from .newton import BALANCED, SINGULAR, STALLED, UNSOLVED, damped_step, march, newton, refine
from .regime import MOST_WHOLE, quicker_clusters
from .spectrum import samples_for, transform

_FORCING = 1e-3  # linear residual left in a Newton step: smaller costs iterations and saves no steps (measured)
_CLOSE = 1e-9  # the same where a solution itself is wanted, not a step
_UPDATES = 16  # of a factored Jacobian, before they are begun anew
_MOST_ELIMINATIONS = 8  # steps the iteration may fail to find before it is given up for the whole matrix


@dataclass(frozen=True)
class Mounted:
    """A device and the circuit node at each of its pins."""

    name: str
    device: Device
    pins: dict[str, str]

    def node(self, local: str) -> str:
        """Circuit node of a pin, or of one of the device's own inner nodes."""
        return self.pins[local] if local in self.pins else f"{self.name}.{local}"

    def elements(self) -> list[Element]:
        """The device's linear parts, as elements of the circuit."""
        return [Element(f"{self.name}.{inner.name}", inner.part, tuple(self.node(n) for n in inner.nodes))
                for inner in self.device.inside()]

    def branches(self) -> list[tuple[str, str]]:
        """Circuit nodes of each branch."""
        return [(self.node(start), self.node(end)) for start, end in self.device.branches()]

    def conducting(self) -> list[tuple[str, str]]:
        """Circuit nodes of each branch that carries current at DC."""
        rows = {row for kind in "it" for row, _ in self.device.couples[kind]}
        return [ends for row, ends in enumerate(self.branches()) if row in rows]


def device_nodes(mounted: Sequence[Mounted]) -> list[str]:
    """Nodes that the balance is solved at: every end of a branch but ground."""
    ends = [node for device in mounted for start, end in device.branches() if start != end for node in (start, end)]
    return [node for node in dict.fromkeys(ends) if node != GROUND]


class System:
    """What one solve needs, for one network and one set of harmonics.

    Parameters
    ----------
    network : Network
        Condensed onto `device_nodes(mounted)`, at harmonics 0..K.
    mounted : sequence of Mounted
    samples : int or None
        Time samples a period; None takes `samples_for(K)`.
    """

    def __init__(self, network: Network, mounted: Sequence[Mounted], samples: int | None = None) -> None:
        self.network, self.mounted = network, tuple(mounted)
        self.harmonics = len(network.omega) - 1
        self.samples = samples or samples_for(self.harmonics)
        self.transform = transform(self.harmonics, self.samples)
        self.net = Net(network.a, network.b, network.identity, network.omega)
        self.devices = _flatten(self.mounted, network.device_nodes, network.omega)
        self._make_room(quicker_clusters(*self.shape, self.devices))

    def _make_room(self, clusters: Clusters | None) -> None:
        """Room to work in: for the Jacobian by clusters, or as a whole without any."""
        whole = clusters is None
        self.krylov = no_room() if whole else room(self.net, clusters, _FORCING)
        self.work = _room(self.devices, self.harmonics, self.samples, whole, clusters or one_cluster(*self.shape))
        self._lapack = lapack_addresses()
        self.eliminations = 0

    def keep_jacobian(self, whole: bool) -> None:
        """Keep the Jacobian as a whole or by clusters from here on, whatever regime.py thinks quicker."""
        self._make_room(None if whole else find_clusters(*self.shape, self.devices))

    @property
    def keeps_whole(self) -> bool:
        """Whether the Jacobian is kept as one matrix."""
        return len(self.krylov.tolerance) == 0

    @property
    def shape(self) -> tuple[int, int]:
        """Of the unknowns: (n_device_node, 2 K + 1)."""
        return len(self.network.device_nodes), 2 * self.harmonics + 1

    def at_rest(self) -> "System":
        """The same circuit at DC alone."""
        only_dc = System.__new__(System)
        only_dc.network, only_dc.mounted = self.network, self.mounted
        only_dc.harmonics, only_dc.samples = 0, 1
        only_dc.transform = transform(0, 1)
        only_dc.net = Net(*(np.ascontiguousarray(item[:1]) for item in self.net))
        only_dc.devices = self.devices._replace(late=np.ascontiguousarray(self.devices.late[:, :1]))
        only_dc._make_room(quicker_clusters(*only_dc.shape, only_dc.devices))
        return only_dc

    def excitation(self, source: np.ndarray) -> np.ndarray:
        """Right-hand side of the balance, (K + 1, n), for source voltages (K + 1, n_source). [A], [V]"""
        return np.einsum("kns,ks->kn", self.network.c[:len(source)], source)

    def parameters(self, devices: Sequence[Device] | None = None) -> np.ndarray:
        """Packed parameters of all devices, one after the other."""
        packed = [d.packed() for d in (devices or [m.device for m in self.mounted])]
        return np.concatenate(packed) if packed else np.zeros(1)

    def newton(self, x: np.ndarray, c: np.ndarray, parameters: np.ndarray, most_steps: int = 40, h: float = 0.0,
               x_ref: np.ndarray | None = None) -> tuple[int, int, float]:
        """Balance x in place; (stop, steps, error), see newton.py."""
        x_ref = x if x_ref is None else x_ref
        taken = 0
        while True:
            stop, steps, error = newton(x, c, parameters, h, x_ref, most_steps - taken, self.net, self.devices,
                                        self.transform, self._lapack, self.work, self.krylov)
            taken += steps
            if stop != UNSOLVED:
                return stop, taken, error
            if self.eliminations >= _MOST_ELIMINATIONS and x.size <= MOST_WHOLE:
                self.keep_jacobian(whole=True)
                continue
            stop = self._eliminated_step(x, c, parameters, h, x_ref)
            taken += 1
            if stop != BALANCED:
                return stop, taken, error

    def _eliminated_step(self, x: np.ndarray, c: np.ndarray, parameters: np.ndarray, h: float,
                         x_ref: np.ndarray) -> int:
        """One damped step where the iteration left off: BALANCED when it was taken, else why not."""
        work = self.work
        self.eliminations += 1
        _, squares = residual(x, c, parameters, h, x_ref, self.net, self.devices, self.transform, work)
        linearise(h, self.net, self.devices, self.transform, work, self.krylov)
        step = self._eliminated(-work.residual)
        if not np.isfinite(step).all():
            return SINGULAR
        work.step[:] = step
        share, _, _ = damped_step(x, squares, c, parameters, h, x_ref, self.net, self.devices, self.transform, work)
        return BALANCED if share > 0.0 else STALLED

    def _eliminated(self, right: np.ndarray) -> np.ndarray:
        """J^-1 right, (n, rows), from the pieces that `linearise` left; not a number where J is singular."""
        # scipy.sparse takes some 50 ms to import, and few circuits come here
        from .direct import matrix, solver
        work, result, rows = self.work, np.full(self.shape, np.nan), np.zeros(right.size)
        to_rows(right, work.clusters, self.krylov, rows)
        try:
            to_nodes(solver(matrix(work.clusters, self.krylov))(rows), work.clusters, result)
        except LinAlgError:
            pass
        return result

    def linearised(self, x: np.ndarray, c: np.ndarray, parameters: np.ndarray) -> tuple[float, np.ndarray]:
        """Current error and residual, (n, rows), at x; `solved` then solves with the Jacobian there."""
        error, _ = residual(x, c, parameters, 0.0, x, self.net, self.devices, self.transform, self.work)
        linearise(0.0, self.net, self.devices, self.transform, self.work, self.krylov)
        self._factored = factor(self._lapack, self.work, self.krylov)
        return error, self.work.residual.copy()

    def solved(self, right: np.ndarray) -> np.ndarray:
        """J^-1 right, (n, rows), with the Jacobian of the last `linearised`; not a number where it is singular."""
        self.work.step[:] = right
        if not self.keeps_whole:
            self.krylov.tolerance[0] = _CLOSE
            found = self._factored and solve_linear(self._lapack, self.work, self.krylov)
            self.krylov.tolerance[0] = _FORCING
            return self.work.step.copy() if found else self._eliminated(right)
        if not self._factored:
            return np.full(self.shape, np.nan)
        solve_linear(self._lapack, self.work, self.krylov)
        return self.work.step.copy()

    def march(self, xs: np.ndarray, cs: np.ndarray, parameters: np.ndarray, flows: np.ndarray, stops: np.ndarray,
              steps: np.ndarray, errors: np.ndarray, most_steps: int = 40) -> int:
        """A row of points in place; see newton.py."""
        first = 0
        while True:
            point = march(xs, cs, parameters, most_steps, first, flows, stops, steps, errors, self.net, self.devices,
                          self.transform, self._lapack, self.work, self.krylov)
            if point == len(xs) or stops[point] != UNSOLVED:
                return point
            stops[point], more, errors[point] = self.newton(xs[point], cs[point], parameters, most_steps)
            if stops[point] != BALANCED and point >= 1:
                xs[point] = xs[point - 1]
                stops[point], last, errors[point] = self.newton(xs[point], cs[point], parameters, most_steps)
                more += last
            steps[point] += more
            if stops[point] != BALANCED:
                return point
            node_currents(self.devices, self.work.total, flows[point])
            first = point + 1

    def flows(self, x: np.ndarray, parameters: np.ndarray) -> np.ndarray:
        """Currents out of every device node into the devices at x, real form (n, rows). [A]"""
        result = np.zeros(self.shape)
        currents(x, parameters, self.net, self.devices, self.transform, self.work)
        node_currents(self.devices, self.work.total, result)
        return result

    def refine(self, xs: np.ndarray, starts: np.ndarray, cs: np.ndarray, parameters: np.ndarray, flows: np.ndarray,
               stops: np.ndarray, steps: np.ndarray, errors: np.ndarray, most_steps: int = 40) -> None:
        """Points that have their own starts, in place; see newton.py."""
        refine(xs, starts, cs, parameters, most_steps, flows, stops, steps, errors, self.net, self.devices,
               self.transform, self._lapack, self.work, self.krylov)
        for point in np.flatnonzero(stops == UNSOLVED):
            xs[point] = starts[point]
            stops[point], more, errors[point] = self.newton(xs[point], cs[point], parameters, most_steps)
            steps[point] += more
            if stops[point] == BALANCED:
                node_currents(self.devices, self.work.total, flows[point])


def _flatten(mounted: Sequence[Mounted], nodes: Sequence[str], omega: np.ndarray) -> Devices:
    number = {node: i for i, node in enumerate(nodes)} | {GROUND: -1}
    ends, junctions, slots, waves = [], [], [], []
    branch_start, parameter_start, slot_start = [0], [0], [0]
    for d, item in enumerate(mounted):
        first, n_b = branch_start[-1], len(item.device.branches())
        # a branch whose ends are one node touches nothing
        ends += [(-1, -1) if start == end else (number[start], number[end]) for start, end in item.branches()]
        junctions.append(item.device.junctions())
        couples = item.device.couples
        for row, column in dict.fromkeys(pair for kind in "iqt" for pair in couples[kind]):
            wave_of = []
            for number_of_kind, kind in enumerate("iqt"):
                if (row, column) in couples[kind]:
                    wave_of.append(len(waves))
                    waves.append((d, number_of_kind, row * n_b + column))
                else:
                    wave_of.append(-1)
            slots.append((first + row, first + column, *wave_of))
        branch_start.append(first + n_b)
        slot_start.append(len(slots))
        parameter_start.append(parameter_start[-1] + len(item.device.packed()))
    ends_array = np.array(ends, np.int64).reshape(-1, 2)
    slots_array = np.array(slots, np.int64).reshape(-1, 5)
    waves_array = np.array(waves, np.int64).reshape(-1, 3)
    columns = [np.ascontiguousarray(slots_array[:, i]) for i in range(5)]
    return Devices(
        np.array([law_address(type(m.device)) for m in mounted], np.int64), np.array(branch_start),
        np.ascontiguousarray(ends_array[:, 0]), np.ascontiguousarray(ends_array[:, 1]),
        np.array(parameter_start[:-1], np.int64),
        np.exp(-1j * np.outer([m.device.delay for m in mounted], omega)),
        np.ascontiguousarray(np.concatenate(junctions)) if junctions else np.zeros((0, 2)),
        np.array(slot_start), *columns, *(np.ascontiguousarray(waves_array[:, i]) for i in range(3)))


def _room(devices: Devices, harmonics: int, samples: int, whole: bool, clusters: Clusters) -> Work:
    n, rows, n_branch = len(clusters.node), 2 * harmonics + 1, len(devices.branch_from)
    n_device, n_wave = len(devices.address), len(devices.wave_device)
    widest = int(np.diff(devices.branch_start).max(initial=0)) ** 2
    size = rows * n
    whole_size = size if whole else 0
    slopes = (n_device, widest, samples)
    shapes = {
        "u": (n_branch, samples), "iqt": (3, n_branch, samples), "di": slopes, "dq": slopes, "dt": slopes,
        "spectrum": (n_branch, rows), "branch": (3, n_branch, rows), "total": (n_branch, rows),
        "slopes": (n_wave, samples), "coefficient": (n_wave, 2 * rows), "two_sided": (2, n_wave, 2 * rows - 1),
        "slot": (rows + 1, rows + 1), "row": (3, max(rows, n)), "residual": (n, rows), "scale": (n,), "largest": (n,),
        "extent": (n, harmonics + 1), "jacobian": (whole_size, whole_size), "block": (2 * n, whole_size),
        "step": (n, rows), "trial": (n, rows), "change": (n_branch, samples), "history": (_UPDATES, size),
        "followers": (_UPDATES, size), "lengths": (_UPDATES,),
    }
    return Work(pivots=np.zeros(whole_size, np.int32), factorisations=np.zeros(1, np.int64),
                kept=np.full(1, -1), clusters=clusters,
                **{name: np.zeros(shape) for name, shape in shapes.items()})
