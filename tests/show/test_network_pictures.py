"""Page and picture of a network response: the figures shown are those computed."""

import re

import numpy as np
import pytest

from hbsim.linear.touchstone import read_touchstone
from hbsim.show.network_page import network_page
from hbsim.show.network_plot import network_figure
from hbsim.studies.circuit import Circuit
from hbsim.studies.network_figures import measured

COUNTS = {1: ["a"], 2: ["a", "b"], 3: ["a", "b", "c"], 6: ["a", "b", "c", "m", "n", "o"]}


def star():
    """Lines of 30 to 80 degrees at 1 GHz from a common node to a, b, c, with nodes between."""
    parts = {}
    for number, name in enumerate("abc"):
        inner = "mno"[number]
        parts[f"line_{name}"] = {"kind": "line", "nodes": [name, inner], "impedance": "70 ohm", "at": "1 GHz",
                                 "electrical_length": f"{30 + 25 * number} deg", "loss": "0.2 dB"}
        parts[f"R_{name}"] = {"kind": "resistor", "nodes": [inner, "x"], "resistance": f"{5 * number} ohm"}
    parts["end"] = {"kind": "resistor", "nodes": ["c", "ground"], "resistance": "200 ohm"}
    return Circuit.build(title="star", drive={"port": "in", "frequency": "0.4 GHz", "power": "0 dBm"},
                         wanted={"port": "out", "harmonic": 2}, port={"in": {"node": "a"}, "out": {"node": "b"}},
                         part=parts)


@pytest.fixture(scope="module")
def responses():
    return {count: star().network(np.linspace(0.0, 2e9, 81), names) for count, names in COUNTS.items()}


@pytest.mark.parametrize("count", COUNTS)
def test_the_page_shows_what_was_computed_and_keeps_to_its_width(responses, count):
    found = responses[count]
    page = network_page(found)
    lines = page.splitlines()
    assert lines[0] == "star" and lines[1] == "S-parameters at 81 points from 0 Hz to 2 GHz"
    assert max(map(len, lines)) <= 110 and not re.search(r"\bnan\b|\binf\b", page)
    assert "Passive: at no point does more come out" in page
    at = found.at_harmonics.db[1]
    if count <= 2:
        row = next(line for line in lines if line.strip().startswith("2 f0"))
        assert f"{at[0, 0]:.2f}" in row and "800 MHz" in row and f"{at[-1, 0]:.2f}" in row
    else:
        row = next(line for line in lines if line.strip().startswith("S31"))
        assert f"{at[2, 0]:.2f}" in row.split()


def test_the_page_tells_the_band_and_a_measurement(responses, tmp_path):
    found = responses[2]
    (tmp_path / "m.s2p").write_text("# GHz S RI R 50\n0.4 0 0 .5 0 .5 0 0 0\n0.8 .1 0 .5 0 .5 0 .1 0\n")
    beside = measured(str(tmp_path / "m.s2p"), found)
    page = network_page(found, beside)
    assert "S21 is largest at" in page and "2 of its 2 points" in page
    d = beside.differences[1, 0]
    row = next(line for line in page.splitlines() if line.startswith("  S21") and "dB" in line)
    assert f"{d.largest_db:+.2f} dB" in row and f"{d.rms_db:.2f} dB" in row
    assert (0, 0) in beside.differences and beside.differences[0, 0].points == 1  # a zero has no dB


def curves(axes, count):
    return [line for line in axes.lines if len(line.get_xdata()) == count]


@pytest.mark.parametrize("count", COUNTS)
def test_the_picture_draws_the_response(responses, count, tmp_path):
    found = responses[count]
    figure = network_figure(found)
    panels, chart = figure.axes[:-1], figure.axes[-1]
    assert [axes.get_ylabel() for axes in panels] == (["transmission / dB"] if count > 1 else []) + [
        "reflection / dB", "group delay / ps"]
    reflections = next(axes for axes in panels if axes.get_ylabel() == "reflection / dB")
    drawn = curves(reflections, 81)
    assert len(drawn) == min(count, 4)
    for n, line in enumerate(drawn):
        np.testing.assert_array_equal(line.get_ydata(), found.swept.db[:, n, n])
        np.testing.assert_allclose(line.get_xdata(), found.frequency / 1e9)
    if count == 2:
        np.testing.assert_array_equal(curves(panels[0], 81)[0].get_ydata(), found.swept.db[:, 1, 0])
    names = {line.get_text() for line in chart.get_legend().get_texts()}
    assert names == {f"S{n}{n}" for n in range(1, 1 + min(count, 4))}
    marks = [complex(*line.get_xydata()[0]) for line in chart.lines if len(line.get_xdata()) == 1]
    for harmonic in range(3):
        assert min(abs(np.array(marks) - found.at_harmonics.s[harmonic, 0, 0])) < 1e-12
    figure.savefig(tmp_path / "p.png")  # draws: no label in a place that cannot be drawn
    assert (tmp_path / "p.png").stat().st_size > 1e4


def test_curves_on_the_chart_are_filled_in_where_points_lie_far_apart():
    found = star().network(np.linspace(0.0, 2e9, 9), ["a"])
    chart = network_figure(found).axes[-1]
    curve = max(chart.lines, key=lambda line: (line.get_linewidth() == 1.4, len(line.get_xdata())))
    drawn = curve.get_xdata() + 1j * curve.get_ydata()
    assert np.abs(np.diff(drawn)).max() < 0.06  # twice the step: the curve bends between the nine points
    dense = star().network(np.linspace(0.0, 2e9, 20001), ["a"]).s[:, 0, 0]
    assert max(np.abs(dense - value).min() for value in drawn) < 1e-3  # on the curve, to its step of 5e-4


def test_measured_points_are_drawn_where_they_were_measured(responses, tmp_path):
    found = responses[2]
    (tmp_path / "m.s2p").write_text("# GHz S RI R 50\n0.4 .2 .1 .5 0 .5 0 0 .3\n0.8 .1 0 .4 0 .4 0 .1 0\n"
                                    "3 0 0 1 0 1 0 0 0\n")
    data = read_touchstone(tmp_path / "m.s2p")
    figure = network_figure(found, measured(str(tmp_path / "m.s2p"), found))
    points = curves(figure.axes[0], 2)[0]
    np.testing.assert_allclose(points.get_xdata(), [0.4, 0.8])
    np.testing.assert_allclose(points.get_ydata(), 20 * np.log10(np.abs(data.s[:2, 1, 0])))
    assert points.get_linestyle() == "None" and "marks: measured" in figure.get_suptitle()
