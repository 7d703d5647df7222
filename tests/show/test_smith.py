"""The Smith chart: its lines are where r and x are constant, its labels say so and keep clear of each other."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from hbsim.show.smith import Mark, mark_points, smith_chart
from hbsim.show.style import INK, LINES, new_figure


def chart(reference=50.0):
    figure = new_figure(5.2, 5.2)
    axes = figure.add_subplot()
    smith_chart(axes, reference)
    return figure, axes


def places(axes):
    """Text -> reflection coefficient of each label."""
    return {text.get_text(): complex(*text.xy) for text in axes.texts}


def boxes(figure, axes):
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    found = []
    for text in axes.texts:
        text.update_positions(canvas.get_renderer())
        found.append((text.get_text(), Text.get_window_extent(text)))  # without the line to the mark
    return found


def test_every_line_is_one_of_constant_resistance_or_reactance():
    # z = (1 + Gamma) / (1 - Gamma): P. H. Smith, Electronics 12 (1939) 29-31
    _, axes = chart()
    kinds = []
    for line in axes.lines:
        reflection = line.get_xdata() + 1j * line.get_ydata()
        reflection = reflection[np.abs(reflection - 1) > 1e-6]
        z = (1 + reflection) / (1 - reflection)
        kinds.append("r" if np.ptp(z.real) < 1e-9 else "x" if np.ptp(z.imag) < 1e-9 else "none")
        assert np.abs(reflection).max() < 1 + 1e-12
    rim = axes.lines[-1]
    assert "none" not in kinds and rim.get_color() == INK and np.allclose(np.hypot(*rim.get_data()), 1)


@pytest.mark.parametrize("reference, centre", [(50.0, "50"), (75.0, "75"), (None, "1")])
def test_labels_stand_at_the_impedance_that_they_name(reference, centre):
    _, axes = chart(reference)
    found = places(axes)
    unit = reference or 1.0
    assert found[centre] == 0.0 and found["0"].real < -1 and found["\N{INFINITY}"].real > 1
    signs = {"": 1, "\N{MINUS SIGN}": -1}
    count = 0
    for text, place in found.items():
        if "j" in text:
            sign, value = text.split("j")
            z = 1j * signs[sign] * float(value) / unit
            assert 1.0 < abs(place) < 1.16
            assert place / abs(place) == pytest.approx((z - 1) / (z + 1), abs=2e-3)  # three printed digits
            count += 1
        elif text not in ("0", "\N{INFINITY}"):
            z = float(text) / unit
            assert place == pytest.approx((z - 1) / (z + 1), abs=2e-3)
    assert count == 10


def test_drawn_labels_do_not_collide():
    figure, axes = chart()
    angles = np.linspace(0.2, 6.0, 12)
    spiral = 0.07 * angles * np.exp(1j * angles)
    marks = [Mark(value, f"{n + 1} f0", LINES[0][0]) for n, value in enumerate(spiral)]
    marks += [Mark(0.02 + 0.01j, "f0", LINES[1][0], "s"), Mark(0.99, "2 f0", LINES[1][0], "s")]
    mark_points(axes, marks, [spiral])
    found = boxes(figure, axes)
    assert len(found) == 17 + len(marks)
    for n, (text, box) in enumerate(found):
        for other, other_box in found[n + 1:]:
            apart = box.x1 <= other_box.x0 or other_box.x1 <= box.x0 or box.y1 <= other_box.y0 or \
                other_box.y1 <= box.y0
            assert apart, f"'{text}' lies on '{other}'"
    shown = figure.bbox
    assert all(box.x0 >= shown.x0 and box.x1 <= shown.x1 for _, box in found)


def test_marks_are_where_their_reflections_are_and_a_point_of_two_curves_is_named_once():
    _, axes = chart()
    labels = len(axes.texts)
    mark_points(axes, [Mark(0.3 + 0.4j, "f0", LINES[0][0]), Mark(0.3 + 0.4j, "f0", LINES[1][0], "s")], [])
    assert [tuple(line.get_xydata()[0]) for line in axes.lines[-2:]] == [(0.3, 0.4)] * 2
    assert len(axes.texts) == labels + 1 and axes.texts[-1].xy == (0.3, 0.4)
