"""`hbsim compare` as a person calls it: what is said of the bench, and the folder of results."""

import json
from pathlib import Path

import pytest

from hbsim.cli import main

EXAMPLES = Path(__file__).parents[1] / "examples"
CALL = ["compare", str(EXAMPLES / "beacon_2304_filter_file.toml"),
        str(EXAMPLES / "bench_2304" / "supply_sweep.csv"), "--harmonics", "8"]


def test_an_error_of_the_bench_moves_all_levels_and_is_kept_with_all_that_was_read(tmp_path, capsys):
    found = {}
    for name, more in (("plain", []), ("moved", ["--set", "bench.output_error_db=2dB", "--keep",
                                                 str(tmp_path / "kept")])):
        assert main([*CALL, *more, "--json", str(tmp_path / f"{name}.json")]) == 0
        found[name] = json.loads((tmp_path / f"{name}.json").read_text())["comparisons"][0]["quantities"]
    capsys.readouterr()
    for name, shift in (("output_dbm_2", 2.0), ("output_dbm_1", 2.0), ("supply_amps_VCC", 0.0)):
        assert found["moved"][name]["bias"] - found["plain"][name]["bias"] == pytest.approx(shift, abs=1e-6)
    contents = json.loads((tmp_path / "kept" / "contents.json").read_text())
    assert contents["asked"]["set"] == {"bench.output_error_db": 2.0}
    kept = {name for name in contents["sha256"] if name.startswith("inputs/")}
    assert {"inputs/beacon_2304_filter_file.toml", "inputs/filter_2304.s2p", "inputs/bench_2304/bench.toml",
            "inputs/bench_2304/cable.csv"} <= kept and not any("models" in name for name in kept)
