"""What was set while something was measured: what stood still, and the drive that reached the circuit."""

from __future__ import annotations

import numpy as np

from ..describe.description import Description
from ..errors import Refusal
from ..quantities import Quantity, parse
from ..studies.outputs import column_unit
from .corrections import range_of
from .device_points import device_unit, is_device_word
from .setup import Setup


def spec(address: str, description: Description) -> Quantity:
    """Of a quantity of the circuit."""
    return description.look_up(address)[0]


def unit_of(name: str) -> str:
    """Unit of a measured quantity, of a circuit or of a device alone."""
    return device_unit(name) if is_device_word(name) else column_unit(name)


def add_settings(settings: dict[str, np.ndarray], setup: Setup, description: Description, rows: int) -> None:
    """What stood still."""
    for address, text in setup.settings.items():
        if address in settings:
            raise Refusal("is set here and stands in a column too; keep one", f"settings.{address}", setup.file)
        if is_device_word(address):
            value = parse(text, device_unit(address), f"settings.{address}")
        else:
            value = spec(address, description).take(text, f"settings.{address}")
        settings[address] = np.full(rows, value)


def correct_drive(settings: dict[str, np.ndarray], setup: Setup, description: Description, f0: np.ndarray,
                  notes: list[str]) -> None:
    """The drive that reaches the circuit."""
    correction = setup.level_correction
    if (setup.input or correction) and "drive.power" not in settings:
        settings["drive.power"] = np.full(len(f0), description.drive.power_dbm)
    if correction:
        amount = correction.at(f0)
        settings["drive.power"] = settings["drive.power"] + amount
        notes.append(f"drive.power: the generator gives {range_of(amount, '+')} against what it shows "
                     f"({correction.rule})")
    for loss in setup.input:
        amount = loss.at(f0)
        settings["drive.power"] = settings["drive.power"] - amount
        notes.append(f"drive.power is what the generator shows less {range_of(amount)} ({loss.rule})")
