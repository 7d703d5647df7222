"""Does it solve everything, and rightly? Random doublers, each answer confirmed; every one that is not is named.

    python benchmarks/random_doublers.py [--count 2000] [--first 0] [--harmonics K]

The circuits are those of tests/checks/random_circuits.py, number by number; what counts as confirmed stands in
tests/checks/confirmation.py. With --harmonics, so many are given and then doubled, which takes an hour.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "checks"))

import numpy as np  # noqa: E402
from confirmation import CONFIRMED, SEVERAL, UNSOLVED, examined  # noqa: E402
from random_circuits import random_doubler  # noqa: E402

import hbsim  # noqa: E402


def main() -> None:
    """Run and print what is not confirmed, with tables of Newton steps and harmonics."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0, help="number of the first circuit")
    parser.add_argument("--harmonics", type=int)
    options = parser.parse_args()
    began, refused, verdicts = time.perf_counter(), [], []
    for number in range(options.first, options.first + options.count):
        tables = random_doubler(Random(number))
        place = (f"circuit {number} ({tables['title']}, {tables['drive']['power']}, "
                 f"{tables['supply']['VCC']['voltage']})")
        asked = time.perf_counter()
        try:
            verdict = examined(hbsim.Circuit.build(**tables), options.harmonics)
        except hbsim.Refusal as refusal:
            refused.append(f"{place}: {refusal}")
            continue
        verdicts.append(verdict)
        if verdict.kind != CONFIRMED or verdict.said:
            print(f"{place}: {verdict.kind}: {verdict.said} [{time.perf_counter() - asked:.1f} s]", flush=True)
    kinds = Counter(verdict.kind for verdict in verdicts)
    print(f"{options.count} circuits in {time.perf_counter() - began:.0f} s: {len(refused)} refused; "
          + ", ".join(f"{count} {kind}" for kind, count in kinds.most_common()))
    steps = [verdict.steps for verdict in verdicts if verdict.kind in (CONFIRMED, SEVERAL)]
    print("Newton steps of the first answer: " + ", ".join(
        f"{name} {value:.0f}" for name, value in zip(("median", "95 %", "99 %", "most"),
                                                     np.percentile(steps, [50, 95, 99, 100]))))
    print("harmonics that settle it: " + ", ".join(
        f"{harmonics}: {count}" for harmonics, count in sorted(Counter(v.harmonics for v in verdicts).items())))
    solved = len(verdicts) - kinds[UNSOLVED]
    print(f"solved: {solved} of {len(verdicts)} that can be analysed, {100 * solved / len(verdicts):.2f} %")
    print("refused:", *refused, sep="\n  ")


if __name__ == "__main__":
    main()
