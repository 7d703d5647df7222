"""Lines of a page: sentences folded, tables aligned."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Sequence

WIDTH = 110


def wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    """A text as lines of at most WIDTH characters; `first` begins the first line, `rest` the others."""
    return textwrap.wrap(" ".join(text.split()), WIDTH, initial_indent=first, subsequent_indent=rest)


def listed(heading: str, sentences: Sequence[str]) -> list[str]:
    """An empty line, a heading and a dash for each sentence; nothing where there is none."""
    if not sentences:
        return []
    return ["", heading, *(line for sentence in sentences for line in wrapped(sentence, "  - ", "    "))]


def table(rows: Sequence[Sequence[str]], left: Collection[int] = (), indent: str = "  ") -> list[str]:
    """Rows of cells as aligned lines; columns in `left` stand at the left of their width."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [(indent + "  ".join(cell.ljust(width) if i in left else cell.rjust(width)
                                for i, (cell, width) in enumerate(zip(row, widths)))).rstrip() for row in rows]


def folded(text: str, width: int) -> list[str]:
    """A text as lines of at most `width` characters."""
    return textwrap.wrap(" ".join(text.split()), width)
