"""`hbsim readings`: one file of the bench, as it is understood."""

from __future__ import annotations

import argparse
from typing import Any

from ..errors import Refusal
from ..quantities import parse
from .shared import check_outputs, hand_out


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser("readings", help="show a file of measured data as it is understood",
                                 description="Show a file of measured data as it is understood: columns with units, "
                                             "sweeps, markers, what is unusual; with --f0 the lines of a spectrum "
                                             "trace at multiples of the drive's frequency, and all others.")
    parser.add_argument("--keys", action=_Keys, nargs=0,
                        help="print all that the TOML file beside a data file may say, and leave")
    parser.add_argument("input", metavar="FILE", help="text file of an instrument or written by hand")
    parser.add_argument("--as", dest="mapping", metavar="MAP",
                        help="TOML file that says what columns are (default: that of the same name beside FILE)")
    parser.add_argument("--f0", metavar="FREQUENCY", help="frequency of the drive, such as 1.152GHz")
    parser.add_argument("--rbw", metavar="FREQUENCY", help="resolution bandwidth, where the file does not say it")
    parser.add_argument("--detector", choices=("peak", "sample", "average"), help="where the file does not say it")
    parser.add_argument("--frequency-error", metavar="FREQUENCY", help="by which --f0 may be off (default none)")
    parser.add_argument("--json", metavar="FILE", help="write all numbers as JSON; - is standard output")
    parser.add_argument("--plot", metavar="FILE", help="draw a picture (.png, .svg, .pdf)")
    parser.set_defaults(run=_readings)


class _Keys(argparse.Action):
    """Prints the keys, which need no data file."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from ..bench.keys import keys
        print(keys())
        parser.exit()


def _readings(options: argparse.Namespace) -> int:
    check_outputs(options)
    f0, bandwidth, error = (_frequency(options, name) for name in ("f0", "rbw", "frequency_error"))
    if f0 is None:
        for name in ("rbw", "detector", "frequency_error"):
            if getattr(options, name) is not None:
                raise Refusal("it serves to find lines; give --f0 as well", f"--{name.replace('_', '-')}")
    from ..bench.mapping import read_mapping
    from ..bench.reader import read_readings
    readings = read_readings(options.input, read_mapping(options.mapping) if options.mapping else None)
    from ..bench.inspection import as_json, inspect
    found = inspect(readings, f0, bandwidth=bandwidth, detector=options.detector, frequency_error=error or 0.0)
    found = _with_cautions(found, options)
    from ..show.readings_page import readings_page
    hand_out(options, lambda: readings_page(found), as_json(found), lambda: _figure(found))
    return 0


def _with_cautions(found: Any, options: argparse.Namespace) -> Any:
    """The same with notes on levels that could harm an analyser, which the TOML file beside the data may describe."""
    from dataclasses import replace
    from pathlib import Path

    from ..bench.cautions import of_readings
    from ..bench.setup import Setup, read_setup
    from ..describe.tomlfile import read_toml
    beside = Path(options.mapping or Path(options.input).with_suffix(".toml"))
    setup, told = Setup(), ()
    try:
        setup = read_setup(read_toml(beside), str(beside)) if beside.is_file() else setup
    except Refusal as refusal:  # the file is read without it
        told = (f"of the bench nothing is known here: {refusal}",)
    return replace(found, notes=(*found.notes, *of_readings(found.readings, setup), *told))


def _figure(found: Any) -> Any:
    from ..show.readings_plot import readings_figure
    return readings_figure(found)


def _frequency(options: argparse.Namespace, name: str) -> float | None:
    text = getattr(options, name)
    if text is None:
        return None
    place = f"--{name.replace('_', '-')}"
    value = parse(text, "Hz", place)
    if value <= 0:
        raise Refusal(f"'{text}' is not above zero", place)
    return value
