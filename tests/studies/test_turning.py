"""A drive turned up and down: both branches of a jump, the folds, and the states between that no generator reaches."""

import csv
import io

import numpy as np
import pytest

from jumping_circuit import varactor_resonator

import hbsim
from hbsim.studies.highlights import highlights
from hbsim.studies.table import as_json
from hbsim.studies.turning import spans

AXES = {"drive.power": "0 dBm : 16 dBm : 0.5 dB"}


@pytest.fixture(scope="module")
def resonator():
    return varactor_resonator()


@pytest.fixture(scope="module")
def table(resonator):
    return resonator.sweep(AXES)


def other(table, drive, turned):
    at = (table["drive.power"][table.others.points] == drive) & (table.others.turned == turned)
    return {name: float(column[at][0]) for name, column in table.others.columns.items()}


def test_both_branches_are_those_of_solves_from_either_side(resonator, table):
    # Stepped by hand, each state from the one before: what a person at the generator does.
    ways = {"up": np.arange(0.0, 16.1, 0.5), "down": np.arange(16.0, -0.1, -0.5)}
    met = {}
    for way, drives in ways.items():
        state = None
        for drive in drives:
            state = resonator.solve({"drive.power": float(drive)}, start=state)
            met[way, float(drive)] = state.output_dbm(1)
    for number, drive in enumerate(table["drive.power"]):
        assert table["output_dbm_1"][number] == pytest.approx(met["up", drive], abs=0.01)
        if abs(met["down", drive] - met["up", drive]) > 0.02:
            assert table.turned(number) == "up"
            assert other(table, drive, "down")["output_dbm_1"] == pytest.approx(met["down", drive], abs=0.01)
        else:
            assert table.turned(number) == "both"
    assert sorted(table["drive.power"][table.others.points[table.others.turned == "down"]]) == [11.0, 11.5, 12.0, 12.5]


def test_the_folds_bound_the_branches(resonator, table):
    up, = table.others.jumps_up_dbm
    down, = table.others.jumps_down_dbm
    assert 12.5 < up < 13.0 and 10.5 < down < 11.0
    # just inside the folds both states are there, just outside only one
    inside = resonator.sweep({"drive.power": [0.0, down + 0.01, up - 0.01, 16.0]})
    assert sorted(inside.others.points[inside.others.turned == "down"].tolist()) == [1, 2]
    outside = resonator.sweep({"drive.power": [0.0, down - 0.01, up + 0.01, 16.0]})
    assert not len(outside.others.points)


def test_what_lies_between_the_folds_is_a_state_but_not_reachable(resonator, table):
    for drive in (11.0, 11.5, 12.0, 12.5):
        between = other(table, drive, "neither")
        number = int(np.flatnonzero(table["drive.power"] == drive)[0])
        assert table["output_dbm_1"][number] < between["output_dbm_1"] < other(table, drive, "down")["output_dbm_1"] \
            or between["output_dbm_2"] < other(table, drive, "down")["output_dbm_2"]
        assert between["solved"] == 1.0 and between["truncation_db"] < 0.01


def test_files_hold_every_state(table):
    handle = io.StringIO()
    table.write_csv(handle)
    rows = list(csv.DictReader(io.StringIO(handle.getvalue())))
    assert len(rows) == 33 + 8
    at_12 = [(row["turned"], row["reachable"], float(row["output_dbm_2"])) for row in rows
             if row["drive.power_dbm"] == "12.0"]
    assert [row[:2] for row in at_12] == [("up", "true"), ("neither", "false"), ("down", "true")]
    assert at_12[2][2] == other(table, 12.0, "down")["output_dbm_2"]
    assert [row["turned"] for row in rows if row["drive.power_dbm"] == "3.0"] == ["both"]
    data = as_json(table)["other_states"]
    assert data["turned"].count("down") == data["turned"].count("neither") == 4
    assert data["reachable"] == [turned == "down" for turned in data["turned"]]
    assert data["jumps_turned_up_dbm"] == table.others.jumps_up_dbm


def test_it_is_said_in_words(resonator, table):
    said = " ".join(highlights(resonator.description, table))
    assert "Hysteresis: from 11 to 12.5 dBm of drive" in said
    assert f"turned up, the circuit jumps at {table.others.jumps_up_dbm[0]:.2f} dBm" in said
    assert f"turned down, the circuit jumps at {table.others.jumps_down_dbm[0]:.2f} dBm" in said
    down = {drive: other(table, drive, "down") for drive in (11.0, 11.5, 12.0, 12.5)}
    best = max(down, key=lambda drive: down[drive]["output_dbm_2"])
    assert f"only the way down meets: output {down[best]['output_dbm_2']:.2f} dBm at {best:g} dBm" in said


def test_the_order_asked_for_makes_no_difference(resonator, table):
    reverse = resonator.sweep({"drive.power": "16 dBm : 0 dBm : -0.5 dB"})
    np.testing.assert_array_equal(reverse["output_dbm_1"], table["output_dbm_1"])


def test_a_circuit_without_jumps_has_no_other_states(examples):
    circuit = hbsim.load(examples / "lumped_doubler.toml")
    table = circuit.sweep({"drive.power": "-10:10:1dBm"})
    assert table.others is not None and not len(table.others.points) and table.turned(3) == "both"
    assert "Hysteresis" not in " ".join(highlights(circuit.description, table))
    assert circuit.sweep({"drive.power": "-10:10:10dBm", "supply.VCC": [2.0, 3.0]}).others is None


def test_spans():
    assert spans(np.array([0, 1, 1, 0, 1], bool)) == [(1, 2), (4, 4)] and spans(np.zeros(3, bool)) == []


def test_a_coarse_sweep_does_not_leap_over_a_branch(resonator):
    coarse = resonator.sweep({"drive.power": [0.0, 4.0, 8.0, 12.0, 16.0]})
    assert coarse.others.points.tolist() == [3, 3] and sorted(coarse.others.turned) == ["down", "neither"]
