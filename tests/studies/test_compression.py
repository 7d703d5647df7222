"""The drive at which the wanted output lies 1 dB below its power law."""

import numpy as np
import pytest
from scipy.special import iv

import hbsim
from hbsim.studies.compression import Compression, compression, sentence

K_OVER_Q = 8.617333262e-5  # Boltzmann constant over the elementary charge, CODATA 2018 (exact in the SI). [V/K]


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


def found_for(circuit, axes, harmonics=6):
    return compression(circuit.description, circuit.sweep(axes, harmonics=harmonics))


def test_the_point_lies_1_db_below_the_line_and_the_line_has_the_law_of_the_harmonic(circuit):
    found = found_for(circuit, {"drive.power": "-40:0:1dBm"})
    at = circuit.solve({"drive.power": found.drive_dbm}, harmonics=6).output_dbm(2)
    assert found.output_dbm == pytest.approx(at, abs=1e-3)
    assert found.line(found.drive_dbm) - at == pytest.approx(1.0, abs=1e-3)
    low = circuit.solve({"drive.power": -55.0}, harmonics=6).output_dbm(2)
    assert low == pytest.approx(float(found.line(-55.0)), abs=0.01)  # 2 dB per dB at low drive
    assert f"{found.drive_dbm:.2f} dBm of drive" in sentence(found)


def test_it_does_not_depend_on_the_steps_or_the_start_of_the_sweep(circuit):
    fine = found_for(circuit, {"drive.power": "-40:0:1dBm"})
    for axis in ("-10:0:5dBm", "0:-40:-8dBm", "3:3:1dBm"):  # coarse; downwards; wholly above the point
        assert found_for(circuit, {"drive.power": axis}).drive_dbm == pytest.approx(fine.drive_dbm, abs=2e-4)


def test_a_sweep_that_ends_below_the_point(circuit):
    found = found_for(circuit, {"drive.power": "-50:-40:5dBm"})
    assert found.drive_dbm is None and found.output_dbm is None
    assert "stays within 1 dB" in sentence(found)


def test_only_a_sweep_of_the_drive_alone_has_one(circuit):
    assert found_for(circuit, {"supply.VCC": [2.0, 3.0]}) is None
    assert found_for(circuit, {"supply.VCC": [2.0, 3.0], "drive.power": [-40.0, 0.0]}) is None


def test_nothing_at_the_wanted_harmonic_has_no_law():
    linear = hbsim.Circuit.build(drive={"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
                                 port={"input": {"node": "in"}, "output": {"node": "out"}},
                                 part={"R1": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "50 ohm"}})
    assert found_for(linear, {"drive.power": [-10.0, 0.0]}) is None


def test_a_junction_driven_by_a_voltage_expands_as_the_bessel_function_says():
    """An exponential junction's second harmonic current is 2 IS I_2(v / v_t) (NIST DLMF eq. 10.35.2), which rises above
    its square law IS (v / v_t)^2 / 4: there is no point of compression, and the line is the law."""
    stage = hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 MHz", "power": "-20 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        part={"D1": {"kind": "diode", "nodes": ["in", "out"], "IS": "1e-8 A", "temperature": "300 K"}})
    table = stage.sweep({"drive.power": "-40:-20:5dBm"}, harmonics=12)
    found = compression(stage.description, table)
    assert found.drive_dbm is None
    v = np.sqrt(8 * 50 * 1e-3 * 10 ** (table["drive.power"] / 10)) / (K_OVER_Q * 300)
    above = 20 * np.log10(iv(2, v) / (v**2 / 8))
    assert above[-1] > 3
    # 0.02 dB: at the drive that anchors the line the output lies v^2 / 12 above the law already, v = 0.15; 0.01 dB:
    # the 100 ohm in series take 1e-7 A times 100 ohm of the 64 mV.
    assert table["output_dbm_2"] - found.line(table["drive.power"]) == pytest.approx(above, abs=0.03)


def test_the_line():
    line = Compression(line_dbm=10.0, order=2)
    assert line.line(np.array([-20.0, 0.0])).tolist() == [-30.0, 10.0]
