"""The command: parse, call, print. Exit status 0 done, 1 not solved, 2 refused."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NoReturn

# The balance's matrices are small: more than one thread a factorisation only costs. Set before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from .errors import HbsimError, NotSolved, Refusal  # noqa: E402
from .quantities import parse, show  # noqa: E402


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status."""
    try:
        options = _parser().parse_args(arguments)
        with _says_when_compiling():
            status = options.run(options)
        sys.stdout.flush()
        return status
    except NotSolved as failure:
        return _complain(failure, 1)
    except HbsimError as refusal:
        return _complain(refusal, 2)
    except MemoryError:
        return _complain("the memory does not suffice; take fewer harmonics or points", 2)
    except BrokenPipeError:  # whoever read standard output has left
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except KeyboardInterrupt:
        return _complain("interrupted; nothing was written", 130)


def _complain(what: Any, status: int) -> int:
    print(f"hbsim: {what}", file=sys.stderr)
    return status


class _Parser(argparse.ArgumentParser):
    """Refuses in one line, as every other part of hbsim does; takes no shortened options."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options, allow_abbrev=False)

    def error(self, message: str) -> NoReturn:
        raise Refusal(f"{message}; '{self.prog} --help' shows what there is")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="hbsim", description="Predict what a microwave frequency multiplier does.",
                     epilog="Exit status: 0 done, 1 not solved, 2 refused (input that cannot be used).")
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and leave")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    predict = commands.add_parser("predict", help="solve a circuit file and say what comes out",
                                  description="Solve a circuit file and say what comes out at each harmonic.")
    _of_circuit(predict, "change a quantity, such as drive.power=3dBm or supply.VCC='4.5 V'; repeatable")
    predict.set_defaults(run=_predict)

    sweep = commands.add_parser("sweep", help="solve a circuit file on a grid of quantities",
                                description="Solve a circuit file on a grid of quantities. Exit status 0 if any point "
                                            "was solved; those that were not are marked.")
    _of_circuit(sweep, "change a quantity for the whole sweep; repeatable")
    sweep.add_argument("--vary", dest="axes", action="append", default=[], metavar="NAME.QUANTITY=START:STOP:STEP",
                       help="needed: such as drive.power=-20dBm:10dBm:1dB, supply.VCC=1:8:0.25V or "
                            "stub.length=10:20:0.5mm; repeatable, the last runs fastest")
    sweep.add_argument("--csv", metavar="FILE",
                       help="write the table; - is standard output. What is found on the way is kept beside it")
    sweep.add_argument("--resume", action="store_true",
                       help="go on with a sweep that was cut short, from what was kept beside the file of --csv")
    sweep.set_defaults(run=_sweep)

    device = commands.add_parser("device", help="show a transistor or diode of the library, or list what is there")
    device.add_argument("name", metavar="NAME", nargs="?",
                        help="name in the library, or a model file (TOML); without it the library is listed")
    device.add_argument("--plot", metavar="FILE", help="draw its curves (.png, .svg, .pdf)")
    device.add_argument("--json", metavar="FILE", help="write all numbers as JSON; - is standard output")
    device.set_defaults(run=_device)
    return parser


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from . import __version__
        parser.exit(message=f"hbsim {__version__}\n")


def _of_circuit(parser: argparse.ArgumentParser, meaning_of_set: str) -> None:
    parser.add_argument("file", metavar="FILE", help="circuit file (TOML)")
    parser.add_argument("--set", dest="values", action="append", default=[], metavar="NAME.QUANTITY=VALUE",
                        help=meaning_of_set)
    parser.add_argument("--accuracy", metavar="LEVEL",
                        help="by how much the wanted line may still move with more harmonics (default 0.01dB; the "
                             "others ten times as much)")
    parser.add_argument("--lines", type=int, metavar="N", help="harmonics shown, from the first on (default 6)")
    parser.add_argument("--harmonics", type=int, metavar="K",
                        help="balance exactly K harmonics, DC apart, whether or not they reach --accuracy")
    parser.add_argument("--json", metavar="FILE", help="write all numbers as JSON; - is standard output")
    parser.add_argument("--plot", metavar="FILE", help="draw a picture (.png, .svg, .pdf)")


def _predict(options: argparse.Namespace) -> int:
    from .studies.prediction import as_json, predict
    _check_outputs(options)
    circuit = _circuit(options)
    try:
        prediction = predict(circuit, harmonics=options.harmonics, accuracy=_accuracy(options))
    except NotSolved as failure:
        d = circuit.description
        at = [f"drive.power = {show(d.drive.power_dbm, 'dBm')}"]
        at += [f"supply.{name} = {show(supply.voltage, 'V')}" for name, supply in d.supplies.items()]
        raise NotSolved(f"{options.file}: not solved at {', '.join(at)}: {failure}", failure.iterate) from None
    from .show.plots import prediction_figure
    from .show.report import prediction_page
    _hand_out(options, lambda: prediction_page(prediction), as_json(prediction), lambda: prediction_figure(prediction))
    return 0


def _sweep(options: argparse.Namespace) -> int:
    from .show.progress import progress_line
    from .studies.compression import compression
    from .studies.highlights import highlights
    from .studies.table import as_json
    from .studies.unfinished import Unfinished
    if not options.axes:  # not left to the parser: it would miss --vary before it names a misspelt option
        raise Refusal("nothing is varied; give for example --vary drive.power=-20dBm:10dBm:1dB", "--vary")
    _check_outputs(options)
    circuit = _circuit(options)
    axes = _pairs(options.axes, "--vary")
    for name in axes.keys() & _pairs(options.values, "--set").keys():
        raise Refusal(f"'{name}' is varied, so that the value set for it is never used; leave one out", "--set")
    if options.plot and len(axes) > 2:
        raise Refusal("a picture shows one or two quantities; vary fewer, or use --csv", "--plot")
    kept = _kept_beside(options)
    try:
        with progress_line() as progress:
            table = circuit.sweep(axes, harmonics=options.harmonics, accuracy=_accuracy(options), progress=progress,
                                  keep_in=kept, resume=options.resume)
    except KeyboardInterrupt:
        return _complain(f"interrupted; what was found is kept in {kept}; the same command with --resume goes on"
                         if kept else "interrupted; nothing was kept (--csv FILE keeps it)", 130)
    found, remarks = compression(circuit.description, table), highlights(circuit.description, table)
    if options.csv == "-":
        table.write_csv(sys.stdout)
    elif options.csv:
        table.to_csv(options.csv)
        Unfinished.remove(kept)
    from .show.plots import sweep_figure
    from .show.report import sweep_page
    _hand_out(options, lambda: sweep_page(table, found, remarks), as_json(table, found, remarks),
              lambda: sweep_figure(table, found))
    unsolved = int((~table.solved).sum())
    if unsolved:
        print(f"hbsim: {options.file}: {unsolved} of {table.solved.size} points not solved, the first at "
              f"{table.place_text(min(table.reasons))}: {table.reasons[min(table.reasons)]}", file=sys.stderr)
    return 0 if table.solved.any() else 1


def _kept_beside(options: argparse.Namespace) -> str | None:
    """Folder that keeps what a sweep finds until its file is written."""
    if options.csv not in (None, "-"):
        return f"{options.csv}.unfinished"
    if options.resume:
        raise Refusal("only what was kept beside a file can be gone on with; give the same --csv FILE", "--resume")
    return None


def _accuracy(options: argparse.Namespace) -> Any:
    from .balance.accuracy import Accuracy
    given = {} if options.lines is None else {"lines": options.lines}
    if options.accuracy is not None:
        try:
            given["wanted_db"] = parse(options.accuracy, "dB")
        except Refusal as refusal:
            raise Refusal(refusal.what, "--accuracy") from None
    return Accuracy(**given)


def _list_library(options: argparse.Namespace) -> int:
    from .describe import library
    for option in ("plot", "json"):
        if getattr(options, option) is not None:
            raise Refusal("no device is named; 'hbsim device' alone lists what there is", f"--{option}")
    for group in ("transistors", "diodes", "boards", "conductors"):
        print(group)
        for name, title in library.titles(group).items():
            print(f"  {name:<18}  {title}")
    return 0


def _device(options: argparse.Namespace) -> int:
    if options.name is None:
        return _list_library(options)
    from .studies.device_curves import as_json, curves
    _check_outputs(options)
    found = curves(options.name)
    from .show.device_page import device_page
    from .show.device_plot import device_figure
    _hand_out(options, lambda: device_page(found), as_json(found), lambda: device_figure(found))
    return 0


def _hand_out(options: argparse.Namespace, page: Callable[[], str], data: dict[str, Any],
              figure: Callable[[], Any]) -> None:
    """The page, unless other data goes to standard output; JSON and picture where they are asked for."""
    if "-" not in (options.json, getattr(options, "csv", None)):
        print(page())
    _write_json(options.json, data)
    if options.plot:
        from .show.style import save
        save(figure(), options.plot)


def _circuit(options: argparse.Namespace) -> Any:
    from .studies.circuit import Circuit
    circuit = Circuit.load(options.file)
    return circuit.with_values(_pairs(options.values, "--set")) if options.values else circuit


def _pairs(texts: Sequence[str], option: str) -> dict[str, str]:
    """"name=value" texts as a mapping; each name once."""
    found: dict[str, str] = {}
    for text in texts:
        name, equals, value = (piece.strip() for piece in text.partition("="))
        if not equals or not name or not value:
            raise Refusal(f"'{text}' has no name, '=' and value; write it like drive.power=3dBm", option)
        if name in found:
            raise Refusal(f"'{name}' is named twice; keep one", option)
        found[name] = value
    return found


def _check_outputs(options: argparse.Namespace) -> None:
    """Refuse before the work what could not be written after it."""
    from .files import check_writable
    paths = {f"--{name}": getattr(options, name, None) for name in ("csv", "json", "plot")}
    if options.plot is not None:
        from .show.style import check_format
        check_format(options.plot)
    taken = {os.path.realpath(options.file): "the circuit file"} if hasattr(options, "file") else {}
    for option, path in paths.items():
        if path is None:
            continue
        if path != "-":
            check_writable(path)
        place = path if path == "-" else os.path.realpath(path)
        if place in taken:
            raise Refusal(f"'{path}' is also {taken[place]}; give each its own file", option)
        taken[place] = f"that of {option}"


def _write_json(path: str | None, data: dict[str, Any]) -> None:
    if path == "-":
        print(json.dumps(data, indent=1, allow_nan=False))
    elif path:
        from .files import replaced
        with replaced(path) as handle:
            json.dump(data, handle, indent=1, allow_nan=False)
            handle.write("\n")


@contextmanager
def _says_when_compiling() -> Iterator[None]:
    """Tell whoever waits why the first run after an installation takes longer: numba compiles, and keeps the result.

    numba itself is asked: its event of this name stands for a compilation that no cache could spare.
    """
    from numba.core import event
    said = False

    class Listener(event.Listener):
        def on_start(self, _: Any) -> None:
            nonlocal said
            if not said:
                said = True
                print("hbsim: compiling, which takes up to a minute; the result is kept, so that later runs start "
                      "at once", file=sys.stderr, flush=True)

        def on_end(self, _: Any) -> None:
            pass

    with event.install_listener("numba:compile", Listener()):
        yield
