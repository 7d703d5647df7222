"""Networks condensed in a batch, and on a frame, against the same without either, and against closed forms."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_networks import DEVICE_NODES, OMEGA, SOURCES, changed, condition, error, networks, solved

from hbsim.errors import Refusal
from hbsim.linear.coupled_lines import FilterSection
from hbsim.linear.elimination import NETWORK
from hbsim.linear.frame import Frame
from hbsim.linear.lines import Line
from hbsim.linear.lumped import Capacitor, Inductor, Resistor, Via
from hbsim.linear.network import Element, Network
from hbsim.linear.sources import Termination

SLOWLY = NETWORK._replace(growth=0.0)  # every frequency by itself, as in the books
PINS = {"Q1": {"base": "d1", "collector": "d2"}}
HELD = [("d1", "ground"), ("d2", "ground")]


def outcome(build):
    try:
        return build(), None
    except Refusal as refusal:
        return None, str(refusal)


def framed(elements, loose, other, sources=("port.p",), nodes=("d",), omega=OMEGA, pins=None, conducting=()):
    """The network of `other` on a frame made for `elements`; None where it gives none."""
    return Frame(elements, sources, nodes, omega, pins or {}, conducting, loose).network(other)


def swapped(elements, name, part):
    return [Element(e.name, part, e.nodes) if e.name == name else e for e in elements]


@settings(max_examples=120, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(st.data())
def test_every_way_says_the_same(data):
    elements = data.draw(networks())
    other, loose = data.draw(changed(elements))
    pins, conducting = data.draw(st.sampled_from([(PINS, HELD), ({}, HELD), ({}, [("d1", "d2")]), ({}, [])]))
    request = (SOURCES, DEVICE_NODES, OMEGA, pins, conducting)
    careful, reason = outcome(lambda: Network(other, *request, care=SLOWLY))
    batch, batch_reason = outcome(lambda: Network(other, *request))
    frame, _ = outcome(lambda: Frame(elements, *request, loose))
    on_frame = frame.network(other) if frame is not None else None
    assert batch_reason == reason
    if careful is None:
        assert on_frame is None
        return
    expected = solved(careful)
    if expected is None:
        return
    allowed = 1e-14 * condition(careful)  # of voltages; endless where an open end or a resonance leaves one free
    for network in [batch] + [on_frame] * (on_frame is not None):
        assert list(network.layout.nodes) == list(careful.layout.nodes)
        # no limit here, lest a bad network be passed over: what was nearly singular left with the careful way above
        found = solved(network, limit=np.inf)
        # Rounding, times what is lost where an admittance is divided out; the careful way divides where it is up to 1e6
        assert error(network, found) < max(1e-11, 10 * error(careful, expected))
        for node in careful.layout.nodes:
            off = np.abs(network.node_voltage(found, node) - careful.node_voltage(expected, node))
            assert (off < np.maximum(1e-11, allowed)).all()


def test_most_of_the_random_networks_are_condensed_in_a_batch_and_framed():
    # that the comparison above compares: counted over the same strategies
    seen = {"batch": 0, "framed": 0, "networks": 0}

    @settings(max_examples=60, suppress_health_check=list(HealthCheck), database=None)
    @given(st.data())
    def count(data):
        elements = data.draw(networks())
        other, loose = data.draw(changed(elements))
        request = (SOURCES, DEVICE_NODES, OMEGA, {}, HELD)
        network, _ = outcome(lambda: Network(other, *request))
        frame, _ = outcome(lambda: Frame(elements, *request, loose))
        seen["networks"] += network is not None
        seen["framed"] += frame is not None and frame.network(other) is not None

    count()
    assert seen["framed"] > 0.3 * seen["networks"] > 10


# -- closed forms -------------------------------------------------------------------------------------------------


def ladder(series, shunt):
    """Admittance of a ladder seen from its end, by the continued fraction y -> 1 / (z + 1 / y) + y_shunt (elementary).

    The last shunt stands at the end that is looked into.
    """
    y = 0.0
    for z, y_shunt in zip(series, shunt):
        y = (y / (1 + z * y) if y else 0.0) + y_shunt
    return y


def ladder_elements(series, shunt):
    """From n0, the far end, to d; parts are resistors."""
    elements = []
    names = [f"n{i}" for i in range(len(series))] + ["d"]
    for i, (z, g) in enumerate(zip(series, shunt)):
        elements.append(Element(f"shunt{i}", Resistor(1 / g), (names[i + 1], "ground")))
        elements.append(Element(f"series{i}", Resistor(z), (names[i], names[i + 1])))
    return elements


@pytest.mark.parametrize("way", ["batch", "framed"])
@given(values=st.lists(st.tuples(st.sampled_from([1e-6, 0.1, 3.0, 75.0, 1e4, 1e12]),
                                 st.sampled_from([1e-12, 1e-4, 0.02, 2.0, 1e6])), min_size=2, max_size=6),
       loose=st.integers(0, 11))
@settings(max_examples=60)
def test_a_ladder_of_resistors_from_a_millionth_to_a_million_million_ohm(way, values, loose):
    series, shunt = zip(*values)
    elements = ladder_elements(series, shunt)
    if way == "batch":
        network = Network(elements, [], ["d"], OMEGA)
    else:
        name = elements[loose % len(elements)].name
        network = framed(swapped(elements, name, Resistor(7.0)), {name}, elements, sources=())
        if network is None:  # left to the other way where it cannot be sure
            return
    expected = ladder(series, shunt)
    found = network.a[:, 0, 0] / network.b[:, 0, 0]
    # positive terms only: rounding at each rung, beside the largest conductance that is written as one (from 1 ohm up)
    largest = max([g for g in shunt if g <= 1.0] + [1 / r for r in series if r >= 1.0] + [0.0])
    np.testing.assert_allclose(found, expected, rtol=1e-13, atol=1e-15 * largest)


def test_a_ladder_of_lines_and_capacitors_follows_its_changing_part():
    # chain matrices of a line and of a shunt and series element (Pozar, Microwave Engineering, sec. 4.4)
    def admittance(length, farads):
        omega = OMEGA[1:]
        total = np.broadcast_to(np.eye(2, dtype=complex), (len(omega), 2, 2))
        theta = np.radians(length) * omega / 1e9 / 2 / np.pi
        for z0 in (50.0, 80.0, 35.0):
            line = np.array([[np.cos(theta), 1j * z0 * np.sin(theta)], [1j * np.sin(theta) / z0, np.cos(theta)]])
            y = 1j * omega * farads
            shunt = np.array([[np.ones_like(y), 0 * y], [y, np.ones_like(y)]])
            total = total @ np.moveaxis(line, 2, 0) @ np.moveaxis(shunt, 2, 0)
        a, b, c, d = total[:, 0, 0], total[:, 0, 1], total[:, 1, 0], total[:, 1, 1]
        return (c * 50 + d) / (a * 50 + b)  # ended in 50 ohm

    def elements(length, farads):
        found, node = [], "d"
        for i, z0 in enumerate((50.0, 80.0, 35.0)):
            found.append(Element(f"line{i}", Line(impedance=z0, electrical_length=length, at=1e9), (node, f"n{i}")))
            found.append(Element(f"C{i}", Capacitor(farads), (f"n{i}", "ground")))
            node = f"n{i}"
        return found + [Element("port.p", Termination(50.0), (node,))]

    frame = Frame(elements(33.0, 1e-12), ["port.p"], ["d"], OMEGA, {}, [], {"line0", "line1", "line2"})
    for length in (20.0, 33.0, 71.0):
        network = frame.network(elements(length, 1e-12))
        # rounding of a few dozen operations, resonances up to some hundred times the terms
        np.testing.assert_allclose(network.a[1:, 0, 0], admittance(length, 1e-12), rtol=1e-12)


def test_a_tank_at_its_very_resonance_is_open_and_a_trap_is_a_short():
    # w^2 L C = 1 at the first harmonic: the parallel pair carries nothing, the series pair holds its node at 0 V
    inductance, capacitance = 2e-9, 1 / (OMEGA[1]**2 * 2e-9)
    elements = [Element("L", Inductor(inductance), ("d", "ground")), Element("C", Capacitor(1e-12), ("d", "ground")),
                Element("R", Resistor(1e6), ("d", "x")), Element("port.p", Termination(50.0), ("x",)),
                Element("Lt", Inductor(inductance), ("d", "t")), Element("Ct", Capacitor(1e-15), ("t", "ground"))]
    tank = framed(elements, {"C", "Ct"}, swapped(swapped(elements, "C", Capacitor(capacitance)), "Ct", Capacitor(0.0)))
    assert tank.a[1, 0, 0] / tank.b[1, 0, 0] == pytest.approx(1 / (1e6 + 50), rel=1e-9)  # 80 mS cancel in 1 uS
    trap = framed(elements, {"Ct"}, swapped(elements, "Ct", Capacitor(capacitance)))
    assert abs(trap.b[1, 0, 0] / (50 * trap.a[1, 0, 0])) < 1e-14 and not trap.identity[1]


# -- what stands in doubt -----------------------------------------------------------------------------------------


def test_choke_to_a_stiff_supply_holds_its_node_exactly_through_a_frame():
    elements = [Element("supply.s", Termination(0.0, steady=True), ("vcc",)),
                Element("choke", Inductor(1e-9), ("vcc", "d")), Element("load", Resistor(50.0), ("d", "ground")),
                Element("C", Capacitor(1e-12), ("d", "ground"))]
    network = framed(elements, {"C"}, swapped(elements, "C", Capacitor(2e-12)), ["supply.s"])
    assert not network.identity[0] and network.identity[1:].all()
    assert network.c[0, 0, 0] / network.a[0, 0, 0] == pytest.approx(1.0, rel=1e-14)
    assert abs(network.b[0, 0, 0]) < 1e-14 * abs(network.a[0, 0, 0]) * 50
    # by hand: choke, load and capacitor side by side
    assert network.a[2, 0, 0] == pytest.approx(1 / 50 + 1 / (1j * OMEGA[2] * 1e-9) + 1j * OMEGA[2] * 2e-12, rel=1e-12)
    source, current = np.full((5, 1), 3.0 + 0j), np.full((5, 1), 0.01 + 0j)
    found = network.unknowns(source.copy(), current, source)
    # through the choke flows what the load and the device take (Kirchhoff)
    assert network.terminal_currents(found, "choke")[0, 0] == pytest.approx(3.0 / 50 + 0.01, rel=1e-13)


def possible(network, given):
    """V, I and E for one device node and one source whose V and E are the columns of `given`; B is the identity."""
    assert network.identity.all()
    v, e = (np.broadcast_to(row, (len(network.omega), len(row))) for row in given)
    return np.stack([v, network.c[:, 0, :1] * e - network.a[:, 0, :1] * v, e], axis=1)


def test_resonators_that_float_at_dc_are_tied_inside_the_frame():
    section = FilterSection(even_impedance=70.0, odd_impedance=40.0, electrical_length=80.0, at=1e9)
    elements = [Element("port.p", Termination(50.0), ("p",)), Element("R", Resistor(1e3), ("d", "ground")),
                Element("C", Capacitor(1e-12), ("d", "ground")),
                *(Element(f"filter{i}", section, nodes) for i, nodes in enumerate([("d", "f1"), ("f1", "f2"),
                                                                                  ("f2", "p")]))]
    other = swapped(elements, "C", Capacitor(2e-12))
    network, plain = framed(elements, {"C"}, other), Network(other, ["port.p"], ["d"], OMEGA)
    assert network.a[0, 0, 0] == pytest.approx(1e-3, rel=1e-12)
    np.testing.assert_allclose(network.a, plain.a, rtol=1e-12)
    assert sorted(plain.ties) == ["f1", "f2"] and network.ties == ()
    # how a voltage follows from (V, I, E) has many forms, for these are bound to each other: compared at what can be
    given = np.array([[1.0, 0.0], [0.0, 1.0]])  # V and E
    for node in ("f1", "f2"):
        told = [np.einsum("kg,kgj->kj", n.row(n.layout.nodes[node]), possible(n, given)) for n in (network, plain)]
        np.testing.assert_allclose(told[0], told[1], atol=1e-13)


def test_a_piece_that_only_devices_hold_has_its_zero_at_the_same_node():
    # a and b float together; "a" comes first by its name and is inside the frame but for the tie
    elements = [Element("port.p", Termination(50.0), ("p",)), Element("C", Capacitor(1e-12), ("p", "b")),
                Element("R", Resistor(100.0), ("a", "b")), Element("R2", Resistor(100.0), ("a", "c"))]
    request = dict(nodes=("b", "c"), conducting=[("b", "c")])
    other = swapped(elements, "C", Capacitor(3e-12))
    network = framed(elements, {"C"}, other, **request)
    plain = Network(other, ["port.p"], ["b", "c"], OMEGA, {}, [("b", "c")])
    assert plain.ties == network.ties == ("a",)
    np.testing.assert_allclose(network.a, plain.a, rtol=1e-12, atol=1e-16)


def test_loops_without_resistance_share_their_current_alike_or_have_no_frame():
    elements = [Element("port.p", Termination(50.0), ("d",)), Element("V1", Via(1e-9), ("e",)),
                Element("V2", Via(2e-9), ("e",)), Element("R", Resistor(50.0), ("e", "d"))]
    network = framed(elements, {"R"}, swapped(elements, "R", Resistor(25.0)))
    assert network.identity.all()
    found = network.unknowns(np.ones((5, 1)), -network.a[:, :, 0], np.zeros((5, 1)))  # 1 V at d
    for name in ("V1", "V2"):  # at DC both are perfect; above, currents divide as 1/L does
        assert network.terminal_currents(found, name)[0, 0] == pytest.approx(0.5 / 25, rel=1e-12)
    assert network.terminal_currents(found, "V1")[1, 0] == pytest.approx(
        2 * network.terminal_currents(found, "V2")[1, 0], rel=1e-12)
    # a loop through a loose part: how its current divides can only be said of the whole
    assert framed(elements, {"V2"}, swapped(elements, "V2", Via(3e-9))) is None


def test_a_part_that_joins_other_nodes_at_dc_than_before_has_no_frame():
    elements = [Element("port.p", Termination(50.0), ("p",)), Element("X", Inductor(1e-9), ("p", "d")),
                Element("R", Resistor(50.0), ("d", "ground"))]
    assert framed(elements, {"X"}, swapped(elements, "X", Inductor(2e-9))) is not None
    assert framed(elements, {"X"}, swapped(elements, "X", Capacitor(2e-12))) is None


def test_a_frame_of_frames_says_the_same():
    elements = ladder_elements([3.0, 5.0, 7.0], [0.02, 0.01, 0.03])
    inner = Network(elements[:2], [], ["n1"], OMEGA)
    middle = Network(elements[:4], [], ["n1", "n2"], OMEGA, ties=(),
                     frame=Network(elements[:2], [], ["n1", "n2"], OMEGA))
    whole = Network(elements, [], ["d"], OMEGA, ties=(),
                    frame=Network(elements[:4], [], ["d", "n2"], OMEGA))
    assert inner.a[0, 0, 0] == pytest.approx(0.02) and middle.a.shape == (5, 2, 2)
    np.testing.assert_allclose(whole.a[:, 0, 0], ladder([3.0, 5.0, 7.0], [0.02, 0.01, 0.03]), rtol=1e-13)
