"""Tune for the best match or for the most output?

They are not at the same place. The transistor's input depends on its bias, so the supply that matches best is another
than the supply that gives most 2 f0. Who tunes a doubler with a reflection meter alone leaves output behind.

At the bench: tune the supply for the least reflected power, note 2 f0; then tune for most 2 f0, note both. Set the
current limit first, and keep below the transistor's ratings; here the supply of most output is beyond that
of the collector's voltage (the notes of the circuit file tell).

Invented: the beacon's doubler, examples/beacon_2304.toml, at 0 dBm.
"""

import numpy as np
from lesson import EXAMPLES, Lesson, page

import hbsim
from hbsim.show.style import LINES, heading, new_figure

SUPPLIES = np.arange(1.0, 7.01, 0.1)  # V


def table():
    """The stage along its supply."""
    return hbsim.load(EXAMPLES / "beacon_2304.toml").sweep({"supply.VCC": SUPPLIES}, harmonics=12)


def lesson() -> Lesson:
    """The number is what tuning for match costs in output, in dB."""
    found = table()
    output, match = found["output_dbm_2"], found["input_return_loss_db"]
    most, best = int(np.nanargmax(output)), int(np.nanargmax(match))
    cost = output[most] - output[best]
    rows = [f"Best match at {SUPPLIES[best]:.1f} V: return loss {match[best]:.1f} dB, output {output[best]:.1f} dBm.",
            f"Most output at {SUPPLIES[most]:.1f} V: return loss {match[most]:.1f} dB, output {output[most]:.1f} dBm."]
    return Lesson(float(cost), f"tuning for match alone costs {cost:.1f} dB of output",
                  lambda: picture(output, match, most, best), ("\n".join(rows),))


def picture(output, match, most, best):
    """Output and return loss against the supply, both best places marked."""
    figure = new_figure(6.4, 5.4)
    heading(figure, "Match or output: two supplies")
    for axes, values, n, name, unit, (colour, dash) in zip(
            figure.subplots(2, 1, sharex=True), (output, match), (most, best),
            ("Output at 2 f0", "Input return loss"), ("dBm", "dB"), LINES):
        axes.plot(SUPPLIES, values, color=colour, linestyle=dash)
        axes.plot(SUPPLIES[n], values[n], "o", color=colour, markersize=5)
        axes.annotate(f"{values[n]:.1f} {unit} at {SUPPLIES[n]:.1f} V", (SUPPLIES[n], values[n]), xytext=(0, 6),
                      textcoords="offset points", color=colour)
        axes.set(ylabel=f"{name} / {unit}")
        axes.margins(y=0.15)
    axes.set_xlabel("Supply / V")
    return figure


if __name__ == "__main__":
    page(__doc__, lesson)
