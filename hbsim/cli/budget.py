"""`hbsim budget`: where the power of one solved state goes."""

from __future__ import annotations

import argparse
from typing import Any

from ..errors import Refusal
from .shared import asked_accuracy, check_outputs, hand_out, load_circuit, named_values, of_circuit, write_table


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "budget", help="where the power goes: who gives and takes it at each harmonic, where decibels are lost",
        description="Solve a circuit file and say where the power goes: what each part gives or takes at each "
                    "harmonic, and what is lost on the way from the device to the wanted port.")
    of_circuit(parser, "change a quantity, such as drive.power=3dBm or supply.VCC='4.5 V'; repeatable")
    parser.add_argument("--group", dest="groups", action="append", default=[], metavar="NAME=PART,PART",
                        help="tell of some parts as one, such as filter=filter_1,filter_2,filter_3; repeatable")
    parser.add_argument("--csv", metavar="FILE", help="write the budget as a table; - is standard output")
    parser.set_defaults(run=_budget, compiles=True)


def _budget(options: argparse.Namespace) -> int:
    check_outputs(options)
    groups = {name: [part.strip() for part in text.split(",")]
              for name, text in named_values(options.groups, "--group").items()}
    from ..studies.budget import budget, check_groups
    from ..studies.budget_figures import as_json, header, rows
    circuit = load_circuit(options)
    try:
        check_groups(circuit.description, groups)
    except Refusal as refusal:
        raise Refusal(refusal.what, "--group") from None
    found = budget(circuit.solve(harmonics=options.harmonics, accuracy=asked_accuracy(options)), groups)
    write_table(options.csv, header(found), rows(found))
    from ..show.budget_page import budget_page
    hand_out(options, lambda: budget_page(found), as_json(found), lambda: _figure(found))
    return 0


def _figure(found: Any) -> Any:
    from ..show.budget_plot import budget_figure
    return budget_figure(found)
