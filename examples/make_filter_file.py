"""What would an analyser say of the output filter of beacon_2304.toml? Writes it as a Touchstone file.

    python examples/make_filter_file.py examples/filter_2304.s2p

The file is computed, not measured. Its steps of 24 MHz meet every harmonic of 1152 MHz.
"""

import sys
from pathlib import Path

import numpy as np

import hbsim

STEP, LAST = 24e6, 19.2e9  # [Hz]
REFERENCE = 50.0  # [ohm]


def transmission(part, frequency):
    """V1, I1 from V2, -I2, (n, 2, 2) (D. M. Pozar, Microwave Engineering, 4th ed., Wiley 2012, sec. 4.4)."""
    law = part.relation(2 * np.pi * frequency)
    y = -np.linalg.solve(law.b, law.a)
    y11, y12, y21, y22 = y[:, 0, 0], y[:, 0, 1], y[:, 1, 0], y[:, 1, 1]
    entries = np.stack([y22, np.ones_like(y11), y11 * y22 - y12 * y21, y11], axis=1)
    return -entries.reshape(-1, 2, 2) / y21[:, None, None]


def scattering(matrix):
    """S11, S21, S12, S22 of a transmission matrix of reciprocal parts (same source, table 4.2)."""
    a, b, c, d = matrix[:, 0, 0], matrix[:, 0, 1] / REFERENCE, matrix[:, 1, 0] * REFERENCE, matrix[:, 1, 1]
    total = a + b + c + d
    through = 2 / total
    return np.stack([(a + b - c - d) / total, through, through, (-a + b - c + d) / total], axis=1)


def main(path):
    circuit = hbsim.load(Path(__file__).with_name("beacon_2304.toml"))
    frequency = np.arange(STEP, LAST + STEP / 2, STEP)
    whole = np.eye(2)
    for name in ("filter_1", "filter_2", "filter_3"):
        whole = whole @ transmission(circuit.description.parts[name].part, frequency)
    with open(path, "w", encoding="utf-8", newline="\n") as file:
        file.write("! Output filter of beacon_2304.toml: two edge-coupled resonators on 1.6 mm FR4.\n"
                   "! Computed by hbsim from the dimensions in that file (make_filter_file.py); not measured.\n"
                   "! The circuit and its board are invented.\n"
                   "# MHz S RI R 50\n")
        for f, row in zip(frequency, scattering(whole)):
            pairs = " ".join(f"{value.real:.7f} {value.imag:.7f}" for value in row)
            file.write(f"{f / 1e6:.0f} {pairs}\n")


if __name__ == "__main__":
    main(sys.argv[1])
