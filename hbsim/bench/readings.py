"""What a file of the bench says, before anything is corrected: columns with their units, sweeps, markers, remarks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ..errors import Refusal, nearest

MISSING, OVER_RANGE, UPPER_LIMIT, LOWER_LIMIT = "missing", "over-range", "upper limit", "lower limit"


def turned(flags: Mapping[int, str]) -> dict[int, str]:
    """Flags of numbers whose sign was changed: what was an upper limit is a lower one."""
    return {row: {UPPER_LIMIT: LOWER_LIMIT, LOWER_LIMIT: UPPER_LIMIT}.get(flag, flag) for row, flag in flags.items()}


def limit_of(flag: str) -> int:
    """-1 where the true value is at most what is written, +1 where at least, else 0."""
    return {UPPER_LIMIT: -1, LOWER_LIMIT: 1}.get(flag, 0)


@dataclass(frozen=True, eq=False)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : str
        As the header has it, made unique by position.
    unit : str
        Of the values: "Hz", "dBm", "V", "A", "W", "s", "dB", "deg", "K", "1" for a pure number, as `quantities` has it,
        or what the file says and hbsim does not convert ("dBuV" without an impedance, "dBuV/m"); "" where it is not
        known.
    values : ndarray, (n_row,)
        In that unit; nan where there is no number.
    flags : mapping
        Row -> what is unusual about its number: MISSING, OVER_RANGE, UPPER_LIMIT ("<-90"), LOWER_LIMIT, or the text
        that stands in the file. Each number that is not finite has one.
    said : str
        The unit as it is written in the file ("[dBm]", "MHz"), "" if none is.
    meaning : str
        What the person says it is in [columns] ("output_dbm_2"), or what the order of a harmonic in a column of its own
        tells; "" if nothing does.
    """

    name: str
    unit: str
    values: np.ndarray
    flags: Mapping[int, str] = field(default_factory=dict)
    said: str = ""
    meaning: str = ""


@dataclass(frozen=True)
class Marker:
    """A marker of an analyser: its name, where it stands [Hz], what it reads and in which unit ("dBm", "dB").

    `flag` says whether the value is a limit only (UPPER_LIMIT, LOWER_LIMIT); `order` is the multiple of the drive's
    frequency that a line is called by ("2 f0"), whose frequency may be nan.
    """

    name: str
    frequency: float
    value: float
    unit: str
    flag: str = ""
    order: float | None = None


@dataclass(frozen=True, eq=False)
class Readings:
    """A file as understood.

    Attributes
    ----------
    file : str
    columns : tuple of Column
        Rows are as in the file: not sorted, merged or averaged.
    sweep : ndarray of int, (n_row,)
        Number of the sweep or trace that a row belongs to, from 0.
    header : tuple of str
        All lines that are no data, as they stand.
    facts : mapping
        Key -> what stands behind it, each time it occurs ("RBW" -> ("30000.0 Manual",)).
    markers : tuple of Marker
    notes : tuple of str
        What was understood that a reader of the file should know, and what looks odd.
    lines : ndarray of int, (n_row,)
        Line of the file that a row stands in, from 1.
    """

    file: str
    columns: tuple[Column, ...]
    sweep: np.ndarray
    header: tuple[str, ...] = ()
    facts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    markers: tuple[Marker, ...] = ()
    notes: tuple[str, ...] = ()
    lines: np.ndarray = field(default_factory=lambda: np.zeros(0, int))

    def column(self, name: str) -> Column:
        """The column of a name.

        Raises
        ------
        Refusal
            There is none, or the name is that of two.
        """
        found = [column for column in self.columns if column.name == name]
        if len(found) == 1:
            return found[0]
        if found:
            raise Refusal(f"{len(found)} columns are called '{name}'", "", self.file)
        raise Refusal(f"there is no column '{name}'{nearest(name, [column.name for column in self.columns])}",
                      "", self.file)
