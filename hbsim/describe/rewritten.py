"""A circuit or model file with other values: the text as the person wrote it, with remarks, and only values new."""

from __future__ import annotations

import re
import tomllib
from copy import deepcopy
from collections.abc import Mapping, Sequence
from pathlib import Path

from ..errors import Refusal
from ..quantities import quantities
from .circuitfile import build
from .description import Description
from .fragment import exact
from .library import DEVICE_TABLES, device_of

_HEAD = re.compile(r"^\s*\[\s*(?P<name>[^\[\]]+?)\s*\]\s*(#.*)?$")
_AGREE = 1e-12  # relative: what is written holds all digits


def rewritten(text: str, description: Description, values: Mapping[str, float], remarks: Sequence[str],
              folder: Path) -> str:
    """The text of a circuit file with some values changed.

    Parameters
    ----------
    text : str
        The file as it is.
    description : Description
        What was read from it.
    values : mapping
        Address -> value in the unit of the quantity. Those that stand in a library's model are put over it.
    remarks : sequence of str
        Said in comments at the top: where the values come from.
    folder : Path
        Of the new file, where the names of files in it start.

    Raises
    ------
    Refusal
        A value has no line of its own that could be changed, or the new text would not be read back to these values.
    """
    lines, places = _lines(text), []
    for address, value in values.items():
        table, key = _table_of(address)
        unit = description.look_up(address)[0].unit
        _put(lines, table, key, f'"{exact(value, unit)}"', address)
        places.append((table, key))
    changed = _joined(remarks, lines)
    try:
        tree = tomllib.loads(changed)
        back = build(tree, file=description.file, folder=folder)
    except ValueError as error:
        raise Refusal(f"the values found cannot be put into this file ({error}); write them by hand") from None
    except Refusal as refusal:
        raise Refusal(f"with the values found the file would not be read again: {refusal.what}; if it names other "
                      "files, write the new one into its folder", refusal.place) from None
    _check_rest(tomllib.loads(text), tree, places)
    for address, value in values.items():
        _check(back.look_up(address)[1], value, address)
    return changed


def rewritten_model(text: str, values: Mapping[str, float], remarks: Sequence[str]) -> str:
    """The text of a model file with some parameters changed, by their names.

    Raises
    ------
    Refusal
        As `rewritten`.
    """
    lines, tree, places = _lines(text), tomllib.loads(text), []
    model = device_of(tree, "", Path()).model
    for name, value in values.items():
        table = next((table for table in DEVICE_TABLES if name in tree.get(table, {})), DEVICE_TABLES[0])
        _put(lines, table, name, f'"{exact(value, quantities(type(model))[name].unit)}"', name)
        places.append((table, name))
    changed = _joined(remarks, lines)
    try:
        changed_tree = tomllib.loads(changed)
        back = device_of(changed_tree, "", Path()).model
    except ValueError as error:
        raise Refusal(f"the values found cannot be put into this file ({error}); write them by hand") from None
    _check_rest(tree, changed_tree, places)
    for name, value in values.items():
        _check(getattr(back, name), value, name)
    return changed


def _lines(text: str) -> list[str]:
    """As TOML has them: no other mark ends a line."""
    return text.replace("\r\n", "\n").removesuffix("\n").split("\n")


def _joined(remarks: Sequence[str], lines: Sequence[str]) -> str:
    return "\n".join([*(f"# {line}".rstrip() for line in remarks), *([""] if remarks else []), *lines]) + "\n"


def _check(read: float, value: float, address: str) -> None:
    if read != value and not abs(read - value) <= _AGREE * abs(value):
        raise Refusal(f"the new file would say {read:g} instead of {value:g}; write the value by hand", address)


def _check_rest(before: Mapping, after: Mapping, places: Sequence[tuple[str, str]]) -> None:
    """Nothing but the values may have changed: text inside a string can look like a table's head or a value's line."""
    trees = deepcopy(before), deepcopy(after)
    for tree in trees:
        for table, key in places:
            found = tree
            for name in table.split("."):
                found = found.get(name, {})
            found.pop(key, None)
    if trees[0] != trees[1]:
        raise Refusal("putting the values in would change something else of the file too; write them by hand")


def _table_of(address: str) -> tuple[str, str]:
    """Name of the table, and the key in it."""
    names = address.removeprefix("part.").split(".")
    if names[0] == "supply" and len(names) == 2:
        names.append("voltage")
    owner, key = names[:-1], names[-1]
    if owner in (["drive"], ["board"]) or owner[0] in ("supply", "port"):
        return ".".join(owner), key
    return ".".join(["part", *owner]), key


def _put(lines: list[str], table: str, key: str, value: str, address: str) -> None:
    """Change the line of a key in a table, or put one in at the table's head."""
    start = next((number for number, line in enumerate(lines) if (head := _HEAD.match(line))
                  and head["name"].replace('"', "").replace(" ", "") == table), None)
    if start is None:
        raise Refusal(f"the file has no line [{table}] that the value could stand below; write it by hand", address)
    end = next((number for number in range(start + 1, len(lines)) if re.match(r"^\s*\[", lines[number])), len(lines))
    line = re.compile(rf'^(\s*"?{re.escape(key)}"?\s*=\s*)("[^"]*"|\'[^\']*\'|[^#"\']*?)(\s*(?:#.*)?)$')
    for number in range(start + 1, end):
        found = line.match(lines[number])
        if found:
            lines[number] = found[1] + value + found[3]
            return
    lines.insert(start + 1, f"{key} = {value}")
