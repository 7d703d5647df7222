"""Pictures of `hbsim design`: what an analysis of the design gives beside what was wanted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..design import curves
from ..design.coupled_filter import FilterDesign
from ..design.feed import HARMONICS, LINE_OHM, FeedDesign
from ..design.figures import Design
from ..design.lines import LineDesign
from ..design.lumped_match import LumpedMatchDesign, ways
from ..design.pairs import PairDesign
from ..design.stub_match import StubMatchDesign
from ..quantities import show
from .smith import SCALE, own_figures, smith_chart
from .style import DASHES, DOTS, INK, LINES, PALE, harmonic_name, heading, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_FLOOR_DB = -80.0
_PLATE = {"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85}  # under letters
_LARGEST = 1e5  # of an impedance drawn. [ohm]


def design_figure(design: Design) -> "Figure":
    """The picture that belongs to a design."""
    draw = {LineDesign: _line, PairDesign: _pair, FilterDesign: _filter, StubMatchDesign: _stub_match,
            LumpedMatchDesign: _lumped_match, FeedDesign: _feed}
    return draw[type(design)](design)


# -- filter --------------------------------------------------------------------------------------------------------


def _filter(d: FilterDesign) -> "Figure":
    """Near the pass-band, and from a third to more than twice its centre."""
    band, prototype = d.wish.band, d.wish.prototype
    figure = new_figure(8.0, 7.6)
    near, far = figure.subplots(2, 1)
    kind = f"Chebyshev, {show(prototype.ripple_db, 'dB')} ripple" if prototype.ripple_db else "maximally flat"
    edges = f"{show(band.low, 'Hz', 5)} to {show(band.high, 'Hz', 5)}"
    heading(figure, f"Band-pass of {prototype.order} {'hairpin' if d.hairpin else 'straight'} resonators, {kind}; "
                    f"wanted {edges}")
    _response(near, d, curves.response_near(d), back=True)
    near.set_title("Around the pass-band (grey: as wanted); thick: through, thin: reflected; dashed: ideal prototype")
    near.set_ylim(-45.0, 2.0)
    _response(far, d, curves.response_far(d), back=False)
    far.set_title("Through, far and wide; dashed: ideal prototype")
    far.set_ylim(_FLOOR_DB, 2.0)
    for share, name in ((0.5, "half"), (2.0, "twice the centre")):
        far.axvline(share * band.centre / 1e9, color=PALE, linewidth=0.8, linestyle=DOTS)
        far.annotate(name, (share * band.centre / 1e9, _FLOOR_DB), xytext=(3, 4), textcoords="offset points",
                     fontsize=7.5, color=INK, bbox=_PLATE)
    return figure


def _response(axes: "Axes", d: FilterDesign, found: curves.Response, *, back: bool) -> None:
    band = d.wish.band
    axes.axvspan(band.low / 1e9, band.high / 1e9, color="#e9e9e9", zorder=0)
    x, (blue, _), (red, _) = found.frequency / 1e9, LINES[0], LINES[1]
    axes.plot(x, found.prototype_through, color=INK, linestyle=DASHES, linewidth=0.9)
    axes.plot(x, found.through, color=blue, linewidth=1.8)
    if back:
        axes.plot(x, found.prototype_reflected, color=PALE, linestyle=DASHES, linewidth=0.8)
        axes.plot(x, found.reflected, color=red, linewidth=1.0)
    axes.set(xlabel="frequency / GHz", ylabel="level / dB", xlim=(x[0], x[-1]))
    if not back:
        return
    level, middle = found.through, len(x) // 2
    at = middle + int(np.argmin(np.abs(level[middle:] + 18.0)))
    axes.annotate("through (S21)", (x[at], level[at]), xytext=(-7, -5), textcoords="offset points", ha="right",
                  va="top", fontsize=8, color=blue, bbox=_PLATE)
    side = int(np.argmin(np.abs(found.frequency - band.high - 0.75 * band.width)))
    axes.annotate("reflected (S11)", (x[side], found.reflected[side]), xytext=(0, -12), ha="center",
                  textcoords="offset points", fontsize=8, color=red, bbox=_PLATE)
    axes.annotate(f"{max(d.found.centre_loss_db, 0.0):.2f} dB at the centre",
                  (band.centre / 1e9, -d.found.centre_loss_db), xytext=(0, -12), textcoords="offset points",
                  ha="center", fontsize=8, color=blue)


# -- matches -------------------------------------------------------------------------------------------------------


def _stub_match(d: StubMatchDesign) -> "Figure":
    """A chart for each solution: from the load along the line, then along the stub to the centre."""
    figure = new_figure(4.4 * max(len(d.solutions), 1.3), 5.2)
    heading(figure, f"Match of {_ohms(d.load)} to {show(d.impedance, 'ohm')} at {show(d.frequency, 'Hz', 5)} by one "
                    f"{d.solutions[0].kind} stub;\ndashed circle: conductance of the line"
                    f"{'' if d.board is None else '; black: the tee'}")
    for number, (axes, s) in enumerate(zip(np.atleast_1d(figure.subplots(1, len(d.solutions))), d.solutions), 1):
        line = f"{s.distance_degrees:.1f} deg" if s.distance is None else f"{1e3 * s.distance:.2f} mm"
        stub = f"{s.stub_degrees:.1f} deg" if s.stub is None else f"{1e3 * s.stub:.2f} mm"
        reached = f"{s.return_loss_db[1]:.3g} dB" if s.return_loss_db[1] < 99.0 else "above 99 dB"
        axes.set_title(f"Solution {number}: return loss {reached}", loc="left")
        _steps(axes, d.impedance, [(np.array(s.along_line), f"line, {line}"),
                                   (np.array(s.along_stub), f"{s.kind} stub, {stub}")])
    return figure


def _lumped_match(d: LumpedMatchDesign) -> "Figure":
    count = len(d.solutions)
    columns = min(count, 2)
    figure = new_figure(4.4 * columns, 5.2 if count < 3 else 9.6)
    heading(figure, f"Match of {_ohms(d.load)} to {show(d.impedance, 'ohm')} at {show(d.frequency, 'Hz', 5)} by lumped "
                    f"parts;\ndashed circle: conductance of the line")
    panels = np.atleast_1d(figure.subplots(-(-count // columns), columns)).ravel()
    for number, (axes, s) in enumerate(zip(panels, d.solutions), 1):
        told = []
        for element, way in zip(reversed(s.elements), ways(d, s)):
            part = element.part
            size = show(part.inductance, "H", 3) if part.kind == "inductor" else show(part.capacitance, "F", 3)
            told.append((way, f"{size} {'in series' if element.name == 'match_series' else 'across'}"))
        axes.set_title(f"Solution {number}: {s.passes.partition(';')[0]}", loc="left")
        _steps(axes, d.impedance, told)
    for axes in panels[count:]:
        axes.axis("off")
    return figure


def _steps(axes: "Axes", impedance: float, steps: list[tuple[np.ndarray, str]]) -> None:
    """Ways on a Smith chart from the load on, one after the other, each with its name and a head half way."""
    smith_chart(axes, impedance)
    turn = np.exp(1j * np.linspace(0.0, 2.0 * np.pi, 181))
    axes.plot(-0.5 + 0.5 * turn.real, 0.5 * turn.imag, color=INK, linewidth=0.9, linestyle=DASHES, zorder=2,
              gid=SCALE)
    load, end = complex(steps[0][0][0]), complex(steps[-1][0][-1])
    ways = np.concatenate([way for way, _ in steps])
    taken = [_box(load, "o"), _box(end, "ooo"), *own_figures(impedance)]
    for (before, _), (after, _) in zip(steps, steps[1:]):  # what stands between two steps, a tee
        tee = np.array([before[-1], after[0]])
        axes.plot(tee.real, tee.imag, color=INK, linewidth=2.4, zorder=3.5)
    for (way, name), (colour, dash) in zip(steps, LINES):
        axes.plot(way.real, way.imag, color=colour, linestyle=dash, linewidth=2.0, zorder=3)
        run = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(way)))])
        middle = max(int(np.searchsorted(run, run[-1] / 2.0)), 1)
        axes.annotate("", (way[middle].real, way[middle].imag), (way[middle - 1].real, way[middle - 1].imag), zorder=4,
                      arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.0, "shrinkA": 0, "shrinkB": 0,
                                  "mutation_scale": 13})
        _write(axes, complex(way[middle]), name, colour, taken, ways)
    _write(axes, load, "load", INK, taken, ways)
    axes.plot(load.real, load.imag, "o", color=INK, markersize=5, zorder=7)
    # a ring about the figure that the chart has in its centre
    axes.plot(end.real, end.imag, "o", markerfacecolor="none", markeredgecolor=INK, markersize=13, zorder=7)


_NEAR = (0.1, 0.15, 0.2, 0.27, 0.35, 0.45)  # how far from its place a name may stand, in units of the chart


def _box(place: complex, text: str) -> tuple[float, float, float, float]:
    """Middle and half sizes of a text of 8.5 points on a chart of about 4.6 inches."""
    return place.real, place.imag, 0.017 * len(text) + 0.015, 0.04


def _write(axes: "Axes", at: complex, text: str, colour: str, taken: list[tuple[float, float, float, float]],
           ways: np.ndarray) -> None:
    """A name near its place, clear of what is named already, of the ways and of the rim."""
    def trouble(place: complex) -> float:
        x, y, wide, high = _box(place, text)
        over = sum(abs(x - other[0]) < wide + other[2] and abs(y - other[1]) < high + other[3] for other in taken)
        crossed = int(((np.abs(ways.real - x) < wide) & (np.abs(ways.imag - y) < high)).sum())
        outside = np.hypot(abs(x) + wide, abs(y) + high) > 1.0
        return 10.0 * over + min(crossed, 5) + 3.0 * outside + 4.0 * abs(place - at)

    around = np.exp(2j * np.pi * (np.arange(24) + 0.5) / 24)
    place = min((at + far * way for far in _NEAR for way in around), key=trouble)
    taken.append(_box(place, text))
    axes.annotate(text, (place.real, place.imag), ha="center", va="center", fontsize=8.5, color=colour, zorder=6,
                  bbox=_PLATE)


def _ohms(z: complex) -> str:
    return f"{z.real:.4g} {'-' if z.imag < 0 else '+'} j{abs(z.imag):.4g} ohm"


# -- feed, line, pair ----------------------------------------------------------------------------------------------


def _feed(d: FeedDesign) -> "Figure":
    figure = new_figure(8.0, 4.6)
    axes = figure.subplots()
    name = "f0" if d.harmonic == 1 else f"{d.harmonic} f0"
    stub = f"an open stub of {show(d.stub_impedance, 'ohm', 3)}" if d.stub_angle is None else "a radial stub"
    heading(figure, f"What a bias feed is to its line: a quarter wave of {show(d.impedance, 'ohm', 3)} and {stub} "
                    f"at {name} = {show(d.harmonic * d.frequency, 'Hz', 5)}")
    x = np.array(d.curve_frequency) / 1e9
    drawn = ((d.curve_open, "nothing beyond the stub", LINES[0], 1.8),
              (d.curve_resistive, f"{show(d.beyond, 'ohm')} beyond", LINES[1], 1.3))
    for values, text, (colour, dash), width in drawn:
        axes.semilogy(x, np.minimum(np.abs(values), _LARGEST), color=colour, linestyle=dash, linewidth=width,
                      label=text)
    largest = min(max(np.abs(d.curve_open).max(), np.abs(d.curve_resistive).max()), _LARGEST)
    top = 10.0 ** np.ceil(np.log10(1.2 * largest)) if largest < _LARGEST else _LARGEST
    for k in range(1, HARMONICS + 1):
        axes.axvline(k * d.frequency / 1e9, color=PALE, linewidth=0.8, linestyle=DOTS, zorder=1)
    axes.axhline(LINE_OHM, color=INK, linewidth=0.8, linestyle=DASHES)
    axes.annotate(show(LINE_OHM, "ohm"), (x[-1], LINE_OHM), xytext=(4, 0), textcoords="offset points", va="center",
                  fontsize=8, annotation_clip=False)
    axes.set_xticks([k * d.frequency / 1e9 for k in range(1, HARMONICS + 1)],
                    [f"{harmonic_name(k)}\n{k * d.frequency / 1e9:.4g}"
                     for k in range(1, HARMONICS + 1)])
    axes.set(xlabel="frequency / GHz", ylabel="|Z| seen by the line / ohm", xlim=(x[0], x[-1]), ylim=(0.5, top))
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2, frameon=False, fontsize=8.5)
    return figure


def _line(d: LineDesign) -> "Figure":
    v = d.values
    figure = new_figure(6.4, 4.0)
    axes = figure.subplots()
    at = f"at {show(v.frequency, 'Hz', 5)}" if v.frequency else "at low frequency"
    heading(figure, f"Impedance of a strip on {show(d.board.height, 'm', 3)} of permittivity "
                    f"{d.board.permittivity:.3g}, {at}")
    widths, impedances = curves.line_curve(d)
    axes.semilogx(1e3 * widths, impedances, color=LINES[0][0], linewidth=1.6)
    _point(axes, 1e3 * v.width, v.impedance, f"{1e3 * v.width:.2f} mm: {show(v.impedance, 'ohm')}")
    _plain_widths(axes)
    axes.set(xlabel="width / mm", ylabel="impedance / ohm", xlim=(1e3 * widths[0], 1e3 * widths[-1]), ylim=(0, None))
    return figure


def _pair(d: PairDesign) -> "Figure":
    v = d.values
    figure = new_figure(6.8, 4.2)
    axes = figure.subplots()
    at = f"at {show(v.frequency, 'Hz', 5)}" if v.frequency else "at low frequency"
    heading(figure, f"Two strips of {1e3 * v.width:.2f} mm on {show(d.board.height, 'm', 3)} of permittivity "
                    f"{d.board.permittivity:.3g}, {at}")
    gaps, even, odd = curves.pair_curve(d)
    for name, impedances, (colour, dash) in zip(("even", "odd"), (even, odd), LINES):
        axes.semilogx(1e3 * gaps, impedances, color=colour, linestyle=dash, linewidth=1.6)
        axes.annotate(name, (1e3 * gaps[0], impedances[0]), xytext=(6, 8 if name == "even" else -12),
                      textcoords="offset points", color=colour, fontsize=8.5)
        z = getattr(v, f"{name}_impedance")
        _point(axes, 1e3 * v.gap, z, f"{1e3 * v.gap:.2f} mm: {show(z, 'ohm')}", below=name == "odd")
    _plain_widths(axes)
    axes.set(xlabel="gap / mm", ylabel="impedance / ohm", xlim=(1e3 * gaps[0], 1e3 * gaps[-1]),
             ylim=(0, 1.15 * even.max()))
    return figure


def _point(axes: "Axes", x: float, y: float, text: str, *, below: bool = False) -> None:
    axes.plot(x, y, "o", color=INK, markersize=5)
    axes.annotate(text, (x, y), xytext=(7, -13 if below else 6), textcoords="offset points", fontsize=8.5)


def _plain_widths(axes: "Axes") -> None:
    """Figures as people write them in place of powers of ten."""
    from matplotlib.ticker import LogLocator
    for which, steps in (("major", (1.0,)), ("minor", (2.0, 5.0))):
        axis = axes.xaxis
        getattr(axis, f"set_{which}_locator")(LogLocator(subs=steps))
        getattr(axis, f"set_{which}_formatter")(lambda value, _: f"{value:g}")
