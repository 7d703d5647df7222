"""From a file and what is said about it to a measurement: order, signs, limits, and what is refused."""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.circuit_points import CircuitPoints
from hbsim.bench.load import data_set, data_sets, inputs_of
from hbsim.errors import Refusal

EXAMPLES = Path(__file__).parents[2] / "examples"
DATA = ("P_in [dBm];P_1 [dBm];P_2 [dBm];RL [dB];I [mA]\n-10,0;-40,0;-60,0;5,0;3,0\n-5,0;-30,0;-41,0;6,0;4,0\n"
        "0,0;-20,0;-21,0;30,0;5,0\n")
COLUMNS = """
[columns]
"P_in" = { is = "drive.power" }
"P_1" = { is = "output_dbm_1" }
"P_2" = { is = "output_dbm_2" }
"RL" = { is = "input_return_loss_db" }
"I" = "supply_amps_VCC"
"""
BENCH = """
[settings]
"supply.VCC" = "3 V"
[input]
losses = [{ loss = "0.5 dB", name = "lead" }]
[output]
losses = [{ loss = "10 dB", name = "pad" }, { file = "cable.csv" }]
circuit_match = "6 dB"
analyser_match = "14 dB"
[generator]
level_error = "0.5 dB"
[analyser]
noise_floor = "-66 dBm"
averaging = "power"
second_harmonic_intercept = "45 dBm"
attenuation = "10 dB"
[bridge]
directivity = "30 dB"
[uncertainty]
levels = "0.3 dB"
input_return_loss_db = "0.2 dB"
supply_amps_VCC = "2 %"
"""


@pytest.fixture(scope="module")
def circuit():
    return hbsim.load(EXAMPLES / "lumped_doubler.toml").description


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "cable.csv").write_text("frequency / GHz,loss / dB\n1,0.6\n3,1.2\n")
    (tmp_path / "drive.csv").write_text(DATA)
    (tmp_path / "drive.toml").write_text(COLUMNS + BENCH)
    return tmp_path


def test_every_correction_in_its_order_and_amount(folder, circuit):
    item = data_set(folder / "drive.csv", circuit).measurement
    second = item.quantities["output_dbm_2"]
    assert [done.what.split(",")[0] for done in second.corrections] == [
        "noise of -66 dBm taken off", "pad", "cable.csv"]
    noise = 10 * np.log10(1 - 10 ** (-0.6))  # 6 dB above the noise: power averaging takes 1.26 dB off
    cable = 0.6 + 0.6 * (2.304 - 1) / 2  # linear in frequency, at 2 f0
    assert second.corrections[0].amount[0] == pytest.approx(noise)
    assert second.values[0] == pytest.approx(-60.0 + noise + 10.0 + cable)
    assert item.quantities["output_dbm_1"].values[2] == pytest.approx(-20 + 10 + 0.6 + 0.6 * 0.152 / 2, abs=1e-3)
    assert item.settings["drive.power"] == pytest.approx([-10.5, -5.5, -0.5])
    assert list(item.settings["supply.VCC"]) == [3.0] * 3
    assert item.level_error_db == 0.5 and item.lines.tolist() == [2, 3, 4]


def test_the_generators_own_level_is_corrected(folder, circuit):
    bench = BENCH.replace("level_error", 'level_correction = "-0.4 dB"\nlevel_error')
    (folder / "drive.toml").write_text(COLUMNS + bench)
    item = data_set(folder / "drive.csv", circuit).measurement
    assert item.settings["drive.power"] == pytest.approx([-10.9, -5.9, -0.9])
    assert "drive.power: the generator gives -0.40 dB against what it shows (generator)" in item.notes
    (folder / "generator.csv").write_text("frequency / GHz,correction / dB\n1,-0.3\n2,0.7\n")
    (folder / "drive.toml").write_text(COLUMNS + bench.replace('"-0.4 dB"', '{ file = "generator.csv" }'))
    item = data_set(folder / "drive.csv", circuit).measurement
    assert item.settings["drive.power"] == pytest.approx(np.array([-10.5, -5.5, -0.5]) - 0.3 + 0.152)  # linear


def test_uncertainties_and_bands(folder, circuit):
    item = data_set(folder / "drive.csv", circuit).measurement
    assert item.quantities["supply_amps_VCC"].standard == pytest.approx([6e-5, 8e-5, 1e-4])
    second = item.quantities["output_dbm_2"]
    assert second.standard == pytest.approx([0.3] * 3)
    product = 10 ** (-20 / 20)  # 6 and 14 dB: 0.1
    own = -20 - 10 - 45 - 20 - (-21.0)  # f0 at -20 dBm makes -95 dBm of 2 f0 in the analyser, 74 dB below the reading
    share = 10 ** (own / 20)
    wanted = 0.6 - 20 * np.log10(1 - product) + 20 * np.log10(1 + share)
    assert second.high[2] - second.values[2] == pytest.approx(wanted, abs=1e-6)
    match = item.quantities["input_return_loss_db"]
    assert np.isinf(match.high[2])  # as good as the directivity
    assert match.standard[2] > match.standard[0] > 0.2


def test_the_band_of_the_analysers_own_harmonic_holds_the_truth(folder, circuit):
    """A line with the analyser's own 2 f0 of any phase on it: the truth stays inside the band of each reading."""
    for own_dbm in (-60.0, -46.0):  # a quarter and more than the line itself
        (folder / "drive.toml").write_text(COLUMNS + BENCH.replace(
            '"45 dBm"', f'"{2 * -20.0 - 10.0 - own_dbm:.3f} dBm"').replace("circuit_match", "# ").replace(
            "analyser_match", "# ").replace('noise_floor = "-66 dBm"', ""))
        for phase in np.linspace(0, 2 * np.pi, 12, endpoint=False):
            true = -48.0
            seen = abs(10 ** (true / 20) + 10 ** (own_dbm / 20) * np.exp(1j * phase))
            text = DATA.replace("-21,0", f"{20 * np.log10(seen):.4f}".replace(".", ","))
            (folder / "drive.csv").write_text(text)
            item = data_set(folder / "drive.csv", circuit).measurement.quantities["output_dbm_2"]
            losses = sum(done.amount[2] for done in item.corrections)
            assert item.low[2] + 0.6 - 1e-3 <= true + losses <= item.high[2] - 0.6 + 1e-3


def test_a_limit_from_the_noise(folder, circuit):
    (folder / "drive.csv").write_text(DATA.replace("-60,0", "-65,0"))
    second = data_set(folder / "drive.csv", circuit).measurement.quantities["output_dbm_2"]
    assert second.limit.tolist() == [-1, 0, 0] and second.low[0] == -np.inf


def test_a_level_error_widens_the_band_by_the_predicted_slope(folder, circuit):
    points = data_set(folder / "drive.csv", circuit, harmonics=16)
    assert isinstance(points, CircuitPoints)
    one = points.comparison(points.predict({}))
    settings = points.settings(1)
    levels = []
    for step in (-0.01, 0.01):
        solved = hbsim.Circuit(circuit).solve({**settings, "drive.power": settings["drive.power"] + step}, harmonics=16)
        levels.append(solved.output_dbm(2))
    slope = (levels[1] - levels[0]) / 0.02
    plain, wide = points.measurement.quantities["output_dbm_2"], one.quantities["output_dbm_2"].measured
    assert wide.high[1] - plain.high[1] == pytest.approx(0.5 * abs(slope), rel=1e-3)


def test_the_shared_bench_file(folder, circuit):
    (folder / "lab").mkdir()
    (folder / "lab" / "bench.toml").write_text(BENCH.replace('[settings]\n"supply.VCC" = "3 V"\n', ""))
    (folder / "cable.csv").rename(folder / "lab" / "cable.csv")
    (folder / "drive.toml").write_text('bench = "lab/bench.toml"\n' + COLUMNS + '[settings]\n"supply.VCC" = "4 V"\n')
    item = data_set(folder / "drive.toml", circuit).measurement
    assert list(item.settings["supply.VCC"]) == [4.0] * 3 and len(item.quantities["output_dbm_2"].corrections) == 3
    assert {path.name for path in inputs_of(folder / "drive.csv")} == {"drive.csv", "drive.toml", "cable.csv",
                                                                       "bench.toml"}


def test_s11_is_turned_into_return_loss(folder, circuit):
    (folder / "drive.csv").write_text(DATA.replace("RL [dB]", "S11 [dB]").replace(";5,0;", ";-5,0;").replace(
        ";6,0;", ";-6,0;").replace(";30,0;", ";-30,0;"))
    (folder / "drive.toml").write_text(COLUMNS.replace('"RL"', '"S11"') + BENCH)
    item = data_set(folder / "drive.csv", circuit).measurement
    assert list(item.quantities["input_return_loss_db"].values) == [5.0, 6.0, 30.0]


def test_two_data_sets_of_one_name(folder, circuit):
    with pytest.raises(Refusal, match="give one a name of its own"):
        data_sets([folder / "drive.csv", folder / "drive.csv"], circuit)


@pytest.mark.parametrize("old, new, words", [
    ('"P_2" = { is = "output_dbm_2" }', '"P_2" = { is = "output_dbm_x" }', "did you mean 'output_dbm_N'"),
    ('"P_2" = { is = "output_dbm_2" }', '"P_2" = { is = "output_dbm_1" }', "meaning of two columns"),
    ('{ is = "drive.power" }', '{ is = "drive.frequency" }', "is in dBm, and drive.frequency is in Hz"),
    ('"supply.VCC" = "3 V"', 'supply.VCC = "3 V"', "stands in quotes"),
    ('"supply.VCC" = "3 V"', '"supply.VCX" = "3 V"', "did you mean 'supply.VCC'"),
    ('"supply.VCC" = "3 V"', '"drive.power" = "3 dBm"', "stands in a column too"),
    ("noise_floor", "noise_flor", "did you mean 'noise_floor'"),
    ('averaging = "power"', 'averaging = "rms"', "no averaging"),
    ('level_error = "0.5 dB"', 'level_error = "-0.5 dB"', "positive number of dB"),
    ('{ loss = "10 dB", name = "pad" }', '{ loss = "-10 dB" }', "a loss is a positive number"),
    ('{ file = "cable.csv" }', '{ file = "cable2.csv" }', "no such file"),
    ('levels = "0.3 dB"', 'levels = "0 dB"', "an uncertainty is above zero")])
def test_refusals_name_the_mend(folder, circuit, old, new, words):
    text = COLUMNS + BENCH
    assert old in text
    (folder / "drive.toml").write_text(text.replace(old, new))
    with pytest.raises(Refusal) as refusal:
        data_set(folder / "drive.csv", circuit)
    assert words in str(refusal.value)


def test_without_a_word_about_columns(folder, circuit):
    (folder / "drive.toml").unlink()
    with pytest.raises(Refusal, match="no column says what was measured"):
        data_set(folder / "drive.csv", circuit)


def test_negative_return_loss_is_asked_about(folder, circuit):
    (folder / "drive.csv").write_text(DATA.replace(";5,0;", ";-5,0;").replace(";6,0;", ";-6,0;"))
    with pytest.raises(Refusal, match="a return loss is positive"):
        data_set(folder / "drive.csv", circuit)


def test_gummel_data_belong_to_a_device(tmp_path, circuit):
    (tmp_path / "gummel.csv").write_text("Vbe [V],Vce [V],Ic [mA],Ib [uA]\n0.7,2,0.1,1\n0.75,2,0.6,6\n0.8,2,3,30\n")
    (tmp_path / "gummel.toml").write_text(
        '[columns]\n"Vbe" = "base_volts"\n"Vce" = "collector_volts"\n"Ic" = "collector_amps"\n"Ib" = "base_amps"\n'
        '[uncertainty]\ncollector_amps = "2 %"\nbase_amps = "2 %"\n')
    item = data_set(tmp_path / "gummel.csv", circuit)
    assert item.device == "Q1" and sorted(item.measurement.quantities) == ["base_amps", "collector_amps"]
    assert item.standard == pytest.approx([0.02] * 6)


def trace(folder, f0, levels, spread=1e6):
    """An invented trace: noise at -80 dBm, lines of one point each."""
    frequency = np.arange(0.5e9, 4e9, spread)
    level = -80 + np.random.default_rng(1).normal(0, 0.5, frequency.size)
    for order, value in levels.items():
        level[np.argmin(np.abs(frequency - order * f0))] = value
    rows = "".join(f"{f:.0f},{p:.3f}\n" for f, p in zip(frequency, level))
    (folder / "trace.csv").write_text("# RBW: 3 MHz\n# Detector: Peak\nFrequency (Hz),Level (dBm)\n" + rows)


def test_a_spectrum_trace_is_one_state(tmp_path, circuit):
    trace(tmp_path, circuit.drive.frequency, {1: -31.0, 2: -12.0, 1.5: -55.0})
    (tmp_path / "trace.toml").write_text(
        '[settings]\n"drive.power" = "3 dBm"\n[output]\nlosses = [{ loss = "10 dB", name = "pad" }]\n'
        '[uncertainty]\nlevels = "0.5 dB"\n')
    item = data_set(tmp_path / "trace.csv", circuit).measurement
    assert item.quantities["output_dbm_1"].values == pytest.approx([-21.0])
    assert item.quantities["output_dbm_2"].values == pytest.approx([-2.0])
    assert item.quantities["output_dbm_3"].limit.tolist() == [-1]  # nothing above the noise there
    assert item.settings["drive.power"].tolist() == [3.0] and item.points == 1
    assert any(note.startswith("no harmonic: 1.728 GHz") for note in item.notes)


def test_a_trace_of_another_frequency_is_refused(tmp_path, circuit):
    trace(tmp_path, 1.0e9, {1: -31.0})
    (tmp_path / "trace.toml").write_text('[settings]\n"drive.frequency" = "20 GHz"\n')
    with pytest.raises(Refusal):
        data_set(tmp_path / "trace.csv", circuit)


def test_without_a_stated_uncertainty_no_agreement_is_claimed(folder, circuit):
    (folder / "drive.toml").write_text((COLUMNS + BENCH).split("[uncertainty]")[0])
    points = data_set(folder / "drive.csv", circuit, harmonics=12)
    one = points.comparison(points.predict({}))
    item = one.quantities["output_dbm_1"]
    assert "no uncertainty is stated" in item.verdict and not item.outside_band and not item.outside_standard
    from hbsim.show.compare_plot import compare_figure
    assert compare_figure("", [one]).axes
