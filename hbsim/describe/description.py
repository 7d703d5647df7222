"""A described circuit: what is connected to what, with every value checked; and the same circuit with other values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Any

from ..devices.contract import Device
from ..errors import Refusal, closest
from ..linear.board import Board
from ..linear.junctions import Joined, join_strips
from ..linear.network import Element
from ..linear.part import Part
from ..quantities import Quantity, quantities, quantity
from .filling import infinite_note, key_of, zero_meant_infinite


@cache  # once a class, not once a point of a sweep
def _quantities(cls: type) -> dict[str, tuple[str, Quantity]]:
    """Key -> (field, what it holds)."""
    return {key_of(field): (field, spec) for field, spec in quantities(cls).items()}


@dataclass(frozen=True)
class Port:
    """A connector: a node, and the resistance of what is plugged in there."""

    node: str
    impedance: float = quantity("ohm", 50.0, "resistance of the generator or load", minimum=0.0, above=True)


@dataclass(frozen=True)
class Drive:
    """The generator: one tone into one port; the power is what is available from it. [Hz], [dBm]

    Its own second harmonic may be told: level against f0 [dB], and phase [deg]; at 0 deg both have a crest at once.
    """

    port: str
    frequency: float = quantity("Hz", meaning="frequency of the drive", minimum=0.0, above=True, maximum=1e13)
    power_dbm: float = quantity("dBm", meaning="available power of the drive", minimum=-300.0, maximum=100.0)

    second_harmonic: float | None = quantity("dB", None, "second harmonic of the generator against its f0",
                                             minimum=-200.0, maximum=0.0)
    second_harmonic_phase: float | None = quantity("deg", None, "phase of the generator's second harmonic")

    def notes(self) -> tuple[str, ...]:
        """A sentence if the frequency looks like a slip of the pen."""
        if self.frequency >= 1e3:
            return ()
        return (f"drive.frequency: {self.frequency:.4g} Hz is unusually low; mHz is millihertz, MHz megahertz",)


@dataclass(frozen=True)
class Supply:
    """A DC source from a node to ground. [V], [ohm]"""

    node: str
    voltage: float = quantity("V", meaning="voltage without load")
    resistance: float = quantity("ohm", 0.0, "series resistance", minimum=0.0)


@dataclass(frozen=True)
class Placed:
    """A part or device with its name and the node at each of its terminals, in their order."""

    name: str
    part: Part | Device
    nodes: tuple[str, ...]

    @property
    def terminals(self) -> tuple[str, ...]:
        """Names of the terminals, in the order of `nodes`."""
        return self.part.terminals or self.part.terminal_names()


@dataclass(frozen=True)
class JunctionChoice:
    """Whether junctions are put in where strips meet (linear/junctions.py), and the nodes where they are not."""

    automatic: bool = True
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class Description:
    """A circuit, checked. Not changed in place: `with_values` gives another one.

    Every quantity has an address, "name.quantity": drive.power, drive.frequency, supply.VCC (the voltage),
    supply.VCC.resistance, port.input.impedance, board.permittivity, match_stub.length, Q1.BF.

    Parameters
    ----------
    title, about, file : str
        What the circuit is, and the file it was read from (empty if built in Python).
    board : Board or None
    drive : Drive
    ports, supplies, parts, devices : dict
        By name.
    wanted_port : str
        Port whose output is wanted.
    wanted_harmonic : int
        Multiple of the drive frequency that is wanted there.
    notes : tuple of str
        How values were understood where that is not obvious.
    junctions : JunctionChoice
    """

    title: str
    about: str
    file: str
    board: Board | None
    drive: Drive
    ports: dict[str, Port]
    supplies: dict[str, Supply]
    parts: dict[str, Placed]
    devices: dict[str, Placed]
    wanted_port: str
    wanted_harmonic: int
    notes: tuple[str, ...] = ()
    junctions: JunctionChoice = JunctionChoice()

    @cached_property
    def joined(self) -> Joined:
        """The linear parts as elements, with the junctions of strips between them and the list of these."""
        elements = tuple(Element(placed.name, placed.part, placed.nodes) for placed in self.parts.values())
        if not self.junctions.automatic:
            return Joined(elements)
        leads = [thing.node for things in (self.ports, self.supplies) for thing in things.values()]
        leads += [node for placed in self.devices.values() for node in placed.nodes]
        return join_strips(elements, leads, self.junctions.left_out)

    def addresses(self) -> list[str]:
        """The address of every quantity that can be given another value."""
        found = []
        for owner, thing in self._owners().items():
            if owner.startswith("supply."):
                found.append(owner)
            found += [f"{owner}.{key}" for key in _quantities(type(thing))]
        return found

    def look_up(self, address: str) -> tuple[Quantity, float]:
        """What an address holds: unit and limits, and the value in that unit.

        Raises
        ------
        Refusal
            Unknown address; names the nearest one.
        """
        _, thing, field, spec = self._find(address)
        return spec, getattr(thing, field)

    def with_values(self, values: Mapping[str, float | str]) -> Description:
        """The same circuit with other values; whatever is not touched is the same object.

        Parameters
        ----------
        values : mapping
            Address -> text with a unit ("3 dBm"), or a number in the quantity's own unit (SI; dBm for a power, deg
            for an angle). A value of the board reaches every part on it.

        Raises
        ------
        Refusal
            Unknown address (names the nearest one), or a value that is not possible there.
        """
        changes: dict[tuple[str, str, str], dict[str, float]] = {}
        notes = self.notes
        for address, value in values.items():
            owner, _, field, spec = self._find(address)
            changed = changes.setdefault(owner, {})
            if field in changed:
                raise Refusal("is given a value twice; keep one", address)
            changed[field] = spec.take(value, address)
            if spec.zero_is_infinite:
                note = infinite_note(f"part.{owner[1]}.{field}")
                notes = tuple(other for other in notes if other != note)
                if zero_meant_infinite(spec, value, changed[field]):
                    notes += (note,)
        board = changes.pop(("board", "", ""), None)
        result = self._with_board(board) if board else self
        for (group, name, inside), changed in changes.items():
            if group == "drive":
                drive = _replaced(self.drive, changed, "drive")
                result = replace(result, drive=drive)
                notes = tuple(note for note in notes if note not in self.drive.notes()) + drive.notes()
                continue
            things = getattr(result, group)
            thing = things[name]
            if inside:
                inner = _replaced(thing.part.inside()[inside], changed, f"{name}.{inside}")
                thing = replace(thing, part=_put_inside(thing.part, inside, inner, name))
            elif isinstance(thing, Placed):
                thing = replace(thing, part=_replaced(thing.part, changed, name))
            else:
                thing = _replaced(thing, changed, name)
            result = replace(result, **{group: {**things, name: thing}})
        return result if notes == result.notes else replace(result, notes=notes)

    def _with_board(self, changed: dict[str, float]) -> Description:
        board = _replaced(self.board, changed, "board")
        moved = {name: placed.part.on_board(board) for name, placed in self.parts.items()}
        parts = {name: placed if moved[name] is placed.part else replace(placed, part=moved[name])
                 for name, placed in self.parts.items()}
        return replace(self, board=board, parts=parts)

    def _owners(self) -> dict[str, Any]:
        """Everything that holds quantities, by the address before the last point."""
        owners: dict[str, Any] = {"drive": self.drive}
        owners |= {f"supply.{name}": supply for name, supply in self.supplies.items()}
        owners |= {f"port.{name}": port for name, port in self.ports.items()}
        if self.board is not None:
            owners["board"] = self.board
        for name, placed in self.parts.items():
            owners[name] = placed.part
            owners |= {f"{name}.{inside}": part for inside, part in placed.part.inside().items()}
        return owners | {name: placed.part for name, placed in self.devices.items()}

    def _find(self, address: str) -> tuple[tuple[str, str, str], Any, str, Quantity]:
        """(group, name, place inside a part), the object, its field, and what the field holds."""
        names = address.split(".")
        if names[0] == "part":
            names = names[1:]
        if len(names) == 2 and names[0] == "supply":
            names.append("voltage")
        group, name, inside, thing = "", "", "", None
        if len(names) == 3 and names[0] in ("supply", "port"):
            group, name = ("supplies" if names[0] == "supply" else "ports"), names[1]
            thing = getattr(self, group).get(name)
        elif len(names) == 2 and names[0] in ("drive", "board"):
            group, thing = names[0], getattr(self, names[0])
        elif len(names) == 2:
            name = names[0]
            group = "parts" if name in self.parts else "devices"
            placed = getattr(self, group).get(name)
            thing = placed.part if placed is not None else None
        elif len(names) > 2 and names[0] in self.parts:
            group, name, inside = "parts", names[0], ".".join(names[1:-1])
            thing = self.parts[name].part.inside().get(inside)
        if thing is not None:
            found = _quantities(type(thing)).get(names[-1])
            if found is not None:
                return (group, name, inside), thing, *found
        raise self._unknown(address)

    def _unknown(self, address: str) -> Refusal:
        plain = address.removeprefix("part.")
        owners = self._owners()
        owner, last = (plain, "") if plain in owners else plain.rpartition(".")[::2]
        if owner in owners:  # then only the last name is wrong: the owner's would make every quantity look alike
            known = list(_quantities(type(owners[owner])))
            close = closest(last, known, 0.7)
            mend = f"did you mean '{owner}.{close}'?" if close else f"{owner} has: {', '.join(known) or 'none'}"
            return Refusal(f"there is no such quantity; {mend}", address)
        named = {known.removesuffix(f".{last}"): known for known in self.addresses() if known.endswith(f".{last}")}
        if owner == "supply":  # the voltage of a supply goes by the supply's name alone
            owner, named = plain, {f"supply.{name}": f"supply.{name}" for name in self.supplies}
        close = closest(owner, named, 0.6)
        if close:
            return Refusal(f"there is no such quantity; did you mean '{named[close]}'?", address)
        return Refusal(f"there is no such quantity; an address is one of these names, a point and a quantity: "
                       f"{', '.join(owners)}", address)


def _replaced(thing: Any, changed: dict[str, float], place: str) -> Any:
    try:
        return replace(thing, **changed)
    except Refusal as refusal:  # the class itself weighs its values against each other
        raise refusal.located(place) from None


def _put_inside(part: Part, inside: str, inner: Part, place: str) -> Part:
    try:
        return part.with_inside(inside, inner)
    except Refusal as refusal:
        raise refusal.located(place) from None
