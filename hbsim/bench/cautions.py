"""What could break a part or an instrument at measured points: what a prediction warns of, and what readings tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..balance.solution import SteadyState
from ..devices.contract import Device
from ..studies.prediction import HARMFUL_DBM, Hazard, harmful_power, hazards, rating_hazards
from .levels import dbm_to_watts, watts_to_dbm
from .readings import Readings
from .setup import Setup

# Common practice, no source: mixers are destroyed from some 10 dB above the level that compresses them by 1 dB on. The
# maximum input that is printed on the instrument decides.
_FAR_OVER_DB = 10.0


def of_states(states: Mapping[int, SteadyState]) -> tuple[str, ...]:
    """What a prediction warns of as dangerous, each where it is worst.

    states : point, from 0 -> its steady state.
    """
    return _worst({point: hazards(state) for point, state in states.items()})


def of_a_device(device: Device, settings: Mapping[str, np.ndarray],
                currents: Mapping[str, np.ndarray]) -> tuple[str, ...]:
    """What a device alone is loaded with beyond its limits, by what was set and read.

    Parameters
    ----------
    device : Device
    settings, currents : mapping
        "collector_volts", "base_amps" and so on -> (n_point,). [V], [A]
    """
    given = {**settings, **currents}
    count = len(next(iter(given.values())))
    pins = [pin for pin in device.terminals if pin not in device.optional and pin != device.common]
    unknown = np.full(count, np.nan)
    volts = {pin: given.get(f"{pin}_volts", unknown) for pin in pins} | {device.common: np.zeros(count)}
    amps = {pin: given.get(f"{pin}_amps", unknown) for pin in pins}
    heat = np.nansum([volts[pin] * amps[pin] for pin in pins], axis=0)
    found = {}
    for point in range(count):
        at = slice(point, point + 1)
        reached = device.ratings(np.array([volts[pins[0]][at]]), {pin: row[at] for pin, row in volts.items()},
                                 {pin: row[at] for pin, row in amps.items()}, float(heat[point]))
        # of what stands still average and peak are one
        found[point] = rating_hazards([item for item in reached if not (item.meaning.startswith("average")
                                                                        and item.meaning.endswith("current"))])
    return _worst(found)


def _worst(found: Mapping[int, Sequence[Hazard]]) -> tuple[str, ...]:
    """Each hazard where it is worst, from those of each point."""
    worst: dict[str, tuple[float, int, str]] = {}
    counts: dict[str, int] = {}
    for point, items in found.items():
        for item in items:
            counts[item.what] = counts.get(item.what, 0) + 1
            if item.what not in worst or item.share > worst[item.what][0]:
                worst[item.what] = item.share, point, item.sentence
    if len(found) == 1:
        return tuple(sentence for _, _, sentence in worst.values())
    return tuple(f"{sentence} (the worst: point {point + 1}; so at {counts[what]} of {len(found)} points)"
                 for what, (_, point, sentence) in worst.items())


def of_levels(levels: Sequence[np.ndarray], numbers: Mapping[str, float]) -> tuple[str, ...]:
    """What levels at an analyser tell, all of which reach it at the same time.

    Parameters
    ----------
    levels : sequence of ndarray, (n_point,)
        As the analyser shows them. [dBm]
    numbers : mapping
        As `Setup.numbers` has them.
    """
    watts = [np.where(np.isfinite(values), dbm_to_watts(values), 0.0) for values in levels]
    most = float(np.max(np.sum(watts, axis=0), initial=0.0)) if watts else 0.0
    if not most > 0.0:
        return ()
    total = float(watts_to_dbm(most))
    found = [f"readings: {harmful_power(total, 'reach the analyser')}"] if total > HARMFUL_DBM else []
    point, mixer = numbers.get("analyser.compression_point"), total - numbers.get("analyser.attenuation", 0.0)
    if point is not None and mixer > point + _FAR_OVER_DB:
        found.append(f"readings: {mixer:.1f} dBm at the analyser's mixer, {mixer - point:.1f} dB above its 1 dB "
                     "compression point: that can destroy it; look up its maximum input, and put attenuation before it")
    return tuple(found)


def of_readings(readings: Readings, setup: Setup) -> tuple[str, ...]:
    """The same of a file whose columns may have no meaning yet; what says that it was set does not count."""
    together = [column.values for column in readings.columns
                if column.unit == "dBm" and column.meaning.startswith("output_dbm_")]
    if together:
        return of_levels(together, setup.numbers)
    alone = [column.values for column in readings.columns if column.unit == "dBm" and "." not in column.meaning]
    alone += [np.array([marker.value]) for marker in readings.markers if marker.unit == "dBm"]
    strongest = max(alone, key=lambda values: np.nanmax(values, initial=-np.inf), default=None)
    return () if strongest is None else of_levels([strongest], setup.numbers)
