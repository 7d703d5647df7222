"""Reading a text of transistor parameters."""

from __future__ import annotations

import math
import re
from pathlib import Path

from ...errors import Refusal
from .layout import Layout, lay_out
from .meaning import Meaning, weigh
from .names import is_package
from .result import Check, Choices, Parameter, Parameters, Undecided
from .text import lines_of, read_file

_CHECK_CURRENT, _CHECK_TEMPERATURE = 10e-3, 300.0  # [A], [K]
_USUAL_VOLTAGE = (0.6, 1.0)  # of base to emitter there, silicon: common practice, no source. [V]
_PRINTED = {"f_T": r"\bf_?T\b[ =:]*([0-9.]+)[ ]*([MG])Hz\b",
            "h_FE": r"\bh_?FE\b[ =:]*([0-9.]+)()(?![ ]*[A-Za-z%.0-9])"}
_PRINTED_SCALES = {"M": 1e6, "G": 1e9, "": 1.0}
_GAIN_APART = 2.0  # factor between BF and a printed h_FE beyond which one is doubted: common practice, no source
_CONVENTIONS = {
    "list": "read as a list: a letter glued to a number is its scale (M is 1e-3, MEG 1e6), a bare number is in SI "
            "units",
    "table": "read as a table: units stand apart from the numbers, and their capitals count"}


def read_parameters(source: str | Path, choices: Choices = Choices()) -> Parameters:
    """Read the parameters of one transistor.

    Parameters
    ----------
    source : Path or str
        A Path is a file; a str is the text itself.
    choices : Choices
        What is said where the text can be read in two ways.

    Returns
    -------
    Parameters
        Values in the units of the model; nothing is filled in.

    Raises
    ------
    Refusal
        With file, line, what stands there and the mend.
    """
    file = str(source) if isinstance(source, Path) else ""
    try:
        text, notes = read_file(source) if isinstance(source, Path) else (source, ())
        if choices.polarity not in (None, "npn", "pnp"):
            raise Refusal(f"'{choices.polarity}' is no polarity; write npn or pnp")
        layout = lay_out(lines_of(text), choices)
        polarity = _polarity(layout, choices)
        meaning = weigh(layout, polarity, choices)
        return _together(file, notes, layout, polarity, meaning, text)
    except Refusal as refusal:
        raise refusal.located(file=file) from None


def _polarity(layout: Layout, choices: Choices) -> str | None:
    """What the head of the list says, the caller, or else the only word of that kind in the text."""
    if layout.polarity and choices.polarity and layout.polarity != choices.polarity:
        raise Undecided(f"the list is headed {layout.polarity.upper()}, and {choices.polarity} was asked for; leave "
                        "one out", "polarity", against=True)
    hints = layout.hints | {cell.text.lower() for pair in layout.pairs if pair.name.upper() == "TYPE"
                            for cell in pair.cells if cell.text.lower() in ("npn", "pnp")}
    return layout.polarity or choices.polarity or (next(iter(hints)) if len(hints) == 1 else None)


def _together(file: str, notes: tuple[str, ...], layout: Layout, polarity: str | None,
              meaning: Meaning, text: str) -> Parameters:
    values = {name: entry for name, entry in meaning.found.items() if not is_package(name)}
    package = {name: entry for name, entry in meaning.found.items() if is_package(name)}
    if not values:
        raise Refusal("no Gummel-Poon parameter found, only those of a package; the table of the chip is wanted")
    checks, doubts = _checks(values)
    doubts += _against_printed(values, text)
    if polarity is None:
        doubts.append("neither NPN nor PNP is said; say which before a model is made of it")
    return Parameters(file, polarity, layout.title, meaning.convention, values, package, tuple(meaning.unused),
                      tuple(meaning.unknown), tuple(meaning.not_given), tuple(layout.validity), tuple(checks),
                      (*meaning.warnings, *doubts),
                      (_CONVENTIONS[meaning.convention], *notes, *layout.notes, *meaning.notes))


def _checks(values: dict[str, Parameter]) -> tuple[list[Check], list[str]]:
    """Numbers that show at a glance whether the set can be right, and doubts.

    1 / (2 pi TF) bounds the transition frequency; V_BE = NF V_T ln(IC / IS), forward active (I. Getreu, Modeling the
    Bipolar Transistor, Tektronix, 1976, from memory).
    """
    from ...devices.contract import K_OVER_Q  # brings compiled code along
    checks, doubts = [], []
    transit = values["TF"].value if "TF" in values else None
    if transit:
        checks.append(Check("transition_frequency_bound_hz", "1 / (2 pi TF), above any transition frequency",
                            1 / (2 * math.pi * transit), "Hz"))
    saturation = values["IS"].value if "IS" in values else None
    if saturation:
        emission = values["NF"].value if "NF" in values else 1.0
        said = "" if "NF" in values else ", NF taken as 1"
        voltage = emission * K_OVER_Q * _CHECK_TEMPERATURE * (math.log(_CHECK_CURRENT) - math.log(saturation))
        checks.append(Check("v_be_at_10_ma_v", f"V_BE at 10 mA and 300 K from IS and NF{said}", voltage, "V"))
        if not _USUAL_VOLTAGE[0] <= voltage <= _USUAL_VOLTAGE[1]:
            doubts.append(f"V_BE at 10 mA would be {voltage:.3f} V, outside {_USUAL_VOLTAGE[0]:g} to "
                          f"{_USUAL_VOLTAGE[1]:g} V: is the prefix of IS right?")
    return checks, doubts


def _against_printed(values: dict[str, Parameter], text: str) -> list[str]:
    """Doubts where the sheet prints a transition frequency or a current gain beside the set that it cannot have."""
    doubts = []
    transit, gain = (values[name].value if name in values else None for name in ("TF", "BF"))
    for number, line in enumerate(text.splitlines(), 1):
        for name, pattern in _PRINTED.items():
            for digits, scale in re.findall(pattern, line, re.I):
                if digits.count(".") > 1 or not digits.strip("."):
                    continue
                printed = float(digits) * _PRINTED_SCALES[scale.upper()]
                if name == "f_T" and transit and printed > 1 / (2 * math.pi * transit):
                    doubts.append(f"line {number}: f_T of {printed / 1e9:g} GHz is printed, above 1 / (2 pi TF) = "
                                  f"{1e-9 / (2 * math.pi * transit):.4g} GHz, which bounds it: is TF right?")
                elif name == "h_FE" and gain and not 1 / _GAIN_APART <= printed / gain <= _GAIN_APART:
                    doubts.append(f"line {number}: h_FE of {printed:g} is printed, more than a factor of "
                                  f"{_GAIN_APART:g} from BF = {gain:g}: is BF right?")
    return doubts
