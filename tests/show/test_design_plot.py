"""Pictures of designs: what is drawn is what was designed."""

import numpy as np
import pytest

from hbsim.design.band import Band
from hbsim.design.coupled_filter import Wish, board_filter, ideal_filter
from hbsim.design.feed import board_feed
from hbsim.design.lines import design_line
from hbsim.design.lumped_match import lumped_match
from hbsim.design.pairs import design_pair
from hbsim.design.prototype import Prototype
from hbsim.design.stub_match import board_stub_match, ideal_stub_match
from hbsim.linear.board import Board
from hbsim.show.design_plot import design_figure

FR4 = Board(1.6e-3, 4.4, 0.02, 35e-6, 58e6)
WISH = Wish(Prototype(3, 0.5), Band(1.9e9, 2.1e9))


def curves(axes, least=20):
    return [line.get_xydata() for line in axes.get_lines() if len(line.get_xdata()) > least]


def texts(figure):
    return " ".join([t.get_text() for axes in figure.axes for t in axes.texts] + [figure._suptitle.get_text()])


def test_a_filter_is_drawn_with_its_ideal():
    near, far = design_figure(ideal_filter(WISH, decimals=None)).axes
    prototype, through = curves(near)[:2]
    at = np.array([1.85, 1.92, 2.0, 2.05])
    # The published analysis of this filter; what lies between the points drawn, 0.8 MHz apart, is a straight line.
    assert np.interp(at, *through.T) == pytest.approx([-10.57, -0.052, 0.0, -0.488], abs=0.01)
    # The prototype meets the wanted edges exactly.
    assert np.interp([1.9, 2.1], *prototype.T) == pytest.approx([-0.5, -0.5], abs=0.02)
    assert np.interp([1.5, 3.0], *curves(far)[1].T) == pytest.approx([-45.0, -64.18], abs=0.05)
    assert near.patches[0].get_x() == pytest.approx(1.9) and near.patches[0].get_width() == pytest.approx(0.2)


def test_a_filter_as_cut_is_drawn_with_its_loss():
    d = board_filter(WISH, FR4, hairpin=True)
    figure = design_figure(d)
    through = curves(figure.axes[0])[1]
    assert np.interp(2.0, *through.T) == pytest.approx(-d.found.centre_loss_db, abs=1e-3)
    assert "hairpin" in texts(figure) and f"{d.found.centre_loss_db:.2f} dB at the centre" in texts(figure)


@pytest.mark.parametrize("make", [lambda z: ideal_stub_match(z, 50.0, 2e9), lambda z: lumped_match(z, 50.0, 2e9),
                                  lambda z: board_stub_match(z, 50.0, 2e9, FR4, kind="shorted")])
def test_matches_lead_from_the_load_to_the_centre(make):
    load = 20 + 35j
    design = make(load)
    figure = design_figure(design)
    assert len([axes for axes in figure.axes if axes.texts]) == len(design.solutions)
    for axes in figure.axes[:len(design.solutions)]:
        bold = [line.get_xydata() for line in axes.get_lines() if line.get_linewidth() == 2.0]
        reflection = (load - 50.0) / (load + 50.0)
        assert bold[0][0] == pytest.approx([reflection.real, reflection.imag], abs=1e-6)
        assert np.hypot(*bold[-1][-1]) < 0.02  # as well as it is cut
        assert "load" in [text.get_text() for text in axes.texts]


def test_a_feed_is_drawn_open_where_it_should_be():
    d = board_feed(1.152e9, 100.0, 70.0, FR4, harmonic=2)
    nothing = curves(design_figure(d).axes[0])[0]
    order = nothing[:, 0] / 1.152  # the axis is in GHz
    inside = (order > 1.5) & (order < 2.5)
    assert order[inside][np.argmax(nothing[inside, 1])] == pytest.approx(2.0, abs=0.01)


def test_lines_and_pairs_are_drawn_through_their_point():
    line = design_line(FR4, impedance=50.0, frequency=2e9)
    drawn = curves(design_figure(line).axes[0])[0]
    assert np.interp(1e3 * line.values.width, *drawn.T) == pytest.approx(line.values.impedance, rel=1e-3)
    pair = design_pair(FR4, width=2.4e-3, gap=0.5e-3)
    even, odd = curves(design_figure(pair).axes[0])
    assert np.interp(0.5, *even.T) == pytest.approx(pair.values.even_impedance, rel=1e-3)
    assert np.interp(0.5, *odd.T) == pytest.approx(pair.values.odd_impedance, rel=1e-3)
