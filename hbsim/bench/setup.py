"""What stood between circuit and instruments: the other tables of the TOML file beside a data file.

    file = "readings.csv"           # the data, where the TOML file has another name
    name = "board 2, up"            # what pages call it
    bench = "bench.toml"            # another file, whose tables hold where this one says nothing

    repeats = "mean"                # readings at one setting become their mean, levels in watts; else all are kept

    [settings]                      # what stood still, by its address
    "supply.VCC" = "3 V"

    [input]                         # from the generator to the circuit's port
    losses = [{ loss = "0.6 dB", name = "cable" }]

    [output]                        # from the circuit's port to the analyser
    losses = [{ loss = "10.1 dB", name = "pad" }, { file = "cable.csv", beyond = "hold" },
          { file = "coupler.s2p", from = 1, to = 2 }]   # beyond the ends of a table: hold or extend
    circuit_match = "6 dB"          # return loss of the circuit's output at the harmonic that is read, at worst
    analyser_match = "14 dB"        # and of what it is connected to

    [generator]
    level_correction = "-0.4 dB"    # what it really gives, against what it shows; or { file = "generator.csv" }
    level_error = "0.5 dB"          # limit of what is left
    second_harmonic = "-25 dB"      # against its f0

    [analyser]
    noise_floor = "-84 dBm"
    averaging = "power"             # or logarithmic, unknown
    second_harmonic_intercept = "45 dBm"
    third_harmonic_intercept = "40 dBm"
    compression_point = "0 dBm"     # at its mixer
    attenuation = "10 dB"
    flatness = "0.5 dB"             # limit
    resolution_bandwidth = "1 MHz"  # of a trace, where its file does not say it; so are the next two
    detector = "peak"               # or sample, average
    frequency_error = "2 kHz"       # by which the drive's frequency may be off

    [bridge]
    directivity = "30 dB"
    source_match = "30 dB"
    place = "circuit"               # where it stood: or "generator", with all of [input] behind it

    [uncertainty]                   # standard uncertainty of one reading, by what is read
    levels = "0.3 dB"               # of all output_dbm_N
    output_dbm_2 = "0.2 dB"         # of one
    input_return_loss_db = "0.3 dB"
    supply_amps_VCC = "0.1 mA"      # or "2 %"
    s_parameters = "0.01"           # of the real and of the imaginary part, each
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ..describe.tomlfile import check_keys, read_toml
from ..errors import Refusal, nearest
from ..quantities import parse
from .analyser import AVERAGING
from .losses import BEYOND, Loss, loss_of_file, table_of_file

LEVELS, S_PARAMETERS = "levels", "s_parameters"  # an uncertainty of several
SHARED = ("settings", "input", "output", "generator", "analyser", "bridge", "uncertainty")  # what a bench file may hold
TABLES = ("bench", "file", "table", "columns", *SHARED, "network", "device", "name", "repeats")
KEEP, MEAN = "keep", "mean"  # what is done with repeated readings
DETECTORS = ("peak", "sample", "average")
_NUMBERS = {"output": {"circuit_match": "dB", "analyser_match": "dB"},
            "generator": {"level_error": "dB", "second_harmonic": "dB"},
            "analyser": {"noise_floor": "dBm", "second_harmonic_intercept": "dBm", "third_harmonic_intercept": "dBm",
                         "compression_point": "dBm", "attenuation": "dB", "flatness": "dB",
                         "resolution_bandwidth": "Hz", "frequency_error": "Hz"},
            "bridge": {"directivity": "dB", "source_match": "dB"}}


@dataclass(frozen=True, eq=False)
class Setup:
    """The bench of one data file.

    Attributes
    ----------
    settings : dict
        Address -> what stood still, as it is written.
    input, output : tuple of Loss
        In order, from the circuit to the instrument.
    numbers : dict
        "analyser.noise_floor" -> value in its unit; what is not said is not there.
    averaging : str
        Of the analyser; "unknown" if it is not said.
    uncertainty : dict
        Quantity, or "levels" -> as it is written.
    file : str
    detector : str or None
        Of traces whose file says none.
    repeats : str
        KEEP or MEAN.
    level_correction : Loss or None
        What is to be added to the level that the generator shows.
    behind_losses : bool
        Whether the bridge stood before what is in [input].
    """

    settings: dict[str, str] = field(default_factory=dict)
    input: tuple[Loss, ...] = ()
    output: tuple[Loss, ...] = ()
    numbers: dict[str, float] = field(default_factory=dict)
    averaging: str = "unknown"
    uncertainty: dict[str, str] = field(default_factory=dict)
    file: str = ""
    detector: str | None = None
    repeats: str = KEEP
    level_correction: Loss | None = None
    behind_losses: bool = False

    def standard(self, quantity: str, unit: str, values: np.ndarray) -> np.ndarray:
        """Standard uncertainty of readings of a quantity, (n,), in `unit`; nan where none is said."""
        of_all = self.uncertainty.get(LEVELS) if quantity.startswith("output_dbm_") else None
        said = self.uncertainty.get(quantity, of_all)
        if said is None:
            return np.full(len(values), np.nan)
        place = f"uncertainty.{quantity}"
        share = said.strip().endswith("%")
        if share and unit in ("dBm", "dB", "deg"):
            plain = "deg" if unit == "deg" else "dB"
            raise Refusal(f"a share of decibels or degrees means nothing; write it in {plain}", place, self.file)
        found = parse(said, "1" if share else "dB" if unit == "dBm" else unit, place)
        if not found > 0:
            raise Refusal("an uncertainty is above zero", place, self.file)
        return found * np.abs(values) if share else np.full(len(values), found)


def read_setup(tree: Mapping[str, Any], file: str) -> Setup:
    """From the tree of the TOML file beside a data file; its [table] and [columns] are read elsewhere.

    Raises
    ------
    Refusal
        Unknown keys (with the nearest), values that cannot be, files that are not there.
    """
    try:
        check_keys(dict(tree), TABLES)
        return _read(_with_shared(dict(tree), Path(file).parent), file)
    except Refusal as refusal:
        raise refusal.located(file=file) from None


def _with_shared(tree: dict[str, Any], folder: Path) -> dict[str, Any]:
    """The tables of the file that `bench` names, under those of this one; its file names start at its own folder."""
    if "bench" not in tree:
        return tree
    if not isinstance(tree["bench"], str):
        raise Refusal("is the name of a TOML file, in quotes", "bench")
    path = folder / tree["bench"]
    shared = read_toml(path)
    check_keys(shared, SHARED)
    correction = shared.get("generator", {}).get("level_correction")
    files = [correction] if isinstance(correction, dict) else []
    for item in [*files, *(item for key in ("input", "output") for item in _entries(shared.get(key, {})))]:
        if "file" in item:
            item["file"] = str(Path(tree["bench"]).parent / item["file"])  # seen from the folder of this file
    merged = dict(tree)
    for key, value in shared.items():
        merged[key] = {**value, **tree.get(key, {})} if isinstance(value, dict) else value
    return merged


def _entries(table: Any) -> list[dict[str, Any]]:
    items = table.get("losses", []) if isinstance(table, dict) else None
    if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
        raise Refusal('write losses = [{ loss = "10.1 dB", name = "pad" }, { file = "cable.csv" }]', "losses")
    return items


def _read(tree: dict[str, Any], file: str) -> Setup:
    folder, numbers = Path(file).parent, {}
    for name in SHARED:
        if not isinstance(tree.get(name, {}), dict):
            raise Refusal(f"'{name}' is a table: write [{name}] on a line of its own", name)
    check_keys(tree.get("input", {}), ("losses",), "input")
    for name, known in _NUMBERS.items():
        more = {"output": ("losses",), "analyser": ("averaging", "detector"),
                "generator": ("level_correction",), "bridge": ("place",)}.get(name, ())
        check_keys(tree.get(name, {}), (*known, *more), name)
        for key, unit in known.items():
            if key in tree.get(name, {}):
                numbers[f"{name}.{key}"] = parse(tree[name][key], unit, f"{name}.{key}")
    averaging = tree.get("analyser", {}).get("averaging", "unknown")
    if averaging not in AVERAGING:
        raise Refusal(f"'{averaging}' is no averaging; write one of {', '.join(AVERAGING)}", "analyser.averaging")
    place = tree.get("bridge", {}).get("place", "circuit")
    if place not in ("circuit", "generator"):
        raise Refusal(f"'{place}' is no place of a bridge; write circuit or generator", "bridge.place")
    detector, repeats = tree.get("analyser", {}).get("detector"), tree.get("repeats", KEEP)
    if detector is not None and detector not in DETECTORS:
        raise Refusal(f"'{detector}' is no detector; write one of {', '.join(DETECTORS)}", "analyser.detector")
    if repeats not in (KEEP, MEAN):
        raise Refusal(f"'{repeats}' is nothing that is done with repeated readings; write {KEEP} or {MEAN}", "repeats")
    for name in ("generator.level_error", "analyser.flatness", "bridge.directivity", "bridge.source_match",
                 "output.circuit_match", "output.analyser_match"):
        if numbers.get(name, 1.0) < 0:
            raise Refusal("is a positive number of dB", name)
    for name in ("analyser.resolution_bandwidth", "analyser.frequency_error"):
        if not numbers.get(name, 1.0) > 0:
            raise Refusal("is above zero", name)
    if numbers.get("generator.second_harmonic", -1.0) >= 0:
        raise Refusal("is told against f0, a negative number of dB", "generator.second_harmonic")
    losses = {name: tuple(_loss(item, f"{name}.losses", folder) for item in _entries(tree.get(name, {})))
              for name in ("input", "output")}
    return Setup(_texts(tree, "settings"), losses["input"], losses["output"], numbers, averaging,
                 _texts(tree, "uncertainty"), file, detector, repeats,
                 _level_correction(tree.get("generator", {}), folder), place == "generator")


def _level_correction(generator: dict[str, Any], folder: Path) -> Loss | None:
    said, place = generator.get("level_correction"), "generator.level_correction"
    if said is None:
        return None
    if not isinstance(said, dict):
        return Loss("generator", np.zeros(0), np.array([parse(said, "dB", place)]))
    check_keys(said, ("file", "beyond"), place)
    if "file" not in said:
        raise Refusal('write "-0.4 dB", or { file = "generator.csv" }', place)
    return table_of_file(_there(folder, said["file"], place), _beyond(said, place))


def _there(folder: Path, name: Any, place: str) -> Path:
    """A file that is named, which must be there."""
    if not isinstance(name, str) or not (folder / name).is_file():
        raise Refusal(f"asks for '{name}', and there is no such file; its name starts at the folder of this file",
                      place)
    return folder / name


def _texts(tree: dict[str, Any], key: str) -> dict[str, str]:
    for name, value in tree.get(key, {}).items():
        if isinstance(value, dict):
            raise Refusal(f'an address stands in quotes: "{name}.{next(iter(value), "")}" = ...', key)
        if not isinstance(value, str):
            raise Refusal("is a text with a unit, in quotes", f"{key}.{name}")
    return dict(tree.get(key, {}))


def _beyond(item: dict[str, Any], place: str) -> str:
    beyond = item.get("beyond", "")
    if beyond not in BEYOND:
        raise Refusal(f"'{beyond}' says not what holds beyond the table{nearest(beyond, BEYOND[1:])}", place)
    return beyond


def _loss(item: dict[str, Any], place: str, folder: Path) -> Loss:
    check_keys(item, ("loss", "name", "file", "from", "to", "beyond"), place)
    beyond = _beyond(item, place)
    if ("loss" in item) == ("file" in item):
        raise Refusal('needs one of loss = "10.1 dB" and file = "cable.csv"', place)
    if "loss" in item:
        loss = parse(item["loss"], "dB", f"{place}.loss")
        if loss < 0:
            raise Refusal("a loss is a positive number of dB", place)
        return Loss(item.get("name", "loss"), np.zeros(0), np.array([loss]))
    return loss_of_file(_there(folder, item["file"], place), item.get("from", 1), item.get("to", 2), beyond,
                        item.get("name", ""))
