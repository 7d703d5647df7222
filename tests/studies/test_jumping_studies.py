"""Studies of a circuit that jumps, and with the generator's own second harmonic: what is told is what is there."""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.errors import Refusal
from hbsim.studies.band_edges import JUMP
from hbsim.studies.bias_study import bias_study
from hbsim.studies.drive_study import drive_study
from hbsim.studies.frequency_study import frequency_study
from hbsim.studies.plane import plane

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def varactor():
    return hbsim.load(EXAMPLES / "varactor_jump.toml").description


@pytest.fixture(scope="module")
def doubler():
    return hbsim.load(EXAMPLES / "lumped_doubler.toml").description


def test_waveforms_beside_the_best_are_those_of_the_curve(varactor):
    """From rest the circuit meets another state there, 20 dB lower: the curve's own is to be told."""
    study = bias_study(varactor, "supply.VB", np.linspace(3.0, 5.0, 21), [8.0], harmonics=10)
    (curve,) = study.curves
    told = {waves.place: waves for waves in study.waveforms}
    assert told["best"].output_dbm == pytest.approx(curve.most_output.figure, abs=1e-3)
    assert told["below"].lost_db == pytest.approx(1.0, abs=1e-3)  # the supply is found to 1e-5 of itself
    assert 0.0 < told["above"].lost_db < 1.1  # the jump comes before 1 dB is lost


def test_the_most_output_beside_a_jump_is_a_point_that_was_met(varactor):
    study = frequency_study(varactor, np.linspace(290e6, 320e6, 21))
    assert study.most.place == "jump" and study.most.hz in study.frequency
    assert any(edge.why == JUMP for band in study.bands for edge in (band.low, band.high))


def test_no_power_law_line_with_the_generators_own_second_harmonic(doubler):
    own = doubler.with_values({"drive.second_harmonic": -25.0})
    assert drive_study(own, "-40:0:5 dBm", harmonics=8).curve.found is None
    assert drive_study(doubler, "-40:0:5 dBm", harmonics=8).curve.found is not None


def test_terminations_on_the_drives_way_do_not_move_it_silently(doubler):
    own = doubler.with_values({"drive.second_harmonic": -25.0})
    with pytest.raises(Refusal, match="generator's own second harmonic"):
        plane(own, "base", 1).terminated(0.5 + 0j)
    assert plane(own, "collector", 2).terminated(0.5 + 0j) is not None
