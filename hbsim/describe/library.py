"""The library of models: boards, conductors, transistors and diodes, one TOML file each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import Refusal, nearest
from ..linear.board import Board, Conductor
from .filling import Filled, fill, infinite_note
from .tomlfile import check_keys, read_toml, table, text

GROUPS = ("boards", "conductors", "transistors", "diodes")
DEVICE_TABLES = ("parameters", "limits", "package")  # of a model file, all with values of the device

_PACKAGE = Path(__file__).resolve().parent.parent
# Inside an installed package the models lie in hbsim/models; in a source checkout they lie beside hbsim/.
_ROOT = _PACKAGE / "models" if (_PACKAGE / "models").is_dir() else _PACKAGE.parent / "models"


@dataclass(frozen=True)
class Entry:
    """One model file, read and checked.

    Parameters
    ----------
    name : str
        Its name in the library, or the path that was asked for.
    title, about : str
        What it is, and whether it is invented.
    origin : dict
        Where the numbers come from: quantity -> sentence.
    filled : Filled
        The object, and the quantities of the file whose 0 stands for infinite.
    """

    name: str
    title: str
    about: str
    origin: dict[str, str]
    filled: Filled

    @property
    def model(self) -> Any:
        """The object itself: a Board, a Conductor or a Device."""
        return self.filled.model

    @property
    def notes(self) -> tuple[str, ...]:
        """A sentence for every 0 that was read as infinite."""
        return tuple(infinite_note(name) for name in self.filled.read_as_infinite)


def of_the_library(path: Path) -> bool:
    """Whether a file is one of those that come with hbsim."""
    return Path(path).resolve().is_relative_to(_ROOT.resolve())


def names(group: str) -> list[str]:
    """Names of the models of a group: "boards", "conductors", "transistors" or "diodes"."""
    if group not in GROUPS:
        raise Refusal(f"there is no group of models '{group}'{nearest(group, GROUPS)}")
    return sorted(path.stem for path in (_ROOT / group).glob("*.toml"))


def titles(group: str) -> dict[str, str]:
    """Name -> title of the models of a group."""
    return {name: text(read_toml(_ROOT / group / f"{name}.toml"), "title") for name in names(group)}


def board(name: str) -> Entry:
    """A board of the library; `model` is a Board. Raises Refusal, with the nearest name, if there is none."""
    return _simple("boards", name, Board)


def conductor(name: str) -> Entry:
    """A conductor of the library; `model` is a Conductor. Raises Refusal, with the nearest name, if there is none."""
    return _simple("conductors", name, Conductor)


def device(name: str, folder: Path | None = None) -> Entry:
    """A transistor or diode.

    Parameters
    ----------
    name : str
        A name of the library, or the name of a .toml file.
    folder : Path
        Where a file name starts; None: the present folder.

    Raises
    ------
    Refusal
        No such model (with the nearest name), or the file does not hold one.
    """
    if name.endswith(".toml"):
        return _read_device(name, (folder or Path()) / name)
    for group in ("transistors", "diodes"):
        if name in names(group):
            return _read_device(name, _ROOT / group / f"{name}.toml")
    known = names("transistors") + names("diodes")
    raise Refusal(f"no transistor or diode '{name}' in the library, and a model file of your own is named with its "
                  f"ending .toml{nearest(name, known)}")


def _simple(group: str, name: str, cls: type) -> Entry:
    if name not in names(group):
        raise Refusal(f"no '{name}' among the {group} of the library{nearest(name, names(group))}")
    path = _ROOT / group / f"{name}.toml"
    try:
        tree = read_toml(path)
        check_keys(tree, ("title", "about", "values", "origin"))
        return _entry(name, tree, cls, ("values",), path.parent)
    except Refusal as refusal:
        raise refusal.located(file=str(path)) from None


def _read_device(name: str, path: Path) -> Entry:
    try:
        return device_of(read_toml(path), name, path.parent)
    except Refusal as refusal:
        raise refusal.located(file=str(path)) from None


def device_of(tree: dict[str, Any], name: str, folder: Path) -> Entry:
    """A transistor or diode from the tree of its model file, whose file names start at `folder`.

    Raises
    ------
    Refusal
        The tree does not hold one.
    """
    from ..devices.kinds import DEVICES  # compiled code, which a board or conductor does without
    check_keys(tree, ("title", "kind", "about", *DEVICE_TABLES, "origin"))
    kind = text(tree, "kind")
    if kind not in DEVICES:
        raise Refusal(f"'{kind}' is not a kind of device{nearest(kind, DEVICES)}", "kind")
    return _entry(name, tree, DEVICES[kind], DEVICE_TABLES, folder)


def _entry(name: str, tree: dict[str, Any], cls: type, tables: tuple[str, ...], folder: Path) -> Entry:
    """Fill `cls` from several tables of a model file."""
    values: dict[str, Any] = {}
    for key in tables:
        for quantity, value in table(tree, key).items():
            if quantity in values:
                raise Refusal(f"'{quantity}' stands in two tables; keep one", key)
            values[quantity] = value
    filled = fill(cls, values, tables[0], folder=folder)
    origin = {key: text(table(tree, "origin"), key, "origin") for key in table(tree, "origin")}
    return Entry(name, text(tree, "title"), text(tree, "about", default=""), origin, filled)
