"""The time-domain reference, before it judges anything: its device, its circuit equations, its convergence."""

import math

import numba
import numpy as np
import pytest
from time_domain import PARAMETERS, THERMAL_VOLTAGE, Doubler, gummel_poon, plain_cost, steady_state

pytestmark = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="millions of samples: minutes if not compiled")

# Invented, of about 25 GHz of f_T, with every parameter at work.
INVENTED = {
    "IS": 8e-17, "BF": 110, "NF": 1.0, "VAF": 40, "VAR": 4, "IKF": 0.12, "IKR": 0.02, "ISE": 2e-14, "NE": 2,
    "ISC": 1e-15, "NC": 1.8, "BR": 12, "NR": 1.0, "RB": 9, "RBM": 4, "IRB": 3e-4, "RE": 0.6, "RC": 4,
    "CJE": 0.35e-12, "VJE": 0.9, "MJE": 0.4, "CJC": 0.14e-12, "VJC": 0.65, "MJC": 0.35, "XCJC": 0.5, "FC": 0.6,
    "TF": 4.5e-12, "XTF": 8, "VTF": 1.5, "ITF": 0.15, "TR": 0.6e-9,
}

# The parameter column printed for the NE85619 by its maker, the published example of this device form.
PUBLISHED_EXAMPLE = INVENTED | {
    "IS": 6e-16, "BF": 120, "NF": 0.98, "VAF": 10, "VAR": 3.9, "IKF": 0.08, "IKR": 0.17, "ISE": 3.2e-15, "NE": 1.93,
    "ISC": 0, "NC": 2, "BR": 12, "NR": 0.991, "RB": 4.16, "RBM": 3.6, "IRB": 1.96e-4, "RE": 0.38, "RC": 2,
    "CJE": 2.8e-12, "VJE": 1.3, "MJE": 0.5, "CJC": 1.1e-12, "VJC": 0.7, "MJC": 0.55, "XCJC": 0.3, "FC": 0.5,
    "TF": 10e-12, "XTF": 6, "VTF": 10, "ITF": 0.2, "TR": 1e-9,
}


@pytest.mark.parametrize("v_be, v_bc, transport, base, resistance, charge", [
    (0.70, -3.0, 6.57460341e-4, 4.92937759e-6, 4.13045437, 6.5748815e-15 + 2.33406003e-12),
    (0.85, -3.0, 0.106530238, 1.83018240e-3, 3.72273137, 2.48685564e-12 + 2.98514220e-12),
    (0.75, 0.40, 3.10505865e-3, 3.54206913e-5, 4.03095455, 3.11335158e-14 + 2.54347242e-12),
    (0.80, 0.60, 1.73309860e-2, 2.55326997e-4, 3.86030886, 1.92398282e-13 + 2.76049981e-12),
])
def test_device_at_the_bias_points_of_the_published_example(v_be, v_bc, transport, base, resistance, charge):
    # A third working of the published equations (Gummel-Poon, Getreu), with 30-digit arithmetic, nine digits kept.
    chip = gummel_poon(PUBLISHED_EXAMPLE, v_be, v_bc)
    found = (chip.I_T, chip.I_be + chip.I_bc, chip.R_bb, chip.Q_be)
    assert found == pytest.approx((transport, base, resistance, charge), rel=1e-8)


def test_capacitances_are_the_slopes_of_the_charges():
    # Central differences. hbsim balances charges, the reference integrates capacitances: they must be one thing.
    random = np.random.default_rng(1)
    for v_be, v_bc in random.uniform((-1.5, -5.0), (0.95, 0.75), (200, 2)):
        chip, h = gummel_poon(INVENTED, v_be, v_bc), 1e-5

        def slope(charge, along_be, along_bc):
            ends = [gummel_poon(INVENTED, v_be + s * along_be, v_bc + s * along_bc) for s in (h, -h)]
            return (getattr(ends[0], charge) - getattr(ends[1], charge)) / (2 * h)

        assert chip.Q_be_by_v_be == pytest.approx(slope("Q_be", 1, 0), rel=1e-6)
        assert chip.Q_bc_by_v_bc == pytest.approx(slope("Q_bc", 0, 1), rel=1e-6)
        # rounding of Q_be, of the order of 1e-12 C with 16 digits, over 2 h
        assert chip.Q_be_by_v_bc == pytest.approx(slope("Q_be", 0, 1), rel=1e-5, abs=1e-22 / h)


def test_infinite_parameters_leave_the_plain_law():
    # Closed form: what is left of the equations is I_T = IS exp(v / V_T), all TF charge, and RB while I_B is small.
    plain = INVENTED | {name: math.inf for name in ("VAF", "VAR", "IKF", "IKR", "IRB", "VTF")} | {"ITF": 0, "XTF": 1}
    chip = gummel_poon(plain, 0.7, -2.0)
    i_f = plain["IS"] * math.expm1(0.7 / THERMAL_VOLTAGE)
    assert chip.I_T == pytest.approx(i_f, rel=1e-12)
    assert chip.Q_be - gummel_poon(plain | {"TF": 0}, 0.7, -2.0).Q_be == pytest.approx(2 * plain["TF"] * i_f, rel=1e-9)
    assert chip.R_bb == pytest.approx(plain["RB"], rel=1e-12)


def linear_answer(params, circuit, state, drive_dbm):
    """f0 in the load [dBm] and input reflection, by nodal analysis of the circuit linearised at the bias `state`."""
    names = ("in", "b", "inner_b", "inner_e", "inner_c", "c", "out", "vcc")
    omega = 2 * math.pi * circuit.f0
    y = np.zeros((8, 8), complex)

    def source(frm, to, plus, minus, value):
        for node, sign in ((frm, 1), (to, -1)):
            for control, way in ((plus, 1), (minus, -1)):
                if "ground" not in (node, control):
                    y[names.index(node), names.index(control)] += sign * way * value

    def join(a, b, value):
        source(a, b, a, b, value)

    v_be, v_bc, h = state[2], state[3], 1e-5
    chip = gummel_poon(params, v_be, v_bc)
    by_be = [gummel_poon(params, v_be + s, v_bc) for s in (h, -h)]
    by_bc = [gummel_poon(params, v_be, v_bc + s) for s in (h, -h)]

    def slope(ends, current):
        return (getattr(ends[0], current) - getattr(ends[1], current)) / (2 * h)

    outer = gummel_poon(params | {"XCJC": 1 - params["XCJC"], "TR": 0.0}, 0.0, state[1]).Q_bc_by_v_bc
    # The DC drop on R_bb moves with the bias too: d(R_bb) times the standing current.
    i_b = chip.I_be + chip.I_bc
    join("b", "inner_b", 1 / chip.R_bb)
    source("b", "inner_b", "inner_b", "inner_e", -i_b / chip.R_bb * slope(by_be, "R_bb"))
    source("b", "inner_b", "inner_b", "inner_c", -i_b / chip.R_bb * slope(by_bc, "R_bb"))
    join("inner_b", "inner_e", slope(by_be, "I_be") + 1j * omega * chip.Q_be_by_v_be)
    join("inner_b", "inner_c", slope(by_bc, "I_bc") + 1j * omega * chip.Q_bc_by_v_bc)
    source("inner_b", "inner_e", "inner_b", "inner_c", 1j * omega * chip.Q_be_by_v_bc)
    source("inner_c", "inner_e", "inner_b", "inner_e", slope(by_be, "I_T"))
    source("inner_c", "inner_e", "inner_b", "inner_c", slope(by_bc, "I_T"))
    join("b", "inner_c", 1j * omega * outer)
    join("inner_e", "ground", 1 / params["RE"])
    join("c", "inner_c", 1 / params["RC"])
    join("in", "ground", 1 / 50)
    join("in", "b", 1j * omega * circuit.C_in)
    join("vcc", "b", 1 / circuit.R_b)
    join("vcc", "c", 1 / (circuit.R_L + 1j * omega * circuit.L_c))
    join("c", "ground", 1j * omega * circuit.C_c)
    join("c", "out", 1j * omega * circuit.C_out)
    join("out", "ground", 1 / 50)
    join("vcc", "ground", 1 / circuit.R_s + 1j * omega * circuit.C_vcc)
    emf = 2 * math.sqrt(2 * 50 * 1e-3 * 10 ** (drive_dbm / 10))
    v = np.linalg.solve(y, np.eye(8)[0] * emf / 50)
    return 10 * math.log10(abs(v[names.index("out")]) ** 2 / (2 * 50) / 1e-3), 2 * v[0] / emf - 1


def test_small_drive_is_the_linear_circuit():
    # Nodal analysis written down from the drawing; at -60 dBm the bend of the junctions moves f0 by about 1e-4 dB.
    bias = steady_state(INVENTED, Doubler(), -150.0, 3.0).state
    state = steady_state(INVENTED, Doubler(), -60.0, 3.0)
    output_dbm, reflection = linear_answer(INVENTED, Doubler(), bias, -60.0)
    assert state.dbm[1] == pytest.approx(output_dbm, abs=1e-3)
    assert abs(state.reflection - reflection) < 1e-4


def test_a_hundred_times_tighter_changes_nothing():
    usual, tight = (steady_state(INVENTED, Doubler(), 8.0, 4.0, rtol=rtol) for rtol in (1e-10, 1e-12))
    assert tight.dbm[1:6] == pytest.approx(usual.dbm[1:6], abs=1e-7)
    assert tight.phase_deg[1:6] == pytest.approx(usual.phase_deg[1:6], abs=1e-6)


def test_shooting_finds_what_waiting_finds():
    waited = steady_state(INVENTED, Doubler(), 0.0, 3.0, shooting=False, warm_up=400)
    shot = steady_state(INVENTED, Doubler(), 0.0, 3.0)
    # LSODA at 1e-8 leaves about 1e-6 V on the waited one
    assert shot.dbm[1:6] == pytest.approx(waited.dbm[1:6], abs=1e-3)
    assert shot.supply_current == pytest.approx(waited.supply_current, rel=1e-4)
    assert shot.closure < 1e-9


def test_plain_integration_says_what_it_took():
    cost = plain_cost(INVENTED, Doubler(), -10.0, 4.0, longest=100)
    assert 1 < cost.periods <= 100 and cost.evaluations > 100 * cost.periods and cost.seconds > 0


def test_what_the_equations_cannot_hold_is_refused():
    assert set(INVENTED) == set(PARAMETERS)
    with pytest.raises(ValueError, match="RE = 0"):
        gummel_poon(INVENTED | {"RE": 0}, 0.7, -1.0)
    with pytest.raises(ValueError, match="XCJC = 1"):
        gummel_poon(INVENTED | {"XCJC": 1}, 0.7, -1.0)
