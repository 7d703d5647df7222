"""`hbsim device --from-text`: the command, and the model file that it writes."""

import json
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from hbsim.cli import main
from hbsim.describe import library
from hbsim.describe.parameter_text import Choices, model_text, read_parameters
from hbsim.errors import Refusal

sys.path.insert(0, str(Path(__file__).parent / "describe"))
from parameter_prints import EXPECTED, LIST, NUMBERED, THREE_TO_A_ROW  # noqa: E402


@pytest.fixture
def text(tmp_path):
    path = tmp_path / "sheet.txt"
    path.write_text(LIST, encoding="utf-8")
    return path


def test_the_model_written_is_the_text(text, tmp_path, capsys):
    out = tmp_path / "demo.toml"
    assert main(["device", "--from-text", str(text), "--out", str(out), "--name", 'Demo "A"']) == 0
    page = capsys.readouterr().out
    for said in ("NPN transistor 'QDEMO', 39", "IS     0.31 fA", "vje = 0.82V", "21.507 GHz", "812.16 mV",
                 "TNOM     300 K", f"hbsim device {out}"):
        assert said in page
    entry = library.device(str(out))
    assert entry.title == 'Demo "A"' and entry.model.polarity == "npn" and not entry.notes
    assert {name: getattr(entry.model, name) for name in EXPECTED} == EXPECTED  # to the last digit
    assert "sheet.txt, lines 2 to 7" in entry.origin["text"]
    assert "# line 5: vje = 0.82V" in out.read_text(encoding="utf-8")
    picture = tmp_path / "curves.png"
    assert main(["device", str(out), "--plot", str(picture)]) == 0 and picture.stat().st_size > 10_000


def test_a_circuit_uses_the_model_written(text, tmp_path, examples, capsys):
    import re
    assert main(["device", "--from-text", str(text), "--out", str(tmp_path / "demo.toml")]) == 0
    circuit = (examples / "lumped_doubler.toml").read_text(encoding="utf-8")
    circuit, changed = re.subn(r'use = "[\w-]+"', 'use = "demo.toml"', circuit, count=1)
    assert changed == 1
    (tmp_path / "circuit.toml").write_text(circuit, encoding="utf-8")
    from hbsim.studies.circuit import Circuit
    Circuit.load(tmp_path / "circuit.toml")


def test_nothing_is_replaced_unasked(text, tmp_path, capsys):
    out = tmp_path / "demo.toml"
    out.write_text("mine", encoding="utf-8")
    command = ["device", "--from-text", str(text), "--out", str(out)]
    assert main(command) == 2 and out.read_text(encoding="utf-8") == "mine"
    assert "is there already; name another file, or add --replace" in capsys.readouterr().err
    assert main([*command, "--replace"]) == 0 and tomllib.loads(out.read_text(encoding="utf-8"))["kind"] == "bjt"


def test_json_tells_value_unit_line_and_text(tmp_path, capsys):
    path = tmp_path / "numbered.txt"
    path.write_text(NUMBERED + "LE 0.2 nH\nKF 1e-12\nVFA = 28 V\nIKR = - A\n", encoding="utf-8")
    assert main(["device", "--from-text", str(path), "--json", "-"]) == 0
    data = json.loads(capsys.readouterr().out)
    first = data["parameters"][0]
    assert (first["name"], first["value"], first["unit"], first["line"], first["text"], first["unit_as_written"]) == \
        ("IS", 3.1e-16, "A", 2, "IS 310.0 aA", "aA")
    assert data["checks"]["v_be_at_10_ma_v"] == pytest.approx(0.81216, abs=1e-5)  # by hand, see test_parameter_text
    assert [[entry["name"] for entry in data[key]] for key in ("package", "unused", "unknown", "not_given")] == \
        [["LE"], ["KF"], ["VFA"], ["IKR"]]
    assert main(["device", "--from-text", str(path)]) == 0
    page = capsys.readouterr().out
    for said in ("Package, kept apart", "LE = 200 pH, line 15", "Known and not used", "Not known and not used",
                 "Named without a value", "have not been extracted"):
        assert said in page


@pytest.mark.parametrize("options, said", [
    (["--out", "model.txt"], "does not end in .toml"), (["--plot", "a.png"], "write it with --out"),
    (["--replace"], "nothing is written"), (["npn-25ghz"], "another device than the text"),
    (["--area", "nan"], "area factor"), (["--area", "-2"], "area factor"), (["--column", "typ", "--polarity", "pnp"],
                                                                           "headed NPN"),
])
def test_options_that_do_not_fit(text, tmp_path, monkeypatch, capsys, options, said):
    monkeypatch.chdir(tmp_path)
    assert main(["device", *options, "--from-text", str(text)]) == 2
    assert said in capsys.readouterr().err


def test_an_option_of_a_text_without_a_text_is_refused(capsys):
    assert main(["device", "npn-25ghz", "--bare-is-si"]) == 2
    assert "--bare-is-si: is for a text; name it with --from-text" in capsys.readouterr().err


def test_a_refusal_says_file_line_and_mend(tmp_path, capsys):
    path = tmp_path / "a.txt"
    path.write_text(THREE_TO_A_ROW, encoding="utf-8")
    assert main(["device", "--from-text", str(path)]) == 2
    assert f"{path}, line 6: RE: 'RE = 0.45' has no unit" in capsys.readouterr().err
    assert main(["device", "--from-text", str(path), "--bare-is-si", "--out", str(tmp_path / "a.toml")]) == 2
    assert "says neither NPN nor PNP" in capsys.readouterr().err and not (tmp_path / "a.toml").exists()
    assert main(["device", "--from-text", str(tmp_path / "none.txt")]) == 2
    assert "there is no such file" in capsys.readouterr().err


SHEET = "BF = 112\nIS 0.31 fA\n"
TWO_LISTS = "QA NPN (BF=112)\nQB NPN (BF=80)\n"


@pytest.mark.parametrize("written, options, typed", [
    (SHEET, ["--out", "a.toml"], "--polarity npn or --polarity pnp"),
    ("BF=112 IS=0,31f", [], "--decimal-comma"),
    (THREE_TO_A_ROW, [], "--bare-is-si"),
    ("  min typ max\nBF 80 112 140\n", [], "--column min or --column typ or --column max"),
    ("  min typ max\nBF 80 112 140\n", ["--column", "mean"], "--column min or --column typ or --column max"),
    ("Parameter Q1 Q2 Unit\nBF 80 112 -\n", [], "--die Q1 or --die Q2"),
    (TWO_LISTS, [], "--die QA or --die QB"),
    (TWO_LISTS.splitlines()[0], ["--die", "QX"], "leave out --die"),
    (TWO_LISTS.splitlines()[0], ["--polarity", "pnp"], "leave out --polarity"),
    ("area = 8\n" + SHEET, [], "--area 8 or --area 1"),
    ("BFF = 112\n" + SHEET, ["--strict"], "leave out --strict"),
])
def test_a_refusal_says_what_to_type(tmp_path, monkeypatch, capsys, written, options, typed):
    monkeypatch.chdir(tmp_path)
    Path("a.txt").write_text(written, encoding="utf-8")
    command = ["device", "--from-text", "a.txt"]
    assert main([*command, *options]) == 2
    assert capsys.readouterr().err.rstrip().endswith(f" ({typed})")
    chosen = typed.split(" or ")[0].removeprefix("leave out ").split()
    kept = [] if chosen[0] in options else options
    again = kept if typed.startswith("leave out") else [*kept, *chosen]
    assert main([*command, *again]) == 0


def test_curves_are_drawn_of_the_model_written(text, tmp_path, capsys):
    """As `hbsim device` draws them of the same file; the numbers are in the JSON."""
    out, picture, said = (tmp_path / name for name in ("demo.toml", "demo.png", "demo.json"))
    command = ["device", "--from-text", str(text), "--out", str(out), "--plot", str(picture), "--json", str(said)]
    assert main(command) == 0 and f"Drawn: {picture}" in capsys.readouterr().out
    assert main(["device", str(out), "--json", str(tmp_path / "alone.json"), "--plot", str(tmp_path / "b.png")]) == 0
    curves = json.loads(said.read_text(encoding="utf-8"))["curves"]
    assert curves == json.loads((tmp_path / "alone.json").read_text(encoding="utf-8"))
    assert picture.read_bytes() == (tmp_path / "b.png").read_bytes()
    bad = [*command[:-4], "--plot", str(tmp_path / "demo.txt"), "--replace"]
    out.write_text("mine", encoding="utf-8")
    assert main(bad) == 2 and out.read_text(encoding="utf-8") == "mine"  # refused before anything is written


def test_other_encodings(tmp_path):
    path = tmp_path / "a.txt"
    for encoding, note in (("cp1252", True), ("utf-16", False), ("utf-8-sig", False)):
        path.write_bytes("IRB 250 µA\nTNOM 27 °C".encode(encoding))
        found = read_parameters(path)
        assert found.values["IRB"].value == 2.5e-4 and found.values["TNOM"].value == 300.15
        assert any("Windows" in sentence for sentence in found.notes) == note
    path.write_bytes(b"BF=112\n" * 30_000)
    with pytest.raises(Refusal, match="more than 200 kB"):
        read_parameters(path)
    path.write_bytes(b"BF=112" + b"(" * 4000)
    with pytest.raises(Refusal, match="more than 4000 characters"):
        read_parameters(path)
    path.write_bytes(b"BF=112" + b"(" * 3900 + b"\n" + b")" * 3900 + b"\n" + b";" * 3900)
    assert read_parameters(path).values["BF"].value == 112


def test_infinite_and_zero_go_through_the_model_file(tmp_path):
    found = read_parameters("VAF=inf IKF=0 BF=112 C2=129 IS=0.31f", Choices(polarity="pnp"))
    path = tmp_path / "a.toml"
    path.write_text(model_text(found), encoding="utf-8")
    model = library.device(str(path)).model
    assert model.VAF == model.IKF == float("inf") and model.ISE == 3.999e-14 and model.polarity == "pnp"


@pytest.mark.parametrize("wrong, why", [("MJE=0.95", "at most 0.9"), ("RBM=2", "RBM without RB"), ("NF=9", "at most 5"),
                                        ("TNOM=-200C", "at least")])
def test_what_the_model_does_not_take_is_refused_with_its_line(wrong, why):
    with pytest.raises(Refusal, match=why) as refused:
        model_text(replace(read_parameters(f"IS=1f\n{wrong}"), polarity="npn"))
    assert refused.value.place == "line 2"
