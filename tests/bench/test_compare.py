"""Comparison: difference, bias, spread, bands, limits and verdicts against numpy, and against numbers made by hand."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.circuit_points import CircuitPoints
from hbsim.bench.compare import Comparison, as_json, compared, table
from hbsim.bench.kept import CONTENTS, keep, places, table_writer, text_writer
from hbsim.bench.measurement import Correction, Measured, Measurement
from hbsim.describe.tomlfile import read_toml
from hbsim.errors import Refusal
from hbsim.files import watched
from hbsim.show.compare_page import compare_page
from hbsim.show.compare_plot import compare_figure

EXAMPLES = Path(__file__).parents[2] / "examples"


def measured(values, standard=0.3, band=1.0, limit=None, corrections=()):
    values = np.array(values, float)
    standard = np.broadcast_to(np.asarray(standard, float), values.shape)
    return Measured(values, standard, values - band, values + band,
                    np.zeros(len(values), int) if limit is None else np.array(limit), corrections)


def test_bias_and_spread_are_those_of_numpy():
    rng = np.random.default_rng(3)
    values, predicted = rng.normal(size=50), rng.normal(size=50)
    item = compared("output_dbm_2", "dBm", measured(values), predicted)
    assert item.bias == pytest.approx(np.mean(values - predicted))
    assert item.spread == pytest.approx(np.std(values - predicted, ddof=1))
    assert item.typical == pytest.approx(0.3) and item.of_difference == "dB"
    assert item.outside_band == tuple(np.flatnonzero(np.abs(values - predicted) > 1.0))
    assert item.outside_standard == tuple(np.flatnonzero(np.abs(values - predicted) > 0.6))


@pytest.mark.parametrize("difference, words", [
    ([0.1, -0.2, 0.3, 0.0, -0.1], "agrees within its uncertainty"),
    ([0.8, 0.7, 0.75, 0.72, 0.78], "agrees within its band, but not within its standard uncertainty"),
    ([2.0, 2.1, 1.9, 2.0, 2.05], "disagrees by an offset"),
    ([-2.0, -1.0, 0.0, 1.0, 2.0], "disagrees in its course"),
    ([0.1, 0.0, 0.1, 1.2, 0.1], "disagrees at some points")])
def test_the_verdict_follows_the_numbers(difference, words):
    item = compared("output_dbm_2", "dBm", measured(difference), np.zeros(5))
    assert item.verdict.startswith(words)


def test_an_offset_is_told_with_its_sign_and_size():
    item = compared("output_dbm_2", "dBm", measured([-2.0, -2.1, -1.9]), np.zeros(3))
    assert "-2 dB on the mean, with a spread of only 0.1 dB" in item.verdict


def test_limits_count_only_where_they_are_broken():
    limits = measured([-80.0, -80.0, -30.0], limit=[-1, -1, 1])
    item = compared("output_dbm_1", "dBm", limits, np.array([-95, -70, -20]))
    assert list(item.difference) == [0.0, -10.0, 0.0]
    assert item.outside_band == (1,) and np.isnan(item.bias) and item.count == 3


def test_angles_go_the_shorter_way():
    item = compared("output_phase_deg_2", "deg", measured([179.0, -179.0]), np.array([-179.0, 179.0]))
    assert list(item.difference) == [-2.0, 2.0]


def test_what_has_no_prediction_is_no_number():
    item = compared("output_dbm_2", "dBm", measured([1.0, 2.0]), np.array([np.nan, 2.0]))
    assert item.count == 1 and np.isnan(item.difference[0])
    nothing = compared("output_dbm_2", "dBm", measured([1.0]), np.array([np.nan]))
    assert nothing.verdict.startswith("nothing to compare")


@pytest.fixture(scope="module")
def comparison():
    circuit = hbsim.load(EXAMPLES / "lumped_doubler.toml")
    drive, supply = np.tile([-10.0, -5.0, 0.0], 2), np.repeat([2.0, 4.0], 3)
    wanted = [circuit.solve({"drive.power": p, "supply.VCC": v}).output_dbm(2) for p, v in zip(drive, supply)]
    item = measured(np.array(wanted) + [0.1, -0.1, 0.2, 0.0, 3.0, np.nan],
                    corrections=(Correction("pad", np.full(6, 10.1)),))
    points = CircuitPoints(circuit.description, Measurement(
        "sweep.csv", {"drive.power": drive, "supply.VCC": supply}, {"output_dbm_2": item}, np.arange(6) + 2))
    return circuit, np.array(wanted), points.comparison(points.predict({}))


def test_the_prediction_is_solved_at_the_measured_points(comparison):
    circuit, wanted, one = comparison
    item = one.quantities["output_dbm_2"]
    assert item.predicted[:5] == pytest.approx(wanted[:5], abs=0.02)  # twice the accuracy that lines are solved to
    assert item.outside_band == (4,) and item.count == 5
    assert one.axis == "drive.power" and list(one.groups()) == ["2 V", "4 V"]


def test_the_page_tells_verdict_corrections_and_points(comparison):
    circuit, _, one = comparison
    page = compare_page(circuit.description.title, [one])
    for words in ("disagrees in its course: 1 of 5 points", "output_dbm_2: pad: +10.1 dB", "point 5 (line 6)"):
        assert words in " ".join(page.split())


def test_json_and_table_hold_every_number_of_the_picture(comparison):
    circuit, _, one = comparison
    (plain,) = json.loads(json.dumps(as_json([one]), allow_nan=False))
    item = plain["quantities"]["output_dbm_2"]
    names, rows = table(one)
    assert names[:4] == ["point", "line", "drive.power [dBm]", "supply.VCC [V]"]
    figure = compare_figure("", [one])
    above, below = figure.axes
    drawn = [line.get_ydata() for line in above.lines + below.lines if len(line.get_ydata()) > 2]
    kept = {round(v, 9) for key in ("measured", "predicted", "difference") for v in item[key] if v is not None}
    numbers = [value for line in drawn for value in line if np.isfinite(value)]
    assert len(numbers) > 10 and all(round(float(value), 9) in kept for value in numbers)
    assert [row[names.index("output_dbm_2 predicted [dBm]")] for row in rows] == item["predicted"]


def test_a_folder_keeps_inputs_tables_and_their_sums(tmp_path, comparison):
    _, _, one = comparison
    source, circuit = tmp_path / "data" / "sweep.csv", tmp_path / "doubler.toml"
    source.parent.mkdir()
    source.write_text("a,b\n1,2\n")
    circuit.write_text("")
    names, rows = table(one)
    path = keep(tmp_path / "kept", {"command": "compare"}, "abc", [source, circuit],
                {"page.txt": text_writer("page"), "sweep.csv": table_writer(names, rows)})
    contents = json.loads(path.read_text())
    assert path.name == CONTENTS and contents["circuit_fingerprint"] == "abc"
    kept_as = "inputs/data/sweep.csv"
    assert set(contents["sha256"]) == {kept_as, "inputs/doubler.toml", "page.txt", "sweep.csv"}
    import hashlib
    assert contents["sha256"][kept_as] == hashlib.sha256(source.read_bytes()).hexdigest()
    assert len(list(csv.reader((tmp_path / "kept" / "sweep.csv").open()))) == 7
    with pytest.raises(Refusal, match="holds something already"):
        keep(tmp_path / "kept", {}, "", [], {})


def test_a_comparison_without_settings_has_one_group():
    one = Comparison("m", {}, {}, {"output_dbm_2": compared("output_dbm_2", "dBm", measured([1.0]), np.array([1.1]))},
                     np.zeros(0, int), {})
    assert one.axis == "" and list(one.groups()) == [""]
    assert compare_figure("", [one]).axes


def test_limits_without_an_uncertainty_are_told_as_broken_or_held():
    """By hand: three levels at most -90 dBm, predicted far above them, or below."""
    values, limit = np.full(3, -90.0), np.full(3, -1)
    none = np.full(3, np.nan)
    item = Measured(values, none, np.full(3, -np.inf), none, limit)
    broken = compared("output_dbm_3", "dBm", item, np.array([-10.0, 2.0, -95.0]))
    assert broken.verdict.startswith("2 of 3 limits are broken, by up to 92 dB") and broken.limits == (3, 2)
    held = compared("output_dbm_3", "dBm", item, np.full(3, -95.0))
    assert held.verdict == "all its 3 limits hold; it has no numbers"


def test_kept_files_lie_to_each_other_as_they_did(tmp_path):
    names = ["circuit.toml", "one/d.csv", "one/bench.toml", "two/d.csv", "two/bench.toml"]
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(name)
    assert list(places(tmp_path / name for name in names).values()) == names
    one, other = tmp_path / "one", Path(tmp_path.anchor) / "nowhere"
    assert list(places([one / "d.csv", one / "bench.toml"]).values()) == ["d.csv", "bench.toml"]
    apart = places([one / "d.csv", other / "one" / "d.csv", other / "x"])
    assert list(apart.values()) == ["one/d.csv", "one_2/d.csv", "nowhere/x"]


def test_all_files_that_are_read_are_seen(tmp_path):
    (tmp_path / "b.toml").write_text("x = 1\n")
    with watched() as outer:
        read_toml(tmp_path / "b.toml")
        with watched() as inner:
            hbsim.load(EXAMPLES / "beacon_2304_filter_file.toml")
        read_toml(tmp_path / "b.toml")
    assert [path.name for path in inner][:1] == ["beacon_2304_filter_file.toml"]
    assert "filter_2304.s2p" in {path.name for path in inner} and "b.toml" not in {path.name for path in inner}
    assert set(inner) < set(outer) and tmp_path / "b.toml" in outer
    read_toml(tmp_path / "b.toml")
