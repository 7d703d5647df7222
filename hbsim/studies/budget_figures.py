"""A power budget as figures: its lines with groups folded, who has which share, JSON and a table."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

from ..quantities import dbm, finite_or_none
from .board_loss import LineLoss
from .budget import GENERATOR, JUNCTION, PORT, RESISTANCE, SUPPLY, Budget, Group, Item
from .signal_path import SignalPath, Step

GROUP = "group"
_LEAST_SHARE = 0.015  # of a bar: what is less is among "others"
_MOST_SHARES = 7
_NOTHING = 1e-9  # of a bar: rounding


class Share(NamedTuple):
    """A piece of a bar: who, how much [W], and of all in the bar [%]."""

    name: str
    watts: float
    percent: float


class Bar(NamedTuple):
    """Who gives and who takes: at one harmonic, or in all ("all", with the heat of parts and devices). [W]"""

    name: str
    harmonic: int | None
    watts: float
    givers: tuple[Share, ...]
    takers: tuple[Share, ...]


def label(item: Item) -> str:
    """What an item is called where kinds are mixed."""
    return {GENERATOR: "generator", SUPPLY: f"supply {item.name}", PORT: f"port {item.name}",
            RESISTANCE: f"resistance of supply {item.name}",
            JUNCTION: f"junction at {item.name.removeprefix(f'{JUNCTION}.')}"}.get(item.kind, item.name)


def folded(budget: Budget) -> list[Item]:
    """The lines of the budget, each group one line at the place of its first member."""
    owner = {member: group.name for group in budget.groups for member in group.members}
    members: dict[str, list[Item]] = {}
    found: list[Item | str] = []
    for item in budget.items:
        name = owner.get(item.name) if item.kind == "part" else None
        if name is None:
            found.append(item)
            continue
        if name not in members:
            found.append(name)
        members.setdefault(name, []).append(item)
    return [_sum(entry, members[entry]) if isinstance(entry, str) else entry for entry in found]


def _sum(name: str, items: list[Item]) -> Item:
    lines = [item.line for item in items if item.line is not None]
    line = LineLoss(sum(one.conductor for one in lines), sum(one.dielectric for one in lines)) if lines else None
    return Item(name, GROUP, sum(item.taken for item in items), line)


def bars(budget: Budget, most: int = 4) -> list[Bar]:
    """All power, then that at DC and at each harmonic up to `most` or the wanted one."""
    items, wanted = folded(budget), budget.state.description.wanted_harmonic
    totals = []
    for item in items:
        if item.kind == PORT and item.name == budget.state.description.wanted_port:
            totals.append((f"{label(item)}, {_harmonic(wanted)}", float(item.taken[wanted])))
            totals.append((f"{label(item)}, other harmonics", item.total - float(item.taken[wanted])))
        else:
            totals.append((label(item), item.total))
    found = [_bar("all", None, totals)]
    for k in range(min(max(most, wanted), budget.state.system.harmonics) + 1):
        found.append(_bar(_harmonic(k), k, [(label(item), float(item.taken[k])) for item in items]))
    return [bar for bar in found if bar.watts > 0]


def _bar(name: str, harmonic: int | None, entries: list[tuple[str, float]]) -> Bar:
    given = -sum(power for _, power in entries if power < 0)
    return Bar(name, harmonic, given, _shares([(n, -p) for n, p in entries if p < 0], given),
               _shares([(n, p) for n, p in entries if p > 0], given))


def _shares(entries: list[tuple[str, float]], whole: float) -> tuple[Share, ...]:
    entries = sorted(entries, key=lambda entry: -entry[1])
    told = [entry for entry in entries[:_MOST_SHARES] if entry[1] >= _LEAST_SHARE * whole]
    rest = sum(power for _, power in entries[len(told):])
    if rest > _NOTHING * whole:
        told.append(("others", rest))
    return tuple(Share(name, power, 100.0 * power / whole) for name, power in told)


def _harmonic(k: int) -> str:
    return "DC" if k == 0 else "f0" if k == 1 else f"{k} f0"


def as_json(budget: Budget) -> dict[str, Any]:
    """All figures as plain data; every key carries its unit, None stands for no number."""
    state, wanted = budget.state, budget.state.description.wanted_harmonic
    description = state.description
    return {
        "title": description.title,
        "drive": {"frequency_hz": description.drive.frequency, "power_dbm": description.drive.power_dbm,
                  "port": description.drive.port},
        "wanted_port": description.wanted_port,
        "wanted_harmonic": wanted,
        "frequency_hz": state.frequency.tolist(),
        "given_w": budget.given_in_all,
        "converted_or_given_w": budget.given.tolist(),
        "error_w": budget.error.tolist(),
        "error_over_given": budget.closure,
        "items": [_item_json(item) for item in budget.items],
        "path": None if budget.path is None else _path_json(budget.path),
        "groups": [_group_json(group, wanted) for group in budget.groups],
        "bars": [{"of": bar.name, "harmonic": bar.harmonic, "given_w": bar.watts,
                  "givers": [_share_json(share) for share in bar.givers],
                  "takers": [_share_json(share) for share in bar.takers]} for bar in bars(budget)],
        "radiation": "not modelled",
    }


def _item_json(item: Item) -> dict[str, Any]:
    found = {"name": item.name, "kind": item.kind, "taken_total_w": item.total, "taken_w": item.taken.tolist()}
    if item.line is not None:
        found |= {"conductor_w": item.line.conductor.tolist(), "dielectric_w": item.line.dielectric.tolist()}
    return found


def _share_json(share: Share) -> dict[str, Any]:
    return {"name": share.name, "w": share.watts, "percent": share.percent}


def _path_json(path: SignalPath) -> dict[str, Any]:
    return {"harmonic": path.harmonic, "from": list(path.origin), "from_node": path.node, "to_port": path.port,
            "parts": list(path.parts), "given_w": path.given, "given_dbm": finite_or_none(dbm(path.given)),
            "delivered_w": path.delivered, "delivered_dbm": finite_or_none(dbm(path.delivered)),
            "loss_db": path.loss_db, "steps": [_step_json(step) for step in path.steps]}


def _step_json(step: Step) -> dict[str, Any]:
    return {"kind": step.kind, "at": step.place, "names": list(step.names), "in_w": step.watts_in,
            "out_w": step.watts_out, "loss_db": step.loss_db}


def _group_json(group: Group, harmonic: int) -> dict[str, Any]:
    return {"name": group.name, "parts": list(group.members), "harmonic": harmonic, "in_w": group.watts_in,
            "out_w": group.watts_out, "taken_w": group.taken, "conductor_w": group.conductor,
            "dielectric_w": group.dielectric, "loss_db": finite_or_none(group.loss_db),
            "loss_conductor_db": finite_or_none(group.share_db(group.conductor)),
            "loss_dielectric_db": finite_or_none(group.share_db(group.dielectric))}


def header(budget: Budget) -> list[str]:
    """Names of the columns of `rows`."""
    return ["name", "kind", "taken_total_w", *(f"taken_w_{k}" for k in range(budget.state.system.harmonics + 1)),
            "conductor_total_w", "dielectric_total_w"]


def rows(budget: Budget) -> Iterator[list[Any]]:
    """A row for each line of the budget, the last with the sums."""
    for item in budget.items:
        line = ["", ""] if item.line is None else [float(np.sum(part)) for part in item.line]
        yield [item.name, item.kind, item.total, *item.taken.tolist(), *line]
    yield ["", "sum", float(budget.error.sum()), *budget.error.tolist(), "", ""]


def quiet_junctions(budget: Budget, least: float) -> list[Item]:
    """Junctions of strips that take nothing but rounding: less than `least` [W] at any harmonic."""
    return [i for i in budget.items if i.kind == JUNCTION and np.abs(i.taken).max() < least]
