"""A sweep that was cut short goes on where it stopped, and ends as if nothing had happened."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.cli import main
from hbsim.errors import Refusal
from hbsim.studies.unfinished import Unfinished

AXES = ["--harmonics", "10", "--vary", "supply.VCC=1:4:0.05V", "--vary", "drive.power=-10:10:0.5dBm"]
GRID = {"supply.VCC": "1:4:0.25V", "drive.power": "-10:5:0.5dBm"}


@pytest.fixture(scope="module")
def example(examples):
    return str(examples / "lumped_doubler.toml")


@pytest.fixture(scope="module")
def whole(example, tmp_path_factory):
    """The file of a sweep that nobody stopped."""
    path = tmp_path_factory.mktemp("whole") / "map.csv"
    assert main(["sweep", example, *AXES, "--csv", str(path)]) == 0
    assert not Path(f"{path}.unfinished").exists()
    return path


def cut_short(example, path, how):
    """Start the sweep as a user does, stop it once some strips are kept; its exit status and what it said."""
    environment = {**os.environ, "PYTHONPATH": str(Path(hbsim.__file__).parent.parent)}
    running = subprocess.Popen([sys.executable, "-m", "hbsim", "sweep", example, *AXES, "--csv", str(path)],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)
    notes = Path(f"{path}.unfinished", "strips.jsonl")
    while running.poll() is None and not (notes.exists() and notes.read_text().count("\n") >= 2):
        time.sleep(0.005)
    running.send_signal(how)
    _, said = running.communicate(timeout=60)
    return running.returncode, said


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT], ids=["killed", "interrupted"])
def test_a_stopped_sweep_goes_on(example, whole, tmp_path, capsys, how):
    path = tmp_path / "map.csv"
    status, said = cut_short(example, path, how)
    assert status == (-signal.SIGKILL if how == signal.SIGKILL else 130)
    assert how == signal.SIGKILL or "--resume goes on" in said
    folder = Path(f"{path}.unfinished")
    kept = [json.loads(line)["strip"] for line in (folder / "strips.jsonl").read_text().splitlines()]
    assert 2 <= len(kept) < 11 and not path.exists()  # eleven strips in all: it was stopped in its midst

    assert main(["sweep", example, *AXES, "--csv", str(path)]) == 2
    assert "resume that one (--resume), or remove" in capsys.readouterr().err
    assert main(["sweep", example, *AXES, "--csv", str(path), "--resume", "--set", "Q1.BF=90"]) == 2
    assert "another sweep" in capsys.readouterr().err

    assert main(["sweep", example, *AXES, "--csv", str(path), "--resume"]) == 0
    assert path.read_bytes() == whole.read_bytes() and not folder.exists()


def test_kept_strips_are_not_solved_again(example, tmp_path, monkeypatch):
    circuit, solved = hbsim.load(example), []
    from hbsim.studies import sweep
    genuine = sweep.solve_strip

    def counted(strip):
        solved.append(strip.number)
        if len(solved) == 2:
            raise KeyboardInterrupt
        return genuine(strip)

    monkeypatch.setattr(sweep, "solve_strip", counted)
    monkeypatch.setattr(sweep.os, "cpu_count", lambda: 1)
    with pytest.raises(KeyboardInterrupt):
        circuit.sweep(GRID, keep_in=tmp_path / "kept")
    notes = tmp_path / "kept" / "strips.jsonl"
    assert notes.read_text().count("\n") == 1
    with notes.open("a") as handle:
        handle.write('{"strip": 1, "reas')  # a line that was cut off while it was written
    told = []
    table = circuit.sweep(GRID, keep_in=tmp_path / "kept", resume=True, progress=lambda *n: told.append(n))
    assert solved == [0, 1, 1] and told == [(248, 403), (403, 403)]
    plain = circuit.sweep(GRID)
    for name, column in plain.columns.items():
        np.testing.assert_array_equal(np.array(table.columns[name]), column)
    assert table.iterations == plain.iterations
    Unfinished.remove(tmp_path / "kept")


def test_reasons_are_kept(example, tmp_path):
    circuit = hbsim.load(example)
    axes = {"Q1.thermal_resistance": [0.0, 1e6]}
    first = circuit.sweep(axes, harmonics=4, keep_in=tmp_path / "kept")
    again = circuit.sweep(axes, harmonics=4, keep_in=tmp_path / "kept", resume=True)
    assert first.solved.tolist() == again.solved.tolist() == [True, False]
    assert first.reasons == again.reasons and list(again.reasons) == [1]


def test_what_cannot_be_kept_or_gone_on_with_is_refused(example, tmp_path, capsys):
    assert main(["sweep", example, *AXES, "--resume"]) == 2
    assert "give the same --csv FILE" in capsys.readouterr().err
    (tmp_path / "a file").write_text("")
    with pytest.raises(Refusal, match="cannot be used to keep results"):
        hbsim.load(example).sweep(GRID, keep_in=tmp_path / "a file")


@pytest.mark.parametrize("file, content", [
    ("about.json", b"[]"), ("about.json", b"{"), ("columns.npy", b""), ("columns.npy", b"no numbers"),
    ("strips.jsonl", b"7\n"), ("strips.jsonl", b'{"strip": 99, "reasons": {}, "steps": {}}\n'),
    ("strips.jsonl", b'{"strip": "a"}\n'), ("strips.jsonl", b"\xff\xfe\n"),
    ("columns.npy", None), ("strips.jsonl", None)])
def test_a_damaged_folder_is_refused(example, tmp_path, file, content):
    circuit, kept = hbsim.load(example), tmp_path / "kept"
    axes = {"supply.VCC": [1.0, 2.0]}
    circuit.sweep(axes, harmonics=4, keep_in=kept)
    if content is None:
        (kept / file).unlink()
    else:
        (kept / file).write_bytes(content)
    with pytest.raises(Refusal, match="is damaged: what it holds cannot be read; remove the folder"):
        circuit.sweep(axes, harmonics=4, keep_in=kept, resume=True)


def test_what_is_not_vouched_for_is_not_taken(example, tmp_path):
    circuit, kept = hbsim.load(example), tmp_path / "kept"
    axes = {"supply.VCC": [1.0, 2.0]}
    expected = circuit.sweep(axes, harmonics=4, keep_in=kept)
    # a strip that was noted, but whose values never reached the file
    columns = np.lib.format.open_memmap(kept / "columns.npy", "r+")
    columns[:] = np.nan
    columns.flush()
    again = circuit.sweep(axes, harmonics=4, keep_in=kept, resume=True)
    np.testing.assert_array_equal(np.array(again["output_dbm_2"]), np.array(expected["output_dbm_2"]))
    # notes that were left when a folder was removed in part
    (kept / "about.json").unlink()
    columns[:] = 0.0
    columns.flush()
    anew = circuit.sweep(axes, harmonics=4, keep_in=kept)
    assert anew.solved.all() and np.isfinite(anew["output_dbm_2"]).all()
