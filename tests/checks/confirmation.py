"""Is an answer right? Residual, power balance, and the same state again with twice the harmonics, warm and from cold.

A state whose output at 2 f0 still moves with twice the harmonics and samples was asked for with too few: they are
doubled until two answers in a row agree. Nothing here knows how the solver works.
"""

import math
from dataclasses import dataclass

import numpy as np

import hbsim
from hbsim.balance.equations import residual
from hbsim.balance.newton import TOLERANCE
from hbsim.balance.rounding import ROUNDINGS, rounding_alone, sizes

AGREE_DB = 0.05  # of the output at 2 f0
FAINT_DBM = -60.0  # below it nothing is asked of that output
OPEN = 1e-9  # of the given power
MOST_HARMONICS = 128
MOST_FROM_COLD = 48  # with more, a start from cold can cost a minute

CONFIRMED, SEVERAL, NEARLY, UNSETTLED, UNSOLVED, WRONG = (
    "confirmed", "several states", "confirmed with half as many more", "not settled", "unsolved", "wrong")


@dataclass
class Verdict:
    """What became of one circuit: kind, the sentence that says more, harmonics and Newton steps of the first answer,
    harmonics at which it was confirmed."""

    kind: str
    said: str = ""
    first_harmonics: int = 0
    steps: int = 0
    harmonics: int = 0


def fault(state: hbsim.SteadyState) -> str:
    """What is wrong with an answer by itself; "" when nothing is.

    Rounding leaves at each node a current of ROUNDINGS times what comes together there, however well it is balanced,
    and so a power of that times the node's voltage, where hardly any power is given.
    """
    system, form = state.system, state.form
    c, parameters = system.excitation(state.source), system.parameters()
    error, _ = residual(form, c, parameters, 0.0, form, system.net, system.devices, system.transform, system.work)
    left = float((np.abs(form).sum(axis=1) * ROUNDINGS * sizes(system, form, c)).sum())
    if error > TOLERANCE and not rounding_alone(system, form, c, parameters):
        return f"the residual is {error:.1e} of what cancels"
    flows = state.power_balance
    if abs(flows["error"]) > OPEN * abs(flows["given"]) + left:
        return f"power balance open by {flows['error']:.1e} W of {flows['given']:.1e} W; rounding leaves {left:.1e} W"
    return ""


def moved_db(one: hbsim.SteadyState, other: hbsim.SteadyState) -> float:
    """By how much the output at 2 f0 differs, where it is loud enough to ask. [dB]"""
    levels = one.output_dbm(2), other.output_dbm(2)
    return abs(levels[0] - levels[1]) if max(levels) > FAINT_DBM else 0.0


def _as_chosen(circuit: hbsim.Circuit) -> Verdict:
    """Solve with the harmonics that the solver chooses. It has about doubled them before it gives an answer: that the
    output stayed is asked of it, or that it says it did not. Then the same number of harmonics from cold."""
    state = circuit.solve()
    known, harmonics = state.truncation, state.solver.harmonics
    verdict = Verdict(CONFIRMED, "", harmonics, state.solver.iterations, harmonics)
    wrong, moved = fault(state), math.inf if known is None else float(np.nan_to_num(known.line_db[2]))
    if wrong:
        verdict.kind, verdict.said = WRONG, wrong
    elif state.output_dbm(2) > FAINT_DBM and moved > AGREE_DB:
        verdict.kind, verdict.said = UNSETTLED, f"and says so: 2 f0 moves by {moved:.2f} dB up to {harmonics} harmonics"
        if known is not None and known.met:
            verdict.kind, verdict.said = WRONG, f"2 f0 moves by {moved:.2f} dB, which is taken for settled"
    elif harmonics <= MOST_FROM_COLD:
        cold = circuit.solve(harmonics=harmonics)
        apart, wrong = moved_db(cold, state), fault(cold)
        if wrong:
            verdict.kind, verdict.said = WRONG, f"{wrong} from cold"
        elif apart > AGREE_DB:
            verdict.kind, verdict.said = SEVERAL, f"2 f0 differs by {apart:.2f} dB from cold"
    return verdict


def first_answer(circuit: hbsim.Circuit, harmonics: int, most: int) -> tuple[hbsim.SteadyState, str]:
    """The first that can be solved of ever more harmonics, from cold; and why not with fewer."""
    reasons = []
    while True:
        try:
            return circuit.solve(harmonics=harmonics), "; ".join(reasons)
        except hbsim.NotSolved as failure:
            if 2 * harmonics > most // 2:
                raise
            reasons.append(f"with {harmonics} harmonics: {failure}")
            harmonics *= 2


def settled(circuit: hbsim.Circuit, state: hbsim.SteadyState, most: int) -> tuple[hbsim.SteadyState, float, str]:
    """Harmonics doubled until the output stays: the last state, by how much it moved [dB], and the first fault.

    Raises
    ------
    NotSolved
        With twice the harmonics no state was found.
    """
    while True:
        finer = circuit.solve(harmonics=2 * state.solver.harmonics, samples=2 * state.solver.samples, start=state)
        wrong = fault(finer)
        if wrong:
            return finer, math.inf, f"{wrong} with {finer.solver.harmonics} harmonics"
        moved = moved_db(state, finer)
        if moved <= AGREE_DB or 2 * finer.solver.harmonics > most:
            return finer, moved, ""
        state = finer


def examined(circuit: hbsim.Circuit, harmonics: int | None = 8, most: int = MOST_HARMONICS) -> Verdict:
    """Solve from cold and confirm; without `harmonics`, as people call it, see `_as_chosen`. `most`: harmonics up to
    which a given number is doubled.

    Raises
    ------
    Refusal
        The circuit cannot be analysed as it stands.
    """
    try:
        if harmonics is None:
            return _as_chosen(circuit)
        state, reason = first_answer(circuit, harmonics, most)
    except hbsim.NotSolved as failure:
        return Verdict(UNSOLVED, str(failure))
    verdict = Verdict(CONFIRMED, reason, state.solver.harmonics, state.solver.iterations)
    wrong = fault(state)
    if wrong:
        verdict.kind, verdict.said = WRONG, wrong
        return verdict
    try:
        last, moved, wrong = settled(circuit, state, most)
        verdict.harmonics = last.solver.harmonics // 2
        if wrong:
            verdict.kind, verdict.said = WRONG, wrong
        elif moved > AGREE_DB:
            verdict.kind, verdict.said = UNSETTLED, f"2 f0 moves by {moved:.2f} dB up to {most} harmonics"
        else:
            _from_cold(circuit, last, verdict, most)
    except hbsim.NotSolved as failure:
        verdict.kind, verdict.said = UNSOLVED, f"while confirming: {failure}"
        _with_half_as_many_more(circuit, state, verdict)
    return verdict


def _with_half_as_many_more(circuit: hbsim.Circuit, state: hbsim.SteadyState, verdict: Verdict) -> None:
    """Where twice the harmonics cannot be solved: the output stays with half as many more, or the answer stands alone.
    """
    while state.solver.harmonics < MOST_HARMONICS:
        try:
            finer = circuit.solve(harmonics=3 * state.solver.harmonics // 2, start=state)
        except hbsim.NotSolved:
            return
        if not fault(finer) and moved_db(state, finer) <= AGREE_DB:
            verdict.kind, verdict.harmonics = NEARLY, state.solver.harmonics
            return
        state = finer


def _from_cold(circuit: hbsim.Circuit, last: hbsim.SteadyState, verdict: Verdict, most: int) -> None:
    """The same from cold; where that gives another output, it must be a state of its own right."""
    cold = circuit.solve(harmonics=last.solver.harmonics, samples=last.solver.samples)
    apart, wrong = moved_db(cold, last), fault(cold)
    if not wrong and apart > AGREE_DB:
        _, moved, wrong = settled(circuit, cold, most)
        verdict.kind, verdict.said = SEVERAL, f"2 f0 differs by {apart:.2f} dB from cold"
        if moved > AGREE_DB:
            verdict.kind = UNSETTLED
            verdict.said += f", where it moves by {moved:.2f} dB up to {most} harmonics"
    if wrong:
        verdict.kind, verdict.said = WRONG, f"{wrong} from cold"
