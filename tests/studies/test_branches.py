"""Pages and pictures of a drive that meets more than one state, on a curve that is known in closed form.

The levels y of the made-up table are the roots of y^3 - 3 y = drive: a curve with folds at drive 2 and -2 (y = -1 and
1, where its slope dy / d drive = 1 / (3 y^2 - 3) has no bound), the lowest root being met as the drive is turned up.
"""

import numpy as np
import pytest
from test_plots import assert_readable

import hbsim
from hbsim.balance.accuracy import Accuracy
from hbsim.studies.branches import between_the_jumps, branches, jumps
from hbsim.show.plots import sweep_figure
from hbsim.show.report import sweep_page
from hbsim.show.style import LINES
from hbsim.studies.table import SweepTable
from hbsim.studies.turning import OtherStates

STEP = 0.125
DRIVES = np.arange(-4.0, 4.01, STEP) + STEP / 2  # no drive stands on a fold


def columns(levels):
    count = len(levels)
    return {"output_dbm_1": levels + 10, "output_dbm_2": levels, "conversion_loss_db": -levels,
            "input_return_loss_db": 20 - 2 * levels, "harmonics": np.full(count, 8.0), "truncation_db": np.zeros(count),
            "truncation_others_db": np.zeros(count), "solved": np.ones(count, bool)}


def roots(drive):
    found = np.roots([1.0, 0.0, -3.0, -drive])
    return sorted(found[np.abs(found.imag) < 1e-9].real)


@pytest.fixture
def table():
    all_roots = [roots(drive) for drive in DRIVES]
    others = [(n, way, y) for n, found in enumerate(all_roots)
              for way, y in zip(("neither", "down"), found[1:])]
    more = columns(np.array([y for _, _, y in others]))
    return SweepTable("a cubic", {"drive.power": DRIVES}, {"drive.power": "dBm"},
                      columns(np.array([found[0] for found in all_roots])), 2, Accuracy(),
                      others=OtherStates(np.array([n for n, _, _ in others]), np.array([way for _, way, _ in others]),
                                         more, [2.0], [-2.0]))


def test_a_curve_is_cut_at_its_jumps_and_nowhere_else(table):
    low, high = branches(table)
    assert DRIVES[low.points] == pytest.approx(DRIVES[DRIVES < 2])
    assert DRIVES[high.points] == pytest.approx(DRIVES[DRIVES > -2])
    assert np.all(low.column(table, "output_dbm_2") < -1) and np.all(high.column(table, "output_dbm_2") > 1)
    for branch in (low, high):
        y = branch.column(table, "output_dbm_2")
        assert y**3 - 3 * y == pytest.approx(DRIVES[branch.points])
        inside = np.abs(DRIVES[branch.points]) < 2
        assert set(branch.turned[inside]) == {"up" if branch is low else "down"}
        assert set(branch.turned[~inside]) == {"both"}
    points, rows = between_the_jumps(table)
    assert np.all(np.abs(table.others.columns["output_dbm_2"][rows]) < 1) and np.all(np.abs(DRIVES[points]) < 2)


def test_a_jump_leaves_one_stretch_and_lands_on_the_other(table):
    low, high = found = branches(table)
    up, down = jumps(table, found)
    assert (up.drive_dbm, down.drive_dbm) == (2.0, -2.0)
    # Folds y = -1 and 1; the other root at these drives is 2 and -2. The last swept state lies half a step before
    # its fold, sqrt(half a step / 3) in level away from it (the curve is a parabola there); on the far side a straight
    # line between drives a step apart is off by less than step^2.
    near = 1.1 * np.sqrt(STEP / 2 / 3)
    assert up.ends(table, "output_dbm_2") == (pytest.approx(-1.0, abs=near), pytest.approx(2.0, abs=STEP**2))
    assert down.ends(table, "output_dbm_2") == (pytest.approx(1.0, abs=near), pytest.approx(-2.0, abs=STEP**2))


def test_without_the_fold_a_stretch_still_ends_where_the_ways_part(table):
    table.others.jumps_up_dbm.clear(), table.others.jumps_down_dbm.clear()
    assert [len(branch.points) for branch in branches(table)] == [np.sum(DRIVES < 2), np.sum(DRIVES > -2)]
    assert jumps(table, branches(table)) == []


def test_a_drive_with_one_state_has_one_stretch(table):
    table.others = None
    one, = branches(table)
    assert list(one.points) == list(range(len(DRIVES))) and jumps(table, [one]) == []


def test_both_ways_in_the_picture(table):
    figure = sweep_figure(table)
    levels, loss, slope = figure.axes
    for axes, of in ((levels, lambda y: y), (loss, lambda y: 20 - 2 * y)):
        shapes = {line.get_marker(): line for line in axes.lines
                  if axes is loss or line.get_color() == LINES[1][0]}
        for marker, which in (("^", 0), ("v", -1), (".", 1)):
            for x, y in zip(*shapes[marker].get_data()):
                assert abs(x) < 2 and y == pytest.approx(of(roots(x)[which]))
            assert len(shapes[marker].get_xdata()) >= 5
    for line in slope.lines:
        x, y = line.get_data()
        if len(x) < 5 or line.get_marker() in "^v":
            continue
        level = np.array([roots(d)[0 if x.min() < -2 else -1] for d in x])
        exact = 1 / (3 * level**2 - 3)
        # two steps from a fold and more, differences over two steps are within a fifth of the slope there
        far = np.minimum(abs(x - 2), abs(x + 2)) > 2 * STEP
        assert y[far] == pytest.approx(exact[far], rel=0.2)
        assert np.all(y > 0)  # a slope across a jump down would be the largest, one across the curve negative
    words = levels.get_title(loc="left").replace("\n", " ")
    assert "jumps up at 2.00 dBm; jumps down at -2.00 dBm" in words and "dots: states between" in words
    upright = {line.get_xdata()[0] for axes in figure.axes for line in axes.lines if len(set(line.get_xdata())) == 1
               and len(line.get_xdata()) == 2}
    assert upright == {2.0, -2.0}
    assert_readable(figure)


def test_every_state_has_a_row_on_the_page(table):
    lines = sweep_page(table, None).splitlines()
    assert lines[2].split()[:2] == ["drive.power", "turned"]
    rows = [line.split() for line in lines[4:lines.index("", 4)] if len(line.split()) == 6]
    assert 30 < len(rows) <= 60
    for drive, turned, _, level, *_ in rows:
        found = roots(float(drive))
        assert (turned == "both") == (len(found) == 1)
        assert float(level) == pytest.approx(found[{"both": 0, "up": 0, "neither": 1, "down": 2}[turned]], abs=0.006)
    assert {row[1] for row in rows} == {"both", "up", "neither", "down"}
    table.others = None
    assert "turned" not in sweep_page(table, None)


def test_states_of_a_branch_that_are_less_sure_are_marked(table):
    row = int(np.flatnonzero(table.others.turned == "down")[3])
    table.others.columns["truncation_db"][row] = 0.3
    ticks, = (line for line in sweep_figure(table).axes[0].lines if line.get_marker() == "|")
    assert list(ticks.get_xdata()) == [DRIVES[table.others.points[row]]]
    table.columns["truncation_db"][:] = 0.3
    page = sweep_page(table, None).splitlines()
    shown = [line for line in page if " both " in line or " up " in line]
    assert shown and all(line.endswith("~") for line in shown)


def test_a_circuit_that_jumps(examples):
    table = hbsim.load(examples / "varactor_jump.toml").sweep({"drive.power": "6:11:0.5dBm"}, harmonics=8)
    assert len(table.others.jumps_up_dbm) == len(table.others.jumps_down_dbm) == 1
    low, high = branches(table)
    assert high.column(table, "output_dbm_2").min() > low.column(table, "output_dbm_2").max()
    assert_readable(sweep_figure(table))
    assert " neither " in sweep_page(table, None)
