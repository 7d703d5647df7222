"""Responses of described circuits: what counts, group delay, devices linearised; figures read from them."""

import json
import math

import numpy as np
import pytest

import hbsim
from hbsim.balance.prepare import prepare
from hbsim.errors import NotSolved, Refusal
from hbsim.linear.block import TouchstoneBlock
from hbsim.linear.network import Element
from hbsim.linear.passivity import largest_gain
from hbsim.linear.touchstone import TouchstoneData
from hbsim.studies.circuit import Circuit
from hbsim.studies.network_figures import as_json, band, header, measured, rows
from hbsim.studies.network_ports import ResponsePort
from hbsim.studies.network_response import LinearCircuit
from hbsim.studies.small_signal import SmallSignal

GHZ = np.array([0.5e9, 1e9, 1.5e9])


def circuit(parts, ports=None, **tables):
    """A circuit whose drive is at 1 GHz into port "one" at node p."""
    ports = ports or {"one": "p", "two": "q"}
    return Circuit.build(drive={"port": "one", "frequency": "1 GHz", "power": "0 dBm"},
                         wanted={"port": list(ports)[-1], "harmonic": 2},
                         port={name: {"node": node} for name, node in ports.items()}, part=parts, **tables)


def line(**more):
    return {"kind": "line", "nodes": ["p", "q"], "impedance": "50 ohm", "electrical_length": "90 deg",
            "at": "1 GHz"} | more


def resistor(a, b, value):
    return {"kind": "resistor", "nodes": [a, b], "resistance": value}


# -- group delay -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("points", [2, 7, 401])
def test_the_delay_of_a_line_is_that_of_its_wave_however_few_the_points(points):
    # 90 degrees at 1 GHz are a quarter of a period, 250 ps; positive, for the wave comes later.
    found = circuit({"line": line()}).network(np.linspace(0.0, 20e9, points), device="absent")
    assert np.isnan(found.swept.delay[0]).all()
    # rounding: beside a half wave the line's admittance is 1e5 times that of the ports, and cancels
    np.testing.assert_allclose(found.swept.delay[1:, 1, 0], 250e-12, rtol=1e-6)
    assert np.isnan(found.swept.delay[:, 0, 0]).all()  # nothing is reflected: no phase, no delay
    assert list(found.harmonics) == list(range(1, 21))
    np.testing.assert_allclose(found.at_harmonics.delay[:, 1, 0], 250e-12, rtol=1e-6)


def test_the_delay_of_a_low_pass_is_the_derivative_of_its_phase():
    # S21 = 1 / (1 + j omega tau) with tau = C Z0 / 2: delay tau / (1 + (omega tau)^2), elementary.
    found = circuit({"C": {"kind": "capacitor", "nodes": ["p", "ground"], "capacitance": "4 pF"},
                     "wire": resistor("p", "q", "0 ohm")}).network(np.linspace(0.1e9, 9e9, 30))
    x = 2 * np.pi * found.frequency * 4e-12 * 25
    np.testing.assert_allclose(found.swept.delay[1:-1, 1, 0], (100e-12 / (1 + x**2))[1:-1], rtol=1e-8)
    ends = [0, -1]  # taken from one side
    np.testing.assert_allclose(found.swept.delay[ends, 1, 0], (100e-12 / (1 + x**2))[ends], rtol=1e-4)


# -- what counts -------------------------------------------------------------------------------------------------------


def test_terminations_of_other_ports_and_supplies_count_and_those_asked_for_do_not():
    # Seen from node p: 30 ohm to the port "two" (its 50 ohm), 60 ohm to a supply of 5 ohm; 50 ohm of port one apart.
    parts = {"R1": resistor("p", "q", "30 ohm"), "R2": resistor("p", "v", "60 ohm")}
    loaded = circuit(parts, supply={"V": {"node": "v", "voltage": "3 V", "resistance": "5 ohm"}})
    shown = 1 / (1 / 80 + 1 / 65)
    for name in ("one", "p"):
        found = loaded.network(GHZ, [name])
        np.testing.assert_allclose(found.swept.impedance(found.ports)[:, 0], shown, rtol=1e-12)
        assert found.ports[0].of_circuit == "one" and found.notes == (
            "port two ends in its 50 ohm at node q", "supply V counts as 5 ohm from node v to ground")
    found = loaded.network(GHZ, ["p/ground"], reference=75.0)  # the port stays there as a termination
    np.testing.assert_allclose(found.swept.impedance(found.ports)[:, 0], 1 / (1 / shown + 1 / 50), rtol=1e-12)
    assert found.reference.tolist() == [75.0] and len(found.notes) == 3
    found = loaded.network(GHZ, ["p"], parts=["R1", "part.R2"])  # alone they dangle
    np.testing.assert_allclose(found.s, 1.0, rtol=1e-14)
    assert np.isinf(found.swept.impedance(found.ports)).all()
    assert found.notes == ("only these parts count: R1, R2; no supply, no termination and no other part does",)


def test_references_are_a_ports_own_or_what_is_given():
    half = Circuit.build(drive={"port": "one", "frequency": "1 GHz", "power": "0 dBm"},
                         wanted={"port": "one", "harmonic": 2},
                         port={"one": {"node": "p", "impedance": "75 ohm"}},
                         part={"R1": resistor("p", "q", "30 ohm"), "R2": resistor("q", "ground", "20 ohm")})
    assert half.network(GHZ, ["one", "q"]).reference.tolist() == [75.0, 50.0]
    assert half.network(GHZ, ["one", "q"]).reference.tolist() == [75.0, 50.0]
    assert half.network(GHZ, ["one", "q"], reference=12.0).reference.tolist() == [12.0, 12.0]
    assert half.network(GHZ, ["one"], reference=12.0).reference.tolist() == [12.0]
    both = half.network(GHZ, ["one", "q"], reference=[60.0, 12.0])
    assert both.reference.tolist() == [60.0, 12.0]
    assert "port one: 60 ohm stand in place of its own 75 ohm" in both.notes
    np.testing.assert_allclose(both.swept.impedance(both.ports)[:, 0], 30 + 1 / (1 / 20 + 1 / 12), rtol=1e-12)


def test_parts_that_no_port_reaches_are_named():
    found = circuit({"line": line(), "R1": resistor("m", "n", "5 ohm"), "R2": resistor("n", "m", "6 ohm")}).network(GHZ)
    assert "R1 and R2 hang together with none of the ports and play no role" in found.notes


@pytest.mark.parametrize("options, words", [
    ({"ports": ["pp"]}, "there is no node 'pp' among the parts that count; did you mean 'p'"),
    ({"ports": ["p/w"]}, "there is no node 'w'"),
    ({"ports": ["one", "p"]}, "'one' and 'p' are the same place"),
    ({"ports": ["p/q", "q/p"]}, "the same place"),
    ({"ports": ["p/p"]}, "the same node twice"),
    ({"ports": ["ground"]}, "begins at ground"),
    ({"ports": []}, "no port is named"),
    ({"parts": ["lin"]}, "there is no part 'lin'; did you mean 'line'"),
    ({"parts": ["line", "line"]}, "'line' is named twice"),
    ({"parts": []}, "no part is named"),
    ({"parts": ["R1"]}, "no part that counts touches the node 'p' of port 'one'; name a node of theirs: q"),
    ({"reference": [50.0, 50.0, 50.0]}, "3 references for 2 ports"),
    ({"reference": -5.0}, "above 0 ohm"),
    ({"device": "present"}, "no way of taking devices"),
    ({"device": "linearised"}, "no device counts"),
    ({"frequency": [1e9]}, "fewer than 2"),
    ({"frequency": [2e9, 1e9]}, "must rise"),
    ({"frequency": [-1e9, 1e9]}, "from 0 Hz"),
    ({"frequency": np.linspace(0, 1e9, 200_000)}, "too many"),
])
def test_what_makes_no_sense_is_refused(options, words):
    with pytest.raises(Refusal) as refusal:
        circuit({"line": line(), "R1": resistor("q", "ground", "5 ohm")}).network(**({"frequency": GHZ} | options))
    assert words in str(refusal.value)


def test_junctions_count_where_all_their_strips_do(examples):
    stage = Circuit.load(examples / "beacon_2304.toml")
    whole = stage.network(GHZ, ["m", "b_in"], parts=["match_line", "match_stub"])
    assert [element.name for element in whole.model.elements][2:] == ["junction.m"]
    alone = stage.network(GHZ, ["m", "b_in"], parts=["match_line"])
    assert [(e.name, e.nodes) for e in alone.model.elements] == [("match_line", ("m", "b_in"))]
    assert "no junction at m: not all the strips that meet there count" in alone.notes
    law = stage.description.parts["match_line"].part.relation(2 * np.pi * GHZ)
    # a V + b I = 0 with V = R^1/2 (1 + S), I = (1 - S) / R^1/2
    np.testing.assert_allclose(alone.s, np.linalg.solve(50 * law.a - law.b, -50 * law.a - law.b), atol=1e-12)


# -- data from a file --------------------------------------------------------------------------------------------------


def test_a_measured_transistor_shows_its_file_against_any_reference(tmp_path):
    # An invented transistor, S in magnitude and angle. S' = A^-1 (S - P)(1 - P S)^-1 A, P = (R' - R)/(R' + R) on the
    # diagonal, A = sqrt(R'/R) 2 R / (R + R') (K. Kurokawa, IEEE Trans. MTT-13 (1965) 194-202).
    (tmp_path / "fet.s2p").write_text(
        "# GHz S MA R 50\n1 .9 -40 4.1 140 .04 60 .6 -30\n2 .8 -75 3.2 110 .06 40 .5 -55\n"
        "3 .7 -110 2.4 80 .07 25 .45 -80\n4 .65 -140 1.9 55 .08 15 .42 -100\n")
    stage = Circuit.build(drive={"port": "one", "frequency": "1 GHz", "power": "0 dBm"},
                          wanted={"port": "two", "harmonic": 2}, port={"one": {"node": "p"}, "two": {"node": "q"}},
                          part={"T": {"kind": "touchstone block", "nodes": ["p", "q"], "file": "fet.s2p"}},
                          folder=tmp_path)
    at = np.array([1e9, 2e9, 3e9, 4e9])
    found = stage.network(at)
    data = hbsim.read_touchstone(tmp_path / "fet.s2p")
    np.testing.assert_allclose(found.s, data.s, atol=1e-13)
    assert not found.reciprocal and np.isfinite(found.swept.delay).all()  # taken inside the file's range
    new = np.array([20.0, 130.0])
    p, a = np.diag((new - 50) / (new + 50)), np.diag(np.sqrt(new / 50) * 100 / (50 + new))
    wanted = [np.linalg.inv(a) @ (s - p) @ np.linalg.inv(np.eye(2) - p @ s) @ a for s in data.s]
    np.testing.assert_allclose(stage.network(at, reference=new).s, wanted, atol=1e-13)
    with pytest.raises(Refusal, match="part.T.*fet.s2p"):
        stage.network([0.5e9, 2e9])


def test_measured_data_are_compared_at_their_own_points(tmp_path):
    (tmp_path / "line.s2p").write_text("# GHz S DB R 50\n0.1 -20 0 -1 0 -1 0 -30 0\n0.7 -20 0 -0.5 0 -0.5 0 -30 0\n"
                                       "1.3 -20 0 0.2 0 -0.5 0 -30 0\n9 -20 0 -9 0 -9 0 -30 0\n")
    found = circuit({"line": line(impedance="80 ohm")}).network(np.linspace(0.5e9, 2e9, 5))
    beside = measured(str(tmp_path / "line.s2p"), found)
    assert beside.common.tolist() == [False, True, True, False]
    # |S21|^2 = 1 / (1 + ((Z/Z0 - Z0/Z) sin(theta) / 2)^2), elementary
    theta = np.pi / 2 * np.array([0.7, 1.3])
    level = -10 * np.log10(1 + ((80 / 50 - 50 / 80) * np.sin(theta) / 2)**2)
    change = np.array([-0.5, 0.2]) - level
    seen = beside.differences[1, 0]
    worst = int(np.argmax(np.abs(change)))
    assert seen.largest_db == pytest.approx(change[worst], abs=1e-9)
    assert seen.at == [0.7e9, 1.3e9][worst] and seen.points == 2
    assert seen.rms_db == pytest.approx(np.sqrt(np.mean(change**2)), abs=1e-9)
    with pytest.raises(Refusal, match="has 2 ports, 1 are asked for"):
        measured(str(tmp_path / "line.s2p"), circuit({"line": line()}).network(GHZ, ["one"]))
    with pytest.raises(Refusal, match="no point of the file"):
        measured(str(tmp_path / "line.s2p"), circuit({"line": line()}).network([2e9, 3e9]))


def test_a_measurement_against_other_references_is_brought_to_those_of_the_ports(tmp_path):
    # A resistor of 30 ohm in series between two ports of R: S11 = 30 / (30 + 2 R), S21 = 2 R / (30 + 2 R) (elementary).
    rows_of = "".join(f"{f} {30 / 180} 0 {150 / 180} 0 {150 / 180} 0 {30 / 180} 0\n" for f in (0.6, 1.0))
    (tmp_path / "r.s2p").write_text("# GHz S RI R 75\n" + rows_of)
    found = circuit({"R": resistor("p", "q", "30 ohm")}).network(GHZ)
    beside = measured(str(tmp_path / "r.s2p"), found)
    assert max(abs(d.largest_db) for d in beside.differences.values()) < 1e-12
    np.testing.assert_allclose(beside.data.s[:, 1, 0], 100 / 130, rtol=1e-12)


# -- devices linearised ------------------------------------------------------------------------------------------------


def diode_on_a_supply(volts):
    return circuit({"R": resistor("v", "q", "1 kohm"),
                    "C": {"kind": "capacitor", "nodes": ["p", "q"], "capacitance": "1 pF"},
                    "D": {"kind": "diode", "nodes": {"anode": "q", "cathode": "ground"}, "IS": "2e-14 A", "N": "1.05",
                          "RS": "0.7 ohm"}},
                   {"one": "p"}, supply={"V": {"node": "v", "voltage": f"{volts} V", "resistance": "0 ohm"}})


@pytest.mark.parametrize("volts", [0.4, 2.0, 9.0])
def test_a_linearised_diode_has_the_slope_of_the_dc_characteristic(volts):
    # The circuit's own DC points at supplies a little higher and lower, without drive: slope of current by voltage.
    stage = diode_on_a_supply(volts)
    found = stage.network([0.0, 1e3], ["q/ground"], parts=["D"], device="linearised")
    points = [stage.solve({"supply.V": volts + step, "drive.power": -300.0}, harmonics=2).devices["D"]
              for step in (1e-4, -1e-4)]
    voltage, current = [np.array([values["anode"][0].real for values in (getattr(p, name) for p in points)])
                        for name in ("pin_voltage", "pin_current")]
    slope = np.diff(voltage)[0] / np.diff(current)[0]
    # the exponential bends by (0.1 mV / 27 mV)^2 / 6 = 2e-6 over the step
    np.testing.assert_allclose(found.swept.impedance(found.ports)[:, 0], slope, rtol=1e-5)
    point = found.operating["D"]
    assert point.volts["anode"] == pytest.approx(voltage.mean(), rel=1e-4)
    assert point.amps["anode"] == pytest.approx(current.mean(), rel=1e-4)


def test_the_linearised_circuit_agrees_with_the_admittance_between_its_sources(examples):
    # Another way to the same: sources E behind R drive currents Y E: S = 1 - 2 R^1/2 Y R^1/2 (K. Kurokawa, as above:
    # a = E / (2 R^1/2) and b = a - R^1/2 I).
    stage = Circuit.load(examples / "lumped_doubler.toml")
    frequency = np.linspace(0.0, 6e9, 13)
    found = stage.network(frequency, device="linearised")
    quiet = stage.with_values({"drive.power": -300.0})
    state = quiet.solve(harmonics=2)
    y = SmallSignal(prepare(state.description, 2), 2 * np.pi * frequency).source_admittance(state.form[:, 0])
    sources = [state.system.network.sources.index(f"port.{port.of_circuit}") for port in found.ports]
    root = np.sqrt(found.reference)
    wanted = np.eye(2) - 2 * root[:, None] * y[:, sources][:, :, sources] * root
    np.testing.assert_allclose(found.s, wanted, atol=1e-10)
    assert not found.reciprocal and largest_gain(found.s).max() > 1.0


def test_the_delay_of_the_devices_own_current_is_causal_gain(examples):
    stage = Circuit.load(examples / "lumped_doubler.toml")
    found = stage.network([0.9e9, 1.0e9, 1.1e9], device="linearised")
    phase = np.unwrap(np.angle(stage.network(np.array([0.999e9, 1.0e9, 1.001e9]), device="linearised").s[:, 1, 0]))
    assert found.swept.delay[1, 1, 0] == pytest.approx(-(phase[2] - phase[0]) / (2 * np.pi * 2e6), rel=1e-4)  # 1 MHz


def test_a_circuit_without_a_dc_point_gives_no_number(examples):
    stage = Circuit.load(examples / "lumped_doubler.toml").with_values({"Q1.thermal_resistance": "1e6 K/W"})
    assert np.isfinite(stage.network(GHZ).s).all()  # the device is out
    with pytest.raises(NotSolved, match="operating point was not found.*junction temperature of 'Q1'"):
        stage.network(GHZ, device="linearised")


def test_a_device_is_named_among_the_parts_only_when_it_is_linearised(examples):
    stage = Circuit.load(examples / "lumped_doubler.toml")
    with pytest.raises(Refusal, match="'Q1' is a device, and devices are absent"):
        stage.network(GHZ, parts=["Q1"])
    with pytest.raises(Refusal, match="no device counts"):
        stage.network(GHZ, parts=["R_b"], device="linearised")


# -- figures -----------------------------------------------------------------------------------------------------------


def test_the_band_of_a_resonator_has_its_3_db_edges():
    # Series L and C between 50 ohm: |S21|^2 = 1 / (1 + (X / 100)^2), 3 dB (a factor 10^0.3) less where |X| is
    # 100 (10^0.3 - 1)^1/2; with X = w L - 1/(w C) the edges multiply to w0^2 and differ by |X| / L (elementary).
    stage = circuit({"L": {"kind": "inductor", "nodes": ["p", "m"], "inductance": "80 nH"},
                     "C": {"kind": "capacitor", "nodes": ["m", "q"], "capacitance": "0.3166286988 pF"}})
    found = stage.network(np.linspace(0.6e9, 1.6e9, 2001))
    seen = band(found)
    width = np.sqrt(10**0.3 - 1) * 100 / 80e-9 / (2 * np.pi)
    middle = 1 / (2 * np.pi * np.sqrt(80e-9 * 0.3166286988e-12))
    # the curve bends by 1e-4 dB between points 0.5 MHz apart, on a slope of 20 dB/GHz
    assert seen.frequency == pytest.approx(middle, abs=0.25e6) and seen.db == pytest.approx(0.0, abs=1e-4)
    assert seen.high - seen.low == pytest.approx(width, rel=1e-4)
    assert np.sqrt(seen.high * seen.low) == pytest.approx(middle, rel=1e-4)
    assert band(stage.network([1e9, 1.01e9])).low is None


def test_the_figures_as_plain_data_are_those_of_the_response():
    found = circuit({"line": line(impedance="80 ohm"), "R": resistor("q", "ground", "99 ohm")}).network(
        np.array([0.0, 0.5e9, 1e9, 2e9]))
    data = json.loads(json.dumps(as_json(found), allow_nan=False))
    assert data["frequency_hz"] == found.frequency.tolist() and data["devices"] == "absent"
    assert data["s21"]["re"] == found.s[:, 1, 0].real.tolist() and data["s21"]["delay_s"][0] is None
    assert data["harmonics"]["harmonic"] == [1, 2] and data["ports"][1]["reference_ohm"] == 50.0
    table = [dict(zip(header(2), row)) for row in rows(found)]
    assert [float(row["frequency_hz"]) for row in table] == found.frequency.tolist()
    row = table[2]
    s = complex(float(row["s12_re"]), float(row["s12_im"]))
    assert s == found.s[2, 0, 1]
    assert float(row["s12_db"]) == pytest.approx(20 * math.log10(abs(s)))
    assert float(row["s12_deg"]) == pytest.approx(math.degrees(math.atan2(s.imag, s.real)))
    assert table[0]["s21_delay_s"] == ""


def test_many_ports_have_columns_that_tell_them_apart():
    assert header(2)[1::5] == ["s11_re", "s21_re", "s12_re", "s22_re"]
    names = header(11)
    assert len(set(names)) == 1 + 5 * 121 and "s1_11_db" in names and "s11_1_db" in names


@pytest.mark.parametrize("beyond", ["open", "hold", "through", "absorb"])
def test_a_delay_is_not_taken_across_an_end_of_data(beyond):
    # a line of 30 degrees at 1 GHz, measured from 1 to 3 GHz: pi/6 over 2 pi 1 GHz is 83.33 ps, at the ends too
    frequency = np.linspace(1e9, 3e9, 201)
    through = 0.9 * np.exp(-1j * np.pi / 6.0 * frequency / 1e9)
    data = TouchstoneData("line.s2p", frequency, through[:, None, None] * (1.0 - np.eye(2)), np.array([50.0, 50.0]))
    model = LinearCircuit((Element("x", TouchstoneBlock(data, below=beyond, above=beyond), ("a", "b")),),
                          tuple(ResponsePort(node, node, "ground", 50.0, "") for node in "ab"), None)
    delay = model.seen(np.array([0.5e9, 1e9, 1e9 + 1, 2e9, 3e9 - 1, 3e9, 4e9]), 0.5e9, 4e9).delay[:, 1, 0]
    np.testing.assert_allclose(delay[1:-1], 1e-9 / 12.0, rtol=1e-5)  # rounding of a phase over 2e-5 of the frequency
    if beyond in ("open", "absorb"):  # nothing comes through
        assert np.isnan(delay[[0, -1]]).all()
    else:
        np.testing.assert_allclose(delay[[0, -1]], 0.0, atol=1e-18)
