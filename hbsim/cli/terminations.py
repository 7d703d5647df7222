"""`hbsim terminations`: what the transistor wants to see at a pin, at one harmonic."""

from __future__ import annotations

import argparse
from typing import Any

from ..errors import Refusal
from ..quantities import parse
from .shared import asked_accuracy, check_outputs, hand_out, load_circuit, of_circuit


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "terminations", help="what the transistor wants to see: output and match over the Smith chart",
        description="Output at the wanted harmonic and input match against the termination of one pin at one harmonic, "
                    "all other harmonics staying as the circuit has them; or, with --move-stub, against the distance "
                    "of an open stub that is a quarter wave at that harmonic.")
    of_circuit(parser, "change a quantity, such as drive.power=3dBm; repeatable")
    parser.add_argument("--at", metavar="PIN", required=True,
                        help="pin of the transistor: collector, base, or Q1.collector where there are several")
    parser.add_argument("--harmonic", metavar="N", type=int, required=True, help="1 for f0, 2 for 2 f0, ...")
    parser.add_argument("--reference", metavar="OHM", help="middle of the chart (default 50ohm)")
    parser.add_argument("--reach", metavar="R", type=float,
                        help="largest reflection coefficient (default 1, or 0.95 where power passes at that harmonic)")
    parser.add_argument("--rings", metavar="N", type=int, help="rings of points on the chart (default 12: 469 points)")
    parser.add_argument("--move-stub", action="store_true",
                        help="put a line and an open quarter-wave stub at the pin, and move the stub")
    parser.add_argument("--line", metavar="OHM", help="impedance of line and stub of --move-stub (default 50ohm)")
    parser.set_defaults(run=_terminations, compiles=True)


def _terminations(options: argparse.Namespace) -> int:
    check_outputs(options)
    _check_mode(options)
    circuit = load_circuit(options)
    return (_moved if options.move_stub else _chart)(options, circuit.description)


def _chart(options: argparse.Namespace, description: Any) -> int:
    from ..studies.contours import contours_json
    from ..studies.terminations import RINGS, as_json, terminations
    reference = 50.0 if options.reference is None else parse(options.reference, "ohm", "--reference")
    found = terminations(description, options.at, options.harmonic, reference=reference, reach=options.reach,
                         rings=RINGS if options.rings is None else options.rings, harmonics=options.harmonics,
                         accuracy=asked_accuracy(options))

    def figure() -> Any:
        from ..show.terminations_plot import terminations_figure
        return terminations_figure(found)

    from ..show.terminations_page import terminations_page
    hand_out(options, lambda: terminations_page(found), as_json(found) | contours_json(found), figure)
    return 0


def _moved(options: argparse.Namespace, description: Any) -> int:
    from ..studies.stub_distance import stub_distance
    impedance = 50.0 if options.line is None else parse(options.line, "ohm", "--line")
    found = stub_distance(description, options.at, options.harmonic, impedance=impedance, stub_impedance=impedance,
                          harmonics=options.harmonics, accuracy=asked_accuracy(options))

    def figure() -> Any:
        from ..show.terminations_plot import stub_distance_figure
        return stub_distance_figure(found)

    from ..show.terminations_page import stub_distance_page
    hand_out(options, lambda: stub_distance_page(found), found.as_json(), figure)
    return 0


def _check_mode(options: argparse.Namespace) -> None:
    """Refuse options of the other kind of study."""
    for name in ("reference", "reach", "rings") if options.move_stub else ("line",):
        if getattr(options, name) is not None:
            mend = "leave --move-stub out" if options.move_stub else "add --move-stub"
            raise Refusal(f"counts for the other kind of study only; {mend}, or take it away", f"--{name}")
