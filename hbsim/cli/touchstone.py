"""`hbsim touchstone`: one Touchstone file, looked at and written anew."""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

from ..errors import Refusal
from ..quantities import parse
from .shared import check_outputs, hand_out

_SHAPING = ("reference", "ports", "parameter", "format", "version")


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser("touchstone", help="look at a Touchstone file, or write it anew",
                                 description="Look at a Touchstone file: what it holds, how it was understood, whether "
                                             "it is passive and reciprocal; and write it anew in another form.")
    parser.add_argument("input", metavar="FILE", help="Touchstone file (.sNp, .ts)")
    parser.add_argument("--json", metavar="FILE", help="write the figures as JSON; - is standard output")
    parser.add_argument("--plot", metavar="FILE", help="draw magnitudes and reflections (.png, .svg, .pdf)")
    parser.add_argument("--rewrite", metavar="FILE", help="write the data anew, cleanly; the next options say how")
    parser.add_argument("--reference", metavar="OHM[,OHM]",
                        help="against other resistances: one, or one for each port as the file has them")
    parser.add_argument("--ports", metavar="N,N", help="ports in another order, such as 2,1")
    parser.add_argument("--parameter", type=str.upper, choices=("S", "Z", "Y", "H", "G"), help="default S")
    parser.add_argument("--format", type=str.upper, choices=("RI", "MA", "DB"),
                        help="real and imaginary part (default), magnitude and angle, dB and angle")
    parser.add_argument("--version", choices=("1.0", "1.1", "2.0", "2.1"),
                        help="of the file (default 1.0, or 2.1 where that cannot hold the data)")
    parser.set_defaults(run=_touchstone)


def _touchstone(options: argparse.Namespace) -> int:
    _check(options)
    from ..linear.touchstone import read_touchstone
    data = read_touchstone(options.input)
    written = _rewrite(options, data) if options.rewrite else ""
    from ..studies.touchstone_file import as_json, inspect
    found = inspect(data)
    from ..show.touchstone_page import touchstone_page
    hand_out(options, lambda: touchstone_page(found) + written,
             as_json(found) if options.json else {}, lambda: _figure(found))
    return 0


def _figure(found: Any) -> Any:
    from ..show.touchstone_plot import touchstone_figure
    return touchstone_figure(found)


def _check(options: argparse.Namespace) -> None:
    """Refuse before the work what could not be written after it."""
    check_outputs(options)
    if options.rewrite is None:
        shaping = next((name for name in _SHAPING if getattr(options, name) is not None), None)
        if shaping:
            raise Refusal("it shapes the file that --rewrite writes, and none is asked for; add --rewrite FILE",
                          f"--{shaping}")
    elif options.rewrite == "-":
        raise Refusal("a file is written with a name that tells its ports; name one, such as clean.s2p", "--rewrite")
    else:
        from ..files import check_writable
        check_writable(options.rewrite)
    taken = {os.path.realpath(options.input): "the file that is read"}
    for name in ("json", "plot", "rewrite"):
        path = getattr(options, name)
        if path is None or path == "-":
            continue
        if os.path.realpath(path) in taken:
            raise Refusal(f"'{path}' is also {taken[os.path.realpath(path)]}; give each its own file", f"--{name}")
        taken[os.path.realpath(path)] = f"that of --{name}"


def _rewrite(options: argparse.Namespace, data: Any) -> str:
    """Write the file; returns what the page says of it."""
    from ..linear.measured import renormalised, reordered
    from ..linear.touchstone import read_touchstone, write_touchstone
    from ..show.touchstone_page import written_lines
    changed = data
    if options.reference is not None:
        values = [parse(text, "ohm", "--reference") for text in options.reference.split(",")]
        changed = _located(renormalised, changed, values[0] if len(values) == 1 else values, "--reference")
    if options.ports is not None:
        changed = _located(reordered, changed, _whole_numbers(options.ports), "--ports")
    done = changed.notes[len(data.notes):]
    comments = (*data.comments, *(f"{Path(data.file).name}: {note}" for note in done))
    write_touchstone(options.rewrite, replace(changed, comments=comments), parameter=options.parameter or "S",
                     format=options.format or "RI", version=options.version)
    return "\n".join(["", "", *written_lines(read_touchstone(options.rewrite), changed.reference)])


def _located(change: Any, data: Any, value: Any, option: str) -> Any:
    try:
        return change(data, value)
    except Refusal as refusal:
        raise Refusal(refusal.what, option) from None


def _whole_numbers(text: str) -> list[int]:
    try:
        return [int(piece) for piece in text.split(",")]
    except ValueError:
        raise Refusal(f"'{text}' is not a row of whole numbers; write it like 2,1", "--ports") from None
