"""What is a stub of a quarter wave at 2 f0, seen at f0?

An open stub of a quarter wave is a short circuit at its foot: it holds the collector feed's cold end at 2 f0. At f0 the
same stub is an eighth of a wave, and an open eighth of a wave is a capacitor whose reactance is as large as the line's
impedance. Shorted at its end the same length blocks 2 f0 not at all, and is an inductor as large at f0. So a stub at
2 f0 always moves the match at f0.

At the bench: cut an open stub for 2 f0 on a through line, look at both frequencies on the network analyser, then press
a finger on the stub's open end, then a strip of foil that makes it longer. No power is needed but the analyser's.

Invented: a stub of 50 ohm without loss on a line of 50 ohm.
"""

import numpy as np
from lesson import Lesson, page

import hbsim
from hbsim.show.style import LINES, heading, new_figure

F0 = 1.152e9  # Hz
IMPEDANCE = 50.0  # ohm


def through(kind: str, frequency: np.ndarray) -> np.ndarray:
    """S21 of the stub across a through line, (n_frequency,)."""
    circuit = hbsim.Circuit.build(
        drive={"port": "input", "frequency": f"{F0} Hz", "power": "0 dBm"}, wanted={"port": "output", "harmonic": 2},
        port={name: {"node": node, "impedance": f"{IMPEDANCE} ohm"}
              for name, node in (("input", "a"), ("output", "b"))},
        part={"joint": {"kind": "resistor", "nodes": ["a", "b"], "resistance": "1 uohm"},
              "stub": {"kind": kind, "nodes": ["b"], "impedance": f"{IMPEDANCE} ohm", "electrical_length": "90 deg",
                       "at": f"{2 * F0} Hz"}})
    return circuit.network(frequency).s[:, 1, 0]


def reactance(kind: str) -> float:
    """Of the stub at f0. [ohm]"""
    s = through(kind, np.array([F0, 2 * F0]))[0]
    return float((IMPEDANCE * s / (2 * (1 - s))).imag)  # S21 of an impedance Z across the line is 2 Z / (2 Z + Z0)


def lesson() -> Lesson:
    """The number is the reactance of the open stub at f0, in ohm."""
    found, short = reactance("open stub"), reactance("shorted stub")
    farad = -1 / (2 * np.pi * F0 * found)
    level = 20 * np.log10(abs(through("open stub", np.array([F0, 2 * F0]))))
    return Lesson(found, f"{found:+.1f} ohm of reactance at f0, of an open stub of {IMPEDANCE:g} ohm", picture,
                  (f"At {F0 / 1e6:.0f} MHz that is a capacitor of {farad * 1e12:.2f} pF, and costs {-level[0]:.2f} dB "
                   f"of what passes. The shorted stub: {short:+.1f} ohm.",))


def picture():
    """What passes the open and the shorted stub."""
    figure = new_figure(6.4, 3.8)
    heading(figure, "A stub of a quarter wave at 2 f0, across a line of the same impedance")
    axes = figure.subplots()
    frequency = np.linspace(0.02, 2.6, 400) * F0
    for kind, where, (colour, dash) in zip(("open stub", "shorted stub"), (1.55, 0.5), LINES):
        level = 20 * np.log10(np.maximum(abs(through(kind, frequency)), 1e-3))
        axes.plot(frequency / F0, level, color=colour, linestyle=dash)
        axes.annotate(kind, (where, np.interp(where, frequency / F0, level)), xytext=(8, -3), color=colour,
                      textcoords="offset points", va="top")
    axes.set(xlabel="Frequency / f0", ylabel="Passes / dB", ylim=(-30, 1), xlim=(0, 2.6))
    return figure


if __name__ == "__main__":
    page(__doc__, lesson)
