"""A prediction: the truncation estimate against a finer solution, and every warning that should reach the reader."""

import json

import numpy as np
import pytest

import hbsim
from hbsim.errors import NotSolved, Refusal
from hbsim.studies.prediction import as_json, port_warnings, predict


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


def attenuator(**changes):
    """A linear circuit, 50 ohm in series with the load; invented for this test."""
    tables = {"drive": {"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
              "port": {"input": {"node": "in"}, "output": {"node": "out"}},
              "part": {"R1": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "50 ohm"}},
              "wanted": {"harmonic": 1}}
    return hbsim.Circuit.build(**{**tables, **changes})


def test_truncation_is_the_change_when_harmonics_and_samples_are_doubled(circuit):
    found = predict(circuit, harmonics=4)
    finer = circuit.solve(harmonics=8, samples=2 * found.state.solver.samples)
    assert found.truncation_db == pytest.approx(abs(finer.output_dbm(2) - found.state.output_dbm(2)), abs=1e-6)
    changes = [abs(finer.output_dbm(k) - found.state.output_dbm(k)) for k in range(1, 5)]
    assert found.line_changes_db[1:] == pytest.approx(changes, abs=1e-6)
    assert [line["truncation_db"] for line in as_json(found)["output"]] == list(found.line_changes_db[1:])
    assert found.unsure[1:].tolist() == [change > 0.5 for change in changes]
    # and it is of the size of the true error, here against ten times the harmonics
    true = abs(circuit.solve(harmonics=30).output_dbm(2) - found.state.output_dbm(2))
    assert true / 3 < found.truncation_db < 3 * true


def test_few_harmonics_are_warned_about(circuit):
    hot = circuit.with_values({"drive.power": "5 dBm"})
    found = predict(hot, harmonics=3)
    assert found.truncation_db > 0.1
    assert any("6 harmonics instead of 3 change the wanted output by" in sentence for sentence in found.warnings)
    assert not any("harmonics instead" in sentence for sentence in predict(circuit).warnings)


def test_a_linear_circuit_has_a_closed_form():
    # 50 ohm source and load with 50 ohm between: a third of the source's EMF, so 20 log10(2/3) against the matched
    # load; reflection (100 - 50) / (100 + 50).
    data = as_json(predict(attenuator(), harmonics=3))
    assert data["conversion_loss_db"] == pytest.approx(3.521825181, abs=1e-9)
    assert data["input_return_loss_db"] == pytest.approx(9.542425094, abs=1e-9)
    assert [line["dbm"] for line in data["output"][1:]] == [None, None]  # nothing comes out there
    assert data["output"][0]["truncation_db"] == pytest.approx(0.0, abs=1e-9)  # nothing to truncate
    assert [line["truncation_db"] for line in data["output"][1:]] == [None, None]
    assert data["output"][1]["dbc"] is None and data["supplies"] == {} == data["devices"]
    json.dumps(data, allow_nan=False)


def test_a_wanted_harmonic_that_does_not_come_out_is_said():
    found = predict(attenuator(wanted={"harmonic": 2}), harmonics=3)
    assert found.warnings == ("nothing comes out of port output at the wanted harmonic 2",)
    data = as_json(found)
    assert data["conversion_loss_db"] is None and data["solver"]["truncation_db"] is None and data["efficiency"] == 0
    json.dumps(data, allow_nan=False)


def test_limits_exceeded_are_warned_about(circuit):
    found = predict(circuit.with_values({"supply.VCC": "5 V"}), harmonics=4)
    assert any(sentence.startswith("Q1: peak collector-emitter voltage reaches") and "limit of 4.5 V" in sentence
               for sentence in found.warnings)
    peaks = as_json(found)["devices"]["Q1"]["peaks"]
    assert [peak["quantity"] for peak in peaks if peak["exceeded"] is True] == ["peak collector-emitter voltage"]
    assert not any("limit" in sentence for sentence in predict(circuit, harmonics=4).warnings)


def test_a_reverse_voltage_beyond_its_limit_says_that_a_real_junction_clamps(circuit):
    hot = predict(circuit.with_values({"drive.power": "10 dBm", "Q1.VEBO": "0.5 V"}), harmonics=6)
    said = [sentence for sentence in hot.warnings if "reverse base-emitter" in sentence]
    assert said and all("limit of 500 mV; the model knows no breakdown" in sentence for sentence in said)
    other = predict(circuit.with_values({"supply.VCC": "5 V"}), harmonics=4).warnings
    assert not any("breakdown" in sentence for sentence in other)


@pytest.mark.parametrize("share, said", [(0.19, True), (0.21, False)])
def test_far_over_a_limit_the_pins_are_to_be_checked(circuit, share, said):
    average = predict(circuit, harmonics=4).state.devices["Q1"].dissipation
    found = predict(circuit.with_values({"Q1.dissipation_max": share * average}), harmonics=4)
    assert any("average dissipation reaches" in sentence for sentence in found.warnings)
    assert ("Q1: check which pin is base, collector and emitter" in found.warnings) == said


def test_what_could_harm_an_instrument_is_warned_about():
    strong = predict(attenuator(drive={"port": "input", "frequency": "1 GHz", "power": "30 dBm"}), harmonics=2)
    assert any(sentence.startswith("port output: 26.5 dBm") for sentence in strong.warnings)
    biased = predict(attenuator(supply={"VCC": {"node": "out", "voltage": "5 V", "resistance": "1 kohm"}}), harmonics=2)
    # 5 V through 1 kohm onto the load of 50 ohm and, past 50 ohm, the generator's 50 ohm: 33.3 ohm
    assert any(sentence.startswith("port output: 161 mV of DC") for sentence in biased.warnings)
    assert port_warnings(predict(attenuator(), harmonics=2).state, "output") == []


def test_what_a_device_says_of_its_parameters_is_passed_on(circuit):
    odd = predict(circuit.with_values({"Q1.RB": "5 ohm", "Q1.RBM": "9 ohm"}), harmonics=4)
    assert any(sentence.startswith("Q1: RBM (9 ohm) is above RB") for sentence in odd.warnings)


def test_a_zero_read_as_infinite_is_said(circuit):
    found = predict(circuit.with_values({"Q1.VAF": "0 V"}), harmonics=4)
    assert "part.Q1.VAF: 0 is read as infinite" in found.warnings


def test_a_line_outside_its_range_is_warned_about():
    found = predict(attenuator(
        board={"use": "fr4-1.6mm"},
        part={"stub": {"kind": "open stub", "nodes": ["out"], "width": "500 mm", "length": "10 mm"},
              "R1": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "50 ohm"}}), harmonics=2)
    assert any(sentence.startswith("stub: ") for sentence in found.warnings)


def test_data_that_end_before_the_doubled_harmonics_leave_the_truncation_unknown(tmp_path):
    (tmp_path / "through.s2p").write_text("# GHz S RI R 50\n" + "".join(f"{f} 0 0 1 0 1 0 0 0\n" for f in range(5)))
    found = predict(hbsim.Circuit.build(
        folder=tmp_path, drive={"port": "input", "frequency": "1 GHz", "power": "0 dBm"}, wanted={"harmonic": 1},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        part={"through": {"kind": "touchstone block", "nodes": ["in", "out"], "file": "through.s2p"}}), harmonics=3)
    assert not np.isfinite(found.line_changes_db).any() and not found.unsure.any()
    assert found.truncation_db is None and as_json(found)["solver"]["truncation_db"] is None
    assert any("truncation error could not be estimated" in sentence for sentence in found.warnings)


def test_what_cannot_be_solved_or_asked_is_said(circuit):
    with pytest.raises(NotSolved, match="Q1"):
        predict(circuit.with_values({"Q1.thermal_resistance": 1e6}), harmonics=4)
    with pytest.raises(Refusal, match="at least 2"):
        predict(circuit, harmonics=1)


def test_tables_and_file_are_the_same_circuit(circuit, examples):
    import tomllib
    built = hbsim.Circuit.build(**tomllib.loads((examples / "lumped_doubler.toml").read_text(encoding="utf-8")))
    a, b = as_json(predict(built, harmonics=4)), as_json(predict(circuit, harmonics=4))
    assert a == b
    assert "lumped doubler" in repr(built) and repr(built) == repr(circuit)
    assert "<- wanted" in repr(built.solve(harmonics=4))
