"""Circuit files: what a good one becomes, and how a bad one is refused: file, key path, what is wrong, the mend."""

import copy
import datetime
import math
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.describe.circuitfile import build, load
from hbsim.devices.bjt import BJT
from hbsim.devices.diode import Diode
from hbsim.errors import Refusal

GOOD = """
title = "a doubler, invented for this test"
about = "not meant to work well"

[board]
use = "fr4-1.6mm"
permittivity = "4.3"

[drive]
port = "input"
frequency = "1.152 GHz"
power = "0 dBm"

[port.input]
node = "in"

[port.output]
node = "out"
impedance = "75 ohm"

[supply.VCC]
node = "vcc"
voltage = "5 V"
resistance = "0.5 ohm"

[part.stub]
kind = "open stub"
nodes = ["in"]
width = "3 mm"
length = "14.2 mm"

[part.feed]
kind = "line"
nodes = ["in", "b"]
impedance = "50 ohm"
electrical_length = "30 deg"
at = "1.152 GHz"

[part.R1]
kind = "resistor"
nodes = ["vcc", "b"]
resistance = "47 kohm"

[part.R2]
kind = "resistor"
nodes = { b = "out", a = "vcc" }
resistance = "100 ohm"

[part.Q1]
kind = "bjt"
use = "npn-25ghz"
nodes = { base = "b", collector = "out", emitter = "ground" }
BF = "120"
"""


def tree(**changes):
    """The good circuit with some values changed: part__R1__resistance="1 ohm"; None takes a key out."""
    found = copy.deepcopy(tomllib.loads(GOOD))
    for path, value in changes.items():
        *tables, key = path.split("__")
        at = found
        for name in tables:
            at = at.setdefault(name, {})
        if value is None:
            del at[key]
        else:
            at[key] = value
    return found


def refused(found, **keywords):
    with pytest.raises(Refusal) as caught:
        build(found, file="bad.toml", **keywords)
    return str(caught.value)


def test_a_good_file(tmp_path):
    path = tmp_path / "good.toml"
    path.write_text(GOOD, encoding="utf-8")
    circuit = load(path)
    assert circuit.file == str(path) and circuit.title == "a doubler, invented for this test"
    assert circuit.board.permittivity == 4.3 and circuit.board.height == 1.6e-3
    assert (circuit.drive.port, circuit.drive.frequency, circuit.drive.power_dbm) == ("input", 1.152e9, 0.0)
    assert circuit.ports["input"].impedance == 50.0 and circuit.ports["output"].impedance == 75.0
    assert (circuit.supplies["VCC"].voltage, circuit.supplies["VCC"].resistance) == (5.0, 0.5)
    assert circuit.parts["stub"].part.board is circuit.board and circuit.parts["stub"].part.length == 0.0142
    assert circuit.parts["R2"].nodes == ("vcc", "out")  # in the order of the terminals, not of the file
    q1 = circuit.devices["Q1"]
    assert isinstance(q1.part, BJT) and q1.part.BF == 120.0
    assert q1.nodes == ("b", "out", "ground", "ground")  # the substrate is left out, hence at ground
    assert (circuit.wanted_port, circuit.wanted_harmonic) == ("output", 2)
    assert set(circuit.parts) == {"stub", "feed", "R1", "R2"} and circuit.notes == ()


def test_a_byte_order_mark_does_no_harm(tmp_path):
    path = tmp_path / "mark.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load(path).title == "a doubler, invented for this test"


def test_device_nodes_as_a_list_and_parameters_inline():
    found = tree(part__D1={"kind": "diode", "nodes": ["out", "ground"], "IS": "1e-14 A", "N": 1.05},
                 part__Q1__nodes=["b", "out", "ground"])
    circuit = build(found)
    assert isinstance(circuit.devices["D1"].part, Diode) and circuit.devices["D1"].part.N == 1.05
    assert circuit.devices["Q1"].nodes == ("b", "out", "ground", "ground")
    assert circuit.file == ""


def test_conductor_by_name_and_by_values():
    named = build(tree(part__stub__conductor="copper-tape")).parts["stub"].part
    assert named.conductor.conductivity == 30e6
    changed = build(tree(part__stub__conductor={"use": "copper-tape", "roughness": "3 um"})).parts["stub"].part
    assert (changed.conductor.conductivity, changed.conductor.roughness) == (30e6, 3e-6)


def test_board_with_all_its_values_inline():
    values = {"height": "0.8 mm", "permittivity": 3.5, "loss_tangent": "0.2 %", "thickness": "17 um",
              "conductivity": "58 MS/m", "roughness": "0 um"}
    assert build(tree(board=values)).board.loss_tangent == 0.002


def test_zero_for_infinite_is_noted():
    circuit = build(tree(part__Q1__VAF="0 V", part__Q1__VAR="infinite"))
    assert circuit.devices["Q1"].part.VAF == circuit.devices["Q1"].part.VAR == float("inf")
    assert circuit.notes == ("part.Q1.VAF: 0 is read as infinite",)


def test_a_frequency_far_below_radio_is_noted_when_read():
    assert "0.144 Hz is unusually low" in build(tree(drive__frequency="144 mHz")).notes[0]


MODEL = """
title = "a diode, invented for this test"
kind = "diode"
[parameters]
IS = "2e-14 A"
"""


def test_model_file_beside_the_circuit_file(tmp_path):
    (tmp_path / "mine.toml").write_text(MODEL)
    found = tree(part__D1={"kind": "diode", "use": "mine.toml", "nodes": ["out", "ground"], "N": "1.1"})
    part = build(found, folder=tmp_path).devices["D1"].part
    assert (part.IS, part.N) == (2e-14, 1.1)


def test_touchstone_file_beside_the_circuit_file(tmp_path):
    (tmp_path / "pad.s2p").write_text("# GHz S RI R 50\n1 0 0 0.5 0 0.5 0 0 0\n2 0 0 0.5 0 0.5 0 0 0\n")
    pad = {"kind": "touchstone block", "file": "pad.s2p", "at_dc": "open", "nodes": ["out", "vcc"]}
    placed = build(tree(part__pad=pad), folder=tmp_path).parts["pad"]
    assert placed.nodes == ("out", "vcc") and placed.part.file.s[0, 1, 0] == 0.5
    assert len(placed.terminals) == 2
    said = refused(tree(part__pad=pad | {"nodes": ["out"]}), folder=tmp_path)
    assert said.startswith("bad.toml, part.pad.nodes: 1 nodes are given")
    said = refused(tree(part__pad=pad | {"file": "gone.s2p"}), folder=tmp_path)
    assert said.startswith("bad.toml, part.pad.file: ") and "gone.s2p" in said
    said = refused(tree(part__pad=pad | {"at_dc": "opne"}), folder=tmp_path)
    assert said.startswith("bad.toml, part.pad.at_dc: ") and "'open'" in said


def test_wanted_may_be_told():
    circuit = build(tree(wanted={"port": "input", "harmonic": 3}))
    assert (circuit.wanted_port, circuit.wanted_harmonic) == ("input", 3)


@pytest.mark.parametrize("content, words", [
    (b"title = 'x\n", ["not a TOML file", "line 1"]),
    (b"[drive]\nport = 'a'\n[drive]\n", ["not a TOML file", "line 3", "keep one"]),
    (b"[part.Q1]\nuse = 'a'\nuse = 'b'\n", ["not a TOML file", "line 3", "keep one"]),
    (b"title = '\xff'", ["byte 10 is not UTF-8"]),
    (b"x = " + b"[" * 100_000, ["nested too deep"]),
    (b"", ["no circuit here"]),
    (b"# only a remark\n", ["no circuit here"]),
])
def test_files_that_are_no_circuit(tmp_path, content, words):
    path = tmp_path / "bad.toml"
    path.write_bytes(content)
    with pytest.raises(Refusal) as caught:
        load(path)
    assert str(caught.value).startswith(str(path)) and all(word in str(caught.value) for word in words)


def test_no_file_and_a_folder(tmp_path):
    with pytest.raises(Refusal, match="gone.toml: there is no such file"):
        load(tmp_path / "gone.toml")
    with pytest.raises(Refusal, match="this is a folder"):
        load(tmp_path)


@pytest.mark.parametrize("changes, place, words", [
    # words that are not known
    (dict(parts={}), "", ["unknown key 'parts'", "'part'"]),
    (dict(drive__pwer="0 dBm"), "drive", ["unknown key 'pwer'", "'power'"]),
    (dict(drive__power_dbm="0 dBm"), "drive", ["unknown key 'power_dbm'", "'power'"]),
    (dict(port__input__impedence="50 ohm"), "port.input", ["unknown key 'impedence'", "'impedance'"]),
    (dict(port__input__nod="in"), "port.input", ["unknown key 'nod'", "'node'"]),
    (dict(supply__VCC__volts="5 V"), "supply.VCC", ["unknown key 'volts'", "'voltage'"]),
    (dict(part__R1__resistence="1 ohm"), "part.R1", ["unknown key 'resistence'", "'resistance'"]),
    (dict(part__Q1__BFF="100"), "part.Q1", ["unknown key 'BFF'", "'BF'"]),
    (dict(board__permitivity="4"), "board", ["unknown key 'permitivity'", "'permittivity'"]),
    (dict(board__use="fr4-1.5mm"), "board.use", ["'fr4-1.5mm'", "'fr4-1.6mm'"]),
    (dict(wanted__harmonics=2), "wanted", ["unknown key 'harmonics'", "'harmonic'"]),
    (dict(part__R1__kind="resister"), "part.R1.kind", ["'resister'", "'resistor'"]),
    (dict(part__Q1__kind="transistor"), "part.Q1.kind", ["did you mean 'bjt'?"]),
    (dict(part__stub__kind="Stub"), "part.stub.kind", ["did you mean 'open stub' or 'shorted stub'?"]),
    (dict(part__Q1__use="npn-25gz"), "part.Q1.use", ["'npn-25gz'", "'npn-25ghz'"]),
    (dict(part__Q1__use=""), "part.Q1.use", ["not a name"]),
    (dict(part__stub__conductor="coper-tape"), "part.stub.conductor.use", ["'coper-tape'", "'copper-tape'"]),
    (dict(part__stub__conductor=3), "part.stub.conductor", ["copper-tape"]),
    # what is missing
    (dict(part__R1__resistance=None), "part.R1", ["'resistance' is missing", "ohm"]),
    (dict(part__R1__kind=None), "part.R1", ["'kind' is missing"]),
    (dict(part__R1__nodes=None), "part.R1.nodes", ["missing", 'nodes = ["a", "b"]']),
    (dict(drive__port=None), "drive", ["'port' is missing"]),
    (dict(drive__frequency=None), "drive", ["'frequency' is missing", "GHz"]),
    (dict(drive__power=None), "drive", ["'power' is missing", "dBm"]),
    (dict(port__input__node=None), "port.input", ["'node' is missing"]),
    (dict(supply__VCC__voltage=None), "supply.VCC", ["'voltage' is missing", "5 V"]),
    (dict(board__use=None), "board", ["'height' is missing", "mm"]),
    (dict(board=None), "part.stub", ["the circuit has none", "[board]", "fr4-1.6mm"]),
    # values
    (dict(part__R1__resistance="47"), "part.R1.resistance", ["no unit", "write it like '4.7 kohm'"]),
    (dict(part__R1__resistance=47), "part.R1.resistance", ["no unit"]),
    (dict(part__stub__length="-3 mm"), "part.stub.length", ["-3 mm is not possible"]),
    (dict(part__stub__width="0 mm"), "part.stub.width", ["above 0 m"]),
    (dict(part__stub__width=float("nan")), "part.stub.width", ["not a finite number"]),
    (dict(part__R1__resistance="-5 ohm"), "part.R1.resistance", ["at least 0 ohm"]),
    (dict(part__R1__resistance=float("inf")), "part.R1.resistance", ["not a finite number"]),
    (dict(part__R1__resistance="infinite"), "part.R1.resistance", ["not a finite number"]),
    (dict(part__R1__resistance=["1 ohm"]), "part.R1.resistance", ["not a quantity"]),
    (dict(board__permittivity="0.9"), "board.permittivity", ["at least 1"]),
    (dict(drive__power="1 mW"), "drive.power", ["'mW'", "dBm"]),
    (dict(drive__power="4000 dBm"), "drive.power", ["at most 100 dBm"]),
    (dict(drive__frequency="0 Hz"), "drive.frequency", ["above 0 Hz"]),
    (dict(port__input__impedance="0 ohm"), "port.input.impedance", ["above 0 ohm"]),
    (dict(supply__VCC__resistance="-1 ohm"), "supply.VCC.resistance", ["at least 0 ohm"]),
    (dict(part__Q1__polarity="pmp"), "part.Q1.polarity", ["'pmp'", "'pnp'"]),
    (dict(part__Q1__polarity=["npn"]), "part.Q1.polarity", ["not one of the words"]),
    (dict(part__Q1__RB="0 ohm"), "part.Q1.RBM", ["RBM without RB"]),
    (dict(title=3), "title", ["not a name or a text"]),
    # drive, ports, wanted
    (dict(drive=None), "", ["there is no drive", "[drive]"]),
    (dict(drive=[{"port": "input"}, {"port": "input"}]), "drive", ["more than one drive"]),
    (dict(drive={"one": {"port": "input"}, "two": {"port": "input"}}), "drive", ["more than one drive"]),
    (dict(drive="0 dBm"), "", ["'drive' must be a table"]),
    (dict(drive__port="inptu"), "drive.port", ["no port 'inptu'", "'input'"]),
    (dict(port__output=None), "wanted.port", ["no port 'output'", "[port.output]", "input"]),
    (dict(wanted__port="outptu"), "wanted.port", ["no port 'outptu'", "'output'"]),
    (dict(wanted__harmonic=0), "wanted.harmonic", ["whole number from 1"]),
    (dict(wanted__harmonic=2.0), "wanted.harmonic", ["whole number from 1"]),
    (dict(wanted__harmonic=True), "wanted.harmonic", ["whole number from 1"]),
    (dict(wanted__harmonic="2"), "wanted.harmonic", ["whole number from 1"]),
    (dict(port__output__node="in"), "port.output.node", ["already that of port.input"]),
    (dict(port__output__node="ground"), "port.output.node", ["on ground at both its ends"]),
    (dict(port=[{"node": "in"}]), "port", ["must be a table", "[port.NAME]"]),
    (dict(port__input="in"), "port", ["must be a table", "[port.NAME]"]),
    (dict(supply__VCC__resistance="0 ohm", supply__VDD={"node": "vcc", "voltage": "3 V"}), "supply.VDD.node",
     ["supply.VCC holds node 'vcc' already"]),
    # names
    (dict(part__drive={"kind": "resistor"}), "part.drive", ["hbsim's own addresses"]),
    (dict(part__wanted={"kind": "resistor"}), "part.wanted", ["hbsim's own addresses"]),
    (dict(part__VCC={"kind": "resistor"}), "part.VCC", ["also the name of a supply"]),
    (dict(part__input={"kind": "resistor"}), "part.input", ["also the name of a port"]),
    (dict(part={"R.1": {"kind": "resistor"}}), "part", ["'R.1' is not a name"]),
    (dict(part={"R 1": {"kind": "resistor"}}), "part", ["'R 1' is not a name"]),
    (dict(part={"": {"kind": "resistor"}}), "part", ["'' is not a name"]),
    (dict(part__R1__nodes=["vcc", "GND"]), "part.R1.nodes.b", ["write 'ground'"]),
    (dict(part__R1__nodes=["vcc", 2]), "part.R1.nodes.b", ["2 is not the name of a node", 'write "2"']),
    (dict(part__R1__nodes=["vcc", "b "]), "part.R1.nodes.b", ["'b ' is not a name"]),
    # nodes
    (dict(part__R1__nodes=["vcc"]), "part.R1.nodes", ["1 nodes are given", "2 terminals (a, b)"]),
    (dict(part__R1__nodes=["vcc", "b", "c"]), "part.R1.nodes", ["3 nodes are given"]),
    (dict(part__R1__nodes="vcc"), "part.R1.nodes", ["not a list of nodes", '["a", "b"]']),
    (dict(part__Q1__nodes=["b"]), "part.Q1.nodes", ["3 to 4 terminals (base, collector, emitter, substrate)"]),
    (dict(part__Q1__nodes={"bse": "b"}), "part.Q1.nodes", ["no terminal 'bse'", "'base'"]),
    (dict(part__Q1__nodes={"base": "b", "emitter": "ground"}), "part.Q1.nodes", ["'collector' has no node"]),
    (dict(part__R1__nodes=["b", "b"]), "part.R1.nodes", ["all terminals are on the node 'b'"]),
    (dict(part__R1__nodes=["vcc", "bb"]), "part.R1", ["node 'bb' is touched only by the second end of part.R1;",
                                                  "did you mean the node 'b'?"]),
    (dict(part__stub__nodes=["inn"]), "part.stub", ["node 'inn' is touched only by part.stub;", "'in'"]),
    (dict(part__Q1__nodes={"base": "zz", "collector": "out", "emitter": "ground"}), "part.Q1",
     ["node 'zz' is touched only by the terminal 'base' of part.Q1; join something else to it or correct the name"]),
    (dict(port__input__node="xyz"), "port.input", ["node 'xyz' is touched only by port.input;"]),
    (dict(supply__VCC__node="v+"), "supply.VCC", ["node 'v+' is touched only by supply.VCC;"]),
    # ways of telling a line
    (dict(part__feed__width="3 mm"), "part.feed", ["by impedance or by width", "'impedance' and 'width'", "one way"]),
    (dict(part__feed__impedance=None), "part.feed", ["by impedance or by width", "give one"]),
    (dict(part__stub__electrical_length="90 deg"), "part.stub",
     ["'electrical_length' belongs to", "impedance", "width"]),
])
def test_refusals(changes, place, words):
    said = refused(tree(**changes))
    assert said.startswith(f"bad.toml, {place}: " if place else "bad.toml: "), said
    for word in words:
        assert word in said, said


def paths(found, before=()):
    for key, value in found.items():
        yield (*before, key)
        if isinstance(value, dict):
            yield from paths(value, (*before, key))


ODD = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.just("3 mm"), st.just("b"),
    st.lists(st.just("b"), max_size=3), st.just(datetime.date(2020, 1, 1)),
    st.dictionaries(st.sampled_from(["use", "a", "node", "base"]), st.sampled_from(["b", 3, {}]), max_size=2))


@given(st.sampled_from(list(paths(tree()))), ODD)
def test_whatever_stands_in_a_file_is_read_or_refused(path, odd):
    found = tree(**{"__".join(path): odd})
    try:
        circuit = build(found, file="odd.toml")
    except Refusal as refusal:
        assert str(refusal).startswith("odd.toml")
    else:
        assert all(math.isfinite(circuit.look_up(address)[1]) for address in ("drive.power", "board.height"))


def test_model_of_another_kind_is_refused():
    said = refused(tree(part__D1={"kind": "diode", "use": "npn-25ghz", "nodes": ["out", "ground"]}))
    assert said.startswith("bad.toml, part.D1.use: ") and "is of kind 'bjt', not 'diode'" in said


@pytest.mark.parametrize("content, words", [
    (None, ["mine.toml", "no such file"]),
    (MODEL.replace('kind = "diode"', ""), ["mine.toml", "'kind' is missing"]),
    (MODEL.replace('"diode"', '"diod"'), ["mine.toml, kind", "'diode'"]),
    (MODEL.replace("IS", "IZ"), ["mine.toml, parameters", "unknown key 'IZ'"]),
    (MODEL.replace(" A", ""), ["mine.toml, parameters.IS", "no unit"]),
    (MODEL + "[limts]\n", ["mine.toml", "'limits'"]),
    (MODEL + "[limits]\nIS = '1 A'\n", ["mine.toml, limits", "'IS' stands in two tables"]),
])
def test_bad_model_files_name_both_files(tmp_path, content, words):
    if content is not None:
        (tmp_path / "mine.toml").write_text(content)
    said = refused(tree(part__D1={"kind": "diode", "use": "mine.toml", "nodes": ["out", "ground"]}), folder=tmp_path)
    assert said.startswith("bad.toml, part.D1.use: ") and all(word in said for word in words), said
