"""The search itself: against linear regression by numpy and scipy, limits, what cannot be told, and real circuits."""

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit

import hbsim
from hbsim.bench.circuit_points import CircuitPoints
from hbsim.bench.compare import Comparison
from hbsim.bench.dataset import DataSet
from hbsim.bench.fit import fit
from hbsim.bench.judged import close_pairs
from hbsim.bench.measurement import Measured, Measurement
from hbsim.bench.unknowns import Unknown, unknowns
from hbsim.errors import Refusal
from hbsim.quantities import Quantity
from hbsim.show.fit_page import fit_page

EXAMPLES = Path(__file__).parents[2] / "examples"
NAMES = ("output_dbm_1", "output_dbm_2", "input_return_loss_db", "supply_amps_VCC")


class Given(DataSet):
    """y = law(values), for the tests."""

    def __init__(self, law, measured, standard, names, limit=None):
        self.name, self._law, self._names = "given", law, names
        self.measured, self.standard = np.array(measured, float), np.array(standard, float)
        self.limit = np.zeros(len(self.measured), int) if limit is None else np.array(limit)
        self.labels, self.units = [f"number {i}" for i in range(len(measured))], ["1"] * len(measured)
        self._at = {}

    def addresses(self):
        return self._names

    def predict(self, values):
        self.solves, self._at = self.solves + len(self.measured), dict(values)
        return np.array(self._law(values), float)

    def comparison(self, predicted):
        return Comparison("given", {}, {}, {}, np.zeros(0, int), {})

    def slopes(self, addresses):
        columns = []
        for address in addresses:
            step = 1e-6 * max(abs(self._at[address]), 1e-6)
            up, down = ({**self._at, address: self._at[address] + s * step} for s in (1, -1))
            columns.append((np.array(self._law(up)) - np.array(self._law(down))) / (2 * step))
        return np.array(columns).T


def free(name, start, low=-np.inf, high=np.inf, by_ratio=False):
    return Unknown(name, Quantity("1"), start, low, high, by_ratio, bool(np.isfinite(low) or np.isfinite(high)))


@pytest.fixture
def line():
    rng = np.random.default_rng(7)
    x = np.linspace(0.0, 5.0, 40)
    standard = rng.uniform(0.1, 0.4, x.size)
    return x, 2.0 - 0.7 * x + standard * rng.standard_normal(x.size), standard


def test_a_straight_line_is_that_of_linear_regression(line):
    x, y, standard = line
    found = fit([Given(lambda v: v["a"] + v["b"] * x, y, standard, ["a", "b"])], [free("a", 0.0), free("b", 0.0)])
    best, covariance = curve_fit(lambda x, a, b: a + b * x, x, y, sigma=standard, absolute_sigma=True)  # scipy
    assert [found.values[n] for n in "ab"] == pytest.approx(best, rel=1e-6)
    assert [found.errors[n] for n in "ab"] == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-5)
    expected = covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1])
    assert found.worth.correlations[0, 1] == pytest.approx(expected, rel=1e-5)
    assert found.worth.freedom == 38
    assert found.worth.scatter == pytest.approx(np.sqrt((((y - best[0] - best[1] * x) / standard)**2).sum() / 38),
                                                rel=1e-6)


def test_errors_of_what_is_searched_by_ratio(line):
    x, _, standard = line
    y = 3e-16 * np.exp(x)
    given = Given(lambda v: v["i"] * np.exp(v["g"] * x), y, 0.02 * y, ["i", "g"])
    found = fit([given], [free("i", 1e-16, 1e-19, 1e-13, True), free("g", 0.9)])
    _, covariance = curve_fit(lambda x, i, g: 1e-16 * i * np.exp(g * x), x, y, [3.0, 1.0], sigma=0.02 * y,
                              absolute_sigma=True)
    assert found.values["i"] == pytest.approx(3e-16, rel=1e-6) and found.values["g"] == pytest.approx(1.0, rel=1e-6)
    assert found.errors["i"] == pytest.approx(1e-16 * np.sqrt(covariance[0, 0]), rel=1e-3)


def test_what_the_data_cannot_tell_apart_is_said(line):
    x, y, standard = line
    given = Given(lambda v: (v["a"] + v["b"]) * x + v["c"], y, standard, ["a", "b", "c"])
    found = fit([given], [free("a", 0.1), free("b", 0.1), free("c", 0.0)])
    assert found.errors["a"] == np.inf and found.errors["b"] == np.inf and found.errors["c"] < 0.2
    (vague,) = found.worth.vague
    assert set(vague.moves) == {"a", "b"} and vague.moves["a"] == pytest.approx(-vague.moves["b"], rel=1e-6)
    assert found.values["a"] + found.values["b"] == pytest.approx(-0.7, abs=0.1)


def test_two_that_are_found_together_are_named(line):
    x, y, standard = line
    given = Given(lambda v: v["a"] + v["b"] * (100.0 + x), y, standard, ["a", "b"])
    found = fit([given], [free("a", 0.0), free("b", 0.0)])
    ((first, second, correlation),) = close_pairs(found.unknowns, found.worth.correlations)
    assert {first, second} == {"a", "b"} and correlation < -0.999


def test_limits_pull_only_where_they_are_broken(line):
    x, y, standard = line
    y = np.concatenate([y, [10.0, 10.0]])
    below = Given(lambda v: np.concatenate([v["a"] + v["b"] * x, [v["a"], 30.0 + v["a"]]]), y,
                  np.concatenate([standard, [0.3, 0.3]]), ["a", "b"], [0] * 40 + [-1, -1])
    found = fit([below], [free("a", 0.0), free("b", 0.0)])
    plain = fit([Given(lambda v: v["a"] + v["b"] * x, y[:40], standard, ["a", "b"])], [free("a", 0.0), free("b", 0.0)])
    assert below.deviation(found.after[0])[-2] == 0.0  # at most 10: holds, 2 is below
    assert below.deviation(found.after[0])[-1] > 0.0  # at most 10 is broken by 30 + a
    assert found.values["a"] < plain.values["a"]


def test_one_number_far_off_pulls_less_with_a_soft_loss(line):
    x, y, standard = line
    off = y.copy()
    off[20] += 30.0

    def middle(numbers, loss):
        values = fit([Given(lambda v: v["a"] + v["b"] * x, numbers, standard, ["a", "b"])],
                     [free("a", 0.0), free("b", 0.0)], loss).values
        return values["a"] + values["b"] * x[20]

    pulled = {loss: middle(off, loss) - middle(y, loss) for loss in ("squares", "soft", "bounded")}
    assert max(abs(pulled["soft"]), abs(pulled["bounded"])) < 0.05 * pulled["squares"]


def test_an_answer_at_its_limit_is_said(line):
    x, y, standard = line
    found = fit([Given(lambda v: v["a"] + v["b"] * x, y, standard, ["a", "b"])],
                [free("a", 0.0), free("b", 0.0, -0.5, 0.5)])
    assert found.at_limit == ("b",) and found.values["b"] == pytest.approx(-0.5, abs=1e-5)
    assert found.finished and found.away < 0.01  # of the best there is inside the limits


@pytest.mark.parametrize("loss", ["squares", "soft", "bounded"])
def test_how_far_the_search_is_away_is_told_of_its_own_loss(line, loss):
    x, y, standard = line
    off = y + np.where(np.arange(x.size) % 8 == 0, 3.0, 0.0)
    found = fit([Given(lambda v: v["a"] + v["b"] * x, off, standard, ["a", "b"])], [free("a", 2.0), free("b", -0.7)],
                loss)
    assert found.finished and found.away < 0.1  # where the search may end


def test_a_search_that_stands_still_elsewhere_is_not_called_finished(line):
    x, y, standard = line

    class Wrong(Given):
        def slopes(self, addresses):
            return -super().slopes(addresses)

    found = fit([Wrong(lambda v: v["a"] + v["b"] * x, y, standard, ["a", "b"])], [free("a", 0.0), free("b", 0.0)])
    assert not found.finished and "stands still" in found.reason


def test_what_the_data_do_not_know_stays_where_it_is(line):
    x, y, standard = line

    class Noisy(Given):  # slopes with the rounding of differences in them
        def slopes(self, addresses):
            return super().slopes(addresses) + 1e-14 * np.cos(np.arange(x.size))[:, None]

    found = fit([Noisy(lambda v: v["a"] + v["b"] * x + 0.0 * v["c"], y, standard, ["a", "b", "c"])],
                [free("a", 0.0), free("b", 0.0), free("c", 1.0, 1e-3, 1e3, True)])
    assert found.values["c"] == 1.0 and found.errors["c"] == np.inf
    assert list(found.worth.correlations[2]) == [0.0, 0.0, 1.0]
    assert [way.moves for way in found.worth.vague] == [{"c": 1.0}]


def test_limits_that_hold_are_no_degrees_of_freedom(line):
    x, y, standard = line
    many = Given(lambda v: np.concatenate([v["a"] + v["b"] * x, np.full(100, v["a"])]),
                 np.concatenate([y, np.full(100, 9.0)]), np.concatenate([standard, np.full(100, 0.1)]), ["a", "b"],
                 [0] * x.size + [-1] * 100)
    plain = Given(lambda v: v["a"] + v["b"] * x, y, standard, ["a", "b"])
    unknown = [free("a", 0.0), free("b", 0.0)]
    one, other = fit([many], unknown).worth, fit([plain], unknown).worth
    assert one.freedom == other.freedom == 38 and one.scatter == pytest.approx(other.scatter, rel=1e-6)


def test_refusals(line):
    x, y, standard = line
    given = Given(lambda v: v["a"] * x, y, standard, ["a"])
    with pytest.raises(Refusal, match="none of the data can tell it"):
        fit([given], [free("other", 1.0)])
    with pytest.raises(Refusal, match="cannot tell 2 unknowns"):
        fit([Given(lambda v: [v["a"] + v["b"]], [1.0], [0.1], ["a", "b"])], [free("a", 0.0), free("b", 0.0)])
    with pytest.raises(Refusal, match="needs a standard uncertainty above zero"):
        fit([Given(lambda v: v["a"] * x, y, 0 * x, ["a"])], [free("a", 1.0)])
    with pytest.raises(Refusal, match="there is no loss"):
        fit([given], [free("a", 1.0)], "cubic")


def drive_sweep(circuit, names=NAMES, points=9):
    n = np.zeros(points)
    quantities = {name: Measured(n, np.full(points, 1e-4 if "amps" in name else 0.3), n, n, n.astype(int))
                  for name in names}
    return Measurement("drive", {"drive.power": np.linspace(-15.0, 5.0, points)}, quantities)


def filled(measurement, points, numbers):
    """The measurement with these numbers in it."""
    quantities = {}
    for name, item in measurement.quantities.items():
        rows = [row for row, (_, other) in enumerate(points.place) if other == name]
        quantities[name] = Measured(numbers[rows], item.standard, item.low, item.high, item.limit)
    return Measurement(measurement.name, measurement.settings, quantities)


@pytest.fixture(scope="module")
def doubler():
    return hbsim.load(EXAMPLES / "lumped_doubler.toml").description


def test_slopes_of_a_drive_sweep_are_those_of_full_solves(doubler):
    points = CircuitPoints(doubler, drive_sweep(doubler, points=3), harmonics=16)
    at = {"Q1.BF": 110.0, "Q1.RE": 0.5, "L_c.inductance": doubler.look_up("L_c.inductance")[1],
          "bench.drive_error_db": 0.4, "bench.output_error_db": -0.7}
    points.predict(at)
    found = points.slopes(list(at))
    for column, (address, value) in enumerate(at.items()):
        step = 1e-4 * value
        up, down = (points.predict({**at, address: value + sign * step}) for sign in (1, -1))
        wanted = (up - down) / (2 * step)
        assert found[:, column] == pytest.approx(wanted, rel=1e-5, abs=1e-5 * np.abs(wanted).max())


def test_the_truth_is_found_from_data_without_noise(doubler):
    truth = {"Q1.BF": 130.0, "Q1.RE": 0.9, "bench.drive_error_db": 0.7, "bench.output_error_db": -1.1}
    empty = drive_sweep(doubler)
    maker = CircuitPoints(doubler, empty)
    data = filled(empty, maker, maker.predict(truth))
    found = fit([CircuitPoints(doubler, data)], unknowns(dict.fromkeys(truth, ""), doubler))
    assert found.finished and not found.left_out
    for address, value in truth.items():
        assert found.values[address] == pytest.approx(value, abs=0.05 * found.errors[address])
    assert found.solves == found.steps * 9


def test_a_conversion_loss_is_told_with_the_drive_that_was_written_down(doubler):
    """By hand: the bench writes loss = written drive - written level, both off by what is to be found."""
    drive, output = -0.8, 0.4
    empty = drive_sweep(doubler, ("conversion_loss_db", "supply_amps_VCC", "input_return_loss_db"))
    written = []
    for power in empty.settings["drive.power"]:
        state = hbsim.Circuit(doubler).solve({"drive.power": float(power) + drive})
        level = state.output_dbm(doubler.wanted_harmonic) - output
        written.append((power - level, state.supplies["VCC"].amps, state.input_return_loss_db))
    numbers = np.array(written).ravel()
    data = filled(empty, CircuitPoints(doubler, empty), numbers)
    found = fit([CircuitPoints(doubler, data)], unknowns(dict.fromkeys(("bench.drive_error_db",
                                                                        "bench.output_error_db"), ""), doubler))
    for address, value in (("bench.drive_error_db", drive), ("bench.output_error_db", output)):
        assert found.values[address] == pytest.approx(value, abs=0.05 * found.errors[address])
    points = CircuitPoints(doubler, drive_sweep(doubler, ("efficiency",)))
    with pytest.raises(Refusal, match="written down"):
        points.predict({"bench.drive_error_db": 0.1})


@pytest.mark.parametrize("address", ["supply.VCC", "supply.VCC.voltage"])
def test_a_supply_that_the_data_set_cannot_be_free_by_either_name(doubler, address):
    data = drive_sweep(doubler)
    data = Measurement("both", {**data.settings, "supply.VCC": np.full(9, 3.0)}, data.quantities)
    with pytest.raises(Refusal, match="set by the data at every point"):
        fit([CircuitPoints(doubler, data)], unknowns({address: ""}, doubler))


def test_data_set_at_every_point_cannot_be_free(doubler):
    with pytest.raises(Refusal, match="set by the data at every point"):
        fit([CircuitPoints(doubler, drive_sweep(doubler))], unknowns({"drive.power": ""}, doubler))


def test_a_number_without_a_prediction_at_the_answer_is_left_out(line):
    x, y, standard = line

    class Losing(Given):
        exact = False

        def choose_anew(self, coarse):
            self.exact = not coarse

        def predict(self, values):
            found = super().predict(values)
            return np.where((np.arange(x.size) == 3) & self.exact, np.nan, found)

    found = fit([Losing(lambda v: v["a"] + v["b"] * x, y, standard, ["a", "b"])], [free("a", 0.0), free("b", 0.0)])
    keep = np.arange(x.size) != 3
    best, _ = curve_fit(lambda x, a, b: a + b * x, x[keep], y[keep], sigma=standard[keep], absolute_sigma=True)
    assert found.values["a"] == pytest.approx(best[0], abs=0.1 * found.errors["a"])  # it stops that near
    assert found.worth.freedom == 37 and list(found.left_out.values()) == [
        "number 3 has no steady state with the values found"]


def test_an_unfinished_search_tells_no_errors(line):
    x, y, standard = line

    class Stopped(Given):
        def predict(self, values):
            if self.solves > 3 * x.size:
                self.solves = 0
                raise KeyboardInterrupt
            return super().predict(values)

    found = fit([Stopped(lambda v: np.exp(v["a"]) + v["b"] * x, y, standard, ["a", "b"])],
                [free("a", 2.5), free("b", 0.0)])
    assert not found.finished and "interrupted" in found.reason
    assert set(found.errors.values()) == {np.inf}
    page = fit_page("t", found)
    assert "not finished" in page and "correlations" not in page


def test_the_error_beside_what_stands_at_its_limit_is_that_with_it_held_there(line):
    x, y, standard = line
    found = fit([Given(lambda v: v["a"] + v["b"] * x, y, standard, ["a", "b"])],
                [free("a", 0.0), free("b", 0.0, -0.5, 0.5)])
    _, covariance = curve_fit(lambda x, a: a - 0.5 * x, x, y, sigma=standard, absolute_sigma=True)
    assert found.errors["a"] == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-4)  # scipy
    assert found.errors["b"] == np.inf and not found.worth.vague


def test_a_prediction_that_depends_on_the_way_to_it_is_not_called_the_answer(line):
    """As where a circuit has two steady states: the search stays on the one that it met."""
    x, y, standard = line

    class Branches(Given):
        met = 0.0

        def predict(self, values):
            found = super().predict(values)
            return found + np.where(np.arange(x.size) == 7, self.met, 0.0)

        def forget(self):
            self.met = 5.0

    found = fit([Branches(lambda v: v["a"] + v["b"] * x, y, standard, ["a", "b"])], [free("a", 2.0), free("b", -0.7)])
    assert not found.finished and found.reason.startswith("number 7: more than one steady state")
