"""A device by itself as a described circuit, so that its parameters have addresses: "device.IS", or "IS" for short."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from ..describe.circuitfile import build
from ..describe.description import Description
from ..describe.library import DEVICE_TABLES, device
from ..devices.bjt import BJT

NAME = "device"
_PORTS = "R_ports"
_SCALE = "scale "
_T = TypeVar("_T")


def is_model(tree: dict[str, Any]) -> bool:
    """Whether the tree of a TOML file is that of a model, not of a circuit."""
    return "kind" in tree and any(table in tree for table in DEVICE_TABLES)


def device_alone(path: str | Path) -> Description:
    """The device of a model file, with a resistor to ground at each pin; nothing of this circuit but the device counts.

    Raises
    ------
    Refusal
        The file holds no device.
    """
    path = Path(path)
    entry = device(path.name, path.parent)
    pins = {pin: "ground" if pin in ("emitter", "cathode") else pin for pin in
            (("base", "collector", "emitter") if isinstance(entry.model, BJT) else ("anode", "cathode"))}
    parts: dict[str, Any] = {NAME: {"kind": entry.model.kind, "use": path.name, "nodes": pins}}
    for node in [node for node in pins.values() if node != "ground"]:
        parts[f"R_{node}"] = {"kind": "resistor", "nodes": [node, "ground"], "resistance": "50 ohm"}
    parts[_PORTS] = {"kind": "resistor", "nodes": ["in", "out"], "resistance": "50 ohm"}
    tree = {"title": entry.title, "drive": {"port": "input", "frequency": "1 GHz", "power": "-30 dBm"},
            "port": {"input": {"node": "in"}, "output": {"node": "out"}}, "part": parts}
    return build(tree, file=str(path), folder=path.parent)


def is_alone(description: Description) -> bool:
    """Whether it is one that `device_alone` made."""
    return NAME in description.devices and _PORTS in description.parts


def addressed(values: Mapping[str, _T], description: Description) -> dict[str, _T]:
    """Values by address: of a device alone the names of parameters are enough, also several of them with a comma
    between, with "*", and after the word "scale"."""
    return {_addressed(name): value for name, value in values.items()} if is_alone(description) else dict(values)


def _addressed(name: str) -> str:
    scaled = _SCALE if name.startswith(_SCALE) else ""
    pieces = [piece.strip() for piece in name.removeprefix(_SCALE).split(",")]
    return scaled + ", ".join(piece if "." in piece else f"{NAME}.{piece}" for piece in pieces)
