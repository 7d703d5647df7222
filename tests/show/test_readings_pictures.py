"""Pictures of `hbsim readings`: what is drawn is what was found."""

import numpy as np
import pytest
from matplotlib.text import Text

from hbsim.bench.inspection import inspect
from hbsim.bench.readings import LOWER_LIMIT, UPPER_LIMIT, Column, Marker, Readings
from hbsim.errors import Refusal
from hbsim.show.readings_page import readings_page
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
    assert figure.get_suptitle() == "sweep.csv: columns against 'Pin'; 2 sweeps; 1 constant"
    axes, = figure.axes
    assert axes.get_title(loc="left") == "Pout" and axes.get_ylabel() == "dBm"
    drawn = [line.get_xydata().tolist() for line in axes.lines]
    assert drawn == [[[-10, -20], [-5, -12]], [[-10, -18], [-5, -9], [0, -4]]]
    assert legend_of(figure) == ["VCC: 3 V", "5 V"]
    marks = [(line.get_marker(), line.get_markerfacecolor() == "white") for line in axes.lines]
    shown = [(handle.get_marker(), handle.get_markerfacecolor() == "white")
             for handle in figure.legends[0].legend_handles]
    assert marks == shown and len(set(marks)) == 2


def table(*columns, sweep=None, markers=()):
    rows = len(columns[0].values)
    return inspect(Readings("a.csv", columns, np.zeros(rows, int) if sweep is None else sweep, markers=markers))


def legend_of(figure):
    return [text.get_text() for text in figure.legends[0].get_texts()]


def panels_of(figure):
    """Unit of the axis -> names over the panel."""
    found = {}
    for axes in figure.axes:
        if axes.get_visible():
            legend = axes.get_legend()
            names = [text.get_text() for text in legend.get_texts()] if legend else [axes.get_title(loc="left")]
            found.setdefault(axes.get_ylabel(), []).append(names)
    return found


def test_names_do_not_contradict_the_axis():
    """Efficiency in percent, a phase that was in radians, parts of an S-parameter, a temperature of a cold stage."""
    figure = readings_figure(table(
        Column("Freq(Hz)", "Hz", np.array([1e6, 2e6])), Column("PAE (%)", "1", np.array([0.1, 0.25]), said="[%]"),
        Column("S21Ph (rad)", "deg", np.array([90.0, 180.0]), said="rad"),
        Column("S21re ()", "1", np.array([0.1, 0.2])), Column("S11(MAG)", "1", np.array([0.5, 0.6]), said="MAG"),
        Column("Stage (K)", "K", np.array([0.0145, 0.02]), said="K"), Column("Room", "K", np.array([293.15, 294.15]))))
    assert panels_of(figure) == {"%": [["PAE"]], "deg": [["S21Ph"]], "ratio": [["S21re", "S11(MAG)"]],
                                 "K": [["Stage", "Room"]]}
    assert figure.axes[0].lines[0].get_ydata().tolist() == [10, 25]
    assert {axes.get_xlabel() for axes in figure.axes if axes.get_visible()} == {"Freq / MHz"}
    page = readings_page(table(Column("PAE", "1", np.array([0.1, 0.25]), said="(%)"),
                               Column("T", "K", np.array([0.0145, 4.2])), Column("R", "ohm", np.array([1e3, 2e3])),
                               Column("room", "K", np.array([293.15, 294.15])),
                               Column("L", "dBuV/m", np.array([1.0, 2.0]), said="dBuVPerMeter -0.0001 3.2e-4")))
    assert [" ".join(row.split()) for row in page.splitlines()[3:8]] == [
        "PAE % 10 % 25 % %", "T K 0.0145 K 4.2 K", "R ohm 1 kohm 2 kohm", "room K 20 degC 21 degC",
        "L dBuV/m 1 dBuV/m 2 dBuV/m dBuVPerMeter"]


def test_sweeps_without_a_setting_are_numbered():
    values = np.tile([1.0, 2.0], 3)
    sweep = np.repeat([0, 1, 2], 2)
    figure = readings_figure(table(Column("UCE", "V", values), Column("IC", "A", np.arange(6.0)), sweep=sweep))
    assert legend_of(figure) == ["sweep 1", "sweep 2", "sweep 3"]
    twice = Column("VCC", "V", np.repeat([3.0, 5.0, 3.0], 2))  # 3 V twice does not tell the sweeps apart
    figure = readings_figure(table(Column("UCE", "V", values), twice, Column("IC", "A", np.arange(6.0)), sweep=sweep))
    assert legend_of(figure) == ["sweep 1", "sweep 2", "sweep 3"]
    assert "1 more constant in each sweep" in figure.get_suptitle()
    hot = Column("T", "K", np.repeat([293.15, 293.15, 323.15], 2))  # with the temperature it does
    figure = readings_figure(table(Column("UCE", "V", values), twice, hot, Column("IC", "A", np.arange(6.0)),
                                   sweep=sweep))
    assert legend_of(figure) == ["VCC, T: 3 V, 20 degC", "5 V, 20 degC", "3 V, 50 degC"]


def test_what_only_tells_sweeps_apart_is_not_the_axis():
    """The drive was set in no order."""
    figure = readings_figure(table(Column("VCC", "V", np.repeat([3.0, 5.0], 3)),
                                   Column("Pin", "dBm", np.tile([0.0, -10.0, -5.0], 2)),
                                   Column("Pout", "dBm", np.arange(6.0) ** 2 % 7), sweep=np.repeat([0, 1], 3)))
    assert figure.axes[0].get_xlabel() == "Pin / dBm" and legend_of(figure) == ["VCC: 3 V", "5 V"]


def test_more_sweeps_than_marks_have_their_setting_at_their_ends():
    base = np.repeat(np.arange(1, 13) * 1e-5, 3)
    figure = readings_figure(table(Column("UCE", "V", np.tile([0.0, 1.0, 2.0], 12)), Column("IB", "A", base),
                                   Column("IC", "A", 100 * base * np.tile([0.1, 1.0, 1.1], 12)),
                                   sweep=np.repeat(np.arange(12), 3)))
    assert not figure.legends and "12 sweeps, at their ends IB" in figure.get_suptitle()
    assert [text.get_text() for text in figure.axes[0].texts] == [f"{n * 10} uA" for n in range(1, 13)]


def test_limits_are_no_readings():
    levels = Column("P", "dBm", np.array([-47.0, -46.0, -60.0, -44.0, 20.0]), {2: UPPER_LIMIT, 4: LOWER_LIMIT})
    figure = readings_figure(table(Column("Pin", "dBm", np.arange(5.0)), levels))
    line, upper, lower = figure.axes[0].lines
    assert np.flatnonzero(np.isfinite(line.get_ydata())).tolist() == [0, 1, 3]  # broken at the limit
    assert [(mark.get_xydata().tolist(), mark.get_marker(), mark.get_linestyle(), mark.get_markerfacecolor())
            for mark in (upper, lower)] == [([[2, -60]], "v", "None", "white"), ([[4, 20]], "^", "None", "white")]
    assert "open triangle down: upper limit; open triangle up: lower limit" in figure.get_suptitle()


def test_a_lone_point_of_a_long_trace_is_seen():
    values, flags = np.linspace(-50, -20, 101), dict.fromkeys((49, 51), UPPER_LIMIT)
    line = readings_figure(table(Column("f", "Hz", np.arange(101.0)),
                                 Column("P", "dBm", values, flags))).axes[0].lines[0]
    assert line.get_markevery() == [50] and line.get_marker() == "o"


def test_markers_stand_where_they_were():
    markers = (Marker("1", 1.5e6, -20.0, "dBm"), Marker("M2", 2.5e6, 3.0, "dB"), Marker("3", np.nan, 1.0, "dBm"))
    columns = Column("f", "Hz", np.array([1e6, 2e6, 3e6])), Column("Level", "dBm", np.array([-30.0, -20, -25])), \
        Column("Loss", "dB", np.array([1.0, 2, 3]))
    level, loss = readings_figure(table(*columns, markers=markers)).axes
    assert [text.get_text() for text in level.texts] == ["marker 1"]
    assert [text.get_text() for text in loss.texts] == ["M2"]
    assert level.lines[-1].get_xydata().tolist() == [[1.5, -20]] and loss.lines[-1].get_xydata().tolist() == [[2.5, 3]]
    across, *rest = columns
    level, loss = readings_figure(table(Column("t", "s", across.values), *rest, markers=markers)).axes
    assert not level.texts and not loss.texts  # a time is no frequency


def test_currents_of_very_different_size():
    """A junction's exponential: both currents on one axis of decades, whose figures say their units; an output curve
    and a constant base current: panels of their own."""
    volts = np.linspace(0.6, 0.9, 16)
    collector = 1e-15 * np.exp(volts / 0.026)
    figure = readings_figure(table(Column("UBE [V]", "V", volts), Column("IB [uA]", "A", collector / 100, said="uA"),
                                   Column("IC [mA]", "A", collector, said="mA")))
    axes, = figure.axes
    assert panels_of(figure) == {"current": [["IB", "IC"]]} and axes.get_yscale() == "log"
    assert axes.yaxis.get_major_formatter()(1e-6) == "1 uA" and axes.get_xlabel() == "UBE / mV"
    assert axes.lines[1].get_ydata() == pytest.approx(collector)
    volts = np.linspace(0, 5, 16)
    figure = readings_figure(table(Column("UCE", "V", volts), Column("IC", "A", 1e-2 * np.tanh(volts)),
                                   Column("IB", "A", 1e-4 + 1e-6 * volts)))
    assert panels_of(figure) == {"mA": [["IC"]], "uA": [["IB"]]}
    assert all(axes.get_yscale() == "linear" for axes in figure.axes)


def test_a_picture_fits_a_printed_page():
    """170 mm between the margins; letters of 7 points and more (both: common practice, no source)."""
    columns = [Column(f"A rather long name of a column, number {n}", unit, np.arange(3.0) + n)
               for n, unit in enumerate(("dBm", "dB", "dB", "V", "V", "V", "deg", "K"))]
    figure = readings_figure(table(*columns))
    assert figure.get_figwidth() * 25.4 <= 170
    figure.draw_without_rendering()
    sizes = [text.get_fontsize() for text in figure.findobj(Text) if text.get_visible() and text.get_text()]
    assert min(sizes) >= 7
    for axes in figure.axes:
        if axes.get_legend():
            assert axes.get_legend().get_window_extent().x1 <= figure.bbox.x1
    assert figure.axes[0].get_window_extent().width > 0.3 * figure.bbox.width


def test_nothing_to_draw_is_refused():
    readings = Readings("one.csv", (Column("a", "V", np.arange(3.0)),), np.zeros(3, int))
    with pytest.raises(Refusal, match="two columns"):
        readings_figure(inspect(readings))
