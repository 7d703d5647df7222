"""Folds: a varactor resonator that jumps as its drive is turned up and down."""

import math

import numpy as np
import pytest

from jumping_circuit import varactor_resonator

from hbsim.balance.arc import Arc
from hbsim.balance.continuation import Effort
from hbsim.balance.prepare import prepare, source_voltages

K = 8


@pytest.fixture(scope="module")
def resonator():
    return varactor_resonator()


def swept(circuit, levels):
    state, found = None, {}
    for level in levels:
        state = circuit.solve({"drive.power": float(level)}, harmonics=K, start=state)
        found[float(level)] = state
    return found


def test_two_states_stand_at_one_drive(resonator):
    # The jump of a driven nonlinear resonance is textbook matter (J. J. Stoker, Nonlinear Vibrations, 1950; from
    # memory)
    up, down = swept(resonator, np.arange(0, 15, 0.5)), swept(resonator, np.arange(14.5, -0.5, -0.5))
    assert down[12.0].output_dbm(1) - up[12.0].output_dbm(1) > 3.0
    assert up[9.0].output_dbm(1) == pytest.approx(down[9.0].output_dbm(1), abs=1e-6)
    assert up[14.0].output_dbm(1) == pytest.approx(down[14.0].output_dbm(1), abs=1e-6)
    for state in (up[12.0], down[12.0]):
        # both are states of the circuit and not of the truncation: they stay where they are with twice the harmonics
        finer = resonator.solve({"drive.power": 12.0}, harmonics=2 * K, start=state)
        assert finer.output_dbm(1) == pytest.approx(state.output_dbm(1), abs=0.01)
        assert abs(state.power_balance["error"]) < 1e-9 * state.power_balance["given"]


def test_the_arc_goes_round_the_fold(resonator):
    low, full = 10.0, 14.0
    description = resonator.with_values({"drive.power": full}).description
    system = prepare(description, K)
    source = source_voltages(description, system)
    c = system.excitation(source)
    rest = np.zeros_like(c)
    rest[0] = c[0]
    start = swept(resonator, np.arange(0, low + 0.5, 0.5))[low].form
    arc = Arc(system, rest, c, system.parameters())
    (reached,) = arc.trace(start, math.log(10) * (low - full) / 20, 0.0, np.zeros(1)).crossings
    x = reached.form
    assert Effort().newton(system, x, c, system.parameters(), most_steps=1)
    beyond = swept(resonator, np.arange(full + 2, full - 0.5, -0.5))[full]
    np.testing.assert_allclose(x, beyond.form, atol=1e-6)


def test_cold_start_beyond_the_fold(resonator):
    assert resonator.solve({"drive.power": 14.0}, harmonics=K).output_dbm(1) > -16.0
