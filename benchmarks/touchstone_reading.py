"""How long does a Touchstone file take to read, and how much memory? Ratios measured side by side in one run.

    python benchmarks/touchstone_reading.py [--json -]

1. `time_ratio`: reading a 4-port file of 1,601 points over numpy.loadtxt on the same numbers, one frequency a line;
   with 17 digits, as hbsim writes them, and with 7, as an analyser does. Best of 15, turn and turn about. Processor
   time, so that other work on the machine counts little.
2. `z_ratio`: the same for Z data, which are turned into S.
3. `peak_ratio`: peak memory while reading a 2-port file of 200,000 points over the size of the file (tracemalloc).
4. `write_ratio`: writing the 4-port file over numpy.savetxt with "%.17g" of the same numbers.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402

from hbsim.linear.touchstone import TouchstoneData, read_touchstone, write_touchstone  # noqa: E402

POINTS, PORTS, MANY = 1601, 4, 200_000


def made(points: int, ports: int, digits: int = 17) -> TouchstoneData:
    """Invented S-parameters, norm 0.8 at most."""
    random = np.random.default_rng(1)
    s = random.normal(size=(points, ports, ports, 2)) @ [1, 1j]
    s *= 0.8 / np.linalg.norm(s, axis=(1, 2), keepdims=True)
    if digits < 17:
        s = np.round(s, digits)
    return TouchstoneData("made", np.linspace(1e9, 3e9, points).round(), s, np.full(ports, 50.0))


def best(*tasks: Callable[[], object], repeats: int = 15) -> list[float]:
    """Least processor time of each task, turn and turn about. [s]"""
    times = [[] for _ in tasks]
    for _ in range(repeats):
        for task, spent in zip(tasks, times):
            began = time.process_time()
            task()
            spent.append(time.process_time() - began)
    return [min(spent) for spent in times]


def plain_rows(data: TouchstoneData) -> np.ndarray:
    """Frequency and pairs, one frequency a row."""
    return np.column_stack([data.frequency, data.s.reshape(len(data.s), -1).view(float)])


def reading(folder: Path, digits: int, parameter: str = "S") -> float:
    """Time of reading over that of numpy.loadtxt on the same words."""
    file, plain = folder / f"a.s{PORTS}p", folder / "a.txt"
    write_touchstone(file, made(POINTS, PORTS, digits), parameter=parameter)
    words = [line for line in file.read_text().splitlines() if line[0] not in "[#"]
    plain.write_text("\n".join("".join(words[start:start + PORTS]) for start in range(0, len(words), PORTS)))
    own, reference = best(lambda: read_touchstone(file), lambda: np.loadtxt(plain))
    return own / reference


def writing(folder: Path) -> float:
    """Time of writing over that of numpy.savetxt."""
    data = made(POINTS, PORTS)
    rows = plain_rows(data)
    own, reference = best(lambda: write_touchstone(folder / f"b.s{PORTS}p", data),
                          lambda: np.savetxt(folder / "b.txt", rows, fmt="%.17g"), repeats=5)
    return own / reference


def peak(folder: Path) -> tuple[float, float]:
    """Peak memory over size of the file, and the size. [1], [MB]"""
    file = folder / "many.s2p"
    write_touchstone(file, made(MANY, 2))
    size = file.stat().st_size
    tracemalloc.start()
    read_touchstone(file)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most / size, size / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", metavar="FILE", help="also write the numbers there, '-' for standard output")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ratio, megabytes = peak(folder)
        found = {"time_ratio_17_digits": reading(folder, 17), "time_ratio_7_digits": reading(folder, 7),
                 "z_ratio_17_digits": reading(folder, 17, "Z"), "write_ratio": writing(folder),
                 "peak_ratio": ratio, "file_mb": megabytes}
    print(f"reading {POINTS} points of {PORTS} ports over numpy.loadtxt: "
          f"{found['time_ratio_17_digits']:.2f} (17 digits), "
          f"{found['time_ratio_7_digits']:.2f} (7 digits), {found['z_ratio_17_digits']:.2f} (Z data, 17 digits)\n"
          f"writing it over numpy.savetxt: {found['write_ratio']:.2f}\n"
          f"reading {MANY:,} points of 2 ports, {megabytes:.0f} MB: peak memory {ratio:.1f} times the file")
    if arguments.json == "-":
        json.dump(found, sys.stdout, indent=1)
    elif arguments.json:
        Path(arguments.json).write_text(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
