"""`hbsim sweep` with linked axes, lists, equal ratios, and a binary file."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from hbsim.cli import main
from hbsim.show.plots import sweep_figure
from hbsim.studies.table import SweepTable


@pytest.fixture(scope="module")
def example(examples):
    return str(examples / "lumped_doubler.toml")


def test_every_output_holds_the_same_table(example, tmp_path, capsys):
    names = {kind: str(tmp_path / f"t.{kind}") for kind in ("csv", "npz", "json", "png")}
    assert main(["sweep", example, "--harmonics", "4", "--vary", "scale C_c.capacitance, L_c.inductance="
                 "0.5:2:3 points by ratio", "--devices", "--csv", names["csv"], "--npz", names["npz"], "--json",
                 names["json"], "--plot", names["png"]]) == 0
    assert "scale C_c.capacitance, L_c.inductance" in capsys.readouterr().out
    assert sorted(path.name for path in tmp_path.iterdir()) == ["t.csv", "t.json", "t.npz", "t.png"]  # nothing kept
    table, data = SweepTable.load(names["npz"]), json.loads(Path(names["json"]).read_text())
    rows = list(csv.DictReader(Path(names["csv"]).open(newline="")))
    axis, = table.axes
    assert [float(row[axis]) for row in rows] == data["axes"][axis] == table[axis].tolist() == [0.5, 1.0, 2.0]
    assert [float(row["peak_volts_Q1"]) for row in rows] == data["columns"]["peak_volts_Q1"]
    assert data["columns"]["output_dbc_3"] == table["output_dbc_3"].tolist()
    assert {row["fingerprint"] for row in rows} == {data["fingerprint"]} == {table.fingerprint}
    assert data["links"][axis]["addresses"] == ["C_c.capacitance", "L_c.inductance"]
    figure = sweep_figure(table)
    assert {axes.get_xscale() for axes in figure.axes} == {"log"} and figure.axes[-1].get_xlabel() == axis
    figure.draw_without_rendering()
    assert [label.get_text() for label in figure.axes[-1].get_xticklabels()] == ["0.5", "1", "2"]


def test_a_map_with_an_axis_of_equal_ratios(example, tmp_path):
    path = str(tmp_path / "t.npz")
    assert main(["sweep", example, "--harmonics", "4", "--vary", "C_c.capacitance=1pF:100pF:5 points by ratio",
                 "--vary", "drive.power=-10, 0 dBm", "--npz", path]) == 0
    figure = sweep_figure(SweepTable.load(path))
    assert figure.axes[0].get_yscale() == "log" and figure.axes[0].get_xscale() == "linear"
    figure.draw_without_rendering()
    shown = [float(label.get_text()) for label in figure.axes[0].get_yticklabels()]
    assert shown == [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0]


def test_what_is_kept_beside_a_binary_file_is_gone_on_with(example, tmp_path, capsys):
    path = tmp_path / "t.npz"
    command = ["sweep", example, "--harmonics", "4", "--vary", "C_c.capacitance=1, 2 pF", "--npz", str(path)]
    assert main([*command, "--resume"]) == 0  # nothing was kept: it begins
    found = SweepTable.load(path)
    assert found.solved.all() and np.array_equal(found["C_c.capacitance"], [1e-12, 2e-12])
    assert not Path(f"{path}.unfinished").exists()


@pytest.mark.parametrize("words, told", [
    (["--vary", "C_c.capacitance=1,5pF"], "C_c.capacitance: '1,5pF' may be one number"),
    (["--vary", "C_c.cap*=1, 5pF", "--set", "C_c.capacitance=1pF"], "'C_c.capacitance' is varied"),
    (["--vary", "drive.power=0, 1 dBm", "--npz", "t.csv"], "ends in .npz"),
    (["--vary", "*.gap=1, 2 mm"], "*.gap: no quantity of this circuit fits")])
def test_refusals(example, capsys, words, told):
    assert main(["sweep", example, *words]) == 2
    assert told in capsys.readouterr().err
