"""Picture of a frequency study: output with its bands, leakage, return loss, currents; of a chain what goes between its
stages."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ..quantities import show
from ..studies.band_edges import BEYOND, Band, Edge
from ..studies.frequency_study import BELOW_MOST_DB, FrequencyStudy, Through
from .style import DOTS, INK, LINES, LOWEST_DBM, PALE, harmonic_name, heading, new_figure, scaled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LOWEST_DBC = -100.0
_LOWEST_CARRIED_DBM = -60.0
_GREATEST_LOSS_DB = 40.0  # drawn; beyond it a match is better than any bench can tell
_GREYS = ("#e2e2e2", "#f0f0f0")  # of the narrow band and the wide one
_LABEL_POINTS = 9.5  # height of a label's line
_MOST_PLACES = 3


def frequency_figure(study: FrequencyStudy) -> "Figure":
    """Output, leakage, return loss and supply currents over f0; beside them the power carried at up to three places."""
    places = study.through[:_MOST_PLACES]
    supplies = list(study.description.supplies)
    heights = (2.4, 1.8, 1.3, 1.0)[:4 if supplies else 3]
    figure = new_figure(11.0 if places else 7.5, 9.2 if supplies else 7.8)
    left, *right = figure.subfigures(1, 2) if places else (figure,)
    rows = left.subplots(len(heights), 1, sharex=True, height_ratios=heights)
    x, unit = scaled(study.frequency, "Hz")
    drawn = _Curves(study, x, float(x[-1] / study.frequency[-1]))
    _output(rows[0], drawn)
    _leaks(rows[1], drawn)
    _match(rows[2], drawn)
    if supplies:
        _currents(rows[3], drawn, supplies)
    columns = [rows]
    if places:
        columns.append(right[0].subplots(len(places), 1, sharex=True, squeeze=False)[:, 0])
        for axes, one in zip(columns[1], places):
            _through(axes, drawn, one)
    figure.draw_without_rendering()  # labels are set apart by the height that their panel has got
    for panels in columns:
        panels[-1].set_xlabel(f"f0 / {unit}")
        for axes in panels:
            axes.set_xlim(x[0], x[-1])
            drawn.gaps(axes)
            drawn.place_labels(axes)
        if study.order > 1:
            _wanted_axis(panels[0], study.order, unit)
    said = [study.description.title]
    if study.reasons:
        said.append(f"dotted uprights: {len(study.reasons)} of {len(x)} frequencies not solved")
    if len(study.through) > len(places):
        said.append(f"carried power at the first {len(places)} of {len(study.through)} places")
    heading(figure, "; ".join(said))
    return figure


class _Curves:
    """A study's frequencies as they are drawn, and the labels at the right of each panel."""

    def __init__(self, study: FrequencyStudy, x: np.ndarray, per_hz: float) -> None:
        self.study, self.x, self.per_hz = study, x, per_hz
        self._ends: dict["Axes", list[tuple[float, str, str]]] = {}

    def draw(self, axes: "Axes", y: np.ndarray, words: str, look: int, lowest: float, thick: bool = False) -> None:
        """A curve, broken where nothing is solved, with its words at the right; looks beyond those of the house have
        beads, so that a grey print tells them apart."""
        colour, dash = LINES[look % len(LINES)]
        beads = {"marker": "o", "markersize": 2.8, "markevery": 0.06} if look >= len(LINES) else {}
        with np.errstate(invalid="ignore"):
            shown = np.where(self.study.solved & np.isfinite(y) & (y >= lowest), y, np.nan)
        known = np.flatnonzero(np.isfinite(shown))
        if not len(known):
            return
        alone = np.isfinite(shown) & np.isnan(np.append(np.nan, shown[:-1])) & np.isnan(np.append(shown[1:], np.nan))
        axes.plot(self.x, shown, color=colour, linestyle="-" if thick else dash, linewidth=2.6 if thick else 1.2,
                  **beads)
        axes.plot(self.x[alone], shown[alone], ".", color=colour, markersize=4)  # a point between gaps makes no line
        if known[-1] == len(shown) - 1:
            self._ends.setdefault(axes, []).append((float(shown[-1]), words, colour))
        else:  # it ends inside the panel, and so do its words
            axes.annotate(words, (self.x[known[-1]], shown[known[-1]]), xytext=(3, 6), textcoords="offset points",
                          color=colour, va="center", fontsize=8)

    def gaps(self, axes: "Axes") -> None:
        """An upright at each frequency that is not solved."""
        for n in self.study.reasons:
            axes.axvline(self.x[n], color=PALE, linewidth=1.2, linestyle=DOTS, zorder=0)

    def place_labels(self, axes: "Axes") -> None:
        """Words at the right of curves, a line apart, beside a thin lead where they had to move."""
        ends = sorted(self._ends.get(axes, []))
        if not ends:
            return
        low, high = axes.get_ylim()
        height = axes.get_window_extent().height * 72 / axes.figure.dpi
        gap = _LABEL_POINTS * (high - low) / height
        placed: list[float] = []
        for y, _, _ in ends:
            placed.append(max(y, placed[-1] + gap) if placed else y)
        for n in range(len(placed) - 1, -1, -1):
            ceiling = high if n == len(placed) - 1 else placed[n + 1] - gap
            placed[n] = min(placed[n], ceiling)
        leads = [abs(y - true) > 0.3 * gap for y, (true, _, _) in zip(placed, ends)]
        for y, (true, words, colour), moved in zip(placed, ends, leads):
            offset = (14 if any(leads) else 5, (y - true) * height / (high - low))
            axes.annotate(words, (self.x[-1], true), xytext=offset,
                          textcoords="offset points", color=colour, va="center", fontsize=8, annotation_clip=False,
                          arrowprops={"arrowstyle": "-", "color": PALE, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 1}
                          if moved else None)


def _wanted_axis(axes: "Axes", order: int, unit: str) -> None:
    """The frequency of the wanted harmonic, at the top."""
    other = axes.secondary_xaxis("top", functions=(lambda f: f * order, lambda f: f / order))
    other.set_xlabel(f"{harmonic_name(order)} / {unit}")


def _output(axes: "Axes", drawn: _Curves) -> None:
    """The wanted output, thick, and its bands in grey with their edges marked."""
    study = drawn.study
    level = study.columns[study.wanted]
    drawn.draw(axes, level, harmonic_name(study.order), study.order - 1, LOWEST_DBM, True)
    axes.set_ylabel(f"output at port {study.description.wanted_port} / dBm")
    if study.most is None:
        axes.set_title(f"nothing comes out at {harmonic_name(study.order)}")
        return
    top = study.most.columns[study.wanted]
    axes.margins(y=0.12)
    told = []
    for below, band, grey in reversed(list(zip(BELOW_MOST_DB, study.bands, _GREYS))):
        sides = ((band.low, drawn.x[0]), (band.high, drawn.x[-1]))
        axes.axvspan(*(_shaded_to(drawn, edge, end) for edge, end in sides),
                     color=grey, zorder=0, linewidth=0)
        _ticks(axes, drawn, band)
        told.append(f"-{below:g} dB: {_width(band)}")
    axes.plot(study.most.hz * drawn.per_hz, top, "o", markerfacecolor="white", markeredgecolor=INK, markersize=5.5,
              zorder=5, clip_on=False)
    axes.set_title(f"circle: most, {top:.2f} dBm at f0 = {show(study.most.hz, 'Hz', 5)}\n"
                   + "\n".join(f"{grey} {words}" for grey, words in zip(("dark grey,", "pale grey,"), reversed(told))),
                   fontsize=8)


def _leaks(axes: "Axes", drawn: _Curves) -> None:
    study = drawn.study
    for k in study.others:
        drawn.draw(axes, study.leak(k), harmonic_name(k), k - 1, _LOWEST_DBC)
    below = any(np.nanmin(study.leak(k), initial=0.0) < _LOWEST_DBC for k in study.others)
    axes.set_ylabel(f"against {harmonic_name(study.order)} / dBc")
    if below:
        axes.set_title(f"what is below {_LOWEST_DBC:.0f} dBc is left out", fontsize=8)


def _match(axes: "Axes", drawn: _Curves) -> None:
    study = drawn.study
    loss = np.minimum(study.columns["input_return_loss_db"], _GREATEST_LOSS_DB)
    with np.errstate(invalid="ignore"):
        axes.plot(drawn.x, np.where(study.solved, loss, np.nan), color=INK, linewidth=1.4)
    axes.axhline(study.matched_db, color=PALE, linewidth=1.0, linestyle=DOTS)
    axes.set_ylabel("input return\nloss at f0 / dB")
    if study.match is None:
        return
    best = study.match.columns["input_return_loss_db"]
    place = (study.match.hz * drawn.per_hz, min(best, _GREATEST_LOSS_DB))
    axes.plot(*place, "o", markerfacecolor="white", markeredgecolor=INK, markersize=5.5, zorder=5,
              clip_on=False)
    band = study.matched
    if band is not None:
        _ticks(axes, drawn, band)
    drawn_to = f", drawn as {_GREATEST_LOSS_DB:.0f} dB" if best > _GREATEST_LOSS_DB else ""
    axes.set_title(f"circle: best, {best:.1f} dB at {show(study.match.hz, 'Hz', 5)}{drawn_to}\ndotted: "
                   f"{study.matched_db:g} dB, {'nowhere' if band is None else _width(band)}", fontsize=8)


def _ticks(axes: "Axes", drawn: _Curves, band: Band) -> None:
    """Upright ticks at the edges of a band that are known."""
    known = [edge.hz * drawn.per_hz for edge in (band.low, band.high) if edge.hz is not None]
    axes.plot(known, [band.level] * len(known), "|", color=INK, markersize=9, markeredgewidth=1.2, zorder=4)


def _shaded_to(drawn: _Curves, edge: Edge, end: float) -> float:
    """Where the grey of a band ends on one side: at the edge, the end of the range, or what is not solved."""
    if edge.hz is None and edge.why == BEYOND:
        return end
    return (edge.hz if edge.hz is not None else edge.near_hz) * drawn.per_hz


def _width(band: Band) -> str:
    """A band in few words."""
    if band.width_hz is not None:
        return f"{show(band.width_hz, 'Hz')} of f0"
    known = [f"{word} {show(edge.hz, 'Hz', 5)}" for word, edge in (("from", band.low), ("to", band.high))
             if edge.hz is not None]
    if known:
        return " ".join([*known, "(the other edge is not known)"])
    return "all of the range" if band.low.why == band.high.why == BEYOND else "no edge is known"


def _currents(axes: "Axes", drawn: _Curves, supplies: list[str]) -> None:
    for n, name in enumerate(supplies):
        drawn.draw(axes, 1e3 * drawn.study.columns[f"supply_amps_{name}"], name, n, -math.inf)
    axes.set_ylabel("supply\ncurrent / mA")
    axes.margins(y=0.15)


def _through(axes: "Axes", drawn: _Curves, one: Through) -> None:
    """Power carried at a place; the harmonic that is strongest in the middle of its range is thick."""
    study = drawn.study
    typical = np.nanmedian(np.where(study.solved[:, None], one.watts, np.nan), axis=0) if study.solved.any() else None
    for k in range(1, study.lines + 1):
        thick = typical is not None and k == int(np.argmax(typical))
        drawn.draw(axes, one.dbm(k), harmonic_name(k), k - 1, _LOWEST_CARRIED_DBM, thick)
    axes.set_ylabel(f"carried through {one.place.words} / dBm")
    note = ""
    if one.at_most is not None and one.place.kind == "node":
        main = int(np.argmax(one.at_most.watts))
        note = (f"at the most output {harmonic_name(main)} comes from {one.at_most.by[main]}, "
                f"{10 * math.log10(1e3 * one.at_most.watts[main]):.2f} dBm; ")
    axes.set_title(f"{note}thick: the strongest", fontsize=8)
