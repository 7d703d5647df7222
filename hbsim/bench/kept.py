"""Results kept: one folder with all that an article can be written from a year later.

The folder holds copies of the inputs, the page, the tables, the pictures, and contents.json: what was asked, when, with
which versions, and the SHA-256 (FIPS 180-4) of every file.
"""

from __future__ import annotations

import csv
import hashlib
import json
import os
import platform
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

from ..errors import Refusal

CONTENTS = "contents.json"


def keep(folder: str | Path, asked: Mapping[str, Any], fingerprint: str, inputs: Sequence[str | Path],
         written: Mapping[str, Callable[[Path], None]]) -> Path:
    """Write the folder.

    Parameters
    ----------
    folder : path
        New, or empty.
    asked : mapping
        What was asked for, as plain data.
    fingerprint : str
        Of the circuit as it was used (studies/fingerprint.py).
    inputs : sequence of path
        Files that went in; copied.
    written : mapping
        Name -> function that writes that file.

    Returns
    -------
    Path
        Of contents.json.

    Raises
    ------
    Refusal
        The folder holds something already, or cannot be written.
    """
    place = check_empty(folder)
    try:
        for path, name in places(inputs).items():
            (place / "inputs" / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(path, place / "inputs" / name)
        for name, write in written.items():
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            write(place / name)
        files = {str(path.relative_to(place).as_posix()): hashlib.sha256(path.read_bytes()).hexdigest()
                 for path in sorted(place.rglob("*")) if path.is_file()}
        contents = {"made": datetime.now(timezone.utc).isoformat(timespec="seconds"), "asked": dict(asked),
                    "circuit_fingerprint": fingerprint, "versions": versions(), "sha256": files}
        (place / CONTENTS).write_text(json.dumps(contents, indent=1, allow_nan=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise Refusal(f"cannot be written: {error.strerror}; name another place", file=str(folder)) from None
    return place / CONTENTS


def check_empty(folder: str | Path) -> Path:
    """The folder; raises Refusal if it holds something."""
    place = Path(folder)
    if place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise Refusal("holds something already; results are kept in a folder of their own: name a new one",
                      file=str(folder))
    return place


def places(inputs: Iterable[str | Path]) -> dict[Path, str]:
    """Where each input is kept below "inputs": as they lie to each other, so that names of files inside them hold; from
    folders with nothing in common each folder by its own name, with a number where two are called alike."""
    found = list(dict.fromkeys(Path(item).resolve() for item in inputs))
    folders = list(dict.fromkeys(path.parent for path in found))
    if len({path.anchor for path in folders}) == 1:
        common = Path(os.path.commonpath(folders))
        if common != Path(common.anchor):
            return {path: path.relative_to(common).as_posix() for path in found}
    names: dict[Path, str] = {}
    for folder in folders:
        name = folder.name or "root"
        names[folder] = name if name not in names.values() else f"{name}_{len(names) + 1}"
    return {path: f"{names[path.parent]}/{path.name}" for path in found}


def versions() -> dict[str, str]:
    """Of what computed it."""
    from importlib.metadata import PackageNotFoundError, version
    found = {"python": platform.python_version()}
    for package in ("hbsim", "numpy", "scipy", "numba"):
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "unknown"
    return found


def table_writer(names: Sequence[str], rows: Sequence[Sequence[Any]]) -> Callable[[Path], None]:
    """A function that writes a table as CSV."""
    def write(path: Path) -> None:
        with open(path, "w", encoding="utf-8", newline="") as handle:
            writer = csv.writer(handle, lineterminator="\n")
            writer.writerow(names)
            writer.writerows(rows)
    return write


def text_writer(text: str) -> Callable[[Path], None]:
    """A function that writes a text."""
    def write(path: Path) -> None:
        path.write_text(text if text.endswith("\n") else text + "\n", encoding="utf-8")
    return write
