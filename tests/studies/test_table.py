"""The table of a sweep: derived columns against a solved state, single points, and the binary file."""

import json

import numpy as np
import pytest

import hbsim
from hbsim.errors import NotSolved, Refusal
from hbsim.studies.fingerprint import circuit_fingerprint
from hbsim.studies.outputs import column_unit
from hbsim.studies.table import SweepTable, as_json

K = 6


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


@pytest.fixture(scope="module")
def table(circuit):
    return circuit.sweep({"supply.VCC": "1, 2, 3 V", "drive.power": "-10:5:5dBm"}, harmonics=K, devices=True)


@pytest.mark.parametrize("devices_heat", [0.0, 800.0])  # all points of a row at once, and one by one
def test_columns_equal_those_of_a_solved_state(circuit, devices_heat):
    warm = circuit.with_values({"Q1.thermal_resistance": devices_heat})
    found = warm.sweep({"supply.VCC": [2.0, 3.0], "drive.power": [0.0, 5.0]}, harmonics=K, devices=True)
    for number in range(4):
        state = warm.solve(found.settings(number), harmonics=K)
        point = found.at(found.place(number))
        assert point.settings == found.settings(number) and point.number == number
        assert point["output_phase_deg_2"] == pytest.approx(state.output_phase_deg(2), abs=1e-5)
        assert point["efficiency"] == pytest.approx(state.efficiency, rel=1e-6)
        assert point["supply_watts"] == pytest.approx(state.dc_power_w, rel=1e-6)
        assert point["output_dbc_1"] == pytest.approx(state.output_dbc(1), abs=1e-5)
        assert point["dissipation_watts_Q1"] == pytest.approx(state.devices["Q1"].dissipation, rel=1e-6)
        wave = state.devices["Q1"].voltage_waveform("collector", 4096)  # the peak between samples is a little higher
        assert wave.max() <= point["peak_volts_Q1"] < wave.max() + 1e-3


def test_phase_change_is_the_slope_of_the_phase(circuit):
    """Against the exact gradient of the balance; differences of 0.1 dB leave their second-order error."""
    from hbsim.balance.figures import OutputPhase
    found = circuit.sweep({"drive.power": "-1:1:0.1dBm"}, harmonics=K)
    state = circuit.solve({"drive.power": 0.0}, harmonics=K)
    exact = state.gradient({"phase": OutputPhase(2)}, ["drive.power"])["phase"]["drive.power"]
    assert found.at({"drive.power": 0.0})["phase_change_deg_per_db"] == pytest.approx(exact, abs=1e-3)


def test_phase_change_beside_gaps_and_turns():
    phase = np.array([170.0, -178.0, -166.0, np.nan, 10.0, np.nan])
    made = SweepTable("made", {"drive.power": np.array([0.0, 1.0, 3.0, 4.0, 5.0, 6.0])}, {"drive.power": "dBm"},
                      {"output_dbm_2": np.zeros(6), "output_phase_deg_2": phase}, 2)
    # 12 degrees in 1 dB, then in 2 dB; weighted 2 : 1 between them, as a parabola through the three has it
    np.testing.assert_allclose(made["phase_change_deg_per_db"], [12.0, 10.0, 6.0, np.nan, np.nan, np.nan])


def test_the_nearest_given_point(table):
    point = table.at({"supply.VCC": "2.4 V", "drive.power": -3.0})
    assert point.place == {"supply.VCC": 2.0, "drive.power": -5.0} and point.at_end == ()
    assert point["output_dbm_2"] == table["output_dbm_2"][1, 1] and "supply.VCC = 2 V" in repr(point)
    assert table.at({"supply.VCC": "3000 mV", "drive.power": 5}).at_end == ("supply.VCC", "drive.power")
    for place, words in (({"supply.VCC": 4.0, "drive.power": 0.0}, "outside the sweep, 1 V to 3 V"),
                         ({"supply.VCC": 2.0}, "'drive.power' is not given"), ({"supply.VCX": 2.0}, "did you mean"),
                         ({"supply.VCC": np.nan, "drive.power": 0.0}, "outside the sweep"),
                         ({"supply.VCC": "2", "drive.power": 0.0}, "has no unit")):
        with pytest.raises(Refusal, match=words):
            table.at(place)
    with pytest.raises(Refusal, match="no column 'output_dbm2'; did you mean"):
        point["output_dbm2"]


def test_nearest_by_ratio_where_the_axis_is_by_ratio(circuit):
    found = circuit.sweep({"C_c.capacitance": "1pF:4pF:3 points by ratio"}, harmonics=4)
    assert found.at({"C_c.capacitance": "2.9 pF"})["C_c.capacitance"] == pytest.approx(4e-12)  # above sqrt(8)
    assert found.at({"C_c.capacitance": "2.8 pF"})["C_c.capacitance"] == pytest.approx(2e-12)


def test_the_best_point(table):
    levels = table["output_dbm_2"]
    assert table.best("output_dbm_2")["output_dbm_2"] == levels.max()
    assert table.best("output_dbm_2", least=True)["output_dbm_2"] == levels.min()
    assert table.best("output_dbm_2", {"drive.power": "-5 dBm"})["output_dbm_2"] == levels[:, 1].max()
    assert table.best("output_dbm_2", {"supply.VCC": "at most 2 V"})["output_dbm_2"] == levels[:2].max()
    limit = float(np.median(table["supply_amps_VCC"]))
    held = table.best("output_dbm_2", {"supply_amps_VCC": f"at most {limit * 1e3!r} mA"})
    assert held["output_dbm_2"] == levels[table["supply_amps_VCC"] <= limit].max()
    for column, hold, words in (("output_dbm_2", {"efficiency": "at least 2"}, "no point.*runs from.*ask for less"),
                                ("output_dbm_2", {"efficiency": 0.1}, "is no condition; write 'at least"),
                                ("output_dbm_2", {"efficiency": "at least 1 V"}, "plain number"),
                                ("output_dbm_2", {"eficiency": "at least 0.1"}, "did you mean 'efficiency'"),
                                ("output_dbm_9", {}, "did you mean")):
        with pytest.raises(Refusal, match=words):
            table.best(column, hold)


def test_an_unsolved_point_is_not_given(circuit):
    found = circuit.sweep({"Q1.thermal_resistance": [0.0, 1e6]}, harmonics=4)
    with pytest.raises(NotSolved, match="temperature"):
        found.at({"Q1.thermal_resistance": 1e6})
    assert found.best("output_dbm_2").number == 0


@pytest.mark.parametrize("axes", [{"scale C_c.capacitance, L_c.inductance": "0.9, 1.1", "drive.power": [0.0, 3.0]},
                                  {"Q1.VAF": "0:40:20V"}, {"Q1.thermal_resistance": [0.0, 1e6]},
                                  {"drive.power": "-5:5:5dBm"}])
def test_the_binary_file_loads_back(circuit, tmp_path, axes):
    found = circuit.sweep(axes, harmonics=4)
    found.save(tmp_path / "t.npz")
    again = SweepTable.load(tmp_path / "t.npz")
    assert as_json(again) == as_json(found) and list(again.rows()) == list(found.rows())
    assert again.names == found.names and again.iterations == found.iterations and again.accuracy == found.accuracy
    for number in range(again.solved.size):
        assert again.settings(number) == found.settings(number)
    with np.load(tmp_path / "t.npz") as plain:  # as numpy alone reads it
        np.testing.assert_array_equal(plain["output_dbc_1"], found["output_dbc_1"])
        assert json.loads(str(plain["about"]))["fingerprint"] == found.fingerprint


def test_the_binary_file_keeps_the_other_states(examples, tmp_path):
    found = hbsim.load(examples / "varactor_jump.toml").sweep({"drive.power": "0:12:1dBm"}, devices=True)
    assert len(found.others.points) and np.isfinite(found.others.columns["dissipation_watts_D1"]).all()
    assert np.isfinite(found["dissipation_watts_D1"]).all()
    found.save(tmp_path / "t.npz")
    again = SweepTable.load(tmp_path / "t.npz")
    assert list(again.rows()) == list(found.rows()) and as_json(again) == as_json(found)


def test_what_is_no_table_is_refused(tmp_path, table):
    np.savez(tmp_path / "other.npz", a=np.zeros(3))
    np.savez(tmp_path / "pickle.npz", about=np.array([{}], object))
    (tmp_path / "text.npz").write_text("no zip")
    table.save(tmp_path / "cut.npz")
    (tmp_path / "cut.npz").write_bytes((tmp_path / "cut.npz").read_bytes()[:-40])
    np.savez(tmp_path / "later.npz", about=np.array('{"format": 2}'))
    for name, words in (("other", "no table"), ("pickle", "no table"), ("text", "no table"), ("cut", "no table"),
                        ("later", "format 2"), ("none", "no such file")):
        with pytest.raises(Refusal, match=words) as caught:
            SweepTable.load(tmp_path / f"{name}.npz")
        assert name in caught.value.file
    with pytest.raises(Refusal, match="ends in .npz"):
        table.save(tmp_path / "t.csv")


def test_units_of_columns():
    assert [column_unit(name) for name in ("output_dbm_2", "output_dbc_1", "input_return_loss_db", "supply_amps_VCC",
                                           "peak_volts_Q1", "phase_change_deg_per_db", "efficiency", "harmonics")] \
        == ["dBm", "dB", "dB", "A", "V", "deg", "1", "1"]


def test_the_fingerprint_is_of_the_circuit_and_of_what_was_swept(circuit, examples, tmp_path):
    text = (examples / "lumped_doubler.toml").read_text()
    (tmp_path / "elsewhere.toml").write_text(text)
    moved = hbsim.load(tmp_path / "elsewhere.toml")
    own = circuit_fingerprint(circuit.description)
    # as it stood when the rule was made, on another machine and run
    assert own == circuit_fingerprint(moved.description) == "ea1bbb23d44d"
    assert circuit_fingerprint(circuit.with_values({"Q1.BF": 101.5}).description) != own
    axes = {"drive.power": [0.0]}
    assert circuit.sweep(axes, harmonics=4).fingerprint == moved.sweep(axes, harmonics=4).fingerprint
    assert circuit.sweep(axes, harmonics=4).fingerprint.startswith(f"{own}-")
    others = {circuit.sweep({"drive.power": [drive]}, harmonics=count).fingerprint
              for drive, count in ((0.0, 5), (1.0, 4), (0.0, 4))}
    assert len(others) == 3
