"""A part known by its S-parameters only: a Touchstone file in the circuit.

With power waves against real references R_i (Touchstone File Format Specification, Version 2.1, IBIS Open Forum,
2024, Option Line), a_i = (V_i + R_i I_i)/(2 sqrt R_i), b_i = (V_i - R_i I_i)/(2 sqrt R_i) and b = S a, hence

    (1 - S') V - (1 + S') R I = 0,    S' = D S D^-1,  D = diag(sqrt R_i),  R = diag(R_i)

which holds for every S: an open end, a short and a through have no admittance or no impedance, but have this.

Between the points of the file real and imaginary parts follow a cubic spline. On a line whose phase turns by 10
(30) degrees from point to point its largest error away from the ends is 3e-6 (2e-4); that of monotone and of Akima
cubics is 1e-3 (1e-2), that of straight lines 4e-3 (3e-2). A spline may overshoot where the steps are uneven (a DC
point far below the rest): in an interval where it would give out more power than the points at its ends do, the
straight line between them is taken, which cannot. Fewer than 4 points are joined by straight lines.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields
from functools import lru_cache
from pathlib import Path

import numpy as np

from ..errors import Refusal, nearest
from ..quantities import show
from .part import Part, Relation
from .touchstone import TouchstoneData, read_touchstone

BEYOND = {
    "refuse": "do not solve",
    "hold": "S of the nearest point of the file, at DC its real part",
    "open": "nothing is connected",
    "short": "every port is shorted to ground",
    "through": "port 1 is joined to port 2",
    "absorb": "every port ends in its reference resistance",
}
_SAME = 1e-9  # a harmonic this near to the end of the file, relatively, is at its end: rounding of k f0
_ACTIVE = 1e-3  # gain above 1 (0.01 dB) from which a file is said to give out power
_OVERSHOOT = 1e-2  # gain above that of its ends (0.1 dB) at which an interval of the spline is not trusted
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
    at_dc : str
        What holds at 0 Hz, where the file has no point there.
    below : str
        What holds above 0 Hz and below the first frequency.
    above : str
        What holds above the last frequency.

    Raises
    ------
    Refusal
        A word is not known, or "through" is asked of another count than 2 ports.
    """

    kind = "touchstone block"
    file: TouchstoneData = field(metadata={"reader": read_touchstone})
    at_dc: str = field(default="refuse", metadata={"words": tuple(BEYOND)})
    below: str = field(default="refuse", metadata={"words": tuple(BEYOND)})
    above: str = field(default="refuse", metadata={"words": tuple(BEYOND)})

    def __post_init__(self) -> None:
        for item in fields(self)[1:]:
            word = getattr(self, item.name)
            if word not in BEYOND:
                raise Refusal(f"{word!r} is not one of the words known here{nearest(str(word), BEYOND)}", item.name)
            if word == "through" and self.file.ports != 2:
                raise Refusal(f"'through' is for 2 ports, '{Path(self.file.file).name}' has {self.file.ports}; write "
                              "'open', 'short', 'absorb' or 'hold'", item.name)

    def terminal_names(self) -> tuple[str, ...]:
        """The ports by number, "1" first."""
        return tuple(str(port) for port in range(1, self.file.ports + 1))

    def scattering(self, frequency: np.ndarray) -> np.ndarray:
        """S against the file's references, (n, p, p), at each frequency [Hz] of (n,); real at 0 Hz.

        Raises
        ------
        Refusal
            The file holds no data at some of the frequencies and no word says what holds there.
        """
        data, first, last = self.file, self.file.frequency[0], self.file.frequency[-1]
        beyond = {"at_dc": (frequency == 0) & (first > 0),
                  "below": (frequency > 0) & (frequency < first * (1 - _SAME)),
                  "above": frequency > last * (1 + _SAME)}
        refused = {key: frequency[there] for key, there in beyond.items()
                   if there.any() and getattr(self, key) == "refuse"}
        if refused:
            raise Refusal(self._refusal(refused))
        s = _interpolated(data, np.clip(frequency, first, last))
        for key, there in beyond.items():
            if not there.any():
                continue
            s[there] = _assumed(getattr(self, key), data.s[-1 if key == "above" else 0], data.reference)
        s[frequency == 0] = s[frequency == 0].real
        return s

    def relation(self, omega: np.ndarray) -> Relation:
        root = np.sqrt(self.file.reference)
        # The ratio is exactly 1 on the diagonal: an open end must not leak by rounding.
        s = self.scattering(np.asarray(omega, float) / (2 * np.pi)) * (root[:, None] / root)
        one = np.eye(self.file.ports)
        return Relation(one - s, -(one + s) * self.file.reference)

    def _refusal(self, refused: dict[str, np.ndarray]) -> str:
        first, last = self.file.frequency[0], self.file.frequency[-1]
        holds = f"holds data from {show(first, 'Hz', 6)} to {show(last, 'Hz', 6)}" if last > first \
            else f"holds data at {show(first, 'Hz', 6)} only"
        needed = ["at DC (say at_dc = \"...\")"] if "at_dc" in refused else []
        needed += [f"at {_harmonics(refused[key])} {key} that (say {key} = \"...\")" for key in ("below", "above")
                   if key in refused]
        words = ", ".join(f"\"{word}\" ({meaning})" for word, meaning in BEYOND.items()
                          if word != "refuse" and (word != "through" or self.file.ports == 2))
        return (f"'{Path(self.file.file).name}' {holds}, and it is needed {' and '.join(needed)}; the words are "
                f"{words}; or use a file that reaches there, or fewer harmonics")

    def warnings(self, highest_frequency: float) -> list[str]:
        data, name = self.file, Path(self.file.file).name
        first, last = data.frequency[0], data.frequency[-1]
        said = [f"{name}: {note}" for note in data.notes]
        if first > 0:
            said += self._assumption("at_dc", f"{name} begins at {show(first, 'Hz', 6)}; at DC")
            said += self._assumption("below", f"{name} begins at {show(first, 'Hz', 6)}; for harmonics below that")
        elif np.abs(data.s[0].imag).max() > 1e-6:
            said.append(f"{name}: S at 0 Hz has imaginary parts up to {np.abs(data.s[0].imag).max():.2g}; left out")
        if highest_frequency > last * (1 + _SAME):
            said += self._assumption("above", f"{name} ends at {show(last, 'Hz', 6)}; above that, up to "
                                              f"{show(highest_frequency, 'Hz', 6)}")
        used = data.frequency <= highest_frequency
        gain = _largest_gain(data.s)
        worst = int(np.argmax(np.where(used, gain, 0.0)))
        if used[worst] and gain[worst] > 1 + _ACTIVE:
            said.append(f"{name} gives out more power than it takes in: up to {20 * np.log10(gain[worst]):.2g} dB more "
                        f"at {show(data.frequency[worst], 'Hz', 6)}; no passive part does (measurement errors, or an "
                        "amplifier)")
        step = np.abs(np.diff(data.s, axis=0)).max(axis=(1, 2), initial=0.0) / np.maximum(1.0, gain[:-1])
        step[~used[:-1]] = 0.0
        if step.max(initial=0.0) > _COARSE:
            worst = int(np.argmax(step))
            said.append(f"{name}: S changes by {step[worst]:.2g} between {show(data.frequency[worst], 'Hz', 6)} and "
                        f"{show(data.frequency[worst + 1], 'Hz', 6)}; values between points as far apart as that may "
                        "be wrong by 1 % and more; use a file with finer steps")
        return said

    def _assumption(self, key: str, where: str) -> list[str]:
        word = getattr(self, key)
        return [] if word == "refuse" else [f"{where}, {BEYOND[word]} ({key} = \"{word}\"): assumed, not data"]


def _assumed(word: str, nearest_point: np.ndarray, reference: np.ndarray) -> np.ndarray:
    """S where the file says nothing, (p, p)."""
    if word == "hold":
        return nearest_point
    if word == "through":
        r1, r2 = reference
        return np.array([[r2 - r1, 2 * np.sqrt(r1 * r2)], [2 * np.sqrt(r1 * r2), r1 - r2]]) / (r1 + r2)
    return {"open": 1.0, "short": -1.0, "absorb": 0.0}[word] * np.eye(len(reference))


def _interpolated(data: TouchstoneData, frequency: np.ndarray) -> np.ndarray:
    """S at frequencies [Hz] inside the file's range, (n, p, p); see the head of this file."""
    points = data.frequency
    if len(points) == 1:
        return np.repeat(data.s, len(frequency), axis=0)
    left = np.clip(np.searchsorted(points, frequency, side="right") - 1, 0, len(points) - 2)
    step = points[left + 1] - points[left]
    s1, s2 = data.s[left], data.s[left + 1]
    straight = s1 + ((frequency - points[left]) / step)[:, None, None] * (s2 - s1)
    if len(points) < 4:
        return straight
    spline = _spline(data)
    inside = spline(points[left, None] + step[:, None] * np.array([0.25, 0.5, 0.75]))
    allowed = np.maximum(1.0, np.maximum(_largest_gain(s1), _largest_gain(s2))) * (1 + _OVERSHOOT)
    trusted = _largest_gain(inside).max(axis=1) <= allowed
    return np.where(trusted[:, None, None], spline(frequency), straight)


@lru_cache(maxsize=64)
def _spline(data: TouchstoneData) -> Callable[[np.ndarray], np.ndarray]:
    from scipy.interpolate import CubicSpline  # late: it doubles the time a command needs to start
    return CubicSpline(data.frequency, data.s)


def _largest_gain(s: np.ndarray) -> np.ndarray:
    """Largest singular value of each matrix (..., p, p): above 1 the part can give out more than it takes in."""
    return np.linalg.svd(s, compute_uv=False)[..., 0]


def _harmonics(frequency: np.ndarray) -> str:
    """A list of harmonics that stays short: "the harmonics 3.456 GHz, 4.608 GHz and 3 more up to 9.216 GHz"."""
    shown = ", ".join(show(f, "Hz", 6) for f in frequency[:3])
    more = f" and {len(frequency) - 3} more up to {show(frequency.max(), 'Hz', 6)}" if len(frequency) > 3 else ""
    return f"the harmonic{'s' * (len(frequency) > 1)} {shown}{more}"
