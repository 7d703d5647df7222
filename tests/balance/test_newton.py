"""Residual and Jacobian against independent forms of the same equations; compiled against plain Python."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numba
import numpy as np
import pytest
from balance_circuits import mixed_stage, ready, residual_and_jacobian

import hbsim
from hbsim.balance.newton import TOLERANCE
from hbsim.balance.spectrum import phasors, real_form
from hbsim.linear.network import GROUND

HERE = Path(__file__).parent


def some_state(system, seed=5):
    """Voltages near a plausible operation: 0.7 V on bases, ripple of 60 mV falling with the harmonic."""
    rng = np.random.default_rng(seed)
    x = 0.06 * rng.normal(size=system.shape) / (1 + np.arange(system.shape[1]) // 2) ** 2
    x[:, 0] += [{"b": 0.75, "c": 2.8, "e": 0.02}.get(node.rpartition(".")[2].rpartition(" ")[2][0], 0.4)
                for node in system.network.device_nodes]
    return x


def laws_by_fft(system, mounted_voltage):
    """Branch currents of each device from its plain law, with numpy's FFT: the phasors of i + j w q + e^(-jwt) t."""
    omega, samples = system.network.omega, system.samples
    found = []
    for mounted in system.mounted:
        device = mounted.device
        nodes = mounted.branches()
        v = np.array([mounted_voltage(start) - mounted_voltage(end) for start, end in nodes])
        n = len(v)
        i, q, t = (np.zeros((n, samples)) for _ in range(3))
        slopes = [np.zeros((n, n, samples)) for _ in range(3)]
        law = getattr(type(device).evaluate, "py_func", type(device).evaluate)
        law(v, device.packed(), i, q, t, *slopes)
        lines = [np.fft.rfft(w)[:, :len(omega)] * 2 / samples for w in (i, q, t)]
        for w in lines:
            w[:, 0] /= 2
        found.append((nodes, lines[0] + 1j * omega * lines[1] + np.exp(-1j * omega * device.delay) * lines[2], slopes))
    return found


def voltages_of(system, x):
    lines, samples = phasors(x), system.samples
    spectrum = np.zeros((len(lines), samples // 2 + 1), complex)
    spectrum[:, :lines.shape[1]] = lines * samples / 2
    spectrum[:, 0] *= 2
    waves = dict(zip(system.network.device_nodes, np.fft.irfft(spectrum, samples)))
    return lambda node: np.zeros(samples) if node == GROUND else waves[node]


def plain_residual(system, x, c):
    """F = A V + B I - c with numpy alone."""
    names = list(system.network.device_nodes)
    current = np.zeros((len(names), system.harmonics + 1), complex)
    for nodes, lines, _ in laws_by_fft(system, voltages_of(system, x)):
        for (start, end), line in zip(nodes, lines):
            if start != end:
                for node, sign in ((start, 1), (end, -1)):
                    if node != GROUND:
                        current[names.index(node)] += sign * line
    network = system.network
    f = np.einsum("kij,jk->ik", network.a, phasors(x)) + np.einsum("kij,jk->ik", network.b, current) - c.T
    return real_form(f)


def plain_jacobian(system, x):
    """A + B (F diag(g) E), densely: analysis matrix, slopes at every sample, synthesis matrix."""
    names = list(system.network.device_nodes)
    n, rows, samples = *system.shape, system.samples
    theta = 2 * np.pi * np.arange(samples) / samples
    synthesis = np.ones((rows, samples))
    for k in range(1, system.harmonics + 1):
        synthesis[2 * k - 1], synthesis[2 * k] = np.cos(k * theta), -np.sin(k * theta)
    analysis = synthesis.T * 2 / samples
    analysis[:, 0] /= 2

    def rotated(factor):
        """Product with a complex number a harmonic, in real form (rows, rows)."""
        block = np.zeros((rows, rows))
        block[0, 0] = factor[0].real
        for k in range(1, len(factor)):
            r = 2 * k - 1
            block[r:r + 2, r:r + 2] = [[factor[k].real, -factor[k].imag], [factor[k].imag, factor[k].real]]
        return block

    omega = system.network.omega
    device_part = np.zeros((n, rows, n, rows))
    for mounted, (nodes, _, slopes) in zip(system.mounted, laws_by_fft(system, voltages_of(system, x))):
        factors = (np.ones(len(omega), complex), 1j * omega, np.exp(-1j * omega * mounted.device.delay))
        for m, (row_from, row_to) in enumerate(nodes):
            for l, (col_from, col_to) in enumerate(nodes):
                if row_from == row_to or col_from == col_to:
                    continue
                block = sum(rotated(factor) @ (analysis.T * slope[m, l]) @ synthesis.T
                            for factor, slope in zip(factors, slopes))
                for row, row_sign in ((row_from, 1), (row_to, -1)):
                    for column, column_sign in ((col_from, 1), (col_to, -1)):
                        if GROUND not in (row, column):
                            device_part[names.index(row), :, names.index(column)] += row_sign * column_sign * block
    total = np.zeros_like(device_part)
    for i in range(n):
        for j in range(n):
            total[i, :, j] += rotated(system.network.a[:, i, j])
            total[i] += np.einsum("rs,sjc->rjc", rotated(system.network.b[:, i, j]), device_part[j])
    return total.reshape(n * rows, n * rows)


@pytest.fixture(scope="module")
def case():
    system, c, parameters = ready(mixed_stage(), 5, 48)
    assert not system.network.identity[0] and system.network.identity[1:].all()  # choke to a stiff supply: DC only
    assert any(m.device.delay > 0 for m in system.mounted)
    return system, c, parameters, some_state(system)


def test_residual_is_that_of_plain_numpy(case):
    system, c, parameters, x = case
    f, _ = residual_and_jacobian(system, x, c, parameters)
    expected = plain_residual(system, x, c).ravel()
    np.testing.assert_allclose(f, expected, atol=1e-13 * np.abs(expected).max())


def test_jacobian_is_that_of_plain_numpy(case):
    system, c, parameters, x = case
    _, j = residual_and_jacobian(system, x, c, parameters)
    expected = plain_jacobian(system, x)
    np.testing.assert_allclose(j, expected, atol=1e-13 * np.abs(expected).max())


@pytest.mark.parametrize("h", [0.0, 0.02])
def test_jacobian_is_the_slope_of_the_residual(case, h):
    system, c, parameters, x = case
    reference = np.zeros_like(x)
    _, j = residual_and_jacobian(system, x, c, parameters, h, reference)
    rng, step = np.random.default_rng(8), 1e-5
    for _ in range(6):
        direction = rng.normal(size=x.shape)
        up, _ = residual_and_jacobian(system, x + step * direction, c, parameters, h, reference)
        down, _ = residual_and_jacobian(system, x - step * direction, c, parameters, h, reference)
        slope = (up - down) / (2 * step)
        # error of a central difference: (step / V_T)^2, 1e-6 with a direction of several V_T per step
        np.testing.assert_allclose(j @ direction.ravel(), slope, atol=2e-6 * np.abs(slope).max())


def test_jacobian_holds_with_the_fewest_samples():
    # 2 K + 2 samples fold the slopes; residual and Jacobian must fold alike
    system, c, parameters = ready(mixed_stage(), 5, 21)
    x = some_state(system)
    _, j = residual_and_jacobian(system, x, c, parameters)
    expected = plain_jacobian(system, x)
    np.testing.assert_allclose(j, expected, atol=1e-13 * np.abs(expected).max())


def test_newton_converges_quadratically_near_the_answer():
    system, c, parameters = ready(mixed_stage(), 8)
    state = mixed_stage().solve(harmonics=8)
    x = state.form + 1e-4 * np.random.default_rng(1).normal(size=state.form.shape)
    sizes = []
    for _ in range(4):
        f, j = residual_and_jacobian(system, x, c, parameters)
        step = np.linalg.solve(j, -f).reshape(x.shape)
        sizes.append(np.abs(step).max())
        x = x + step
    for before, after in zip(sizes, sizes[1:]):
        assert after < max(200 * before**2, 1e-12)  # 200 / V: half of 1 / V_T, times what the circuit gains
    np.testing.assert_allclose(x, state.form, atol=1e-9)


def test_a_solved_state_satisfies_the_plain_equations():
    circuit = mixed_stage()
    state = circuit.solve(harmonics=8)
    system, c, _ = ready(circuit, 8)
    _, j = residual_and_jacobian(system, state.form, c, system.parameters())
    error = np.linalg.solve(j, plain_residual(system, state.form, c).ravel())  # as an error of the voltages
    assert np.abs(error).max() < 1e-9


def test_two_diodes_against_stiff_supplies_balance_though_half_their_harmonics_vanish():
    # By symmetry the even harmonics of the clipped node are nothing but rounding; they must not keep it unsolved.
    circuit = hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 GHz", "power": "24 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        supply={"up": {"node": "p", "voltage": "0 V"}, "down": {"node": "m", "voltage": "0 V"}},
        part={"D1": {"kind": "diode", "IS": "1e-14 A", "nodes": {"anode": "in", "cathode": "p"}},
              "D2": {"kind": "diode", "IS": "1e-14 A", "nodes": {"anode": "m", "cathode": "in"}},
              "R": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "1 kohm"}})
    state = circuit.solve(harmonics=64)
    assert np.abs(state.voltage("in")[::2]).max() < 1e-9
    assert state.solver.iterations < 60
    assert 0.5 < state.waveform("in")[1].max() < 1.0


SMALL_SOLVE = """
import json, sys
sys.path.insert(0, sys.argv[1])
from balance_circuits import mixed_stage
state = mixed_stage().solve(harmonics=4, samples=17)
print(json.dumps([state.form.tolist(), state.solver.iterations]))
"""


@pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="already plain")
def test_compiled_solver_equals_plain_python():
    run = subprocess.run([sys.executable, "-c", SMALL_SOLVE, str(HERE)], env=os.environ | {"NUMBA_DISABLE_JIT": "1"},
                         capture_output=True, text=True, check=False, cwd=HERE.parents[1])
    assert run.returncode == 0, run.stderr
    form, iterations = json.loads(run.stdout.splitlines()[-1])
    state = mixed_stage().solve(harmonics=4, samples=17)
    assert iterations == state.solver.iterations
    np.testing.assert_allclose(state.form, form, rtol=0, atol=1e-12)


def test_residual_reported_is_within_the_tolerance():
    state = mixed_stage().solve(harmonics=8)
    assert state.solver.residual <= TOLERANCE
