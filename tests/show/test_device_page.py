"""`hbsim device`: the page, the picture, the command."""

import json
import os
import subprocess
import sys
import xml.etree.ElementTree as ElementTree

import pytest

from hbsim.describe.library import names
from hbsim.quantities import quantities
from hbsim.show.device_page import device_page
from hbsim.show.device_plot import device_figure
from hbsim.show.style import save
from hbsim.studies.device_curves import curves

OWN = """
title = "Made for a test"
kind = "bjt"
about = "Invented."

[parameters]
polarity = "pnp"
IS = "3e-16 A"
VAF = "0 V"
IKF = "0 A"
RB = "3 ohm"
RBM = "7 ohm"
CJE = "1 pF"
CJC = "0.5 pF"
TF = "20 ps"

[origin]
all = "invented"
"""


def run(root, folder, *arguments):
    paths = os.pathsep.join(filter(None, [str(root), os.environ.get("PYTHONPATH")]))
    return subprocess.run([sys.executable, "-m", "hbsim", "device", *arguments], cwd=folder, capture_output=True,
                          text=True, env=os.environ | {"PYTHONPATH": paths}, timeout=300)


@pytest.fixture
def own(tmp_path):
    (tmp_path / "own.toml").write_text(OWN)
    return tmp_path


@pytest.mark.parametrize("name", names("transistors") + names("diodes"))
def test_page_echoes_every_parameter_and_draws(name, tmp_path):
    found = curves(name)
    page = device_page(found)
    lines = page.splitlines()
    assert lines[0] == found.entry.title and "Invented" in lines[1]
    assert max(len(line) for line in lines) < 120
    for parameter in quantities(type(found.entry.model)):
        assert any(line.split()[:1] == [parameter] for line in lines), parameter
    assert "nan" not in page and "none" not in page.lower().split()
    save(device_figure(found), str(tmp_path / "picture.svg"))
    text = " ".join(ElementTree.parse(tmp_path / "picture.svg").getroot().itertext())
    assert found.entry.title in text and "capacitance / pF" in text


def test_page_says_what_matters_of_a_transistor():
    page = device_page(curves("npn-25ghz"))
    for text in ("Highest transition frequency", "At VCE = 3 V", "IC against VCE (rows) and IB (columns)", "bare chip",
                 "base-collector  130 fF at 0 V", "VCEO", "4.5 V", "limit of the collector-emitter voltage"):
        assert text in page


def test_zero_that_means_infinite_is_said(own, monkeypatch):
    monkeypatch.chdir(own)
    page = device_page(curves("own.toml"))
    lines = {line.split()[0]: line for line in page.splitlines() if line.startswith("  ") and line.split()}
    assert "infinite" in lines["VAF"] and "the file says 0" in lines["VAF"]
    assert "infinite" in lines["VAR"] and lines["VAR"].endswith(" *")  # not in the file
    assert "not given" in lines["VCEO"]
    assert "IKF: 0 is read as infinite" in page and "VAF: 0 is read as infinite" in page
    assert "RBM (7 ohm) is above RB (3 ohm)" in page
    assert "IC_max is not stated; curves are drawn to 100 mA" in page
    assert "-IC against VEC" in page and "A PNP" in page


def test_picture_of_a_pnp_is_labelled_in_magnitudes(own, monkeypatch, tmp_path):
    monkeypatch.chdir(own)
    save(device_figure(curves("own.toml")), str(tmp_path / "picture.svg"))
    text = list(ElementTree.parse(tmp_path / "picture.svg").getroot().itertext())
    assert "VEC / V" in text and "-IC / mA" in text and "VEB / mV" in text


def test_command_prints_writes_and_draws(root, tmp_path):
    done = run(root, tmp_path, "switching-diode", "--plot", "curves.png", "--json", "curves.json")
    # a first run says that it compiles; nothing else may stand there
    assert done.returncode == 0 and all(line.startswith("hbsim: compiling") for line in done.stderr.splitlines())
    assert done.stdout.startswith("Fast switching diode") and "Cut-off frequency" in done.stdout
    assert (tmp_path / "curves.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    assert json.loads((tmp_path / "curves.json").read_text())["kind"] == "diode"


def test_command_writes_json_alone_to_standard_output(root, tmp_path):
    done = run(root, tmp_path, "npn-60ghz", "--json", "-", "--plot", "curves.svg")
    assert done.returncode == 0
    data = json.loads(done.stdout)
    assert data["name"] == "npn-60ghz" and len(data["output"]) == 6
    assert data["fastest"]["transition_hz"] == pytest.approx(60e9, rel=0.1)
    assert ElementTree.parse(tmp_path / "curves.svg").getroot().tag.endswith("svg")


@pytest.mark.parametrize("arguments, said", [
    (("npn-25gz",), "did you mean 'npn-25ghz'"),
    (("missing.toml",), "missing.toml"),
    (("npn-25ghz", "--plot", "curves.gif"), "a picture ends in"),
    (("npn-25ghz", "--json", "nowhere/curves.json"), "does not exist"),
])
def test_command_refuses_without_a_traceback(root, tmp_path, arguments, said):
    done = run(root, tmp_path, *arguments)
    assert done.returncode == 2
    assert said in done.stderr and "Traceback" not in done.stderr and done.stdout == ""
    assert list(tmp_path.iterdir()) == []


def test_what_the_file_states_is_not_starred(tmp_path, monkeypatch):
    """NF = 1 and XTI = 3 are also what holds where a file says nothing; here it says them."""
    (tmp_path / "stated.toml").write_text(
        'title = "t"\nabout = "x"\nkind = "bjt"\n[parameters]\npolarity = "npn"\nIS = "0.1 fA"\nNF = 1.0\nXTI = 3\n'
        '[limits]\nVCEO = "4 V"\n[origin]\ntext = "invented"\n')
    monkeypatch.chdir(tmp_path)
    lines = {line.split()[0]: line for line in device_page(curves("stated.toml")).splitlines() if line.startswith("  ")
             and line.split()}
    assert not lines["IS"].endswith("*") and not lines["NF"].endswith("*") and not lines["XTI"].endswith("*")
    assert lines["NR"].endswith(" *") and lines["XTB"].endswith(" *") and not lines["VCEO"].endswith("*")
