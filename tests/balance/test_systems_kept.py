"""States that share one system say what they say alone, whichever was solved last."""

import numpy as np
import pytest

import hbsim
from hbsim.balance import influence
from hbsim.balance.gradient import gradient
from hbsim.balance.prepare import Systems
from hbsim.balance.solve import solve

NAMES = ["output_dbm_1", "output_dbm_2", "input_return_loss_db", "supply_amps_VCC"]
FREE = ["Q1.BF", "Q1.RE", "L_c.inductance", "drive.power", "supply.VCC"]
POINTS = [{"drive.power": power, "supply.VCC": volts} for volts in (2.5, 3.5) for power in (-8.0, 2.0)]


@pytest.fixture(scope="module")
def doubler(examples):
    return hbsim.load(examples / "lumped_doubler.toml").description


def test_states_of_one_system_are_those_of_systems_of_their_own(doubler):
    systems = Systems()
    shared = [solve(doubler.with_values(point), 8, None, None, systems=systems) for point in POINTS]
    alone = [solve(doubler.with_values(point), 8) for point in POINTS]
    assert len({id(state.system) for state in shared}) == 1
    slopes = [gradient(state, NAMES, FREE) for state in shared]  # from the second on with neighbours that are kept
    for mine, its, found in zip(shared, alone, slopes):
        np.testing.assert_array_equal(mine.form, its.form)
        influence._KEPT.clear()  # nothing of the others
        expected = gradient(its, NAMES, FREE)
        for name in NAMES:
            assert found[name] == pytest.approx(expected[name], rel=1e-12)


def test_whatever_changes_more_than_a_source_has_its_own_system(doubler):
    systems = Systems()
    first = systems.get(doubler, 8)
    assert systems.get(doubler.with_values({"drive.power": -3.0, "supply.VCC": 2.0}), 8) is first
    assert systems.get(doubler, 12) is not first
    for address, factor in (("Q1.BF", 1.1), ("L_c.inductance", 0.9), ("drive.frequency", 1.01),
                            ("port.input.impedance", 1.2), ("supply.VCC.resistance", 2.0)):
        assert systems.get(doubler, 8) is systems.get(doubler, 8)
        other = doubler.with_values({address: factor * doubler.look_up(address)[1]})
        assert systems.get(other, 8) is not systems.get(doubler, 8), address
        alone = solve(other, 8)
        np.testing.assert_array_equal(solve(other, 8, systems=systems).form, alone.form)
