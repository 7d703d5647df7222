"""Slopes of S-parameters: closed forms, and full responses at neighbouring values."""

import numpy as np
import pytest
from scipy.linalg import logm

import hbsim
from hbsim.errors import Refusal
from hbsim.studies.circuit import Circuit
from hbsim.studies.network_response import network_response
from hbsim.studies.network_slopes import scattering_slopes

GHZ = np.array([0.5e9, 1e9, 1.7e9])
RELATIVE = 1e-6  # of the largest slope of a quantity; what the extrapolated differences are good to


def circuit(parts, ports=None, **tables):
    """A circuit whose drive is at 1 GHz into port "one" at node p."""
    ports = ports or {"one": {"node": "p"}, "two": {"node": "q"}}
    return Circuit.build(drive={"port": "one", "frequency": "1 GHz", "power": "0 dBm"},
                         wanted={"port": list(ports)[-1], "harmonic": 2}, port=ports, part=parts, **tables).description


def neighbours(description, address, frequency, ports=None, step=None, **options):
    """Slope by central differences of full responses at two steps, extrapolated (L. F. Richardson, Phil. Trans. A 210
    (1911) 307-357)."""
    value = description.look_up(address)[1]
    step = step or 1e-4 * abs(value)

    def s(place):
        return network_response(description.with_values({address: value + place * step}), frequency, ports, **options).s

    near, far = (s(1.0) - s(-1.0)) / (2 * step), (s(2.0) - s(-2.0)) / (4 * step)
    return near + (near - far) / 3


def check(description, addresses, frequency, ports=None, **options):
    """All slopes against full responses; those of the response itself."""
    s, slopes = scattering_slopes(description, addresses, frequency, ports, **options)
    # the same equations, at more frequencies at a time: rounding
    np.testing.assert_allclose(s, network_response(description, frequency, ports, **options).s, rtol=0.0, atol=1e-12)
    for address, found in zip(addresses, slopes):
        expected = neighbours(description, address, frequency, ports, **options)
        assert np.abs(expected).max() > 0.0, address
        np.testing.assert_allclose(found, expected, rtol=0.0, atol=RELATIVE * np.abs(expected).max(), err_msg=address)
    return slopes


def test_an_ideal_line_has_the_slopes_of_its_wave():
    # matched: S21 = exp(-j omega T), T = angle / (360 at) (elementary)
    line = circuit({"L": {"kind": "line", "nodes": ["p", "q"], "impedance": "50 ohm", "electrical_length": "70 deg",
                          "at": "1 GHz"}})
    s, slopes = scattering_slopes(line, ["L.electrical_length", "L.impedance", "drive.power"], GHZ)
    theta = np.radians(70.0) * GHZ / 1e9
    wave = np.exp(-1j * theta)
    by_angle = np.zeros((3, 2, 2), complex)
    by_angle[:, 0, 1] = by_angle[:, 1, 0] = -1j * np.radians(GHZ / 1e9) * wave
    # differences of fourth order: theta^4 (2^-13)^4 / 30 = 5e-16 of it, and rounding of 1e-12
    np.testing.assert_allclose(slopes[0], by_angle, rtol=0.0, atol=1e-11)
    # S11 = j (Z / R - R / Z) sin / (2 cos + j (Z / R + R / Z) sin), differentiated at Z = R: j sin / (R e^(j theta))
    by_impedance = np.zeros((3, 2, 2), complex)
    by_impedance[:, 0, 0] = by_impedance[:, 1, 1] = 1j * np.sin(theta) * wave / 50.0
    np.testing.assert_allclose(slopes[1], by_impedance, rtol=0.0, atol=1e-11)
    assert not slopes[2].any()
    np.testing.assert_allclose(s[:, 1, 0], wave, rtol=1e-12)


def test_a_strip_has_the_slopes_of_its_chain_matrix_by_its_length():
    # a length l of any line has the chain matrix exp(l M), so that d/dl of it is M exp(l M), M by scipy's logm; S from
    # chain matrices and back: D. M. Pozar, Microwave Engineering, 4th ed., Wiley 2012, table 4.2 (from memory)
    board = {"use": "fr4-1.6mm"}
    strip = circuit({"L": {"kind": "line", "nodes": ["p", "q"], "width": "2 mm", "length": "30 mm"}}, board=board)
    s, slopes = scattering_slopes(strip, ["L.length"], GHZ)
    for k in range(len(GHZ)):
        (s11, s12), (s21, s22) = s[k]
        chain = np.array([[(1 + s11) * (1 - s22) + s12 * s21, 50 * ((1 + s11) * (1 + s22) - s12 * s21)],
                          [((1 - s11) * (1 - s22) - s12 * s21) / 50, (1 - s11) * (1 + s22) + s12 * s21]]) / (2 * s21)
        (a, b), (c, d) = logm(chain) / 30e-3 @ chain
        whole = chain[0, 0] + chain[0, 1] / 50 + chain[1, 0] * 50 + chain[1, 1]
        moved = a + b / 50 + c * 50 + d
        # logm and the way back leave some 1e-12 of a slope of 70 per metre
        np.testing.assert_allclose(slopes[0, k, 1, 0], -2 * moved / whole**2, rtol=1e-9)
        np.testing.assert_allclose(slopes[0, k, 0, 0], (a + b / 50 - c * 50 - d) / whole - s11 * moved / whole,
                                   rtol=0.0, atol=1e-9 * abs(moved / whole))


def test_a_resistor_has_the_slopes_of_its_closed_form_and_of_its_references():
    # S11 = (R + R2 - R1) / (R + R2 + R1), S21 = 2 sqrt(R1 R2) / (R + R1 + R2), differentiated by hand
    r1, r, r2 = 50.0, 30.0, 75.0
    total = r + r1 + r2
    ports = {"one": {"node": "p"}, "two": {"node": "q", "impedance": "75 ohm"}}
    there = circuit({"R": {"kind": "resistor", "nodes": ["p", "q"], "resistance": "30 ohm"}}, ports)
    addresses = ["R.resistance", "port.one.impedance", "port.two.impedance"]
    _, slopes = scattering_slopes(there, addresses, GHZ)
    s21 = 2 * np.sqrt(r1 * r2) / total
    np.testing.assert_allclose(slopes[0, :, 0, 0], 2 * r1 / total**2, rtol=1e-10)
    np.testing.assert_allclose(slopes[0, :, 1, 0], -s21 / total, rtol=1e-10)
    np.testing.assert_allclose(slopes[1, :, 0, 0], -2 * (r + r2) / total**2, rtol=1e-10)
    np.testing.assert_allclose(slopes[1, :, 1, 0], s21 * (0.5 / r1 - 1 / total), rtol=1e-10)
    np.testing.assert_allclose(slopes[2, :, 0, 0], 2 * r1 / total**2, rtol=1e-10)
    np.testing.assert_allclose(slopes[2, :, 0, 1], s21 * (0.5 / r2 - 1 / total), rtol=1e-10)
    _, fixed = scattering_slopes(there, addresses, GHZ, reference=50.0)
    assert fixed[0].all() and not fixed[1:].any()  # a reference that is given does not move
    _, other = scattering_slopes(there, addresses, GHZ, ["one"])  # then port two is a load
    np.testing.assert_allclose(other[2, :, 0, 0], 2 * r1 / total**2, rtol=1e-10)


def test_every_quantity_of_the_filter_against_full_responses(examples):
    description = hbsim.load(examples / "beacon_2304.toml").description
    filter_parts = ["filter_1", "filter_2", "filter_3"]
    addresses = [f"{part}.{what}" for part in filter_parts for what in ("width", "gap", "length")]
    addresses += ["board.permittivity", "board.height", "board.loss_tangent", "board.thickness", "board.roughness"]
    check(description, addresses, np.linspace(1.8e9, 2.8e9, 21), ["f_0", "f_3"], parts=filter_parts)


def test_the_whole_circuit_with_its_vias_and_junctions(examples):
    description = hbsim.load(examples / "beacon_2304.toml").description
    addresses = ["via_1.inductance", "match_stub.length", "match_line.length", "R_c.resistance", "C_in.capacitance",
                 "board.permittivity", "feed_line.width", "supply.VCC.resistance", "C_in.series_inductance"]
    check(description, addresses, np.linspace(0.3e9, 7e9, 24), ["input", "b", "c/e", "output"],
          reference=[50, 20, 30, 50])


def test_direct_current_and_a_piece_that_hangs_at_a_port_alone():
    # the piece between u and v touches no ground; at 0 Hz the capacitor is open
    parts = {"R": {"kind": "resistor", "nodes": ["p", "q"], "resistance": "30 ohm"},
             "C": {"kind": "capacitor", "nodes": ["q", "ground"], "capacitance": "4 pF"},
             "X": {"kind": "resistor", "nodes": ["u", "v"], "resistance": "20 ohm"},
             "Y": {"kind": "inductor", "nodes": ["v", "u"], "inductance": "9 nH"}}
    there = circuit(parts)
    found = check(there, ["R.resistance", "C.capacitance", "X.resistance", "Y.inductance"],
                  np.array([0.0, 1e9, 2e9]), ["p", "q", "u/v"])
    assert not found[1, 0].any() and found[0, 0].any()
    # at 0 Hz a reflection of -1: the inductor is a short, whatever stands beside it
    assert np.abs(found[2:, 0]).max() < 1e-15


def test_an_amplifier_with_feedback_whose_two_ways_differ(tmp_path):
    (tmp_path / "fet.s2p").write_text("# GHz S MA R 50\n1 .9 -40 4.1 140 .04 60 .6 -30\n"  # invented
                                      "2 .8 -75 3.2 110 .06 40 .5 -55\n3 .7 -110 2.4 80 .07 25 .45 -80\n")
    there = circuit({"T": {"kind": "touchstone block", "nodes": ["g", "q"], "file": "fet.s2p"},
                     "C": {"kind": "capacitor", "nodes": ["p", "g"], "capacitance": "2 pF"},
                     "R": {"kind": "resistor", "nodes": ["g", "q"], "resistance": "400 ohm"}}, folder=tmp_path)
    found = check(there, ["C.capacitance", "R.resistance", "port.two.impedance"], np.array([1e9, 1.5e9, 2.8e9]))
    assert np.abs(found[:, :, 0, 1]).max() < 0.5 * np.abs(found[:, :, 1, 0]).max()


def test_a_capacitance_that_grows_from_none():
    there = circuit({"R": {"kind": "resistor", "nodes": ["p", "q"], "resistance": "30 ohm"},
                     "C": {"kind": "capacitor", "nodes": ["q", "ground"], "capacitance": "0 pF"}})
    _, slopes = scattering_slopes(there, ["C.capacitance"], GHZ)
    # at node q 1 / (Y + j omega C): S22 = -1 + 2 Z / 50 with Z = 50 || 80, dZ / dC = -j omega Z^2
    z = 1 / (1 / 50 + 1 / 80)
    np.testing.assert_allclose(slopes[0, :, 1, 1], -2j * 2 * np.pi * GHZ * z**2 / 50, rtol=1e-8)


def test_many_frequencies_are_taken_in_pieces(monkeypatch):
    there = circuit({"R": {"kind": "resistor", "nodes": ["p", "q"], "resistance": "30 ohm"},
                     "C": {"kind": "capacitor", "nodes": ["q", "ground"], "capacitance": "4 pF"}})
    frequency = np.linspace(0.0, 3e9, 7)
    whole = scattering_slopes(there, ["C.capacitance"], frequency)
    monkeypatch.setattr("hbsim.studies.network_slopes.at_once", lambda elements, nodes: 4)
    for one, other in zip(whole, scattering_slopes(there, ["C.capacitance"], frequency)):
        np.testing.assert_allclose(one, other, rtol=1e-12, atol=1e-15 * np.abs(one).max())


@pytest.mark.parametrize("address, ports, words", [
    ("C.series_resistance", None, "not given"), ("C.capacitanse", None, "C.capacitance"),
    ("C.capacitance", ["r"], "no node")])
def test_refusals(address, ports, words):
    there = circuit({"C": {"kind": "capacitor", "nodes": ["p", "q"], "capacitance": "4 pF"}})
    with pytest.raises(Refusal, match=words):
        scattering_slopes(there, [address], GHZ, ports)
