"""All that the TOML file beside a data file may say, as a page: the examples in the texts of the modules that read it.
"""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import dedent, wrap
from types import ModuleType

from . import mapping, scattering, setup
from .skeleton import OF_CIRCUITS, OF_DIODES, OF_TRANSISTORS

_MEASURED = "Words for what was measured on a driven circuit; N is 1 for f0, 2 for 2 f0 and so on, VCC a supply of it:"
_SET = "What was set has an address, as in --set: drive.power, drive.frequency, supply.VCC, and others of the circuit."
_ALONE = "Words of a transistor or a diode alone, at its pins:"


def keys() -> str:
    """The page; each table with an example of every key."""
    return "\n\n".join([
        "The TOML file of the same name beside a data file may hold these lines; all are examples. What "
        "belongs to no table stands at its top.",
        "# How the file is understood\n" + _examples(mapping),
        "\n".join([_MEASURED, *_words([*OF_CIRCUITS, "supply_amps_VCC"]), _SET, _ALONE, *_words(OF_TRANSISTORS),
                   *_words(OF_DIODES)]),
        "# What stood between circuit and instruments, and how sure a reading is\n" + _examples(setup),
        "# Of a Touchstone file\n" + _examples(scattering)])


def _words(words: Sequence[str]) -> list[str]:
    return wrap("  ".join(words), 110, initial_indent="    ", subsequent_indent="    ", drop_whitespace=True)


def _examples(module: ModuleType) -> str:
    """The indented part of a module's text."""
    lines = (module.__doc__ or "").splitlines()
    return dedent("\n".join(line for line in lines if line.startswith("    ") or not line.strip())).strip("\n")
