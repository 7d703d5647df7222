"""Slopes of a circuit by brute force: full solves at neighbouring values, each polished to rounding.

Independent of the gradients under test: nothing is taken from them but what a figure's value is. Central differences
at two steps give, extrapolated to a step of zero (L. F. Richardson, Phil. Trans. A 210 (1911) 307-357), the slope and,
from what the extrapolation changed, how far it can be trusted.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from hbsim.balance.device_state import device_heat
from hbsim.balance.prepare import Networks, prepare, source_voltages
from hbsim.balance.solution import SteadyState
from hbsim.errors import Refusal

PLACES = (-2.0, -1.0, 1.0, 2.0)
ONE_SIDED = (0.0, 1.0, 2.0, 3.0, 4.0)


def polished(state: SteadyState, description, networks: Networks) -> SteadyState:
    """The state of a neighbouring circuit, junctions at the temperatures that it names: Newton to the last digit."""
    system = prepare(description, state.solver.harmonics, state.solver.samples, networks)
    source = source_voltages(description, system)
    c, parameters, form = system.excitation(source), system.parameters(), state.form.copy()
    before = np.inf
    for _ in range(12):
        error, residual = system.linearised(form, c, parameters)
        step = system.solved(residual)
        size = float(np.abs(step).max())
        if size >= before and size < 1e-9:  # only rounding is left
            break
        form, before = form - step, size
    return replace(state, description=description, system=system, form=form, source=source)


def solved(state: SteadyState, ambient, networks: Networks) -> SteadyState:
    """The same with every junction at the temperature that its heat gives it, from surroundings as in `ambient`."""
    heated = {name for name, placed in ambient.devices.items() if placed.part.thermal_resistance > 0}
    if not heated:
        return polished(state, ambient, networks)
    temperatures = {name: state.description.devices[name].part.temperature for name in heated}
    for _ in range(40):
        devices = {name: replace(placed, part=placed.part.at(temperatures[name])) if name in heated else placed
                   for name, placed in ambient.devices.items()}
        state = polished(state, replace(ambient, devices=devices), networks)
        heat = device_heat(state)
        aims = {name: ambient.devices[name].part.temperature + ambient.devices[name].part.heating * heat[name]
                for name in heated}
        worst = max(abs(aims[name] - temperatures[name]) for name in heated)
        temperatures = aims
        if worst < 1e-11:
            return state
    raise AssertionError("the junction temperatures do not settle")


def slopes(state: SteadyState, ambient, address: str, figures: dict, step: float, networks: Networks) -> dict:
    """Figure -> (slope, what the last extrapolation changed), by Richardson's method at one step."""
    value = ambient.look_up(address)[1]

    def values(places):
        found = []
        for place in places:
            there = solved(state, ambient.with_values({address: value + place * step}), networks)
            found.append([figure.value(there, there.description) for figure in figures.values()])
        return np.array(found)

    try:
        y = values(PLACES)
    except Refusal:  # a limit: from one side
        y = values(ONE_SIDED)
        best = (-25 * y[0] + 48 * y[1] - 36 * y[2] + 16 * y[3] - 3 * y[4]) / (12 * step)
        coarse = (-11 * y[0] + 18 * y[1] - 9 * y[2] + 2 * y[3]) / (6 * step)
    else:
        coarse, far = (y[2] - y[1]) / (2 * step), (y[3] - y[0]) / (4 * step)
        best = coarse + (coarse - far) / 3
    return {name: (float(b), float(abs(b - c))) for name, b, c in zip(figures, best, coarse)}
