"""Writing Touchstone files of versions 1.0, 1.1, 2.0 and 2.1.

Source: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 26 January 2024. Of what it leaves open,
the plainest is written: ASCII, LF, frequencies in Hz, every field of the option line, rows as in version 1, and every
number with the digits that give the same number back.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ...errors import Refusal, nearest
from ...files import replaced
from ...quantities import show
from .data import TouchstoneData, ports_text
from .keywords import VERSIONS as KEYWORD_VERSIONS
from .keywords import ends_information
from .matrices import as_pairs
from .options import FORMATS, PARAMETERS, resistance
from .parameters import from_scattering
from .read import ports_in_name

VERSIONS = ("1.0", "1.1", *KEYWORD_VERSIONS)
_POINTS_AT_ONCE = 1000  # turned into text together


def write_touchstone(path: str | Path, data: TouchstoneData, *, parameter: str = "S", format: str = "RI",
                     version: str | None = None) -> None:
    """Write a Touchstone file; S in RI reads back with the same bits.

    Comments stand first; letters outside ASCII, which the standard does not allow, are written as \\u2126. Lines of
    information become comments in version 1. Z, Y, H and G are written in ohms and siemens: version 2 has them so; in
    version 1.0 the option line says R 1, so that every reader takes them right, and S read back is against 1 ohm.

    Parameters
    ----------
    path : str or Path
        Where; an extension such as ".s2p" must fit the number of ports.
    data : TouchstoneData
        Its `parameter`, `format` and `version` do not matter here.
    parameter : str
        "S", "Y", "Z" for any number of ports, "H", "G" for 2.
    format : str
        "RI", "MA" (magnitude and degrees), "DB" (dB and degrees).
    version : str or None
        "1.0" (one reference for all ports), "1.1" (S, a reference for each port), "2.0" or "2.1". None: 1.0 where it
        can hold S and its references and noise, else 2.1.

    Raises
    ------
    Refusal
        The data are not finite or their frequencies do not increase; the parameters do not exist (Z of an ideal open);
        the format cannot hold them (dB of zero), or the version cannot (unequal references in 1.0); the place cannot
        be written.
    """
    try:
        parameter, format = _word(parameter, PARAMETERS, "parameter"), _word(format, FORMATS, "format")
        _check(data)
        _check_name(path, data.ports)
        if version is None:
            version = "2.1" if parameter != "S" or _why_not_version_1(data, "1.0") else "1.0"
        version = _word(version, VERSIONS, "version")
        if version.startswith("1"):
            _check_version_1(data, parameter, version)
        pairs = _pairs(data, parameter, format)
        head = _head(data, parameter, format, version)
    except Refusal as refusal:
        raise refusal.located(file=str(path)) from None
    with replaced(path) as file:
        file.write("\n".join(head) + "\n")
        for start in range(0, len(pairs), _POINTS_AT_ONCE):
            rows = slice(start, start + _POINTS_AT_ONCE)
            file.writelines(_rows(data.frequency[rows].tolist(), pairs[rows].tolist(), data.ports))
        file.writelines(_tail(data, version))


def _word(word: str, known: tuple[str, ...], name: str) -> str:
    if not isinstance(word, str) or word.upper() not in known:
        raise Refusal(f"{word!r} is not known as {name}{nearest(str(word), known)}")
    return word.upper()


def _check(data: TouchstoneData) -> None:
    """What every file needs."""
    points, ports = len(data.frequency), data.ports
    if points == 0 or ports == 0 or np.shape(data.s) != (points, ports, ports):
        raise Refusal(f"S of shape {np.shape(data.s)} does not go with {points} frequencies and {ports_text(ports)}; "
                      "one matrix for each frequency is needed")
    frequency = np.asarray(data.frequency, float)
    _check_frequencies(frequency, "")
    whole = np.isfinite(data.s).all(axis=(1, 2))
    if not whole.all():
        raise Refusal(f"S is not finite at {show(frequency[np.argmin(whole)], 'Hz', 12)}; leave out this frequency")
    for value in (*data.reference, _noise_reference(data)):
        resistance(repr(float(value)))
    if not _has_noise(data):
        return
    if ports != 2:
        raise Refusal(f"noise data needs 2 ports, here are {ports}; set noise to None")
    noise = np.asarray(data.noise, float)
    if noise.ndim != 2 or noise.shape[1] != 5 or not np.isfinite(noise).all():
        raise Refusal("noise data are rows of 5 finite numbers: frequency, noise figure, magnitude, angle, resistance")
    _check_frequencies(noise[:, 0], "noise ")


def _check_frequencies(frequency: np.ndarray, kind: str) -> None:
    if not np.isfinite(frequency).all() or frequency[0] < 0 or (np.diff(frequency) <= 0).any():
        raise Refusal(f"{kind}frequencies must be finite, not below zero, and increase; sort them and leave out "
                      "repeated ones")


def _check_name(path: str | Path, ports: int) -> None:
    named = ports_in_name(str(path))
    if named not in (None, ports):
        raise Refusal(f"the name says {ports_text(named)}, the data have {ports}; name it '.s{ports}p'")


def _has_noise(data: TouchstoneData) -> bool:
    return data.noise is not None and len(data.noise) > 0


def _noise_reference(data: TouchstoneData) -> float:
    return float(data.reference[0] if data.noise_reference is None else data.noise_reference)


def _check_version_1(data: TouchstoneData, parameter: str, version: str) -> None:
    if parameter != "S" and version == "1.1":
        raise Refusal("the standard does not say how Z, Y, H and G are normalised in version 1.1; write version 2.1")
    if parameter != "S" and _has_noise(data):
        raise Refusal(f"version 1.0 holds noise data beside S only, not beside {parameter}; write version 2.1")
    why = _why_not_version_1(data, version) if parameter == "S" else ""
    if why:
        raise Refusal(f"{why}; write version 2.1")


def _why_not_version_1(data: TouchstoneData, version: str) -> str:
    """Why version 1 cannot hold S-parameters and noise; "" if it can."""
    if version == "1.0" and len(set(np.asarray(data.reference).tolist())) > 1:
        return "version 1.0 has one reference for all ports, and these differ"
    if _has_noise(data) and _noise_reference(data) != data.reference[0]:
        return "in version 1 the noise data go with the reference of port 1, and theirs is another"
    if _has_noise(data) and data.noise[0, 0] > data.frequency[-1]:
        return "in version 1 noise must start at or below the last frequency of the network data"
    return ""


def _pairs(data: TouchstoneData, parameter: str, format: str) -> np.ndarray:
    """The numbers of each frequency in the order of the file, (n, 2 p p)."""
    frequency = np.asarray(data.frequency, float)
    matrix = from_scattering(parameter, np.asarray(data.s, complex), np.asarray(data.reference, float), frequency)
    if data.ports == 2:
        matrix = matrix.swapaxes(1, 2)  # 11 21 12 22
    elements = matrix.reshape(len(matrix), -1)
    pairs = as_pairs(elements, format)
    whole = np.isfinite(pairs)
    if not whole.all():
        point, place = np.argwhere(~whole)[0]
        column, row = divmod(int(place) // 2, 2) if data.ports == 2 else divmod(int(place) // 2, data.ports)[::-1]
        name = f"{parameter}{row + 1}{',' if data.ports > 9 else ''}{column + 1}"
        at = show(frequency[point], "Hz", 12)
        if elements[point, int(place) // 2] == 0:
            raise Refusal(f"{name} is zero at {at}, which has no value in dB; write format RI or MA")
        raise Refusal(f"{name} is too large for a number at {at}; leave out this frequency or write another parameter")
    return pairs


def _head(data: TouchstoneData, parameter: str, format: str, version: str) -> list[str]:
    """Lines above the data."""
    old = version.startswith("1")
    lines = [_comment(text) for text in (*data.comments, *(data.information if old else ()))]
    if old:
        given = [1.0] if parameter != "S" else data.reference if version == "1.1" else data.reference[:1]
        return [*lines, f"# Hz {parameter} {format} R {' '.join(map(_plain, given))}"]
    lines += [f"[Version] {version}", f"# Hz {parameter} {format} R {_plain(_noise_reference(data))}",
              f"[Number of Ports] {data.ports}"]
    lines += ["[Two-Port Data Order] 21_12"] * (data.ports == 2)
    lines += [f"[Number of Frequencies] {len(data.frequency)}"]
    lines += [f"[Number of Noise Frequencies] {len(data.noise)}"] if _has_noise(data) else []
    lines += [f"[Reference] {' '.join(map(_plain, data.reference))}"]
    if data.information:
        lines += ["[Begin Information]", *map(_information, data.information), "[End Information]"]
    return [*lines, "[Network Data]"]


def _tail(data: TouchstoneData, version: str) -> Iterator[str]:
    """Noise data, and the end of version 2."""
    old = version.startswith("1")
    if _has_noise(data):
        if not old:
            yield "[Noise Data]\n"
        scale = np.array([1.0, 1.0, 1.0, 1.0, data.reference[0] if old else 1.0])
        for row in (np.asarray(data.noise, float) / scale).tolist():
            yield " ".join(map(repr, row)) + "\n"
    if not old:
        yield "[End]\n"


def _rows(frequency: list[float], pairs: list[list[float]], ports: int) -> Iterator[str]:
    """Each matrix: 2 ports on one line, more a row a line, at most 4 pairs on it, continuations indented."""
    line = 8 if ports <= 2 else 2 * ports
    for at, numbers in zip(frequency, pairs):
        words = list(map(repr, numbers))
        broken = [" ".join(words[start:min(start + 8, row + line)])
                  for row in range(0, len(words), line) for start in range(row, min(row + line, len(words)), 8)]
        yield f"{at!r} " + "\n  ".join(broken) + "\n"


def _plain(value: float) -> str:
    return repr(float(value)).removesuffix(".0")


def _comment(text: str) -> str:
    return f"! {_one_line(text, 'comment')}".rstrip()


def _information(text: str) -> str:
    said = _one_line(text, "line of information")
    if "!" in said or ends_information(said):
        raise Refusal(f"the line of information {text!r} holds '!' or ends the information; mend it")
    return said


def _one_line(text: str, kind: str) -> str:
    if any(ord(letter) < 32 and letter != "\t" or ord(letter) == 127 for letter in text):
        raise Refusal(f"the {kind} {text!r} holds a line end or another control character; write one {kind} for each "
                      "line")
    return text.encode("ascii", "backslashreplace").decode("ascii").strip()
