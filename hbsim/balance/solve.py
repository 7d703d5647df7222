"""One steady state of a described circuit, its devices at the temperature their own heat gives them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ..describe.description import Description
from ..errors import NotSolved, Refusal
from .accuracy import STEPS, Accuracy, Truncation
from .blas import one_thread
from .continuation import BEYOND, MOST_CURRENT, Effort, steady_state
from .device_state import device_heat
from .prepare import Systems, prepare, source_voltages
from .solution import Solver, SteadyState
from .system import System

_SETTLED = 1e-7  # change of a junction temperature at which it counts as found. [K]
WORTH_DETOURS = 32  # with more harmonics than these, detours to a finer state cost seconds
COARSEST = 4  # numbers of harmonics tried for a first state
_HOTTEST = 900.0  # beyond this no junction lives, and the model means nothing. [K]


@one_thread()
def solve(description: Description, harmonics: int | None = None, samples: int | None = None,
          start: SteadyState | None = None,
          accuracy: Accuracy = Accuracy(), systems: Systems | None = None) -> SteadyState:
    """Solve one circuit at one drive.

    Parameters
    ----------
    harmonics : int or None
        K; at least 2. None: raised until the lines stay within `accuracy`.
    samples : int or None
        Time samples a period, for a K that is given; None takes the default for K.
    start : SteadyState or None
        A solved state of the same circuit near by, to start from.
    accuracy : Accuracy
        What the choice of K is for, and which lines are shown.
    systems : Systems or None
        Kept by one who solves a circuit at many drives and supplies, one after the other.

    Raises
    ------
    NotSolved
        No steady state was found; the text says where the balance fails.
    Refusal
        The circuit cannot be analysed as it stands.
    """
    effort, prepared = Effort(), prepare if systems is None else systems.get
    if harmonics is not None:
        return _solve_heated(description, harmonics, samples, start, effort, accuracy, prepared)
    if samples is not None:
        raise Refusal("samples are chosen together with the harmonics; give both or neither", "samples")
    levels = accuracy.levels(description)
    if start is not None:  # what the state near by needed will be needed here
        begin = max(0, sum(level < start.solver.harmonics for level in levels) - STEPS)
        levels = levels[min(begin, len(levels) - 1 - STEPS):]
    found = [_first_found(description, levels, start, effort, accuracy, prepared)]
    for level in (level for level in levels if level > found[-1].solver.harmonics):
        try:
            fine = _solve_heated(description, level, None, found[-1], effort, accuracy, prepared,
                                 detours=level <= WORTH_DETOURS)
        except (NotSolved, Refusal):  # the data of a part may end below; what is left out is then not known
            break
        truncation = measured(found[-STEPS:], fine)
        found.append(replace(fine, known_truncation=truncation))
        if len(found) > STEPS and truncation.settled:
            break
    return found[-1]


def _first_found(description: Description, levels: Sequence[int], start: SteadyState | None, effort: Effort,
                 accuracy: Accuracy, prepared: Callable[..., System]) -> SteadyState:
    """The state with the fewest harmonics that has one: with very few a strongly driven circuit may have none."""
    failure = None
    for level in levels[:COARSEST]:
        try:
            return _solve_heated(description, level, None, start, effort, accuracy, prepared)
        except NotSolved as found:
            failure = failure or found
        except Refusal:
            if failure is None:
                raise
            break
    raise failure


def measured(coarse: Sequence[SteadyState], fine: SteadyState) -> Truncation:
    """By how much the lines move at most from solutions to another one with more harmonics."""
    accuracy, lines = fine.accuracy, min(state.lines for state in coarse)
    levels = [[-np.inf, *(state.output_dbm(k) for k in range(1, lines + 1))] for state in (*coarse, fine)]
    changes = accuracy.changes(np.array(levels[:-1]), np.array(levels[-1]))
    wanted = fine.description.wanted_harmonic
    return Truncation(changes, coarse[0].solver.harmonics, fine.solver.harmonics,
                      bool(accuracy.excess(changes, wanted) <= 1.0), bool(accuracy.settled(changes, wanted, fine.form)))


def truncation_of(state: SteadyState) -> Truncation | None:
    """What twice as many harmonics and samples change; None where they have no solution or a part's data ends."""
    try:
        # the junctions keep the temperature they were found at
        fine = _solve_once(state.description, 2 * state.solver.harmonics, 2 * state.solver.samples, state.form,
                           Effort(), state.accuracy)
    except (NotSolved, Refusal):
        return None
    return measured([state], fine)


def _solve_heated(description: Description, harmonics: int, samples: int | None, start: SteadyState | None,
                  effort: Effort, accuracy: Accuracy, prepared: Callable[..., System],
                  detours: bool = True) -> SteadyState:
    """One steady state with so many harmonics, every junction at the temperature that its own heat gives it."""
    heated = [name for name, placed in description.devices.items() if placed.part.thermal_resistance > 0]
    ambient = {name: description.devices[name].part.temperature for name in heated}
    form = start.form if start is not None else None
    if not heated:
        return _solve_once(description, harmonics, samples, form, effort, accuracy, prepared, detours)

    def rise(temperatures: np.ndarray) -> tuple[np.ndarray, SteadyState]:
        nonlocal form
        state = _solve_once(_warmed(description, dict(zip(heated, temperatures))), harmonics, samples, form, effort,
                            accuracy, prepared, detours)
        form = state.form
        heat = device_heat(state)
        aim = [ambient[n] + description.devices[n].part.heating * heat[n] for n in heated]
        return np.array(aim) - temperatures, state

    temperatures = np.array([ambient[name] for name in heated])
    if start is not None:
        temperatures = np.array([start.description.devices[name].part.temperature for name in heated])
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
                effort: Effort, accuracy: Accuracy, prepared: Callable[..., System] = prepare,
                detours: bool = True) -> SteadyState:
    system = prepared(description, harmonics, samples)
    source = source_voltages(description, system)
    parameters = system.parameters()
    if form is not None and form.shape[0] != system.shape[0]:
        form = None  # another set of device nodes: no start
    form = steady_state(system, system.excitation(source), parameters, form, effort, detours)
    largest = float(np.abs(system.work.total).max(initial=0.0))
    if largest > MOST_CURRENT:
        raise NotSolved(BEYOND.format(largest), form)
    solver = Solver(system.harmonics, system.samples, effort.steps, effort.error)
    return SteadyState(description, system, form, source, solver, accuracy)
