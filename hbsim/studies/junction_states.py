"""When the junctions of a device conduct: in which part of a period it is cut off, saturated, or in between."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ..balance.device_state import CONDUCTING
from ..balance.solution import SteadyState
from ..balance.spectrum import waveform

_SAMPLES = 512
CUT_OFF, BETWEEN, SATURATED = 0, 1, 2
# In saturation a collector is some 0.2 V from the emitter (common practice, no source): 0.2 V below the peak of the
# other junction, an exponential at room temperature has 0.05 % of its current.
SATURATING = 5e-4
DEFINITION = (f"The exponentials IS exp(v / (n kT/q)) of the inner junctions, over the most that any junction of the "
              f"device reaches in the period. In saturation: that of the base-collector junction is above "
              f"{100 * SATURATING:g} %, within 0.2 V of the most at room temperature. In between: it is not, and that "
              f"of the base-emitter junction (of a diode: its own) is above {100 * CONDUCTING:g} %. Cut off: neither.")


@dataclass(frozen=True)
class JunctionStates:
    """The states of one device over a period.

    region : ndarray of int, (512,): CUT_OFF, BETWEEN or SATURATED at equal steps over the period.
    """

    region: np.ndarray = field(repr=False)

    @property
    def cut_off(self) -> float:
        """Share of the period in cut-off. [1]"""
        return float(np.mean(self.region == CUT_OFF))

    @property
    def between(self) -> float:
        """Share of the period neither in cut-off nor in saturation. [1]"""
        return float(np.mean(self.region == BETWEEN))

    @property
    def saturated(self) -> float:
        """Share of the period in saturation. [1]"""
        return float(np.mean(self.region == SATURATED))


def junction_states(state: SteadyState, name: str) -> JunctionStates:
    """The states of a device of a solved circuit; see DEFINITION.

    The critical voltage of a junction holds its IS: IS exp(v / s) = s / sqrt(2) exp((v - v_critical) / s), with the
    slope voltage s = n kT/q (devices/junction.py). The charge of the base, q_b, is left out: it divides both alike.
    """
    mounted = next(m for m in state.system.mounted if m.name == name)
    exponents = []
    for (start, end), (slope, critical) in zip(mounted.branches(), mounted.device.junctions()):
        if slope == 0.0:
            continue
        voltage = np.sign(slope) * waveform(state.voltage(start) - state.voltage(end), _SAMPLES)
        exponents.append((voltage - critical) / abs(slope) + np.log(abs(slope)))
    levels = np.array(exponents)
    levels -= levels.max()
    region = np.where(levels[0] > np.log(CONDUCTING), BETWEEN, CUT_OFF)
    if len(levels) > 1:
        region = np.where(levels[1] > np.log(SATURATING), SATURATED, region)
    return JunctionStates(region)
