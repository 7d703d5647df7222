"""Measurements of a device alone: DC curves, junction capacitances, S-parameters at a bias.

Everything here is quick to compute, so slopes are differences of what is predicted, by the formulas of
balance/differences.py. A device with a thermal resistance heats itself, as under direct current it does; one that was
measured with short pulses stays at its temperature, and so do capacitances, which are measured without current.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..balance.differences import Formula, Points, differenced, step_from_zero
from ..describe.description import Description
from ..devices.bjt import BJT
from ..devices.contract import Device
from ..devices.diode import Diode
from ..errors import Refusal, nearest
from ..quantities import quantities, show
from ..studies.bias import CURRENT_SOURCE, Bias
from ..studies.device_curves import chip
from ..studies.heated_bias import NO_BIAS, HeatedRow, heated_sweep
from ..studies.small_signal import SmallSignal, slopes as law_slopes
from .cautions import of_a_device
from .compare import Comparison
from .dataset import MeasuredPoints
from .measurement import Measurement, alike

FREQUENCY, REVERSE = "frequency", "reverse_volts"
_SOURCES = {"base_volts": ("base", 0.0), "collector_volts": ("collector", 0.0), "base_amps": ("base", CURRENT_SOURCE),
            "anode_volts": ("anode", 0.0)}
_CURRENTS = {"base_amps": "base", "collector_amps": "collector", "emitter_amps": "emitter", "anode_amps": "anode"}
_JUNCTIONS = {"base_emitter_farads": (0,), "base_collector_farads": (1, 3), "collector_substrate_farads": (4,),
              "junction_farads": (0,)}
_UNITS = {"volts": "V", "amps": "A", "farads": "F", FREQUENCY: "Hz"}
_USUAL = 1e9  # where a part that starts from zero counts, of DC curves. [Hz]
_NEXT_TO_ZERO = 10.0  # steps from zero within which nothing bends (balance/differences.py)
_NEXT_TO_ZERO_AMPS = 1e-3  # of leakage currents, which have no usual size
_REFERENCE = 50.0  # of S-parameters. [ohm]
_BY_RATIO = 10.0  # a current so many times its uncertainty is compared by its logarithm: it spans decades


def device_unit(name: str) -> str:
    """Unit of a setting or quantity of a device alone, by the last word of its name."""
    return _UNITS.get(name.rpartition("_")[2], "1")


def is_device_word(word: str) -> bool:
    """Whether a meaning is a setting or a quantity of a device alone."""
    return word in _SOURCES or word in _CURRENTS or word in _JUNCTIONS or word in (FREQUENCY, REVERSE) \
        or re.fullmatch(r"s[12][12]_(re|im)", word) is not None


def is_of_a_device(measurement: Measurement) -> bool:
    """Whether its settings are those of a device alone."""
    return bool(measurement.settings) and set(measurement.settings) <= {*_SOURCES, FREQUENCY, REVERSE}


def is_pulsed(tree: Mapping[str, Any], file: str) -> bool:
    """Whether the TOML file beside the data says that a device was measured in short pulses."""
    said = tree.get("pulsed", False)
    if not isinstance(said, bool):
        raise Refusal("is true or false", "pulsed", file)
    return said


class DevicePoints(MeasuredPoints):
    """Measured numbers of one device.

    Parameters
    ----------
    description : Description
        Holds the device; its address gives the unknowns ("Q1.IS").
    device : str
        Its name there.
    measurement : Measurement
        Settings: "base_volts" or "base_amps" with "collector_volts" (emitter at ground), "anode_volts" (cathode at
        ground), or "reverse_volts" of a junction; with "frequency" for S-parameters. Quantities: "collector_amps",
        "base_amps", "emitter_amps", "anode_amps"; "base_emitter_farads", "base_collector_farads",
        "collector_substrate_farads", "junction_farads"; "s11_re", "s11_im" and so on, port 1 at the base, port 2 at
        the collector, 50 ohm. Voltages and currents are those at the pins: currents into them, so that the emitter's is
        negative for an NPN, and those of base and collector for a PNP. Capacitances are those of the chip.

    Raises
    ------
    Refusal
        Settings or quantities that do not go together, or that this device does not have; when predicted, currents
        that all flow the other way.
    """

    def __init__(self, description: Description, device: str, measurement: Measurement, pulsed: bool = False) -> None:
        if device not in description.devices:
            raise Refusal(f"there is no device '{device}'{nearest(device, description.devices)}", "", measurement.name)
        self.description, self.device, self.pulsed = description, device, pulsed
        self._take(measurement)
        self._part: Device = description.devices[device].part
        self._kind = self._checked()
        values, standard = self.measured, self.standard
        amps = np.array([name in _CURRENTS for _, name in self.place], bool)
        self._log = amps & (np.abs(values) > _BY_RATIO * standard) & (self.limit == 0)
        self._sign = np.where(values < 0, -1.0, 1.0)
        self._by_ratio = {word: self._log & np.array([other == word for _, other in self.place], bool)
                          for word in measurement.quantities}
        with np.errstate(divide="ignore", invalid="ignore"):
            self.measured = np.where(self._log, np.log(np.abs(values)), values)
            self.standard = np.where(self._log, standard / np.abs(values), standard)
        self.units = ["1" if log else device_unit(name) for log, (_, name) in zip(self._log, self.place)]
        self._at = description
        self._numbers = self.measured
        self.reasons: dict[int, str] = {}
        self._kelvins: np.ndarray | None = None

    def _checked(self) -> str:
        settings, names = set(self.measurement.settings), set(self.measurement.quantities)
        known = {"base", "collector", "emitter"} if isinstance(self._part, BJT) else {"anode", "cathode"}
        if not isinstance(self._part, (BJT, Diode)):
            raise Refusal("only transistors and diodes are measured alone", self.device, self.name)
        for name in settings & set(_SOURCES):
            if _SOURCES[name][0] not in known:
                raise Refusal(f"a {self._part.kind} has no {_SOURCES[name][0]}", name, self.name)
        if REVERSE in settings:
            if settings != {REVERSE} or not names <= set(_JUNCTIONS):
                raise Refusal(f"a capacitance is measured against {REVERSE} alone; its names are "
                              f"{', '.join(_JUNCTIONS)}", "", self.name)
            return "capacitance"
        if FREQUENCY in settings:
            self._check_scattering(names)
            return "scattering"
        if not settings or not names <= set(_CURRENTS):
            raise Refusal(f"against {', '.join(sorted(settings)) or 'nothing'} one of {', '.join(_CURRENTS)} is "
                          "measured", "", self.name)
        self._check_sources(settings)
        driven = {_SOURCES[name][0] for name in settings}
        if driven == {"base", "collector"}:
            driven.add("emitter")  # at ground: it takes what the others give
        for name in sorted(names):
            if _CURRENTS[name] not in driven:
                pin = _CURRENTS[name]
                raise Refusal(f"the voltage at the {pin} is not said; make it a column, or write for example "
                              f'[settings] "{pin}_volts" = "3 V"', name, self.name)
        return "currents"

    def _check_sources(self, settings: set[str]) -> None:
        if {"base_volts", "base_amps"} <= settings:
            raise Refusal("voltage and current of the base are both set, and a source holds one of them; take one for "
                          "what was measured", "base_amps", self.name)

    def _check_scattering(self, names: set[str]) -> None:
        ports = 2 if isinstance(self._part, BJT) else 1
        known = {f"s{i}{j}_{part}" for i in range(1, ports + 1) for j in range(1, ports + 1) for part in ("re", "im")}
        if not names <= known:
            wrong = sorted(names - known)[0]
            raise Refusal(f"'{wrong}' is no S-parameter of this device{nearest(wrong, known)}", "", self.name)
        self._check_sources(set(self.measurement.settings))

    def addresses(self) -> list[str]:
        cold = self.pulsed or self._kind == "capacitance"
        return [f"{self.device}.{name}" for name in quantities(type(self._part))
                if not (cold and name == "thermal_resistance")]

    def predict(self, values: Mapping[str, float]) -> np.ndarray:
        self._at, self._kelvins = self.description.with_values(values) if values else self.description, None
        self._numbers, row = self._predicted(self._at)
        self.reasons = {} if row is None else row.reasons
        self._kelvins = None if row is None else row.kelvins
        return self._compared_as(self._numbers)

    def slopes(self, addresses: Sequence[str]) -> np.ndarray:
        here = self._compared_as(self._predicted(self._at)[0])

        def slope(_: Formula, points: Points) -> np.ndarray:
            # weights add up to nothing: what stands still has a slope of zero to the last digit
            return sum(weight * (self._compared_as(self._predicted(neighbour)[0]) - here)
                       for weight, neighbour in points)

        highest = 2 * np.pi * float(self.measurement.settings.get(FREQUENCY, np.array([_USUAL])).max())
        columns = [differenced(self._base(address, highest), address, highest, slope) for address in addresses]
        return np.array(columns).T.reshape(len(self.place), len(addresses))

    def _base(self, address: str, highest: float) -> Description:
        """Where the slope along a quantity is taken: at zero if it is next to that, as a search that begins at zero
        is; a step in proportion to the value would drown in rounding."""
        spec, value = self._at.look_up(address)
        near = (_NEXT_TO_ZERO_AMPS if spec.unit == "A" else _NEXT_TO_ZERO) * step_from_zero(spec.unit, highest)
        if spec.minimum != 0.0 or spec.above or not value or value > near:
            return self._at
        try:
            return self._at.with_values({address: 0.0})
        except Refusal:  # it goes with another one
            return self._at

    def missing(self, number: int) -> tuple[str, str]:
        if self._log[number] and np.isfinite(self._numbers[number]):
            return f"is predicted with the other sign ({show(self._numbers[number], 'A', 3)})", \
                "; with an uncertainty in amperes that holds for the smallest currents too, such as \"5 pA\", it counts"
        what, more = super().missing(number)
        reason = self.reasons.get(self.place[number][0])
        return what, f": {reason}" if reason else more

    def comparison(self, predicted: np.ndarray) -> Comparison:
        with np.errstate(over="ignore"):
            plain = np.where(self._log, self._sign * np.exp(np.where(self._log, predicted, 0.0)), predicted)
        plain = np.where(self._log & ~np.isfinite(predicted), self._numbers, plain)  # of the other sign
        units = {name: device_unit(name) for name in self.measurement.settings}
        found = self._compared(plain, device_unit, units, self.measurement.quantities, self.reasons)
        found = replace(found, notes=(*found.notes, *self._heat_notes()))
        if self._kind != "currents":
            return found
        currents = {name: item.values for name, item in self.measurement.quantities.items()}
        return replace(found, cautions=of_a_device(self._part, self.measurement.settings, currents))

    def _heat_notes(self) -> list[str]:
        part = self._at.devices[self.device].part
        if self._kind == "capacitance":
            return []
        ambient, resistance = show(part.temperature, "K", 4), show(part.thermal_resistance, "K/W", 4)
        if self.pulsed:
            return [f"measured in pulses: the device stays at {ambient}"
                    + (f", its thermal_resistance ({resistance}) does nothing" if part.thermal_resistance else "")]
        if not part.thermal_resistance:
            return [f"the device stays at {ambient}: its model states no thermal_resistance, by which it would heat "
                    "itself under direct current"]
        if self._kelvins is None or not np.isfinite(self._kelvins).any():
            return []
        return [f"the device heats itself ({resistance}, from {ambient}): up to "
                f"{show(np.nanmax(self._kelvins), 'K', 4)}; of curves that were measured in short pulses write "
                "pulsed = true into the TOML file beside the data"]

    def _predicted(self, description: Description) -> tuple[np.ndarray, HeatedRow | None]:
        """The numbers of the device as described; how its biases were solved."""
        device = description.devices[self.device].part
        if self._kind == "capacitance":
            table, row = self._capacitance(device), None
        else:
            self.solves += len(self.place)
            row = self._biased(device)
            table = (self._scattering if self._kind == "scattering" else self._currents)(device, row)
        numbers = np.array([table[name][point] for point, name in self.place])
        self._check_signs(numbers)
        return numbers, row

    def _check_signs(self, numbers: np.ndarray) -> None:
        """Refuse currents that all flow the other way than the device's."""
        for name, here in self._by_ratio.items():
            if here.any() and (self._sign[here] * numbers[here] < 0).all():
                raise Refusal(f"all numbers of {name} have the other sign than those of the {self._part.kind}; a "
                              "current counts as positive into its pin; write scale = -1 for that column in [columns], "
                              "or mend the settings", name, self.name)

    def _compared_as(self, numbers: np.ndarray) -> np.ndarray:
        """Logarithms where these are compared; nan of a number of the other sign."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self._log, np.log(np.where(self._log, self._sign * numbers, 1.0)), numbers)

    def _sources(self) -> list[str]:
        return [name for name in self.measurement.settings if name in _SOURCES]

    def _biased(self, device: Device) -> HeatedRow:
        """The device at every point; equal biases are solved once, in the order in which they first come."""
        names = self._sources()
        bias = Bias(device, dict(_SOURCES[name] for name in names))
        values = np.stack([self.measurement.settings[name] for name in names], axis=1)
        rows, place = alike(values)
        if self.pulsed or device.heating == 0.0:
            nodes, amps = bias.sweep(values[rows])
            kelvins = np.full(len(rows), device.temperature)
            reasons = dict.fromkeys(np.flatnonzero(~np.isfinite(amps).all(axis=1)).tolist(), NO_BIAS)
            found = HeatedRow(nodes, amps, kelvins, reasons)
        else:
            found = heated_sweep(bias, values[rows], None if self._kelvins is None else self._kelvins[rows])
        reasons = {point: found.reasons[at] for point, at in enumerate(place.tolist()) if at in found.reasons}
        return HeatedRow(found.nodes[place], found.amps[place], found.kelvins[place], reasons)

    def _currents(self, device: Device, row: HeatedRow) -> dict[str, np.ndarray]:
        pins = [_SOURCES[name][0] for name in self._sources()]
        found = {name: row.amps[:, pins.index(pin)] for name, pin in _CURRENTS.items() if pin in pins}
        return found | {"emitter_amps": -row.amps.sum(axis=1)}

    def _capacitance(self, device: Device) -> dict[str, np.ndarray]:
        device = chip(device)
        reverse, sign = self.measurement.settings[REVERSE], -1.0 if getattr(device, "polarity", "npn") == "pnp" else 1.0
        found = {}
        for name in self.measurement.quantities:
            branches = _JUNCTIONS[name]
            voltage = np.zeros((len(device.branches()), len(reverse)))
            voltage[list(branches)] = -sign * reverse
            _, dq, _ = law_slopes(device, voltage)
            found[name] = sum(dq[branch, branch] for branch in branches)
        return found

    def _scattering(self, device: Device, row: HeatedRow) -> dict[str, np.ndarray]:
        """S from the admittance of the pins, S = (1 - Z Y) (1 + Z Y)^-1 (D. M. Pozar, Microwave Engineering, 4th ed.,
        Wiley 2012, table 4.2; from memory)."""
        pins = dict.fromkeys(["base", "collector"] if isinstance(device, BJT) else ["anode"], 0.0)
        frequency = self.measurement.settings[FREQUENCY]
        found = {name: np.full(len(frequency), np.nan) for name in self.measurement.quantities}
        biases = np.column_stack([row.nodes, row.kelvins])
        for bias in np.unique(biases[np.isfinite(biases).all(axis=1)], axis=0):
            points = np.flatnonzero((biases == bias).all(axis=1))
            # the junctions keep their temperature while the signal swings: heat does not follow it
            ideal = Bias(device.at(float(bias[-1])), pins)
            y = SmallSignal(ideal.system, 2 * np.pi * frequency[points]).source_admittance(bias[:-1])
            one = np.eye(y.shape[1])
            s = np.linalg.solve((one + _REFERENCE * y).transpose(0, 2, 1), (one - _REFERENCE * y).transpose(0, 2, 1))
            for name in found:
                value = s.transpose(0, 2, 1)[:, int(name[1]) - 1, int(name[2]) - 1]
                found[name][points] = value.real if name.endswith("re") else value.imag
        return found
