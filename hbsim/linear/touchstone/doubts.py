"""What a Touchstone file leaves in doubt, in sentences for the person who can know."""

from __future__ import annotations

import re

import numpy as np

from ...quantities import show
from .header import Header
from .text import Text

NORMALISED = ("Y", "Z", "H", "G")  # version 1 divides these by the reference
_SILENT = 1.0001e-10  # -200 dB, what some analysers write for a trace not taken
_LARGE = 100.0  # S-parameters above this are rather another format than gain


def doubts(text: Text, header: Header, elements: np.ndarray, s: np.ndarray) -> list[str]:
    """Sentences; `elements` (n, m) as in the file, before any conversion, `s` (n, p, p)."""
    notes = []
    options, name = header.options, header.options.parameter
    resistances = header.resistances or options.resistances
    ohms = ", ".join(show(value, "ohm") for value in resistances)
    if header.normalised and name in NORMALISED and set(resistances) != {1.0}:
        rule = {"Z": "multiplied by", "Y": "divided by"}.get(name, "taken as normalised to")
        if len(set(resistances)) > 1:
            rule += " sqrt(R_i R_j), for which the standard gives no formula,"
        notes.append(f"{name} data {rule} R = {ohms}, the rule of version 1; if the file holds plain ohm and siemens, "
                     "write R 1 on its option line")
    if header.modes:
        notes.append(f"mixed-mode data ({' '.join(map(str, header.modes))}) converted to single-ended ports")
    spoken = re.compile(r"not\s+re-?normali[sz]ed|port\s+impedance", re.IGNORECASE)
    if any(spoken.search(comment) for comment in text.comments):
        notes.append("its comments speak of port impedances or of data not renormalised; it was read with "
                     f"R = {ohms} all the same; export renormalised if in doubt")
    if name == "S" and np.abs(elements).max() > _LARGE:
        notes.append("S-parameters above 100 are there: perhaps the format on the option line is another")
    if name == "S" and s.shape[1] == 2 and not header.modes:
        zero = [f"S{row + 1}{column + 1}" for column in (0, 1) for row in (0, 1)
                if np.abs(s[:, row, column]).max() <= _SILENT]
        if zero:
            named = " and ".join(filter(None, [", ".join(zero[:-1]), zero[-1]]))
            notes.append(f"{named} {'are' if len(zero) > 1 else 'is'} zero at every frequency: perhaps not measured")
    return notes
