"""`hbsim tradeoff`: what nothing beats on two counts."""

from __future__ import annotations

import argparse
from typing import Any

from ..errors import Refusal
from .shared import asked_accuracy, check_outputs, complain, hand_out, load_circuit, named_values, of_circuit


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser(
        "tradeoff", help="find what nothing beats on two counts, and what to change for it",
        description="Find the points that nothing beats on two counts within the limits of free quantities. Figures: "
                    "output_dbm_2 (a line), output_dbc_1 (a line against the wanted one), input_return_loss_db, "
                    "efficiency, conversion_loss_db, supply_amps_NAME.")
    of_circuit(parser, "change a quantity for the whole search; repeatable")
    parser.add_argument("--free", action="append", default=[], metavar="NAME.QUANTITY=LOW:HIGH",
                        help="needed: what may change, such as supply.VCC=1V:8V; repeatable. Of "
                             "match_line.length/input_line.length=30mm:45mm the second gives what the first takes")
    parser.add_argument("--maximise", metavar="FIGURE", help="default: the wanted output")
    parser.add_argument("--against", metavar="FIGURE", default="input_return_loss_db",
                        help="the other count (default input_return_loss_db); more of the wanted line, return loss and "
                             "efficiency is better, less of all else")
    parser.add_argument("--hold", action="append", default=[], metavar="FIGURE=LOW:HIGH",
                        help="a limit to keep, such as input_return_loss_db=10dB: or output_dbc_1=:-30dBc; repeatable. "
                             "On one of the two counts it says which point is the best one; on others it cuts what "
                             "is shown")
    parser.set_defaults(run=_tradeoff, compiles=True)


def _tradeoff(options: argparse.Namespace) -> int:
    from ..show.progress import counting_line
    from ..show.tradeoff_page import tradeoff_page
    from ..show.tradeoff_plot import tradeoff_figure
    from ..studies.tradeoff import as_json, tradeoff
    if not options.free:
        raise Refusal("nothing is free; give for example --free supply.VCC=1V:8V", "--free")
    check_outputs(options)
    circuit = load_circuit(options)
    free, hold = named_values(options.free, "--free"), named_values(options.hold, "--hold")
    fixed = named_values(options.values, "--set")
    for name in fixed.keys() & {address.strip() for given in free for address in given.split("/")}:
        raise Refusal(f"'{name}' is free, so that the value set for it is only where the search starts; leave one out",
                      "--set")
    with counting_line() as tell:
        found = tradeoff(circuit.description, free, maximise=options.maximise, against=options.against, hold=hold,
                         harmonics=options.harmonics, accuracy=asked_accuracy(options), tell=tell)
    if not found.points:
        return complain("interrupted before a point was found" if not found.finished else
                        f"{options.file}: no point of the front holds when the circuit is switched on there",
                        1 if found.finished else 130)
    hand_out(options, lambda: tradeoff_page(found), as_json(found), lambda: tradeoff_figure(found))
    return 0 if found.finished else complain("interrupted; what was found is shown", 130)
