"""The wanted output against a supply, or any other quantity, for several drives; and why it falls beyond the best.

At each drive the values of most output and of best match are solved for, between the points of the grid. At one drive
the collector's waveforms below, at and above the best value say why, with the share of the period in each state of the
junctions (junction_states.py) and the harmonic of the current (conduction_angle.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.device_state import CONDUCTING
from ..balance.solution import SteadyState
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import HbsimError, NotSolved, Refusal, nearest
from ..quantities import show
from .axis import axis_column, axis_values
from .conduction_angle import angle_above, pulse_harmonic
from .junction_states import DEFINITION, JunctionStates, junction_states

DRIVES_DB = (-5.0, 0.0, 3.0)  # drives where none are given, from that of the file
POINTS, LOWEST, HIGHEST = 41, 0.25, 3.25  # values where none are given, over that of the file
LOST_DB = 1.0  # below and above the best: where so much output is lost
_MARK_DIGITS = 1e-3  # of a step of the grid, to which a best value is found
_WAVE_SAMPLES = 512


@dataclass(frozen=True)
class Best:
    """The value at which a figure is largest.

    value : in the unit of the quantity. figure : dBm of output, dB of return loss. at_end : the value is the first or
    last of the range, so that the true best may lie beyond.
    """

    value: float
    figure: float
    at_end: bool


@dataclass(frozen=True, eq=False)
class BiasCurve:
    """One drive: the columns along the values, and the best of them.

    columns : name with unit -> (n_value,); nan where unsolved.
    reasons : number of a value -> why it is unsolved.
    exceeded : number of a value -> ratings that are exceeded there, in words.
    """

    drive_dbm: float
    columns: dict[str, np.ndarray]
    reasons: dict[int, str]
    exceeded: dict[int, tuple[str, ...]]
    most_output: Best | None
    best_match: Best | None

    def harmonic_over_peak(self, device: str) -> np.ndarray:
        """Wanted harmonic of the current over its peak, (n_value,); nothing where nothing was solved. [1]"""
        if not self.columns:
            return np.zeros(0)
        return self.columns[f"harmonic_amps_{device}"] / self.columns[f"peak_amps_{device}"]


@dataclass(frozen=True, eq=False)
class Waveforms:
    """A device at one value, over one period of the drive.

    place : "below", "best" or "above". value : of the quantity. output_dbm : wanted output.
    lost_db : how much less than the best that is.
    voltage [V], current [A] : (512,), main pin against the common one; conduction current (device_state.py).
    states : JunctionStates. angle_deg : conduction angle.
    harmonic_amps : I_n of the current at the wanted harmonic, peak; average_amps, peak_amps its average and peak. [A]
    """

    place: str
    value: float
    output_dbm: float
    lost_db: float
    voltage: np.ndarray
    current: np.ndarray
    states: JunctionStates
    angle_deg: float
    harmonic_amps: float
    average_amps: float
    peak_amps: float


@dataclass(frozen=True, eq=False)
class BiasStudy:
    """What a bias quantity does at several drives.

    address, unit, values : the quantity, and its values in that unit, (n_value,).
    device : the device that currents and waveforms are told of. pin : the pin whose voltage is drawn.
    explained_dbm : the drive of the waveforms.
    """

    description: Description
    address: str
    unit: str
    values: np.ndarray
    curves: tuple[BiasCurve, ...]
    device: str
    pin: str
    explained_dbm: float
    waveforms: tuple[Waveforms, ...]

    @property
    def wanted(self) -> str:
        """Name of the column of the wanted output."""
        return f"output_dbm_{self.description.wanted_harmonic}"


def bias_study(description: Description, address: str | None = None, values: Sequence[Any] | str | None = None,
               drives: Sequence[Any] | str | None = None, *, device: str | None = None, harmonics: int | None = None,
               accuracy: Accuracy = Accuracy(), progress: Callable[[int, int], None] | None = None) -> BiasStudy:
    """Study output, match and currents along a quantity for several drives.

    Parameters
    ----------
    address : str or None
        Any quantity; None: the first supply.
    values : sequence or "start : stop : step", or None
        At least three, as in a sweep. None: 41 from 0.25 to 3.25 times the value of the file.
    drives : sequence or "start : stop : step", or None
        None: 5 dB below the drive of the file, that itself, 3 dB above. [dBm]
    device : str or None
        None: the one with most current at the wanted harmonic in the circuit as its file says; in a chain, the last.

    Raises
    ------
    Refusal
        No supply, an unknown quantity or device, fewer than three values, or as a sweep.
    NotSolved
        Nothing was solved.
    """
    address = _address(description, address)
    spec, own = description.look_up(address)
    if values is None:
        if own <= 0:
            raise Refusal(f"is {show(own, spec.unit)} in the file, which gives no range; give one", address)
        values = np.linspace(LOWEST * own, HIGHEST * own, POINTS)
    grid = np.unique(axis_values(spec, values, address))
    if len(grid) < 3:
        raise Refusal("a study of the bias takes at least 3 values; widen the range or narrow the step", address)
    power = description.drive.power_dbm
    powers = np.unique(axis_values(description.look_up("drive.power")[0],
                                   [power + d for d in DRIVES_DB] if drives is None else drives, "drive.power"))
    if address == "drive.power":
        raise Refusal("the drive has its own study; give a supply, a resistor or another quantity", address)
    name = _device(description, device, harmonics, accuracy)
    point = _Point(description, address, harmonics, accuracy)
    curves = []
    for n, drive in enumerate(powers):
        report = None if progress is None else (lambda done, n=n: progress(n * len(grid) + done,
                                                                          len(powers) * len(grid)))
        curves.append(_curve(point, float(drive), grid, name, report))
    if all(len(curve.reasons) == len(grid) for curve in curves):
        raise NotSolved(f"no value of {address} was solved; the first: {curves[0].reasons[0]}")
    explained = float(powers[int(np.argmin(np.abs(powers - power)))])
    chosen = next(curve for curve in curves if curve.drive_dbm == explained)
    waves = _waveforms(point, chosen, grid, name)
    pin = description.devices[name].part.main_pin
    return BiasStudy(description, address, spec.unit, grid, tuple(curves), name, pin, explained, waves)


def _address(description: Description, address: str | None) -> str:
    if address is not None:
        return address
    if not description.supplies:
        raise Refusal("there is no supply to vary; name a quantity", "bias")
    return f"supply.{next(iter(description.supplies))}"


def _device(description: Description, name: str | None, harmonics: int | None, accuracy: Accuracy) -> str:
    known = list(description.devices)
    if not known:
        raise Refusal("there is no device whose bias could be studied", "bias")
    if name is not None:
        if name not in known:
            raise Refusal(f"there is no device '{name}'{nearest(name, known)}", "device")
        return name
    if len(known) == 1:
        return known[0]
    devices = solve(description, harmonics, accuracy=accuracy).devices
    return max(known, key=lambda device: abs(
        devices[device].pin_current[devices[device].main_pin][description.wanted_harmonic]))


@dataclass(frozen=True)
class _Point:
    """Solves the circuit at a drive and a value."""

    description: Description
    address: str
    harmonics: int | None
    accuracy: Accuracy
    met: dict[float, list[tuple[float, SteadyState]]] = field(default_factory=dict)

    def keep(self, drive: float, value: float, state: SteadyState) -> None:
        """A state of the curve, without the room that its system takes."""
        self.met.setdefault(drive, []).append((value, replace(state, system=None)))

    def followed(self, drive: float, value: float) -> SteadyState:
        """The state that the curve leads to: started from the nearest of its own."""
        _, start = min(self.met[drive], key=lambda one: abs(one[0] - value))
        return self.state(drive, value, start)

    def state(self, drive: float, value: float, start: SteadyState | None = None) -> SteadyState:
        changed = self.description.with_values({"drive.power": drive, self.address: float(value)})
        return solve(changed, self.harmonics, None, start, self.accuracy)


def _curve(point: _Point, drive: float, grid: np.ndarray, name: str,
           report: Callable[[int], None] | None) -> BiasCurve:
    found, reasons, exceeded, state = [], {}, {}, None
    for n, value in enumerate(grid):
        try:
            state = point.state(drive, value, state)
            point.keep(drive, float(value), state)
            found.append(_columns(state, name))
            over = tuple(f"{device}: {r.meaning} {show(r.value, r.unit, 3)} (limit {show(r.limit, r.unit, 3)})"
                         for device, told in state.devices.items() for r in told.ratings if r.exceeded)
            if over:
                exceeded[n] = over
        except NotSolved as failure:
            state = None
            found.append({})
            reasons[n] = failure.reason
        if report is not None:
            report(n + 1)
    names = next((list(row) for row in found if row), [])
    columns = {key: np.array([row.get(key, math.nan) for row in found]) for key in names}
    wanted = point.description.wanted_harmonic

    def best(column: str, figure: Callable[[SteadyState], float]) -> Best | None:
        return None if column not in columns else _best(
            grid, columns[column], lambda value: figure(point.followed(drive, value)))

    return BiasCurve(drive, columns, reasons, exceeded,
                     best(f"output_dbm_{wanted}", lambda state: state.output_dbm(wanted)),
                     best("input_return_loss_db", lambda state: state.input_return_loss_db))


def _columns(state: SteadyState, name: str) -> dict[str, float]:
    """What is told of one point; each name carries its unit."""
    told, states = state.devices[name], junction_states(state, name)
    row = {f"output_dbm_{k}": state.output_dbm(k) for k in range(1, state.lines + 1)}
    row |= {"input_return_loss_db": state.input_return_loss_db, "efficiency": state.efficiency}
    row |= {f"supply_amps_{supply}": found.amps for supply, found in state.supplies.items()}
    row |= {f"average_amps_{name}_{pin}": float(flow[0].real) for pin, flow in told.pin_current.items()}
    row |= {f"peak_volts_{name}": float(np.abs(told.voltage_waveform(told.main_pin)).max()),
            f"peak_amps_{name}": float(told.conduction.max()),
            f"harmonic_amps_{name}": harmonic_of(told.conduction, state.description.wanted_harmonic),
            f"conduction_angle_deg_{name}": told.conduction_angle_deg,
            f"share_cut_off_{name}": states.cut_off, f"share_between_{name}": states.between,
            f"share_saturated_{name}": states.saturated,
            "ratings_exceeded": float(sum(r.exceeded for d in state.devices.values() for r in d.ratings)),
            "harmonics": float(state.solver.harmonics)}
    return row


def harmonic_of(current: np.ndarray, harmonic: int) -> float:
    """Peak of a harmonic of a current sampled over one period, (n_time,). [A]"""
    return float(2 * np.abs(np.fft.rfft(current)[harmonic]) / len(current))


def _best(grid: np.ndarray, figures: np.ndarray, figure: Callable[[float], float]) -> Best | None:
    """The largest of a curve; between its neighbours it is searched for by solving."""
    from scipy.optimize import minimize_scalar
    if not np.isfinite(figures).any():
        return None
    n = int(np.nanargmax(np.where(np.isfinite(figures), figures, np.nan)))
    coarse = Best(float(grid[n]), float(figures[n]), n in (0, len(grid) - 1))
    if coarse.at_end:
        return coarse
    low, high = grid[n - 1], grid[n + 1]
    try:
        found = minimize_scalar(lambda value: -figure(float(value)), bounds=(low, high), method="bounded",
                                options={"xatol": _MARK_DIGITS * (high - low)})
    except HbsimError:
        return coarse
    return Best(float(found.x), float(-found.fun), False) if -found.fun > coarse.figure else coarse


def _waveforms(point: _Point, curve: BiasCurve, grid: np.ndarray, name: str) -> tuple[Waveforms, ...]:
    """Below, at and above the best; a side where nothing lies, or nothing was solved, is left out."""
    best, wanted = curve.most_output, point.description.wanted_harmonic
    if best is None:
        return ()
    levels = curve.columns[f"output_dbm_{wanted}"]
    found = []
    for place, value in (("below", _where_lost(point, curve, best, grid[::-1], levels[::-1], -1)),
                         ("best", best.value), ("above", _where_lost(point, curve, best, grid, levels, 1))):
        try:
            if value is not None:
                found.append(_told(point.followed(curve.drive_dbm, value), name, place, value, best.figure))
        except HbsimError:
            continue
    return tuple(found)


def _where_lost(point: _Point, curve: BiasCurve, best: Best, values: np.ndarray, levels: np.ndarray,
                way: int) -> float | None:
    """First value beyond the best, in the order given, at which LOST_DB are lost; the last solved one where there is
    none, None where nothing is solved there."""
    from scipy.optimize import brentq
    beyond = (way * (values - best.value) > 0) & np.isfinite(levels)
    values, levels = values[beyond], levels[beyond]
    if not len(values):
        return None
    lost = np.flatnonzero(levels <= best.figure - LOST_DB)
    if not len(lost):
        return float(values[-1])
    last = best.value if lost[0] == 0 else values[lost[0] - 1]
    wanted = point.description.wanted_harmonic
    try:
        return float(brentq(lambda value: point.followed(curve.drive_dbm, value).output_dbm(wanted)
                            - best.figure + LOST_DB, last, values[lost[0]], rtol=1e-5))
    except (HbsimError, ValueError):  # unsolved, or a jump, on the way
        return float(values[lost[0]])


def _told(state: SteadyState, name: str, place: str, value: float, best_dbm: float) -> Waveforms:
    told, wanted = state.devices[name], state.description.wanted_harmonic
    level, current = state.output_dbm(wanted), told.conduction
    voltage = told.voltage_waveform(told.main_pin, _WAVE_SAMPLES)
    return Waveforms(place, value, level, best_dbm - level, voltage, current, junction_states(state, name),
                     told.conduction_angle_deg, harmonic_of(current, wanted),
                     float(current.mean()), float(current.max()))


def theory(harmonic: int) -> tuple[np.ndarray, np.ndarray]:
    """The tip of a cosine, measured as the study measures: in how much of the period it is above the threshold of
    conduction [deg], and |I_n| / I_peak [1], for conduction angles from 20 to 360 deg."""
    angles = np.arange(20.0, 361.0, 5.0)
    return (np.array([angle_above(a, CONDUCTING) for a in angles]),
            np.array([abs(pulse_harmonic(a, harmonic)) for a in angles]))


def header(study: BiasStudy) -> list[str]:
    """Column names of the CSV file; each carries its unit."""
    names = next(list(curve.columns) for curve in study.curves if curve.columns)
    return ["drive.power_dbm", axis_column(study.address, study.unit), *names, "solved"]


def rows(study: BiasStudy) -> Iterator[list[str]]:
    """Rows of the CSV file, drive by drive; an unsolved point has no numbers."""
    names = header(study)[2:-1]
    for curve in study.curves:
        for n, value in enumerate(study.values):
            cells = [curve.columns[name][n] if curve.columns else math.nan for name in names]
            yield [repr(curve.drive_dbm), repr(float(value)),
                   *(repr(float(cell)) if math.isfinite(cell) else "" for cell in cells),
                   str(n not in curve.reasons).lower()]


def as_json(study: BiasStudy) -> dict[str, Any]:
    """All numbers of a study as plain data; None stands for no number."""
    column, wanted = axis_column(study.address, study.unit), study.description.wanted_harmonic
    angle, share = theory(wanted)

    def best(found: Best | None, figure: str) -> dict[str, Any] | None:
        return None if found is None else {column: found.value, figure: found.figure, "at_end_of_range": found.at_end}

    return {
        "title": study.description.title, "wanted_harmonic": wanted, "address": study.address, "device": study.device,
        "values": {column: study.values.tolist()},
        "drives": [{
            "drive_dbm": c.drive_dbm, "most_output": best(c.most_output, "output_dbm"),
            "best_match": best(c.best_match, "input_return_loss_db"),
            "harmonic_over_peak": [v if math.isfinite(v) else None
                                   for v in c.harmonic_over_peak(study.device).tolist()],
            "columns": {name: [v if math.isfinite(v) else None for v in values.tolist()]
                        for name, values in c.columns.items()},
            "unsolved": [{"point": n, "reason": why} for n, why in sorted(c.reasons.items())],
            "ratings_exceeded": [{"point": n, "ratings": list(words)} for n, words in sorted(c.exceeded.items())],
        } for c in study.curves],
        "states_definition": DEFINITION,
        "waveforms": {"drive_dbm": study.explained_dbm, "device": study.device, "pin": study.pin, "at": [{
            "place": w.place, column: w.value,
            "phase_deg": (np.arange(len(w.voltage)) * 360.0 / len(w.voltage)).tolist(),
            "output_dbm": w.output_dbm, "lost_db": w.lost_db,
            "share_cut_off": w.states.cut_off, "share_between": w.states.between, "share_saturated": w.states.saturated,
            "conduction_angle_deg": w.angle_deg, "harmonic_amps": w.harmonic_amps, "average_amps": w.average_amps,
            "peak_amps": w.peak_amps, "voltage_volts": w.voltage.tolist(), "conduction_amps": w.current.tolist(),
            "state": w.states.region.tolist()} for w in study.waveforms]},
        "state_numbers": {"cut off": 0, "in between": 1, "in saturation": 2},
        "clipped_cosine": {"angle_above_threshold_deg": angle.tolist(), "harmonic_over_peak": share.tolist(),
                           "threshold_share_of_peak": CONDUCTING},
    }
