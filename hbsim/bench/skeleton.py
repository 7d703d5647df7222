"""What a person is to write into the TOML file beside a data file: the words there are, and a file to begin with."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from ..describe.description import Description
from ..devices.bjt import BJT
from ..errors import closest
from ..quantities import show
from .device_alone import NAME, is_alone
from .device_points import device_unit
from .readings import Readings

_LEVELS = ("dBm", "W", "dBuV", "dBmV", "dBV", "V", "Vrms", "Vpp", "Vpeak")  # that are taken as levels, see levels.py
_CLOSE = 0.6  # of a word and a misspelt one, as errors.nearest has it
OF_CIRCUITS = {"output_dbm_N": _LEVELS, "output_dbc_N": ("dB", "dBc"), "output_phase_deg_N": ("deg",),
               "conversion_loss_db": ("dB",), "input_return_loss_db": ("dB",), "supply_watts": ("W",),
               "efficiency": ("1",)}
OF_TRANSISTORS = ("base_volts", "collector_volts", "base_amps", "collector_amps", "emitter_amps", "reverse_volts",
                   "frequency", "base_emitter_farads", "base_collector_farads", "collector_substrate_farads")
OF_DIODES = ("anode_volts", "anode_amps", "reverse_volts", "frequency", "junction_farads")


def words_of(description: Description) -> dict[str, tuple[str, ...]]:
    """What a column can be, N the order of a harmonic -> the units that it can be in."""
    if is_alone(description):
        words = OF_TRANSISTORS if isinstance(description.devices[NAME].part, BJT) else OF_DIODES
        return {word: (device_unit(word),) for word in words}
    found: dict[str, tuple[str, ...]] = {"drive.power": ("dBm", "W"), "drive.frequency": ("Hz",)}
    found |= {f"supply.{name}": ("V",) for name in description.supplies}
    found |= {address: ("K",) for address in description.addresses() if address.endswith(".temperature")}
    return found | OF_CIRCUITS | {f"supply_amps_{name}": ("A",) for name in description.supplies}


def not_known(word: str, description: Description) -> str:
    """What to say of a word that a column cannot be."""
    words = words_of(description)
    close = closest(word, words, _CLOSE)
    return f"'{word}' is nothing that a column can be" + (f"; did you mean '{close}'?" if close else "") + \
        f"; {there_are(words)}"


def there_are(words: Collection[str]) -> str:
    """The words of `words_of`, as a sentence."""
    if "output_dbm_N" not in words:
        return f"there are {', '.join(words)}"
    return f"there are {', '.join(words)} (N: 1 for f0, 2 for 2 f0, ...), and other addresses of the circuit for " \
           "what was set"


def skeleton(readings: Readings, description: Description, file: str) -> str:
    """Why a file cannot be used yet, and the lines that it lacks, ready to be completed.

    A word stands there only where the unit of the column leaves one choice, else "?" with all that have this unit.

    Parameters
    ----------
    readings : Readings
    description : Description
    file : str
        Of the TOML file beside it; "" if there is none.
    """
    beside = Path(file or readings.file).with_suffix(".toml").name
    words = words_of(description)
    lines = [_line(column.name, column.unit, column.meaning, words) for column in readings.columns]
    width = max((len(head) for head, _ in lines), default=0)
    rows = ["[columns]"] + [f"{head:{width}}  # {remark}" for head, remark in lines]
    if not is_alone(description):
        rows += ["[settings]  # what stood still, and is no column",
                 *(f"# {_quoted(address)} = {_quoted(show(value, unit))}" for address, value, unit in
                   _of_circuit(description))]
    rows += ["[uncertainty]  # standard, of one reading; a fit needs it",
             *(f"# {word} = {_quoted(text)}" for word, text in _uncertainties(words))]
    return f"no column says what was measured. Write into {beside} beside it these lines, with words for each \"?\" " \
           "(N: 1 for f0, 2 for 2 f0, ...); leave out columns that count for nothing, and take the # away before " \
           f"what holds; 'hbsim readings --keys' lists all keys:\n\n" + "\n".join(rows)


def _line(name: str, unit: str, meaning: str, words: dict[str, tuple[str, ...]]) -> tuple[str, str]:
    """The line of a column, and the remark behind it."""
    if meaning:
        return f"{_quoted(name)} = {_quoted(meaning)}", "as it is"
    if not unit:
        return f'{_quoted(name)} = {{ is = "?", unit = "?" }}', f"unit not known: {', '.join(words)}"
    fitting = [word for word, taken in words.items() if unit in taken]
    if len(fitting) == 1 and "_N" not in fitting[0] and unit != "1":
        return f"{_quoted(name)} = {_quoted(fitting[0])}", f"the only one in {unit}"
    if not fitting:
        return f'# {_quoted(name)} = "?"', f"in {unit}, as nothing here is"
    return f'{_quoted(name)} = "?"', f"in {unit}: {', '.join(fitting)}"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _of_circuit(description: Description) -> list[tuple[str, float, str]]:
    found = []
    for address in ("drive.power", "drive.frequency", *(f"supply.{name}" for name in description.supplies)):
        spec, value = description.look_up(address)
        found.append((address, float(value), spec.unit))
    return found


def _uncertainties(words: Collection[str]) -> list[tuple[str, str]]:
    of_circuit = [("levels", "0.3 dB"), ("input_return_loss_db", "0.3 dB")] if "output_dbm_N" in words else []
    return of_circuit + [(word, "2 %") for word in words if "_amps" in word or "_farads" in word]
