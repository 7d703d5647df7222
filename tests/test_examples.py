"""The examples: every circuit solves, keeps its power, and does what its notes say."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import hbsim

CIRCUITS = ("beacon_2304", "beacon_2304_filter_file", "beacon_5760", "bridge_doubler", "chain_4608", "diode_doubler",
            "lumped_doubler", "push_push_2304", "unbiased_2304", "varactor_jump")
BEACONS = ("beacon_2304", "beacon_2304_filter_file", "beacon_5760")


@pytest.fixture(scope="module")
def circuits(examples):
    return {name: hbsim.load(examples / f"{name}.toml") for name in CIRCUITS}


@pytest.fixture(scope="module")
def states(circuits):
    return {name: circuit.solve(harmonics=16) for name, circuit in circuits.items()}


def test_every_circuit_file_is_tested_here(examples):
    assert sorted(path.stem for path in examples.glob("*.toml")) == sorted(CIRCUITS)


@pytest.mark.parametrize("name", CIRCUITS)
def test_says_that_it_is_invented_and_how_it_was_designed(name, examples):
    notes = (examples / f"{name}.toml").read_text(encoding="utf-8").partition("title =")[0]
    assert "invented" in notes.lower()
    assert len(notes.splitlines()) >= 5


@pytest.mark.parametrize("name", CIRCUITS)
def test_power_is_conserved(name, states):
    # Conservation of energy: what generator and supplies give is the heat in all parts, at all harmonics.
    balance = states[name].power_balance
    assert abs(balance["error"]) < 1e-6 * balance["given"]


@pytest.mark.parametrize("name", CIRCUITS)
def test_second_harmonic_rises_2_db_per_db_at_low_drive(name, circuits):
    # The lowest term of a power series that makes 2 f0 is the square: 2 dB per dB (textbook; e.g. S. A. Maas,
    # Nonlinear Microwave and RF Circuits, 2nd ed., Artech House 2003, ch. 4, from memory). 0.01: the next term.
    table = circuits[name].sweep({"drive.power": [-40.0, -38.0]}, harmonics=8)
    assert np.diff(table["output_dbm_2"])[0] / 2.0 == pytest.approx(2.0, abs=0.01)


@pytest.mark.parametrize("name", [name for name in CIRCUITS if name != "lumped_doubler"])
def test_no_dc_at_the_ports_and_no_rating_exceeded(name, states):
    state = states[name]
    for port in state.description.ports.values():
        assert abs(state.voltage(port.node)[0]) < 1e-9  # blocked by a capacitor or by coupled strips; volts
    assert not [f"{device.name}: {rating.meaning}" for device in state.devices.values() for rating in device.ratings
                if rating.exceeded]


@pytest.mark.parametrize("name, least, most", [("beacon_2304", 0.0, 5.0), ("beacon_2304_filter_file", 0.0, 5.0),
                                               ("beacon_5760", -7.0, -2.0)])
def test_output_is_within_a_few_db_of_the_drive_at_0_dbm(name, least, most, states):
    # Common practice, no source: at 0 dBm a doubler to 2.3 GHz about breaks even, one to 5.8 GHz on FR4 with a filter
    # of three resonators loses of the order of 5 dB.
    assert states[name].description.drive.power_dbm == 0.0
    assert least < states[name].output_dbm(2) < most


@pytest.mark.parametrize("name, least", [("beacon_2304", 25.0), ("beacon_2304_filter_file", 25.0),
                                         ("beacon_5760", 30.0), ("diode_doubler", 25.0)])
def test_f0_is_suppressed_and_the_input_matched(name, least, states):
    # Common practice, no source: 25 dB behind two resonators, 30 dB behind three; 10 dB return loss.
    state = states[name]
    assert state.output_dbc(1) < -least
    assert state.input_return_loss_db > 10.0
    # In the collector current f0 is larger than 2 f0 (common practice, no source): the filter does it.
    for device in state.devices.values():
        if "collector" in device.pin_current:
            assert abs(device.pin_current["collector"][1]) > abs(device.pin_current["collector"][2])


@pytest.mark.parametrize("name", ["beacon_2304", "beacon_5760"])
def test_output_saturates_a_few_db_above_0_dbm(name, circuits):
    # Common practice, no source. A square law would add 2 dB for 1 dB.
    table = circuits[name].sweep({"drive.power": [3.0, 4.0, 5.0]}, harmonics=8)
    slope = np.diff(table["output_dbm_2"])
    assert np.all(slope < 0.8)
    assert slope[1] < slope[0]


@pytest.mark.parametrize("name", ["beacon_2304", "beacon_5760"])
def test_each_drive_has_its_supply_of_most_output_and_another_of_best_match(name, circuits):
    # Common practice, no source: each drive has one supply of most output, rising with it; the match peaks at another.
    drive, supply = np.array([-10.0, -5.0, 0.0, 2.0]), np.arange(1.0, 8.01, 0.1)
    table = circuits[name].sweep({"drive.power": drive, "supply.VCC": supply}, harmonics=8)
    assert table.solved.all()
    output, match = table["output_dbm_2"], table["input_return_loss_db"]
    best = np.argmax(output, axis=1)
    assert np.all((0 < best) & (best < len(supply) - 1)) and np.all(np.diff(best) > 0)
    for row, peak in zip(output, best):
        # One peak only: up to it the output rises, beyond it falls, until 20 dB below (there, far too much supply for
        # the drive, the transistor no longer clips and is another circuit).
        falling = peak + np.argmin(np.append(row[peak:] > row[peak] - 20.0, False))
        assert np.all(np.diff(row[:peak + 1]) > 0) and np.all(np.diff(row[peak:falling]) < 0)
    best_match = np.argmax(match, axis=1)
    assert np.all(np.abs(supply[best_match] - supply[best]) > 0.3)


def test_filter_as_parts_and_as_a_file_are_the_same(states):
    # Both descriptions are of one filter; all harmonics stand in the file, so only its 7 printed digits differ.
    parts, file = states["beacon_2304"], states["beacon_2304_filter_file"]
    for k in (1, 2, 3, 4, 6):
        assert file.output_dbm(k) == pytest.approx(parts.output_dbm(k), abs=0.001)
    assert file.output_phase_deg(2) == pytest.approx(parts.output_phase_deg(2), abs=0.01)


def test_kept_filter_file_is_what_its_script_writes(examples, tmp_path):
    made = tmp_path / "made.s2p"
    run("make_filter_file.py", made, examples, tmp_path)
    now, kept = hbsim.read_touchstone(made), hbsim.read_touchstone(examples / "filter_2304.s2p")
    np.testing.assert_array_equal(now.frequency, kept.frequency)
    np.testing.assert_allclose(now.s, kept.s, atol=1.1e-7)  # one unit of the last printed digit
    assert kept.frequency[-1] > 16 * 1.152e9


def test_diode_without_charge_obeys_the_bound_of_a_resistance(circuits):
    # C. H. Page, Proc. IRE 46 (1958) 1738-1740 (from memory): a resistive diode doubles with at least 6.02 dB of loss.
    # Stored charge makes more, which is what the notes of the file say of this diode.
    charged = circuits["diode_doubler"].solve()
    resistive = circuits["diode_doubler"].solve({"D1.TT": "0 s", "D1.CJO": "0 pF", "D1.case_capacitance": "0 pF"})
    assert charged.conversion_loss_db < 6.02 < resistive.conversion_loss_db


def test_quick_look_prints_and_draws(examples, tmp_path):
    picture = tmp_path / "out.png"
    printed = run("quick_look.py", picture, examples, tmp_path)
    assert "2.304 GHz" in printed and "<- wanted" in printed
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_transistors_in_parallel_add_their_power(examples, tmp_path):
    printed = run("transistors_in_parallel.py", None, examples, tmp_path).splitlines()
    rows = [line.split() for line in printed[1:]]
    for row in rows:
        # n alike give n times the power of one; unlike ones, that share the current, nearly so
        assert float(row[2]) == pytest.approx(10 * np.log10(int(row[0])), abs=0.05)
    assert "as one matrix" in printed[1] and "in pieces, by iteration" in printed[-1]


def test_a_cluster_takes_a_sweep(examples, tmp_path):
    pytest.importorskip("distributed", reason="optional; .ci/run installs it and runs this example")
    printed = run("on_several_machines.py", None, examples, tmp_path)
    assert "867 of 867 points solved" in printed and "own threads: True" in printed


def run(script, argument, examples, folder):
    """Run an example script as a user does, from another folder; what it printed."""
    found = {**os.environ, "PYTHONPATH": str(Path(hbsim.__file__).parent.parent)}  # wherever the tests found hbsim
    command = [sys.executable, examples / script, *([] if argument is None else [argument])]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True,
                          env=found)
    assert done.returncode == 0, done.stderr
    return done.stdout
