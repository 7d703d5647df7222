"""How much 2304 MHz comes out of the beacon's doubler, and which supply suits which drive?

    python examples/quick_look.py quick_look.png

Solves examples/beacon_2304.toml (an invented circuit), prints the answer, then sweeps the drive at three supplies
and draws the output at 2 f0 and the input return loss; hollow marks where the transistor is beyond its limits.
"""

import sys
from pathlib import Path

import matplotlib

matplotlib.use("Agg")  # a picture in a file, no window
import matplotlib.pyplot as plt
import numpy as np

import hbsim

circuit = hbsim.load(Path(__file__).with_name("beacon_2304.toml"))
print(circuit.solve())

table = circuit.sweep({"supply.VCC": ["2 V", "3 V", "4.5 V"], "drive.power": "-15 dBm : 5 dBm : 0.5 dBm"}, harmonics=8)
drive = table["drive.power"]

figure, (upper, lower) = plt.subplots(2, 1, sharex=True, figsize=(6.4, 7.2), layout="constrained")
looks = ("#0072B2", "-"), ("#D55E00", "--"), ("#009E73", ":")
for volts, output, match, (colour, dash) in zip(table["supply.VCC"], table["output_dbm_2"],
                                                table["input_return_loss_db"], looks):
    state, beyond = None, np.zeros(len(drive), bool)
    for n, power in enumerate(drive):
        state = circuit.solve({"supply.VCC": volts, "drive.power": power}, harmonics=8, start=state)
        beyond[n] = any(rating.exceeded for rating in state.devices["Q1"].ratings)
    for axes, values, end in ((upper, output, 0), (lower, match, -1)):
        axes.plot(drive, values, color=colour, linestyle=dash)
        axes.plot(drive[beyond], values[beyond], "o", color=colour, markerfacecolor="white", markersize=4)
        axes.annotate(f"{volts:g} V", (drive[end], values[end]), xytext=(-7 if end == 0 else 7, 0), va="center",
                      textcoords="offset points", ha="right" if end == 0 else "left", color=colour)
upper.set(ylabel="Output at 2304 MHz (dBm)", title="1152 to 2304 MHz doubler: the supply that suits the drive")
lower.set(ylabel="Input return loss (dB)",
          xlabel="Drive at 1152 MHz (dBm)\nhollow marks: a limit of the transistor is exceeded there")
for axes in (upper, lower):
    axes.grid(alpha=0.3)
    axes.margins(x=0.12)  # room for the words at the lines

picture = sys.argv[1] if len(sys.argv) > 1 else "quick_look.png"
figure.savefig(picture, dpi=120)
print(f"\nDrawn: {picture}")
