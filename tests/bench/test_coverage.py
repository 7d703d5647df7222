"""Standard errors against the scatter of answers over many draws of the noise, and answers that are hard to judge."""

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import simpson
from scipy.stats import binom, chi2, norm
from test_fit import Given, free

import hbsim
from hbsim.bench.circuit_points import CircuitPoints
from hbsim.bench.fit import fit
from hbsim.bench.judged import widening, worth
from hbsim.bench.measurement import Measured, Measurement
from hbsim.bench.unknowns import Unknown, unknowns
from hbsim.quantities import Quantity

DOUBLER = Path(__file__).parents[2] / "examples" / "lumped_doubler.toml"
NOISE = {"output_dbm_1": 0.3, "output_dbm_2": 0.3, "input_return_loss_db": 0.3, "supply_amps_VCC": 1e-4}
SEEDS = 40
WITHIN = 2 * norm.cdf(1.0) - 1.0  # one standard error: 68.27 %
ONE_IN_A_THOUSAND = 1e-3  # how often a right answer would fail each of these tests, were the seeds drawn anew


def drive_sweep(names, points):
    n = np.zeros(points)
    quantities = {name: Measured(n, np.full(points, NOISE[name]), n, n, n.astype(int)) for name in names}
    return Measurement("drive", {"drive.power": np.linspace(-12.0, 4.0, points)}, quantities)


def filled(points, numbers):
    quantities = {}
    for name, item in points.measurement.quantities.items():
        rows = [row for row, (_, other) in enumerate(points.place) if other == name]
        quantities[name] = Measured(numbers[rows], item.standard, item.low, item.high, item.limit)
    return Measurement("drive", points.measurement.settings, quantities)


@pytest.fixture(scope="module")
def doubler():
    return hbsim.load(DOUBLER).description


def test_the_truth_lies_within_one_standard_error_as_often_as_it_should(doubler):
    # benchmarks/fit_coverage.py is the same at length: 200 seeds, six unknowns, a drive and a supply sweep
    truth = {"Q1.BF": 115.0, "bench.drive_error_db": 0.3, "bench.output_error_db": -0.4}
    maker = CircuitPoints(doubler, drive_sweep(NOISE, 3), harmonics=8)
    exact, away = maker.predict(truth), []
    for seed in range(SEEDS):
        read = exact + maker.standard * np.random.default_rng(seed).standard_normal(len(exact))
        found = fit([CircuitPoints(doubler, filled(maker, read), harmonics=8)],
                    unknowns(dict.fromkeys(truth, ""), doubler))
        away.append([(found.values[name] - true) / found.errors[name] for name, true in truth.items()])
    away = np.array(away)
    inside = (np.abs(away) < 1.0).sum(axis=0)
    low, high = binom.interval(1.0 - ONE_IN_A_THOUSAND, SEEDS, WITHIN)  # 17 to 36 of 40
    assert np.all((low <= inside) & (inside <= high))
    low, high = chi2.interval(1.0 - ONE_IN_A_THOUSAND, SEEDS)  # errors 1.4 times too small or too large fail
    assert np.all((low <= (away**2).sum(axis=0)) & ((away**2).sum(axis=0) <= high))
    assert np.abs(away.mean(axis=0)).max() < norm.isf(ONE_IN_A_THOUSAND / 2) / np.sqrt(SEEDS)


def test_current_gain_and_base_resistor_are_not_told_apart_by_the_supply_current(doubler):
    maker = CircuitPoints(doubler, drive_sweep(["supply_amps_VCC"], 5), harmonics=8)
    read = maker.predict({}) + maker.standard * np.random.default_rng(3).standard_normal(5)
    assert "R_b.resistance" in maker.addresses()
    found = fit([CircuitPoints(doubler, filled(maker, read), harmonics=8)],
                unknowns({"Q1.BF": "", "R_b.resistance": ""}, doubler))
    assert found.worth.vague and set(found.worth.vague[0].moves) == {"Q1.BF", "R_b.resistance"}
    assert found.worth.vague[0].error > 0.3 and abs(found.worth.correlations[0, 1]) > 0.95


def test_a_resistance_that_may_be_zero_does_not_run_away_to_its_limit(doubler):
    # from 3 ohm, ten times too much, down to 0.3 ohm: the first steps by the logarithm led to where no slope is left
    truth = {"Q1.RE": 0.3, "bench.output_error_db": 0.2}
    maker = CircuitPoints(doubler, drive_sweep(NOISE, 3), harmonics=8)
    data = filled(maker, maker.predict(truth))
    start = doubler.with_values({"Q1.RE": 3.0})
    found = fit([CircuitPoints(start, data, harmonics=8)], unknowns(dict.fromkeys(truth, ""), start))
    assert found.finished and not found.at_limit
    for name, true in truth.items():
        assert found.values[name] == pytest.approx(true, abs=0.05 * found.errors[name])  # the search's own: 0.07


@pytest.mark.parametrize("loss", ["soft", "bounded"])
def test_errors_of_a_robust_loss_are_those_of_many_draws(loss):
    # a straight line, one number in ten off by some eight times its uncertainty
    x, found = np.linspace(0.0, 5.0, 60), []
    for seed in range(150):
        rng = np.random.default_rng(seed)
        off = np.where(rng.random(60) < 0.1, 8.0, 1.0) * rng.standard_normal(60)
        answer = fit([Given(lambda v: v["a"] + v["b"] * x, 2.0 - 0.7 * x + 0.2 * off, np.full(60, 0.2), ["a", "b"])],
                     [free("a", 2.0), free("b", -0.7)], loss)
        found.append([*answer.values.values(), *answer.errors.values(), answer.worth.widening])
    found = np.array(found)
    spread, said = found[:, :2].std(axis=0, ddof=1), found[:, 2:4].mean(axis=0)
    assert said == pytest.approx(spread, rel=norm.isf(ONE_IN_A_THOUSAND / 2) / np.sqrt(2 * 149))  # of a deviation
    assert found[:, 4].min() >= 1.0 and np.median(found[:, 4]) > 1.1  # outliers do widen them


def test_a_robust_loss_costs_what_the_normal_distribution_says():
    # E psi^2 / (E psi')^2 by Simpson's rule over the normal distribution, for the residuals of its own quantiles
    r = norm.ppf((np.arange(20000) + 0.5) / 20000)
    x = np.linspace(-9.0, 9.0, 4001)
    expected = np.sqrt(simpson(x**2 / (1 + x**2) * norm.pdf(x), x=x)) / simpson((1 + x**2)**-1.5 * norm.pdf(x), x=x)
    assert widening("soft", r, 1) == pytest.approx(expected, rel=1e-3)  # K and n - 1: some parts in 20000
    assert widening("squares", 5.0 * r, 1) == 1.0
    assert widening("bounded", np.full(10, 3.0), 1) == np.inf  # all so far off that they push one another away


def unknown(name, start, unit="1", low=0.0, high=np.inf, limited=False, above=True):
    return Unknown(name, Quantity(unit, 0.0, np.inf, above), start, low, high, True, limited)


def test_scales_far_apart_do_not_matter():
    # IS of 1e-17 A beside a length of 20 mm: errors and correlation are those of the inverse of J^T J in ratios
    rng = np.random.default_rng(5)
    ratios, values = rng.standard_normal((30, 2)) * [3.0, 400.0], np.array([1e-17, 20e-3])
    found = worth([unknown("Q1.IS", 1e-17, "A"), unknown("line.length", 25e-3, "m", above=False)], values,
                  ratios / [1e-17, 25e-3], rng.standard_normal(30))
    covariance = np.linalg.inv(ratios.T @ ratios)
    assert found.errors == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-9)
    assert found.correlations[0, 1] == pytest.approx(covariance[0, 1] / np.sqrt(np.prod(np.diag(covariance))), rel=1e-9)
    assert not found.vague


def test_an_unknown_that_nothing_depends_on_leaves_the_others_alone():
    rng = np.random.default_rng(6)
    jacobian = rng.standard_normal((12, 3)) * [40.0, 0.0, 10.0]
    items = [unknown(name, 1.0) for name in "abc"]
    found = worth(items, [1.0] * 3, jacobian, rng.standard_normal(12))
    alone = worth([items[0], items[2]], [1.0] * 2, jacobian[:, [0, 2]], rng.standard_normal(12))
    assert found.errors[1] == np.inf and found.errors[[0, 2]] == pytest.approx(alone.errors, rel=1e-12)
    (vague,) = found.vague
    assert list(vague.moves) == ["b"] and vague.error == np.inf
    assert np.all(worth(items, [1.0] * 3, 0.0 * jacobian, np.zeros(12)).errors == np.inf)


def test_two_numbers_for_three_unknowns_and_one_for_one():
    items = [unknown(name, 1.0) for name in "abc"]
    found = worth(items, [1.0] * 3, np.array([[10.0, 0.0, 0.0], [0.0, 10.0, 10.0]]), np.zeros(2))
    assert found.errors[0] == pytest.approx(0.1) and np.all(found.errors[1:] == np.inf) and np.isnan(found.scatter)
    one = worth(items[:1], [1.0], np.array([[50.0]]), np.zeros(1))
    assert one.errors[0] == pytest.approx(0.02) and one.freedom == 0 and not one.vague


def test_an_unknown_at_zero_is_measured_by_what_it_started_with():
    found = worth([unknown("R.resistance", 2.0, "ohm", above=False)], [0.0], np.array([[4.0], [3.0]]), np.zeros(2))
    assert found.errors[0] == pytest.approx(0.1)  # 0.2 ohm of 2 ohm
