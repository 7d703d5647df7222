"""What every device must keep, swept over the registry and over every model file."""

import ctypes
import tomllib

import numpy as np
import pytest
from helper_devices import FILES, Law, evaluated, model
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hbsim.devices.bjt import BJT
from hbsim.devices.diode import Diode
from hbsim.devices.kinds import DEVICES

# every effect of each kind switched on; a new kind is added here
FULL_BJT = dict(IS=2e-16, BF=90, BR=7, NF=1.02, NR=1.01, VAF=18, VAR=4, IKF=0.05, IKR=0.02, ISE=1e-14, NE=1.8,
                ISC=3e-14, NC=1.7, RB=9, RBM=3, RE=0.5, RC=3, CJE=1e-12, CJC=0.5e-12, XCJC=0.4, CJS=0.2e-12, MJS=0.3,
                TF=10e-12, XTF=5, VTF=3, ITF=0.05, PTF=20, TR=1e-9, base_inductance=1e-9, emitter_inductance=0.4e-9,
                collector_inductance=1e-9, base_emitter_capacitance=1e-13, base_collector_capacitance=2e-14,
                collector_emitter_capacitance=1e-13)
FULL = {"bjt": [BJT(**FULL_BJT), BJT(**FULL_BJT, IRB=3e-4, polarity="pnp")],
        "diode": [Diode(IS=1e-12, N=1.4, RS=2, TT=1e-9, CJO=1e-12, series_inductance=1e-9, case_capacitance=1e-13)]}
# what changes sign where a published law has a bend and its slope two values: R_bb = RB for base currents below zero
BENDS = {"bjt": lambda law: law.i[0] + law.i[1] + law.t[0] + law.t[1], "diode": lambda law: np.ones(1)}
SAMPLES = [pytest.param(device, id=f"{kind}-{number}") for kind in DEVICES
           for number, device in enumerate([DEVICES[kind](), *FULL[kind]])]
SAMPLES += [pytest.param(model(path), id=path.stem) for path in FILES]

OF_SLOPE = {"di": "i", "dq": "q", "dt": "t"}


@pytest.mark.parametrize("device", SAMPLES)
@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_slopes_are_the_derivatives(device, data):
    # central differences of fourth order (M. Abramowitz and I. A. Stegun, 25.3.6): error h^4 f(5) / 30, and rounding
    n_branch, h = len(device.branches()), 2e-5
    v = np.array(data.draw(st.lists(st.floats(-3.0, 1.0), min_size=n_branch, max_size=n_branch)))
    shifts = np.array([-2, -1, 1, 2]) * h
    weights = np.array([1, -8, 8, -1]) / (12 * h)
    waves = np.repeat(v[:, None], 1 + 4 * n_branch, axis=1)
    for column in range(n_branch):
        waves[column, 1 + 4 * column:5 + 4 * column] += shifts
    law = evaluated(device, waves)
    bends = BENDS[device.kind](law)
    assume(bends.max() < 0 or bends.min() > 0)
    for slope_name, name in OF_SLOPE.items():
        slope, value = getattr(law, slope_name)[:, :, 0], getattr(law, name)
        for column in range(n_branch):
            found = value[:, 1 + 4 * column:5 + 4 * column] @ weights
            # the closed form of the base resistance loses two digits where its series hands over, z^2 = 0.02
            rounding = 2e-14 * np.abs(value[:, 0]).max() / h
            allowed = 1e-7 * np.abs(slope[:, column]) + rounding + 1e-11 * np.abs(slope).max()  # truncation of a sum
            assert np.all(np.abs(found - slope[:, column]) <= allowed), (slope_name, column, v)


@pytest.mark.parametrize("device", SAMPLES)
def test_only_the_couples_are_written(device):
    n_branch = len(device.branches())
    v = np.random.default_rng(0).uniform(-3, 1, (n_branch, 20))
    mark = 7.25
    out = Law(*(np.zeros((n_branch, 20)) for _ in range(3)),
              *(np.full((n_branch, n_branch, 20), mark) for _ in range(3)))
    device.evaluate(v, device.packed(), *out)
    for slope_name, name in OF_SLOPE.items():
        written = {(int(row), int(column)) for row, column, n in np.argwhere(getattr(out, slope_name) != mark)}
        assert written <= set(device.couples[name])


@pytest.mark.parametrize("kind", DEVICES)
def test_every_couple_is_needed(kind):
    # over the samples with every effect on, each named slope is somewhere not zero
    for name, slope_name in (("i", "di"), ("q", "dq"), ("t", "dt")):
        seen = set()
        for device in FULL[kind]:
            v = np.random.default_rng(2).uniform(-2, 0.9, (len(device.branches()), 200))
            slopes = getattr(evaluated(device, v), slope_name)
            seen |= {(int(row), int(column)) for row, column, n in np.argwhere(slopes)}
        assert seen == set(DEVICES[kind].couples[name])


@pytest.mark.parametrize("device", SAMPLES)
@pytest.mark.parametrize("seed", range(3))
def test_finite_at_absurd_bias(device, seed):
    n_branch = len(device.branches())
    v = np.random.default_rng(seed).choice([-50.0, -5.0, 0.0, 1.0, 5.0, 50.0], (n_branch, 400))
    for temperature in (device.temperature, 250.0, 420.0):
        for values in evaluated(device.at(temperature), v):
            assert np.all(np.isfinite(values))


@pytest.mark.parametrize("device", SAMPLES)
def test_nothing_flows_at_rest(device):
    law = evaluated(device, np.zeros((len(device.branches()), 2)))
    assert np.all(law.i == 0) and np.all(law.q == 0) and np.all(law.t == 0)


@pytest.mark.parametrize("device", SAMPLES)
def test_compiled_is_plain(device):
    v = np.random.default_rng(3).uniform(-6, 1.2, (len(device.branches()), 30))
    compiled = evaluated(device, v)
    plain = evaluated(device, v, getattr(device.evaluate, "py_func", device.evaluate))
    for a, b in zip(compiled, plain):
        assert np.allclose(a, b, rtol=1e-12, atol=1e-15 * np.abs(b).max())  # last bits of exp and pow


@pytest.mark.parametrize("device", SAMPLES)
def test_by_address_is_the_same_function(device):
    if not device.address:
        pytest.skip("NUMBA_DISABLE_JIT: the solver calls evaluate itself")
    v = np.random.default_rng(4).uniform(-6, 1.2, (len(device.branches()), 33))
    direct = evaluated(device, v)
    out = Law(*(np.zeros_like(values) for values in direct))
    parameters = device.packed()
    function = ctypes.CFUNCTYPE(None, *[ctypes.c_void_p] * 8, ctypes.c_int64)(device.address)
    function(*(values.ctypes.data for values in (v, parameters, *out)), v.shape[1])
    for a, b in zip(direct, out):
        assert np.array_equal(a, b)


@pytest.mark.parametrize("device", SAMPLES)
def test_terminal_currents_and_charges_sum_to_zero(device):
    # Kirchhoff: what enters at the pins and inner nodes through the branches comes out again
    branches = device.branches()
    nodes = sorted({node for ends in branches for node in ends})
    law = evaluated(device, np.random.default_rng(5).uniform(-3, 0.9, (len(branches), 20)))
    for values in (law.i, law.q, law.t):
        at_node = {node: np.zeros(20) for node in nodes}
        for (start, end), value in zip(branches, values):
            at_node[start] = at_node[start] + value
            at_node[end] = at_node[end] - value
        assert np.all(np.abs(sum(at_node.values())) <= 1e-15 * len(branches) * np.abs(values).max(axis=0))


@pytest.mark.parametrize("device", SAMPLES)
def test_inner_nodes_hang_together(device):
    # every node of a branch or of a part inside is reached from a pin, and every pin's name is known
    links = [*device.branches(), *(part.nodes for part in device.inside())]
    reached = set(device.terminals)
    while grown := {node for link in links if reached & set(link) for node in link} - reached:
        reached |= grown
    assert {node for link in links for node in link} <= reached
    assert device.common in device.terminals and set(device.optional) <= set(device.terminals)
    assert len({part.name for part in device.inside()}) == len(device.inside())


@pytest.mark.parametrize("device", SAMPLES)
def test_junction_limits_have_their_shape(device):
    limits = device.junctions()
    assert limits.shape == (len(device.branches()), 2) and np.all(np.isfinite(limits))
    assert np.all(limits[limits[:, 0] != 0, 1] > 0)


@pytest.mark.parametrize("device", SAMPLES)
def test_at_changes_the_temperature_alone(device):
    warm = device.at(340.0)
    assert warm.temperature == 340.0 and warm.at(device.temperature) == device
    assert not np.array_equal(warm.packed(), device.packed())


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_model_files_say_where_they_come_from(path):
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    assert "Invented for hbsim" in content["about"]
    assert {"limits", "package"} <= set(content["origin"]) and all(content["origin"].values())
    assert content["limits"] and content["title"]


def test_every_kind_has_a_full_sample():
    assert set(FULL) == set(DEVICES) and all(DEVICES[kind].kind == kind for kind in DEVICES)
