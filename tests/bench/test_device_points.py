"""Devices alone: what is predicted against closed forms, and parameters found again from invented curves."""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.device_points import DevicePoints, is_of_a_device
from hbsim.bench.fit import fit
from hbsim.bench.load import data_sets
from hbsim.bench.measurement import Measured, Measurement
from hbsim.bench.unknowns import unknowns
from hbsim.errors import Refusal
from hbsim.studies.bias import Bias

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def circuit():
    return hbsim.load(EXAMPLES / "lumped_doubler.toml").description


def measured(values, standard):
    values = np.asarray(values, float)
    standard = np.broadcast_to(standard, values.shape)
    return Measured(values, standard, values - 3 * standard, values + 3 * standard, np.zeros(values.shape, int))


def dataset(circuit, settings, names, truth, relative, floor=0.0, rng=None):
    """Invented data: the prediction at `truth`, with noise if asked for."""
    count = len(next(iter(settings.values())))
    empty = Measurement("invented", settings, {name: measured(np.zeros(count), 1.0) for name in names})
    maker = DevicePoints(circuit, "Q1", empty)
    numbers = maker.predict(truth)
    quantities = {}
    for name in names:
        y = np.array([number for number, (_, other) in zip(numbers, maker.place) if other == name])
        standard = np.maximum(relative * np.abs(y), floor)
        quantities[name] = measured(y if rng is None else y + standard * rng.standard_normal(count), standard)
    return DevicePoints(circuit, "Q1", Measurement("invented", settings, quantities))


GUMMEL = {"base_volts": np.linspace(0.55, 0.9, 15), "collector_volts": np.full(15, 2.0)}


def test_gummel_curve_is_the_exponential_where_nothing_else_counts(circuit):
    """I_C = IS exp(V/Vt) (H. K. Gummel, H. C. Poon, Bell Syst. Tech. J. 49 (1970) 827-852): slope of ln I over V."""
    points = dataset(circuit, {"base_volts": np.array([0.60, 0.61]), "collector_volts": np.full(2, 0.6)},
                     ["collector_amps"], {}, 0.01)
    thermal = 1.380649e-23 * circuit.devices["Q1"].part.temperature / 1.602176634e-19  # CODATA 2018, exact
    slope = np.diff(points.predict({}))[0] / 0.01
    early = 1 / (circuit.devices["Q1"].part.VAR - 0.605)  # the base width moves with V_BE as well: 1 - V/VAR
    assert slope == pytest.approx(1 / thermal - early, rel=2e-3)  # high injection takes another per mille


def test_slopes_are_those_of_second_order_differences(circuit):
    volts = {**GUMMEL, "base_volts": np.linspace(0.7, 0.9, 15)}  # below, the base current is near the solver's rounding
    points = dataset(circuit, volts, ["collector_amps", "base_amps"], {}, 0.01)
    at = {"Q1.IS": 3e-17, "Q1.BF": 90.0, "Q1.RE": 0.6, "Q1.IKF": 0.1}
    points.predict(at)
    found = points.slopes(list(at))
    for column, (address, value) in enumerate(at.items()):
        up, down = (points.predict({**at, address: value * (1 + sign * 1e-4)}) for sign in (1, -1))
        wanted = (up - down) / (2e-4 * value)
        assert found[:, column] == pytest.approx(wanted, rel=1e-5, abs=1e-5 * np.abs(wanted).max())


def test_a_gummel_plot_gives_its_parameters_back(circuit):
    truth = {"Q1.IS": 4e-17, "Q1.BF": 85.0, "Q1.RE": 0.9, "Q1.IKF": 0.06, "Q1.ISE": 4e-15}
    points = dataset(circuit, GUMMEL, ["collector_amps", "base_amps"], truth, 0.02, rng=np.random.default_rng(5))
    found = fit([points], unknowns(dict.fromkeys(truth, ""), circuit))
    assert found.finished and 0.6 < found.worth.scatter < 1.4
    for address, value in truth.items():
        assert abs(found.values[address] - value) < 3.5 * found.errors[address]
        assert found.errors[address] < 0.5 * value


def test_capacitance_is_the_closed_form_and_gives_its_parameters_back(circuit):
    """C = CJ / (1 + V / VJ)^M (S. M. Sze, K. K. Ng, Physics of Semiconductor Devices, 3rd ed., section 2.2; memory)."""
    settings = {"reverse_volts": np.linspace(0.0, 1.4, 15)}
    circuit = circuit.with_values({"Q1.temperature": circuit.devices["Q1"].part.TNOM})  # where the values hold as given
    truth = {"Q1.CJE": 0.5e-12, "Q1.VJE": 0.75, "Q1.MJE": 0.28}
    points = dataset(circuit, settings, ["base_emitter_farads"], truth, 1e-3)
    closed = 0.5e-12 / (1 + settings["reverse_volts"] / 0.75) ** 0.28
    assert points.predict(truth) == pytest.approx(closed, rel=1e-9)
    found = fit([points], unknowns(dict.fromkeys(truth, ""), circuit))
    for address, value in truth.items():
        assert found.values[address] == pytest.approx(value, rel=1e-4)


def test_scattering_of_the_device_is_that_of_its_pins(circuit):
    """Against S from a second way: small steps of the DC law, at a frequency so low that charge rests."""
    device = circuit.devices["Q1"].part
    bias, step = np.array([0.8, 2.0]), 1e-6
    _, flows = Bias(device, {"base": 0.0, "collector": 0.0}).sweep(
        np.array([bias, bias + [step, 0], bias - [step, 0], bias + [0, step], bias - [0, step]]))
    y = np.stack([(flows[1] - flows[2]) / (2 * step), (flows[3] - flows[4]) / (2 * step)], axis=1)
    wanted = (np.eye(2) - 50 * y) @ np.linalg.inv(np.eye(2) + 50 * y)
    settings = {"base_volts": np.full(1, 0.8), "collector_volts": np.full(1, 2.0), "frequency": np.full(1, 1.0)}
    points = dataset(circuit, settings, ["s11_re", "s21_re", "s12_re", "s22_re"], {}, 0.01)
    found = dict(zip((name for _, name in points.place), points.predict({})))
    for i in (1, 2):
        for j in (1, 2):
            assert found[f"s{i}{j}_re"] == pytest.approx(wanted[i - 1, j - 1], abs=1e-5)


def test_small_signal_data_give_transit_time_and_capacitance_back(circuit):
    frequency = np.tile(np.linspace(0.5e9, 6e9, 8), 2)
    settings = {"base_volts": np.repeat([0.80, 0.84], 8), "collector_volts": np.full(16, 2.0), "frequency": frequency}
    names = [f"s{i}{j}_{part}" for i in (1, 2) for j in (1, 2) for part in ("re", "im")]
    truth = {"Q1.TF": 5e-12, "Q1.CJC": 0.17e-12}
    points = dataset(circuit, settings, names, truth, 0.0, 0.005, np.random.default_rng(6))
    found = fit([points], unknowns(dict.fromkeys(truth, ""), circuit))
    for address, value in truth.items():
        assert abs(found.values[address] - value) < 3.5 * found.errors[address] < 0.1 * value


def test_base_current_as_a_setting(circuit):
    points = dataset(circuit, {"base_amps": np.full(3, 50e-6), "collector_volts": np.array([1.0, 2.0, 3.0])},
                     ["collector_amps"], {}, 0.01)
    amps = np.exp(points.predict({}))
    held = Bias(circuit.devices["Q1"].part, {"base": 0.0, "collector": 0.0})
    volts = np.stack([np.linspace(0.7, 0.9, 201), np.full(201, 2.0)], axis=1)
    _, flows = held.sweep(volts)
    assert amps[1] == pytest.approx(np.interp(50e-6, flows[:, 0], flows[:, 1]), rel=1e-3)  # steps of 1 mV
    assert (np.diff(amps) > 0).all()  # the Early effect


def test_comparison_is_in_amperes(circuit):
    points = dataset(circuit, GUMMEL, ["collector_amps"], {"Q1.IS": 2.2e-17}, 0.02)
    one = points.comparison(points.predict({}))
    item = one.quantities["collector_amps"]
    assert item.unit == "A" and one.axis == "base_volts" and one.units["base_volts"] == "V"
    assert item.measured.values[0] / item.predicted[0] == pytest.approx(1.1, rel=1e-3)


@pytest.mark.parametrize("settings, names, words", [
    (["anode_volts"], ["anode_amps"], "has no anode"),
    (["reverse_volts"], ["collector_amps"], "measured against reverse_volts alone"),
    (["base_volts", "collector_volts"], ["base_emitter_farads"], "is measured"),
    (["base_volts", "collector_volts", "frequency"], ["s31_re"], "no S-parameter of this device")])
def test_what_does_not_go_together_is_refused(circuit, settings, names, words):
    one = np.ones(2)
    item = Measurement("m", {name: one for name in settings}, {name: measured(one, 0.1) for name in names})
    assert is_of_a_device(item)
    with pytest.raises(Refusal, match=words):
        DevicePoints(circuit, "Q1", item)


def test_a_current_at_a_pin_without_voltage_is_refused_with_the_mend(circuit):
    only = {"base_volts": np.linspace(0.6, 0.8, 3)}
    with pytest.raises(Refusal, match=r'voltage at the collector is not said.*"collector_volts" = "3 V"'):
        DevicePoints(circuit, "Q1", Measurement("m", only, {"collector_amps": measured(np.ones(3), 0.1)}))


def test_a_constant_collector_voltage_stands_in_the_settings(tmp_path, circuit):
    (tmp_path / "gummel.csv").write_text("VBE (V);IC (A)\n0.6;1e-6\n0.7;5e-5\n")
    (tmp_path / "gummel.toml").write_text(
        '[columns]\n"VBE" = "base_volts"\n"IC" = "collector_amps"\n[settings]\ncollector_volts = "2 V"\n'
        '[uncertainty]\ncollector_amps = "2 %"\n')
    found = data_sets([tmp_path / "gummel.csv"], circuit, harmonics=None)[0].measurement
    assert list(found.settings["collector_volts"]) == [2.0, 2.0]  # as written


def test_an_unknown_device_is_refused(circuit):
    with pytest.raises(Refusal, match="there is no device 'Q2'"):
        DevicePoints(circuit, "Q2", Measurement("m", {}, {}))


def test_a_model_file_is_fitted_and_written_by_the_command(tmp_path, capsys):
    """Gummel data made from the same model with other IS and BF; the command writes a model file that holds them."""
    from hbsim.bench.device_alone import device_alone
    from hbsim.cli import main
    from hbsim.describe.library import device
    source = Path(__file__).parents[2] / "models" / "transistors" / "npn-25ghz.toml"
    model = tmp_path / "mine.toml"
    model.write_text(source.read_text())
    alone = device_alone(model).with_values({"device.IS": 3e-17, "device.BF": 90.0})
    volts = np.linspace(0.65, 0.85, 9)
    _, flows = Bias(alone.devices["device"].part, {"base": 0.0, "collector": 0.0}).sweep(
        np.stack([volts, np.full(9, 2.0)], axis=1))
    rows = "".join(f"{v:.4f},2,{c:.8g},{b:.8g}\n" for v, (b, c) in zip(volts, flows))
    (tmp_path / "gummel.csv").write_text("Vbe [V],Vce [V],Ic [A],Ib [A]\n" + rows)
    (tmp_path / "gummel.toml").write_text(
        '[columns]\n"Vbe" = "base_volts"\n"Vce" = "collector_volts"\n"Ic" = "collector_amps"\n"Ib" = "base_amps"\n'
        '[uncertainty]\ncollector_amps = "1 %"\nbase_amps = "1 %"\n')
    out = tmp_path / "fitted.toml"
    assert main(["fit", str(model), str(tmp_path / "gummel.csv"), "--free", "IS", "--free", "BF=50:200", "--write",
                 str(out), "--plot", str(tmp_path / "g.svg"), "--keep", str(tmp_path / "kept")]) == 0
    assert "device.IS" in capsys.readouterr().out
    fitted, before = device("fitted.toml", tmp_path).model, device("mine.toml", tmp_path).model
    assert fitted.IS == pytest.approx(3e-17, rel=1e-4) and fitted.BF == pytest.approx(90.0, rel=1e-4)
    assert fitted.RE == before.RE and fitted.base_inductance == before.base_inductance
    assert (tmp_path / "kept" / "inputs" / "fitted_mine.toml").is_file()


def diode(tmp_path, more=""):
    model = tmp_path / "d.toml"
    model.write_text('title = "t"\nkind = "diode"\nabout = "x"\n[parameters]\nIS = "1e-14 A"  # as bought\nN = 1.0\n'
                     f'RS = "1 ohm"\nVJ = "0.7 V"\nM = "0.4"\n{more}[origin]\ntext = "x"\n')
    return model


def test_a_quantity_that_is_zero_needs_limits_and_is_found_within_them(tmp_path):
    """C = CJO / (1 + V / VJ)^M below FC VJ (S. M. Sze, Physics of Semiconductor Devices, from memory), 0.5 % of noise:
    against scipy's curve_fit."""
    from scipy.optimize import curve_fit

    from hbsim.bench.device_alone import device_alone
    alone = device_alone(diode(tmp_path))
    with pytest.raises(Refusal, match="is zero now"):
        unknowns({"device.CJO": ""}, alone)
    volts = np.linspace(0.0, 20.0, 21)
    law = 2e-12 / (1 + volts / 0.7) ** 0.4
    read = law * (1 + 0.005 * np.random.default_rng(1).standard_normal(21))
    data = Measurement("c", {"reverse_volts": volts}, {"junction_farads": measured(read, 0.005 * read)})
    found = fit([DevicePoints(alone, "device", data)],
                unknowns({"device.CJO": "0:5pF", "device.VJ": "", "device.M": ""}, alone))
    best, covariance = curve_fit(lambda v, c, vj, m: 1e-12 * c / (1 + v / vj) ** m, volts, read, (1.0, 0.7, 0.4),
                                 sigma=0.005 * read, absolute_sigma=True)
    names = ("device.CJO", "device.VJ", "device.M")
    assert [found.values[name] for name in names] == pytest.approx(best * [1e-12, 1, 1], rel=1e-4)
    errors = np.sqrt(np.diag(covariance)) * [1e-12, 1, 1]
    assert [found.errors[name] for name in names] == pytest.approx(errors, rel=1e-3)  # slopes by differences
    assert not found.at_limit and found.finished


def test_what_a_direct_current_does_not_know_has_no_slope(tmp_path):
    from hbsim.bench.device_alone import device_alone
    alone = device_alone(diode(tmp_path, 'CJO = "1 pF"\n'))
    volts = np.linspace(0.4, 0.8, 9)
    data = Measurement("dc", {"anode_volts": volts}, {"anode_amps": measured(np.full(9, 1e-6), 1e-8)})
    points = DevicePoints(alone, "device", data)
    points.predict({})
    assert not points.slopes(["device.CJO"]).any() and points.slopes(["device.IS"]).all()


def test_the_page_and_the_file_tell_the_error_of_a_temperature_in_kelvins(tmp_path, capsys):
    from hbsim.cli import main
    model = diode(tmp_path)
    volts = np.linspace(0.5, 0.7, 7)
    (tmp_path / "dc.csv").write_text("V (V),I (A)\n" + "".join(
        f"{v:.4f},{2e-14 * np.exp(v / (8.617333e-5 * 310)):.6g}\n" for v in volts))
    (tmp_path / "dc.toml").write_text('[columns]\nV = "anode_volts"\nI = "anode_amps"\n[uncertainty]\n'
                                      'anode_amps = "1 %"\n')
    out = tmp_path / "w.toml"
    assert main(["fit", str(model), str(tmp_path / "dc.csv"), "--free", "IS", "--free", "temperature", "--write",
                 str(out)]) == 0
    page = capsys.readouterr().out
    (line,) = [line for line in page.splitlines() if line.startswith("  device.temperature") and "degC" in line]
    assert " K " in line and "-273" not in line and "-27" not in out.read_text() and " K" in out.read_text()
    assert "correlations" in page


def test_what_is_read_is_never_written_over(tmp_path, capsys):
    from hbsim.cli import main
    model = diode(tmp_path)
    (tmp_path / "dc.csv").write_text("V (V),I (A)\n0.5,1e-6\n0.6,5e-5\n0.65,3e-4\n")
    (tmp_path / "dc.toml").write_text('[columns]\nV = "anode_volts"\nI = "anode_amps"\n[uncertainty]\n'
                                      'anode_amps = "1 %"\n')
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    arguments = ["fit", str(model), str(tmp_path / "dc.csv"), "--free", "IS"]
    for wrong in (model, tmp_path / "dc.csv", tmp_path / "dc.toml", tmp_path / "none" / "x.toml"):
        assert main([*arguments, "--write", str(wrong)]) != 0
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before
    inline = tmp_path / "inline.toml"
    inline.write_text('title = "t"\nkind = "diode"\nabout = "x"\n'
                      'parameters = { IS = "1e-14 A", N = 1.0, RS = "1 ohm" }\n'
                      'origin = { text = "x" }\n')
    capsys.readouterr()
    assert main(["fit", str(inline), *arguments[2:], "--write", str(tmp_path / "o.toml")]) != 0
    told = capsys.readouterr()
    assert "write it by hand" in told.err and not told.out
    assert main(["fit", str(inline), *arguments[2:], "--keep", str(tmp_path / "kept")]) == 0  # all else is kept
    assert "Not written, the file with the values found" in (tmp_path / "kept" / "page.txt").read_text()
