"""The example that jumps does what its notes say; what every example must do is in test_examples.py.

That a driven resonance which bends over has three states between two folds, and jumps there, is textbook matter (J. J.
Stoker, Nonlinear Vibrations, 1950; from memory).
"""

import numpy as np
import pytest

import hbsim

LEVELS = "4:12:0.5dBm"


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "varactor_jump.toml")


def test_it_resonates_where_its_notes_say(circuit):
    table = circuit.sweep({"drive.frequency": "290:370:0.5MHz", "drive.power": [-40.0]}, harmonics=8)
    level, frequency = table["output_dbm_1"][:, 0], table["drive.frequency"]
    assert frequency[np.argmax(level)] == pytest.approx(328e6, abs=1e6)
    assert np.ptp(frequency[level > level.max() - 3.0]) == pytest.approx(23e6, abs=1e6)


def test_each_drive_between_the_jumps_has_three_states(circuit):
    table = circuit.sweep({"drive.power": LEVELS}, harmonics=16)
    (up,), (down,) = table.others.jumps_up_dbm, table.others.jumps_down_dbm
    assert down < up - 2.0
    drives = table["drive.power"][table.others.points]
    between = [drive for drive in table["drive.power"] if down < drive < up]
    assert [(drive, way) for drive, way in zip(drives, table.others.turned)] == [
        (drive, way) for drive in between for way in ("neither", "down")]


@pytest.mark.parametrize("values", [{"C_in.capacitance": "1.5 pF"}, {"drive.frequency": "320 MHz"}])
def test_it_does_not_jump_with_more_coupling_or_nearer_to_resonance(circuit, values):
    assert not len(circuit.with_values(values).sweep({"drive.power": LEVELS}, harmonics=16).others.points)
