"""Vias as parts: drilled, filled, lined with foil; their inductance and resistance against formulas and limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear.board import Board, Conductor
from hbsim.linear.lumped import BoardVia
from hbsim.linear.microstrip.line import MU0
from hbsim.linear.microstrip.loss import surface_resistance
from scattering import gains_from, impedance, scattering

FR4 = Board(1.6e-3, 4.4, 0.02, 35e-6, 5.8e7)
DC = np.array([0.0])


def resistance(part, omega=DC):
    return impedance(part.relation(omega)).real[0]


@pytest.mark.parametrize("part, area", [
    (BoardVia(FR4, 0.8e-3), np.pi * (0.4e-3**2 - 0.38e-3**2)),  # plated with 20 um
    (BoardVia(FR4, 0.8e-3, plating=50e-6), np.pi * (0.4e-3**2 - 0.35e-3**2)),
    (BoardVia(FR4, 0.8e-3, filled=True), np.pi * 0.4e-3**2),
    (BoardVia(FR4, 30e-6), np.pi * 15e-6**2),  # so narrow that the plating fills it
    (BoardVia(FR4, foil_width=5e-3), 5e-3 * 35e-6),
    (BoardVia(FR4, 3.5e-3, foil_width=2e-3, foils=2.0), 4e-3 * 35e-6),
    (BoardVia(FR4, 3.5e-3, foil_width=11.3e-3), np.pi * 3.5e-3 * 35e-6)])
def test_at_dc_the_resistance_of_its_metal(part, area):
    assert resistance(part) == pytest.approx(1.6e-3 / (5.8e7 * area), rel=1e-12)
    assert impedance(part.relation(DC)).imag[0] == 0.0


@pytest.mark.parametrize("part", [BoardVia(FR4, 0.8e-3), BoardVia(FR4, 0.8e-3, filled=True),
                                  BoardVia(FR4, 3.5e-3, foil_width=11.3e-3)])
def test_at_high_frequency_the_skin_of_its_wall(part):
    f = 300e9
    expected = surface_resistance(f, 5.8e7) * 1.6e-3 / (np.pi * part.diameter)
    assert resistance(part, 2 * np.pi * np.array([f])) == pytest.approx(expected, rel=1e-3)


def test_what_a_via_is_made_of():
    solder = Conductor(35e-6, 7e6)
    assert resistance(BoardVia(FR4, 0.8e-3, filled=True, conductor=solder)) == pytest.approx(
        1.6e-3 / (7e6 * np.pi * 0.4e-3**2))
    tape = Conductor(70e-6, 3e7)
    assert resistance(BoardVia(FR4, foil_width=5e-3, conductor=tape)) == pytest.approx(1.6e-3 / (3e7 * 5e-3 * 70e-6))


def test_inductance_of_a_large_lined_hole():
    # Goldfarb and Pucel 1991 by hand for h 1.6, d 3.5 mm: r 1.75, sqrt(r^2 + h^2) 2.37118
    by_hand = MU0 / (2 * np.pi) * (1.6e-3 * np.log((1.6 + 2.371181) / 1.75) + 1.5 * (1.75e-3 - 2.371181e-3))
    lined = BoardVia(FR4, 3.5e-3, foil_width=11e-3)
    assert lined.inductance == pytest.approx(by_hand, rel=1e-6) == pytest.approx(BoardVia(FR4, 3.5e-3).inductance)
    assert "0.2 to 1.5" in lined.warnings(1e9)[0] and "2.188" in lined.warnings(1e9)[0]
    assert BoardVia(FR4, foil_width=4e-3).inductance == pytest.approx(BoardVia(FR4, 2e-3).inductance)  # radius w / 4


@given(st.floats(0.5e-3, 20e-3), st.floats(0.01, 0.83), st.integers(1, 6))
def test_more_foil_less_inductance(hole, covered, foils):
    width = covered * np.pi * hole
    one, wider = BoardVia(FR4, hole, foil_width=width), BoardVia(FR4, hole, foil_width=1.2 * width)
    several = BoardVia(FR4, hole, foil_width=width / foils, foils=float(foils))
    full = BoardVia(FR4, hole)
    slack = 1 + 1e-12
    assert full.inductance <= wider.inductance * slack <= one.inductance * slack**2
    assert full.inductance <= several.inductance * slack
    assert several.inductance <= one.inductance * slack  # the same foil in pieces around the wall spreads the current
    assert full.inductance > 0


@given(st.floats(1e-5, 1e-2), st.floats(0.1e-3, 5e-3), st.floats(1.0, 10.0), st.booleans())
def test_passive(diameter, length, scale, filled):
    omega = 2 * np.pi * np.concatenate([[0.0], np.geomspace(1.0, 1e12, 30)])
    part = BoardVia(FR4, diameter, length, filled=filled)
    z = impedance(part.relation(omega))
    assert (z.real > 0).all() and (np.diff(z.real) >= 0).all() and (np.diff(z.imag) > 0).all()
    assert gains_from(scattering(part.relation(omega))).max() < 1.0
    assert scale * resistance(part) == pytest.approx(resistance(BoardVia(FR4, diameter, scale * length, filled=filled)))


@pytest.mark.parametrize("make, place, words", [
    (lambda: BoardVia(FR4), "diameter", "foil_width"),
    (lambda: BoardVia(FR4, 3e-3, plating=20e-6, foil_width=3e-3), "foil_width", "take one of them out"),
    (lambda: BoardVia(FR4, 3e-3, filled=True, foil_width=3e-3), "foil_width", "filled"),
    (lambda: BoardVia(FR4, 3e-3, filled=True, plating=20e-6), "plating", "filled"),
    (lambda: BoardVia(FR4, 1e-3, plating=0.6e-3), "plating", "filled = true"),
    (lambda: BoardVia(FR4, foil_width=3e-3, foils=2.0), "foils", "diameter"),
    (lambda: BoardVia(FR4, 3e-3, foils=2.0), "foils", "foil_width"),
    (lambda: BoardVia(FR4, 3e-3, foil_width=3e-3, foils=1.5), "foils", "1, 2, 3")])
def test_refusals(make, place, words):
    with pytest.raises(Refusal) as refusal:
        make()
    assert refusal.value.place == place and words in refusal.value.what


@pytest.mark.parametrize("width, foils", [(30e-3, 1.0), (3e-3, 9.0)])
def test_more_foil_than_the_hole_is_around_is_refused(width, foils):
    with pytest.raises(Refusal, match="more than the hole is around, 11 mm") as refusal:
        BoardVia(FR4, 3.5e-3, foil_width=width, foils=foils)
    assert refusal.value.place == "foil_width"
    assert BoardVia(FR4, 3.5e-3, foil_width=11.3e-3).inductance == pytest.approx(BoardVia(FR4, 3.5e-3).inductance)
