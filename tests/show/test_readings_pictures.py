"""Pictures of `hbsim readings`: what is drawn is what was found."""

import numpy as np
import pytest

from hbsim.bench.inspection import inspect
from hbsim.bench.readings import Column, Readings
from hbsim.errors import Refusal
from hbsim.show.readings_plot import readings_figure


def texts(figure):
    return [text.get_text() for axes in figure.axes for text in axes.texts] + [figure.get_suptitle()]


def made_trace():
    frequency = np.arange(500, 3501) * 1e6
    power = 10**-8.5 * np.random.default_rng(5).exponential(size=frequency.size)
    for at, level in ((1e9, -12.0), (2e9, 2.5), (1.4e9, -40.0)):
        power += 10 ** (level / 10) * np.exp(-np.log(2) * (2 * (frequency - at) / 3e6) ** 2)
    columns = (Column("f", "Hz", frequency), Column("Level", "dBm", 10 * np.log10(power)))
    return Readings("trace.csv", columns, np.zeros(frequency.size, int))


def test_lines_are_named():
    found = inspect(made_trace(), 1e9, bandwidth=3e6, detector="sample")
    figure = readings_figure(found)
    said = texts(figure)
    assert "f0\n-12.0" in said and "2 f0\n2.5" in said and "f0 + 400 MHz" in said
    assert any(text.startswith("3 f0\n< -") for text in said)
    assert f"noise {found.traces[0].lines.noise.mean:.0f} dBm" in said
    marked = [line.get_xydata()[0] for line in figure.axes[0].lines if len(line.get_xdata()) == 1]
    assert [tuple(point) for point in marked][:2] == [(1.0, pytest.approx(-12, abs=0.01)),
                                                      (2.0, pytest.approx(2.5, abs=0.01))]


def test_columns_against_what_is_swept():
    """The frequency is constant and left out; two sweeps with the inner variable starting anew."""
    columns = (Column("f", "Hz", np.full(6, 2e9)), Column("VCC", "V", np.repeat([3.0, 5.0], 3)),
               Column("Pin", "dBm", np.tile([-10.0, -5.0, 0.0], 2)),
               Column("Pout", "dBm", np.array([-20.0, -12.0, np.nan, -18.0, -9.0, -4.0])))
    figure = readings_figure(inspect(Readings("sweep.csv", columns, np.repeat([0, 1], 3))))
    assert "columns against 'Pin'; 2 sweeps, each with its own mark; 1 constant" in figure.get_suptitle()
    by_title = {axes.get_title(loc="left"): axes for axes in figure.axes if axes.get_visible()}
    assert set(by_title) == {"VCC", "Pout"}
    drawn = [line.get_xydata().tolist() for line in by_title["Pout"].lines]
    assert drawn == [[[-10, -20], [-5, -12]], [[-10, -18], [-5, -9], [0, -4]]]


def test_nothing_to_draw_is_refused():
    readings = Readings("one.csv", (Column("a", "V", np.arange(3.0)),), np.zeros(3, int))
    with pytest.raises(Refusal, match="two columns"):
        readings_figure(inspect(readings))
