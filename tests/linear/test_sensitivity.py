"""How a network answers to a change of one law: against networks built anew, and against itself."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from random_networks import DEVICE_NODES, OMEGA, SOURCES, networks, solved

from hbsim.errors import Refusal
from hbsim.linear.coupled_lines import FilterSection
from hbsim.linear.lines import Line, OpenStub, ShortedStub
from hbsim.linear.lumped import Capacitor, Inductor, Resistor, Via
from hbsim.linear.network import Element, Network
from hbsim.linear.part import Relation
from hbsim.linear.sensitivity import FormChanged, Transfer, law_slope
from hbsim.linear.sources import Termination

MOVED = {Resistor: "resistance", Capacitor: "capacitance", Inductor: "inductance", Via: "inductance",
         Line: "electrical_length", OpenStub: "electrical_length", ShortedStub: "electrical_length",
         FilterSection: "even_impedance"}
LOAD = 0.02  # each device is a conductance here. [S]
STEP = 2e-4


def built(elements):
    return Network(elements, SOURCES, DEVICE_NODES, OMEGA)


def moved(elements, name, factor):
    """The same elements with the quantity of one of them times a factor."""
    return [replace(e, part=replace(e.part, **{MOVED[type(e.part)]: getattr(e.part, MOVED[type(e.part)]) * factor}))
            if e.name == name else e for e in elements]


def moderate(elements):
    """The same without resistances so small or large that differences of networks cannot follow: beside 1 uohm a stub
    that is a short differs from one of another length in all but the slope itself; behind 10 Mohm is only rounding."""
    instead = {1e-6: 5.0, 1e7: 820.0, 1e12: 2200.0}
    return [replace(e, part=replace(e.part, resistance=instead.get(e.part.resistance, e.part.resistance)))
            if isinstance(e.part, Resistor) else e for e in elements]


def difference(of):
    """Slope at 1 of a function of a factor, extrapolated from two central differences: wrong by step^4 / 30 times the
    fifth derivative. At the step, of two, where extrapolating changes less: a stub that is a short may stand beside
    0.2 ohm, which a step of 2e-4 leaves far behind."""
    tries = []
    for step in (STEP, STEP / 20):
        near = (of(1 + step) - of(1 - step)) / (2 * step)
        far = (of(1 + 2 * step) - of(1 - 2 * step)) / (4 * step)
        tries.append((np.abs(near - far).max(), near + (near - far) / 3))
    return min(tries, key=lambda item: item[0])[1]


@settings(max_examples=150)
@given(networks(), st.data())
def test_one_law_moved_against_networks_built_anew(elements, data):
    elements = moderate(elements)
    movable = [e.name for e in elements if type(e.part) in MOVED and getattr(e.part, MOVED[type(e.part)]) > 0.0]
    assume(movable)
    name = data.draw(st.sampled_from(movable))
    element = next(e for e in elements if e.name == name)
    try:
        network = built(elements)
        unknowns = solved(network, LOAD, limit=1e4)
        assume(unknowns is not None)
        nodes = list(network.layout.nodes)

        def voltages(factor):
            there = built(moved(elements, name, factor))
            found = solved(there, LOAD, limit=1e5)
            assume(found is not None)
            return np.stack([there.node_voltage(found, node) for node in nodes], axis=1)

        expected = difference(voltages)
    except Refusal:
        assume(False)
    laws = [(weight / STEP, moved([element], name, 1 + place * STEP)[0].part.relation(OMEGA))
            for place, weight in ((-2, 1 / 12), (-1, -2 / 3), (1, 2 / 3), (2, -1 / 12))]
    transfer = Transfer(network, network.ties)
    try:
        offset = transfer.offset(element, law_slope(laws, network.relations[name]), unknowns)
        transfer.check([offset])
    except (FormChanged, Refusal):
        assume(False)
    put = np.zeros((len(OMEGA), transfer.size), complex)
    for terminal, row in enumerate(offset.rows):
        if row >= 0:
            put[:, row] -= offset.off[:, terminal]
    right = transfer.condensed @ put[:, :, None]
    voltage = np.linalg.solve(network.a + LOAD * network.b, right)[:, :, 0]
    put[:, :len(DEVICE_NODES)] += (transfer.load - LOAD) * voltage
    rows = np.stack(transfer.answers(transfer.nodes[node] for node in nodes), axis=1)
    found = (rows @ put[:, :, None])[:, :, 0]
    # 1e-5: the smaller step is still 1e-2 of the width of a resonance that 0.2 ohm damps. Rounding: what is left of the
    # 16 digits of the sources' 1 V by differences at 1e-5 or 2e-4, and by a condition of up to 1e5
    rounding = 1e-7 * max(1.0, np.abs(unknowns[:, :len(network.layout.nodes)]).max())
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-5 * np.abs(expected).max() + rounding)


@settings(max_examples=100)
@given(networks())
def test_it_tells_the_same_equations_as_the_condensed_network(elements):
    try:
        network = built(elements)
    except Refusal:
        assume(False)
    unknowns = solved(network, LOAD, limit=1e4)
    assume(unknowns is not None)
    transfer, n = Transfer(network, network.ties), len(DEVICE_NODES)
    # rounding of the equations' own entries, and of currents that flow elsewhere (1 V across 1 uohm)
    scale = max(np.abs(network.b).max(), 50.0 * np.abs(network.a).max())
    rounding = 1e-9 * scale + 1e-14 * np.abs(unknowns).max()
    for number, name in enumerate(SOURCES):
        acts = OMEGA == 0.0 if network.elements[name].part.steady else np.ones(len(OMEGA), bool)
        row = transfer.condensed[acts][:, :, transfer.rows[name][0]]
        np.testing.assert_allclose(row, network.c[acts][:, :, number], rtol=0, atol=rounding)
    # a current drawn at a device node is a current into the device: W S = B
    np.testing.assert_allclose(transfer.condensed[:, :, :n], network.b, rtol=0, atol=rounding)


def test_a_series_resistance_has_the_slope_of_its_closed_form():
    # 50 ohm source of 2 V, resistance R, device node: V = 2 - (50 + R) I, so dV = -I dR at a given current
    for ohms in (0.0, 0.5, 80.0):
        elements = [Element("port.p", Termination(50.0), ("p",)), Element("R", Resistor(ohms), ("p", "d"))]
        network = Network(elements, ["port.p"], ["d"], OMEGA)
        transfer, current = Transfer(network, network.ties), 7e-3
        voltage = np.full((len(OMEGA), 1), 2.0 - (50.0 + ohms) * current, complex)
        unknowns = network.unknowns(voltage, np.full_like(voltage, current), np.full_like(voltage, 2.0))
        step = 1e-3
        laws = [(weight / step, Resistor(ohms + place * step).relation(OMEGA))
                for place, weight in ((0.0, -1.5), (1.0, 2.0), (2.0, -0.5))]
        offset = transfer.offset(elements[1], law_slope(laws, network.relations["R"]), unknowns)
        put = np.zeros((len(OMEGA), transfer.size), complex)
        put[:, offset.rows] -= offset.off
        slope = (transfer.condensed @ put[:, :, None])[:, :, 0] / network.a[:, :, 0]
        # the second difference of 1 / R at 80 ohm, 1 mohm apart: (1e-3 / 80)^2
        np.testing.assert_allclose(slope, -current, rtol=1e-9)


def test_laws_of_another_form_are_brought_to_an_admittance_but_not_from_one():
    omega = np.array([0.0, 1.0])
    admittance, impedance = Resistor(2.0).relation(omega), Resistor(0.5).relation(omega)
    assert admittance.b is None and impedance.b is not None
    slope = law_slope([(1.0, impedance)], admittance)  # 2 S less 0.5 S
    np.testing.assert_allclose(slope.a, 1.5 * np.array([[[1, -1], [-1, 1]]] * 2), atol=1e-14)
    with pytest.raises(FormChanged):
        law_slope([(1.0, admittance)], impedance)
    with pytest.raises(FormChanged):  # no admittance exists
        law_slope([(1.0, Resistor(0.0).relation(omega))], admittance)
    assert law_slope([(2.0, Relation(3.0 * np.ones((2, 1, 1))))], Relation(np.ones((2, 1, 1)))).a[0, 0, 0] == 4.0
