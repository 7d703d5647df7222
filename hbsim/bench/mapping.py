"""What a person says about a data file: the tables [table] and [columns] of the TOML file beside it.

    [columns]                       # name in the header, or number from 1 -> what was measured, or what was set
    "P2" = "output_dbm_2"
    "Pgen" = "drive.power"
    3 = { is = "supply_amps_VCC", unit = "mA", scale = 20 }   # unit of the numbers, which are multiplied by scale
    "k" = "harmonic"                # of a table with a row for each harmonic; its level is "output_dbm" or "output_dbc"
    "No" = "counter"                # counts rows, and is neither

    [table]                         # how the file is read, where it does not say it itself
    delimiter = "semicolon"         # or comma, tab, blanks, caret, bar, none, or the character
    decimal = "comma"               # or point
    thousands = "point"             # what parts groups of three digits
    comment = "#"                   # at the start of a line that is a remark
    header = 3                      # line with the names, from 1
    first_row = 5                   # the first and the last line with data
    last_row = 40
    names = ["Pin", "P2"]           # of the columns, in order
    units = ["dBm", "dBm"]
    table = 2                       # which of several tables of the file, from 1
    trace = "B"                     # which of several traces: its name, or its number from 1
    sweep = "VCC"                   # the column whose runs are the sweeps; "none": the table is one sweep
    orientation = "transposed"      # each line is a quantity
    axis = "logarithmic"            # or linear: frequencies of a file that has start, stop and points alone
    impedance = 50                  # that levels in dBuV, dBmV or dBV refer to, in ohm
    filler = [-999]                 # numbers that stand for "no reading"
    carrier = 2                     # order of the harmonic that levels in dBc count from
    allow_relative = true           # levels against a stored trace are taken as they stand
    strict = true                   # what is noted only (counts that do not agree) is refused
"""

from __future__ import annotations

from collections.abc import Mapping as Tree
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..describe.tomlfile import check_keys, read_toml
from ..errors import Refusal
from .units import unit_of

_DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "blanks": " ", "blank": " ", "caret": "^", "bar": "|",
               "none": ""}
_DECIMALS = {"comma": ",", "point": ".", "dot": "."}
# What a column of small whole numbers may be said to be: the order of the harmonic of a row, or a mere count.
HARMONIC, COUNTER = "harmonic", "counter"


@dataclass(frozen=True)
class Said:
    """What is said of one column.

    Attributes
    ----------
    meaning : str
        `is`: what was measured ("output_dbm_2"), or the address of what was set ("drive.power"). In a table with a row
        for each harmonic: HARMONIC (the order), "output_dbm" or "output_dbc" (the level); COUNTER for neither.
    unit : str
        Of the numbers as they stand in the file.
    scale : float
        The numbers are multiplied by it first: 20 for "I (x20 A)".
    """

    meaning: str = ""
    unit: str = ""
    scale: float | None = None


@dataclass(frozen=True)
class Mapping:
    """What the file does not say itself. All fields may be left out.

    Attributes
    ----------
    delimiter, decimal, thousands : str
        ",", ";", "tab", "blanks", ...; "comma" or "point".
    comment : str
        A mark at the start of a line that makes it a remark.
    header, first_row, last_row : int
        Lines of the file, from 1: the one with the names; the first and the last with data.
    names, units : tuple of str
        Of the columns, in order.
    table : int
        Which of several tables of a file, from 1.
    trace : str or int
        Which of several traces: its name, or its number from 1.
    sweep : str
        The column whose runs are the sweeps; "none": the table is one sweep.
    orientation : str
        "transposed": each line is a quantity.
    axis : str
        "linear" or "logarithmic": how a file with start, stop and points but no frequencies is spaced.
    impedance : float
        That levels in dBuV, dBmV or dBV refer to. [ohm]
    filler : tuple of float
        Numbers that stand for "no reading".
    carrier : int
        Order of the harmonic that levels in dBc count from.
    allow_relative : bool
        Levels against a stored trace are taken as they stand.
    strict : bool
        What else is noted only (counts that do not agree) is refused.
    columns : mapping
        Name in the header, or number from 1 -> Said.
    file : str
        Where it was read from, for refusals.
    """

    delimiter: str | None = None
    decimal: str | None = None
    thousands: str | None = None
    comment: str = ""
    header: int | None = None
    first_row: int | None = None
    last_row: int | None = None
    names: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    table: int | None = None
    trace: str | int | None = None
    sweep: str = ""
    orientation: str = ""
    axis: str = ""
    impedance: float | None = None
    filler: tuple[float, ...] = ()
    carrier: int | None = None
    allow_relative: bool = False
    strict: bool = False
    columns: Tree[str | int, Said] = field(default_factory=dict)
    file: str = ""

    def __post_init__(self) -> None:
        for name, known in (("delimiter", _DELIMITERS), ("decimal", _DECIMALS), ("thousands", _DELIMITERS | _DECIMALS)):
            value = getattr(self, name)
            if value in known:
                object.__setattr__(self, name, known[value])
        self._one_of("decimal", (None, ",", "."))
        self._one_of("orientation", ("", "transposed"))
        self._one_of("axis", ("", "linear", "logarithmic"))
        if self.delimiter is not None and len(self.delimiter) > 1:
            raise Refusal(f"'{self.delimiter}' is no delimiter; write one character, or comma, semicolon, tab, blanks",
                          "table.delimiter", self.file)
        if self.impedance is not None and not 0.0 < self.impedance < 1e6:
            raise Refusal("the impedance must be above zero ohm", "table.impedance", self.file)
        if self.carrier is not None and self.carrier < 1:
            raise Refusal("the carrier is the harmonic 1, 2, 3, ...", "table.carrier", self.file)

    def _one_of(self, name: str, choices: tuple[str | None, ...]) -> None:
        if getattr(self, name) not in choices:
            written = ", ".join(f"'{choice}'" for choice in choices if choice)
            raise Refusal(f"'{getattr(self, name)}' is not known here; write {written}", f"table.{name}", self.file)

    def said_of(self, number: int, names: tuple[str, ...]) -> Said | None:
        """What is said of a column, by its number from 1 or one of its names."""
        for key in (number, str(number), *names):
            if key in self.columns:
                return self.columns[key]
        return None


_KINDS = {"delimiter": str, "decimal": str, "thousands": str, "comment": str, "header": int, "first_row": int,
          "last_row": int, "names": list, "units": list, "table": int, "trace": (str, int), "sweep": str,
          "orientation": str, "axis": str, "impedance": (int, float), "filler": list, "carrier": int,
          "allow_relative": bool, "strict": bool}


def mapping_beside(path: str | Path) -> Mapping:
    """What the TOML file of the same name beside a data file says; an empty Mapping if there is none."""
    beside = Path(path).with_suffix(".toml")
    if beside == Path(path) or not beside.is_file():
        return Mapping()
    return read_mapping(beside)


def read_mapping(path: str | Path) -> Mapping:
    """The tables [table] and [columns] of a TOML file.

    Raises
    ------
    Refusal
        With the key that is wrong.
    """
    return mapping_of(read_toml(path), str(path))


def mapping_of(tree: Tree[str, Any], file: str = "") -> Mapping:
    """The same from a tree that is read already; its other tables are left alone.

    Raises
    ------
    Refusal
        With the key that is wrong.
    """
    said = tree.get("table", {})
    if not isinstance(said, dict):
        raise Refusal("'table' must be a table; write [table] on a line of its own", "table", file)
    try:
        check_keys(said, tuple(_KINDS), "table")
    except Refusal as refusal:
        raise refusal.located(file=file) from None
    values: dict[str, Any] = {}
    for key, value in said.items():
        kind = _KINDS[key]
        if key == "filler" and isinstance(value, (int, float)):
            value = [value]
        if not isinstance(value, kind) or isinstance(value, bool) is not (kind is bool):
            raise Refusal(f"{value!r} is not what stands here; write {_example(kind)}", f"table.{key}", file)
        values[key] = tuple(_items(value, key, file)) if isinstance(value, list) else value
    return Mapping(**values, columns=_columns(tree.get("columns", {}), file), file=file)


def _example(kind: Any) -> str:
    return {str: "a text in quotes", int: "a whole number", list: "a list in brackets", bool: "true or false"}.get(
        kind, "a number" if kind == (int, float) else "a name in quotes or a number")


def _items(value: list, key: str, file: str) -> list:
    kind = (int, float) if key == "filler" else str
    for item in value:
        if not isinstance(item, kind) or isinstance(item, bool):
            raise Refusal(f"{item!r} does not belong into this list", f"table.{key}", file)
    return value


def _columns(tree: Any, file: str) -> dict[str | int, Said]:
    if not isinstance(tree, dict):
        raise Refusal("'columns' must be a table; write [columns] on a line of its own", "columns", file)
    found: dict[str | int, Said] = {}
    for name, value in tree.items():
        place = f"columns.{name}"
        value = {"is": value} if isinstance(value, str) else value
        if not isinstance(value, dict):
            raise Refusal('write for example { is = "output_dbm_2", unit = "dBm" }', place, file)
        try:
            check_keys(value, ("is", "unit", "scale"), place)
        except Refusal as refusal:
            raise refusal.located(file=file) from None
        meaning, unit, scale = value.get("is", ""), value.get("unit", ""), value.get("scale")
        if not isinstance(meaning, str) or not isinstance(unit, str):
            raise Refusal("'is' and 'unit' are texts in quotes", place, file)
        if scale is not None and (isinstance(scale, bool) or not isinstance(scale, (int, float)) or not scale):
            raise Refusal("'scale' is a number other than zero", place, file)
        if unit and unit_of(unit) is None:
            raise Refusal(f"'{unit}' is no unit that hbsim knows; write for example dBm, MHz, mA, V, dB, deg, 1",
                          f"{place}.unit", file)
        found[name] = Said(meaning, unit, None if scale is None else float(scale))
    return found
