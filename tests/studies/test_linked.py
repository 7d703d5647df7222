"""Axes that move several quantities: every point equals the circuit with each of them set by hand."""

import numpy as np
import pytest

import hbsim
from hbsim.errors import Refusal
from hbsim.studies.linked import Link, link_of

K = 6


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


@pytest.mark.parametrize("name, values, by_hand", [
    ("C_c.capacitance, Q1.CJE", "1, 2 pF", lambda c, v: {"C_c.capacitance": v, "Q1.CJE": v}),
    ("scale C_c.capacitance, L_c.inductance", "0.9:1.1:3 points",
     lambda c, v: {a: v * c.description.look_up(a)[1] for a in ("C_c.capacitance", "L_c.inductance")}),
    ("scale supply.VCC", "80, 120 %", lambda c, v: {"supply.VCC": v * c.description.look_up("supply.VCC")[1]}),
    ("port.*.impedance", "40:60:20ohm", lambda c, v: {"port.input.impedance": v, "port.output.impedance": v}),
])
def test_every_point_equals_the_quantities_set_by_hand(circuit, name, values, by_hand):
    table = circuit.sweep({name: values, "drive.power": "-5:0:5dBm"}, harmonics=K)
    assert table.shape == (len(table[name]), 2) and table.solved.all()
    for number in range(table.solved.size):
        place = table.place(number)
        asked = by_hand(circuit, place[name]) | {"drive.power": place["drive.power"]}
        assert table.settings(number) == pytest.approx(asked, rel=1e-15)
        state = circuit.solve(asked, harmonics=K)
        assert table.flat("output_dbm_2")[number] == pytest.approx(state.output_dbm(2), abs=1e-6)  # both balanced


def test_all_gaps_of_the_filter_by_one_factor(examples):
    beacon = hbsim.load(examples / "beacon_2304.toml")
    link = link_of(beacon.description, "scale *.gap")
    assert len(link.addresses) == 3 and sorted(link.bases) == [0.3e-3, 0.3e-3, 1.2e-3]
    table = beacon.sweep({"scale *.gap": "0.9, 1, 1.1"}, harmonics=K)
    assert table["output_dbm_2"][1] == pytest.approx(beacon.solve(harmonics=K).output_dbm(2), abs=1e-6)
    assert np.ptp(table["output_dbm_2"]) > 0.05


def test_a_supply_by_its_short_name_counts_once(circuit):
    assert link_of(circuit.description, "supply.VCC.v*").addresses == ("supply.VCC.voltage",)
    assert link_of(circuit.description, "supply.V*age") == Link(("supply.VCC.voltage",))


@pytest.mark.parametrize("axes, words", [
    ({"C_c.capacitance, L_c.inductance": [1e-12]}, "different kinds.*'scale C_c.capacitance, L_c.inductance'"),
    ({"*.gap": [1e-3]}, "no quantity of this circuit fits"),
    ({"C_x.*citance": [1e-12]}, "no quantity of this circuit fits"),
    ({"C_c.capacitance, C_x.capacitance": [1e-12]}, "did you mean"),
    ({"scale drive.power": [1.1]}, "dBm is not multiplied"), ({"scale Q1.temperature": [1.1]}, "temperature is not"),
    ({"scale Q1.thermal_resistance": [1.1]}, "is zero, which no factor changes"),
    ({"scale C_c.capacitance": [0.0]}, "above 0"), ({"scale C_c.capacitance": "1:2:1pF"}, "pF"),
    ({"scale C_c.capacitance": [1.1], "C_c.capacitance": [1e-12]}, "twice"),
    ({"scale C_c.capacitance": [1.1], "part.C_c.capacitance": [1e-12]}, "twice"),
])
def test_what_cannot_be_linked_is_refused(circuit, axes, words):
    with pytest.raises(Refusal, match=words):
        circuit.sweep(axes, harmonics=K)
