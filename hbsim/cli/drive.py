"""`hbsim drive`: the wanted output along the drive, and what cold and heat cost."""

from __future__ import annotations

import argparse
from typing import Any

from .shared import asked_accuracy, check_outputs, complain, hand_out, load_circuit, of_circuit, write_table


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "drive", help="study the wanted output along the drive: power law, turn-on, saturation, leakage, temperature",
        description="Study the wanted output along the drive: where it follows its power law, where it turns on and "
                    "saturates, its 1 dB point, what leaks; with --temperatures the same cold and hot.")
    of_circuit(parser, "change a quantity for the whole study; repeatable")
    parser.add_argument("--drives", metavar="START:STOP:STEP",
                        help="such as --drives=-40dBm:10dBm:0.5dB, with = before a minus (default: from "
                             "-60 dBm to 12 dB above the drive of the file)")
    parser.add_argument("--temperatures", metavar="T,T,T",
                        help="every device at each of these, such as --temperatures=-20degC,25degC,70degC")
    parser.add_argument("--csv", metavar="FILE", help="write all points as a table; - is standard output")
    parser.set_defaults(run=_drive, compiles=True)


def _drive(options: argparse.Namespace) -> int:
    from ..show.drive_study_page import drive_study_page
    from ..show.progress import progress_line
    from ..studies.drive_study import as_json, drive_study, header, rows
    check_outputs(options)
    circuit = load_circuit(options)
    temperatures = [] if options.temperatures is None else [t.strip() for t in options.temperatures.split(",")]
    with progress_line() as progress:
        study = drive_study(circuit.description, options.drives, temperatures, harmonics=options.harmonics,
                            accuracy=asked_accuracy(options), progress=progress)
    write_table(options.csv, header(study), rows(study))
    hand_out(options, lambda: drive_study_page(study), as_json(study) if options.json else {}, lambda: _figure(study))
    curves = (study.curve, *study.at_temperature)
    unsolved = sum(int((~curve.table.solved).sum()) for curve in curves)
    if unsolved:
        complain(f"{options.file}: {unsolved} of {sum(c.table.solved.size for c in curves)} points not solved", 0)
    return 0 if study.curve.table.solved.any() else 1


def _figure(study: Any) -> Any:
    from ..show.drive_study_plot import drive_study_figure
    return drive_study_figure(study)
