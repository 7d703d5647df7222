"""Blocks whose data are prepared: fixtures removed, ports turned, a transistor's file; also as tables of circuit files.

What a block says in a network is held against the network of the bare parts, solved without it.
"""

import numpy as np
import pytest

from hbsim.describe.circuitfile import build
from hbsim.errors import Refusal
from hbsim.linear.block import TouchstoneBlock
from hbsim.linear.lines import BoardLine, Line
from hbsim.linear.lumped import Capacitor, Inductor, Resistor
from hbsim.linear.network import Element
from hbsim.linear.response import scattering
from hbsim.linear.touchstone import TouchstoneData, read_touchstone

GHZ = 1e9
FIFTY = np.array([50.0, 50.0])
GRID = np.linspace(0.2, 6, 30) * GHZ
ASKED = 2 * np.pi * GRID[3::5]  # at points of the file, so that nothing is interpolated
LEFT = Line(impedance=50.0, electrical_length=35.0, at=2 * GHZ, loss=0.2)
RIGHT = Line(impedance=70.0, length=0.012, permittivity=3.0)
BARE = [Element("L", Inductor(inductance=2e-9), ("in", "m")),
        Element("C", Capacitor(capacitance=1e-12), ("m", "ground")),
        Element("R", Resistor(resistance=8.0), ("m", "out"))]
ENDS = [("in", "ground"), ("out", "ground")]


def measured(elements, ports=ENDS, reference=FIFTY, frequency=GRID):
    return TouchstoneData("invented.s2p", frequency, scattering(elements, ports, reference, 2 * np.pi * frequency),
                          reference)


WITH_LINES = measured([*BARE, Element("left", LEFT, ("p", "in")), Element("right", RIGHT, ("q", "out"))],
                      [("p", "ground"), ("q", "ground")], np.array([50.0, 75.0]))


def test_a_block_without_its_fixtures_is_the_bare_part_in_a_network():
    block = TouchstoneBlock(WITH_LINES, fixture={1: LEFT, 2: RIGHT})
    around = [Element("stub", Resistor(resistance=120.0), ("in", "ground")),
              Element("feed", Inductor(inductance=1e-9), ("out", "end"))]
    ends = [("in", "ground"), ("end", "ground")]
    found = scattering([*around, Element("block", block, ("in", "out"))], ends, FIFTY, ASKED)
    np.testing.assert_allclose(found, scattering([*around, *BARE], ends, FIFTY, ASKED), atol=1e-11)


def test_a_file_of_the_fixture_does_the_same_between_its_points():
    adapter = measured([Element("left", LEFT, ("in", "out"))], frequency=np.linspace(0.1, 7, 200) * GHZ)
    block = TouchstoneBlock(WITH_LINES, fixture={1: TouchstoneBlock(adapter), 2: RIGHT})
    exact = TouchstoneBlock(WITH_LINES, fixture={1: LEFT, 2: RIGHT})
    # its phase turns 0.6 deg a step: the spline errs by (0.011)^4 / 384 in the middle, more in its end intervals
    np.testing.assert_allclose(block.data.s, exact.data.s, atol=1e-7)


def test_ports_of_the_file_in_another_order():
    # fixtures keep the file's numbers, and so do the terminals
    turned = TouchstoneBlock(WITH_LINES, ports=[2, 1], fixture={1: LEFT, 2: RIGHT})
    assert turned.terminal_names() == ("2", "1") and turned.data.reference.tolist() == [75.0, 50.0]
    found = scattering([Element("block", turned, ("out", "in"))], ENDS, FIFTY, ASKED)
    np.testing.assert_allclose(found, scattering(BARE, ENDS, FIFTY, ASKED), atol=1e-11)


def test_an_untouched_file_is_taken_as_it_is_and_blocks_can_be_compared():
    assert TouchstoneBlock(WITH_LINES).data is WITH_LINES
    one, other = (TouchstoneBlock(WITH_LINES, fixture={2: RIGHT, 1: LEFT}) for _ in range(2))
    assert one == other and hash(one) == hash(other) and one != TouchstoneBlock(WITH_LINES, ports=(2, 1))


def test_noise_of_the_file_is_no_matter_for_a_block():
    noisy = TouchstoneData("noisy.s2p", GRID, WITH_LINES.s, FIFTY, noise=np.array([[GHZ, 1.0, 0.1, 0.0, 5.0]]))
    assert TouchstoneBlock(noisy, ports=(2, 1)).warnings(GHZ) == []


# -- what it says ---------------------------------------------------------------------------------------------------


def test_warnings_name_what_was_removed_and_what_a_wrong_fixture_does():
    said = TouchstoneBlock(WITH_LINES, fixture={1: LEFT, 2: RIGHT}).warnings(6 * GHZ)
    assert said == ["invented.s2p: port 1: a line removed from the data",
                    "invented.s2p: port 2: a line removed from the data"]
    lossier = Line(impedance=50.0, electrical_length=35.0, at=2 * GHZ, loss=3.0)
    said = TouchstoneBlock(WITH_LINES, fixture={1: lossier}).warnings(6 * GHZ)
    assert any("gives out more power" in text and "a fixture that is not in the data as told" in text for text in said)


def test_a_part_that_is_not_the_same_both_ways_is_named_with_the_worst_frequency():
    s = np.zeros((3, 2, 2), complex)
    s[:, 1, 0], s[:, 0, 1] = 0.9, [0.89, 0.5, 0.1]
    block = TouchstoneBlock(TouchstoneData("isolator.s2p", np.array([1, 2, 3]) * GHZ, s, FIFTY))
    assert any("S21 and S12 differ by 0.8 at 3 GHz" in text for text in block.warnings(3 * GHZ))
    assert any("S21 and S12 differ by 0.4 at 2 GHz" in text for text in block.warnings(2.5 * GHZ))
    assert block.warnings(1.5 * GHZ) == []  # 0.1 dB is within what analysers differ by
    turned = TouchstoneBlock(block.file, ports=(2, 1))
    assert any("S21 and S12 differ by 0.8" in text for text in turned.warnings(3 * GHZ))


# -- a transistor ---------------------------------------------------------------------------------------------------

# invented: a small transistor at one bias, 0.5 to 3 GHz
TRANSISTOR = """! invented, of no real transistor
# GHz S MA R 50
0.5  0.72  -95   14.2 119   0.040 48   0.58 -46
1.0  0.63 -138    8.6  96   0.052 42   0.41 -62
2.0  0.60 -172    4.5  73   0.066 45   0.32 -81
3.0  0.62  168    3.0  56   0.083 49   0.31 -98
"""


@pytest.fixture
def transistor(tmp_path):
    path = tmp_path / "transistor.s2p"
    path.write_text(TRANSISTOR, encoding="ascii")
    return path


def test_a_transistor_file_gives_its_gain_between_50_ohm(transistor):
    block = TouchstoneBlock(read_touchstone(transistor), active=True, at_dc="open")
    frequency = np.array([0.5, 1.0, 2.0, 3.0]) * GHZ
    found = scattering([Element("T", block, ("b", "c"))], [("b", "ground"), ("c", "ground")], FIFTY,
                       2 * np.pi * frequency)
    expected = np.array([14.2, 8.6, 4.5, 3.0]) * np.exp(1j * np.radians([119, 96, 73, 56]))
    np.testing.assert_allclose(found[:, 1, 0], expected, rtol=1e-10)
    np.testing.assert_allclose(found[:, 0, 1], np.array([0.04, 0.052, 0.066, 0.083])
                               * np.exp(1j * np.radians([48, 42, 45, 49])), rtol=1e-10)


def test_an_active_part_is_said_to_be_one_of_small_signals(transistor):
    file = read_touchstone(transistor)
    said = TouchstoneBlock(file, active=True).warnings(3 * GHZ)
    assert len([text for text in said if "neither compresses nor makes harmonics" in text]) == 1
    assert not any("more power" in text or "both ways" in text for text in said)
    said = TouchstoneBlock(file).warnings(3 * GHZ)
    assert any("more power" in text and "say active = true" in text for text in said)


# -- in a circuit file ----------------------------------------------------------------------------------------------


def circuit(block, **more):
    return {"drive": {"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
            "port": {"input": {"node": "in"}, "output": {"node": "out"}},
            "part": {"T": {"kind": "touchstone block", "nodes": ["in", "out"], "file": "transistor.s2p", **block}},
            **more}


def test_fixtures_and_ports_as_tables(transistor):
    adapter = transistor.with_name("adapter.s2p")
    adapter.write_text("# GHz S RI R 50\n0.4 0 0 1 0 1 0 0 0\n3.5 0 0 1 0 1 0 0 0\n", encoding="ascii")
    found = build(circuit({"ports": [2, 1], "active": True, "at_dc": "open", "above": "hold", "fixture": {
        "1": {"kind": "line", "impedance": "50 ohm", "length": "6 mm"},
        "2": {"kind": "touchstone block", "file": "adapter.s2p", "ports": [2, 1]}}}), folder=transistor.parent)
    part = found.parts["T"].part
    assert part.ports == (2, 1) and part.active and found.parts["T"].terminals == ("2", "1")
    assert part.fixture[0] == (1, Line(impedance=50.0, length=6e-3)) and part.fixture[1][1].ports == (2, 1)
    # a matched line of 6 mm turns S21 by 360 deg f l / c, the through by nothing; port 1 is now the second
    turn = np.exp(2j * np.pi * part.data.frequency * 6e-3 / 299792458.0)
    np.testing.assert_allclose(part.data.s[:, 0, 1], part.file.s[:, 1, 0] * turn, rtol=1e-12)
    np.testing.assert_allclose(part.data.s[:, 1, 1], part.file.s[:, 0, 0] * turn**2, rtol=1e-12)


def test_a_fixture_on_the_board_follows_the_board(transistor):
    found = build(circuit({"fixture": {"2": {"kind": "line", "width": "3 mm", "length": "10 mm"}}},
                          board={"use": "fr4-1.6mm"}), folder=transistor.parent)
    before = found.parts["T"].part
    assert isinstance(before.fixture[0][1], BoardLine)
    after = found.with_values({"board.permittivity": "3"}).parts["T"].part
    again = TouchstoneBlock(after.file, fixture={2: BoardLine(found.with_values({"board.permittivity": "3"}).board,
                                                              3e-3, 10e-3)})
    assert after == again and (after.data.s == again.data.s).all()
    assert np.abs(after.data.s - before.data.s).max() > 0.1


def test_a_length_of_a_fixture_can_be_set_and_varied(transistor):
    found = build(circuit({"at_dc": "open", "above": "hold", "fixture": {"1": LINE, "2": LINE}}),
                  folder=transistor.parent)
    assert {"T.fixture.1.length", "T.fixture.2.impedance"} <= set(found.addresses())
    assert found.look_up("part.T.fixture.1.length")[1] == 6e-3
    changed = found.with_values({"T.fixture.2.length": "9 mm", "T.fixture.1.loss_tangent": 0.01})
    part = changed.parts["T"].part
    again = TouchstoneBlock(part.file, at_dc="open", above="hold", fixture={
        1: Line(impedance=50.0, length=6e-3, loss_tangent=0.01), 2: Line(impedance=50.0, length=9e-3)})
    assert part == again and (part.data.s == again.data.s).all()
    assert found.parts["T"].part.fixture[1][1].length == 6e-3
    with pytest.raises(Refusal, match="did you mean 'T.fixture.1.length'"):
        found.with_values({"T.fixture.1.lenght": "9 mm"})
    with pytest.raises(Refusal, match="T.fixture.1.length: -9 mm is not possible here"):
        found.with_values({"T.fixture.1.length": "-9 mm"})
    with pytest.raises(Refusal, match="there is no such quantity"):
        found.with_values({"T.fixture.3.length": "9 mm"})
    # 10 m of it at 3 GHz: (2 pi f / c) l tan(delta) / 2 is 314 Np, through which nothing comes
    with pytest.raises(Refusal, match="T.fixture.2: it lets .* dB through at 3 GHz"):
        found.with_values({"T.fixture.2.loss_tangent": 1.0, "T.fixture.2.length": "10 m"})


LINE = {"kind": "line", "impedance": "50 ohm", "length": "6 mm"}


@pytest.mark.parametrize("block, place, words", [
    ({"ports": [1, 1]}, "part.T.ports", ["no order of 2 ports", "[2, 1]"]),
    ({"ports": "2, 1"}, "part.T.ports", ["not a list of whole numbers", "ports = [2, 1]"]),
    ({"ports": [2.0, 1.0]}, "part.T.ports", ["not a list of whole numbers"]),
    ({"ports": [True, 2]}, "part.T.ports", ["not a list of whole numbers"]),
    ({"active": "yes"}, "part.T.active", ["active = true"]),
    ({"fixture": "line"}, "part.T.fixture", ["[part.T.fixture.1]"]),
    ({"fixture": {"in": LINE}}, "part.T.fixture", ["by the number of its port", "[part.T.fixture.1]"]),
    ({"fixture": {"01": LINE}}, "part.T.fixture", ["by the number of its port"]),
    ({"fixture": {"1": "line"}}, "part.T.fixture", ["[part.T.fixture.1]"]),
    ({"fixture": {"3": LINE}}, "part.T.fixture.3", ["no port 3", "'transistor.s2p' has 2 ports"]),
    ({"fixture": {"1": {"impedance": "50 ohm"}}}, "part.T.fixture.1", ["'kind' is missing"]),
    ({"fixture": {"1": {"kind": "lin"}}}, "part.T.fixture.1.kind", ["'lin'", "'line'"]),
    ({"fixture": {"1": {**LINE, "length": "6"}}}, "part.T.fixture.1.length", ["has no unit", "mm"]),
    ({"fixture": {"1": {**LINE, "length": "-6 mm"}}}, "part.T.fixture.1.length", ["must be at least 0 m"]),
    ({"fixture": {"1": {**LINE, "lenght": "6 mm"}}}, "part.T.fixture.1", ["'lenght'", "'length'"]),
    ({"fixture": {"1": {**LINE, "nodes": ["a", "b"]}}}, "part.T.fixture.1", ["unknown key 'nodes'"]),
    ({"fixture": {"1": {"kind": "line", "width": "3 mm", "length": "1 mm"}}}, "part.T.fixture.1",
     ["has none", "[board]"]),
    ({"fixture": {"2": {"kind": "touchstone block", "file": "gone.s2p"}}}, "part.T.fixture.2.file", ["gone.s2p"]),
    ({"fixture": {"2": {"kind": "touchstone block", "file": "narrow.s2p"}}}, "part.T.fixture.2",
     ["'narrow.s2p' holds data from 1 GHz to 2 GHz", "at 500 MHz below that", "3 GHz above that"]),
    ({"fixture": {"2": {"kind": "shorted stub", "impedance": "50 ohm", "length": "6 mm"}}}, "part.T.fixture.2",
     ["has 1 terminals here"]),
    ({"fixture": {"2": {"kind": "touchstone block", "file": "deaf.s2p"}}}, "part.T.fixture.2",
     ["lets -100 dB through at 3 GHz"]),
])
def test_what_is_refused_names_its_key(transistor, block, place, words):
    transistor.with_name("narrow.s2p").write_text("# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n2 0 0 1 0 1 0 0 0\n")
    transistor.with_name("deaf.s2p").write_text("# GHz S RI R 50\n0.5 0 0 1 0 1 0 0 0\n3 0 0 1e-5 0 1e-5 0 0 0\n")
    with pytest.raises(Refusal) as caught:
        build(circuit(block), file="circuit.toml", folder=transistor.parent)
    assert caught.value.place == place and caught.value.file == "circuit.toml", str(caught.value)
    assert all(word in str(caught.value) for word in words), str(caught.value)
