"""`hbsim sweep`: a circuit on a grid of quantities."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from ..errors import Refusal
from .shared import (asked_accuracy, check_outputs, complain, hand_out, load_circuit, named_values, of_circuit,
                     refuse_fixed)


def add(commands: Any) -> None:
    """Put the command into the parser."""
    parser = commands.add_parser("sweep", help="solve a circuit file on a grid of quantities",
                                 description="Solve a circuit file on a grid of quantities. Exit status 0 if any point "
                                             "was solved; those that were not are marked.")
    of_circuit(parser, "change a quantity for the whole sweep; repeatable")
    parser.add_argument("--vary", dest="axes", action="append", default=[], metavar="NAME.QUANTITY=START:STOP:STEP",
                       help="needed: such as drive.power=-20dBm:10dBm:1dB or supply.VCC=1:8:0.25V; instead of the step "
                            "'5 points', '5 points by ratio'; or a list, 'C1.capacitance=1, 2, 5 pF'. Several "
                            "names with a comma between, or *, take one value; 'scale *.gap=0.9:1.1:0.05' multiplies. "
                            "Repeatable, the last runs fastest")
    parser.add_argument("--devices", action="store_true",
                        help="also the heat in each device and the peak voltage at it; takes longer")
    parser.add_argument("--csv", metavar="FILE",
                       help="write the table; - is standard output. What is found on the way is kept beside it")
    parser.add_argument("--npz", metavar="FILE",
                        help="write the table as a binary file, which SweepTable.load and numpy read")
    parser.add_argument("--resume", action="store_true",
                       help="go on with a sweep that was cut short, from what was kept beside the file of --csv, "
                            "or else --npz")
    parser.set_defaults(run=_sweep, compiles=True)


def _sweep(options: argparse.Namespace) -> int:
    from ..show.progress import progress_line
    from ..studies.compression import compression
    from ..studies.highlights import highlights
    from ..studies.linked import link_of
    from ..studies.table import as_json
    from ..studies.unfinished import Unfinished
    if not options.axes:  # not left to the parser: it would miss --vary before it names a misspelt option
        raise Refusal("nothing is varied; give for example --vary drive.power=-20dBm:10dBm:1dB", "--vary")
    check_outputs(options)
    circuit = load_circuit(options)
    axes = named_values(options.axes, "--vary")
    links = [link_of(circuit.description, name) for name in axes]
    refuse_fixed(options, [address for link in links if link.bases is None for address in link.addresses])
    if options.plot and len(axes) > 2:
        raise Refusal("a picture shows one or two quantities; vary fewer, or use --csv", "--plot")
    if options.npz:
        from ..studies.table_file import check_ending
        check_ending(options.npz)
    kept = _kept_beside(options)
    try:
        with progress_line() as progress:
            table = circuit.sweep(axes, harmonics=options.harmonics, accuracy=asked_accuracy(options),
                                  devices=options.devices, progress=progress, keep_in=kept, resume=options.resume)
    except KeyboardInterrupt:
        return complain(f"interrupted; what was found is kept in {kept}; the same command with --resume goes on"
                        if kept else "interrupted; nothing was kept (--csv FILE or --npz FILE keeps it)", 130)
    found, remarks = compression(circuit.description, table), highlights(circuit.description, table)
    if options.csv == "-":
        table.write_csv(sys.stdout)
    elif options.csv:
        table.to_csv(options.csv)
    if options.npz:
        table.save(options.npz)
    if kept:
        Unfinished.remove(kept)
    from ..show.plots import sweep_figure
    from ..show.report import sweep_page
    hand_out(options, lambda: sweep_page(table, found, remarks), as_json(table, found, remarks),
              lambda: sweep_figure(table, found))
    unsolved = int((~table.solved).sum())
    if unsolved:
        print(f"hbsim: {options.file}: {unsolved} of {table.solved.size} points not solved, the first at "
              f"{table.place_text(min(table.reasons))}: {table.reasons[min(table.reasons)]}", file=sys.stderr)
    return 0 if table.solved.any() else 1


def _kept_beside(options: argparse.Namespace) -> str | None:
    """Folder that keeps what a sweep finds until its file is written."""
    for path in (options.csv, options.npz):
        if path not in (None, "-"):
            return f"{path}.unfinished"
    if options.resume:
        raise Refusal("only what was kept beside a file can be gone on with; give the same --csv FILE or --npz FILE",
                      "--resume")
    return None
