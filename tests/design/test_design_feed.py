"""Bias feeds: what the line sees."""

import numpy as np
import pytest

from hbsim.design.feed import ENDS, board_feed, feed_as_cut, ideal_feed
from hbsim.design.termination import seen_through
from hbsim.errors import Refusal
from hbsim.linear.board import Board
from hbsim.linear.lines import OpenStub, ShortedStub
from hbsim.linear.network import Element

FR4 = Board(1.6e-3, 4.4, 0.02, 35e-6, 58e6)
PTFE = Board(0.8e-3, 2.2, 0.001, 35e-6, 58e6)


def impedance(elements, ends, frequency, load=1e12):
    gamma = seen_through(elements, ends, load, 50.0, np.asarray(frequency, float))
    return 50.0 * (1.0 + gamma) / (1.0 - gamma)


def test_stubs_and_feeds_off_their_frequency():
    # Ideal lines, Z = -j Zs cot, j Zs tan (textbook); to the digits printed.
    stub = [Element("s", OpenStub(50.0, 90.0, 1e9), ("a",))]
    assert impedance(stub, ("a", "a"), [0.9e9, 0.95e9, 1.5e9]).imag == pytest.approx([-7.919, -3.935, 50.00], abs=6e-3)
    feed = [Element("f", ShortedStub(100.0, 90.0, 1e9), ("a",))]
    assert impedance(feed, ("a", "a"), [0.9e9, 0.95e9]).imag == pytest.approx([631.4, 1270.6], abs=0.06)


def test_a_feed_held_by_a_stub_is_narrower():
    # 100 ohm held by a 30 ohm stub, 5 and 10 % off: 976 and 482 ohm (ideal lines, computed apart).
    d = ideal_feed(1e9, 100.0, 30.0)
    assert np.abs(impedance(d.elements, ENDS, [0.95e9, 0.9e9])) == pytest.approx([976.0, 482.0], abs=0.6)


def test_open_and_short_at_the_harmonics():
    # Textbook: open where the stub is an odd number of quarter waves, whatever lies beyond; at twice that the stub
    # holds nothing, and the line, half a wave, shows what lies beyond.
    d = ideal_feed(1.152e9, 100.0, 50.0, beyond=10.0)
    first, second, third, fourth = d.presented
    for p in (first, third):
        assert abs(p.open_beyond) > 1e8 and abs(p.resistive_beyond) > 1e8 and p.resistive_loss_db < 1e-6
    for p in (second, fourth):
        assert abs(p.open_beyond) > 1e8
        assert p.resistive_beyond == pytest.approx(10.0, abs=1e-6)
        assert p.resistive_loss_db == pytest.approx(20.0 * np.log10(1.0 + 25.0 / 10.0), abs=1e-6)
    double = ideal_feed(1.152e9, 100.0, 50.0, harmonic=2)
    # At half its frequency line and stub are an eighth wave: Z1 (-j Zs + j Z1)/(Z1 + j (-j Zs)). For the open end stand
    # 1e9 ohm, which is worth 2e-6 ohm here.
    assert double.presented[0].open_beyond == pytest.approx(100.0 * (-50j + 100j) / (100.0 + 50.0), abs=1e-5)
    assert abs(double.presented[1].resistive_beyond) > 1e8


@pytest.mark.parametrize("board", [FR4, PTFE])
@pytest.mark.parametrize("angle", [None, 60.0])
@pytest.mark.parametrize("harmonic", [1, 2])
def test_on_a_board_it_resonates_where_it_should(board, angle, harmonic):
    f0 = 1.152e9
    d = board_feed(f0, 100.0, 70.0, board, harmonic=harmonic, radial_angle=angle)
    at = d.presented[harmonic - 1]
    # Resonance within the cut of 0.01 mm, 0.05 % of these lengths.
    near = harmonic * f0 * np.linspace(0.99, 1.01, 401)
    seen = impedance(d.elements, ENDS, near)
    assert near[np.argmax(np.abs(seen))] == pytest.approx(harmonic * f0, rel=1.5e-3)
    assert abs(at.open_beyond) > 2e3 and at.loss_db < 0.1
    assert abs(at.resistive_beyond) > 300.0
    curve = np.interp(harmonic * f0, d.curve_frequency, np.abs(d.curve_open))
    assert curve == pytest.approx(abs(at.open_beyond), rel=0.2)  # points 0.7 % of f0 apart on a peak as sharp
    again = feed_as_cut(f0, d.width, d.length, d.stub_width, d.stub_length, board, harmonic=harmonic,
                        radial_angle=angle)
    assert again.presented == d.presented and again.elements == d.elements


def test_exact_lengths_resonate_exactly():
    d = board_feed(1.152e9, 100.0, 70.0, FR4, harmonic=2, cut=0.0)
    seen = impedance(d.elements, ENDS, [2.304e9])[0]
    # Solved for a real reflection, to 1e-12 m; at some kohm this leaves a reactance of a few millionths.
    assert abs(seen.imag) < 1e-4 * abs(seen)


@pytest.mark.parametrize("harmonic", [0, 5, 1.5])
def test_a_harmonic_out_of_range_is_refused(harmonic):
    with pytest.raises(Refusal, match="from 1 to 4"):
        ideal_feed(1e9, 100.0, 50.0, harmonic)
