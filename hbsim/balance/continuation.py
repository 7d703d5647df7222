"""From any start to a balanced state: DC first, then the drive; detours only where the direct way fails.

The detours at DC, in this order: an added conductance at the device nodes that is taken away again, sources raised in
steps, a pseudo-transient (the added conductance holds each step near the one before). With the drive: the state with
half the harmonics, where there are many; the drive raised for as long as that goes quickly; a pseudo-transient at full
drive, which does not meet the folds that lie in the drive's way; and the curve of solutions followed past those folds
(arc.py). Every state handed out is balanced with no added conductance and full sources.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

import numpy as np

from ..errors import NotSolved
from .arc import Arc
from .fewer import FEWEST, with_fewer_harmonics
from .newton import BALANCED, SINGULAR, SPENT, STALLED
from .rounding import rounding_alone
from .spectrum import resized
from .system import System

MOST_CURRENT = 1e5  # a device current beyond belongs to no circuit. [A]
_ENOUGH = 40  # Newton steps of one run from a start that is meant to be good
_QUICK, _PATIENT, _POINTS = 150, 800, 2400  # Newton steps, and points of a curve, after which a detour is left
_LARGE = 500  # unknowns from which on a step is so dear that fewer are spent
BEYOND = ("the only balance found has device currents of {:.0e} A, beyond any device: a supply without enough "
          "resistance stands across a junction; add the resistance that limits its current")


class Stop(Enum):
    """Why the solver stopped; the value is the sentence people see."""

    BALANCED = "currents balance at every node and harmonic"
    STALLED = "the current error stopped falling"
    SPENT = "the steps allowed were used up"
    SINGULAR = "the equations have no single solution here (a fold, or a node that nothing holds)"


STOPS = {BALANCED: Stop.BALANCED, STALLED: Stop.STALLED, SPENT: Stop.SPENT, SINGULAR: Stop.SINGULAR}


@dataclass
class Effort:
    """Newton steps taken so far, and the current error of the last state relative to what cancels there."""

    steps: int = 0
    error: float = np.inf
    stop: Stop = Stop.STALLED

    def newton(self, system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray, most_steps: int = 40,
               h: float = 0.0, x_ref: np.ndarray | None = None) -> bool:
        """One Newton run that is counted here; True when x is balanced."""
        stop, steps, self.error = system.newton(x, c, parameters, most_steps, h, x_ref)
        self.steps += steps
        if stop != BALANCED and h == 0.0 and rounding_alone(system, x, c, parameters):
            stop = BALANCED
        self.stop = STOPS[stop]
        return stop == BALANCED


def operating_point(system: System, c: np.ndarray, parameters: np.ndarray, effort: Effort) -> np.ndarray:
    """Node voltages at DC, shape (n_device_node,). [V]

    Raises
    ------
    NotSolved
        Every way failed; carries the last iterate.
    """
    at_rest = system.at_rest()
    c0 = np.ascontiguousarray(c[:1])
    x = np.zeros(at_rest.shape)
    for way in (_direct, _less_conductance, _raised_sources, _settled):
        x[:] = 0.0
        if way(at_rest, x, c0, parameters, effort):
            return x[:, 0]
    raise NotSolved(f"no DC operating point: {describe_error(at_rest, x, c0, parameters, effort)}. Likely a bias that "
                    "cannot hold: a supply across a junction, or a current with nowhere to go", x)


def steady_state(system: System, c: np.ndarray, parameters: np.ndarray, start: np.ndarray | None,
                 effort: Effort, detours: bool = True) -> np.ndarray:
    """Real form of the device node voltages in the steady state, (n, 2 K + 1). [V]

    Parameters
    ----------
    c : ndarray, complex, (K + 1, n)
        System.excitation of the wanted sources.
    start : ndarray or None
        A state near by, real form with any number of harmonics; None starts at DC.
    detours : bool
        Whether to go on from DC where `start` does not lead to balance.

    Raises
    ------
    NotSolved
        Every way failed; carries the last iterate.
    """
    if start is not None:
        x = _from_near_by(system, start, c, parameters, effort)
        if x is not None:
            return x
        if not detours:
            x = resized(start, system.harmonics)
            raise NotSolved(describe_error(system, x, c, parameters, effort), x)
    at_dc = np.zeros(system.shape)
    at_dc[:, 0] = operating_point(system, c, parameters, effort)
    x = at_dc.copy()
    if effort.newton(system, x, c, parameters, _ENOUGH):
        return x
    if system.harmonics >= 2 * FEWEST:
        x = _from_fewer_harmonics(system, c, parameters, effort)
        if x is not None:
            return x
        x = at_dc.copy()
    tried = _driven(system, x, at_dc, c, parameters, effort)
    if not tried:
        return x
    raise NotSolved(f"{describe_error(system, x, c, parameters, effort)}. {tried}. Likely (a) {system.harmonics} "
                    "harmonics are too few for so strong a drive; (b) a state that no small step leads to: solve at a "
                    "weaker drive and sweep up to it", x)


def _at_most(system: System, count: int) -> int:
    """Steps or points that a detour is given: fewer where each is dear."""
    size = system.shape[0] * system.shape[1]
    return count if size <= _LARGE else max(30, int(count * (_LARGE / size) ** 2))


def _from_near_by(system: System, start: np.ndarray, c: np.ndarray, parameters: np.ndarray,
                  effort: Effort) -> np.ndarray | None:
    """From a state near by, real form with any number of harmonics; None where nothing helps.

    More harmonics make sharper edges of the same waveform, and these may be a long way for Newton; held near where it
    was, the state follows."""
    for way in (_direct, _relaxed, _settled):
        x = resized(start, system.harmonics)
        if way(system, x, c, parameters, effort):
            return x
    return None


def _from_fewer_harmonics(system: System, c: np.ndarray, parameters: np.ndarray, effort: Effort) -> np.ndarray | None:
    """From the state with half the harmonics, found from cold in the same way; None where that fails."""
    fewer = with_fewer_harmonics(system, system.harmonics // 2)
    try:
        start = steady_state(fewer, np.ascontiguousarray(c[:fewer.harmonics + 1]), parameters, None, effort)
    except NotSolved:
        return None
    return _from_near_by(system, start, c, parameters, effort)


def _driven(system: System, x: np.ndarray, at_dc: np.ndarray, c: np.ndarray, parameters: np.ndarray,
            effort: Effort) -> str:
    """From the operating point to the full drive by detours: "" with the state in x, or what was tried, in words."""
    rest = np.zeros_like(c)
    rest[0] = c[0]
    raised = at_dc.copy()
    share = _follow(system, raised, lambda share: rest + share * (c - rest), parameters, effort, 1e-3, False, _QUICK)
    x[:] = raised
    if share == 1.0:
        return ""
    settled = at_dc.copy()
    if _settled(system, settled, c, parameters, effort):
        x[:] = settled
        return ""
    if share == 0.0:
        return "Not even a weak drive could be balanced"
    arc = Arc(system, rest, c, parameters)
    met = arc.trace(raised, math.log(share), 0.0, np.zeros(1), _at_most(system, _POINTS))
    effort.steps += arc.steps
    if met.crossings:
        x[:] = met.crossings[-1].form
        return "" if effort.newton(system, x, c, parameters, _ENOUGH) else "The end of the curve of states is not one"
    return (f"Raised in steps, the drive got to {20 * math.log10(share):.1f} dB of its full value; from there the "
            f"curve of states turned back {len(met.folds)} times, and {met.reason}")


def _direct(system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray, effort: Effort) -> bool:
    return effort.newton(system, x, c, parameters, most_steps=_ENOUGH)


def _less_conductance(system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray, effort: Effort) -> bool:
    nowhere = np.zeros_like(x)
    h, shrink, good = 1.0, 0.1, None
    while h > 1e-14:
        trial = x.copy()
        if effort.newton(system, trial, c, parameters, 60, h, nowhere):
            x[:], good = trial, h
            shrink = max(shrink * shrink, 1e-3) if shrink < 0.5 else shrink * 0.8
            h *= shrink
        elif good is None:
            return False
        else:
            shrink = np.sqrt(shrink)
            if shrink > 0.95:
                return False
            h = good * shrink
    return effort.newton(system, x, c, parameters, 60)


def _raised_sources(system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray, effort: Effort) -> bool:
    return _follow(system, x, lambda share: share * c, parameters, effort, 0.02, True, _PATIENT) == 1.0


def _follow(system: System, x: np.ndarray, sources, parameters: np.ndarray, effort: Effort, first: float,
            linear: bool, most_steps: int) -> float:
    """Raise the sources to their full value in steps that shrink on failure and grow on success.

    `linear` steps by addition, else by multiplication (the drive spans decades). Returns the share reached, with its
    state in x."""
    done, stride, before = 0.0, first if linear else 3.0, None
    last = effort.steps + most_steps
    while done < 1.0 and effort.steps < last:
        aim = min(1.0, (done + stride if linear else (done * stride if done else first)))
        trial = x.copy()
        if before is not None and aim > done:
            trial += (x - before[1]) * min((aim - done) / (done - before[0]), 3.0)
        ok = effort.newton(system, trial, sources(aim), parameters, most_steps=25)
        if not ok and before is not None:
            trial = x.copy()
            ok = effort.newton(system, trial, sources(aim), parameters, most_steps=25)
        if ok:
            before = (done, x.copy()) if done > 0 or linear else None
            x[:], done = trial, aim
            stride = stride * 1.7 if linear else min(stride**1.5, 10.0)
        else:
            stride = stride * 0.4 if linear else stride**0.4
            if (linear and stride < 1e-5) or (not linear and (stride < 1.01 or done == 0.0)):
                break
    return done


def _settled(system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray, effort: Effort) -> bool:
    """Pseudo-transient: implicit time steps with one capacitance at every device node, growing without bound."""
    h, last = 0.05, effort.steps + _at_most(system, _PATIENT)
    while 1e-9 < h < 1e3 and effort.steps < last:
        trial = x.copy()
        if effort.newton(system, trial, c, parameters, 20, h, x.copy()):
            change = np.abs(trial - x).max()
            x[:] = trial
            h *= 0.4 if change < 0.3 else 0.8
            if change < 1e-3 and effort.newton(system, trial, c, parameters, 30):
                x[:] = trial
                return True
        else:
            h *= 4.0
    return effort.newton(system, x, c, parameters, 60)


def _relaxed(system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray, effort: Effort) -> bool:
    """The same in a hurry: one Newton step for each step in time, for a start that is nearly there. x is left alone
    where it fails."""
    h, trial = 0.05, x.copy()
    while h > 1e-9:
        effort.newton(system, trial, c, parameters, 1, h, trial.copy())
        if effort.stop not in (Stop.BALANCED, Stop.SPENT):
            return False
        h *= 0.7
    if not effort.newton(system, trial, c, parameters, 40):
        return False
    x[:] = trial
    return True


def describe_error(system: System, x: np.ndarray, c: np.ndarray, parameters: np.ndarray, effort: Effort) -> str:
    """Where the balance fails most, in words."""
    system.newton(x.copy(), c, parameters, most_steps=0)
    residual = system.work.residual
    node, row = np.unravel_index(np.argmax(np.abs(residual)), residual.shape)
    return (f"largest current error {abs(residual[node, row]):.1e} A at node "
            f"'{system.network.device_nodes[node]}', harmonic {(row + 1) // 2}, after {effort.steps} steps; "
            f"{effort.stop.value}")


