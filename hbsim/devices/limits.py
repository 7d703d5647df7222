"""What every device checks: its parameters when it is made, its ratings after a solve."""

from __future__ import annotations

import math

from ..errors import Refusal
from ..quantities import quantities
from .contract import Device, Rating


def check_parameters(device: Device) -> None:
    """Refuse the first parameter outside its range; an optional one may be None.

    Raises
    ------
    Refusal
        Its place is the parameter's name.
    """
    for name, spec in quantities(type(device)).items():
        value = getattr(device, name)
        if value is None:
            continue
        if spec.zero_is_infinite and value == 0.0:
            raise Refusal("a printed 0 stands for infinite here; write math.inf in Python, 'infinite' in a file", name)
        spec.check(value, name)
        if math.isinf(value) and not spec.zero_is_infinite:
            raise Refusal("infinite is not possible here; give a number", name)


def rating(meaning: str, value: float, limit: float | None, unit: str) -> Rating:
    """Hold a value reached against a maximum; without a limit nothing is exceeded."""
    return Rating(meaning, float(value), limit, unit, limit is not None and bool(value > limit))
