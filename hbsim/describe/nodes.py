"""Names, and which node each terminal is soldered to."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from typing import Any

from ..errors import Refusal, closest, nearest
from ..linear.network import GROUND

_NAME = re.compile(r"[\w+-]+")
_GROUND_BY_ANOTHER_NAME = ("gnd", "0", "earth", "ground")


def check_name(name: str, place: str) -> None:
    """Refuse a name that could not stand in an address."""
    if not _NAME.fullmatch(name):
        raise Refusal(f"{name!r} is not a name; use letters, digits, '_', '-' and '+', without blanks or points", place)


def node(raw: Any, place: str) -> str:
    """The name of a node.

    Raises
    ------
    Refusal
        Not a text, not a name, or ground under another name.
    """
    if not isinstance(raw, str):
        mend = f'; write "{raw}"' if isinstance(raw, int) and not isinstance(raw, bool) else ""
        raise Refusal(f"{raw!r} is not the name of a node, which is a text{mend}", place)
    check_name(raw, place)
    if raw != GROUND and raw.lower() in _GROUND_BY_ANOTHER_NAME:
        raise Refusal(f"'{raw}' would be a node of its own; write '{GROUND}'", place)
    return raw


def place_nodes(raw: Any, terminals: tuple[str, ...], optional: tuple[str, ...], place: str) -> tuple[str, ...]:
    """The node at each terminal.

    Parameters
    ----------
    raw : list or dict
        Nodes in the order of the terminals, or terminal -> node.
    terminals, optional : tuple of str
        All terminals, and those that may be left out (they are then at ground).
    place : str
        Key path, for refusals.

    Raises
    ------
    Refusal
        A terminal is missing, unknown, or there are too many.
    """
    listed = ", ".join(terminals)
    if isinstance(raw, dict):
        for name in raw:
            if name not in terminals:
                raise Refusal(f"there is no terminal '{name}'{nearest(name, terminals)}", place)
        given = raw
    elif isinstance(raw, list):
        least = len(terminals) - len(optional)
        if not least <= len(raw) <= len(terminals):
            count = f"{least}" if least == len(terminals) else f"{least} to {len(terminals)}"
            raise Refusal(f"{len(raw)} nodes are given; this part has {count} terminals ({listed})", place)
        given = dict(zip(terminals, raw))
    else:
        sample = ", ".join(f'"{letter}"' for letter in "abcdefgh"[:len(terminals)])
        wrong = "missing" if raw is None else f"{raw!r} is not a list of nodes"
        raise Refusal(f"{wrong}; write nodes = [{sample}] for the terminals {listed}", place)
    for name in terminals:
        if name not in given and name not in optional:
            raise Refusal(f"terminal '{name}' has no node; write {name} = \"...\" in nodes", place)
    nodes = tuple(node(given[name], f"{place}.{name}") if name in given else GROUND for name in terminals)
    if len(nodes) > 1 and len(set(nodes)) == 1:
        raise Refusal(f"all terminals are on the node '{nodes[0]}', so that the part does nothing; "
                      f"join it to two nodes or take it out", place)
    return nodes


def check_known(names: Iterable[str], known: Iterable[str], place: str) -> None:
    """Refuse a node that no terminal touches."""
    known = dict.fromkeys(known)
    for name in names:
        if name not in known:
            raise Refusal(f"there is no node '{name}'{nearest(name, known)}", place)


def check_connections(joints: Iterable[tuple[str, str, str]]) -> None:
    """Refuse a node that only one terminal touches.

    Parameters
    ----------
    joints : iterable of (place, what touches there, node)
        Every terminal in the circuit: ("part.C_in", "the second end of part.C_in", "b").
    """
    joints = list(joints)
    count = Counter(name for _, _, name in joints)
    for place, end, name in joints:
        if name != GROUND and count[name] == 1:
            close = closest(name, [other for other in count if other not in (name, GROUND)], 0.6)
            meant = f"; did you mean the node '{close}'?" if close else ""
            raise Refusal(f"node '{name}' is touched only by {end}; join something else to it or correct the name"
                          f"{meant}", place)
