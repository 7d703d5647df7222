"""A text of parameters as a model file, the form of the library of transistors."""

from __future__ import annotations

import json
import re
from pathlib import Path

from ...errors import Refusal
from ...quantities import quantities
from ..fragment import exact
from .names import UNITS
from .result import Parameter, Parameters, Undecided


def model_text(found: Parameters, name: str = "", source: str = "") -> str:
    """The model file (TOML) of a set, which `library.device` reads back to equal values.

    Parameters
    ----------
    found : Parameters
        Read with a polarity.
    name : str
        Title of the model; "": the name of the list, or of the file.
    source : str
        What [origin] says of where the text is from, in place of the file's name.

    Raises
    ------
    Refusal
        No polarity, or values that the transistor model does not take, with the line of the text.
    """
    if found.polarity is None:
        raise Undecided("the text says neither NPN nor PNP; say which it is", "polarity", ("npn", "pnp"),
                        file=found.file)
    _refuse_impossible(found)
    title = name or found.title or Path(found.file).stem or "transistor"
    source = source or Path(found.file).name or "a text"
    width = max(len(key) for key in found.values)
    rows = [f'polarity = "{found.polarity}"']
    for key, entry in sorted(found.values.items(), key=lambda item: list(UNITS).index(item[0])):
        written = f'{key.ljust(width)} = "{exact(entry.value, entry.unit)}"'
        rows.append(f"{written.ljust(width + 26)}  # {_comment(entry)}")
    head = [f"title = {_quoted(title)}", 'kind = "bjt"',
            f"about = {_quoted(f'Parameters as printed in {source}, read by hbsim; not measured, not fitted.')}"]
    origin = [f"{key} = {_quoted(sentence)}" for key, sentence in _origin(found, source).items()]
    return "\n".join([*head, "", "[parameters]", *rows, "", "[origin]", *origin]) + "\n"


def _comment(entry: Parameter) -> str:
    return _clean("; ".join((f"{entry.place}: {entry.text}", *entry.notes)))


def _clean(text: str) -> str:
    """Without what a comment or text of TOML cannot hold."""
    return re.sub(r"[\x00-\x1f\x7f-\x9f\ud800-\udfff]+", " ", text)


def _quoted(text: str) -> str:
    return json.dumps(_clean(text), ensure_ascii=False)


def _origin(found: Parameters, source: str) -> dict[str, str]:
    lines = [entry.line for entry in found.values.values()]
    where = f"line {min(lines)}" if min(lines) == max(lines) else f"lines {min(lines)} to {max(lines)}"
    said = {"text": f"{source}, {where}; the line of each value stands beside it", "reading": "; ".join(found.notes)}
    missing = [name for name in UNITS if name not in found.values]
    if missing:
        said["not_given"] = f"the text gives no {', '.join(missing)}: the model's own values hold"
    for key, entries in (("package", found.package.values()), ("unused", found.unused), ("unknown", found.unknown)):
        if entries:
            said[key] = "printed and not taken over: " + "; ".join(f"{entry.text} ({entry.place})" for entry in entries)
    if found.validity:
        said["validity"] = "; ".join(found.validity)
    if found.warnings:
        said["warnings"] = "; ".join(found.warnings)
    return said


def _refuse_impossible(found: Parameters) -> None:
    """Refuse here, with the line, what the model itself would refuse when the file is read."""
    from ...devices.bjt import BJT  # compiled code
    specs = quantities(BJT)
    given = {}
    for name, entry in found.values.items():
        try:
            given[name] = specs[name].take(entry.value)
        except Refusal as refusal:
            raise Refusal(f"{name}: {refusal.what}", entry.place, found.file) from None
    try:
        BJT(polarity=found.polarity, **given)
    except Refusal as refusal:
        line = found.values[refusal.place].place if refusal.place in found.values else ""
        raise Refusal(f"{refusal.place}: {refusal.what}", line, found.file) from None
