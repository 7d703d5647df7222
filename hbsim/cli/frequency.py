"""`hbsim frequency`: what comes out across the drive's frequency, and over which band."""

from __future__ import annotations

import argparse
from typing import Any

from ..errors import Refusal
from ..quantities import parse
from .shared import (asked_accuracy, check_outputs, complain, hand_out, load_circuit, of_circuit, refuse_fixed,
                     write_table)


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "frequency", help="study the circuit across f0: output and its bandwidth, leakage, match, currents",
        description="Study the circuit across the drive's frequency f0: output at the wanted harmonic and its "
                    "bandwidth, leakage, input match, supply currents; and the power carried at places on the way.")
    of_circuit(parser, "change a quantity for the whole study; repeatable")
    parser.add_argument("--from", dest="begin", metavar="F", help="lowest f0, such as 1.1GHz (default: 5 %% below that "
                                                                  "of the file)")
    parser.add_argument("--to", dest="end", metavar="F", help="highest f0 (default: 5 %% above that of the file)")
    parser.add_argument("--points", metavar="N", type=int, help="so many frequencies, both ends among them (default "
                                                                "101)")
    parser.add_argument("--step", metavar="F", help="instead of --points: from one frequency to the next, such as 1MHz")
    parser.add_argument("--through", metavar="NAME", action="append", default=[],
                        help="tell of the power carried through a node or a part at each harmonic; repeatable "
                             "(default: of a chain the nodes between its stages)")
    parser.add_argument("--return-loss", metavar="DB", help="whose band is told (default 10dB)")
    parser.add_argument("--csv", metavar="FILE", help="write all points as a table; - is standard output")
    parser.set_defaults(run=_frequency, compiles=True)


def _frequency(options: argparse.Namespace) -> int:
    from ..show.frequency_page import frequency_page
    from ..show.progress import counting_line
    from ..studies.frequency_figures import as_json, header, rows
    from ..studies.frequency_study import MATCHED_DB, frequency_study
    check_outputs(options)
    refuse_fixed(options, ["drive.frequency"])
    circuit = load_circuit(options)
    matched = MATCHED_DB if options.return_loss is None else parse(options.return_loss, "dB", "--return-loss")
    with counting_line() as tell:
        study = frequency_study(circuit.description, _range(options, circuit.description.drive.frequency),
                                through=options.through, matched_db=matched, harmonics=options.harmonics,
                                accuracy=asked_accuracy(options), tell=tell)
    write_table(options.csv, header(study), rows(study))
    hand_out(options, lambda: frequency_page(study), as_json(study) if options.json else {}, lambda: _figure(study))
    if study.reasons:
        complain(f"{options.file}: {len(study.reasons)} of {len(study.frequency)} points not solved", 0)
    return 0 if study.solved.any() else 1


def _range(options: argparse.Namespace, own: float) -> str:
    """The frequencies asked for, as the text of a sweep's axis."""
    from ..studies.frequency_study import POINTS, SPAN
    if options.points is not None and options.step is not None:
        raise Refusal("says the same as --points; give one of them", "--step")
    ends = [own * (1 + way * SPAN) if text is None else parse(text, "Hz", option) for text, option, way in (
        (options.begin, "--from", -1), (options.end, "--to", 1))]
    if not 0 < ends[0] < ends[1]:
        raise Refusal(f"the range from {ends[0]:.9g} Hz to {ends[1]:.9g} Hz does not rise from above zero; give --from "
                      "below --to", "--from")
    if options.step is None:
        count = POINTS if options.points is None else options.points
        return f"{ends[0]:.12g} Hz : {ends[1]:.12g} Hz : {count} points"
    step = parse(options.step, "Hz", "--step")
    if not step > 0:
        raise Refusal("is the distance from one frequency to the next, above zero", "--step")
    return f"{ends[0]:.12g} Hz : {ends[1]:.12g} Hz : {step:.12g} Hz"


def _figure(study: Any) -> Any:
    from ..show.frequency_plot import frequency_figure
    return frequency_figure(study)
