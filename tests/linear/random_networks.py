"""Random linear networks for the tests, and Kirchhoff's and the parts' laws checked on what a network says."""

import numpy as np
from hypothesis import strategies as st

from hbsim.linear.coupled_lines import FilterSection
from hbsim.linear.lines import Line, OpenStub, ShortedStub
from hbsim.linear.lumped import Capacitor, Inductor, Resistor, Via
from hbsim.linear.network import Element
from hbsim.linear.sources import Termination

OMEGA = 2 * np.pi * 1e9 * np.arange(5)
SOURCES = ["port.p", "supply.s"]
DEVICE_NODES = ["d1", "d2"]
NODES = ["d1", "d2", "x", "y", "z", "ground"]

_line = dict(impedance=st.sampled_from([10.0, 50.0, 120.0]), electrical_length=st.sampled_from([30.0, 47.0, 90.0,
                                                                                               180.0]),
             at=st.just(1e9))
_parts = st.one_of(
    st.builds(Resistor, resistance=st.sampled_from([0.0, 1e-6, 0.3, 50.0, 12e3, 1e7, 1e12])),
    st.builds(Capacitor, capacitance=st.sampled_from([0.0, 1e-15, 1e-12, 33e-12, 1e-6]),
              series_inductance=st.sampled_from([0.0, 0.7e-9])),
    st.builds(Inductor, inductance=st.sampled_from([1e-10, 3e-9, 1e-6]),
              series_resistance=st.sampled_from([0.0, 0.5])),
    st.builds(Line, **_line), st.builds(OpenStub, **_line), st.builds(ShortedStub, **_line),
    st.builds(Via, inductance=st.sampled_from([0.0, 0.3e-9, 0.5e-9])),
    st.builds(FilterSection, even_impedance=st.just(70.0), odd_impedance=st.just(40.0),
              electrical_length=st.sampled_from([80.0, 90.0]), at=st.just(1e9)))


_biased = st.sampled_from([[], ["d1", "y"], ["d1", "d2", "y", "z"], ["d1", "d2", "y", "z"]])


@st.composite
def networks(draw):
    """Elements of a random network; the last two are a port at x and a supply at y."""
    parts = draw(st.lists(_parts, min_size=2, max_size=9))
    elements = [Element(f"part{i}", part, tuple(draw(st.sampled_from(NODES)) for _ in part.terminals))
                for i, part in enumerate(parts)]
    elements += [Element(f"bias{i}", Resistor(1e3), ("x", node)) for i, node in enumerate(draw(_biased))]
    return elements + [Element("port.p", Termination(50.0), ("x",)),
                       Element("supply.s", Termination(draw(st.sampled_from([0.0, 0.2])), steady=True), ("y",))]


@st.composite
def changed(draw, elements):
    """The same network with one or two parts changed, most often in value alone, and the names of these."""
    names = draw(st.sets(st.sampled_from([e.name for e in elements if e.name.startswith("part")]), min_size=1,
                         max_size=2))
    alike = draw(st.sampled_from([True, True, True, False]))

    def fits(part, element):
        return type(part) is type(element.part) if alike else len(part.terminals) == len(element.nodes)

    return [Element(e.name, draw(_parts.filter(lambda part, e=e: fits(part, e))), e.nodes) if e.name in names else e
            for e in elements], names


def solved(network, admittance=0.02, limit=1e8):
    """Unknowns with devices of `admittance` [S] from each device node to ground, 1 V in each source; None where the
    whole is singular or nearly so (condition above `limit`)."""
    n = len(network.device_nodes)
    source = np.ones((len(network.omega), len(network.sources)), complex)
    whole = network.a + network.b * admittance
    scale = np.maximum(np.abs(network.a).max(axis=2) * 50, np.abs(network.b).max(axis=2))[:, :, None]
    if n and np.linalg.cond(whole * 50 / scale).max() > limit:
        return None
    voltage = np.linalg.solve(whole, network.c @ source[:, :, None])[:, :, 0]
    return network.unknowns(voltage, voltage * admittance, source)


def error(network, unknowns, admittance=0.02):
    """Largest violation of a part's law or of Kirchhoff's, as a current, relative to the largest current anywhere (a
    voltage counts over 50 ohm); the laws are taken from the parts themselves."""
    omega = network.omega
    voltages = {node: network.node_voltage(unknowns, node) for node in network.layout.nodes}
    sums = {node: admittance * voltages[node] if node in network.device_nodes else 0 * omega for node in voltages}
    scale, left = np.max([np.abs(v) for v in voltages.values()], axis=0) / 50, []
    for name, element in network.elements.items():
        law = element.part.relation(omega)
        v, i = network.terminal_voltages(unknowns, name), network.terminal_currents(unknowns, name)
        a, b = law.a, np.broadcast_to(-np.eye(len(element.nodes)), law.a.shape) if law.b is None else law.b
        given = np.zeros_like(v)
        if name in network.sources:
            given[:, 0] = omega == 0.0 if element.part.steady else 1.0
        size = np.maximum(np.abs(a).max(axis=2) * 50, np.abs(b).max(axis=2))
        left.append(np.abs((np.einsum("kij,kj->ki", a, v) + np.einsum("kij,kj->ki", b, i) - given) / size).max(axis=1))
        # an admittance may be large and what it carries small
        carried = np.abs(i) if law.b is not None else np.einsum("kij,kj->ki", np.abs(a), np.abs(v))
        scale = np.maximum(scale, carried.max(axis=1))
        for t, node in enumerate(element.nodes):
            if node != "ground":
                sums[node] = sums[node] + i[:, t]
    left += [np.abs(total) for total in sums.values()]
    return float((np.max(left, axis=0) / np.maximum(scale, 1e-3)).max())


def condition(network, admittance=0.02):
    """Condition number of the whole set of equations at each frequency, with every terminal current an unknown."""
    omega, place = network.omega, {node: i for i, node in enumerate(network.layout.nodes)}
    laws = [(e.part.relation(omega), e.nodes) for e in network.elements.values()]
    first, size = len(place), len(place) + sum(len(nodes) for _, nodes in laws)
    m = np.zeros((len(omega), size, size), complex)
    for node in network.device_nodes:
        m[:, place[node], place[node]] += admittance * 50
    for law, nodes in laws:
        rows = slice(first, first + len(nodes))
        b = np.broadcast_to(-np.eye(len(nodes)), law.a.shape) if law.b is None else law.b
        largest = np.maximum(np.abs(law.a).max(axis=2) * 50, np.abs(b).max(axis=2))[:, :, None]
        m[:, rows, rows] = b / largest
        for t, node in enumerate(nodes):
            if node != "ground":
                m[:, rows, place[node]] += 50 * law.a[:, :, t] / largest[:, :, 0]
                m[:, place[node], first + t] += 1.0
        first += len(nodes)
    return np.linalg.cond(m)
