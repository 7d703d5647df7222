"""Networks kept and framed from request to request say what fresh ones say, in any order and from several threads."""

import pickle
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

import hbsim
from hbsim.balance.prepare import Networks, prepare, source_voltages
from hbsim.balance.solve import solve

EXAMPLES = ["beacon_2304", "beacon_2304_filter_file", "beacon_5760", "diode_doubler", "lumped_doubler"]


def described(examples, name):
    return hbsim.load(examples / f"{name}.toml").description


def stands_on_a_frame(system):
    return system.network._frame is not None


def unknowns(system, description):
    """Of the network with 20 mS at every device node in place of the devices, node by node and part by part."""
    network, source = system.network, source_voltages(description, system)
    given = np.einsum("kns,ks->kn", network.c, source)
    voltage = np.linalg.solve(network.a + 0.02 * network.b, given[:, :, None])[..., 0]
    found = network.unknowns(voltage, 0.02 * voltage, source)
    return ({node: network.node_voltage(found, node) for node in network.layout.nodes},
            {name: network.terminal_currents(found, name) for name in network.elements})


@pytest.mark.parametrize("name", EXAMPLES)
def test_each_quantity_of_each_example_varied_says_what_a_fresh_network_says(name, examples):
    description, framed = described(examples, name), 0
    for address in description.addresses():
        value = description.look_up(address)[1]
        if not value or description.look_up(address)[0].unit == "dBm" or address.split(".")[0] in description.devices:
            continue
        networks = Networks()
        for factor in (1.0, 1.01, 1.02, 1.03):
            varied = description.with_values({address: value * factor})
            kept, fresh = prepare(varied, 4, networks=networks), prepare(varied, 4, networks=Networks())
        framed += stands_on_a_frame(kept)
        (v, i), (v_fresh, i_fresh) = unknowns(kept, varied), unknowns(fresh, varied)
        assert list(v) == list(v_fresh) and list(i) == list(i_fresh)
        # where admittances stand for the network, siemens of an emitter beside the 0.1 mS of a base bias: 1e5 roundings
        np.testing.assert_allclose(list(v.values()), list(v_fresh.values()), rtol=0, atol=2e-11, err_msg=address)
        for part in i:
            np.testing.assert_allclose(i[part], i_fresh[part], rtol=0, atol=2e-11, err_msg=f"{address}, {part}")
    assert framed > 5


def test_frames_follow_what_changes(examples):
    description, networks = described(examples, "beacon_2304"), Networks()

    def framed(harmonics=4, **values):
        nonlocal description
        description = description.with_values({address.replace("__", "."): value for address, value in values.items()})
        return stands_on_a_frame(prepare(description, harmonics, networks=networks))

    assert [framed(R_s__resistance=r) for r in (18.0, 19.0, 20.0, 21.0)] == [False, False, True, True]
    assert framed(supply__VCC=4.0) and framed(port__input__impedance=60.0)  # kept as it is; sources are always loose
    assert [framed(C_in__capacitance=c * 1e-12) for c in (10.5, 11, 12)] == [False, True, True]
    assert framed(R_s__resistance=22.0)  # changed before, so loose
    assert [framed(board__permittivity=e) for e in (4.1, 4.2, 4.3)] == [False] * 3  # almost all changes
    assert [framed(harmonics=k, R_s__resistance=r) for k, r in ((5, 1.0), (5, 2.0), (4, 3.0), (5, 3.0), (5, 4.0))] \
        == [False, False, False, True, True]
    # a loop at DC through the part itself: never on a frame
    assert not any(framed(via_1__inductance=value) for value in (1e-10, 2e-10, 3e-10, 4e-10))
    # but it does not stand in the way of others for long
    assert [framed(match_stub__length=0.02 + step * 1e-4) for step in range(6)][4:] == [True] * 2


def test_a_state_on_a_frame_is_read_like_any_other(examples, monkeypatch):
    # stores of the test's own: what other tests left in that of the process would be found there
    monkeypatch.setattr(prepare, "__defaults__", (None, Networks()))
    circuit = hbsim.load(examples / "beacon_2304.toml")
    length = circuit.description.look_up("match_stub.length")[1]
    for less in (0.0007, 0.0004, 0.0002, 0.0):
        state = circuit.solve({"match_stub.length": length - less}, harmonics=6)
    assert stands_on_a_frame(state.system)
    monkeypatch.setattr(prepare, "__defaults__", (None, Networks(frames=False)))
    fresh = hbsim.load(examples / "beacon_2304.toml").solve(harmonics=6)
    assert state.nodes == fresh.nodes
    for node in fresh.nodes:  # balanced to 1e-9 of the currents that cancel
        np.testing.assert_allclose(state.voltage(node), fresh.voltage(node), rtol=0, atol=1e-7)
    assert state.power_balance.keys() == fresh.power_balance.keys()
    for name, power in fresh.power_balance.items():
        assert state.power_balance[name] == pytest.approx(power, abs=1e-9)
    assert abs(state.power_balance["error"]) < 1e-9 * state.power_balance["given"]


def test_a_grid_of_two_parts_equals_single_solves(examples):
    circuit = hbsim.load(examples / "beacon_2304_filter_file.toml")
    axes = {"C_in.capacitance": [5e-12, 8e-12, 1.2e-11], "match_stub.length": [0.02, 0.024, 0.027]}
    table = circuit.sweep(axes, harmonics=5)
    assert table.solved.all()
    for number, (c, length) in enumerate((c, length) for c in axes["C_in.capacitance"]
                                         for length in axes["match_stub.length"]):
        state = solve(circuit.description.with_values({"C_in.capacitance": c, "match_stub.length": length}), 5)
        for k in (1, 2, 3):
            assert table[f"output_dbm_{k}"].ravel()[number] == pytest.approx(state.output_dbm(k), abs=1e-6)
        assert table["supply_amps_VCC"].ravel()[number] == pytest.approx(state.supplies["VCC"].amps, rel=1e-7)


TANK = {"L": {"kind": "inductor", "nodes": ["t", "ground"], "inductance": "1 nH"},
        "C": {"kind": "capacitor", "nodes": ["t", "ground"], "capacitance": "1 pF"}}


@pytest.mark.parametrize("parts, address, good, bad, words", [
    ({"R": {"kind": "resistor", "nodes": ["v", "ground"], "resistance": "10 ohm"}}, "R.resistance",
     (10.0, 8.0, 6.0, 4.0), 0.0, "a supply without resistance is shorted"),
    (TANK, "C.capacitance", (1e-12, 1.1e-12, 1.2e-12, 1.3e-12), 1 / (2 * np.pi * 1e9)**2 / 1e-9,
     "the voltage of node 't' is not determined at 1e[+]09 Hz"),
])
def test_what_is_refused_is_refused_in_the_same_words(parts, address, good, bad, words):
    circuit = hbsim.Circuit.build(
        drive={"port": "in", "frequency": "1 GHz", "power": "0 dBm"},
        port={"in": {"node": "in"}, "output": {"node": "out"}},
        supply={"V": {"node": "v", "voltage": "1 V"}},
        part=parts | {"Ci": {"kind": "capacitor", "nodes": ["in", "x"], "capacitance": "10 pF"},
                      "Co": {"kind": "capacitor", "nodes": ["x", "out"], "capacitance": "1 pF"},
                      "Rv": {"kind": "resistor", "nodes": ["v", "x"], "resistance": "100 ohm"},
                      "D": {"kind": "diode", "use": "switching-diode", "nodes": {"anode": "x", "cathode": "ground"}}})
    networks = Networks()
    for value in good:
        system = prepare(circuit.description.with_values({address: value}), 3, networks=networks)
    assert stands_on_a_frame(system)
    said = []
    for kept in (networks, None):
        with pytest.raises(hbsim.Refusal, match=words) as refusal:
            prepare(circuit.description.with_values({address: bad}), 3, networks=kept or Networks())
        said.append(str(refusal.value))
    assert said[0] == said[1]


def test_a_pin_left_without_dc_path_is_refused_in_the_same_words(tmp_path):
    # a block that passes DC in one file and not in the other: the same nodes, another part
    rows = {"through": "0 0 0 1 0 1 0 0 0\n9 0 0 1 0 1 0 0 0\n", "open": "0 1 0 0 0 0 0 1 0\n9 0 0 1 0 1 0 0 0\n"}
    found = {}
    for name, text in rows.items():
        (tmp_path / f"{name}.s2p").write_text("# GHz S RI R 50\n" + text)
        found[name] = lambda c, name=name: hbsim.Circuit.build(
            folder=tmp_path, drive={"port": "in", "frequency": "1 GHz", "power": "0 dBm"},
            port={"in": {"node": "in"}, "output": {"node": "out"}},
            part={"B": {"kind": "touchstone block", "file": f"{name}.s2p", "nodes": ["in", "x"]},
                  "C": {"kind": "capacitor", "nodes": ["x", "out"], "capacitance": c},
                  "R": {"kind": "resistor", "nodes": ["in", "ground"], "resistance": "50 ohm"},
                  "D": {"kind": "diode", "use": "switching-diode", "nodes": {"anode": "x", "cathode": "ground"}}})
    networks = Networks()
    for number in range(4):  # each circuit reads the file anew: the block counts as changed
        system = prepare(found["through"](f"{number + 1} pF").description, 3, networks=networks)
    assert stands_on_a_frame(system)
    said = []
    for kept in (networks, None):
        with pytest.raises(hbsim.Refusal, match="the anode has no DC path") as refusal:
            prepare(found["open"]("1 pF").description, 3, networks=kept or Networks())
        said.append(str(refusal.value))
    assert said[0] == said[1]


def test_threads_may_share_one_store(examples):
    description, networks = described(examples, "lumped_doubler"), Networks()
    values = [(c, r) for c in np.linspace(2e-12, 2e-11, 12) for r in (1e4, 2e4)] * 2

    def network(value):
        varied = description.with_values(dict(zip(("C_in.capacitance", "R_b.resistance"), value)))
        return prepare(varied, 4, networks=networks).network

    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(network, values))
    for value, other in zip(values, found):
        varied = description.with_values(dict(zip(("C_in.capacitance", "R_b.resistance"), value)))
        expected = prepare(varied, 4, networks=Networks()).network
        np.testing.assert_allclose(other.a, expected.a, rtol=1e-11, atol=1e-14)
        np.testing.assert_allclose(other.c, expected.c, rtol=1e-11, atol=1e-14)


@pytest.mark.parametrize("name", EXAMPLES)
def test_circuits_and_networks_travel_to_other_processes(name, examples):
    circuit = hbsim.load(examples / f"{name}.toml")
    copy = pickle.loads(pickle.dumps(circuit))
    networks = pickle.loads(pickle.dumps(Networks()))
    description = copy.description
    system = prepare(description, 3, networks=networks)
    original = prepare(circuit.description, 3, networks=Networks())
    again = pickle.loads(pickle.dumps(original.network))
    for network in (system.network, again):
        np.testing.assert_array_equal(network.a, original.network.a)
        np.testing.assert_array_equal(network.c, original.network.c)
    assert system.parameters() == pytest.approx(original.parameters(), rel=0)
