"""S-parameters of linear networks against closed forms, independent matrix formulas and the laws of energy."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear import response
from hbsim.linear.coupled_lines import CoupledLines, FilterSection
from hbsim.linear.lines import Line, OpenStub, ShortedStub
from hbsim.linear.lumped import Capacitor, Inductor, Resistor
from hbsim.linear.network import Element
from hbsim.linear.response import Loads, joined_to, scattering
from random_networks import OMEGA, networks

TO_GROUND = [("p", "ground"), ("q", "ground")]
Z0 = np.array([50.0, 50.0])
F0 = 1e9


def omega(*ratios):
    return 2 * np.pi * F0 * np.array(ratios)


def two_port(*elements, at, reference=Z0):
    return scattering([Element(f"e{n}", part, nodes) for n, (part, nodes) in enumerate(elements)], TO_GROUND,
                      np.asarray(reference, float), at)


def decibel(values):
    return 20 * np.log10(np.abs(values))


# -- closed forms --------------------------------------------------------------------------------------------------


def test_quarter_wave_transformer_matches_and_mismatches_as_its_input_impedance_says():
    # Elementary: sqrt(20 50) ohm, a quarter wave long at f0, shows Z1 (ZL + j Z1 t) / (Z1 + j ZL t), t = tan(theta).
    z1, load, source = np.sqrt(20.0 * 50.0), 20.0, 50.0
    ratios = np.array([0.3, 0.7, 1.0, 1.2, 2.0, 3.0])
    s = two_port((Line(z1, electrical_length=90.0, at=F0), ("p", "q")), at=omega(*ratios), reference=(source, load))
    turn = np.exp(2j * np.pi / 4 * ratios)  # tan by its sine and cosine, which stay finite
    t_sin, t_cos = turn.imag, turn.real
    z_in = z1 * (load * t_cos + 1j * z1 * t_sin) / (z1 * t_cos + 1j * load * t_sin)
    np.testing.assert_allclose(s[:, 0, 0], (z_in - source) / (z_in + source), atol=1e-13)
    assert abs(s[2, 0, 0]) < 1e-14 and abs(abs(s[2, 1, 0]) - 1.0) < 1e-14  # matched at f0; rounding


def test_open_quarter_wave_stub_shorts_the_line_at_f0():
    # Z = -j Z0 cot(theta), elementary: at 0.9, 0.95 and 1.5 f0 of a 50 ohm stub -j7.919, -j3.935, +j50.00 ohm.
    ratios = np.array([0.9, 0.95, 1.5])
    s = two_port((OpenStub(50.0, electrical_length=90.0, at=F0), ("p",)), (Resistor(0.0), ("p", "q")),
                 at=omega(*ratios, 3.0))
    z = 50.0 * s[:3, 1, 0] / (2.0 - 2.0 * s[:3, 1, 0])  # of a shunt: S21 = 2 Z / (2 Z + Z0)
    np.testing.assert_allclose(z, [-7.919j, -3.935j, 50.0j], atol=6e-4)  # printed digits
    through = two_port((OpenStub(50.0, electrical_length=90.0, at=F0), ("p",)), (Resistor(0.0), ("p", "q")),
                       at=omega(1.0))
    assert abs(through[0, 1, 0]) < 1e-15 and through[0, 0, 0] == pytest.approx(-1.0)


def test_pi_attenuator_of_10_db():
    # K = 10^(10/20): shunts Z0 (K + 1)/(K - 1), series Z0 (K - 1/K)/2 (elementary); matched, and the same at DC.
    k = 10**0.5
    shunt, series = Resistor(50 * (k + 1) / (k - 1)), Resistor(50 * (k - 1 / k) / 2)
    s = two_port((shunt, ("p", "ground")), (series, ("p", "q")), (shunt, ("q", "ground")), at=omega(0.0, 0.5, 3.0))
    np.testing.assert_allclose(s, np.broadcast_to([[0, 1 / k], [1 / k, 0]], (3, 2, 2)), atol=1e-15)


def test_band_pass_of_ideal_coupled_sections_has_the_ripple_and_the_edges_of_its_prototype():
    # Three resonators, 0.5 dB, 10 % at 2 GHz: D. M. Pozar, Microwave Engineering, ch. 8 (from memory), impedances from
    # the unrounded prototype; levels by multiplying the sections' chain matrices, to the printed digits.
    sections = [(70.6048, 39.2355), (56.6407, 44.7687), (56.6407, 44.7687), (70.6048, 39.2355)]
    nodes = ["p", "x", "y", "z", "q"]
    elements = [(FilterSection(even_impedance=even, odd_impedance=odd, electrical_length=90.0, at=2e9), (a, b))
                for (even, odd), a, b in zip(sections, nodes, nodes[1:])]
    wanted = {1.5: -45.00, 1.7: -31.02, 1.8: -19.42, 1.85: -10.57, 1.9: -0.566, 1.92: -0.052, 1.95: -0.488, 2.0: 0.0,
              2.05: -0.488, 2.2: -19.42, 3.0: -64.18}
    s = two_port(*elements, at=omega(*wanted))
    printed = [0.006 if abs(level) > 1 else 0.0006 for level in wanted.values()]
    assert (np.abs(decibel(s[:, 1, 0]) - list(wanted.values())) < printed).all()
    edges = two_port(*elements, at=omega(1.8841, 1.9008, 2.0993, 2.1159))[:, 1, 0]
    # slopes of up to 350 dB/GHz beside four printed decimals of the edge
    np.testing.assert_allclose(decibel(edges), [-3.0, -0.5, -0.5, -3.0], atol=0.02)


# -- against matrix formulas written here --------------------------------------------------------------------------


def test_s_follows_from_a_nodal_admittance_matrix_built_by_hand_and_leads_back_to_it():
    # S = (1 - G) (1 + G)^-1 with G = R^1/2 Y R^1/2 (K. Kurokawa, IEEE Trans. MTT-13 (1965) 194-202), unequal R.
    at, reference = omega(0.2, 1.0, 4.0), np.array([25.0, 90.0])
    r, c, inductance = 33.0, 2e-12, 4e-9
    s = two_port((Resistor(r), ("p", "q")), (Capacitor(c), ("q", "ground")), (Inductor(inductance), ("p", "ground")),
                 at=at, reference=reference)
    root = np.diag(np.sqrt(reference))
    for k, w in enumerate(at):
        y = np.array([[1 / r + 1 / (1j * w * inductance), -1 / r], [-1 / r, 1 / r + 1j * w * c]])
        g = root @ y @ root
        np.testing.assert_allclose(s[k], (np.eye(2) - g) @ np.linalg.inv(np.eye(2) + g), atol=1e-13)
        inner = np.linalg.inv(np.eye(2) + s[k]) @ (np.eye(2) - s[k])
        back = np.linalg.inv(root) @ inner @ np.linalg.inv(root)
        np.testing.assert_allclose(back, y, rtol=1e-11, atol=1e-15)


def chain(kind, value, w):
    """Transfer matrix of one member of a ladder (Pozar, Microwave Engineering, table of ABCD matrices, from memory)."""
    if kind == "series":
        return np.array([[1.0, value], [0.0, 1.0]], complex)
    if kind == "shunt":
        return np.array([[1.0, 0.0], [1.0 / value, 1.0]], complex)
    theta = np.pi / 2 * w / (2 * np.pi * F0)
    return np.array([[np.cos(theta), 1j * value * np.sin(theta)], [1j * np.sin(theta) / value, np.cos(theta)]])


def test_a_cascade_is_the_product_of_its_transfer_matrices():
    at = omega(0.1, 0.77, 1.0, 2.3)
    s = two_port((Inductor(3e-9), ("p", "x")), (Capacitor(1e-12), ("x", "ground")),
                 (Line(75.0, electrical_length=90.0, at=F0), ("x", "y")), (Resistor(20.0), ("y", "q")), at=at)
    for k, w in enumerate(at):
        m = chain("series", 1j * w * 3e-9, w) @ chain("shunt", 1 / (1j * w * 1e-12), w) @ chain("line", 75.0, w) @ \
            chain("series", 20.0, w)
        (a, b), (c, d) = m
        total = a + b / 50 + c * 50 + d
        wanted = np.array([[a + b / 50 - c * 50 - d, 2 * np.linalg.det(m)], [2.0, -a + b / 50 - c * 50 + d]]) / total
        np.testing.assert_allclose(s[k], wanted, atol=1e-13)


def test_lossless_networks_give_out_what_they_take_in_at_every_frequency():
    at = omega(*np.linspace(0.05, 3.9, 78))
    lines = CoupledLines(even_impedance=80.0, odd_impedance=35.0, electrical_length=70.0, at=F0)
    elements = [("L", Inductor(2e-9), ("p", "x")), ("C", Capacitor(3e-12), ("x", "ground")),
                ("line", Line(75.0, electrical_length=50.0, at=F0), ("x", "q")),
                ("stub", ShortedStub(30.0, electrical_length=33.0, at=F0), ("q",)),
                ("pair", lines, ("q", "r", "t", "p"))]
    s = scattering([Element(*row) for row in elements], [*TO_GROUND, ("r", "ground"), ("t", "p")],
                   np.array([50.0, 20.0, 75.0, 10.0]), at)
    np.testing.assert_allclose(np.conj(np.swapaxes(s, 1, 2)) @ s, np.broadcast_to(np.eye(4), s.shape), atol=1e-11)


@settings(max_examples=300)
@given(networks(), st.sampled_from([(50.0, 50.0), (5.0, 300.0)]))
def test_random_passive_networks_are_passive_and_reciprocal(elements, reference):
    ports = [("d1", "ground"), ("z", "d2")]
    try:
        s = scattering(elements, ports, np.array(reference), OMEGA)
    except Refusal as refusal:  # an ideal resonance, or two ideal supplies in parallel: no S-parameters exist
        assume("not determined" not in str(refusal) and "without resistance" not in str(refusal))
        raise
    assert np.linalg.svd(s, compute_uv=False).max() < 1.0 + 1e-9  # rounding where 1e12 ohm stand beside microohms
    assert np.abs(s - np.swapaxes(s, 1, 2)).max() < 1e-9


# -- ports that float, pieces apart, loads, many frequencies ---------------------------------------------------------


def test_a_port_between_two_floating_nodes_sees_what_lies_between_them():
    s = scattering([Element("R", Resistor(20.0), ("p", "q"))], [("p", "q")], np.array([50.0]), omega(0.0, 1.0))
    np.testing.assert_allclose(s[:, 0, 0], (20 - 50) / (20 + 50), atol=1e-14)


@pytest.mark.parametrize("grounded", [False, True])
def test_a_balanced_circuit_without_ground_is_the_sum_of_its_two_sides(grounded):
    # Between ports across the pair two series resistors act as one of both: S21 = 2 Z0 / (2 Z0 + Z) (elementary).
    elements = [Element("R1", Resistor(30.0), ("a", "c")), Element("R2", Resistor(40.0), ("b", "d"))]
    if grounded:
        elements.append(Element("R3", Resistor(1e3), ("d", "ground")))
    s = scattering(elements, [("a", "b"), ("c", "d")], Z0, omega(0.0, 0.4))
    np.testing.assert_allclose(s[:, 1, 0], 100 / (100 + 70), atol=1e-13)
    np.testing.assert_allclose(s[:, 0, 0], 70 / (100 + 70), atol=1e-13)


def test_what_hangs_together_with_no_port_is_left_out():
    near = [Element("R", Resistor(50.0), ("p", "x")), Element("C", Capacitor(1e-12), ("x", "ground"))]
    apart = [Element("loose", Resistor(10.0), ("m", "n")), Element("held", Resistor(10.0), ("n", "ground"))]
    assert joined_to([apart[0], *near, apart[1]], ["p", "ground"]) == near
    port = [("p", "ground")]
    np.testing.assert_array_equal(scattering(near + apart, port, Z0[:1], OMEGA), scattering(near, port, Z0[:1], OMEGA))


def test_an_end_that_dangles_behind_a_resistor_takes_no_current():
    s = two_port((Resistor(0.0), ("p", "q")), (Resistor(1e3), ("q", "end")), at=omega(0.0, 1.0))
    np.testing.assert_allclose(s, np.broadcast_to([[0, 1], [1, 0]], (2, 2, 2)), atol=1e-14)


def test_loads_count_as_the_parts_they_stand_for():
    at, c, g = omega(0.1, 1.0), 2e-12, 1 / 70
    line = (Line(60.0, electrical_length=40.0, at=F0), ("p", "q"))
    wanted = two_port(line, (Capacitor(c), ("q", "x")), (Resistor(1 / g), ("x", "ground")), at=at)

    def admittance(w):
        y = np.zeros((len(w), 2, 2), complex)
        y += 1j * w[:, None, None] * c * np.array([[1.0, -1.0], [-1.0, 1.0]])
        y[:, 1, 1] += g
        return y

    found = scattering([Element("line", *line)], TO_GROUND, Z0, at, Loads(("q", "x"), admittance))
    np.testing.assert_allclose(found, wanted, atol=1e-13)


def test_an_active_load_that_takes_all_resistance_away_is_refused():
    negative = Loads(("p",), lambda w: np.full((len(w), 1, 1), -1 / 50 - 1 / 100, complex))
    with pytest.raises(Refusal, match=r"not determined at 1 GHz: .*edge of oscillation"):
        scattering([Element("R", Resistor(100.0), ("p", "ground"))], [("p", "ground")], Z0[:1], omega(1.0), negative)


def test_frequencies_taken_a_few_at_a_time_give_the_same(monkeypatch):
    at = omega(*np.linspace(0.0, 4.0, 41))
    elements = [(Line(60.0, electrical_length=40.0, at=F0), ("p", "x")), (Capacitor(1e-12), ("x", "y")),
                (Inductor(2e-9), ("y", "ground")), (Resistor(10.0), ("x", "q"))]
    whole = two_port(*elements, at=at)
    monkeypatch.setattr(response, "_ROOM", 6e4)
    assert 1 < response.at_once([Element(f"e{n}", *row) for n, row in enumerate(elements)], ["p", "q"]) < 41
    np.testing.assert_allclose(two_port(*elements, at=at), whole, atol=1e-13)  # other pivots: rounding
