"""`hbsim design`: what to cut and solder for what is wanted, and the way back."""

from __future__ import annotations

import argparse
import re
from typing import Any

from ..errors import Refusal
from ..quantities import parse
from .shared import check_outputs, hand_out

_BOARD = {"height": "m", "permittivity": "1", "loss-tangent": "1", "thickness": "m", "conductivity": "S/m",
          "roughness": "m"}
_USUAL = {"loss-tangent": 0.0, "thickness": 35e-6, "conductivity": 58e6, "roughness": 0.0}  # of a board told here


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "design", help="lines, coupled pairs, filters, matches and bias feeds, to cut and to paste",
        description="What to cut and solder for what is wanted, and the way back; prints numbers and a piece of a "
                    "circuit file.")
    kinds = parser.add_subparsers(required=True, metavar="WHAT")
    for put in (_add_line, _add_pair, _add_filter, _add_match, _add_feed):
        put(kinds)


def _new(kinds: Any, name: str, run: Any, about: str, meanings: dict[str, str]) -> argparse.ArgumentParser:
    parser = kinds.add_parser(name, help=about, description=about[0].upper() + about[1:] + ".")
    for option, meaning in meanings.items():
        parser.add_argument(f"--{option}", metavar="VALUE", help=meaning)
    where = parser.add_argument_group("the board")
    where.add_argument("--board", metavar="NAME", help="of the library; 'hbsim device' lists it")
    for option, unit in _BOARD.items():
        usual = f" (without --board: {_USUAL[option]:g}{'' if unit == '1' else ' ' + unit})" if option in _USUAL else ""
        where.add_argument(f"--{option}", metavar="VALUE", help=f"of the board, or in place of the library's{usual}")
    where.add_argument("--conductor", metavar="NAME", help="metal of the strips, of the library, such as copper-tape")
    where.add_argument("--cut", metavar="LENGTH", default="0.01mm", help="what is cut is a multiple of it (0.01 mm)")
    parser.add_argument("--json", metavar="FILE", help="write all numbers as JSON; - is standard output")
    parser.add_argument("--plot", metavar="FILE", help="draw a picture (.png, .svg, .pdf)")
    parser.set_defaults(run=run)
    return parser


def _add_line(kinds: Any) -> None:
    _new(kinds, "line", _line, "a microstrip line: width and impedance, length and degrees, loss",
         {"impedance": "wanted, or", "width": "given", "at": "frequency (default: at low frequency)",
          "degrees": "wanted length at --at, or", "length": "given",
          "measured-loss": "of a line of --width and --length at --at, alone and matched: tells its loss factor"})


def _add_pair(kinds: Any) -> None:
    _new(kinds, "pair", _pair, "a pair of equal coupled strips: width and gap, even and odd impedance",
         {"even-impedance": "wanted, with", "odd-impedance": "wanted; or", "impedance": "what a coupler is matched to, "
          "with", "coupling": "of a quarter wave, such as 10dB; or", "width": "given, with", "gap": "given",
          "at": "frequency (default: at low frequency)"})


def _add_filter(kinds: Any) -> None:
    parser = _new(kinds, "filter", _filter, "a band-pass of edge-coupled half-wave resonators, straight or hairpins",
                  {"ripple": "of a Chebyshev response, such as 0.1dB (default: maximally flat)",
                   "from": "lower band edge, with", "to": "upper band edge; or", "centre": "with",
                   "bandwidth": "such as 100MHz or 8%%", "impedance": "of the system (default 50ohm)",
                   "arm-spacing": "least distance between the arms of a hairpin (default 2.5 heights of the board)",
                   "bend": "length of the bend of an ideal hairpin, such as 30deg, or of one given by --widths, in mm",
                   "smallest-gap": "a smaller one is warned of (default 0.2mm)",
                   "widths": "the way back: W,W,... of the sections, with", "gaps": "G,G,... and",
                   "lengths": "L,L,..."})
    parser.add_argument("--order", type=int, metavar="N", help="resonators, 1 to 9")
    parser.add_argument("--form", choices=("straight", "hairpin"), default="straight", help="of the resonators")
    parser.add_argument("--ideal", action="store_true", help="even and odd impedances only, on no board")


def _add_match(kinds: Any) -> None:
    parser = _new(kinds, "match", _match, "a load to a line: by one stub, both solutions, or by two lumped parts",
                  {"at": "frequency", "resistance": "of the load, with", "reactance": "of the load (default 0ohm); or",
                   "reflection": "of the load on a line of --impedance, magnitude, with", "angle": "such as -60deg",
                   "impedance": "of the line (default 50ohm)", "stub-impedance": "of the stub (default: the line's)",
                   "distance": "the way back, which load is matched: from load to stub (mm; deg with --ideal), with",
                   "stub-length": "length of the stub", "series": "the way back with --lumped: such as 3.3nH or 2pF",
                   "shunt": "the same, across"})
    parser.add_argument("--stub", choices=("open", "shorted"), default="open", help="how the stub ends")
    parser.add_argument("--lumped", action="store_true", help="by inductors and capacitors, one in series, one across")
    parser.add_argument("--shunt-at", choices=("load", "line"), default="load", help="where --shunt stands")
    parser.add_argument("--ideal", action="store_true", help="lengths in degrees only, on no board")


def _add_feed(kinds: Any) -> None:
    parser = _new(kinds, "feed", _feed, "a bias feed: a quarter wave of line and an open stub of a quarter wave",
                  {"at": "f0", "impedance": "of the feed's line (default 100ohm)",
                   "stub-impedance": "of the stub (default 50ohm)",
                   "beyond": "resistance of the supply's side, in the second column (default 10ohm)",
                   "width": "the way back: of the line, with", "length": "of the line, and",
                   "stub-width": "of the stub, and", "stub-length": "of the stub",
                   "radial": "angle of a radial stub, such as 60deg, in place of a straight one; then --stub-width is "
                   "across its narrow end, --stub-length the radius of its rim"})
    parser.add_argument("--harmonic", type=int, default=1, metavar="N",
                        help="of f0, at which both are a quarter wave (default 1)")
    parser.add_argument("--ideal", action="store_true", help="lengths in degrees only, on no board")


# -- reading -------------------------------------------------------------------------------------------------------


def _value(options: argparse.Namespace, name: str, unit: str, default: float | None = None, *,
           above: float | None = 0.0) -> float | None:
    """What an option says, in `unit`; above `above` if that is not None."""
    text = getattr(options, name.replace("-", "_"))
    if text is None:
        return default
    if unit == "deg" and name == "degrees" and re.fullmatch(r"\s*[\d.]+\s*", text):
        text += " deg"  # the option says it
    value = parse(text, unit, f"--{name}")
    if above is not None and not value > above:
        raise Refusal(f"'{text}' is not possible here; it must be above 0", f"--{name}")
    return value


def _needed(options: argparse.Namespace, name: str, unit: str) -> float:
    value = _value(options, name, unit)
    if value is None:
        from ..quantities import sample
        raise Refusal(f"missing; give for example --{name} '{sample(unit)}'", f"--{name}")
    return value


def _given(options: argparse.Namespace, *names: str) -> list[str]:
    return [name for name in names if getattr(options, name.replace("-", "_")) is not None]


def _refuse_beside(options: argparse.Namespace, what: str, *names: str) -> None:
    """Options that say nothing beside another one."""
    for name in _given(options, *names):
        raise Refusal(f"it says nothing with {what}; leave one of them out", f"--{name}")


def _all_or_none(options: argparse.Namespace, *names: str) -> bool:
    given = _given(options, *names)
    if given and len(given) < len(names):
        missing = next(name for name in names if name not in given)
        raise Refusal(f"missing; it goes with --{given[0]}", f"--{missing}")
    return bool(given)


def _on_board(options: argparse.Namespace) -> tuple[Any, Any, str]:
    """Board, conductor, and the text of [board] for a circuit file."""
    from ..describe import library
    from ..describe.fragment import exact
    from ..linear.board import Board
    told = {name: _value(options, name, unit, above=None) for name, unit in _BOARD.items()
            if getattr(options, name.replace("-", "_")) is not None}
    if options.board is None:
        for name in ("height", "permittivity"):
            if name not in told:
                raise Refusal("missing; name a board of the library with --board, or give --height and --permittivity",
                              f"--{'board' if not told else name}")
        values = _USUAL | told
    else:
        found = _of_library(library.board, options.board, "--board").model
        values = {name: getattr(found, name.replace("-", "_")) for name in _BOARD} | told
    try:
        board = Board(**{name.replace("-", "_"): value for name, value in values.items()})
    except Refusal as refusal:
        raise Refusal(refusal.what, f"--{refusal.place.replace('_', '-')}") from None
    conductor = None if options.conductor is None else \
        _of_library(library.conductor, options.conductor, "--conductor").model
    lines = [] if options.board is None else [f'use = "{options.board}"']
    lines += [f'{name.replace("-", "_")} = "{exact(value, _BOARD[name])}"'
              for name, value in (told if options.board else values).items()]
    return board, conductor, "\n".join(lines)


def _of_library(entry: Any, name: str, option: str) -> Any:
    try:
        return entry(name)
    except Refusal as refusal:
        raise Refusal(str(refusal), option) from None


def _cut(options: argparse.Namespace) -> float:
    return parse(options.cut, "m", "--cut")


def _no_board(options: argparse.Namespace, what: str) -> None:
    _refuse_beside(options, what, "board", *_BOARD, "conductor")


def _hand_out(options: argparse.Namespace, design: Any, lies_on: str = "") -> int:
    from ..design.figures import as_json
    from ..show.design_page import design_page

    def figure() -> Any:
        from ..show.design_plot import design_figure
        return design_figure(design)

    hand_out(options, lambda: design_page(design, lies_on), as_json(design), figure)
    return 0


def _places(refusal: Refusal, options: argparse.Namespace) -> Refusal:
    """The same refusal with the option in place of the field's name: the one that was given, where there are two ways
    to tell it."""
    if not refusal.place or " " in refusal.place:
        return refusal
    name = refusal.place.removesuffix("_db").replace("_", "-")
    if name in ("band", "bandwidth"):
        name = "bandwidth" if getattr(options, "from") is None else "from"
    elif name in ("even-impedance", "odd-impedance") and getattr(options, "coupling", None) is not None:
        name = "coupling"
    return Refusal(refusal.what, f"--{name}", refusal.file)


# -- the designs ---------------------------------------------------------------------------------------------------


def _run(options: argparse.Namespace, make: Any) -> int:
    """Make a design, with refusals that name options, and hand it out."""
    check_outputs(options)
    try:
        made = make(options)
    except Refusal as refusal:
        raise (refusal if refusal.place.startswith("--") else _places(refusal, options)) from None
    return _hand_out(options, *made)


def _line(options: argparse.Namespace) -> int:
    return _run(options, _make_line)


def _make_line(options: argparse.Namespace) -> tuple[Any, str]:
    from ..design.lines import design_line
    board, conductor, lies_on = _on_board(options)
    return design_line(board, impedance=_value(options, "impedance", "ohm"), width=_value(options, "width", "m"),
                       frequency=_value(options, "at", "Hz", 0.0), degrees=_value(options, "degrees", "deg"),
                       length=_value(options, "length", "m"), conductor=conductor, cut=_cut(options),
                       measured_loss_db=_value(options, "measured-loss", "dB")), lies_on


def _pair(options: argparse.Namespace) -> int:
    return _run(options, _make_pair)


def _make_pair(options: argparse.Namespace) -> tuple[Any, str]:
    from ..design.pairs import design_pair, impedances_for
    board, conductor, lies_on = _on_board(options)
    even, odd = _value(options, "even-impedance", "ohm"), _value(options, "odd-impedance", "ohm")
    if _all_or_none(options, "impedance", "coupling"):
        _refuse_beside(options, "--coupling", "even-impedance", "odd-impedance", "width", "gap")
        even, odd = impedances_for(_needed(options, "impedance", "ohm"), _needed(options, "coupling", "dB"))
    return design_pair(board, even_impedance=even, odd_impedance=odd, width=_value(options, "width", "m"),
                       gap=_value(options, "gap", "m"), frequency=_value(options, "at", "Hz", 0.0),
                       conductor=conductor, cut=_cut(options)), lies_on


def _filter(options: argparse.Namespace) -> int:
    return _run(options, _make_filter)


def _make_filter(options: argparse.Namespace) -> tuple[Any, str]:
    from ..design import coupled_filter
    from ..design.prototype import Prototype
    order = options.order
    if order is None and options.widths is not None:  # the way back: the sections are one more than the resonators
        order = len(_list(options, "widths")) - 1
    if order is None:
        raise Refusal("missing; give the number of resonators, such as --order 3", "--order")
    wish = coupled_filter.Wish(Prototype(order, _value(options, "ripple", "dB", 0.0, above=None)),
                               _band(options), _value(options, "impedance", "ohm", 50.0))
    hairpin = options.form == "hairpin"
    if options.ideal:
        _no_board(options, "--ideal")
        _refuse_beside(options, "--ideal", "widths", "gaps", "lengths", "arm-spacing", "smallest-gap")
        if not hairpin:
            _refuse_beside(options, "--form straight", "bend")
        return coupled_filter.ideal_filter(wish, bend_degrees=_needed(options, "bend", "deg") if hairpin else None), ""
    board, conductor, lies_on = _on_board(options)
    if not hairpin:
        _refuse_beside(options, "--form straight", "bend", "arm-spacing")
    smallest = _value(options, "smallest-gap", "m", coupled_filter.SMALLEST_GAP)
    if _all_or_none(options, "widths", "gaps", "lengths"):
        _refuse_beside(options, "--widths", "arm-spacing")
        return coupled_filter.filter_as_cut(
            wish, board, _list(options, "widths"), _list(options, "gaps"), _list(options, "lengths"), conductor,
            bend_length=_needed(options, "bend", "m") if hairpin else None, cut=_cut(options),
            smallest_gap=smallest), lies_on
    _refuse_beside(options, "a filter to be laid out, whose bends follow from --arm-spacing", "bend")
    return coupled_filter.board_filter(wish, board, conductor, hairpin=hairpin,
                                       arm_spacing=_value(options, "arm-spacing", "m"), cut=_cut(options),
                                       smallest_gap=smallest), lies_on


def _list(options: argparse.Namespace, name: str) -> list[float]:
    found = [parse(text, "m", f"--{name}") for text in getattr(options, name).split(",")]
    if min(found) <= 0.0:
        raise Refusal("lengths must be above 0 mm", f"--{name}")
    return found


def _band(options: argparse.Namespace) -> Any:
    """The band wanted, by its edges or by centre and bandwidth."""
    from ..design.band import Band
    if _all_or_none(options, "from", "to"):
        _refuse_beside(options, "--from and --to", "centre", "bandwidth")
        return Band(_needed(options, "from", "Hz"), _needed(options, "to", "Hz"))
    if not _all_or_none(options, "centre", "bandwidth"):
        raise Refusal("missing; give --centre and --bandwidth, or both band edges as --from and --to", "--centre")
    centre = _needed(options, "centre", "Hz")
    share = options.bandwidth.rstrip().endswith("%")
    if not share and options.bandwidth.strip().replace(".", "", 1).isdecimal():
        raise Refusal(f"'{options.bandwidth}' has no unit; write '{options.bandwidth}%' of the centre, or a width such "
                      "as '100MHz'", "--bandwidth")
    width = _needed(options, "bandwidth", "1" if share else "Hz") * (centre if share else 1.0)
    return Band(centre - width / 2.0, centre + width / 2.0)


def _match(options: argparse.Namespace) -> int:
    return _run(options, _make_match)


def _make_match(options: argparse.Namespace) -> tuple[Any, str]:
    impedance, at = _value(options, "impedance", "ohm", 50.0), _needed(options, "at", "Hz")
    if options.lumped:
        _no_board(options, "--lumped")
        _refuse_beside(options, "--lumped", "stub-impedance", "distance", "stub-length")
        return _make_lumped(options, impedance, at), ""
    from ..design.stub_match import board_stub_match, ideal_stub_match, load_of_stub_match
    _refuse_beside(options, "a stub; they are for --lumped", "series", "shunt")
    told = {"stub_impedance": _value(options, "stub-impedance", "ohm"), "kind": options.stub}
    if options.ideal:
        _no_board(options, "--ideal")
        board, conductor, lies_on = None, None, ""
    else:
        board, conductor, lies_on = _on_board(options)
    if _all_or_none(options, "distance", "stub-length"):
        _refuse_beside(options, "--distance, which asks for the load", "resistance", "reactance", "reflection", "angle")
        lengths = [_needed(options, name, "deg" if options.ideal else "m") for name in ("distance", "stub-length")]
        return load_of_stub_match(*lengths, impedance, at, board, conductor, cut=_cut(options), **told), lies_on
    load = _load(options, impedance)
    if options.ideal:
        return ideal_stub_match(load, impedance, at, **told), ""
    return board_stub_match(load, impedance, at, board, conductor, cut=_cut(options), **told), lies_on


def _make_lumped(options: argparse.Namespace, impedance: float, at: float) -> Any:
    from ..design.lumped_match import load_of_lumped_match, lumped_match
    if not _given(options, "series", "shunt"):
        return lumped_match(_load(options, impedance), impedance, at)
    _refuse_beside(options, "--series or --shunt, which ask for the load", "resistance", "reactance", "reflection",
                   "angle")
    parts = [_lumped_part(options, name) for name in ("series", "shunt")]
    return load_of_lumped_match(*parts, impedance, at, shunt_at_load=options.shunt_at == "load")


def _lumped_part(options: argparse.Namespace, name: str) -> Any:
    from ..linear.lumped import Capacitor, Inductor
    text = getattr(options, name)
    if text is None:
        return None
    kind, unit = (Capacitor, "F") if text.rstrip().endswith("F") else (Inductor, "H")
    return kind(_needed(options, name, unit))


def _load(options: argparse.Namespace, impedance: float) -> complex:
    """The load, by its impedance or its reflection."""
    import cmath
    import math
    if options.reflection is not None:
        from ..design.termination import impedance_of
        _refuse_beside(options, "--reflection", "resistance", "reactance")
        magnitude = _value(options, "reflection", "1", above=None)
        if magnitude < 0.0:
            raise Refusal("the magnitude of a reflection is not below 0; turn its angle by 180 deg", "--reflection")
        angle = math.radians(_value(options, "angle", "deg", 0.0, above=None))
        return impedance_of(cmath.rect(magnitude, angle), impedance)
    _refuse_beside(options, "--resistance", "angle")
    if options.resistance is None:
        raise Refusal("missing; give --resistance and --reactance of the load, or --reflection and --angle",
                      "--resistance")
    return complex(_value(options, "resistance", "ohm", above=None),
                   _value(options, "reactance", "ohm", 0.0, above=None))


def _feed(options: argparse.Namespace) -> int:
    return _run(options, _make_feed)


def _make_feed(options: argparse.Namespace) -> tuple[Any, str]:
    from ..design import feed
    at = _needed(options, "at", "Hz")
    told = {"harmonic": options.harmonic, "beyond": _value(options, "beyond", "ohm", 10.0)}
    impedances = _value(options, "impedance", "ohm", 100.0), _value(options, "stub-impedance", "ohm", 50.0)
    angle = _value(options, "radial", "deg")
    if angle is not None:
        _refuse_beside(options, "--radial", "stub-impedance")
    sizes = ("width", "length", "stub-width", "stub-length")
    if options.ideal:
        _no_board(options, "--ideal")
        _refuse_beside(options, "--ideal", *sizes, "radial")
        return feed.ideal_feed(at, *impedances, **told), ""
    board, conductor, lies_on = _on_board(options)
    if _all_or_none(options, *sizes):
        _refuse_beside(options, "--width", "impedance", "stub-impedance")
        return feed.feed_as_cut(at, *(_needed(options, name, "m") for name in sizes), board, conductor,
                                radial_angle=angle, **told), lies_on
    return feed.board_feed(at, *impedances, board, conductor, radial_angle=angle, cut=_cut(options), **told), lies_on
