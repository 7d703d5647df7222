"""Does more bias make more output?

Only up to a point. At each drive one supply gives most output: below it the pulses are too small, above it the drive no
longer cuts the transistor off, and what does not clip makes no harmonics. More drive wants more bias.

At the bench: turn the supply up slowly with the current limit set, and watch 2 f0. Note where it is largest, then give
3 dB more drive and look again. Stay below the ratings: the collector's voltage swings to about twice the supply, and
at 4.4 V this transistor's is too high already (the notes of its file tell).

Invented: the beacon's doubler, examples/beacon_2304.toml; its base is biased from the supply.
"""

import numpy as np
from lesson import EXAMPLES, Lesson, page

import hbsim
from hbsim.show.style import LINES, heading, new_figure

DRIVES = (-5.0, 0.0, 3.0)  # dBm
SUPPLIES = np.arange(1.0, 10.01, 0.2)  # V


def table():
    """The stage over drive and supply."""
    return hbsim.load(EXAMPLES / "beacon_2304.toml").sweep({"drive.power": DRIVES, "supply.VCC": SUPPLIES},
                                                           harmonics=12)


def lesson() -> Lesson:
    """The number is the supply of most output at 0 dBm, in volts, on the grid."""
    found = table()
    output = found["output_dbm_2"]
    best = np.nanargmax(output, axis=1)
    rows = [f"At {drive:+.0f} dBm: most output at {SUPPLIES[n]:.1f} V, {row[n]:.1f} dBm."
            for drive, row, n in zip(DRIVES, output, best)]
    n = DRIVES.index(0.0)
    lost = output[n, best[n]] - np.interp(2 * SUPPLIES[best[n]], SUPPLIES, output[n])
    words = f"most output at {SUPPLIES[best[n]]:.1f} V with 0 dBm; twice that supply loses {lost:.1f} dB"
    return Lesson(float(SUPPLIES[best[n]]), words, lambda: picture(output, best), ("\n".join(rows),))


def picture(output, best):
    """Output against supply at each drive, the best marked."""
    figure = new_figure(6.4, 4.2)
    heading(figure, "More bias, less output: each drive has its supply")
    axes = figure.subplots()
    for drive, row, n, (colour, dash) in zip(DRIVES, output, best, LINES):
        axes.plot(SUPPLIES, row, color=colour, linestyle=dash)
        axes.plot(SUPPLIES[n], row[n], "o", color=colour, markersize=5)
        axes.annotate(f"{drive:+.0f} dBm of drive: {SUPPLIES[n]:.1f} V", (SUPPLIES[n], row[n]), xytext=(0, 6),
                      textcoords="offset points", color=colour, fontsize=8)
    axes.set(xlabel="Supply / V", ylabel="Output at 2 f0 / dBm", ylim=(-20, np.nanmax(output) + 2))
    return figure


if __name__ == "__main__":
    page(__doc__, lesson)
