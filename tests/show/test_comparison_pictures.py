"""Pictures of comparisons: what is drawn of states, limits, many readings, reciprocal data, and how large.

The comparisons are made up here, so that what must be drawn is known beforehand.
"""

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.text import Text

from hbsim.bench.compare import Comparison, as_json, compared
from hbsim.bench.measurement import Measured
from hbsim.show.compare_plot import compare_figure
from hbsim.show.style import meaning_words
from hbsim.show.symmetry import told_twice

PRINT_MM, LETTERS, PAGE_MM = 170.0, 7.0, 240.0  # as an article is printed; common practice, no source


def readings(values, limit=None, sure=0.3, reach=1.0):
    values = np.asarray(values, float)
    limit = np.zeros(len(values), int) if limit is None else np.asarray(limit)
    return Measured(values, np.full(len(values), sure), values - reach, values + reach, limit)


def comparison(quantities, settings=None, name="up.csv", units=None):
    settings = {} if settings is None else {key: np.asarray(value, float) for key, value in settings.items()}
    kinds = {"drive.power": "dBm", "supply.VCC": "V", "frequency": "Hz", "base_amps": "A"} | (units or {})
    return Comparison(name, settings, {key: kinds[key] for key in settings}, quantities, np.zeros(0, int), {})


@pytest.fixture
def spectrum():
    """Three lines, the third an upper limit that the prediction breaks by 20 dB."""
    return comparison({
        f"output_dbm_{k}": compared(f"output_dbm_{k}", "dBm", readings([level], [limit]), np.array([level + off]))
        for k, level, limit, off in ((1, -30.0, 0, 0.2), (2, 3.0, 0, 1.5), (3, -70.0, -1, 20.0))},
        {"drive.power": [0.0], "supply.VCC": [3.0]})


@pytest.fixture
def swept():
    """Six drives; at the fourth the reading is a limit that lies 15 dB too low, at the first the band is open."""
    level = np.array([-37.0, -36.0, -35.0, -50.0, -34.0, -33.0])
    item = readings(level, [0, 0, 0, -1, 0, 0])
    item.low[0] = -np.inf
    return comparison({"output_dbm_1": compared("output_dbm_1", "dBm", item,
                                                np.array([-36.5, -35.5, -35.2, -35.0, -34.2, -33.4]))},
                      {"drive.power": [-10.0, -8.0, -6.0, -4.0, -2.0, 0.0]})


def marked(axes, mark):
    """All points that are drawn with a mark, in data, (n, 2)."""
    lines = [line for line in axes.lines if line.get_marker() == mark
             and line.get_transform().contains_branch_seperately(axes.transData)[1]]
    return np.concatenate([np.column_stack(line.get_data()) for line in lines]) if lines else np.zeros((0, 2))


def test_a_state_is_drawn_by_its_harmonics(spectrum):
    figure = compare_figure("board", [spectrum])
    above, below = figure.axes
    assert [label.get_text() for label in below.get_xticklabels()] == ["f0", "2 f0", "3 f0"]
    assert "At drive power 0 dBm, supply VCC 3 V." in " ".join(figure.get_suptitle().split())
    assert marked(above, "o").tolist() == [[1, -30], [2, 3]] and marked(above, "v").tolist() == [[3, -70]]
    assert sorted(marked(above, "x")[:, 1]) == [-50, -29.8, 4.5]
    bars = sorted(tuple(segment[:, 1]) for bar in above.collections for segment in bar.get_segments())
    assert bars == [(-31, -29), (2, 4)]  # the limit has no band
    assert marked(below, "o")[:, 1] == pytest.approx([-0.2, -1.5])
    assert any(text.get_text() == "-20" for text in below.texts)  # broken by so much, named at the edge


def test_other_quantities_of_a_state_share_a_panel_by_their_unit(spectrum):
    currents = {name: compared(name, "A", readings([value], sure=1e-4, reach=1e-4), np.array([1.02 * value]))
                for name, value in (("supply_amps_VCC", 0.011), ("supply_amps_VBB", 0.002))}
    figure = compare_figure("board", [comparison(spectrum.quantities | currents, spectrum.settings)])
    assert len(figure.axes) == 4
    amps = figure.axes[3]
    assert [label.get_text().split() for label in amps.get_xticklabels()] == [["current", "of", "VCC"],
                                                                            ["current", "of", "VBB"]]


def test_a_prediction_far_below_a_limit_that_it_keeps_squeezes_nothing():
    item = compared("output_dbm_3", "dBm", readings([-70.0], [-1]), np.array([-160.0]))
    other = compared("output_dbm_1", "dBm", readings([-30.0]), np.array([-30.5]))
    above, _ = compare_figure("", [comparison({"output_dbm_1": other, "output_dbm_3": item})]).axes
    assert above.get_ylim()[0] > -90.0 and any(text.get_text() == "-160" for text in above.texts)


def test_a_limit_breaks_the_band_and_is_a_triangle_below_too(swept):
    above, below = compare_figure("board", [swept]).axes
    band, = (item for item in above.collections if len(item.get_paths()) and hasattr(item, "get_hatch")
             and item.get_alpha() == 0.15)
    covered = [(path.vertices[:, 0].min(), path.vertices[:, 0].max()) for path in band.get_paths()]
    assert covered == [(-10, -6), (-2, 0)]
    assert marked(above, "v").tolist() == [[-4, -50]] and marked(below, "v").tolist() == [[-4, -15]]
    assert [text.get_text() for text in below.texts] == ["-15"]
    edge, = (line for line in below.lines if line.get_marker() == "v" and 0 < line.get_ydata()[0] < 1)
    assert edge.get_xdata()[0] == -4


def test_panels_keep_the_scale_of_the_readings(swept):
    above, below = compare_figure("board", [swept]).axes
    low, high = above.get_ylim()
    assert low > -60.0 and high < -25.0  # the open band of the first point leaves the panel
    assert below.get_ylim()[0] > -2.0  # the broken limit is 15 dB off


def test_curves_are_told_apart_by_their_marks():
    drive, supply = np.tile([-10.0, -5.0, 0.0], 2), np.repeat([2.0, 4.0], 3)
    item = compared("output_dbm_2", "dBm", readings(drive + supply), drive + supply + 0.1)
    figure = compare_figure("", [comparison({"output_dbm_2": item}, {"drive.power": drive, "supply.VCC": supply})])
    above = figure.axes[0]
    assert marked(above, "o")[:, 1].tolist() == [-8, -3, 2] and marked(above, "s")[:, 1].tolist() == [-6, -1, 4]
    assert "Curves differ in supply VCC." in " ".join(figure.get_suptitle().split())
    assert {text.get_text() for text in above.texts} == {"2 V", "4 V"}


def test_many_readings_leave_the_prediction_to_be_seen():
    """Relative luminance of sRGB by IEC 61966-2-1 (coefficients of ITU-R BT.709), gamma left out."""
    x = np.linspace(1e9, 2e9, 200)
    item = compared("s21_db", "dB", readings(np.sin(x / 1e8)), np.sin(x / 1e8))
    above = compare_figure("", [comparison({"s21_db": item}, {"frequency": x})]).axes[0]
    dots, = (line for line in above.lines if line.get_marker() == "o" and len(line.get_xdata()) == 200)
    line, = (line for line in above.lines if line.get_linestyle() == "-" and len(line.get_xdata()) == 200)
    luminance = [np.dot(to_rgb(item.get_color()), (0.2126, 0.7152, 0.0722)) for item in (dots, line)]
    assert luminance[0] - luminance[1] > 0.25 and line.get_zorder() > dots.get_zorder()
    assert dots.get_markersize() > line.get_linewidth()


def two_port(off):
    rng, x = np.random.default_rng(3), np.linspace(1e9, 2e9, 40)
    through = -2.0 - 10.0 * (x / 1e9 - 1.5) ** 2
    found = {"s11_db": compared("s11_db", "dB", readings(through - 10, sure=0.1), through - 10)}
    for name, away in (("s21_db", 0.0), ("s12_db", off)):
        read = through + away + 0.1 * rng.standard_normal(40)
        found[name] = compared(name, "dB", readings(read, sure=0.1), through)
    return comparison(found, {"frequency": x}, "filter.s2p")


def test_what_is_the_same_both_ways_is_drawn_once():
    figure = compare_figure("board", [two_port(0.0)])
    assert [axes.get_title("left") for axes in figure.axes[::2]] == ["S11 magnitude", "S21 magnitude"]
    words = " ".join(figure.get_suptitle().split())
    assert "board: filter.s2p" in words and "S12 magnitude is that of S21 within its uncertainty" in words


def test_what_is_not_the_same_both_ways_is_drawn_twice():
    assert not told_twice(two_port(0.5))  # five standard uncertainties
    assert len(compare_figure("board", [two_port(0.5)]).axes) == 6


def many_files():
    x = np.linspace(-10.0, 0.0, 6)
    found = []
    for name, count in (("drive.csv", 4), ("supply.csv", 4), ("frequency.csv", 2)):
        names = ["output_dbm_2", "input_return_loss_db", "output_dbm_1", "supply_amps_VCC"][:count]
        found.append(comparison({key: compared(key, "dBm" if "dbm" in key else "dB", readings(x), x + 0.2)
                                 for key in names}, {"drive.power": x}, name))
    return found


@pytest.mark.parametrize("comparisons", [many_files(), many_files()[:1], [two_port(0.5)],
                                         [comparison(many_files()[0].quantities, {"drive.power": np.zeros(6)})]])
def test_pictures_are_made_for_print(comparisons):
    figure = compare_figure("A title of a circuit that is as long as such titles are", comparisons)
    width, height = figure.get_size_inches() * 25.4
    assert width == pytest.approx(PRINT_MM) and height <= PAGE_MM
    figure.draw_without_rendering()  # makes the figures at the axes
    letters = [text for text in figure.findobj(Text) if text.get_text() and text.get_visible()]
    assert len(letters) > 20 and min(text.get_fontsize() for text in letters) >= LETTERS


def test_several_files_stand_side_by_side():
    titles = [axes.get_title("left").split("\n") for axes in compare_figure("", many_files()).axes[::2]]
    assert len(titles) == 10 and titles[0] == ["drive.csv", "output at 2 f0"]


def test_what_finds_no_room_is_said():
    files = [comparison(many_files()[0].quantities, many_files()[0].settings, f"{n}.csv") for n in range(5)]
    figure = compare_figure("", files)
    assert len(figure.axes) == 2 * 15 and "5 more panels find no room" in " ".join(figure.get_suptitle().split())


def test_every_number_that_is_drawn_is_in_the_json(spectrum, swept):
    for one in (spectrum, swept, two_port(0.0)):
        kept = {round(float(value), 9) for item in as_json([one])[0]["quantities"].values() for value in
                [item["bias"] or 0.0, *(number for row in ("measured", "predicted", "difference", "band_low",
                                                           "band_high") for number in item[row] if number is not None)]}
        drawn = [float(value) for axes in compare_figure("", [one]).axes for line in axes.lines
                 if line.get_transform().contains_branch_seperately(axes.transData)[1] and len(line.get_ydata())
                 for value in line.get_ydata()]
        assert len(drawn) > 10 and all(round(value, 9) in kept | {0.0} for value in drawn if np.isfinite(value))


@pytest.mark.parametrize("name, words", [
    ("drive.power", "drive power"), ("supply.VCC", "supply VCC"), ("supply.VCC.voltage", "supply VCC"),
    ("base_volts", "base voltage"), ("s21_db", "S21 magnitude"), ("s2_11_deg", "S2,11 phase"),
    ("output_dbm_2", "output at 2 f0"), ("filter_1.length", "filter_1 length")])
def test_settings_and_quantities_in_words(name, words):
    assert meaning_words(name) == words
