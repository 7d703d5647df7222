"""Lines and noise of traces that are made here, with known lines."""

import numpy as np
import pytest
from scipy import stats

from hbsim.bench.noise import noise_of
from hbsim.bench.spectrum import Trace, find_lines, harmonic_lines, trace_of
from hbsim.errors import Refusal

F0, RBW = 100e6, 1e6
HARMONICS = {1: -10.0, 2: 0.0, 3: -30.0, 4: -60.0}
NOISE = -90.0


def through_filter(away, bandwidth):
    """Gaussian filter, 3 dB wide `bandwidth`: power exp(-ln 2 (2 away / bandwidth)^2). [dB]"""
    return 10 * np.log10(np.exp(-np.log(2) * (2 * away / bandwidth) ** 2) + 1e-30)


def made(lines, seed=1, spacing=0.2e6, looks=1, noise=NOISE, top=650e6):
    """A trace with lines {Hz: dBm} over noise of so many independent looks, powers added."""
    frequency = np.arange(50e6, top + 1, spacing)
    power = 10 ** (noise / 10) * np.random.default_rng(seed).gamma(looks, 1 / looks, frequency.size)
    for at, level in lines.items():
        power += 10 ** ((level + through_filter(frequency - at, RBW)) / 10)
    return trace_of(frequency, 10 * np.log10(power), RBW, "sample")


@pytest.mark.parametrize("share, loss", [(1, 3.010), (1 / 2, 0.753), (1 / 4, 0.188), (1 / 10, 0.030)])
def test_loss_between_points_is_that_of_the_filter(share, loss):
    """Worst place, half a spacing from two points: the filter itself says how low the line reads."""
    frequency = F0 + RBW * share * (np.arange(-20, 21) + 0.5)
    trace = Trace(frequency, through_filter(frequency - F0, RBW), RBW, "sample")
    line, = harmonic_lines(trace, F0)
    assert -line.level == pytest.approx(trace.point_loss_db, abs=1e-9)
    assert trace.point_loss_db == pytest.approx(loss, abs=5e-4)  # printed to three figures


def test_coarse_points_are_told_unless_the_detector_keeps_peaks():
    frequency = np.arange(50e6, 250e6, 0.8e6)
    level = np.full(frequency.size, -80.0)
    assert any("up to 1.927 dB low" in note for note in find_lines(Trace(frequency, level, RBW, "sample"), F0).notes)
    assert not find_lines(Trace(frequency, level, RBW, "peak"), F0).notes
    assert any("cannot be told" in note for note in find_lines(Trace(frequency, level), F0).notes)
    assert Trace(frequency, level).point_loss_db is None


@pytest.mark.parametrize("looks", [1, 4, 30])
def test_noise_and_what_it_reaches(looks):
    """Mean within the scatter of seeds; noise alone passes its 1 % level in about 1 % of traces (binomial bounds)."""
    random = np.random.default_rng(7)
    traces = 10 * np.log10(random.gamma(looks, 1 / looks, (150, 801)))
    found = [noise_of(trace) for trace in traces]
    means = np.array([noise.mean for noise in found])
    assert abs(means.mean()) < 0.05  # dB of a mean power of 0 dBm; bias of sample quantiles at 801 points
    passed = sum(trace.max() > noise.reached(801) for trace, noise in zip(traces, found))
    assert passed <= stats.binom.ppf(0.999, 150, 0.01)
    exact = 10 * np.log10(stats.gamma.isf(0.01 / 801, looks) / looks)
    plain = np.median([noise.mean + noise.shape.level_db(0.01 / 801) for noise in found
                       if looks == 1 or noise.shape.peaks == 1])
    # one trace scatters by 0.5 dB at most, the median of 150 by 0.05; those taken for peaks are expected to lie higher
    assert plain == pytest.approx(exact, abs=0.15)
    # for the errors of its fit the level is taken higher: by as much as a trace scatters at most
    assert 0 < np.median([noise.reached(801) for noise in found]) - plain < 0.5


def test_noise_under_many_lines():
    lines = {n * 20e6: -40.0 for n in range(3, 32)}
    for seed in range(5):
        assert made(lines, seed).frequency.size == 3001
        assert noise_of(made(lines, seed).level).mean == pytest.approx(NOISE, abs=0.3)  # 4 standard errors of quantiles


def test_noise_that_is_not_there():
    assert noise_of(np.full(50, -80.0)).mean == -80.0
    assert noise_of(np.full(50, -80.0)).reached(50) == -80.0


def test_harmonics_and_limits():
    found = find_lines(made({n * F0: level for n, level in HARMONICS.items()}), F0)
    for line in found.harmonics:
        if line.harmonic in HARMONICS:
            assert line.above_noise and line.frequency == pytest.approx(line.harmonic * F0)
            # A line 30 dB above single-look noise wobbles by 20 log10(1 +- 10^(-30/20) * 2.2), 99 %: 0.6 dB
            assert line.level == pytest.approx(HARMONICS[line.harmonic], abs=0.6)
            assert line.ratio_db == pytest.approx(line.level - found.noise.mean)
        else:
            assert not line.above_noise
    assert [line.harmonic for line in found.harmonics] == [1, 2, 3, 4, 5, 6]
    assert not found.others


def test_noise_alone_has_no_lines():
    """Six harmonics, 1 % each, and 1 % for the rest of the trace: 200 traces with 7 % of them at most, binomial."""
    found = [find_lines(made({}, seed, top=250e6), F0) for seed in range(100)]
    harmonics = sum(line.above_noise for lines in found for line in lines.harmonics)
    assert harmonics <= stats.binom.ppf(0.999, 200, 0.02)
    assert sum(bool(lines.others) for lines in found) <= stats.binom.ppf(0.999, 100, 0.03)


def test_other_lines_by_arithmetic():
    lines = {n * F0: level for n, level in HARMONICS.items()}
    lines |= {150e6: -50.0, 183e6: -40.0, 217e6: -41.0, 117e6: -60.0, 83e6: -60.0, 234e6: -60.0, 463.4e6: -55.0}
    found = {round(line.frequency / 1e5) / 10: line for line in find_lines(made(lines), F0).others}
    assert sorted(found) == [83.0, 117.0, 150.0, 183.0, 217.0, 234.0, 463.4]
    assert found[150].relation.words.startswith("1.5 f0, an odd multiple of f0 / 2")
    assert "one on each side of 2 f0" in found[183].relation.words
    assert "as far from f0 as another line" in found[217].relation.words
    # points stand 0.2 MHz apart, and noise under a line may lift its neighbour above it
    assert found[183].relation.harmonic == 2 and found[183].relation.distance == pytest.approx(-17e6, abs=0.3e6)
    assert found[234].relation.words == "twice as far as another line"
    assert found[463.4].relation.words == ""


def test_one_line_alone_is_like_no_other():
    """Coarse points about a single line: nothing to compare it with."""
    frequency = np.arange(1e6, 41e6, 1e6)
    level = np.where(frequency == 3e6, -10.0, -80.0)
    line, = find_lines(Trace(frequency, level), 200e6).others
    assert (line.relation.harmonic, line.relation.distance, line.relation.words) == (0, 3e6, "")


def test_slope_of_a_neighbour_is_no_harmonic():
    """A strong line just outside the window: its flank rises towards the window's edge."""
    frequency = np.arange(50e6, 250e6, 0.2e6)
    power = 1e-9 + 10 ** ((-10 + through_filter(frequency - 101.8e6, RBW)) / 10)
    trace = trace_of(frequency, 10 * np.log10(power), RBW, "sample")
    assert not harmonic_lines(trace, F0, [1], noise_of(trace.level))[0].above_noise


def test_drive_that_is_off_is_found_within_its_error():
    trace = made({3 * (F0 + 2e6): -30.0})
    assert not harmonic_lines(trace, F0, [3], noise_of(trace.level))[0].above_noise
    wide = trace_of(trace.frequency, trace.level, RBW, "sample", frequency_error=2.5e6)
    line, = harmonic_lines(wide, F0, [3], noise_of(wide.level))
    assert line.above_noise and line.frequency == pytest.approx(306e6)


def test_refusals():
    trace = made({})
    with pytest.raises(Refusal, match="not told apart"):
        harmonic_lines(trace, 1.5e6)
    with pytest.raises(Refusal, match="above zero"):
        harmonic_lines(trace, 0.0)
    with pytest.raises(Refusal, match="twice"):
        trace_of(np.array([1e6, 2e6, 2e6, 3e6]), np.zeros(4))
    with pytest.raises(Refusal, match="3 points"):
        trace_of(np.array([1e6, 2e6]), np.zeros(2))
    assert find_lines(made({}, top=90e6), F0).notes[0].startswith("no multiple")


def test_points_in_any_order():
    trace = made({F0: -10.0})
    back = trace_of(trace.frequency[::-1], trace.level[::-1], RBW)
    assert harmonic_lines(back, F0)[0].level == harmonic_lines(trace, F0)[0].level
