"""The list of junctions of strips in words."""

from __future__ import annotations

from collections.abc import Sequence

from ..describe.description import Description
from ..linear.junctions import Arm, Junction
from ..quantities import show

MOST_JUNCTIONS = 12  # named on a page; --json lists all


def junction_sentences(description: Description, counting: Sequence[Junction] | None = None) -> list[str]:
    """What was put in where strips meet, and where nothing was and why; nothing where no strips meet.

    counting : junctions that count where only some parts do; then nothing is said of places without one. None: all.
    """
    if not description.junctions.automatic:
        strips = any(placed.part.strips() for placed in description.parts.values())
        return ["Junction effects: none put in, the circuit file switches them off."] if strips else []
    joined = description.joined
    said = [f"{junction.kind} at {junction.node}: {_of(junction)}"
            for junction in (joined.added if counting is None else counting)]
    sentences = [f"Junction effects: {_listed(said)}."] if said else []
    if counting is not None and len(counting) < len(joined.added):
        return sentences
    reasons: dict[str, list[str]] = {}
    for left in joined.left_out:
        reasons.setdefault(left.reason, []).append(f"{left.node} ({', '.join(_arm(arm) for arm in left.arms)})")
    return sentences + [f"No junction effect at {_listed(nodes)}: {reason}." for reason, nodes in reasons.items()]


def _of(junction: Junction) -> str:
    arms = {terminal: _arm(arm) for terminal, arm in junction.arms.items()}
    if junction.kind == "step":
        return f"{arms['a']} to {arms['b']}"
    branches = [arm for terminal, arm in arms.items() if terminal not in ("a", "b")]
    return f"{' and '.join(branches)} on {' and '.join(arms[t] for t in ('a', 'b') if t in arms)}"


def _arm(arm: Arm) -> str:
    return f"{arm.part} {show(arm.width, 'm')}"


def _listed(said: list[str]) -> str:
    more = [f"{len(said) - MOST_JUNCTIONS} more (--json lists all)"] if len(said) > MOST_JUNCTIONS else []
    return "; ".join(said[:MOST_JUNCTIONS] + more)
