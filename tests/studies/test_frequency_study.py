"""The frequency study: bandwidth against a closed form and independent solves, gaps, power carried along a chain."""

import json
import math

import numpy as np
import pytest

import hbsim
from hbsim.balance.solve import solve
from hbsim.errors import NotSolved, Refusal
from hbsim.linear.network import GROUND
from hbsim.show.frequency_page import frequency_page
from hbsim.show.frequency_plot import frequency_figure
from hbsim.studies import frequency_study as module
from hbsim.studies.budget import budget
from hbsim.studies.frequency_figures import as_json, header, rows
from hbsim.studies.frequency_study import frequency_study
from hbsim.studies.through import between_stages, carried, place_of

L, C = 0.3978873577e-9, 15.91549431e-12  # 5 ohm each at 2 GHz
R_LOAD, R_SOURCE, SLOPE_OHM = 50.0, 50.0, 1e4
V_T = 8.617333262e-5 * 300.0  # k T / q, CODATA 2018. [V]


@pytest.fixture(scope="module")
def tank():
    """A diode without bias, charge and resistance, weakly driven: a slope and a square law; at its output one tank."""
    return hbsim.Circuit.build(
        title="square law and tank", drive={"port": "input", "frequency": "1 GHz", "power": "-50 dBm"},
        wanted={"port": "output", "harmonic": 2},
        port={"input": {"node": "a", "impedance": "50 ohm"}, "output": {"node": "t", "impedance": "50 ohm"}},
        part={"L1": {"kind": "inductor", "nodes": ["t", "ground"], "inductance": f"{L:.12g} H"},
              "C1": {"kind": "capacitor", "nodes": ["t", "ground"], "capacitance": f"{C:.12g} F"},
              "D1": {"kind": "diode", "nodes": {"anode": "a", "cathode": "t"}, "IS": f"{V_T / SLOPE_OHM:.12g} A",
                     "temperature": "300 K", "TNOM": "300 K"}}).description


@pytest.fixture(scope="module")
def study(examples):
    description = hbsim.load(examples / "beacon_2304.toml").description
    return frequency_study(description, "1.04 GHz : 1.22 GHz : 19 points")


@pytest.fixture(scope="module")
def chain(examples):
    return frequency_study(hbsim.load(examples / "chain_4608.toml").description, "1.10 GHz : 1.2 GHz : 6 points",
                           through=["f_3", "R_pad2"], harmonics=16)


def test_band_of_a_square_law_into_a_tank_is_that_of_its_loaded_q(tank):
    # Weakly driven, the diode is a source of 2 f0 behind its slope resistance (the second-order term of its power
    # series: S. A. Maas, Nonlinear Microwave and RF Circuits, 2nd ed., Artech House, 2003; from memory), so that the
    # tank is loaded by R_LOAD beside SLOPE_OHM + R_SOURCE. Its power is 10^(-d / 10) of the most where
    # Q (f / f_r - f_r / f) = sqrt(10^(d / 10) - 1), in any textbook of resonant circuits. What is left out: the
    # voltage at f0 also falls on the tank, whose resistance there goes from 0.19 to 0.26 ohm across the 3 dB band. The
    # output goes with its fourth power: 4 x 0.02 / 10050 or 8e-6 from the middle to an edge at 1 dB, where half the
    # width is worth 0.41 of the power: 2e-5 of it.
    q = (1 / (1 / R_LOAD + 1 / (SLOPE_OHM + R_SOURCE))) * math.sqrt(C / L)
    resonance = 1 / (2 * np.pi * math.sqrt(L * C))
    found = frequency_study(tank, "0.85 GHz : 1.15 GHz : 31 points", harmonics=6)
    assert found.most.hz * 2 == pytest.approx(resonance, rel=2e-5)  # twice a thousandth of the points' distance
    for down, band in zip((1.0, 3.0), found.bands):
        x = math.sqrt(10 ** (down / 10) - 1) / q
        edges = [resonance / 2 * (way * x / 2 + math.sqrt(1 + x**2 / 4)) for way in (-1, 1)]
        assert [band.low.hz, band.high.hz] == pytest.approx(edges, abs=1e-4 * (edges[1] - edges[0]))
        assert band.width_hz == pytest.approx(resonance / 2 * x, rel=1e-4)


def test_edges_are_where_an_independent_solve_has_that_level(study):
    # solved from rest, with twice the harmonics: 1e-3 dB is left to truncation and to the edge's own 1e-7
    most = study.most.columns["output_dbm_2"]
    assert most >= np.nanmax(study.columns["output_dbm_2"]) and study.most.place == "inside"
    for below, band in zip((1.0, 3.0), study.bands):
        for edge in (band.low, band.high):
            count = 2 * int(edge.columns["harmonics"])
            state = solve(study.description.with_values({"drive.frequency": edge.hz}), count)
            assert state.output_dbm(2) == pytest.approx(most - below, abs=1e-3)
    for edge in (study.matched.low, study.matched.high):
        state = solve(study.description.with_values({"drive.frequency": edge.hz}), 96)
        assert state.input_return_loss_db == pytest.approx(10.0, abs=1e-3)


def test_points_are_those_of_a_sweep(study):
    table = hbsim.Circuit(study.description).sweep({"drive.frequency": study.frequency[::6]})
    for name in ("output_dbm_1", "output_dbm_2", "input_return_loss_db", "supply_amps_VCC"):
        # both stop at a number of harmonics where lines have settled to 0.01 and 0.1 dB
        assert study.columns[name][::6] == pytest.approx(table[name], abs=0.01, rel=1e-3)


def test_worst_leakage_is_at_least_that_of_every_point_in_the_band(study):
    band = study.bands[-1]
    inside = (study.frequency > band.low.hz) & (study.frequency < band.high.hz)
    for one in study.leaks:
        assert one.dbc >= study.leak(one.harmonic)[inside].max()
        assert band.low.hz <= one.at_hz <= band.high.hz
    state = solve(study.description.with_values({"drive.frequency": study.leaks[0].at_hz}))
    assert study.leaks[0].harmonic == 1 and study.leaks[0].dbc == pytest.approx(state.output_dbc(1), abs=0.05)


def test_carried_power_of_the_chain_is_that_of_its_terminals(chain):
    # Re(V I*) / 2 at one terminal that all the power passes: the filter's into node f_3, the pad resistor's out of it
    n = 2
    state = solve(chain.description.with_values({"drive.frequency": float(chain.frequency[n])}), 16)
    node, part = chain.through
    given = -(state.voltage("f_3") * state.current("filter_13")[:, 1].conj()).real / 2
    out = -(state.voltage("p") * state.current("R_pad2")[:, 1].conj()).real / 2
    assert node.watts[n, 2] == pytest.approx(given[2], rel=1e-6)  # the balance, from two different starts
    assert part.watts[n, 2] == pytest.approx(out[2], rel=1e-6)
    assert node.at_most.by[2] == "filter_13" and part.at_most.by[2] == "p"
    assert given[4] < 0 < node.watts[n, 4]  # from the second stage back, and told as such
    assert node.at_most.by[4] == "R_pad2"


def test_stages_of_a_chain_are_found(chain, examples):
    state = solve(chain.description, 16)
    first, second = between_stages(state)
    assert (first.name, second.name) == ("c1", "b2")  # the file's collector of stage 1 and base of stage 2
    drive = carried(state, [second], 4)[0]
    assert drive.watts[2] == pytest.approx(-(state.voltage("b2") * state.current("R_s2")[:, 1].conj())[2].real / 2)
    assert between_stages(solve(hbsim.load(examples / "beacon_2304.toml").description, 8)) == []


def test_through_a_group_of_the_budget(study):
    # at the wanted harmonic the budget's group says what comes out of the filter
    state = solve(study.description)
    parts = [name for name in study.description.parts if name.startswith("filter")]
    group = budget(state, {"filter": parts}).groups[0]
    end = study.description.parts[parts[-1]].nodes[-1]
    at = carried(state, [place_of(study.description, end)], 2)[0]
    assert at.watts[2] == pytest.approx(group.watts_out, rel=1e-6) and at.by[2] == parts[-1]


def test_a_point_that_is_not_solved_is_a_gap(examples, monkeypatch):
    def fails(description, *given):
        if 1.19e9 < description.drive.frequency < 1.21e9:
            raise NotSolved("on purpose")
        return solve(description, *given)

    monkeypatch.setattr(module, "solve", fails)
    description = hbsim.load(examples / "lumped_doubler.toml").description
    found = frequency_study(description, "1 GHz : 1.4 GHz : 9 points", harmonics=8)
    assert list(found.reasons) == [4] and np.isnan(found.columns["output_dbm_2"][4]) and found.solved.sum() == 8
    page = " ".join(frequency_page(found).split())
    assert "9 frequencies, 8 solved" in page and "f0 = 1.2 GHz: on purpose" in page
    below, above = found.frequency[:4], found.frequency[5:]
    for band in found.bands:  # no edge is told on the far side of the gap
        assert all(edge.hz is None or edge.hz < below[-1] for edge in (band.low, band.high)) or band.low.hz > above[0]
    gaps = [edge for band in found.bands for edge in (band.low, band.high) if edge.why == "beside a gap"]
    assert gaps and all(edge.near_hz == found.frequency[4] for edge in gaps) and "is not solved" in page
    line = dict(zip(header(found), list(rows(found))[4]))
    assert line["solved"] == "false" and line["output_dbm_2"] == "" and line["output_dbc_1"] == ""
    drawn = frequency_figure(found).axes[0].lines[0].get_ydata()
    assert np.isnan(drawn[4]) and np.isfinite(drawn[3])
    monkeypatch.setattr(module, "solve", lambda *_: (_ for _ in ()).throw(NotSolved("on purpose")))
    nothing = frequency_study(description, "1 GHz : 1.4 GHz : 5 points", harmonics=8)
    assert nothing.most is None and not nothing.solved.any() and "Nothing comes out" in frequency_page(nothing)
    json.dumps(as_json(nothing), allow_nan=False)
    frequency_figure(nothing)


def test_every_number_is_in_the_files(study, chain):
    for one in (study, chain):
        data = json.loads(json.dumps(as_json(one), allow_nan=False))
        n, page = one.order, frequency_page(one)
        assert np.array(data["columns"][one.wanted]) == pytest.approx(one.columns[one.wanted])
        assert data["most_output"]["f0_hz"] == one.most.hz
        assert data["most_output"]["wanted_frequency_hz"] == n * one.most.hz
        assert f"{data['most_output']['columns'][one.wanted]:.2f} dBm at f0" in page
        for told, band in zip(data["bands"], one.bands):
            assert told["low"]["f0_hz"] == band.low.hz and told["width_f0_hz"] == band.width_hz
        assert [leak["harmonic"] for leak in data["worst_leakage"]] == list(one.others)
        assert f"{data['worst_leakage'][0]['dbc']:.1f} dBc" in page
        for told, through in zip(data["through"], one.through):
            assert told["watts_2"] == through.watts[:, 2].tolist() and told["dbm_2"] == through.dbm(2).tolist()
        table = list(rows(one))
        assert len(table) == len(one.frequency) and {len(row) for row in table} == {len(header(one))}
        drawn = frequency_figure(one).axes[0].lines[0]
        assert drawn.get_ydata() == pytest.approx(one.columns[one.wanted])


def test_refusals(tank, study):
    with pytest.raises(Refusal, match="5 to"):
        frequency_study(tank, "1 GHz : 2 GHz : 3 points")
    with pytest.raises(Refusal, match="no match"):
        frequency_study(tank, matched_db=0.0)
    with pytest.raises(Refusal, match="is a device.*node"):
        frequency_study(study.description, through=["Q1"])
    with pytest.raises(Refusal, match="no node or part 'L2'; known here: "):
        frequency_study(tank, through=["L2"])
    assert place_of(tank, "node.t").kind == "node" and place_of(tank, "L1").kind == "part"
    with pytest.raises(Refusal):
        place_of(tank, GROUND)
