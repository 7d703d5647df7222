"""How does the second harmonic rise with the drive?

Far below saturation a doubler is a square law: the amplitude at 2 f0 goes with the square of the drive, so that the
output rises 2 dB for each dB of drive, and f0 itself by 1 dB. Where the second slope falls, saturation begins.

At the bench: take 10 dB of drive away with a good attenuator. If 2 f0 falls by 20 dB it is made here, in the square
law; if it falls by 10 dB it comes from the generator: what you see is the generator's own second harmonic. Keep an
attenuator in front of the analyser, which is a square law itself when it is driven too hard.

Invented: the lumped doubler stage of examples/lumped_doubler.toml.
"""

import numpy as np
from lesson import EXAMPLES, Lesson, page

import hbsim
from hbsim.show.style import INK, LINES, PALE, heading, new_figure

DRIVES = np.arange(-50.0, 6.0, 2.0)  # dBm


def curve():
    """The stage along the drive."""
    return hbsim.load(EXAMPLES / "lumped_doubler.toml").sweep({"drive.power": DRIVES}, harmonics=16)


def lesson() -> Lesson:
    """The number is the slope of 2 f0 at the lowest drives, in dB per dB."""
    table = curve()
    slope = {k: np.gradient(table[f"output_dbm_{k}"], DRIVES) for k in (1, 2)}
    square = slope[2][1]
    half = int(np.argmax(slope[2] < 1.0))
    more = (f"f0 itself rises {slope[1][1]:.2f} dB per dB there.",)
    if half:
        more = (*more, f"From {DRIVES[half]:.0f} dBm on 2 f0 rises less than 1 dB per dB: saturation.")
    return Lesson(float(square), f"{square:.2f} dB of 2 f0 per dB of drive, at {DRIVES[1]:.0f} dBm",
                  lambda: picture(table), more)


def picture(table):
    """f0 and 2 f0 against the drive, with the square law as a thin line."""
    figure = new_figure(6.4, 4.2)
    heading(figure, "Two dB for one: the square law of a doubler")
    axes = figure.subplots()
    for k, name, (colour, dash) in zip((1, 2), ("f0", "2 f0"), LINES):
        level = table[f"output_dbm_{k}"]
        axes.plot(DRIVES, level, color=colour, linestyle=dash)
        axes.annotate(name, (DRIVES[-1], level[-1]), xytext=(5, 0), textcoords="offset points", color=colour,
                      va="center")
    line = table["output_dbm_2"][1] + 2.0 * (DRIVES - DRIVES[1])
    axes.plot(DRIVES, line, color=PALE, linewidth=0.9)
    axes.annotate("2 dB per dB", (-38, np.interp(-38, DRIVES, line)), xytext=(8, -6), textcoords="offset points",
                  color=INK, fontsize=8, va="top")
    axes.set(xlabel="Drive / dBm", ylabel="Output / dBm", ylim=(line[0] - 3, 10))
    return figure


if __name__ == "__main__":
    page(__doc__, lesson)
