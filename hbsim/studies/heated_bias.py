"""A single device on ideal DC sources, its junctions as hot as its own heat makes them.

At each bias T = T_ambient + R_th sum(V I), V and I at the pins, with the device's own law at T. Where there is more
than one such temperature it is the lowest: the one that a device reaches when its sources are switched on while it is
cold and stay. Where there is none it runs away.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..devices.temperature import HIGHEST
from ..errors import Refusal
from .bias import Bias, Biased

_SETTLED = 1e-6  # a Newton step so short leaves an error of its square. [K]
_BESIDE = 1e-3  # of a difference: the currents' rounding, 1e-11, moves the slope by less than a millionth. [K]
_SAME_SLOPE = 0.1  # within so short a step currents change by less than 1 %, and the slope before it serves. [K]
_LONGEST = 60.0  # a step into the heat. [K]
_MOST = 100  # steps
RUNS_AWAY = f"it runs away: no junction temperature below {HIGHEST:.0f} K is in balance with its own heat"
NO_BIAS = "no DC bias is found"


class HeatedRow(NamedTuple):
    """A row of biases; what is not solved is not-a-number.

    nodes : ndarray, (n_point, n_device_node). [V]
    amps : ndarray, (n_point, n_source), out of each source. [A]
    kelvins : ndarray, (n_point,), of the junctions. [K]
    reasons : dict, number of an unsolved point -> why, in words
    """

    nodes: np.ndarray
    amps: np.ndarray
    kelvins: np.ndarray
    reasons: dict[int, str]


def heated_sweep(bias: Bias, values: np.ndarray, near: np.ndarray | None = None) -> HeatedRow:
    """Solve a row of biases of a device that heats itself.

    Parameters
    ----------
    bias : Bias
        Its device's `temperature` is that of the surroundings, its `heating` the thermal resistance.
    values : ndarray, (n_point, n_source)
        Voltage of each source, or its current where it is a current source. [V], [A]
    near : ndarray, (n_point,), or None
        Temperatures near by, of nearly the same device, that are followed; else each point begins cold. [K]
    """
    nodes = np.full((len(values), len(bias.system.network.device_nodes)), np.nan)
    amps, kelvins = np.full(values.shape, np.nan), np.full(len(values), np.nan)
    reasons, start = {}, None
    for point, row in enumerate(values):
        begin = bias.device.temperature if near is None or not np.isfinite(near[point]) else near[point]
        found = _Heated(bias, row, start).settle(begin)
        if isinstance(found, str):
            reasons[point] = found
            continue
        (nodes[point], _, amps[point]), kelvins[point] = found
        start = nodes[point]
    return HeatedRow(nodes, amps, kelvins, reasons)


class _Heated:
    """One bias over temperature."""

    def __init__(self, bias: Bias, row: np.ndarray, start: np.ndarray | None) -> None:
        self._bias, self._row, self._start = bias, row, start

    def _at(self, kelvins: float) -> tuple[Biased, float] | None:
        """The bias with the junctions at a temperature, and by how much the heat would make them hotter. [K]"""
        device = self._bias.device
        try:
            parameters = device.at(kelvins).packed()
        except Refusal:  # beyond what the laws reach
            return None
        found = self._bias.solve(self._row, self._start, parameters)
        if found is None:
            return None
        self._start = found.nodes
        return found, device.temperature + device.heating * found.heat - kelvins

    def settle(self, kelvins: float) -> tuple[Biased, float] | str:
        """The lowest balance from a temperature up, or why there is none.

        Newton steps. From cold the difference is above zero; as long as it is bent upward, as exponentials are, a step
        ends short of the first balance. Where it is bent downward a step may pass the balance, and turns back between
        the two.
        """
        below, above, slope, move = -np.inf, np.inf, 0.0, np.inf
        for _ in range(_MOST):
            here = self._at(kelvins)
            if here is None:
                return NO_BIAS if kelvins == self._bias.device.temperature else RUNS_AWAY
            found, error = here
            if move < _SETTLED:
                return found, kelvins
            if error > 0 and kelvins >= HIGHEST:
                return RUNS_AWAY
            if move > _SAME_SLOPE:
                beside = self._at(kelvins + _BESIDE)
                if beside is None:
                    return RUNS_AWAY
                slope = (beside[1] - error) / _BESIDE
            below, above = (kelvins, above) if error > 0 else (below, kelvins)
            aim = kelvins + np.clip(-error / slope if slope < 0 else np.copysign(_LONGEST, error), -_LONGEST, _LONGEST)
            if not below <= aim <= above:
                aim = (below + above) / 2
            aim = min(float(aim), HIGHEST)
            move, kelvins = abs(aim - kelvins), aim
        return RUNS_AWAY
