"""What the device tests share: evaluating a law, reading a model file, small-signal networks of a transistor."""

import tomllib
from collections import namedtuple
from pathlib import Path

import numpy as np
import scipy.optimize

from hbsim.devices.bjt import BJT
from hbsim.devices.contract import Device
from hbsim.devices.kinds import DEVICES
from hbsim.quantities import quantities

MODELS = Path(__file__).parents[2] / "models"
FILES = sorted([*(MODELS / "transistors").glob("*.toml"), *(MODELS / "diodes").glob("*.toml")])

Law = namedtuple("Law", "i q t di dq dt")

# The published example: parameter column of the NE856 data sheet, California Eastern Laboratories, p. 17, without its
# package; the order of the values was rebuilt from the page's text.
PUBLISHED = BJT(IS=6e-16, BF=120, NF=0.98, VAF=10, IKF=0.08, ISE=3.2e-15, NE=1.93, BR=12, NR=0.991, VAR=3.9, IKR=0.17,
                ISC=0, NC=2, RE=0.38, RB=4.16, RBM=3.6, IRB=1.96e-4, RC=2, CJE=2.8e-12, VJE=1.3, MJE=0.5, CJC=1.1e-12,
                VJC=0.7, MJC=0.55, XCJC=0.3, FC=0.5, TF=10e-12, XTF=6, VTF=10, ITF=0.2, TR=1e-9)


def evaluated(device: Device, v, law=None) -> Law:
    """Everything the law fills, for branch voltages (n_branch, n_time); unwritten slopes stay zero."""
    v = np.ascontiguousarray(v, float)
    n_branch, n_time = v.shape
    out = Law(*(np.full((n_branch, n_time), np.nan) for _ in range(3)),
              *(np.zeros((n_branch, n_branch, n_time)) for _ in range(3)))
    (law or device.evaluate)(v, device.packed(), *out)
    return out


def model(path: Path) -> Device:
    """The device of a model file."""
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    cls = DEVICES[content["kind"]]
    known = quantities(cls)
    values = {}
    for table in ("parameters", "limits", "package"):
        for name, text in content[table].items():
            values[name] = known[name].read(text, f"{table}.{name}") if name in known else text
    return cls(**values)


def at_bias(device: BJT, collector_current: float, v_ce: float) -> np.ndarray:
    """Branch voltages (5, 1) of the inner transistor at a collector current [A] and inner v_ce [V]."""
    sign = 1.0 if device.polarity == "npn" else -1.0

    def voltages(v_be):
        return sign * np.array([[v_be], [v_be - v_ce], [0.0], [v_be - v_ce], [0.0]])

    def excess(v_be):
        law = evaluated(device, voltages(v_be))
        return -sign * (law.i[1, 0] + law.t[1, 0]) - collector_current

    return voltages(scipy.optimize.brentq(excess, 0.3, 1.4, xtol=1e-14))


def short_circuit_gain(device: BJT, v: np.ndarray, frequency: float) -> complex:
    """h21 of the chip in common emitter at a bias: nodes B b c e, emitter and collector grounded past RE and RC."""
    law, omega = evaluated(device, v), 2 * np.pi * frequency
    y_branch = (law.di + 1j * omega * law.dq + np.exp(-1j * omega * device.delay) * law.dt)[:, :, 0]
    nodes = {"B": 0, "b": 1, "c": 2, "e": 3}
    ends = [("b", "e"), ("b", "c"), ("B", "b"), ("B", "c"), (None, "c")]
    incidence = np.zeros((5, 4))
    for row, (start, end) in enumerate(ends):
        if start:
            incidence[row, nodes[start]] += 1
        incidence[row, nodes[end]] -= 1
    y = incidence.T @ y_branch @ incidence
    y[3, 3] += device.in_parallel / device.RE
    y[2, 2] += device.in_parallel / device.RC
    voltage = np.linalg.solve(y, [1.0, 0, 0, 0])  # 1 A into the base
    return -voltage[2] * device.in_parallel / device.RC  # current into the collector pin


def transition_frequency(device: BJT, collector_current: float, v_ce: float, frequency: float) -> float:
    """Where |h21| would fall to 1, by the fall of 1/h21's imaginary part seen at `frequency`. [Hz]"""
    return frequency / abs((1 / short_circuit_gain(device, at_bias(device, collector_current, v_ce), frequency)).imag)
