"""The power budget: it closes, it agrees with closed forms, and page, table and JSON say the same."""

import csv
import io
import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import hbsim
from hbsim.cli import main
from hbsim.describe.circuitfile import build
from hbsim.errors import Refusal
from hbsim.studies.budget import CLOSES, budget, check_groups
from hbsim.studies.circuit import Circuit

EXAMPLES = ["lumped_doubler", "beacon_2304", "beacon_5760", "push_push_2304", "chain_4608", "diode_doubler",
            "bridge_doubler", "varactor_jump", "beacon_2304_filter_file"]


def linear(parts):
    """Parts between a generator of 0 dBm at 1 GHz and a load, 50 ohm each; the wanted line is that of the drive."""
    return Circuit(build({
        "drive": {"port": "input", "frequency": "1 GHz", "power": "0 dBm"}, "wanted": {"harmonic": 1},
        "port": {"input": {"node": "in"}, "output": {"node": "out"}}, "part": parts}))


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_sum_closes_and_the_steps_add_up(examples, name):
    state = hbsim.load(examples / f"{name}.toml").solve(harmonics=8)
    found = budget(state)
    assert found.closure < CLOSES  # what the project asks for
    assert found.closure < 1e-9  # what balanced currents leave
    # Tellegen 1952: each harmonic closes by itself
    assert np.abs(found.error).max() < 1e-9 * found.given_in_all
    wanted = state.description.wanted_harmonic
    port = found.item(state.description.wanted_port, "port")
    assert port.taken[wanted] == pytest.approx(state.output_watts(wanted), rel=1e-9)
    path = found.path
    assert sum(step.loss_db for step in path.steps) == pytest.approx(
        10.0 * math.log10(path.given / path.delivered), abs=1e-6)  # steps below 1e-9 of the power are left out
    assert path.delivered == pytest.approx(state.output_watts(wanted), rel=1e-6)


@given(st.floats(-30.0, 8.0), st.floats(0.5, 5.0))
@settings(max_examples=15, deadline=None)
def test_it_closes_at_any_drive_and_supply(power, supply):
    circuit = test_it_closes_at_any_drive_and_supply.circuit
    found = budget(circuit.with_values({"drive.power": power, "supply.VCC": supply}).solve(harmonics=8))
    assert found.closure < CLOSES
    assert all(item.total >= -1e-9 * found.given_in_all for item in found.items if item.kind == "part")  # passive


@pytest.fixture(autouse=True)
def _circuit(examples):
    test_it_closes_at_any_drive_and_supply.circuit = hbsim.load(examples / "lumped_doubler.toml")


def test_a_matched_attenuator_loses_its_decibels():
    # T of 50 ohm: series 50 (k - 1)/(k + 1), shunt 100 k/(k^2 - 1), k = 10^(dB/20) (Pozar, Microwave Engineering)
    k = 10.0 ** (7.0 / 20.0)
    series, shunt = 50.0 * (k - 1) / (k + 1), 100.0 * k / (k * k - 1)
    circuit = linear({"a": {"kind": "resistor", "nodes": ["in", "m"], "resistance": f"{series!r} ohm"},
                      "b": {"kind": "resistor", "nodes": ["m", "ground"], "resistance": f"{shunt!r} ohm"},
                      "c": {"kind": "resistor", "nodes": ["m", "out"], "resistance": f"{series!r} ohm"}})
    found = budget(circuit.solve(harmonics=2), {"pad": ["a", "b", "c"]})
    pad, = found.groups
    assert pad.loss_db == pytest.approx(7.0, abs=1e-9)
    assert pad.watts_in == pytest.approx(1e-3, rel=1e-9) and found.item("b").taken[1] > 0
    assert found.item("output", "port").taken[1] == pytest.approx(1e-3 * 10**-0.7, rel=1e-9)


def test_a_matched_line_loses_alpha_l_and_lossless_parts_nothing():
    line = {"kind": "line", "impedance": "50 ohm", "electrical_length": "77 deg", "at": "1 GHz"}
    circuit = linear({"line": {**line, "nodes": ["in", "m"], "loss": "1.3 dB"}, "ideal": {**line, "nodes": ["m", "n"]},
                      "coil": {"kind": "inductor", "nodes": ["n", "out"], "inductance": "0 nH"}})
    found = budget(circuit.solve(harmonics=2), {"way": ["line"]})
    assert found.groups[0].loss_db == pytest.approx(1.3, abs=1e-9)
    assert found.item("line").line.conductor[1] == pytest.approx(found.item("line").taken[1], rel=1e-9)
    for name in ("ideal", "coil"):
        assert np.abs(found.item(name).taken).max() < 1e-15  # of 1 mW: rounding


def test_metal_and_dielectric_share_the_heat_as_the_attenuation():
    # 3 mm on FR4, matched at both ends nearly: alpha_d of Schneider 1969 over the whole attenuation
    from hbsim.describe import library
    from hbsim.linear.microstrip import loss
    from hbsim.linear.microstrip.propagation import single_line
    board = library.board("fr4-1.6mm").model
    tree = {"line": {"kind": "line", "nodes": ["in", "out"], "width": "3 mm", "length": "400 mm"}}
    circuit = Circuit(build({
        "board": {"use": "fr4-1.6mm"}, "drive": {"port": "input", "frequency": "2 GHz", "power": "0 dBm"},
        "wanted": {"harmonic": 1}, "port": {"input": {"node": "in"}, "output": {"node": "out"}}, "part": tree}))
    item = budget(circuit.solve(harmonics=2)).item("line")
    at = np.array([2e9])
    whole = single_line(3e-3, board.metal, board, at).gamma[0]
    ee = (whole.imag * 299792458.0 / (2 * np.pi * 2e9)) ** 2
    share = loss.dielectric_loss(at, board.permittivity, np.array([ee]), board.loss_tangent)[0] / whole.real
    assert item.line.dielectric[1] / item.taken[1] == pytest.approx(share, rel=1e-6)
    assert item.line.conductor[1] + item.line.dielectric[1] == pytest.approx(item.taken[1], rel=1e-9)


@pytest.mark.parametrize("groups, said", [({"filter": ["filter_1", "filter_9"]}, "filter_9"), ({"x": ["Q1"]}, "Q1")])
def test_groups_of_what_is_no_part_are_refused(examples, groups, said):
    with pytest.raises(Refusal, match=said):
        check_groups(hbsim.load(examples / "beacon_2304.toml").description, groups)


def test_page_table_and_json_say_the_same(examples, tmp_path, capsys):
    words = ["--harmonics", "8", "--group", "filter=filter_1,filter_2,filter_3"]
    outputs = [f"--{kind}={tmp_path / f'b.{kind}'}" for kind in ("csv", "json")] + [f"--plot={tmp_path / 'b.png'}"]
    assert main(["budget", str(examples / "beacon_2304.toml"), *words, *outputs]) == 0
    page = capsys.readouterr().out
    assert (tmp_path / "b.png").stat().st_size > 10_000
    found = json.loads((tmp_path / "b.json").read_text())
    table = list(csv.reader(io.StringIO((tmp_path / "b.csv").read_text())))
    assert len(table) == 2 + len(found["items"])  # header and sums
    assert [row[0] for row in table[1:-1]] == [item["name"] for item in found["items"]]
    loss = found["groups"][0]["loss_db"]
    assert f"filter eats {loss:.2f} dB at 2 f0" in page
    assert found["error_over_given"] < CLOSES
