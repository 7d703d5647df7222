"""Nodes that only devices hold at DC, sources that meet dead shorts: where a wrong answer comes easily."""

import numpy as np
import pytest

import hbsim

BASE = {"title": "case", "drive": {"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
        "port": {"input": {"node": "in"}, "output": {"node": "out"}}}
DIODE = {"kind": "diode", "IS": "1e-9 A", "RS": "5 ohm", "N": 1.05, "CJO": "0.1 pF"}


def tripler(tie=None):
    parts = {"C1": {"kind": "capacitor", "nodes": ["in", "x"], "capacitance": "10 pF"},
             "C2": {"kind": "capacitor", "nodes": ["y", "out"], "capacitance": "10 pF"},
             "D1": DIODE | {"nodes": {"anode": "x", "cathode": "y"}},
             "D2": DIODE | {"nodes": {"anode": "y", "cathode": "x"}}}
    if tie:
        parts["tie"] = {"kind": "resistor", "nodes": ["x", "ground"], "resistance": tie}
    return hbsim.Circuit.build(**BASE, wanted={"port": "output", "harmonic": 3}, part=parts)


@pytest.mark.parametrize("power", [0.0, 15.0, 30.0])
def test_a_pair_between_capacitors_equals_the_same_pair_tied(power):
    # No current can flow in a tie of the floating pair, so one that is large beside all at RF must not matter.
    free, tied = (c.solve({"drive.power": power}) for c in (tripler(), tripler("1e10 ohm")))
    for k in (1, 3, 5):
        assert free.output_dbm(k) == pytest.approx(tied.output_dbm(k), abs=1e-4)
    # a passive circuit gives no more than it gets
    assert free.output_watts(1) + free.output_watts(3) < 1e-3 * 10 ** (power / 10)
    assert abs(free.power_balance["error"]) < 1e-9 * free.power_balance["given"]


def test_a_sweep_of_the_floating_pair_equals_single_solves():
    circuit = tripler()
    table = circuit.sweep({"drive.power": "0:30:2 dBm"})
    assert table.solved.all()
    assert table["output_dbm_1"].max() < 30.0
    assert table["output_dbm_3"][10] == pytest.approx(circuit.solve({"drive.power": 20.0}).output_dbm(3), abs=1e-6)


@pytest.mark.parametrize("bypass", [
    {"stub": {"kind": "open stub", "nodes": ["vcc"], "impedance": "50 ohm", "electrical_length": "90 deg",
              "at": "2 GHz"}},
    {"C": {"kind": "capacitor", "nodes": ["vcc", "ground"], "capacitance": "1 F"}},
])
def test_a_supply_without_resistance_may_be_bypassed_by_a_perfect_short(bypass):
    # The source of a supply is zero at every harmonic: a short there changes nothing beside an almost ideal supply.
    def circuit(resistance):
        return hbsim.Circuit.build(
            **BASE, supply={"VCC": {"node": "vcc", "voltage": "3 V", "resistance": resistance}},
            part=bypass | {"Ci": {"kind": "capacitor", "nodes": ["in", "b"], "capacitance": "10 pF"},
                           "R": {"kind": "resistor", "nodes": ["vcc", "b"], "resistance": "33 kohm"},
                           "L": {"kind": "inductor", "nodes": ["vcc", "c"], "inductance": "5 nH"},
                           "Co": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": "2 pF"},
                           "Q": {"kind": "bjt", "use": "npn-25ghz",
                                 "nodes": {"base": "b", "collector": "c", "emitter": "ground"}}})
    ideal, almost = circuit("0 ohm").solve(), circuit("1e-6 ohm").solve()
    assert ideal.output_dbm(2) == pytest.approx(almost.output_dbm(2), abs=1e-5)


def test_a_junction_straight_across_a_supply_is_no_answer():
    circuit = hbsim.Circuit.build(
        **BASE, supply={"V": {"node": "v", "voltage": "5 V"}},
        part={"L": {"kind": "inductor", "nodes": ["v", "x"], "inductance": "10 nH"},
              "C": {"kind": "capacitor", "nodes": ["in", "x"], "capacitance": "10 pF"},
              "Co": {"kind": "capacitor", "nodes": ["x", "out"], "capacitance": "1 pF"},
              "D": {"kind": "diode", "nodes": {"anode": "x", "cathode": "ground"}}})
    with pytest.raises(hbsim.NotSolved, match="beyond any device"):
        circuit.solve()
    table = circuit.sweep({"drive.power": [-10.0, 0.0]})
    assert not table.solved.any() and np.isnan(table["output_dbm_1"]).all()


@pytest.mark.parametrize("power", [-200.0, -150.0])
def test_almost_no_drive_is_solved(power, examples):
    state = hbsim.load(examples / "lumped_doubler.toml").solve({"drive.power": power, "supply.VCC": 0.0}, harmonics=4)
    assert state.output_dbm(2) == -np.inf and state.input_return_loss_db > 0


def test_a_circuit_that_gives_back_more_than_it_gets_is_pointed_at(examples):
    from hbsim.studies.prediction import predict
    # an emitter left on an open line: a negative input resistance, the beginning of an oscillator
    circuit = hbsim.Circuit.build(
        **BASE, supply={"VCC": {"node": "vcc", "voltage": "3 V"}},
        part={"Ci": {"kind": "capacitor", "nodes": ["in", "b"], "capacitance": "10 pF"},
              "R": {"kind": "resistor", "nodes": ["vcc", "b"], "resistance": "20 kohm"},
              "L": {"kind": "inductor", "nodes": ["vcc", "c"], "inductance": "20 nH"},
              "Co": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": "0.2 pF"},
              "Re": {"kind": "inductor", "nodes": ["e", "ground"], "inductance": "50 nH"},
              "Ce": {"kind": "capacitor", "nodes": ["e", "ground"], "capacitance": "3 pF"},
              "Q": {"kind": "bjt", "use": "npn-25ghz", "nodes": {"base": "b", "collector": "c", "emitter": "e"}}})
    prediction = predict(circuit.with_values({"drive.power": -30.0}))
    assert prediction.state.input_return_loss_db < 0
    assert any("may oscillate" in sentence for sentence in prediction.warnings)
