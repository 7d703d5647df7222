"""How does a large map run on several machines? Any executor of concurrent.futures takes a sweep's pieces.

    pip install ".[cluster]"
    python examples/on_several_machines.py                     # two worker processes on this machine
    python examples/on_several_machines.py tcp://HOST:8786     # workers that wait elsewhere and have hbsim installed

The cluster engine is the package `distributed`, which hbsim itself does not need; a process pool of the standard
library (concurrent.futures.ProcessPoolExecutor) or the executor of another engine goes in at the same place. The
circuit is invented, as all examples are.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from distributed import Client

import hbsim

AXES = {"supply.VCC": "1:5:0.25 V", "drive.power": "-20:5:0.5 dBm"}


def main() -> None:
    """Run the map with the cluster's executor, then on threads of this process, and hold one against the other."""
    circuit = hbsim.load(Path(__file__).parent / "beacon_2304.toml")
    address = sys.argv[1] if len(sys.argv) > 1 else None
    with Client(address, **({} if address else {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None})) \
            as client:
        table = circuit.sweep(AXES, executor=client.get_executor())
    print(table)
    here = circuit.sweep(AXES)
    same = all(np.array_equal(table[name], here[name], equal_nan=True) for name in here.columns)
    print(f"the same, digit for digit, as from this machine's own threads: {same}")
    if not same:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
