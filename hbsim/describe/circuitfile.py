"""Circuit files: from TOML to a checked Description."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

from ..devices.contract import Device
from ..devices.kinds import DEVICES
from ..errors import Refusal, nearest
from ..linear.board import Board, Conductor
from ..linear.kinds import KINDS
from ..linear.network import GROUND
from ..linear.part import Part
from . import library
from .description import Description, Drive, JunctionChoice, Placed, Port, Supply
from .filling import Filled, choose, fill, infinite_note, override
from .nodes import check_connections, check_known, check_name, node, place_nodes
from .tomlfile import check_keys, read_toml, table, text

_TABLES = ("title", "about", "board", "drive", "port", "supply", "part", "wanted", "junctions")
# What people call a part -> the kinds that it may be; nearness of letters would lead elsewhere.
_EVERYDAY = {"transistor": ("bjt",), "stub": ("open stub", "shorted stub"), "choke": ("inductor",),
             "coil": ("inductor",), "microstrip": ("line",), "filter": ("filter section",)}
_RESERVED = ("drive", "supply", "port", "board", "part", "wanted")


def load(path: str | Path) -> Description:
    """Read a circuit file.

    Raises
    ------
    Refusal
        Whatever is wrong with the file: names the file, the key path (or line), what is wrong and the mend.
    """
    return build(read_toml(path), file=str(path), folder=Path(path).parent)


def build(tree: dict[str, Any], *, file: str = "", folder: Path | None = None) -> Description:
    """The same from Python: a tree of dicts, shaped like a circuit file.

    Parameters
    ----------
    tree : dict
        {"drive": {"port": "input", "frequency": "1.152 GHz", "power": "0 dBm"}, "port": {...}, ...}.
    file : str
        Name for refusals.
    folder : Path
        Where file names in the tree start; None: the present folder.

    Raises
    ------
    Refusal
        As `load`.
    """
    try:
        return _build(tree, file, folder or Path())
    except Refusal as refusal:
        raise refusal.located(file=file) from None


def _build(tree: dict[str, Any], file: str, folder: Path) -> Description:
    if not tree:
        raise Refusal("there is no circuit here; it has at least [drive], two ports and a part")
    check_keys(tree, _TABLES)
    board = _board(table(tree, "board"), folder)
    ports = {name: _port(raw, f"port.{name}") for name, raw in _named(tree, "port")}
    supplies = {name: _supply(raw, f"supply.{name}") for name, raw in _named(tree, "supply")}
    parts, devices, notes = {}, {}, []
    for name, raw in _named(tree, "part"):
        _check_part_name(name, ports, supplies)
        placed, part_notes = _part(name, raw, board, folder)
        (devices if isinstance(placed.part, Device) else parts)[name] = placed
        notes += part_notes
    drive = _drive(tree, ports)
    notes += drive.notes()
    wanted_port, wanted_harmonic = _wanted(table(tree, "wanted"), ports)
    description = Description(text(tree, "title", default=""), text(tree, "about", default=""), file, board, drive,
                              ports, supplies, parts, devices, wanted_port, wanted_harmonic, tuple(notes),
                              _junctions(table(tree, "junctions")))
    _check_sources(ports, supplies)
    joints = _joints(description)
    check_connections(joints)
    check_known(description.junctions.left_out, (name for _, _, name in joints), "junctions.left_out")
    return description


def _named(tree: dict[str, Any], key: str) -> list[tuple[str, dict[str, Any]]]:
    """The tables [key.NAME]."""
    found = tree.get(key, {})
    for name, raw in found.items() if isinstance(found, dict) else [(key, found)]:
        if not isinstance(raw, dict):
            raise Refusal(f"'{name}' must be a table; write [{key}.NAME] on a line of its own, once for each", key)
        check_name(name, key)
    return list(found.items())


def _check_part_name(name: str, ports: dict[str, Port], supplies: dict[str, Supply]) -> None:
    place = f"part.{name}"
    if name in _RESERVED:
        raise Refusal(f"'{name}' is a word of hbsim's own addresses; give the part another name", place)
    for group, others in (("port", ports), ("supply", supplies)):
        if name in others:
            raise Refusal(f"'{name}' is also the name of a {group}; give one of them another name", place)


def _from_library(cls: type, entry: Any, raw: dict[str, Any], place: str, folder: Path) -> Filled:
    """A table with `use`: the model of the library with the table's own values over it; without: all values."""
    if "use" not in raw:
        return fill(cls, raw, place, beside=("use",), folder=folder)
    name = text(raw, "use", place)
    try:
        found = entry(name)
    except Refusal as refusal:
        raise Refusal(str(refusal), f"{place}.use") from None
    return override(found.filled, raw, place, beside=("use",), folder=folder)


def _board(raw: dict[str, Any], folder: Path) -> Board | None:
    return _from_library(Board, library.board, raw, "board", folder).model if raw else None


def _conductor(raw: Any, place: str, folder: Path) -> Conductor:
    if isinstance(raw, str):
        raw = {"use": raw}
    if not isinstance(raw, dict):
        raise Refusal(f'{raw!r} is not a conductor; write conductor = "copper-tape" or a table of values', place)
    return _from_library(Conductor, library.conductor, raw, place, folder).model


def _port(raw: dict[str, Any], place: str) -> Port:
    return fill(Port, raw, place, given=_at_node(raw, place), beside=("node",)).model


def _supply(raw: dict[str, Any], place: str) -> Supply:
    return fill(Supply, raw, place, given=_at_node(raw, place), beside=("node",)).model


def _at_node(raw: dict[str, Any], place: str) -> dict[str, str]:
    if "node" not in raw:
        raise Refusal("'node' is missing; write node = \"...\"", place)
    name = node(raw["node"], f"{place}.node")
    if name == GROUND:
        raise Refusal("it stands on ground at both its ends; name another node", f"{place}.node")
    return {"node": name}


def _drive(tree: dict[str, Any], ports: dict[str, Port]) -> Drive:
    if "drive" not in tree:
        raise Refusal('there is no drive; write [drive] with port = "input", frequency = "1.152 GHz", power = "0 dBm"')
    raw = tree["drive"]
    if isinstance(raw, list) or (isinstance(raw, dict) and any(isinstance(value, dict) for value in raw.values())):
        raise Refusal("there is more than one drive; hbsim drives one port at one frequency, keep one [drive]", "drive")
    raw = table(tree, "drive")
    port = text(raw, "port", "drive")
    if port not in ports:
        raise Refusal(f"there is no port '{port}'{nearest(port, ports)}", "drive.port")
    return fill(Drive, raw, "drive", given={"port": port}, beside=("port",)).model


def _wanted(raw: dict[str, Any], ports: dict[str, Port]) -> tuple[str, int]:
    check_keys(raw, ("port", "harmonic"), "wanted")
    port, harmonic = text(raw, "port", "wanted", default="output"), raw.get("harmonic", 2)
    if port not in ports:
        mend = nearest(port, ports) if "port" in raw else \
            f"; write [port.{port}], or port = \"...\" under [wanted] with one of: {', '.join(ports) or 'none yet'}"
        raise Refusal(f"there is no port '{port}' for the wanted output{mend}", "wanted.port")
    if isinstance(harmonic, bool) or not isinstance(harmonic, int) or harmonic < 1:
        raise Refusal(f"{harmonic!r} is not a harmonic; write a whole number from 1, such as harmonic = 2",
                      "wanted.harmonic")
    return port, harmonic


def _junctions(raw: dict[str, Any]) -> JunctionChoice:
    check_keys(raw, ("automatic", "left_out"), "junctions")
    automatic, left_out = raw.get("automatic", True), raw.get("left_out", [])
    if not isinstance(automatic, bool):
        raise Refusal(f"{automatic!r} is not a yes or no; write automatic = true or automatic = false",
                      "junctions.automatic")
    if not isinstance(left_out, (list, tuple)):
        raise Refusal(f'{left_out!r} is not a list of nodes; write left_out = ["m"]', "junctions.left_out")
    return JunctionChoice(automatic, tuple(node(name, "junctions.left_out") for name in left_out))


def _part(name: str, raw: dict[str, Any], board: Board | None, folder: Path) -> tuple[Placed, list[str]]:
    """A part or device, and how its values were understood."""
    place = f"part.{name}"
    kind = text(raw, "kind", place)
    own = {key: value for key, value in raw.items() if key not in ("kind", "nodes")}
    if kind in DEVICES:
        filled = _device(DEVICES[kind], kind, own, place, folder)
    elif kind in KINDS:
        filled = _linear(choose(kind, KINDS[kind], own, place), kind, own, place, board, folder)
    else:
        meant = " or ".join(f"'{word}'" for word in _EVERYDAY.get(kind.lower(), ()))
        mend = f"; did you mean {meant}?" if meant else nearest(kind, [*KINDS, *DEVICES])
        raise Refusal(f"there is no kind '{kind}'{mend}", f"{place}.kind")
    part = filled.model
    terminals = part.terminals or part.terminal_names()
    optional = part.optional if isinstance(part, Device) else ()
    nodes = place_nodes(raw.get("nodes"), terminals, optional, f"{place}.nodes")
    return Placed(name, part, nodes), [infinite_note(f"{place}.{key}") for key in filled.read_as_infinite]


def _device(cls: type, kind: str, raw: dict[str, Any], place: str, folder: Path) -> Filled:
    def entry(name: str) -> library.Entry:
        found = library.device(name, folder)
        if not isinstance(found.model, cls):
            raise Refusal(f"'{name}' is of kind '{found.model.kind}', not '{kind}'; change the one or the other")
        return found

    return _from_library(cls, entry, raw, place, folder)


def _linear(cls: type, kind: str, raw: dict[str, Any], place: str, board: Board | None, folder: Path) -> Filled:
    names, given = {item.name for item in fields(cls)}, {}
    if "board" in names:
        if board is None:
            raise Refusal(f"a {kind} by its dimensions lies on a board, and the circuit has none; write [board] with "
                          f"use = \"fr4-1.6mm\" or values of your own", place)
        given["board"] = board
    beside = tuple(key for key in ("conductor", "fixture") if key in names)
    if "conductor" in beside and "conductor" in raw:
        given["conductor"] = _conductor(raw["conductor"], f"{place}.conductor", folder)
    if "fixture" in beside and "fixture" in raw:
        given["fixture"] = _fixtures(raw["fixture"], f"{place}.fixture", board, folder)
    return fill(cls, raw, place, given=given, beside=beside, folder=folder)


def _fixtures(raw: Any, place: str, board: Board | None, folder: Path) -> dict[int, Part]:
    """The tables [part.NAME.fixture.PORT]: what is removed from measured data, by port."""
    found = {}
    for port, own in raw.items() if isinstance(raw, dict) else [("", raw)]:
        if not isinstance(own, dict) or not port.isdecimal() or port != str(int(port)):
            raise Refusal(f"a fixture stands in a table of its own by the number of its port; write [{place}.1] on a "
                          'line of its own, with kind = "line" or kind = "touchstone block" and its values', place)
        here = f"{place}.{port}"
        if "kind" not in own:
            raise Refusal('\'kind\' is missing; write kind = "line" for a known length of line (width and length, or '
                          'impedance), kind = "touchstone block" with file = "..." for measured data', here)
        kind = text(own, "kind", here)
        if kind not in KINDS:
            raise Refusal(f"there is no kind '{kind}' of a fixture{nearest(kind, KINDS)}", f"{here}.kind")
        own = {key: value for key, value in own.items() if key != "kind"}
        found[int(port)] = _linear(choose(kind, KINDS[kind], own, here), kind, own, here, board, folder).model
    return found


def _check_sources(ports: dict[str, Port], supplies: dict[str, Supply]) -> None:
    """Refuse two ports on one node, and two supplies that would fight over one."""
    taken: dict[str, str] = {}
    for name, port in ports.items():
        if port.node in taken:
            raise Refusal(f"node '{port.node}' is already that of port.{taken[port.node]}; give each port a node of "
                          f"its own, with a part between them", f"port.{name}.node")
        taken[port.node] = name
    stiff: dict[str, str] = {}
    for name, supply in supplies.items():
        if supply.resistance == 0.0 and supply.node in stiff:
            raise Refusal(f"supply.{stiff[supply.node]} holds node '{supply.node}' already, and neither has a "
                          f"resistance; give one a resistance or a node of its own", f"supply.{name}.node")
        if supply.resistance == 0.0:
            stiff[supply.node] = name


def _joints(description: Description) -> list[tuple[str, str, str]]:
    """(place, what touches there, node) of every terminal in the circuit."""
    sources = {f"port.{name}": port.node for name, port in description.ports.items()}
    sources |= {f"supply.{name}": supply.node for name, supply in description.supplies.items()}
    joints = [(place, place, name) for place, name in sources.items()]
    for placed in (description.parts | description.devices).values():
        place, terminals = f"part.{placed.name}", placed.terminals
        # The ends of a resistor are called a and b, as nodes may be: so they are counted.
        ends = ["the first end", "the second end"] if terminals == ("a", "b") else \
            [f"the terminal '{terminal}'" for terminal in terminals]
        joints += [(place, f"{end} of {place}" if len(ends) > 1 else place, name)
                   for end, name in zip(ends, placed.nodes)]
    return joints
