"""A part known by its S-parameters only: a Touchstone file in the circuit.

With power waves against real references R_i (Touchstone File Format Specification, Version 2.1, IBIS Open Forum,
2024, Option Line), a_i = (V_i + R_i I_i)/(2 sqrt R_i), b_i = (V_i - R_i I_i)/(2 sqrt R_i) and b = S a, hence

    (1 - S') V - (1 + S') R I = 0,    S' = D S D^-1,  D = diag(sqrt R_i),  R = diag(R_i)

which holds for every S: an open end, a short and a through have no admittance or no impedance, but have this. What
holds between the points of the file: interpolation.py. What is done with the data before: measured.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from ..errors import Refusal, nearest
from ..quantities import show
from .interpolation import SAME, between
from .measured import check_ports, reordered, without_fixtures
from .part import Part, Relation
from .passivity import ACTIVE, LOPSIDED, asymmetry, largest_gain
from .touchstone import TouchstoneData, read_touchstone

BEYOND = {
    "refuse": "do not solve",
    "hold": "S of the nearest point of the file, at DC its real part",
    "open": "nothing is connected",
    "short": "every port is shorted to ground",
    "through": "port 1 is joined to port 2",
    "absorb": "every port ends in its reference resistance",
}
_COARSE = 1.0  # change of S from point to point: 60 degrees at full reflection, spline errors about 1e-2


@dataclass(frozen=True)
class TouchstoneBlock(Part):
    """S-parameters from a file, every port against ground.

    The file says nothing below its first and above its last frequency; the circuit file says what holds there, in
    one of the words of `BEYOND`. For a filter with capacitive coupling that is at_dc = "open", for one with a
    continuous conductor "through". What a filter does above its last frequency nobody knows: try "open" and "short"
    and see whether the answer cares; "absorb" suits an attenuator or isolator.

    Parameters
    ----------
    file : TouchstoneData
        What `read_touchstone` gives.
    ports : tuple of int
        Ports of the file, counted from 1, in the order of the nodes; empty: as in the file. The terminals keep the
        file's numbers.
    fixture : mapping of int to Part
        What was measured along with the part, by the port of the file it stands at, and is removed from the data:
        a part with two terminals, the first facing outward (a known line, another file).
    active : bool
        The part is meant to amplify: no word on gain or direction. Its S-parameters, of one bias and a low level,
        hold at every harmonic alike: it neither compresses nor makes harmonics, which is said.
    at_dc : str
        What holds at 0 Hz, where the file has no point there.
    below : str
        What holds above 0 Hz and below the first frequency.
    above : str
        What holds above the last frequency.

    Attributes
    ----------
    data : TouchstoneData
        Without the fixtures, its ports in the order of the nodes.

    Raises
    ------
    Refusal
        A word is not known, "through" is asked of another count than 2 ports, `ports` does not name every port once,
        or a fixture cannot be removed (measured.py).
    """

    kind = "touchstone block"
    file: TouchstoneData = field(metadata={"reader": read_touchstone})
    ports: tuple[int, ...] = field(default=(), metadata={"counts": "the ports of the file in the order of the nodes"})
    fixture: Mapping[int, Part] | tuple[tuple[int, Part], ...] = ()
    active: bool = field(default=False, metadata={"flag": True})
    at_dc: str = field(default="refuse", metadata={"words": tuple(BEYOND)})
    below: str = field(default="refuse", metadata={"words": tuple(BEYOND)})
    above: str = field(default="refuse", metadata={"words": tuple(BEYOND)})
    data: TouchstoneData = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        count = self.file.ports
        for key in ("at_dc", "below", "above"):
            word = getattr(self, key)
            if word not in BEYOND:
                raise Refusal(f"{word!r} is not one of the words known here{nearest(str(word), BEYOND)}", key)
            if word == "through" and count != 2:
                raise Refusal(f"'through' is for 2 ports, '{Path(self.file.file).name}' has {count}; write "
                              "'open', 'short', 'absorb' or 'hold'", key)
        ports = tuple(self.ports) or tuple(range(1, count + 1))
        try:
            check_ports(ports, count)
        except Refusal as refusal:
            raise refusal.located("ports") from None
        fixtures = dict(self.fixture)
        for name, value in (("ports", ports), ("fixture", tuple(sorted(fixtures.items(), key=lambda item: item[0])))):
            object.__setattr__(self, name, value)
        object.__setattr__(self, "data", self._prepared(fixtures))

    def _prepared(self, fixtures: Mapping[int, Part]) -> TouchstoneData:
        """The data as the circuit sees it; noise is not used here, and an order asked for needs no note."""
        if not fixtures and self.ports == tuple(range(1, self.file.ports + 1)):
            return self.file
        bare = without_fixtures(replace(self.file, noise=None), fixtures)
        return replace(reordered(bare, self.ports), notes=bare.notes)

    def terminal_names(self) -> tuple[str, ...]:
        """The ports by their number in the file, in the order of the nodes."""
        return tuple(map(str, self.ports))

    def inside(self) -> dict[str, Part]:
        return {f"fixture.{port}": part for port, part in self.fixture}

    def with_inside(self, address: str, part: Part) -> TouchstoneBlock:
        return replace(self, fixture=dict(self.fixture) | {int(address.removeprefix("fixture.")): part})

    def scattering(self, frequency: np.ndarray) -> np.ndarray:
        """S against the file's references, (n, p, p), at each frequency [Hz] of (n,); real at 0 Hz.

        Raises
        ------
        Refusal
            The file holds no data at some of the frequencies and no word says what holds there.
        """
        data, first, last = self.data, self.data.frequency[0], self.data.frequency[-1]
        beyond = {"at_dc": (frequency == 0) & (first > 0),
                  "below": (frequency > 0) & (frequency < first * (1 - SAME)),
                  "above": frequency > last * (1 + SAME)}
        refused = {key: frequency[there] for key, there in beyond.items()
                   if there.any() and getattr(self, key) == "refuse"}
        if refused:
            raise Refusal(self._refusal(refused))
        s = between(data, np.clip(frequency, first, last))
        for key, there in beyond.items():
            if not there.any():
                continue
            s[there] = _assumed(getattr(self, key), data.s[-1 if key == "above" else 0], data.reference)
        s[frequency == 0] = s[frequency == 0].real
        return s

    def relation(self, omega: np.ndarray) -> Relation:
        root = np.sqrt(self.data.reference)
        # The ratio is exactly 1 on the diagonal: an open end must not leak by rounding.
        s = self.scattering(np.asarray(omega, float) / (2 * np.pi)) * (root[:, None] / root)
        one = np.eye(self.data.ports)
        return Relation(one - s, -(one + s) * self.data.reference)

    def _refusal(self, refused: dict[str, np.ndarray]) -> str:
        first, last = self.file.frequency[0], self.file.frequency[-1]
        holds = f"holds data from {show(first, 'Hz', 6)} to {show(last, 'Hz', 6)}" if last > first \
            else f"holds data at {show(first, 'Hz', 6)} only"
        needed = ["at DC (say at_dc = \"...\")"] if "at_dc" in refused else []
        needed += [f"at {_listed(refused[key])} {key} that (say {key} = \"...\")" for key in ("below", "above")
                   if key in refused]
        words = ", ".join(f"\"{word}\" ({meaning})" for word, meaning in BEYOND.items()
                          if word != "refuse" and (word != "through" or self.file.ports == 2))
        return (f"'{Path(self.file.file).name}' {holds}, and it is needed {' and '.join(needed)}; the words are "
                f"{words}; or use a file that reaches there, or a narrower range (fewer harmonics)")

    def data_range(self) -> tuple[float, float] | None:
        return float(self.data.frequency[0]), float(self.data.frequency[-1])

    def warnings(self, highest_frequency: float) -> list[str]:
        data, name = self.data, Path(self.file.file).name
        last = data.frequency[-1]
        said = [f"{name}: {note}" for note in data.notes]
        for port, part in self.fixture:
            said += [f"{name}: fixture at port {port}: {sentence}" for sentence in
                     part.warnings(min(highest_frequency, last))]
        said += self._assumptions(name, highest_frequency)
        used = data.frequency <= highest_frequency
        gain = largest_gain(data.s)
        said += self._active_words(name) if self.active else self._passive_words(name, np.where(used, gain, 0.0), used)
        step = np.abs(np.diff(data.s, axis=0)).max(axis=(1, 2), initial=0.0) / np.maximum(1.0, gain[:-1])
        step[~used[:-1]] = 0.0
        if step.max(initial=0.0) > _COARSE:
            worst = int(np.argmax(step))
            said.append(f"{name}: S changes by {step[worst]:.2g} between {show(data.frequency[worst], 'Hz', 6)} and "
                        f"{show(data.frequency[worst + 1], 'Hz', 6)}; values between points as far apart as that may "
                        "be wrong by 1 % and more; use a file with finer steps")
        return said

    def _assumptions(self, name: str, highest_frequency: float) -> list[str]:
        data, said = self.data, []
        first, last = data.frequency[0], data.frequency[-1]
        if first > 0:
            said += self._assumption("at_dc", f"{name} begins at {show(first, 'Hz', 6)}; at DC")
            said += self._assumption("below", f"{name} begins at {show(first, 'Hz', 6)}; below that")
        elif np.abs(data.s[0].imag).max() > 1e-6:
            said.append(f"{name}: S at 0 Hz has imaginary parts up to {np.abs(data.s[0].imag).max():.2g}; left out")
        if highest_frequency > last * (1 + SAME):
            said += self._assumption("above", f"{name} ends at {show(last, 'Hz', 6)}; above that, up to "
                                              f"{show(highest_frequency, 'Hz', 6)}")
        return said

    def _assumption(self, key: str, where: str) -> list[str]:
        word = getattr(self, key)
        return [] if word == "refuse" else [f"{where}, {BEYOND[word]} ({key} = \"{word}\"): assumed, not data"]

    def _active_words(self, name: str) -> list[str]:
        return [f"{name} is a small-signal part (active = true): its S-parameters, of one bias and a low level, are "
                "used as they are at every harmonic; it neither compresses nor makes harmonics"]

    def _passive_words(self, name: str, gain: np.ndarray, used: np.ndarray) -> list[str]:
        """Where the file gives out power, and where it is not the same both ways."""
        data, said = self.data, []
        worst = int(np.argmax(gain))
        if gain[worst] > 1 + ACTIVE:
            fixture = "a fixture that is not in the data as told, " if self.fixture else ""
            said.append(f"{name} gives out more power than it takes in: up to {20 * np.log10(gain[worst]):.2g} dB more "
                        f"at {show(data.frequency[worst], 'Hz', 6)}; no passive part does (measurement errors, "
                        f"{fixture}or an amplifier: then say active = true)")
        lopsided = np.where(used, asymmetry(data.s), 0.0)
        worst = int(np.argmax(lopsided))
        if lopsided[worst] > LOPSIDED:
            difference = np.abs(data.s[worst] - data.s[worst].T)
            at = np.unravel_index(np.argmax(difference), difference.shape)
            j, i = sorted(self.ports[port] for port in at)
            comma = "," if data.ports > 9 else ""
            said.append(f"{name} is not the same both ways: S{i}{comma}{j} and S{j}{comma}{i} differ by "
                        f"{difference.max():.2g} at {show(data.frequency[worst], 'Hz', 6)}; parts without ferrite and "
                        "transistor are (a trace that was not measured, or an isolator)")
        return said


def _assumed(word: str, nearest_point: np.ndarray, reference: np.ndarray) -> np.ndarray:
    """S where the file says nothing, (p, p)."""
    if word == "hold":
        return nearest_point
    if word == "through":
        r1, r2 = reference
        return np.array([[r2 - r1, 2 * np.sqrt(r1 * r2)], [2 * np.sqrt(r1 * r2), r1 - r2]]) / (r1 + r2)
    return {"open": 1.0, "short": -1.0, "absorb": 0.0}[word] * np.eye(len(reference))


def _listed(frequency: np.ndarray) -> str:
    """A list of frequencies that stays short: "3.456 GHz, 4.608 GHz and 3 more up to 9.216 GHz"."""
    shown = ", ".join(show(f, "Hz", 6) for f in frequency[:3])
    return shown + (f" and {len(frequency) - 3} more up to {show(frequency.max(), 'Hz', 6)}" if len(frequency) > 3
                    else "")
