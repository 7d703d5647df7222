"""Parts written as text of a circuit file: what is read back is the same part."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hbsim.describe.circuitfile import build
from hbsim.describe.fragment import exact, fragment
from hbsim.errors import Refusal
from hbsim.linear.board import Board, Conductor
from hbsim.linear.coupled_lines import BoardCoupledLines, BoardFilterSection, CoupledLines, FilterSection
from hbsim.linear.discontinuities import BoardCross, BoardStep, BoardTee
from hbsim.linear.lines import BoardLine, BoardOpenStub, BoardShortedStub, Line, OpenStub, ShortedStub
from hbsim.linear.lumped import BoardVia, Capacitor, Inductor, Resistor, Via
from hbsim.linear.network import Element
from hbsim.quantities import parse, units

BOARD = Board(1.6e-3, 4.4, 0.02, 35e-6, 58e6)
TAPE = Conductor(35e-6, 30e6, 1e-6)
SIZE = st.floats(1e-5, 0.1)


def read_back(elements):
    """The elements of a circuit that has nothing but them and resistors to its two ports at every node."""
    tree = tomllib.loads(fragment(elements))
    nodes = list(dict.fromkeys(node for e in elements for node in e.nodes if node != "ground"))
    for number, node in enumerate(nodes):
        for port in ("in", "out"):
            tree["part"][f"hold_{port}_{number}"] = {"kind": "resistor", "nodes": [node, port], "resistance": "50 ohm"}
    board = {key: exact(getattr(BOARD, key), unit) for key, unit in (
        ("height", "m"), ("permittivity", "1"), ("loss_tangent", "1"), ("thickness", "m"), ("conductivity", "S/m"))}
    found = build({"drive": {"port": "input", "frequency": "1 GHz", "power": "0 dBm"}, "board": board,
                   "port": {"input": {"node": "in"}, "output": {"node": "out"}}, **tree})
    return [Element(e.name, found.parts[e.name].part, found.parts[e.name].nodes) for e in elements]


@pytest.mark.parametrize("part", [
    Resistor(4.7e3), Capacitor(4.7e-12, quality_factor=100.0, at=1.152e9, series_inductance=0.5e-9),
    Inductor(3.3e-9, series_resistance=0.1, self_capacitance=0.05e-12), Via(0.3e-9), BoardVia(BOARD, 0.8e-3),
    Line(50.0, electrical_length=33.3, at=1e9, loss=0.1), Line(50.0, length=12.3e-3, permittivity=3.3),
    OpenStub(70.7, 45.0, 2e9), ShortedStub(30.0, 60.0, 2e9, loss_tangent=0.01), BoardLine(BOARD, 3.01e-3, 14.23e-3),
    BoardLine(BOARD, 3.01e-3, 14.23e-3, TAPE), BoardOpenStub(BOARD, 1e-3, 0.0, end_effect=False),
    BoardShortedStub(BOARD, 1e-3, 2e-3), CoupledLines(70.6, 39.24, 90.0, 2e9, odd_electrical_length=85.0),
    BoardCoupledLines(BOARD, 1e-3, 0.15e-3, 17e-3), FilterSection(70.6, 39.24, 90.0, 2e9),
    BoardFilterSection(BOARD, 2.38e-3, 0.47e-3, 17.44e-3), BoardStep(BOARD, 3e-3, 1e-3),
    BoardTee(BOARD, 3e-3, 0.66e-3), BoardCross(BOARD, 3e-3, 0.66e-3, 1e-3)], ids=lambda part: type(part).__name__)
def test_every_kind_of_part_is_read_back_the_same(part):
    element = Element("x1", part, tuple("abcd")[:len(part.terminal_names())])
    assert read_back([element]) == [element]


@given(st.floats(1e-12, 1e12), st.sampled_from(units()))
def test_a_quantity_reads_back_to_the_last_digit(value, unit):
    assert parse(exact(value, unit), unit) == value


@settings(max_examples=30)
@given(st.lists(st.tuples(SIZE, SIZE, SIZE), min_size=1, max_size=4))
def test_sections_of_any_size_in_a_row_are_read_back_the_same(sizes):
    row = [Element(f"filter_{k}", BoardFilterSection(BOARD, *size), (f"f_{k}", f"f_{k + 1}"))
           for k, size in enumerate(sizes)]
    assert read_back(row) == row


def test_gaps_are_written_in_mm_and_remarks_stand_above_their_part():
    section = Element("a", BoardFilterSection(BOARD, 2e-3, 1.5e-4, 17e-3), ("p", "q"))
    text = fragment([section], {"a": "outside\ninside"})
    assert text.startswith("# outside\n# inside\n[part.a]\n") and 'gap = "0.15 mm"' in text


def test_what_a_circuit_file_could_not_hold_is_refused():
    line = Line(50.0, 90.0, 1e9)
    with pytest.raises(Refusal, match="not a name"):
        fragment([Element("a b", line, ("p", "q"))])
    with pytest.raises(Refusal, match="write 'ground'"):
        fragment([Element("a", line, ("p", "gnd"))])
    with pytest.raises(Refusal, match="rename one"):
        fragment([Element("a", line, ("p", "q")), Element("a", line, ("q", "r"))])
    assert fragment([]) == ""
