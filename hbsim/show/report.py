"""Pages of text: a prediction, a sweep."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..balance.accuracy import tolerance_words
from ..balance.device_state import CONDUCTING, DeviceState
from ..balance.solution import SteadyState
from ..quantities import show
from ..studies.branches import unsettled_others
from ..studies.compression import Compression, sentence
from ..studies.prediction import UNSURE, Prediction
from ..studies.table import SweepTable
from .junctions import junction_sentences
from .ranking import foremost, given_watts
from .style import axis_label, harmonic_name, scaled
from .text import table as aligned
from .text import wrapped

MOST_REASONS = 2
MOST_ROWS, MOST_COLUMNS = 60, 12  # of a table on the page; --csv writes all
DEVICE_HARMONICS = 5
MOST_BLOCKS = 3  # devices that are told of in full
_LIFTED_ALONE = "  (all devices lifted out, sources off)"
_LIFTED = "  (each pin alone: the other devices, which may act with it, are lifted out too; sources off)"
_TINY_DB = 1e-3  # a change below this is told as "less than"
_ROUNDING = 1e-12  # an average below this is told as 0. [V], [A]
_SHARE = 1e-6  # a share of uncancelled current above this says nothing
_TURNED = ("turned: the way of turning the drive that meets the state; neither: it lies between the jumps, and is not "
           "reached so")
CAUTION = ("Cautions: keep DC and more than the rated power out of generator and analyser; parts run hot; solder and "
           "board dust belong neither in lungs nor on food; radiate only inside your licence and the local rules. "
           "The ratings printed on parts and instruments and the local codes decide, not this page.")


def prediction_page(prediction: Prediction) -> str:
    """The readable page of `hbsim predict`."""
    state = prediction.state
    lines = [*wrapped(state.description.title), *wrapped(state.description.about), "", *_output_lines(prediction), "",
             *_summary_lines(state)]
    lines += [*_devices(state), "", *_solver_lines(prediction)]
    for said in junction_sentences(state.description):
        lines += wrapped(said)
    if prediction.warnings:
        lines += ["", "Warnings"]
        for warning in prediction.warnings:
            lines += wrapped(warning, "  - ", "    ")
    return "\n".join([*lines, "", *wrapped(CAUTION)]).lstrip("\n")


def _output_lines(prediction: Prediction) -> list[str]:
    state, description = prediction.state, prediction.state.description
    wanted = description.wanted_harmonic
    rows = [["", "harmonic", "frequency", "level", "to wanted", "phase", ""]]
    for k in range(1, state.lines + 1):
        level = state.output_dbm(k)
        rows.append(["", str(k), _frequency(state.frequency[k]),
                     f"{'~ ' if prediction.unsure[k] else ''}{_level(level)} dBm", f"{_level(state.output_dbc(k))} dBc",
                     f"{state.output_phase_deg(k):.1f} deg" if math.isfinite(level) else "",
                     "<- wanted" if k == wanted else ""])
    drive = description.drive
    remark = [f"~ {UNSURE}"] if prediction.unsure[1:].any() else []
    own = "" if drive.second_harmonic is None else \
        f" with its own 2 f0 at {show(drive.second_harmonic, 'dB')}, {show(drive.second_harmonic_phase or 0.0, 'deg')},"
    return [f"Driven with {show(drive.power_dbm, 'dBm')} at {_frequency(drive.frequency)}{own} into port {drive.port}; "
            f"wanted: harmonic {wanted} at port {description.wanted_port}", "",
            f"Output at port {description.wanted_port} (phase against the generator's voltage, a cosine)",
            *aligned(rows, left=(6,)), *remark]


def _summary_lines(state: SteadyState) -> list[str]:
    loss = state.conversion_loss_db
    rows = [["Conversion loss" if not loss < 0 else "Conversion gain", f"{_level(abs(loss))} dB"],
            ["Input return loss", f"{_level(state.input_return_loss_db)} dB, large-signal, at this drive"]]
    rows += [[f"Supply {name}", f"{show(supply.volts, 'V')}, {show(supply.amps, 'A')}"]
             for name, supply in state.supplies.items()]
    rows += [["DC power", show(state.dc_power_w, "W")],
             ["Efficiency", f"{100 * state.efficiency:.3g} % (wanted output over DC and drive power)"]]
    return aligned(rows, left=(0, 1))


def _devices(state: SteadyState) -> list[str]:
    """All that is told of the devices; where they are many, of the first in full and of all in one row each."""
    shown, count = foremost(state, MOST_BLOCKS), len(state.devices)
    lines = [] if len(shown) == count else ["", *_roll(state, shown)]
    for device in shown:
        lines += ["", *device_lines(device, state.frequency, alone=count == 1)]
    return lines


def _roll(state: SteadyState, shown: Sequence[DeviceState]) -> list[str]:
    """A row for each device; which ones are told of in full."""
    devices, wanted = list(state.devices.values()), state.description.wanted_harmonic
    pins = list(dict.fromkeys(device.main_pin for device in devices))
    rows = [["", "device", f"into {' or '.join(pins)}", "dissipation", "conducts",
             f"gives at {harmonic_name(wanted)}", ""]]
    rows += [["", device.name, _average(device.pin_current[device.main_pin], "A"), show(device.dissipation, "W", 3),
              f"{device.conduction_angle_deg:.0f} deg", show(given_watts(device, wanted), "W", 3),
              "EXCEEDED" if any(rating.exceeded for rating in device.ratings) else ""] for device in devices]
    names = ", ".join(device.name for device in shown)
    return [*wrapped(f"{len(devices)} devices: average current, heat, conduction, and the power that each gives to "
                      f"the circuit at {harmonic_name(wanted)} (a minus: takes). Told in full below: {names}; no "
                      "other gives more there."), *aligned(rows, left=(1, 6))]


def _solver_lines(prediction: Prediction) -> list[str]:
    solver, known = prediction.state.solver, prediction.state.truncation
    # where hardly any current flows, rounding is a large share of it
    balance = "rounding" if solver.residual > _SHARE else f"{solver.residual:.0e} of what cancels"
    lines = [f"Solved with {solver.harmonics} harmonics and {solver.samples} samples in {solver.iterations} Newton "
             f"steps; currents balance to {balance}."]
    if known is None:
        return [*lines, "Truncation error: unknown."]
    changes = known.line_db.copy()
    changes[prediction.state.description.wanted_harmonic] = math.nan
    others = ""
    if not np.isnan(changes).all():
        most = float(np.nanmax(changes))
        others = f", the others shown by {_change(most)}{' at most' if most >= _TINY_DB else ''}"
    given = known.coarse == solver.harmonics
    why = "their number was given" if given else f"asked for: {tolerance_words(prediction.state.accuracy)}"
    return lines + wrapped(f"Truncation: from {known.coarse} to {known.fine} harmonics the wanted output "
                            f"{'moves' if given else 'moved'} by {_change(prediction.truncation_db)}{others} ({why}).")


def _change(error: float | None) -> str:
    if error is None or not math.isfinite(error):
        return "an unknown amount"
    return f"less than {_TINY_DB:g} dB" if error < _TINY_DB else f"{error:.1g} dB"


def device_lines(device: DeviceState, frequency: np.ndarray, alone: bool = True) -> list[str]:
    """DC point, what is reached of its ratings, and the harmonics at the pins of one device.

    Parameters
    ----------
    frequency : ndarray, (K + 1,). [Hz]
    alone : bool
        Whether it is the only device of its circuit.
    """
    lines = [f"{device.name}: averages at its pins (voltage against ground, current into the pin)"]
    lines += aligned([["", pin, _average(device.pin_voltage[pin], "V"), _average(device.pin_current[pin], "A")]
                     for pin in device.pin_voltage if _carries(device, pin)], left=(1,))
    lines += _conduction(device)
    rows = [["", rating.meaning, show(rating.value, rating.unit, 3),
             "no limit stated" if rating.limit is None else f"limit {show(rating.limit, rating.unit, 3)}",
             "EXCEEDED" if rating.exceeded else ""] for rating in device.ratings]
    lines += aligned(rows, left=(1, 3, 4))
    for pin in device.circuit_impedance:
        lines += ["", f"  {device.name} {pin}: peak values against the {device.common}, and the impedance that the "
                  "circuit shows there", _LIFTED_ALONE if alone else _LIFTED]
        rows = [["", "harmonic", "frequency", "voltage", "current", "impedance"]]
        for k in range(1, min(DEVICE_HARMONICS, len(frequency) - 1) + 1):
            voltage = device.pin_voltage[pin][k] - device.pin_voltage[device.common][k]
            current, impedance = device.pin_current[pin][k], device.circuit_impedance[pin][k]
            rows.append(["", str(k), _frequency(frequency[k]), show(float(abs(voltage)), "V"),
                         show(float(abs(current)), "A"), _impedance(impedance)])
        lines += aligned(rows)
    return lines


def _conduction(device: DeviceState) -> list[str]:
    peak, at = float(device.conduction.max()), f"junctions at {show(device.temperature, 'K')}"
    if peak < _ROUNDING:
        return [f"  does not conduct at any time of the period; {at}"]
    return [f"  conducts over {device.conduction_angle_deg:.0f} deg of the period; {at}",
            f"  (angle: the inner current, without capacitances, is above {100 * CONDUCTING:.0f} % of its peak of "
            f"{show(peak, 'A')})"]


def sweep_page(table: SweepTable, found: Compression | None, remarks: Sequence[str] = ()) -> str:
    """The readable page of `hbsim sweep`: what came out, thinned where it is long, and where it is best."""
    points = table.solved.size
    two = len(table.axes) == 2 and min(table.shape) > 1
    lines = [*wrapped(table.title), "", *(_grids(table) if two else _list(table)), "",
             f"{int(table.solved.sum())} of {points} points solved{_harmonics(table)}, "
             f"{sum(table.iterations.values()) / points:.1f} Newton steps each"]
    for remark in remarks:
        lines += wrapped(remark)
    if found is not None:
        lines += wrapped(sentence(found))
    for number in sorted(table.reasons)[:MOST_REASONS]:
        lines += wrapped(f"Not solved at {table.place_text(number)}: {table.reasons[number]}")
    if len(table.reasons) > MOST_REASONS:
        lines.append(f"({len(table.reasons) - MOST_REASONS} more not solved; --json gives every reason)")
    return "\n".join([*lines, "", *wrapped(CAUTION)]).lstrip("\n")


def _harmonics(table: SweepTable) -> str:
    used = table.columns["harmonics"][table.columns["solved"]]
    if not len(used):
        return ""
    low, high = int(used.min()), int(used.max())
    return f" with {low} harmonics" if low == high else f" with {low} to {high} harmonics"


def _list(table: SweepTable) -> list[str]:
    """A row for each point, or for each state of it where the way of turning the drive decides between several."""
    others = 0 if table.others is None else len(table.others.points)
    numbers = _thinned(table.solved.size, MOST_ROWS, others)
    states = _states(table, numbers)
    names, units, cells = [], [], []
    for address in table.axes:
        values, unit = scaled(np.array([table.place(int(n))[address] for n in states.points]), table.units[address])
        names.append(address), units.append(unit), cells.append([f"{value:.6g}" for value in values])
    if others:
        names.append("turned"), units.append(""), cells.append(list(states.turned))
    first = len(names)
    shown = [k for k in sorted({1, 2, 3, table.wanted_harmonic}) if k <= table.lines]
    columns = [(harmonic_name(k), f"output_dbm_{k}", "dBm") for k in shown]
    columns += [("conversion loss", "conversion_loss_db", "dB"), ("return loss", "input_return_loss_db", "dB")]
    for name, column, unit in columns:
        names.append(name), units.append(unit), cells.append([_level(v) for v in states.columns[column]])
    for column in (column for column in table.columns if column.startswith("supply_amps_")):
        values, unit = scaled(states.columns[column], "A")
        names.append(f"I({column.removeprefix('supply_amps_')})"), units.append(unit)
        cells.append([f"{value if abs(amps) > _ROUNDING else 0:.4g}"
                      for value, amps in zip(values, states.columns[column])])
    if states.unsettled.any():
        names.append(""), units.append(""), cells.append(["~" if less_sure else "" for less_sure in states.unsettled])
    rows = [list(row) for row in zip(*cells)]
    for solved, row in zip(states.columns["solved"], rows):
        if not solved:
            row[first:] = ["unsolved"] + [""] * (len(row) - first - 1)
    lines = aligned([names, units, *rows])
    if others:
        lines += wrapped(_TURNED)
    if states.unsettled.any():
        lines += wrapped(f"~ {_less_sure(table)}")
    if len(numbers) < table.solved.size:
        lines.append(f"({len(numbers)} of {table.solved.size} points shown; --csv writes all)")
    return lines


@dataclass(frozen=True, eq=False)
class _States:
    """Rows of a list: number of the point, the way that meets the state, its results, whether they are less sure."""

    points: np.ndarray
    turned: np.ndarray
    columns: dict[str, np.ndarray]
    unsettled: np.ndarray


def _states(table: SweepTable, numbers: np.ndarray) -> _States:
    """The states of some points of a table, the one met on the way up first."""
    found = _States(numbers, np.array([table.turned(int(n)) for n in numbers]),
                    {name: values[numbers] for name, values in table.columns.items()}, table.unsettled[numbers])
    if table.others is None or not len(table.others.points):
        return found
    rows = np.flatnonzero(np.isin(table.others.points, numbers))
    points = np.concatenate([numbers, table.others.points[rows]])
    order = np.argsort(points, kind="stable")
    return _States(points[order], np.concatenate([found.turned, table.others.turned[rows]])[order],
                   {name: np.concatenate([values, table.others.columns[name][rows]])[order]
                    for name, values in found.columns.items()},
                   np.concatenate([found.unsettled, unsettled_others(table)[rows]])[order])


def _less_sure(table: SweepTable) -> str:
    return f"less sure than {tolerance_words(table.accuracy)}"


def _grids(table: SweepTable) -> list[str]:
    """Wanted output and return loss, the first quantity down and the second across."""
    (first, down), (second, across) = table.axes.items()
    (down, down_unit), (across, across_unit) = (scaled(table[a], table.units[a]) for a in (first, second))
    rows, columns = _thinned(len(down), MOST_ROWS // 2), _thinned(len(across), MOST_COLUMNS)
    moving = table.unsettled.reshape(table.shape)
    lines = []
    for title, column in ((f"Output at {harmonic_name(table.wanted_harmonic)} / dBm", table.wanted),
                          ("Input return loss / dB", "input_return_loss_db")):
        marked = moving & (column == table.wanted)
        cells = [[f"{down[r]:.6g}", *(f"{'~' if marked[r, c] else ''}{_level(table[column][r, c])}"
                                      if table.solved[r, c] else "-" for c in columns)] for r in rows]
        lines += ["", f"{title}; down: {axis_label(first, down_unit)}; across: {axis_label(second, across_unit)}",
                  *aligned([["", *(f"{across[c]:.6g}" for c in columns)], *cells])]
    if len(rows) < len(down) or len(columns) < len(across):
        lines.append("(thinned; --csv writes all)")
    if moving[np.ix_(rows, columns)].any():
        lines += wrapped(f"~ {_less_sure(table)}")
    return lines[1:]


def _thinned(count: int, most: int, more: int = 0) -> np.ndarray:
    """Numbers from 0 to count - 1 in equal steps, at most so many rows; `more` of them have a row besides."""
    return np.arange(0, count, max(1, math.ceil((count + more) / most)))


def _carries(device: DeviceState, pin: str) -> bool:
    """Whether there is any voltage or current at a pin (a substrate at ground often has none)."""
    return max(np.abs(device.pin_voltage[pin]).max(), np.abs(device.pin_current[pin]).max()) > _ROUNDING


def _average(phasors: np.ndarray, unit: str) -> str:
    value = float(phasors[0].real)
    return show(value if abs(value) > _ROUNDING else 0.0, unit)


def _impedance(value: complex) -> str:
    if not np.isfinite(value):
        return "undetermined"
    return f"{value.real:.1f} {'-' if value.imag < 0 else '+'} j{abs(value.imag):.1f} ohm"


def _level(value: float) -> str:
    """Two decimals, without a minus before zero; where nothing comes out there is none."""
    if not math.isfinite(value):
        return "infinite" if value > 0 else "none"
    return f"{round(float(value), 2) + 0.0:.2f}"


def _frequency(value: float) -> str:
    return show(value, "Hz", 7)
