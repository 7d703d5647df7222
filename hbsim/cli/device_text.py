"""`hbsim device --from-text FILE`: parameters as data sheets print them, shown as understood and made a model file."""

from __future__ import annotations

import argparse
import os
import shlex
from pathlib import Path
from typing import Any

from ..errors import Refusal
from ..quantities import finite_or_none
from .shared import check_outputs, write_json

_OPTIONS = ("title", "polarity", "out", "replace", "bare_is_si", "column", "die", "area", "decimal_comma", "strict")


def add_options(parser: argparse.ArgumentParser) -> None:
    """The options of `hbsim device` that read a text."""
    group = parser.add_argument_group("parameters from a text", "Tables and name = value lists as data sheets print "
                                      "them; what can be read in two ways is refused until one of these says which.")
    group.add_argument("--from-text", metavar="FILE", help="read the parameters of a transistor, show what was "
                       "understood, and write a model file with --out")
    group.add_argument("--name", dest="title", metavar="NAME", help="title of the model written")
    group.add_argument("--polarity", choices=("npn", "pnp"), help="where the text does not say it")
    group.add_argument("--out", metavar="MODEL.toml", help="write a model file, for circuit files and 'hbsim device'")
    group.add_argument("--replace", action="store_true", help="let --out replace a file that is there")
    group.add_argument("--bare-is-si", action="store_true", help="values without a unit, in a table that has units "
                       "elsewhere, are in SI units")
    group.add_argument("--column", metavar="HEAD", help="column wanted of several: min, typ or max")
    group.add_argument("--die", metavar="NAME", help="transistor wanted of several: head of its column, or name of its "
                       "list")
    group.add_argument("--area", type=float, metavar="FACTOR", help="the transistor is so many times what the values "
                       "are for; 1: they are for the whole")
    group.add_argument("--decimal-comma", action="store_true", help="0,31 is 0.31")
    group.add_argument("--strict", action="store_true", help="refuse names that are not known")


def asked(options: argparse.Namespace) -> bool:
    """Whether a text is to be read; refuses options that would do nothing."""
    if options.from_text is None:
        for name in _OPTIONS:
            if getattr(options, name) not in (None, False):
                option = "name" if name == "title" else name.replace("_", "-")
                raise Refusal("is for a text; name it with --from-text", f"--{option}")
        return False
    return True


def run(options: argparse.Namespace) -> int:
    """Read, show, write."""
    _refuse_mixed(options)
    from ..describe.parameter_text import Choices, Undecided, model_text, read_parameters
    choices = Choices(options.polarity, options.bare_is_si, options.column, options.die, options.area,
                      options.decimal_comma, options.strict)
    try:
        found = read_parameters(Path(options.from_text), choices)
        model = model_text(found, options.title or "") if options.out else ""
    except Undecided as refusal:
        raise Refusal(f"{refusal.what} ({_what_to_type(refusal)})", refusal.place, refusal.file) from None
    data, lines = _as_json(found), []
    if found.polarity is None:
        lines.append("--polarity npn or --polarity pnp says which transistor it is")
    if options.out:
        from ..files import replaced
        with replaced(options.out) as handle:
            handle.write(model)
        lines.append(f"Written: {options.out}; 'hbsim device {options.out}' shows its curves")
    if options.plot:
        data["curves"] = _draw(options.out, options.plot)
        lines.append(f"Drawn: {options.plot}")
    if options.json != "-":
        from ..show.parameter_page import parameter_page
        print("\n".join([parameter_page(found), *([""] if lines else []), *lines]))
    write_json(options.json, data)
    return 0


def _what_to_type(refusal: Any) -> str:
    """The options that decide what a text leaves open."""
    option = f"--{refusal.choice.replace('_', '-')}"
    if refusal.against:
        return f"leave out {option}"
    # a head may hold blanks
    ways = [f"{option} {shlex.quote(value)}" for value in refusal.values] or [option]
    return " or ".join(dict.fromkeys(ways))


def _draw(model: str, picture: str) -> dict[str, Any]:
    """Curves of the model file that was written, drawn; their numbers."""
    from ..show.device_plot import device_figure
    from ..show.style import save
    from ..studies.device_curves import as_json, curves
    found = curves(model)
    save(device_figure(found), picture)
    return as_json(found)


def _refuse_mixed(options: argparse.Namespace) -> None:
    if options.name is not None:
        raise Refusal(f"'{options.name}' is another device than the text; name one of them", "--from-text")
    if options.plot is not None and options.out is None:
        raise Refusal("curves are drawn of a model file; write it with --out MODEL.toml in the same command", "--plot")
    check_outputs(options)
    if options.out is None:
        if options.replace:
            raise Refusal("nothing is written that could replace a file; name it with --out", "--replace")
        return
    from ..files import check_writable
    if not options.out.endswith(".toml"):
        raise Refusal(f"'{options.out}' does not end in .toml, by which a model file is known; write "
                      f"{options.out}.toml", "--out")
    places = {os.path.realpath(path) for path in (options.from_text, options.json) if path not in (None, "-")}
    if os.path.realpath(options.out) in places:
        raise Refusal(f"'{options.out}' is also the text or the file of --json; give each its own", "--out")
    check_writable(options.out)
    if os.path.exists(options.out) and not options.replace:
        raise Refusal(f"'{options.out}' is there already; name another file, or add --replace", "--out")


def _as_json(found: Any) -> dict[str, Any]:
    def plain(entry: Any) -> dict[str, Any]:
        return {"name": entry.name, "value": finite_or_none(entry.value), "unit": entry.unit,
                "infinite": entry.value is not None and entry.value == float("inf"), "line": entry.line,
                "text": entry.text, "unit_as_written": entry.written, "notes": list(entry.notes)}

    return {"file": found.file, "polarity": found.polarity, "title": found.title, "convention": found.convention,
            "parameters": [plain(entry) for entry in found.values.values()],
            "package": [plain(entry) for entry in found.package.values()],
            **{key: [plain(entry) for entry in getattr(found, key)] for key in ("unused", "unknown", "not_given")},
            "validity": list(found.validity), "checks": {check.key: check.value for check in found.checks},
            "notes": list(found.notes), "warnings": list(found.warnings)}
