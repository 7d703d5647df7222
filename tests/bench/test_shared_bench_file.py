"""A loss table that a shared bench file names is found beside that file, from whatever folder one works in."""

import pytest

from hbsim.bench.load import tree_of
from hbsim.bench.setup import read_setup


@pytest.mark.parametrize("bench", ["bench.toml", "shared/bench.toml"])
def test_tables_of_a_shared_file_are_found_with_relative_names(tmp_path, monkeypatch, bench):
    folder = tmp_path / "data"
    (folder / bench).parent.mkdir(parents=True)
    (folder / bench).write_text('[output]\nlosses = [{ file = "cable.csv" }]\n')
    (folder / bench).with_name("cable.csv").write_text("Frequency [GHz],Loss [dB]\n1,0.5\n3,1.5\n")
    (folder / "sweep.csv").write_text("1,2\n")
    (folder / "sweep.toml").write_text(f'bench = "{bench}"\n')
    for start, name in ((tmp_path, "data/sweep.csv"), (folder, "sweep.csv"), (tmp_path, folder / "sweep.csv")):
        monkeypatch.chdir(start)
        _, tree, file = tree_of(name)
        (loss,) = read_setup(tree, file).output
        assert loss.at([2e9])[0] == pytest.approx(1.0)  # halfway between 0.5 and 1.5 dB
