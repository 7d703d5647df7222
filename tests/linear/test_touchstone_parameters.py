"""S-parameters to Z, Y, H, G and back.

Definitions of Z, Y, H, G by port voltages and currents: any textbook of network theory (from memory). Power waves
against real references: K. Kurokawa, IEEE Trans. MTT-13 (1965) 194-202.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear.touchstone.parameters import from_scattering, normalisation, to_scattering

HZ = np.array([1e9, 2e9, 3e9])


def voltages_and_currents(s, reference, waves):
    """Port voltages and currents for incident waves, (n, p)."""
    back = np.einsum("nij,j->ni", s, waves)
    return np.sqrt(reference) * (waves + back), (waves - back) / np.sqrt(reference)


def random_s(seed, ports):
    """S of random passive networks with some gain: eigenvalues of S well inside the unit circle."""
    random = np.random.default_rng(seed)
    s = random.normal(size=(len(HZ), ports, ports, 2)) @ [1, 1j]
    return 0.8 * s / np.linalg.norm(s, 2, axis=(1, 2), keepdims=True), random.uniform(5, 500, ports), random


@settings(max_examples=100)
@given(seed=st.integers(0, 2**32 - 1), ports=st.integers(1, 5), name=st.sampled_from("ZYHG"))
def test_laws_hold_between_voltages_and_currents_and_s_comes_back(seed, ports, name):
    ports = 2 if name in "HG" else ports
    s, reference, random = random_s(seed, ports)
    matrix = from_scattering(name, s, reference, HZ)
    v, i = voltages_and_currents(s, reference, random.normal(size=ports))
    given, asked = {"Z": (i, v), "Y": (v, i), "H": (np.stack([i[:, 0], v[:, -1]], 1), np.stack([v[:, 0], i[:, -1]], 1)),
                    "G": (np.stack([v[:, 0], i[:, -1]], 1), np.stack([i[:, 0], v[:, -1]], 1))}[name]
    found = np.einsum("nij,nj->ni", matrix, given)
    # norm(S) = 0.8, so 1 - S has condition at most 9; voltages and currents differ by a factor of 1e4 at most
    np.testing.assert_allclose(found, asked, rtol=1e-9, atol=1e-12 * np.abs(asked).max())
    np.testing.assert_allclose(to_scattering(name, matrix, reference, HZ), s, atol=1e-13)


def test_z_y_h_g_of_one_network_agree():
    z = np.array([[[25 - 15j, 3], [4j, 60]]])
    r, f = np.array([50.0, 20.0]), HZ[:1]
    s = to_scattering("Z", z, r, f)
    det = np.linalg.det(z[0])
    np.testing.assert_allclose(from_scattering("Y", s, r, f)[0], np.linalg.inv(z[0]), rtol=1e-12, atol=1e-17)
    np.testing.assert_allclose(from_scattering("H", s, r, f)[0],
                               np.array([[det, 3], [-4j, 1]]) / z[0, 1, 1], rtol=1e-12, atol=1e-15)
    np.testing.assert_allclose(from_scattering("G", s, r, f)[0],
                               np.array([[1, -3], [4j, det]]) / z[0, 0, 0], rtol=1e-12, atol=1e-15)


def test_normalisation_by_hand():
    r = np.array([50.0, 8.0])
    np.testing.assert_allclose(normalisation("Z", r), [[50, 20], [20, 8]], rtol=1e-15)
    np.testing.assert_allclose(normalisation("Y", r), [[0.02, 0.05], [0.05, 0.125]], rtol=1e-15)
    np.testing.assert_allclose(normalisation("H", r), [[50, 2.5], [2.5, 0.125]], rtol=1e-15)  # sqrt(50 / 8) = 2.5
    np.testing.assert_allclose(normalisation("G", r), [[0.02, 0.4], [0.4, 8]], rtol=1e-15)
    for name, expected in (("Z", [[75, 75]] * 2), ("H", [[75, 1], [1, 1 / 75]]), ("S", [[1, 1]] * 2)):
        assert normalisation(name, np.array([75.0, 75.0])).tolist() == expected  # exactly


@pytest.mark.parametrize("name, s", [
    ("Z", [[1.0]]), ("Y", [[-1.0]]), ("Z", [[0, 1], [1, 0]]), ("Y", [[0, 1], [1, 0]]), ("H", [[1, 0], [0, 1]]),
    ("G", [[-1, 0], [0, 1]]), ("Z", [[1 - 1e-13]]),
])
def test_what_has_no_such_parameters_is_refused_by_frequency(name, s):
    # open: no Z; short: no Y; a through: neither; no H where port 1 is open, no G where port 1 is shorted
    s = np.stack([0.5 * np.eye(len(s)), np.array(s)]).astype(complex)
    with pytest.raises(Refusal, match=rf"{name} parameters do not exist at 2 GHz"):
        from_scattering(name, s, np.full(s.shape[1], 50.0), HZ[:2])


def test_a_network_that_balances_its_terminations_has_no_s():
    z = np.array([[[10.0]], [[-50.0]]], complex)
    with pytest.raises(Refusal, match="the Z data have no S-parameters at 2 GHz"):
        to_scattering("Z", z, np.array([50.0]), HZ[:2])
    with pytest.raises(Refusal, match="no S-parameters at 1 GHz"):  # beyond what numbers hold
        to_scattering("Z", np.full((1, 2, 2), 1e308 + 1e308j), np.array([1e-9, 1e-9]), HZ[:1])
    with pytest.raises(Refusal, match="no S-parameters at 1 GHz"):  # 1 + z cancels to 3 digits
        to_scattering("Z", np.array([[[-50.0 * (1 - 1e-13)]]]), np.array([50.0]), HZ[:1])


def test_a_port_far_from_its_reference_loses_no_digits():
    z = np.zeros((1, 2, 2), complex)
    z[0, 0, 0], z[0, 1, 1] = 1e20, 25.0
    s = to_scattering("Z", z, np.array([50.0, 50.0]), HZ[:1])
    np.testing.assert_allclose(s[0], [[1, 0], [0, -1 / 3]], rtol=1e-15)


def test_hybrid_parameters_are_for_two_ports():
    with pytest.raises(Refusal, match="2 ports only, not for 3"):
        from_scattering("H", np.zeros((1, 3, 3)), np.full(3, 50.0), HZ[:1])
