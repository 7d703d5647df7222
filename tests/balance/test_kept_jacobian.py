"""A row of points that keeps its Jacobian from point to point: fewer factorisations, the same answers."""

import numpy as np
import pytest
from balance_circuits import EXAMPLE, mixed_stage, ready, residual_and_jacobian

import hbsim
from hbsim.balance.continuation import Effort, steady_state
from hbsim.balance.newton import BALANCED, TOLERANCE
from hbsim.balance.prepare import source_voltages


def row(circuit, levels):
    """System, sources, parameters and solved states of a drive sweep."""
    system, _, parameters = ready(circuit, 6)
    cs = np.array([system.excitation(source_voltages(circuit.description.with_values({"drive.power": float(level)}),
                                                     system)) for level in levels])
    xs = np.zeros((len(cs), *system.shape))
    xs[0] = steady_state(system, cs[0], parameters, None, Effort())
    stops, steps, errors = np.full(len(cs), -1), np.zeros(len(cs), int), np.full(len(cs), np.inf)
    system.work.factorisations[0] = 0
    assert system.march(xs, cs, parameters, np.zeros_like(xs), stops, steps, errors) == len(cs)
    assert (stops == BALANCED).all() and errors.max() <= TOLERANCE
    return system, cs, parameters, xs


@pytest.mark.parametrize("build", (lambda: hbsim.load(EXAMPLE), mixed_stage))
def test_a_fine_row_factors_seldom_and_balances_at_every_point(build):
    system, cs, parameters, xs = row(build(), np.linspace(-10.0, 5.0, 151))
    assert 1 <= system.work.factorisations[0] < len(cs) / 2
    for x, c in zip(xs[::10], cs[::10]):
        # numpy's own Newton step from there: no more than the tolerated current error makes of voltage
        f, j = residual_and_jacobian(system, x, c, parameters)
        sizes = np.maximum(np.repeat(system.work.scale, system.shape[1]), np.repeat(
            system.work.extent.max(axis=1), system.shape[1]))
        allowed = np.abs(np.linalg.inv(j)) @ (TOLERANCE * sizes)
        assert (np.abs(np.linalg.solve(j, f)) <= allowed).all()


def test_a_row_driven_back_and_forth_comes_back_to_the_same_states():
    # the sources turn round in the middle: what was learned on the way up must not spoil the way down
    up = np.linspace(-6.0, 3.0, 61)
    _, _, _, xs = row(hbsim.load(EXAMPLE), np.concatenate([up, up[::-1]]))
    # 1e-9 of 20 mA over the 33 kohm of the bias resistor
    np.testing.assert_allclose(xs[61:], xs[60::-1], rtol=0, atol=1e-9 * 20e-3 * 33e3)
