"""Low-pass prototypes, and the coupled quarter waves made from them."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.design.inverters import equivalent, inverters, quarter_wave, shortened
from hbsim.design.prototype import Prototype
from hbsim.errors import Refusal

# G. L. Matthaei, L. Young, E. M. T. Jones 1964, table 4.05, from memory: ripple, g1 to g(n+1). The old tables count
# with 17.37 for 40/ln 10 and differ from the exact value by one in the fourth decimal (0.2 dB, n = 3: 1.2276).
TABLE = {
    (3, 0.01): "0.6292 0.9703 0.6292 1", (5, 0.01): "0.7563 1.3049 1.5773 1.3049 0.7563 1",
    (2, 0.1): "0.8430 0.6220 1.3554", (3, 0.1): "1.0316 1.1474 1.0316 1",
    (5, 0.1): "1.1468 1.3712 1.9750 1.3712 1.1468 1", (3, 0.2): "1.2275 1.1525 1.2275 1", (1, 0.5): "0.6986 1",
    (2, 0.5): "1.4029 0.7071 1.9841", (3, 0.5): "1.5963 1.0967 1.5963 1",
    (4, 0.5): "1.6703 1.1926 2.3661 0.8419 1.9841", (5, 0.5): "1.7058 1.2296 2.5408 1.2296 1.7058 1",
    (6, 0.5): "1.7254 1.2479 2.6064 1.3137 2.4758 0.8696 1.9841",
    (7, 0.5): "1.7373 1.2582 2.6383 1.3443 2.6383 1.2582 1.7373 1", (3, 1.0): "2.0236 0.9941 2.0236 1",
    (3, 3.0): "3.3487 0.7117 3.3487 1", (3, 0.0): "1 2 1 1", (4, 0.0): "0.7654 1.8478 1.8478 0.7654 1",
    (5, 0.0): "0.6180 1.6180 2 1.6180 0.6180 1"}


@pytest.mark.parametrize("order, ripple", TABLE)
def test_element_values_are_those_of_the_table(order, ripple):
    values = Prototype(order, ripple).values
    assert values[0] == 1.0
    printed = [float(text) for text in TABLE[order, ripple].split()]
    assert values[1:] == pytest.approx(printed, abs=6e-5)  # digits printed


def test_loss_at_1_8_ghz_by_the_low_pass_mapping():
    # D. M. Pozar, Microwave Engineering, ch. 8, 0.5 dB, n = 3, 2 GHz, 10 %: the curves of the book show more than 20 dB
    # at 1.8 GHz (from memory); the formula for omega = (f/f0 - f0/f)/W gives 20.8
    omega = (1.8 / 2.0 - 2.0 / 1.8) / 0.1
    assert Prototype(3, 0.5).loss_db(np.array([omega]))[0] == pytest.approx(20.8, abs=0.05)


def ladder_loss(values, omega):
    """Of a ladder, shunt capacitor first, from its transmission matrix; in dB."""
    loss = []
    for w in omega:
        m = np.eye(2, dtype=complex)
        for k, g in enumerate(values[1:-1]):
            m = m @ (np.array([[1, 0], [1j * w * g, 1]]) if k % 2 == 0 else np.array([[1, 1j * w * g], [0, 1]]))
        # an even count ends in a series inductor, where g(n+1) is a conductance's inverse turned about
        load = values[-1] if (len(values) - 2) % 2 else 1.0 / values[-1]
        s21 = 2.0 * math.sqrt(1.0 / load) / (m[0, 0] + m[0, 1] / load + m[1, 0] + m[1, 1] / load)
        loss.append(-20.0 * math.log10(abs(s21)))
    return np.array(loss)


@given(st.integers(1, 9), st.sampled_from([0.0, 0.01, 0.1, 0.5, 1.0, 3.0]))
def test_the_ladder_of_these_values_has_the_response(order, ripple):
    prototype, omega = Prototype(order, ripple), np.array([0.0, 0.3, 0.7, 0.95, 1.0, 1.3, 2.0])
    # Rounding, magnified by 120 dB at most.
    assert ladder_loss(prototype.values, omega) == pytest.approx(prototype.loss_db(omega), abs=1e-7)
    assert prototype.loss_db(1.0) == pytest.approx(prototype.edge_db, abs=1e-9)


def test_loss_of_the_mapped_prototype():
    # Pozar, ch. 8, from memory: 3 resonators, 0.5 dB, 10 % at 2 GHz have "more than 20 dB" at 1.8 GHz: 20.8 dB.
    assert Prototype(3, 0.5).loss_db((1.8 / 2.0 - 2.0 / 1.8) / 0.1) == pytest.approx(20.8, abs=0.05)


@pytest.mark.parametrize("order, ripple", [(0, 0.1), (10, 0.1), (3, -0.1), (3, 4.0)])
def test_what_makes_no_sense_is_refused(order, ripple):
    with pytest.raises(Refusal):
        Prototype(order, ripple)


@pytest.mark.parametrize("order, ripple, fraction, j, even, odd, tolerance", [
    # Pozar, Microwave Engineering, ch. 8, from memory; 70.61 there comes from rounding j: tolerance 0.01.
    (3, 0.5, 0.1, (0.3137, 0.1187), (70.61, 56.64), (39.24, 44.77), 0.01),
    # J.-S. Hong, M. J. Lancaster 2001, sec. 5.2, from memory: 0.1 dB, 15 %.
    (5, 0.1, 0.15, (0.4533, 0.1879, 0.1432), (82.937, 61.160, 58.184), (37.609, 42.371, 43.866), 1e-3),
    # Maximally flat: the formula of Cohn 1958 evaluated apart.
    (3, 0.0, 0.1, (0.3963, 0.1111), (77.67, 56.17), (38.04, 45.06), 6e-3)])
def test_published_inverters_and_impedances(order, ripple, fraction, j, even, odd, tolerance):
    found = [quarter_wave(value, 50.0) for value in inverters(Prototype(order, ripple), fraction)]
    half = found[:len(j)]
    assert [c.inverter for c in half] == pytest.approx(j, abs=6e-5)
    assert [c.even_impedance for c in half] == pytest.approx(even, abs=tolerance)
    assert [c.odd_impedance for c in half] == pytest.approx(odd, abs=tolerance)
    assert found == found[::-1]  # these prototypes are symmetrical


@given(st.floats(0.02, 0.8), st.floats(0.0, 80.0), st.floats(10.0, 120.0))
def test_a_shortened_section_is_the_inverter_wanted(j, bend, impedance):
    c = shortened(j, impedance, bend)
    found = equivalent(c.even_impedance, c.odd_impedance, c.degrees, c.degrees, impedance)
    assert found == pytest.approx((j, 90.0 - bend / 2.0), rel=1e-9, abs=1e-9)
    assert c.even_impedance + c.odd_impedance == pytest.approx(2.0 * impedance * (1.0 + j * j), rel=1e-12)


@given(st.floats(0.02, 0.8))
def test_without_a_bend_it_is_the_textbooks_section(j):
    long, c = quarter_wave(j, 50.0), shortened(j, 50.0, 0.0)
    assert (c.even_impedance, c.odd_impedance, c.degrees) == pytest.approx(
        (long.even_impedance, long.odd_impedance, 90.0), rel=1e-9)


@given(st.floats(60.0, 100.0), st.floats(20.0, 50.0), st.floats(50.0, 130.0), st.floats(50.0, 130.0))
def test_the_equivalent_has_the_impedance_matrix_of_the_section(even, odd, even_degrees, odd_degrees):
    # E. M. T. Jones, J. T. Bolljahn, IRE Trans. MTT-4 (1956) 75-81, against the matrices of line, inverter, line.
    j, psi = equivalent(even, odd, even_degrees, odd_degrees, 50.0)
    te, to, t = np.radians([even_degrees, odd_degrees, psi])
    z11 = -0.5j * (even / np.tan(te) + odd / np.tan(to))
    z12 = -0.5j * (even / np.sin(te) - odd / np.sin(to))
    line = np.array([[np.cos(t), 50j * np.sin(t)], [1j * np.sin(t) / 50.0, np.cos(t)]])
    inverter = np.array([[0.0, 1j * 50.0 / j], [1j * j / 50.0, 0.0]])
    m = line @ inverter @ line
    assert m[0, 0] / m[1, 0] == pytest.approx(z11, rel=1e-6, abs=1e-6)
    assert abs(1.0 / m[1, 0]) == pytest.approx(abs(z12), rel=1e-6)  # its sign is that of the winding alone
