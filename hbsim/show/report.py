"""Pages of text: a prediction, a sweep."""

from __future__ import annotations

import math

import numpy as np

from ..balance.device_state import CONDUCTING, DeviceState
from ..quantities import show
from ..studies.prediction import Prediction
from ..studies.sweep import SweepTable

CAUTION = ("Cautions: keep DC and more than the rated power out of generator and analyser; parts run hot; solder and "
           "board dust belong\nneither in lungs nor on food; radiate only inside your licence and the local rules. "
           "The ratings printed on parts and\ninstruments and the local codes decide, not this page.")


def prediction_page(prediction: Prediction) -> str:
    """The readable page of `hbsim predict`."""
    state = prediction.state
    description = state.description
    wanted = description.wanted_harmonic
    lines = [description.title]
    if description.about:
        lines += _wrapped(description.about)
    lines += ["", f"Drive   {_level(description.drive.power_dbm)} dBm at {_frequency(description.drive.frequency)} into "
              f"port {description.drive.port}",
              f"Wanted  harmonic {wanted}, {_frequency(state.frequency[wanted])}, at port {description.wanted_port}", "",
              f"Output at port {description.wanted_port}",
              "  harmonic     frequency       level   to wanted     phase"]
    for k in range(1, state.system.harmonics + 1):
        mark = "  <- wanted" if k == wanted else ""
        lines.append(f"  {k:8d}  {_frequency(state.frequency[k]):>12}  {_level(state.output_dbm(k)):>6} dBm  "
                     f"{_level(state.output_dbc(k)):>6} dBc  {state.output_phase_deg(k):6.1f} deg{mark}")
    loss = state.conversion_loss_db
    lines += ["", f"{'Conversion loss' if loss >= 0 else 'Conversion gain'}  {abs(loss):.2f} dB",
              f"Input return loss  {_level(state.input_return_loss_db)} dB (large signal, at this drive)",
              f"DC power  {show(state.dc_power_w, 'W', 3)}, efficiency {100 * state.efficiency:.2g} % "
              "(output at the wanted harmonic over DC and drive)"]
    for name, supply in state.supplies.items():
        lines.append(f"Supply {name}  {show(supply.volts, 'V')}, {show(supply.amps, 'A', 3)}")
    for device in state.devices.values():
        lines += ["", *device_lines(device, state.frequency)]
    solver = state.solver
    truncation = "unknown" if prediction.truncation_db is None else f"{max(prediction.truncation_db, 1e-9):.1g} dB"
    lines += ["", f"Solved  {solver.harmonics} harmonics, {solver.samples} samples, {solver.iterations} Newton steps; "
              f"current error {solver.residual:.0e} of what cancels;",
              f"        truncation {truncation} at the wanted harmonic (change when harmonics and samples are doubled)"]
    if prediction.warnings:
        lines += ["", "Warnings"]
        for sentence in prediction.warnings:
            lines += _wrapped(sentence, "  - ", "    ")
    return "\n".join([*lines, "", CAUTION])


def device_lines(device: DeviceState, frequency: np.ndarray) -> list[str]:
    """DC point, harmonics at the pins, and what is reached, of one device."""
    dc = ", ".join(f"{pin} {show(float(device.pin_voltage[pin][0].real), 'V', 3)} "
                   f"{show(float(device.pin_current[pin][0].real), 'A', 3)}" for pin in device.pin_voltage)
    lines = [f"{device.name}  average: {dc}",
             f"  conducts over {device.conduction_angle_deg:.0f} deg of the period (current above "
             f"{100 * CONDUCTING:.0f} % of its peak of {show(float(device.conduction.max()), 'A', 3)})"]
    for rating in device.ratings:
        limit = "no limit stated" if rating.limit is None else f"limit {show(rating.limit, rating.unit, 3)}"
        mark = "  EXCEEDED" if rating.exceeded else ""
        lines.append(f"  {rating.meaning}: {show(rating.value, rating.unit, 3)} ({limit}){mark}")
    for pin in device.circuit_impedance:
        lines.append(f"  at the {pin} pin, peak values; and the impedance that the circuit shows between {pin} and "
                     f"{device.common}")
        for k in range(1, min(5, len(frequency) - 1) + 1):
            shown = device.circuit_impedance[pin][k]
            impedance = f"{shown.real:8.1f} {'+' if shown.imag >= 0 else '-'} j{abs(shown.imag):.1f} ohm" \
                if np.isfinite(shown) else "    undetermined"
            voltage = device.pin_voltage[pin][k] - device.pin_voltage[device.common][k]
            lines.append(f"  {k:6d}  {_frequency(frequency[k]):>12}  {show(abs(voltage), 'V', 3):>9}  "
                         f"{show(abs(complex(device.pin_current[pin][k])), 'A', 3):>9}  {impedance}")
    return lines


def sweep_page(table: SweepTable, compression: str | None) -> str:
    """The readable page of `hbsim sweep`: a thinned table, and the compression point for a drive sweep."""
    wanted = table.wanted_harmonic
    axes = list(table.axes)
    shown = [f"output_dbm_{k}" for k in sorted({1, 2, 3, wanted}) if k <= table.harmonics]
    shown += ["conversion_loss_db", "input_return_loss_db"] + [c for c in table.columns if c.startswith("supply_amps_")]
    points = int(np.prod(table.shape))
    picked = range(points) if points <= 60 else np.linspace(0, points - 1, 60).astype(int)
    header = axes + shown
    rows = []
    grid = np.unravel_index(np.arange(points), table.shape)
    for n in picked:
        row = [show(float(table.axes[a][grid[i][n]]), table.units[a], 6) for i, a in enumerate(axes)]
        if table.columns["solved"][n]:
            row += [show(float(table.columns[c][n]), "A", 3) if "amps" in c else _level(float(table.columns[c][n]))
                    for c in shown]
        else:
            row += ["unsolved"] + [""] * (len(shown) - 1)
        rows.append(row)
    widths = [max(len(r[i]) for r in [header, *rows]) for i in range(len(header))]
    lines = [table.title, "", *("  ".join(cell.rjust(w) for cell, w in zip(r, widths)) for r in [header, *rows])]
    if points > 60:
        lines.append(f"({points} points; every {points / 60:.3g}th shown, --csv writes all)")
    solved = int(table.columns["solved"].sum())
    lines += ["", f"{solved} of {points} points solved, {table.iterations / max(points, 1):.1f} Newton steps a point"]
    for number, reason in list(table.reasons.items())[:5]:
        place = ", ".join(f"{a} = {show(float(table.axes[a][grid[i][number]]), table.units[a], 6)}"
                          for i, a in enumerate(axes))
        lines += _wrapped(f"not solved at {place}: {reason}")
    if compression:
        lines += ["", *_wrapped(compression)]
    return "\n".join(lines)


def _level(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else ("none" if value < 0 else "infinite")


def _frequency(value: float) -> str:
    return show(value, "Hz", 7)


def _wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    import textwrap
    return textwrap.wrap(" ".join(text.split()), 110, initial_indent=first, subsequent_indent=rest)
