"""`hbsim predict`: one state of a circuit."""

from __future__ import annotations

import argparse
from typing import Any

from ..errors import NotSolved
from ..quantities import show
from .shared import asked_accuracy, check_outputs, hand_out, load_circuit, of_circuit


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser("predict", help="solve a circuit file and say what comes out",
                                 description="Solve a circuit file and say what comes out at each harmonic.")
    of_circuit(parser, "change a quantity, such as drive.power=3dBm or supply.VCC='4.5 V'; repeatable")
    parser.set_defaults(run=_predict, compiles=True)


def _predict(options: argparse.Namespace) -> int:
    from ..studies.prediction import as_json, predict
    check_outputs(options)
    circuit = load_circuit(options)
    try:
        prediction = predict(circuit, harmonics=options.harmonics, accuracy=asked_accuracy(options))
    except NotSolved as failure:
        d = circuit.description
        at = [f"drive.power = {show(d.drive.power_dbm, 'dBm')}"]
        at += [f"supply.{name} = {show(supply.voltage, 'V')}" for name, supply in d.supplies.items()]
        raise NotSolved(f"{options.file}: not solved at {', '.join(at)}: {failure}", failure.iterate) from None
    from ..show.plots import prediction_figure
    from ..show.report import prediction_page
    hand_out(options, lambda: prediction_page(prediction), as_json(prediction), lambda: prediction_figure(prediction))
    return 0
