"""Noise that is not level over a trace, averaged or kept at its peaks: Monte Carlo with known floors and lines."""

import numpy as np
import pytest
from scipy import special, stats

from hbsim.bench.noise import noise_of
from hbsim.bench.shapes import Shape
from hbsim.bench.spectrum import find_lines, trace_of

POINTS, F0 = 801, 1e9
FLOORS = {"flat": lambda u: 0 * u, "slope": lambda u: 20 * u, "step": lambda u: 17.0 * (u > 0.63),
          "bow": lambda u: 30 * (u - 0.4) ** 2}
DETECTORS = {"sample": ("sample", lambda random, n: random.exponential(1, n)),
             "averaged": ("sample", lambda random, n: random.gamma(20, 1 / 20, n)),
             "log": ("", lambda random, n: np.exp(np.log(random.exponential(1, (n, 20))).mean(1))),
             "peak": ("peak", lambda random, n: random.exponential(1, (n, 10)).max(1))}


def level(floor, detector, seed, points=POINTS):
    random = np.random.default_rng(seed)
    return 10 * np.log10(DETECTORS[detector][1](random, points)) + FLOORS[floor](np.linspace(0, 1, points)) - 100


@pytest.mark.parametrize("detector", DETECTORS)
@pytest.mark.parametrize("floor", FLOORS)
def test_noise_alone_is_seldom_called_a_line(floor, detector):
    """1 % is stated; bends and steps are followed by so many points only as to let through up to 3 % (binomial)."""
    found = 0
    for seed in range(40):
        trace = level(floor, detector, seed)
        noise = noise_of(trace, DETECTORS[detector][0])
        found += bool((trace > noise.floor + noise.called_db(POINTS)).any())
    assert found <= stats.binom.ppf(0.999, 40, 0.01 if floor == "flat" else 0.03)


@pytest.mark.parametrize("floor", FLOORS)
def test_the_floor_is_that_which_was_made(floor):
    """One look: mean 0 dB. Away from a step, within three standard errors of medians of the 40 blocks of 50 points."""
    u = np.linspace(0, 1, 2001)
    away = np.abs(u - 0.63) > 0.05
    for seed in range(10):
        noise = noise_of(level(floor, "sample", seed, 2001))
        assert noise.level == (floor == "flat")
        off = (noise.floor - FLOORS[floor](u) + 100)[away]
        assert np.sqrt(np.mean(off**2)) < 3 * 6.3 / np.sqrt(50) / np.sqrt(3)  # three blocks and more share a height
        assert noise.floor[np.abs(u - 0.63) < 0.004].min() > FLOORS[floor](0.63) - 100 - 2  # the higher side of a step


@pytest.mark.parametrize("floor", FLOORS)
def test_true_lines_are_found_on_every_floor(floor):
    """Lines of 18 dB over the mean that noise adds to: none is missed; noise at 4 f0 and 6 f0 is a line in 1 % each."""
    frequency, more = np.linspace(0.5e9, 6.5e9, POINTS), 0
    for seed in range(20):
        power = 10 ** (level(floor, "sample", seed) / 10)
        for at in (1e9, 2e9, 3e9, 5e9, 3.3e9):
            row = int(np.argmin(np.abs(frequency - at)))
            clean = np.sqrt(10 ** ((FLOORS[floor](row / (POINTS - 1)) - 100 + 18) / 10))
            power[row] = (clean + np.sqrt(power[row] / 2)) ** 2
        found = find_lines(trace_of(frequency, 10 * np.log10(power), 5e6, "sample"), F0)
        above = {line.harmonic for line in found.harmonics if line.above_noise}
        assert above >= {1, 2, 3, 5} and 33 in [round(line.frequency / 1e8) for line in found.others]
        more += len(above) - 4 + len(found.others) - 1
    assert more <= stats.binom.ppf(0.999, 20, 0.05)


def test_shapes_are_those_of_averages_and_maxima():
    """scipy's gamma distribution; the maximum of m exponentials: F^m, mean 1 + 1/2 + ... + 1/m."""
    for looks in (1.0, 4.0, 30.0):
        shape, known = Shape(looks), stats.gamma(looks, scale=1 / looks)
        assert shape.level_db(1e-5) == pytest.approx(10 * np.log10(known.isf(1e-5)), abs=1e-9)
        assert shape.passed(3.0) == pytest.approx(known.sf(10**0.3), rel=1e-9)
        step = 1e-4
        slope = (shape.quantile_db(0.5 + step) - shape.quantile_db(0.5 - step)) / (2 * step)
        assert shape.density(0.5) == pytest.approx(1 / slope, rel=1e-5)
    shape, x = Shape(1.0, 10.0), stats.expon.isf(1 - 0.99 ** (1 / 10))
    assert shape.level_db(0.01) == pytest.approx(10 * np.log10(x / sum(1 / k for k in range(1, 11))), abs=1e-9)
    assert special.digamma(11) + np.euler_gamma == pytest.approx(sum(1 / k for k in range(1, 11)))


@pytest.mark.parametrize("detector", ["sample", "averaged", "peak"])
@pytest.mark.parametrize("over", [-3.0, 4.0, 9.0, 11.0])
def test_limits_lie_above_the_line(detector, over):
    """A line of any level in noise, at any place between points: its stated limit is at most once in 100 too low.

    Rice: amplitudes of line and noise add; the filter is Gaussian, 3 dB wide `rbw`.
    """
    rbw, looks, peaks = 9e6, *{"sample": (1, 1), "averaged": (10, 1), "peak": (1, 5)}[detector]
    frequency, stated, wrong = np.linspace(2.5e9, 4.5e9, 401), 0, 0
    for seed in range(40):
        random = np.random.default_rng(seed)
        at = frequency + random.uniform(-0.5, 0.5) * (frequency[1] - frequency[0])
        noise = random.normal(size=(401, looks, peaks)) + 1j * random.normal(size=(401, looks, peaks))
        line = 10 ** ((over - 80 - 3.0103 * ((at - 3e9) * 2 / rbw) ** 2) / 20)
        power = np.abs(noise * np.sqrt(0.5e-8) + line[:, None, None]) ** 2
        shown = 10 * np.log10(power.mean(1).max(1))
        found, = find_lines(trace_of(at, shown, rbw, DETECTORS[detector][0]), F0, [3]).harmonics
        stated += not found.above_noise
        wrong += not found.above_noise and found.level < over - 80
        assert found.above_noise or found.level >= found.reading
    assert wrong <= stats.binom.ppf(0.999, 40, 0.01)
    assert stated > 25 if over < 0 else stated < 40


def test_a_long_trace_with_a_step():
    """Each side of the step is one part."""
    noise = noise_of(level("step", "sample", 1, 100_000))
    assert noise.floor.size == 100_000 and not noise.level
    # a median of 50 000 points is known to 0.03 dB
    assert noise.floor[20_000] == pytest.approx(-100, abs=0.2) and noise.floor[80_000] == pytest.approx(-83, abs=0.2)


@pytest.mark.parametrize(("span", "rbw"), [(5e6, 1e6), (10e6, 1e6), (20e6, 1e6), (10e6, None), (20e6, None)])
def test_a_line_that_fills_its_trace_is_no_floor(span, rbw):
    """A line 70 dB above the noise is 4.8 bandwidths wide where it meets it (Gaussian filter): all of the first trace,
    half of the second."""
    for seed in range(5):
        random = np.random.default_rng(seed)
        frequency = np.linspace(F0 - span / 2, F0 + span / 2, POINTS)
        noise = (random.normal(size=POINTS) + 1j * random.normal(size=POINTS)) * np.sqrt(0.5e-9)
        line = 10 ** ((-20 - 3.0103 * ((frequency - F0) * 2 / 1e6) ** 2) / 20)
        found = find_lines(trace_of(frequency, 20 * np.log10(np.abs(noise + line)), rbw, "sample"), F0)
        assert found.harmonics[0].above_noise and found.harmonics[0].level == pytest.approx(-20, abs=0.02)
        if span == 20e6 and rbw:
            assert found.noise.mean == pytest.approx(-90, abs=0.7)  # a median of 600 points scatters by 0.26 dB
