"""What a solved state says: phasors against waveforms, ports against hand values, words and refusals."""

import math

import numpy as np
import pytest
from balance_circuits import EXAMPLE, mixed_stage

import hbsim
from hbsim.errors import Refusal


def divider(power="0 dBm", bias="4 V"):
    """Generator 50 ohm, 30 ohm in series, 120 ohm to ground, load 75 ohm; a bias fed in through 200 ohm. All real."""
    return hbsim.Circuit.build(
        title="divider", drive={"port": "input", "frequency": "1 GHz", "power": power},
        port={"input": {"node": "in"}, "output": {"node": "out", "impedance": "75 ohm"}},
        supply={"VCC": {"node": "v", "voltage": bias, "resistance": "10 ohm"}}, wanted={"harmonic": 1},
        part={"R1": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "30 ohm"},
              "R2": {"kind": "resistor", "nodes": ["out", "ground"], "resistance": "120 ohm"},
              "R3": {"kind": "resistor", "nodes": ["v", "out"], "resistance": "200 ohm"}})


@pytest.fixture(scope="module")
def state():
    return mixed_stage("5 dBm").solve(harmonics=10)


@pytest.fixture(scope="module")
def linear():
    return divider().solve(harmonics=3)


# -- a resistive circuit, by hand ------------------------------------------------------------------------------------

G_OUT = 1 / 120 + 1 / 75 + 1 / 210  # at node out, the generator's branch not counted. [S]
R_IN = 30 + 1 / G_OUT
E = math.sqrt(8 * 50 * 1e-3)  # 0 dBm available: P = E^2 / (8 R)


def test_return_loss_of_a_resistive_circuit(linear):
    reflection = (R_IN - 50) / (R_IN + 50)
    assert linear.input_reflection == pytest.approx(reflection, abs=1e-12)
    assert linear.input_return_loss_db == pytest.approx(-20 * math.log10(abs(reflection)), abs=1e-9)


def test_output_of_a_linear_divider(linear):
    out = E / (R_IN + 50) / G_OUT
    assert abs(linear.voltage("out")[1]) == pytest.approx(out, rel=1e-12)
    assert linear.output_watts(1) == pytest.approx(out**2 / (2 * 75), rel=1e-12)
    assert linear.output_dbm(1) == pytest.approx(10 * math.log10(out**2 / 150 / 1e-3), abs=1e-9)
    assert linear.conversion_loss_db == pytest.approx(-linear.output_dbm(1), abs=1e-12)
    assert linear.output_phase_deg(1) == pytest.approx(0.0, abs=1e-9)
    assert linear.output_dbm(2) == -math.inf and linear.output_dbm(3) == -math.inf
    # at the driven port: the wave that comes back, available power times |reflection|^2
    assert linear.output_watts(1, "input") == pytest.approx(1e-3 * abs(linear.input_reflection) ** 2, rel=1e-9)


def test_dc_of_a_linear_divider(linear):
    g = 1 / 120 + 1 / 75 + 1 / 80
    out = 4 / 210 / (g + 1 / 210)
    amps = (4 - out) / 210
    assert linear.voltage("out")[0].real == pytest.approx(out, rel=1e-12)
    assert linear.supplies["VCC"].amps == pytest.approx(amps, rel=1e-12)
    assert linear.supplies["VCC"].volts == pytest.approx(4 - 10 * amps, rel=1e-12)
    assert linear.dc_power_w == pytest.approx(4 * amps, rel=1e-12)
    assert linear.output_watts(0) == pytest.approx(out**2 / 75, rel=1e-12)
    assert linear.efficiency == pytest.approx(linear.output_watts(1) / (4 * amps + 1e-3), rel=1e-12)


def test_heat_of_each_resistor(linear):
    for name, nodes, ohms in (("R1", ("in", "out"), 30), ("R2", ("out", "ground"), 120), ("R3", ("v", "out"), 200)):
        across = linear.voltage(nodes[0]) - linear.voltage(nodes[1])
        heat = abs(across[0]) ** 2 / ohms + 0.5 * (np.abs(across[1:]) ** 2).sum() / ohms
        assert linear.dissipation(name) == pytest.approx(heat, rel=1e-10), name
        np.testing.assert_allclose(linear.current(name), np.stack([across, -across], axis=1) / ohms, atol=1e-15)
    assert linear.dissipation("supply.VCC") == pytest.approx(linear.supplies["VCC"].amps ** 2 * 10
                                                            + 0.5 * abs(linear.current("supply.VCC")[1, 0]) ** 2 * 10)
    assert linear.power_balance["error"] == pytest.approx(0.0, abs=1e-16)


# -- a nonlinear circuit ----------------------------------------------------------------------------------------------

def test_waveform_is_the_sum_of_the_phasors(state):
    for node in ("b", "c", "out", "ground"):
        time, volts = state.waveform(node, 100)
        omega = 2 * np.pi * 1.1e9
        by_hand = sum((x * np.exp(1j * k * omega * time)).real for k, x in enumerate(state.voltage(node)))
        np.testing.assert_allclose(volts, by_hand, atol=1e-12)
    assert time[0] == 0 and time[1] * 100 == pytest.approx(1 / 1.1e9)
    np.testing.assert_allclose(state.frequency, 1.1e9 * np.arange(11), rtol=1e-15)


def test_currents_of_linear_parts_follow_from_the_voltages(state):
    omega = 2 * np.pi * state.frequency
    out = state.voltage("c") - state.voltage("out")
    np.testing.assert_allclose(state.current("C_out")[:, 0], 1j * omega * 1e-12 * out, atol=1e-14)
    across = state.voltage("vcc") - state.voltage("c")
    np.testing.assert_allclose(1j * omega * 3e-9 * state.current("L_c")[:, 0], across, atol=1e-11)
    assert state.current("L_c")[0, 0].real == pytest.approx(state.supplies["VCC"].amps
                                                            - state.current("R_b")[0, 0].real, rel=1e-10)
    # power into the load, by voltage and by the port's own account
    assert state.output_watts(2) == pytest.approx(abs(state.voltage("out")[2]) ** 2 / 100, rel=1e-12)
    assert state.absorbed("port.output")[2] == pytest.approx(state.output_watts(2), rel=1e-9)
    assert state.dissipation("C_out") == pytest.approx(0.0, abs=1e-15)


def test_levels_relative_to_the_wanted_line(state):
    assert state.output_dbc(2) == 0.0
    assert state.output_dbc(1) == pytest.approx(state.output_dbm(1) - state.output_dbm(2), abs=1e-12)
    assert state.conversion_loss_db == pytest.approx(5.0 - state.output_dbm(2), abs=1e-12)


def test_device_heat_is_what_enters_at_its_pins(state):
    pins = state.devices["Q1"]
    waves = [(pins.pin_voltage[p], pins.pin_current[p]) for p in pins.pin_voltage]
    n = 4096
    t = np.exp(2j * np.pi * np.outer(np.arange(11), np.arange(n) / n))
    instantaneous = sum((v @ t).real * (i @ t).real for v, i in waves)
    assert pins.dissipation == pytest.approx(instantaneous.mean(), rel=1e-9)
    assert state.dissipation("Q1") == pins.dissipation > 0


def test_average_base_current_of_a_transistor_without_gain_loss():
    # I_C = BF I_B holds at every instant without Early effect, leakage and charge, forward active all the time
    circuit = hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 MHz", "power": "-30 dBm"},
        port={"input": {"node": "b"}, "output": {"node": "c"}},
        supply={"VCC": {"node": "vcc", "voltage": "5 V"}, "VBB": {"node": "v", "voltage": "0.8 V"}},
        part={"R_b": {"kind": "resistor", "nodes": ["v", "b"], "resistance": "3 kohm"},
              "R_c": {"kind": "resistor", "nodes": ["vcc", "c"], "resistance": "100 ohm"},
              "Q": {"kind": "bjt", "IS": "1e-16 A", "BF": "80",
                    "nodes": {"base": "b", "collector": "c", "emitter": "ground"}}})
    pins = circuit.solve(harmonics=8).devices["Q"].pin_current
    np.testing.assert_allclose(pins["collector"], 80 * pins["base"], rtol=1e-8, atol=1e-14)
    np.testing.assert_allclose(pins["emitter"], -81 * pins["base"], rtol=1e-8, atol=1e-14)


def test_truncation_of_a_given_number_is_the_change_on_twice_as_many(state):
    coarse = mixed_stage("5 dBm").solve(harmonics=6)
    known = coarse.truncation
    fine = mixed_stage("5 dBm").solve(harmonics=12)
    assert (known.coarse, known.fine) == (6, 12)
    assert known.line_db[1:] == pytest.approx([abs(fine.output_dbm(k) - coarse.output_dbm(k)) for k in range(1, 7)],
                                              abs=1e-5)
    assert np.isnan(known.line_db[0])  # DC is no line
    assert known.line_db[2] > state.truncation.line_db[2]


# -- words -------------------------------------------------------------------------------------------------------------

def test_unknown_names_are_refused_with_the_nearest(state):
    with pytest.raises(Refusal, match="there is no node 'vc'; did you mean 'vcc'"):
        state.voltage("vc")
    with pytest.raises(Refusal, match="there is no part 'C_ou'; did you mean 'C_out'"):
        state.current("C_ou")
    with pytest.raises(Refusal, match="there is no part 'L_cc'"):
        state.dissipation("L_cc")
    with pytest.raises(Refusal, match="there is no port 'outptu'; did you mean 'output'"):
        state.output_dbm(2, "outptu")
    for harmonic in (11, -1):
        with pytest.raises(Refusal, match=f"harmonic {harmonic} was not solved; 0 to 10 were"):
            state.output_dbm(harmonic)


def test_reading_only_reads(state):
    # two states of one circuit share their room to work in: reading one must not disturb the other
    circuit = mixed_stage()
    low, high = circuit.solve({"drive.power": -20.0}, harmonics=6), circuit.solve({"drive.power": 10.0}, harmonics=6)
    first = low.current("C_out").copy(), high.current("C_out").copy()
    again = mixed_stage().solve({"drive.power": -20.0}, harmonics=6)
    np.testing.assert_allclose(first[0], again.current("C_out"), atol=1e-13)
    np.testing.assert_array_equal(high.current("C_out"), first[1])
    assert low.output_dbm(2) < high.output_dbm(2) - 20


def test_a_printed_state_is_worth_quoting(state):
    text = repr(state)
    assert "drive 5 dBm at 1.1 GHz" in text and "2.2 GHz" in text and "<- wanted" in text
    assert f"{state.output_dbm(2):.2f} dBm" in text and "supply VCC: 3 V" in text and "10 harmonics" in text
    assert all(len(line) <= 100 for line in text.splitlines()) and len(text.splitlines()) < 15
    assert "inf" not in repr(hbsim.load(EXAMPLE).solve({"drive.power": -10.0}))
