"""The command: parse, call, print. Exit status 0 done, 1 not solved, 2 refused."""

from __future__ import annotations

import argparse
import json
import os
import sys
import threading
from collections.abc import Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

# The balance's matrices are small: more than one thread a factorisation only costs. Set before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from .errors import HbsimError, NotSolved, Refusal  # noqa: E402


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status."""
    parser = _parser()
    options = parser.parse_args(arguments)
    try:
        options.run(options)
    except NotSolved as failure:
        print(f"hbsim: not solved: {failure}", file=sys.stderr)
        return 1
    except HbsimError as refusal:
        print(f"hbsim: {refusal}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except KeyboardInterrupt:
        print("hbsim: interrupted; nothing was written", file=sys.stderr)
        return 130
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="hbsim", description="Predict what a microwave frequency multiplier does.")
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and leave")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    predict = commands.add_parser("predict", help="solve a circuit file and say what comes out")
    predict.add_argument("file", metavar="FILE", help="circuit file (TOML)")
    predict.add_argument("--set", dest="values", action="append", default=[], metavar="NAME.QUANTITY=VALUE",
                         help="change a quantity, such as drive.power='3 dBm' or supply.VCC='4.5 V'; repeatable")
    _common(predict)
    predict.set_defaults(run=_predict)

    sweep = commands.add_parser("sweep", help="solve a circuit on a grid of quantities")
    sweep.add_argument("file", metavar="FILE", help="circuit file (TOML)")
    sweep.add_argument("--vary", dest="axes", action="append", required=True, metavar="NAME.QUANTITY=START:STOP:STEP",
                       help="such as drive.power=-20dBm:10dBm:1dB or supply.VCC=1V:8V:0.25V; repeatable")
    sweep.add_argument("--set", dest="values", action="append", default=[], metavar="NAME.QUANTITY=VALUE",
                       help="change a quantity for the whole sweep; repeatable")
    sweep.add_argument("--csv", metavar="FILE", help="write the table")
    _common(sweep)
    sweep.set_defaults(run=_sweep)

    device = commands.add_parser("device", help="show a transistor or diode of the library")
    device.add_argument("name", metavar="NAME", help="name in the library, or a model file (TOML)")
    device.add_argument("--plot", metavar="FILE", help="draw its curves (.png, .svg, .pdf)")
    device.add_argument("--json", metavar="FILE", help="write all numbers as JSON; - is standard output")
    device.set_defaults(run=_device)
    return parser


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from . import __version__
        parser.exit(message=f"hbsim {__version__}\n")


def _common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--harmonics", type=int, metavar="K", help="harmonics balanced (default 16)")
    parser.add_argument("--json", metavar="FILE", help="write all numbers as JSON; - is standard output")
    parser.add_argument("--plot", metavar="FILE", help="draw a picture (.png, .svg, .pdf)")


def _predict(options: argparse.Namespace) -> None:
    from .studies.prediction import as_json, predict
    _check_outputs(options.json, options.plot)
    circuit = _circuit(options)
    with _says_when_compiling():
        prediction = predict(circuit, harmonics=options.harmonics)
        prediction.state.devices  # noqa: B018  (compiled too)
    if options.json != "-":
        from .show.report import prediction_page
        print(prediction_page(prediction))
    _write_json(options.json, as_json(prediction))
    if options.plot:
        from .show.plots import prediction_figure
        from .show.style import save
        save(prediction_figure(prediction), options.plot)


def _sweep(options: argparse.Namespace) -> None:
    from .show.progress import progress_line
    from .studies.compression import compression, sentence
    from .studies.sweep import as_json
    _check_outputs(options.csv, options.json, options.plot)
    circuit = _circuit(options)
    axes = dict(_split(text, "--vary") for text in options.axes)
    if len(axes) < len(options.axes):
        raise Refusal("one quantity is varied twice; name it once", "--vary")
    if options.plot and len(axes) > 2:
        raise Refusal("a picture shows one or two quantities; vary fewer, or use --csv", "--plot")
    harmonics = {"harmonics": options.harmonics} if options.harmonics is not None else {}
    with _says_when_compiling(), progress_line() as progress:
        table = circuit.sweep(axes, progress=progress, **harmonics)
    found = compression(circuit.description, table)
    if options.json != "-":
        from .show.report import sweep_page
        print(sweep_page(table, sentence(found) if found else None))
    if options.csv:
        table.to_csv(options.csv)
    _write_json(options.json, as_json(table, found))
    if options.plot:
        from .show.plots import sweep_figure
        from .show.style import save
        save(sweep_figure(table, found), options.plot)


def _device(options: argparse.Namespace) -> None:
    from .studies.device_curves import as_json, curves
    _check_outputs(options.json, options.plot)
    with _says_when_compiling():
        found = curves(options.name)
    if options.json != "-":
        from .show.device_page import device_page
        print(device_page(found))
    _write_json(options.json, as_json(found))
    if options.plot:
        from .show.device_plot import device_figure
        from .show.style import save
        save(device_figure(found), options.plot)


def _circuit(options: argparse.Namespace) -> Any:
    from .studies.circuit import Circuit
    circuit = Circuit.load(options.file)
    return circuit.with_values(dict(_split(text, "--set") for text in options.values)) if options.values else circuit


def _split(text: str, option: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals or not name.strip() or not value.strip():
        raise Refusal(f"'{text}' has no '='; write NAME.QUANTITY=VALUE", option)
    return name.strip(), value.strip()


def _check_outputs(*paths: str | None) -> None:
    """Refuse before the work what could not be written after it."""
    from .files import check_writable
    from .show.style import check_format
    for path in paths:
        if path and path != "-":
            check_writable(path)
    if paths[-1]:
        check_format(paths[-1])


def _write_json(path: str | None, data: dict[str, Any]) -> None:
    if path == "-":
        print(json.dumps(data, indent=1, allow_nan=False))
    elif path:
        from .files import replaced
        with replaced(path) as handle:
            json.dump(data, handle, indent=1, allow_nan=False)
            handle.write("\n")


@contextmanager
def _says_when_compiling():
    """After two seconds without an answer, say why: the first run after an installation compiles."""
    timer = threading.Timer(2.0, lambda: print(
        "hbsim: compiling; this happens once after an installation and takes up to half a minute", file=sys.stderr))
    timer.daemon = True
    from .balance.newton import newton
    if _is_compiled(newton):
        yield
        return
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _is_compiled(function: Any) -> bool:
    """Whether numba already keeps a compiled form of this function, in this process or in its cache on disk."""
    if not hasattr(function, "signatures"):  # compiling is switched off
        return True
    cache = Path(function._cache.cache_path) if hasattr(function, "_cache") else None
    return bool(function.signatures) or (cache is not None and any(cache.glob(f"*{function.__name__}*.nbc")))
