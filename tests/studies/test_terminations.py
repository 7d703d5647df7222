"""Terminations: the part that acts at one frequency, contours against searches, a linear source, hot reflection."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

import hbsim
from hbsim.balance.continuation import Effort, steady_state
from hbsim.balance.solve import solve
from hbsim.errors import Refusal
from hbsim.linear.one_frequency import OneFrequencyTermination
from hbsim.studies.hot_reflection import hot_reflection, wave_out
from hbsim.studies.plane import DRIVE_SIDE, ELSEWHERE, OUTPUT_SIDE, plane
from hbsim.studies.stub_distance import stub_distance, with_stub
from hbsim.studies.terminations import as_json, rings_of, terminations

PLANES = [("collector", 1, ELSEWHERE), ("collector", 2, OUTPUT_SIDE), ("collector", 3, ELSEWHERE),
          ("base", 1, DRIVE_SIDE), ("base", 2, ELSEWHERE)]


@pytest.fixture(scope="module")
def lumped(examples):
    return hbsim.Circuit.load(examples / "lumped_doubler.toml")


@pytest.fixture(scope="module")
def beacon(examples):
    return hbsim.Circuit.load(examples / "beacon_2304.toml")


@pytest.mark.parametrize("before, wanted", [(0.3 - 0.5j, -0.2 + 0.4j), (0.9j, -1.0), (0.1, 1.0), (-0.7, -0.7)])
def test_the_part_gives_the_wanted_reflection_at_its_frequency_and_nothing_elsewhere(before, wanted):
    part = OneFrequencyTermination(2e9, 50.0, complex(before).real, complex(before).imag, complex(wanted).real,
                                   complex(wanted).imag)
    law = part.relation(2 * np.pi * np.array([0.0, 1e9, 2e9, 4e9]))
    assert not law.a[[0, 1, 3]].any() and (law.b[[0, 1, 3]] == 1.0).all()  # no current
    a, b = law.a[2, 0, 0], law.b[2, 0, 0]
    if wanted == -1.0:
        assert b == 0.0 and a != 0.0  # V = 0
        return
    total = 50.0 * -a / b + (1 - before) / (1 + before)  # admittances over 1/50 S: what is added, and what was there
    assert abs((1 - total) / (1 + total) - wanted) < 1e-14


@pytest.mark.parametrize("at, harmonic, side", PLANES)
def test_a_plane_shows_the_circuit_and_the_circuits_own_termination_changes_nothing(beacon, at, harmonic, side):
    where = plane(beacon.description, at, harmonic)
    assert where.side == side
    frequency = harmonic * beacon.description.drive.frequency
    response = beacon.network([frequency, 1.1 * frequency], [f"{where.node}/ground"])  # assembled another way
    assert abs(where.present - response.s[0, 0, 0]) < 1e-9
    state = beacon.solve(harmonics=12)
    same = solve(where.terminated(where.present), 12, start=state)
    # rounding of the elimination, which the balance magnifies: 1e-9 of a voltage is 1e-8 dB
    assert abs(same.output_dbm(2) - state.output_dbm(2)) < 1e-7


def test_the_header_of_examples_tells_the_same_impedances(beacon):
    # "the collector sees 47 + j9 ohm at 2 f0 and 2 - j33 ohm at f0": rounded, and before the tee was settled
    at = [plane(beacon.description, "collector", k) for k in (1, 2)]
    f0, twice = (where.impedance(where.present) for where in at)
    assert abs(f0 - (2 - 33j)) < 2.0 and abs(twice - (47 + 9j)) < 3.0


@pytest.mark.parametrize("at, harmonic", [("collector", 1), ("collector", 2), ("base", 2)])
def test_the_device_sees_what_was_asked_for(lumped, at, harmonic):
    where = plane(lumped.description, at, harmonic)
    state = solve(where.terminated(0.4 - 0.3j), 12)
    # R_b joins base and collector through the supply: 33 kohm, held by C_vcc and 1 ohm
    assert abs(where.seen(state) - (0.4 - 0.3j)) < 2e-3
    other = plane(lumped.description, at, harmonic % 3 + 1)
    untouched = replace(other, description=where.terminated(0.4 - 0.3j))
    assert plane(untouched.description, at, harmonic % 3 + 1).present == pytest.approx(other.present, abs=1e-12)


@pytest.mark.parametrize("at, harmonic, side", PLANES)
def test_slopes_are_those_of_full_solves(lumped, at, harmonic, side):
    where = plane(lumped.description, at, harmonic)
    begin, h = 0.5 * where.present + 0.1, 1e-4
    state = solve(where.terminated(begin), 12)
    slope = where.slope(state)
    for direction, exact in ((1.0, slope.real), (1j, slope.imag)):
        level = [where.output_dbm(solve(where.terminated(begin + n * h * direction), 12, start=state))
                 for n in (-2, -1, 1, 2)]
        difference = (level[0] - 8 * level[1] + 8 * level[2] - level[3]) / (12 * h)
        # fourth order: h^4 times a fifth derivative of some 1e6; Newton stops at some 1e-10 dB, over h 1e-6
        assert difference == pytest.approx(exact, rel=1e-5, abs=1e-5)


@pytest.mark.parametrize("at, harmonic, side", PLANES)
def test_the_highest_contour_is_what_a_search_finds(lumped, at, harmonic, side):
    found = terminations(lumped.description, at, harmonic, harmonics=12)
    assert not found.unsolved and len(found.points) >= 469 and abs(found.reach - (1.0 if side == ELSEWHERE else 0.95)) \
        < 1e-12
    # surface and search know nothing of each other but the points; the surface is put right to 0.005 dB where it is
    # highest, and on a rim it is a polygon: 72 sides, 1e-3 of reflection at up to 20 dB, 0.02 dB
    assert found.output.highest[1] == pytest.approx(found.best.output_dbm, abs=0.03)
    # and a search without slopes, on full solves in polar form, from the circuit's own termination or from the best
    where, reach = found.plane, found.reach
    begin = max(found.points, key=lambda point: point.output_dbm).reflection

    def below(x):
        reflection = reach * math.sin(x[0]) * np.exp(1j * x[1])
        return -where.output_dbm(solve(where.terminated(complex(reflection)), 12, start=found.best_state))

    start = [math.asin(min(abs(begin) / reach, 1.0)), np.angle(begin)]
    other = minimize(below, start, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9})
    assert -other.fun == pytest.approx(found.best.output_dbm, abs=1e-5)
    assert all(point.output_dbm <= found.best.output_dbm + 1e-9 for point in found.points)


def source_behind_an_impedance():
    """A generator behind 50 ohm and 4 nH, joined by a diode that a direct current makes a small resistance, to a load:
    all but linear for a weak drive."""
    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 GHz", "power": "-60 dBm"}, wanted={"port": "output", "harmonic": 1},
        port={"input": {"node": "in"}, "output": {"node": "out"}},
        supply={"bias": {"node": "v", "voltage": "5 V"}},
        part={"C_1": {"kind": "capacitor", "nodes": ["in", "m"], "capacitance": "1 uF"},
              "L_1": {"kind": "inductor", "nodes": ["m", "a"], "inductance": "4 nH"},
              "choke_1": {"kind": "inductor", "nodes": ["w", "a"], "inductance": "1 mH"},
              "R_v": {"kind": "resistor", "nodes": ["v", "w"], "resistance": "400 ohm"},
              "D1": {"kind": "diode", "use": "switching-diode", "nodes": {"anode": "a", "cathode": "k"}},
              "choke_2": {"kind": "inductor", "nodes": ["k", "ground"], "inductance": "1 mH"},
              "C_2": {"kind": "capacitor", "nodes": ["k", "out"], "capacitance": "1 uF"}})


def test_a_linear_source_gives_most_into_its_conjugate():
    circuit = source_behind_an_impedance()
    found = terminations(circuit.description, "cathode", 1, harmonics=3, reach=0.9)
    assert found.plane.side == OUTPUT_SIDE
    # what stands behind the cathode, from the diode's own slope: a two-port of the network, the load left out
    response = circuit.network([1e9, 1.1e9], ["input", "output"], reference=None, device="linearised")
    s21, s22 = response.s[0, 1, 0], response.s[0, 1, 1]
    # choke_2 and C_2 are 1e-4 of what flows. Conjugate match: D. M. Pozar, Microwave Engineering, 4th ed., ch. 11:
    # the source as seen from the load is s22 with the generator matched; available gain |s21|^2 / (1 - |s22|^2)
    assert abs(found.best.reflection - s22.conjugate()) < 2e-3
    available = -60.0 + 10 * math.log10(abs(s21) ** 2 / (1 - abs(s22) ** 2))
    assert found.best.output_dbm == pytest.approx(available, abs=2e-4)
    # off the match: power gain of a mismatched load, same source
    for point in found.points[:200:17]:
        load = point.reflection
        gain = abs(s21) ** 2 * (1 - abs(load) ** 2) / abs(1 - s22 * load) ** 2
        assert point.output_dbm == pytest.approx(-60.0 + 10 * math.log10(gain), abs=3e-3)
    # closed form: 50 ohm, the inductor, the diode's resistance and its 1.2 nH in series; its case, 0.1 pF, beside
    # that takes some 1 % away or adds it
    z = 50.0 * (1 + s22) / (1 - s22)
    assert z.imag == pytest.approx(2 * math.pi * 1e9 * 5.2e-9, abs=0.5) and 50.0 < z.real < 60.0


def test_with_constant_available_power_the_best_source_matches_and_mismatch_costs_what_power_waves_say():
    found = terminations(source_behind_an_impedance().description, "anode", 1, harmonics=3, reach=0.9)
    assert found.plane.side == DRIVE_SIDE
    # Kurokawa 1965: of a linear load the share 1 - |G|^2 of the available power goes in, so that output follows it
    for point in found.points[::29]:
        loss = 10 * math.log10(1 - abs(point.input_reflection) ** 2)
        best = 10 * math.log10(1 - abs(found.best.input_reflection) ** 2)
        assert point.output_dbm - found.best.output_dbm == pytest.approx(loss - best, abs=1e-4)
    assert abs(found.best.input_reflection) < 1e-3


@pytest.mark.parametrize("harmonic", [1, 2, 3])
def test_hot_reflection_against_full_solves_with_a_small_second_source(lumped, harmonic):
    state = lumped.solve(harmonics=16)
    hot = hot_reflection(state, "output", harmonic)
    system, column = state.system, state.system.network.sources.index("port.output")
    for phase in (0.0, 1.1, 2.0, 4.5):
        sent, waves = 1e-4 * np.exp(1j * phase), []
        for sign in (1.0, -1.0):
            source = state.source.copy()
            source[harmonic, column] = 2.0 * sign * sent  # E = 2 a
            form = steady_state(system, system.excitation(source), system.parameters(), state.form, Effort())
            waves.append(wave_out(replace(state, form=form, source=source), "output", harmonic))
        # second order in the tone, which is 1e-3 of a junction's 26 mV squared times some tens, 1e-7 to 1e-6
        assert abs((waves[0] - waves[1]) / (2 * sent) - hot.at(phase)) < 2e-6
    low, high = hot.range
    sizes = [abs(hot.at(phase)) for phase in np.linspace(0, math.pi, 721)]
    assert low <= min(sizes) <= low + 1e-4 and high - 1e-4 <= max(sizes) <= high + 1e-12


def test_hot_reflection_tells_what_a_slightly_other_load_does(lumped):
    """A load that reflects a little sends a = G b back: b = b_0 + S a + T a*, at one harmonic alone."""
    state = lumped.solve(harmonics=16)
    hot = hot_reflection(state)
    where = plane(lumped.description, "collector", 2)
    for gamma in (1e-3, -1e-3, 1e-3j, -1e-3j):
        part = OneFrequencyTermination(where.frequency, 50.0, *_at_port(lumped, where.frequency, gamma))
        other = solve(_with_load(lumped.description, part), 16, start=state)
        voltage = other.voltage("out")[2]
        b = voltage / (1 + gamma)
        a = gamma * b
        # second order: (a / 26 mV)^2 with a of 4e-4 V
        expected = hot.wave + hot.direct * a + hot.mirrored * np.conj(a)
        assert abs(b - expected) < 2e-3 * abs(b - hot.wave)


def _at_port(circuit, frequency, gamma):
    """Before and after at the node "out", so that port and added admittance together reflect gamma: seen from the
    circuit, the load alone, whose own reflection is 0."""
    return 0.0, 0.0, complex(gamma).real, complex(gamma).imag


def _with_load(description, part):
    from hbsim.describe.description import Placed
    return replace(description, parts={**description.parts, "other_load": Placed("other_load", part, ("out",))})


@pytest.mark.parametrize("at, harmonic", [("collector", 1), ("base", 2)])
def test_a_stub_that_is_moved_is_the_same_as_a_circuit_with_that_stub(lumped, at, harmonic):
    degrees = [0.0, 40.0, 95.0, 160.0]
    found = stub_distance(lumped.description, at, harmonic, degrees, impedance=60.0, stub_impedance=40.0, harmonics=12)
    frequency = harmonic * 1.152e9
    tree = {"drive": {"port": "input", "frequency": "1.152 GHz", "power": "0 dBm"},
            "wanted": {"port": "output", "harmonic": 2}}
    nodes = {"base": "b", "collector": "c"}
    chip = {f"{name}_inductance": "0 nH" for name in ("base", "emitter", "collector")} | {
        f"{name}_capacitance": "0 pF" for name in ("base_emitter", "base_collector", "collector_emitter")}
    place = nodes[at]
    parts = {
        "C_in": {"kind": "capacitor", "nodes": ["in", "b"], "capacitance": "10 pF"},
        "R_b": {"kind": "resistor", "nodes": ["vcc", "b"], "resistance": "33 kohm"},
        "L_c": {"kind": "inductor", "nodes": ["vcc", "c"], "inductance": "2.2 nH", "series_resistance": "0.5 ohm"},
        "C_c": {"kind": "capacitor", "nodes": ["c", "ground"], "capacitance": "1.6 pF"},
        "C_out": {"kind": "capacitor", "nodes": ["c", "out"], "capacitance": "0.6 pF"},
        "C_vcc": {"kind": "capacitor", "nodes": ["vcc", "ground"], "capacitance": "100 pF"},
        "away": {"kind": "line", "nodes": ["pin", place], "impedance": "60 ohm", "electrical_length": "0 deg",
                 "at": f"{frequency} Hz"},
        "stub": {"kind": "open stub", "nodes": [place], "impedance": "40 ohm", "electrical_length": "90 deg",
                 "at": f"{frequency} Hz"},
        "Q1": {"kind": "bjt", "use": "npn-25ghz", "nodes": {"emitter": "ground", **nodes, at: "pin"}, "PTF": "0 deg",
               "thermal_resistance": "0 K/W", "temperature": "27 degC", **chip}}
    circuit = hbsim.Circuit.build(
        **tree, port={"input": {"node": "in"}, "output": {"node": "out"}},
        supply={"VCC": {"node": "vcc", "voltage": "2 V", "resistance": "1 ohm"}}, part=parts)
    table = circuit.sweep({"away.electrical_length": degrees}, harmonics=12, estimate=False)
    np.testing.assert_allclose(found.output_dbm[0], table["output_dbm_2"], atol=1e-6)
    np.testing.assert_allclose(found.input_return_loss_db[0], table["input_return_loss_db"], atol=1e-6)
    # the reflector alone is the rim of that harmonic's chart
    where = plane(lumped.description, at, harmonic, 60.0)
    rim = [where.output_dbm(solve(where.terminated(complex(-np.exp(-2j * np.radians(d)))), 12)) for d in degrees]
    np.testing.assert_allclose(found.output_dbm[2], rim, atol=1e-6)
    # half a wave of line at that harmonic: at 0 and 180 deg the line alone does nothing there, at 0 nowhere
    assert found.output_dbm[1, 0] == pytest.approx(lumped.solve(harmonics=12).output_dbm(2), abs=1e-7)


@pytest.mark.parametrize("degrees", [0.0, 30.0, 75.0])
def test_at_its_own_harmonic_the_stub_is_a_short_behind_the_line(beacon, degrees):
    moved = with_stub(beacon.description, "collector", 1, degrees)
    if degrees == 0.0:
        with pytest.raises(Refusal, match="shorts node"):
            plane(moved, "collector", 1)
        return
    # closed form: a short through a line without loss, reflection -exp(-2 j beta d)
    assert abs(plane(moved, "collector", 1).present + np.exp(-2j * math.radians(degrees))) < 1e-9


def test_rings_are_inside_the_reach_and_evenly_spread():
    grid = rings_of(0.9, 5)
    assert len(grid) == 1 + 3 * 5 * 6 and np.abs(grid).max() == pytest.approx(0.9)
    distance = np.abs(grid[:, None] - grid[None, :]) + np.eye(len(grid))
    assert 0.17 < distance.min(axis=1).min() and distance.min(axis=1).max() < 0.19


def test_json_holds_plain_numbers(lumped):
    import json
    found = terminations(lumped.description, "Q1.collector", 2, harmonics=8, rings=4)
    data = json.loads(json.dumps(as_json(found), allow_nan=False))
    assert len(data["points"]) == len(found.points) and data["best"]["output_dbm"] == found.best.output_dbm
    assert data["present"]["resistance_ohm"] == found.plane.impedance(found.plane.present).real
    assert data["hot_reflection"]["direct_real"] == found.hot.direct.real
    assert data["port_output_dbm"] == pytest.approx(lumped.solve(harmonics=8).output_dbm(2), abs=1e-9)


@pytest.mark.parametrize("arguments, words", [
    (("collecter", 2), "did you mean 'collector'"), (("emitter", 2), "at ground"), (("collector", 0), "1 is f0"),
])
def test_planes_that_are_none_are_refused(lumped, arguments, words):
    with pytest.raises(Refusal, match=words):
        plane(lumped.description, *arguments)


@pytest.mark.parametrize("changes, words", [
    ({"reach": 1.2}, "reach"), ({"reach": 0.0}, "reach"), ({"rings": 2}, "rings"), ({"reference": -1.0}, "reference"),
    ({"at": "base", "harmonic": 1, "reach": 1.0}, "reach")])
def test_impossible_charts_are_refused(lumped, changes, words):
    with pytest.raises(Refusal, match=words):
        terminations(lumped.description, **{"at": "collector", "harmonic": 2, "harmonics": 8, **changes})


def test_of_two_transistors_one_is_to_be_named(examples):
    circuit = hbsim.Circuit.load(examples / "push_push_2304.toml")
    with pytest.raises(Refusal, match="may be"):
        plane(circuit.description, "collector", 2)
