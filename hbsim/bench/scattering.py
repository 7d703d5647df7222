"""Touchstone files as measured data: of the linear circuit or some of its parts, or of a device at a bias.

The TOML file beside it says which:

    [network]                       # between which nodes or ports it was measured, as `hbsim network` has them
    ports = ["f_0", "f_3"]
    parts = ["filter_1", "filter_2", "filter_3"]
    from = "1 GHz"
    to = "4 GHz"
    phase = true                    # compare phases for people as well

    device = "Q1"                   # or: a device alone, port 1 at its base, port 2 at its collector
    [settings]
    base_volts = "0.8 V"
    collector_volts = "2 V"

    [uncertainty]
    s_parameters = "0.01"
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from ..describe.description import Description
from ..describe.tomlfile import check_keys, text
from ..errors import Refusal
from ..linear.measured import renormalised
from ..linear.touchstone import read_touchstone
from ..quantities import parse
from .dataset import DataSet
from .device_points import FREQUENCY, DevicePoints, device_unit, is_device_word
from .measurement import Measured, Measurement
from .network_points import NetworkPoints
from .settled import check_uncertainties
from .setup import S_PARAMETERS, Setup

_REFERENCE = 50.0  # of a device alone. [ohm]
_OF_LEVELS = ("input", "output", "generator", "analyser", "bridge")
_BAND = 3.0  # standard uncertainties, of a part of S


def is_touchstone(path: Path) -> bool:
    """Whether the ending is that of a Touchstone file."""
    return re.fullmatch(r"\.(s\d+p|ts)", path.suffix.lower()) is not None


def scattering_set(path: Path, tree: Mapping[str, Any], setup: Setup, description: Description, name: str) -> DataSet:
    """The data set of a Touchstone file.

    Raises
    ------
    Refusal
        As the reader; nothing says between which ports it was measured; no uncertainty is said.
    """
    for key in ("columns", "table", "repeats", *_OF_LEVELS):
        if key in tree:
            raise Refusal("does nothing for a Touchstone file, whose numbers are taken as they stand at the ports; "
                          "take it out", key, setup.file)
    check_uncertainties(setup, description)
    data = read_touchstone(path)
    said = setup.uncertainty.get(S_PARAMETERS)
    standard = np.nan if said is None else parse(said, "1", f"uncertainty.{S_PARAMETERS}")
    bias = {word: value for word, value in setup.settings.items() if is_device_word(word)}
    if bias:
        return _of_a_device(path, data, tree, bias, standard, description, name)
    table = tree.get("network")
    if not isinstance(table, dict):
        raise Refusal('nothing says between which nodes this was measured; write [network] with ports = ["f_0", "f_3"] '
                      "into the TOML file beside it", "network", setup.file or str(path))
    check_keys(table, ("ports", "parts", "from", "to", "phase"), "network")
    description = description.with_values(setup.settings) if setup.settings else description
    limits = [parse(table[key], "Hz", f"network.{key}") if key in table else None for key in ("from", "to")]
    phase = table.get("phase", False)
    if not isinstance(phase, bool):
        raise Refusal("is true or false", "network.phase", setup.file)
    return NetworkPoints(description, name, data.frequency, data.s, _names(table, "ports", setup.file),
                         _names(table, "parts", setup.file), data.reference, standard, low=limits[0], high=limits[1],
                         phase=phase)


def _names(table: Mapping[str, Any], key: str, file: str) -> list[str] | None:
    names = table.get(key)
    if names is not None and not (isinstance(names, list) and all(isinstance(name, str) for name in names)):
        raise Refusal('is a list of names, such as ["f_0", "f_3"]', f"network.{key}", file)
    return names


def _of_a_device(path: Path, data: Any, tree: Mapping[str, Any], bias: Mapping[str, str], standard: float,
                 description: Description, name: str) -> DevicePoints:
    device = text(dict(tree), "device", default="")
    if not device and len(description.devices) != 1:
        raise Refusal('of which device? write device = "Q1" into the TOML file beside it', "device", str(path))
    count = len(data.frequency)
    s = renormalised(data, _REFERENCE).s
    settings = {word: np.full(count, parse(value, device_unit(word), f"settings.{word}"))
                for word, value in bias.items()}
    sure, limit = np.full(count, standard), np.zeros(count, int)
    quantities = {}
    for i in range(s.shape[1]):
        for j in range(s.shape[1]):
            for part, values in (("re", s[:, i, j].real), ("im", s[:, i, j].imag)):
                quantities[f"s{i + 1}{j + 1}_{part}"] = Measured(values, sure, values - _BAND * sure,
                                                                 values + _BAND * sure, limit)
    item = Measurement(name, settings | {FREQUENCY: data.frequency}, quantities)
    return DevicePoints(description, device or next(iter(description.devices)), item)
