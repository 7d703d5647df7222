"""What the solver asks of a nonlinear device, and nothing more.

A device is a set of branches between its nodes. For whole waveforms of the branch voltages it gives, for every
branch, a current i [A], a charge q [C] and a delayed current t [A] (which reaches the circuit `delay` seconds
later), with their derivatives. Branch currents go from the branch's first node through the device to its second, so
charge conservation holds by construction. Everything linear inside the device (fixed resistances, package) is
handed over as linear parts.

The compiled side has one fixed shape, so that the solver can call any device by its address:

    evaluate(v, p, i, q, t, di, dq, dt)
        v, i, q, t: (n_branch, n_time) C-contiguous float64. [V], [A], [C], [A]
        p: packed parameters, (n_parameter,).
        di, dq, dt: (n_branch, n_branch, n_time); row = current or charge, column = branch voltage. [S], [F], [S]
    Only the entries named in `couples` are written; the caller has set the rest to zero.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numba import types

from ..linear.part import Part

BOLTZMANN = 1.380649e-23  # [J/K], exact, SI 2019
CHARGE = 1.602176634e-19  # [C], exact, SI 2019
K_OVER_Q = BOLTZMANN / CHARGE  # [V/K]
ZERO_CELSIUS = 273.15  # [K]

_row, _matrix, _cube = types.float64[::1], types.float64[:, ::1], types.float64[:, :, ::1]
EVALUATE = types.void(_matrix, _row, _matrix, _matrix, _matrix, _cube, _cube, _cube)

_p = types.CPointer(types.float64)
ADDRESS_SIGNATURE = types.void(_p, _p, _p, _p, _p, _p, _p, _p, types.int64)  # the same by address, and n_time


@dataclass(frozen=True)
class Inside:
    """A linear part that belongs to a device: its name, the part, and the device's nodes it joins."""

    name: str
    part: Part
    nodes: tuple[str, ...]


@dataclass(frozen=True)
class Rating:
    """One quantity held against a limit of the model file.

    value, limit : in `unit`; limit None when the model file states none. `exceeded` is decided by the device.
    """

    meaning: str
    value: float
    limit: float | None
    unit: str
    exceeded: bool


class Device(ABC):
    """A nonlinear device. Subclasses are frozen dataclasses of parameters (data-sheet names, SI units).

    kind : the word in a circuit file ("bjt").
    terminals : names of the pins, in order; `optional` of them may be left unconnected (then: ground).
    couples : which derivatives are not zero: pairs (row, column) of branch numbers for i, q and t.
    evaluate : the compiled function of signature EVALUATE; `.py_func` is the plain one.
    address : of a C function of ADDRESS_SIGNATURE that wraps `evaluate`.
    common : the pin that voltages and impedances of the others are referred to in reports.
    main_pin : the pin whose voltage and current are drawn.
    """

    kind: ClassVar[str]
    terminals: ClassVar[tuple[str, ...]]
    optional: ClassVar[tuple[str, ...]] = ()
    couples: ClassVar[dict[str, tuple[tuple[int, int], ...]]]
    evaluate: ClassVar[Callable]
    address: ClassVar[int]
    common: ClassVar[str]
    main_pin: ClassVar[str]

    temperature: float
    thermal_resistance: float

    @property
    def heating(self) -> float:
        """By how much the junction is hotter than its surroundings for each watt of its own heat. [K/W]"""
        return self.thermal_resistance

    @abstractmethod
    def branches(self) -> tuple[tuple[str, str], ...]:
        """(from, to) of each branch: names of terminals or of the device's own inner nodes.

        A branch whose ends are one node has no effect (a base resistance of 0 ohm)."""

    @abstractmethod
    def inside(self) -> tuple[Inside, ...]:
        """Linear parts of the device: fixed resistances, package."""

    @abstractmethod
    def packed(self) -> np.ndarray:
        """Parameters at `temperature`, in the order that `evaluate` reads; float64, 1-D."""

    @abstractmethod
    def junctions(self) -> np.ndarray:
        """Per branch, what the solver needs to limit its steps; shape (n_branch, 2): slope voltage n kT/q [V]
        (0: not a junction; negative: conducts for negative branch voltage) and the critical voltage [V]."""

    @property
    @abstractmethod
    def delay(self) -> float:
        """By how much the `t` currents lag. [s]"""

    @abstractmethod
    def at(self, temperature: float) -> "Device":
        """The same device with its junction at another temperature. [K]"""

    @abstractmethod
    def conduction_current(self, current: np.ndarray) -> np.ndarray:
        """The current whose pulses have a conduction angle, (n_time,), from the resistive branch currents i + t,
        (n_branch, n_time); positive in the direction of normal conduction. [A]"""

    @abstractmethod
    def ratings(self, branch_voltage: np.ndarray, pin_voltage: dict[str, np.ndarray],
                pin_current: dict[str, np.ndarray], dissipation: float) -> list[Rating]:
        """What the waveforms reach, against the model file's limits. Waveforms over one period [V], [A], [W]."""

    def law(self, voltage: np.ndarray, packed: np.ndarray | None = None) -> tuple[np.ndarray, ...]:
        """i, q, t, di, dq, dt as `evaluate` fills them, at branch voltages (n_branch, n_point) [V]; `packed` saves
        packing the parameters again."""
        voltage = np.ascontiguousarray(voltage, float)
        n, points = voltage.shape
        rows = [np.zeros((n, points)) for _ in range(3)]
        slopes = [np.zeros((n, n, points)) for _ in range(3)]
        type(self).evaluate(voltage, self.packed() if packed is None else packed, *rows, *slopes)
        return (*rows, *slopes)

    def warnings(self) -> list[str]:
        """Sentences on what is accepted though it is out of the ordinary."""
        return []
