"""Which nodes are joined at DC: floating pieces are tied to ground, device pins without a path are refused."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

import numpy as np

from ..errors import Refusal
from .part import Relation

GROUND = "ground"

Groups = tuple[tuple[frozenset[int], ...], frozenset[int]]  # what `dc_groups` finds


def reduced_rows(matrix: np.ndarray) -> np.ndarray:
    """Row-reduced echelon form of a small real matrix: shows which terminals a law really joins."""
    m = np.array(matrix, float)
    tolerance = 1e-12 * max(np.abs(m).max(), 1e-300)
    row = 0
    for column in range(m.shape[1]):
        if row == m.shape[0]:
            break
        pivot = row + int(np.argmax(np.abs(m[row:, column])))
        if abs(m[pivot, column]) <= tolerance:
            continue
        m[[row, pivot]] = m[[pivot, row]]
        m[row] /= m[row, column]
        others = np.arange(m.shape[0]) != row
        m[others] -= np.outer(m[others, column], m[row])
        m[np.abs(m) < 1e-9] = 0.0
        row += 1
    return m[:row]


def dc_groups(relation: Relation) -> Groups:
    """Terminals joined by a part at DC, its first frequency, and those from which it leads current to ground.

    Returns
    -------
    groups : sets of terminal numbers
    grounded : set of terminal numbers
        A group held against ground: its terminals cannot all be lifted together without a current.
    """
    a = np.real(relation.a[0])
    return _groups(a.tobytes(), a.shape[1])


@lru_cache(maxsize=4096)  # a part keeps its law at DC while it changes at all other frequencies
def _groups(law: bytes, n: int) -> Groups:
    a = np.frombuffer(law).reshape(-1, n)
    parent = list(range(n))

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    rows = reduced_rows(a)
    for row in rows:
        joined = np.flatnonzero(row)
        for other in joined[1:]:
            parent[root(int(other))] = root(int(joined[0]))
    groups: dict[int, set[int]] = {}
    for i in range(n):
        groups.setdefault(root(i), set()).add(i)
    grounded: set[int] = set()
    for members in groups.values():
        lifted = rows[:, sorted(members)].sum(axis=1) if len(rows) else np.zeros(0)
        if np.abs(lifted).max(initial=0.0) > 1e-9:
            grounded |= members
    return tuple(map(frozenset, groups.values())), frozenset(grounded)


def dc_islands(parts: Iterable[tuple[Sequence[str], Groups]],
               nodes: Iterable[str]) -> list[set[str]]:
    """Sets of nodes joined at DC; each part as its nodes and its `dc_groups`. The set with "ground" comes first."""
    parent = {node: node for node in nodes} | {GROUND: GROUND}

    def root(node: str) -> str:
        while parent[node] != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    for touched, (groups, grounded) in parts:
        for group in groups:
            members = [touched[i] for i in group]
            if group & grounded:
                members.append(GROUND)
            for other in members[1:]:
                parent[root(other)] = root(members[0])
    islands: dict[str, set[str]] = {root(GROUND): set()}
    for node in parent:
        islands.setdefault(root(node), set()).add(node)
    return list(islands.values())


def tied_to_ground(islands: list[set[str]], device_nodes: Iterable[str], pins: dict[str, dict[str, str]],
                   conducting: Iterable[tuple[str, str]]) -> list[str]:
    """One node of each floating piece, to be tied to ground (exact: no current can flow in the tie).

    Pieces that devices join at DC, through the `conducting` branches, float as one: what flows into one flows out of
    another, and nothing holds their common voltage.

    Raises
    ------
    Refusal
        A piece holds pins of just one device: no DC current can be fed to them.
    """
    ties, joined = [], []
    devices = set(device_nodes)
    for island in islands[1:]:
        if not island & devices:
            ties.append(sorted(island)[0])
            continue
        touching = {name: [pin for pin, node in table.items() if node in island] for name, table in pins.items()}
        touching = {name: found for name, found in touching.items() if found}
        if len(touching) == 1:
            name, found = next(iter(touching.items()))
            raise Refusal(f"the {found[0]} has no DC path to ground or to a supply through linear parts; add a "
                          "resistor, choke or line that carries its bias", f"part.{name}.nodes.{found[0]}")
        joined.append(island)
    branches = list(conducting)
    held = set(islands[0])
    while joined:
        beside = [island for island in joined
                  if any(start in island and end in held or end in island and start in held for start, end in branches)]
        if not beside:  # none of the rest is held: tie one, which may hold others
            beside = [joined[0]]
            ties.append(sorted(joined[0])[0])
        joined = [island for island in joined if island not in beside]
        held = held.union(*beside)
    return ties
