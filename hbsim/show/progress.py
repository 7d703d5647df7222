"""A line of progress on a terminal; nothing when the output is piped."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_QUIET_FOR = 1.0  # [s]
_REFRESH, _COUNTED = 0.2, 0.3  # [s]


@contextmanager
def progress_line() -> Iterator[Callable[[int, int], None] | None]:
    """Gives a function of (done, in all) that keeps one line on standard error; None where that is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    began, last, drawn, had = time.monotonic(), 0.0, False, None

    def draw(done: int, total: int) -> None:
        nonlocal last, drawn, had
        now = time.monotonic()
        if had is None:
            had = done  # the first points may have been kept from an earlier run, and cost nothing now
        if now - began < _QUIET_FOR or now - last < _REFRESH or done <= had:
            return
        last, drawn = now, True
        left = (now - began) * (total - done) / (done - had)
        print(f"\r{done} of {total} points, about {_span(left)} left   ", end="", file=sys.stderr, flush=True)

    try:
        yield draw
    finally:
        if drawn:
            print("\r" + " " * 60 + "\r", end="", file=sys.stderr, flush=True)


@contextmanager
def counting_line() -> Iterator[Callable[[int], None] | None]:
    """Gives a function of the solves done that keeps one line on a terminal; None where there is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    last = time.monotonic()

    def tell(solves: int) -> None:
        nonlocal last
        if time.monotonic() - last >= _COUNTED:
            last = time.monotonic()
            print(f"\r{solves} steady states solved for", end="", file=sys.stderr, flush=True)

    try:
        yield tell
    finally:
        print("\r" + " " * 50 + "\r", end="", file=sys.stderr, flush=True)


def _span(seconds: float) -> str:
    """A length of time in the unit that suits it."""
    if seconds < 100:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 6000 else f"{seconds / 3600:.1f} h"
