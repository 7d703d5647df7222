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
from ..files import replaced
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
        The folder holds results and `resume` is false; it holds those of another sweep; it is damaged; it cannot be
        written.
    """

    def __init__(self, folder: Path, fingerprint: str, names: Sequence[str], total: int, resume: bool) -> None:
        self._folder, self._names = folder, tuple(names)
        about = folder / _ABOUT
        try:
            if about.exists():
                self._check(about, fingerprint, resume)
                self._drop_cut_line()
            else:  # nothing here is vouched for
                folder.mkdir(parents=True, exist_ok=True)
                (folder / _STRIPS).write_text("")
                columns = np.lib.format.open_memmap(folder / _COLUMNS, "w+", float, (len(names), total))
                columns[:] = np.nan
                columns.flush()
                with replaced(str(about)) as handle:
                    json.dump({"fingerprint": fingerprint}, handle)
            self._mapped = self._columns(total)
            self._notes = open(folder / _STRIPS, "a", encoding="utf-8")
        except OSError as error:
            raise Refusal(f"cannot be used to keep results: {error.strerror or error}", file=str(folder)) from None
        self.columns = dict(zip(names, self._mapped))

    def _damaged(self) -> Refusal:
        return Refusal("is damaged: what it holds cannot be read; remove the folder to begin anew",
                       file=str(self._folder))

    def _columns(self, total: int) -> np.ndarray:
        path, wanted = self._folder / _COLUMNS, 8 * len(self._names) * total
        try:
            found = np.lib.format.open_memmap(path, "r+")
        except (ValueError, FileNotFoundError):
            raise self._damaged() from None
        if found.dtype != np.float64 or found.shape != (len(self._names), total) or path.stat().st_size < wanted:
            raise self._damaged()
        return found

    def _check(self, about: Path, fingerprint: str, resume: bool) -> None:
        if not resume:
            raise Refusal("holds results of a sweep that was cut short; resume that one (--resume), or remove the "
                          "folder", file=str(self._folder))
        try:
            known = json.loads(about.read_text())["fingerprint"]
        except (ValueError, TypeError, KeyError):
            raise self._damaged() from None
        if known != fingerprint:
            raise Refusal("holds results of another sweep (another circuit, axis, accuracy or version of hbsim); "
                          "remove the folder to begin anew", file=str(self._folder))

    def _drop_cut_line(self) -> None:
        notes = self._folder / _STRIPS
        if not notes.exists():
            raise self._damaged()
        whole, newline, _ = notes.read_bytes().rpartition(b"\n")
        notes.write_bytes(whole + newline)

    def results(self, strips: int, span: Callable[[int], slice], places: np.ndarray) -> Iterator[StripResult]:
        """The strips noted so far, of so many in all, read back; one whose values are not there is left out, and so
        solved again."""
        try:
            for line in (self._folder / _STRIPS).read_text(encoding="utf-8").splitlines():
                note = json.loads(line)
                number = note["strip"]
                if not (isinstance(number, int) and 0 <= number < strips):
                    raise self._damaged()
                at = places[span(number)]
                columns = {name: np.array(column[at]) for name, column in self.columns.items()}
                if np.isin(columns["solved"], (0.0, 1.0)).all():
                    yield StripResult(number, columns, {int(place): str(why) for place, why in note["reasons"].items()},
                                      {int(level): int(steps) for level, steps in note["steps"].items()})
        except (ValueError, TypeError, KeyError, AttributeError):
            raise self._damaged() from None

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
        """Remove the folder of a sweep whose results are written elsewhere; first what vouches for the rest."""
        (Path(folder) / _ABOUT).unlink(missing_ok=True)
        shutil.rmtree(folder, ignore_errors=True)
