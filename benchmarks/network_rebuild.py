"""What one changed part costs: the linear network of the beacon doubler rebuilt in the three ways there are.

    careful    every harmonic by itself, pivoted elimination
    batch      all harmonics at once, all parts
    on a frame only what changes is put onto the parts that stay, condensed before

Figures are of one run on one machine; the ratios between them are what can be compared. Each is the median of
processor time over the points of a sweep, told beside one LU solve by LAPACK of the balance's own size (68 unknowns at
K = 8).
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

import numpy as np
import scipy.linalg

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

import hbsim  # noqa: E402
from hbsim.balance.prepare import Networks, elements_of, harmonic_omegas, mounted_devices, prepare  # noqa: E402
from hbsim.balance.system import device_nodes  # noqa: E402
from hbsim.linear.elimination import NETWORK  # noqa: E402
from hbsim.linear.network import Network  # noqa: E402

SWEEPS = {"match_stub.length": np.linspace(20e-3, 30e-3, 200), "C_in.capacitance": np.linspace(5e-12, 20e-12, 200),
          "via_1.inductance": np.linspace(0.2e-9, 0.4e-9, 100), "board.permittivity": np.linspace(4.2, 4.6, 60),
          "drive.frequency": np.linspace(1.14e9, 1.16e9, 60)}


def median_ms(job, items) -> float:
    """Median time of job(item), the first three left out. [ms]"""
    times = []
    for item in items:
        began = time.thread_time()
        job(item)
        times.append(time.thread_time() - began)
    return 1e3 * statistics.median(times[3:])


def network(description, harmonics: int, **options) -> Network:
    """Of all parts, without a store."""
    mounted = mounted_devices(description)
    elements, sources = elements_of(description, mounted)
    return Network(elements, sources, device_nodes(mounted), harmonic_omegas(description, harmonics),
                   {m.name: m.pins for m in mounted}, [ends for m in mounted for ends in m.conducting()], **options)


def main() -> None:
    """Print the table."""
    description = hbsim.load(ROOT / "examples" / "beacon_2304.toml").description
    matrix = np.random.default_rng(1).normal(size=(68, 68)) + 68 * np.eye(68)
    unit = median_ms(lambda _: scipy.linalg.lapack.dgesv(matrix, matrix[:, :1]), range(500))
    print(f"one LU solve of 68 unknowns: {1e3 * unit:.0f} us")
    for harmonics in (8, 16):
        careful, batch = (median_ms(lambda _: network(description, harmonics, care=care), range(60))
                          for care in (NETWORK._replace(growth=0.0), NETWORK))
        print(f"K = {harmonics}, laws of the parts known: careful {careful:.2f} ms, batch {batch:.2f} ms, "
              f"{careful / batch:.1f} times faster, {batch / unit:.0f} LU solves")
        for address, values in SWEEPS.items():
            points = [description.with_values({address: value}) for value in values]
            fresh = median_ms(lambda point: prepare(point, harmonics, networks=Networks(frames=False)), points[::2])
            networks = Networks()
            kept = median_ms(lambda point: prepare(point, harmonics, networks=networks), points[1::2])
            print(f"    {address:20} from all parts {fresh:.2f} ms, from request to request {kept:.2f} ms, "
                  f"{fresh / kept:.1f} times faster, {kept / unit:.0f} LU solves")


if __name__ == "__main__":
    main()
