"""What is done with measured data: other references, other order of ports, files in a row, fixtures removed.

Every function gives new data and leaves the old as it was; what was done stands among the notes. Power waves against
real references throughout (K. Kurokawa, IEEE Trans. MTT-13 (1965) 194-202); none of the forms needs an impedance, an
admittance or a transmission to exist, so that ideal opens, shorts and isolators go through them.

Noise parameters are kept where they stay true and left out, with a note, where they do not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from ..errors import Refusal
from ..quantities import show
from .interpolation import covered, on_grid, same_grid
from .part import Part
from .touchstone import TouchstoneData
from .touchstone.data import ports_text

_SINGULAR = 1e12  # loss of digits from which a difference counts as zero
_TRANSMITS = 1e-4  # -80 dB: through less than that nothing of what lies behind can be seen (common practice, no source)
_ENLARGED = 10.0  # factor on errors of the data from which removing a fixture is worth a word


def renormalised(data: TouchstoneData, reference: float | Sequence[float]) -> TouchstoneData:
    """The same part against other reference resistances: exact, and there and back the same.

    S' = A^-1 (S - P)(1 - P S)^-1 A, P = diag((R' - R)/(R' + R)), A = diag(sqrt(R'/R) 2R/(R + R')): K. Kurokawa, as
    above, for real R. Noise parameters stay true: the best source reflection is turned to the new reference.

    Parameters
    ----------
    data : TouchstoneData
    reference : float or sequence of float
        One for all ports, or one for each. [ohm]

    Raises
    ------
    Refusal
        A resistance that is not above zero, another count than ports, or an active part that would just oscillate.
    """
    new = np.asarray(reference, float)
    if new.ndim > 1 or new.size not in (1, data.ports):
        raise Refusal(f"{new.size} reference resistances for {ports_text(data.ports)}; give one for all or one for "
                      "each")
    new = np.broadcast_to(new, (data.ports,)).copy()
    if not (np.isfinite(new) & (new > 0)).all():
        raise Refusal("a reference resistance must be above zero and finite, such as 50 ohm")
    if (new == data.reference).all():
        return data
    s = _renormalised(data.s, data.reference, new, data.frequency)
    noise = data.noise
    if noise is not None:
        old = data.reference[0] if data.noise_reference is None else data.noise_reference
        p = (new[0] - old) / (new[0] + old)
        best = noise[:, 2] * np.exp(1j * np.deg2rad(noise[:, 3]))
        best = (best - p) / (1 - p * best)
        noise = noise.copy()
        noise[:, 2], noise[:, 3] = np.abs(best), np.rad2deg(np.angle(best))
    note = f"renormalised from {_resistances(data.reference)} to {_resistances(new)}"
    return replace(data, s=s, reference=new, noise=noise, noise_reference=None, notes=(*data.notes, note))


def reordered(data: TouchstoneData, ports: Sequence[int]) -> TouchstoneData:
    """The same part with its ports in another order.

    Parameters
    ----------
    data : TouchstoneData
    ports : sequence of int
        Ports of `data`, counted from 1, in the new order: (2, 1) turns a 2-port round.

    Raises
    ------
    Refusal
        Not every port once.
    """
    check_ports(ports, data.ports)
    order = np.array(ports) - 1
    if (np.diff(order) > 0).all():
        return data
    notes = (*data.notes, f"ports in the order {', '.join(map(str, ports))} of the file", *_without_noise(data))
    return replace(data, s=data.s[:, order][:, :, order], reference=data.reference[order], notes=notes, noise=None)


def check_ports(ports: Sequence[int], count: int) -> None:
    """Refuse an order of ports that does not name each of 1 to `count` once."""
    if sorted(ports) != list(range(1, count + 1)):
        example = ", ".join(map(str, range(count, 0, -1)))
        raise Refusal(f"{list(ports)} is no order of {ports_text(count)}; name each from 1 to {count} once, such as "
                      f"[{example}]")


def cascaded(first: TouchstoneData, *others: TouchstoneData) -> TouchstoneData:
    """2-ports in a row: port 2 of each joined to port 1 of the next.

    S11 = A11 + A12 B11 A21 / (1 - A22 B11) and so on, with B brought to the reference of A at the joint; sum of all
    ways of the waves to and fro. The result stands on the points of the first that all others cover; where the
    others have other points they are interpolated (interpolation.py).

    Parameters
    ----------
    first, others : TouchstoneData

    Returns
    -------
    TouchstoneData
        Against the reference of the first's port 1 and the last's port 2.

    Raises
    ------
    Refusal
        Another count than 2 ports, no common frequency, or a joint that resonates without loss.
    """
    every = (first, *others)
    for data in every:
        if data.ports != 2:
            raise Refusal(f"it has {ports_text(data.ports)}; only 2-ports stand in a row", file=data.file)
    inside = np.logical_and.reduce([covered(data, first.frequency) for data in every])
    if not inside.any():
        ranges = ", ".join(f"{_name(data)} {_range(data)}" for data in every)
        raise Refusal(f"no point of {_name(first)} is covered by all files of the row: {ranges}; use files whose "
                      "ranges overlap")
    frequency = first.frequency[inside]
    s, reference = first.s[inside], first.reference
    notes = [f"{_name(data)}: {note}" for data in every for note in data.notes]
    notes.append(f"in a row: {', '.join(_name(data) for data in every)}")
    if not inside.all():
        notes.append(f"{int((~inside).sum())} points of {_name(first)} lie outside what the others cover and are "
                     "left out")
    for data in others:
        if not same_grid(data.frequency, frequency):
            notes.append(f"{_name(data)} has other points and is interpolated")
        joint = np.array([reference[1], data.reference[1]])
        s = _joined(s, _renormalised(on_grid(data, frequency), data.reference, joint, frequency), frequency)
        reference = np.array([reference[0], data.reference[1]])
    if any(data.noise is not None for data in every):
        notes.append("noise parameters left out: those of the row are others")
    return TouchstoneData(" + ".join(map(_name, every)), frequency, s, reference, tuple(notes), None,
                          tuple(comment for data in every for comment in data.comments))


def without_fixture(data: TouchstoneData, port: int, fixture: Part | TouchstoneData) -> TouchstoneData:
    """The part behind a fixture at one of its ports; see `without_fixtures`."""
    return without_fixtures(data, {port: fixture})


def without_fixtures(data: TouchstoneData, fixtures: Mapping[int, Part | TouchstoneData]) -> TouchstoneData:
    """The part behind fixtures at any of its ports, removed from the data at the data's own points.

    With F of each fixture on the diagonals F11, F12, F21, F22 (a through at ports without one), b = S a outside and
    b' = S' a' inside,

        b' = F12^-1 (S - F11) a,    a' = (F21 + F22 F12^-1 (S - F11)) a,    hence S' = (b' of a) (a' of a)^-1

    which follows from b = F11 a + F12 b' and a' = F21 a + F22 b' (R. F. Bauer, P. Penfield, "De-embedding and
    unterminating", IEEE Trans. MTT-22 (1974) 282-288, in transfer form; from memory).

    Parameters
    ----------
    data : TouchstoneData
    fixtures : mapping of int to Part or TouchstoneData
        By the port they stand at, counted from 1. Terminal or port 1 faces outward, 2 the part. A file must cover
        the range of the data; in between it is interpolated.

    Returns
    -------
    TouchstoneData
        Against the same references.

    Raises
    ------
    Refusal
        No such port; not two ends; a fixture that does not transmit or does not cover the range; data that the
        fixture cannot have been part of.
    """
    if not fixtures:
        return data
    n, p = len(data.frequency), data.ports
    f = np.zeros((n, 2, 2, p), complex)
    f[:, 0, 1] = f[:, 1, 0] = 1.0
    notes = list(data.notes)
    for port, fixture in fixtures.items():
        if port not in range(1, p + 1):
            raise Refusal(f"there is no port {port} that a fixture could stand at; {_name(data)} has {ports_text(p)}",
                          f"fixture.{port}")
        f[:, :, :, port - 1] = _fixture(fixture, port, data)
        notes += _removal_notes(fixture, port, f[:, :, :, port - 1], data.frequency)
    f11, f12, f21, f22 = f[:, 0, 0, :, None], f[:, 0, 1, :, None], f[:, 1, 0, :, None], f[:, 1, 1, :, None]
    one = np.eye(p)
    with np.errstate(over="ignore", invalid="ignore"):  # what is not finite is refused below
        outgoing = (data.s - f11 * one) / f12
        inward = f21 * one + f22 * outgoing
    try:
        s = _over(outgoing, inward, data.frequency,
                  "nothing finite is left behind it; check that the fixture is in the data")
    except Refusal as refusal:
        raise refusal.located("fixture") from None
    return replace(data, s=s, notes=(*notes, *_without_noise(data)), noise=None)


def _fixture(fixture: Part | TouchstoneData, port: int, data: TouchstoneData) -> np.ndarray:
    """S of a fixture at the data's points against the reference of their port on both sides, (n, 2, 2)."""
    frequency, reference = data.frequency, np.full(2, data.reference[port - 1])
    try:
        if isinstance(fixture, Part):
            s = _of_part(fixture, reference, frequency)
        else:
            s = _of_file(fixture, reference, frequency)
        weakest = np.abs(s[:, [0, 1], [1, 0]]).min(axis=1)
        if not (weakest > _TRANSMITS).all():
            at = int(np.argmin(weakest))
            level = f"lets {20 * np.log10(weakest[at]):.3g} dB through" if weakest[at] > 0 else "does not transmit"
            raise Refusal(f"it {level} at {show(frequency[at], 'Hz', 6)}, and nothing behind it can be told from "
                          "outside; use another fixture, or data that leave this frequency out")
    except Refusal as refusal:
        raise refusal.located(f"fixture.{port}") from None
    return s


def _of_part(part: Part, reference: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """S of a part with two terminals from a V + b I = 0 with V = sqrt(R)(in + out), I = (in - out)/sqrt(R)."""
    terminals = part.terminals or part.terminal_names()
    if len(terminals) != 2:
        raise Refusal(f"a part of kind '{part.kind}' has {len(terminals)} terminals here, not the two of a "
                      "fixture (the first outward)")
    law = part.relation(2 * np.pi * frequency)
    b = -np.eye(2) if law.b is None else law.b
    r = reference[0]
    return _under(law.a * r - b, -(law.a * r + b), frequency, "it has no S-parameters; check its values", scale=0.0)


def _of_file(data: TouchstoneData, reference: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    if data.ports != 2:
        raise Refusal(f"{_name(data)} has {ports_text(data.ports)}; a fixture has two, the first outward")
    outside = frequency[~covered(data, frequency)]
    if len(outside):
        raise Refusal(f"{_name(data)} holds data {_range(data)}, and it is needed at {show(outside[0], 'Hz', 6)}; "
                      "measure it over the whole range, or use data of a narrower one")
    return _renormalised(on_grid(data, frequency), data.reference, reference, frequency)


def _removal_notes(fixture: Part | TouchstoneData, port: int, s: np.ndarray, frequency: np.ndarray) -> list[str]:
    what = f"a {fixture.kind}" if isinstance(fixture, Part) else _name(fixture)
    notes = [f"port {port}: {what} removed from the data"]
    enlarged = 1.0 / np.abs(s[:, 0, 1] * s[:, 1, 0])
    worst = int(np.argmax(enlarged))
    if enlarged[worst] > _ENLARGED:
        notes.append(f"port {port}: the fixture loses up to {20 * np.log10(enlarged[worst]):.3g} dB there and back (at "
                     f"{show(frequency[worst], 'Hz', 6)}); errors of the data grow by a factor {enlarged[worst]:.0f}")
    return notes


def _renormalised(s: np.ndarray, old: np.ndarray, new: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """S against other references, (n, p, p); see `renormalised`."""
    if (old == new).all():
        return s
    p, a = (new - old) / (new + old), np.sqrt(new / old) * 2 * old / (old + new)
    one = np.eye(len(old))
    mixed = _over(s - p * one, one - p[:, None] * s, frequency,
                  "ended in these resistances the part would oscillate; choose others")
    # The ratio is exactly 1 on the diagonal: an ideal open stays one to the last digit.
    return mixed * (a / a[:, None])


def _joined(a: np.ndarray, b: np.ndarray, frequency: np.ndarray) -> np.ndarray:
    """Two 2-ports in a row with one reference at the joint, (n, 2, 2)."""
    loop = 1.0 - a[:, 1, 1] * b[:, 0, 0]
    lost = np.abs(loop) * _SINGULAR < 1.0 + np.abs(a[:, 1, 1] * b[:, 0, 0])
    if lost.any():
        raise Refusal(f"the joint resonates without loss at {show(frequency[np.argmax(lost)], 'Hz', 6)}, where no "
                      "S-parameters exist; leave this frequency out")
    s = np.empty_like(a)
    s[:, 0, 0] = a[:, 0, 0] + a[:, 0, 1] * b[:, 0, 0] * a[:, 1, 0] / loop
    s[:, 0, 1] = a[:, 0, 1] * b[:, 0, 1] / loop
    s[:, 1, 0] = b[:, 1, 0] * a[:, 1, 0] / loop
    s[:, 1, 1] = b[:, 1, 1] + b[:, 1, 0] * a[:, 1, 1] * b[:, 0, 1] / loop
    return s


def _over(numerator: np.ndarray, denominator: np.ndarray, frequency: np.ndarray, why: str) -> np.ndarray:
    """numerator denominator^-1, (n, p, p)."""
    return _under(denominator.swapaxes(1, 2), numerator.swapaxes(1, 2), frequency, why).swapaxes(1, 2)


def _under(denominator: np.ndarray, numerator: np.ndarray, frequency: np.ndarray, why: str,
           scale: float = 1.0) -> np.ndarray:
    """denominator^-1 numerator, (n, p, p); refuses, saying why, where there is none. `scale`: of the summands."""
    whole = np.isfinite(denominator).all(axis=(1, 2)) & np.isfinite(numerator).all(axis=(1, 2))
    sizes = np.linalg.svd(np.where(whole[:, None, None], denominator, 0.0), compute_uv=False)
    lost = sizes[:, -1] * _SINGULAR <= np.maximum(sizes[:, 0], scale)
    if lost.any():
        raise Refusal(f"at {show(frequency[np.argmax(lost)], 'Hz', 6)} {why}")
    return np.linalg.solve(denominator, numerator)


def _without_noise(data: TouchstoneData) -> tuple[str, ...]:
    return () if data.noise is None else ("noise parameters left out: they hold for the part as it was measured",)


def _name(data: TouchstoneData) -> str:
    return f"'{Path(data.file).name}'" if data.file else "the data"


def _range(data: TouchstoneData) -> str:
    return f"from {show(data.frequency[0], 'Hz', 6)} to {show(data.frequency[-1], 'Hz', 6)}"




def _resistances(reference: np.ndarray) -> str:
    """"50 ohm", or one a port: "50 ohm, 75 ohm"."""
    shown = [show(value, "ohm", 6) for value in reference]
    return shown[0] if len(set(shown)) == 1 else ", ".join(shown)
