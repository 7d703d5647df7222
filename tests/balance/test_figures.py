"""Figures: the values that a state gives itself, and their slopes against small changes of what they are read from."""

import math
from dataclasses import replace

import numpy as np
import pytest

import hbsim
from hbsim.balance.figures import (ConversionLoss, DeviceHeat, DirectVoltage, Efficiency, OutputLevel, OutputPhase,
                                   OutputWatts, PartHeat, PeakVoltage, ReturnLoss, Slopes, SupplyCurrent, SupplyPower)
from hbsim.errors import Refusal


@pytest.fixture(scope="module")
def state(examples):
    return hbsim.load(examples / "beacon_2304.toml").solve(harmonics=8)


def test_values_are_those_of_the_state(state):
    expected = {
        OutputLevel(2): state.output_dbm(2), OutputLevel(1, "input"): state.output_dbm(1, "input"),
        OutputWatts(3): state.output_watts(3), OutputPhase(2): state.output_phase_deg(2),
        ReturnLoss(): state.input_return_loss_db, ConversionLoss(): state.conversion_loss_db,
        SupplyCurrent("VCC"): state.supplies["VCC"].amps, SupplyPower(): state.dc_power_w,
        Efficiency(): state.efficiency, PartHeat("R_s"): state.dissipation("R_s"),
        PartHeat("port.output"): state.dissipation("port.output"), PartHeat("Q1.RE"): state.dissipation("Q1.RE"),
        PartHeat("supply.VCC"): state.dissipation("supply.VCC"), DeviceHeat("Q1"): state.dissipation("Q1"),
        DirectVoltage("vcc"): state.supplies["VCC"].volts}
    for figure, value in expected.items():
        # a device's heat by its parts and by its pins: Kirchhoff's law, to the balance's own error
        assert figure.value(state, state.description) == pytest.approx(value, rel=1e-10), figure


def test_a_peak_is_met_between_samples(state):
    peak = PeakVoltage("c", "e").value(state, state.description)
    _, c = state.waveform("c", 20000)
    _, e = state.waveform("e", 20000)
    sampled = (c - e).max()
    # at most half a sample away from the peak, 1.6e-4 rad: v'' / 2 of that is below 64 harmonics^2 1e-8 of it
    assert sampled <= peak <= sampled + 1e-6


@pytest.mark.parametrize("figure", [
    OutputLevel(2), OutputWatts(1, "input"), OutputPhase(2), ReturnLoss(), ConversionLoss(), SupplyPower(),
    Efficiency(), DirectVoltage("b"), PeakVoltage("c", "e"), PartHeat("R_s"), PartHeat("match_line"),
    PartHeat("supply.VCC"), DeviceHeat("Q1")], ids=repr)
def test_slopes_are_those_of_the_value(state, figure):
    # everything that a figure may be read from is moved at once, at random; central difference at 1e-6, which leaves
    # 1e-12 of curvature and 1e-10 of rounding beside a slope of the figure's own size
    rng = np.random.default_rng(4)
    network, unknowns, branches = state.system.network, state._unknowns, state._branches

    def random(shape):
        found = rng.normal(size=shape) + 1j * rng.normal(size=shape)
        found[0] = found[0].real
        return found

    by_unknown, by_source = random(unknowns.shape), random(state.source.shape)
    by_branch = random(branches[1].shape)

    def moved(step):
        there = replace(state, source=state.source + step * by_source)
        object.__setattr__(there, "_unknowns", unknowns + step * by_unknown)
        voltages = np.stack([network.node_voltage(there._unknowns, start) - network.node_voltage(there._unknowns, end)
                             if start != end else np.zeros(len(unknowns)) for m in state.system.mounted
                             for start, end in m.branches()], axis=1)
        object.__setattr__(there, "_branches", (voltages, branches[1] + step * by_branch))
        return figure.value(there, state.description)

    slopes, expected = figure.slopes(state), 0.0
    for node, h in slopes.nodes.items():
        expected += (h @ by_unknown[:, network.layout.nodes[node]]).real
    for (name, terminal), h in slopes.currents.items():
        expected += (h @ network.terminal_currents(by_unknown, name)[:, terminal]).real
    if slopes.branches is not None:
        expected += (slopes.branches * by_branch).sum().real
    for name, h in slopes.sources.items():
        expected += (h @ by_source[:, network.sources.index(name)]).real
    step = 1e-6 * min(1.0, abs(figure.value(state, state.description) / expected))
    assert (moved(step) - moved(-step)) / (2 * step) == pytest.approx(expected, rel=1e-7)


def test_slopes_add_up():
    one, other = Slopes({"a": np.array([1.0])}, {("R", 0): np.array([2.0])}, np.ones((1, 1))), \
        Slopes({"a": np.array([3.0]), "b": np.array([4.0])}, branches=np.full((1, 1), 5.0))
    one.add(other, -2.0)
    assert one.nodes["a"] == -5.0 and one.nodes["b"] == -8.0 and one.currents["R", 0] == 2.0 and one.branches == -9.0


def test_what_has_no_slope_is_refused(state):
    for figure, words in ((OutputLevel(9), "harmonic 9 was not solved"), (OutputWatts(0), "1 and up"),
                          (SupplyCurrent("VEE"), "no supply 'VEE'"), (DeviceHeat("Q2"), "no device 'Q2'"),
                          (PartHeat("R_x"), "no part 'R_x'"), (OutputLevel(2, "outptu"), "no port 'outptu'")):
        with pytest.raises(Refusal, match=words):
            figure.value(state, state.description)
    silent = replace(state, form=np.zeros_like(state.form), source=np.zeros_like(state.source))
    for figure in (OutputLevel(2), OutputPhase(2)):
        with pytest.raises(Refusal, match="has no slope"):
            figure.slopes(silent)
    assert OutputLevel(2).value(silent, silent.description) == -math.inf
