"""`hbsim terminations`: pages, pictures, JSON and refusals; what is shown is what was computed."""

import json
import re

import numpy as np
import pytest

import hbsim
from hbsim.cli import main
from hbsim.show.terminations_page import stub_distance_page, terminations_page
from hbsim.show.terminations_plot import stub_distance_figure, terminations_figure
from hbsim.studies.stub_distance import stub_distance
from hbsim.studies.terminations import terminations


@pytest.fixture(scope="module")
def lumped(examples):
    return str(examples / "lumped_doubler.toml")


@pytest.fixture(scope="module", params=[("collector", 2), ("collector", 1), ("base", 1)])
def chart(request, lumped):
    return terminations(hbsim.Circuit.load(lumped).description, *request.param, harmonics=8, rings=5)


def test_the_page_tells_both_terminations_and_keeps_to_its_width(chart):
    page = terminations_page(chart)
    assert max(map(len, page.splitlines())) <= 110 and not re.search(r"\bnan\b|\binf\b", page)
    rows = {line.strip().split("  ")[0]: line for line in page.splitlines()}
    assert f"{chart.present.output_dbm:.2f}" in rows["as it is"]
    assert f"{chart.best.output_dbm:.2f}" in rows["most output"]
    assert f"{abs(chart.best.reflection):.3f} at" in rows["most output"]
    assert f"{abs(chart.hot.direct):.3f} at" in " ".join(page.split())
    assert ("held as it is" in page) == (chart.plane.side == "drive")


def test_the_picture_marks_what_was_computed(chart, tmp_path):
    figure = terminations_figure(chart)
    left, right = figure.axes[:2]
    for axes in (left, right):
        marks = [complex(*line.get_xydata()[0]) for line in axes.lines if len(line.get_xdata()) == 1]
        assert min(abs(np.array(marks) - chart.present.reflection)) < 1e-12
    texts = [text.get_text() for text in left.texts]
    assert f"most: {chart.best.output_dbm:.2f} dBm" in texts
    assert f"as it is: {chart.present.output_dbm:.2f} dBm" in texts
    # a contour of the output runs where the surface has its value, inside the chart
    lines = [c for c in left.collections if hasattr(c, "levels") and not c.filled][0]
    assert len(lines.levels) > 2
    names = [text for text in lines.labelTexts]
    assert names and all(abs(complex(*text.get_position())) < 1.05 for text in names)
    figure.savefig(tmp_path / "p.png")
    assert (tmp_path / "p.png").stat().st_size > 1e4


def test_page_and_picture_of_a_stub_that_is_moved(lumped, tmp_path):
    found = stub_distance(hbsim.Circuit.load(lumped).description, "base", 2, np.arange(0.0, 181.0, 15.0), harmonics=8)
    page = stub_distance_page(found)
    assert max(map(len, page.splitlines())) <= 110 and not re.search(r"\bnan\b|\binf\b", page)
    row = next(line.split() for line in page.splitlines() if line.strip().startswith("45 "))
    assert row[1:] == [f"{values[3]:.2f}" for values in (*found.output_dbm, *found.input_return_loss_db)]
    upper = stub_distance_figure(found).axes[0]
    drawn = [line for line in upper.lines if len(line.get_xdata()) == 13]
    assert len(drawn) == 3
    for line, values in zip(drawn, found.output_dbm):
        np.testing.assert_array_equal(line.get_ydata(), values)
    stub_distance_figure(found).savefig(tmp_path / "p.png")


def test_the_command_writes_page_json_and_picture(capsys, lumped, tmp_path):
    data, picture = tmp_path / "t.json", tmp_path / "t.svg"
    assert main(["terminations", lumped, "--at", "collector", "--harmonic", "2", "--rings", "4", "--harmonics", "8",
                 "--reference", "100ohm", "--json", str(data), "--plot", str(picture)]) == 0
    page = capsys.readouterr().out
    found = json.loads(data.read_text())
    assert found["reference_ohm"] == 100.0 and found["pin"] == "Q1.collector" and "<svg" in picture.read_text()[:500]
    assert f"{found['best']['output_dbm']:.2f}" in page and f"{found['present']['output_dbm']:.2f}" in page


def test_the_command_moves_a_stub(capsys, lumped):
    assert main(["terminations", lumped, "--at", "collector", "--harmonic", "1", "--move-stub", "--line", "70ohm",
                 "--harmonics", "8", "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["line_ohm"] == 70.0 and len(found["distance_deg"]) == len(found["output_dbm"]) == 91


@pytest.mark.parametrize("arguments, words", [
    (["--at", "collecter", "--harmonic", "2"], "did you mean 'collector'"),
    (["--at", "emitter", "--harmonic", "2"], "at ground"),
    (["--at", "collector", "--harmonic", "0"], "1 is f0"),
    (["--at", "collector", "--harmonic", "2", "--reach", "1.5"], "reach"),
    (["--at", "collector", "--harmonic", "2", "--line", "50ohm"], "--move-stub"),
    (["--at", "collector", "--harmonic", "1", "--move-stub", "--rings", "5"], "--rings"),
    (["--at", "collector", "--harmonic", "1", "--move-stub", "--line", "0ohm"], "above 0 ohm"),
    (["--at", "collector"], "--harmonic"),
    (["--at", "collector", "--harmonic", "20", "--harmonics", "8"], "harmonic 20"),
])
def test_bad_arguments_are_refused_in_one_line(capsys, lumped, arguments, words):
    assert main(["terminations", lumped, *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("hbsim: ") and err.count("\n") == 1 and words in err
