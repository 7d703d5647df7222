"""Page and picture of `hbsim touchstone` on data whose figures are known by hand."""

import numpy as np
import pytest

from hbsim.linear.touchstone import TouchstoneData
from hbsim.show.touchstone_page import element_name, touchstone_page
from hbsim.show.touchstone_plot import touchstone_figure
from hbsim.studies.touchstone_file import as_json, inspect, spacing

GHZ = 1e9


def data(frequency, s, reference, **more):
    s = np.asarray(s, complex)
    return TouchstoneData("invented.snp", np.asarray(frequency, float), s, np.asarray(reference, float),
                          corner=(s[0, 0, 0], s[-1, 0, 0]), **more)


def page(*arguments, **more):
    return touchstone_page(inspect(data(*arguments, **more)))


def labels(figure):
    return [text.get_text() for text in figure.axes[0].texts], [text.get_text() for text in figure.axes[1].texts]


@pytest.mark.parametrize("frequency, expected", [
    ([5.0], ("single", 0, 0, 0)), ([1.0, 2, 3], ("equal", 1, 1, 0)),
    ([1.0, 1.667, 2.333, 3.0], ("equal", 0.666, 0.667, 0)), ([1.0, 2, 3.02, 4], ("uneven", 0.98, 1.02, 0)),
    ([0.1, 1, 10, 100], ("geometric", 0.9, 90, 1)), ([0.0, 1, 3], ("uneven", 1, 2, 0)),
    ([1.0, 2, 4.5], ("uneven", 1, 2.5, 0))])
def test_how_points_follow_each_other(frequency, expected):
    found = spacing(np.array(frequency))
    assert found.word == expected[0]
    np.testing.assert_allclose(found[1:], expected[1:], rtol=2e-3, atol=1e-12)


def test_words_of_the_page():
    pad = [[0, 0.5], [0.5, 0]]
    said = page([GHZ, 2 * GHZ], [pad, pad], [50, 75], parameter="Z", version="2.1", notes=("a doubt",))
    for words in ("2 ports, 2 points from 1 GHz to 2 GHz, step 1 GHz", "file version 2.1; references 50 ohm, 75 ohm",
                  "shown here as S-parameters against these references", "S21  -6.02 dB     0.0 deg", "S11   nothing",
                  "Passive: the largest singular value of S is 0.500000, at 1 GHz", "Loses up to 75 % of the power",
                  "Reciprocal: the same both ways", "  - a doubt"):
        assert words in said, said
    said = page([GHZ], [[[1j]]], [50])
    assert "1 point at 1 GHz" in said and "Lossless" in said and "eciprocal" not in said and "Notes" not in said
    said = page([GHZ], [[[0, 0.3], [0.9, 0]]], [50, 50], noise=np.array([[GHZ, 1, 0, 0, 5.0]]), comments=("x",))
    assert "Not reciprocal: S21 and S12 differ by 0.6, at 1 GHz" in said and "noise parameters at 1 frequency" in said
    assert "1 comment\n" in said
    said = page([GHZ], [[[0, 0.899], [0.9, 0]]], [50, 50])
    assert "Reciprocal: the two ways differ by at most 0.001 (S21 and S12), at 1 GHz" in said
    said = page([GHZ], [0.1 * np.eye(5)], [50] * 5)
    assert "S55  -20.00 dB" in said and "and 20 transmissions" in said and "S21" not in said
    assert element_name(1, 10, 12) == "S2,11"


def test_lines_that_lie_on_each_other_are_one_and_what_is_too_small_is_counted():
    s = np.zeros((3, 2, 2), complex)
    s[:, 0, 0] = s[:, 1, 1] = [0.1, 0.2, 0.3]
    s[:, 1, 0] = 0.9
    s[:, 0, 1] = 1e-7
    figure = touchstone_figure(inspect(data([GHZ, 2 * GHZ, 3 * GHZ], s, [50, 50])))
    levels, chart = labels(figure)
    assert levels == ["S11, S22", "S21"] and "S11, S22" in chart
    assert "1 of 4 below -101 dB" in figure.axes[0].get_title(loc="left")
    drawn = {line.get_color() for line in figure.axes[0].lines}
    assert len(figure.axes[0].lines) == 2 and len(drawn) == 2
    np.testing.assert_allclose(figure.axes[0].lines[1].get_ydata(), 20 * np.log10(0.9), rtol=1e-12)


def test_an_element_has_one_colour_on_both_sides():
    random = np.random.default_rng(1)
    figure = touchstone_figure(inspect(data(GHZ * np.arange(1, 30), random.uniform(-0.4, 0.4, (29, 3, 3)), [50] * 3)))
    for text in figure.axes[1].texts:
        if text.get_text().startswith("S"):
            same = [other for other in figure.axes[0].texts if other.get_text() == text.get_text()]
            assert same and same[0].get_color() == text.get_color()


@pytest.mark.parametrize("ports, frequency, size", [
    (1, [0.0], 0.0), (2, [0.0, 1e3, 1e9], 0.0), (1, [1e6, 1e7, 1e8], 2.5), (12, [1.0, 2.0, 3.0], 0.5)])
def test_odd_data_are_drawn_all_the_same(ports, frequency, size):
    random = np.random.default_rng(2)
    s = size * random.uniform(0.9, 1.0, (len(frequency), ports, ports))
    found = inspect(data(frequency, s, np.arange(1, ports + 1)))
    figure = touchstone_figure(found)
    figure.canvas.draw()
    assert touchstone_page(found) and as_json(found)["points"] == len(frequency)
    if size > 1:  # the chart grows with the reflection
        assert figure.axes[1].get_xlim()[1] > 2.25
