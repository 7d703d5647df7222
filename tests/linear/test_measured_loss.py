"""The loss factor that one measured line tells, and what it changes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear.board import Board, Conductor
from hbsim.linear.coupled_lines import BoardCoupledLines
from hbsim.linear.lines import BoardLine
from hbsim.linear.microstrip.measured_loss import loss_factor_from_measurement
from hbsim.linear.microstrip.propagation import coupled_lines, single_line
from scattering import scattering

FR4 = Board(1.6e-3, 4.4, 0.02, 35e-6, 5.8e7)
DRY = Board(1.6e-3, 4.4, 0.0, 35e-6, 5.8e7)
TAPE = Conductor(35e-6, 30e6, 1e-6)
DB = 20.0 / np.log(10.0)


def loss_of(width, length, board, conductor, frequency):
    return single_line(width, conductor, board, np.array([frequency])).gamma[0].real * length * DB


@given(width=st.floats(0.3e-3, 8e-3), factor=st.floats(0.5, 30.0), frequency=st.floats(0.2e9, 12e9),
       tangent=st.sampled_from([0.0, 0.002, 0.02]))
def test_a_line_loses_what_was_measured(width, factor, frequency, tangent):
    board = Board(1.6e-3, 4.4, tangent, 35e-6, 5.8e7)
    worse = Conductor(35e-6, 30e6, 1e-6, factor)
    measured = loss_of(width, 0.08, board, worse, frequency)
    for told in (TAPE, worse):  # a factor that is there already is left out of account
        assert loss_factor_from_measurement(width, 0.08, board, told, frequency, measured) == pytest.approx(factor)


def test_the_factor_multiplies_skin_loss_and_nothing_else():
    # without dielectric loss and with a perfect ground plane all of the loss is the strip's
    board, tape = Board(1.6e-3, 4.4, 0.0, 35e-6, 1e30), Conductor(35e-6, 30e6)
    for factor in (1.0, 3.0):
        worse = Conductor(35e-6, 30e6, loss_factor=factor)
        assert loss_of(2e-3, 0.1, board, worse, 2e9) == pytest.approx(factor * loss_of(2e-3, 0.1, board, tape, 2e9),
                                                                      rel=1e-6)
        assert scattering(BoardLine(board, 2e-3, 0.1, worse).relation(np.array([0.0]))) == pytest.approx(
            scattering(BoardLine(board, 2e-3, 0.1, tape).relation(np.array([0.0]))))
    for one, other in zip(coupled_lines(2e-3, 0.5e-3, tape, board, np.array([2e9])),
                          coupled_lines(2e-3, 0.5e-3, worse, board, np.array([2e9]))):
        assert other.gamma[0].real == pytest.approx(3.0 * one.gamma[0].real, rel=1e-6)
        assert other.gamma[0].imag == one.gamma[0].imag
    assert BoardCoupledLines(board, 2e-3, 0.5e-3, 0.02, tape) != BoardCoupledLines(board, 2e-3, 0.5e-3, 0.02, worse)


def test_a_number_by_hand():
    # 50 ohm on FR4 at 1 GHz: 0.284 dB/m in copper without dielectric loss (rule on panels), so 2.84 dB/m less the
    # ground plane's part is about ten and more times that in the strip: R h / Rs of strip and ground 0.512, 0.133 (u 2)
    found = loss_factor_from_measurement(3.017e-3, 1.0, DRY, DRY.metal, 1e9, 2.84)
    assert found == pytest.approx((10.0 * (0.512 + 0.133) - 0.133) / 0.512, rel=0.03)  # u 1.89, not 2


@pytest.mark.parametrize("measured, words", [
    (0.20, ["dielectric (0.2", "ground plane", "loss_tangent"]), (0.0, ["above zero"]), (float("nan"), ["finite"])])
def test_too_little_loss_is_refused(measured, words):
    # the dielectric alone: 3.009 dB/m at 1 GHz for a thin strip, about 1 % less for this one, 0.298 dB over 10 cm
    with pytest.raises(Refusal) as refusal:
        loss_factor_from_measurement(3.017e-3, 0.1, FR4, TAPE, 1e9, measured)
    assert refusal.value.place == "measured_loss_db" and all(word in refusal.value.what for word in words)


def test_less_than_the_metal_can_lose_is_refused():
    alone = loss_of(3e-3, 0.1, FR4, Conductor(35e-6, 1e30), 1e9)
    with pytest.raises(Refusal) as refusal:
        loss_factor_from_measurement(3e-3, 0.1, FR4, TAPE, 1e9, alone + 1e-4)
    least = float(refusal.value.what.split("loses ")[1].split(" dB")[0])
    assert loss_factor_from_measurement(3e-3, 0.1, FR4, TAPE, 1e9, least * 1.001) == pytest.approx(0.1, rel=0.3)
    with pytest.raises(Refusal):
        loss_factor_from_measurement(3e-3, 0.1, FR4, TAPE, 1e9, least * 0.999)


def test_a_factor_is_not_below_a_tenth():
    with pytest.raises(Refusal) as refusal:
        Conductor(35e-6, 5.8e7, loss_factor=0.05)
    assert refusal.value.place == "loss_factor"
