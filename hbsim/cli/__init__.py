"""The command: parse, call, print. Exit status 0 done, 1 not solved, 2 refused.

One module a command; each imports what is heavy inside its function, so that a command starts quickly.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from contextlib import nullcontext
from typing import Any

# The balance's matrices are small: more than one thread a factorisation only costs. Set before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from ..errors import HbsimError, NotSolved  # noqa: E402
from . import (  # noqa: E402
    bias, budget, compare, design, device, drive, fit, frequency, network, predict, readings, sweep, terminations,
    touchstone, tradeoff)
from .shared import Parser, complain, says_when_compiling  # noqa: E402

_COMMANDS = (predict, sweep, drive, bias, frequency, budget, tradeoff, terminations, design, network, touchstone,
             device, readings, compare, fit)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status."""
    try:
        options = _parser().parse_args(arguments)
        with says_when_compiling() if options.compiles else nullcontext():
            status = options.run(options)
        sys.stdout.flush()
        return status
    except NotSolved as failure:
        return complain(failure, 1)
    except HbsimError as refusal:
        return complain(refusal, 2)
    except MemoryError:
        return complain("the memory does not suffice; take fewer harmonics or points", 2)
    except BrokenPipeError:  # whoever read standard output has left
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except KeyboardInterrupt:
        return complain("interrupted; nothing was written", 130)


def _parser() -> argparse.ArgumentParser:
    parser = Parser(prog="hbsim", description="Predict what a microwave frequency multiplier does.",
                     epilog="Exit status: 0 done, 1 not solved, 2 refused (input that cannot be used).")
    parser.set_defaults(compiles=False)
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and leave")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for command in _COMMANDS:
        command.add(commands)
    return parser


class _Version(argparse.Action):
    """Looks the version up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> None:
        from .. import __version__
        parser.exit(message=f"hbsim {__version__}\n")
