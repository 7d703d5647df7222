"""What a sweep under way has found so far, in a folder, so that it can go on after it was cut short.

The columns stand in one binary file that is mapped into memory: a sweep of any length needs little memory of its own.
A strip's values are written first and the strip is noted afterwards, in a line of its own; a line that is cut off was
never noted.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np

from ..errors import Refusal
from .strip import StripResult

_ABOUT, _COLUMNS, _STRIPS = "about.json", "columns.npy", "strips.jsonl"


class Unfinished:
    """The folder of one sweep.

    Parameters
    ----------
    folder : Path
        Made here, or found when `resume` is true.
    fingerprint : str
        Of the sweep; results of another one are not taken.
    names : sequence of str
        Columns.
    total : int
        Points.

    Raises
    ------
    Refusal
        The folder holds results and `resume` is false; it holds those of another sweep; it cannot be written.
    """

    def __init__(self, folder: Path, fingerprint: str, names: Sequence[str], total: int, resume: bool) -> None:
        self._folder = folder
        about = folder / _ABOUT
        try:
            if about.exists():
                self._check(about, fingerprint, resume)
            else:
                folder.mkdir(parents=True, exist_ok=True)
                columns = np.lib.format.open_memmap(folder / _COLUMNS, "w+", float, (len(names), total))
                columns[:] = np.nan
                columns.flush()
                (folder / _STRIPS).touch()
                about.write_text(json.dumps({"fingerprint": fingerprint, "columns": list(names), "points": total}))
            self._drop_cut_line()
            self._mapped = np.lib.format.open_memmap(folder / _COLUMNS, "r+")
            self._notes = open(folder / _STRIPS, "a", encoding="utf-8")
        except OSError as error:
            raise Refusal(f"cannot be used to keep results: {error.strerror or error}", file=str(folder)) from None
        self.columns = dict(zip(names, self._mapped))

    def _check(self, about: Path, fingerprint: str, resume: bool) -> None:
        if not resume:
            raise Refusal("holds results of a sweep that was cut short; resume that one, or remove the folder",
                          file=str(self._folder))
        try:
            known = json.loads(about.read_text()).get("fingerprint")
        except ValueError:
            known = None
        if known != fingerprint:
            raise Refusal("holds results of another sweep (another circuit, axis, accuracy or version of hbsim); "
                          "remove the folder to begin anew", file=str(self._folder))

    def _drop_cut_line(self) -> None:
        notes = self._folder / _STRIPS
        whole, newline, _ = notes.read_text(encoding="utf-8").rpartition("\n")
        notes.write_text(whole + newline, encoding="utf-8")

    def results(self, span: Callable[[int], slice], places: np.ndarray) -> Iterator[StripResult]:
        """The strips noted so far, read back."""
        for line in (self._folder / _STRIPS).read_text(encoding="utf-8").splitlines():
            note = json.loads(line)
            at = places[span(note["strip"])]
            yield StripResult(note["strip"], {name: np.array(column[at]) for name, column in self.columns.items()},
                              {int(place): reason for place, reason in note["reasons"].items()},
                              {int(level): steps for level, steps in note["steps"].items()})

    def note(self, result: StripResult, at: np.ndarray) -> None:
        """Keep a strip: its values at the points `at`, then the line that says so."""
        for name, values in result.columns.items():
            self.columns[name][at] = values
        self._notes.write(json.dumps({"strip": result.number, "reasons": result.reasons, "steps": result.steps}) + "\n")
        self._notes.flush()

    def leave(self) -> None:
        """Close the files; what they hold stays."""
        self._mapped.flush()
        self._notes.close()

    @staticmethod
    def remove(folder: str | Path) -> None:
        """Remove the folder of a sweep whose results are written elsewhere."""
        shutil.rmtree(folder, ignore_errors=True)
