"""Page of text of `hbsim device`: how the model file was understood, and what the device does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields

import numpy as np

from ..describe.library import Entry
from ..devices.bjt import BJT
from ..quantities import quantities, show
from ..studies.device_curves import Capacitance, DiodeCurves, TransistorCurves
from .text import table, wrapped

_CURRENTS = (1e-9, 1e-8, 1e-7, 1e-6, 1e-5, 1e-4, 3e-4, 1e-3, 3e-3, 1e-2, 2e-2, 3e-2, 5e-2, 0.1, 0.2, 0.5, 1.0)  # [A]
_NEAR = 1.5  # a solved bias stands for one of these currents when it lies within this factor


def device_page(found: TransistorCurves | DiodeCurves) -> str:
    """The page; raises nothing."""
    entry = found.entry
    lines = [entry.title, *wrapped(entry.about), "", *parameter_lines(entry), ""]
    if isinstance(found, TransistorCurves):
        lines += _transistor_lines(found)
    else:
        lines += _diode_lines(found)
    for heading, sentences in (("Notes", found.notes), ("Warnings", found.warnings)):
        if sentences:
            lines += ["", heading]
            for sentence in sentences:
                lines += wrapped(sentence, "  - ", "    ")
    return "\n".join(lines)


def parameter_lines(entry: Entry) -> list[str]:
    """Every parameter as understood, with its unit."""
    device = entry.model
    standard = {item.name: item.default for item in fields(device)}
    rows = []
    for name, spec in quantities(type(device)).items():
        value = getattr(device, name)
        if name in entry.filled.read_as_infinite:
            mark = " (the file says 0)"
        else:
            silent = name not in entry.filled.stated and value is not None and value == standard[name]
            mark = " *" if silent else ""
        rows.append([name, "not given" if value is None else show(value, spec.unit, 6), spec.meaning + mark])
    kind = device.polarity.upper() if isinstance(device, BJT) else device.kind
    return [f"As understood: {kind}; * is what holds where this file says nothing", *table(rows, left=(0, 2))]


def _transistor_lines(found: TransistorCurves) -> list[str]:
    npn = found.entry.model.polarity == "npn"
    v_ce, v_be, i_c, i_b = names = ("VCE", "VBE", "IC", "IB") if npn else ("VEC", "VEB", "-IC", "-IB")
    lines = [] if npn else ["A PNP: VEC and VEB are from emitter to collector and base, -IC and -IB come out of the "
                            "pins.", ""]
    at = found.fastest
    if at is not None:
        lines.append(f"Highest transition frequency  {show(found.transition_frequency[at], 'Hz', 3)} at {i_c} = "
                     f"{show(found.collector_current[at], 'A', 3)}, {v_ce} = {show(found.v_ce, 'V')} (bare chip)")
    if np.isfinite(found.current_gain).any():
        best = int(np.nanargmax(found.current_gain))
        lines.append(f"Highest current gain          {found.current_gain[best]:.3g} at {i_c} = "
                     f"{show(found.collector_current[best], 'A', 3)}, {v_ce} = {show(found.v_ce, 'V')}")
    lines += ["", f"At {v_ce} = {show(found.v_ce, 'V')}", *_bias_lines(found, names)]
    lines += ["  transition frequency: where the short-circuit current gain would reach 1 at 20 dB a decade, read "
              "half way down", "", f"{i_c} against {v_ce} (rows) and {i_b} (columns)", *_output_lines(found, v_ce)]
    return [*lines, *_capacitance_lines(found.capacitances)]


def _bias_lines(found: TransistorCurves, names: tuple[str, ...]) -> list[str]:
    _, v_be, i_c, i_b = names
    rows = [[v_be, i_c, i_b, "IC / IB", "transition frequency"]]
    for n in _nearest(found.collector_current, _CURRENTS):
        rows.append([show(found.v_be[n], "V", 3), show(found.collector_current[n], "A", 3),
                     show(found.base_current[n], "A", 3), f"{found.current_gain[n]:.3g}",
                     show(found.transition_frequency[n], "Hz", 3)])
    return table(rows)


def _output_lines(found: TransistorCurves, v_ce: str) -> list[str]:
    if not found.output:
        return ["  no bias was solved"]
    voltage = found.output[0].v_ce
    wanted = [0.1, 0.2, 0.3, 0.5, *(voltage[-1] * share for share in (0.2, 0.4, 0.6, 0.8, 1.0))]
    picked = sorted({int(np.argmin(np.abs(voltage - value))) for value in wanted})
    rows = [[v_ce, *(show(curve.base_current, "A", 3) for curve in found.output)]]
    rows += [[show(voltage[n], "V", 3), *(_solved(curve.collector_current[n], "A") for curve in found.output)]
             for n in picked]
    return table(rows)


def _diode_lines(found: DiodeCurves) -> list[str]:
    lines = []
    if len(found.cut_off):
        lines.append(f"Cut-off frequency  {show(found.cut_off[0], 'Hz', 3)} at 0 V, {show(found.cut_off[-1], 'Hz', 3)} "
                     "at the largest reverse voltage: 1 / (2 pi RS C), bare chip")
    picked = _nearest(found.current, _CURRENTS)
    if picked:
        rows = [["voltage", "current"], *([show(found.voltage[n], "V", 3), show(found.current[n], "A", 3)]
                                          for n in picked)]
        lines += ["", "Forward", *table(rows)]
    return [*lines, *_capacitance_lines(found.capacitances)]


def _capacitance_lines(capacitances: dict[str, Capacitance]) -> list[str]:
    lines = []
    for junction, found in capacitances.items():
        values = ", ".join(f"{show(found.capacitance[n], 'F', 3)} at {show(found.reverse_voltage[n], 'V')}"
                           for n in np.linspace(0, len(found.capacitance) - 1, 5).astype(int))
        lines.append(f"  {junction}  {values}")
    return ["", "Junction capacitances under reverse voltage", *lines] if lines else []


def _nearest(values: np.ndarray, wanted: Sequence[float]) -> list[int]:
    """Numbers of the solved points that lie nearest to wanted values, and the last; each once, in order."""
    solved = np.flatnonzero(np.isfinite(values) & (values > 0))
    if not len(solved):
        return []
    picked = {int(solved[-1])}
    for value in wanted:
        ratio = np.abs(np.log(values[solved] / value))
        if ratio.min() < math.log(_NEAR):
            picked.add(int(solved[np.argmin(ratio)]))
    return sorted(picked)


def _solved(value: float, unit: str) -> str:
    return show(value, unit, 3) if math.isfinite(value) else "unsolved"
