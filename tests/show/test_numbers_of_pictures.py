"""Every number that is drawn stands in the JSON of the same command.

Each command draws here as it does for a person, but the figure is kept before it becomes a file. Of every line the
values that stand in the coordinates of the data, of every bar its length and of every contour its level must be among
the numbers of the JSON, but for a prefix of the unit, the sign, percent and degC. The numbers of lines and bars are
counted, so that a picture which holds nothing to check fails.
"""

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from hbsim import cli
from hbsim.show import style
from hbsim.show.smith import SCALE
from hbsim.show.style import PERIODS, STEM

FACTORS = 10.0 ** np.array([0, -9, -6, -3, 2, 3, 6, 9, 12])
SAME = 1e-9  # relative: the unit's prefix and nothing else lies between a number and its picture
ZERO_CELSIUS = 273.15
SMALLEST_POINTS = 5.0  # letters in a print 170 mm wide, two columns of a usual page; common practice, no source
PRINT_INCHES = 170.0 / 25.4


@dataclass
class Drawn:
    """A figure, what the JSON of the same run says, and all its numbers without their signs, rising."""

    figure: object
    said: dict
    numbers: np.ndarray

    def holds(self, values):
        """Whether each value is among the numbers, (n,)."""
        values = np.abs(np.asarray(values, float))[:, None] / FACTORS
        at = np.searchsorted(self.numbers, values).clip(1, len(self.numbers) - 1)
        near = np.minimum(np.abs(self.numbers[at] - values), np.abs(self.numbers[at - 1] - values))
        return (near <= SAME * values).any(axis=1)


def numbers_in(said):
    """All numbers of plain data."""
    if isinstance(said, dict):
        return [number for value in said.values() for number in numbers_in(value)]
    if isinstance(said, list):
        return [number for value in said for number in numbers_in(value)]
    return [float(said)] if isinstance(said, (int, float)) and not isinstance(said, bool) else []


@pytest.fixture
def draw(tmp_path, monkeypatch, examples):
    def run(*arguments):
        kept = []
        monkeypatch.setattr(style, "save", lambda figure, path: kept.append(figure))
        paths = [str(examples / text) if text.endswith((".toml", ".s2p")) else text for text in arguments]
        status = cli.main([*paths, "--json", str(tmp_path / "said.json"), "--plot", str(tmp_path / "drawn.png")])
        assert status == 0
        said = json.loads((tmp_path / "said.json").read_text())
        return Drawn(kept[0], said, np.unique(np.abs(numbers_in(said))))
    return run


def everything(drawn):
    """Lines, bars and contours that are checked, counted; fails with the first that is not in the JSON."""
    counts = {"lines": 0, "bars": 0, "contours": 0}
    for panel in drawn.figure.axes:
        for line in panel.lines:
            counts["lines"] += checked_line(drawn, panel, line)
        for bars in panel.containers:
            lengths = np.array(bars.datavalues, float)
            assert drawn.holds(lengths).all(), f"bars of {lengths} in '{panel.get_title('left')}'"
            counts["bars"] += len(lengths)
        counts["contours"] += sum(checked_contours(drawn, item) for item in panel.collections)
    return counts


def checked_line(drawn, panel, line):
    """1 for a line that is checked, 0 for one without data."""
    if line.get_gid() == SCALE:
        return 0
    in_data = line.get_transform().contains_branch_seperately(panel.transData)
    x, y = (np.asarray(values, float) for values in line.get_data())
    if line.get_gid() == STEM:  # stands on the foot of the panel
        y = y[:1]
    shown = np.isfinite(x[:len(y)]) & np.isfinite(y)
    if not shown.any() or not any(in_data):
        return 0
    for number, values in enumerate((x[:len(y)][shown], y[shown])):
        if not in_data[number] or (values == 0).all():  # all 0: an axis drawn through the panel
            continue
        known = drawn.holds(values) | drawn.holds(values + ZERO_CELSIUS)
        if number == 0 and line.get_gid() == PERIODS:  # one period or two; the JSON has one
            known |= drawn.holds(values - values[-1]) | drawn.holds(values - values[-1] / 2)
        assert known.all(), (f"{(~known).sum()} of {len(known)} values of a line of '{panel.get_title('left')}', "
                             f"'{panel.get_ylabel()}' against '{panel.get_xlabel()}': {values[~known][:5]}")
    return 1


def checked_contours(drawn, item):
    """How many lines of contours are checked: every one lies where the surface of the JSON has its level."""
    if not hasattr(item, "levels") or item.filled:
        return 0
    x, y, surfaces = surfaces_of(drawn)
    if "contours" in drawn.said:  # those of a map are round figures, as ticks are
        assert drawn.holds(item.levels).all(), f"levels {item.levels}"
    count = 0
    for level, path in zip(item.levels, item.get_paths()):
        if not len(path.vertices):
            continue
        # a contour crosses the edges of the grid, along which it is found on a straight line
        on_edge = edges(path.vertices, x, y)
        places = path.vertices[on_edge]
        off = [np.nanmax(np.abs(bilinear(x, y, z, places) - level), initial=0.0) for z in surfaces]
        assert min(off) < 1e-5, f"a contour of {level} is not in the JSON: {off}"  # the JSON rounds to 1e-6 dB
        count += 1
    return count


def edges(vertices, x, y):
    """Which vertices lie on lines of the grid."""
    return np.isclose(vertices[:, :1], x, rtol=0, atol=1e-9 * np.ptp(x)).any(axis=1) | np.isclose(
        vertices[:, 1:], y, rtol=0, atol=1e-9 * np.ptp(y)).any(axis=1)


def bilinear(x, y, z, places):
    from scipy.interpolate import RegularGridInterpolator
    inside = np.clip(places[:, ::-1], [y[0], x[0]], [y[-1], x[-1]])  # off by the last digit at an edge
    return RegularGridInterpolator((y, x), z)(inside)


def surfaces_of(drawn):
    """Grid and surfaces of a map or a chart of terminations, from the JSON alone."""
    said = drawn.said
    if "surface" in said:
        grid = said["surface"]
        return (np.array(grid["reflection_real"]), np.array(grid["reflection_imag"]),
                [np.array(grid[name], float) for name in ("output_dbm", "input_return_loss_db")])
    (_, y), (_, x) = said["axes"].items()
    return (np.array(x), np.array(y), [np.array(said["columns"][name], float).reshape(len(y), len(x))
                                       for name in ("output_dbm_2", "input_return_loss_db")])


BEACON = "beacon_2304.toml"
FOUR_PORTS = str(Path(__file__).parents[1] / "linear/touchstone_wild/bench_vna_four_port_75_ohm_tabs.s4p")
WILD = Path(__file__).parents[1] / "bench/wild"
FEW = ("--harmonics", "8")
BOARD = ("--board", "fr4-0.8mm")
LOAD = ("--resistance", "12ohm", "--reactance=-35ohm", "--at", "2.3GHz")
PICTURES = {
    "predict": (("predict", BEACON, *FEW), {"lines": 12}),
    "predict two transistors": (("predict", "push_push_2304.toml", *FEW), {"lines": 16}),
    "sweep along the drive": (("sweep", BEACON, *FEW, "--vary", "drive.power=-20dBm:10dBm:1dB"), {"lines": 10}),
    "sweep with jumps": (("sweep", "varactor_jump.toml", *FEW, "--vary", "drive.power=0dBm:14dBm:0.5dB"),
                         {"lines": 34}),
    "sweep of a supply": (("sweep", BEACON, *FEW, "--vary", "supply.VCC=1V:6V:0.5V"), {"lines": 7}),
    "map": (("sweep", BEACON, *FEW, "--vary", "drive.power=-6dBm:6dBm:2dB", "--vary", "supply.VCC=2V:6V:1V"),
            {"lines": 5, "contours": 21}),
    "drive": (("drive", BEACON, *FEW), {"lines": 8}),
    "drive, temperatures": (("drive", "diode_doubler.toml", *FEW, "--temperatures=-20degC,25degC,70degC"),
                            {"lines": 15, "bars": 4}),
    "bias": (("bias", BEACON, *FEW, "--vary", "supply.VCC=1V:7V:0.5V"), {"lines": 31}),
    "budget": (("budget", BEACON, *FEW), {"bars": 55}),
    "tradeoff": (("tradeoff", "lumped_doubler.toml", "--harmonics", "6", "--free", "supply.VCC=2V:5V"), {"lines": 6}),
    "terminations": (("terminations", BEACON, *FEW, "--at", "collector", "--harmonic", "2", "--rings", "5"),
                     {"lines": 4, "contours": 12}),
    "stub": (("terminations", BEACON, "--harmonics", "6", "--at", "collector", "--harmonic", "1", "--move-stub"),
             {"lines": 9}),
    "network": (("network", BEACON, "--points", "101"), {"lines": 26}),
    "touchstone of 4 ports": (("touchstone", FOUR_PORTS), {"lines": 19}),
    "touchstone": (("touchstone", "filter_2304.s2p"), {"lines": 4}),
    "transistor": (("device", "npn-25ghz"), {"lines": 16}),
    "diode": (("device", "varactor-abrupt"), {"lines": 4}),
    "line": (("design", "line", *BOARD, "--impedance", "50ohm", "--at", "2.3GHz"), {"lines": 2}),
    "pair": (("design", "pair", *BOARD, "--impedance", "50ohm", "--coupling", "15dB", "--at", "2.3GHz"), {"lines": 4}),
    "filter": (("design", "filter", *BOARD, "--from", "2.2GHz", "--to", "2.4GHz", "--ripple", "0.1dB",
                "--order", "3"), {"lines": 8}),
    "match by a stub": (("design", "match", *BOARD, *LOAD), {"lines": 10}),
    "match by lumped parts": (("design", "match", "--lumped", *LOAD), {"lines": 20}),
    "readings of two sweeps": (("readings", str(WILD / "pa_power_sweep_wide.csv")), {"lines": 16}),
    "readings of three sweeps": (("readings", str(WILD / "rf_vs_power_blank_line_blocks.dat")), {"lines": 12}),
    "readings with a marker": (("readings", str(WILD / "sa_key_value_stacked.csv")), {"lines": 2}),
    "lines of a spectrum": (("readings", str(WILD / "sa_key_value_stacked.csv"), "--f0", "48.8MHz"), {"lines": 4}),
    "feed": (("design", "feed", *BOARD, "--at", "1.152GHz", "--radial", "60deg"), {"lines": 7}),
}


@pytest.mark.parametrize("name", ["diode", "budget", "terminations", "feed"])
def test_the_check_sees_what_is_not_in_the_json(draw, name):
    drawn = draw(*PICTURES[name][0])
    everything(drawn)
    # a millionth off is a thousand times what the check lets pass, and less than a picture shows
    lines = [line for panel in drawn.figure.axes for line in panel.lines
             if checked_line(drawn, panel, line) and line.get_ydata()[0] != 0][:3]
    for line in lines:
        before = line.get_ydata()
        line.set_ydata(np.asarray(before) * (1 + 1e-6))
        with pytest.raises(AssertionError):
            everything(drawn)
        line.set_ydata(before)
    assert lines or name == "budget"
    drawn.numbers = np.array([1.0, 2.0])
    drawn.said = {"surface": {"reflection_real": [-1, 1], "reflection_imag": [-1, 1],
                              "output_dbm": [[0, 0], [0, 0]], "input_return_loss_db": [[0, 0], [0, 0]]}}
    with pytest.raises(AssertionError):
        everything(drawn)


@pytest.mark.parametrize("name", PICTURES)
def test_every_number_of_a_picture_is_in_the_json(draw, name):
    arguments, expected = PICTURES[name]
    drawn = draw(*arguments)
    assert everything(drawn) == {"lines": 0, "bars": 0, "contours": 0} | expected
    width = drawn.figure.get_size_inches()[0]
    small = [text.get_text() for text in drawn.figure.findobj(lambda item: hasattr(item, "get_fontsize"))
             if text.get_text().strip() and text.get_fontsize() * PRINT_INCHES / width < SMALLEST_POINTS]
    assert not small, f"too small in print: {small[:5]}"
