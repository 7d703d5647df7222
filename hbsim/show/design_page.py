"""Page of text of `hbsim design`: the numbers, what an analysis of them gives, and the text to paste."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ..describe.fragment import fragment
from ..design.coupled_filter import FilterDesign
from ..design.feed import OPEN, FeedDesign
from ..design.figures import Design
from ..design.lines import LineDesign
from ..design.lumped_match import LumpedMatchDesign
from ..design.pairs import PairDesign
from ..design.stub_match import StubMatchDesign
from ..linear.network import Element
from ..quantities import show
from .text import listed, table, wrapped

_HUGE_DB = 150.0  # no analysis of real digits tells more


def design_page(design: Design, lies_on: str = "") -> str:
    """The page.

    lies_on : text of the table [board] that a circuit needs for the parts, without its heading; empty for none.
    """
    writers = {LineDesign: _line, PairDesign: _pair, FilterDesign: _filter, StubMatchDesign: _stub_match,
               LumpedMatchDesign: _lumped_match, FeedDesign: _feed}
    lines = writers[type(design)](design, lies_on)
    return "\n".join([*lines, *listed("Warnings", getattr(design, "warnings", ()))])


def _mm(length: float | None, digits: int = 2) -> str:
    """Lengths stand in mm so that columns compare."""
    return "-" if length is None else f"{1e3 * length:.{digits}f} mm"


def _db(value: float) -> str:
    if math.isnan(value):
        return "none"
    if value > _HUGE_DB:
        return f"above {_HUGE_DB:.0f} dB"
    return "0 dB" if abs(value) < 5e-4 else f"{value:.3g} dB"


def _hz(value: float) -> str:
    return "none" if math.isnan(value) else show(value, "Hz", 5)


def _paste(elements: Sequence[Element], lies_on: str, heading: str = "For the circuit file") -> list[str]:
    on = ["# the circuit's own, where it has none yet:", "# [board]", *(f"# {line}" for line in lies_on.splitlines()),
          ""] if lies_on else []
    return ["", f"{heading}", "", *on, *fragment(elements).rstrip().splitlines()] if elements else []


def _line(d: LineDesign, lies_on: str) -> list[str]:
    v = d.values
    at = f"at {show(v.frequency, 'Hz', 5)}" if v.frequency else "at low frequency"
    rows = [("width", _mm(v.width), f"computed {_mm(d.exact_width, 4)}"), ("impedance", show(v.impedance, "ohm"), at),
            ("effective permittivity", f"{v.effective_permittivity:.4g}", at)]
    if v.frequency:
        rows += [("wavelength", _mm(v.wavelength), at), ("loss", f"{v.loss_db_per_m:.3g} dB/m", at)]
    if d.length is not None:
        rows += [("length", _mm(d.length), f"computed {_mm(d.exact_length, 4)}"),
                 ("electrical length", show(d.degrees, "deg"), at), ("loss of the length", _db(d.loss_db), at)]
    if d.loss_factor is not None:
        rows.append(("loss factor", f"{d.loss_factor:.4g}", "of the strip's metal, by the loss that was measured"))
    rows += [("by hand", f"{_mm(d.hand_width)}, {show(d.hand_impedance, 'ohm')}",
              "for this impedance, of this width: thin metal, low frequency (E. O. Hammerstad 1975)")]
    return ["Microstrip line", *table(rows, left=(0, 2)), *_paste(d.elements, lies_on)]


def _pair(d: PairDesign, lies_on: str) -> list[str]:
    v = d.values
    at = f"at {show(v.frequency, 'Hz', 5)}" if v.frequency else "at low frequency"
    rows = [("width", _mm(v.width), f"computed {_mm(d.exact_width, 4)}"),
            ("gap", _mm(v.gap), f"computed {_mm(d.exact_gap, 4)}"),
            ("even impedance", show(v.even_impedance, "ohm"), at), ("odd impedance", show(v.odd_impedance, "ohm"), at),
            ("their mean", show(v.impedance, "ohm"), "geometric: what a coupler of these strips is matched to"),
            ("coupling", show(v.coupling_db, "dB", 3), "of a quarter wave, below what comes in"),
            ("effective permittivity", f"{v.even_permittivity:.4g}, {v.odd_permittivity:.4g}", f"even, odd, {at}")]
    if d.length is not None:
        rows += [("quarter wave", _mm(d.length), "of the mean of both modes"),
                 ("loss", f"{v.even_loss_db_per_m:.3g}, {v.odd_loss_db_per_m:.3g} dB/m", "even, odd")]
    return ["Pair of coupled strips", *table(rows, left=(0, 2)), *_paste(d.elements, lies_on)]


def _filter(d: FilterDesign, lies_on: str) -> list[str]:
    prototype = d.wish.prototype
    response = f"Chebyshev, {show(prototype.ripple_db, 'dB')} ripple" if prototype.ripple_db else "maximally flat"
    form = "hairpin resonators" if d.hairpin else "straight resonators"
    lines = [f"Band-pass of {prototype.order} edge-coupled {form}; {response}", ""]
    rows = [["section", "inverter", "even", "odd", "degrees"]]
    if d.layouts:
        rows[0] += ["width", "gap", "length", *(["slide"] if d.hairpin else [])]
    for number, c in enumerate(d.couplings):
        row = [str(number + 1), f"{c.inverter:.4f}", f"{c.even_impedance:.2f} ohm", f"{c.odd_impedance:.2f} ohm",
               f"{c.degrees:.2f} deg"]
        if d.layouts:
            cut = d.layouts[number]
            row += [_mm(cut.width), _mm(cut.gap), _mm(cut.length)]
            row += [_mm(d.hairpin.slides[number])] if d.hairpin else []
        rows.append(row)
    lines += [*table(rows), "", f"  prototype g0 to g{prototype.order + 1}: "
              + " ".join(f"{g:.4f}" for g in prototype.values)]
    if d.layouts and d.stretch != 1.0:
        lines.append(f"  all lengths times {d.stretch:.4f} centred the pass-band; they count from open end to open "
                     f"end, the end effect is in")
    lines += _hairpin_lines(d)
    lines += ["", "What an analysis of these parts gives", *_found_rows(d)]
    return [*lines, *_paste(d.elements, lies_on)]


def _hairpin_lines(d: FilterDesign) -> list[str]:
    bend = d.hairpin
    if bend is None:
        return []
    if bend.length is None:
        return [f"  each resonator is bent at its middle by {bend.degrees:.2f} deg of a "
                f"{show(d.wish.impedance, 'ohm')} line"]
    spacings = ", ".join(_mm(spacing) for spacing in bend.spacings)
    told = (f"bends: {_mm(bend.width)} wide and {_mm(bend.length)} long along the centre line ({bend.degrees:.1f} "
            f"deg), corners mitred; distance between the arms of resonator 1, 2, ...: {spacings}. Neighbours open to "
            f"opposite sides. Slide: by how much an arm is shorter than a quarter wave of its strips. The arms of one "
            f"resonator couple by {_db(bend.arm_coupling_db)}, which is left out, as are the corners.")
    return wrapped(told, "  ", "  ")


def _found_rows(d: FilterDesign) -> list[str]:
    wish, found, ideal = d.wish, d.found, d.lossless
    lossy = d.board is not None
    rows = [["", "wanted", "without loss", *(["as cut"] if lossy else [])]]

    def add(name: str, wanted: str, without: str, cut: str) -> None:
        rows.append([name, wanted, without, *([cut] if lossy else [])])

    edge = f"edge, {_db(ideal.edge_db)}"
    add(f"lower {edge}", _hz(wish.band.low), _hz(ideal.low), "")
    add(f"upper {edge}", _hz(wish.band.high), _hz(ideal.high), "")
    if lossy:
        add("lower edge, 3 dB", "", "", _hz(found.low))
        add("upper edge, 3 dB", "", "", _hz(found.high))
    add("centre", _hz(wish.band.centre), _hz(ideal.centre), _hz(found.centre))
    add("ripple", _db(wish.prototype.ripple_db), _db(ideal.ripple_db), "")
    add("loss at the centre", "", _db(ideal.centre_loss_db), _db(found.centre_loss_db))
    add("least, most loss in the band", "", f"{_db(ideal.least_loss_db)}, {_db(ideal.most_loss_db)}",
        f"{_db(found.least_loss_db)}, {_db(found.most_loss_db)}")
    add("least return loss in the band", "", _db(ideal.return_loss_db), _db(found.return_loss_db))
    add(f"rejection at {_hz(wish.band.centre / 2)}", "", _db(ideal.half_rejection_db), _db(found.half_rejection_db))
    add(f"rejection at {_hz(2 * wish.band.centre)}", "", _db(ideal.double_rejection_db), _db(found.double_rejection_db))
    return [*table(rows, left=(0,)), "  edges count from the least loss, the rest from a perfect connection; steps in "
            "width are in as the circuit has them" if lossy else "  edges count from the least loss"]


def _ohms(z: complex) -> str:
    if abs(z) > OPEN / 1e3:
        return "open"
    real = f"{z.real:.4g}" if abs(z.real) >= 1e-3 else "0"
    imag = f"{abs(z.imag):.4g}" if abs(z.imag) >= 1e-3 else "0"
    return f"{real} {'-' if z.imag < 0 and imag != '0' else '+'} j{imag} ohm"


def _losses(values: Sequence[float]) -> str:
    below, at, above = (_db(value) for value in values)
    return f"{at}; 5 % below and above {below}, {above} (the load taken as it is)"


def _stub_match(d: StubMatchDesign, lies_on: str) -> list[str]:
    lines = [f"Match of {_ohms(d.load)} to {show(d.impedance, 'ohm')} at {show(d.frequency, 'Hz', 5)} by one "
             f"{d.solutions[0].kind} stub"]
    if d.width is not None:
        lines.append(f"  line {_mm(d.width)} wide, stub {_mm(d.stub_width)} ({show(d.stub_impedance, 'ohm')}); the "
                     f"distance counts to the stub's centre line, the stub from the line's edge")
    for number, s in enumerate(d.solutions, 1):
        cut = f": {_mm(s.distance)}, {_mm(s.stub)} as cut" if s.distance is not None else ""
        ideal = " of ideal lines" if s.distance is not None else ""
        lines += ["", f"Solution {number}" if len(d.solutions) > 1 else "This line and stub",
                  f"  {s.distance_degrees:.2f} deg from the load, stub {s.stub_degrees:.2f} deg{ideal}{cut}",
                  f"  return loss {_losses(s.return_loss_db)}", *_paste(s.elements, lies_on)]
    return lines


def _lumped_match(d: LumpedMatchDesign, lies_on: str) -> list[str]:
    lines = [f"Match of {_ohms(d.load)} to {show(d.impedance, 'ohm')} at {show(d.frequency, 'Hz', 5)} by lumped parts "
             f"without loss"]
    for number, s in enumerate(d.solutions, 1):
        told = []
        for element in s.elements:
            part = element.part
            size = show(part.inductance, "H") if part.kind == "inductor" else show(part.capacitance, "F")
            where = "in series" if element.name == "match_series" else \
                f"across the {'load' if element.nodes[0] == 'load' else 'line'}"
            told.append(f"{part.kind} of {size} {where}")
        lines += ["", f"Solution {number}", f"  from the line: {', '.join(told)}; {s.passes}",
                  f"  return loss {_losses(s.return_loss_db)}", *_paste(s.elements, lies_on)]
    return lines


def _feed(d: FeedDesign, lies_on: str) -> list[str]:
    name = "f0" if d.harmonic == 1 else f"{d.harmonic} f0"
    lines = [f"Bias feed, a quarter wave at {name} = {show(d.harmonic * d.frequency, 'Hz', 5)}"]
    if d.width is None:
        lines += [f"  line {show(d.impedance, 'ohm')}, open stub {show(d.stub_impedance, 'ohm')}, 90 deg each"]
    else:
        rows = [["", "width", "length", "impedance"],
                ["line", _mm(d.width), _mm(d.length), show(d.impedance, "ohm")],
                ["open stub", _mm(d.stub_width), _mm(d.stub_length), show(d.stub_impedance, "ohm")]]
        if d.stub_angle is not None:
            rows = [rows[0], rows[1], ["radial stub", _mm(d.stub_width), _mm(d.stub_length),
                                       f"{d.stub_angle:g} deg"]]
        lines += [*table(rows, left=(0,)), "  the line counts from the edge of the line that is fed to the stub's "
                  "centre line" + (", the stub from the feed's edge" if d.stub_angle is None else
                            "; the radial stub: across its narrow end, radius of its rim")]
    rows = [["", "frequency", "nothing beyond", "takes", f"{show(d.beyond, 'ohm')} beyond", "takes"]]
    for p in d.presented:
        rows.append(["f0" if p.harmonic == 1 else f"{p.harmonic} f0", _hz(p.harmonic * d.frequency),
                     _ohms(p.open_beyond), _db(p.loss_db), _ohms(p.resistive_beyond), _db(p.resistive_loss_db)])
    lines += ["", "What the line sees, with nothing and with a resistance beyond the stub, on the supply's side",
              *table(rows, left=(0,)), "  takes: loss on a 50 ohm line"]
    lines += [*_visible(d), *_paste(d.elements, lies_on)]
    if lies_on:
        lines += ["", *wrapped("node 'main' is where the feed leaves the line that is fed: where that goes on on both "
                               "sides, write a part of kind 'tee' whose branch is at this node", "# ", "# ")]
    return lines


def _visible(d: FeedDesign) -> list[str]:
    """Harmonics where what lies beyond the stub changes what the line sees."""
    seen = [p for p in d.presented
            if abs(p.loss_db - p.resistive_loss_db) > 0.1]
    if not seen:
        return []
    names = ", ".join("f0" if p.harmonic == 1 else f"{p.harmonic} f0" for p in seen)
    return [f"  at {names} the stub does not hold the feed, and what lies beyond counts"]
