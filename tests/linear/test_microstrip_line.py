"""Single microstrip line against independent numerical solutions, published tables and closed forms.

"Electrostatic" and "full-wave" values come from numerical solutions made for this project (images and Galerkin, thick
strips by panels, spectral domain), with errors of about 1e-6, 2e-4 and 1e-4; none of them uses the formulas tested.
Expected deviations are those found when the formulas were first compared, in percent, and their printed rounding.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ellipe, ellipeinc, ellipk, ellipkinc

from hbsim.linear.board import Board, Conductor
from hbsim.linear.microstrip import line, loss
from hbsim.linear.microstrip.propagation import single_line
from hbsim.linear.microstrip.via import via_inductance, via_warnings

COPPER = 5.8e7
FR4 = Board(height=1.6e-3, permittivity=4.4, loss_tangent=0.02, thickness=35e-6, conductivity=COPPER)


def percent(value, truth):
    return 100.0 * (value / truth - 1.0)


@pytest.mark.parametrize("u, truth, deviation", [
    (0.1, 262.75843, 0.000), (0.2, 221.25436, 0.000), (0.5, 166.69980, 0.000), (1, 126.42387, 0.000),
    (2, 89.02875, 0.000), (3, 69.77998, 0.002), (5, 49.36571, 0.005), (10, 29.02089, -0.001)])
def test_air_line_against_conformal_map(u, truth, deviation):
    # exact conformal map: A. E. H. Love, Proc. London Math. Soc. 22 (1923) 337; claimed 0.01 % and 0.03 %
    assert percent(line.air_impedance(u), truth) == pytest.approx(deviation, abs=7e-4)


@given(st.floats(0.02, 0.98))
def test_air_line_against_the_map_itself(m):
    # Love 1923 by scipy's elliptic integrals; m = k^2. Claimed accuracy of the fit: 0.03 %.
    K, E = ellipk(m), ellipe(m)
    phi = np.arcsin(np.sqrt((1.0 - E / K) / m))
    u = 4.0 / np.pi * (K * ellipeinc(phi, m) - E * ellipkinc(phi, m))
    exact = line.ETA0 / 2.0 * ellipk(1.0 - m) / K
    assert line.air_impedance(u) == pytest.approx(exact, rel=3e-4)


def test_the_map_at_its_symmetric_point():
    # at k^2 = 1/2 the map gives u = 0.34700256 and half the wave impedance
    assert line.air_impedance(0.34700256) == pytest.approx(188.365157, rel=1e-4)


@pytest.mark.parametrize("er, u, z, ee, dz, de", [
    (4.4, 2, 48.6798, 3.34474, 0.012, -0.024), (2.2, 1, 94.9082, 1.77440, 0.058, -0.116),
    (10.2, 1, 48.3873, 6.82646, -0.037, 0.074), (10.2, 5, 17.3247, 8.11931, 0.110, -0.211),
    (2.2, 0.2, 169.7602, 1.69868, 0.058, -0.116), (4.4, 0.5, 95.4142, 3.05242, 0.041, -0.082),
    (4.4, 5, 25.8630, 3.64330, 0.097, -0.185), (10.2, 0.2, 88.3730, 6.26823, -0.005, 0.009)])
def test_thin_strip_against_electrostatic_solution(er, u, z, ee, dz, de):
    static = line.static_line(u, 0.0, er)
    assert percent(static.impedance, z) == pytest.approx(dz, abs=1e-3)
    assert percent(static.permittivity, ee) == pytest.approx(de, abs=1e-3)


@pytest.mark.parametrize("er, u, tt, z, ee, dz, de", [
    (1.0, 1, 0.02, 124.224, 1.0, -0.014, 0.0), (4.4, 1, 0.01, 70.515, 3.1520, 0.03, -0.08),
    (4.4, 0.2, 0.1, 115.184, 2.7370, 0.02, -0.46), (10.2, 1, 0.05, 47.303, 6.6341, -0.03, 0.00)])
def test_thick_strip_against_electrostatic_solution(er, u, tt, z, ee, dz, de):
    static = line.static_line(u, tt, er)
    assert percent(static.impedance, z) == pytest.approx(dz, abs=0.01)
    assert percent(static.permittivity, ee) == pytest.approx(de, abs=0.01)


@pytest.mark.parametrize("er, u, F, ee, z, de, dz", [
    (10.2, 1, 10, 7.4799, 49.894, 0.17, 0.25), (4.4, 2, 4.8, 3.4129, 48.845, -0.01, -0.16),
    (2.2, 3, 7.87, 1.9107, 51.477, -0.14, -0.53), (10.2, 5, 3, 8.4060, 17.326, 0.11, 0.32),
    (10.2, 0.2, 30, 7.7067, 130.69, 0.36, -0.19), (2.2, 0.2, 20, 1.7400, 177.330, -0.47, -1.06),
    (4.4, 0.2, 20, 3.1563, 137.734, -0.52, -0.75), (10.2, 2, 20, 8.8595, 37.754, 0.30, 0.15)])
def test_dispersion_against_full_wave_solution(er, u, F, ee, z, de, dz):
    # claimed 0.6 % for ee; u = 5, F = 3 tells the print's GHz cm constants from the GHz mm ones
    static = line.static_line(u, 0.0, er)
    found = line.dispersive_permittivity(np.array([F]), u, er, static.permittivity)[0]
    assert percent(found, ee) == pytest.approx(de, abs=0.01)
    found = line.dispersive_impedance(np.array([float(F)]), u, er, static.impedance, static.permittivity)[0]
    assert percent(found, z) == pytest.approx(dz, abs=0.012)


@pytest.mark.parametrize("h, z0, width, ee0, quarters, dl", [
    (1.6, 30, 6.571, 3.5705, (39.535, 19.672, 16.359, 13.046, 7.745, 3.782), 0.4716),
    (1.6, 50, 3.062, 3.3313, (40.970, 20.411, 16.982, 13.552, 8.058, 3.934), 0.4025),
    (1.6, 70.7, 1.616, 3.1699, (42.027, 20.957, 17.443, 13.927, 8.295, 4.060), 0.3469),
    (1.6, 100, 0.705, 3.0339, (42.983, 21.452, 17.861, 14.269, 8.515, 4.186), 0.2777),
    (0.8, 50, 1.531, 3.3313, (41.029, 20.485, 17.059, 13.633, 8.148, 4.029), 0.4025),
    (0.8, 100, 0.352, 3.0339, (43.012, 21.491, 17.904, 14.315, 8.571, 4.257), 0.2777)])
def test_fr4_table(h, z0, width, ee0, quarters, dl):
    # computed independently from the same published formulas, zero thickness; tolerances from the printed digits
    u = width / h
    static = line.static_line(u, 0.0, 4.4)
    assert static.impedance == pytest.approx(z0, rel=1.2e-3 * 0.5 / width)
    assert static.permittivity == pytest.approx(ee0, rel=2e-4)
    f = np.array([1, 2, 2.4, 3, 5, 10]) * 1e9
    ee = line.dispersive_permittivity(line.ghz_mm(f, h * 1e-3), u, 4.4, static.permittivity)
    assert line.LIGHT / (4.0 * f * np.sqrt(ee)) * 1e3 == pytest.approx(np.array(quarters), rel=2e-4)
    assert line.open_end(u, 4.4, static.permittivity) == pytest.approx(dl, rel=2e-4 + 3e-4 * 0.35 / width)


@pytest.mark.parametrize("er, u, formula, dynamic, deviation", [
    (2.2, 0.5, 0.3208, 0.337, -4.9), (2.2, 2, 0.4640, 0.495, -6.3), (4.4, 0.5, 0.2881, 0.291, -1.1),
    (4.4, 2, 0.4065, 0.415, -1.9), (10.2, 0.5, 0.2645, 0.263, 0.4), (10.2, 1, 0.3162, 0.316, 0.0),
    (10.2, 4, 0.4084, 0.400, 2.0), (9.6, 1, 0.3178, None, None)])
def test_open_end_against_full_wave_resonators(er, u, formula, dynamic, deviation):
    # claimed 2.5 %; the resonator solution is good to about 2 %, printed to 0.1 %
    found = line.open_end(u, er, line.static_line(u, 0.0, er).permittivity)
    assert found == pytest.approx(formula, abs=6e-5)
    if dynamic is not None:
        assert percent(found, dynamic) == pytest.approx(deviation, abs=0.2)


@pytest.mark.parametrize("sigma, f, depth, tolerance", [
    (5.813e7, 10e9, 6.60e-7, 0.001), (3.816e7, 10e9, 8.14e-7, 0.0012), (6.173e7, 10e9, 6.40e-7, 0.0012),
    (4.098e7, 10e9, 7.86e-7, 0.001)])
def test_skin_depth(sigma, f, depth, tolerance):
    # D. M. Pozar, Microwave Engineering, table of skin depths at 10 GHz (copper, aluminium, silver; gold from memory)
    assert loss.skin_depth(f, sigma) == pytest.approx(depth, rel=tolerance)


def test_surface_resistance():
    assert loss.surface_resistance(np.array([0.0, 1e9, 10e9]), 5.813e7) == pytest.approx([0, 8.241e-3, 26.06e-3],
                                                                                          rel=1e-4)


@pytest.mark.parametrize("u, tt, strip, ground, deviation", [
    (0.1, 0.01, 7.093, 0.1583, 2.3), (0.3, 0.01, 2.894, 0.1575, 1.7), (1, 0.01, 0.9976, 0.1497, 0.4),
    (1, 0.05, 0.8015, 0.1472, 0.3), (2, 0.01, 0.5123, 0.1330, 0.6), (3, 0.01, 0.3394, 0.1173, 0.8),
    (6, 0.01, 0.1650, 0.0852, 1.0)])
def test_conductor_loss_against_the_rule_on_panels(u, tt, strip, ground, deviation):
    # Wheeler's rule applied to an electrostatic solution of the thick strip, R h / Rs
    def air(s, g):
        return line.static_line((u - 2 * s) / (1 + s + g), (tt - 2 * s) / (1 + s + g), 1.0).impedance

    found = loss.recession(air, 1e-4 * tt)
    assert percent(sum(found), strip + ground) == pytest.approx(deviation, abs=0.06)
    assert found[1] == pytest.approx(ground, rel=5e-3)


def test_losses_of_a_50_ohm_line_on_fr4():
    # electrostatic: conductor 0.284 dB/m; the closed form exceeds it by up to 1.0 % (table above) and the last printed
    # digit is worth 0.18 %. Dielectric 3.009 dB/m by the usual formula.
    ee0 = line.static_line(3.062 / 1.6, 0.0, 4.4).permittivity
    db = 20.0 / np.log(10.0)
    assert loss.dielectric_loss(1e9, 4.4, ee0, 0.02) * db == pytest.approx(3.009, rel=3e-4)
    lossless = Board(1.6e-3, 4.4, 0.0, 35e-6, COPPER)
    gamma = single_line(3.017e-3, lossless.metal, lossless, np.array([1e9])).gamma[0]
    assert gamma.real * db == pytest.approx(0.284, rel=0.0118)


def test_conductor_loss_on_alumina():
    # 50 ohm, er 9.9, h 0.635 mm, 17 um smooth copper at 10 GHz: 3.85 dB/m by the rule on panels
    board = Board(0.635e-3, 9.9, 0.0, 17e-6, COPPER)
    width = 0.60e-3
    propagation = single_line(width, board.metal, board, np.array([10e9]))
    assert propagation.gamma[0].real * 20.0 / np.log(10.0) == pytest.approx(3.85, rel=0.015)
    assert line.static_line(width / board.height, 17 / 635, 9.9).impedance == pytest.approx(50.0, abs=0.5)


def test_roughness():
    # 1 + 2/pi atan(1.4 x^2) at x = rq / depth; Hammerstad and Bekkadal 1975
    depth = loss.skin_depth(1e9, COPPER)
    for x, expected in ((0.0, 1.0), (0.25, 1.0556), (0.5, 1.2143), (1.0, 1.6051), (2.0, 1.8875)):
        metal = Conductor(35e-6, COPPER, x * depth)
        assert loss.roughness_factor(np.array([1e9]), metal)[0] == pytest.approx(expected, abs=6e-5)


def test_tape_changes_the_strip_and_not_the_ground():
    smooth = Board(1.6e-3, 4.4, 0.0, 35e-6, COPPER)
    poor = Conductor(35e-6, COPPER / 4.0)
    f = np.array([1e9])
    own, other = (single_line(3e-3, metal, smooth, f) for metal in (smooth.metal, poor))
    # half the conductivity squared: twice Rs, in the strip only, which carries most of the loss at u = 2
    share = other.gamma[0].real / own.gamma[0].real - 1.0
    assert 0.75 < share < 0.85
    assert other.impedance == pytest.approx(own.impedance)


def test_a_thin_strip_keeps_its_dc_resistance():
    board = Board(1.6e-3, 4.4, 0.0, 1e-6, COPPER)
    f = np.array([1e6])  # 66 um skin depth
    gamma = single_line(3e-3, board.metal, board, f).gamma[0]
    z0 = line.static_line(3 / 1.6, 1 / 1600, 4.4).impedance
    assert gamma.real > 1.0 / (COPPER * 3e-3 * 1e-6) / (2.0 * z0)


@pytest.mark.parametrize("h, d, nanohenry", [(0.635, 0.3, 0.1223), (0.1, 0.05, 0.01847), (1.6, 0.8, 0.29554),
                                             (0.508, 0.3, 0.08260)])
def test_via(h, d, nanohenry):
    # Goldfarb and Pucel 1991, evaluated independently
    assert via_inductance(d * 1e-3, h * 1e-3) == pytest.approx(nanohenry * 1e-9, rel=5e-4)


@given(u=st.floats(0.02, 50), tt=st.floats(1e-4, 0.1), er=st.floats(1, 20), h=st.floats(0.1e-3, 3e-3))
def test_finite_and_sane_everywhere(u, tt, er, h):
    board = Board(h, er, 0.02, tt * h, COPPER, 2e-6)
    f = np.concatenate([[0.0], np.geomspace(1e6, 100e9, 40)])
    with np.errstate(over="raise", divide="raise", invalid="raise"):
        found = single_line(u * h, board.metal, board, f)
    static = line.static_line(u, tt, er)
    assert found.impedance[0] == pytest.approx(static.impedance, rel=1e-12) and found.gamma[0] == 0.0
    assert np.isfinite(found.impedance).all() and (found.impedance > 0.9 * static.impedance).all()
    assert (found.gamma[1:].real > 0).all()
    ee = (found.gamma.imag[1:] * line.LIGHT / (2.0 * np.pi * f[1:])) ** 2
    assert (np.diff(ee) >= -1e-9 * er).all() and (ee <= er * (1 + 1e-12)).all()


def test_warnings_name_range_and_source():
    assert line.line_warnings(3e-3, 35e-6, FR4, 10e9) == [] and loss.loss_warnings(FR4.metal, FR4, 10e9) == []
    (high,) = line.line_warnings(3e-3, 35e-6, FR4, 30e9)
    assert "48 GHz mm" in high and "0 to 30 GHz mm" in high and "AEUe 37 (1983)" in high
    (narrow,) = line.line_warnings(0.1e-3, 35e-6, FR4, 1e9)
    assert "width / height is 0.0625" in narrow and "0.1 to 10" in narrow
    thin = loss.loss_warnings(Conductor(1e-6, COPPER, 3e-6), FR4, 1e9)
    assert any("skin depths" in text and "Wheeler" in text for text in thin)
    assert any("roughness" in text for text in thin)
    assert via_warnings(0.8e-3, 1.6e-3, 4.4, 1e9) == []
    wide, long = via_warnings(8e-3, 1.6e-3, 4.4, 10e9)
    assert "0.2 to 1.5" in wide and "Goldfarb" in wide and "wavelength" in long
