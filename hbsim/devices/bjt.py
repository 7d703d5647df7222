"""Bipolar transistor after Gummel and Poon, NPN and PNP, with base resistance, package and temperature.

Sources: H. K. Gummel and H. C. Poon, "An integral charge control model of bipolar transistors", Bell Syst. Tech. J.
49 (1970) 827-852; I. Getreu, Modeling the Bipolar Transistor, Tektronix, 1976; G. Massobrio and P. Antognetti,
Semiconductor Device Modeling, 2nd ed., McGraw-Hill, 1993; excess phase: P. B. Weil and L. P. McNamee, IEEE Trans.
Circuits Syst. 25 (1978) 114-116 (from memory, all four).

    pin base -- Lb -- B --[R_bb]-- b          b -> e, b -> c  the two junctions and the transport current
    pin collector -- Lc -- C -- RC -- c       B -> c          the part of CJC outside the base resistance
    pin emitter -- Le -- E -- RE -- e         s -> c          substrate junction, charge only

The package's three capacitances lie between the pins. Where texts differ, this is the form used: reciprocal Early
factor q1, factored q_b, I_f (not I_f / q_b) inside the growth of TF and Q_DE over q_b, v_bc of the inner junction
there, outer capacitance from B to c, temperature of IS not divided by NF, FC also for the substrate junction, and
the excess phase as an exact delay of I_f / q_b.
Left out: breakdown, quasi-saturation, noise, current of the substrate junction.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field

import numpy as np
from numba import carray, cfunc, config, njit, types

from ..errors import Refusal
from ..linear.lumped import Capacitor, Inductor, Resistor
from ..quantities import quantity
from . import temperature as laws
from .contract import ADDRESS_SIGNATURE, EVALUATE, Device, Inside, Rating
from .junction import critical_voltage, depletion_constants, depletions, junction_currents
from .limits import check_parameters, rating

_EARLY_ROOM = 0.05  # below it 1 / (1 - v_bc/VAF - v_be/VAR) goes on along its tangent: no bias of a real part
_KNEE_ROOM = 0.01  # floor of 1 + 4 q2, which is 1 - 4 IS/IKF at the least
_RB_SHARE = 1e-3  # R_bb stays above this share of RB: touched only at absurd currents, or with RBM > RB far reversed
_SERIES_BELOW = 0.02  # z^2 under which the base resistance is taken from its series: 0/0 at zero

_N_SCALAR = 22  # packed parameters before the four junctions


@njit(types.UniTuple(types.float64, 2)(types.float64), cache=True, error_model="numpy")
def crowding(y):
    """Share of RB - RBM that is left at the base current y IRB, and its slope. [1]

    3 (tan z - z) / (z tan^2 z), z = (sqrt(1 + (144/pi^2) y) - 1) / ((24/pi^2) sqrt(y)), in u = z^2; 1 for y <= 0.
    """
    if y <= 0.0:
        return 1.0, 0.0
    root = math.sqrt(1.0 + 144.0 / math.pi**2 * y)
    u = 36.0 * y / (1.0 + root) ** 2
    du_dy = 36.0 / (root * (1.0 + root) ** 2)
    if u < _SERIES_BELOW:
        share = 1.0 - u * (4 / 15 + u * (4 / 105 + u * (8 / 1575 + u * (4 / 6237 + u * (5528 / 70945875)))))
        slope = -(4 / 15 + u * (8 / 105 + u * (24 / 1575 + u * (16 / 6237 + u * (27640 / 70945875)))))
        return share, slope * du_dy
    z = math.sqrt(u)
    cot = math.cos(z) / math.sin(z)
    rest = 1.0 / z - cot
    dcot_dz = -1.0 - cot * cot
    return 3.0 * cot * rest, 1.5 / z * (dcot_dz * rest - cot * (1.0 / u + dcot_dz)) * du_dy


@njit(EVALUATE, cache=True, error_model="numpy")
def evaluate(v, p, i, q, t, di, dq, dt):
    """Fill currents, charges, delayed currents and their slopes at every time sample (shapes: contract.py)."""
    sign, IS = p[0], p[1]
    per_nf, per_nr = p[2], p[3]  # 1 / (NF V_T), 1 / (NR V_T) [1/V]
    per_bf, per_br = p[4], p[5]
    ISE, per_ne, ISC, per_nc = p[6], p[7], p[8], p[9]
    per_vaf, per_var, per_ikf, per_ikr = p[10], p[11], p[12], p[13]
    RB, RBM, per_irb = p[14], p[15], p[16]
    TF, XTF, per_vtf, ITF, TR = p[17], p[18], p[19], p[20], p[21]  # per_vtf: 1 / (1.44 VTF) [1/V]
    has_rb, has_growth = RB > 0.0, TF > 0.0 and XTF > 0.0
    floor_rb = _RB_SHARE * RB
    # exponentials and powers first, a whole waveform each: quicker; they wait in places that are written last
    junction_currents(v[0], sign, IS, per_nf, t[0], dt[0, 0])
    junction_currents(v[1], sign, IS, per_nr, t[1], dt[1, 1])
    if ISE > 0.0:
        junction_currents(v[0], sign, ISE, per_ne, i[0], di[0, 0])
    if ISC > 0.0:
        junction_currents(v[1], sign, ISC, per_nc, i[1], di[1, 1])
    if has_growth:  # exp(v_bc / (1.44 VTF)) - 1: the same continuation
        junction_currents(v[1], sign, 1.0, per_vtf, di[0, 1], dq[0, 1])
    depletions(v[0], sign, p, _N_SCALAR, q[0], dq[0, 0])
    depletions(v[1], sign, p, _N_SCALAR + 7, q[1], dq[1, 1])
    depletions(v[3], sign, p, _N_SCALAR + 14, q[3], dq[3, 3])
    depletions(v[4], sign, p, _N_SCALAR + 21, q[4], dq[4, 4])
    for n in range(v.shape[1]):
        v_be, v_bc = sign * v[0, n], sign * v[1, n]

        i_f, g_f = t[0, n], dt[0, 0, n]
        i_r, g_r = t[1, n], dt[1, 1, n]

        i_be, g_be = i_f * per_bf, g_f * per_bf
        if ISE > 0.0:
            i_be += i[0, n]
            g_be += di[0, 0, n]
        i_bc, g_bc = i_r * per_br, g_r * per_br
        if ISC > 0.0:
            i_bc += i[1, n]
            g_bc += di[1, 1, n]

        tff, dtff_be, dtff_bc = TF, 0.0, 0.0
        if has_growth and (i_f > 0.0 or ITF == 0.0):
            w = i_f / (i_f + ITF) if ITF > 0.0 else 1.0
            e, slope = 1.0 + di[0, 1, n], dq[0, 1, n]
            growth = TF * XTF * w * w
            tff += growth * e
            dtff_bc = growth * slope
            if ITF > 0.0:
                dtff_be = 2.0 * TF * XTF * w * e * (ITF / (i_f + ITF)) * (g_f / (i_f + ITF))

        room = 1.0 - v_bc * per_vaf - v_be * per_var
        if room >= _EARLY_ROOM:
            q1 = 1.0 / room
            dq1 = q1 * q1
        else:
            dq1 = 1.0 / (_EARLY_ROOM * _EARLY_ROOM)
            q1 = (2.0 * _EARLY_ROOM - room) * dq1
        under = 1.0 + 4.0 * (i_f * per_ikf + i_r * per_ikr)
        knee, dknee = math.sqrt(max(under, _KNEE_ROOM)), 0.0
        if under > _KNEE_ROOM:
            dknee = q1 / knee
        half = 0.5 * (1.0 + knee)
        qb = q1 * half
        per_qb = 1.0 / qb
        dqb_be = dq1 * per_var * half + dknee * g_f * per_ikf
        dqb_bc = dq1 * per_vaf * half + dknee * g_r * per_ikr

        forward, reverse = i_f * per_qb, i_r * per_qb
        df_be, df_bc = (g_f - forward * dqb_be) * per_qb, -forward * dqb_bc * per_qb
        dr_be, dr_bc = -reverse * dqb_be * per_qb, (g_r - reverse * dqb_bc) * per_qb
        t[0, n], t[1, n] = sign * forward, -sign * forward
        dt[0, 0, n], dt[0, 1, n] = df_be, df_bc
        dt[1, 0, n], dt[1, 1, n] = -df_be, -df_bc
        i[0, n], i[1, n] = sign * (i_be - reverse), sign * (i_bc + reverse)
        di[0, 0, n], di[0, 1, n] = g_be - dr_be, -dr_bc
        di[1, 0, n], di[1, 1, n] = dr_be, g_bc + dr_bc

        if has_rb:
            if per_irb > 0.0:
                share, slope = crowding((i_be + i_bc) * per_irb)
                dr_dbe, dr_dbc = (RB - RBM) * slope * per_irb * g_be, (RB - RBM) * slope * per_irb * g_bc
            else:
                share = per_qb
                dr_dbe, dr_dbc = (RBM - RB) * per_qb * per_qb * dqb_be, (RBM - RB) * per_qb * per_qb * dqb_bc
            r = RBM + (RB - RBM) * share
            if r < floor_rb:
                r, dr_dbe, dr_dbc = floor_rb, 0.0, 0.0
            current = v[2, n] / r
            i[2, n] = current
            di[2, 2, n] = 1.0 / r
            di[2, 0, n], di[2, 1, n] = -sign * current / r * dr_dbe, -sign * current / r * dr_dbc
        else:
            i[2, n] = di[2, 2, n] = di[2, 0, n] = di[2, 1, n] = 0.0

        q[0, n] += sign * tff * forward
        dq[0, 0, n] += dtff_be * forward + tff * df_be
        dq[0, 1, n] = dtff_bc * forward + tff * df_bc
        q[1, n] += sign * TR * i_r
        dq[1, 1, n] += TR * g_r
        i[3, n] = i[4, n] = q[2, n] = t[2, n] = t[3, n] = t[4, n] = 0.0


_N_PACKED = _N_SCALAR + 4 * 7

if config.DISABLE_JIT:
    _ADDRESS = 0  # the solver then calls `evaluate` itself
else:
    @cfunc(ADDRESS_SIGNATURE, cache=True)
    def _evaluate_at(v, p, i, q, t, di, dq, dt, n_time):
        wave, slope = (5, n_time), (5, 5, n_time)
        evaluate(carray(v, wave), carray(p, (_N_PACKED,)), carray(i, wave), carray(q, wave), carray(t, wave),
                 carray(di, slope), carray(dq, slope), carray(dt, slope))

    _ADDRESS = _evaluate_at.address


@dataclass(frozen=True)
class BJT(Device):
    """Gummel-Poon transistor under its published parameter names; SI units, temperatures in kelvin.

    Parameters
    ----------
    See `hbsim.quantities.quantities(BJT)`: name -> unit, range and meaning of each. A limit of None is not stated.

    Raises
    ------
    Refusal
        A parameter outside its range, an unknown polarity, or RBM without RB.
    """

    polarity: str = field(default="npn", metadata={"words": ("npn", "pnp")})
    IS: float = quantity("A", 1e-16, "transport saturation current", minimum=0, above=True)
    BF: float = quantity("1", 100.0, "forward current gain", minimum=0, above=True)
    BR: float = quantity("1", 1.0, "reverse current gain", minimum=0, above=True)
    NF: float = quantity("1", 1.0, "forward emission coefficient", minimum=0.5, maximum=5)
    NR: float = quantity("1", 1.0, "reverse emission coefficient", minimum=0.5, maximum=5)
    VAF: float = quantity("V", math.inf, "forward Early voltage", minimum=0, above=True, zero_is_infinite=True)
    VAR: float = quantity("V", math.inf, "reverse Early voltage", minimum=0, above=True, zero_is_infinite=True)
    IKF: float = quantity("A", math.inf, "forward knee current", minimum=0, above=True, zero_is_infinite=True)
    IKR: float = quantity("A", math.inf, "reverse knee current", minimum=0, above=True, zero_is_infinite=True)
    ISE: float = quantity("A", 0.0, "leakage current of the emitter junction", minimum=0)
    NE: float = quantity("1", 1.5, "its emission coefficient", minimum=0.5, maximum=10)
    ISC: float = quantity("A", 0.0, "leakage current of the collector junction", minimum=0)
    NC: float = quantity("1", 2.0, "its emission coefficient", minimum=0.5, maximum=10)
    RB: float = quantity("ohm", 0.0, "base resistance at low current", minimum=0)
    RBM: float | None = quantity("ohm", None, "base resistance at high current; RB when not given", minimum=0)
    IRB: float = quantity("A", math.inf, "base current half way from RB to RBM; infinite: RBM + (RB - RBM) / q_b",
                          minimum=0, above=True, zero_is_infinite=True)
    RE: float = quantity("ohm", 0.0, "emitter resistance", minimum=0)
    RC: float = quantity("ohm", 0.0, "collector resistance", minimum=0)
    CJE: float = quantity("F", 0.0, "emitter depletion capacitance at 0 V", minimum=0)
    VJE: float = quantity("V", 0.75, "its built-in voltage", minimum=0, above=True)
    MJE: float = quantity("1", 0.33, "its grading exponent", minimum=0, maximum=0.9)
    CJC: float = quantity("F", 0.0, "collector depletion capacitance at 0 V", minimum=0)
    VJC: float = quantity("V", 0.75, "its built-in voltage", minimum=0, above=True)
    MJC: float = quantity("1", 0.33, "its grading exponent", minimum=0, maximum=0.9)
    XCJC: float = quantity("1", 1.0, "share of CJC inside the base resistance", minimum=0, maximum=1)
    CJS: float = quantity("F", 0.0, "substrate depletion capacitance at 0 V", minimum=0)
    VJS: float = quantity("V", 0.75, "its built-in voltage", minimum=0, above=True)
    MJS: float = quantity("1", 0.0, "its grading exponent", minimum=0, maximum=0.9)
    FC: float = quantity("1", 0.5, "share of the built-in voltage where depletion turns straight", minimum=0,
                         maximum=0.9999)
    TF: float = quantity("s", 0.0, "ideal forward transit time", minimum=0)
    XTF: float = quantity("1", 0.0, "growth of TF with current", minimum=0)
    VTF: float = quantity("V", math.inf, "growth of TF with v_bc", minimum=0, above=True, zero_is_infinite=True)
    ITF: float = quantity("A", 0.0, "current at which TF grows; 0: at every current", minimum=0)
    PTF: float = quantity("deg", 0.0, "excess phase at 1 / (2 pi TF)", minimum=0)
    TR: float = quantity("s", 0.0, "ideal reverse transit time", minimum=0)
    EG: float = quantity("eV", 1.11, "energy gap in IS(T)", minimum=0, above=True)
    XTI: float = quantity("1", 3.0, "temperature exponent of IS")
    XTB: float = quantity("1", 0.0, "temperature exponent of the gains")
    TNOM: float = quantity("K", 300.15, "temperature of extraction", minimum=laws.LOWEST, maximum=laws.HIGHEST)
    in_parallel: float = quantity("1", 1.0, "so many of these in parallel, limits and cooling too", minimum=0,
                                  above=True)
    temperature: float = quantity("K", 300.15, "junction, or ambient when it heats itself", minimum=laws.LOWEST,
                                  maximum=laws.HIGHEST)
    thermal_resistance: float = quantity("K/W", 0.0, "junction to ambient; 0: does not heat itself", minimum=0)
    VCEO: float | None = quantity("V", None, "limit of the collector-emitter voltage", minimum=0, above=True)
    VEBO: float | None = quantity("V", None, "limit of the reverse base-emitter voltage", minimum=0, above=True)
    IC_max: float | None = quantity("A", None, "limit of the collector current", minimum=0, above=True)
    dissipation_max: float | None = quantity("W", None, "limit of the dissipation", minimum=0, above=True)
    base_inductance: float = quantity("H", 0.0, "package: pin to chip", minimum=0)
    emitter_inductance: float = quantity("H", 0.0, "package: pin to chip", minimum=0)
    collector_inductance: float = quantity("H", 0.0, "package: pin to chip", minimum=0)
    base_emitter_capacitance: float = quantity("F", 0.0, "package: between the pins", minimum=0)
    base_collector_capacitance: float = quantity("F", 0.0, "package: between the pins", minimum=0)
    collector_emitter_capacitance: float = quantity("F", 0.0, "package: between the pins", minimum=0)

    kind = "bjt"
    terminals = ("base", "collector", "emitter", "substrate")
    optional = ("substrate",)
    common = "emitter"
    main_pin = "collector"
    couples = {"i": ((0, 0), (0, 1), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2)),
               "q": ((0, 0), (0, 1), (1, 1), (3, 3), (4, 4)),
               "t": ((0, 0), (0, 1), (1, 0), (1, 1))}
    evaluate = staticmethod(evaluate)
    address = _ADDRESS

    def __post_init__(self) -> None:
        check_parameters(self)
        if self.polarity not in ("npn", "pnp"):
            raise Refusal(f"'{self.polarity}' is no polarity; write 'npn' or 'pnp'", "polarity")
        if self.RBM and not self.RB:
            raise Refusal("RBM without RB: give RB too, the base resistance at low current", "RBM")

    @property
    def _sign(self) -> float:
        return 1.0 if self.polarity == "npn" else -1.0

    @property
    def _lowest_base_resistance(self) -> float:
        return self.RB if self.RBM is None else self.RBM

    def _nodes(self) -> dict[str, str]:
        """Chip and inner node of each pin; one that nothing separates from the next outer one is that one."""
        chip = {pin: f"chip {pin}" if getattr(self, f"{pin}_inductance") > 0 else pin
                for pin in ("base", "collector", "emitter")}
        return {"B": chip["base"], "C": chip["collector"], "E": chip["emitter"],
                "b": "b" if self.RB > 0 else chip["base"], "c": "c" if self.RC > 0 else chip["collector"],
                "e": "e" if self.RE > 0 else chip["emitter"]}

    def branches(self) -> tuple[tuple[str, str], ...]:
        at = self._nodes()
        return ((at["b"], at["e"]), (at["b"], at["c"]), (at["B"], at["b"]), (at["B"], at["c"]), ("substrate", at["c"]))

    def inside(self) -> tuple[Inside, ...]:
        at = self._nodes()
        found = []
        for name, resistance, ends in (("RE", self.RE, ("E", "e")), ("RC", self.RC, ("C", "c"))):
            if resistance > 0:
                part = Resistor(resistance=resistance / self.in_parallel)
                found.append(Inside(name, part, (at[ends[0]], at[ends[1]])))
        for pin, chip in (("base", "B"), ("emitter", "E"), ("collector", "C")):
            inductance = getattr(self, f"{pin}_inductance")
            if inductance > 0:
                found.append(Inside(f"{pin}_inductance", Inductor(inductance=inductance), (pin, at[chip])))
        for pins in (("base", "emitter"), ("base", "collector"), ("collector", "emitter")):
            name = f"{pins[0]}_{pins[1]}_capacitance"
            if getattr(self, name) > 0:
                found.append(Inside(name, Capacitor(capacitance=getattr(self, name)), pins))
        return tuple(found)

    def packed(self) -> np.ndarray:
        """Parameters at `temperature`, scaled by in_parallel, in the order that `evaluate` reads them."""
        T, nominal, area = self.temperature, self.TNOM, self.in_parallel
        v_t = laws.thermal_voltage(T)
        transport = laws.current_ratio(T, nominal, self.EG, self.XTI)
        gain = laws.gain_ratio(T, nominal, self.XTB)
        scalars = [
            self._sign, self.IS * transport * area, 1 / (self.NF * v_t), 1 / (self.NR * v_t),
            1 / (self.BF * gain), 1 / (self.BR * gain),
            self.ISE * laws.leakage_ratio(transport, gain, self.NE) * area, 1 / (self.NE * v_t),
            self.ISC * laws.leakage_ratio(transport, gain, self.NC) * area, 1 / (self.NC * v_t),
            1 / self.VAF, 1 / self.VAR, 1 / (self.IKF * area), 1 / (self.IKR * area),
            self.RB / area, self._lowest_base_resistance / area, 1 / (self.IRB * area),
            self.TF, self.XTF, 1 / (1.44 * self.VTF), self.ITF * area, self.TR,
        ]
        inner, outer = self.CJC * self.XCJC, self.CJC * (1.0 - self.XCJC)
        junctions = []
        for c0, v0, m in ((self.CJE, self.VJE, self.MJE), (inner, self.VJC, self.MJC), (outer, self.VJC, self.MJC),
                          (self.CJS, self.VJS, self.MJS)):
            c0, v0 = laws.depletion(c0 * area, v0, m, T, nominal)
            junctions.append(depletion_constants(c0, v0, m, self.FC))
        return np.concatenate([scalars, *junctions])

    def junctions(self) -> np.ndarray:
        p = self.packed()
        rows = np.zeros((5, 2))
        for branch, slope_voltage in ((0, 1 / p[2]), (1, 1 / p[3])):
            rows[branch] = self._sign * slope_voltage, critical_voltage(p[1], slope_voltage)
        return rows

    @property
    def heating(self) -> float:
        return self.thermal_resistance / self.in_parallel

    @property
    def delay(self) -> float:
        """Excess phase as a delay of the forward transport current: PTF is met at 1 / (2 pi TF). [s]"""
        return math.radians(self.PTF) * self.TF

    def at(self, temperature: float) -> BJT:
        return dataclasses.replace(self, temperature=temperature)

    def conduction_current(self, current: np.ndarray) -> np.ndarray:
        """Collector current of the inner transistor: what comes out of the branch from base to collector, reversed."""
        return -self._sign * current[1]

    def warnings(self) -> list[str]:
        """What is accepted though it is out of the ordinary."""
        if self._lowest_base_resistance > self.RB:
            return [f"RBM ({self.RBM:g} ohm) is above RB ({self.RB:g} ohm): the base resistance rises with current"]
        return []

    def ratings(self, branch_voltage: np.ndarray, pin_voltage: dict[str, np.ndarray],
                pin_current: dict[str, np.ndarray], dissipation: float) -> list[Rating]:
        """Waveforms against VCEO, VEBO, IC_max and dissipation_max; the reverse voltage at the pins and, past base
        resistance and package, on the junction itself."""
        sign = self._sign
        most_current = None if self.IC_max is None else self.IC_max * self.in_parallel
        most_heat = None if self.dissipation_max is None else self.dissipation_max * self.in_parallel
        v_ce = sign * (pin_voltage["collector"] - pin_voltage["emitter"])
        v_eb = sign * (pin_voltage["emitter"] - pin_voltage["base"])
        i_c = sign * pin_current["collector"]
        return [
            rating("peak collector-emitter voltage", v_ce.max(), self.VCEO, "V"),
            rating("peak reverse base-emitter voltage at the pins", v_eb.max(), self.VEBO, "V"),
            rating("peak reverse base-emitter voltage on the junction", (-sign * branch_voltage[0]).max(), self.VEBO,
                   "V"),
            rating("peak collector current", i_c.max(), most_current, "A"),
            rating("average collector current", i_c.mean(), most_current, "A"),
            rating("average dissipation", dissipation, most_heat, "W"),
        ]
