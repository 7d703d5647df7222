"""Curves of a device alone that heats itself, and of one that was measured in pulses; currents of the other sign."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

import hbsim
from hbsim.bench.device_alone import device_alone
from hbsim.bench.device_points import DevicePoints
from hbsim.bench.fit import fit
from hbsim.bench.load import data_sets
from hbsim.bench.measurement import Measured, Measurement
from hbsim.bench.unknowns import unknowns
from hbsim.errors import Refusal
from hbsim.studies.bias import Bias

MODEL = """title = "invented"
kind = "bjt"
about = "invented"
[parameters]
polarity = "npn"
IS = "0.2 fA"
BF = 100
RB = "10 ohm"
RE = "0.8 ohm"
VAF = "40 V"
CJC = "0.2 pF"
CJE = "0.5 pF"
TF = "8 ps"
thermal_resistance = "400 K/W"
[origin]
text = "invented"
"""
VOLTS = {"base_volts": np.linspace(0.70, 0.81, 10), "collector_volts": np.tile([1.0, 3.0], 5)}


@pytest.fixture
def model(tmp_path):
    (tmp_path / "q.toml").write_text(MODEL)
    return device_alone(tmp_path / "q.toml")


def measured(values, standard):
    values = np.asarray(values, float)
    return Measured(values, np.broadcast_to(standard, values.shape), values, values, np.zeros(values.shape, int))


def heated_by_hand(device, row):
    """Junction temperature and currents: scipy's brentq on T = T_ambient + R_th (V_C I_C + V_B I_B)."""
    def amps(kelvins):
        return Bias(device.at(kelvins), {"base": 0.0, "collector": 0.0}).sweep(np.array([row]))[1][0]

    kelvins = brentq(lambda t: device.temperature + device.thermal_resistance * float(amps(t) @ row) - t,
                     device.temperature, device.temperature + 60.0, xtol=1e-10)
    return kelvins, amps(kelvins)


def by_hand(device, settings=VOLTS):
    return [heated_by_hand(device, row) for row in zip(settings["base_volts"], settings["collector_volts"])]


def data(model, settings=VOLTS, relative=0.01, rng=None):
    """Currents of the heated device, found by brentq."""
    flows = np.array([amps for _, amps in by_hand(model.devices["device"].part, settings)])
    if rng is not None:
        flows = flows * (1 + relative * rng.standard_normal(flows.shape))
    return Measurement("dc", settings, {name: measured(flows[:, n], relative * flows[:, n])
                                        for n, name in enumerate(("base_amps", "collector_amps"))})


def test_currents_are_those_of_the_heated_device(model):
    found = by_hand(model.devices["device"].part)
    assert max(kelvins for kelvins, _ in found) > 312.0  # enough to see
    points = DevicePoints(model, "device", data(model))
    one = points.comparison(points.predict({}))
    # the balance holds currents to 1e-9 at least, and they answer to heat by less than 10 %/K
    assert one.quantities["collector_amps"].predicted == pytest.approx([amps[1] for _, amps in found], rel=1e-7)
    assert one.quantities["base_amps"].predicted == pytest.approx([amps[0] for _, amps in found], rel=1e-7)
    (note,) = one.notes
    hottest = max(kelvins for kelvins, _ in found) - 273.15
    assert "heats itself (400 K/W, from 27 degC)" in note and f"{hottest:.4g} degC" in note and "pulsed = true" in note


def test_a_fit_gives_the_thermal_resistance_back(model):
    """Data of R_th = 400 K/W made by brentq with 1 % of noise; the search begins at 150 K/W and another IS."""
    item = data(model, rng=np.random.default_rng(3))
    start = model.with_values({"device.thermal_resistance": 150.0, "device.IS": 0.25e-15})
    found = fit([DevicePoints(start, "device", item)],
                unknowns({"device.thermal_resistance": "", "device.IS": "", "device.BF": ""}, start))
    assert found.finished and 0.6 < found.worth.scatter < 1.4
    for address, truth in (("device.thermal_resistance", 400.0), ("device.IS", 0.2e-15), ("device.BF", 100.0)):
        assert abs(found.values[address] - truth) < 3.5 * found.errors[address] < 0.35 * truth


@pytest.mark.parametrize("name, truth, limits, others", [
    ("thermal_resistance", 400.0, "", ["IS"]), ("thermal_resistance", 400.0, "", []), ("RC", 5.0, "", []),
    ("RC", 5.0, "0ohm:50ohm", ["IS"]), ("ISE", 3e-15, "0A:1pA", []), ("ISE", 3e-15, "0A:1pA", ["BF"])])
def test_what_is_zero_at_the_start_is_found(model, name, truth, limits, others):
    """Also where it is the only unknown, so that a search begins at the origin."""
    address = f"device.{name}"
    volts = {"base_volts": np.linspace(0.55, 0.81, 12), "collector_volts": np.tile([0.3, 3.0], 6)}
    item = data(model.with_values({address: truth}), volts)
    start = model.with_values({address: 0.0})
    found = fit([DevicePoints(start, "device", item)],
                unknowns({address: limits, **{f"device.{other}": "" for other in others}}, start))
    assert found.finished and not found.at_limit
    assert found.values[address] == pytest.approx(truth, rel=1e-3)  # far inside its standard error


def test_slopes_hold_the_heat(model):
    """Against second-order differences of predictions that each begin cold."""
    points = DevicePoints(model, "device", data(model))
    at = {"device.IS": 0.2e-15, "device.thermal_resistance": 400.0, "device.RE": 0.8, "device.temperature": 300.15}
    points.predict(at)
    found = points.slopes(list(at))
    for column, (address, value) in enumerate(at.items()):
        up, down = (points.predict({**at, address: value * (1 + sign * 1e-5)}) for sign in (1, -1))
        wanted = (up - down) / (2e-5 * value)
        assert found[:, column] == pytest.approx(wanted, rel=1e-4, abs=1e-5 * np.abs(wanted).max())


def test_from_no_thermal_resistance_there_is_a_slope(model):
    """Against a one-sided difference of second order over 0.1 K/W."""
    cold = model.with_values({"device.thermal_resistance": 0.0})
    points = DevicePoints(cold, "device", data(model))
    before = points.predict({})
    (slope,) = points.slopes(["device.thermal_resistance"]).T
    near, far = (points.predict({"device.thermal_resistance": step}) for step in (0.1, 0.2))
    wanted = (-3 * before + 4 * near - far) / 0.2
    # the currents are known to some 1e-11, and 0.01 K/W moves the least of them by 7e-8
    assert slope == pytest.approx(wanted, rel=1e-3)


def test_pulsed_curves_stay_cold_and_tell_no_thermal_resistance(model):
    item = data(model)
    points = DevicePoints(model, "device", item, pulsed=True)
    one = points.comparison(points.predict({}))
    _, cold = Bias(model.devices["device"].part, {"base": 0.0, "collector": 0.0}).sweep(
        np.stack(list(VOLTS.values()), axis=1))
    assert one.quantities["collector_amps"].predicted == pytest.approx(cold[:, 1], rel=1e-9)
    assert "pulses" in one.notes[0] and "400 K/W" in one.notes[0]
    with pytest.raises(Refusal, match="none of the data can tell it"):
        fit([points], unknowns({"device.thermal_resistance": "", "device.IS": ""}, model))


@pytest.mark.parametrize("pulsed, words", [(False, "states no thermal_resistance"), (True, "measured in pulses")])
def test_what_is_not_heated_says_so(model, pulsed, words):
    cold = model.with_values({"device.thermal_resistance": 0.0})
    points = DevicePoints(cold, "device", data(model), pulsed)
    (note,) = points.comparison(points.predict({})).notes
    assert words in note and "stays at 27 degC" in note and "0 K/W" not in note


def test_a_device_that_runs_away_has_no_prediction(model):
    settings = {"base_volts": np.array([0.75, 0.95]), "collector_volts": np.array([3.0, 8.0])}
    item = Measurement("dc", settings, {"collector_amps": measured([2e-3, 50e-3], 1e-4)})
    points = DevicePoints(model, "device", item)
    predicted = points.predict({})
    one = points.comparison(predicted)
    assert np.isfinite(predicted[0]) and np.isnan(predicted[1])
    assert np.isnan(one.quantities["collector_amps"].predicted[1])
    assert "runs away" in one.unsolved[1]
    found = fit([points], unknowns({"device.IS": ""}, model))
    assert ["runs away" in told for told in found.left_out.values()] == [True]


def test_s_parameters_are_taken_at_the_heated_bias(model):
    """At 1 Hz S is that of the DC law's slopes at the heated temperature, held: the signal swings, heat does not."""
    settings = {"base_volts": np.full(1, 0.8), "collector_volts": np.full(1, 3.0), "frequency": np.ones(1)}
    item = Measurement("s", settings, {name: measured([0.0], 0.01) for name in ("s11_re", "s21_re", "s22_re")})
    points = DevicePoints(model, "device", item)
    found = points.predict({})
    device, at, step = model.devices["device"].part, np.array([0.8, 3.0]), 1e-6
    kelvins, _ = heated_by_hand(device, at)
    assert kelvins > 308.0
    _, flows = Bias(device.at(kelvins), {"base": 0.0, "collector": 0.0}).sweep(
        np.array([at + [step, 0], at - [step, 0], at + [0, step], at - [0, step]]))
    y = np.stack([flows[0] - flows[1], flows[2] - flows[3]], axis=1) / (2 * step)
    s = (np.eye(2) - 50 * y) @ np.linalg.inv(np.eye(2) + 50 * y)
    names = dict(zip((name for _, name in points.place), found))
    assert [names["s11_re"], names["s21_re"], names["s22_re"]] == pytest.approx([s[0, 0], s[1, 0], s[1, 1]], abs=1e-5)


def test_capacitances_are_measured_without_heat(model):
    item = Measurement("c", {"reverse_volts": np.array([0.0, 2.0])},
                       {"base_collector_farads": measured([0.2e-12, 0.15e-12], 1e-15)})
    points = DevicePoints(model, "device", item)
    assert "device.thermal_resistance" not in points.addresses() and "device.CJC" in points.addresses()
    assert points.comparison(points.predict({})).notes == ()


def written(tmp_path, more=""):
    (tmp_path / "d.csv").write_text("VBE (V),VCE (V),IC (mA)\n0.7,3,0.1\n0.78,3,2\n")
    (tmp_path / "d.toml").write_text(
        f'{more}\n[columns]\nVBE = "base_volts"\nVCE = "collector_volts"\nIC = "collector_amps"\n'
        '[uncertainty]\ncollector_amps = "1 %"\n')
    return [tmp_path / "d.csv"]


def test_the_file_beside_the_data_says_pulsed(tmp_path, model):
    assert not data_sets(written(tmp_path), model)[0].pulsed
    assert data_sets(written(tmp_path, "pulsed = true"), model)[0].pulsed
    with pytest.raises(Refusal, match="pulsed: is true or false"):
        data_sets(written(tmp_path, 'pulsed = "yes"'), model)


def test_pulses_on_a_circuit_are_refused(tmp_path):
    circuit = hbsim.load(Path(__file__).parents[2] / "examples" / "lumped_doubler.toml").description
    (tmp_path / "x.csv").write_text("P (dBm),Pout (dBm)\n0,-10\n1,-9\n")
    (tmp_path / "x.toml").write_text('pulsed = true\n[columns]\nP = "drive.power"\nPout = "output_dbm_1"\n')
    with pytest.raises(Refusal, match="only a device alone is measured pulsed"):
        data_sets([tmp_path / "x.csv"], circuit)


def test_a_current_of_the_other_sign_is_told_as_such(model):
    """Left out for its sign, not for want of a bias; with an uncertainty in amperes it counts."""
    settings = {"base_volts": np.array([0.05, 0.6, 0.7]), "collector_volts": np.full(3, 1.0)}
    item = Measurement("dc", settings, {"collector_amps": measured([-3e-12, 2.5e-6, 1.1e-4], [3e-14, 1e-8, 1e-6])})
    points = DevicePoints(model, "device", item)
    found = fit([points], unknowns({"device.IS": ""}, model))
    (told,) = found.left_out.values()
    assert "predicted with the other sign" in told and "5 pA" in told
    shown = points.comparison(points.predict({})).quantities["collector_amps"].predicted
    thermal = 1.380649e-23 * 300.15 / 1.602176634e-19  # CODATA 2018
    # a number all the same: IS (exp(V_BE / Vt) (1 - V_BC / VAF) + 1 / BR), the base-collector junction off (the source
    # of BJT: H. K. Gummel, H. C. Poon, Bell Syst. Tech. J. 49 (1970) 827-852)
    assert shown[0] == pytest.approx(0.2e-15 * (math.exp(0.05 / thermal) * (1 + 0.95 / 40) + 1), rel=1e-9)


@pytest.mark.parametrize("place", ["columns", "settings"])
def test_one_pin_set_twice_is_refused(tmp_path, model, place):
    """The base's voltage stands still and its current is a column: then it was measured; both set is refused."""
    (tmp_path / "o.csv").write_text("VCE (V),IC (mA),IB (uA)\n1,2,20\n2,2.1,20\n3,2.2,20\n")
    base = "" if place == "settings" else 'IB = "base_amps"\n'
    still = 'base_amps = "20 uA"\n' if place == "settings" else ""
    (tmp_path / "o.toml").write_text(
        f'[columns]\nVCE = "collector_volts"\nIC = "collector_amps"\n{base}[settings]\nbase_volts = "0.78 V"\n{still}'
        '[uncertainty]\ncollector_amps = "1 %"\nbase_amps = "1 %"\n')
    if place == "settings":
        with pytest.raises(Refusal, match="voltage and current of the base are both set"):
            data_sets([tmp_path / "o.csv"], model)
    else:
        (found,) = data_sets([tmp_path / "o.csv"], model)
        assert set(found.measurement.quantities) == {"collector_amps", "base_amps"}
        assert np.isfinite(found.predict({})).all()
