"""`hbsim device`: what the library holds, and parameters of a transistor from a text."""

from __future__ import annotations

import argparse
from typing import Any

from ..errors import Refusal
from . import device_text
from .shared import check_outputs, hand_out


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser("device", help="show a transistor or diode of the library, list what is there, or "
                                 "read parameters from a text")
    parser.add_argument("name", metavar="NAME", nargs="?",
                        help="name in the library, or a model file (TOML); without it the library is listed")
    parser.add_argument("--plot", metavar="FILE", help="draw its curves (.png, .svg, .pdf)")
    parser.add_argument("--json", metavar="FILE", help="write all numbers as JSON; - is standard output")
    device_text.add_options(parser)
    parser.set_defaults(run=_device, compiles=True)


def _device(options: argparse.Namespace) -> int:
    if device_text.asked(options):
        return device_text.run(options)
    if options.name is None:
        return _list_library(options)
    from ..studies.device_curves import as_json, curves
    check_outputs(options)
    found = curves(options.name)
    from ..show.device_page import device_page
    from ..show.device_plot import device_figure
    hand_out(options, lambda: device_page(found), as_json(found), lambda: device_figure(found))
    return 0


def _list_library(options: argparse.Namespace) -> int:
    from ..describe import library
    for option in ("plot", "json"):
        if getattr(options, option) is not None:
            raise Refusal("no device is named; 'hbsim device' alone lists what there is", f"--{option}")
    for group in ("transistors", "diodes", "boards", "conductors"):
        print(group)
        for name, title in library.titles(group).items():
            print(f"  {name:<18}  {title}")
    return 0
