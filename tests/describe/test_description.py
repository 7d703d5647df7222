"""A circuit with other values: addresses, what is touched, and what stays the same object."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.describe.circuitfile import build
from hbsim.errors import Refusal

CIRCUIT = build({
    "board": {"use": "fr4-1.6mm"},
    "drive": {"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
    "port": {"input": {"node": "in"}, "output": {"node": "out"}},
    "supply": {"VCC": {"node": "vcc", "voltage": "5 V"}},
    "part": {
        "stub": {"kind": "open stub", "nodes": ["in"], "width": "3 mm", "length": "14 mm"},
        "R1": {"kind": "resistor", "nodes": ["vcc", "out"], "resistance": "100 ohm"},
        "R2": {"kind": "resistor", "nodes": ["vcc", "in"], "resistance": "10 kohm"},
        "Q1": {"kind": "bjt", "use": "npn-25ghz", "VAF": "0 V", "nodes": ["in", "out", "ground"]},
    },
})


def test_addresses():
    found = CIRCUIT.addresses()
    assert len(found) == len(set(found))
    for address in ("drive.power", "drive.frequency", "supply.VCC", "supply.VCC.voltage", "supply.VCC.resistance",
                    "port.input.impedance", "port.output.impedance", "board.permittivity", "stub.length", "stub.width",
                    "R1.resistance", "Q1.BF", "Q1.temperature", "Q1.base_inductance"):
        assert address in found
    assert not any("dbm" in address for address in found)


@pytest.mark.parametrize("address", CIRCUIT.addresses())
def test_every_address_is_found_and_keeps_its_own_value(address):
    spec, value = CIRCUIT.look_up(address)
    if value is None:  # a limit that the model file does not state
        return
    spec.check(value)
    assert CIRCUIT.with_values({address: value}).look_up(address) == (spec, value)


def test_values_with_units_and_without():
    for text, number in (("3 dBm", 3), ("3 dBm", 3.0)):
        assert CIRCUIT.with_values({"drive.power": text}) == CIRCUIT.with_values({"drive.power": number})
    changed = CIRCUIT.with_values({"stub.length": "12 mm", "supply.VCC": "3.3 V", "part.Q1.temperature": "85 degC"})
    assert changed.parts["stub"].part.length == 0.012
    assert changed.supplies["VCC"].voltage == 3.3
    assert changed.devices["Q1"].part.temperature == pytest.approx(358.15, abs=1e-12)
    assert changed.look_up("supply.VCC") == changed.look_up("supply.VCC.voltage")


@given(st.floats(-100.0, 100.0))
def test_a_drive_touches_nothing_else(power_dbm):
    changed = CIRCUIT.with_values({"drive.power": power_dbm})
    assert changed.drive.power_dbm == power_dbm and changed.drive.frequency == CIRCUIT.drive.frequency
    for group in ("board", "ports", "supplies", "parts", "devices"):
        assert getattr(changed, group) is getattr(CIRCUIT, group)
    assert CIRCUIT.drive.power_dbm == 0.0


def test_a_part_touches_only_itself():
    changed = CIRCUIT.with_values({"R1.resistance": 47.0})
    assert changed.parts["R1"].part.resistance == 47.0 and CIRCUIT.parts["R1"].part.resistance == 100.0
    assert changed.parts["R2"] is CIRCUIT.parts["R2"] and changed.parts["stub"] is CIRCUIT.parts["stub"]
    assert changed.devices is CIRCUIT.devices and list(changed.parts) == list(CIRCUIT.parts)


def test_the_board_reaches_every_part_on_it():
    changed = CIRCUIT.with_values({"board.permittivity": 4.0, "stub.length": "10 mm"})
    stub = changed.parts["stub"].part
    assert changed.board.permittivity == 4.0 and stub.board is changed.board
    assert (stub.length, stub.width) == (0.01, 0.003)
    assert changed.parts["R1"] is CIRCUIT.parts["R1"]


def test_nothing_to_change():
    assert CIRCUIT.with_values({}) is CIRCUIT


def test_notes_follow_the_values():
    assert CIRCUIT.notes == ("part.Q1.VAF: 0 is read as infinite",)
    assert CIRCUIT.with_values({"Q1.VAF": "30 V"}).notes == ()
    assert CIRCUIT.with_values({"Q1.VAF": math.inf}).notes == ()
    again = CIRCUIT.with_values({"Q1.IKF": 0, "Q1.VAF": "0 V"})
    assert again.devices["Q1"].part.IKF == math.inf
    assert again.notes == ("part.Q1.IKF: 0 is read as infinite", "part.Q1.VAF: 0 is read as infinite")


def test_a_frequency_far_below_radio_is_noted():
    low = CIRCUIT.with_values({"drive.frequency": "144 mHz"})
    said = "drive.frequency: 0.144 Hz is unusually low; mHz is millihertz, MHz megahertz"
    assert low.notes == (*CIRCUIT.notes, said) and low.with_values({"drive.power": "1 dBm"}).notes == low.notes
    assert low.with_values({"drive.frequency": "144 MHz"}).notes == CIRCUIT.notes


@pytest.mark.parametrize("address, words", [
    ("drive.pwer", ["'drive.power'"]),
    ("drive.power_dbm", ["'drive.power'"]),
    ("Q1.VAFF", ["'Q1.VAF'"]),
    ("stubb.length", ["'stub.length'"]),
    ("X7.resistance", ["an address is", "R1"]),
    ("supply.VDD", ["'supply.VCC'"]),
    ("port.inptu.impedance", ["'port.input.impedance'"]),
    ("board.permitivity", ["'board.permittivity'"]),
    ("R1.board", ["R1 has: resistance"]),
    ("R1.value", ["R1 has: resistance"]),
    ("Q1.use", ["Q1 has: IS, BF,"]),
    ("R2.resistence", ["did you mean 'R2.resistance'?"]),
    ("drive", ["drive has: frequency, power"]),
    ("", ["an address is", "drive", "Q1"]),
    ("part.R1", ["R1 has: resistance"]),
    ("supply.VCC.voltage.x", ["supply.VCC.voltage"]),
    ("drive.port", ["drive has: frequency, power"]),
])
def test_unknown_addresses(address, words):
    for ask in (CIRCUIT.look_up, lambda unknown: CIRCUIT.with_values({unknown: 1.0})):
        with pytest.raises(Refusal) as caught:
            ask(address)
        assert caught.value.place == address and "no such quantity" in str(caught.value)
        assert all(word in str(caught.value) for word in words), str(caught.value)


@pytest.mark.parametrize("values, place, words", [
    ({"stub.length": "-1 mm"}, "stub.length", ["not possible"]),
    ({"stub.length": -1.0}, "stub.length", ["not possible"]),
    ({"stub.length": "3"}, "stub.length", ["no unit"]),
    ({"drive.power": math.nan}, "drive.power", ["not a finite number"]),
    ({"drive.power": -math.inf}, "drive.power", ["not a finite number"]),
    ({"drive.power": None}, "drive.power", ["not a quantity"]),
    ({"R1.resistance": "3 mm"}, "R1.resistance", ["'mm'"]),
    ({"supply.VCC": 3.0, "supply.VCC.voltage": 4.0}, "supply.VCC.voltage", ["twice"]),
    ({"Q1.RB": 0.0}, "Q1.RBM", ["RBM without RB"]),
])
def test_values_that_are_not_possible(values, place, words):
    with pytest.raises(Refusal) as caught:
        CIRCUIT.with_values(values)
    assert caught.value.place == place and all(word in str(caught.value) for word in words), str(caught.value)


def test_no_board():
    bare = build({
        "drive": {"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
        "port": {"input": {"node": "in"}, "output": {"node": "out"}},
        "part": {"R1": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "100 ohm"}},
    })
    assert bare.board is None and not any(address.startswith("board") for address in bare.addresses())
    with pytest.raises(Refusal, match="no such quantity"):
        bare.with_values({"board.permittivity": 4.0})
