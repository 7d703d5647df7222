"""Which numbers of a Touchstone file belong to one frequency, and which are noise.

Source of the rules: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 2024, Single-Ended Data and
Noise Parameter Data. How the number of ports is told from the rows: the Forum's rule that pairs are not split over
lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...errors import Refusal
from .data import ports_text
from .header import Header
from .numbers import Numbers
from .options import Options

NOISE_COUNT = 5  # frequency, minimum noise figure, magnitude and angle of the best source, noise resistance


@dataclass(frozen=True)
class Table:
    """One row a frequency.

    network : (n, numbers a point), noise : (m, 5) or None, as in the file.
    lines : (n,) number of the line that opens each network row.
    broken : line from which the rows are broken over lines otherwise than version 1 says, 0 for none.
    """

    network: np.ndarray
    noise: np.ndarray | None
    lines: np.ndarray
    broken: int = 0


def ports_from_rows(numbers: Numbers) -> int:
    """Pairs are not split over lines, so an odd count of numbers opens a frequency and an even one continues it."""
    opening = np.flatnonzero(numbers.counts % 2)
    if not len(opening) or opening[0] != 0:
        raise Refusal("the first row must hold a frequency and pairs of numbers", f"line {numbers.lines[0]}")
    count = int(numbers.counts[:opening[1]].sum() if len(opening) > 1 else numbers.counts.sum())
    if not _squares(count):
        raise Refusal(f"{count} numbers for the first frequency fit no number of ports (3 for 1 port, 9 for 2, "
                      "19 for 3)", f"line {numbers.lines[0]}")
    return _squares(count)


def version_1_rows(numbers: Numbers, ports: int, options: Options, named: bool) -> Table:
    """Rows of version 1: lines of a 1-port or 2-port, else by counting; noise may follow those of a 2-port."""
    if ports > 2:
        need = 2 * ports * ports + 1
        openings = _by_count(numbers, need)
        if openings is None:
            _refuse_block(numbers, ports, options, named)
        network, lines = numbers.values.reshape(-1, need), numbers.lines[openings]
        check_increasing(network[:, 0], lines, options, need)
        return Table(network, None, lines, _broken_otherwise(numbers, ports))
    need = 2 * ports * ports + 1
    others = np.flatnonzero(numbers.counts != need)
    rows = int(others[0]) if len(others) else len(numbers.counts)
    network, lines = numbers.values[:rows * need].reshape(rows, need), numbers.lines[:rows]
    if rows < len(numbers.counts) and (ports == 1 or rows == 0 or numbers.counts[rows] != NOISE_COUNT):
        _refuse_row(numbers, rows, ports, named)
    check_increasing(network[:, 0], lines, options, need)
    if rows == len(numbers.counts):
        return Table(network, None, lines)
    first = numbers.values[rows * need]
    if first > network[-1, 0]:
        raise Refusal(f"5 numbers at {options.show(first)}; noise must start at or below "
                      f"{options.show(network[-1, 0])}, and a network row needs 9 numbers",
                      f"line {numbers.lines[rows]}")
    rest = Numbers(numbers.values[rows * need:], numbers.counts[rows:], numbers.lines[rows:])
    return Table(network, noise_rows(rest, options), lines)


def version_2_rows(numbers: Numbers, noise: Numbers | None, header: Header) -> Table:
    """Rows of version 2: by counting, wherever the lines break; a frequency opens a line all the same."""
    if not len(numbers.counts):
        raise Refusal("no data below [Network Data]; check that the export was complete")
    need = header.numbers_a_point(header.ports)
    openings = _by_count(numbers, need)
    if openings is None:
        _refuse_count(numbers, need, header)
    network, lines = numbers.values.reshape(-1, need), numbers.lines[openings]
    check_increasing(network[:, 0], lines, header.options, need)
    if len(network) != header.points:
        raise Refusal(f"[Number of Frequencies] is {header.points}, {len(network)} found; mend the number or the data")
    if noise is None:
        return Table(network, None, lines)
    if not len(noise.counts):
        raise Refusal("no data below [Noise Data]; check that the export was complete")
    rows = noise_rows(noise, header.options)
    if len(rows) != header.noise_points:
        raise Refusal(f"[Number of Noise Frequencies] is {header.noise_points}, {len(rows)} found; mend the number or "
                      "the data")
    return Table(network, rows, lines)


def noise_rows(numbers: Numbers, options: Options) -> np.ndarray:
    """Noise data, (m, 5), one line a frequency."""
    wrong = np.flatnonzero(numbers.counts != NOISE_COUNT)
    if len(wrong):
        raise Refusal(f"{numbers.counts[wrong[0]]} numbers, a noise row needs 5 (frequency, noise figure, magnitude, "
                      "angle, resistance)", f"line {numbers.lines[wrong[0]]}")
    rows = numbers.values.reshape(-1, NOISE_COUNT)
    check_increasing(rows[:, 0], numbers.lines, options, NOISE_COUNT)
    return rows


def check_increasing(frequency: np.ndarray, lines: np.ndarray, options: Options, count: int) -> None:
    """Frequencies are not negative and increase; noise rows are held against each other only."""
    if frequency[0] < 0:
        raise Refusal(f"{options.show(frequency[0])} is below zero; frequencies count from 0 Hz", f"line {lines[0]}")
    back = np.flatnonzero(frequency[1:] <= frequency[:-1])
    if not len(back):
        return
    before, here, line = frequency[back[0]], frequency[back[0] + 1], f"line {lines[back[0] + 1]}"
    if before == here:
        raise Refusal(f"{options.show(here)} stands twice; remove one of the two", line)
    noise = "; 9 numbers, so this is no noise row" if count == 9 else ""
    raise Refusal(f"{options.show(here)} follows {options.show(before)}, frequencies must increase{noise}; sort the "
                  "rows or mend the number", line)


def _by_count(numbers: Numbers, need: int) -> np.ndarray | None:
    """Data lines (counted from 0) that open a frequency; None where the count does not come out at line ends.

    By counting numbers, not lines: how rows are broken differs from program to program.
    """
    ends = np.cumsum(numbers.counts)
    total = int(ends[-1])
    if total % need:
        return None
    boundaries = need * np.arange(1, total // need + 1)
    at = np.searchsorted(ends, boundaries)
    if (ends[at] != boundaries).any():
        return None
    return np.append(0, at[:-1] + 1)


def _broken_otherwise(numbers: Numbers, ports: int) -> int:
    """Version 1: a row of the matrix starts a line, at most 4 pairs on each."""
    pattern = np.tile([8] * (ports // 4) + [2 * (ports % 4)] * (ports % 4 > 0), ports)
    pattern[0] += 1
    if len(numbers.counts) % len(pattern):
        return int(numbers.lines[0])
    odd = np.flatnonzero((numbers.counts.reshape(-1, len(pattern)) != pattern).ravel())
    return int(numbers.lines[odd[0]]) if len(odd) else 0


def _refuse_row(numbers: Numbers, row: int, ports: int, named: bool) -> None:
    """A line of a 1-port or 2-port file that holds another count than it must."""
    count, need, line = int(numbers.counts[row]), 2 * ports * ports + 1, f"line {numbers.lines[row]}"
    pairs, other = (count - 1) // 2, math.isqrt((count - 1) // 2)
    said = f"the name says {ports_text(ports)}" if named else f"the rows before hold {ports_text(ports)}"
    if row == 0 and count % 2 and pairs > 0:
        hint = f": {ports_text(other)}? rename the file to end in '.s{other}p'" if other * other == pairs \
            else ", which fit no square matrix; export the full matrix, or S11 alone as '.s1p'"
        raise Refusal(f"{said}, the row holds {pairs} pair{'s' * (pairs > 1)}{hint}", line)
    raise Refusal(f"{count} numbers, {need} needed (frequency and {ports * ports} pair{'s' * (ports > 1)}); {said}; "
                  "mend or remove the row", line)


def _refuse_block(numbers: Numbers, ports: int, options: Options, named: bool) -> None:
    """Say where a matrix of three ports and more is too short or too long."""
    need, counts = 2 * ports * ports + 1, numbers.counts
    opening = np.flatnonzero(counts % 2)
    if not len(opening) or opening[0] != 0:
        raise Refusal("a frequency must open this line, followed by pairs of numbers", f"line {numbers.lines[0]}")
    limits = np.append(opening, len(counts))
    sums = np.add.reduceat(counts, opening)
    wrong = int(np.argmax(sums != need))
    held, line = int(sums[wrong]), f"line {numbers.lines[limits[wrong]]}"
    at = options.show(float(numbers.values[counts[:limits[wrong]].sum()]))
    if wrong == len(sums) - 1 and held < need and (wrong > 0 or not _squares(held)):
        raise Refusal(f"the file ends inside the matrix of {at}: {held} of {need} numbers; export it again", line)
    hint = f"; {ports_text(_squares(held))}? rename the file to end in '.s{_squares(held)}p'" \
        if named and wrong == 0 and _squares(held) else "; mend or remove this frequency"
    raise Refusal(f"{held} numbers for the matrix of {at}, {need} needed for {ports_text(ports)}{hint}", line)


def _refuse_count(numbers: Numbers, need: int, header: Header) -> None:
    """Say where the count of a version 2 file goes astray."""
    ends = np.cumsum(numbers.counts)
    start = line = 0
    while start + need <= ends[-1]:
        last = int(np.searchsorted(ends, start + need))
        if ends[last] != start + need:
            break
        start, line = start + need, last + 1
    at, place = header.options.show(float(numbers.values[start])), f"line {numbers.lines[line]}"
    kind = f"{ports_text(header.ports)}, {header.form} matrices"
    if start + need > ends[-1]:
        raise Refusal(f"the data end inside the matrix of {at}: {ends[-1] - start} of {need} numbers ({kind}); export "
                      "the file again", place)
    raise Refusal(f"the matrix of {at} takes {need} numbers with its frequency ({kind}) and would end in the middle of "
                  f"line {numbers.lines[last]}; mend or remove this frequency", place)


def _squares(count: int) -> int:
    """The number of ports whose matrix and frequency take `count` numbers; 0 if none."""
    ports = math.isqrt((count - 1) // 2)
    return ports if 2 * ports * ports + 1 == count else 0
