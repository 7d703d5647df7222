"""Touchstone files of version 1 (1.0 and 1.1): measured or computed S-parameters of any number of ports.

Source: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 26 January 2024, which also states the
rules for files of version 1. Left out here: files of version 2.0 and 2.1, which are refused by name.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np

from ...errors import Refusal
from ...quantities import show
from .data import TouchstoneData, ports_text
from .options import NORMALISED, Options, as_complex, read_options, scattering
from .text import Lines, Numbers, read_lines, read_numbers

_PORTS_IN_NAME = re.compile(r"\.[SYZHG](\d+)P$", re.IGNORECASE)
_NOISE_COUNT = 5  # frequency, minimum noise figure, magnitude and angle of the best source, noise resistance
_ELEMENTS_OF_TWO_PORT = ("11", "21", "12", "22")  # the order of version 1; other port counts go row by row


def read_touchstone(path: str | Path) -> TouchstoneData:
    """Read a Touchstone file of version 1.

    S, Y and Z parameters of any number of ports, H and G of two, in any of the three formats. The number of ports
    is taken from the name (".s2p"); where the name does not tell, from the first rows, with a note.

    Raises
    ------
    Refusal
        The file is missing or unreadable, is no text, is of version 2, or breaks the standard in a way that leaves
        its meaning open; the file and the line are named.
    """
    try:
        return _read(Path(path))
    except Refusal as refusal:
        raise refusal.located(file=str(path)) from None


def _read(path: Path) -> TouchstoneData:
    lines = read_lines(path)
    _refuse_keywords(lines)
    options = read_options(lines)
    numbers = read_numbers(lines)
    if not len(numbers.counts):
        raise Refusal("no data below the option line; check that the export was complete")
    found = _PORTS_IN_NAME.search(path.name)
    ports = int(found[1]) if found else _ports_from_rows(numbers)
    if ports == 0:
        raise Refusal("the name says 0 ports; rename the file, '.s2p' for two ports")
    reference = options.references(ports)
    table, noise, starts = _split(numbers, ports, options, named=found is not None)
    _check_increasing(table[:, 0], numbers.lines[starts], options, 2 * ports * ports + 1)

    pairs = as_complex(table[:, 1:].reshape(len(table), ports * ports, 2), options.format)
    matrix = pairs.reshape(-1, ports, ports)
    if ports == 2:
        matrix = matrix.swapaxes(1, 2)
    with np.errstate(over="ignore"):
        frequency = table[:, 0] * options.unit
    finite = np.isfinite(matrix).all(axis=(1, 2)) & np.isfinite(frequency)
    if not finite.all():
        raise Refusal("a value here is too large for a number; check unit and format on the option line",
                      f"line {numbers.lines[starts[np.argmin(finite)]]}")
    s = scattering(options.parameter, matrix, frequency)
    notes = options.notes + _doubts(lines, options, table, pairs, ports)
    if not found:
        notes += (f"the name does not tell the number of ports; {ports} was counted from the rows",)
    return TouchstoneData(str(path), frequency, s, reference, notes,
                          _noise(noise, options, reference[0]), lines.comments)


def _refuse_keywords(lines: Lines) -> None:
    """Version 2 announces itself on the first line; its keywords have no place in version 1."""
    for number, text in lines.marked("["):
        version = re.match(r"\[\s*version\s*\]\s*(\S*)", text, re.IGNORECASE)
        if version and number == lines.code[0][0]:
            if version[1] in ("2.0", "2.1"):
                raise Refusal("version 2 files come with a later release; export as version 1", f"line {number}")
            raise Refusal(f"version '{version[1]}' is not known here; export as version 1", f"line {number}")
        raise Refusal(f"keyword {text.partition(']')[0]}] in a file that does not begin with [Version]; export as "
                      "version 1, without keywords", f"line {number}")


def _ports_from_rows(numbers: Numbers) -> int:
    """Pairs are not split over lines, so an odd count of numbers opens a frequency and an even one continues it."""
    opening = np.flatnonzero(numbers.counts % 2)
    if not len(opening) or opening[0] != 0:
        raise Refusal("the first row must hold a frequency and pairs of numbers", f"line {numbers.lines[0]}")
    count = int(numbers.counts[:opening[1]].sum() if len(opening) > 1 else numbers.counts.sum())
    ports = math.isqrt((count - 1) // 2)
    if 2 * ports * ports + 1 != count or ports == 0:
        raise Refusal(f"{count} numbers for the first frequency fit no number of ports (3 for 1 port, 9 for 2, "
                      "19 for 3)", f"line {numbers.lines[0]}")
    return ports


def _split(numbers: Numbers, ports: int, options: Options,
           named: bool) -> tuple[np.ndarray, np.ndarray | None, np.ndarray]:
    """Network rows (n, 2 p p + 1), noise rows (m, 5) or None, and the number of the line that opens each network row.

    Line numbers here count lines of data from 0, as `numbers` does.
    """
    need = 2 * ports * ports + 1
    counts, ends = numbers.counts, np.cumsum(numbers.counts)
    if ports > 2:
        # By counting numbers, not lines: how rows are broken differs from program to program.
        boundaries = need * np.arange(1, ends[-1] // need + 1)
        if ends[-1] % need or not np.isin(boundaries, ends).all():
            _refuse_block(numbers, ports, options, named)
        starts = np.searchsorted(ends, boundaries - need, side="right")
        return numbers.values.reshape(-1, need), None, starts

    odd_ones = np.flatnonzero(counts != need)
    rows = int(odd_ones[0]) if len(odd_ones) else len(counts)
    table = numbers.values[:rows * need].reshape(rows, need)
    if rows == len(counts):
        return table, None, np.arange(rows)
    if ports == 1 or rows == 0 or counts[rows] != _NOISE_COUNT:
        _refuse_row(numbers, rows, ports, named)
    _check_increasing(table[:, 0], numbers.lines[:rows], options, need)
    first = numbers.values[rows * need]
    if first > table[-1, 0]:
        raise Refusal(f"5 numbers at {options.show(first)}; noise must start at or below {options.show(table[-1, 0])}, "
                      "and a network row needs 9 numbers", f"line {numbers.lines[rows]}")
    wrong = np.flatnonzero(counts[rows:] != _NOISE_COUNT)
    if len(wrong):
        raise Refusal(f"{counts[rows + wrong[0]]} numbers, a noise row needs 5 (frequency, noise figure, magnitude, "
                      "angle, resistance)", f"line {numbers.lines[rows + wrong[0]]}")
    noise = numbers.values[rows * need:].reshape(-1, _NOISE_COUNT)
    _check_increasing(noise[:, 0], numbers.lines[rows:], options, _NOISE_COUNT)
    return table, noise, np.arange(rows)


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


def _squares(count: int) -> int:
    """The number of ports whose matrix and frequency take `count` numbers; 0 if none."""
    ports = math.isqrt((count - 1) // 2)
    return ports if 2 * ports * ports + 1 == count else 0


def _check_increasing(frequency: np.ndarray, lines: np.ndarray, options: Options, count: int) -> None:
    """Frequencies are not negative and increase; noise rows are held against each other only."""
    if frequency[0] < 0:
        raise Refusal(f"{options.show(frequency[0])} is below zero; frequencies count from 0 Hz", f"line {lines[0]}")
    back = np.flatnonzero(np.diff(frequency) <= 0)
    if not len(back):
        return
    before, here, line = frequency[back[0]], frequency[back[0] + 1], f"line {lines[back[0] + 1]}"
    if before == here:
        raise Refusal(f"{options.show(here)} stands twice; remove one of the two", line)
    noise = "; 9 numbers, so this is no noise row" if count == 9 else ""
    raise Refusal(f"{options.show(here)} follows {options.show(before)}, frequencies must increase{noise}; sort the "
                  "rows or mend the number", line)


def _noise(rows: np.ndarray | None, options: Options, reference: float) -> np.ndarray | None:
    """Noise rows in Hz and ohm: version 1 divides the noise resistance by the reference (of port 1)."""
    return None if rows is None else rows * np.array([options.unit, 1.0, 1.0, 1.0, reference])


def _doubts(lines: Lines, options: Options, table: np.ndarray, pairs: np.ndarray, ports: int) -> tuple[str, ...]:
    """Sentences on what cannot be known from the file, for the person who can know."""
    notes = []
    name, r = options.parameter, options.resistances
    if name in NORMALISED and set(r) != {1.0}:
        rule = {"Z": "multiplied by", "Y": "divided by"}.get(name, "taken as normalised to")
        notes.append(f"{name} data {rule} R = {', '.join(show(value, 'ohm') for value in r)}, the rule of version 1; "
                     "if the file holds plain ohm and siemens, write R 1 on its option line")
    text = "\n".join(lines.comments).lower()
    if re.search(r"not\s+re-?normali[sz]ed|port\s+impedance", text):
        notes.append("its comments speak of port impedances or of data not renormalised; it was read with "
                     f"R = {', '.join(show(value, 'ohm') for value in r)} all the same; export renormalised if in "
                     "doubt")
    first = lines.marked("#")[0][1]
    for number, again in lines.marked("#")[1:]:
        if again.split() != first.split():
            notes.append(f"line {number} is a second option line; the first one counts")
    if options.format == "MA" and table[:, 1::2].min() < 0:
        notes.append("MA is announced and magnitudes below zero are there: perhaps real and imaginary parts (RI)")
    if name == "S" and np.abs(pairs).max() > 100:
        notes.append("S-parameters above 100 are there: perhaps the format on the option line is another")
    if ports == 2 and name == "S":
        silent = (np.abs(pairs) <= 1.0001e-10).all(axis=0)  # some analysers write -200 dB for a trace not taken
        zero = [f"S{element}" for element, off in zip(_ELEMENTS_OF_TWO_PORT, silent) if off]
        if zero:
            notes.append(f"{' and '.join(zero)} {'are' if len(zero) > 1 else 'is'} zero at every frequency: perhaps "
                         "not measured")
    return tuple(notes)
