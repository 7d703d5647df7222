"""`hbsim bias`: output, match and currents against a supply or another quantity, for several drives."""

from __future__ import annotations

import argparse
from typing import Any

from .shared import (asked_accuracy, check_outputs, complain, hand_out, load_circuit, named_values, of_circuit,
                     refuse_fixed, write_table)


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "bias", help="study output, match and currents against a supply or another quantity, for several drives",
        description="Study output, match, currents and conduction angle against a supply or another quantity, for "
                    "several drives; where the output is best, and why it falls beyond.")
    of_circuit(parser, "change a quantity for the whole study; repeatable")
    parser.add_argument("--vary", metavar="NAME.QUANTITY=START:STOP:STEP",
                        help="such as supply.VCC=1:8:0.1V or R_b.resistance=4:40:1kohm (default: the first supply, "
                             "from 0.25 to 3.25 times its value)")
    parser.add_argument("--drives", metavar="P,P,P",
                        help="such as --drives=-5dBm,0dBm,3dBm, with = before a minus (default: 5 dB below that of the "
                             "file, that itself, 3 dB above)")
    parser.add_argument("--device", metavar="NAME",
                        help="whose currents and waveforms (default: that with most current at the wanted harmonic)")
    parser.add_argument("--csv", metavar="FILE", help="write all points as a table; - is standard output")
    parser.set_defaults(run=_bias, compiles=True)


def _bias(options: argparse.Namespace) -> int:
    from ..show.bias_study_page import bias_study_page
    from ..show.progress import progress_line
    from ..studies.bias_study import as_json, bias_study, header, rows
    check_outputs(options)
    circuit = load_circuit(options)
    varied = {} if options.vary is None else named_values([options.vary], "--vary")
    refuse_fixed(options, varied)
    address, values = next(iter(varied.items()), (None, None))
    drives = None if options.drives is None else [drive.strip() for drive in options.drives.split(",")]
    with progress_line() as progress:
        study = bias_study(circuit.description, address, values, drives, device=options.device,
                           harmonics=options.harmonics, accuracy=asked_accuracy(options), progress=progress)
    write_table(options.csv, header(study), rows(study))
    hand_out(options, lambda: bias_study_page(study), as_json(study) if options.json else {}, lambda: _figure(study))
    unsolved = sum(len(curve.reasons) for curve in study.curves)
    if unsolved:
        complain(f"{options.file}: {unsolved} of {len(study.curves) * len(study.values)} points not solved", 0)
    return 0


def _figure(study: Any) -> Any:
    from ..show.bias_study_plot import bias_study_figure
    return bias_study_figure(study)
