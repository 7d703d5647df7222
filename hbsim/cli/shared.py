"""What the commands share: their parser, options of a circuit, where results go."""

from __future__ import annotations

import argparse
import csv
import json
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import IO, Any, NoReturn

from ..errors import Refusal, closest
from ..quantities import parse


_WANTS_VALUE = re.compile(r"argument (\S+): expected (?:one|at least one) argument")
_NEGATIVE = re.compile(r"-[.0-9]")
_ALIKE = 0.6  # of an option and a misspelt one, as errors.nearest has it


class Parser(argparse.ArgumentParser):
    """Refuses in one line, as every other part of hbsim does; takes no shortened options."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options, allow_abbrev=False)

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> tuple[Any, list[str]]:
        """As argparse has it, but a command refuses here what it does not know: it has the options at hand."""
        self._given = list(sys.argv[1:] if args is None else args)
        found, unknown = super().parse_known_args(args, namespace)
        if unknown:
            self.error(f"unrecognized arguments: {' '.join(unknown)}{self._meant(unknown)}")
        return found, unknown

    def error(self, message: str) -> NoReturn:
        taken = _WANTS_VALUE.match(message)
        if taken:
            message += self._minus(taken[1].split("/"))
        raise Refusal(f"{message}; '{self.prog} --help' shows what there is")

    def _meant(self, unknown: Sequence[str]) -> str:
        """The option that a misspelt one was probably meant to be."""
        options = [option for option in self._option_string_actions if option.startswith("--")]
        wrong = next((text.partition("=")[0] for text in unknown if text.startswith("--")), "")
        close = closest(wrong, options, _ALIKE) if wrong else ""
        return f"; did you mean '{close}'?" if close else ""

    def _minus(self, options: Sequence[str]) -> str:
        """The mend where a value begins with a minus sign and was taken for an option."""
        for option, value in zip(self._given, self._given[1:]):
            if option in options and _NEGATIVE.match(value):
                return f"; write {option}={value}, as a value that begins with a minus sign looks like an option"
        return ""


def complain(what: Any, status: int) -> int:
    """Print what went wrong; returns the exit status."""
    print(f"hbsim: {what}", file=sys.stderr)
    return status


def of_circuit(parser: argparse.ArgumentParser, meaning_of_set: str) -> None:
    """Options of a command that solves a circuit file."""
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


def asked_accuracy(options: argparse.Namespace) -> Any:
    """The accuracy that --accuracy and --lines ask for."""
    from ..balance.accuracy import Accuracy
    given = {} if options.lines is None else {"lines": options.lines}
    if options.accuracy is not None:
        try:
            given["wanted_db"] = parse(options.accuracy, "dB")
        except Refusal as refusal:
            raise Refusal(refusal.what, "--accuracy") from None
    return Accuracy(**given)


def hand_out(options: argparse.Namespace, page: Callable[[], str], data: dict[str, Any],
              figure: Callable[[], Any]) -> None:
    """JSON and picture where they are asked for, then the page, unless other data goes to standard output: whoever
    reads the page through a pipe may close it early."""
    write_json(options.json, data)
    if options.plot:
        from ..show.style import save
        save(figure(), options.plot)
    if "-" not in (options.json, getattr(options, "csv", None)):
        print(page())


def load_circuit(options: argparse.Namespace) -> Any:
    """The circuit file with the values of --set."""
    from ..studies.circuit import Circuit
    circuit = Circuit.load(options.file)
    return circuit.with_values(named_values(options.values, "--set")) if options.values else circuit


def named_values(texts: Sequence[str], option: str) -> dict[str, str]:
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


def refuse_fixed(options: argparse.Namespace, varied: Iterable[str]) -> None:
    """Refuse a --set of what is varied: its value would never be used."""
    fixed = named_values(options.values, "--set")
    for name in varied:
        if name in fixed:
            raise Refusal(f"'{name}' is varied, so that the value set for it is never used; leave one out", "--set")


def check_outputs(options: argparse.Namespace, inputs: Iterable[str | os.PathLike] = ()) -> None:
    """Refuse before the work what could not be written after it, or would replace what is read.

    inputs : files that are read, besides the options' own.
    """
    from ..files import check_writable
    paths = {f"--{name}": getattr(options, name, None)
             for name in ("touchstone", "csv", "npz", "json", "plot", "write")}
    if options.plot is not None:
        from ..show.style import check_format
        check_format(options.plot)
    taken = {os.path.realpath(getattr(options, name)): meaning
             for name, meaning in (("file", "the circuit file"), ("input", "the file that is read"))
             if hasattr(options, name)}
    taken |= {os.path.realpath(path): "a file that is read" for path in inputs if os.path.realpath(path) not in taken}
    for option, path in paths.items():
        if path is None:
            continue
        if path != "-":
            check_writable(path)
        place = path if path == "-" else os.path.realpath(path)
        if place in taken:
            raise Refusal(f"'{path}' is also {taken[place]}; give each its own file", option)
        taken[place] = f"that of {option}"


def write_table(path: str | None, names: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """A table as CSV into a file, or to standard output for "-"; nothing without a path."""
    def write(handle: IO[str]) -> None:
        writer = csv.writer(handle, lineterminator="\n")
        writer.writerow(names)
        writer.writerows(rows)

    if path == "-":
        write(sys.stdout)
    elif path:
        from ..files import replaced
        with replaced(path) as handle:
            write(handle)


def write_json(path: str | None, data: dict[str, Any]) -> None:
    """JSON into a file, or to standard output for "-"."""
    if path == "-":
        print(json.dumps(data, indent=1, allow_nan=False))
    elif path:
        from ..files import replaced
        with replaced(path) as handle:
            json.dump(data, handle, indent=1, allow_nan=False)
            handle.write("\n")


@contextmanager
def says_when_compiling() -> Iterator[None]:
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

