"""Junctions of strips that are put in by themselves: what meets where decides, and nothing else is touched.

The rules are the project's own (head of linear/junctions.py); what they give is held against circuits with the same
parts written out, and against circuits without any.
"""

import numpy as np
import pytest

from hbsim.linear.board import Board
from hbsim.linear.coupled_lines import BoardCoupledLines, BoardFilterSection
from hbsim.linear.discontinuities import BoardCross, BoardStep, BoardTee
from hbsim.linear.junctions import ASKED, Arm, join_strips
from hbsim.linear.lines import BoardLine, BoardOpenStub, BoardShortedStub, Line
from hbsim.linear.lumped import Resistor
from hbsim.linear.network import Element
from hbsim.linear.radial_stub import BoardRadialStub
from hbsim.linear.response import scattering

BOARD = Board(height=1.6e-3, permittivity=4.4, loss_tangent=0.02, thickness=35e-6, conductivity=5.8e7)
THINNER = Board(height=0.8e-3, permittivity=4.4, loss_tangent=0.02, thickness=35e-6, conductivity=5.8e7)
OMEGA = 2e9 * np.pi * np.array([0.3, 1.0, 2.0, 3.7])


def line(name, *nodes, width=3e-3, length=10e-3, board=BOARD):
    return Element(name, BoardLine(board, width, length), nodes)


def stub(name, node, width=2e-3, length=12e-3, board=BOARD):
    return Element(name, BoardOpenStub(board, width, length), (node,))


def section(name, *nodes, width=2.1e-3):
    return Element(name, BoardFilterSection(BOARD, width, 0.3e-3, 17e-3), nodes)


def resistor(name, *nodes):
    return Element(name, Resistor(50.0), nodes)


def named(elements):
    return {element.name: element for element in elements}


def only(elements, leads=(), without=()):
    """The one junction at node m, and the elements by name."""
    joined = join_strips(elements, leads, without)
    assert not joined.left_out
    junction, = joined.added
    assert junction.node == "m" and junction.element == joined.elements[-1]
    return junction, named(joined.elements)


def refused(elements, leads=(), without=()):
    """Why nothing is put in at m; the elements are then the given ones."""
    joined = join_strips(elements, leads, without)
    assert joined.elements == tuple(elements) and not joined.added
    left, = joined.left_out
    assert left.node == "m"
    return left.reason


def nothing(elements, leads=()):
    joined = join_strips(elements, leads)
    return joined.elements == tuple(elements) and not joined.added and not joined.left_out


# -- two strips in a row

def test_lines_of_different_width_get_their_step():
    junction, elements = only([line("wide", "in", "m"), line("thin", "m", "out", width=1e-3)])
    assert junction.kind == "step" and junction.element.name == "junction.m"
    assert junction.element.part == BoardStep(BOARD, 3e-3, 1e-3) and junction.element.nodes == ("m", "m|thin")
    assert elements["wide"].nodes == ("in", "m") and elements["thin"].nodes == ("m|thin", "out")
    assert junction.arms == {"a": Arm("wide", 3e-3), "b": Arm("thin", 1e-3)}


def test_lines_within_1_per_cent_are_one_line():
    for width in (3e-3, 2.98e-3, 3.02e-3):
        assert nothing([line("first", "in", "m"), line("second", "m", "out", width=width)])
    assert only([line("first", "in", "m"), line("second", "m", "out", width=2.9e-3)])


def test_a_stub_at_the_end_of_a_line_goes_on_in_a_row():
    junction, _ = only([line("first", "in", "m"), stub("end", "m")])
    assert junction.kind == "step" and junction.element.part == BoardStep(BOARD, 3e-3, 2e-3)
    assert nothing([line("first", "in", "m"), stub("end", "m", width=3e-3)])


def test_filter_sections_and_coupled_lines_end_in_lines():
    junction, _ = only([line("first", "in", "m"), section("filter", "m", "out")])
    assert junction.element.part == BoardStep(BOARD, 3e-3, 2.1e-3)
    pair = Element("pair", BoardCoupledLines(BOARD, 1e-3, 0.2e-3, 20e-3), ("in", "x", "y", "m"))
    junction, elements = only([pair, line("after", "m", "out")])
    assert junction.element.part == BoardStep(BOARD, 1e-3, 3e-3) and elements["pair"].nodes == pair.nodes
    junction, elements = only([line("before", "out", "m"), pair])
    assert elements["pair"].nodes == ("in", "x", "y", "m|pair")


def test_leads_at_a_change_of_width_leave_it_open_where_they_are():
    lines = [line("wide", "in", "m"), line("thin", "m", "out", width=1e-3)]
    for found in (refused([*lines, resistor("R", "m", "ground")]), refused(lines, leads=["m"])):
        assert "whether the width steps" in found and "'step' or 'tee'" in found
    assert nothing([line("first", "in", "m"), line("second", "m", "out"), resistor("R", "m", "ground")])


# -- branches

def test_a_stub_on_a_line_gets_its_tee():
    junction, elements = only([line("first", "in", "m"), stub("branch", "m"),
                               line("second", "m", "out", width=3.01e-3)])
    assert junction.element.part == BoardTee(BOARD, 3e-3, 2e-3)
    assert junction.element.nodes == ("m", "m|second", "m|branch")
    assert junction.arms == {"a": Arm("first", 3e-3), "b": Arm("second", 3.01e-3), "branch": Arm("branch", 2e-3)}
    assert elements["branch"].nodes == ("m|branch",) and elements["second"].nodes == ("m|second", "out")


def test_the_part_named_first_keeps_the_node():
    junction, elements = only([stub("branch", "m"), line("first", "in", "m"), line("second", "m", "out")])
    assert junction.element.nodes == ("m|first", "m|second", "m") and elements["branch"].nodes == ("m",)


@pytest.mark.parametrize("lead", [resistor("R", "m", "ground"), Element("ideal", Line(50.0, 30.0, 1e9), ("m", "x")),
                                  None])
def test_a_line_that_ends_at_leads_beside_a_stub_gets_a_tee_with_the_leads_on_the_other_side(lead):
    parts = [stub("branch", "m"), line("first", "in", "m")]
    junction, elements = only(parts + [lead], []) if lead else only(parts, ["m", "m"])
    assert junction.element.part == BoardTee(BOARD, 3e-3, 2e-3)
    assert junction.element.nodes == ("m|first", "m", "m|branch") and set(junction.arms) == {"a", "branch"}
    assert elements["first"].nodes == ("in", "m|first")
    assert lead is None or elements[lead.name] == lead


def test_shorted_stubs_are_stubs():
    short = Element("short", BoardShortedStub(BOARD, 1e-3, 9e-3), ("m",))
    junction, _ = only([line("first", "in", "m"), short, line("second", "m", "out")])
    assert junction.element.part == BoardTee(BOARD, 3e-3, 1e-3)


@pytest.mark.parametrize("told", [{"inner_width": 1e-3}, {"inner_radius": 1e-3}])
def test_a_radial_stub_is_one_of_the_width_of_its_narrow_end(told):
    # the chord of 60 degrees is as long as the radius
    sector = Element("sector", BoardRadialStub(BOARD, 9e-3, 60.0, **told), ("m",))
    junction, _ = only([line("first", "in", "m"), sector, line("second", "m", "out")])
    assert junction.element.part.branch_width == pytest.approx(1e-3, rel=1e-12)


def test_two_stubs_on_a_line_get_their_cross():
    stubs = [stub("up", "m"), stub("down", "m", width=1e-3)]
    junction, _ = only([line("first", "in", "m"), line("second", "m", "out"), *stubs])
    assert junction.element.part == BoardCross(BOARD, 3e-3, 2e-3, 1e-3)
    assert junction.element.nodes == ("m", "m|second", "m|up", "m|down")
    junction, _ = only([line("first", "in", "m"), *stubs], ["m"])
    assert junction.element.part == BoardCross(BOARD, 3e-3, 2e-3, 1e-3)
    assert junction.element.nodes == ("m|first", "m", "m|up", "m|down")


@pytest.mark.parametrize("parts, leads, said", [
    ([line("a", "in", "m"), line("b", "m", "out", width=1e-3), stub("s", "m")], 0, "'tee' and one of kind 'step'"),
    ([line("a", "in", "m"), line("b", "m", "out", width=1e-3), stub("s", "m"), stub("t", "m")], 0,
     "'cross' and one of kind 'step'"),
    ([line("a", "in", "m"), line("b", "m", "out"), stub("s", "m")], 1, "on which side of the stub"),
    ([line("a", "in", "m"), line("b", "m", "out"), line("c", "m", "x")], 0, "which of the three lines"),
    ([line("a", "in", "m"), stub("s", "m"), stub("t", "m")], 0, "ends in two stubs"),
    ([stub("s", "m"), stub("t", "m")], 1, "on no line"),
    ([line("a", "in", "m"), line("b", "m", "out"), stub("s", "m"), stub("t", "m"), stub("u", "m")], 0, "5 strips meet"),
    ([line("a", "in", "m"), line("b", "m", "out"), line("c", "m", "x"), stub("s", "m")], 0, "4 strips meet"),
    ([line("a", "in", "m"), line("b", "m", "out", width=1e-3, board=THINNER)], 0, "different boards"),
])
def test_what_meets_in_a_way_that_is_not_known_is_left_out_with_the_mend(parts, leads, said):
    reason = refused(parts, ["m"] * leads)
    assert said in reason and "write" in reason


def test_two_ends_of_one_part_at_a_node_are_left_alone():
    meander = Element("pair", BoardCoupledLines(BOARD, 1e-3, 0.2e-3, 20e-3), ("in", "m", "out", "m"))
    assert "two ends of pair" in refused([meander])
    assert "two ends of ring" in refused([line("ring", "m", "m"), line("other", "m", "out", width=1e-3)])


def test_a_node_of_a_written_junction_is_left_to_it():
    tee = Element("T", BoardTee(BOARD, 3e-3, 2e-3), ("m", "n", "k"))
    assert nothing([line("first", "in", "m"), line("second", "m", "out", width=1e-3), stub("s", "k"), stub("t", "k"),
                    line("third", "n", "x"), tee])


def test_ground_and_parts_that_are_no_strips_are_left_alone():
    assert nothing([line("first", "in", "ground"), line("second", "ground", "out", width=1e-3)])
    assert nothing([Element("ideal", Line(50.0, 30.0, 1e9), ("in", "m")), line("second", "m", "out")])
    assert nothing([resistor("R", "in", "m"), resistor("S", "m", "out"), stub("s", "m")])


def test_a_node_may_be_excepted():
    parts = [line("wide", "in", "m"), line("thin", "m", "out", width=1e-3)]
    assert refused(parts, without=["m"]) == ASKED
    assert only(parts, without=["in"])
    assert nothing([line("first", "in", "m"), line("second", "m", "out")])  # nothing would be there in any case


# -- the circuit that comes out

CHAIN = [line("first", "in", "m"), stub("branch", "m"), line("second", "m", "k", length=17e-3),
         line("thin", "k", "f", width=1e-3), section("filter", "f", "q"), line("last", "q", "out"),
         stub("up", "q", width=1e-3), Element("down", BoardShortedStub(BOARD, 2e-3, 21e-3), ("q",))]
PORTS = [("in", "ground"), ("out", "ground")]


def test_the_same_as_with_the_parts_written_out():
    joined = join_strips([*CHAIN[:5], line("last", "q", "out", width=2.1e-3), *CHAIN[6:]], ["in", "out"])
    assert [junction.kind for junction in joined.added] == ["tee", "step", "step", "cross"] and not joined.left_out
    written = [line("first", "in", "1"), line("second", "2", "4", length=17e-3), stub("branch", "3"),
               line("thin", "5", "6", width=1e-3), section("filter", "7", "8"), line("last", "9", "out", width=2.1e-3),
               stub("up", "10", width=1e-3), Element("down", BoardShortedStub(BOARD, 2e-3, 21e-3), ("11",)),
               Element("T", BoardTee(BOARD, 3e-3, 2e-3), ("1", "2", "3")),
               Element("S1", BoardStep(BOARD, 3e-3, 1e-3), ("4", "5")),
               Element("S2", BoardStep(BOARD, 1e-3, 2.1e-3), ("6", "7")),
               Element("X", BoardCross(BOARD, 2.1e-3, 1e-3, 2e-3), ("8", "9", "10", "11"))]
    by_itself, by_hand = (scattering(elements, PORTS, np.array([50.0, 50.0]), OMEGA)
                          for elements in (joined.elements, written))
    np.testing.assert_allclose(by_itself, by_hand, rtol=0, atol=1e-12)  # rounding: another order of elimination


def test_lengths_change_no_junction():
    longer = [Element(e.name, type(e.part)(e.part.board, e.part.width, e.part.length + 1e-3), e.nodes)
              if isinstance(e.part, BoardLine) else e for e in CHAIN]
    first, second = join_strips(CHAIN, ["in", "out"]), join_strips(longer, ["in", "out"])
    assert first.added is second.added and first.left_out is second.left_out  # so that networks are kept
    assert second.elements[0].part.length == 11e-3
    wider = [line("first", "in", "m", width=4e-3), *CHAIN[1:]]
    assert join_strips(wider, ["in", "out"]).added != first.added


# -- junctions that are written out

def written(second_width, *others):
    return [line("wide", "in", "m"), Element("own", BoardStep(BOARD, 3e-3, second_width), ("m", "n")), *others]


def test_a_junction_that_is_written_out_is_left_alone():
    assert nothing(written(1e-3, line("thin", "n", "out", width=1e-3)))
    assert nothing(written(1e-3, resistor("r", "n", "out")))


def test_a_width_that_contradicts_the_strip_is_told():
    joined = join_strips(written(5e-3, line("wider", "n", "out", width=6e-3)))
    left, = joined.left_out
    assert (left.node, left.arms) == ("n", (Arm("own", 5e-3), Arm("wider", 6e-3)))
    assert "says another width" in left.reason and not joined.added
