"""Width and impedance, length and degrees of a microstrip line."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hbsim.design.lines import (NARROWEST, WIDEST, design_line, hand_formula, hand_formula_width, line_values,
                                width_for)
from hbsim.errors import Refusal
from hbsim.linear.board import Board
from hbsim.linear.microstrip.line import LIGHT
from hbsim.linear.microstrip.loss import dielectric_loss, surface_resistance

FR4 = Board(1.6e-3, 4.4, 0.02, 35e-6, 58e6)


def thin(height, permittivity):
    """Without loss, and infinitely thin for all that a formula sees."""
    return Board(height, permittivity, 0.0, 1e-12, 1e30)


# Book values, from memory. The books use the formulas of Hammerstad 1975; so those are tested for slips of the pen.
# c = 3e8 m/s in the first two books: 0.07 % apart from the real one. Tolerances: the digits printed.


def test_pozar_example_3_7():
    # D. M. Pozar, Microwave Engineering, ex. 3.7: 50 ohm on er 9.9, 0.5 mm; 270 deg at 10 GHz; copper, tan d 0.001.
    u = hand_formula_width(50.0, 9.9)
    assert u == pytest.approx(0.9654, rel=5e-4)
    assert 0.5 * u == pytest.approx(0.483, abs=5e-4)
    ee = hand_formula(u, 9.9)[1]
    assert ee == pytest.approx(6.665, rel=3e-4)
    assert 0.75 * LIGHT / 10e9 / ee**0.5 == pytest.approx(8.72e-3, rel=1.5e-3)  # c = 3e8 there
    alpha_d = float(dielectric_loss(10e9, 9.9, ee, 0.001))
    assert alpha_d == pytest.approx(0.255, rel=5e-3)  # Np/m
    rs = float(surface_resistance(10e9, 5.813e7))
    assert rs == pytest.approx(0.026, abs=5e-4)
    assert rs / (50.0 * 0.483e-3) == pytest.approx(1.08, rel=5e-3)  # the parallel-plate rule that the book uses
    assert 8.685890 * (alpha_d + rs / (50.0 * 0.483e-3)) * 8.72e-3 == pytest.approx(0.101, abs=5e-4)


def test_pozar_earlier_edition():
    # 50 ohm on er 2.20, 1.27 mm; 90 deg at 2.5 GHz: w/h 3.081, 3.91 mm, ee 1.87, 21.9 mm.
    u = hand_formula_width(50.0, 2.2)
    ee = hand_formula(u, 2.2)[1]
    assert (u, 1.27 * u, ee) == pytest.approx((3.081, 3.91, 1.87), rel=1.5e-3)
    assert LIGHT / 2.5e9 / ee**0.5 / 4.0 == pytest.approx(21.9e-3, rel=1.5e-3)


def test_ludwig_bretchko_example():
    # R. Ludwig, P. Bretchko, RF Circuit Design, ch. 2: 50 ohm on er 4.6, 40 mil: 73.9 mil, ee 3.4575, 80.67 mm at
    # 2 GHz.
    u = hand_formula_width(50.0, 4.6)
    ee = hand_formula(u, 4.6)[1]
    assert (40.0 * u, ee) == pytest.approx((73.9, 3.4575), rel=1e-3)
    assert LIGHT / 2e9 / ee**0.5 == pytest.approx(80.67e-3, rel=1e-3)  # c = 3e8 there


@pytest.mark.parametrize("permittivity", [2.2, 4.4, 9.9, 10.2])
@pytest.mark.parametrize("impedance", [25.0, 50.0, 75.0, 100.0, 120.0])
def test_the_hand_formula_agrees_with_the_exact_fit(permittivity, impedance):
    # An electrostatic solution puts the hand formula within 0.26 %, the fit of Hammerstad and Jensen 1980 within
    # 0.11 %.
    u = hand_formula_width(impedance, permittivity)
    board = thin(1e-3, permittivity)
    assert line_values(u * 1e-3, board).impedance == pytest.approx(impedance, rel=3.8e-3)


def test_width_and_quarter_wave_on_fr4():
    # Formulas of Hammerstad-Jensen 1980 and Kirschning-Jansen 1982 evaluated apart from hbsim: 3.062 mm, 40.97 mm at
    # 1 GHz; the last digit printed. The width holds for the static impedance.
    board = thin(1.6e-3, 4.4)
    width = width_for(50.0, board)
    assert width == pytest.approx(3.062e-3, abs=1e-6)
    assert line_values(width, board, 1e9).length(90.0) == pytest.approx(40.97e-3, abs=6e-6)


@settings(max_examples=60)
@given(st.floats(0.03, 40.0), st.floats(1.0, 15.0), st.sampled_from([0.0, 1e9, 6e9]))
def test_width_to_impedance_and_back(u, permittivity, frequency):
    board = Board(0.8e-3, permittivity, 0.002, 18e-6, 58e6)
    values = line_values(u * board.height, board, frequency)
    # The root is found to 1e-14 of its logarithm; the impedance changes less than in proportion.
    assert width_for(values.impedance, board, frequency) == pytest.approx(u * board.height, rel=1e-9)


@settings(max_examples=30)
@given(st.floats(5.0, 700.0), st.floats(0.3e-3, 6e-3))
def test_degrees_to_length_and_back(degrees, width):
    there = design_line(FR4, width=width, frequency=2.304e9, degrees=degrees, cut=0.0)
    back = design_line(FR4, width=width, frequency=2.304e9, length=there.length, cut=0.0)
    assert back.degrees == pytest.approx(degrees, rel=1e-12)
    assert back.loss_db == pytest.approx(there.values.loss_db_per_m * there.length, rel=1e-12)


def test_what_is_found_is_rounded_and_what_is_told_is_of_the_rounded():
    found = design_line(FR4, impedance=50.0, frequency=2.304e9, degrees=90.0)
    assert round(found.values.width * 1e5, 6) == round(found.values.width * 1e5)
    assert found.values.impedance == line_values(found.values.width, FR4, 2.304e9).impedance != 50.0
    assert abs(found.exact_width - found.values.width) < 5.001e-6 and abs(found.exact_length - found.length) < 5.001e-6
    assert found.elements[0].part.length == found.length


def test_an_impedance_out_of_reach_is_refused_with_the_range():
    low, high = (line_values(u * FR4.height, FR4).impedance for u in (WIDEST, NARROWEST))
    with pytest.raises(Refusal, match=f"it can be {low:.4g} ohm to {high:.4g} ohm"):
        width_for(500.0, FR4)


@pytest.mark.parametrize("options, words", [
    ({}, "one of the two"), ({"impedance": 50.0, "width": 1e-3}, "one of the two"),
    ({"width": 1e-3, "degrees": 90.0}, "holds at one frequency"),
    ({"width": 1e-3, "frequency": 1e9, "degrees": 90.0, "length": 1e-2}, "keep one")])
def test_contradictions_are_refused(options, words):
    with pytest.raises(Refusal, match=words):
        design_line(FR4, **options)
