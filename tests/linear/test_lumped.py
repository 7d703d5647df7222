"""Resistor, capacitor, inductor and via against closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear.board import Board
from hbsim.linear.lumped import BoardVia, Capacitor, Inductor, Resistor, Via
from scattering import gains_from, impedance, scattering

OMEGA = 2.0 * np.pi * np.concatenate([[0.0], np.geomspace(1e6, 100e9, 25)])
GIGA = 2.0 * np.pi * np.array([1e9])


def through(part, omega, z0=50.0):
    return scattering(part.relation(omega), z0)[:, 1, 0]


def series(z, z0=50.0):
    """S21 of a series impedance; textbook."""
    return 2.0 * z0 / (2.0 * z0 + z)


@pytest.mark.parametrize("resistance", [0.0, 0.3, 0.999, 1.0, 47.0, 1e6])
def test_resistor(resistance):
    assert through(Resistor(resistance), OMEGA) == pytest.approx(series(resistance), rel=1e-12)


def test_zero_ohm_and_chokes_at_dc_are_exact_connections():
    for part in (Resistor(0.0), Inductor(10e-9), Inductor(10e-9, quality_factor=40.0, at=1e9)):
        law = part.relation(np.array([0.0]))
        v, i = np.array([3.0, 3.0]), np.array([0.7, -0.7])
        assert (law.a[0] @ v + law.b[0] @ i == 0.0).all()
        assert np.abs(law.a[0] @ np.array([3.0, 2.0])).max() == 1.0


def test_a_capacitor_is_open_at_dc():
    for part in (Capacitor(1e-12), Capacitor(1e-12, 0.5), Capacitor(1e-12, 0.5, series_inductance=0.5e-9)):
        s = scattering(part.relation(np.array([0.0])))[0]
        assert s == pytest.approx(np.eye(2), abs=0.0)


def test_capacitor():
    z = 1.0 / (1j * OMEGA[1:] * 2e-12)
    assert through(Capacitor(2e-12), OMEGA[1:]) == pytest.approx(series(z), rel=1e-12)
    z = z + 0.4 + 1j * OMEGA[1:] * 0.5e-9
    assert through(Capacitor(2e-12, 0.4, series_inductance=0.5e-9), OMEGA[1:]) == pytest.approx(series(z), rel=1e-12)


def test_capacitor_at_its_series_resonance_is_its_resistance():
    c, inductance = 1e-12, 1e-9
    resonance = np.array([1.0 / np.sqrt(inductance * c)])
    assert through(Capacitor(c, series_inductance=inductance), resonance) == pytest.approx(1.0, abs=1e-12)
    lossy = Capacitor(c, 0.25, series_inductance=inductance)
    assert through(lossy, resonance) == pytest.approx(series(0.25), rel=1e-12)


def test_quality_factors_hold_where_they_are_stated():
    # Q = X / R is the definition (IEEE Std 100)
    def z(part, omega):
        s21 = through(part, omega)
        return 100.0 * (1.0 - s21) / s21

    at = z(Capacitor(1e-12, quality_factor=200.0, at=1e9), GIGA)
    assert -at.imag / at.real == pytest.approx(200.0, rel=1e-9)
    coil = Inductor(10e-9, series_resistance=0.2, quality_factor=40.0, at=1e9)
    at, dc, fourfold = z(coil, GIGA), z(coil, np.array([0.0])), z(coil, 4 * GIGA)
    assert at.imag / at.real == pytest.approx(40.0, rel=1e-9)
    assert dc == pytest.approx(0.2, rel=1e-12)
    assert fourfold.real - 0.2 == pytest.approx(2.0 * (at.real - 0.2), rel=1e-9)  # square root of frequency


def test_inductor_is_open_at_its_parallel_resonance():
    resonance = np.array([1.0 / np.sqrt(10e-9 * 0.1e-12)])
    assert abs(through(Inductor(10e-9, self_capacitance=0.1e-12), resonance)[0]) < 1e-12
    # R_parallel = X^2 / R for high Q, 1 / Q^2 apart; textbook
    part = Inductor(10e-9, series_resistance=1.0, self_capacitance=0.1e-12)
    reactance = resonance[0] * 10e-9
    s21 = through(part, resonance)[0]
    assert abs(100.0 * (1.0 - s21) / s21) == pytest.approx(reactance**2, rel=2.0 / reactance)


def test_via():
    assert impedance(Via(0.3e-9).relation(OMEGA)) == pytest.approx(1j * OMEGA * 0.3e-9)
    board = Board(0.635e-3, 9.9, 0.001, 17e-6, 5.8e7)
    # Goldfarb and Pucel 1991: 0.1223 nH for h 0.635, d 0.3 mm
    for part in (BoardVia(board, 0.3e-3), BoardVia(board, 0.3e-3, 0.635e-3)):
        assert part.inductance == pytest.approx(0.1223e-9, rel=4e-4)
        assert impedance(part.relation(GIGA)).imag == pytest.approx(GIGA * part.inductance)
    assert BoardVia(board, 0.3e-3, 0.508e-3).inductance == pytest.approx(0.08260e-9, rel=1e-4)
    assert BoardVia(board, 0.3e-3).warnings(1e9) == []
    assert "Goldfarb" in BoardVia(board, 0.05e-3).warnings(1e9)[0]


value = st.floats(0.0, 1e3)


@given(r=value, c=st.floats(0, 1e-9), esr=st.floats(0, 10), esl=st.floats(0, 1e-8), inductance=st.floats(0, 1e-6),
       cs=st.floats(0, 1e-12), q=st.floats(1, 1e4))
def test_passive_and_reciprocal(r, c, esr, esl, inductance, cs, q):
    lossless = [Resistor(0.0), Capacitor(c, series_inductance=esl), Inductor(inductance, self_capacitance=cs)]
    lossy = [Resistor(r), Capacitor(c, esr, series_inductance=esl), Capacitor(c, quality_factor=q, at=1e9),
             Inductor(inductance, esr, self_capacitance=cs), Inductor(inductance, quality_factor=q, at=1e9)]
    for part in lossless + lossy:
        s = scattering(part.relation(OMEGA))
        assert np.isfinite(s).all()
        assert s == pytest.approx(np.swapaxes(s, 1, 2), abs=1e-9)
        gains = gains_from(s)
        assert gains.max() < 1.0 + 1e-9
        if part in lossless:
            assert gains.min() > 1.0 - 1e-9


@pytest.mark.parametrize("make, place, words", [
    (lambda: Resistor(-1.0), "resistance", "at least"),
    (lambda: Resistor(float("nan")), "resistance", "not a finite number"),
    (lambda: Resistor(float("inf")), "resistance", "not a finite number"),
    (lambda: Capacitor(1e-12, quality_factor=100.0), "at", "quality_factor"),
    (lambda: Capacitor(1e-12, 0.1, 100.0, 1e9), "quality_factor", "take one of them out"),
    (lambda: Inductor(1e-9, quality_factor=40.0), "at", "add 'at'"),
    (lambda: Inductor(1e-9, 5.0, 40.0, 1e9), "quality_factor", "series_resistance"),
    (lambda: Via(-1e-9), "inductance", "at least"),
    (lambda: BoardVia(Board(1e-3, 4.0, 0.0, 1e-5, 5e7), 0.0), "diameter", "above"),
    (lambda: Board(1e-3, 0.5, 0.0, 1e-5, 5e7), "permittivity", "at least")])
def test_refusals(make, place, words):
    with pytest.raises(Refusal) as refusal:
        make()
    assert refusal.value.place == place and words in refusal.value.what
