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
    assert list(match.standard) == [0.2] * 3 and match.beside == pytest.approx(10 ** (-30 / 20) / np.sqrt(2))
    assert match.whole_standard[2] > match.whole_standard[0] > 0.2


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


def test_the_band_of_a_return_loss_is_that_of_the_bridge_and_the_reading(folder, circuit):
    """|G| +- (D + |G|^2 Ms) (Application Note 1287-3, by hand in decibels), and twice the standard uncertainty."""
    (folder / "drive.csv").write_text(DATA.replace("30,0", "35,0"))
    (folder / "drive.toml").write_text(COLUMNS + BENCH.replace('directivity = "30 dB"',
                                                               'directivity = "30 dB"\nsource_match = "25 dB"'))
    match = data_set(folder / "drive.csv", circuit).measurement.quantities["input_return_loss_db"]
    size = 10 ** (-match.values / 20)
    reach = 10 ** (-30 / 20) + size**2 * 10 ** (-25 / 20)
    assert match.low == pytest.approx(-20 * np.log10(size + reach) - 0.4)
    inside = size > reach
    assert match.high[inside] == pytest.approx(-20 * np.log10((size - reach)[inside]) + 0.4)
    assert np.isinf(match.high[~inside]).all() and 35.0 in match.values


def test_a_reading_that_the_bridge_cannot_make_is_outside_twice_the_standard(circuit):
    """35 dB read where 19.7 dB are predicted, D 30 dB: the reading would be 17.4 to 23.0 dB (by hand)."""
    from hbsim.bench.compare import compared
    from hbsim.bench.measurement import Measured
    values, standard = np.array([35.0, 35.0]), np.full(2, 0.3)
    item = Measured(values, standard, values - 9, values + 9, np.zeros(2, int), (), 10 ** (-30 / 20) / np.sqrt(2))
    found = compared("input_return_loss_db", "dB", item, np.array([19.7, 31.0]))
    assert found.outside_standard == (0,)
    sigma = np.hypot(10 ** (-35 / 20) * 0.3 * np.log(10) / 20, 10 ** (-30 / 20) / np.sqrt(2))
    assert abs(10 ** (-19.7 / 20) - 10 ** (-35 / 20)) / sigma > 3.5


def test_losses_count_for_ratios_too(folder, circuit):
    """By hand: a conversion loss of 5 dB with 10 + cable dB behind the circuit and 0.5 dB before it."""
    heads = '[columns]\nP = "drive.power"\nC = "conversion_loss_db"\nD = "output_dbc_1"\n'
    (folder / "drive.csv").write_text("P [dBm],C [dB],D [dB]\n-10,5,-20\n")
    (folder / "drive.toml").write_text(heads + BENCH)
    found = data_set(folder / "drive.csv", circuit).measurement
    f0, f2 = 0.6 + 0.6 * 0.152 / 2, 0.6 + 0.6 * 1.304 / 2
    assert found.settings["drive.power"] == pytest.approx([-10.5])
    assert found.quantities["conversion_loss_db"].values == pytest.approx([5 - 10 - f2 - 0.5])
    assert found.quantities["output_dbc_1"].values == pytest.approx([-20 + f0 - f2])
    (folder / "drive.csv").write_text("P [dBm],C [1]\n-10,0.2\n")
    (folder / "drive.toml").write_text(heads.replace("conversion_loss_db", "efficiency").replace(
        'D = "output_dbc_1"\n', "") + BENCH)
    with pytest.raises(Refusal, match="efficiency"):
        data_set(folder / "drive.csv", circuit)


def test_the_generators_second_harmonic_passes_what_stands_before_the_circuit(folder, circuit):
    (folder / "filter.csv").write_text("frequency / GHz,loss / dB\n1.152,0.5\n2.304,50\n")
    bench = BENCH.replace('level_error = "0.5 dB"', 'second_harmonic = "-15 dB"').replace(
        '{ loss = "0.5 dB", name = "lead" }', '{ file = "filter.csv" }')
    assert "filter.csv" in bench
    (folder / "drive.toml").write_text(COLUMNS + bench)
    item = data_set(folder / "drive.csv", circuit).measurement
    assert item.generator_second_harmonic_db == pytest.approx([-15 - 49.5] * 3)
    assert any("weaker by 49.50 dB" in note for note in item.notes)


@pytest.mark.parametrize(("old", "new", "words"), [
    ('levels = "0.3 dB"', 'levels = "2 %"', "a share of decibels"),
    ('supply_amps_VCC = "2 %"', 'supply_amps_VCC = "0 %"', "above zero"),
    ('supply_amps_VCC = "2 %"', 'output_dmb_1 = "0.3 dB"', "did you mean 'output_dbm_"),
])
def test_uncertainties_that_mean_nothing(folder, circuit, old, new, words):
    text = COLUMNS + BENCH
    assert old in text
    (folder / "drive.toml").write_text(text.replace(old, new))
    with pytest.raises(Refusal, match=words):
        data_set(folder / "drive.csv", circuit)


@pytest.mark.parametrize("row", ["<0.6", "", "--"])
def test_a_loss_table_needs_numbers(tmp_path, row):
    from hbsim.bench.losses import loss_of_file
    table = tmp_path / "l.csv"
    table.write_text(f"frequency / GHz,loss / dB\n1,0.5\n2,{row}\n3,0.9\n")
    with pytest.raises(Refusal, match="line 3|is missing"):
        loss_of_file(table)
    table.write_text("frequency / GHz,loss / dB\n0,0\n1,-0.5\n3,-0.9\n")
    with pytest.raises(Refusal, match="turn the sign"):
        loss_of_file(table)


def test_the_worst_phase_of_the_generators_second_harmonic_is_found_between_those_solved(circuit):
    """Against 72 solves around the circle."""
    import hbsim as package
    from hbsim.bench.circuit_points import CircuitPoints
    from hbsim.bench.measurement import Measured, Measurement
    one, zero = np.full(1, -20.0), np.zeros(1)
    quantity = Measured(one, zero + 1e-9, one, one, zero.astype(int))
    data = Measurement("m", {"drive.power": np.full(1, -10.0)}, {"output_dbm_2": quantity},
                       generator_second_harmonic_db=np.full(1, -15.0))
    points = CircuitPoints(circuit, data, harmonics=8)
    predicted = points.predict({})
    item = points.comparison(predicted).quantities["output_dbm_2"].measured
    whole = package.Circuit(circuit)
    levels = [whole.solve({"drive.power": -10.0, "drive.second_harmonic": "-15 dB",
                           "drive.second_harmonic_phase": float(phase)}, harmonics=8).output_dbm(2)
              for phase in range(0, 360, 5)]
    assert item.high - item.values == pytest.approx(predicted - min(levels), abs=5e-3)  # 5 deg beside a flat extreme
    assert item.values - item.low == pytest.approx(max(levels) - predicted, abs=5e-3)


def test_a_harmonic_that_is_not_solved_for_is_told(circuit):
    from hbsim.bench.circuit_points import CircuitPoints
    from hbsim.bench.measurement import Measured, Measurement
    one, zero = np.full(1, -20.0), np.zeros(1)
    quantity = Measured(one, zero + 0.3, one, one, zero.astype(int))
    points = CircuitPoints(circuit, Measurement("m", {"drive.power": one}, {"output_dbm_20": quantity}), harmonics=8)
    found = points.comparison(points.predict({}))
    assert any(note.startswith("output_dbm_20: ") for note in found.notes)


def test_a_bridge_at_the_generators_end_sees_the_lead_twice(folder, circuit):
    """By hand: 0.5 dB of lead take 1 dB from the wave that comes back, and make what stands beside it 1 dB larger."""
    found = {}
    for place in ("circuit", "generator"):
        (folder / "drive.toml").write_text(COLUMNS + BENCH.replace("[bridge]", f'[bridge]\nplace = "{place}"'))
        found[place] = data_set(folder / "drive.csv", circuit).measurement.quantities["input_return_loss_db"]
    assert found["generator"].values == pytest.approx(found["circuit"].values - 1.0)
    assert found["generator"].beside / found["circuit"].beside == pytest.approx([10 ** (1 / 20)] * 3)
    assert found["generator"].low == pytest.approx(found["circuit"].low - 1.0)
    assert "passed twice" in found["generator"].corrections[0].what


@pytest.mark.parametrize(("text", "values", "gain"), [
    ("S11 [dB]\n-7\n-12\n", [7, 12], False), ("S11 [dB]\n7\n12\n", [7, 12], False),
    ("S11 [dB]\n7\n12\n-3\n", [7, 12, -3], True)])
def test_signs_of_a_return_loss_under_the_name_of_s11(folder, circuit, text, values, gain):
    (folder / "drive.csv").write_text("P [dBm]," + text.replace("\n", "\n0,", text.count("\n") - 1))
    (folder / "drive.toml").write_text('[columns]\nP = "drive.power"\nS11 = "input_return_loss_db"\n')
    item = data_set(folder / "drive.csv", circuit).measurement
    assert list(item.quantities["input_return_loss_db"].values) == values
    assert any("more came back" in note for note in item.notes) == gain


def test_what_was_set_is_no_limit(folder, circuit):
    (folder / "drive.csv").write_text(DATA.replace("-5,0;-30", "<-5,0;-30"))
    with pytest.raises(Refusal, match="only a limit"):
        data_set(folder / "drive.csv", circuit)


def test_beyond_its_compression_point_an_analyser_says_only_what_the_level_is_at_least(folder, circuit):
    (folder / "drive.toml").write_text(COLUMNS + BENCH.replace('attenuation = "10 dB"', 'attenuation = "0 dB"\n'
                                                               'compression_point = "-25 dBm"'))
    item = data_set(folder / "drive.csv", circuit).measurement
    second = item.quantities["output_dbm_2"]
    assert np.isinf(second.high).tolist() == [False, False, True]
    assert any("beyond its compression point" in note for note in item.notes)


def test_another_steady_state_is_told_where_the_reading_is_far_off():
    """The varactor circuit's branch that a drive coming down meets, as `hbsim sweep` finds it at 9 dBm."""
    from hbsim.bench.circuit_points import CircuitPoints
    from hbsim.bench.measurement import Measured, Measurement
    jumping = hbsim.load(EXAMPLES / "varactor_jump.toml").description
    read, zero = np.array([-7.6]), np.zeros(1)
    name = f"output_dbm_{jumping.wanted_harmonic}"
    data = Measurement("one", {"drive.power": np.array([9.0])},
                       {name: Measured(read, zero + 0.3, read - 1, read + 1, zero.astype(int))})
    points = CircuitPoints(jumping, data)
    one = points.with_other_states(points.comparison(points.predict({})))
    assert one.quantities[name].outside_band == (0,)
    (note,) = [note for note in one.notes if "another steady state" in note]
    assert f"{name} -7.6" in note
