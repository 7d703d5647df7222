"""What is said of the junctions of strips in a circuit: warnings, and the list as plain data."""

from __future__ import annotations

import re
from typing import Any

from ..describe.description import Description
from ..linear.junctions import Joined
from ..linear.part import Part

_NAMED = 3  # junctions that a warning names before it only counts them


def range_warnings(part: Part, wanted: float, highest: float) -> list[str]:
    """What a part says of its formulas up to the highest frequency, and whether that touches the wanted one. [Hz]"""
    touched = {_start(sentence) for sentence in part.warnings(wanted)}
    return [sentence if _start(sentence) in touched else f"at the higher harmonics only: {sentence}"
            for sentence in part.warnings(highest)]


def junction_warnings(joined: Joined, wanted: float, highest: float) -> list[str]:
    """The same of all junctions that were put in; those that say one thing with different figures say it once, with
    the figures of the first."""
    said: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for junction in joined.added:
        for sentence in range_warnings(junction.element.part, wanted, highest):
            said.setdefault((junction.kind, _start(sentence)), []).append((junction.node, sentence))
    found = []
    for (kind, _), who in said.items():
        nodes, sentences = zip(*who)
        more = f" and {len(nodes) - _NAMED} more" if len(nodes) > _NAMED else ""
        of_first = "" if len(set(sentences)) == 1 else f" (figures of that at {nodes[0]})"
        found.append(f"{kind} at {', '.join(nodes[:_NAMED])}{more}: {sentences[0]}{of_first}")
    return found


def _start(sentence: str) -> str:
    """A sentence up to its first figure; the figures depend on dimensions and frequency."""
    return re.split(r"\d", sentence)[0]


def junctions_json(description: Description) -> dict[str, Any]:
    """The list of junctions as plain data: those put in by themselves, and where none was put in, with the reason."""
    joined = description.joined
    return {
        "junctions_automatic": description.junctions.automatic,
        "junctions": [{"node": junction.node, "kind": junction.kind, "name": junction.element.name,
                       "parts": [{"part": arm.part, "terminal": terminal, "width_m": arm.width}
                                 for terminal, arm in junction.arms.items()],
                       "nodes": dict(zip(junction.element.part.terminals, junction.element.nodes))}
                      for junction in joined.added],
        "junctions_left_out": [{"node": left.node, "reason": left.reason,
                                "parts": [{"part": arm.part, "width_m": arm.width} for arm in left.arms]}
                               for left in joined.left_out],
    }
