"""Files named on a command line -> data sets: the data file with the TOML file beside it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from ..balance.accuracy import Accuracy
from ..describe.description import Description
from ..describe.tomlfile import read_toml, text
from ..errors import Refusal
from .circuit_points import CircuitPoints
from .corrected import measurement
from .dataset import DataSet
from .device_alone import is_alone
from .device_points import DevicePoints, is_of_a_device, is_pulsed
from .mapping import mapping_of
from .reader import read_readings
from .scattering import is_touchstone, scattering_set
from .setup import read_setup


def tree_of(path: str | Path) -> tuple[Path, dict[str, Any], str]:
    """The data file, the tree of the TOML file that goes with it, and that file's name ("" if there is none).

    `path` is the data file, with a TOML file of the same name beside it, or the TOML file itself, which names the data
    file or has one of the same name beside it.

    Raises
    ------
    Refusal
        The file is not there, or a TOML file names no data.
    """
    path = Path(path)
    if path.suffix.lower() != ".toml":
        beside = path.with_suffix(".toml")
        return (path, read_toml(beside), str(beside)) if beside.is_file() else (path, {}, "")
    tree = read_toml(path)
    if "file" in tree:
        return path.parent / text(tree, "file"), tree, str(path)
    found = [other for other in sorted(path.parent.glob(f"{path.stem}.*")) if other != path and other.is_file()]
    if len(found) != 1:
        raise Refusal(f"{len(found)} data files of this name stand beside it; say which: file = \"data.csv\"", "file",
                      str(path))
    return found[0], tree, str(path)


def inputs_of(path: str | Path) -> list[Path]:
    """All files that a data set is read from: data, TOML, shared bench, loss tables.

    Raises
    ------
    Refusal
        The TOML file is not as it should be.
    """
    data, tree, file = tree_of(path)
    read_setup(tree, file)
    found = [data] + ([Path(file)] if file else [])
    for folder, table in _tables(tree, file):
        for side in ("input", "output"):
            found += [folder / item["file"] for item in table.get(side, {}).get("losses", []) if "file" in item]
        correction = table.get("generator", {}).get("level_correction")
        found += [folder / correction["file"]] if isinstance(correction, dict) else []
    if "bench" in tree:
        found.append(Path(file).parent / tree["bench"])
    return found


def _tables(tree: dict[str, Any], file: str) -> list[tuple[Path, dict[str, Any]]]:
    tables = [(Path(file).parent, tree)]
    if "bench" in tree:
        shared = Path(file).parent / tree["bench"]
        tables.append((shared.parent, read_toml(shared)))
    return tables


def data_set(path: str | Path, description: Description, *, harmonics: int | None = None,
             accuracy: Accuracy = Accuracy(), tell: Callable[[], None] | None = None) -> DataSet:
    """One data file as a fit or comparison uses it.

    Parameters
    ----------
    path : str or Path
        See `tree_of`.
    description : Description
        The circuit; of a measurement of a device alone, what holds the device. `device = "Q1"` in the TOML file says
        which, where the circuit has more than one.
    harmonics, accuracy, tell : see CircuitPoints.

    Raises
    ------
    Refusal
        As the readers; what was measured does not belong to the circuit.
    """
    data, tree, file = tree_of(path)
    setup, title = read_setup(tree, file), text(tree, "name", default="") or data.name
    if is_touchstone(data):
        return scattering_set(data, tree, setup, description, title)
    readings = read_readings(data, mapping_of(tree, file))
    item = measurement(readings, setup, description, title)
    if not is_of_a_device(item):
        if is_alone(description):
            raise Refusal("this was measured on a circuit, and a model file holds a device alone; name the circuit "
                          "file", "", str(data))
        if "pulsed" in tree:
            raise Refusal("only a device alone is measured pulsed, and this is a circuit; take it out", "pulsed", file)
        return CircuitPoints(description, item, harmonics, accuracy, tell)
    name = text(tree, "device", default="")
    if not name and len(description.devices) != 1:
        raise Refusal(f"of which device? write device = \"{next(iter(description.devices), 'Q1')}\" into the TOML file",
                      "device", file or str(data))
    return DevicePoints(description, name or next(iter(description.devices)), item, is_pulsed(tree, file))


def data_sets(paths: Sequence[str | Path], description: Description, **options: Any) -> list[DataSet]:
    """All of them; each name once."""
    found = [data_set(path, description, **options) for path in paths]
    names = [item.name for item in found]
    for item in found:
        if names.count(item.name) > 1:
            raise Refusal(f"two data sets are called '{item.name}'; give one a name of its own in its TOML file: "
                          'name = "up"', "name", item.name)
    return found
