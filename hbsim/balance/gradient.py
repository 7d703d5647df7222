"""Exact gradients of a solved state: what each figure does when each quantity moves a little.

With the balance F(x, p) = 0 and a figure y(x, p), all of Jacobian, figure and dF/dp taken at the solution,

    dy/dp = y_p - y_x J^-1 F_p                            (implicit function theorem)

`gradient` solves J^T lambda = y_x, one back-substitution a figure for any number of quantities (the adjoint method:
Director and Rohrer, see linear/sensitivity.py); `sensitivities` solves J dx/dp = -F_p, one a quantity for any number of
figures. Both from the same pieces, which are found in tangent.py.

A device that heats itself has its junction temperature as one more unknown: T - T_ambient - R_th H(x, T, p) = 0. Its
heat H is one more figure, its temperature one more quantity, and the temperatures are solved for after all else.

A quantity of the description moves everything that is derived from it. The number of harmonics and of samples stays.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..describe.description import Description
from ..errors import Refusal, nearest
from .figures import (ConversionLoss, DeviceHeat, Efficiency, Figure, OutputLevel, OutputPhase, PeakVoltage,
                      RelativeLevel, ReturnLoss, SupplyCurrent, SupplyPower)
from .influence import given_quantities, influence
from .prepare import mounted_devices
from .solution import SteadyState
from .tangent import Tangent

_LINES = {"output_dbm": OutputLevel, "output_dbc": RelativeLevel, "output_phase_deg": OutputPhase}
_HOW_FOUND = "says how a point was found, and has no slope"
_WITHOUT_SLOPE = dict.fromkeys(("harmonics", "truncation_db", "truncation_others_db", "solved"), _HOW_FOUND) | {
    "phase_change_deg_per_db": "is a slope itself; ask for that of output_phase_deg_K by drive.power"}

def figure(name: str, description: Description) -> Figure:
    """The figure of a column of a sweep's table, kept or derived: "output_dbm_2", "output_dbc_1",
    "conversion_loss_db", "input_return_loss_db", "output_phase_deg_2", "efficiency", "supply_watts",
    "supply_amps_VCC", "dissipation_watts_Q1", "peak_volts_Q1".

    Raises
    ------
    Refusal
        There is no such column, or it has no slope.
    """
    if name in _WITHOUT_SLOPE:
        raise Refusal(f"'{name}' {_WITHOUT_SLOPE[name]}")
    known: dict[str, Figure] = {"conversion_loss_db": ConversionLoss(), "input_return_loss_db": ReturnLoss(),
                                "efficiency": Efficiency(), "supply_watts": SupplyPower()}
    known |= {f"supply_amps_{supply}": SupplyCurrent(supply) for supply in description.supplies}
    for mounted in mounted_devices(description):
        plus, minus = (mounted.pins[pin] for pin in (mounted.device.main_pin, mounted.device.common))
        known |= {f"dissipation_watts_{mounted.name}": DeviceHeat(mounted.name),
                  f"peak_volts_{mounted.name}": PeakVoltage(plus, minus)}
    wanted = description.wanted_harmonic
    stem, _, digits = name.rpartition("_")
    if stem in _LINES and re.fullmatch("[1-9][0-9]*", digits):
        if stem == "output_dbc" and int(digits) == wanted:
            raise Refusal(f"'{name}' would be the wanted line against itself; give another harmonic")
        known[name] = _LINES[stem](int(digits))
    known |= {f"{stem}_{wanted}": kind(wanted) for stem, kind in _LINES.items() if kind is not RelativeLevel}
    known[f"output_dbc_{wanted + 1}"] = RelativeLevel(wanted + 1)
    if name not in known:
        raise Refusal(f"there is no figure '{name}'{nearest(name, known)}")
    return known[name]


def gradient(state: SteadyState, figures: Mapping[str, Figure] | Sequence[str],
             addresses: Sequence[str] | None = None) -> dict[str, dict[str, float]]:
    """Slopes of some figures against any number of quantities: one back-substitution a figure.

    Parameters
    ----------
    state : SteadyState
    figures : mapping of str to Figure, or names as in a sweep's table (see `figure`)
    addresses : sequence of str or None
        Quantities; None: all that have a finite value and a slope here.

    Returns
    -------
    dict
        Name of the figure -> {address: slope}, in the figure's unit per unit of the quantity (SI; dBm for a power, deg
        for an angle, K for a temperature). The temperature of a device that heats itself is that of its surroundings.

    Raises
    ------
    Refusal
        An unknown figure or quantity, a quantity without a slope, or a state at the very edge of a jump.
    """
    named = _named(figures, state)
    moves = _Moves(state, addresses)
    tangent = Tangent(state)
    readings = [tangent.reading(item) for item in (*named.values(), *moves.heats)]
    right = np.array([reading.by_form for reading in readings]).reshape(len(readings), *state.system.shape)
    adjoint = tangent.solved(right, transposed=True).reshape(len(readings), state.form.size)
    columns = []
    for item in moves.all:
        put = tangent.put(item)
        columns.append(tangent.outright(readings, item, put) - adjoint @ tangent.unbalance(item, put).ravel())
    table, _ = moves.settled(np.array(columns).T.reshape(len(readings), len(moves.all)), len(named))
    return {name: dict(zip(moves.addresses, map(float, row))) for name, row in zip(named, table)}


@dataclass(frozen=True, eq=False)
class Sensitivities:
    """How a whole solution moves with each quantity.

    Attributes
    ----------
    forms : dict
        Address -> slope of the device-node voltages in real form, (n, 2 K + 1). [V] per unit of the quantity
    temperatures : dict
        Address -> {device that heats itself: slope of its junction temperature [K]}.
    """

    forms: dict[str, np.ndarray]
    temperatures: dict[str, dict[str, float]]
    _state: SteadyState = field(repr=False)
    _moves: _Moves = field(repr=False)
    _tangent: Tangent = field(repr=False)
    _each: np.ndarray = field(repr=False)

    def of(self, figures: Mapping[str, Figure] | Sequence[str]) -> dict[str, dict[str, float]]:
        """Slopes of any number of figures, as `gradient` gives them; nothing is solved again."""
        named = _named(figures, self._state)
        table = _read(self._tangent, [*named.values(), *self._moves.heats], self._moves, self._each)
        table, _ = self._moves.settled(table, len(named))
        return {name: dict(zip(self._moves.addresses, map(float, row))) for name, row in zip(named, table)}


def sensitivities(state: SteadyState, addresses: Sequence[str] | None = None) -> Sensitivities:
    """How the solution moves with some quantities: one back-substitution a quantity, for any number of figures.

    Parameters and refusals as for `gradient`.
    """
    moves = _Moves(state, addresses)
    tangent = Tangent(state)
    right = np.array([tangent.unbalance(item, tangent.put(item)) for item in moves.all])
    each = -tangent.solved(right.reshape(len(moves.all), *state.system.shape))
    heats = _read(tangent, moves.heats, moves, each)
    forms = each.reshape(len(each), state.form.size).T
    table, warmer = moves.settled(np.concatenate([forms, heats]), len(forms))
    return Sensitivities(
        dict(zip(moves.addresses, table.T.reshape(len(moves.addresses), *state.system.shape))),
        {address: dict(zip(moves.heated, map(float, column))) for address, column in zip(moves.addresses, warmer.T)},
        state, moves, tangent, each)


def _named(figures: Mapping[str, Figure] | Sequence[str], state: SteadyState) -> dict[str, Figure]:
    if isinstance(figures, Mapping):
        return dict(figures)
    return {name: figure(name, state.description) for name in figures}


def _read(tangent: Tangent, figures: Sequence[Figure], moves: _Moves, each: np.ndarray) -> np.ndarray:
    """Slopes of figures, (n_figure, n_move), from those of the solution, (n_move, n, 2 K + 1)."""
    readings = [tangent.reading(item) for item in figures]
    columns = [tangent.outright(readings, item, tangent.put(item)) for item in moves.all]
    outright = np.array(columns).T.reshape(len(readings), len(moves.all))
    size = each[0].size if len(each) else 0
    by_form = np.array([reading.by_form for reading in readings]).reshape(len(readings), size)
    return outright + by_form @ each.reshape(len(moves.all), size).T


class _Moves:
    """All that moves: the quantities asked for, then the junction temperatures of devices that heat themselves."""

    def __init__(self, state: SteadyState, addresses: Sequence[str] | None) -> None:
        asked = []
        for address in given_quantities(state.description) if addresses is None else addresses:
            try:
                asked.append(influence(state, address))
            except Refusal:
                if addresses is not None:
                    raise
        self.asked = asked
        self.addresses = [item.address for item in asked]
        placed = state.description.devices
        self.heated = [name for name in placed if placed[name].part.heating > 0.0
                       or any(name in item.heating for item in asked)]
        self.heats = [DeviceHeat(name) for name in self.heated]
        self.all = asked + [influence(state, f"{name}.temperature") for name in self.heated]
        self._heat = np.array([heat.value(state, state.description) for heat in self.heats])
        self._heating = np.array([placed[name].part.heating for name in self.heated])

    def settled(self, table: np.ndarray, own: int) -> tuple[np.ndarray, np.ndarray]:
        """Slopes with the junctions at the temperature that their own heat gives them, from those with all junction
        temperatures as they are.

        Parameters
        ----------
        table : ndarray, (own + n_heated, n_move)
            `own` figures, and then the heat of each device.

        Returns
        -------
        slopes : ndarray, (own, n_asked)
        warmer : ndarray, (n_heated, n_asked)
            Of the junction temperatures. [K] per unit
        """
        n = len(self.asked)
        if not self.heated:
            return table, np.zeros((0, n))
        ambient, heating = (np.array([[getattr(item, what).get(name, 0.0) for item in self.asked]
                                      for name in self.heated]).reshape(-1, n) for what in ("temperature", "heating"))
        asked, by_temperature = table[:, :n], table[:, n:]
        asked = asked - by_temperature @ ambient  # what a device is given is where its temperature starts from
        right = ambient + heating * self._heat[:, None] + self._heating[:, None] * asked[own:]
        kept = np.eye(len(self.heated)) - self._heating[:, None] * by_temperature[own:]
        try:
            warmer = np.linalg.solve(kept, right)
        except np.linalg.LinAlgError:
            raise Refusal("a junction is at the very edge of thermal runaway: there nothing has a slope") from None
        return asked[:own] + by_temperature[:own] @ warmer, warmer
