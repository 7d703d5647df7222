"""Which devices of many deserve the room on a page or in a picture."""

from __future__ import annotations

import numpy as np

from ..balance.device_state import DeviceState
from ..balance.solution import SteadyState
from ..balance.spectrum import mean_power

_ALIKE = 1e-4  # of the largest: powers and currents nearer to each other than this count as equal


def given_watts(device: DeviceState, harmonic: int) -> float:
    """Power that a device gives to the circuit at a harmonic, through all its pins; negative where it takes. [W]"""
    voltage, current = (np.stack(list(at_pins.values()), axis=1) for at_pins in (device.pin_voltage,
                                                                                 device.pin_current))
    return -float(mean_power(voltage, current)[harmonic])


def foremost(state: SteadyState, most: int) -> list[DeviceState]:
    """At most so many devices, in the order of the circuit file: none of the others gives more at the wanted harmonic.

    Of devices that give alike, as in a balanced circuit, those come first whose currents are not alike.
    """
    devices = list(state.devices.values())
    if len(devices) <= most:
        return devices
    given = np.array([given_watts(device, state.description.wanted_harmonic) for device in devices])
    steps = np.round(given / max(float(np.abs(given).max()) * _ALIKE, np.finfo(float).tiny))
    order = np.lexsort((np.arange(len(devices)), _times_seen(devices), -steps))
    return [devices[n] for n in sorted(order[:most])]


def _times_seen(devices: list[DeviceState]) -> np.ndarray:
    """How many devices before each have the same current into the main pin, (n,)."""
    currents = np.array([device.pin_current[device.main_pin] for device in devices])
    near = np.abs(currents[:, None] - currents).max(axis=2) <= _ALIKE * np.abs(currents).max()
    return np.tril(near, -1).sum(axis=1)
