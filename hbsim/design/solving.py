"""What the helpers share: a bracketed root with a refusal that says what can be reached, and rounding to a cut."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from ..errors import Refusal
from ..linear.network import Element
from ..linear.part import said_by
from ..quantities import show

CUT = 1e-5  # what a knife, a mill or a good etch can tell apart. [m]


def rounded(value: float, step: float) -> float:
    """`value` on the nearest multiple of `step`; a step of 0 leaves it as it is."""
    if step == 0.0:
        return value
    return float(f"{round(value / step) * step:.12g}")  # 1423 * 1e-5 is not the number that "14.23 mm" is


def reached(function: Callable[[float], float], wanted: float, low: float, high: float, what: str, unit: str,
            place: str = "") -> float:
    """The argument between `low` and `high`, both above zero, at which a monotonous `function` is `wanted`.

    Raises
    ------
    Refusal
        `wanted` is outside what the function takes on; says `what` it is and the range, in `unit`.
    """
    from scipy.optimize import brentq
    ends = sorted((function(low), function(high)))
    if not ends[0] <= wanted <= ends[1]:
        raise Refusal(f"{what} of {show(wanted, unit)} cannot be reached; it can be {show(ends[0], unit)} to "
                      f"{show(ends[1], unit)}", place)
    root = brentq(lambda x: function(math.exp(x)) - wanted, math.log(low), math.log(high), xtol=1e-14, rtol=1e-14)
    return math.exp(root)


def warnings_of(elements: Iterable[Element], frequency: float) -> tuple[str, ...]:
    """What the parts say of their formulas' ranges up to `frequency` [Hz]."""
    return tuple(said_by(((element.name, element.part) for element in elements), frequency))
