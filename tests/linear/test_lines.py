"""Lines and stubs against closed forms of transmission-line theory (D. M. Pozar, Microwave Engineering, ch. 2)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear.board import Board, Conductor
from hbsim.linear.lines import BoardLine, BoardOpenStub, BoardShortedStub, Line, OpenStub, ShortedStub
from scattering import LIGHT, gains_from, impedance, network_scattering, scattering

F0 = 2e9
# frequencies in units of F0, with DC and every multiple of 90 degrees of a quarter-wave line
RATIOS = np.array([0.0, 0.1, 0.5, 1.0, 1.3, 2.0, 3.0, 4.0, 7.7])
OMEGA = 2.0 * np.pi * F0 * RATIOS
FR4 = Board(height=1.6e-3, permittivity=4.4, loss_tangent=0.02, thickness=35e-6, conductivity=5.8e7)


def quarter(impedance_=50.0, **more):
    return Line(impedance_, 90.0, F0, **more)


def test_matched_line_delays_and_attenuates():
    s = scattering(quarter(loss=1.0).relation(OMEGA))
    expected = 10.0 ** (-np.sqrt(RATIOS) / 20.0) * np.exp(-0.5j * np.pi * RATIOS)
    assert s[:, 0, 0] == pytest.approx(0.0, abs=1e-12)
    assert s[:, 1, 0] == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("z", [10.0, 30.0, 120.0])
def test_mismatched_lossless_line(z):
    # S21 = 1 / (cos th + j (z/z0 + z0/z) sin th / 2), S11 = j (z/z0 - z0/z) sin th / 2 S21
    s, theta = scattering(quarter(z).relation(OMEGA)), np.pi / 2.0 * RATIOS
    s21 = 1.0 / (np.cos(theta) + 0.5j * (z / 50.0 + 50.0 / z) * np.sin(theta))
    assert s[:, 1, 0] == pytest.approx(s21, abs=1e-12)
    assert s[:, 0, 0] == pytest.approx(0.5j * (z / 50.0 - 50.0 / z) * np.sin(theta) * s21, abs=1e-12)


def test_mismatched_lossy_line():
    # input impedance of a loaded line: Z (ZL + Z tanh gl) / (Z + ZL tanh gl), here ZL = 50 ohm
    z, gl = 80.0, 2.0 * np.sqrt(RATIOS) * np.log(10.0) / 20.0 + np.pi / 2.0 * RATIOS * (0.01 + 1j)
    part = quarter(z, loss=2.0, loss_tangent=0.02)
    s11 = scattering(part.relation(OMEGA))[:, 0, 0]
    zin = z * (50.0 + z * np.tanh(gl)) / (z + 50.0 * np.tanh(gl))
    assert s11 == pytest.approx((zin - 50.0) / (zin + 50.0), abs=1e-12)


def test_quarter_wave_transformer():
    # 25 ohm to 100 ohm through 50 ohm: matched at F0
    part = quarter(50.0)
    law = part.relation(2.0 * np.pi * np.array([F0]))
    a, b = law.a[0], law.b[0]
    v2 = -100.0 * np.array([0.0, 1.0])  # V2 = -100 I2
    # unknowns V1, I2 with I1 = 1 A
    m = np.stack([a[:, 0], a @ v2 + b[:, 1]], axis=1)
    v1, _ = np.linalg.solve(m, -b[:, 0])
    assert v1 == pytest.approx(25.0, abs=1e-10)


def test_half_wave_line_is_not_singular():
    omega = 2.0 * np.pi * F0 * np.array([2.0, 4.0])
    s = network_scattering([(quarter(17.0), ("a", "m")), (Line(200.0, 180.0, 2 * F0), ("m", "b"))], ["a", "b"], omega)
    assert s[:, 1, 0] == pytest.approx([1.0, 1.0], abs=1e-12)  # two reversals, then none
    assert s[:, 0, 0] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_ideal_line_at_dc_is_a_perfect_connection():
    for part in (quarter(), quarter(loss=3.0, loss_tangent=0.1), Line(50.0, length=0.1, permittivity=3.0)):
        law = part.relation(np.array([0.0]))
        assert np.abs(law.a[0] @ [2.0, 2.0] + law.b[0] @ [0.3, -0.3]).max() == 0.0
        assert np.abs(law.a[0] @ [2.0, 1.0]).max() > 0.5
        assert scattering(law)[0] == pytest.approx(np.array([[0.0, 1.0], [1.0, 0.0]]), abs=1e-15)


def test_length_and_permittivity_say_the_same_as_degrees():
    length = LIGHT / (4.0 * F0 * np.sqrt(3.4))
    one, other = Line(70.0, length=length, permittivity=3.4, loss=0.5, at=F0), quarter(70.0, loss=0.5)
    assert scattering(one.relation(OMEGA)) == pytest.approx(scattering(other.relation(OMEGA)), abs=1e-12)
    air = Line(70.0, length=LIGHT / (4.0 * F0))
    assert scattering(air.relation(OMEGA)) == pytest.approx(scattering(quarter(70.0).relation(OMEGA)), abs=1e-12)


@pytest.mark.parametrize("ratio, reactance", [(0.9, -7.919), (0.95, -3.935), (1.5, 50.00)])
def test_open_quarter_wave_stub(ratio, reactance):
    # -j Z cot(theta), printed to 4 digits
    z = impedance(OpenStub(50.0, 90.0, F0).relation(2 * np.pi * F0 * np.array([ratio])))[0]
    assert z.imag == pytest.approx(reactance, abs=6e-4 if ratio < 1 else 6e-3)


@pytest.mark.parametrize("ratio, reactance", [(0.9, 631.4), (0.95, 1270.6)])
def test_quarter_wave_feed(ratio, reactance):
    # 100 ohm line, ideal short at its far end: j Z tan(theta), inductive below resonance
    z = impedance(ShortedStub(100.0, 90.0, F0).relation(2 * np.pi * F0 * np.array([ratio])))[0]
    assert z.imag == pytest.approx(reactance, abs=0.06)


@pytest.mark.parametrize("ratio, magnitude", [(0.95, 976.0), (0.9, 482.0)])
def test_feed_shorted_by_an_open_stub(ratio, magnitude):
    # the short replaced by a 30 ohm open quarter-wave stub
    omega = 2.0 * np.pi * F0 * np.array([ratio])
    elements = [(Line(100.0, 90.0, F0), ("a", "m")), (OpenStub(30.0, 90.0, F0), ("m",))]
    s11 = network_scattering(elements, ["a"], omega)[0, 0, 0]
    assert abs(50.0 * (1 + s11) / (1 - s11)) == pytest.approx(magnitude, abs=0.6)


def test_stubs_at_their_resonances_and_at_dc():
    omega = 2.0 * np.pi * F0 * np.array([0.0, 1.0, 2.0])
    opened, shorted = (cls(50.0, 90.0, F0).relation(omega) for cls in (OpenStub, ShortedStub))
    s = scattering(opened)[:, 0, 0]
    assert s == pytest.approx([1.0, -1.0, 1.0], abs=1e-12)
    assert scattering(shorted)[:, 0, 0] == pytest.approx(-s, abs=1e-12)
    assert opened.a[0, 0, 0] == 0.0 and shorted.b[0, 0, 0] == 0.0


def test_lossy_stub_at_resonance():
    # Z tanh(alpha l)
    z = impedance(OpenStub(50.0, 90.0, F0, loss=0.2).relation(2 * np.pi * np.array([F0])))[0]
    assert z == pytest.approx(50.0 * np.tanh(0.2 * np.log(10.0) / 20.0), abs=1e-12)


def test_stub_is_half_of_a_line():
    # a line driven alike at both ends is two open stubs of half its length, driven opposite two shorted ones
    law = BoardLine(FR4, 2e-3, 20e-3).relation(OMEGA)
    opened = BoardOpenStub(FR4, 2e-3, 10e-3, end_effect=False).relation(OMEGA)
    shorted = BoardShortedStub(FR4, 2e-3, 10e-3).relation(OMEGA)
    s, so, ss = scattering(law), scattering(opened)[:, 0, 0], scattering(shorted)[:, 0, 0]
    assert s[:, 0, 0] + s[:, 1, 0] == pytest.approx(so, abs=1e-12)
    assert s[:, 0, 0] - s[:, 1, 0] == pytest.approx(ss, abs=1e-12)


def test_board_line_at_dc_is_its_strip():
    tape = Conductor(70e-6, 4.0e7)
    for metal, resistance in ((None, 0.1 / (5.8e7 * 1e-3 * 35e-6)), (tape, 0.1 / (4.0e7 * 1e-3 * 70e-6))):
        s = scattering(BoardLine(FR4, 1e-3, 0.1, metal).relation(np.array([0.0])))[0]
        assert s[1, 0] == pytest.approx(100.0 / (100.0 + resistance), rel=1e-12)
        assert s[0, 0] == pytest.approx(resistance / (100.0 + resistance), rel=1e-9)
        assert impedance(BoardShortedStub(FR4, 1e-3, 0.1, metal).relation(np.array([0.0]))) == pytest.approx(resistance)
    assert BoardOpenStub(FR4, 1e-3, 0.1).relation(np.array([0.0])).a[0, 0, 0] == 0.0


def test_quarter_wave_on_fr4():
    # 50 ohm, er 4.4, h 1.6 mm: width 3.062 mm, quarter wave 40.97 mm at 1 GHz (thin strip, hence the thin metal)
    thin = Board(1.6e-3, 4.4, 0.0, 1e-9, 1e15)
    part = BoardLine(thin, 3.062e-3, 40.97e-3)
    s = scattering(part.relation(2 * np.pi * np.array([1e9])))[0]
    assert np.degrees(np.angle(s[1, 0])) == pytest.approx(-90.0, abs=0.03)
    assert abs(s[0, 0]) < 1e-3


def resonance(part, f):
    """Where the reactance of a stub is smallest: frequency [Hz] and impedance [ohm]."""
    z = impedance(part.relation(2 * np.pi * f))
    at = int(np.argmin(np.abs(z.imag)))
    return f[at], z[at]


def test_open_stub_on_fr4():
    # 50 ohm open stub cut to 40.33 mm for 1 GHz by the thin-strip table, end effect 0.64 mm; alpha 3.29 dB/m, so
    # 0.78 ohm at resonance and a notch of -30.4 dB
    f = np.linspace(0.98e9, 1.02e9, 401)
    thin = Board(1.6e-3, 4.4, 0.02, 1e-9, 1e15)
    assert resonance(BoardOpenStub(thin, 3.062e-3, 40.33e-3), f)[0] == pytest.approx(1e9, rel=2e-4)
    part = BoardOpenStub(FR4, 3.017e-3, 40.33e-3)
    at, z = resonance(part, f)
    assert 1e9 < at < 1.006e9  # metal of finite thickness puts some of the field into air
    assert z.real == pytest.approx(0.78, abs=0.01)
    notch = network_scattering([(part, ("a",)), (Line(50.0, 0.0, 1e9), ("a", "b"))], ["a", "b"],
                               2 * np.pi * np.array([at]))[0, 1, 0]
    assert 20.0 * np.log10(abs(notch)) == pytest.approx(-30.4, abs=0.1)
    longer = BoardOpenStub(FR4, 3.017e-3, 40.33e-3 + 0.643e-3, end_effect=False)
    assert resonance(longer, f)[0] == pytest.approx(at, rel=2e-4)


lengths = st.floats(0.0, 2000.0)


@given(z=st.floats(1, 500), degrees=lengths, loss=st.floats(0, 20), tangent=st.floats(0, 1), width=st.floats(0.2, 20),
       millimetres=st.floats(0, 300))
def test_passive_reciprocal_and_lossless_when_told_so(z, degrees, loss, tangent, width, millimetres):
    omega = 2.0 * np.pi * np.array([0.0, 1e6, 1e9, 2e9, 17e9, 100e9])
    told = dict(electrical_length=degrees, at=1e9)
    ideal = [cls(z, **told) for cls in (Line, OpenStub, ShortedStub)]
    lossy = ([cls(z, **told, loss=loss, loss_tangent=tangent) for cls in (Line, OpenStub, ShortedStub)]
             + [cls(FR4, width * 1e-3, millimetres * 1e-3) for cls in (BoardLine, BoardOpenStub, BoardShortedStub)])
    for part in ideal + lossy:
        s = scattering(part.relation(omega))
        assert np.isfinite(s).all() and s == pytest.approx(np.swapaxes(s, 1, 2), abs=1e-11)
        gains = gains_from(s)
        assert gains.max() < 1.0 + 1e-11
        if part in ideal:
            assert gains.min() > 1.0 - 1e-11


@given(st.floats(1.0, 170.0), st.booleans())
def test_a_line_delays(degrees, board):
    part = BoardLine(FR4, 3e-3, degrees * 0.45e-3) if board else Line(50.0, degrees, 1e9)
    s = scattering(part.relation(2 * np.pi * np.array([1e9])))[0]
    assert -np.pi < np.angle(s[1, 0]) < 0.0  # exp(+j omega t): a delay lags


@given(st.floats(0.0, 720.0), st.floats(10.0, 200.0))
def test_two_pieces_are_one_line(degrees, z):
    omega = 2.0 * np.pi * np.array([0.0, 0.5e9, 1e9, 2e9])
    pieces = [(Line(z, degrees, 1e9, loss=0.4), ("a", "m")), (Line(z, 30.0, 1e9, loss=0.2), ("m", "b"))]
    whole = [(Line(z, degrees + 30.0, 1e9, loss=0.6), ("a", "b"))]
    one, other = (network_scattering(e, ["a", "b"], omega) for e in (pieces, whole))
    assert one == pytest.approx(other, abs=1e-10)


def test_warnings_come_with_the_part():
    assert BoardLine(FR4, 3e-3, 0.01).warnings(10e9) == [] and Line(50.0, 90.0, 1e9).warnings(1e12) == []
    assert "GHz mm" in BoardOpenStub(FR4, 3e-3, 0.01).warnings(40e9)[0]
    assert "thickness / height" in BoardLine(FR4, 3e-3, 0.01, Conductor(300e-6, 5.8e7)).warnings(1e9)[0]


@pytest.mark.parametrize("make, place, words", [
    (lambda: Line(50.0), "length", "electrical_length"),
    (lambda: Line(50.0, 90.0), "at", "add 'at'"),
    (lambda: Line(50.0, 90.0, 1e9, 0.1), "length", "take one of them out"),
    (lambda: Line(50.0, 90.0, 1e9, permittivity=2.0), "permittivity", "take one of them out"),
    (lambda: OpenStub(50.0, length=0.1, loss=1.0), "at", "'loss' needs"),
    (lambda: ShortedStub(0.0, 90.0, 1e9), "impedance", "above"),
    (lambda: Line(50.0, -1.0, 1e9), "electrical_length", "at least"),
    (lambda: BoardLine(FR4, 0.0, 0.1), "width", "above"),
    (lambda: BoardOpenStub(FR4, 1e-3, float("nan")), "length", "not a finite number")])
def test_refusals(make, place, words):
    with pytest.raises(Refusal) as refusal:
        make()
    assert refusal.value.place == place and words in refusal.value.what
