"""What `hbsim device` shows: the curves of one transistor or diode of the library.

DC curves are solved by the balance itself, bias by bias; a bias that is not solved stays a gap. All is drawn for the
bare chip with its resistances and junction capacitances, at the fixed junction temperature of the model file: a
package adds nothing at DC and belongs to no current gain, and self-heating would blur curves taken point by point.
Voltages and currents are those of normal operation, so for a PNP the negative of what stands between its pins.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..describe import library
from ..describe.library import Entry
from ..devices.bjt import BJT
from ..devices.contract import Device
from ..devices.diode import Diode
from ..errors import Refusal
from ..quantities import quantities, show
from .bias import CURRENT_SOURCE, Bias
from .small_signal import SmallSignal, slopes, transition_frequency

USUAL_CURRENT = 0.1  # curves end here where a model file states no limit of the current. [A]
USUAL_VOLTAGE = 5.0  # and here where it states none of the voltage. [V]
LEAST_CURRENT = 1e-9  # below it no curve is drawn. [A]
_STEP, _HIGHEST = 5e-3, 5.0  # of the voltage at the base or anode. [V]
_FREQUENCY = np.concatenate([[0.0], np.logspace(0, 12, 121)])  # where h21 is computed. [Hz]
_FAMILY = 6  # output curves


@dataclass(frozen=True, eq=False)
class Capacitance:
    """Capacitance of one junction against its reverse voltage. [V], [F]"""

    reverse_voltage: np.ndarray
    capacitance: np.ndarray


@dataclass(frozen=True, eq=False)
class OutputCurve:
    """Collector current against collector-emitter voltage at one base current. [A], [V], [A]"""

    base_current: float
    v_ce: np.ndarray
    collector_current: np.ndarray


@dataclass(frozen=True, eq=False)
class TransistorCurves:
    """Curves of a transistor chip in common emitter, in magnitudes.

    Attributes
    ----------
    entry : Entry
        The model file as understood.
    notes, warnings : tuple of str
    output : tuple of OutputCurve
    v_ce : float
        Collector-emitter voltage of all that follows. [V]
    v_be, collector_current, base_current : ndarray, (n_bias,)
        [V], [A], [A]
    current_gain : ndarray, (n_bias,)
        Collector over base current. [1]
    transition_frequency : ndarray, (n_bias,)
        See small_signal.py. [Hz]
    fastest : int or None
        Number of the bias with the highest transition frequency.
    frequency, gain : ndarray, (n_frequency,)
        At that bias, the size of the short-circuit current gain h21 over frequency. [Hz], [1]
    capacitances : dict
        Junction -> Capacitance; only those that the model has.
    """

    entry: Entry
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    output: tuple[OutputCurve, ...]
    v_ce: float
    v_be: np.ndarray
    collector_current: np.ndarray
    base_current: np.ndarray
    current_gain: np.ndarray
    transition_frequency: np.ndarray
    fastest: int | None
    frequency: np.ndarray
    gain: np.ndarray
    capacitances: dict[str, Capacitance]

    @property
    def gain_db(self) -> np.ndarray:
        """The same, (n_frequency,). [dB]"""
        return 20.0 * np.log10(self.gain)

    @property
    def line_db(self) -> np.ndarray:
        """20 dB a decade through 0 dB at the highest transition frequency, (n_frequency,). [dB]"""
        return 20.0 * np.log10(self.transition_frequency[self.fastest] / self.frequency)

    @property
    def dissipation_limit(self) -> tuple[np.ndarray, np.ndarray] | None:
        """Voltages within those of the output curves, and the collector current at the limit of the heat; None where
        the model has no limit. [V], [A]"""
        limit = self.entry.model.dissipation_max
        if limit is None or not self.output:
            return None
        voltage = np.linspace(0.0, self.output[0].v_ce[-1], 200)[1:]
        return voltage, limit / voltage


@dataclass(frozen=True, eq=False)
class DiodeCurves:
    """Curves of a diode chip.

    Attributes
    ----------
    entry : Entry
        The model file as understood.
    notes, warnings : tuple of str
    voltage, current : ndarray, (n_bias,)
        Forward, series resistance included. [V], [A]
    capacitances : dict
        "junction" -> Capacitance; empty if the model has none.
    cut_off : ndarray
        1 / (2 pi RS C) at each reverse voltage of the capacitance; empty without RS or capacitance. [Hz]
    """

    entry: Entry
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    voltage: np.ndarray
    current: np.ndarray
    capacitances: dict[str, Capacitance]
    cut_off: np.ndarray


def curves(name: str) -> TransistorCurves | DiodeCurves:
    """Compute the curves of a device of the library, or of a model file of one's own.

    Raises
    ------
    Refusal
        No such model (with the nearest name), or a kind of device that has no curves here.
    """
    entry = library.device(name)
    if isinstance(entry.model, BJT):
        return transistor_curves(entry)
    if isinstance(entry.model, Diode):
        return diode_curves(entry)
    raise Refusal(f"a device of kind '{entry.model.kind}' has no curves to show; transistors and diodes have", name)


def chip(device: Device) -> Device:
    """The device without its package: every quantity whose meaning is "package" at zero."""
    return replace(device, **{name: 0.0 for name, spec in quantities(type(device)).items()
                              if spec.meaning.startswith("package:")})


# -- transistors ---------------------------------------------------------------------------------------------------


def transistor_curves(entry: Entry) -> TransistorCurves:
    """Curves of a BJT; see `TransistorCurves`."""
    device = chip(entry.model)
    sign = 1.0 if device.polarity == "npn" else -1.0
    most = device.IC_max or USUAL_CURRENT
    highest = device.VCEO or USUAL_VOLTAGE
    v_ce = float(f"{highest * 2 / 3:.0e}")  # to one digit
    grid = np.arange(1, round(_HIGHEST / _STEP) + 1) * _STEP
    bias = Bias(device, {"base": 0.0, "collector": 0.0})
    nodes, currents = bias.sweep(sign * np.stack([grid, np.full_like(grid, v_ce)], axis=1), most)
    base, collector = sign * currents.T
    unsolved = int(np.isnan(collector).sum())
    shown = ~(collector < LEAST_CURRENT)
    nodes, v_be, base, collector = nodes[shown], grid[:len(shown)][shown], base[shown], collector[shown]
    with np.errstate(divide="ignore"):
        current_gain = collector / base
    h21 = _current_gains(bias, nodes)
    speed = np.array([transition_frequency(_FREQUENCY, row) for row in h21])
    fastest = int(np.nanargmax(speed)) if np.isfinite(speed).any() else None
    output = _output_curves(device, sign, most, highest, current_gain, collector)
    unsolved += sum(int(np.isnan(curve.collector_current).sum()) for curve in output)
    return TransistorCurves(
        entry, _notes(entry, {"IC_max": most, "VCEO": highest}, unsolved), tuple(device.warnings()), output, v_ce,
        v_be, collector, base, current_gain, speed, fastest, _FREQUENCY[1:],
        np.abs(h21[fastest, 1:]) if fastest is not None else np.full(len(_FREQUENCY) - 1, np.nan),
        _transistor_capacitances(device, sign, highest))


def _current_gains(bias: Bias, nodes: np.ndarray) -> np.ndarray:
    """h21 at each bias and frequency, complex, (n_bias, n_frequency); not a number where the bias is unsolved."""
    linear = SmallSignal(bias.system, 2 * np.pi * _FREQUENCY)
    gains = np.full((len(nodes), len(_FREQUENCY)), np.nan + 0j)
    for row, at in zip(gains, nodes):
        if np.isfinite(at).all():
            y = linear.source_admittance(at)
            row[:] = y[:, 1, 0] / y[:, 0, 0]
    return gains


def _output_curves(device: BJT, sign: float, most: float, highest: float, current_gain: np.ndarray,
                   collector: np.ndarray) -> tuple[OutputCurve, ...]:
    """A family of equal steps of base current whose highest stays near the limit of the collector current."""
    solved = np.flatnonzero(np.isfinite(collector))
    if not len(solved):
        return ()
    last = solved[-1]
    step = _round_number(min(collector[last], most) / current_gain[last] / _FAMILY)
    near, far = np.arange(0.0, 0.6, 0.025), highest * np.linspace(0.0, 1.0, 51)
    v_ce = np.concatenate([near[near < highest], far[far >= 0.6]])  # closer where saturation bends the curves
    bias = Bias(device, {"base": CURRENT_SOURCE, "collector": 0.0})
    found = []
    for base in (float(f"{step * n:.6g}") for n in range(1, _FAMILY + 1)):
        _, currents = bias.sweep(sign * np.stack([np.full_like(v_ce, base), v_ce], axis=1))
        found.append(OutputCurve(base, v_ce, sign * currents[:, 1]))
    return tuple(found)


def _round_number(value: float) -> float:
    """The nearest 1, 2, 2.5 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(value))
    return min((step * power for step in (1.0, 2.0, 2.5, 5.0, 10.0)), key=lambda step: abs(math.log(step / value)))


def _transistor_capacitances(device: BJT, sign: float, highest: float) -> dict[str, Capacitance]:
    """Each junction alone under reverse voltage, the others at 0 V; CJC is both its parts."""
    spans = {"base-emitter": (device.CJE, device.VEBO or 1.0, (0,)),
             "base-collector": (device.CJC, highest, (1, 3)),
             "collector-substrate": (device.CJS, highest, (4,))}
    return {name: _capacitance(device, sign, limit, branches)
            for name, (at_zero, limit, branches) in spans.items() if at_zero > 0}


def _capacitance(device: Device, sign: float, limit: float, branches: tuple[int, ...]) -> Capacitance:
    """Sum of the slopes dq/dv of some branches that stand at the same reverse voltage."""
    reverse = np.linspace(0.0, limit, 101)
    voltage = np.zeros((len(device.branches()), len(reverse)))
    voltage[list(branches)] = -sign * reverse
    _, dq, _ = slopes(device, voltage)
    return Capacitance(reverse, sum(dq[branch, branch] for branch in branches))


# -- diodes --------------------------------------------------------------------------------------------------------


def diode_curves(entry: Entry) -> DiodeCurves:
    """Curves of a Diode; see `DiodeCurves`."""
    device = chip(entry.model)
    most, highest = device.IF_max or USUAL_CURRENT, device.VRM or USUAL_VOLTAGE
    limits = {"IF_max": most, "VRM": highest}
    grid = np.arange(1, round(_HIGHEST / _STEP) + 1) * _STEP
    _, currents = Bias(device, {"anode": 0.0}).sweep(grid[:, None], most)
    current = currents[:, 0]
    shown = ~(current < LEAST_CURRENT)
    notes = _notes(entry, limits, int(np.isnan(current).sum()))
    if device.IS == 0:
        notes += ("IS = 0: the model is a capacitance alone, it carries no direct current",)
    capacitances = {"junction": _capacitance(device, 1.0, highest, (0,))} if device.CJO > 0 else {}
    cut_off = 1 / (2 * np.pi * device.RS * capacitances["junction"].capacitance) \
        if capacitances and device.RS > 0 else np.zeros(0)
    return DiodeCurves(entry, notes, (), grid[:len(shown)][shown], current[shown], capacitances, cut_off)


# -- words and plain data ------------------------------------------------------------------------------------------


def _notes(entry: Entry, limits: Mapping[str, float], unsolved: int) -> tuple[str, ...]:
    """How the file was understood, and what the curves rest on."""
    device, units = entry.model, quantities(type(entry.model))
    notes = [*entry.notes, f"curves hold for a junction at {show(device.temperature, 'K')} and for the bare chip, "
                           "without its package"]
    if device.thermal_resistance > 0:
        notes.append("curves are drawn without self-heating; thermal_resistance acts when a circuit is solved")
    notes += [f"{name} is not stated; curves are drawn to {show(value, units[name].unit)}"
              for name, value in limits.items() if getattr(device, name) is None]
    if unsolved:
        notes.append(f"{unsolved} biases were not solved; they are gaps in the curves")
    return tuple(notes)


def as_json(found: TransistorCurves | DiodeCurves) -> dict[str, Any]:
    """The curves as plain data; every key carries its unit, None stands for no number.

    An infinite parameter has the value None and "infinite" true.
    """
    entry = found.entry
    data = {"name": entry.name, "title": entry.title, "about": entry.about, "kind": entry.model.kind,
            "parameters": parameters_as_json(entry), "notes": list(found.notes), "warnings": list(found.warnings)}
    capacitances = {junction: {"reverse_volts": _plain(c.reverse_voltage), "farads": _plain(c.capacitance)}
                    for junction, c in found.capacitances.items()}
    if isinstance(found, DiodeCurves):
        forward = {"volts": _plain(found.voltage), "amps": _plain(found.current)}
        return data | {"forward": forward, "capacitances": capacitances, "cut_off_hz": _plain(found.cut_off)}
    at = found.fastest
    peak = {"transition_hz": None, "collector_amps": None} if at is None else {
        "transition_hz": float(found.transition_frequency[at]), "collector_amps": float(found.collector_current[at])}
    return data | {
        "polarity": entry.model.polarity,
        "signs": "magnitudes: for a pnp the voltages and currents at the pins are the negative of these",
        "output": [{"base_amps": curve.base_current, "collector_emitter_volts": _plain(curve.v_ce),
                    "collector_amps": _plain(curve.collector_current)} for curve in found.output],
        "bias": {"collector_emitter_volts": found.v_ce, "base_emitter_volts": _plain(found.v_be),
                 "collector_amps": _plain(found.collector_current), "base_amps": _plain(found.base_current),
                 "current_gain": _plain(found.current_gain), "transition_hz": _plain(found.transition_frequency)},
        "fastest": peak | {"frequency_hz": _plain(found.frequency), "h21": _plain(found.gain),
                           "h21_db": [] if at is None else _plain(found.gain_db),
                           "line_of_20_db_a_decade_db": [] if at is None else _plain(found.line_db)},
        "dissipation_limit": None if found.dissipation_limit is None else dict(zip(
            ("collector_emitter_volts", "collector_amps"), map(_plain, found.dissipation_limit))),
        "capacitances": capacitances,
    }


def parameters_as_json(entry: Entry) -> list[dict[str, Any]]:
    """Every quantity of the model as understood: name, value, unit, meaning, and whether it is infinite."""
    rows = []
    for name, spec in quantities(type(entry.model)).items():
        value = getattr(entry.model, name)
        infinite = value is not None and math.isinf(value)
        rows.append({"name": name, "value": None if infinite else value, "unit": spec.unit, "meaning": spec.meaning,
                     "infinite": infinite, "read_from_zero": name in entry.filled.read_as_infinite})
    return rows


def _plain(values: np.ndarray) -> list[float | None]:
    return [float(value) if math.isfinite(value) else None for value in values]
