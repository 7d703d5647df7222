"""Page of text of `hbsim budget`: who gives and takes, the way of the wanted harmonic, groups."""

from __future__ import annotations

import math

import numpy as np

from ..quantities import dbm, show
from ..studies.budget import DEVICE, GENERATOR, JUNCTION, SUPPLY, Budget, Group
from ..studies.budget_figures import folded, label, quiet_junctions
from ..studies.prediction import warnings
from ..studies.signal_path import Step
from .style import harmonic_name
from .text import listed, table, wrapped

_MOST_ROWS = 14  # that take; --csv and --json hold all
_NOTHING = 1e-9  # of all that is given: told as "-"
_JOINS = 0.01  # of what the origin gives: another device that gives less is not named
_SMALL_DB = 0.01  # steps that change less are told of together


def budget_page(budget: Budget) -> str:
    """The readable page."""
    description = budget.state.description
    lines = [*wrapped(description.title),
             f"Power budget with {show(description.drive.power_dbm, 'dBm')} at "
             f"{show(description.drive.frequency, 'Hz', 7)} into port {description.drive.port}", "", *_table(budget)]
    lines += ["", *_path_lines(budget)]
    for group in budget.groups:
        lines += ["", *wrapped(group_sentence(group, description.wanted_harmonic))]
    lines += listed("What this rests on", _notes(budget))
    return "\n".join([*lines, *listed("Warnings", warnings(budget.state))])


def _table(budget: Budget) -> list[str]:
    """Who gives (a minus) and who takes, at DC and each of the first harmonics."""
    least = _NOTHING * budget.given_in_all
    last = min(max(3, budget.state.description.wanted_harmonic), budget.state.system.harmonics)
    items = [item for item in folded(budget) if item.kind != JUNCTION or abs(item.taken).max() >= least]
    givers = [item for item in items if item.kind in (GENERATOR, SUPPLY)]
    takers = sorted((item for item in items if item not in givers), key=lambda item: -abs(item.total))
    wanted = [item for item in takers if item.kind == "port" and item.name == budget.state.description.wanted_port]
    told = [*wanted, *(item for item in takers if item not in wanted)][:_MOST_ROWS]
    rest = [item for item in takers if item not in told]
    heads = ["all", "DC", *map(harmonic_name, range(1, last + 1)), f"above {last} f0"]
    rows = [["takes (minus: gives)", *heads]]
    rows += [[label(item), *_cells(item.taken, last, least)] for item in givers + told]
    if rest:
        rows.append([f"{len(rest)} others", *_cells(sum(item.taken for item in rest), last, least)])
    rows.append(["sum", *_cells(budget.error, last, least)])
    return table(rows, left=(0,))


def _cells(taken: np.ndarray, last: int, least: float) -> list[str]:
    values = [float(taken.sum()), *map(float, taken[:last + 1]), float(taken[last + 1:].sum())]
    return [show(value, "W", 3) if abs(value) >= least and value else "-" for value in values]


def _path_lines(budget: Budget) -> list[str]:
    path, description = budget.path, budget.state.description
    where = f"port {description.wanted_port} at {harmonic_name(description.wanted_harmonic)}"
    if path is None:
        return wrapped(f"Nothing comes out of {where}, or no way could be followed from there to what gives it.")
    total, word = abs(path.loss_db), "lost" if path.loss_db >= 0 else "gained"
    lines = wrapped(f"From {' and '.join(path.origin)} at node {place_name(path.node)} to {where}: {total:.2f} dB "
                    f"{word}, {_power(path.given)} to {_power(path.delivered)}{others_who_give(budget)}")
    rows, small = [], []
    for step in path.steps:
        if abs(step.loss_db) < _SMALL_DB:
            small.append(step)
        else:
            rows.append([f"{step.loss_db:.2f} dB", show(step.watts_out, "W"), step_sentence(budget, step)])
    lines += table([["lost", "left", ""], *rows], left=(2,)) if rows else []
    if small:
        lines.append(f"  {len(small)} smaller step{'s' * (len(small) > 1)}: {sum(s.loss_db for s in small):.4f} dB")
    return lines


def step_sentence(budget: Budget, step: Step) -> str:
    """What happens in a step, in words."""
    lost, names = step.loss_db >= 0, ", ".join(_spelt(name) for name in step.names)
    if step.kind == "pins":
        return f"{names}: the rest {'is given' if lost else 'is taken'} at the other pins"
    if step.kind == "reflected":
        return "goes back into the generator"
    if step.kind == "side":
        place = place_name(step.place)
        return f"leaves for {names} at {place}" if lost else f"is joined at {place} by what {names} brings"
    if step.kind == "group":
        return f"heat in {step.place} ({names})"
    return f"heat in {names}{_split(budget, step)}"


def _spelt(name: str) -> str:
    kind, dot, rest = name.partition(".")
    if dot and kind == JUNCTION:
        return f"the junction at {rest}"
    return f"{kind} {rest}" if dot and kind in ("port", "supply") else name


def place_name(place: str) -> str:
    """The node of the file for a place: where strips meet hbsim has a junction, with a hidden node for each arm."""
    return place.removeprefix(f"{JUNCTION}.").partition("|")[0]


def others_who_give(budget: Budget) -> str:
    """In words, the devices beside the origin whose power at the wanted harmonic joins on the way; "" for none."""
    path = budget.path
    if not any(step.kind == "side" and step.loss_db < 0 for step in path.steps):
        return ""
    told = [f"{item.name} gives {show(-float(item.taken[path.harmonic]), 'W', 3)}" for item in budget.items
            if item.kind == DEVICE and item.name not in path.origin
            and -item.taken[path.harmonic] > _JOINS * path.given]
    return f"; beside it {', '.join(told)} at {harmonic_name(path.harmonic)}, which joins on the way" if told else ""


def _split(budget: Budget, step: Step) -> str:
    item = budget.item(step.names[0])
    k = budget.state.description.wanted_harmonic
    if item.line is None or not item.taken[k] > 0:
        return ""
    return (f": {100 * item.line.dielectric[k] / item.taken[k]:.0f} % dielectric, "
            f"{100 * item.line.conductor[k] / item.taken[k]:.0f} % metal")


def group_sentence(group: Group, harmonic: int) -> str:
    """What a group eats, and where in it."""
    at = harmonic_name(harmonic)
    if not math.isfinite(group.loss_db):
        return (f"{group.name} takes {show(group.taken, 'W')} at {at}; nothing comes out of it there."
                if group.watts_in > 0 else f"Nothing goes into {group.name} at {at}.")
    where = ""
    if group.conductor or group.dielectric:
        rest = group.taken - group.conductor - group.dielectric
        where = (f", {group.share_db(group.dielectric):.2f} of it in the board's dielectric, "
                 f"{group.share_db(group.conductor):.2f} in the metal of its lines")
        where += f", {group.share_db(rest):.2f} in other parts" if abs(rest) > 1e-6 * group.taken else ""
    return (f"{group.name} eats {group.loss_db:.2f} dB at {at}{where} ({show(group.watts_in, 'W')} go in, "
            f"{show(group.watts_out, 'W')} come out).")


def _notes(budget: Budget) -> list[str]:
    share = budget.closure
    told = [f"the sum over all lines leaves {'less than 1e-12' if share < 1e-12 else f'{share:.1e}'} of what is given "
            "open; a part takes Re(V I*) / 2 over its terminals, at DC V I",
            "radiation is not modelled: what a board radiates is missing from its losses"]
    if any(item.line is not None for item in budget.items):
        told.append("the heat of a line is shared out between metal and dielectric as its attenuation is, in a pair "
                    "for each mode; with a strong standing wave on less than a quarter wave the true shares differ")
    still = quiet_junctions(budget, _NOTHING * budget.given_in_all)
    if still:
        told.append(f"{len(still)} junction{'s' * (len(still) > 1)} of strips take nothing and are left out here")
    return told


def _power(watts: float) -> str:
    return f"{show(watts, 'W')} ({dbm(watts):.2f} dBm)"
