"""What the lessons share: the words printed, the picture written, the look of it."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from matplotlib.figure import Figure

from hbsim.errors import HbsimError
from hbsim.show.style import check_format, save

EXAMPLES = Path(__file__).resolve().parent.parent


@dataclass(frozen=True)
class Lesson:
    """What a lesson found.

    number : to remember. words : says the number with its unit. draw : makes the picture. more : other numbers.
    """

    number: float
    words: str
    draw: Callable[[], Figure]
    more: tuple[str, ...] = ()


def page(about: str, lesson: Callable[[], Lesson]) -> None:
    """Print the page of a lesson, its docstring and its number; --plot FILE writes the picture besides."""
    parser = argparse.ArgumentParser(description=about.partition("\n")[0])
    parser.add_argument("--plot", metavar="FILE", help="draw the picture (.png, .svg, .pdf)")
    picture = parser.parse_args().plot
    try:
        if picture:
            check_format(picture)
        found = lesson()
        print(about.strip(), *found.more, f"Number to remember: {found.words}", sep="\n\n")
        if picture:
            save(found.draw(), picture)
    except HbsimError as failure:
        parser.exit(1, f"{failure}\n")
