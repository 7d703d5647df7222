"""Circuits of many devices: the answer does not depend on how the Newton step was solved."""

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import numba
import numpy as np
import pytest
from balance_circuits import mixed_stage, ready, residual_and_jacobian
from coupled_stages import chain, diode_ring, parallel

from hbsim.balance.continuation import Effort, steady_state
from hbsim.balance.direct import matrix
from hbsim.balance.linearised import _reach_by_pieces, _reach_of_devices
from hbsim.balance.newton import BALANCED, TOLERANCE
from hbsim.balance.prepare import source_voltages

HERE = Path(__file__).parent
# Two balanced states differ by no more than the balance leaves: 1e-9 of some 30 mA at a node, through a few hundred ohm
ALIKE = 1e-8  # [V]

CASES = {"chain": chain(4), "parallel": parallel(4), "ring": diode_ring(4),
         "ring in pieces": diode_ring(4, series="2 ohm"),
         "stiff supply and choke": mixed_stage(), "chain on a stiff supply": chain(3, resistance="0 ohm")}


def solved(circuit, whole, harmonics=6):
    system, c, parameters = ready(circuit, harmonics)
    system.keep_jacobian(whole)
    effort = Effort()
    return system, steady_state(system, c, parameters, None, effort), effort


@pytest.mark.parametrize("name", CASES)
def test_both_ways_give_one_answer(name):
    whole, x, effort = solved(CASES[name], whole=True)
    pieces, y, other = solved(CASES[name], whole=False)
    assert whole.keeps_whole and not pieces.keeps_whole
    assert pieces.work.jacobian.size == 0 and whole.krylov.device.size == 0
    assert pieces.krylov.iterations[0] > 0 and pieces.eliminations == 0
    assert max(effort.error, other.error) <= TOLERANCE
    np.testing.assert_allclose(y, x, rtol=0, atol=ALIKE)


@pytest.mark.parametrize("name", CASES)
def test_the_pieces_are_those_of_the_whole_jacobian(name):
    system, c, parameters = ready(CASES[name], 4)
    system.keep_jacobian(whole=True)
    x = 0.1 * np.random.default_rng(2).normal(size=system.shape)
    x[:, 0] += 0.6
    f, j = residual_and_jacobian(system, x, c, parameters)
    right = np.random.default_rng(3).normal(size=x.shape)
    expected = np.linalg.solve(j, right.ravel()).reshape(x.shape)
    system.keep_jacobian(whole=False)
    error, residual = system.linearised(x, c, parameters)
    np.testing.assert_array_equal(residual.ravel(), f)
    assert matrix(system.work.clusters, system.krylov).shape == j.shape
    # the linear residual of 1e-9 and the rounding of either way, magnified by the condition
    close = 1e-9 * np.linalg.cond(j) * np.abs(right).max() / np.linalg.norm(j, 2)
    np.testing.assert_allclose(system.solved(right), expected, rtol=0, atol=close)
    np.testing.assert_allclose(system._eliminated(right), expected, rtol=0, atol=close)


def drives(circuit, system, levels):
    description = circuit.description
    return np.array([system.excitation(source_voltages(description.with_values({"drive.power": level}), system))
                     for level in levels])


def marched(circuit, whole, levels, tolerance=None):
    system, _, parameters = ready(circuit, 5)
    system.keep_jacobian(whole)
    if tolerance is not None:
        system.krylov.tolerance[0] = tolerance
    cs = drives(circuit, system, levels)
    xs = np.zeros((len(cs), *system.shape))
    xs[0] = steady_state(system, cs[0], parameters, None, Effort())
    flows, errors = np.zeros_like(xs), np.full(len(cs), np.inf)
    stops, steps = np.full(len(cs), -1), np.zeros(len(cs), int)
    assert system.march(xs, cs, parameters, flows, stops, steps, errors) == len(cs)
    assert (stops == BALANCED).all() and errors.max() <= TOLERANCE and (steps[1:] > 0).all()
    return system, xs, flows


def test_both_ways_march_alike_and_so_does_elimination_where_the_iteration_fails(monkeypatch):
    monkeypatch.setattr("hbsim.balance.system._MOST_ELIMINATIONS", 10**6)
    levels = np.linspace(-12.0, -4.0, 5).tolist()
    _, xs, flows = marched(chain(3), True, levels)
    # no iteration leaves nothing at all: every step falls back
    for tolerance in (None, 0.0):
        system, ys, other = marched(chain(3), False, levels, tolerance)
        assert (system.eliminations > 0) == (tolerance is not None)
        np.testing.assert_allclose(ys, xs, rtol=0, atol=ALIKE)
        np.testing.assert_allclose(other, flows, rtol=0, atol=1e-10)  # 1e-9 of currents up to 30 mA, and some


def test_an_iteration_that_fails_again_and_again_is_given_up_for_the_whole_matrix():
    levels = np.linspace(-12.0, -4.0, 5).tolist()
    _, xs, flows = marched(chain(3), True, levels)
    system, ys, other = marched(chain(3), False, levels, 0.0)
    assert system.keeps_whole
    np.testing.assert_allclose(ys, xs, rtol=0, atol=ALIKE)
    np.testing.assert_allclose(other, flows, rtol=0, atol=1e-10)


def test_sixteen_stages_are_solved_by_clusters_and_their_powers_close():
    state = chain(16).solve(harmonics=8)
    assert not state.system.keeps_whole and state.system.eliminations == 0
    assert len(state.system.work.clusters.first) - 1 == 16
    assert state.solver.residual <= TOLERANCE
    balance = state.power_balance
    # what 1e-9 of the currents leaves of the power
    assert abs(balance["error"]) < 1e-8 * balance["given"]
    assert state.devices["Q15"].dissipation > 1e-3


def test_what_is_kept_whole_and_what_by_clusters():
    kept_whole = {"one stage": chain(1), "ring that hangs together": diode_ring(32)}
    for circuit in kept_whole.values():
        assert ready(circuit, 8)[0].keeps_whole
    for circuit in (chain(16), parallel(16)):
        system = ready(circuit, 8)[0]
        assert not system.keeps_whole and system.at_rest().keeps_whole


@pytest.mark.parametrize("name", ["chain", "stiff supply and choke"])
def test_reach_by_pieces_is_that_of_numpy(name):
    system, c, parameters = ready(CASES[name], 3)
    system.keep_jacobian(whole=False)
    x = 0.1 * np.random.default_rng(2).normal(size=system.shape)
    x[:, 0] += 0.5
    system.linearised(x, c, parameters)
    clusters, rows = system.work.clusters, x.shape[1]
    d = np.zeros((len(x), rows, len(x), rows))
    for lo, hi, at in zip(clusters.first[:-1], clusters.first[1:], clusters.offset):
        nodes, m = clusters.node[lo:hi], hi - lo
        d[np.ix_(nodes, range(rows), nodes, range(rows))] = system.krylov.device[at:at + (m * rows) ** 2].reshape(
            m, rows, m, rows)
    slopes = np.einsum("jris,is->jr", np.abs(d), np.abs(x))
    expected = np.zeros_like(x)
    for v, factors in ((np.abs(x), system.net.a), (slopes, system.net.b)):
        expected[:, 0] += np.abs(factors[0].real) @ v[:, 0]
        for k in range(1, system.harmonics + 1):
            re, im = np.abs(factors[k].real), np.abs(factors[k].imag)
            expected[:, 2 * k - 1] += re @ v[:, 2 * k - 1] + im @ v[:, 2 * k]
            expected[:, 2 * k] += re @ v[:, 2 * k] + im @ v[:, 2 * k - 1]
    _reach_of_devices(x, clusters, system.krylov, system.work.trial)
    found = [[_reach_by_pieces(x, system.net, j, r, system.work) for r in range(rows)] for j in range(len(x))]
    np.testing.assert_allclose(found, expected, rtol=1e-12)


@pytest.mark.parametrize("whole", [True, False])
def test_two_threads_give_the_bits_of_one(whole):
    levels = np.linspace(-12.0, -4.0, 9).tolist()
    alone = [marched(circuit, whole, levels)[1] for circuit in (chain(3), parallel(3))]
    together = [None, None]

    def run(i, circuit):
        together[i] = marched(circuit, whole, levels)[1]

    threads = [threading.Thread(target=run, args=item) for item in enumerate((chain(3), parallel(3)))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for one, other in zip(alone, together):
        np.testing.assert_array_equal(other, one)


SMALL_SOLVE = """
import json, sys
sys.path.insert(0, sys.argv[1])
import numpy as np
from balance_circuits import ready
from coupled_stages import chain
from hbsim.balance.continuation import Effort, steady_state
system, c, parameters = ready(chain(2), 3, 13)
system.keep_jacobian(whole=False)
effort = Effort()
x = steady_state(system, c, parameters, None, effort)
print(json.dumps([x.tolist(), effort.steps]))
"""


@pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="already plain")
def test_compiled_iteration_equals_plain_python():
    found = []
    for plain in ("1", "0"):
        run = subprocess.run([sys.executable, "-c", SMALL_SOLVE, str(HERE)], capture_output=True, text=True,
                             env=os.environ | {"NUMBA_DISABLE_JIT": plain}, check=False, cwd=HERE.parents[1])
        assert run.returncode == 0, run.stderr
        found.append(json.loads(run.stdout.splitlines()[-1]))
    assert found[0][1] == found[1][1]
    np.testing.assert_allclose(found[0][0], found[1][0], rtol=0, atol=1e-12)
