"""Radial stub against integrations of the radial and of the non-uniform line, and against limits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import jv, yv

from hbsim.errors import Refusal
from hbsim.linear.board import Board, Conductor
from hbsim.linear.lines import BoardOpenStub
from hbsim.linear.microstrip import line, loss, radial
from hbsim.linear.microstrip.propagation import strip_spread
from hbsim.linear.radial_stub import BoardRadialStub
from scattering import gains_from, impedance, scattering

FR4 = Board(1.6e-3, 4.4, 0.02, 35e-6, 5.8e7)
SMOOTH = Board(1.6e-3, 4.4, 0.0, 35e-6, 1e30)
STUBS = (BoardRadialStub(FR4, 12e-3, 60.0, inner_width=1e-3), BoardRadialStub(FR4, 8e-3, 90.0, inner_radius=0.5e-3),
         BoardRadialStub(FR4, 20e-3, 30.0, inner_width=3e-3), BoardRadialStub(FR4, 20e-3, 170.0, inner_width=1.5e-3))


def integrated(first, last, per_length):
    """V / I at `first` of a line that is open at `last`; `per_length(r)` gives series impedance and admittance."""
    def slope(r, state):
        z, y = per_length(min(r, last))
        return [-z * state[1], -y * state[0]]

    found = solve_ivp(slope, [last, first], [1.0 + 0j, 0j], rtol=1e-10, atol=1e-14, method="DOP853")
    return found.y[0, -1] / found.y[1, -1]


def local_line(part, frequency):
    """Telegrapher's constants at radius r, each r a microstrip of its own width; rim extension on top."""
    board, omega, f = part.board, 2 * np.pi * frequency, np.array([frequency])

    def per_length(r):
        width = part.opening * r
        static = line.static_line(width / board.height, part.metal.thickness / board.height, board.permittivity)
        ee = line.dispersive_permittivity(line.ghz_mm(f, board.height), width / board.height, board.permittivity,
                                          static.permittivity)[0]
        spread = strip_spread(width, part.metal, board)
        resistance = loss.series_resistance(f, spread, width, part.metal, board.metal)[0]
        tangent = board.loss_tangent * board.permittivity * (ee - 1) / (board.permittivity - 1) / ee
        inductance = static.air_impedance / line.LIGHT
        capacitance = ee / (line.LIGHT**2 * inductance)
        return resistance + 1j * omega * inductance, 1j * omega * capacitance * (1 - 1j * tangent)

    rim = part.outer_radius + radial.rim_extension(part.outer_radius, part.opening, part.metal, board)
    return integrated(part.start, rim, per_length)


def resonance(z, guess):
    return brentq(lambda f: z(f).imag, 0.9 * guess, 1.1 * guess, xtol=1e5)


def at(part, frequency):
    return impedance(part.relation(2 * np.pi * np.array([frequency])))[0]


def first_resonance(part):
    f = np.linspace(0.1, 1.0, 400) * 3e8 / part.outer_radius / 4
    x = impedance(part.relation(2 * np.pi * f)).imag
    return resonance(lambda g: at(part, g), f[np.where((x[:-1] < 0) & (x[1:] > 0))[0][0]])


@pytest.mark.parametrize("part", STUBS)
@pytest.mark.parametrize("frequency", [1e3, 1e6, 0.9e9, 3.456e9, 11e9, 60e9])
def test_bessel_functions_solve_the_radial_line(part, frequency):
    f, omega, h = np.array([frequency]), 2 * np.pi * frequency, part.board.height
    shape = radial.sector(part.start, part.outer_radius, part.opening, part.metal, part.board, f)

    def per_length(rho):
        width = shape.slope * rho
        return ((1j * omega + shape.decay[0]) * line.MU0 * h / width,
                1j * omega * shape.permittivity[0] * (1 - 1j * shape.loss_tangent[0]) * width / h
                / (line.MU0 * line.LIGHT**2))

    expected = integrated(shape.inner, shape.outer, per_length)
    assert at(part, frequency) == pytest.approx(expected, rel=1e-7)  # the integration's tolerance over 10 to 100 turns


@pytest.mark.parametrize("part", STUBS)
def test_radial_line_stands_for_the_sector(part):
    # the non-uniform line that it replaces: at low frequency the same capacitance and resistance (the means are made
    # for that; 1e-6 is the rule's), at the first resonance within 0.2 %, at 0.5 and 1.5 of it within 1 % and 3 %
    for f in (1e3, 1e6):
        assert at(part, f) == pytest.approx(local_line(part, f), rel=1e-6)
    f0 = first_resonance(part)
    assert f0 == pytest.approx(resonance(lambda f: local_line(part, f), f0), rel=2e-3)
    assert at(part, 0.5 * f0) == pytest.approx(local_line(part, 0.5 * f0), rel=1e-2)
    assert at(part, 1.5 * f0) == pytest.approx(local_line(part, 1.5 * f0), rel=3e-2)
    assert at(part, f0).real == pytest.approx(local_line(part, f0).real, rel=2e-2)


def test_the_lossless_law_as_it_is_published():
    # -j (h eta / (s rho1)) (N0 J1' ...): Marcuvitz 1951 by scipy's real Bessel functions
    part = BoardRadialStub(SMOOTH, 12e-3, 60.0, inner_width=1e-3)
    f = np.array([0.3e9, 2e9, 5e9, 20e9])
    shape = radial.sector(part.start, part.outer_radius, part.opening, part.metal, part.board, f)
    k = 2 * np.pi * f * np.sqrt(shape.permittivity) / line.LIGHT
    x1, x2 = k * shape.inner, k * shape.outer
    wave = line.ETA0 / np.sqrt(shape.permittivity) * part.board.height / (shape.slope * shape.inner)
    expected = 1j * wave * (jv(0, x1) * yv(1, x2) - yv(0, x1) * jv(1, x2)) / (jv(1, x1) * yv(1, x2)
                                                                              - yv(1, x1) * jv(1, x2))
    assert impedance(part.relation(2 * np.pi * f)) == pytest.approx(expected, rel=1e-6)  # metal of 1e30 S/m


def test_a_narrow_sector_is_an_open_stub():
    # 1 degree over 10 mm at 170 mm radius: the width grows by 6 %, that of the straight stub is the one in the middle
    inner, length = 0.17, 10e-3
    part = BoardRadialStub(SMOOTH, inner + length, 1.0, inner_radius=inner)
    straight = BoardOpenStub(SMOOTH, part.opening * (inner + length / 2), length)
    omega = 2 * np.pi * np.array([0.5e9, 1e9, 2e9])
    assert impedance(part.relation(omega)) == pytest.approx(impedance(straight.relation(omega)), rel=0.03)
    widening = BoardRadialStub(SMOOTH, 20e-3, 60.0, inner_width=straight.width)
    narrow = BoardOpenStub(SMOOTH, straight.width, 20e-3 - widening.start)
    assert abs(at(widening, 1e9)) < 0.5 * abs(impedance(narrow.relation(omega[1:2]))[0])  # more metal, more capacitance


def test_open_at_dc_and_a_capacitor_near_it():
    part = STUBS[0]
    law = part.relation(np.array([0.0]))
    assert law.a[0, 0, 0] == 0.0 and law.b[0, 0, 0] == 1.0
    low = scattering(part.relation(2 * np.pi * np.array([0.0, 1.0, 1e3])))[:, 0, 0]
    assert low == pytest.approx(1.0, abs=2e-6)  # 100 w C: 2 pi x 1e3 x 2.7 pF x 100 = 1.7e-6


def test_inner_width_says_the_inner_radius():
    # a chord: w = 2 r sin(angle / 2)
    one = BoardRadialStub(FR4, 12e-3, 60.0, inner_width=1e-3)
    other = BoardRadialStub(FR4, 12e-3, 60.0, inner_radius=1e-3)
    assert one.start == pytest.approx(other.start)
    omega = 2 * np.pi * np.array([0.0, 1e9])
    assert scattering(one.relation(omega)) == pytest.approx(scattering(other.relation(omega)))


def test_losses_grow_with_what_loses():
    f0 = first_resonance(STUBS[0])
    dry = Board(1.6e-3, 4.4, 0.0, 35e-6, 5.8e7)
    worse = Conductor(35e-6, 5.8e7, loss_factor=4.0)
    lossless, metal, both, tape = (
        at(BoardRadialStub(board, 12e-3, 60.0, inner_width=1e-3, conductor=conductor), f0).real
        for board, conductor in ((SMOOTH, None), (dry, None), (FR4, None), (FR4, worse)))
    assert 0.0 <= lossless < 1e-6 < metal < both < tape


@settings(deadline=None, max_examples=60)
@given(h=st.floats(0.2e-3, 2e-3), er=st.floats(1, 13), tangent=st.sampled_from([0.0, 0.02, 1.0]),
       angle=st.floats(1.0, 180.0), inner=st.floats(0.05e-3, 3e-3), more=st.floats(1e-3, 40e-3))
def test_passive_everywhere(h, er, tangent, angle, inner, more):
    omega = 2 * np.pi * np.concatenate([[0.0], np.geomspace(1.0, 1e12, 80)])
    with np.errstate(over="raise", divide="raise", invalid="raise"):
        for board in (Board(h, er, tangent, 17e-6, 5.8e7), Board(h, er, 0.0, 17e-6, 1e30)):
            s = scattering(BoardRadialStub(board, inner + more, angle, inner_radius=inner).relation(omega))
            assert np.isfinite(s).all()
            gains = gains_from(s)
            assert gains.max() < 1 + 1e-9
    assert gains.min() > 1 - 1e-6  # metal of 1e30 S/m


@settings(deadline=None, max_examples=40)
@given(angle=st.floats(5.0, 180.0), outer=st.floats(4e-3, 30e-3))
def test_its_reactance_grows_with_frequency(angle, outer):
    # R. M. Foster, Bell Syst. Tech. J. 3 (1924) 259-267: the reflection of a lossless one-port turns one way
    part = BoardRadialStub(SMOOTH, outer, angle, inner_radius=1e-3)
    f = np.linspace(0.01e9, 15e9, 3000)
    phase = np.unwrap(np.angle(scattering(part.relation(2 * np.pi * f))[:, 0, 0]))
    assert (np.diff(phase) < 0).all()


@pytest.mark.parametrize("make, place, words", [
    (lambda: BoardRadialStub(FR4, 12e-3, 60.0), "inner_width", "inner_radius"),
    (lambda: BoardRadialStub(FR4, 12e-3, 60.0, 1e-3, 1e-3), "inner_width", "take one of them out"),
    (lambda: BoardRadialStub(FR4, 1e-3, 60.0, inner_radius=1e-3), "outer_radius", "larger"),
    (lambda: BoardRadialStub(FR4, 12e-3, 0.5, inner_radius=1e-3), "angle", "at least"),
    (lambda: BoardRadialStub(FR4, 12e-3, 200.0, inner_radius=1e-3), "angle", "at most")])
def test_refusals(make, place, words):
    with pytest.raises(Refusal) as refusal:
        make()
    assert refusal.value.place == place and words in refusal.value.what


def test_warnings():
    assert STUBS[0].warnings(6e9) == []
    texts = STUBS[0].warnings(40e9)
    assert any("arc" in text for text in texts) and any("GHz mm" in text for text in texts)
