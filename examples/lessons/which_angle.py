"""Which conduction angle favours which harmonic?

A current that flows for a part of the period only, the tip of a cosine, holds all harmonics. How much of each depends
on the angle, and the best angle depends on what is the limit:

    the peak current is the limit (a rating): a short pulse is best, for n f0 about 240 deg / n;
    the drive is the limit (what the stage before gives): a short pulse is a small one, too. The first
    maximum is at 360 deg / n; for 4 f0 a second one, at class B, is higher.

At the bench: with little drive set the bias for class B (half the period) when you double. Watch the supply current
while you go on to class C, and add drive to keep it up: the output rises again, until a rating is reached. Look up the
peak current of the transistor first; it is not on the supply's meter, which shows the average.

Invented: an ideal current with a sharp knee. Sources of its coefficients: hbsim/studies/conduction_angle.py.
"""

import math

import numpy as np
from lesson import Lesson, page
from scipy.optimize import minimize_scalar

from hbsim.show.style import LINES, heading, new_figure
from hbsim.studies.conduction_angle import pulse_harmonic

HARMONICS = (2, 3, 4)


def of_peak(angle_deg: float, harmonic: int) -> float:
    """|I_n| over the peak current."""
    return abs(pulse_harmonic(angle_deg, harmonic))


def of_drive(angle_deg: float, harmonic: int) -> float:
    """|I_n| over slope x drive amplitude: the peak is (1 - cos(angle / 2)) of that."""
    return of_peak(angle_deg, harmonic) * (1.0 - math.cos(math.radians(angle_deg / 2)))


def best_angle(share, harmonic: int) -> float:
    """Angle of the first maximum, the narrowest pulse that is a best one. [deg]"""
    return float(minimize_scalar(lambda angle: -share(angle, harmonic), bounds=(60 / harmonic, 480 / harmonic),
                                 method="bounded", options={"xatol": 1e-6}).x)


def lesson() -> Lesson:
    """The number is the best angle for 2 f0 at a fixed drive, in degrees."""
    peak, drive = ({n: best_angle(share, n) for n in HARMONICS} for share in (of_peak, of_drive))
    table = ["             fixed peak current   fixed drive",
             *(f"    {n} f0     {peak[n]:8.1f} deg      {drive[n]:11.1f} deg" for n in HARMONICS)]
    words = f"{drive[2]:.0f} deg for 2 f0 at a fixed drive, {peak[2]:.0f} deg at a fixed peak current"
    return Lesson(drive[2], words, lambda: picture({"peak": peak, "drive": drive}), ("\n".join(table),))


def picture(best):
    """Both shares against the angle."""
    figure = new_figure(6.4, 6.4)
    angles = np.linspace(1, 360, 360)
    heading(figure, "Conduction angle and harmonics: what is the limit?")
    for axes, (name, share, limit) in zip(figure.subplots(2, 1, sharex=True), (
            ("peak", of_peak, "peak current"), ("drive", of_drive, "slope x drive amplitude"))):
        for n, (colour, dash) in zip(HARMONICS, LINES):
            axes.plot(angles, [share(a, n) for a in angles], color=colour, linestyle=dash)
            top = share(best[name][n], n)
            axes.plot(best[name][n], top, "o", color=colour, markersize=4)
            axes.annotate(f"{n} f0: {best[name][n]:.0f} deg", (best[name][n], top), xytext=(0, 6), color=colour,
                          textcoords="offset points", ha="center", fontsize=8,
                          bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5})
        axes.set(ylabel=f"|I_n| / ({limit})", xlim=(0, 360), xticks=range(0, 361, 60))
        axes.margins(y=0.12)
    axes.set_xlabel("Conduction angle / deg (180 deg: class B, less: class C)")
    return figure


if __name__ == "__main__":
    page(__doc__, lesson)
