"""Pages of text: a prediction, a sweep."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np

from ..balance.device_state import CONDUCTING, DeviceState
from ..balance.solution import SteadyState
from ..quantities import show
from ..studies.compression import Compression, sentence
from ..studies.prediction import UNSURE, Prediction
from ..studies.table import SweepTable
from .style import scaled

WIDTH = 110
MOST_REASONS = 2
MOST_ROWS, MOST_COLUMNS = 60, 12  # of a table on the page; --csv writes all
DEVICE_HARMONICS = 5
_ROUNDING = 1e-12  # an average below this is told as 0. [V], [A]
_SHARE = 1e-6  # a share of uncancelled current above this says nothing
CAUTION = ("Cautions: keep DC and more than the rated power out of generator and analyser; parts run hot; solder and "
           "board dust belong neither in lungs nor on food; radiate only inside your licence and the local rules. "
           "The ratings printed on parts and instruments and the local codes decide, not this page.")


def prediction_page(prediction: Prediction) -> str:
    """The readable page of `hbsim predict`."""
    state = prediction.state
    lines = [*_wrapped(state.description.title), *_wrapped(state.description.about), "", *_output_lines(prediction), "",
             *_summary_lines(state)]
    for device in state.devices.values():
        lines += ["", *device_lines(device, state.frequency)]
    lines += ["", *_solver_lines(prediction)]
    if prediction.warnings:
        lines += ["", "Warnings"]
        for warning in prediction.warnings:
            lines += _wrapped(warning, "  - ", "    ")
    return "\n".join([*lines, "", *_wrapped(CAUTION)]).lstrip("\n")


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
    return [f"Driven with {show(drive.power_dbm, 'dBm')} at {_frequency(drive.frequency)} into port {drive.port}; "
            f"wanted: harmonic {wanted} at port {description.wanted_port}", "",
            f"Output at port {description.wanted_port} (phase against the generator's voltage, a cosine)",
            *_table(rows, left=(6,)), *remark]


def _summary_lines(state: SteadyState) -> list[str]:
    loss = state.conversion_loss_db
    rows = [["Conversion loss" if not loss < 0 else "Conversion gain", f"{_level(abs(loss))} dB"],
            ["Input return loss", f"{_level(state.input_return_loss_db)} dB, large-signal, at this drive"]]
    rows += [[f"Supply {name}", f"{show(supply.volts, 'V')}, {show(supply.amps, 'A')}"]
             for name, supply in state.supplies.items()]
    rows += [["DC power", show(state.dc_power_w, "W")],
             ["Efficiency", f"{100 * state.efficiency:.3g} % (wanted output over DC and drive power)"]]
    return _table(rows, left=(0, 1))


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
    others = "" if np.isnan(changes).all() else f", the others shown by {_change(float(np.nanmax(changes)))} at most"
    verb = "moves" if known.coarse == solver.harmonics else "moved"
    return lines + _wrapped(f"Truncation: from {known.coarse} to {known.fine} harmonics the wanted output {verb} by "
                            f"{_change(prediction.truncation_db)}{others}.")


def _change(error: float | None) -> str:
    if error is None or not math.isfinite(error):
        return "an unknown amount"
    return "less than 0.001 dB" if error < 1e-3 else f"{error:.1g} dB"


def device_lines(device: DeviceState, frequency: np.ndarray) -> list[str]:
    """DC point, what is reached of its ratings, and the harmonics at the pins of one device."""
    lines = [f"{device.name}: averages at its pins (voltage against ground, current into the pin)"]
    lines += _table([["", pin, _average(device.pin_voltage[pin], "V"), _average(device.pin_current[pin], "A")]
                     for pin in device.pin_voltage if _carries(device, pin)], left=(1,))
    lines.append(f"  conducts over {device.conduction_angle_deg:.0f} deg of the period; junctions at "
                 f"{show(device.temperature, 'K')}")
    lines.append(f"  (angle: the inner current, without capacitances, is above {100 * CONDUCTING:.0f} % of its peak of "
                 f"{show(float(device.conduction.max()), 'A')})")
    rows = [["", rating.meaning, show(rating.value, rating.unit, 3),
             "no limit stated" if rating.limit is None else f"limit {show(rating.limit, rating.unit, 3)}",
             "EXCEEDED" if rating.exceeded else ""] for rating in device.ratings]
    lines += _table(rows, left=(1, 3, 4))
    for pin in device.circuit_impedance:
        lines += ["", f"  {device.name} {pin}: peak values against the {device.common}, and the impedance that the "
                  "circuit shows there", "  (all devices lifted out, sources off)"]
        rows = [["", "harmonic", "frequency", "voltage", "current", "impedance"]]
        for k in range(1, min(DEVICE_HARMONICS, len(frequency) - 1) + 1):
            voltage = device.pin_voltage[pin][k] - device.pin_voltage[device.common][k]
            current, impedance = device.pin_current[pin][k], device.circuit_impedance[pin][k]
            rows.append(["", str(k), _frequency(frequency[k]), show(float(abs(voltage)), "V"),
                         show(float(abs(current)), "A"), _impedance(impedance)])
        lines += _table(rows)
    return lines


def sweep_page(table: SweepTable, found: Compression | None, remarks: Sequence[str] = ()) -> str:
    """The readable page of `hbsim sweep`: what came out, thinned where it is long, and where it is best."""
    points = table.solved.size
    two = len(table.axes) == 2 and min(table.shape) > 1
    lines = [*_wrapped(table.title), "", *(_grids(table) if two else _list(table)), "",
             f"{int(table.solved.sum())} of {points} points solved, "
             f"{sum(table.iterations.values()) / points:.1f} Newton steps each"]
    for remark in remarks:
        lines += _wrapped(remark)
    if found is not None:
        lines += _wrapped(sentence(found))
    for number in sorted(table.reasons)[:MOST_REASONS]:
        lines += _wrapped(f"Not solved at {table.place_text(number)}: {table.reasons[number]}")
    if len(table.reasons) > MOST_REASONS:
        lines.append(f"({len(table.reasons) - MOST_REASONS} more not solved; --json gives every reason)")
    return "\n".join([*lines, "", *_wrapped(CAUTION)]).lstrip("\n")


def _list(table: SweepTable) -> list[str]:
    """A row for each point."""
    names, units, cells = [], [], []
    numbers = _thinned(table.solved.size, MOST_ROWS)
    places = [table.place(int(n)) for n in numbers]
    for address in table.axes:
        values, unit = scaled(np.array([place[address] for place in places]), table.units[address])
        names.append(address), units.append(unit), cells.append([f"{value:.6g}" for value in values])
    shown = [k for k in sorted({1, 2, 3, table.wanted_harmonic}) if k <= table.lines]
    columns = [(_times_f0(k), f"output_dbm_{k}", "dBm") for k in shown]
    columns += [("conversion loss", "conversion_loss_db", "dB"), ("return loss", "input_return_loss_db", "dB")]
    for name, column, unit in columns:
        names.append(name), units.append(unit), cells.append([_level(v) for v in table.columns[column][numbers]])
    for column in (column for column in table.columns if column.startswith("supply_amps_")):
        values, unit = scaled(table.columns[column][numbers], "A")
        names.append(f"I({column.removeprefix('supply_amps_')})"), units.append(unit)
        cells.append([f"{value:.4g}" for value in values])
    rows = [list(row) for row in zip(*cells)]
    for n, row in zip(numbers, rows):
        if not table.columns["solved"][n]:
            row[len(table.axes):] = ["unsolved"] + [""] * (len(row) - len(table.axes) - 1)
    lines = _table([names, units, *rows])
    if len(numbers) < table.solved.size:
        lines.append(f"({len(numbers)} of {table.solved.size} points shown; --csv writes all)")
    return lines


def _grids(table: SweepTable) -> list[str]:
    """Wanted output and return loss, the first quantity down and the second across."""
    (first, down), (second, across) = table.axes.items()
    (down, down_unit), (across, across_unit) = (scaled(table[a], table.units[a]) for a in (first, second))
    rows, columns = _thinned(len(down), MOST_ROWS // 2), _thinned(len(across), MOST_COLUMNS)
    lines = []
    for title, column in ((f"Output at {_times_f0(table.wanted_harmonic)} / dBm", table.wanted),
                          ("Input return loss / dB", "input_return_loss_db")):
        cells = [[f"{down[r]:.6g}", *(_level(table[column][r, c]) if table.solved[r, c] else "-" for c in columns)]
                 for r in rows]
        lines += ["", f"{title}; down: {_with_unit(first, down_unit)}; across: {_with_unit(second, across_unit)}",
                  *_table([["", *(f"{across[c]:.6g}" for c in columns)], *cells])]
    if len(rows) < len(down) or len(columns) < len(across):
        lines.append("(thinned; --csv writes all)")
    return lines[1:]


def _with_unit(address: str, unit: str) -> str:
    return f"{address} / {unit}" if unit else address


def _thinned(count: int, most: int) -> np.ndarray:
    """Numbers from 0 to count - 1 in equal steps, at most so many."""
    return np.arange(0, count, max(1, math.ceil(count / most)))


def _table(rows: list[list[str]], left: tuple[int, ...] = ()) -> list[str]:
    """Rows of cells as lines, columns aligned to the right except those named in `left`."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return ["  ".join(cell.ljust(width) if i in left else cell.rjust(width)
                      for i, (cell, width) in enumerate(zip(row, widths))).rstrip() for row in rows]


def _times_f0(harmonic: int) -> str:
    return "f0" if harmonic == 1 else f"{harmonic} f0"


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


def _wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(" ".join(text.split()), WIDTH, initial_indent=first, subsequent_indent=rest)
