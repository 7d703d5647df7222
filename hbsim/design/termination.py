"""A load behind a network: what is seen at its input."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..errors import Refusal
from ..linear.junctions import join_strips
from ..linear.network import Element
from ..linear.response import scattering
from ..quantities import show

LARGEST_LOSS_DB = 400.0  # what a reflection of nothing at all is printed as


def reflection_of(load: complex | np.ndarray, impedance: float) -> complex | np.ndarray:
    """Of `load` [ohm] on a line of `impedance` [ohm]. [1]"""
    return (load - impedance) / (load + impedance)


def impedance_of(reflection: complex, impedance: float) -> complex:
    """The load of a reflection coefficient below 1 on a line of `impedance` [ohm]. [ohm]

    Raises
    ------
    Refusal
        The reflection is not that of a passive load.
    """
    if not abs(reflection) < 1.0:
        raise Refusal(f"a reflection of {abs(reflection):.4g} is not that of a load that takes power; it must be below "
                      f"1", "reflection")
    return impedance * (1.0 + reflection) / (1.0 - reflection)


def seen_through(elements: Sequence[Element], ends: tuple[str, str], load: complex, impedance: float,
                 frequency: np.ndarray) -> np.ndarray:
    """Reflection at the node ends[0], with `load` [ohm], the same at all frequencies, at ends[1].

    impedance : of the reflection. [ohm]; frequency : (n_frequency,). [Hz] -> (n_frequency,) [1]
    """
    s = scattering(join_strips(elements, ends).elements, [(end, "ground") for end in ends],
                   np.array([impedance, impedance]), 2.0 * np.pi * frequency)
    gamma = reflection_of(load, impedance)
    return s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] * gamma / (1.0 - s[:, 1, 1] * gamma)


def load_matched_by(elements: Sequence[Element], ends: tuple[str, str], impedance: float,
                    frequency: float) -> complex:
    """The load at ends[1] with which nothing is reflected at ends[0]. [ohm]

    Raises
    ------
    Refusal
        The network lets nothing through there.
    """
    s = scattering(join_strips(elements, ends).elements, [(end, "ground") for end in ends],
                   np.array([impedance, impedance]), 2.0 * np.pi * np.array([frequency]))[0]
    if abs(s[0, 1] * s[1, 0]) < 1e-12:
        raise Refusal("nothing gets through to the load at this frequency, so that no load is matched", "at")
    gamma = s[0, 0] / (s[0, 0] * s[1, 1] - s[0, 1] * s[1, 0])
    return complex(impedance * (1.0 + gamma) / (1.0 - gamma))


def return_loss_db(reflection: complex) -> float:
    """[dB]"""
    return min(-20.0 * float(np.log10(max(abs(reflection), 1e-300))), LARGEST_LOSS_DB)


def refuse_unmatchable(load: complex, impedance: float) -> None:
    """Refuse a load that takes no power, gives some out, or is matched as it is. [ohm]"""
    if not (np.isfinite(load) and load.real > 0.0):
        raise Refusal(f"a load of {show(load.real, 'ohm')} resistance takes no power, so that nothing matches it; its "
                      f"resistance must be above 0 ohm", "resistance")
    if abs(reflection_of(load, impedance)) < 1e-9:
        raise Refusal("the load is matched as it is; connect it to the line", "resistance")
