"""Circuit: the object that people hold. Load it, solve it, sweep it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from pathlib import Path
from typing import Any

from ..balance.accuracy import Accuracy
from ..balance.solution import SteadyState
from ..balance.solve import solve
from ..describe import circuitfile
from ..describe.description import Description
from ..linear.junctions import Joined
from .sweep import sweep
from .table import SweepTable


class Circuit:
    """A circuit with a drive, ready to be solved.

    Parameters
    ----------
    description : Description
        Usually made by `Circuit.load` or `Circuit.build`.
    """

    def __init__(self, description: Description) -> None:
        self.description = description

    @classmethod
    def load(cls, path: str | Path) -> Circuit:
        """Read a circuit file (TOML); raises Refusal naming file, place and mend."""
        return cls(circuitfile.load(path))

    @classmethod
    def build(cls, folder: str | Path | None = None, **tables: Any) -> Circuit:
        """The same circuit from Python: the tables of a circuit file as keywords.

        `Circuit.build(drive={"port": "input", "frequency": "1 GHz", "power": "0 dBm"}, port={"input": {"node": "in"},
        ...}, part={"R1": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "50 ohm"}})`. File names inside
        start at `folder` (default: the working directory).
        """
        return cls(circuitfile.build(tables, folder=Path(folder) if folder is not None else Path()))

    def with_values(self, values: Mapping[str, Any]) -> Circuit:
        """A circuit with some quantities changed: {"drive.power": "3 dBm", "supply.VCC": 4.5}.

        Text carries its unit; a number is in the base unit (SI; dBm for power, degrees for angles).
        """
        return Circuit(self.description.with_values(values))

    def solve(self, values: Mapping[str, Any] | None = None, *, harmonics: int | None = None,
              samples: int | None = None, start: SteadyState | None = None,
              accuracy: Accuracy = Accuracy()) -> SteadyState:
        """The steady state, with `values` changed for this solve alone (see `with_values`).

        The number of harmonics is raised until the lines stay within `accuracy`, unless one is given.

        Raises
        ------
        NotSolved
            No steady state was found.
        Refusal
            An unknown quantity, or a circuit that cannot be analysed as it stands.
        """
        description = self.description.with_values(values) if values else self.description
        return solve(description, harmonics, samples, start, accuracy)

    def sweep(self, axes: Mapping[str, Sequence[Any] | str], *, harmonics: int | None = None,
              samples: int | None = None, accuracy: Accuracy = Accuracy(), estimate: bool = True,
              progress: Callable[[int, int], None] | None = None, executor: Executor | None = None,
              keep_in: str | Path | None = None, resume: bool = False) -> SweepTable:
        """Solve on a grid of quantities: {"drive.power": "-20 dBm : 10 dBm : 1 dB", "supply.VCC": [3, 4, 5]}.

        Parameters
        ----------
        axes : mapping
            Address -> values (texts with units, or numbers in base units), or "start : stop : step". The last axis
            runs fastest in the table. In the text form a piece without a unit takes that of another.
        harmonics, samples : int or None
            None: raised at each point until its lines stay within `accuracy`.
        accuracy : Accuracy
        estimate : bool
            Whether a given number of harmonics is held against twice as many (which costs more than the sweep itself).
        progress : function of (points done, points in all), or None
        executor : concurrent.futures.Executor or None
            Takes the work, in pieces of some tens of milliseconds; None: a thread for each core.
        keep_in : path or None
            A folder that keeps what is found while the sweep is under way; `Unfinished.remove` removes it.
        resume : bool
            Go on with the sweep that `keep_in` holds.

        Returns
        -------
        SweepTable
            Unsolved points are marked and hold no numbers.

        Raises
        ------
        Refusal
            An unknown quantity, a value that is not possible, or a circuit that cannot be analysed: before the work.
        """
        return sweep(self.description, axes, harmonics, samples, accuracy=accuracy, estimate=estimate,
                     progress=progress, executor=executor, keep_in=keep_in, resume=resume)

    def junctions(self) -> Joined:
        """The junctions of strips that are put in by themselves (`added`), and where none is, with the reason and what
        to write instead (`left_out`); see linear/junctions.py for the rules."""
        return self.description.joined

    def __repr__(self) -> str:
        d = self.description
        counts = f"{len(d.parts)} linear parts, {len(d.devices)} device{'s' * (len(d.devices) != 1)}"
        return (f"Circuit '{d.title}': {counts}, ports {', '.join(d.ports)}, supplies "
                f"{', '.join(d.supplies) or 'none'}; .solve(), .sweep({{'drive.power': '-20 dBm : 10 dBm : 1 dB'}})")
