"""The harmonics chosen for an accuracy reach it, against very many harmonics; and the estimate tells the truth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import hbsim
from hbsim.balance.accuracy import LEVELS, Accuracy
from hbsim.errors import Refusal

MANY = 128


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


def errors_db(circuit, state, values):
    """True errors of the lines, against very many harmonics. [dB]"""
    exact = circuit.solve(values, harmonics=MANY, start=state)
    return np.array([0.0, *(abs(exact.output_dbm(k) - state.output_dbm(k)) for k in range(1, state.lines + 1))])


@pytest.mark.parametrize("wanted_db", [1.0, 0.1, 0.01, 0.001])
@pytest.mark.parametrize("power", [-30.0, 0.0, 15.0])
def test_the_tolerance_is_kept(circuit, power, wanted_db):
    values = {"drive.power": power}
    state = circuit.solve(values, accuracy=Accuracy(wanted_db=wanted_db))
    assert state.truncation.met and state.truncation.fine == state.solver.harmonics
    error = errors_db(circuit, state, values)
    above = np.array([state.output_dbm(k) > -100 for k in range(state.lines + 1)])
    assert error[2] < wanted_db and error[above].max() < 10 * wanted_db


def test_a_tighter_tolerance_takes_more_harmonics(circuit):
    needed = [circuit.solve(accuracy=Accuracy(wanted_db=db)).solver.harmonics for db in (1.0, 0.01, 1e-5)]
    assert needed == sorted(needed) and len(set(needed)) == 3 and set(needed) <= set(LEVELS)


def test_the_estimate_bounds_the_error_at_each_drive(circuit):
    for power in np.arange(-20.0, 16.0, 5.0):
        state = circuit.solve({"drive.power": power})
        known = state.truncation.line_db
        error = errors_db(circuit, state, {"drive.power": power})
        judged = np.isfinite(known)
        assert judged[2] and (error[judged] <= known[judged] + 1e-6).all()


def test_a_given_number_is_kept_and_says_what_it_costs(circuit):
    state = circuit.solve({"drive.power": 4.0}, harmonics=6)
    assert state.solver.harmonics == 6 and state.solver.samples == 36
    known, error = state.truncation, errors_db(circuit, state, {"drive.power": 4.0})
    assert (known.coarse, known.fine) == (6, 12) and not known.met
    assert known.line_db[1:] == pytest.approx(error[1:], rel=0.25)  # what the twelve themselves leave out


def test_lines_that_are_asked_for_are_followed(circuit):
    state = circuit.solve(accuracy=Accuracy(lines=10))
    assert state.lines == 10 and len(state.truncation.line_db) == 11
    error = errors_db(circuit, state, None)
    assert error[np.isfinite(state.truncation.line_db)].max() < 0.1
    assert circuit.solve().lines == 6
    assert circuit.with_values({}).solve(harmonics=4).lines == 4


def test_a_start_near_by_does_not_change_the_answer(circuit):
    near = circuit.solve({"drive.power": 14.0})
    warm, cold = circuit.solve({"drive.power": 15.0}, start=near), circuit.solve({"drive.power": 15.0})
    assert warm.truncation.met and warm.output_dbm(2) == pytest.approx(cold.output_dbm(2), abs=0.01)


def test_data_that_end_stop_the_rise_and_are_told(tmp_path):
    # A matched through, known to 8 GHz: eight harmonics of 1 GHz. Strongly clipped, they are not enough.
    (tmp_path / "through.s2p").write_text("# GHz S RI R 50\n" + "".join(
        f"{f / 2} 0 0 1 0 1 0 0 0\n" for f in range(0, 17)))
    circuit = hbsim.Circuit.build(
        folder=tmp_path, drive={"port": "input", "frequency": "1 GHz", "power": "15 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        part={"D1": {"kind": "diode", "nodes": ["in", "m"], "IS": "1e-12 A"},
              "R1": {"kind": "resistor", "nodes": ["m", "ground"], "resistance": "200 ohm"},
              "filter": {"kind": "touchstone block", "nodes": ["m", "out"], "file": "through.s2p"}})
    state = circuit.solve()
    assert state.solver.harmonics == 8 and not state.truncation.met
    table = circuit.sweep({"drive.power": [-30.0, 15.0]})
    assert table["harmonics"].tolist()[1] == 8 and table.unsettled.tolist()[1]
    assert table["output_dbm_2"][1] == pytest.approx(state.output_dbm(2), abs=1e-6)


@given(st.lists(st.floats(-200, 20), min_size=4, max_size=4), st.lists(st.floats(-200, 20), min_size=4, max_size=4))
def test_changes_count_where_a_line_is_above_the_floor(before, now):
    changes = Accuracy().changes(np.array([before]), np.array(now))
    for a, b, change in zip(before, now, changes):
        if max(a, b) < -100:
            assert np.isnan(change)
        else:
            assert change == abs(a - b)


def test_changes_are_the_most_over_the_steps_that_are_known():
    changes = Accuracy().changes(np.array([[0.0, np.nan, np.nan, -np.inf], [2.0, 5.0, np.nan, 1.0]]),
                                 np.array([3.0, 3.0, 3.0, 1.0]))
    assert changes[:2].tolist() == [3.0, 2.0] and np.isnan(changes[2]) and changes[3] == np.inf


@pytest.mark.parametrize("options, words", [({"wanted_db": 0.0}, "0 dB is no tolerance"),
                                            ({"others_db": -1.0}, "-1 dB is no tolerance"),
                                            ({"wanted_db": float("nan")}, "no tolerance"),
                                            ({"lines": 0}, "0 lines cannot be shown")])
def test_what_is_no_accuracy_is_refused(options, words):
    with pytest.raises(Refusal, match=words):
        Accuracy(**options)


def test_too_many_lines_for_a_choice_are_refused(circuit):
    with pytest.raises(Refusal, match="100 lines are too many for a choice of harmonics; at most 64"):
        circuit.solve(accuracy=Accuracy(lines=100))
    assert circuit.solve(harmonics=110, accuracy=Accuracy(lines=100)).lines == 100


def test_lines_that_stay_by_chance_are_not_believed():
    # Two slow diodes head to tail: with 16, 24 and 32 harmonics the lines stay within 0.01 dB, and then move by 0.3 dB,
    # for the edge of the reverse recovery is not resolved before.
    diode = {"kind": "diode", "use": "switching-diode"}
    circuit = hbsim.Circuit.build(
        drive={"port": "input", "frequency": "50 MHz", "power": "20 dBm"}, wanted={"port": "output", "harmonic": 1},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        part={"R1": {"kind": "resistor", "nodes": ["in", "a"], "resistance": "20 ohm"},
              "R2": {"kind": "resistor", "nodes": ["a", "out"], "resistance": "20 ohm"},
              "D1": diode | {"nodes": {"anode": "a", "cathode": "ground"}},
              "D2": diode | {"nodes": {"anode": "ground", "cathode": "a"}}})
    state = circuit.solve()
    exact = circuit.solve(harmonics=192, start=state)
    assert state.truncation.met
    for k, tolerance in ((1, 0.01), (3, 0.1), (5, 0.1)):
        assert state.output_dbm(k) == pytest.approx(exact.output_dbm(k), abs=tolerance)
