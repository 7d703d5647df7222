"""Junctions of strips in whole circuits: switched on and off, solved, swept, changed and listed."""

import json

import numpy as np
import pytest

import hbsim
from hbsim.balance.prepare import Networks, elements_of, mounted_devices, prepare
from hbsim.errors import Refusal
from hbsim.linear.discontinuities import BoardCross, BoardStep, BoardTee
from hbsim.linear.junctions import ASKED
from hbsim.linear.network import Element
from hbsim.linear.part import Relation
from hbsim.linear.sources import Termination
from hbsim.show.report import prediction_page
from hbsim.studies.prediction import as_json, predict

TREE = {  # an invented doubler with a tee (m), two steps (s, f), and a place that is not known (c)
    "title": "doubler of a test", "board": {"use": "fr4-1.6mm"},
    "drive": {"port": "input", "frequency": "1 GHz", "power": "-3 dBm"},
    "port": {"input": {"node": "in"}, "output": {"node": "out"}},
    "supply": {"VCC": {"node": "vcc", "voltage": "2 V", "resistance": "1 ohm"}},
    "part": {
        "C_in": {"kind": "capacitor", "nodes": ["in", "m"], "capacitance": "10 pF"},
        "tune": {"kind": "open stub", "nodes": ["m"], "width": "2 mm", "length": "25 mm"},
        "match": {"kind": "line", "nodes": ["m", "b"], "width": "3 mm", "length": "38 mm"},
        "R_b": {"kind": "resistor", "nodes": ["vcc", "b"], "resistance": "22 kohm"},
        "Q1": {"kind": "bjt", "use": "npn-25ghz",
               "nodes": {"base": "b", "collector": "c", "emitter": "ground"}},
        "feed": {"kind": "line", "nodes": ["vcc", "c"], "width": "0.5 mm", "length": "19 mm"},
        "wide": {"kind": "line", "nodes": ["c", "s"], "width": "4 mm", "length": "9 mm"},
        "thin": {"kind": "line", "nodes": ["s", "f"], "width": "1 mm", "length": "6 mm"},
        "filter": {"kind": "filter section", "nodes": ["f", "out"], "width": "2.1 mm", "gap": "0.3 mm",
                   "length": "17 mm"}}}


def circuit(**tables):
    return hbsim.Circuit.build(**{**TREE, **tables})


def off(**tables):
    return circuit(junctions={"automatic": False}, **tables)


def kinds(found):
    return {junction.node: junction.kind for junction in found.junctions().added}


def numbers(state):
    """Phasors of all nodes that a circuit file names."""
    return np.array([state.voltage(node) for node in state.nodes if "|" not in node and "." not in node])


def test_what_is_put_in_and_what_is_not():
    found = circuit().junctions()
    assert kinds(circuit()) == {"m": "tee", "s": "step", "f": "step"}
    assert [left.node for left in found.left_out] == ["c"]
    assert kinds(circuit(junctions={"automatic": True, "left_out": ["s"]})) == {"m": "tee", "f": "step"}
    left = circuit(junctions={"left_out": ["s", "b"]}).junctions().left_out
    assert {item.node: item.reason for item in left if item.node != "c"} == {"s": ASKED}
    assert not off().junctions().added and not off().junctions().left_out


@pytest.mark.parametrize("table, place, said", [
    ({"automatic": "no"}, "junctions.automatic", "write automatic = true or automatic = false"),
    ({"automatik": False}, "junctions", "did you mean 'automatic'"),
    ({"left_out": "m"}, "junctions.left_out", 'write left_out = ["m"]'),
    ({"left_out": [3]}, "junctions.left_out", 'write "3"'),
    ({"left_out": ["ff"]}, "junctions.left_out", "there is no node 'ff'; did you mean 'f'?"),
    (7, "", "write [junctions]"),
])
def test_a_table_that_says_something_else_is_refused(table, place, said):
    with pytest.raises(Refusal) as caught:
        circuit(junctions=table)
    assert said in str(caught.value) and caught.value.place == place


def test_switched_off_nothing_but_the_parts_is_solved():
    description = off().description
    mounted = mounted_devices(description)
    parts = [Element(name, placed.part, placed.nodes) for name, placed in description.parts.items()]
    others = [Element("port.input", Termination(50.0), ("in",)), Element("port.output", Termination(50.0), ("out",)),
              Element("supply.VCC", Termination(1.0, steady=True), ("vcc",))]
    assert elements_of(description, mounted)[0] == parts + others + mounted[0].elements()


def perfect(terminals):
    """The law of a joint that does nothing: equal voltages, and no current lost."""
    def relation(self, omega):
        a, b = np.zeros((2, len(omega), terminals, terminals), complex)
        a[:, range(terminals - 1), range(terminals - 1)] = 1.0
        a[:, range(terminals - 1), range(1, terminals)] = -1.0
        b[:, -1] = 1.0
        return Relation(a, b)
    return relation


@pytest.fixture
def apart(monkeypatch):
    """A drive of its own for circuits whose joints do nothing: laws and networks are kept by frequency and part."""
    for cls in (BoardStep, BoardTee, BoardCross):
        monkeypatch.setattr(cls, "relation", perfect(len(cls.terminals)))
    return {"drive": {"port": "input", "frequency": "1.0123 GHz", "power": "-4 dBm"}}


def test_joints_that_do_nothing_change_nothing(apart):
    joined = prepare(circuit(**apart).description, 8, networks=Networks()).network
    plain = prepare(off(**apart).description, 8, networks=Networks()).network
    for k in range(9):  # the admittance that the transistor sees; it comes out by another order of elimination
        ours, theirs = (np.linalg.solve(n.b[k], n.a[k]) for n in (joined, plain))
        np.testing.assert_allclose(ours, theirs, rtol=0, atol=1e-11 * np.abs(theirs).max())


def test_the_solution_with_joints_that_do_nothing_is_the_one_without(apart):
    joined, plain = (found.solve(harmonics=6) for found in (circuit(**apart), off(**apart)))
    # 1e-9 of what flows may stay uncancelled in either
    np.testing.assert_allclose(numbers(joined), numbers(plain), rtol=0, atol=1e-8)
    assert set(joined.nodes) - set(plain.nodes) == {"m|match", "m|tune", "s|thin", "f|filter"}


def test_the_same_as_with_the_parts_written_out():
    written = {name: dict(part) for name, part in TREE["part"].items()}
    written["tune"]["nodes"], written["match"]["nodes"] = ["m_stub"], ["m_line", "b"]
    written["thin"]["nodes"], written["filter"]["nodes"] = ["s_thin", "f"], ["f_filter", "out"]
    written |= {
        "T": {"kind": "tee", "nodes": ["m_line", "m", "m_stub"], "width": "3 mm", "branch_width": "2 mm"},
        "S": {"kind": "step", "nodes": ["s", "s_thin"], "width": "4 mm", "second_width": "1 mm"},
        "F": {"kind": "step", "nodes": ["f", "f_filter"], "width": "1 mm", "second_width": "2.1 mm"}}
    by_hand = circuit(part=written)
    assert not by_hand.junctions().added and [left.node for left in by_hand.junctions().left_out] == ["c"]
    ours, theirs = (found.solve(harmonics=6) for found in (circuit(), by_hand))
    for node in ("in", "m", "b", "c", "s", "f", "out"):
        # 1e-9 of what flows may stay uncancelled in either
        np.testing.assert_allclose(ours.voltage(node), theirs.voltage(node), rtol=0, atol=1e-8)
    for name, written_name in (("m", "T"), ("s", "S"), ("f", "F")):
        np.testing.assert_allclose(ours.current(f"junction.{name}"), theirs.current(written_name), rtol=0, atol=1e-9)
    assert abs(ours.power_balance["error"]) < 1e-9 * ours.power_balance["given"]


def test_at_rest_a_junction_is_a_wire():
    joined, plain = (found.solve({"drive.power": "-250 dBm"}, harmonics=3) for found in (circuit(), off()))
    np.testing.assert_allclose(numbers(joined)[:, 0], numbers(plain)[:, 0], rtol=0, atol=1e-11)  # rounding of volts


@pytest.mark.parametrize("address, values", [("tune.length", [22e-3, 24e-3, 26e-3, 28e-3, 30e-3]),
                                             ("thin.width", [0.5e-3, 1e-3, 2e-3, 3.99e-3, 4.5e-3])])
def test_a_sweep_says_what_single_solves_say(address, values):
    # 3.99 mm beside 4 mm is no step: the network has another shape there
    table = circuit().sweep({address: values}, harmonics=6)
    single = [circuit().solve({address: value}, harmonics=6).output_dbm(2) for value in values]
    np.testing.assert_allclose(table["output_dbm_2"], single, rtol=0, atol=1e-6)  # dB: 1e-9 uncancelled, and rounding


def test_networks_are_kept_and_framed_as_without_junctions():
    networks, description = Networks(), circuit().description
    for number, length in enumerate((20e-3, 21e-3, 22e-3, 23e-3)):
        varied = description.with_values({"tune.length": length})
        assert varied.joined.added is description.joined.added
        kept = prepare(varied, 4, networks=networks)
        assert (kept.network._frame is not None) == (number >= 2)
    assert prepare(varied, 4, networks=networks).network is kept.network


def test_other_widths_and_boards_reach_the_junctions():
    found = circuit().with_values({"tune.width": "1.5 mm", "match.width": 2.5e-3, "board.permittivity": 4.1})
    tee = next(junction for junction in found.junctions().added if junction.node == "m")
    assert tee.element.part == BoardTee(found.description.board, 2.5e-3, 1.5e-3)
    assert tee.element.part.board.permittivity == 4.1
    assert kinds(circuit().with_values({"thin.width": "4 mm"})) == {"m": "tee", "f": "step"}


def test_the_list_on_the_page_and_as_data():
    found = predict(circuit(), harmonics=4)
    page = " ".join(prediction_page(found).split())
    assert ("Junction effects: tee at m: tune 2 mm on match 3 mm; step at s: wide 4 mm to thin 1 mm; step at f: thin 1 "
            "mm to filter 2.1 mm.") in page
    assert "No junction effect at c (feed 500 um, wide 4 mm): two lines of unequal width meet at leads:" in page
    data = json.loads(json.dumps(as_json(found), allow_nan=False))
    assert data["junctions_automatic"] is True
    assert [(item["node"], item["kind"]) for item in data["junctions"]] == [("m", "tee"), ("s", "step"), ("f", "step")]
    assert data["junctions"][0]["parts"] == [{"part": "match", "terminal": "a", "width_m": 3e-3},
                                             {"part": "tune", "terminal": "branch", "width_m": 2e-3}]
    assert data["junctions"][0]["nodes"] == {"a": "m|match", "b": "m", "branch": "m|tune"}
    left, = data["junctions_left_out"]
    assert left["node"] == "c" and left["parts"] == [{"part": "feed", "width_m": 0.5e-3},
                                                     {"part": "wide", "width_m": 4e-3}]
    assert "'step' or 'tee'" in left["reason"]


def test_switched_off_the_page_says_so_and_without_strips_nothing(examples):
    found = predict(off(), harmonics=4)
    assert "Junction effects: none put in, the circuit file switches them off." in prediction_page(found)
    assert as_json(found)["junctions"] == [] and as_json(found)["junctions_automatic"] is False
    lumped = predict(hbsim.load(examples / "lumped_doubler.toml"), harmonics=4)
    assert "unction effect" not in prediction_page(lumped)
