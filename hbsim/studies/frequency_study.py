"""The circuit across the drive's frequency: wanted output and its bandwidth, leakage, match, currents, and what is
carried at places on the way.

The frequencies are marched through upwards, each state from that before it, as one who tunes; that takes half the time
of a sweep along drive.frequency, whose points each climb from the fewest harmonics, and leaves whole states to read
carried power from. What is said to be between two points was solved for there (band_edges.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ..balance.accuracy import Accuracy
from ..balance.prepare import prepare
from ..balance.solution import SteadyState
from ..balance.solve import solve
from ..describe.description import Description
from ..errors import HbsimError, NotSolved, Refusal
from .axis import axis_values
from .band_edges import Band, Course, Mark, band, most
from .outputs import column_names, heated_outputs
from .through import Carried, Place, between_stages, carried, place_of

BELOW_MOST_DB = (1.0, 3.0)  # whose bands are told
MATCHED_DB = 10.0  # return loss that counts as matched where none is stated; common practice, no source
POINTS, SPAN = 101, 0.05  # where none are given: from 5 % below the frequency of the file to 5 % above
_FEWEST_POINTS, _MOST_POINTS = 5, 100_000
_ADDRESS = "drive.frequency"


@dataclass(frozen=True)
class Leak:
    """A harmonic at its strongest against the wanted one within the band 3 dB below the most output.

    at_hz : f0 there. [Hz]
    dbc : [dB]
    """

    harmonic: int
    dbc: float
    at_hz: float


@dataclass(frozen=True, eq=False)
class Through:
    """Power carried at a place.

    watts : ndarray, (n_point, lines + 1); nan where not solved. [W]
    at_most : the same where the output is most, with who gives it; None where there is no most output.
    """

    place: Place
    watts: np.ndarray
    at_most: Carried | None

    def dbm(self, harmonic: int) -> np.ndarray:
        """At a harmonic, (n_point,); minus infinity where nothing is carried. [dBm]"""
        with np.errstate(divide="ignore"):
            return 10 * np.log10(1e3 * self.watts[:, harmonic])


@dataclass(frozen=True, eq=False)
class FrequencyStudy:
    """What comes out across the drive's frequency; made by `frequency_study`.

    frequency : ndarray, (n_point,), f0. [Hz]
    columns : name -> (n_point,), as a sweep's; nan where not solved.
    reasons : point -> why it is not solved.
    lines : harmonics that are told.
    own : at the frequency of the file; None where that is outside the range or not solved.
    most : most output at the wanted harmonic; bands : those 1 and 3 dB below it.
    match : best input return loss; matched : the band around it with at least `matched_db`; None where it is nowhere
        so good.
    leaks : within the 3 dB band, or what of it is known.
    through : at the places asked for; found_places : whether they were found, between the stages of a chain.
    solves : steady states solved for.
    """

    description: Description
    frequency: np.ndarray
    columns: dict[str, np.ndarray]
    reasons: dict[int, str]
    lines: int
    accuracy: Accuracy
    own: Mark | None
    most: Mark | None
    bands: tuple[Band, ...]
    match: Mark | None
    matched: Band | None
    matched_db: float
    leaks: tuple[Leak, ...]
    through: tuple[Through, ...]
    found_places: bool
    solves: int

    @property
    def order(self) -> int:
        """The wanted harmonic."""
        return self.description.wanted_harmonic

    @property
    def wanted(self) -> str:
        """The column of the wanted output."""
        return f"output_dbm_{self.order}"

    @property
    def others(self) -> tuple[int, ...]:
        """Harmonics told beside the wanted one."""
        return tuple(k for k in range(1, self.lines + 1) if k != self.order)

    @property
    def solved(self) -> np.ndarray:
        """(n_point,), bool."""
        return self.columns["solved"] > 0

    @property
    def unsure(self) -> np.ndarray:
        """Points with a line less sure than asked for, or of which that is not known, (n_point,), bool."""
        tight = self.columns["truncation_db"] <= self.accuracy.wanted_db
        tight &= ~(self.columns["truncation_others_db"] > self.accuracy.tolerance_of_others_db)
        return self.solved & ~tight

    @property
    def again(self) -> np.ndarray:
        """Points outside the widest band that is told whose output is within its level all the same."""
        if not self.bands:
            return np.zeros(0, int)
        with np.errstate(invalid="ignore"):
            high = self.columns[self.wanted] >= self.bands[-1].level
        return np.flatnonzero(high & ~self.bands[-1].known(self.frequency))

    def leak(self, harmonic: int) -> np.ndarray:
        """A harmonic against the wanted one, (n_point,). [dBc]"""
        return leak(self.columns, harmonic, self.order)


def leak(columns: Mapping[str, Any], harmonic: int, wanted: int) -> Any:
    """A harmonic against the wanted one; not a number where that does not come out. [dBc]"""
    level = np.asarray(columns[f"output_dbm_{wanted}"])
    with np.errstate(invalid="ignore"):
        return columns[f"output_dbm_{harmonic}"] - np.where(np.isfinite(level), level, np.nan)


def frequency_study(description: Description, frequencies: Sequence[Any] | str | None = None, *,
                    through: Sequence[str] = (), matched_db: float = MATCHED_DB, harmonics: int | None = None,
                    accuracy: Accuracy = Accuracy(), tell: Callable[[int], None] | None = None) -> FrequencyStudy:
    """Study the circuit across the drive's frequency.

    Parameters
    ----------
    frequencies : sequence or "start : stop : step", "start : stop : N points", or None
        At least five, of f0. None: 101, from 5 % below that of the file to 5 % above. [Hz]
    through : sequence of str
        Names of nodes or parts whose carried power is told, see `through.place_of`. None given: of a chain the nodes
        between its stages.
    matched_db : float
        The input return loss whose band is told. [dB]
    harmonics, accuracy
        As of a single solve.
    tell : function of the steady states solved for so far, or None

    Raises
    ------
    Refusal
        Fewer than five frequencies, an unknown place, a return loss that is not above 0 dB, or a network that cannot
        be computed at an end of the range.
    """
    spec, own = description.look_up(_ADDRESS)
    if frequencies is None:
        frequencies = f"{own * (1 - SPAN):.9g} Hz : {own * (1 + SPAN):.9g} Hz : {POINTS} points"
    x = np.unique(axis_values(spec, frequencies, _ADDRESS))
    if not _FEWEST_POINTS <= len(x) <= _MOST_POINTS:
        raise Refusal(f"{len(x)} frequencies; a study across the frequency takes {_FEWEST_POINTS} to {_MOST_POINTS}",
                      _ADDRESS)
    if not (matched_db > 0 and math.isfinite(matched_db)):
        raise Refusal(f"a return loss of {matched_db:g} dB is no match; state one above 0 dB", "return loss")
    places = list(dict.fromkeys(place_of(description, name) for name in through))
    accuracy = replace(accuracy, lines=max(accuracy.lines_of(description), description.wanted_harmonic + 1))
    for end in (x[0], x[-1]):  # refuse before the work what the data of a part do not cover
        prepare(description.with_values({_ADDRESS: float(end)}), harmonics or accuracy.levels(description)[0])
    return _Tuner(description, x, places, harmonics, accuracy, tell).run(float(own), matched_db)


@dataclass
class _Tuner:
    """A study under way."""

    description: Description
    frequency: np.ndarray
    places: list[Place]
    harmonics: int | None
    accuracy: Accuracy
    tell: Callable[[int], None] | None
    reasons: dict[int, str] = field(default_factory=dict)
    solves: int = 0

    def run(self, own: float, matched_db: float) -> FrequencyStudy:
        description, x = self.description, self.frequency
        lines, asked = self.accuracy.lines_of(description, self.harmonics), bool(self.places)
        if not asked:
            self.places = self._found_places()
        self._seeds: dict[int, SteadyState] = {}
        self.columns = {name: np.full(len(x), np.nan) for name in column_names(description, self.accuracy,
                                                                               self.harmonics)}
        self.columns["solved"][:] = 0.0
        self.watts = np.full((len(self.places), len(x), lines + 1), np.nan)
        self._march(lines)
        course = Course(x, self.columns, self._between)
        wanted = f"output_dbm_{description.wanted_harmonic}"
        top, match = most(course, wanted), most(course, "input_return_loss_db")
        bands = () if top is None else tuple(band(course, wanted, top, top.columns[wanted] - below)
                                             for below in BELOW_MOST_DB)
        good = match is not None and match.columns["input_return_loss_db"] >= matched_db
        matched = band(course, "input_return_loss_db", match, matched_db) if good else None
        leaks = () if top is None else _worst(course, top, bands[-1], description.wanted_harmonic, lines)
        return FrequencyStudy(description, x, self.columns, self.reasons, lines, self.accuracy,
                              self._own(course, own), top, bands, match, matched, matched_db, leaks,
                              self._through(top, lines), bool(self.places) and not asked, self.solves)

    def _found_places(self) -> list[Place]:
        """Between the stages of a chain, as the middle of the range shows them."""
        if self.description.wanted_harmonic < 4:
            return []
        try:
            return between_stages(self._solve(float(self.frequency[len(self.frequency) // 2]), None, self.harmonics))
        except HbsimError:
            return []

    def _solve(self, hz: float, start: SteadyState | None, harmonics: int | None) -> SteadyState:
        self.solves += 1
        if self.tell is not None:
            self.tell(self.solves)
        return solve(self.description.with_values({_ADDRESS: hz}), harmonics, None, start, self.accuracy)

    def _march(self, lines: int) -> None:
        start = None
        for n, hz in enumerate(self.frequency):
            try:
                state = self._solve(float(hz), start, self.harmonics)
            except HbsimError as failure:
                self.reasons[n] = failure.reason if isinstance(failure, NotSolved) else str(failure)
                continue
            for name, value in heated_outputs(state, True).items():
                self.columns[name][n] = value[0]
            for at, found in enumerate(carried(state, self.places, lines)):
                self.watts[at, n] = found.watts
            # a solve starts from the voltages alone; a whole state holds its networks, some 10 MB of a board
            start = self._seeds[n] = replace(state, system=None)

    def _near(self, hz: float, n: int) -> SteadyState:
        """The state at a frequency near a solved point, with one number of harmonics around each point."""
        counts = self.columns["harmonics"][max(n - 1, 0):n + 2]
        return self._solve(hz, self._seeds[n], int(np.nanmax(counts)))

    def _between(self, hz: float, n: int) -> Mapping[str, float]:
        return {name: float(value[0]) for name, value in heated_outputs(self._near(hz, n), False).items()}

    def _nearest(self, hz: float) -> int:
        """The solved point nearest to a frequency."""
        return min(self._seeds, key=lambda n: abs(self.frequency[n] - hz))

    def _own(self, course: Course, own: float) -> Mark | None:
        if not self._seeds or not self.frequency[0] <= own <= self.frequency[-1]:
            return None
        n = self._nearest(own)
        if math.isclose(self.frequency[n], own, rel_tol=1e-12):
            return Mark(own, course.point(n))
        try:
            return Mark(own, self._between(own, n))
        except HbsimError:
            return None

    def _through(self, top: Mark | None, lines: int) -> tuple[Through, ...]:
        found: Sequence[Carried | None] = [None] * len(self.places)
        if top is not None and self.places:
            try:
                found = carried(self._near(top.hz, self._nearest(top.hz)), self.places, lines)
            except HbsimError:  # the table has its numbers, only who gives them is not told
                pass
        return tuple(Through(place, watts, one) for place, watts, one in zip(self.places, self.watts, found))


def _worst(course: Course, top: Mark, within: Band, wanted: int, lines: int) -> tuple[Leak, ...]:
    """Each other harmonic where it is strongest against the wanted one: at the points within a band, its edges and the
    most output."""
    x, spots = course.frequency, {top.hz: top.columns}
    for edge in (within.low, within.high):
        if edge.hz is not None:
            spots[edge.hz] = edge.columns
    with np.errstate(invalid="ignore"):
        inside = within.known(x) & (course.values(f"output_dbm_{wanted}") >= within.level)
    spots |= {float(x[n]): course.point(int(n)) for n in np.flatnonzero(inside)}
    found = []
    for k in (k for k in range(1, lines + 1) if k != wanted):
        levels = {hz: float(leak(columns, k, wanted)) for hz, columns in spots.items()}
        at = max(levels, key=lambda hz: -math.inf if math.isnan(levels[hz]) else levels[hz])
        found.append(Leak(k, levels[at], at))
    return tuple(found)
