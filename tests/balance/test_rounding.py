"""Current errors that are rounding: where the drive does not reach a device that stands at some volts."""

import numpy as np
import pytest
from balance_circuits import ready

import hbsim
from hbsim.balance.continuation import Effort, steady_state
from hbsim.balance.rounding import rounding_alone


def unreached(volts, capacitance):
    """A varactor behind its series resistance, biased, with the generator shorted at every harmonic."""
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": "2 GHz", "power": "-20 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}}, supply={"V": {"node": "v", "voltage": f"{volts} V"}},
        part={"short": {"kind": "resistor", "nodes": ["in", "ground"], "resistance": "0 ohm"},
              "Ci": {"kind": "capacitor", "nodes": ["in", "a"], "capacitance": "10 pF"},
              "R": {"kind": "resistor", "nodes": ["a", "ground"], "resistance": "100 ohm"},
              "D": {"kind": "diode", "nodes": {"anode": "a", "cathode": "k"}, "IS": "0 A", "RS": "4 ohm",
                    "CJO": f"{capacitance} F", "VJ": "1 V"},
              "Rb": {"kind": "resistor", "nodes": ["v", "k"], "resistance": "1 kohm"},
              "Co": {"kind": "capacitor", "nodes": ["k", "out"], "capacitance": "1 pF"}})


@pytest.mark.parametrize("volts", [0.0, 2.0, 15.0])
@pytest.mark.parametrize("capacitance", ["1e-12", "5e-11"])
def test_it_is_solved_in_no_time(volts, capacitance):
    # nothing moves, so that the answer is the supply's voltage on the diode, by Kirchhoff's law
    state = unreached(volts, capacitance).solve(harmonics=8)
    assert state.solver.iterations < 50
    assert state.voltage("k")[0].real == pytest.approx(volts, abs=1e-12)
    assert np.abs(state.voltage("k")[1:]).max() < 1e-12


def test_a_small_error_is_not_put_down_to_rounding():
    # microvolts off: far more current than rounding leaves, and far less than what is told apart by eye
    system, c, parameters = ready(unreached(2.0, "5e-11"), 8)
    x = steady_state(system, c, parameters, None, Effort())
    assert rounding_alone(system, x, c, parameters)
    for node in range(len(x)):
        off = x.copy()
        off[node, 1] += 1e-9
        assert not rounding_alone(system, off, c, parameters)
    assert not rounding_alone(system, np.full_like(x, np.nan), c, parameters)
