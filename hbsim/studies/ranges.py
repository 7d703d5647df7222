"""What is said of formulas that are used outside their published ranges: briefly, and the wanted frequency first."""

from __future__ import annotations

import re
from collections.abc import Iterable

from ..linear.part import Part

_NAMED = 3  # parts that a sentence names before it only counts them
_OF_A_RANGE = "; the formula is "  # microstrip.line.outside writes so


def range_warnings(parts: Iterable[tuple[str, Part]], wanted: float, highest: float) -> list[str]:
    """What parts say of themselves up to the highest frequency.

    What several parts say with other figures stands once, with the figures of the first. Ranges that are left only
    above the wanted frequency are gathered in one last sentence.

    Parameters
    ----------
    parts : iterable of (str, Part)
        With the words that a sentence begins with: "match_stub", "tee at m".
    wanted, highest : float
        [Hz]
    """
    said: dict[str, list[tuple[str, str]]] = {}
    beyond: dict[str, set[str]] = {}
    for name, part in parts:
        touched = {_start(sentence): sentence for sentence in part.warnings(wanted)}
        for sentence in part.warnings(highest):
            if _start(sentence) in touched:  # with the figures at the wanted frequency, which are those that matter
                told = touched[_start(sentence)].replace("highest frequency", "wanted frequency")
                said.setdefault(_start(sentence), []).append((name, told))
            elif _OF_A_RANGE in sentence:
                beyond.setdefault(re.split(r" is (?=[-\d.])", sentence)[0], set()).add(name)
            else:
                said.setdefault(f"higher: {sentence}", []).append((name, f"at the higher harmonics only: {sentence}"))
    found = []
    for who in said.values():
        names, sentences = zip(*who)
        of_first = "" if len(set(sentences)) == 1 else f" (figures of {names[0]})"
        found.append(f"{_some(names)}: {sentences[0]}{of_first}")
    if beyond:
        listed = ", ".join(f"{what} ({_some(sorted(names))})" for what, names in beyond.items())
        found.append("at harmonics above the wanted one only, formulas are used outside their published ranges: "
                     f"{listed}")
    return found


def _some(names: Iterable[str]) -> str:
    """"a, b, c and 4 more"."""
    listed = list(dict.fromkeys(names))
    return ", ".join(listed[:_NAMED]) + (f" and {len(listed) - _NAMED} more" if len(listed) > _NAMED else "")


def _start(sentence: str) -> str:
    """A sentence up to its first figure; the figures depend on dimensions and frequency."""
    return re.split(r"\d", sentence)[0]
