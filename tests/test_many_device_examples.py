"""The examples of several devices do what their notes say; what every example must do is in test_examples.py."""

import numpy as np
import pytest

import hbsim


@pytest.fixture(scope="module")
def push_push(examples):
    return hbsim.load(examples / "push_push_2304.toml")


@pytest.fixture(scope="module")
def bridge(examples):
    return hbsim.load(examples / "bridge_doubler.toml")


@pytest.fixture(scope="module")
def two_stages(examples):
    return hbsim.load(examples / "chain_4608.toml")


LOSSLESS = {"board.loss_tangent": 0.0, "board.conductivity": "1e15 S/m", "board.roughness": "0 m"}


def test_push_push_cancels_f0_that_both_collectors_make(push_push):
    state = push_push.solve()
    for device in state.devices.values():
        current = np.abs(device.pin_current["collector"])
        assert current[1] > 2 * current[2]  # what the notes say
    assert state.output_dbc(1) < -30.0 and state.output_dbc(3) < -30.0
    assert state.input_return_loss_db > 15.0 and 8.0 < state.output_dbm(2) < 10.0
    # One device switched off (a junction of next to no current): its f0 finds no partner.
    alone = push_push.solve({"Q2.IS": "1e-30 A", "Q2.ISE": "0 A", "Q2.ISC": "0 A"})
    assert alone.output_dbc(1) > -15.0


def test_cancelling_is_narrower_than_the_output(push_push):
    frequency = [1.06e9, 1.14e9, 1.147e9, 1.152e9, 1.157e9, 1.164e9, 1.18e9]
    table = push_push.sweep({"drive.frequency": frequency}, harmonics=8)
    leak = np.array(table["output_dbm_1"]) - table["output_dbm_2"]
    assert np.all(leak[2:5] < -24.5) and leak[1] > -22.0 and leak[5] > -22.0
    assert np.abs(table["output_dbm_2"] - table["output_dbm_2"][3]).max() < 3.0  # as the notes say


def test_bridge_loses_what_resistive_diodes_lose(bridge):
    # Common practice, no source: 8 to 13 dB; above 6.02 dB (C. H. Page, Proc. IRE 46 (1958) 1738-1740, from memory).
    # The bound is for resistances: charge, which could beat it, is taken out.
    state = bridge.solve()
    assert 8.0 < state.conversion_loss_db < 13.0
    bare = bridge.solve({f"D{n}.{name}": "0 F" for n in range(1, 5) for name in ("CJO", "case_capacitance")})
    assert bare.conversion_loss_db > 6.02
    assert state.output_dbc(1) < -25.0 and state.input_return_loss_db > 18.0


def test_what_balun_loss_and_unequal_diodes_leak(bridge):
    lossless, built = bridge.solve(LOSSLESS).output_dbc(1), bridge.solve().output_dbc(1)
    unequal = bridge.solve({"D1.IS": "60 nA"}).output_dbc(1)
    assert lossless < built - 20.0 and built < unequal - 3.0


def test_fourth_harmonic_of_two_doublers_rises_4_db_per_db_at_low_drive(two_stages):
    # Square of a square (textbook; S. A. Maas, Nonlinear Microwave and RF Circuits, 2nd ed., Artech House 2003, ch. 4,
    # from memory). 0.02: the next term at -35 dBm, which falls with the drive.
    table = two_stages.sweep({"drive.power": [-37.0, -35.0, -32.0, -30.0]}, harmonics=8)
    level = table["output_dbm_4"]
    low, high = (level[1] - level[0]) / 2, (level[3] - level[2]) / 2
    assert low == pytest.approx(4.0, abs=0.02) and abs(low - 4.0) < abs(high - 4.0)


def test_second_stage_runs_at_2304_mhz(two_stages):
    state = two_stages.solve()
    base = np.abs(state.devices["Q2"].pin_current["base"])
    assert 20 * np.log10(base[2] / base[1]) == pytest.approx(39.0, abs=1.0)  # say the notes
    for name, order in (("Q1", 1), ("Q2", 2)):
        current = np.abs(state.devices[name].pin_current["collector"])
        assert current[order] > current[2 * order]  # each doubles, and its own drive is the larger line
    assert 1.0 < state.output_dbm(4) < 4.0 and state.input_return_loss_db > 15.0
    assert all(state.output_dbc(k) < -25.0 for k in range(1, 9) if k != 4)


def test_pad_hides_the_second_base_from_the_filter(two_stages):
    # A pad of A dB adds 2 A to the return loss of what stands behind it (textbook); 220, 24, 220 ohm: 4.1 dB.
    state = two_stages.solve()

    def return_loss(voltage, current):
        z = voltage / current
        return -20 * np.log10(abs((z - 50) / (z + 50)))

    behind = return_loss(state.voltage("p")[2], state.current("C_in2")[2, 0])
    before = return_loss(state.voltage("f_3")[2], -state.current("filter_13")[2, 1])
    shunt, series = 220.0, 24.0
    loaded = shunt * 50 / (shunt + 50)
    gain = loaded / (loaded + series)  # of voltage, ended in 50 ohm
    inner = shunt * (series + loaded) / (shunt + series + loaded)
    assert inner == pytest.approx(50.0, rel=1e-3)  # the three values are matched to 4e-4
    assert before - behind == pytest.approx(-40 * np.log10(gain), abs=0.02)  # 2e-4 of reflection beside 0.14
