"""Why does a stage that is driven to its threshold snap off in the cold?

A stage without bias conducts only where the drive lifts the base over the junction's threshold. That voltage rises by
1 to 2 mV for each degree colder, so the same stage needs more drive. Just above the threshold the output rises by tens
of dB per dB of drive: a fraction of a dB too little, and it is gone. Bias, or some dB in hand, is the cure.

At the bench: set the drive a few tenths of a dB above the place where the output appears, then cool the transistor with
freezing spray, warm it with a fingertip. Keep the drive below what the base-emitter junction takes in reverse.

Invented: examples/unbiased_2304.toml, the beacon's doubler without bias.
"""

import numpy as np
from lesson import EXAMPLES, Lesson, page

import hbsim
from hbsim.show.style import INK, LINES, heading, label_lines, new_figure
from hbsim.studies.drive_study import drive_study

CELSIUS = (-20, 25, 70)
DRIVES = np.arange(-6.0, 3.01, 0.5)  # dBm


def lesson() -> Lesson:
    """The number is how many dB of drive the turn-on moves from the warmest to the coldest."""
    circuit = hbsim.load(EXAMPLES / "unbiased_2304.toml")
    study = drive_study(circuit.description, DRIVES, [f"{t} degC" for t in CELSIUS], harmonics=12)
    curves = study.at_temperature
    on = [curve.turn_on_dbm for curve in curves]
    warm = curves[-1]
    cold = float(np.interp(on[-1], DRIVES, curves[0].output))
    lost = float(np.interp(on[-1], DRIVES, warm.output)) - cold
    rows = [f"{t:+d} degC: turns on at {turn:+.2f} dBm, there {curve.steepest:.0f} dB of output per dB of drive."
            for t, turn, curve in zip(CELSIUS, on, curves)]
    words = f"{on[0] - on[-1]:.1f} dB more drive for the threshold at {CELSIUS[0]} degC than at {CELSIUS[-1]} degC"
    return Lesson(on[0] - on[-1], words, lambda: picture(curves),
                  ("\n".join(rows), f"At the drive that turns it on warm the cold stage gives {lost:.0f} dB less."))


def picture(curves):
    """Output against drive at each temperature."""
    figure = new_figure(6.4, 4.2)
    heading(figure, "A doubler without bias: the threshold moves with temperature")
    axes = figure.subplots()
    for curve, (colour, dash) in zip(curves, LINES):
        axes.plot(curve.drive, curve.output, color=colour, linestyle=dash)
    label_lines(axes, [(DRIVES[-1], curve.output[-1], f"{celsius:+d} degC", colour)
                       for celsius, curve, (colour, _) in zip(CELSIUS, curves, LINES)])
    axes.annotate("below: only what the\njunction's capacitance makes", (-5.7, curves[0].output.min() + 8), color=INK,
                  fontsize=8, va="bottom")
    axes.set(xlabel="Drive / dBm", ylabel="Output at 2 f0 / dBm")
    return figure


if __name__ == "__main__":
    page(__doc__, lesson)
