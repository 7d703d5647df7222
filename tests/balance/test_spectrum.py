"""Between samples and harmonics, with numpy's fast Fourier transform as the reference."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.balance.spectrum import phasors, real_form, resized, samples_for, transform, waveform

CASES = [(1, 3), (2, 9), (3, 16), (8, 64), (16, 66), (16, 128)]


def random_phasors(harmonics, seed=1, nodes=()):
    rng = np.random.default_rng(seed)
    result = rng.normal(size=(*nodes, harmonics + 1)) + 1j * rng.normal(size=(*nodes, harmonics + 1))
    result[..., 0] = result[..., 0].real
    return result


@pytest.mark.parametrize("harmonics, samples", CASES)
def test_synthesis_is_the_inverse_fourier_transform(harmonics, samples):
    x = random_phasors(harmonics)
    spectrum = np.zeros(samples // 2 + 1, complex)
    spectrum[:harmonics + 1] = x * samples / 2
    spectrum[0] *= 2
    np.testing.assert_allclose(waveform(x, samples), np.fft.irfft(spectrum, samples), atol=1e-13)
    # and by the definition: x(t) = Re sum X_k exp(j k omega t)
    t = np.arange(samples) / samples
    by_hand = sum((x[k] * np.exp(2j * np.pi * k * t)).real for k in range(harmonics + 1))
    np.testing.assert_allclose(waveform(x, samples), by_hand, atol=1e-13)


@pytest.mark.parametrize("harmonics, samples", CASES)
def test_analysis_is_the_fourier_transform(harmonics, samples):
    wave = np.random.default_rng(2).normal(size=samples)  # holds every harmonic, folded ones too
    expected = np.fft.rfft(wave)[:harmonics + 1] * 2 / samples
    expected[0] /= 2
    np.testing.assert_allclose(phasors(wave @ transform(harmonics, samples).analysis), expected, atol=1e-14)


@pytest.mark.parametrize("harmonics, samples", CASES)
def test_slopes_are_two_sided_coefficients_to_twice_the_harmonics(harmonics, samples):
    wave = np.random.default_rng(3).normal(size=samples)
    found = wave @ transform(harmonics, samples).slopes
    order = np.arange(2 * harmonics + 1)
    expected = (np.fft.fft(wave) / samples)[order % samples]  # beyond half the samples: folded, as it must be
    np.testing.assert_allclose(found[0::2] + 1j * found[1::2], expected, atol=1e-14)


@pytest.mark.parametrize("harmonics, samples", CASES)
def test_there_and_back(harmonics, samples):
    x = random_phasors(harmonics, nodes=(2, 3))
    assert real_form(x).shape == (2, 3, 2 * harmonics + 1)
    np.testing.assert_array_equal(phasors(real_form(x)), x)
    t = transform(harmonics, samples)
    np.testing.assert_allclose(t.synthesis @ t.analysis, np.eye(2 * harmonics + 1), atol=1e-14)


@given(st.integers(0, 200))
def test_default_samples_hold_down_aliasing(harmonics):
    samples = samples_for(harmonics)
    if harmonics:
        assert samples == max(16, 6 * harmonics) and samples > 4 * harmonics
    else:
        assert samples == 1


@given(st.integers(0, 12), st.integers(0, 12))
def test_resized_keeps_what_both_have(old, new):
    form = real_form(random_phasors(old, nodes=(2,)))
    result = phasors(resized(form, new))
    both = min(old, new) + 1
    np.testing.assert_array_equal(result[:, :both], phasors(form)[:, :both])
    assert result.shape == (2, new + 1) and not result[:, both:].any()


def test_power_of_a_waveform_is_that_of_its_phasors():
    # Parseval: mean square = X_0^2 + half the sum of |X_k|^2
    x = random_phasors(6)
    assert np.mean(waveform(x, 64) ** 2) == pytest.approx(abs(x[0]) ** 2 + 0.5 * (np.abs(x[1:]) ** 2).sum(), rel=1e-13)
