"""What is said of the junctions of strips in a circuit: their names in warnings, and the list as plain data."""

from __future__ import annotations

from typing import Any

from ..describe.description import Description
from ..linear.junctions import Joined
from ..linear.part import Part


def junction_parts(joined: Joined) -> list[tuple[str, Part]]:
    """The parts that stand for the junctions that were put in, named as the list does: "tee at m"."""
    return [(f"{junction.kind} at {junction.node}", junction.element.part) for junction in joined.added]


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
