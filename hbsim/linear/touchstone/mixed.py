"""Mixed-mode data: differential and common modes of pairs of ports, turned into single-ended parameters.

Source: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 2024, Mixed-Mode Order and appendix A.
The ports i, j of a pair share one resistance R; differential reference 2 R, common R / 2:

    a_D = (a_i - a_j) / sqrt 2,  V_D = V_i - V_j,        I_D = (I_i - I_j) / 2
    a_C = (a_i + a_j) / sqrt 2,  V_C = (V_i + V_j) / 2,  I_C = I_i + I_j
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

import numpy as np

from ...errors import Refusal


@dataclass(frozen=True)
class Mode:
    """S (single-ended), D (differential) or C (common), and its one or two ports, counted from 1."""

    kind: str
    ports: tuple[int, ...]

    def __str__(self) -> str:
        return self.kind + ",".join(map(str, self.ports))


def read_modes(words: list[str], ports: int) -> tuple[Mode, ...]:
    """The descriptors of [Mixed-Mode Order], checked: every port in one S, or in one D and one C of the same pair."""
    modes = []
    for word in words:
        found = re.fullmatch(r"(?:(S)([0-9]{1,9})|([DC])([0-9]{1,9}),([0-9]{1,9}))", word.upper())
        if not found:
            raise Refusal(f"'{word[:60]}' is no descriptor of [Mixed-Mode Order]; they look like S1, D2,3 and C2,3")
        modes.append(Mode(found[1], (int(found[2]),)) if found[1] else Mode(found[3], (int(found[4]), int(found[5]))))
    if len(modes) != ports:
        raise Refusal(f"[Mixed-Mode Order] holds {len(modes)} descriptors, {ports} ports; give one for each")
    pairs = {kind: {frozenset(mode.ports) for mode in modes if mode.kind == kind} for kind in "DC"}
    for mode in modes:
        if mode.kind != "S" and frozenset(mode.ports) not in pairs["C" if mode.kind == "D" else "D"]:
            raise Refusal(f"{mode} has no partner in [Mixed-Mode Order]; D1,2 needs C1,2")
    used = Counter(port for mode in modes if mode.kind != "C" for port in mode.ports)
    wrong = [port for port in range(1, ports + 1) if used[port] != 1]
    if wrong:
        raise Refusal(f"port {wrong[0]} stands {used[wrong[0]]} times in [Mixed-Mode Order]; every port must be in one "
                      "S, or in one D and one C")
    return tuple(modes)


def check_pairs(modes: tuple[Mode, ...], parameter: str, resistances: tuple[float, ...]) -> None:
    """Refuse H and G, and a pair whose references [ohm] differ; no references mean equal ones."""
    if parameter in "HG":
        raise Refusal(f"mixed-mode data exist for S, Y and Z only, not for {parameter}; export S parameters")
    for mode in modes:
        of_pair = {resistances[port - 1] for port in mode.ports} if resistances else set()
        if len(of_pair) > 1:
            said = " and ".join(f"{value:g}" for value in sorted(of_pair))
            raise Refusal(f"the ports of {mode} have unequal references, {said} ohm; mixed-mode data need one for "
                          "both: export single-ended data")


def single_ended(parameter: str, matrix: np.ndarray, modes: tuple[Mode, ...]) -> np.ndarray:
    """Single-ended S, Z or Y parameters, (n, p, p), of mixed-mode ones.

    With the waves of the modes T a, T orthogonal, S = T' S_mixed T. With V_mixed = P V, I_mixed = Q I and P Q' = 1,
    Z = Q' Z_mixed Q and Y = P' Y_mixed P. [ohm], [S]
    """
    weight = {"S": {"D": np.sqrt(0.5), "C": np.sqrt(0.5)}, "Z": {"D": 0.5, "C": 1.0}, "Y": {"D": 1.0, "C": 0.5}}
    turn = np.zeros((len(modes), len(modes)))
    for row, mode in enumerate(modes):
        first, last = mode.ports[0] - 1, mode.ports[-1] - 1
        size = 1.0 if mode.kind == "S" else weight[parameter][mode.kind]
        turn[row, first] = size
        if mode.kind != "S":
            turn[row, last] = -size if mode.kind == "D" else size
    with np.errstate(all="ignore"):  # the caller looks for what is not finite
        return turn.T @ matrix @ turn
