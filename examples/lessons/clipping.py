"""Where do harmonics come from?

A clean sine through parts that do not bend gives a clean sine. Cut its top off and harmonics are there at once: the
more is cut, the more. One side cut makes even and odd harmonics; both sides cut alike makes odd ones only.

At the bench: a small switching diode across a 50 ohm line at some MHz, the oscilloscope beside the analyser. A second
diode the other way round makes 2 f0 vanish. Give the analyser its attenuator first.

Invented: a generator and a load of 50 ohm, diodes without charge between them.
"""

import numpy as np
from lesson import Lesson, page

import hbsim
from hbsim.show.style import INK, LINES, heading, new_figure

DRIVE_DBM, HARMONICS = 16.0, 48
SATURATION, SLOPE = 1e-14, 1.0  # of the diodes: IS [A] and emission coefficient


def clipped(both: bool):
    """The steady state with one diode across the line, or with two, one each way."""
    port = {name: {"node": node, "impedance": "50 ohm"} for name, node in (("input", "in"), ("output", "a"))}
    diode = {"kind": "diode", "IS": f"{SATURATION} A", "N": f"{SLOPE}", "temperature": "27 degC"}
    parts = {"joint": {"kind": "resistor", "nodes": ["in", "a"], "resistance": "1 mohm"},
             "D1": {**diode, "nodes": {"anode": "a", "cathode": "ground"}}}
    if both:
        parts["D2"] = {**diode, "nodes": {"anode": "ground", "cathode": "a"}}
    circuit = hbsim.Circuit.build(drive={"port": "input", "frequency": "10 MHz", "power": f"{DRIVE_DBM} dBm"},
                                  wanted={"port": "output", "harmonic": 1}, port=port, part=parts)
    return circuit.solve(harmonics=HARMONICS)


def lesson() -> Lesson:
    """The number is 2 f0 below f0 where one side is cut, in dB."""
    one, two = clipped(False), clipped(True)
    level = one.output_dbc(2)
    more = (f"One diode: 3 f0 at {one.output_dbc(3):.1f} dBc. Two diodes: 3 f0 at {two.output_dbc(3):.1f} dBc, "
            "2 f0 "
            + ("below -100 dBc." if two.output_dbc(2) < -100 else f"at {two.output_dbc(2):.1f} dBc."),)
    return Lesson(level, f"{level:.1f} dBc of 2 f0 from one diode at {DRIVE_DBM:.0f} dBm", lambda: picture(one, two),
                  more)


def picture(one, two):
    """Waveforms over their harmonics."""
    figure = new_figure(6.4, 5.6)
    heading(figure, "Clipping makes harmonics")
    wave, bars = figure.subplots(2, 1)
    for n, (state, name, (colour, dash)) in enumerate(zip((one, two), ("one diode", "two diodes"), LINES)):
        time, volts = state.waveform("a")
        wave.plot(time * 1e9, volts, color=colour, linestyle=dash)
        low = int(np.argmin(volts))
        wave.annotate(name, (time[low] * 1e9, volts[low]), xytext=(0, -4), textcoords="offset points", color=colour,
                      ha="center", va="top")
        orders = np.arange(1, 8)
        level = np.array([max(state.output_dbc(k), -60.0) for k in orders])
        bars.bar(orders + 0.36 * n - 0.18, level + 60, 0.3, bottom=-60, color=colour, hatch=("", "///")[n],
                 edgecolor="white")
        bars.annotate(name, (5.4, -6 - 9 * n), color=colour)
    wave.set(xlabel="Time / ns", ylabel="Voltage / V")
    wave.margins(y=0.15)
    bars.set(xlabel="Harmonic (none drawn: below -60 dBc)", ylabel="Level against f0 / dBc", ylim=(-60, 2))
    bars.axhline(-60, color=INK, linewidth=0.8)
    return figure


if __name__ == "__main__":
    page(__doc__, lesson)
