"""Page of text of `hbsim touchstone`: what a file holds and how it was understood."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from ..linear.passivity import ACTIVE, LOPSIDED
from ..linear.touchstone import TouchstoneData
from ..linear.touchstone.data import ports_text
from ..quantities import show
from ..studies.touchstone_file import Inspection, Spacing
from .text import listed, table, wrapped

_FORMATS = {"RI": "real and imaginary parts", "MA": "magnitudes and angles", "DB": "dB and angles"}
_MOST_PORTS = 4  # of a table of all elements; larger ones show the reflections alone
_NO_LOSS = 1e-6  # share of the power, below the last digit that files are written with


def touchstone_page(found: Inspection) -> str:
    """The page; raises nothing."""
    data = found.data
    lines = [f"{Path(data.file).name}: {ports_text(data.ports)}, {_range(data)}{_spacing(found.spacing)}",
             f"  {data.parameter}-parameters as {_FORMATS[data.format]}, file version {data.version}; "
             f"{_reference(data)}"]
    if data.parameter != "S":
        lines.append(f"  shown here as S-parameters against {'these references' if data.ports > 1 else 'it'}")
    if data.noise is not None:
        noise = data.noise[:, 0]
        lines.append(f"  noise parameters at {len(noise)} frequenc{'ies' if len(noise) > 1 else 'y'}, "
                     f"{show(noise[0], 'Hz', 6)} to {show(noise[-1], 'Hz', 6)}")
    if data.comments:
        lines.append(f"  {len(data.comments)} comment{'s' * (len(data.comments) > 1)}")
    lines += ["", *_elements(data), "", *_checks(found)]
    return "\n".join([*lines, *listed("Notes", data.notes)])


def written_lines(data: TouchstoneData, reference: np.ndarray) -> list[str]:
    """What was written anew, as it reads back; `reference`: of the data that were written, (p,). [ohm]"""
    lines = [f"Written: {data.file}, {ports_text(data.ports)}, {data.parameter}-parameters as {_FORMATS[data.format]}, "
             f"file version {data.version}; {_reference(data)}"]
    if not np.allclose(data.reference, reference, rtol=1e-9, atol=0.0):  # the file holds ohms and siemens all the same
        lines.append(f"  {data.parameter} stand in the file in ohms and siemens; S read back is against "
                     f"{_reference(data).partition(' ')[2]}")
    return [line for text in lines for line in wrapped(text, " " * (text[0] == " ") * 2, "  ")]


def element_name(i: int, j: int, ports: int) -> str:
    """"S21" of row and column counted from 0; "S2,11" where a port number has two digits."""
    return f"S{i + 1}{',' * (ports > 9)}{j + 1}"


def _range(data: TouchstoneData) -> str:
    first, last = (show(f, "Hz", 9) for f in data.frequency[[0, -1]])
    return f"1 point at {first}" if len(data.frequency) == 1 else f"{len(data.frequency)} points from {first} to {last}"


def _spacing(spacing: Spacing) -> str:
    if spacing.word == "equal":
        return f", step {show((spacing.smallest + spacing.largest) / 2, 'Hz')}"
    if spacing.word == "geometric":
        return f", {spacing.per_decade:.4g} points in a decade"
    return f", steps from {show(spacing.smallest, 'Hz')} to {show(spacing.largest, 'Hz')}" * (spacing.word == "uneven")


def _reference(data: TouchstoneData) -> str:
    shown = [show(value, "ohm", 6) for value in data.reference]
    return f"reference {shown[0]}" if len(set(shown)) == 1 else f"references {', '.join(shown)}"


def _elements(data: TouchstoneData) -> list[str]:
    """Each element: its first and last value, and where it is largest."""
    ends = sorted({0, len(data.frequency) - 1})
    rows = [["", *(f"at {show(data.frequency[n], 'Hz', 6)}" for n in ends)]]
    rows[0] += ["largest", "at"] * (len(ends) > 1)
    every = data.ports <= _MOST_PORTS
    for i in range(data.ports):
        for j in range(data.ports) if every else [i]:
            values = data.s[:, i, j]
            rows.append([element_name(i, j, data.ports), *(f"{_level(values[n])}{_angle(values[n])}" for n in ends)])
            if len(ends) > 1:
                at = int(np.argmax(np.abs(values)))
                rows[-1] += [_level(values[at]), show(data.frequency[at], "Hz", 6)]
    return table(rows, left=(0,)) + ([] if every else [f"  and {data.ports * (data.ports - 1)} transmissions"])


def _level(value: complex) -> str:
    # adding zero takes the sign off a zero
    return f"{round(20 * math.log10(abs(value)), 2) + 0.0:.2f} dB" if value else "nothing"


def _angle(value: complex) -> str:
    return f" {round(math.degrees(math.atan2(value.imag, value.real)), 1) + 0.0:7.1f} deg" if value else " " * 12


def _checks(found: Inspection) -> list[str]:
    """Passive, lossless, reciprocal or not, with the worst frequency."""
    gain, lost, difference = found.passivity, found.losslessness, found.reciprocity
    if gain.value > 1 + ACTIVE:
        lines = [f"Not passive: gives out up to {show(20 * math.log10(gain.value), 'dB', 3)} more than it takes in, at "
                 f"{show(gain.frequency, 'Hz', 6)} (an amplifier, or errors of a measurement)"]
    else:
        lines = [f"Passive: the largest singular value of S is {gain.value:.6f}, at {show(gain.frequency, 'Hz', 6)}"]
        lines.append("Lossless" if lost.value < _NO_LOSS else
                     f"Loses up to {100 * lost.value:.3g} % of the power that comes in, at "
                     f"{show(lost.frequency, 'Hz', 6)}")
    if found.data.ports > 1:
        pair, at = _pair(found.data, difference.frequency), f"at {show(difference.frequency, 'Hz', 6)}"
        if difference.value == 0:
            lines.append("Reciprocal: the same both ways, to the last digit")
        elif difference.value > LOPSIDED:
            lines.append(f"Not reciprocal: {pair} differ by {difference.value:.3g}, {at}")
        else:
            lines.append(f"Reciprocal: the two ways differ by at most {difference.value:.2g} ({pair}), {at}")
    return lines


def _pair(data: TouchstoneData, frequency: float) -> str:
    """The two elements that differ most at a point, such as "S21 and S12"."""
    s = data.s[int(np.argmin(np.abs(data.frequency - frequency)))]
    j, i = sorted(np.unravel_index(np.argmax(np.abs(s - s.T)), s.shape))
    return f"{element_name(i, j, data.ports)} and {element_name(j, i, data.ports)}"
