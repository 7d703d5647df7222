"""Band-pass filters of edge-coupled half-wave resonators, straight or folded to hairpins, ideal or on a board.

Prototype, inverters and coupled sections: prototype.py, inverters.py. On a board the layout of each section is computed
in board_sections.py. What is rounded to a cut is then analysed, without loss, and all lengths are scaled until the
pass-band lies where it should.

Hairpins: each resonator is bent at its middle. The bend is a piece of the system's own line; corners are taken to be
mitred and to count along the centre line (common practice, no source). The arms of one resonator couple to each other
a little, which is left out: `arm_coupling_db` says how much. Neighbours open to opposite sides, so that the open end of
one arm lies beside the bend of the next (E. G. Cristal, S. Frankel, IEEE Trans. MTT-20 (1972) 719-728, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..errors import Refusal
from ..linear.board import Board, Conductor
from ..linear.coupled_lines import BoardFilterSection, FilterSection
from ..linear.junctions import join_strips
from ..linear.lines import BoardLine, Line
from ..linear.network import Element
from ..linear.part import Part
from ..quantities import show
from .band import Band, Found, analysed, edges, loss_db, through_and_back
from .board_sections import quarter, section_coupling, section_layout, section_length
from .inverters import Coupling, inverters, quarter_wave, shortened
from .lines import line_values, width_for
from .pairs import pair_values
from .prototype import HALF_POWER_DB, Prototype
from .solving import CUT, rounded, warnings_of

WIDEST_BAND = 0.2  # fraction up to which the design formulas are good
_LIMIT = 0.6  # fraction from which they are of no use
SMALLEST_GAP = 2e-4  # what a hand with a knife, or a cheap etch, can cut: common practice, no source. [m]
MUCH_LOSS_DB = 6.0  # at the centre, three quarters of the power: from there it is said (common practice, no source)
_ARMS_APART = 2.5  # heights between the arms of a hairpin, unless told: common practice, no source
_SHORTEST = 30.0  # degrees of a coupled arm below which bends would fill the filter
_CENTRED_AT = 0.5  # dB
_STRETCH = (0.8, 1.25)  # factor on all lengths within which the centre is looked for


@dataclass(frozen=True)
class Wish:
    """What is wanted of a filter.

    Parameters
    ----------
    prototype : Prototype
    band : Band
        Edges at the ripple, or at half power for a maximally flat filter.
    impedance : float
        Of the system at both ends. [ohm]

    Raises
    ------
    Refusal
        The band is empty or too wide.
    """

    prototype: Prototype
    band: Band
    impedance: float = 50.0

    def __post_init__(self) -> None:
        if not 0.0 < self.band.low < self.band.high:
            raise Refusal("the lower band edge must lie below the upper one, and above 0 Hz", "band")
        if self.band.fraction > _LIMIT:
            raise Refusal(f"a bandwidth of {100 * self.band.fraction:.3g} % of the centre is too wide for half-wave "
                          f"resonators; take less than {100 * WIDEST_BAND:.0f} %", "bandwidth")
        if not 0.0 < self.impedance < math.inf:
            raise Refusal("the system's impedance must be above 0 ohm", "impedance")


@dataclass(frozen=True)
class Layout:
    """A section on a board: as computed, before rounding, and as cut. [m]"""

    exact_width: float
    exact_gap: float
    exact_length: float
    width: float
    gap: float
    length: float


@dataclass(frozen=True)
class Hairpin:
    """How the resonators are bent.

    Parameters
    ----------
    degrees : float
        Length of each bend along its centre line, at the centre frequency. [deg]
    length, width : float or None
        The same on the board, and the width of its strip. [m]
    spacings : tuple of float
        On a board, between the arms of each resonator, edge to edge. [m]
    slides : tuple of float
        On a board, by how much each coupled arm is shorter than a quarter wave of the same strips. [m]
    arm_coupling_db : float or None
        What the closest arms of one resonator couple, left out of the analysis. [dB]
    """

    degrees: float
    length: float | None = None
    width: float | None = None
    spacings: tuple[float, ...] = ()
    slides: tuple[float, ...] = ()
    arm_coupling_db: float | None = None


@dataclass(frozen=True)
class FilterDesign:
    """A filter: sections from the input to the output.

    Parameters
    ----------
    wish : Wish
    board, conductor : Board, Conductor or None
        Both None: ideal.
    couplings : tuple of Coupling
    layouts : tuple of Layout
        Empty where the filter is ideal.
    hairpin : Hairpin or None
    elements : tuple of Element
        The parts, between the nodes `ends`.
    ends : (str, str)
    stretch : float
        Factor on all lengths that centred the pass-band. [1]
    found, lossless : Found
        Analysis of `elements`: half-power edges; and edges at the prototype's ripple, with all losses taken out.
    warnings : tuple of str
    """

    wish: Wish
    board: Board | None
    conductor: Conductor | None
    couplings: tuple[Coupling, ...]
    layouts: tuple[Layout, ...]
    hairpin: Hairpin | None
    elements: tuple[Element, ...]
    ends: tuple[str, str]
    stretch: float
    found: Found
    lossless: Found
    warnings: tuple[str, ...]


def ideal_filter(wish: Wish, *, bend_degrees: float | None = None, decimals: int | None = 2) -> FilterDesign:
    """A filter of ideal coupled lines.

    Parameters
    ----------
    wish : Wish
    bend_degrees : float or None
        Length of the bend of each hairpin; None: straight resonators. [deg]
    decimals : int or None
        Of ohm and deg, to which the parts are rounded; None: not at all.

    Raises
    ------
    Refusal
        A bend that leaves nothing to couple.
    """
    couplings = _couplings(wish, bend_degrees)
    at = wish.band.centre

    def told(value: float) -> float:
        return value if decimals is None else round(value, decimals)

    sections = [FilterSection(told(c.even_impedance), told(c.odd_impedance), told(c.degrees), at) for c in couplings]
    bend = None if bend_degrees is None else Line(wish.impedance, told(bend_degrees), at)
    elements, ends = _chain(sections, bend)
    hairpin = None if bend_degrees is None else Hairpin(bend_degrees)
    return FilterDesign(wish, None, None, couplings, (), hairpin, elements, ends, 1.0,
                        _analysis(wish, elements, ends, HALF_POWER_DB),
                        _analysis(wish, elements, ends, wish.prototype.edge_db), tuple(_about_band(wish)))


def board_filter(wish: Wish, board: Board, conductor: Conductor | None = None, *, hairpin: bool = False,
                 arm_spacing: float | None = None, cut: float = CUT,
                 smallest_gap: float = SMALLEST_GAP) -> FilterDesign:
    """A filter on a board, centred by an analysis of what is cut.

    Parameters
    ----------
    wish : Wish
    board, conductor : Board, Conductor or None
    hairpin : bool
        Fold the resonators.
    arm_spacing : float or None
        Least distance between the arms of a hairpin; None: 2.5 heights of the board. [m]
    cut : float
        Lengths, widths and gaps are multiples of it; 0: not rounded. [m]
    smallest_gap : float
        A smaller one is warned of. [m]

    Raises
    ------
    Refusal
        A section's impedances cannot be had on this board, or a bend leaves nothing to couple.
    """
    f0 = wish.band.centre
    bend = _bend(wish, board, conductor, arm_spacing, cut) if hairpin else None
    couplings = _couplings(wish, None if bend is None else bend.degrees)
    widths, lengths = [], []
    for number, coupling in enumerate(couplings, 1):
        try:
            exact = section_layout(coupling, wish.impedance, board, f0, conductor)
            kept = max(rounded(exact[0], cut), cut), max(rounded(exact[1], cut), cut)
            lengths.append(section_length(*kept, coupling.degrees_to_inverter, wish.impedance, board, f0, conductor))
        except Refusal as refusal:
            mend = "; take a smaller bandwidth, more ripple or another board"
            raise Refusal(refusal.what + mend, f"section {number}") from None
        widths.append((*exact[:2], *kept))
    stretch = _centred(wish, board, conductor, widths, lengths, bend)
    cut_lengths = [rounded(stretch * length, cut) for length in lengths]
    if bend is not None:
        bend = _finished(bend, stretch, widths, cut_lengths, board, conductor, f0, cut)
    elements, ends = _on_board(board, conductor, widths, cut_lengths, bend)
    layouts = tuple(Layout(w[0], w[1], stretch * length, w[2], w[3], kept)
                    for w, length, kept in zip(widths, lengths, cut_lengths))
    found = _analysis(wish, elements, ends, HALF_POWER_DB)
    warnings = [*_about_band(wish), *_about_loss(found), *_about_gaps(layouts, smallest_gap), *_about_arms(bend),
                *warnings_of(join_strips(elements, ends).elements, f0)]
    return FilterDesign(wish, board, conductor, couplings, layouts, bend, elements, ends, stretch, found,
                        _analysis(wish, without_loss(elements), ends, wish.prototype.edge_db), tuple(warnings))


def filter_as_cut(wish: Wish, board: Board, widths: Sequence[float], gaps: Sequence[float], lengths: Sequence[float],
                  conductor: Conductor | None = None, *, bend_length: float | None = None, cut: float = CUT,
                  smallest_gap: float = SMALLEST_GAP) -> FilterDesign:
    """The way back: what sections of these sizes [m] do, beside the same wish.

    Parameters
    ----------
    wish, board, conductor, cut, smallest_gap
        As in `board_filter`.
    widths, gaps, lengths : sequence of float
        Of each section, from the input on; one more than there are resonators. [m]
    bend_length : float or None
        Of the bend of each hairpin, along its centre line; None: straight. [m]

    Raises
    ------
    Refusal
        Not as many sizes as the order asks for.
    """
    count, f0 = wish.prototype.order + 1, wish.band.centre
    for name, values in (("widths", widths), ("gaps", gaps), ("lengths", lengths)):
        if len(values) != count:
            raise Refusal(f"{len(values)} {name} are given; {count - 1} resonators have {count} sections", name)
    couplings = [section_coupling(*sizes, wish.impedance, board, f0, conductor) for sizes in zip(widths, gaps, lengths)]
    sizes = [(w, g, w, g) for w, g in zip(widths, gaps)]
    bend = None
    if bend_length is not None:
        width = rounded(width_for(wish.impedance, board, f0, conductor), cut)
        bend = _finished(Hairpin(0.0, bend_length, width), 1.0, sizes, lengths, board, conductor, f0, 0.0)
    elements, ends = _on_board(board, conductor, sizes, lengths, bend)
    layouts = tuple(Layout(w, g, length, w, g, length) for w, g, length in zip(widths, gaps, lengths))
    found = _analysis(wish, elements, ends, HALF_POWER_DB)
    warnings = [*_about_band(wish), *_about_loss(found), *_about_gaps(layouts, smallest_gap), *_about_arms(bend),
                *warnings_of(join_strips(elements, ends).elements, f0)]
    return FilterDesign(wish, board, conductor, tuple(couplings), layouts, bend, elements, ends, 1.0, found,
                        _analysis(wish, without_loss(elements), ends, wish.prototype.edge_db), tuple(warnings))


def without_loss(elements: Sequence[Element]) -> tuple[Element, ...]:
    """The same parts on a board of perfect metal and dielectric."""
    found = []
    for element in elements:
        part = element.part
        if hasattr(part, "board"):
            metal = replace(part.metal, conductivity=1e30, roughness=0.0)
            board = replace(part.board, loss_tangent=0.0, conductivity=1e30, roughness=0.0)
            part = replace(part, board=board, conductor=metal)
        found.append(Element(element.name, part, element.nodes))
    return tuple(found)


def _analysis(wish: Wish, elements: Sequence[Element], ends: tuple[str, str], edge_db: float) -> Found:
    return analysed(elements, ends, wish.impedance, wish.band, edge_db)


def _couplings(wish: Wish, bend_degrees: float | None) -> tuple[Coupling, ...]:
    found = []
    for j in inverters(wish.prototype, wish.band.fraction):
        found.append(quarter_wave(j, wish.impedance) if bend_degrees is None
                     else shortened(j, wish.impedance, bend_degrees))
        if found[-1].degrees < _SHORTEST:
            raise Refusal(f"a bend of {bend_degrees:.3g} deg leaves {found[-1].degrees:.3g} deg of coupled arm; bring "
                          f"the arms of the resonators closer together, or take straight ones", "arm_spacing")
    return tuple(found)


def _chain(sections: Sequence[Part], bend: Part | None) -> tuple[tuple[Element, ...], tuple[str, str]]:
    """Sections in a row, a bend between any two; nodes f_0, f_1, ..."""
    elements: list[Element] = []
    for number, section in enumerate(sections, 1):
        if bend is not None and number > 1:
            elements.append(Element(f"bend_{number - 1}", bend, (f"f_{len(elements)}", f"f_{len(elements) + 1}")))
        elements.append(Element(f"filter_{number}", section, (f"f_{len(elements)}", f"f_{len(elements) + 1}")))
    return tuple(elements), ("f_0", f"f_{len(elements)}")


def _on_board(board: Board, conductor: Conductor | None, widths: Sequence[tuple[float, ...]],
              lengths: Sequence[float], bend: Hairpin | None,
              stretch: float = 1.0) -> tuple[tuple[Element, ...], tuple[str, str]]:
    sections = [BoardFilterSection(board, w[2], w[3], stretch * length, conductor)
                for w, length in zip(widths, lengths)]
    return _chain(sections, None if bend is None else BoardLine(board, bend.width, stretch * bend.length, conductor))


def _centred(wish: Wish, board: Board, conductor: Conductor | None, widths: Sequence[tuple[float, ...]],
             lengths: Sequence[float], bend: Hairpin | None) -> float:
    """Factor on all lengths that puts the middle of the edges, without loss, on the wanted centre.

    Edges at less than `_CENTRED_AT` could lie within, where rounding has raised the ripple.
    """
    from scipy.optimize import brentq

    def off(stretch: float) -> float:
        elements, ends = _on_board(board, conductor, widths, lengths, bend, stretch)
        parts = without_loss(elements)
        found = edges(lambda f: loss_db(through_and_back(parts, ends, wish.impedance, f)[0]), seen, level)
        return (found[0] + found[1]) / 2.0 / wish.band.centre - 1.0

    # A window that holds the band wherever the first guess put it, so that both edges are in sight.
    level = max(wish.prototype.edge_db, _CENTRED_AT)
    reach = max(wish.band.width, 0.08 * wish.band.centre)
    seen = Band(wish.band.centre - reach / 2.0, wish.band.centre + reach / 2.0)
    first = off(1.0)
    lost = Refusal("the pass-band of what the formulas give is too far from the wanted one to be centred; take a "
                   f"smaller bandwidth than {100 * wish.band.fraction:.3g} %, or fewer resonators", "bandwidth")
    if math.isnan(first):
        raise lost
    low, high = sorted((1.0, 1.0 + 2.0 * first))
    try:
        return brentq(off, max(low, _STRETCH[0]), min(high, _STRETCH[1]), xtol=1e-9) if first else 1.0
    except ValueError:  # an edge left the window on the way, or the ends lie on one side
        raise lost from None


# -- hairpins ------------------------------------------------------------------------------------------------------


def _bend(wish: Wish, board: Board, conductor: Conductor | None, arm_spacing: float | None, cut: float) -> Hairpin:
    """A bend of the system's line, as long as leaves the arms far enough from each other."""
    f0 = wish.band.centre
    apart = _ARMS_APART * board.height if arm_spacing is None else arm_spacing
    if not apart > 0.0:
        raise Refusal("the arms of a hairpin must be some way apart", "arm_spacing")
    width = rounded(width_for(wish.impedance, board, f0, conductor), cut)
    values = line_values(width, board, f0, conductor)
    # No arm is wider than the system's own line, since even and odd impedance have about that mean: half an arm on
    # either side of the gap between them.
    length = apart + width
    return Hairpin(values.degrees(length), length, width)


def _finished(bend: Hairpin, stretch: float, widths: Sequence[tuple[float, ...]], lengths: Sequence[float],
              board: Board, conductor: Conductor | None, f0: float, cut: float) -> Hairpin:
    length = rounded(stretch * bend.length, cut)
    spacings = tuple(rounded(length - (left[2] + right[2]) / 2.0, 1e-9) for left, right in zip(widths, widths[1:]))
    slides = tuple(quarter(w[2], w[3], board, f0, conductor) - kept for w, kept in zip(widths, lengths))
    closest = min(range(len(spacings)), key=lambda n: spacings[n])
    if spacings[closest] <= 0.0:
        raise Refusal(f"the arms of resonator {closest + 1} would touch; give them more distance", "arm_spacing")
    coupling = pair_values((widths[closest][2] + widths[closest + 1][2]) / 2.0, spacings[closest], board, f0,
                           conductor).coupling_db
    return replace(bend, length=length, degrees=line_values(bend.width, board, f0, conductor).degrees(length),
                   spacings=spacings, slides=slides, arm_coupling_db=coupling)


# -- what to say about it ------------------------------------------------------------------------------------------


def _about_band(wish: Wish) -> list[str]:
    source = f"{100 * WIDEST_BAND:.0f} % (S. B. Cohn, IRE Trans. MTT-6 (1958) 223-231)"
    loaded = wish.band.fraction / wish.prototype.values[1]
    if wish.band.fraction > WIDEST_BAND:
        return [f"the bandwidth is {100 * wish.band.fraction:.3g} % of the centre; the design formulas are good up to "
                f"about {source}"]
    if loaded > WIDEST_BAND:  # what a small ripple asks of few resonators
        return [f"the first resonator is {100 * loaded:.2g} % of the centre loaded, wider than the band; the design "
                f"formulas are good up to about {source}; more ripple or more resonators narrow it"]
    return []


def _about_loss(found: Found) -> list[str]:
    """A sentence on a filter that loses most of what it is to pass."""
    if not found.centre_loss_db > MUCH_LOSS_DB:
        return []
    return [f"{found.centre_loss_db:.1f} dB are lost at the centre: a wider band, fewer resonators or a board of less "
            "loss lose less"]


def _about_gaps(layouts: Sequence[Layout], smallest: float) -> list[str]:
    narrow = [str(number) for number, layout in enumerate(layouts, 1) if layout.gap < smallest]
    if not narrow:
        return []
    least = min(layout.gap for layout in layouts)
    return [f"the gap of section {', '.join(narrow)} is down to {show(least, 'm', 3)}, which is hard to cut by hand "
            f"(below {show(smallest, 'm', 3)}); a smaller bandwidth, more ripple or a higher board widens it"]


def _about_arms(bend: Hairpin | None) -> list[str]:
    if bend is None or bend.arm_coupling_db > 25.0:
        return []
    return [f"the two arms of a resonator couple by {show(bend.arm_coupling_db, 'dB', 3)} at their distance of "
            f"{show(min(bend.spacings), 'm', 3)}, which is left out; a larger arm spacing makes it less"]

