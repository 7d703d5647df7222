"""What a port reflects while the circuit is driven: a small tone sent into the output at a harmonic of the drive.

The balance is linearised at its solution. With a the wave sent into the port and b the wave that comes out (peak
voltages; V = a + b, and a source behind the port's resistance gives a = E / 2), a small da at a harmonic of the drive
gives

    db = S da + T da*

The second term comes from the drive, which mixes the tone with its own mirror image: because the tone stands in a
fixed phase to the drive, turning it by phi turns the one answer by phi and the other by -phi. So a port under drive
has not one reflection coefficient but a circle of them, S + T exp(-2j phi), phi the phase of a against the generator,
whose voltage at the drive frequency is a cosine. Published, from memory: J. Verspecht and others from 1995 on, of
large-signal scattering; D. E. Root, J. Verspecht, D. Sharrit, J. Wood, A. Cognata, IEEE Trans. Microwave Theory Tech.
53 (2005).

Junction temperatures stay as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..balance.figures import Figure, Slopes
from ..balance.influence import Influence
from ..balance.solution import SteadyState
from ..balance.tangent import Tangent
from ..describe.description import Description
from ..errors import Refusal, nearest


@dataclass(frozen=True)
class HotReflection:
    """Reflection of a port under drive.

    Attributes
    ----------
    port : str
    harmonic : int
    reference : float
        The port's own resistance. [ohm]
    wave : complex
        What comes out without a tone sent in, peak. [V]
    direct, mirrored : complex
        S and T of the head of this file. [1]
    """

    port: str
    harmonic: int
    reference: float
    wave: complex
    direct: complex
    mirrored: complex

    @property
    def range(self) -> tuple[float, float]:
        """Smallest and largest magnitude over all phases of the tone. [1]"""
        return abs(abs(self.direct) - abs(self.mirrored)), abs(self.direct) + abs(self.mirrored)

    def at(self, phase: float) -> complex:
        """The reflection coefficient for a tone of a phase [rad] against the generator's cosine. [1]"""
        return complex(self.direct + self.mirrored * np.exp(-2j * phase))

    def as_json(self) -> dict[str, Any]:
        """As plain data."""
        low, high = self.range
        return {"port": self.port, "harmonic": self.harmonic, "reference_ohm": self.reference,
                "direct_real": self.direct.real, "direct_imag": self.direct.imag,
                "mirrored_real": self.mirrored.real, "mirrored_imag": self.mirrored.imag,
                "smallest_magnitude": low, "largest_magnitude": high}


@dataclass(frozen=True)
class _WaveOut(Figure):
    """Re(turn* b) of the wave b that comes out of a port at a harmonic. [V]"""

    port: str
    harmonic: int
    turn: complex

    def value(self, state: SteadyState, description: Description) -> float:
        return float((np.conj(self.turn) * wave_out(state, self.port, self.harmonic)).real)

    def slopes(self, state: SteadyState) -> Slopes:
        h = np.zeros(state.system.harmonics + 1, complex)
        h[self.harmonic] = np.conj(self.turn)
        return Slopes(nodes={state.description.ports[self.port].node: h}, sources={f"port.{self.port}": -h / 2})


def wave_out(state: SteadyState, port: str, harmonic: int) -> complex:
    """Peak voltage wave that comes out of a port at a harmonic. [V]"""
    source = state.source[harmonic, state.system.network.sources.index(f"port.{port}")]
    return complex(state.voltage(state.description.ports[port].node)[harmonic] - source / 2)


def hot_reflection(state: SteadyState, port: str | None = None, harmonic: int | None = None) -> HotReflection:
    """Reflection of a port under drive, from the linearised balance.

    Parameters
    ----------
    state : SteadyState
    port : str or None
        None: the wanted one.
    harmonic : int or None
        1 and up; None: the wanted one.

    Raises
    ------
    Refusal
        No such port or harmonic, or a state at the very edge of a jump.
    """
    name = state.description.wanted_port if port is None else port
    if name not in state.description.ports:
        raise Refusal(f"there is no port '{name}'{nearest(name, state.description.ports)}", "port")
    order = state.description.wanted_harmonic if harmonic is None else harmonic
    if not 1 <= order <= state.system.harmonics:
        raise Refusal(f"harmonic {order} was not solved; 1 to {state.system.harmonics} were", "harmonic")
    tangent = Tangent(state)
    readings = [tangent.reading(_WaveOut(name, order, turn)) for turn in (1.0, 1j)]
    right = np.array([reading.by_form for reading in readings]).reshape(2, *state.system.shape)
    adjoint = tangent.solved(right, transposed=True).reshape(2, state.form.size)
    answers = []
    for sent in (1.0, 1j):
        source = np.zeros_like(state.source)
        source[order, state.system.network.sources.index(f"port.{name}")] = 2.0 * sent
        still = np.zeros((state.system.harmonics + 1, len(state.system.devices.branch_from)), complex)
        item = Influence("", (), {}, still, source)
        put = tangent.put(item)
        moved = tangent.outright(readings, item, put) - adjoint @ tangent.unbalance(item, put).ravel()
        answers.append(complex(*moved))
    by_real, by_imag = answers  # S + T and j (S - T)
    return HotReflection(name, order, state.description.ports[name].impedance, wave_out(state, name, order),
                         (by_real - 1j * by_imag) / 2, (by_real + 1j * by_imag) / 2)
