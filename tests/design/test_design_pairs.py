"""Width and gap, even and odd impedance of coupled strips."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hbsim.design.pairs import coupling_db, design_pair, impedances_for, layout_for, pair_values
from hbsim.errors import Refusal
from hbsim.linear.board import Board

FR4 = Board(1.6e-3, 4.4, 0.02, 35e-6, 58e6)


@pytest.mark.parametrize("permittivity, even, odd, u, g", [
    # An independent electrostatic solution of infinitely thin strips, inverted.
    (2.2, 70.61, 39.24, 2.430, 0.175), (2.2, 56.64, 44.77, 2.980, 0.988), (4.4, 70.61, 39.24, 1.515, 0.259),
    (4.4, 56.64, 44.77, 1.850, 1.047), (10.2, 70.61, 39.24, 0.730, 0.384), (10.2, 56.64, 44.77, 0.901, 1.155)])
def test_layout_of_published_impedances(permittivity, even, odd, u, g):
    board = Board(1e-3, permittivity, 0.0, 1e-12, 1e30)
    width, gap = layout_for(even, odd, board)
    # The formulas of Kirschning and Jansen 1984 hold impedances to 0.6 %, which is 0.5 % of width and 1.6 % of gap
    # here.
    assert width / 1e-3 == pytest.approx(u, rel=5.5e-3)
    assert gap / 1e-3 == pytest.approx(g, rel=1.6e-2)


@settings(max_examples=40)
@given(st.floats(0.15, 8.0), st.floats(0.05, 6.0), st.floats(2.0, 11.0), st.sampled_from([0.0, 2e9]))
def test_layout_to_impedances_and_back(u, g, permittivity, frequency):
    board = Board(0.8e-3, permittivity, 0.002, 18e-6, 58e6)
    values = pair_values(u * board.height, g * board.height, board, frequency)
    width, gap = layout_for(values.even_impedance, values.odd_impedance, board, frequency)
    # Both roots are found to 1e-14; a wide gap hardly changes the impedances, and magnifies their rounding.
    assert (width, gap) == pytest.approx((u * board.height, g * board.height), rel=1e-7)


@given(st.floats(5.0, 300.0), st.floats(0.5, 60.0))
def test_coupling_and_impedances_and_back(impedance, coupling):
    even, odd = impedances_for(impedance, coupling)
    assert math.sqrt(even * odd) == pytest.approx(impedance, rel=1e-12)
    assert coupling_db(even, odd) == pytest.approx(coupling, rel=1e-9)


def test_textbook_coupler():
    # D. M. Pozar, Microwave Engineering, ex. 7.7, from memory: 20 dB in 50 ohm: 55.28 and 45.23 ohm.
    assert impedances_for(50.0, 20.0) == pytest.approx((55.28, 45.23), abs=0.006)


def test_a_coupling_out_of_reach_is_refused_with_the_range():
    with pytest.raises(Refusal, match=r"a coupling of 3\.01 dB cannot be reached; it can be .* dB to .* dB") as caught:
        design_pair(FR4, **dict(zip(("even_impedance", "odd_impedance"), impedances_for(50.0, 3.01))), frequency=2e9)
    assert caught.value.place == "odd_impedance"
    with pytest.raises(Refusal, match="exchange them"):
        layout_for(40.0, 70.0, FR4)
    with pytest.raises(Refusal, match="counts down from 0 dB"):
        impedances_for(50.0, -3.0)


@pytest.mark.parametrize("options", [{}, {"width": 1e-3}, {"even_impedance": 70.0, "gap": 1e-3},
                                     {"even_impedance": 70.0, "odd_impedance": 40.0, "width": 1e-3}])
def test_half_a_pair_of_values_is_refused(options):
    with pytest.raises(Refusal, match="both impedances, or width and gap"):
        design_pair(FR4, **options)
