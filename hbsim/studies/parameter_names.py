"""What S-parameters are called, and their order in files."""

from __future__ import annotations


def name_of(i: int, j: int, ports: int) -> str:
    """"S21" of (1, 0); with 10 ports and more "S2,1"."""
    return f"S{i + 1}{j + 1}" if ports < 10 else f"S{i + 1},{j + 1}"


def key_of(i: int, j: int, ports: int) -> str:
    """The same as a key: "s21", "s2_1"."""
    return name_of(i, j, ports).lower().replace(",", "_")


def pairs(ports: int) -> list[tuple[int, int]]:
    """(i, j) of all S-parameters; of a 2-port in the order 11, 21, 12, 22, else row by row."""
    return [(i, j) for j in range(2) for i in range(2)] if ports == 2 else [(i, j) for i in range(ports)
                                                                            for j in range(ports)]
