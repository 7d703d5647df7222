"""SteadyState: what one solve says, read from the balanced device-node voltages and nothing else."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from ..describe.description import Description
from ..errors import Refusal, nearest
from ..linear.network import GROUND
from ..quantities import dbm, show, watts
from .accuracy import Accuracy, Truncation
from .equations import currents
from .spectrum import mean_power, phasors, waveform
from .system import System

if TYPE_CHECKING:
    from .figures import Figure

MATCH_FLOOR_DBM = -200.0  # with less drive the wave that comes back is rounding beside the direct currents
FLOOR_DBM = -180.0  # a line below this is rounding beside the currents that make it; it is given as minus infinity


@dataclass(frozen=True)
class Solver:
    """How the answer was reached.

    harmonics, samples, iterations: counts; residual: largest current error relative to the currents that cancel [1].
    """

    harmonics: int
    samples: int
    iterations: int
    residual: float


@dataclass(frozen=True)
class SupplyState:
    """A DC supply: voltage at its node [V], current it delivers [A]."""

    volts: float
    amps: float


@dataclass(frozen=True, eq=False)
class SteadyState:
    """The periodic steady state of a circuit.

    Phasors are peak values, harmonic 0 is DC; currents are positive into a terminal. Made by `Circuit.solve`.

    Attributes
    ----------
    description : Description
        The circuit as solved, device temperatures included.
    system : System
    form : ndarray, (n, 2 K + 1)
        Device-node voltages, real form. [V]
    source : ndarray, complex, (K + 1, n_source). [V]
    solver : Solver
    accuracy : Accuracy
        What was asked for; says which lines are shown.
    known_truncation : Truncation or None
        Measured on the way, where the number of harmonics was chosen by it.
    """

    description: Description
    system: System
    form: np.ndarray = field(repr=False)
    source: np.ndarray = field(repr=False)
    solver: Solver
    accuracy: Accuracy = Accuracy()
    known_truncation: Truncation | None = field(default=None, repr=False)

    # -- how far to trust it -----------------------------------------------------------------------------------

    @property
    def lines(self) -> int:
        """Harmonics that are shown, 1 to this."""
        return self.accuracy.lines_of(self.description, self.system.harmonics)

    @cached_property
    def truncation(self) -> Truncation | None:
        """What the harmonics left out may do to the lines at the wanted port; None where that is not known."""
        if self.known_truncation is not None:
            return self.known_truncation
        from .solve import truncation_of
        return truncation_of(self)

    # -- spectra and waveforms ---------------------------------------------------------------------------------

    @property
    def frequency(self) -> np.ndarray:
        """Of harmonics 0..K, (K + 1,). [Hz]"""
        return self.system.network.omega / (2 * np.pi)

    @cached_property
    def _branches(self) -> tuple[np.ndarray, np.ndarray]:
        """Voltage and total current phasors of every device branch, (K + 1, n_branch) each."""
        system, work = self.system, self.system.work
        currents(self.form, system.parameters(), system.net, system.devices, system.transform, work)
        return phasors(work.spectrum).T, phasors(work.total).T

    @cached_property
    def _unknowns(self) -> np.ndarray:
        voltage = phasors(self.form).T
        current = np.zeros_like(voltage)
        devices, (_, branch) = self.system.devices, self._branches
        for m, (start, end) in enumerate(zip(devices.branch_from, devices.branch_to)):
            if start >= 0:
                current[:, start] += branch[:, m]
            if end >= 0:
                current[:, end] -= branch[:, m]
        return self.system.network.unknowns(voltage, current, self.source)

    @property
    def nodes(self) -> tuple[str, ...]:
        """All node names, inner nodes of devices ("Q1.b") included."""
        return tuple(self.system.network.layout.nodes)

    def voltage(self, node: str) -> np.ndarray:
        """Phasors of a node voltage, (K + 1,). [V]"""
        known = self.system.network.layout.nodes
        if node != GROUND and node not in known:
            raise Refusal(f"there is no node '{node}'{nearest(node, known)}")
        return self.system.network.node_voltage(self._unknowns, node)

    def waveform(self, node: str, samples: int = 256) -> tuple[np.ndarray, np.ndarray]:
        """Time [s] and voltage [V] of a node over one period, (samples,) each."""
        return self.time(samples), waveform(self.voltage(node), samples)

    def time(self, samples: int = 256) -> np.ndarray:
        """Equal steps over one period, (samples,). [s]"""
        return np.arange(samples) / samples / self.description.drive.frequency

    def _known_part(self, part: str) -> str:
        known = self.system.network.elements
        if part not in known:
            raise Refusal(f"there is no part '{part}'{nearest(part, known)}")
        return part

    def current(self, part: str) -> np.ndarray:
        """Phasors of the currents into the terminals of a part, (K + 1, n_terminal). [A]

        Ports and supplies are "port.NAME" and "supply.NAME", a device's linear parts "Q1.RE" and so on."""
        return self.system.network.terminal_currents(self._unknowns, self._known_part(part))

    def absorbed(self, part: str) -> np.ndarray:
        """Power into a part at each harmonic, (K + 1,); for ports and supplies: into the terminal. [W]"""
        voltages = self.system.network.terminal_voltages(self._unknowns, self._known_part(part))
        return mean_power(voltages, self.current(part))

    def dissipation(self, part: str) -> float:
        """Heat in a part; for a port or a supply, in its own resistance. [W]"""
        if part in self.description.devices:
            return self.devices[part].dissipation
        if part in self.system.network.sources:
            resistance = self.system.network.elements[part].part.impedance
            return float(mean_power(self.current(part), self.current(part)).sum() * resistance)
        return float(self.absorbed(part).sum())

    # -- ports -------------------------------------------------------------------------------------------------

    def _port(self, port: str | None) -> str:
        name = port or self.description.wanted_port
        if name not in self.description.ports:
            raise Refusal(f"there is no port '{name}'{nearest(name, self.description.ports)}")
        return name

    def output_watts(self, harmonic: int, port: str | None = None) -> float:
        """Power delivered into the load at a port (default: the wanted port). [W]

        At the driven port and frequency this is the wave that comes back out of the circuit."""
        name = self._port(port)
        self._check_harmonic(harmonic)
        description = self.description.ports[name]
        v = self.voltage(description.node)[harmonic]
        e = self.source[harmonic, self.system.network.sources.index(f"port.{name}")]
        if harmonic == 0:
            return float(abs(v) ** 2 / description.impedance)
        return float(abs(v - e / 2) ** 2 / (2 * description.impedance))

    def output_dbm(self, harmonic: int, port: str | None = None) -> float:
        """The same in dBm; minus infinity where nothing comes out."""
        level = dbm(self.output_watts(harmonic, port))
        return level if level > FLOOR_DBM else -math.inf

    def output_dbc(self, harmonic: int, port: str | None = None) -> float:
        """Level relative to the wanted harmonic at the wanted port. [dB]"""
        return self.output_dbm(harmonic, port) - self.output_dbm(self.description.wanted_harmonic)

    def output_phase_deg(self, harmonic: int, port: str | None = None) -> float:
        """Phase of the voltage at a port against the generator's own voltage, a cosine. [deg]"""
        self._check_harmonic(harmonic)
        return math.degrees(np.angle(self.voltage(self.description.ports[self._port(port)].node)[harmonic]))

    def _check_harmonic(self, harmonic: int) -> None:
        if not 0 <= harmonic <= self.system.harmonics:
            raise Refusal(f"harmonic {harmonic} was not solved; 0 to {self.system.harmonics} were", "harmonic")

    @property
    def conversion_loss_db(self) -> float:
        """Available drive power over output at the wanted harmonic; negative is gain. [dB]"""
        return self.description.drive.power_dbm - self.output_dbm(self.description.wanted_harmonic)

    @property
    def input_reflection(self) -> complex:
        """Large-signal reflection coefficient at the driven port and frequency, against the port's impedance."""
        port = self.description.drive.port
        e = self.source[1, self.system.network.sources.index(f"port.{port}")]
        return complex((2 * self.voltage(self.description.ports[port].node)[1] - e) / e)

    @property
    def input_return_loss_db(self) -> float:
        """-20 log10 of the input reflection coefficient's magnitude; not a number where so little comes in that what
        comes back is rounding. [dB]"""
        if self.description.drive.power_dbm < MATCH_FLOOR_DBM:
            return math.nan
        magnitude = abs(self.input_reflection)
        return -20 * math.log10(magnitude) if magnitude > 0 else math.inf

    # -- power -------------------------------------------------------------------------------------------------

    @cached_property
    def supplies(self) -> dict[str, SupplyState]:
        """DC supplies by name."""
        return {name: SupplyState(float(self.voltage(supply.node)[0].real),
                                  float(-self.current(f"supply.{name}")[0, 0].real))
                for name, supply in self.description.supplies.items()}

    @property
    def dc_power_w(self) -> float:
        """What all supplies give, the heat in their own resistance included. [W]"""
        return sum(supply.voltage * self.supplies[name].amps for name, supply in self.description.supplies.items())

    @property
    def efficiency(self) -> float:
        """Output at the wanted harmonic over supply power plus available drive power. [1]"""
        given = self.dc_power_w + watts(self.description.drive.power_dbm)
        return self.output_watts(self.description.wanted_harmonic) / given

    @cached_property
    def devices(self):
        """DeviceState of each device by name."""
        from .device_state import device_states
        return device_states(self)

    @cached_property
    def power_balance(self) -> dict[str, float]:
        """Where the power goes. [W]

        "given": by generator and supplies before their own resistance; then the heat in every port, supply, part
        and device; "error": given minus all heat. It closes to rounding when the balance does."""
        current = np.stack([self.current(name)[:, 0] for name in self.system.network.sources], axis=1)
        flows = {"given": -float(mean_power(self.source, current).sum())}
        inner = {e.name for m in self.system.mounted for e in m.elements()}
        flows |= {name: self.dissipation(name) for name in self.system.network.elements if name not in inner}
        flows |= {name: device.dissipation for name, device in self.devices.items()}
        flows["error"] = flows["given"] - sum(power for name, power in flows.items() if name != "given")
        return flows

    def gradient(self, figures: Mapping[str, Figure] | Sequence[str],
                 addresses: Sequence[str] | None = None) -> dict[str, dict[str, float]]:
        """Slopes of figures, for example ["output_dbm_2", "input_return_loss_db"], against quantities by their
        addresses (None: all); see gradient.py."""
        from .gradient import gradient
        return gradient(self, figures, addresses)

    # -- words -------------------------------------------------------------------------------------------------

    def __repr__(self) -> str:
        wanted = self.description.wanted_harmonic
        lines = [f"SteadyState of '{self.description.title}': drive {show(self.description.drive.power_dbm, 'dBm')} at "
                 f"{show(self.description.drive.frequency, 'Hz', 7)}"]
        for k in range(1, min(self.system.harmonics, 5) + 1):
            mark = "  <- wanted" if k == wanted else ""
            lines.append(f"  {show(self.frequency[k], 'Hz', 7):>12}  {self.output_dbm(k):8.2f} dBm  "
                         f"{self.output_dbc(k):8.2f} dBc{mark}")
        loss = self.conversion_loss_db
        lines.append(f"  conversion {'loss' if loss >= 0 else 'gain'} {abs(loss):.2f} dB, input return loss "
                     f"{self.input_return_loss_db:.2f} dB")
        lines += [f"  supply {name}: {show(s.volts, 'V')}, {show(s.amps, 'A')}" for name, s in self.supplies.items()]
        lines.append(f"  {self.solver.harmonics} harmonics, {self.solver.iterations} Newton steps, current error "
                     f"{self.solver.residual:.0e} of what cancels")
        return "\n".join(lines)
