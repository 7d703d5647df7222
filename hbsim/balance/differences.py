"""Differences of laws along one quantity of a description: formulas of fourth order, and the slopes of the laws.

How exact they are and why the steps are what they are: influence.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from typing import NamedTuple, TypeVar

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..linear.elimination import REFERENCE
from ..linear.microstrip.line import LIGHT
from ..linear.network import GROUND, Element
from ..linear.part import Relation
from ..linear.sensitivity import FormChanged, law_slope

_STEP = 2.0**-13
_FROM_ZERO = 1e-6  # from a value of zero: of what is usual of the kind at the highest frequency
_ONE_SIDED = ((0.0, -25 / 12), (1.0, 4.0), (2.0, -3.0), (3.0, 4 / 3), (4.0, -1 / 4))
_STENCILS = (((-2.0, 1 / 12), (-1.0, -2 / 3), (1.0, 2 / 3), (2.0, -1 / 12)),  # (place in steps, weight), fourth order
             _ONE_SIDED, tuple((-place, -weight) for place, weight in _ONE_SIDED))
_NOT_FROM_ZERO = 0.1  # of a part that is not there at a value of zero: how far its law may be from proportion
_OTHERWISE = "the circuit is put together otherwise just beside this value: a part or a node comes or goes"
_T = TypeVar("_T")

Points = tuple[tuple[float, Description], ...]


class Otherwise(Exception):
    """A neighbouring circuit has other parts or nodes."""


class Formula(NamedTuple):
    """A difference formula: places in steps with their weights, and the step in the unit of the quantity."""

    stencil: tuple[tuple[float, float], ...]
    step: float

    def points(self, description: Description, address: str) -> Points:
        """Weights and circuits: the sum of weight times f(circuit) is the slope of any f. A place of zero is
        `description` itself."""
        value = description.look_up(address)[1]
        return tuple((weight / self.step,
                      description.with_values({address: value + place * self.step}) if place else description)
                     for place, weight in self.stencil)


class Circuit(NamedTuple):
    """Elements of a neighbouring circuit, with its weight, at angular frequencies [rad/s]."""

    weight: float
    elements: Mapping[str, Element]
    omega: np.ndarray


def slope_of(points: Sequence[tuple[float, Description]], f: Callable[[Description], float]) -> float:
    """Slope of any f(circuit) along the points of a difference; zero to the last digit where nothing moves."""
    first = f(points[0][1])
    return sum(weight * (f(description) - first) for weight, description in points)


def differenced(description: Description, address: str, highest: float, take: Callable[[Formula, Points], _T]) -> _T:
    """What `take` makes of the first difference formula that can be taken at the value of a quantity.

    Parameters
    ----------
    highest : float
        Highest angular frequency that counts. [rad/s]
    take : function
        May raise Otherwise, FormChanged or Refusal where the formula does not serve.

    Raises
    ------
    Refusal
        The quantity is unknown, is not given or infinite in this circuit, or has no slope at its value.
    """
    spec, value = description.look_up(address)
    if value is None:
        raise Refusal("is not given in this circuit; give it a value first", address)
    if not math.isfinite(value):
        raise Refusal("is infinite in this circuit, where nothing has a slope; give it a finite value first", address)
    step = _STEP * abs(value) or step_from_zero(spec.unit, highest)
    if spec.unit == "dBm":
        step = _STEP
    reasons = []
    for stencil in _STENCILS:
        try:
            formula = Formula(stencil, step)
            return take(formula, formula.points(description, address))
        except (FormChanged, Otherwise):
            reasons.insert(0, _OTHERWISE)
        except Refusal as refusal:
            reasons.append(str(refusal))
    raise Refusal(f"has no slope at {value:g} {spec.unit}: {reasons[0]}; give it another value first", address)


def step_from_zero(unit: str, highest: float) -> float:
    """Step of a difference at a value of zero, in `unit`; `highest` as in `differenced`."""
    return _FROM_ZERO * _usual(unit, highest)


def _usual(unit: str, omega: float) -> float:
    """A value that is neither large nor small at a frequency [rad/s]. A law is written as an admittance up to 1 S; a
    millionth of REFERENCE in series with that (a resistance, an inductance) bends nothing. Of a thermal resistance it
    is more than that of any part: a step must heat by more than the temperature is settled to."""
    return {"ohm": REFERENCE, "H": REFERENCE / omega, "F": 1.0 / (REFERENCE * omega), "s": 1.0 / omega,
            "m": LIGHT / omega, "Hz": omega, "A": 1e-10, "W": 1e-3, "K/W": 1e4}.get(unit, 1.0)


def moved_laws(circuits: Sequence[Circuit], elements: Mapping[str, Element], relations: Mapping[str, Relation],
               omega: np.ndarray, known: Set[str]) -> Iterator[tuple[Element, Relation]]:
    """The laws that move, with their slopes.

    Parameters
    ----------
    circuits : sequence of Circuit
        Of the points of a difference, in their order.
    elements, relations, omega : of the circuit as it stands
    known : set of str
        Its nodes: a part that a value of zero leaves out may stand between these.

    Raises
    ------
    Otherwise, FormChanged
        No difference of these circuits is a slope.
    """
    for name in dict.fromkeys(name for circuit in reversed(circuits) for name in circuit.elements):
        if name not in elements:
            yield _new_part(name, circuits, known)
            continue
        base = elements[name]
        laws, moves = [], False
        for circuit in reversed(circuits):
            if name not in circuit.elements or circuit.elements[name].nodes != base.nodes:
                raise Otherwise
            part = circuit.elements[name].part
            same = circuit.omega[-1] == omega[-1] and (part is base.part or part == base.part)
            moves = moves or not same
            laws.append((circuit.weight, relations[name] if same else part.relation(circuit.omega)))
        if moves:
            yield base, law_slope(laws, relations[name])


def _new_part(name: str, circuits: Sequence[Circuit], known: Set[str]) -> tuple[Element, Relation]:
    """A part that a value of zero leaves out (a capacitance), if its admittance grows from none; with its slope."""
    found = [(weight, elements[name], omega) for weight, elements, omega in circuits if name in elements]
    laws = [(weight, element.part.relation(omega)) for weight, element, omega in found]
    element = found[0][1]
    if len(laws) != len(_ONE_SIDED) - 1 or any(law.b is not None for _, law in laws) \
            or not (known | {GROUND}).issuperset(element.nodes):
        raise Otherwise
    near, far = laws[0][1].a, laws[1][1].a
    if np.abs(far - 2.0 * near).max() > _NOT_FROM_ZERO * np.abs(near).max():
        raise Otherwise
    return element, law_slope(laws, Relation(np.zeros_like(near)))
