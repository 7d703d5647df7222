"""What a sweep keeps of each point: levels, losses, match, phase, efficiency, supply currents, and how far they can be
trusted; where it is asked for also the heat in each device and the peak voltage at it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.figures import DeviceHeat, PeakVoltage
from ..balance.solution import FLOOR_DBM, MATCH_FLOOR_DBM, Solver, SteadyState
from ..balance.spectrum import phasors
from ..balance.system import System
from ..describe.description import Description
from ..quantities import watts


TRUST = ("harmonics", "truncation_db", "truncation_others_db", "solved")
PHASE_CHANGE = "phase_change_deg_per_db"  # of the wanted output
HEAT, PEAK = "dissipation_watts_", "peak_volts_"
_UNITS = {"dbm": "dBm", "dbc": "dB", "db": "dB", "amps": "A", "watts": "W", "volts": "V", "deg": "deg"}


def column_unit(name: str) -> str:
    """Unit of a column, as its name says it: "dBm" of "output_dbm_2"; "1" of a pure number."""
    if name == PHASE_CHANGE:
        return "deg"  # for each dB of drive
    return next((_UNITS[word] for word in name.split("_") if word in _UNITS), "1")


def column_names(description: Description, accuracy: Accuracy, harmonics: int | None,
                 devices: bool = False) -> list[str]:
    """Columns that a sweep finds, in order; each name carries its unit, but for "efficiency", a pure number."""
    names = [f"output_dbm_{k}" for k in range(1, accuracy.lines_of(description, harmonics) + 1)]
    names += ["conversion_loss_db", "input_return_loss_db"]
    names += [f"output_phase_deg_{description.wanted_harmonic}", "efficiency", "supply_watts"]
    names += [f"supply_amps_{name}" for name in description.supplies]
    if devices:
        names += [head + name for name in description.devices for head in (HEAT, PEAK)]
    return [*names, *TRUST]


@dataclass(frozen=True, eq=False)
class Outputs:
    """What comes out at a row of points.

    levels : (n_point, lines + 1), at the wanted port; minus infinity where nothing comes out, and at DC. [dBm]
    return_loss : (n_point,), at the driven port. [dB]
    amps : supply -> (n_point,), current that it delivers. [A]
    supply_watts : (n_point,), what all supplies give, the heat in their own resistance included. [W]
    phase : (n_point,), of the voltage at the wanted port and harmonic against the generator's, a cosine. [deg]
    """

    levels: np.ndarray
    return_loss: np.ndarray
    amps: dict[str, np.ndarray]
    supply_watts: np.ndarray
    phase: np.ndarray
    wanted: int

    def columns(self, drive_dbm: np.ndarray) -> dict[str, np.ndarray]:
        """The same as columns of a table, for drives (n_point,) in dBm."""
        found = {f"output_dbm_{k}": self.levels[:, k] for k in range(1, self.levels.shape[1])}
        wanted = self.levels[:, self.wanted]
        found["conversion_loss_db"] = drive_dbm - wanted
        found[f"output_phase_deg_{self.wanted}"] = np.where(np.isfinite(wanted), self.phase, np.nan)
        given = self.supply_watts + 1e-3 * 10 ** (drive_dbm / 10)
        found["efficiency"] = 1e-3 * 10 ** (wanted / 10) / np.where(given > 0, given, np.nan)
        found["supply_watts"] = self.supply_watts
        found["input_return_loss_db"] = np.where(drive_dbm < MATCH_FLOOR_DBM, np.nan, self.return_loss)
        return found | {f"supply_amps_{name}": amps for name, amps in self.amps.items()}


def outputs(system: System, description: Description, forms: np.ndarray, flows: np.ndarray, sources: np.ndarray,
            lines: int) -> Outputs:
    """What comes out, from device-node voltages and currents, by the rows of the network that lead to the terminals.

    Parameters
    ----------
    forms, flows : ndarray, (n_point, n, 2 K + 1)
        Voltages [V] of the device nodes and currents [A] out of them into the devices, in real form.
    sources : ndarray, complex, (n_point, n_driven, n_source)
        At DC and the first harmonics; none has a voltage above these. [V]
    lines : int
        Harmonics that count, 1 to this.
    """
    network = system.network
    rows = 2 * lines + 1
    given = np.zeros((len(forms), lines + 1, 2 * forms.shape[1] + sources.shape[2]), complex)
    given[:, :, :forms.shape[1]] = phasors(forms[:, :, :rows]).transpose(0, 2, 1)
    given[:, :, forms.shape[1]:2 * forms.shape[1]] = phasors(flows[:, :, :rows]).transpose(0, 2, 1)
    driven = min(sources.shape[1], lines + 1)
    given[:, :driven, 2 * forms.shape[1]:] = sources[:, :driven]

    def unknown(column: int, harmonics: slice) -> np.ndarray:
        return np.einsum("kg,pkg->pk", network.row(column)[harmonics], given[:, harmonics])

    def voltage(port: str, harmonics: slice) -> np.ndarray:
        return unknown(network.layout.nodes[description.ports[port].node], harmonics)

    wave = voltage(description.wanted_port, slice(0, lines + 1))
    phase = np.degrees(np.angle(wave[:, description.wanted_harmonic]))
    wave[:, :driven] -= sources[:, :driven, network.sources.index(f"port.{description.wanted_port}")] / 2
    power = np.abs(wave) ** 2 / (2 * description.ports[description.wanted_port].impedance)
    power[:, 0] = 0.0
    generator = sources[:, 1, network.sources.index(f"port.{description.drive.port}")]
    with np.errstate(divide="ignore"):
        levels = 10 * np.log10(1e3 * power)
        match = -20 * np.log10(np.abs(2 * voltage(description.drive.port, slice(1, 2))[:, 0] / generator - 1))
    levels[levels < FLOOR_DBM] = -np.inf
    amps = {name: -unknown(network.layout.currents[f"supply.{name}"], slice(0, 1))[:, 0].real
            for name in description.supplies}
    spent = sum((sources[:, 0, network.sources.index(f"supply.{name}")].real * flow for name, flow in amps.items()),
                np.zeros(len(forms)))
    return Outputs(levels, match, amps, spent, phase, description.wanted_harmonic)


def truncation_columns(changes: np.ndarray, wanted: int) -> dict[str, np.ndarray]:
    """How far the lines moved with more harmonics, from (n_point, lines + 1) in dB: the wanted one, the most of the
    others; not a number where nothing is known. [dB]"""
    others = np.delete(changes, wanted, axis=1)
    most = np.where(np.isnan(others).all(axis=1), np.nan, np.nan_to_num(others, nan=-np.inf).max(axis=1, initial=-1.0))
    return {"truncation_db": changes[:, wanted], "truncation_others_db": most}


def device_columns(system: System, description: Description, form: np.ndarray,
                   sources: np.ndarray) -> dict[str, float]:
    """Heat in each device [W], and the peak voltage between its main and its common pin [V], at one point: form
    (n, 2 K + 1) [V], sources at DC and the first harmonics (n_driven, n_source) [V]."""
    given = np.zeros((system.harmonics + 1, sources.shape[1]), complex)
    given[:len(sources)] = sources
    return _of_devices(SteadyState(description, system, form, given, Solver(system.harmonics, 0, 0, 0.0)))


def _of_devices(state: SteadyState) -> dict[str, float]:
    found = {}
    for mounted in state.system.mounted:
        name, device, pins = mounted.name, mounted.device, mounted.pins
        found[HEAT + name] = DeviceHeat(name).value(state, state.description)
        found[PEAK + name] = PeakVoltage(pins[device.main_pin], pins[device.common]).value(state, state.description)
    return found


def heated_outputs(state: SteadyState, estimate: bool, devices: bool = False) -> dict[str, np.ndarray]:
    """The columns of one solved state."""
    found = {f"output_dbm_{k}": state.output_dbm(k) for k in range(1, state.lines + 1)}
    found |= {"conversion_loss_db": state.conversion_loss_db, "input_return_loss_db": state.input_return_loss_db,
              "harmonics": float(state.solver.harmonics), "solved": 1.0, "supply_watts": state.dc_power_w}
    wanted = state.description.wanted_harmonic
    audible = np.isfinite(state.output_dbm(wanted))
    found[f"output_phase_deg_{wanted}"] = state.output_phase_deg(wanted) if audible else np.nan
    given = state.dc_power_w + watts(state.description.drive.power_dbm)
    found["efficiency"] = (state.efficiency if audible else 0.0) if given > 0 else np.nan
    found |= _of_devices(state) if devices else {}
    found |= {f"supply_amps_{name}": supply.amps for name, supply in state.supplies.items()}
    known = state.truncation if estimate else None
    if known is not None:
        columns = truncation_columns(known.line_db[None], state.description.wanted_harmonic)
        found |= {name: float(value[0]) for name, value in columns.items()}
    return {name: np.array([value]) for name, value in found.items()}
