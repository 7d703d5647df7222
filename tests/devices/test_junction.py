"""The exponential, the depletion charge and the temperature laws, without a device around them."""

import math

import numpy as np
import pytest
import scipy.constants
import scipy.integrate
from hypothesis import given, settings
from hypothesis import strategies as st

from hbsim.devices import temperature
from hbsim.devices.junction import TANGENT_CURRENT, critical_voltage, depletion, depletion_constants, junction_current
from hbsim.errors import Refusal


@pytest.mark.parametrize("v", [-1.0, -0.1, 0.0, 0.6, 0.9])
def test_current_of_an_exponential_junction(v):
    # the ideal law itself; expm1 of the math library as the outside reference
    current, slope = junction_current(v, 1e-15, 40.0)
    assert current == pytest.approx(1e-15 * math.expm1(40.0 * v), rel=1e-13, abs=1e-30)
    assert slope == pytest.approx(40e-15 * math.exp(40.0 * v), rel=1e-13)


def test_current_goes_on_along_its_tangent():
    # closed form: value and slope at the joint, and a straight line after it
    joint = math.log(TANGENT_CURRENT / 1e-15) / 40.0
    current, slope = junction_current(joint + 0.05, 1e-15, 40.0)
    assert slope == pytest.approx(TANGENT_CURRENT * 40.0, rel=1e-12)
    assert current == pytest.approx(TANGENT_CURRENT * (1.0 + 0.05 * 40.0), rel=1e-12)
    assert np.isfinite(junction_current(1e6, 1e-300, 40.0)[0])


@pytest.mark.parametrize("v", [-5.0, -0.2, 0.0, 0.3])
@pytest.mark.parametrize("m", [0.0, 1 / 3, 0.5, 0.85])
def test_depletion_capacitance_law(v, m):
    # Sze and Ng, Physics of Semiconductor Devices, 3rd ed., ch. 2 (from memory): C = C0 (1 - V/V0)^-m
    c = depletion(v, depletion_constants(2e-12, 0.8, m, 0.5), 0)[1]
    assert c == pytest.approx(2e-12 * (1 - v / 0.8) ** -m, rel=1e-14)


@settings(max_examples=40, deadline=None)
@given(v=st.floats(-30, 3), m=st.floats(0, 0.9), v0=st.floats(0.3, 1.5), fc=st.floats(0, 0.95))
def test_depletion_charge_is_the_integral_of_the_capacitance(v, m, v0, fc):
    p = depletion_constants(1.0, v0, m, fc)
    edge = [fc * v0] if min(0, v) < fc * v0 < max(0, v) else None
    area, error = scipy.integrate.quad(lambda u: depletion(u, p, 0)[1], 0, v, points=edge, epsabs=1e-12, epsrel=1e-11)
    assert depletion(v, p, 0)[0] == pytest.approx(area, rel=1e-10, abs=1e-10 + error)  # quadrature, and 1 - room^(1-m)


def test_depletion_beyond_the_edge_is_the_published_line():
    # published form: C = C0/F2 (F3 + m v/V0), F2 = (1 - FC)^(1 + m), F3 = 1 - FC (1 + m), Massobrio and Antognetti
    c0, v0, m, fc, v = 1.1e-12, 0.7, 0.55, 0.5, 0.6
    f1 = v0 / (1 - m) * (1 - (1 - fc) ** (1 - m))
    f2, f3 = (1 - fc) ** (1 + m), 1 - fc * (1 + m)
    charge, c = depletion(v, depletion_constants(c0, v0, m, fc), 0)
    assert c == pytest.approx(c0 / f2 * (f3 + m * v / v0), rel=1e-13)
    wanted = c0 * (f1 + (f3 * (v - fc * v0) + m / (2 * v0) * (v**2 - (fc * v0) ** 2)) / f2)
    assert charge == pytest.approx(wanted, rel=1e-13)


def test_no_capacitance_no_charge():
    assert depletion(0.4, depletion_constants(0.0, 0.75, 0.33, 0.5), 0) == (0.0, 0.0)


def test_critical_voltage_is_where_the_curvature_is_largest():
    # closed form: y = IS exp(v/a) has the largest curvature y''/(1 + y'^2)^(3/2) where y' = 1/sqrt(2)
    v = critical_voltage(1e-15, 0.0259)
    assert 1e-15 / 0.0259 * math.exp(v / 0.0259) == pytest.approx(1 / math.sqrt(2), rel=1e-12)


# Check values of the laws in Getreu (1976) and Massobrio and Antognetti (1993) at Tn = 300.15 K, XTI 3, EG 1.11,
# XTB 1.5, NE 1.5, VJ 0.75, M 0.33, worked out beforehand from the printed formulas with exact SI constants.
@pytest.mark.parametrize("T, current, gain, leakage, v0, c0, gap", [
    (250.0, 1.054508769e-4, 0.760155586, 2.93628116e-3, 0.835419466, 0.955795635, 1.12769146),
    (350.0, 715.7360874, 1.25919951, 63.5439291, 0.661393049, 1.04556726, 1.10101852),
    (400.0, 1.063263296e5, 1.53844674, 1458.85261, 0.569279919, 1.09269704, 1.08551724)])
def test_temperature_table(T, current, gain, leakage, v0, c0, gap):
    close = dict(rel=1e-8)  # digits printed
    transport = temperature.current_ratio(T, 300.15, 1.11, 3)
    assert transport == pytest.approx(current, **close)
    assert temperature.gain_ratio(T, 300.15, 1.5) == pytest.approx(gain, **close)
    assert temperature.leakage_ratio(transport, temperature.gain_ratio(T, 300.15, 1.5), 1.5) \
        == pytest.approx(leakage, **close)
    assert temperature.silicon_gap(T) == pytest.approx(gap, **close)
    assert temperature.depletion(1.0, 0.75, 0.33, T, 300.15) == (pytest.approx(c0, **close), pytest.approx(v0, **close))


def test_current_ratio_is_that_of_the_intrinsic_density():
    # Sze and Ng, ch. 1 (from memory): n_i^2 goes as T^3 exp(-Eg / kT); constants of scipy (CODATA)
    k = scipy.constants.k / scipy.constants.e
    expected = (380 / 300) ** 3 * math.exp(1.11 / k * (1 / 300 - 1 / 380))
    assert temperature.current_ratio(380, 300, 1.11, 3) == pytest.approx(expected, rel=1e-12)


def test_a_junction_that_has_lost_its_built_in_voltage_is_refused():
    with pytest.raises(Refusal, match="lower temperature"):
        temperature.built_in_voltage(0.5, 650.0, 300.15)
