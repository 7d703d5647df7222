"""The library of models: every file is whole, says where its numbers come from, and is found by its name."""

import subprocess
import sys

import pytest

from hbsim.describe import library
from hbsim.devices.contract import Device
from hbsim.errors import Refusal
from hbsim.linear.board import Board, Conductor

BOARDS, CONDUCTORS = library.names("boards"), library.names("conductors")
DEVICES = library.names("transistors") + library.names("diodes")


def test_what_there_is():
    assert {"fr4-1.6mm", "fr4-0.8mm", "low-loss-0.8mm", "ptfe-0.8mm"} <= set(BOARDS)
    assert "copper-tape" in CONDUCTORS
    assert "npn-25ghz" in DEVICES and len(DEVICES) == len(set(DEVICES))  # one name, one model


@pytest.mark.parametrize("name", BOARDS)
def test_boards(name):
    entry = library.board(name)
    board = entry.model
    assert isinstance(board, Board) and entry.name == name and entry.title and entry.notes == ()
    assert "no maker's laminate" in entry.about
    assert set(entry.origin) == {"height", "permittivity", "loss_tangent", "thickness", "conductivity", "roughness"}
    # Common practice, no source: what boards for hand-built microwave circuits are like.
    assert 0.1e-3 < board.height < 5e-3 and 2.0 < board.permittivity < 11.0 and 1e-4 < board.loss_tangent < 0.03
    assert f"{board.height * 1e3:g}mm" in name


def test_boards_in_the_order_of_their_loss():
    # Common practice, no source: PTFE loses least, then the hydrocarbon-ceramic class, then FR4.
    loss = [library.board(name).model.loss_tangent for name in ("ptfe-0.8mm", "low-loss-0.8mm", "fr4-0.8mm")]
    assert loss == sorted(loss) and loss[2] > 5 * loss[1]


@pytest.mark.parametrize("name", BOARDS)
def test_no_board_conducts_better_than_copper(name):
    # International Annealed Copper Standard, IEC 60028: 1/1.7241e-8 S/m at 20 degC; from memory.
    assert library.board(name).model.conductivity <= 1.001 / 1.7241e-8


def test_copper_tape_is_worse_than_the_foil_of_a_board():
    entry = library.conductor("copper-tape")
    assert isinstance(entry.model, Conductor) and "Invented" in entry.about
    assert entry.model.conductivity < library.board("fr4-1.6mm").model.conductivity


@pytest.mark.parametrize("name", DEVICES)
def test_devices(name):
    entry = library.device(name)
    assert isinstance(entry.model, Device) and entry.title and entry.origin
    assert "nvented" in entry.about


def test_own_file(tmp_path):
    (tmp_path / "mine.toml").write_text('title = "mine"\nkind = "bjt"\n[parameters]\nIS = "1e-16 A"\nVAF = "0 V"\n')
    for entry in (library.device("mine.toml", tmp_path), library.device(str(tmp_path / "mine.toml"))):
        assert entry.model.IS == 1e-16 and entry.notes == ("VAF: 0 is read as infinite",)
        assert entry.title == "mine" and entry.about == "" and entry.origin == {}


@pytest.mark.parametrize("ask, name, words", [
    (library.board, "fr4-1.5mm", ["'fr4-1.6mm'"]),
    (library.board, "copper-tape", ["among the boards"]),
    (library.conductor, "coper-tape", ["'copper-tape'"]),
    (library.device, "npn-25gz", ["'npn-25ghz'", ".toml"]),
    (library.device, "../transistors/npn-25ghz", ["npn-25ghz"]),
    (library.names, "transistor", ["'transistors'"]),
])
def test_unknown_names(ask, name, words):
    with pytest.raises(Refusal) as caught:
        ask(name)
    assert all(word in str(caught.value) for word in words)


def test_own_file_that_is_not_there(tmp_path):
    with pytest.raises(Refusal, match="mine.toml: there is no such file"):
        library.device("mine.toml", tmp_path)


def test_reading_a_circuit_file_loads_nothing_heavy_that_parts_and_devices_do_not_need():
    code = ("import sys, hbsim.linear.kinds, hbsim.linear.network, hbsim.devices.kinds; before = set(sys.modules); "
            "import hbsim.describe.circuitfile; "
            "new = {name.split('.')[0] for name in set(sys.modules) - before}; "
            "print(sorted(new & {'numpy', 'scipy', 'matplotlib', 'numba'}), 'hbsim' in new)")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[] True\n"
