"""Measured S-parameters: the numbers of a comparison by hand, the slopes by differences, a filter found again."""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.compare import as_json
from hbsim.bench.fit import fit
from hbsim.bench.network_points import NetworkPoints
from hbsim.bench.unknowns import unknowns
from hbsim.errors import Refusal
from hbsim.studies.circuit import Circuit
from hbsim.studies.network_response import network_response

EXAMPLES = Path(__file__).parents[2] / "examples"
FILTER = ["filter_1", "filter_2", "filter_3"]
ENDS = ["f_0", "f_3"]
NOISE = 0.005  # about what an analyser leaves after a good calibration; common practice, no source


@pytest.fixture(scope="module")
def beacon():
    return hbsim.load(EXAMPLES / "beacon_2304.toml").description


def noisy(description, frequency, seed, ports=ENDS, parts=FILTER, **options):
    """S-parameters with noise of known size in each real and imaginary part."""
    s = network_response(description, frequency, ports, parts=parts, **options).s
    rng = np.random.default_rng(seed)
    return s + NOISE * (rng.normal(size=s.shape) + 1j * rng.normal(size=s.shape))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_filter_made_3_percent_low_is_found_again(beacon, seed):
    frequency = np.linspace(1.6e9, 3.2e9, 81)
    truth = {f"{part}.{what}": beacon.look_up(f"{part}.{what}")[1] for part in FILTER for what in ("gap", "length")}
    truth["board.permittivity"] = beacon.look_up("board.permittivity")[1]
    start = beacon.with_values({address: 0.97 * value for address, value in truth.items()})
    points = NetworkPoints(start, "filter", frequency, noisy(beacon, frequency, seed), ENDS, FILTER, 50.0, NOISE)
    found = fit([points], unknowns(dict.fromkeys(truth, ""), start))
    assert found.finished and not found.left_out and not found.at_limit
    for address, value in truth.items():
        assert abs(found.values[address] - value) < 3.5 * found.errors[address], address
        assert found.errors[address] < 0.02 * value, address  # the data say it to better than what was wrong
    after = points.comparison(found.after[0]).quantities
    assert not any(item.outside_band for item in after.values())
    assert all(item.outside_band for item in points.comparison(found.before[0]).quantities.values())
    # mean square of 648 numbers with 7 unknowns: 1, with a standard deviation of sqrt(2 / 641) = 0.056
    assert found.worth.scatter**2 == pytest.approx(1.0, abs=3.5 * 0.056)


def test_slopes_are_those_of_what_is_predicted(beacon):
    frequency = np.linspace(2.0e9, 2.6e9, 7)
    points = NetworkPoints(beacon, "filter", frequency, noisy(beacon, frequency, 1), ENDS, FILTER)
    at = {"filter_2.gap": 1.1e-3, "board.permittivity": 4.2, "filter_1.length": 17.5e-3}
    points.predict(at)
    found = points.slopes(list(at))
    for column, (address, value) in enumerate(at.items()):
        up, down, further, back = (points.predict({**at, address: value * (1 + place * 1e-4)})
                                   for place in (1, -1, 2, -2))
        wanted = (8 * (up - down) - (further - back)) / (12e-4 * value)
        np.testing.assert_allclose(found[:, column], wanted, rtol=0.0, atol=1e-6 * np.abs(wanted).max())


def divider():
    return Circuit.build(
        drive={"port": "one", "frequency": "1 GHz", "power": "0 dBm"}, wanted={"port": "two", "harmonic": 2},
        port={"one": {"node": "p"}, "two": {"node": "q"}, "three": {"node": "r"}},
        supply={"V": {"node": "v", "voltage": "1 V", "resistance": "7 ohm"}},
        part={name: {"kind": "resistor", "nodes": nodes, "resistance": "50 ohm"}
              for name, nodes in (("A", ["p", "q"]), ("B", ["q", "v"]), ("C", ["q", "r"]))}).description


def test_a_comparison_has_levels_with_their_band_by_hand():
    # A alone, 50 ohm between 50 ohm: S11 = 1/3, S21 = 2/3 (elementary)
    s = np.full((3, 2, 2), 2 / 3, complex)
    s[:, 0, 0] = s[:, 1, 1] = 1 / 3
    s[1, 1, 0] = 0.7j
    s[2, 1, 0] = 0.015
    s[0, 0, 1] = np.nan
    points = NetworkPoints(divider(), "a", [1e9, 2e9, 3e9], s, ["one", "two"], ["A"], standard=0.01, phase=True)
    assert len(points.measured) == 22 and points.labels[:2] == ["1 GHz, s11, real part", "1 GHz, s11, imaginary part"]
    assert set(points.units) == {"1"} and points.standard.tolist() == [0.01] * 22
    one = points.comparison(points.predict({}))
    assert one.settings["frequency"].tolist() == [1e9, 2e9, 3e9] and one.units == {"frequency": "Hz"}
    assert list(one.quantities) == ["s11_db", "s21_db", "s12_db", "s22_db",
                                    "s11_deg", "s21_deg", "s12_deg", "s22_deg"]
    level, phase = one.quantities["s21_db"], one.quantities["s21_deg"]
    assert level.predicted == pytest.approx(20 * np.log10(2 / 3)) and phase.predicted == pytest.approx(0.0)
    assert level.difference[1] == pytest.approx(20 * np.log10(0.7 * 1.5))
    assert level.measured.standard[1] == pytest.approx(20 / np.log(10) * 0.01 / 0.7)
    assert [level.measured.low[1], level.measured.high[1]] == pytest.approx(
        [20 * np.log10(0.665), 20 * np.log10(0.735)])
    assert phase.difference[1] == pytest.approx(90.0)
    assert phase.measured.standard[1] == pytest.approx(np.degrees(0.01 / 0.7))
    # 0.015 is within 3.5 times its standard uncertainty: at most 0.05, which 2/3 breaks
    assert level.measured.limit.tolist() == [0, 0, -1]
    assert level.difference[2] == pytest.approx(20 * np.log10(0.05 * 1.5)) and np.isnan(phase.difference[2])
    assert np.isnan(one.quantities["s12_db"].difference[0]) and one.quantities["s12_db"].count == 2
    assert any("at most the level shown: 1 of" in note for note in one.notes)
    assert as_json([one])[0]["quantities"]["s21_db"]["limit"] == [0, 0, -1]


def test_what_can_be_asked_about_and_references_that_stay():
    s = np.zeros((3, 2, 2))
    whole = NetworkPoints(divider(), "a", [1e9, 2e9, 3e9], s, ["one", "two"])
    assert set(whole.addresses()) == {"A.resistance", "B.resistance", "C.resistance", "port.three.impedance",
                                      "supply.V.resistance"}
    some = NetworkPoints(divider(), "a", [1e9, 2e9, 3e9], s, ["p", "q"], ["part.A"], [50.0, 75.0])
    assert some.addresses() == ["A.resistance"]
    # S11 = (R + 75 - 50) / (R + 75 + 50)
    assert some.predict({"A.resistance": 25.0})[0] == pytest.approx(50 / 150)
    # what stands at a port that was measured is the reference, also where the circuit's own resistance is another
    np.testing.assert_array_equal(whole.predict({"port.one.impedance": 10.0}), whole.predict({}))


def test_limits_of_the_frequency_and_numbers_of_a_prediction_that_there_is_not(beacon):
    frequency = np.linspace(1e9, 4e9, 31)
    data = noisy(beacon, frequency, 1)
    points = NetworkPoints(beacon, "filter", frequency, data, ENDS, FILTER, low=2e9, high=3e9,
                           standard=np.full((2, 2), 0.02))
    assert len(points.frequency) == 11 and len(points.measured) == 88 and set(points.standard) == {0.02}
    assert not points.reasons and np.isfinite(points.predict({})).all()
    assert np.isnan(points.predict({"filter_1.gap": -1.0})).all()
    assert "filter_1.gap" in points.comparison(points.predict({"filter_1.gap": -1.0})).unsolved[0]


@pytest.mark.parametrize("change, words", [
    ({"ports": ["f_0"]}, "2 ports at 31 frequencies, and 1 at 31"), ({"low": 5e9}, "0 of its frequencies, 1 GHz to 4"),
    ({"ports": ["f_0", "f_9"]}, "no node 'f_9'"), ({"parts": ["filter_9"]}, "no part 'filter_9'"),
    ({"reference": -3.0}, "above 0 ohm"), ({"frequency": np.zeros(31)}, "must rise"),
    ({"s": np.zeros((30, 2, 2))}, "2 ports at 30 frequencies")])
def test_refusals(beacon, change, words):
    given = {"frequency": np.linspace(1e9, 4e9, 31), "s": np.zeros((31, 2, 2)), "ports": ENDS, "parts": FILTER}
    with pytest.raises(Refusal, match=words):
        NetworkPoints(beacon, "filter", **(given | change))
