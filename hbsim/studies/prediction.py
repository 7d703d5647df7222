"""A prediction: one solved state, how far it can be trusted, and what to beware of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ..balance.accuracy import Accuracy, tolerance_words
from ..balance.device_state import DeviceState
from ..balance.solution import SteadyState
from ..describe.description import Drive
from ..devices.contract import Rating
from ..quantities import dbm, finite_or_none, show
from .circuit import Circuit
from .junctions import junction_parts, junctions_json
from .ranges import range_warnings

# Common practice, no source: inputs of signal generators and analysers are often rated for +20 to +30 dBm and for
# little or no DC. The label on the instrument decides.
HARMFUL_DBM = 20.0
HARMFUL_DC = 0.1  # [V]
COARSE_DB = 0.1  # a truncation error of the wanted output above this is worth a warning. [dB]
UNSURE_DB = 0.5  # a line that moves by more with more harmonics is marked. [dB]
UNSURE = f"moves by more than {UNSURE_DB:g} dB with more harmonics: not to be trusted to the digits shown"
FAR_OVER = 5.0  # times its limit: no matter of tuning, rather of wiring


@dataclass(frozen=True)
class Prediction:
    """One solved state, how far its lines can be trusted, and its warnings.

    Attributes
    ----------
    state : SteadyState
    line_changes_db : ndarray, (lines + 1,)
        By how much each line shown moves with more harmonics; not a number where that is unknown or the line is
        below the floor. [dB]
    warnings : tuple of str
    """

    state: SteadyState
    line_changes_db: np.ndarray
    warnings: tuple[str, ...]

    @property
    def truncation_db(self) -> float | None:
        """The change of the wanted line; None where it is unknown. [dB]"""
        return finite_or_none(self.line_changes_db[self.state.description.wanted_harmonic])

    @property
    def unsure(self) -> np.ndarray:
        """Which lines move by more than UNSURE_DB, (lines + 1,) of bool."""
        return self.line_changes_db > UNSURE_DB


def predict(circuit: Circuit, *, harmonics: int | None = None, accuracy: Accuracy = Accuracy()) -> Prediction:
    """Solve the circuit as it stands, with what is known of the truncation error.

    Raises
    ------
    NotSolved, Refusal
        As Circuit.solve.
    """
    state = circuit.solve(harmonics=harmonics, accuracy=accuracy)
    known = state.truncation
    changes = np.full(state.lines + 1, math.nan) if known is None else known.line_db
    return Prediction(state, changes, tuple(warnings(state)))


def _truncation_warnings(state: SteadyState) -> list[str]:
    wanted, known = state.description.wanted_harmonic, state.truncation
    if not math.isfinite(state.output_dbm(wanted)):
        return [f"nothing comes out of port {state.description.wanted_port} at the wanted harmonic {wanted}"]
    if known is None:
        return ["the truncation error could not be estimated: with more harmonics there is no solution, or the data of "
                "a part ends"]
    error = known.line_db[wanted]
    if known.coarse == state.solver.harmonics:  # the number was given
        return [] if not error > COARSE_DB else [
            f"{known.fine} harmonics instead of {known.coarse} change the wanted output by {error:.2g} dB; give more, "
            "or leave the number out"]
    return [] if known.met else [
        f"{known.fine} harmonics were not enough for {tolerance_words(state.accuracy)}: the last step, from "
        f"{known.coarse}, still moved a line by {np.nanmax(known.line_db):.2g} dB"]


def warnings(state: SteadyState) -> list[str]:
    """Sentences on everything that should be known before the numbers are used or the circuit is built.

    What could break a part or an instrument comes first, then what limits the numbers; a sentence that holds for
    several parts stands once.
    """
    description, found = state.description, []
    for name, device in state.devices.items():
        found += [f"{name}: {sentence}" for sentence in rating_warnings(device)]
        pins = [pin for pin in device.pin_voltage if pin not in description.devices[name].part.optional]
        if any(_far_over(rating) for rating in device.ratings):
            found.append(f"{name}: check which pin is {', '.join(pins[:-1])} and {pins[-1]}")
    for name in description.ports:
        found += port_warnings(state, name)
    if state.input_return_loss_db < -1e-9:
        found.append(f"port {description.drive.port} gives back more at the drive frequency than it gets "
                     f"(return loss {state.input_return_loss_db:.2f} dB): the circuit may oscillate, and then this "
                     "periodic state is not what the bench shows")
    wanted = description.wanted_harmonic
    found += _truncation_warnings(state)
    found += description.notes
    parts: dict[str, list[str]] = {}
    for name, placed in description.devices.items():
        for sentence in placed.part.warnings():
            parts.setdefault(sentence, []).append(name)
    ranged = [(name, placed.part) for name, placed in description.parts.items()] + junction_parts(description.joined)
    return [*found, *(f"{', '.join(names)}: {sentence}" for sentence, names in parts.items()),
            *range_warnings(ranged, float(state.frequency[wanted]), float(state.frequency[-1]))]


class Hazard(NamedTuple):
    """What could break a part or an instrument.

    what : of which quantity, alike at all states: "Q1: peak collector voltage".
    share : how many times its limit is reached.
    sentence : for people, without the name of a device.
    """

    what: str
    share: float
    sentence: str


def hazards(state: SteadyState) -> list[Hazard]:
    """Of all devices, whose sentences begin with their names, then of all ports."""
    found = [Hazard(f"{name}: {item.what}", item.share, f"{name}: {item.sentence}")
             for name, device in state.devices.items() for item in rating_hazards(device.ratings)]
    return found + [item for name in state.description.ports for item in _port_hazards(state, name)]


def rating_warnings(device: DeviceState) -> list[str]:
    """A sentence for each limit that is exceeded."""
    return [item.sentence for item in rating_hazards(device.ratings)]


def rating_hazards(ratings: Sequence[Rating]) -> list[Hazard]:
    """Of the limits of one device that are exceeded."""
    found = []
    for rating in ratings:
        if rating.exceeded:
            sentence = (f"{rating.meaning} reaches {show(rating.value, rating.unit)}, above the limit of "
                        f"{show(rating.limit, rating.unit)}")
            if "reverse base-emitter" in rating.meaning:
                sentence += ("; the model knows no breakdown: a real junction clamps here, and these numbers no longer "
                             "hold")
            found.append(Hazard(rating.meaning, abs(rating.value / rating.limit) if rating.limit else math.inf,
                                sentence))
    return found


def _far_over(rating: Rating) -> bool:
    return rating.meaning.startswith("average") and rating.exceeded and rating.value > FAR_OVER * rating.limit


def port_warnings(state: SteadyState, port: str) -> list[str]:
    """What could harm an instrument at a port."""
    return [item.sentence for item in _port_hazards(state, port)]


def _port_hazards(state: SteadyState, port: str) -> list[Hazard]:
    found = []
    total = dbm(sum(state.output_watts(k, port) for k in range(1, state.system.harmonics + 1)))
    if total > HARMFUL_DBM:
        found.append(Hazard(f"port {port}: power", 10 ** ((total - HARMFUL_DBM) / 10),
                            f"port {port}: {harmful_power(total, 'come out')}"))
    level = float(state.voltage(state.description.ports[port].node)[0].real)
    if abs(level) > HARMFUL_DC:
        found.append(Hazard(f"port {port}: DC", abs(level) / HARMFUL_DC,
                            f"port {port}: {show(level, 'V', 3)} of DC stands at the connector and can harm an "
                            "instrument; add a coupling capacitor"))
    return found


def harmful_power(total_dbm: float, where: str) -> str:
    """The sentence on power above HARMFUL_DBM; `where`: "come out", "reach the analyser"."""
    return f"{total_dbm:.1f} dBm {where}; check the rating of what is connected, use an attenuator"


def _drive_json(drive: Drive) -> dict[str, float]:
    """The generator; its own second harmonic where that is given."""
    own = {"second_harmonic_db": drive.second_harmonic, "second_harmonic_phase_deg": drive.second_harmonic_phase or 0.0}
    return {"frequency_hz": drive.frequency, "power_dbm": drive.power_dbm} | (
        own if drive.second_harmonic is not None else {})


def as_json(prediction: Prediction) -> dict[str, Any]:
    """The prediction as plain data; every key carries its unit, None stands for no number."""
    state = prediction.state
    description, solver = state.description, state.solver
    output = [{"harmonic": k, "frequency_hz": float(state.frequency[k]), "dbm": finite_or_none(state.output_dbm(k)),
               "dbc": finite_or_none(state.output_dbc(k)), "phase_deg": state.output_phase_deg(k),
               "truncation_db": finite_or_none(prediction.line_changes_db[k])}
              for k in range(1, state.lines + 1)]
    known = state.truncation
    return {
        "title": description.title,
        "drive": _drive_json(description.drive),
        "wanted_port": description.wanted_port,
        "wanted_harmonic": description.wanted_harmonic,
        "output": output,
        "conversion_loss_db": finite_or_none(state.conversion_loss_db),
        "input_return_loss_db": finite_or_none(state.input_return_loss_db),
        "supplies": {name: {"volts": s.volts, "amps": s.amps} for name, s in state.supplies.items()},
        "devices": {name: _device_json(device, state.frequency) for name, device in state.devices.items()},
        "dc_power_w": state.dc_power_w,
        "efficiency": state.efficiency,
        "solver": {"harmonics": solver.harmonics, "samples": solver.samples, "iterations": solver.iterations,
                   "residual": solver.residual, "truncation_db": prediction.truncation_db,
                   "truncation_between": None if known is None else [known.coarse, known.fine],
                   "tolerance_met": None if known is None else known.met},
        **junctions_json(description),
        "warnings": list(prediction.warnings),
    }


def _device_json(device: DeviceState, frequency: np.ndarray) -> dict[str, Any]:
    at_pins = {}
    for pin in device.pin_voltage:
        shown = device.circuit_impedance.get(pin)
        at_pins[pin] = [{"harmonic": k, "frequency_hz": float(frequency[k]),
                         "volts": abs(complex(device.pin_voltage[pin][k])),
                         "volts_phase_deg": float(np.degrees(np.angle(device.pin_voltage[pin][k]))),
                         "amps": abs(complex(device.pin_current[pin][k])),
                         "amps_phase_deg": float(np.degrees(np.angle(device.pin_current[pin][k]))),
                         "circuit_impedance_ohm": None if shown is None or not np.isfinite(shown[k])
                         else [float(shown[k].real), float(shown[k].imag)]}
                        for k in range(1, len(frequency))]
    pin = device.main_pin
    volts, amps = device.voltage_waveform(pin), device.current_waveform(pin)
    return {
        "waveform": {"pin": pin, "against": device.common, "period_s": 1.0 / float(frequency[1]),
                     "time_s": (np.arange(len(volts)) / len(volts) / frequency[1]).tolist(), "volts": volts.tolist(),
                     "amps": amps.tolist(), "average_volts": float(volts.mean()), "average_amps": float(amps.mean())},
        "average_volts": {pin: float(v[0].real) for pin, v in device.pin_voltage.items()},
        "average_amps": {pin: float(i[0].real) for pin, i in device.pin_current.items()},
        "dissipation_w": device.dissipation,
        "junction_temperature_k": device.temperature,
        "conduction_angle_deg": device.conduction_angle_deg,
        "peaks": [{"quantity": r.meaning, "value": finite_or_none(r.value), "unit": r.unit, "limit": r.limit,
                   "exceeded": bool(r.exceeded)} for r in device.ratings],
        "pins": at_pins,
    }
