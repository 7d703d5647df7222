"""Touchstone files of versions 1.0, 1.1, 2.0 and 2.1: measured or computed parameters of any number of ports.

Source: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 26 January 2024, which also states the
rules for files of version 1.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import numpy as np

from ...errors import Refusal
from ...files import read_bytes
from .data import TouchstoneData
from .doubts import doubts
from .header import Header
from .keywords import harmless, later_notes, read_keywords, starts_version_2
from .matrices import as_complex, matrices
from .mixed import single_ended
from .numbers import read_numbers
from .options import options_above_data
from .parameters import to_scattering
from .rows import Table, ports_from_rows, version_1_rows, version_2_rows
from .text import Text, read_text

_PORTS_IN_NAME = re.compile(r"\.[SYZHG]([0-9]{1,9})P$", re.IGNORECASE)


def read_touchstone(path: str | Path) -> TouchstoneData:
    """Read a Touchstone file of version 1.0, 1.1, 2.0 or 2.1.

    S, Y and Z parameters of any number of ports, H and G of two, in any of the three formats; noise parameters,
    comments. The number of ports of version 1 is taken from the name (".s2p"); where the name does not tell, from the
    first rows. Whatever was accepted outside the standard, or leaves a doubt, stands in `notes`.

    Raises
    ------
    Refusal
        The file is missing or unreadable, is no text, or breaks the standard in a way that leaves its meaning open;
        the file and the line are named.
    """
    raw = b""
    try:
        raw = read_bytes(path)
        return touchstone_from_bytes(raw, str(path))
    except Refusal as refusal:
        if _is_toml(raw):
            raise Refusal("this looks like a circuit file (TOML), not like a Touchstone file; 'hbsim network' and "
                          "'hbsim predict' take circuit files", file=str(path)) from None
        raise refusal.located(file=str(path)) from None


def _is_toml(raw: bytes) -> bool:
    """Whether a file that is refused says something as TOML."""
    try:
        return bool(tomllib.loads(raw.decode("utf-8-sig")))
    except (ValueError, RecursionError):
        return False


def touchstone_from_bytes(raw: bytes, name: str) -> TouchstoneData:
    """The same from the bytes of a file; `name` tells the number of ports of version 1."""
    text = read_text(raw)
    del raw
    if starts_version_2(text):
        header = read_keywords(text)
        return _version_2(text, header, name)
    return _version_1(text, name)


def ports_in_name(name: str) -> int | None:
    """2 for "filter.s2p", None where a name does not tell."""
    found = _PORTS_IN_NAME.search(name)
    return int(found[1]) if found else None


def _version_1(text: Text, name: str) -> TouchstoneData:
    options = options_above_data(text)
    ends = [mark.start for mark in text.marked[1:]] + [len(text.code)]
    ranges = [(mark.line, mark.end, end) for mark, end in zip(text.marked, ends)]
    numbers = read_numbers(text, ranges)
    if not len(numbers.counts):
        raise Refusal("no data below the option line; check that the export was complete")
    ports = ports_in_name(name)
    named = ports is not None
    if not named:
        ports = ports_from_rows(numbers)
    if ports == 0:
        raise Refusal("the name says 0 ports; rename the file, '.s2p' for two ports")
    options.check(ports)
    table = version_1_rows(numbers, ports, options, named)
    odd = [f"'#' joined to the first word in line {options.line}"] if re.match(r"#\S", text.marked[0].text) else []
    notes = list(options.notes) + later_notes([mark.line for mark in text.marked[1:]])
    if not named:
        notes.append(f"the name does not tell the number of ports; {ports} was counted from the rows")
    if table.broken:
        odd.append(f"rows broken over lines otherwise than in version 1, from line {table.broken}")
    header = Header("1.1" if len(options.resistances) > 1 else "1.0", options, ranges, notes=tuple(notes))
    return _data(text, header, table, ports, name, odd + _fortran(numbers.fortran))


def _version_2(text: Text, header: Header, name: str) -> TouchstoneData:
    numbers = read_numbers(text, header.network)
    noise = None if header.noise is None else read_numbers(text, header.noise)
    table = version_2_rows(numbers, noise, header)
    return _data(text, header, table, header.ports, name, _fortran(numbers.fortran or (noise.fortran if noise else 0)))


def _fortran(line: int) -> list[str]:
    return [f"an exponent written with D in line {line}"] if line else []


def _data(text: Text, header: Header, table: Table, ports: int, name: str, oddities: list[str]) -> TouchstoneData:
    options, network = header.options, table.network
    elements = as_complex(network[:, 1:], options.format)
    notes = list(header.notes) + _order_note(header, elements)
    matrix = matrices(elements, ports, header.form, header.order or "21_12")
    with np.errstate(over="ignore"):
        frequency = network[:, 0] * options.unit
    _check_finite(np.isfinite(matrix).all(axis=(1, 2)) & np.isfinite(frequency), table)
    _check_apart(frequency, f"line {table.lines[0]}")
    reference = header.references(ports)
    if header.modes:
        matrix = single_ended(options.parameter, matrix, header.modes)
    s = to_scattering(options.parameter, matrix, np.ones(ports) if header.normalised else reference, frequency)
    _check_finite(np.isfinite(s).all(axis=(1, 2)), table)
    notes += doubts(text, header, elements, s)
    if options.format == "MA" and network[:, 1::2].min() < 0:
        notes.append("MA is announced and magnitudes below zero are there: perhaps real and imaginary parts (RI)")
    notes += harmless([*text.oddities, *oddities])
    return TouchstoneData(
        name, frequency, s, reference, tuple(notes), _noise(table, header), text.comments, options.parameter,
        options.format, header.version, (complex(elements[0, 0]), complex(elements[-1, 0])),
        None if table.noise is None else options.resistances[0], header.information)


def _order_note(header: Header, elements: np.ndarray) -> list[str]:
    """Without [Two-Port Data Order] a file is read only where the order makes no difference."""
    if header.order:
        return []
    if header.form == "full" and (elements[:, 1] != elements[:, 2]).any():
        pair = {"H": "h12 and h21", "G": "g12 and g21"}.get(header.options.parameter, "S12 and S21")
        if header.options.parameter in "YZ":
            pair = pair.replace("S", header.options.parameter)
        raise Refusal(f"[Two-Port Data Order] is missing: {pair} cannot be told apart; write 12_21 or 21_12 below it",
                      f"line {header.options.line}")
    return ["[Two-Port Data Order] is missing; both transfer elements are the same throughout, so nothing depends on "
            "it"]


def _check_finite(finite: np.ndarray, table: Table) -> None:
    if not finite.all():
        raise Refusal("a value here is too large for a number; check unit and format on the option line",
                      f"line {table.lines[np.argmin(finite)]}")


def _check_apart(frequency: np.ndarray, place: str) -> None:
    if (frequency[1:] <= frequency[:-1]).any():
        raise Refusal("two frequencies are nearer together than numbers in Hz can tell; remove one of them", place)


def _noise(table: Table, header: Header) -> np.ndarray | None:
    """Noise rows in Hz and ohm: version 1 divides the noise resistance by the reference (of port 1)."""
    if table.noise is None:
        return None
    options = header.options
    with np.errstate(over="ignore"):
        resistance = options.resistances[0] if header.normalised else 1.0
        rows = table.noise * np.array([options.unit, 1.0, 1.0, 1.0, resistance])
    if not np.isfinite(rows).all():
        raise Refusal("a noise value is too large for a number; check unit and R on the option line",
                      f"line {options.line}")
    _check_apart(rows[:, 0], f"line {options.line}")
    return rows
