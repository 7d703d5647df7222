"""Junction diode: junction_current current, series resistance, diffusion and depletion charge, package.

Sources: S. M. Sze and K. K. Ng, Physics of Semiconductor Devices, 3rd ed., Wiley, 2007, ch. 2; parameters and
temperature laws as in G. Massobrio and P. Antognetti, Semiconductor Device Modeling, 2nd ed., McGraw-Hill, 1993,
ch. 1 (both from memory). EG and XTI are divided by N in IS(T), so that the voltage at a constant current runs towards
EG, not N EG, in the cold.

    anode --[series_inductance]-- chip anode --[RS]-- a --|>|-- cathode, case_capacitance from anode to cathode

Left out: breakdown (VRM is only watched), recombination current, high injection, noise.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numba import carray, cfunc, config, njit

from ..linear.lumped import Capacitor, Inductor, Resistor
from ..quantities import quantity
from . import temperature as laws
from .contract import ADDRESS_SIGNATURE, EVALUATE, Device, Inside, Rating
from .junction import critical_voltage, depletion_constants, depletions, junction_currents
from .limits import check_parameters, rating

_N_SCALAR = 3  # packed parameters before those of the depletion charge
_N_PACKED = _N_SCALAR + 7


@njit(EVALUATE, cache=True)
def evaluate(v, p, i, q, t, di, dq, dt):
    """Fill current, charge and their slopes at every time sample (shapes: contract.py)."""
    IS, per_n, TT = p[0], p[1], p[2]  # [A], 1 / (N V_T) [1/V], [s]
    depletions(v[0], 1.0, p, _N_SCALAR, q[0], dq[0, 0])
    if IS > 0.0:
        junction_currents(v[0], 1.0, IS, per_n, i[0], di[0, 0])
    else:
        i[0, :] = 0.0
        di[0, 0, :] = 0.0
    t[0, :] = 0.0
    for n in range(v.shape[1]):
        q[0, n] += TT * i[0, n]
        dq[0, 0, n] += TT * di[0, 0, n]


if config.DISABLE_JIT:
    _ADDRESS = 0  # the solver then calls `evaluate` itself
else:
    @cfunc(ADDRESS_SIGNATURE, cache=True)
    def _evaluate_at(v, p, i, q, t, di, dq, dt, n_time):
        wave, slope = (1, n_time), (1, 1, n_time)
        evaluate(carray(v, wave), carray(p, (_N_PACKED,)), carray(i, wave), carray(q, wave), carray(t, wave),
                 carray(di, slope), carray(dq, slope), carray(dt, slope))

    _ADDRESS = _evaluate_at.address


@dataclass(frozen=True)
class Diode(Device):
    """Junction diode under its published parameter names; SI units, temperatures in kelvin.

    Parameters
    ----------
    See `hbsim.quantities.quantities(Diode)`: name -> unit, range and meaning of each. IS = 0 leaves the charge alone
    (a pure varactor). A limit of None is not stated.

    Raises
    ------
    Refusal
        A parameter outside its range.
    """

    IS: float = quantity("A", 1e-14, "saturation current; 0: charge only", minimum=0)
    N: float = quantity("1", 1.0, "emission coefficient", minimum=0.5, maximum=5)
    RS: float = quantity("ohm", 0.0, "series resistance", minimum=0)
    TT: float = quantity("s", 0.0, "transit time: charge stored per current", minimum=0)
    CJO: float = quantity("F", 0.0, "depletion capacitance at 0 V", minimum=0)
    VJ: float = quantity("V", 1.0, "built-in voltage", minimum=0, above=True)
    M: float = quantity("1", 0.5, "grading exponent: 1/2 abrupt, 1/3 linearly graded", minimum=0, maximum=0.9)
    FC: float = quantity("1", 0.5, "share of VJ where depletion turns straight", minimum=0, maximum=0.9999)
    EG: float = quantity("eV", 1.11, "energy gap in IS(T)", minimum=0, above=True)
    XTI: float = quantity("1", 3.0, "temperature exponent of IS")
    TNOM: float = quantity("K", 300.15, "temperature of extraction", minimum=laws.LOWEST, maximum=laws.HIGHEST)
    temperature: float = quantity("K", 300.15, "junction, or ambient when it heats itself", minimum=laws.LOWEST,
                                  maximum=laws.HIGHEST)
    thermal_resistance: float = quantity("K/W", 0.0, "junction to ambient; 0: does not heat itself", minimum=0)
    VRM: float | None = quantity("V", None, "limit of the reverse voltage", minimum=0, above=True)
    IF_max: float | None = quantity("A", None, "limit of the forward current", minimum=0, above=True)
    dissipation_max: float | None = quantity("W", None, "limit of the dissipation", minimum=0, above=True)
    series_inductance: float = quantity("H", 0.0, "package: anode pin to chip", minimum=0)
    case_capacitance: float = quantity("F", 0.0, "package: between the pins", minimum=0)

    kind = "diode"
    terminals = ("anode", "cathode")
    common = "cathode"
    main_pin = "anode"
    couples = {"i": ((0, 0),), "q": ((0, 0),), "t": ()}
    evaluate = staticmethod(evaluate)
    address = _ADDRESS
    delay = 0.0

    def __post_init__(self) -> None:
        check_parameters(self)

    def _nodes(self) -> tuple[str, str]:
        """Node of the chip's anode and of the junction's p side."""
        chip = "chip anode" if self.series_inductance > 0 else "anode"
        return chip, "a" if self.RS > 0 else chip

    def branches(self) -> tuple[tuple[str, str], ...]:
        return ((self._nodes()[1], "cathode"),)

    def inside(self) -> tuple[Inside, ...]:
        chip, inner = self._nodes()
        found = []
        if self.RS > 0:
            found.append(Inside("RS", Resistor(resistance=self.RS), (chip, inner)))
        if self.series_inductance > 0:
            found.append(Inside("series_inductance", Inductor(inductance=self.series_inductance), ("anode", chip)))
        if self.case_capacitance > 0:
            found.append(Inside("case_capacitance", Capacitor(capacitance=self.case_capacitance), self.terminals))
        return tuple(found)

    def packed(self) -> np.ndarray:
        """IS [A], 1 / (N V_T) [1/V], TT [s] and the seven of the depletion charge, at `temperature`."""
        T = self.temperature
        current = self.IS * laws.current_ratio(T, self.TNOM, self.EG, self.XTI, self.N)
        c0, v0 = laws.depletion(self.CJO, self.VJ, self.M, T, self.TNOM)
        return np.concatenate([[current, 1 / (self.N * laws.thermal_voltage(T)), self.TT],
                               depletion_constants(c0, v0, self.M, self.FC)])

    def junctions(self) -> np.ndarray:
        if self.IS == 0:
            return np.zeros((1, 2))
        p = self.packed()
        return np.array([[1 / p[1], critical_voltage(p[0], 1 / p[1])]])

    def at(self, temperature: float) -> Diode:
        return dataclasses.replace(self, temperature=temperature)

    def conduction_current(self, current: np.ndarray) -> np.ndarray:
        """Current of the junction."""
        return current[0]

    def ratings(self, branch_voltage: np.ndarray, pin_voltage: dict[str, np.ndarray],
                pin_current: dict[str, np.ndarray], dissipation: float) -> list[Rating]:
        """Waveforms against VRM (on the junction), IF_max and dissipation_max."""
        return [
            rating("peak reverse voltage on the junction", (-branch_voltage[0]).max(), self.VRM, "V"),
            rating("peak forward current", pin_current["anode"].max(), self.IF_max, "A"),
            rating("average forward current", pin_current["anode"].mean(), self.IF_max, "A"),
            rating("average dissipation", dissipation, self.dissipation_max, "W"),
        ]
