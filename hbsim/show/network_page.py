"""Page of text of `hbsim network`: what is looked at, what it shows at the harmonics, its pass band, a measurement."""

from __future__ import annotations

import math

import numpy as np

from ..linear.passivity import largest_gain
from ..quantities import show
from ..studies.network_figures import PHASE_FLOOR_DB, Band, Measured, band
from ..studies.network_response import LEAST, NetworkResponse, Seen
from ..studies.parameter_names import name_of, pairs
from .junctions import junction_sentences
from .style import harmonic_name
from .text import listed, table, wrapped

_MOST_ROWS = 8  # harmonics told of; --csv and --json hold all
_MOST_PAIRS = 36
_TINY_DB = 0.01  # a difference below this is told as "under"
_LOWEST_DB = -200.0  # below, a size is told as "none": rounding
_ROUNDING = 1e-9  # a gain above 1 by less than this is one of 1
_AMPS, _VOLTS = 1e-12, 1e-9  # below, a current or voltage at rest is told as 0


def network_page(found: NetworkResponse, beside: Measured | None = None) -> str:
    """The readable page; `beside`: a measurement."""
    first, last = (_hertz(f) for f in found.frequency[[0, -1]])
    lines = [*wrapped(found.description.title), f"S-parameters at {len(found.frequency)} points from {first} to {last}",
             *table([[f"port {n}", port.name, port.place, show(port.reference, "ohm")]
                     for n, port in enumerate(found.ports, 1)], left=(0, 1, 2))]
    if found.operating is not None:
        lines += ["", *_operating_lines(found)]
    count = len(found.ports)
    lines += ["", *(_few_ports(found) if count <= 2 else _many_ports(found)), ""]
    lines += _summary(found)
    if beside is not None:
        lines += ["", *_measured_lines(found, beside)]
    junctions = junction_sentences(found.description, found.junctions)
    lines += listed("What this rests on", [*found.notes, *junctions])
    return "\n".join([*lines, *listed("Warnings", found.warnings)])


def _operating_lines(found: NetworkResponse) -> list[str]:
    """Voltage and current at the pins of each device that is linearised."""
    lines = ["Linearised at the operating point without drive:"]
    for name, point in found.operating.items():
        pins = [pin for pin in point.volts if abs(point.volts[pin]) > _VOLTS or abs(point.amps[pin]) > _AMPS]
        said = "; ".join(f"{pin} {show(_clear(point.volts[pin], _VOLTS), 'V')}, "
                         f"{show(_clear(point.amps[pin], _AMPS), 'A')}" for pin in pins)
        lines += wrapped(f"{name}: {said or 'no current at all'}; dissipation {show(point.dissipation, 'W', 3)}, "
                         f"junction at {show(point.temperature, 'K')}", "  ", "    ")
    return lines


def _clear(value: float, least: float) -> float:
    return value if abs(value) > least else 0.0


def _places(found: NetworkResponse) -> tuple[list[str], Seen]:
    """Names of the ends of the range and of the harmonics inside, by frequency, and what is seen there."""
    swept, marks = found.swept, found.at_harmonics
    names = ["begin", "end", *map(harmonic_name, found.harmonics)][:2 + _MOST_ROWS]
    joined = [np.concatenate([a[[0, -1]], b])[:len(names)] for a, b in ((swept.frequency, marks.frequency),
                                                                       (swept.s, marks.s), (swept.delay, marks.delay))]
    order = np.argsort(joined[0], kind="stable")
    for place in (0, 1):  # a harmonic at an end of the range stands for it
        if (np.abs(joined[0][2:] - joined[0][place]) < 1e-9 * joined[0][place]).any():
            order = order[order != place]
    return [names[n] for n in order], Seen(*(values[order] for values in joined))


def _few_ports(found: NetworkResponse) -> list[str]:
    """A row for each place: 1 or 2 ports."""
    names, seen = _places(found)
    count = len(found.ports)
    shown = [pair for pair in pairs(count) if pair != (0, 1) or not found.reciprocal]
    through = (count - 1, 0)
    heads = [f"{name_of(*pair, count)} / dB" for pair in shown] + ["phase / deg", "delay"]
    heads += ["impedance / ohm"] if count == 1 else ["port 1 / ohm", "port 2 / ohm"]
    impedance = seen.impedance(found.ports)
    rows = [["", "frequency", *heads]]
    for k, name in enumerate(names):
        rows.append([name, _hertz(seen.frequency[k]), *(_level(seen.db[k, i, j]) for i, j in shown),
                     f"{seen.deg[k][through]:.1f}" if abs(seen.s[k][through]) > LEAST else "-",
                     _delay(seen.delay[k][through]), *(_impedance(z) for z in impedance[k])])
    lines = table(rows, left=(0,))
    if count == 1:
        return [*lines, "  S11 with its sign turned is the return loss; phase and group delay of S11"]
    way = "S21 and S12 are the same; " if found.reciprocal else ""
    return [*lines, *wrapped(f"{way}with their signs turned, S21 is the insertion loss, S11 and S22 are the return "
                             "losses. Phase and group delay of S21. Impedances: at each port while the other ends in "
                             "its reference.", "  ", "  ")]


def _many_ports(found: NetworkResponse) -> list[str]:
    """A row for each S-parameter: more than 2 ports."""
    names, seen = _places(found)
    count = len(found.ports)
    shown = [(i, j) for i, j in pairs(count) if i >= j or not found.reciprocal]
    rows = [["dB", *names], ["", *map(_hertz, seen.frequency)]]
    rows += [[name_of(i, j, count), *(_level(level) for level in seen.db[:, i, j])] for i, j in shown[:_MOST_PAIRS]]
    lines = table(rows, left=(0,))
    if found.reciprocal:
        lines.append("  the same in both directions, S12 = S21 and so on")
    if len(shown) > _MOST_PAIRS:
        lines.append(f"  {len(shown) - _MOST_PAIRS} more in --csv and --json")
    return lines


def _summary(found: NetworkResponse) -> list[str]:
    lines, through = [], band(found)
    if through is not None:
        lines += wrapped(_band_sentence(through))
    gain = largest_gain(found.s)
    worst = int(np.argmax(gain))
    at = _hertz(found.frequency[worst])
    if gain[worst] <= 1.0 + _ROUNDING:
        return [*lines, *wrapped(f"Passive: at no point does more come out than goes in, over all ports (most: "
                                 f"{100 * min(gain[worst], 1.0)**2:.3g} % of the power, at {at}).")]
    why = "a device, or data from a file" if found.operating else "data from a file"
    lines += wrapped(f"Not passive: up to {_change(20 * math.log10(gain[worst]))} more comes out than goes in, over "
                     f"all ports, at {at} ({why}).")
    for n, port in enumerate(found.ports):
        reflection = np.abs(found.s[:, n, n])
        worst = int(np.argmax(reflection))
        if reflection[worst] > 1.0 + _ROUNDING:
            lines += wrapped(f"Port {n + 1}, {port.name}, gives back more than it gets: "
                             f"{_change(20 * math.log10(reflection[worst]))} at {_hertz(found.frequency[worst])}; with "
                             "another termination the circuit may oscillate.")
    return lines


def _band_sentence(found: Band) -> str:
    most = f"S21 is largest at {_hertz(found.frequency)}: {_level(found.db)} dB."
    if found.low is not None and found.high is not None:
        width, middle = found.high - found.low, math.sqrt(found.high * found.low)
        share = f", {100 * width / middle:.3g} % of the middle, {_hertz(middle)}" if middle > 0 else ""
        return f"{most} 3 dB below that at {_hertz(found.low)} and {_hertz(found.high)}: {_hertz(width)} wide{share}."
    if found.low is None and found.high is None:
        return f"{most} It falls by 3 dB nowhere in the range."
    edge, other = (found.high, "below") if found.low is None else (found.low, "above")
    return f"{most} 3 dB below that at {_hertz(edge)}; {other}, it falls by less to the end of the range."


def _measured_lines(found: NetworkResponse, beside: Measured) -> list[str]:
    data, count = beside.data, len(found.ports)
    points = int(beside.common.sum())
    frequency = beside.computed.frequency
    lines = wrapped(f"Measured: {data.file}, {points} of its {len(data.frequency)} points, from "
                    f"{_hertz(frequency[0])} to {_hertz(frequency[-1])}, computed at the same points. Measured less "
                    "computed:")
    rows = [["", "size", "at", "rms", "error", "at", "rms", "phase", "at", "rms"]]
    for (i, j), d in list(beside.differences.items())[:_MOST_PAIRS]:
        turned = d.phase
        rows.append([name_of(i, j, count), _change(d.largest_db, "+"), _hertz(d.at), _change(d.rms_db),
                     _amplitude(d.largest), _hertz(d.largest_at), _amplitude(d.rms),
                     *(["-"] * 3 if turned is None else
                       [f"{round(turned.largest_deg, 1) + 0.0:+.1f} deg", _hertz(turned.at),
                        f"{turned.rms_deg:.1f} deg"])])
    lines += table(rows, left=(0,))
    lines += wrapped("the largest of each and where; error is |S measured - S computed|; phases count where "
                     f"both are above {PHASE_FLOOR_DB:.0f} dB", "  ", "  ")
    doubted = [name_of(i, j, count) for (i, j), d in beside.differences.items() if d.other_planes]
    if doubted:
        lines += wrapped(f"{', '.join(doubted)}: the sizes agree, the phases do not: is the measurement taken at other "
                         "reference planes, or is a length of line between?")
    return lines + [line for note in data.notes for line in wrapped(note, "  - ", "    ")]


def _amplitude(value: float) -> str:
    return f"{value:.4f}" if value >= 1e-4 else "<0.0001"


def _hertz(value: float) -> str:
    return show(float(value), "Hz", 5)


def _level(db: float) -> str:
    return f"{db + 0.0:.2f}" if db > _LOWEST_DB else "none"


def _change(db: float, sign: str = "") -> str:
    return f"{db:{sign}.2f} dB" if abs(db) >= _TINY_DB else f"under {_TINY_DB:g} dB"


def _delay(value: float) -> str:
    return show(float(value), "s") if math.isfinite(value) else "-"


def _impedance(value: complex) -> str:
    if not np.isfinite(value):
        return "open"
    digits = f".{1 if abs(value) < 1e4 else 0}f" if abs(value) < 1e6 else ".3g"
    return f"{value.real + 0.0:{digits}} {'-' if value.imag < 0 else '+'} j{abs(value.imag):{digits}}"
