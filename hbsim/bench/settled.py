"""What was set while something was measured: what stood still, and the drive that reached the circuit."""

from __future__ import annotations

import numpy as np

from ..balance.gradient import figure
from ..describe.description import Description
from ..errors import Refusal
from ..quantities import Quantity, parse
from ..studies.outputs import column_unit
from .corrections import range_of
from .device_points import device_unit, is_device_word
from .setup import LEVELS, S_PARAMETERS, Setup


def spec(address: str, description: Description) -> Quantity:
    """Of a quantity of the circuit."""
    return description.look_up(address)[0]


def unit_of(name: str) -> str:
    """Unit of a measured quantity, of a circuit or of a device alone."""
    return device_unit(name) if is_device_word(name) else column_unit(name)


def check_uncertainties(setup: Setup, description: Description) -> None:
    """Refuse an uncertainty of nothing that is ever measured: a name that is misspelt would never be used."""
    for name in setup.uncertainty:
        if name in (LEVELS, S_PARAMETERS) or is_device_word(name):
            continue
        try:
            figure(name, description)
        except Refusal as refusal:
            raise Refusal(f"{refusal.what}; {LEVELS} stands for all output_dbm_N, {S_PARAMETERS} for all of a "
                          "Touchstone file", f"uncertainty.{name}", setup.file) from None


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


def second_harmonic(setup: Setup, f0: np.ndarray, notes: list[str]) -> np.ndarray | None:
    """What reaches the circuit of the generator's own second harmonic, against f0, (n_point,) [dB]; None if nothing is
    said of it."""
    level = setup.numbers.get("generator.second_harmonic")
    if level is None:
        return None
    taken = sum((loss.at(2.0 * f0) - loss.at(f0) for loss in setup.input), np.zeros(len(f0)))
    if taken.any():
        notes.append(f"the generator's second harmonic reaches the circuit weaker by {range_of(taken)} against its f0")
    return level - taken
