"""The figure of each column of a sweep: its value is the column's, its slope that of full solves beside it.

What is differenced is the column as a sweep writes it, not the figure.
"""

import pytest
from balance_circuits import mixed_stage
from tight_differences import slopes, solved

from hbsim.balance.figures import OutputPhase
from hbsim.balance.gradient import figure, gradient
from hbsim.balance.prepare import Networks
from hbsim.errors import Refusal
from hbsim.studies.outputs import TRUST, heated_outputs
from hbsim.studies.table import SweepTable
from hbsim.studies.wishes import wish

HARMONICS = 6
RELATIVE = 1e-5  # asked for by the project; polished solves 1e-4 apart, extrapolated, are good to some 1e-7
FLOOR = 1e-8  # of the largest slope per 100 % of a quantity: rounding of the solves over a step of 1e-4
ADDRESSES = ["supply.VCC", "drive.power", "Q1.BF", "C_out.capacitance", "R_e.resistance", "drive.frequency"]


class Column:
    """A column of a sweep, kept or derived, read from a state as a figure is."""

    def __init__(self, name):
        self.name = name

    def value(self, state, description):
        columns = heated_outputs(state, estimate=False, devices=True)
        table = SweepTable("", {"drive.power": [0.0]}, {"drive.power": "dBm"}, columns,
                           state.description.wanted_harmonic)
        return float(table.flat(self.name)[0])


@pytest.fixture(scope="module")
def state():
    circuit = mixed_stage(Q1={"thermal_resistance": "0 K/W"})
    found = circuit.solve(harmonics=HARMONICS)
    return solved(found, circuit.description, Networks())


@pytest.fixture(scope="module")
def names(state):
    kept = [name for name in heated_outputs(state, estimate=False, devices=True) if name not in TRUST]
    return kept + [f"output_dbc_{k}" for k in range(1, HARMONICS + 1) if k != 2]


def test_every_column_has_a_figure_of_the_same_value(state, names):
    assert {"efficiency", "supply_watts", "supply_amps_VCC", "output_phase_deg_2", "dissipation_watts_Q1",
            "peak_volts_D1", "output_dbc_1", "conversion_loss_db", "input_return_loss_db"} <= set(names)
    for name in names:
        found = figure(name, state.description).value(state, state.description)
        assert found == pytest.approx(Column(name).value(state, state.description), rel=1e-12), name


def test_slopes_of_every_column_against_full_solves(state, names):
    found, networks, wrong = gradient(state, names, ADDRESSES), Networks(), []
    scale = {name: max(abs(slope * state.description.look_up(address)[1]) for address, slope in row.items())
             for name, row in found.items()}
    for address in ADDRESSES:
        value = state.description.look_up(address)[1]
        step = 1e-2 if address == "drive.power" else 1e-4 * abs(value)
        expected = slopes(state, state.description, address, {name: Column(name) for name in names}, step, networks)
        for name, (slope, _) in expected.items():
            if not abs(found[name][address] - slope) <= RELATIVE * abs(slope) + FLOOR * scale[name] / abs(value):
                wrong.append(f"{name} by {address}: {found[name][address]:.9g}, solves say {slope:.9g}")
    assert wrong == []


def test_harmonics_that_the_table_has_no_column_for(state):
    assert figure("output_phase_deg_3", state.description) == OutputPhase(3)
    moved = gradient(state, ["output_dbc_1", "output_dbm_1", "output_dbm_2"], ["supply.VCC"])
    line, level, wanted = (row["supply.VCC"] for row in moved.values())
    assert line == pytest.approx(level - wanted, rel=1e-9)  # rounding of a sum


@pytest.mark.parametrize("name, words", [
    ("harmonics", "how a point was found"), ("solved", "how a point was found"), ("truncation_db", "no slope"),
    ("phase_change_deg_per_db", "is a slope itself"), ("output_dbc_2", "against itself"),
    ("output_dbm_0", "no figure 'output_dbm_0'"), ("output_dbm_\u0662", "no figure"),
    ("dissipation_watts_Q2", "dissipation_watts_Q1"), ("supply_amps_VEE", "no figure"), ("efficency", "efficiency")])
def test_what_has_no_slope_is_refused(state, name, words):
    with pytest.raises(Refusal, match=words):
        figure(name, state.description)


def test_wishes_are_made_of_the_same_names_but_not_of_a_phase(state):
    units = {"efficiency": "1", "supply_watts": "W", "peak_volts_Q1": "V", "output_dbc_1": "dB", "output_dbm_1": "dBm",
             "supply_amps_VCC": "A", "dissipation_watts_Q1": "W"}
    assert {name: wish(name, state.description).unit for name in units} == units
    with pytest.raises(Refusal, match="goes round"):
        wish("output_phase_deg_2", state.description)
