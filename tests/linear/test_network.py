"""The condensed network against hand solutions, and its refusals."""

import numpy as np
import pytest

from hbsim.errors import Refusal
from hbsim.linear.lines import Line
from hbsim.linear.lumped import Capacitor, Inductor, Resistor
from hbsim.linear.network import Element, Network
from hbsim.linear.sources import Termination

OMEGA = 2 * np.pi * 1e9 * np.arange(4)


def two_port(part_elements, omega=OMEGA):
    """S-parameters between nodes p and q, 50 ohm, by driving each side."""
    elements = [Element("port.p", Termination(50.0), ("p",)), Element("port.q", Termination(50.0), ("q",)),
                *part_elements]
    network = Network(elements, ["port.p", "port.q"], [], omega)
    s = np.zeros((len(omega), 2, 2), complex)
    none = np.zeros((len(omega), 0))
    for j in range(2):
        source = np.zeros((len(omega), 2), complex)
        source[:, j] = 2.0  # incident wave of 1 V
        unknowns = network.unknowns(none, none, source)
        for i, node in enumerate("pq"):
            s[:, i, j] = network.node_voltage(unknowns, node) - (i == j)
    return s


def test_series_impedance_has_the_textbook_s_parameters():
    # D. M. Pozar, Microwave Engineering, table of S-parameters of a series impedance (from memory):
    # S11 = Z / (Z + 2 Z0), S21 = 2 Z0 / (Z + 2 Z0).
    s = two_port([Element("L", Inductor(inductance=5e-9), ("p", "q"))])
    z = 1j * OMEGA * 5e-9
    np.testing.assert_allclose(s[:, 0, 0], z / (z + 100), atol=1e-14)
    np.testing.assert_allclose(s[:, 1, 0], 100 / (z + 100), atol=1e-14)


def test_shunt_admittance_has_the_textbook_s_parameters():
    # The same table (from memory): S11 = -Y Z0 / (2 + Y Z0), S21 = 2 / (2 + Y Z0).
    s = two_port([Element("C", Capacitor(capacitance=2e-12), ("p", "ground")),
                  Element("wire", Resistor(resistance=0.0), ("p", "q"))])
    y = 1j * OMEGA * 2e-12 * 50
    np.testing.assert_allclose(s[:, 0, 0], -y / (2 + y), atol=1e-13)
    np.testing.assert_allclose(s[:, 1, 0], 2 / (2 + y), atol=1e-13)


def test_matched_and_mismatched_line():
    # Matched: S21 = exp(-j theta). Quarter wave of Z1 between 50 ohm: S11 = (Z1^2 - Z0^2) / (Z1^2 + Z0^2), elementary.
    s = two_port([Element("line", Line(impedance=50.0, electrical_length=90.0, at=1e9), ("p", "q"))])
    np.testing.assert_allclose(s[:, 1, 0], np.exp(-1j * np.pi / 2 * np.arange(4)), atol=1e-13)
    np.testing.assert_allclose(s[:, 0, 0], 0, atol=1e-13)
    s = two_port([Element("line", Line(impedance=100.0, electrical_length=90.0, at=1e9), ("p", "q"))])
    np.testing.assert_allclose(s[1, 0, 0], (100**2 - 50**2) / (100**2 + 50**2), atol=1e-13)


def test_choke_at_dc_ties_a_device_node_exactly():
    elements = [Element("supply", Termination(0.0), ("vcc",)),
                Element("choke", Inductor(inductance=1e-9), ("vcc", "c")),
                Element("load", Resistor(resistance=50.0), ("c", "ground"))]
    network = Network(elements, ["supply"], ["c"], OMEGA)
    assert not network.identity[0] and network.identity[1]
    # no admittance exists: the relation must say V = E whatever the current
    v_over_e = network.c[0, 0, 0] / network.a[0, 0, 0]
    assert v_over_e == pytest.approx(1.0, rel=1e-14) and abs(network.b[0, 0, 0]) < 1e-14
    assert network.a[1, 0, 0] == pytest.approx(1 / 50 + 1 / (1j * OMEGA[1] * 1e-9), rel=1e-12)


def test_recovered_currents_obey_kirchhoff():
    rng = np.random.default_rng(3)
    elements = [Element("port.p", Termination(50.0), ("p",)), Element("L", Inductor(inductance=3e-9), ("p", "x")),
                Element("C", Capacitor(capacitance=1e-12), ("x", "ground")),
                Element("line", Line(impedance=70.0, electrical_length=50.0, at=1e9), ("x", "d")),
                Element("R", Resistor(resistance=220.0), ("d", "ground"))]
    network = Network(elements, ["port.p"], ["d"], OMEGA)
    source = rng.normal(size=(4, 1)) + 0j
    current = rng.normal(size=(4, 1)) + 1j * rng.normal(size=(4, 1))
    voltage = (network.c[:, :, 0] * source - np.einsum("kij,kj->ki", network.b, current)) / network.a[:, :, 0]
    unknowns = network.unknowns(voltage, current, source)
    flows = {name: network.terminal_currents(unknowns, name) for name in network.elements}
    np.testing.assert_allclose(flows["L"][:, 1] + flows["C"][:, 0] + flows["line"][:, 0], 0, atol=1e-12)
    np.testing.assert_allclose(flows["line"][:, 1] + flows["R"][:, 0] + current[:, 0], 0, atol=1e-12)


def test_floating_pieces_are_tied_at_dc():
    # two capacitors in series: the middle node has no DC path, and its voltage does not matter to any current
    elements = [Element("port.p", Termination(50.0), ("p",)), Element("C1", Capacitor(capacitance=1e-12), ("p", "m")),
                Element("C2", Capacitor(capacitance=1e-12), ("m", "d")),
                Element("R", Resistor(resistance=1e3), ("d", "ground"))]
    network = Network(elements, ["port.p"], ["d"], OMEGA)
    assert network.a[0, 0, 0] == pytest.approx(1e-3, rel=1e-12)
    z = 50 + 2 / (1j * OMEGA[1] * 1e-12)
    assert network.a[1, 0, 0] == pytest.approx(1e-3 + 1 / z, rel=1e-12)


def test_device_pin_without_dc_path_is_refused_by_name():
    elements = [Element("port.p", Termination(50.0), ("p",)), Element("C1", Capacitor(capacitance=1e-12), ("p", "b"))]
    with pytest.raises(Refusal, match=r"part.Q1.nodes.base: the base has no DC path"):
        Network(elements, ["port.p"], ["b"], OMEGA, {"Q1": {"base": "b", "emitter": "ground"}})


def test_parallel_chokes_share_the_current():
    elements = [Element("supply", Termination(1.0), ("vcc",)), Element("L1", Inductor(inductance=1e-9), ("vcc", "c")),
                Element("L2", Inductor(inductance=1e-9), ("vcc", "c")),
                Element("load", Resistor(resistance=9.0), ("c", "ground"))]
    network = Network(elements, ["supply"], ["c"], OMEGA)
    source = np.array([[10.0], [0], [0], [0]], complex)
    voltage = np.array([[9.0], [0], [0], [0]], complex)
    unknowns = network.unknowns(voltage, np.zeros((4, 1)), source)
    assert network.terminal_currents(unknowns, "L1")[0, 0] == pytest.approx(0.5)
    assert network.terminal_currents(unknowns, "L2")[0, 0] == pytest.approx(0.5)


def test_extreme_values_stand_beside_each_other():
    elements = [Element("supply", Termination(1e-6), ("vcc",)),
                Element("tiny", Resistor(resistance=1e-6), ("vcc", "x")),
                Element("huge", Resistor(resistance=1e12), ("x", "d"))]
    network = Network(elements, ["supply"], ["d"], OMEGA)
    # Norton form at d: E / (1e12 + 2e-6)
    assert network.c[0, 0, 0] / network.b[0, 0, 0] == pytest.approx(1e-12, rel=1e-9)
    assert network.a[0, 0, 0] / network.b[0, 0, 0] == pytest.approx(1e-12, rel=1e-9)
