"""Where S-parameters are taken, and which parts of a circuit count for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..describe.description import Description
from ..errors import Refusal, nearest
from ..linear.islands import GROUND
from ..linear.network import Element
from ..quantities import show

STANDARD_REFERENCE = 50.0  # of a port that is none of the circuit's. [ohm]


@dataclass(frozen=True)
class ResponsePort:
    """Where S-parameters are taken.

    Parameters
    ----------
    name : str
        As it was asked for.
    plus, minus : str
        Its nodes; the minus node is "ground" but for a port between two nodes.
    reference : float
        [ohm]
    of_circuit : str
        The port of the circuit that it is; empty for others.
    """

    name: str
    plus: str
    minus: str
    reference: float
    of_circuit: str = ""

    @property
    def place(self) -> str:
        """"node b" or "from node b1 to node b2"."""
        return f"node {self.plus}" if self.minus == GROUND else f"from node {self.plus} to node {self.minus}"


def response_ports(description: Description, names: Sequence[str] | None, reference: Sequence[float] | None,
                   nodes: Sequence[str]) -> tuple[ResponsePort, ...]:
    """The ports that are asked for.

    Parameters
    ----------
    names : sequence of str, or None
        Each the name of a port of the circuit, of a node, or "node1/node2". A node where a port of the circuit stands
        is that port; written "node/ground" it is not, and the port stays as a termination. None: all ports of the
        circuit.
    reference : sequence of float, or None
        One for all ports, or one for each; they replace a circuit's port's own impedance. None: 50 ohm, or a port's
        own. [ohm]
    nodes : sequence of str
        The nodes that the parts which count touch.

    Raises
    ------
    Refusal
        An unknown or doubtful name, a port named twice, or another number of references.
    """
    wanted = list(description.ports) if names is None else list(names)
    if not wanted:
        raise Refusal("no port is named; give nodes or ports of the circuit", "ports")
    given = [] if reference is None else list(reference)
    if any(not value > 0 or value == float("inf") for value in given):
        raise Refusal("a reference is a resistance above 0 ohm", "reference")
    if len(given) not in (0, 1, len(wanted)):
        raise Refusal(f"{len(given)} references for {len(wanted)} ports; give one for each, or one for all",
                      "reference")
    found: list[ResponsePort] = []
    for number, name in enumerate(wanted):
        plus, minus, of_circuit = _place(description, name, nodes)
        own = description.ports[of_circuit].impedance if of_circuit else STANDARD_REFERENCE
        value = given[number if len(given) > 1 else 0] if given else own
        for other in found:
            if {plus, minus} == {other.plus, other.minus}:
                raise Refusal(f"'{other.name}' and '{name}' are the same place; name it once", "ports")
        found.append(ResponsePort(name, plus, minus, value, of_circuit))
    return tuple(found)


def _place(description: Description, name: str, nodes: Sequence[str]) -> tuple[str, str, str]:
    """Plus node, minus node, and the circuit's port that stands there, if any."""
    ports = description.ports
    plus, stroke, minus = (piece.strip() for piece in name.partition("/"))
    minus = minus if stroke else GROUND
    if name in ports:
        plus = ports[name].node
        if name in nodes and plus != name:
            raise Refusal(f"'{name}' is a port, at the node '{plus}', and also another node; write '{plus}' for the "
                          f"port or '{name}/{GROUND}' for the node", "ports")
    elif plus == GROUND:
        raise Refusal(f"'{name}' begins at ground; name the node first, '{minus if stroke else 'node'}/{GROUND}'",
                      "ports")
    elif plus == minus:
        raise Refusal(f"'{name}' has the same node twice; name two, or one alone for a port to ground", "ports")
    every = {node for placed in [*description.parts.values(), *description.devices.values()]
             for node in placed.nodes}
    known = [*(name for name, port in ports.items() if port.node in nodes),
             *(node for node in nodes if node not in ports)]
    for node in (plus, minus):
        if node in nodes or node == GROUND:
            continue
        if name in ports:
            raise Refusal(f"no part that counts touches the node '{node}' of port '{name}'; name a node of theirs: "
                          f"{', '.join(nodes)}", "ports")
        if node in every:
            raise Refusal(f"'{node}' is a node, but none of the parts that count touches it; theirs are "
                          f"{', '.join(nodes)}", "ports")
        raise Refusal(f"there is no node '{node}' among the parts that count{nearest(node, known)}", "ports")
    there = [] if stroke else [port for port, item in ports.items() if item.node == plus]
    if len(there) > 1:
        raise Refusal(f"the ports {', '.join(there)} share the node '{plus}'; write '{plus}/{GROUND}', and they stay "
                      "there as terminations", "ports")
    return plus, minus, there[0] if there else ""


def part_names(description: Description, names: Sequence[str] | None, linearised: bool) -> tuple[str, ...] | None:
    """The parts (and devices) that are named, checked; None where all count.

    Raises
    ------
    Refusal
        An unknown name, one given twice, or a device while devices are absent.
    """
    if names is None:
        return None
    known = [*description.parts, *description.devices]
    found: list[str] = []
    for name in (text.removeprefix("part.") for text in names):
        if name not in known:
            raise Refusal(f"there is no part '{name}'{nearest(name, known)}", "parts")
        if name in found:
            raise Refusal(f"'{name}' is named twice; keep one", "parts")
        if name in description.devices and not linearised:
            raise Refusal(f"'{name}' is a device, and devices are absent; ask for them linearised, or leave it out",
                          "parts")
        found.append(name)
    if not found:
        raise Refusal("no part is named", "parts")
    return tuple(found)


def elements_that_count(elements: Sequence[Element], ports: Sequence[ResponsePort]) -> list[Element]:
    """All elements but the terminations of the ports where S-parameters are taken: the reference stands there."""
    gone = {f"port.{port.of_circuit}" for port in ports if port.of_circuit}
    return [element for element in elements if element.name not in gone]


def elements_of_group(description: Description, elements: Sequence[Element], names: Sequence[str]) -> list[Element]:
    """The elements of the parts and devices named, with the junctions all of whose strips are among them.

    Where a junction goes, the ends of strips that it held come back to its node: a hidden node is "NODE|part".
    """
    group, junctions = set(names), junction_arms(description)
    kept = {name for name, arms in junctions.items() if arms <= group}
    gone = {name.removeprefix("junction.") for name in junctions.keys() - kept}
    found = []
    for element in elements:
        owner, point, _ = element.name.partition(".")  # insides of a device are named "DEVICE.inner"
        if element.name in group | kept or point and owner in group and owner in description.devices:
            nodes = tuple(node.partition("|")[0] if node.partition("|")[0] in gone else node for node in element.nodes)
            found.append(replace(element, nodes=nodes))
    return found


def junction_arms(description: Description) -> dict[str, frozenset[str]]:
    """Name of the element of each junction that was put in -> the parts whose strips it joins."""
    return {junction.element.name: frozenset(arm.part for arm in junction.arms.values())
            for junction in description.joined.added}


def assumptions(description: Description, ports: Sequence[ResponsePort], group: Sequence[str] | None,
                linearised: bool, apart: Sequence[str]) -> tuple[str, ...]:
    """Sentences on what the S-parameters rest on; `apart`: parts that hang together with none of the ports."""
    said = []
    if group is not None:
        said.append(f"only these parts count: {', '.join(group)}; no supply, no termination and no other part does")
        cut = sorted(name.removeprefix("junction.") for name, arms in junction_arms(description).items()
                     if arms & set(group) and not arms <= set(group))
        if cut:
            said.append(f"no junction at {_listed(cut)}: not all the strips that meet there count")
    if description.devices and not linearised and group is None:
        verb = "is" if len(description.devices) == 1 else "are"
        said.append(f"{_listed(list(description.devices))} {verb} taken out")
    measured = {port.of_circuit for port in ports}
    for port in ports:
        if port.of_circuit and port.reference != description.ports[port.of_circuit].impedance:
            said.append(f"port {port.name}: {show(port.reference, 'ohm')} stand in place of its own "
                        f"{show(description.ports[port.of_circuit].impedance, 'ohm')}")
    if group is None:
        said += [f"port {name} ends in its {show(port.impedance, 'ohm')} at node {port.node}"
                 for name, port in description.ports.items() if name not in measured]
        said += [_supply_sentence(name, supply.node, supply.resistance)
                 for name, supply in description.supplies.items()]
    if apart:
        said.append(f"{_listed(apart)} hang{'s' * (len(apart) == 1)} together with none of the ports and "
                    f"play{'s' * (len(apart) == 1)} no role")
    return tuple(said)


def _supply_sentence(name: str, node: str, resistance: float) -> str:
    what = show(resistance, "ohm") if resistance else "a short"
    return f"supply {name} counts as {what} from node {node} to ground"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
