"""What an open quarter-wave stub does as its distance from the transistor is moved.

A line of distance d is put between a pin and the circuit, and an open stub, a quarter wave long at one harmonic, where
the two meet. At that harmonic the stub is a short, so that the pin sees a pure reactance, the reflection
-exp(-2j beta d), whatever the circuit is: at f0 at the collector that throws the drive back into the transistor, at
2 f0 at the base what it has made there. At twice that harmonic the stub is half a wave and does nothing, at half of it
it is a capacitance.
The line turns the terminations at all other harmonics, and a stub is there for these too. So two more are solved that
tell it apart: the line without the stub, and the reflector alone, that short behind the line at its own harmonic with
all other harmonics as the circuit has them (plane.py).

Line and stub are ideal: no loss, no dispersion, no junction.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.solution import SteadyState
from ..balance.solve import solve
from ..describe.description import Description, Placed
from ..errors import NotSolved, Refusal
from ..linear.lines import Line, OpenStub
from .plane import ELSEWHERE, moved_pin, pin_of, plane


@dataclass(frozen=True, eq=False)
class StubDistance:
    """Output and match against the distance of a stub.

    Attributes
    ----------
    description : Description
    pin : str
    harmonic : int
        At which the stub is a quarter wave.
    impedance, stub_impedance : float
        Of line and stub. [ohm]
    degrees : ndarray, (n,)
        Length of the line at that harmonic. [deg]
    output_dbm, input_return_loss_db : ndarray, (3, n)
        At the ports, with the stub, with the line alone, and with the reflector alone; not a number where no state was
        found. The last is left out where drive or output would have to pass at that harmonic. [dBm], [dB]
    present : SteadyState
        Without line and stub.
    """

    description: Description
    pin: str
    harmonic: int
    impedance: float
    stub_impedance: float
    degrees: np.ndarray
    output_dbm: np.ndarray
    input_return_loss_db: np.ndarray
    present: SteadyState

    @property
    def unsolved(self) -> int:
        """Points without a state that was found, of all curves."""
        return int(np.isnan(self.output_dbm[:3 if self.has_reflector else 2]).sum())

    @property
    def has_reflector(self) -> bool:
        """Whether the reflector alone was solved."""
        return not np.isnan(self.output_dbm[2]).all()

    def best(self, curve: int = 0) -> int:
        """Number of the distance of most output."""
        return int(np.nanargmax(self.output_dbm[curve]))

    def as_json(self) -> dict[str, Any]:
        """All numbers as plain data; None stands for no number."""
        def told(values: np.ndarray) -> list[float | None]:
            return [float(value) if math.isfinite(value) else None for value in values]

        return {"title": self.description.title, "pin": self.pin, "harmonic": self.harmonic,
                "frequency_hz": self.harmonic * self.description.drive.frequency, "line_ohm": self.impedance,
                "stub_ohm": self.stub_impedance, "distance_deg": self.degrees.tolist(),
                "output_dbm": told(self.output_dbm[0]), "output_line_alone_dbm": told(self.output_dbm[1]),
                "output_reflector_alone_dbm": told(self.output_dbm[2]),
                "input_return_loss_db": told(self.input_return_loss_db[0]),
                "input_return_loss_line_alone_db": told(self.input_return_loss_db[1]),
                "input_return_loss_reflector_alone_db": told(self.input_return_loss_db[2]),
                "present_output_dbm": told([self.present.output_dbm(self.description.wanted_harmonic)])[0],
                "present_input_return_loss_db": told([self.present.input_return_loss_db])[0],
                "harmonics": self.present.system.harmonics}


def with_stub(description: Description, at: str, harmonic: int, degrees: float, *, impedance: float = 50.0,
              stub_impedance: float = 50.0, stub: bool = True) -> Description:
    """The circuit with a line at a pin and an open quarter-wave stub behind it; `stub` False: the line alone.

    degrees : length of the line at the harmonic. [deg]
    """
    device, pin = pin_of(description, at)
    if harmonic < 1:
        raise Refusal(f"harmonic {harmonic} has no wave; 1 is f0", "harmonic")
    placed = description.devices[device]
    node = placed.nodes[placed.terminals.index(pin)]
    frequency = harmonic * description.drive.frequency
    names = {"line": "distance_line", "stub": "distance_stub"}
    while set(names.values()) & (description.parts.keys() | description.devices.keys()):
        names = {key: f"{name}_" for key, name in names.items()}
    own = f"{node}|{pin}"  # '|' cannot stand in the name of a node
    added = {names["line"]: Placed(names["line"], Line(impedance, degrees, frequency), (own, node))}
    if stub:
        added[names["stub"]] = Placed(names["stub"], OpenStub(stub_impedance, 90.0, frequency), (node,))
    return moved_pin(description, device, pin, own, added)


def stub_distance(description: Description, at: str, harmonic: int, degrees: Sequence[float] | None = None, *,
                  impedance: float = 50.0, stub_impedance: float = 50.0, harmonics: int | None = None,
                  accuracy: Accuracy = Accuracy()) -> StubDistance:
    """Move a stub away from a pin.

    Parameters
    ----------
    at : str
        "Q1.collector", or "collector" where one device alone has such a pin.
    harmonic : int
        At which the stub is a quarter wave.
    degrees : sequence of float or None
        Distances at that harmonic; None: 0 to 180 in steps of 2. [deg]
    impedance, stub_impedance : float
        [ohm]
    harmonics : int or None
        K; None: what the present circuit needs for `accuracy`.

    Raises
    ------
    NotSolved
        The present circuit has no steady state, or one of the two curves has no point.
    Refusal
        No such pin or harmonic.
    """
    distances = np.arange(0.0, 181.0, 2.0) if degrees is None else np.asarray(degrees, float)
    with_stub(description, at, harmonic, 0.0, impedance=impedance, stub_impedance=stub_impedance)  # refuses early
    present = solve(description, harmonics, accuracy=accuracy)
    wanted = description.wanted_harmonic
    output, match = np.full((3, len(distances)), np.nan), np.full((3, len(distances)), np.nan)
    for row, circuit_at in enumerate(_circuits(description, at, harmonic, impedance, stub_impedance)):
        last: SteadyState | None = None
        for number, distance in enumerate(distances):
            try:
                last = solve(circuit_at(float(distance)), present.system.harmonics, start=last, accuracy=accuracy)
            except NotSolved:
                continue
            output[row, number], match[row, number] = last.output_dbm(wanted), last.input_return_loss_db
    if np.isnan(output[:2]).all(axis=1).any():
        raise NotSolved("at none of the distances a steady state was found; try a weaker drive")
    device, pin = pin_of(description, at)
    return StubDistance(description, f"{device}.{pin}", harmonic, impedance, stub_impedance, distances, output, match,
                        present)


def _circuits(description: Description, at: str, harmonic: int, impedance: float,
              stub_impedance: float) -> list[Callable[[float], Description]]:
    """From the distance to the circuit: with the stub, with the line alone, with the reflector alone."""
    made: list[Callable[[float], Description]] = [
        lambda degrees, stub=stub: with_stub(description, at, harmonic, degrees, impedance=impedance,
                                             stub_impedance=stub_impedance, stub=stub) for stub in (True, False)]
    where = plane(description, at, harmonic, impedance)
    if where.side == ELSEWHERE:
        made.append(lambda degrees: where.terminated(-cmath.exp(-2j * math.radians(degrees))))
    return made
