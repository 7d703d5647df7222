"""What would an analyser say of the output filter of beacon_2304.toml? Writes it as a Touchstone file.

    python examples/make_filter_file.py examples/filter_2304.s2p

The file is computed, not measured. Its steps of 24 MHz meet every harmonic of 1152 MHz.
"""

import sys
from pathlib import Path

import numpy as np

import hbsim
from hbsim.linear.response import scattering

STEP, LAST = 24e6, 19.2e9  # [Hz]
PARTS = {"filter_1", "filter_2", "filter_3", "junction.f_0", "junction.f_1", "junction.f_2", "junction.f_3"}


def main(path):
    circuit = hbsim.load(Path(__file__).with_name("beacon_2304.toml"))
    found = {element.name: element for element in circuit.junctions().elements}
    frequency = np.arange(STEP, LAST + STEP / 2, STEP)
    # from the end of the line before the filter to the start of the line behind it: the steps belong to the filter
    ports = [(found["collector_line"].nodes[1], "ground"), (found["output_line"].nodes[0], "ground")]
    s = scattering([found[name] for name in sorted(PARTS)], ports, np.array([50.0, 50.0]), 2 * np.pi * frequency)
    with open(path, "w", encoding="utf-8", newline="\n") as file:
        file.write("! Output filter of beacon_2304.toml: two edge-coupled resonators on 1.6 mm FR4, the\n"
                   "! steps of width at its ends included.\n"
                   "! Computed by hbsim from the dimensions in that file (make_filter_file.py); not measured.\n"
                   "! The circuit and its board are invented.\n"
                   "# MHz S RI R 50\n")
        for f, ((s11, s12), (s21, s22)) in zip(frequency, s):
            pairs = " ".join(f"{value.real:.7f} {value.imag:.7f}" for value in (s11, s21, s12, s22))
            file.write(f"{f / 1e6:.0f} {pairs}\n")


if __name__ == "__main__":
    main(sys.argv[1])
