"""A line of progress on a terminal; nothing when the output is piped or the work is short."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_QUIET_FOR = 1.0  # [s]
_REFRESH = 0.2  # [s]


@contextmanager
def progress_line() -> Iterator[Callable[[int, int], None] | None]:
    """Gives a function of (done, in all) that keeps one line on standard error; None where that is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    began, last, drawn = time.monotonic(), 0.0, False

    def draw(done: int, total: int) -> None:
        nonlocal last, drawn
        now = time.monotonic()
        if now - began < _QUIET_FOR or now - last < _REFRESH or not done:
            return
        last, drawn = now, True
        left = (now - began) * (total - done) / done
        print(f"\r{done} of {total} points, about {left:.0f} s left   ", end="", file=sys.stderr, flush=True)

    try:
        yield draw
    finally:
        if drawn:
            print("\r" + " " * 60 + "\r", end="", file=sys.stderr, flush=True)
