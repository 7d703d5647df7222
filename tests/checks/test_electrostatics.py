"""Static microstrip formulas against the electrostatic solutions of electrostatics.py, and those against exact ones.

Deviations are in percent. Where the publication claims an accuracy it is asserted where it holds; where more was found,
the found one is, and the comment says so. Formulas: E. Hammerstad, O. Jensen, IEEE MTT-S Digest 1980, 407-409 (single
strip, thickness); M. Kirschning, R. H. Jansen, IEEE Trans. MTT-32 (1984) 83-90 (pair).
"""

import numpy as np
import pytest
from electrostatics import ETA0, outline_impedance, rectangle, thick, thin
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ellipe, ellipeinc, ellipk, ellipkinc, gamma

from hbsim.linear.microstrip import coupled, line, loss

widths, permittivities, gaps = st.floats(0.2, 5.0), st.floats(1.0, 10.0), st.floats(0.1, 2.0)
GRID = [(er, u) for er in (1.0, 2.2, 4.4, 10.0) for u in (0.2, 0.5, 1.0, 2.0, 3.5, 5.0)]


def percent(value, truth):
    return 100.0 * (value / truth - 1.0)


def deviations(found, truth):
    """Of impedance, permittivity, impedance in air."""
    return [percent(f, t) for f, t in zip(found, truth)]


# -- the solutions themselves ------------------------------------------------------------------------------------

def mapped(m):
    """Width and impedance of a thin strip in air, exact. [1], [ohm]

    Conformal map of A. E. H. Love, Proc. London Math. Soc. 22 (1923) 337, by scipy's elliptic integrals; m = k^2.
    """
    K, E = ellipk(m), ellipe(m)
    phi = np.arcsin(np.sqrt((1.0 - E / K) / m))
    return 4.0 / np.pi * (K * ellipeinc(phi, m) - E * ellipkinc(phi, m)), ETA0 / 2.0 * ellipk(1.0 - m) / K


@given(st.floats(0.02, 0.99999))
def test_thin_strip_in_air_is_the_conformal_map(m):
    u, exact = mapped(m)
    assert thin(u, 1.0).impedance == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize("u, exact", [
    (0.1, 262.75843), (0.2, 221.25436), (0.5, 166.69980), (1, 126.42387), (2, 89.02875), (3, 69.77998),
    (5, 49.36571), (10, 29.02089), (0.34700256, 188.365157)])
def test_thin_strip_in_air_against_printed_values(u, exact):
    # values of the map computed elsewhere, printed digits; the last one is k^2 = 1/2, half the wave impedance
    assert thin(u, 1.0).impedance == pytest.approx(exact, abs=6e-6)


@pytest.mark.parametrize("er, u, z, ee", [
    (2.2, 0.2, 169.7602, 1.69868), (2.2, 0.5, 126.6466, 1.73254), (2.2, 1, 94.9082, 1.77440),
    (2.2, 2, 65.7021, 1.83612), (2.2, 5, 35.4463, 1.93958), (4.4, 0.2, 128.6097, 2.95962),
    (4.4, 0.5, 95.4142, 3.05242), (4.4, 1, 71.0147, 3.16929), (4.4, 2, 48.6798, 3.34474), (4.4, 5, 25.8630, 3.64330),
    (10.2, 0.2, 88.3730, 6.26823), (10.2, 0.5, 65.3169, 6.51356), (10.2, 1, 48.3873, 6.82646),
    (10.2, 2, 32.9466, 7.30196), (10.2, 5, 17.3247, 8.11931)])
def test_thin_strip_against_another_solution(er, u, z, ee):
    # a Galerkin solution made before this one, without sight of it; printed digits
    found = thin(u, er)
    assert found.impedance == pytest.approx(z, abs=6e-5) and found.permittivity == pytest.approx(ee, abs=6e-6)


@pytest.mark.parametrize("er, u, g, even, odd", [
    (1, 1, 1, (148.618, 1.0), (102.959, 1.0)), (1, 5, 0.1, (57.585, 1.0), (33.636, 1.0)),
    (2.2, 0.2, 0.1, (255.263, 1.7314), (77.900, 1.6021)), (2.2, 2, 2, (70.075, 1.9038), (61.161, 1.7584)),
    (4.4, 0.2, 0.5, (163.420, 3.1024), (93.088, 2.7246)), (4.4, 1, 0.2, (92.169, 3.3693), (43.825, 2.7814)),
    (4.4, 2, 1, (54.086, 3.5819), (42.594, 3.0385)), (4.4, 5, 2, (27.014, 3.8161), (24.624, 3.4483)),
    (10.2, 1, 0.5, (58.476, 7.4222), (36.705, 5.9266)), (10.2, 2, 0.1, (40.317, 7.9330), (20.472, 6.0648)),
    (10.2, 5, 0.1, (19.480, 8.7388), (12.854, 6.8477)), (10.2, 0.2, 2, (93.152, 6.6027), (83.521, 5.9147))])
def test_thin_pair_against_another_solution(er, u, g, even, odd):
    for sign, (z, ee) in ((1, even), (-1, odd)):
        found = thin(u, er, g, sign)
        assert found.impedance == pytest.approx(z, abs=6e-4) and found.permittivity == pytest.approx(ee, abs=6e-5)


@given(u=widths, er=permittivities, g=gaps, sign=st.sampled_from([1, -1]))
@settings(max_examples=20)
def test_thin_solution_has_converged(u, er, g, sign):
    assert thin(u, er, g, sign) == pytest.approx(thin(u, er, g, sign, n=200), rel=1e-8)


def test_wire_above_ground():
    # eta0 / (2 pi) arcosh(height / radius), from polygons of 60 and 120 sides whose error falls as their square
    def polygon(n):
        angle = np.linspace(0.0, 2.0 * np.pi, n + 1)
        points = np.stack([0.3 * np.cos(angle), 1.0 + 0.3 * np.sin(angle)], axis=1)
        return outline_impedance(np.stack([points[:-1], points[1:]], axis=1))

    extrapolated = (4.0 * polygon(120) - polygon(60)) / 3.0
    assert extrapolated == pytest.approx(ETA0 / (2.0 * np.pi) * np.arccosh(1.0 / 0.3), rel=1e-5)


def test_corners_of_a_square_far_above_ground():
    # logarithmic capacity of a square of side 1: Gamma(1/4)^2 / (4 pi^(3/2)) (G. Polya, G. Szego, Isoperimetric
    # Inequalities in Mathematical Physics, 1951); the ground plane at 1000 sides changes it by less than 1e-6
    far = 1000.0
    square = rectangle(1.0, 1.0, 20, 20, -0.5) + [0.0, far - 1.5]
    exact = ETA0 / (2.0 * np.pi) * np.log(2.0 * far / (gamma(0.25) ** 2 / (4.0 * np.pi**1.5)))
    assert outline_impedance(square) == pytest.approx(exact, rel=1e-5)


@pytest.mark.parametrize("er, u, tt, z, ee", [(1.0, 1, 0.02, 124.224, 1.0), (4.4, 1, 0.01, 70.515, 3.1520),
                                              (4.4, 0.2, 0.1, 115.184, 2.7370), (10.2, 1, 0.05, 47.303, 6.6341)])
def test_thick_strip_against_another_solution(er, u, tt, z, ee):
    # panels on a circuit of the outline, made before this one; its own error is about 2e-4
    found = thick(u, tt, er)
    assert found.impedance == pytest.approx(z, rel=2e-4) and found.permittivity == pytest.approx(ee, rel=2e-4)


@pytest.mark.parametrize("u, er, g, sign", [(1.0, 4.4, None, 0), (0.3, 10.0, None, 0), (1.0, 4.4, 0.5, 1),
                                            (2.0, 2.2, 0.2, -1)])
def test_thick_strip_becomes_the_thin_one(u, er, g, sign):
    # thickness acts as t ln(1/t) and less: from 1e-4 to 1e-5 the difference falls by a factor of 10 / (5 / 4) or so
    truth = thin(u, er, g, sign)
    near, nearer = (abs(percent(thick(u, tt, er, g, sign, 80, 8).impedance, truth.impedance)) for tt in (1e-4, 1e-5))
    assert nearer < 0.02 and nearer < near / 5.0


@pytest.mark.parametrize("u, tt, er, g, sign", [(0.2, 0.1, 4.4, None, 0), (3.0, 0.01, 10.0, None, 0),
                                                (1.0, 0.01, 4.4, 0.2, -1), (2.0, 0.03, 10.0, 0.1, 1)])
def test_thick_solution_has_converged(u, tt, er, g, sign):
    assert thick(u, tt, er, g, sign) == pytest.approx(thick(u, tt, er, g, sign, 80, 28), rel=1e-4)


# -- hbsim: strips without thickness -----------------------------------------------------------------------------

def check_single(u, er):
    z, ee, air = deviations(line.static_line(u, 0.0, er), thin(u, er))
    assert abs(air) < (0.01 if u <= 1.0 else 0.03)  # claimed
    # claimed 0.2 %; found 0.211 % between u = 4.5 and 7 on er above 8 (0.23 % on er 18)
    assert abs(ee) < (0.2 if u <= 4.4 else 0.215)
    assert abs(z) < 0.115  # follows from the two: half the error of ee, and 0.005 % of the air line


@given(u=widths, er=permittivities)
@settings(max_examples=400)
def test_single_strip(u, er):
    check_single(u, er)


@pytest.mark.parametrize("er, u", GRID)
def test_single_strip_on_a_grid(er, u):
    check_single(u, er)


def check_pair(u, g, er):
    modes = coupled.thin_modes(u, g, er)
    even, odd = deviations(modes.even, thin(u, er, g, 1)), deviations(modes.odd, thin(u, er, g, -1))
    # claimed 0.6 %; found 0.68 % (even, u 0.28, g 0.1), 1.08 % (odd, u 5, g 0.1) and 0.82 % (odd, u 0.2, g 0.13)
    assert abs(even[0]) < (0.6 if g >= 0.13 or u > 0.44 else 0.69)
    assert abs(odd[0]) < (0.6 if g >= 0.3 or 0.44 < u < 3.0 else 1.1)
    assert abs(even[1]) < 0.7  # claimed
    assert abs(odd[1]) < (0.5 if g >= 0.11 or u < 4.5 else 0.52)  # claimed 0.5 %; found 0.514 % at u 5, g 0.1, er 10


@given(u=widths, g=gaps, er=permittivities)
@settings(max_examples=400)
def test_pair_of_strips(u, g, er):
    check_pair(u, g, er)


@pytest.mark.parametrize("er, u", GRID)
def test_pair_of_strips_on_a_grid(er, u):
    for g in (0.1, 0.2, 0.5, 1.0, 2.0):
        check_pair(u, g, er)


@given(u=st.floats(0.1, 10.0), g=st.floats(0.1, 10.0), er=st.floats(1.0, 18.0))
@settings(max_examples=200)
def test_pair_over_its_whole_range(u, g, er):
    # The claims (0.6 % Z, 0.7 % and 0.5 % ee) are not kept in the corners: found 0.75 (even) and 1.64 % (odd, u 10,
    # g 0.1: no change of a single constant would bring it below 1.3 %), permittivities 0.84 (u 2, g 3, er 18) and
    # 0.87 % (u 9, g 0.1, er 18).
    modes = coupled.thin_modes(u, g, er)
    even, odd = deviations(modes.even, thin(u, er, g, 1)), deviations(modes.odd, thin(u, er, g, -1))
    assert abs(even[0]) < 0.76 and abs(odd[0]) < 1.65
    assert abs(even[1]) < 0.85 and abs(odd[1]) < 0.88
    # rms 0.25 (even) and 0.33 % (odd) over the range; the middle keeps the claims
    if 0.44 < u < 3.0 and 0.2 < g < 3.0 and er < 10.0:
        assert abs(even[0]) < 0.6 and abs(odd[0]) < 0.6 and abs(even[1]) < 0.7 and abs(odd[1]) < 0.5


# -- hbsim: strips with thickness --------------------------------------------------------------------------------

@given(u=widths, tt=st.floats(0.005, 0.1), er=permittivities)
@settings(max_examples=60)
def test_thick_strip(u, tt, er):
    z, ee, air = deviations(line.static_line(u, tt, er), thick(u, tt, er))
    # nothing published; found over tt <= 0.1: 0.28 % in Z, 0.56 % in ee at u = 0.2, from u = 0.5 up 0.42 % in ee
    # and 0.135 % in Z: at u 5, er 10, where the infinitely thin strip is 0.11 % off already
    assert max(abs(z), abs(air)) < (0.29 if u < 0.5 else 0.14) and abs(ee) < (0.57 if u < 0.5 else 0.42)


@pytest.mark.parametrize("u, tt, er", [(0.2, 0.01, 2.2), (0.2, 0.05, 1.0), (0.2, 0.1, 4.4), (1.0, 0.02, 2.2),
                                       (1.0, 0.1, 4.4), (3.0, 0.05, 10.0)])
def test_what_thickness_changes(u, tt, er):
    # The change alone, up to 14 % in Z and 11 % in ee. Found: right to 6 % of it in Z and to 17 % in ee; the panels add
    # 0.01 % on either side.
    truth = deviations(thick(u, tt, er), thin(u, er))
    found = deviations(line.static_line(u, tt, er), line.static_line(u, 0.0, er))
    assert truth[0] < -0.5 and truth[2] < -0.5
    assert found[0] == pytest.approx(truth[0], rel=0.06, abs=0.02)
    assert found[1] == pytest.approx(truth[1], rel=0.17, abs=0.02)
    assert found[2] == pytest.approx(truth[2], rel=0.06, abs=0.02)


@pytest.mark.parametrize("er", [1.0, 2.2, 4.4, 10.0])
@pytest.mark.parametrize("u, g, tt", [(0.5, 0.1, 0.01), (0.5, 1.0, 0.03), (1.0, 0.2, 0.01), (1.0, 0.5, 0.03),
                                      (2.0, 0.1, 0.03), (2.0, 1.0, 0.01), (2.0, 2.0, 0.03)])
def test_thick_pair(u, g, tt, er):
    # Thickness by capacitances (R. Garg, I. J. Bahl, IEEE Trans. MTT-27 (1979) 700-705, carried on here). Found over u
    # 0.5 to 2, g 0.1 to 2, tt 0.01 and 0.03, the deviation of the thin formulas included: Z even 0.69 %, odd 1.31 %
    # (0.98 from u = 1), ee even 0.69 %, odd 0.99 %; without any thickness odd Z would be off by 9 %.
    modes = coupled.static_modes(u, g, tt, er)
    even = deviations(modes.even, thick(u, tt, er, g, 1, 24, 10))
    odd = deviations(modes.odd, thick(u, tt, er, g, -1, 24, 10))
    assert abs(even[0]) < 0.7 and abs(even[1]) < 0.7 and abs(odd[0]) < 1.35 and abs(odd[1]) < 1.0


# -- hbsim: losses -----------------------------------------------------------------------------------------------

def recession(impedance, tt, g=None):
    """`loss.recession` of `impedance(u, tt)`, or of `impedance(u, g, tt)`, in units of the height: strip, ground."""
    def air(u):
        def receded(s, q):
            h = 1.0 + s + q
            rest = ((g + 2.0 * s) / h,) if g else ()
            return impedance((u - 2.0 * s) / h, *rest, (tt - 2.0 * s) / h)
        return receded

    return lambda u, step: np.array(loss.recession(air(u), step * tt))


@pytest.mark.parametrize("u, tt, strip, ground", [
    (0.1, 0.01, 7.093, 0.1583), (0.3, 0.01, 2.894, 0.1575), (1, 0.01, 0.9976, 0.1497), (1, 0.05, 0.8015, 0.1472),
    (2, 0.01, 0.5123, 0.1330), (3, 0.01, 0.3394, 0.1173), (6, 0.01, 0.1650, 0.0852)])
def test_conductor_loss_of_a_strip(u, tt, strip, ground):
    # Wheeler's rule (Proc. IRE 30 (1942) 412-424) on the panels, R h / Rs; first as another solution printed it
    truth = recession(lambda u, tt: thick(u, tt, 1.0).impedance, tt)(u, 1e-2)
    assert truth == pytest.approx([strip, ground], rel=1e-3)
    found = recession(lambda u, tt: line.static_line(u, tt, 1.0).impedance, tt)(u, 1e-4)
    # found: total 0.3 to 2.4 % high, the ground plane alone within 0.42 %, from u = 1 up 0.08 %
    assert 0.0 < percent(found.sum(), truth.sum()) < (2.5 if u < 0.5 else 1.1)
    assert abs(percent(found[1], truth[1])) < (0.42 if u < 1.0 else 0.08)


@pytest.mark.parametrize("number, sign", [(0, 1), (1, -1)])
@pytest.mark.parametrize("u, g", [(0.3, 0.1), (0.5, 0.5), (1.0, 0.2), (1.0, 1.0), (2.0, 0.5), (3.0, 3.0)])
def test_conductor_loss_of_a_pair(u, g, number, sign):
    # the rule on the panels; found within 5.5 % (u 0.3, g 0.1 even), from u = 1 up 2.2 %: slopes of fits
    tt = 0.02
    truth = recession(lambda u, g, tt: thick(u, tt, 1.0, g, sign, 24, 10).impedance, tt, g)(u, 1e-2)
    found = recession(lambda u, g, tt: coupled.static_modes(u, g, tt, 1.0)[number].impedance, tt, g)(u, 1e-4)
    assert abs(percent(found.sum(), truth.sum())) < (5.6 if u < 1.0 else 2.3)


@pytest.mark.parametrize("er", [1.5, 2.2, 4.4, 10.0])
@pytest.mark.parametrize("u", [0.2, 1.0, 5.0])
@pytest.mark.parametrize("g, sign", [(None, 0), (0.1, 1), (0.1, -1), (0.5, 1), (0.5, -1), (2.0, 1), (2.0, -1)])
def test_dielectric_loss_by_the_slope_of_the_permittivity(er, u, g, sign):
    # to first order alpha = pi f/c er/sqrt(ee) d(ee)/d(er) tan(delta): exact, the loss as an imaginary permittivity.
    # The usual filling factor (M. V. Schneider 1969) is high by at most 1.2 % (single), 1.5 % (even), 0.4 % (odd).
    step, f = 1e-4, 1e9
    ee = thin(u, er, g, sign).permittivity
    slope = (thin(u, er + step, g, sign).permittivity - thin(u, er - step, g, sign).permittivity) / (2.0 * step)
    exact = np.pi * f / line.LIGHT * er / np.sqrt(ee) * slope * 0.01
    assert 0.0 < percent(loss.dielectric_loss(f, er, ee, 0.01), exact) < {0: 1.2, 1: 1.5, -1: 0.4}[sign]
