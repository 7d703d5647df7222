"""A prediction: one solved state, how far it can be trusted, and what to beware of."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..balance.device_state import DeviceState
from ..balance.solution import SteadyState
from ..balance.solve import truncation_db
from ..quantities import dbm, show
from .circuit import Circuit

# Common practice, no source: inputs of signal generators and analysers are often rated for +20 to +30 dBm and for
# little or no DC. The label on the instrument decides.
HARMFUL_DBM = 20.0
HARMFUL_DC = 0.1  # [V]
COARSE_DB = 0.1  # a truncation error above this is worth a warning. [dB]


@dataclass(frozen=True)
class Prediction:
    """One solved state with its truncation estimate [dB, None if it could not be made] and its warnings."""

    state: SteadyState
    truncation_db: float | None
    warnings: tuple[str, ...]


def predict(circuit: Circuit, *, harmonics: int | None = None) -> Prediction:
    """Solve the circuit as it stands, then again with twice the harmonics to learn the truncation error.

    Raises
    ------
    NotSolved, Refusal
        As Circuit.solve.
    """
    state = circuit.solve(harmonics=harmonics) if harmonics is not None else circuit.solve()
    error = truncation_db(state)
    if error is not None and not math.isfinite(error):
        error = None  # no output that could change
    return Prediction(state, error, tuple(warnings(state, error)))


def warnings(state: SteadyState, error: float | None) -> list[str]:
    """Sentences on everything that should be known before the numbers are used or the circuit is built.

    What could break a part or an instrument comes first, then what limits the numbers; a sentence that holds for
    several parts stands once.
    """
    description, found = state.description, []
    for name, device in state.devices.items():
        found += [f"{name}: {rating.meaning} reaches {show(rating.value, rating.unit)}, above the limit of "
                  f"{show(rating.limit, rating.unit)}" for rating in device.ratings if rating.exceeded]
    for name in description.ports:
        found += port_warnings(state, name)
    if state.input_return_loss_db < -1e-9:
        found.append(f"port {description.drive.port} gives back more at the drive frequency than it gets "
                     f"(return loss {state.input_return_loss_db:.2f} dB): the circuit may oscillate, and then this periodic "
                     "state is not what the bench shows")
    wanted, port = description.wanted_harmonic, description.wanted_port
    if not math.isfinite(state.output_dbm(wanted)):
        found.append(f"nothing comes out of port {port} at the wanted harmonic {wanted}")
    elif error is None:
        found.append("the truncation error could not be estimated: the doubled problem has no solution or no data")
    elif error > COARSE_DB:
        found.append(f"doubling the harmonics changes the wanted output by {error:.2g} dB; raise --harmonics")
    found += description.notes
    parts: dict[str, list[str]] = {}
    for name, placed in description.devices.items():
        for sentence in placed.part.warnings():
            parts.setdefault(sentence, []).append(name)
    for name, placed in description.parts.items():
        for sentence in placed.part.warnings(float(state.frequency[-1])):
            parts.setdefault(sentence, []).append(name)
    return found + [f"{', '.join(names)}: {sentence}" for sentence, names in parts.items()]


def port_warnings(state: SteadyState, port: str) -> list[str]:
    """What could harm an instrument at a port."""
    found = []
    total = dbm(sum(state.output_watts(k, port) for k in range(1, state.system.harmonics + 1)))
    if total > HARMFUL_DBM:
        found.append(f"port {port}: {total:.1f} dBm come out; check the rating of what is connected, use an attenuator")
    level = float(state.voltage(state.description.ports[port].node)[0].real)
    if abs(level) > HARMFUL_DC:
        found.append(f"port {port}: {show(level, 'V', 3)} of DC stands at the connector and can harm an instrument; "
                     "add a coupling capacitor")
    return found


def as_json(prediction: Prediction) -> dict[str, Any]:
    """The prediction as plain data; every key carries its unit, None stands for no number."""
    state = prediction.state
    description, solver = state.description, state.solver
    output = [{"harmonic": k, "frequency_hz": float(state.frequency[k]), "dbm": _finite(state.output_dbm(k)),
               "dbc": _finite(state.output_dbc(k)), "phase_deg": state.output_phase_deg(k)}
              for k in range(1, state.system.harmonics + 1)]
    return {
        "title": description.title,
        "drive": {"frequency_hz": description.drive.frequency, "power_dbm": description.drive.power_dbm},
        "wanted_port": description.wanted_port,
        "wanted_harmonic": description.wanted_harmonic,
        "output": output,
        "conversion_loss_db": _finite(state.conversion_loss_db),
        "input_return_loss_db": _finite(state.input_return_loss_db),
        "supplies": {name: {"volts": s.volts, "amps": s.amps} for name, s in state.supplies.items()},
        "devices": {name: _device_json(device, state.frequency) for name, device in state.devices.items()},
        "dc_power_w": state.dc_power_w,
        "efficiency": state.efficiency,
        "solver": {"harmonics": solver.harmonics, "samples": solver.samples, "iterations": solver.iterations,
                   "residual": solver.residual, "truncation_db": prediction.truncation_db},
        "warnings": list(prediction.warnings),
    }


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


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
    return {
        "average_volts": {pin: float(v[0].real) for pin, v in device.pin_voltage.items()},
        "average_amps": {pin: float(i[0].real) for pin, i in device.pin_current.items()},
        "dissipation_w": device.dissipation,
        "junction_temperature_k": device.temperature,
        "conduction_angle_deg": device.conduction_angle_deg,
        "peaks": [{"quantity": r.meaning, "value": _finite(r.value), "unit": r.unit, "limit": r.limit,
                   "exceeded": bool(r.exceeded)} for r in device.ratings],
        "pins": at_pins,
    }
