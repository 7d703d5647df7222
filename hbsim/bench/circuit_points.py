"""A measurement of a driven circuit: the prediction is solved at each of its points."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from ..balance.accuracy import LEVELS, Accuracy
from ..balance.figures import ConversionLoss, Efficiency, OutputLevel, ReturnLoss
from ..balance.gradient import figure, gradient
from ..balance.prepare import Systems
from ..balance.solution import SteadyState
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import NotSolved, Refusal
from ..quantities import show
from ..studies.outputs import column_unit
from .cautions import of_states
from .compare import Comparison
from .dataset import BENCH, DRIVE_ERROR, OUTPUT_ERROR, MeasuredPoints
from .measurement import Measured, Measurement

_DRIVE = "drive.power"
_PHASES = tuple(range(0, 360, 30))  # of the generator's own second harmonic, which nobody knows. [deg]
_FINE, _LEAST_SHARE = 720, 0.1  # phases between them; of the least power that was solved for, where a notch is cut
_FAR_DB, _ABOVE_DB, _OTHERWISE_DB = 6.0, 3.0, 0.1  # where another state is looked for, from where, and what is one
_COARSER = 3.0  # a search may go by so many times fewer harmonics; what it finds is held against all of them


class CircuitPoints(MeasuredPoints):
    """The numbers of a measurement, point by point, those that were not measured left out.

    Each point is solved from its state before, with as many harmonics as its lines needed at first, so that a fit sees
    a smooth function; `choose_anew` asks again.

    Parameters
    ----------
    description : Description
    measurement : Measurement
        Points whose settings it names are solved with these; all else is as described.
    harmonics : int or None
        For all points; None: as many as the lines of each need.
    tell : function of no argument, or None
        Called after each steady state.

    Raises
    ------
    Refusal
        A quantity of the measurement is no figure of the circuit, or a value has no uncertainty.
    """

    def __init__(self, description: Description, measurement: Measurement, harmonics: int | None = None,
                 accuracy: Accuracy = Accuracy(), tell: Callable[[], None] | None = None) -> None:
        self.description, self.accuracy = description, accuracy
        self._tell, self._given = tell, harmonics
        self._figures = {name: figure(name, description) for name in measurement.quantities}
        self._take(measurement)
        self.units = [column_unit(name) for _, name in self.place]
        self.losses = np.array([isinstance(self._figures[name], ReturnLoss) for _, name in self.place], bool)
        self._used = sorted({point for point, _ in self.place})
        self._states: dict[int, SteadyState] = {}
        self._systems, self._coarse = Systems(), False
        self._own: dict[int, tuple[SteadyState, list[SteadyState]]] = {}
        self._harmonics: dict[int, int | None] = {}
        self.reasons: dict[int, str] = {}
        self._no_value: dict[str, str] = {}

    def addresses(self) -> list[str]:
        set_here = {_short(name) for name in self.measurement.settings}
        return [name for name in [*self.description.addresses(), *BENCH] if _short(name) not in set_here]

    def settings(self, point: int) -> dict[str, float]:
        """What was set at a point."""
        return {address: float(values[point]) for address, values in self.measurement.settings.items()}

    def choose_anew(self, coarse: bool) -> None:
        self._harmonics, self._coarse = {}, coarse

    def forget(self) -> None:
        self._states = {}

    def predict(self, values: Mapping[str, float]) -> np.ndarray:
        inside = {address: value for address, value in values.items() if address not in BENCH}
        if len(inside) < len(values) and any(isinstance(item, Efficiency) for item in self._figures.values()):
            raise Refusal("an efficiency is computed from drive and level as they were written down, so that nothing "
                          "of the bench can be free beside it; give the level and the currents instead",
                          "efficiency", self.name)
        base = self.description.with_values(inside) if inside else self.description
        drive_error, output_error = values.get(DRIVE_ERROR, 0.0), values.get(OUTPUT_ERROR, 0.0)
        self.reasons, self._no_value = {}, {}
        found: dict[tuple[int, str], float] = {}
        nearest = None
        for point in self._used:
            settings = self.settings(point)
            settings[_DRIVE] = settings.get(_DRIVE, base.drive.power_dbm) + drive_error
            state = self._solved(base.with_values(settings), point, self._states.get(point, nearest))
            if state is not None:
                self._states[point] = nearest = state
                found |= {(point, name): self._value(name, state) for name in self._figures}
        # what is added to a reading is taken from the prediction, so that the data stay as they are
        predicted = np.array([found.get(place, np.nan) for place in self.place])
        return predicted - output_error * self._read_by_the_analyser() - drive_error * self._told_with_the_drive()

    def _solved(self, circuit: Description, point: int, start: SteadyState | None) -> SteadyState | None:
        self.solves += 1
        if self._tell is not None:
            self._tell()
        harmonics = self._given or self._harmonics.get(point)
        try:
            state = solve(circuit, harmonics, None, start, self.accuracy, self._systems)
        except (NotSolved, Refusal) as failure:
            self.reasons[point] = failure.reason if isinstance(failure, NotSolved) else str(failure)
            return None
        if point not in self._harmonics:
            least = max(self.accuracy.lines_of(circuit), state.solver.harmonics / _COARSER) if self._coarse else 0
            self._harmonics[point] = next((level for level in LEVELS if least <= level <= state.solver.harmonics),
                                          state.solver.harmonics) if self._coarse else state.solver.harmonics
        return state

    def _value(self, name: str, state: SteadyState) -> float:
        try:
            return float(self._figures[name].value(state, state.description))
        except Refusal as refusal:
            self._no_value[name] = refusal.what
            return np.nan

    def comparison(self, predicted: np.ndarray) -> Comparison:
        units = {address: self.description.look_up(address)[0].unit for address in self.measurement.settings}
        found = self._compared(predicted, column_unit, units, self._widened(), self.reasons)
        notes = (*found.notes, *(f"{name}: {why}" for name, why in self._no_value.items()))
        return replace(found, notes=notes, still=self._still(),
                       cautions=(*of_states(self._solved_states()), *self.measurement.cautions))

    def _still(self) -> dict[str, tuple[float, str]]:
        """Drive and supplies that the measurement does not name, as the circuit has them."""
        named = {_short(name) for name in self.measurement.settings}
        found = {}
        for address in ("drive.power", "drive.frequency", *(f"supply.{name}" for name in self.description.supplies)):
            if address not in named:
                spec, value = self.description.look_up(address)
                found[address] = float(value), spec.unit
        return found

    def with_other_states(self, one: Comparison) -> Comparison:
        told = []
        for point, state in self._solved_states().items():
            off = [name for name, item in one.quantities.items() if item.unit == "dBm" and point in item.outside_band
                   and abs(item.difference[point]) > _FAR_DB]
            if not off:
                continue
            power = state.description.drive.power_dbm
            above = self._solved(state.description.with_values({_DRIVE: power + _ABOVE_DB}), point, state)
            back = None if above is None else self._solved(state.description, point, above)
            self.reasons.pop(point, None)  # the point itself has its state
            for name in off if back is not None else []:
                value = self._value(name, back)
                if abs(value - one.quantities[name].predicted[point]) > _OTHERWISE_DB:
                    told.append(f"point {point + 1}: a drive that comes down from above meets another steady state "
                                f"here: {name} {show(value, 'dBm')}; measure up and down as two sweeps")
        return replace(one, notes=(*one.notes, *told))

    def _widened(self) -> dict[str, Measured]:
        """What was measured, with bands as wide as the generator makes them: its level through the predicted slope at
        each point, its own second harmonic by solving with it at several phases."""
        error, own = self.measurement.level_error_db, self._with_second_harmonic()
        reach = {name: np.zeros((2, len(item.values))) for name, item in self.measurement.quantities.items()}
        for point, state in self._solved_states().items():
            slopes = gradient(state, self._figures, [_DRIVE]) if error else {}
            for name, ends in reach.items():
                off = abs(slopes[name][_DRIVE]) * error if error else 0.0
                here = self._value(name, state)
                least, most = self._reached(name, [here, *(self._value(name, other) for other in own.get(point, ()))])
                # what the harmonic adds to the reading is to be taken off the true value
                ends[:, point] = -off - (most - here), off - (least - here)
        return {name: replace(item, low=item.low + reach[name][0], high=item.high + reach[name][1])
                for name, item in self.measurement.quantities.items()}

    def _reached(self, name: str, values: Sequence[float]) -> tuple[float, float]:
        """Least and most of a value without the harmonic and its values at phases around the circle, with what lies
        between these: a level in watts, a reflected power and a current are a few harmonics of the phase."""
        samples, finite = np.array(values[1:]), [value for value in values if np.isfinite(value)]
        if not samples.size or len(finite) <= samples.size:
            return min(finite, default=np.nan), max(finite, default=np.nan)
        unit = column_unit(name)
        sign = -1.0 if isinstance(self._figures[name], (ReturnLoss, ConversionLoss)) else 1.0
        powers = 10.0 ** (sign * samples / 10.0) if unit in ("dBm", "dB") else samples
        whole = np.fft.irfft(np.fft.rfft(powers), _FINE) * (_FINE / len(powers))
        if unit in ("dBm", "dB"):
            whole = sign * 10.0 * np.log10(np.maximum(whole, powers.min() * _LEAST_SHARE))
        return float(min(whole.min(), *finite)), float(max(whole.max(), *finite))

    def _solved_states(self) -> dict[int, SteadyState]:
        """Of the points that have one as last predicted."""
        return {point: state for point, state in self._states.items() if point not in self.reasons}

    def _with_second_harmonic(self) -> dict[int, list[SteadyState]]:
        """Each point with the generator's own second harmonic, at phases around the circle."""
        levels = self.measurement.generator_second_harmonic_db
        if levels is None:
            return {}
        found: dict[int, list[SteadyState]] = {}
        for point, state in self._solved_states().items():
            if point not in self._own or self._own[point][0] is not state:
                others = []
                for phase in _PHASES:
                    with_it = state.description.with_values({"drive.second_harmonic": float(levels[point]),
                                                             "drive.second_harmonic_phase": phase})
                    self.solves += 1
                    try:
                        others.append(solve(with_it, state.solver.harmonics, None, state, self.accuracy))
                    except NotSolved as failure:
                        raise NotSolved(f"with the generator's second harmonic: {failure.reason}") from None
                self._own[point] = state, others
            found[point] = self._own[point][1]
        return found

    def _read_by_the_analyser(self) -> np.ndarray:
        """What each number moves by when all levels that are read move by 1 dB."""
        return np.array([1.0 if isinstance(self._figures[name], OutputLevel) else
                         -1.0 if isinstance(self._figures[name], ConversionLoss) else 0.0 for _, name in self.place])

    def _told_with_the_drive(self) -> np.ndarray:
        """What each number moves by where the drive that was written down is 1 dB more, and nothing else."""
        return np.array([1.0 if isinstance(self._figures[name], ConversionLoss) else 0.0 for _, name in self.place])

    def slopes(self, addresses: Sequence[str]) -> np.ndarray:
        asked = [address for address in addresses if address not in BENCH]
        if DRIVE_ERROR in addresses and _DRIVE not in asked:
            asked.append(_DRIVE)
        table = np.zeros((len(self.place), len(addresses)))
        for point in self._used:
            rows = [row for row, (other, _) in enumerate(self.place) if other == point]
            names = [self.place[row][1] for row in rows]
            if point in self.reasons:
                table[rows] = np.nan
                continue
            found = gradient(self._states[point], {name: self._figures[name] for name in names}, asked) if asked else {}
            for row, name in zip(rows, names):
                table[row] = [0.0 if address == OUTPUT_ERROR else
                              found[name][_DRIVE if address == DRIVE_ERROR else address] for address in addresses]
        if OUTPUT_ERROR in addresses:
            table[:, list(addresses).index(OUTPUT_ERROR)] = -self._read_by_the_analyser()
        if DRIVE_ERROR in addresses:
            table[:, list(addresses).index(DRIVE_ERROR)] -= self._told_with_the_drive()
        return table


def _short(address: str) -> str:
    """One name of a quantity that has two: a supply stands for its voltage."""
    return address.removesuffix(".voltage") if address.startswith("supply.") else address
