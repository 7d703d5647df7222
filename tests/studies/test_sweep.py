"""Sweeps: every point equals the circuit solved by itself, whatever is varied and in whatever order it is solved."""

import csv
import itertools
import math

import numpy as np
import pytest

import hbsim
from hbsim.errors import Refusal
from hbsim.studies.table import as_json

K = 6


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


@pytest.fixture(scope="module")
def line_circuit():
    """A diode doubler with an open stub on a board, invented for this test."""
    return hbsim.Circuit.build(
        title="stub and diode", board={"use": "fr4-1.6mm"},
        drive={"port": "input", "frequency": "1 GHz", "power": "3 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        part={"stub": {"kind": "open stub", "nodes": ["in"], "width": "3 mm", "length": "20 mm"},
              "D1": {"kind": "diode", "nodes": ["in", "out"], "IS": "1e-12 A", "CJO": "0.2 pF"},
              "R1": {"kind": "resistor", "nodes": ["out", "ground"], "resistance": "200 ohm"}})


def assert_equals_single_solves(circuit, table):
    """Within 1e-6 dB, and 1e-6 of the current.

    Both are balanced to 1e-10 of the currents that cancel, so that lines far below the strongest have fewer digits.
    """
    assert table.solved.all() and not table.reasons
    for number, values in enumerate(itertools.product(*table.axes.values())):
        assert dict(zip(table.axes, values)) == table.place(number)
        state = circuit.solve(table.place(number), harmonics=table.harmonics)
        row = {name: column[number] for name, column in table.columns.items()}
        levels = [state.output_dbm(k) for k in range(1, table.harmonics + 1)]
        for k, level in enumerate(levels, 1):
            lost = 10 ** (max(0.0, max(levels) - level - 60) / 20)
            assert row[f"output_dbm_{k}"] == pytest.approx(level, abs=1e-6 * lost)
        assert row["conversion_loss_db"] == pytest.approx(state.conversion_loss_db, abs=1e-6)
        assert row["input_return_loss_db"] == pytest.approx(state.input_return_loss_db, abs=1e-6)
        for name, supply in state.supplies.items():
            assert row[f"supply_amps_{name}"] == pytest.approx(supply.amps, rel=1e-6)


@pytest.mark.parametrize("axes", [
    {"drive.power": "-10:5:5dBm"},
    {"drive.frequency": "1.1:1.2:0.05GHz"},
    {"supply.VCC": "1:3:1V"},
    {"supply.VCC.resistance": "0:100:50ohm"},
    {"port.output.impedance": "25:75:25ohm"},
    {"C_c.capacitance": ["1 pF", "2 pF"]},
    {"part.R_b.resistance": "20:40:10kohm"},
    {"Q1.BF": "50:150:50"},
    {"Q1.RE": "0:2:1ohm"},  # the inner node comes and goes
    {"Q1.temperature": "0:50:25degC"},
    {"Q1.thermal_resistance": "0:1000:500K/W"},  # from cold to heated by itself
    {"supply.VCC": "1:3:1V", "drive.power": "-10:5:5dBm"},  # two sources
    {"drive.power": "-10:5:5dBm", "supply.VCC": "3:1:-1V"},
    {"drive.power": "-10:0:10dBm", "L_c.inductance": "2:3:0.5nH"},  # a source and a linear value
    {"L_c.inductance": "2:3:1nH", "drive.power": "-10:0:10dBm", "Q1.temperature": "0:50:50degC"},
    {"supply.VCC": "1:2:1V", "drive.frequency": "1.1:1.2:0.1GHz", "drive.power": "-5:5:5dBm", "Q1.BF": [80, 120]},
])
def test_every_point_equals_the_circuit_solved_by_itself(circuit, axes):
    table = circuit.sweep(axes, harmonics=K)
    assert list(table.axes) == list(axes)
    assert_equals_single_solves(circuit, table)


@pytest.mark.parametrize("axes", [
    {"stub.length": "10:30:10mm"}, {"board.permittivity": "4:4.6:0.3"}, {"D1.CJO": ["0.1 pF", 0.3e-12]},
    {"stub.width": "1:3:1mm", "drive.power": "0:6:3dBm"}])
def test_lines_and_boards(line_circuit, axes):
    assert_equals_single_solves(line_circuit, line_circuit.sweep(axes, harmonics=K))


def test_a_self_heated_device(circuit):
    heated = circuit.with_values({"Q1.thermal_resistance": "1500 K/W"})
    axes = {"drive.power": "-10:0:5dBm", "supply.VCC": "2:3:1V"}
    table = heated.sweep(axes, harmonics=K)
    assert_equals_single_solves(heated, table)
    assert np.abs(table["output_dbm_2"] - circuit.sweep(axes, harmonics=K)["output_dbm_2"]).min() > 1e-3


def test_a_long_row_is_marched_in_batches(circuit):
    table = circuit.sweep({"drive.power": "-20:10:0.1dBm"}, harmonics=4, estimate=False)
    assert table.shape == (301,) and table.solved.all()
    alone = circuit.solve({"drive.power": table["drive.power"][270]}, harmonics=4)
    assert table["output_dbm_2"][270] == pytest.approx(alone.output_dbm(2), abs=1e-6)
    assert table.iterations == {4: table.iterations[4]} and table.iterations[4] < 8 * 301  # from those before


def test_shapes_and_names(circuit, tmp_path):
    table = circuit.sweep({"supply.VCC": [1.0, 2.0], "drive.power": [-3.0, 0.0, 3.0]}, harmonics=4)
    assert table.shape == (2, 3) and table["output_dbm_2"].shape == (2, 3)
    assert table["drive.power"].tolist() == [-3.0, 0.0, 3.0]
    best = table.most_output()
    assert table["output_dbm_2"].flat[best] == table["output_dbm_2"].max()
    assert table.place(best) == {"supply.VCC": 2.0, "drive.power": 3.0}
    with pytest.raises(Refusal, match="did you mean 'output_dbm_2'"):
        table["output_dbm2"]
    text = repr(table)
    assert "6 of 6 points solved" in text and "supply.VCC: 2 values, 1 V to 2 V" in text and "most output" in text
    table.to_csv(str(tmp_path / "t.csv"))
    rows = list(csv.reader((tmp_path / "t.csv").open(newline="")))
    assert rows[0] == table.header() and len(rows) == 7
    assert [float(row[3]) for row in rows[1:]] == table.columns["output_dbm_2"].tolist()  # every digit is kept
    assert as_json(table)["columns"]["output_dbm_2"] == table.columns["output_dbm_2"].tolist()


def test_an_infinite_value_is_told_in_words(circuit, tmp_path):
    table = circuit.sweep({"Q1.VAF": "0:40:20V"}, harmonics=4)
    assert as_json(table)["axes"]["Q1.VAF_volts"] == ["infinite", 20.0, 40.0]
    table.to_csv(str(tmp_path / "t.csv"))
    assert (tmp_path / "t.csv").read_text().splitlines()[1].startswith("infinite,")
    alone = circuit.solve({"Q1.VAF": math.inf}, harmonics=4)
    assert table["output_dbm_2"][0] == pytest.approx(alone.output_dbm(2), abs=1e-6)


@pytest.mark.parametrize("axes, words", [
    ({}, "nothing to sweep"),
    ({"drive.powr": [1.0]}, "did you mean 'drive.power'"),
    ({"supply.VCC": [1.0], "supply.VCC.voltage": [2.0]}, "twice"),
    ({"C_c.capacitance": [1e-12, -1e-12]}, "at least"),
    ({"drive.power": np.linspace(-50, 50, 4000), "supply.VCC": np.linspace(0, 5, 4000)}, "points"),
])
def test_refusals_come_before_the_work(circuit, axes, words):
    told = []
    with pytest.raises(Refusal, match=words):
        circuit.sweep(axes, harmonics=4, progress=lambda *n: told.append(n))
    assert not told


def test_data_that_do_not_reach_are_refused_before_the_work(tmp_path):
    # A matched through, known to 5 GHz: at the last frequency of the sweep the fourth harmonic lies beyond.
    (tmp_path / "through.s2p").write_text("# GHz S RI R 50\n" + "".join(
        f"{f / 2} 0 0 1 0 1 0 0 0\n" for f in range(0, 11)))
    circuit = hbsim.Circuit.build(
        folder=tmp_path, drive={"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        part={"D1": {"kind": "diode", "nodes": ["in", "m"], "IS": "1e-12 A"},
              "R1": {"kind": "resistor", "nodes": ["m", "ground"], "resistance": "200 ohm"},
              "filter": {"kind": "touchstone block", "nodes": ["m", "out"], "file": "through.s2p"}})
    assert circuit.sweep({"drive.frequency": "1:1.25:0.05GHz"}, harmonics=4).solved.all()
    told = []
    with pytest.raises(Refusal, match="filter"):
        circuit.sweep({"drive.frequency": "1:1.5:0.05GHz"}, harmonics=4, progress=lambda *n: told.append(n))
    assert not told


def test_unsolved_points_hold_no_numbers_and_stop_nothing(circuit):
    table = circuit.sweep({"Q1.thermal_resistance": [0.0, 1e6, 100.0]}, harmonics=4)
    assert table.solved.tolist() == [True, False, True] and list(table.reasons) == [1]
    assert all(np.isnan(column[1]) for name, column in table.columns.items() if name != "solved")
    assert "temperature" in table.reasons[1] and "2 of 3" in repr(table)
