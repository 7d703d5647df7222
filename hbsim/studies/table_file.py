"""A sweep's table as a binary file (.npz) that loads back with its axes.

Any reader of numpy's format finds each axis under its name with the unit ("drive.power_dbm"), each column under its
name, shaped like the grid, and under "about" a JSON text with all else. Nothing in it is a pickle.
"""

from __future__ import annotations

import json
import zipfile
from dataclasses import asdict
from pathlib import Path

import numpy as np

from ..balance.accuracy import Accuracy
from ..errors import Refusal
from ..files import replaced
from .axis import axis_column
from .linked import Link
from .table import SweepTable
from .turning import OtherStates

_FORMAT = 1
_OTHER = "other states: "


def check_ending(path: str) -> None:
    """Raise Refusal for a name that does not end in .npz."""
    if Path(path).suffix.lower() != ".npz":
        raise Refusal(f"a binary table ends in .npz; '{Path(path).name}' does not", file=str(path))


def save_table(table: SweepTable, path: str) -> None:
    """Write a table, derived columns too; raises Refusal where it cannot be written."""
    check_ending(path)
    others = table.others
    about = {
        "format": _FORMAT, "title": table.title, "fingerprint": table.fingerprint,
        "axes": [{"name": name, "unit": table.units[name], "addresses": list(table.link(name).addresses),
                  "bases": table.link(name).bases} for name in table.axes],
        "columns": list(table.columns), "wanted_harmonic": table.wanted_harmonic, "accuracy": asdict(table.accuracy),
        "harmonics_given": table.harmonics, "reasons": table.reasons, "iterations": table.iterations,
        "others": None if others is None else {"jumps_up_dbm": others.jumps_up_dbm, "reason": others.reason,
                                               "jumps_down_dbm": others.jumps_down_dbm,
                                               "columns": list(others.columns)}}
    arrays = {axis_column(name, table.units[name]): values for name, values in table.axes.items()}
    arrays |= {name: np.asarray(table[name]) for name in table.names}
    if others is not None:
        arrays |= {_OTHER + "point": others.points, _OTHER + "turned": others.turned}
        arrays |= {_OTHER + name: values for name, values in others.columns.items()}
    with replaced(path, "wb") as handle:
        np.savez(handle, about=np.array(json.dumps(about)), **arrays)


def load_table(path: str | Path) -> SweepTable:
    """Read what `save_table` wrote.

    Raises
    ------
    Refusal
        No such file, not such a file, damaged, or of another format.
    """
    try:
        with np.load(path, allow_pickle=False) as data:
            return _read(data, str(path))
    except FileNotFoundError:
        raise Refusal("there is no such file; `hbsim sweep ... --npz FILE` writes one", file=str(path)) from None
    except OSError as error:
        raise Refusal(f"cannot be read: {error.strerror or error}; name a file that can", file=str(path)) from None
    except (ValueError, KeyError, TypeError, AttributeError, EOFError, zipfile.BadZipFile, NotImplementedError):
        raise Refusal("is no table of a sweep, or is damaged; write it anew with `hbsim sweep ... --npz FILE`",
                      file=str(path)) from None


def _read(data: np.lib.npyio.NpzFile, path: str) -> SweepTable:
    about = json.loads(str(data["about"][()]))
    if about["format"] != _FORMAT:
        raise Refusal(f"is of format {about['format']}, and this hbsim reads {_FORMAT}; write it anew", file=path)
    units = {axis["name"]: axis["unit"] for axis in about["axes"]}
    axes = {name: data[axis_column(name, unit)] for name, unit in units.items()}
    shape = tuple(len(values) for values in axes.values())
    columns = {name: data[name] for name in about["columns"]}
    if any(values.shape != shape for values in columns.values()):
        raise ValueError("a column is not shaped like the grid")
    told, others = about["others"], None
    if told is not None:
        others = OtherStates(data[_OTHER + "point"], data[_OTHER + "turned"],
                             {name: data[_OTHER + name] for name in told["columns"]},
                             told["jumps_up_dbm"], told["jumps_down_dbm"], told["reason"])
    links = {axis["name"]: Link(tuple(axis["addresses"]), None if axis["bases"] is None else tuple(axis["bases"]))
             for axis in about["axes"]}
    return SweepTable(about["title"], axes, units, {name: values.ravel() for name, values in columns.items()},
                      about["wanted_harmonic"], Accuracy(**about["accuracy"]), about["harmonics_given"],
                      {int(number): reason for number, reason in about["reasons"].items()},
                      {int(level): steps for level, steps in about["iterations"].items()}, others, links,
                      about["fingerprint"])
