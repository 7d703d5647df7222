"""Which devices are shown: their powers close the balance of the circuit, and equal ones are told apart."""

import many_devices
import pytest

import hbsim
from hbsim.show.ranking import foremost, given_watts


def test_what_devices_give_at_a_harmonic_is_what_the_rest_of_the_circuit_takes(examples):
    # Conservation of power at each harmonic (Tellegen's theorem; textbook). At 2 f0 no source stands outside the
    # devices.
    state = hbsim.load(examples / "push_push_2304.toml").solve(harmonics=8)
    given = sum(given_watts(device, 2) for device in state.devices.values())
    inner = {e.name for mounted in state.system.mounted for e in mounted.elements()}
    taken = sum(state.absorbed(name)[2] for name in state.system.network.elements
                if name not in inner and name not in state.system.network.sources)
    # at 2 f0 ports and supplies are mere resistances; what flows into their terminals is heat there
    taken += sum(state.absorbed(name)[2] for name in state.system.network.sources)
    assert given == pytest.approx(taken, rel=1e-6) and given > state.output_watts(2)


def test_the_last_of_a_chain_of_amplifiers_give_most():
    state = many_devices.chain(5).solve(harmonics=8)
    assert [device.name for device in foremost(state, 2)] == ["Q4", "Q5"]
    assert [device.name for device in foremost(state, 5)] == ["Q1", "Q2", "Q3", "Q4", "Q5"]


def test_equal_devices_are_taken_in_order_but_both_halves_of_a_bridge():
    assert [d.name for d in foremost(many_devices.parallel(5).solve(harmonics=8), 3)] == ["Q1", "Q2", "Q3"]
    # the diodes of arms 1 and 4 conduct in one half of the period, those of 2 and 3 in the other
    shown = foremost(many_devices.diode_ring(2).solve(harmonics=8), 2)
    assert [d.name for d in shown] == ["D1_1", "D2_1"]
    first, second = (d.pin_current["anode"][1] for d in shown)
    assert second == pytest.approx(-first, rel=1e-3)
