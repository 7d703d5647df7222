"""`hbsim network`: S-parameters of the linear circuit between any of its nodes."""

from __future__ import annotations

import argparse
import os
from typing import Any

from ..errors import Refusal
from ..quantities import parse
from .shared import check_outputs, hand_out, named_values, write_table


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "network", help="S-parameters of the linear circuit, or of some of its parts, between any nodes",
        description="S-parameters of the linear circuit, or of some of its parts, between any nodes: sizes, group "
                    "delay, Smith chart, beside a measurement.")
    parser.add_argument("file", metavar="FILE", help="circuit file (TOML)")
    parser.add_argument("--ports", metavar="A,B", help="nodes or ports of the circuit, NODE1/NODE2 between two nodes "
                                                       "(default: the ports of the circuit)")
    parser.add_argument("--reference", metavar="OHM[,OHM]",
                        help="resistance of all ports, or of each (default 50ohm; a port of the circuit has its own)")
    parser.add_argument("--from", dest="low", metavar="F", help="lowest frequency, 0Hz too (default f0 / 4)")
    parser.add_argument("--to", dest="high", metavar="F", help="highest frequency (default 4 f0)")
    parser.add_argument("--points", type=int, metavar="N", default=401, help="how many frequencies (default 401)")
    parser.add_argument("--spacing", choices=("linear", "log"), default="linear",
                        help="equal steps or equal ratios (default linear)")
    parser.add_argument("--parts", metavar="P,Q", help="only these parts count, without supplies and terminations")
    parser.add_argument("--device", choices=("absent", "linearised"), default="absent",
                        help="devices taken out, or as small signals see them at the operating point (default absent)")
    parser.add_argument("--set", dest="values", action="append", default=[], metavar="NAME.QUANTITY=VALUE",
                        help="change a quantity, such as match_stub.length='24 mm'; repeatable")
    parser.add_argument("--measured", metavar="FILE", help="Touchstone file to compare with")
    parser.add_argument("--touchstone", metavar="FILE", help="write the S-parameters as a Touchstone file (.sNp, .ts)")
    parser.add_argument("--csv", metavar="FILE", help="write all figures as a table; - is standard output")
    parser.add_argument("--json", metavar="FILE", help="write all figures as JSON; - is standard output")
    parser.add_argument("--plot", metavar="FILE", help="draw a picture (.png, .svg, .pdf)")
    parser.set_defaults(run=_network, compiles=True)


def _network(options: argparse.Namespace) -> int:
    check_outputs(options)
    _check_measured(options)
    from ..describe import circuitfile
    from ..studies.network_figures import as_json, header, measured, rows
    from ..studies.network_response import network_response
    description = circuitfile.load(options.file)
    if options.values:
        description = description.with_values(named_values(options.values, "--set"))
    reference = None if options.reference is None else [parse(text, "ohm", "--reference")
                                                        for text in _names(options.reference, "--reference")]
    found = network_response(
        description, _frequencies(options, description.drive.frequency),
        None if options.ports is None else _names(options.ports, "--ports"), reference=reference,
        parts=None if options.parts is None else _names(options.parts, "--parts"), device=options.device)
    _check_touchstone_name(options.touchstone, len(found.ports))
    beside = None if options.measured is None else measured(options.measured, found)
    if options.touchstone:
        from ..linear.touchstone import write_touchstone
        write_touchstone(options.touchstone, found.data(options.touchstone))
    write_table(options.csv, header(len(found.ports)), rows(found))
    from ..show.network_page import network_page
    hand_out(options, lambda: network_page(found, beside), as_json(found, beside) if options.json else {},
             lambda: _figure(found, beside))
    return 0


def _figure(found: Any, beside: Any) -> Any:
    from ..show.network_plot import network_figure
    return network_figure(found, beside)


def _names(text: str, option: str) -> list[str]:
    names = [name.strip() for name in text.split(",")]
    if not all(names):
        raise Refusal(f"'{text}' has an empty place; write names with a comma between", option)
    return names


def _frequencies(options: argparse.Namespace, drive: float) -> Any:
    """The frequencies asked for, (points,). [Hz]"""
    import numpy as np
    low = drive / 4 if options.low is None else parse(options.low, "Hz", "--from")
    high = 4 * drive if options.high is None else parse(options.high, "Hz", "--to")
    if low < 0:
        raise Refusal(f"'{options.low}' is below 0 Hz", "--from")
    if not low < high:
        raise Refusal("the range is empty: --from must be below --to"
                      + ("" if options.low and options.high else " (without them f0 / 4 and 4 f0)"), "--from")
    if options.points < 2:
        raise Refusal(f"{options.points} points are too few; at least 2 are needed", "--points")
    if options.spacing == "linear":
        return np.linspace(low, high, options.points)
    if low == 0:
        raise Refusal("equal ratios cannot begin at 0 Hz; give --from a frequency above, or leave --spacing out",
                      "--spacing")
    return np.geomspace(low, high, options.points)


def _check_measured(options: argparse.Namespace) -> None:
    """Refuse to write over the measurement."""
    if options.measured is None:
        return
    for option in ("touchstone", "csv", "json", "plot"):
        path = getattr(options, option)
        if path not in (None, "-") and os.path.realpath(path) == os.path.realpath(options.measured):
            raise Refusal(f"'{path}' is the measurement itself; name another file", f"--{option}")


def _check_touchstone_name(path: str | None, ports: int) -> None:
    """Refuse a name that does not tell readers the number of ports."""
    if path is not None and os.path.splitext(path)[1].lower() not in (f".s{ports}p", ".ts"):
        raise Refusal(f"'{path}' does not end as a Touchstone file of {ports} port{'s' * (ports > 1)} does; name it "
                      f"'{os.path.splitext(os.path.basename(path))[0]}.s{ports}p' (or .ts)", "--touchstone")
