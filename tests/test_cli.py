"""The command line: what it prints, what it writes, its exit status; and that bad input is refused in one line."""

import csv
import io
import json
import math
import os
import subprocess
import sys

import pytest

import hbsim
from hbsim.cli import main
from hbsim.studies.prediction import predict

K = ["--harmonics", "4"]


@pytest.fixture(scope="module", autouse=True)
def compiled(examples):
    """What the first run says about compiling would stand among the words that the tests look at."""
    circuit = hbsim.load(examples / "lumped_doubler.toml")
    assert predict(circuit, harmonics=4).state.devices
    assert circuit.sweep({"drive.power": [0.0, 1.0]}, harmonics=4).solved.all()


@pytest.fixture(scope="module")
def text(examples):
    return (examples / "lumped_doubler.toml").read_text(encoding="utf-8")


@pytest.fixture
def write(tmp_path):
    def file(content, name="circuit.toml"):
        path = tmp_path / name
        path.write_text(content, encoding="utf-8")
        return str(path)
    return file


@pytest.fixture
def example(examples):
    return str(examples / "lumped_doubler.toml")


def strict(written):
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")
    return json.loads(written, parse_constant=refuse)


def refused(capsys, arguments, *words):
    """Exit status 2, nothing on standard output, one line on standard error that holds the words."""
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and err.startswith("hbsim: "), err
    for word in words:
        assert word in err, err
    return err


# -- predict -------------------------------------------------------------------------------------------------

def test_predict_prints_a_page_and_writes_json_and_a_picture(capsys, example, tmp_path):
    data, picture = tmp_path / "p.json", tmp_path / "p.svg"
    assert main(["predict", example, *K, "--json", str(data), "--plot", str(picture)]) == 0
    out, err = capsys.readouterr()
    assert err == "" and "<- wanted" in out and "Q1" in out
    assert max(map(len, out.splitlines())) <= 110
    assert strict(data.read_text())["wanted_harmonic"] == 2 and "<svg" in picture.read_text()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["p.json", "p.svg"]


def test_predict_json_holds_the_listed_keys_with_the_values_of_the_python_state(capsys, example):
    assert main(["predict", example, *K, "--set", "drive.power=3dBm", "--set", "supply.VCC=2.5 V", "--json", "-"]) == 0
    found = strict(capsys.readouterr().out)
    state = hbsim.load(example).solve({"drive.power": 3.0, "supply.VCC": 2.5}, harmonics=4)
    assert found["drive"] == {"frequency_hz": 1.152e9, "power_dbm": 3.0} and found["wanted_harmonic"] == 2
    for k, line in enumerate(found["output"], 1):
        assert (line["harmonic"], line["frequency_hz"]) == (k, pytest.approx(k * 1.152e9))
        assert line["dbm"] == pytest.approx(state.output_dbm(k), abs=1e-9)
        assert line["dbc"] == pytest.approx(state.output_dbc(k), abs=1e-9)
        assert line["phase_deg"] == pytest.approx(state.output_phase_deg(k), abs=1e-6)
    assert len(found["output"]) == 4
    for key in ("conversion_loss_db", "input_return_loss_db", "dc_power_w", "efficiency"):
        assert found[key] == pytest.approx(getattr(state, key), rel=1e-9)
    assert found["supplies"] == {"VCC": {"volts": pytest.approx(state.supplies["VCC"].volts),
                                         "amps": pytest.approx(state.supplies["VCC"].amps)}}
    device, q1 = found["devices"]["Q1"], state.devices["Q1"]
    assert device["dissipation_w"] == pytest.approx(q1.dissipation)
    assert device["average_amps"]["collector"] == pytest.approx(q1.pin_current["collector"][0].real)
    assert [peak["value"] for peak in device["peaks"]] == pytest.approx([rating.value for rating in q1.ratings])
    assert set(found["solver"]) == {"harmonics", "samples", "iterations", "residual", "truncation_db",
                                    "truncation_between", "tolerance_met"}
    assert found["solver"]["truncation_between"] == [4, 8]
    assert found["solver"]["harmonics"] == 4 and found["solver"]["truncation_db"] > 0
    assert all(isinstance(sentence, str) for sentence in found["warnings"])


def test_a_point_without_a_steady_state_gives_status_1_the_reason_and_no_files(capsys, example, tmp_path):
    # Thermal runaway: at 1e6 K/W even the milliwatts of this stage would heat the junction past any limit.
    data = tmp_path / "p.json"
    assert main(["predict", example, *K, "--set", "Q1.thermal_resistance=1000000 K/W", "--json", str(data)]) == 1
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and not data.exists()
    assert "not solved at drive.power = 0 dBm, supply.VCC = 2 V" in err and "junction temperature of 'Q1'" in err


# -- sweep ---------------------------------------------------------------------------------------------------

def test_sweep_writes_the_listed_columns(capsys, example, tmp_path):
    path = tmp_path / "s.csv"
    assert main(["sweep", example, *K, "--vary", "supply.VCC=2:3:0.5V", "--vary", "drive.power=-5dBm:0dBm:5dB",
                 "--csv", str(path)]) == 0
    out, err = capsys.readouterr()
    assert "6 of 6 points solved" in out and err == ""
    rows = list(csv.DictReader(path.open(newline="")))
    assert list(rows[0]) == ["supply.VCC_volts", "drive.power_dbm", "output_dbm_1", "output_dbm_2", "output_dbm_3",
                             "output_dbm_4", "conversion_loss_db", "input_return_loss_db", "output_phase_deg_2",
                             "efficiency", "supply_watts", "supply_amps_VCC", "output_dbc_1", "output_dbc_3",
                             "output_dbc_4", "phase_change_deg_per_db", "harmonics", "truncation_db",
                             "truncation_others_db", "solved", "fingerprint"]
    assert {row["harmonics"] for row in rows} == {"4.0"} and all(float(row["truncation_db"]) > 0 for row in rows)
    assert [(row["supply.VCC_volts"], row["drive.power_dbm"]) for row in rows] == [
        (v, p) for v in ("2.0", "2.5", "3.0") for p in ("-5.0", "0.0")]
    state = hbsim.load(example).solve({"supply.VCC": "2.5 V", "drive.power": "-5 dBm"}, harmonics=4)
    assert float(rows[2]["output_dbm_2"]) == pytest.approx(state.output_dbm(2), abs=1e-6)
    assert float(rows[2]["supply_amps_VCC"]) == pytest.approx(state.supplies["VCC"].amps, rel=1e-6)
    assert {row["solved"] for row in rows} == {"true"}


@pytest.mark.parametrize("option", ["--csv", "--json"])
def test_a_dash_prints_nothing_but_the_table(capsys, example, option):
    assert main(["sweep", example, *K, "--vary", "drive.power=-1dBm:0dBm:1dB", option, "-"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    if option == "--json":
        assert strict(out)["axes"] == {"drive.power_dbm": [-1.0, 0.0]}
    else:
        assert [len(row) for row in csv.reader(io.StringIO(out))] == [22, 22, 22]


def test_a_sweep_keeps_unsolved_points_and_says_so(capsys, example, tmp_path):
    table, data = tmp_path / "s.csv", tmp_path / "s.json"
    vary = ["--vary", "Q1.thermal_resistance=0:1000000:500000K/W"]
    assert main(["sweep", example, *K, *vary, "--csv", str(table), "--json", str(data)]) == 0
    out, err = capsys.readouterr()
    assert "2 of 3 points not solved" in err and "unsolved" in out and "1 of 3 points solved" in out
    rows = list(csv.DictReader(table.open(newline="")))
    assert [row.pop("solved") for row in rows] == ["true", "false", "false"]
    assert len({row.pop("fingerprint") for row in rows}) == 1
    for row in rows[1:]:
        assert float(row.pop("Q1.thermal_resistance_kelvin_per_watt")) >= 500000
        assert set(row.values()) == {""}
    found = strict(data.read_text())
    assert found["columns"]["solved"] == [True, False, False] and found["columns"]["output_dbm_2"][1] is None
    assert [point["point"] for point in found["unsolved"]] == [1, 2] and "Q1" in found["unsolved"][0]["reason"]


def test_a_sweep_without_any_solved_point_gives_status_1(capsys, example):
    assert main(["sweep", example, *K, "--vary", "drive.power=0dBm:1dBm:1dB", "--set",
                 "Q1.thermal_resistance=1000000 K/W"]) == 1
    assert "2 of 2 points not solved" in capsys.readouterr().err


# -- bad input -----------------------------------------------------------------------------------------------

BAD_FILES = {
    "toml syntax": ("= \"0 dBm\"", "= \"0 dBm", "at line LINE,"),
    "part kind": ('kind = "capacitor"', 'kind = "capacitr"', "part.C_in.kind", "did you mean 'capacitor'"),
    "key": ("capacitance = \"10 pF\"", "capacitence = \"10 pF\"", "part.C_in", "did you mean 'capacitance'"),
    "unit": ('"10 pF"', '"10"', "part.C_in.capacitance", "has no unit"),
    "number": ('"10 pF"', '"nan"', "part.C_in.capacitance", "not a finite number"),
    "negative": ('"33 kohm"', '"-33 kohm"', "part.R_b.resistance", "at least"),
    "loose node": ('nodes = ["in", "b"]', 'nodes = ["in", "bb"]',
                   "node 'bb' is touched only by the second end of part.C_in"),
    "no drive": ("[drive]", "[about]", "drive"),
    "two drives": ("[wanted]", '[drive.second]\npower = "0 dBm"\n[wanted]', "more than one drive"),
    "no wanted port": ('port = "output"', 'port = "outpt"', "wanted.port", "did you mean 'output'"),
    "no DC path": ('kind = "resistor"\nnodes = ["vcc", "b"]\nresistance = "33 kohm"',
                   'kind = "capacitor"\nnodes = ["vcc", "b"]\ncapacitance = "1 pF"', "part.Q1", "base", "DC path"),
}


@pytest.mark.parametrize("case", BAD_FILES)
@pytest.mark.parametrize("command", [["predict"], ["sweep", "--vary", "drive.power=0dBm:1dBm:1dB"]])
def test_a_bad_file_is_refused(capsys, text, write, tmp_path, case, command):
    old, new, *words = BAD_FILES[case]
    assert old in text
    line = str(text[:text.index(old)].count("\n") + 1)
    path = write(text.replace(old, new, 1))
    refused(capsys, [*command, path, *K, "--json", str(tmp_path / "out.json")], path,
            *(word.replace("LINE", line) for word in words))
    assert [item.name for item in tmp_path.iterdir()] == ["circuit.toml"]


def with_filter(text):
    return text.replace('nodes = ["c", "out"]', 'nodes = ["c", "m"]') + \
        '\n[part.filter]\nkind = "touchstone block"\nfile = "filter.s2p"\nnodes = ["m", "out"]\n'


@pytest.mark.parametrize("content, words", [
    (None, ["filter.s2p"]), ("", ["filter.s2p"]), ("# GHz S RI R 50\n1 x\n", ["filter.s2p"]),
    ("# GHz S RI R 50\n" + "".join(f"{f} 0 0 1 0 1 0 0 0\n" for f in (1, 2, 3)), ["filter", "harmonic"])])
def test_a_bad_touchstone_file_is_refused(capsys, text, write, tmp_path, content, words):
    path = write(with_filter(text))
    if content is not None:
        write(content, "filter.s2p")
    before = sorted(tmp_path.iterdir())
    refused(capsys, ["predict", path, *K, "--json", str(tmp_path / "o.json")], path, "part.filter", *words)
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("arguments, words", [
    (["predict", "nowhere.toml"], ["nowhere.toml", "no such file"]),
    (["predict", "EXAMPLE", "--harmonics", "1"], ["harmonics", "at least 2"]),
    (["predict", "EXAMPLE", "--harmonics", "many"], ["--harmonics", "many"]),
    (["predict", "EXAMPLE", "--harm", "4"], ["--harm"]),
    (["predict", "EXAMPLE", "--set", "drive.powr=1dBm"], ["drive.powr", "did you mean 'drive.power'"]),
    (["predict", "EXAMPLE", "--set", "drive.power"], ["--set", "drive.power=3dBm"]),
    (["predict", "EXAMPLE", "--set", "drive.power=1"], ["drive.power", "has no unit"]),
    (["predict", "EXAMPLE", "--set", "drive.power=1dBm", "--set", "drive.power=2dBm"], ["--set", "twice"]),
    (["predict", "EXAMPLE", "--set", "R_b.resistance=-1ohm"], ["R_b.resistance", "at least"]),
    (["predict", "EXAMPLE", "--json", "nowhere/x.json"], ["nowhere/x.json", "does not exist"]),
    (["predict", "EXAMPLE", "--json", "."], ["folder"]),
    (["predict", "EXAMPLE", "--json", ""], ["folder"]),
    (["predict", "EXAMPLE", "--json", "EXAMPLE"], ["the circuit file"]),
    (["predict", "EXAMPLE", "--plot", "x.gif"], [".png", "x.gif"]),
    (["predict", "EXAMPLE", "--json", "x.svg", "--plot", "x.svg"], ["--plot", "--json"]),
    (["sweep", "EXAMPLE"], ["--vary"]),
    (["sweep", "EXAMPLE", "--varry", "drive.power=0dBm:1dBm:1dB"], ["--varry"]),
    (["device", "--json", "-"], ["--json", "no device is named"]),
    (["device", "--plot", "x.png"], ["--plot", "no device is named"]),
    (["sweep", "EXAMPLE", "--vary", "drive.power=0dBm:1dBm:0dB"], ["drive.power", "zero"]),
    (["sweep", "EXAMPLE", "--vary", "drive.power=0dBm:1dBm"], ["drive.power", "START:STOP:STEP"]),
    (["sweep", "EXAMPLE", "--vary", "drive.power=0:1:1"], ["drive.power", "has no unit"]),
    (["sweep", "EXAMPLE", "--vary", "drive.power=1dBm:0dBm:1dB"], ["drive.power", "sign"]),
    (["sweep", "EXAMPLE", "--vary", "supply.VCX=1V:2V:1V"], ["supply.VCX", "did you mean 'supply.VCC'"]),
    (["sweep", "EXAMPLE", "--vary", "C_c.capacitance=-1pF:2pF:1pF"], ["C_c.capacitance", "at least"]),
    (["sweep", "EXAMPLE", *["--vary", "drive.power=0dBm:1dBm:1dB"] * 2], ["--vary", "twice"]),
    (["sweep", "EXAMPLE", "--vary", "drive.power=0dBm:1dBm:1dB", "--csv", "-", "--json", "-"], ["--json"]),
    (["sweep", "EXAMPLE", "--vary", "drive.power=0dBm:1dBm:1dB", "--harmonics", "1"], ["at least 2"]),
    (["sweep", "EXAMPLE", "--vary", "drive.power=0dBm:1dBm:1dB", "--vary", "supply.VCC=1:2:1V", "--vary",
      "R_b.resistance=1:2:1kohm", "--plot", "x.png"], ["--plot", "--csv"]),
    ([], ["COMMAND"]),
    (["predct", "EXAMPLE"], ["predct"]),
])
def test_bad_arguments_are_refused(capsys, example, tmp_path, monkeypatch, arguments, words):
    monkeypatch.chdir(tmp_path)
    before = open(example, "rb").read()
    refused(capsys, [example if word == "EXAMPLE" else word for word in arguments], *words)
    assert list(tmp_path.iterdir()) == [] and open(example, "rb").read() == before


def test_device_without_a_name_lists_the_library(capsys):
    assert main(["device"]) == 0
    out, err = capsys.readouterr()
    assert err == "" and [line for line in out.splitlines() if not line.startswith(" ")] == [
        "transistors", "diodes", "boards", "conductors"]
    assert "npn-25ghz " in out and "  FR4, 1.6 mm, 35 um copper\n" in out and "copper-tape" in out


# -- as a process --------------------------------------------------------------------------------------------

def process(root, *arguments, **environment):
    return subprocess.run([sys.executable, *arguments], capture_output=True, text=True, timeout=300,
                          env={**os.environ, "PYTHONPATH": str(root), **environment})


def test_python_m_hbsim_is_the_command(root, example):
    found = process(root, "-m", "hbsim", "predict", example, *K, "--json", "-")
    assert found.returncode == 0 and math.isfinite(strict(found.stdout)["conversion_loss_db"])
    found = process(root, "-m", "hbsim", "predict", "nowhere.toml")
    assert (found.returncode, found.stdout) == (2, "") and found.stderr.count("\n") == 1


def test_import_and_help_load_no_heavy_package(root):
    script = ("import sys, hbsim, hbsim.cli\n"
              "for words in (['--help'], ['predict', '--help'], ['sweep', '--help'], ['device', '--help']):\n"
              "    try: hbsim.cli.main(words)\n"
              "    except SystemExit as end: assert end.code == 0\n"
              "print([name for name in ('numpy', 'numba', 'scipy', 'matplotlib') if name in sys.modules])\n")
    found = process(root, "-c", script)
    assert found.returncode == 0 and found.stdout.splitlines()[-1] == "[]", found.stderr
    assert "Exit status: 0 done, 1 not solved, 2 refused" in found.stdout


def test_the_first_run_says_that_it_compiles_and_a_warm_one_does_not(root, tmp_path):
    # A kernel of the test's own stands for hbsim's: compiling those would take half a minute.
    (tmp_path / "kernel.py").write_text("from numba import njit\n\n@njit(cache=True)\n"
                                         "def twice(x):\n    return 2 * x\n")
    script = (f"import sys; sys.path.insert(0, {str(tmp_path)!r})\n"
              "from hbsim.cli.shared import says_when_compiling\n"
              "with says_when_compiling():\n    from kernel import twice\n    print(twice(21.0), twice(21))\n")
    runs = [process(root, "-c", script, NUMBA_CACHE_DIR=str(tmp_path / "cache"), NUMBA_DISABLE_JIT="0")
            for _ in range(2)]
    assert [run.stdout for run in runs] == ["42.0 42\n"] * 2
    assert runs[0].stderr.count("compiling") == 1 and runs[1].stderr == ""
