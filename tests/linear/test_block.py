"""S-parameter blocks: the law a V + b I = 0 against closed forms, and what holds beyond the file.

Outside sources: Y parameters of a series element and of a lossless line (D. M. Pozar, Microwave Engineering, 4th ed.,
Wiley, 2012, ch. 4; from memory); power waves (K. Kurokawa, IEEE Trans. MTT 13 (1965) 194-202).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from hbsim.describe.filling import fill
from hbsim.errors import Refusal
from hbsim.linear.block import TouchstoneBlock
from hbsim.linear.network import Element, Network
from hbsim.linear.sources import Termination
from hbsim.linear.touchstone import TouchstoneData, read_touchstone

GHZ = 1e9
DELAY = 0.1e-9  # of the test line [s]


def s_from_y(y, reference):
    """Power-wave S of admittance matrices (n, p, p) [S] against references [ohm]."""
    root = np.sqrt(reference)
    normalised = root[:, None] * y * root
    one = np.eye(len(reference))
    return np.linalg.solve(one + normalised, one - normalised)


def rc_y(frequency):
    """100 ohm from port 1 to port 2, 2 pF from port 2 to ground."""
    y = np.zeros((len(frequency), 2, 2), complex) + np.array([[0.01, -0.01], [-0.01, 0.01]])
    y[:, 1, 1] += 2j * np.pi * frequency * 2e-12
    return y


def line_y(frequency):
    """Lossless line of 70 ohm and 0.1 ns."""
    theta = 2 * np.pi * frequency * DELAY
    y = np.empty((len(frequency), 2, 2), complex)
    y[:, 0, 0] = y[:, 1, 1] = -1j / np.tan(theta) / 70
    y[:, 0, 1] = y[:, 1, 0] = 1j / np.sin(theta) / 70
    return y


def data(frequency, s, reference=(50.0, 50.0)):
    return TouchstoneData("invented.s2p", np.asarray(frequency, float), np.asarray(s, complex),
                          np.asarray(reference, float))


def write(path, frequency, s, reference):
    lines = ["! invented", "# Hz S RI R " + " ".join(str(r) for r in reference)]
    for f, m in zip(frequency, s):
        lines.append(f"{float(f)!r} " + " ".join(f"{float(v.real)!r} {float(v.imag)!r}" for v in m.T.ravel()))
    path.write_text("\n".join(lines))
    return path


def admittance(relation):
    return -np.linalg.solve(relation.b, relation.a)


@pytest.mark.parametrize("y_of", [rc_y, line_y])
@pytest.mark.parametrize("reference", [(50.0, 50.0), (25.0, 110.0)])
def test_a_written_file_gives_the_law_of_the_circuit(tmp_path, y_of, reference):
    frequency = np.arange(0.05, 10, 0.05) * GHZ
    file = read_touchstone(write(tmp_path / "x.s2p", frequency, s_from_y(y_of(frequency), np.array(reference)),
                                 reference))
    at_points = admittance(TouchstoneBlock(file).relation(2 * np.pi * frequency))
    # rounding, times the condition of 1 + S; the line has no admittance where it is half a wave long
    keep = np.abs(np.sin(2 * np.pi * frequency * DELAY)) > 0.01
    np.testing.assert_allclose(at_points[keep], y_of(frequency)[keep], rtol=1e-9, atol=1e-12)
    between = np.linspace(1, 9, 37) * GHZ + 0.0123 * GHZ
    found = TouchstoneBlock(file).scattering(between)
    # phase steps of 2 theta = 3.6 deg: the cubic spline errs by (0.063 rad)^4 / 384 = 4e-8
    np.testing.assert_allclose(found, s_from_y(y_of(between), np.array(reference)), atol=1e-7)


@settings(max_examples=50, deadline=None)
@given(ports=st.integers(1, 5), seed=st.integers(0, 2**32 - 1))
def test_s_is_recovered_from_the_law_by_waves(ports, seed):
    random = np.random.default_rng(seed)
    reference = random.uniform(5, 300, ports)
    s = random.normal(size=(1, ports, ports, 2)) @ [0.5, 0.5j]
    law = TouchstoneBlock(data([GHZ], s, reference)).relation(np.array([2 * np.pi * GHZ]))
    wave_in = random.normal(size=ports) + 1j * random.normal(size=ports)
    wave_out = s[0] @ wave_in
    voltage, current = np.sqrt(reference) * (wave_in + wave_out), (wave_in - wave_out) / np.sqrt(reference)
    residual = np.abs(law.a[0] @ voltage + law.b[0] @ current)
    assert (residual <= 1e-14 * (np.abs(law.a[0]) @ np.abs(voltage) + np.abs(law.b[0]) @ np.abs(current))).all()


@settings(max_examples=50, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_another_reference_gives_the_same_law(seed):
    # S' = A^-1 (S - P)(1 - P S)^-1 A, P = diag((R'-R)/(R'+R)), A = diag(sqrt(R'/R) 2R/(R+R')), for real R: K. Kurokawa,
    # as above; the same in D. Frickey, IEEE Trans. MTT 42 (1994) 205-211 (from memory)
    random = np.random.default_rng(seed)
    r, r_new = random.uniform(10, 200, 2), random.uniform(10, 200, 2)
    s = random.uniform(-0.5, 0.5, size=(2, 2, 2)) @ [1, 1j]
    p, a = np.diag((r_new - r) / (r_new + r)), np.diag(np.sqrt(r_new / r) * 2 * r / (r + r_new))
    s_new = np.linalg.inv(a) @ (s - p) @ np.linalg.inv(np.eye(2) - p @ s) @ a
    omega = np.array([2 * np.pi * GHZ])
    y = admittance(TouchstoneBlock(data([GHZ], s[None], r)).relation(omega))
    y_new = admittance(TouchstoneBlock(data([GHZ], s_new[None], r_new)).relation(omega))
    np.testing.assert_allclose(y, y_new, rtol=1e-9, atol=1e-12)


def test_in_a_network_a_block_loads_the_source_as_its_circuit_does():
    # voltage at port 2 of the RC behind 50 ohm, loaded by 75 ohm, by hand
    frequency = np.array([0.5, 1.0, 2.0]) * GHZ
    block = TouchstoneBlock(data(frequency, s_from_y(rc_y(frequency), np.array([50.0, 75.0])), (50.0, 75.0)))
    elements = [Element("source", Termination(50.0), ("a",)), Element("block", block, ("a", "b")),
                Element("load", Termination(75.0), ("b",))]
    network = Network(elements, ["source"], ["b"], 2 * np.pi * frequency)
    loaded = np.array([np.linalg.solve(network.a[k], network.c[k])[0, 0] for k in range(3)])
    below = 1 / 75 + 2j * np.pi * frequency * 2e-12
    np.testing.assert_allclose(loaded, (1 / below) / (150 + 1 / below), rtol=1e-12)


DC = np.array([0.0])


def test_words_for_dc_say_what_they_mean():
    s = np.array([[[0.3 + 0.4j, 0.5 - 0.1j], [0.5 - 0.1j, 0.2j]]])
    file = data([GHZ], s, (50.0, 75.0))

    def law(word):
        relation = TouchstoneBlock(file, at_dc=word).relation(DC)
        assert not np.iscomplex(relation.a).any() and not np.iscomplex(relation.b).any()
        return relation.a[0].real, relation.b[0].real

    a, b = law("open")
    assert not a.any() and np.linalg.matrix_rank(b) == 2
    a, b = law("short")
    assert not b.any() and np.linalg.matrix_rank(a) == 2
    a, b = law("through")  # two independent equations, both met by V1 = V2, I1 = -I2
    assert np.linalg.matrix_rank(np.hstack([a, b])) == 2
    np.testing.assert_allclose(a @ [1, 1], 0, atol=1e-14)
    np.testing.assert_allclose(b @ [1, -1], 0, atol=1e-12)
    a, b = law("absorb")
    np.testing.assert_allclose(-np.linalg.solve(b, a), np.diag([1 / 50, 1 / 75]), atol=1e-16)
    held = TouchstoneBlock(file, at_dc="hold").scattering(DC)
    np.testing.assert_array_equal(held, s.real)


def test_a_file_with_a_dc_point_needs_no_word_and_is_real_there():
    frequency = np.linspace(0, 10, 41) * GHZ
    s = s_from_y(rc_y(frequency), np.array([50.0, 50.0]))
    np.testing.assert_allclose(TouchstoneBlock(data(frequency, s)).scattering(DC), s[:1].real, atol=1e-15)
    tilted = s.copy()
    tilted[0] += 0.01j
    block = TouchstoneBlock(data(frequency, tilted))
    assert not block.scattering(DC).imag.any()
    assert any("0 Hz has imaginary parts up to 0.01" in said for said in block.warnings(10 * GHZ))


def test_words_for_harmonics_beyond_the_file():
    frequency = np.linspace(2, 3, 11) * GHZ
    s = s_from_y(rc_y(frequency), np.array([50.0, 50.0]))
    beyond = np.array([1.0, 4.0]) * GHZ
    block = TouchstoneBlock(data(frequency, s), below="through", above="hold")
    np.testing.assert_allclose(block.scattering(beyond), [[[0, 1], [1, 0]], s[-1]])
    block = TouchstoneBlock(data(frequency, s), below="absorb", above="open")
    np.testing.assert_allclose(block.scattering(beyond), [np.zeros((2, 2)), np.eye(2)])


def test_a_harmonic_at_the_last_frequency_is_inside():
    last = 2.304 * GHZ
    s = np.array([[[0.1 + 0j]], [[0.2]]])
    block = TouchstoneBlock(data([1.152 * GHZ, last], s, (50.0,)))
    omega = 2 * np.pi * 1.152 * GHZ * np.array([1.0, 2.0]) * (1 + 1e-15)
    np.testing.assert_allclose(block.scattering(omega / (2 * np.pi)), s, rtol=1e-9)


def test_the_refusal_names_file_range_harmonics_and_words():
    frequency = np.linspace(2, 3, 11) * GHZ
    block = TouchstoneBlock(data(frequency, s_from_y(rc_y(frequency), np.array([50.0, 50.0]))))
    with pytest.raises(Refusal) as caught:
        block.relation(2 * np.pi * 1.152 * GHZ * np.arange(9))
    text = str(caught.value)
    for words in ("'invented.s2p' holds data from 2 GHz to 3 GHz", 'at DC (say at_dc = "...")',
                  'at 1.152 GHz below that (say below = "...")',
                  'at 3.456 GHz, 4.608 GHz, 5.76 GHz and 3 more up to 9.216 GHz above that '
                  '(say above = "...")', '"hold"', '"through"', "fewer harmonics"):
        assert words in text
    one_port = TouchstoneBlock(data([GHZ], [[[0.5]]], (50.0,)), at_dc="open")
    with pytest.raises(Refusal, match="data at 1 GHz only") as caught:
        one_port.relation(np.array([0.0, 4 * np.pi * GHZ]))
    assert '"through"' not in str(caught.value) and "at DC (" not in str(caught.value)


def test_words_are_checked():
    file = data([GHZ], [[[0.5]]], (50.0,))
    with pytest.raises(Refusal, match="above: 'opne' is not one of the words known here; did you mean 'open'?"):
        TouchstoneBlock(file, above="opne")
    with pytest.raises(Refusal, match="at_dc: 'through' is for 2 ports, 'invented.s2p' has 1"):
        TouchstoneBlock(file, at_dc="through")


def test_as_a_table_of_a_circuit_file(tmp_path):
    write(tmp_path / "x.s2p", [GHZ], np.full((1, 2, 2), 0.25 + 0j), (50.0, 75.0))
    block = fill(TouchstoneBlock, {"file": "x.s2p", "at_dc": "open"}, "part.filter", folder=tmp_path).model
    assert block.terminal_names() == ("1", "2") and block.at_dc == "open" and block.above == "refuse"
    assert hash(block) == hash(block) and block.file.reference.tolist() == [50.0, 75.0]
    with pytest.raises(Refusal, match="'absorbe' is not one of the words"):
        fill(TouchstoneBlock, {"file": "x.s2p", "above": "absorbe"}, "part.filter", folder=tmp_path)


def test_an_uneven_grid_does_not_make_power():
    # a DC point, then a line measured from 6 GHz: the spline through these swings far above full transmission
    frequency = np.concatenate([[0.0], np.linspace(6, 7, 21) * GHZ])
    s = np.zeros((22, 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = np.exp(-2j * np.pi * frequency * 1e-9)
    asked = np.linspace(0, 7, 141) * GHZ
    assert np.linalg.norm(CubicSpline(frequency, s)(asked), 2, axis=(1, 2)).max() > 3
    block = TouchstoneBlock(data(frequency, s))
    assert np.linalg.norm(block.scattering(asked), 2, axis=(1, 2)).max() < 1.01
    fine = np.linspace(6.2, 6.8, 33) * GHZ  # 18 deg a step: (0.314 rad)^4 / 384 = 2.5e-5
    np.testing.assert_allclose(block.scattering(fine)[:, 0, 1], np.exp(-2j * np.pi * fine * 1e-9), atol=5e-5)


def test_two_points_are_joined_by_a_straight_line():
    block = TouchstoneBlock(data([1 * GHZ, 2 * GHZ], [[[0.1 + 0.4j]], [[0.3 - 0.2j]]], (50.0,)))
    assert block.scattering(np.array([1.25 * GHZ]))[0, 0, 0] == pytest.approx(0.15 + 0.25j, rel=1e-12)


def test_warnings_say_what_is_assumed_active_or_coarse():
    frequency = np.linspace(1, 3, 41) * GHZ
    s = s_from_y(rc_y(frequency), np.array([50.0, 50.0]))
    assert TouchstoneBlock(data(frequency, s)).warnings(3 * GHZ) == []
    said = "\n".join(TouchstoneBlock(data(frequency, s), at_dc="open", above="hold").warnings(9 * GHZ))
    assert 'invented.s2p begins at 1 GHz; at DC, nothing is connected (at_dc = "open"): assumed' in said
    assert 'ends at 3 GHz; above that, up to 9 GHz, S of the nearest point' in said
    active = s.copy()
    active[20] = [[1.0 + 0.0116, 0], [0, 0]]  # 0.1 dB above 1
    said = TouchstoneBlock(data(frequency, active)).warnings(3 * GHZ)
    assert any("more power than it takes in: up to 0.1 dB more at 2 GHz" in text for text in said)
    assert not any("more power" in text for text in TouchstoneBlock(data(frequency, active)).warnings(1.9 * GHZ))
    coarse = data([1 * GHZ, 2 * GHZ], [[[1.0]], [[-1.0]]], (50.0,))
    assert any("S changes by 2 between 1 GHz and 2 GHz" in text for text in TouchstoneBlock(coarse).warnings(2 * GHZ))


def test_notes_of_the_file_travel_as_warnings():
    noted = TouchstoneData("a/b.s1p", np.array([GHZ]), np.array([[[0.5 + 0j]]]), np.array([50.0]), ("a doubt",))
    assert TouchstoneBlock(noted).warnings(GHZ) == ["b.s1p: a doubt"]
