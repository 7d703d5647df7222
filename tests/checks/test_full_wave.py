"""Dispersion formulas of one strip against the full-wave solution of full_wave.py; that one against other solutions.

Deviations in percent. M. Kirschning, R. H. Jansen, Electronics Letters 18 (1982) 272-273 (permittivity, claimed 0.6 %);
R. H. Jansen, M. Kirschning, AEUe 37 (1983) 108-112 (power-current impedance).
"""

import numpy as np
import pytest
from electrostatics import thin
from full_wave import microstrip
from hypothesis import given, settings
from hypothesis import strategies as st

from hbsim.linear.microstrip import line


def percent(value, truth):
    return 100.0 * (value / truth - 1.0)


def solved(u, er, F):
    """Permittivity and impedance; permittivity never falls, so it is looked for from just below the static one up."""
    return microstrip(u, er, F, 0.98 * thin(u, er).permittivity)


@pytest.mark.parametrize("er, u, F, ee, z", [
    (10.2, 1, 10, 7.4799, 49.894), (4.4, 2, 4.8, 3.4129, 48.845), (2.2, 3, 7.87, 1.9107, 51.477),
    (10.2, 5, 3, 8.4060, 17.326), (10.2, 0.2, 30, 7.7067, 130.69), (2.2, 0.2, 20, 1.7400, 177.330)])
def test_full_wave_against_another_solution(er, u, F, ee, z):
    # a spectral-domain solution made before this one, which did not see it; printed digits
    assert solved(u, er, F) == pytest.approx((ee, z), rel=2.5e-5)


@pytest.mark.parametrize("er, u", [(2.2, 0.2), (4.4, 1.0), (10.2, 5.0)])
def test_full_wave_becomes_static(er, u):
    # against the images of electrostatics.py; at F = 0.03 GHz mm dispersion is 1e-5 and grows as F^2
    static = thin(u, er)
    found = solved(u, er, 0.03)
    assert found == pytest.approx((static.permittivity, static.impedance), rel=3e-5)


def check(u, er, F):
    ee, z = solved(u, er, F)
    static, at = line.static_line(u, 0.0, er), np.array([float(F)])
    found = percent(line.dispersive_permittivity(at, u, er, static.permittivity)[0], ee)
    # claimed 0.6 %; found 0.61 at er 3, u 0.25, F 20 and 0.62 % at er 18, u 1.6, F 3; rms 0.23 %
    assert abs(found) < 0.63
    found = percent(line.dispersive_impedance(at, u, er, static.impedance, static.permittivity)[0], z)
    # found, er 2.2 to 10.2: 0.74 % up to F = 10, 1.07 % up to 20, 1.7 % up to 30; below er 2.2 it grows towards the
    # pole of the formula near er 1: 3.2 % at er 1.2, F 30
    assert abs(found) < (0.8 if F <= 10.0 else 1.1 if F <= 20.0 else 1.75)


@given(u=st.floats(0.2, 5.0), er=st.floats(2.2, 10.2), F=st.floats(0.1, 30.0))
@settings(max_examples=100)
def test_dispersion(u, er, F):
    check(u, er, F)


@pytest.mark.parametrize("er", [2.2, 4.4, 10.2])
@pytest.mark.parametrize("u", [0.2, 1.0, 5.0])
def test_dispersion_on_a_grid(u, er):
    for F in (1.0, 5.0, 10.0, 20.0, 30.0):
        check(u, er, F)
