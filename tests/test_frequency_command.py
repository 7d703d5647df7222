"""`hbsim frequency`: range, files, refusals, an interrupted run."""

import csv
import io
import json

import numpy as np
import pytest

from hbsim.cli import main


@pytest.fixture
def lumped(examples):
    return str(examples / "lumped_doubler.toml")


def test_command_writes_all(lumped, tmp_path, capsys):
    made = [str(tmp_path / name) for name in ("f.csv", "f.json", "f.svg")]
    status = main(["frequency", lumped, "--from", "1GHz", "--to", "1.3 GHz", "--step", "50MHz", "--harmonics", "8",
                   "--through", "c", "--through", "C_out", "--return-loss", "1dB", "--csv", made[0], "--json", made[1],
                   "--plot", made[2]])
    page = capsys.readouterr()
    assert status == 0 and "Most output at 2 f0" in page.out and "through node c" in page.out and page.err == ""
    assert "Return loss of 1 dB or more" in page.out
    with open(made[0]) as handle:
        table = list(csv.DictReader(io.StringIO(handle.read())))
    with open(made[1]) as handle:
        data = json.load(handle)
    assert data["f0_hz"] == pytest.approx(np.arange(1.0e9, 1.31e9, 5e7)) and len(table) == 7
    for name in ("output_dbm_2", "input_return_loss_db"):
        assert [float(row[name]) for row in table] == data["columns"][name]
    assert [float(row["through_node_c_dbm_2"]) for row in table] == data["through"][0]["dbm_2"]
    assert data["matched"]["return_loss_db"] == 1.0 and data["through"][1]["kind"] == "part"
    assert "<svg" in open(made[2]).read()


def test_without_a_range_it_goes_five_percent_to_both_sides(lumped, capsys):
    assert main(["frequency", lumped, "--points", "5", "--harmonics", "6", "--json", "-"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["f0_hz"] == pytest.approx(np.linspace(0.95, 1.05, 5) * 1.152e9)
    assert data["at_file_frequency"]["f0_hz"] == 1.152e9


@pytest.mark.parametrize("options, words", [
    (["--from", "2GHz", "--to", "1GHz"], "does not rise"),
    (["--from", "1"], "--from"),
    (["--points", "9", "--step", "1MHz"], "give one of them"),
    (["--step", "0 Hz"], "above zero"),
    (["--points", "2"], "5 to"),
    (["--set", "drive.frequency=1.1GHz"], "is varied"),
    (["--through", "nowhere"], "no node or part"),
    (["--return-loss", "10"], "--return-loss"),
])
def test_refusals_say_what_is_wrong(lumped, capsys, options, words):
    assert main(["frequency", lumped, *options]) == 2
    said = capsys.readouterr()
    assert words in said.err and said.out == ""


def test_interrupted_it_says_so_and_writes_nothing(lumped, tmp_path, capsys, monkeypatch):
    from hbsim.studies import frequency_study

    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(frequency_study, "solve", stop)
    assert main(["frequency", lumped, "--csv", str(tmp_path / "f.csv")]) == 130
    assert capsys.readouterr().err == "hbsim: interrupted; nothing was written\n" and not list(tmp_path.iterdir())
