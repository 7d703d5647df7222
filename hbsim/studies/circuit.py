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
from .network_response import ABSENT, NetworkResponse, network_response
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
              devices: bool = False, keep_in: str | Path | None = None, resume: bool = False) -> SweepTable:
        """Solve on a grid of quantities: {"drive.power": "-20 dBm : 10 dBm : 1 dB", "supply.VCC": [3, 4, 5]}.

        Parameters
        ----------
        axes : mapping
            Address -> values (texts with units, or numbers in base units), or one text: "start : stop : step",
            "start : stop : 5 points", "start : stop : 5 points by ratio" or "1, 2, 5 pF". The last axis runs fastest
            in the table. In the text form a piece without a unit takes that of another. An axis can move several
            quantities: "R1.resistance, R2.resistance" and "R*.resistance" take one value, "scale *.gap" multiplies
            what is described by a factor.
        harmonics, samples : int or None
            None: raised at each point until its lines stay within `accuracy`.
        accuracy : Accuracy
        estimate : bool
            Whether a given number of harmonics is held against twice as many (which costs more than the sweep itself).
        progress : function of (points done, points in all), or None
        executor : concurrent.futures.Executor or None
            Takes the work, in pieces of some tens of milliseconds; None: a thread for each core.
        devices : bool
            Also keep the heat in each device and its peak voltage, main against common pin; this takes longer.
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
                     progress=progress, executor=executor, devices=devices, keep_in=keep_in, resume=resume)

    def junctions(self) -> Joined:
        """The junctions of strips that are put in by themselves (`added`), and where none is, with the reason and what
        to write instead (`left_out`); see linear/junctions.py for the rules."""
        return self.description.joined

    def network(self, frequency: Sequence[float], ports: Sequence[str] | None = None, *,
                reference: float | Sequence[float] | None = None, parts: Sequence[str] | None = None,
                device: str = ABSENT) -> NetworkResponse:
        """S-parameters of the linear circuit, or of some of its parts, between any nodes.

        Parameters
        ----------
        frequency : sequence of float
            At least 2, rising, from 0 on. [Hz]
        ports : sequence of str, or None
            Each the name of a port of the circuit, of a node, or "node1/node2" for a port between two nodes. A port of
            the circuit has its own impedance as reference, and its termination is not counted besides; "node/ground"
            leaves it there. None: all ports of the circuit.
        reference : float, sequence of float, or None
            For all ports, or one for each; None: 50 ohm, and a port of the circuit has its own. [ohm]
        parts : sequence of str, or None
            Only these parts count, without supplies and terminations. None: all do; supplies are their resistance to
            ground, ports of the circuit that are not asked for end in their impedance.
        device : str
            "absent": devices are taken out. "linearised": they are their slopes at the DC point without drive.

        Returns
        -------
        NetworkResponse

        Raises
        ------
        NotSolved
            Devices are to be linearised, and no DC point was found.
        Refusal
            A name is not known, the frequencies do not rise, or the network leaves a voltage undetermined.
        """
        return network_response(self.description, frequency, ports, reference=reference, parts=parts, device=device)

    def __repr__(self) -> str:
        d = self.description
        counts = f"{len(d.parts)} linear parts, {len(d.devices)} device{'s' * (len(d.devices) != 1)}"
        return (f"Circuit '{d.title}': {counts}, ports {', '.join(d.ports)}, supplies "
                f"{', '.join(d.supplies) or 'none'}; .solve(), .sweep({{'drive.power': '-20 dBm : 10 dBm : 1 dB'}})")
