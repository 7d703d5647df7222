"""One steady state of a described circuit, its devices at the temperature their own heat gives them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ..describe.description import Description
from ..errors import NotSolved, Refusal
from .continuation import BEYOND, MOST_CURRENT, Effort, steady_state
from .device_state import device_heat
from .prepare import Networks, prepare, source_voltages
from .solution import Solver, SteadyState

_SETTLED = 1e-7  # change of a junction temperature at which it counts as found. [K]
_HOTTEST = 900.0  # beyond this no junction lives, and the model means nothing. [K]


def solve(description: Description, harmonics: int, samples: int | None = None, start: SteadyState | None = None,
          networks: Networks | None = None) -> SteadyState:
    """Solve one circuit at one drive.

    Parameters
    ----------
    harmonics : int
        K; at least 2.
    samples : int or None
        Time samples a period; None takes the default for K.
    start : SteadyState or None
        A solved state of the same circuit near by, to start from.
    networks : Networks or None
        Condensed networks kept from earlier solves.

    Raises
    ------
    NotSolved
        No steady state was found; the text says where the balance fails.
    Refusal
        The circuit cannot be analysed as it stands.
    """
    effort = Effort()
    heated = [name for name, placed in description.devices.items() if placed.part.thermal_resistance > 0]
    ambient = {name: description.devices[name].part.temperature for name in heated}
    form = start.form if start is not None else None
    if not heated:
        return _solve_once(description, harmonics, samples, form, effort, networks)

    def rise(temperatures: np.ndarray) -> tuple[np.ndarray, SteadyState]:
        nonlocal form
        state = _solve_once(_warmed(description, dict(zip(heated, temperatures))), harmonics, samples, form, effort,
                            networks)
        form = state.form
        heat = device_heat(state)
        aim = [ambient[n] + description.devices[n].part.heating * heat[n] for n in heated]
        return np.array(aim) - temperatures, state

    temperatures = np.array([ambient[name] for name in heated])
    error, state = rise(temperatures)
    slope = np.ones(len(heated))  # d(error)/d(-temperature), each junction by itself; 1 where heat does not change
    for _ in range(60):
        if np.abs(error).max() < _SETTLED:
            return state
        # a step too long into the heat may leave the device where it no longer solves; 60 K at a time is ample
        step = np.clip(error / slope, -60.0, 60.0)
        temperatures = temperatures + step
        if temperatures.max() > _HOTTEST:
            break
        before = error
        try:
            error, state = rise(temperatures)
        except Refusal:  # hotter than the device's laws reach
            break
        moved = np.abs(step) > 1e-9
        estimate = np.where(moved, (before - error) / np.where(moved, step, 1.0), slope)
        slope = np.clip(estimate, 0.1, 10.0)
    hottest = heated[int(np.argmax(temperatures))]
    raise NotSolved(f"the junction temperature of '{hottest}' does not settle (last try {temperatures.max():.0f} K): "
                    "its own heat raises the current faster than the heat can leave; lower its supply, raise its "
                    "emitter or base resistance, or give it a lower thermal_resistance", state.form)


def _warmed(description: Description, temperatures: dict[str, float]) -> Description:
    devices = {name: replace(placed, part=placed.part.at(temperatures[name])) if name in temperatures else placed
               for name, placed in description.devices.items()}
    return replace(description, devices=devices)


def _solve_once(description: Description, harmonics: int, samples: int | None, form: np.ndarray | None,
                effort: Effort, networks: Networks | None) -> SteadyState:
    system = prepare(description, harmonics, samples, networks)
    source = source_voltages(description, system)
    parameters = system.parameters()
    if form is not None and form.shape[0] != system.shape[0]:
        form = None  # another set of device nodes: no start
    form = steady_state(system, system.excitation(source), parameters, form, effort)
    largest = float(np.abs(system.work.total).max(initial=0.0))
    if largest > MOST_CURRENT:
        raise NotSolved(BEYOND.format(largest), form)
    solver = Solver(system.harmonics, system.samples, effort.steps, effort.error)
    return SteadyState(description, system, form, source, solver)


def truncation_db(state: SteadyState, networks: Networks | None = None) -> np.ndarray | None:
    """By how much each line at the wanted port changes when harmonics and samples are doubled, (K + 1,). [dB]

    Not a number where nothing comes out, before or after; None where the doubled problem cannot be solved or its data
    does not reach so far.
    """
    try:
        # the junctions keep the temperature they were found at
        finer = _solve_once(state.description, 2 * state.solver.harmonics, 2 * state.solver.samples, state.form,
                            Effort(), networks)
    except (NotSolved, Refusal):
        return None
    changes = [abs(finer.output_dbm(k) - state.output_dbm(k)) for k in range(state.solver.harmonics + 1)]
    return np.array([change if math.isfinite(change) else math.nan for change in changes])
