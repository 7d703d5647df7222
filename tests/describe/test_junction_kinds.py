"""Junctions, ends, radial stub and every way of a via, read from a circuit file."""

import numpy as np
import pytest

from hbsim.describe.circuitfile import build
from hbsim.errors import Refusal
from hbsim.linear.discontinuities import BoardBend, BoardCross, BoardGap, BoardOpenEnd, BoardStep, BoardTee
from hbsim.linear.lumped import BoardVia
from hbsim.linear.radial_stub import BoardRadialStub

MM = 1e-3


def circuit(**parts):
    """A circuit with the parts asked for between two ports."""
    return build({
        "board": {"use": "fr4-1.6mm"},
        "drive": {"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
        "port": {"input": {"node": "in"}, "output": {"node": "out"}},
        "part": {"joint": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "10 ohm"}} | parts})


@pytest.mark.parametrize("told, made", [
    ({"kind": "open end", "nodes": ["in"], "width": "3 mm"}, lambda b: BoardOpenEnd(b, 3 * MM)),
    ({"kind": "gap", "nodes": ["in", "out"], "width": "3 mm", "gap": "0.5 mm"},
     lambda b: BoardGap(b, 3 * MM, 0.5 * MM)),
    ({"kind": "gap", "nodes": ["in", "out"], "width": "3 mm", "gap": "0.5 mm", "second_width": "1 mm"},
     lambda b: BoardGap(b, 3 * MM, 0.5 * MM, 1 * MM)),
    ({"kind": "step", "nodes": ["in", "out"], "width": "3 mm", "second_width": "1 mm"},
     lambda b: BoardStep(b, 3 * MM, 1 * MM)),
    ({"kind": "bend", "nodes": ["in", "out"], "width": "3 mm"}, lambda b: BoardBend(b, 3 * MM)),
    ({"kind": "bend", "nodes": ["in", "out"], "width": "3 mm", "mitre": "50 %"}, lambda b: BoardBend(b, 3 * MM, 0.5)),
    ({"kind": "bend", "nodes": ["in", "out"], "width": "3 mm", "compensated": True},
     lambda b: BoardBend(b, 3 * MM, compensated=True)),
    ({"kind": "tee", "nodes": ["in", "out", "in"], "width": "3 mm", "branch_width": "1 mm"},
     lambda b: BoardTee(b, 3 * MM, 1 * MM)),
    ({"kind": "cross", "nodes": ["in", "out", "in", "out"], "width": "3 mm", "branch_width": "1 mm",
      "second_branch_width": "2 mm"}, lambda b: BoardCross(b, 3 * MM, 1 * MM, 2 * MM)),
    ({"kind": "radial stub", "nodes": ["in"], "inner_width": "1 mm", "outer_radius": "10 mm", "angle": "60 deg"},
     lambda b: BoardRadialStub(b, 10 * MM, 60.0, inner_width=1 * MM)),
    ({"kind": "via", "nodes": ["in"], "diameter": "0.8 mm", "plating": "25 um"},
     lambda b: BoardVia(b, 0.8 * MM, plating=25e-6)),
    ({"kind": "via", "nodes": ["in"], "diameter": "1 mm", "filled": True}, lambda b: BoardVia(b, 1 * MM, filled=True)),
    ({"kind": "via", "nodes": ["in"], "diameter": "3.5 mm", "foil_width": "3 mm", "foils": 2},
     lambda b: BoardVia(b, 3.5 * MM, foil_width=3 * MM, foils=2.0)),
    ({"kind": "via", "nodes": ["in"], "foil_width": "5 mm"}, lambda b: BoardVia(b, foil_width=5 * MM))])
def test_what_a_file_says(told, made):
    description = circuit(x=told)
    part = description.parts["x"].part
    assert part == made(description.board)
    law = part.relation(2 * np.pi * np.array([0.0, 1e9, 128e9]))
    b = -np.eye(len(part.terminals))[None] if law.b is None else law.b
    assert np.isfinite(law.a).all() and np.isfinite(b).all()


def test_metal_of_foil_and_stub():
    made = circuit(v={"kind": "via", "nodes": ["in"], "foil_width": "5 mm", "conductor": "copper-tape"},
                   s={"kind": "radial stub", "nodes": ["in"], "inner_radius": "1 mm", "outer_radius": "10 mm",
                      "angle": "60 deg", "conductor": {"use": "copper-tape", "loss_factor": 2.5}})
    assert made.parts["v"].part.metal.conductivity == 30e6 and made.parts["v"].part.metal.loss_factor == 1.0
    assert made.parts["s"].part.metal.loss_factor == 2.5


@pytest.mark.parametrize("told, place, words", [
    ({"kind": "via", "nodes": ["in"], "inductance": "0.3 nH", "foil_width": "3 mm"}, "part.x", ["keep one way"]),
    ({"kind": "via", "nodes": ["in"]}, "part.x", ["inductance", "diameter", "foil_width"]),
    ({"kind": "bend", "nodes": ["in", "out"], "width": "3 mm", "mitre": "95 %"}, "part.x.mitre", ["best mitre"]),
    ({"kind": "tee", "nodes": ["in", "out"], "width": "3 mm", "branch_width": "1 mm"}, "part.x.nodes", ["branch"]),
    ({"kind": "radial stub", "nodes": ["in"], "outer_radius": "10 mm", "angle": "60 deg"}, "part.x.inner_width",
     ["missing"])])
def test_what_is_refused(told, place, words):
    with pytest.raises(Refusal) as refusal:
        circuit(x=told)
    assert refusal.value.place == place and all(word in str(refusal.value) for word in words)
