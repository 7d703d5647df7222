"""Most, edges and gaps of a band against curves known in closed form."""

import numpy as np
import pytest

from hbsim.errors import NotSolved
from hbsim.studies.band_edges import BEYOND, FAILED, GAP, JUMP, Course, band, most

X = np.linspace(0.9e9, 1.1e9, 11)  # 20 MHz apart
TOP, BEND = 1.003e9, 400.0  # level: -BEND ((f - TOP) / 100 MHz)^2 dB, so that d dB down are at 100 MHz sqrt(d / BEND)


def parabola(f):
    return 7.0 - BEND * ((f - TOP) / 1e8) ** 2


def course(law, unsolved=(), fails=lambda f: False):
    solved = np.array([float(n not in unsolved) for n in range(len(X))])
    level = np.where(solved > 0, [law(f) for f in X], np.nan)

    def at(f, n):
        assert n not in unsolved  # whose state there would be nothing to start from
        if fails(f):
            raise NotSolved("on purpose")
        return {"level": law(f)}

    return Course(X, {"level": level, "solved": solved}, at)


def test_parabola_between_the_points_of_a_coarse_grid():
    # the most: to a thousandth of the points' distance, so to BEND (2e4 / 1e8)^2 in level; the edges: to 1e-7
    given = course(parabola)
    top = most(given, "level")
    assert top.place == "inside" and top.hz == pytest.approx(TOP, abs=2e-3 * 20e6)
    assert top.columns["level"] == pytest.approx(7.0, abs=BEND * (4e-4) ** 2)
    for down in (1.0, 3.0):
        found = band(given, "level", top, 7.0 - down)
        half = 1e8 * np.sqrt(down / BEND)
        assert [found.low.hz, found.high.hz] == pytest.approx([TOP - half, TOP + half], abs=200)
        assert found.width_hz == found.high.hz - found.low.hz and found.low.why == found.high.why == ""
        assert found.high.columns["level"] == pytest.approx(7.0 - down, abs=1e-3)


def test_no_edge_is_told_beyond_the_range_or_across_a_gap():
    rising = course(lambda f: (f - X[0]) / 1e8)  # 2 dB over the range
    top = most(rising, "level")
    assert top.place == "end" and top.hz == X[-1]
    found = band(rising, "level", top, top.columns["level"] - 1.0)
    assert found.low.hz == pytest.approx(1.0e9, abs=200) and found.high.why == BEYOND and found.width_hz is None
    assert band(rising, "level", top, top.columns["level"] - 3.0).low.why == BEYOND
    gap = course(lambda f: 7.0 - 3.0 * abs(f - TOP) / 1e8, unsolved=(2,))
    top = most(gap, "level")
    found = band(gap, "level", top, 4.5)
    assert found.low.why == GAP and found.low.near_hz == X[2] and found.low.hz is None
    assert found.high.hz == pytest.approx(TOP + 2.5 / 3 * 1e8, abs=2e2)
    assert most(course(parabola, unsolved=(6,)), "level").place == "gap"  # the point above the highest


def test_a_jump_and_a_failed_solve_are_no_edges_of_the_usual_kind():
    cliff = course(lambda f: parabola(f) if f < 1.006e9 else -50.0)  # from 6.6 dB
    top = most(cliff, "level")
    found = band(cliff, "level", top, 4.0)
    assert found.high.why == JUMP and found.high.hz == pytest.approx(1.006e9, abs=200)
    failing = course(parabola, fails=lambda f: 1.011e9 < f < 1.0125e9)  # about the edge
    found = band(failing, "level", most(failing, "level"), 4.0)
    assert found.high.why == FAILED and found.high.hz is None and found.low.why == ""


def test_the_band_is_the_one_around_the_most():
    # two humps, the lower one 0.5 dB down: the band ends in the dip between them
    two = course(lambda f: max(parabola(f + 0.05e9), parabola(f - 0.05e9) - 0.5))
    top = most(two, "level")
    assert top.hz == pytest.approx(TOP - 0.05e9, abs=2e-3 * 20e6)
    found = band(two, "level", top, 4.0)
    assert found.high.hz == pytest.approx(TOP - 0.05e9 + 1e8 * np.sqrt(3 / BEND), abs=200)
    assert found.known(np.array([TOP - 0.05e9, TOP + 0.05e9])).tolist() == [True, False]
    assert found.share == pytest.approx(2e8 * np.sqrt(3 / BEND) / (TOP - 0.05e9), rel=2e-5)  # two edges, 1e-7 each


def test_nothing_at_all_has_no_most():
    assert most(course(lambda f: -np.inf), "level") is None
    assert most(course(parabola, unsolved=range(11)), "level") is None
