"""One look for all pictures: dark ink, few colours that print and survive colour-blind eyes, labels at the lines."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..devices.contract import ZERO_CELSIUS
from ..errors import Refusal
from ..files import replaced
from ..quantities import PREFIXES, show

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

INK, PALE = "#222222", "#9a9a9a"
# Blue, vermilion, green and purple of the colour-blind safe set of M. Okabe and K. Ito (2008); each line also has a
# dash pattern of its own, so that a grey print still tells them apart.
LINES = (("#0072B2", "-"), ("#D55E00", (0, (6, 2))), ("#009E73", (0, (2, 1.5))), ("#7a4f9a", (0, (6, 2, 1.5, 2))))
# For what may be more than four: the same, then their lighter kin with dashes of yet other lengths.
MANY_LINES = (*LINES, ("#56B4E9", (0, (12, 2))), ("#E69F00", (0, (1, 1))), ("#222222", (0, (6, 1.5, 1, 1.5, 1, 1.5))),
              ("#CC79A7", (0, (12, 2, 3, 2))))
DOTS, DASHES = (0, (1, 1.5)), (0, (4, 3))
LOWEST_DBM = -100.0  # lines below this are left out of pictures
STEM, PERIODS = "stem", "periods"  # marks of lines: on the foot of the panel; over whole periods of a waveform
FORMATS = ("png", "svg", "pdf")
PRINT_INCHES = 170.0 / 25.4  # width of two columns of a usual page; common practice, no source
_BY_HARMONIC = {"output_dbm": "output at", "output_dbc": "against the wanted line, at", "output_phase_deg": "phase at"}
_BY_NAME = {"supply_amps_": "current of", "dissipation_watts_": "heat in", "peak_volts_": "peak voltage at"}
_WORDS = {"input_return_loss_db": "input return loss", "conversion_loss_db": "conversion loss",
          "supply_watts": "supply power", "collector_amps": "collector current", "base_amps": "base current",
          "emitter_amps": "emitter current",
          "anode_amps": "anode current", "base_emitter_farads": "base-emitter capacitance",
          "base_collector_farads": "base-collector capacitance",
          "collector_substrate_farads": "collector-substrate capacitance", "junction_farads": "junction capacitance",
          "base_volts": "base voltage", "collector_volts": "collector voltage", "anode_volts": "anode voltage",
          "reverse_volts": "reverse voltage"}
_OF_S = {"db": "magnitude", "deg": "phase", "re": "real part", "im": "imaginary part"}
_S = re.compile(r"s(\d\d|\d+_\d+)_(db|deg|re|im)")


def new_figure(width: float, height: float) -> "Figure":
    """An empty figure in the house look; sizes in inches, made without any screen."""
    from matplotlib import rcParams
    from matplotlib.figure import Figure
    rcParams.update({"font.size": 9, "axes.edgecolor": INK, "axes.labelcolor": INK, "text.color": INK,
                     "xtick.color": INK, "ytick.color": INK, "axes.spines.top": False, "axes.spines.right": False,
                     "axes.grid": True, "grid.color": "#dddddd", "grid.linewidth": 0.6, "axes.titlesize": 9,
                     "axes.titlelocation": "left", "svg.fonttype": "none", "axes.axisbelow": True})
    return Figure(figsize=(width, height), layout="constrained")


def print_figure(height: float) -> "Figure":
    """An empty figure as wide as a print of 170 mm, with letters of 8 points there; the height in inches."""
    from matplotlib import rcParams
    figure = new_figure(PRINT_INCHES, height)
    rcParams.update({"font.size": 8, "axes.titlesize": 8})
    return figure


def heading(figure: "Figure", title: str, points: float = 10) -> None:
    """Write over the whole picture, from its left edge on, in letters of so many points."""
    figure.suptitle(title, x=0.01, ha="left", fontsize=points)


def scaled(values: np.ndarray, unit: str) -> tuple[np.ndarray, str]:
    """Values in the prefixed unit that suits the largest, and that unit; K becomes degC, 1 an empty text."""
    if unit == "K":
        return values - ZERO_CELSIUS, "degC"
    largest = np.abs(values[np.isfinite(values)]).max(initial=0.0)
    shown = show(float(largest), unit).partition(" ")[2]
    return values / PREFIXES.get(shown.removesuffix(unit), 1.0), shown


def log_axis(axis: "Axis", values: np.ndarray) -> None:
    """Make an axis logarithmic, with plain figures at 1, 2 and 5 of each decade, and at the ends of the values if these
    would be fewer than three."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter
    low, high = float(values.min()), float(values.max())
    decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    round_ones = [m * 10.0**n for n in decades for m in ((1, 2, 5) if len(decades) < 5 else (1,))]
    ticks = [t for t in round_ones if low * (1 - 1e-9) <= t <= high * (1 + 1e-9)]
    axis.axes.set(**{f"{axis.axis_name}scale": "log"})
    axis.set_major_locator(FixedLocator(ticks if len(ticks) > 2 else sorted({low, *ticks, high})))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.4g}"))
    axis.set_minor_formatter(NullFormatter())


def axis_label(address: str, unit: str) -> str:
    """A quantity with the unit that its figures are in."""
    return f"{address} / {unit}" if unit else address


def harmonic_name(harmonic: int) -> str:
    """"f0", "2 f0", ..."""
    return "f0" if harmonic == 1 else f"{harmonic} f0"


def figure_words(name: str) -> str:
    """A column of a table as people say it: "output at 2 f0" for "output_dbm_2"; other names stay."""
    stem, _, last = name.rpartition("_")
    if last.isdecimal() and stem in _BY_HARMONIC:
        return f"{_BY_HARMONIC[stem]} {harmonic_name(int(last))}"
    for head, words in _BY_NAME.items():
        if name.startswith(head):
            return f"{words} {name.removeprefix(head)}"
    of_s = _S.fullmatch(name)
    if of_s:
        return f"S{of_s[1].replace('_', ',')} {_OF_S[of_s[2]]}"
    return _WORDS.get(name, name)


def meaning_words(name: str) -> str:
    """What was measured or set, as people say it: "output at 2 f0", "drive power" for "drive.power", "base voltage" for
    "base_volts"."""
    words = figure_words(name)
    if words != name:
        return words
    return (name.removesuffix(".voltage") if name.startswith("supply.") else name).replace(".", " ")


def check_format(path: str) -> str:
    """File ending of a picture; raises Refusal for one that cannot be written."""
    ending = Path(path).suffix.lower().lstrip(".")
    if ending not in FORMATS:
        raise Refusal(f"a picture ends in .{', .'.join(FORMATS)}; '{Path(path).name}' does not", file=path)
    return ending


def save(figure: "Figure", path: str) -> None:
    """Write a figure; the ending of the path decides the format."""
    ending = check_format(path)
    with replaced(path, "wb") as handle:
        figure.savefig(handle, format=ending, dpi=160)


def spread(wanted: np.ndarray, low: float, high: float, share: float) -> np.ndarray:
    """Rising places (n,) as near to the wanted, rising ones as a distance of a share of high - low lets them be.

    Of all such rows the one with the least sum of squares, from `low` on, and to `high` if there is room for it.
    """
    from scipy.optimize import isotonic_regression
    steps = share * (high - low) * np.arange(len(wanted))
    return np.clip(isotonic_regression(wanted - steps).x, low, max(low, high - steps[-1])) + steps


def label_lines(axes: "Axes", ends: list[tuple[float, float, str, str]], share: float = 0.055) -> None:
    """Write labels at the right end of lines, pushed apart where they would overlap.

    ends : (x, y, text, colour) of each line's last point, in data coordinates.
    share : of the height of the panel, between two labels.
    """
    if not ends:
        return
    low, high = axes.get_ylim()
    placed = sorted(ends, key=lambda end: end[1])
    for y, (x, _, text, colour) in zip(spread(np.array([end[1] for end in placed]), low, high, share), placed):
        axes.annotate(text, (x, y), xytext=(5, 0), textcoords="offset points", color=colour, va="center",
                      fontsize=8, annotation_clip=False)
