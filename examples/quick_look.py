"""How much 2304 MHz comes out of the beacon's doubler, and which supply suits which drive?

    python examples/quick_look.py quick_look.png

Solves examples/beacon_2304.toml (an invented circuit), prints the answer, then sweeps the drive at three supplies
and draws the output at 2 f0 and the input return loss.
"""

import sys
from pathlib import Path

import matplotlib

matplotlib.use("Agg")  # a picture in a file, no window
import matplotlib.pyplot as plt

import hbsim

circuit = hbsim.load(Path(__file__).with_name("beacon_2304.toml"))
print(circuit.solve())

table = circuit.sweep({"supply.VCC": ["2 V", "3 V", "4.5 V"], "drive.power": "-15 dBm : 5 dBm : 0.5 dBm"}, harmonics=8)
drive = table["drive.power"]

figure, (upper, lower) = plt.subplots(2, 1, sharex=True, figsize=(6.4, 7.2), layout="constrained")
for volts, output, match in zip(table["supply.VCC"], table["output_dbm_2"], table["input_return_loss_db"]):
    upper.plot(drive, output, label=f"{volts:g} V")
    lower.plot(drive, match, label=f"{volts:g} V")
upper.set(ylabel="Output at 2304 MHz (dBm)", title="1152 to 2304 MHz doubler: the supply that suits the drive")
lower.set(ylabel="Input return loss (dB)", xlabel="Drive at 1152 MHz (dBm)")
for axes in (upper, lower):
    axes.grid(alpha=0.3)
    axes.legend(title="Supply")

picture = sys.argv[1] if len(sys.argv) > 1 else "quick_look.png"
figure.savefig(picture, dpi=120)
print(f"\nDrawn: {picture}")
