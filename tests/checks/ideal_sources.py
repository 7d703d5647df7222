"""Circuits that a file cannot say, for closed-form checks: ideal generators, with a law for each harmonic."""

from dataclasses import dataclass

import numpy as np

from hbsim.balance.continuation import Effort, operating_point, steady_state
from hbsim.balance.solution import Solver, SteadyState
from hbsim.balance.system import Mounted, System, device_nodes
from hbsim.linear.network import Element, Network
from hbsim.linear.part import Part, Relation

FREQUENCY = 1e9  # the resistive checks do not depend on it. [Hz]


@dataclass(frozen=True)
class Generator(Part):
    """From a node to ground: at harmonic k a voltage E_k behind z[k], or, where z[k] is None, a current E_k out of it.

    z : impedances of harmonics 0, 1, ...; the last one holds for all above. [ohm]
    """

    z: tuple[complex | None, ...] = (0.0,)
    kind = "generator"
    terminals = ("node",)
    steady = False

    def relation(self, omega: np.ndarray) -> Relation:
        at = [self.z[min(k, len(self.z) - 1)] for k in range(len(omega))]
        a = np.array([0.0 if z is None else 1.0 for z in at], complex)
        b = np.array([-1.0 if z is None else -z for z in at], complex)
        return Relation(a[:, None, None], b[:, None, None])


def system_of(elements, sources, mounted, harmonics, samples=None, frequency=FREQUENCY) -> System:
    """The balance of devices in a network whose elements named `sources` carry the source voltages."""
    elements = [*elements, *(inner for device in mounted for inner in device.elements())]
    omega = 2 * np.pi * frequency * np.arange(harmonics + 1)
    return System(Network(elements, sources, device_nodes(mounted), omega), mounted, samples)


def solved(elements, sources, mounted, values, harmonics, samples=None, frequency=FREQUENCY, start=None) -> SteadyState:
    """The steady state; values: source name -> {harmonic: peak phasor}. [V], or [A] of a current generator"""
    system = system_of(elements, sources, mounted, harmonics, samples, frequency)
    source = np.zeros((harmonics + 1, len(sources)), complex)
    for name, lines in values.items():
        for k, value in lines.items():
            source[k, list(sources).index(name)] = value
    effort, parameters = Effort(), system.parameters()
    form = steady_state(system, system.excitation(source), parameters, start.form if start else None, effort)
    return SteadyState(None, system, form, source, Solver(harmonics, system.samples, effort.steps, effort.error))


def junction_current(diode, v0, v1, harmonics, samples=None) -> np.ndarray:
    """Current phasors (K + 1,) of a diode that sees v0 + v1 cos(omega t), all its own parts included. [A]"""
    state = solved([Element("source", Generator(), ("a",))], ["source"],
                   [Mounted("D", diode, {"anode": "a", "cathode": "ground"})], {"source": {0: v0, 1: v1}},
                   harmonics, samples)
    return -state.current("source")[:, 0]


def dc_current(diode, voltage) -> float:
    """DC current of a diode at a voltage, by the search for the operating point alone. [A]"""
    system = system_of([Element("source", Generator(), ("a",))], ["source"],
                       [Mounted("D", diode, {"anode": "a", "cathode": "ground"})], 1)
    source = np.array([[voltage], [0.0]], complex)
    c = system.excitation(source)
    form = np.zeros(system.shape)
    form[:, 0] = operating_point(system, c, system.parameters(), Effort())
    return -SteadyState(None, system, form, source, Solver(1, system.samples, 0, 0.0)).current("source")[0, 0].real
