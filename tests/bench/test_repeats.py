"""Repeated readings: their mean in watts, up and down kept apart, scatter as uncertainty; traces as points."""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.corrections import Reading
from hbsim.bench.load import data_set
from hbsim.bench.repeats import Points, means
from hbsim.errors import Refusal

EXAMPLES = Path(__file__).parents[2] / "examples"
COLUMNS = """
[columns]
"Pin" = { is = "drive.power", unit = "dBm" }
"P2" = { is = "output_dbm_2", unit = "dBm" }
"I" = { is = "supply_amps_VCC", unit = "mA" }
"""


@pytest.fixture(scope="module")
def circuit():
    return hbsim.load(EXAMPLES / "lumped_doubler.toml").description


def points(name, values, settings, sweep=None, limit=None, standard=np.nan):
    n = len(values)
    item = Reading(np.array(values, float), np.zeros(n, int) if limit is None else np.array(limit),
                   np.full(n, float(standard)), np.zeros(n), np.zeros(n))
    return Points({"drive.power": np.array(settings, float)}, {name: item}, np.arange(n) + 2,
                  np.zeros(n, int) if sweep is None else np.array(sweep))


@pytest.mark.parametrize(("levels", "mean"), [  # by hand: 10 log10 of the mean of 10^(level / 10)
    ([-20.0, -20.5, -19.6, -20.1], -20.0382), ([-10.0, -12.0], -10.8859), ([-60.0, -40.0], -42.9671)])
def test_the_mean_of_levels_is_that_of_watts(levels, mean):
    notes = []
    found = means(points("output_dbm_2", [*levels, -1.0], [0.0] * len(levels) + [1.0]), notes)
    item = found.readings["output_dbm_2"]
    assert item.values == pytest.approx([mean, -1.0], abs=1e-4)
    assert item.done[0].amount == pytest.approx([mean - np.mean(levels), 0.0], abs=1e-4)
    assert item.standard == pytest.approx(np.std(levels, ddof=1) / np.sqrt([len(levels), 1]))  # numpy
    assert found.lines.tolist() == [2, 2 + len(levels)] and list(found.settings["drive.power"]) == [0.0, 1.0]
    assert any("scatter by" in note for note in notes)


def test_return_losses_are_averaged_by_the_power_that_comes_back_and_currents_as_they_are():
    found = means(points("input_return_loss_db", [10.0, 20.0], [0.0, 0.0]), [])
    assert found.readings["input_return_loss_db"].values == pytest.approx([-10 * np.log10((0.1 + 0.01) / 2)])
    found = means(points("supply_amps_VCC", [1e-3, 3e-3], [0.0, 0.0], standard=1e-5), [])
    assert list(found.readings["supply_amps_VCC"].values) == [2e-3]
    assert list(found.readings["supply_amps_VCC"].standard) == [1e-5]  # as it is stated
    found = means(points("output_phase_deg_2", [179.0, -177.0], [0.0, 0.0]), [])
    assert found.readings["output_phase_deg_2"].values % 360 == pytest.approx([181.0])


def test_up_and_down_are_never_put_together_and_sweeps_of_one_direction_are():
    drive, sweep = [0.0, 1.0, 1.0, 0.0, 0.0, 1.0], [0, 0, 1, 1, 2, 2]
    found = means(points("output_dbm_2", [-10.0, -9.0, -8.0, -7.0, -10.0, -9.0], drive, sweep), [])
    assert list(found.settings["drive.power"]) == [0.0, 1.0, 1.0, 0.0]
    assert found.readings["output_dbm_2"].values == pytest.approx([-10.0, -9.0, -8.0, -7.0])


def test_limits_among_the_readings_make_the_mean_a_limit():
    found = means(points("output_dbm_2", [-80.0, -80.0, -70.0, -71.0, np.nan, np.nan], [0, 0, 1, 1, 2, 2],
                         limit=[-1, 0, 1, -1, 0, 0]), []).readings["output_dbm_2"]
    assert found.values == pytest.approx([-80.0, np.nan, np.nan], nan_ok=True) and list(found.limit) == [-1, 0, 0]


def test_by_the_file_beside_the_data(tmp_path, circuit):
    (tmp_path / "d.csv").write_text("Pin,P2,I\n-10,-20,1\n-10,-22,1.1\n-5,-12,2\n-5,-12,2\n")
    for said, count in (("", 4), ('repeats = "mean"', 2), ('repeats = "keep"', 4)):
        (tmp_path / "d.toml").write_text(said + COLUMNS)
        assert data_set(tmp_path / "d.csv", circuit).measurement.points == count
    (tmp_path / "d.toml").write_text('repeats = "median"' + COLUMNS)
    with pytest.raises(Refusal, match="keep or mean"):
        data_set(tmp_path / "d.csv", circuit)


def test_two_traces_are_two_points_or_their_mean(tmp_path, circuit):
    f0 = circuit.drive.frequency
    rng, f = np.random.default_rng(3), np.arange(0.9 * f0, 2.1 * f0, 1e6)
    blocks = []
    for level in (-10.0, -12.0):
        trace = -80.0 + rng.normal(size=f.size)
        for order, top in ((1, -20.0), (2, level)):
            trace[np.argmin(np.abs(f - order * f0))] = top
        blocks.append("\n".join(f"{a:.0f},{b:.4f}" for a, b in zip(f, trace)))
    (tmp_path / "t.csv").write_text("Frequency (Hz),P (dBm)\n" + "\n\n".join(blocks) + "\n")
    (tmp_path / "t.toml").write_text('[analyser]\nresolution_bandwidth = "2 MHz"\ndetector = "sample"\n')
    found = data_set(tmp_path / "t.csv", circuit).measurement
    assert found.quantities["output_dbm_2"].values == pytest.approx([-10.0, -12.0])
    # 1 MHz between points, 2 MHz bandwidth: up to 3.0103 / 4 dB low (Gaussian filter, by hand)
    reach = found.quantities["output_dbm_2"]
    assert reach.high - reach.values == pytest.approx([np.nan, np.nan], nan_ok=True)  # no uncertainty is stated
    (tmp_path / "t.toml").write_text('repeats = "mean"\n[analyser]\nresolution_bandwidth = "2 MHz"\n'
                                     'detector = "sample"\n[uncertainty]\nlevels = "0.1 dB"\n')
    item = data_set(tmp_path / "t.csv", circuit).measurement.quantities["output_dbm_2"]
    assert item.values == pytest.approx([-10.886], abs=1e-3)
    assert item.high - item.values == pytest.approx([0.2 + 3.0103 / 4], abs=1e-4)
    assert item.values - item.low == pytest.approx([0.2])


def test_two_markers_at_one_harmonic(tmp_path, circuit):
    f0 = circuit.drive.frequency / 1e9
    (tmp_path / "m.csv").write_text(f"M1,A,Frequency,{f0} GHz,-23.4 dBm\nM2,A,Frequency,{f0} GHz,-43.4 dBm\n")
    with pytest.raises(Refusal, match="two markers"):
        data_set(tmp_path / "m.csv", circuit)


def test_a_limit_of_s11_is_one_of_the_return_loss_the_other_way(tmp_path, circuit):
    for name, more in (("S11", ""), ("x", ", scale = -1")):
        (tmp_path / "s.csv").write_text(f"Pin,{name}\n-10,<-30\n-5,-12\n")
        (tmp_path / "s.toml").write_text(COLUMNS.split('"P2"')[0] + f'"{name}" = {{ is = "input_return_loss_db", '
                                         f'unit = "dB"{more} }}\n')
        item = data_set(tmp_path / "s.csv", circuit).measurement.quantities["input_return_loss_db"]
        assert list(item.values) == [30.0, 12.0] and list(item.limit) == [1, 0]
