"""DC operating points against independent equations, where feedback, saturation and supplies mislead a search."""

import math

import numpy as np
import pytest
import scipy.optimize
from balance_circuits import dc_stage
from hypothesis import given, settings
from hypothesis import strategies as st

from hbsim.devices.contract import K_OVER_Q

V_T = K_OVER_Q * 300.15
IS, BF, BR = 1e-16, 100.0, 2.0
NPN = {"kind": "bjt", "IS": f"{IS} A", "BF": f"{BF}", "BR": f"{BR}"}
# bounds of the answers: the balance leaves 1e-9 of the currents, through 1 kohm or so that is microvolts at the most
VOLT = 2e-6


def transport(v_be, v_bc):
    """Base and collector current of J. J. Ebers, J. L. Moll, Proc. IRE 42 (1954) 1761-1772 (from memory). [A]"""
    forward, reverse = IS * math.expm1(min(v_be / V_T, 600)), IS * math.expm1(min(v_bc / V_T, 600))
    return forward / BF + reverse / BR, forward - reverse - reverse / BR


def stage_by_search(v_cc, r_b, r_c, r_e, feedback):
    """(V_b, V_c, V_e) of a stage with its base resistor on the supply or the collector, by scipy's root.

    Unknown junction voltages; the node voltages follow from the currents.
    """
    def nodes(x):
        i_b, i_c = transport(*x)
        v_e = r_e * (i_b + i_c)
        v_b = v_e + x[0]
        return v_b, v_b - x[1], v_e, i_b, i_c

    def excess(x):
        v_b, v_c, _, i_b, i_c = nodes(x)
        load = i_c + (i_b if feedback else 0.0)
        source = v_c if feedback else v_cc
        return [v_cc - r_c * load - v_c, source - r_b * i_b - v_b]

    best = None
    for v_be in (0.55, 0.65, 0.75, 0.8, 0.85):
        for v_bc in (-v_cc, 0.0, 0.5, v_be - 0.1, v_be - 0.03):
            found = scipy.optimize.root(excess, [v_be, v_bc], tol=1e-14)
            size = np.abs(excess(found.x)).max()
            if best is None or size < best[0]:
                best = (size, found.x)
    assert best[0] < 1e-9, "the reference itself found nothing"
    return nodes(best[1])[:3]


def stage(v_cc, r_b, r_c, r_e, feedback):
    source = "c" if feedback else "vcc"
    return dc_stage({"R_b": {"kind": "resistor", "nodes": [source, "b"], "resistance": f"{r_b} ohm"},
                     "R_c": {"kind": "resistor", "nodes": ["vcc", "c"], "resistance": f"{r_c} ohm"},
                     "R_e": {"kind": "resistor", "nodes": ["e", "ground"], "resistance": f"{r_e} ohm"},
                     "Q": NPN | {"nodes": {"base": "b", "collector": "c", "emitter": "e"}}},
                    {"VCC": ("vcc", v_cc)}, nodes=("b", "c"))


@pytest.mark.parametrize("v_cc, r_b, r_c, r_e, feedback", [
    (5.0, 100e3, 1e3, 10.0, False),  # active
    (5.0, 100e3, 1e3, 10.0, True),  # feedback bias
    (5.0, 5e3, 1e3, 1.0, False),  # deep in saturation
    (12.0, 1e3, 10e3, 1.0, False),  # deeper
    (1.0, 10e3, 1e3, 100.0, True),  # hardly on
    (5.0, 100.0, 10.0, 0.01, True),  # large currents
])
def test_stage_against_independent_equations(v_cc, r_b, r_c, r_e, feedback):
    state = stage(v_cc, r_b, r_c, r_e, feedback).solve(harmonics=2)
    expected = stage_by_search(v_cc, r_b, r_c, r_e, feedback)
    for node, volts in zip("bce", expected):
        assert state.voltage(node)[0].real == pytest.approx(volts, abs=VOLT), node


@settings(max_examples=25)
@given(v_cc=st.floats(0.8, 12), r_b=st.floats(3, 5.5), r_c=st.floats(1, 4), r_e=st.floats(-1, 2),
       feedback=st.booleans())
def test_random_stages_against_independent_equations(v_cc, r_b, r_c, r_e, feedback):
    values = v_cc, 10**r_b, 10**r_c, 10**r_e, feedback
    state = stage(*values).solve(harmonics=2)
    for node, volts in zip("bce", stage_by_search(*values)):
        assert state.voltage(node)[0].real == pytest.approx(volts, abs=1e-6 * v_cc + VOLT), node


def test_supply_of_zero_volt_leaves_the_circuit_at_rest():
    state = stage(0.0, 10e3, 1e3, 1.0, True).solve(harmonics=2)
    for node in ("b", "c", "e"):
        assert abs(state.voltage(node)[0]) < 1e-9
    assert abs(state.supplies["VCC"].amps) < 1e-12


def test_pnp_on_a_negative_supply_is_the_npn_mirrored():
    positive = stage(5.0, 100e3, 1e3, 10.0, True)
    mirrored = dc_stage({"R_b": {"kind": "resistor", "nodes": ["c", "b"], "resistance": "100 kohm"},
                         "R_c": {"kind": "resistor", "nodes": ["vcc", "c"], "resistance": "1 kohm"},
                         "R_e": {"kind": "resistor", "nodes": ["e", "ground"], "resistance": "10 ohm"},
                         "Q": NPN | {"polarity": "pnp", "nodes": {"base": "b", "collector": "c", "emitter": "e"}}},
                        {"VCC": ("vcc", -5.0)}, nodes=("b", "c"))
    up, down = positive.solve(harmonics=2), mirrored.solve(harmonics=2)
    for node in ("b", "c", "e"):
        assert down.voltage(node)[0].real == pytest.approx(-up.voltage(node)[0].real, abs=VOLT)
    assert down.supplies["VCC"].amps == pytest.approx(-up.supplies["VCC"].amps, rel=1e-8)
    assert down.dc_power_w == pytest.approx(up.dc_power_w, rel=1e-8) and down.dc_power_w > 0


def test_several_supplies():
    # Long-tailed emitter: base to ground, emitter pulled to -5 V, collector to 8 V; hand equation for v_be by brentq.
    r_e, r_c = 2e3, 500.0
    circuit = dc_stage({"R_b": {"kind": "resistor", "nodes": ["b", "ground"], "resistance": "10 ohm"},
                        "R_c": {"kind": "resistor", "nodes": ["plus", "c"], "resistance": f"{r_c} ohm"},
                        "R_e": {"kind": "resistor", "nodes": ["e", "minus"], "resistance": f"{r_e} ohm"},
                        "Q": NPN | {"nodes": {"base": "b", "collector": "c", "emitter": "e"}}},
                       {"plus": ("plus", 8.0), "minus": ("minus", -5.0)}, nodes=("b", "c"))

    def excess(v_be):
        i_b, i_c = transport(v_be, -5.0)  # reverse: the collector voltage does not matter without Early effect
        return -10.0 * i_b - v_be + 5.0 - r_e * (i_b + i_c)

    v_be = scipy.optimize.brentq(excess, 0.3, 0.9, xtol=1e-15)
    i_b, i_c = transport(v_be, -5.0)
    state = circuit.solve(harmonics=2)
    assert state.voltage("e")[0].real == pytest.approx(-10.0 * i_b - v_be, abs=VOLT)
    assert state.voltage("c")[0].real == pytest.approx(8.0 - r_c * i_c, abs=VOLT)
    assert state.supplies["plus"].amps == pytest.approx(i_c, rel=1e-7)
    assert state.supplies["minus"].amps == pytest.approx(-(i_b + i_c), rel=1e-7)


def test_diode_chain_from_a_high_voltage():
    # Twelve junctions in series behind 1 kohm: I from I R + 12 V_T ln(1 + I / IS) = V, by brentq
    steps = [f"n{i}" for i in range(12)] + ["ground"]
    chain = {f"D{i}": {"kind": "diode", "IS": "1e-14 A", "nodes": {"anode": a, "cathode": b}}
             for i, (a, b) in enumerate(zip(steps, steps[1:]))}
    # a junction's ends need a DC path through linear parts: 10 Mohm each
    bleed = {f"B{i}": {"kind": "resistor", "nodes": [node, "ground"], "resistance": "1e15 ohm"}
             for i, node in enumerate(steps[1:-1])}
    circuit = dc_stage(chain | bleed | {"R": {"kind": "resistor", "nodes": ["v", "n0"], "resistance": "1 kohm"}},
                       {"V": ("v", 100.0)}, nodes=("n0", "n0"))
    state = circuit.solve(harmonics=2)
    current = scipy.optimize.brentq(lambda i: 1e3 * i + 12 * V_T * math.log1p(i / 1e-14) - 100.0, 1e-6, 0.1, xtol=1e-18)
    assert state.supplies["V"].amps == pytest.approx(current, rel=1e-8)


@pytest.mark.parametrize("v_cc", [0.3, 1.0, 3.0, 12.0])
def test_bistable_pair_gives_one_of_its_true_states(v_cc):
    # Two stages, each base fed from the other's collector: up to three DC states. Whichever is found must be one of
    # them: the currents of both transistors, written again here, must fit all resistors.
    r_c, r_b = 1e3, 10e3
    parts = {}
    for own, other in (("1", "2"), ("2", "1")):
        parts |= {f"Rc{own}": {"kind": "resistor", "nodes": ["vcc", f"c{own}"], "resistance": f"{r_c} ohm"},
                  f"Rb{own}": {"kind": "resistor", "nodes": [f"c{other}", f"b{own}"], "resistance": f"{r_b} ohm"},
                  f"Q{own}": NPN | {"nodes": {"base": f"b{own}", "collector": f"c{own}", "emitter": "ground"}}}
    state = dc_stage(parts, {"VCC": ("vcc", v_cc)}, nodes=("b1", "c1")).solve(harmonics=2)
    v = {node: state.voltage(node)[0].real for node in ("b1", "b2", "c1", "c2")}
    for own, other in (("1", "2"), ("2", "1")):
        i_b, i_c = transport(v[f"b{own}"], v[f"b{own}"] - v[f"c{own}"])
        i_b_other, _ = transport(v[f"b{other}"], v[f"b{other}"] - v[f"c{other}"])
        assert (v[f"c{other}"] - v[f"b{own}"]) / r_b == pytest.approx(i_b, abs=1e-7 * v_cc / r_c)
        assert (v_cc - v[f"c{own}"]) / r_c == pytest.approx(i_c + i_b_other, abs=1e-7 * v_cc / r_c)
