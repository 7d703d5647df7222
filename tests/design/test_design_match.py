"""Matches by a stub and by lumped parts: the parts themselves reflect nothing."""

import cmath
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hbsim.design.lumped_match import load_of_lumped_match, lumped_match, ways
from hbsim.design.stub_match import board_stub_match, ideal_stub_match, load_of_stub_match, stub_angles
from hbsim.design.termination import impedance_of, reflection_of, seen_through
from hbsim.errors import Refusal
from hbsim.linear.board import Board
from hbsim.linear.lumped import Capacitor, Inductor

FR4 = Board(1.6e-3, 4.4, 0.02, 35e-6, 58e6)
LOADS = st.builds(complex, st.floats(1.0, 2e3), st.floats(-500.0, 500.0))
AT = 2.304e9


def worth_matching(load, impedance):
    assume(0.02 < abs(reflection_of(load, impedance)) < 0.98)


@pytest.mark.parametrize("kind, expected", [
    # D. M. Pozar, Microwave Engineering, ex. 5.2, from memory: 60 - j80 ohm to 50 ohm; distances 0.110 and 0.260 waves,
    # stubs 0.095 and 0.405 waves where shorted; open ones are a quarter wave from these. Read off a chart: 0.001.
    ("shorted", ((0.110, 0.095), (0.260, 0.405))), ("open", ((0.110, 0.345), (0.260, 0.155)))])
def test_textbook_stub_match(kind, expected):
    found = [tuple(angle / 360.0 for angle in pair) for pair in stub_angles(60 - 80j, 50.0, 50.0, kind)]
    for pair, wanted in zip(found, expected):
        assert pair == pytest.approx(wanted, abs=1.1e-3)


@settings(max_examples=60)
@given(LOADS, st.floats(20.0, 120.0), st.floats(20.0, 120.0), st.sampled_from(["open", "shorted"]))
def test_both_ideal_solutions_reflect_nothing(load, impedance, stub_impedance, kind):
    worth_matching(load, impedance)
    d = ideal_stub_match(load, impedance, AT, stub_impedance=stub_impedance, kind=kind, cut_degrees=0.0)
    assert len(d.solutions) == 2
    for s in d.solutions:
        assert 0.0 <= s.distance_degrees < 180.0 and 0.0 <= s.stub_degrees < 180.0
        seen = seen_through(s.elements, ("match", "load"), load, impedance, np.array([AT]))[0]
        assert abs(seen) < 1e-9
        # The admittance of line and stub, from the tangent and cotangent of every textbook.
        t = math.tan(math.radians(s.distance_degrees))
        z = impedance * (load + 1j * impedance * t) / (impedance + 1j * load * t)
        stub = 1j * math.tan(math.radians(s.stub_degrees)) if kind == "open" else \
            -1j / math.tan(math.radians(s.stub_degrees))
        assert impedance * (1.0 / z + stub / stub_impedance) == pytest.approx(1.0, abs=1e-6)


@settings(max_examples=25)
@given(LOADS, st.floats(20.0, 120.0), st.sampled_from(["open", "shorted"]))
def test_the_steps_lead_from_the_load_to_the_centre(load, impedance, kind):
    worth_matching(load, impedance)
    for s in ideal_stub_match(load, impedance, AT, kind=kind, cut_degrees=0.0).solutions:
        line, stub = np.array(s.along_line), np.array(s.along_stub)
        assert line[0] == pytest.approx(reflection_of(load, impedance), abs=1e-9)
        assert np.abs(line) == pytest.approx(np.full(len(line), abs(line[0])), abs=1e-9)  # about the centre
        assert stub[0] == pytest.approx(line[-1], abs=1e-9)
        assert np.abs(stub + 0.5) == pytest.approx(np.full(len(stub), 0.5), abs=1e-8)  # on the line's conductance
        assert abs(stub[-1]) < 1e-9


@pytest.mark.parametrize("kind", ["open", "shorted"])
@pytest.mark.parametrize("load", [12 - 30j, 150 + 100j, 200.0 + 0j, 8 + 5j])
def test_on_a_board_the_parts_match_as_well_as_they_are_cut(load, kind):
    exact = board_stub_match(load, 50.0, AT, FR4, kind=kind, cut=0.0)
    for s in exact.solutions:
        assert s.return_loss_db[1] > 150.0  # found to 1e-8 and better
    for s in board_stub_match(load, 50.0, AT, FR4, kind=kind).solutions:
        # A cut of 0.01 mm: off by up to 0.005 mm in both lengths, 0.025 deg of 71 mm each. At the slope of the steepest
        # of these loads (Q = 6 or so) this is a reflection below 0.01.
        assert s.return_loss_db[1] > 40.0
        assert s.distance > 0.0 and s.stub > 0.0
        back = load_of_stub_match(s.distance, s.stub, 50.0, AT, FR4, kind=kind)
        assert abs(reflection_of(back.load, 50.0) - reflection_of(load, 50.0)) < 0.01
        assert back.solutions[0].return_loss_db[1] > 150.0


def test_a_stub_too_near_to_the_load_is_warned_of():
    d = board_stub_match(1.0 / complex(0.02, 0.0199), 50.0, AT, FR4)
    assert any("behind the load" in text for text in d.warnings) == any(s.distance < d.stub_width / 2.0
                                                                       for s in d.solutions)
    assert d.solutions[0].distance < d.stub_width / 2.0


@settings(max_examples=25)
@given(st.floats(1.0, 179.0), st.floats(1.0, 179.0), st.sampled_from(["open", "shorted"]))
def test_the_way_back_names_the_load(distance, stub, kind):
    assume(abs(stub - 90.0) > 2.0 if kind == "open" else True)  # a short across the line matches nothing
    d = load_of_stub_match(distance, stub, 50.0, AT, kind=kind)
    assume(abs(reflection_of(d.load, 50.0)) > 1e-3)  # of a load that is matched as it is, any distance will do
    found = stub_angles(d.load, 50.0, 50.0, kind)
    assert any(abs(a - distance) < 1e-5 and abs(b - stub) < 1e-5 for a, b in found)
    assert d.load.real > 0.0


@settings(max_examples=80)
@given(LOADS, st.floats(10.0, 200.0))
def test_lumped_matches_reflect_nothing(load, impedance):
    worth_matching(load, impedance)
    d = lumped_match(load, impedance, AT, digits=None)
    # One pair where only one of the two orders works, both pairs where R < R0 and G < 1/R0.
    both = load.real < impedance * (1 - 1e-9) and (1.0 / load).real < (1 - 1e-9) / impedance
    assert len(d.solutions) == (4 if both else 2)
    omega = 2.0 * math.pi * AT
    for s in d.solutions:
        assert s.return_loss_db[1] > 180.0  # 1e-9
        # By hand: the series reactance added to the load with the susceptance across, or the other way about.
        z = load
        if s.shunt_at_load:
            z = 1.0 / (1.0 / z + 1j * s.shunt_susceptance) + 1j * s.series_reactance
        else:
            z = 1.0 / (1.0 / (z + 1j * s.series_reactance) + 1j * s.shunt_susceptance)
        assert z == pytest.approx(impedance, rel=1e-6)
        for element in s.elements:
            value = s.series_reactance if element.name == "match_series" else -1.0 / s.shunt_susceptance
            reactance = omega * element.part.inductance if isinstance(element.part, Inductor) else \
                -1.0 / (omega * element.part.capacitance)
            assert reactance == pytest.approx(value, rel=1e-9)
        parts = {element.name: element.part for element in s.elements}
        back = load_of_lumped_match(parts.get("match_series"), parts.get("match_shunt"), impedance, AT,
                                    shunt_at_load=s.shunt_at_load)
        assert back.load == pytest.approx(load, rel=1e-6)
        assert ways(d, s)[-1][-1] == pytest.approx(0.0, abs=1e-6)


def test_textbook_lumped_match():
    # Pozar, ex. 5.1, from memory: 200 - j100 ohm to 100 ohm at 500 MHz: 0.92 pF across and 38.8 nH, or 46.1 nH across
    # and 2.61 pF.
    d = lumped_match(200 - 100j, 100.0, 500e6)
    values = {s.passes.partition(";")[0]: {e.name: e.part for e in s.elements} for s in d.solutions}
    low, high = values["passes low frequencies, and DC"], values["passes high frequencies"]
    assert low["match_shunt"].capacitance == pytest.approx(0.92e-12, abs=0.006e-12)
    assert low["match_series"].inductance == pytest.approx(38.8e-9, rel=6e-3)
    assert high["match_shunt"].inductance == pytest.approx(46.1e-9, rel=6e-3)
    assert high["match_series"].capacitance == pytest.approx(2.61e-12, abs=0.015e-12)


@pytest.mark.parametrize("load, kind, value", [
    (50 + 50j, Capacitor, 1.0 / (2.0 * math.pi * AT * 50.0)), (50 - 50j, Inductor, 50.0 / (2.0 * math.pi * AT)),
    (1.0 / complex(0.02, 0.01), Inductor, 1.0 / (0.01 * 2.0 * math.pi * AT))])
def test_one_part_where_one_will_do(load, kind, value):
    d = lumped_match(load, 50.0, AT, digits=None)
    single = [s for s in d.solutions if len(s.elements) == 1]
    assert len(single) == 1 and isinstance(single[0].elements[0].part, kind)
    part = single[0].elements[0].part
    assert (part.capacitance if kind is Capacitor else part.inductance) == pytest.approx(value, rel=1e-9)


@pytest.mark.parametrize("load", [0j, 30j, -10 + 5j, complex(math.inf, 0.0), 50.0 + 0j])
def test_what_cannot_be_matched_is_refused(load):
    with pytest.raises(Refusal, match="matche"):
        ideal_stub_match(load, 50.0, AT)
    with pytest.raises(Refusal, match="matche"):
        lumped_match(load, 50.0, AT)


@given(st.floats(0.0, 0.99), st.floats(-math.pi, math.pi))
def test_reflection_to_load_and_back(magnitude, angle):
    reflection = cmath.rect(magnitude, angle)
    assert reflection_of(impedance_of(reflection, 75.0), 75.0) == pytest.approx(reflection, abs=1e-12)


def test_a_reflection_of_more_than_comes_in_is_refused():
    with pytest.raises(Refusal, match="below 1"):
        impedance_of(1.0 + 0j, 50.0)
