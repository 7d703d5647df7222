"""`hbsim compare` and `hbsim fit` with the model file of a device measured alone, in words that people type."""

import json
from pathlib import Path

import numpy as np
import pytest

from hbsim.bench.device_alone import addressed, device_alone
from hbsim.cli import main
from hbsim.studies.bias import Bias

MODELS = Path(__file__).parents[1] / "models" / "transistors"


@pytest.fixture
def gummel(tmp_path):
    """The library's transistor with IS 20 % up and RB, RC, RE half as large again, on DC sources; no noise."""
    model = tmp_path / "mine.toml"
    model.write_text((MODELS / "npn-25ghz.toml").read_text())
    alone = device_alone(model)
    part = alone.devices["device"].part
    truth = {"device.IS": 1.2 * part.IS, **{f"device.{name}": 1.5 * getattr(part, name) for name in ("RB", "RC", "RE")}}
    volts = np.linspace(0.70, 0.92, 12)
    _, flows = Bias(alone.with_values(truth).devices["device"].part, {"base": 0.0, "collector": 0.0}).sweep(
        np.stack([volts, np.full(12, 1.0)], axis=1))
    (tmp_path / "gummel.csv").write_text("VBE (V),IC (A),IB (A)\n" + "".join(
        f"{v:.4f},{c:.10g},{b:.10g}\n" for v, (b, c) in zip(volts, flows)))
    (tmp_path / "gummel.toml").write_text(
        '[columns]\nVBE = "base_volts"\nIC = "collector_amps"\nIB = "base_amps"\n[settings]\ncollector_volts = "1 V"\n'
        '[uncertainty]\ncollector_amps = "1 %"\nbase_amps = "1 %"\n')
    return tmp_path, part, flows


def test_compare_takes_a_model_file(gummel, capsys):
    folder, part, flows = gummel
    assert main(["compare", str(folder / "mine.toml"), str(folder / "gummel.csv"), "--json", str(folder / "r.json"),
                 "--plot", str(folder / "r.svg"), "--csv", str(folder / "r.csv"), "--keep", str(folder / "kept")]) == 0
    page = capsys.readouterr().out
    assert "collector_amps" in page and "disagrees" in page
    one = json.loads((folder / "r.json").read_text())["comparisons"][0]
    _, cold = Bias(part, {"base": 0.0, "collector": 0.0}).sweep(
        np.stack([np.linspace(0.70, 0.92, 12), np.full(12, 1.0)], axis=1))
    assert one["quantities"]["collector_amps"]["predicted"] == pytest.approx(list(cold[:, 1]), rel=1e-7)
    assert (folder / "kept" / "page.txt").is_file() and (folder / "r.svg").stat().st_size > 0


def test_set_of_a_short_name_moves_the_comparison(gummel, capsys):
    folder, part, _ = gummel
    assert main(["compare", str(folder / "mine.toml"), str(folder / "gummel.csv"), "--set", f"IS={1.2 * part.IS}A",
                 *(word for name in ("RB", "RC", "RE") for word in
                   ("--set", f"{name}={1.5 * getattr(part, name)}ohm"))]) == 0
    assert "agrees within its uncertainty" in capsys.readouterr().out


def test_short_names_in_factors(gummel, capsys):
    folder, part, _ = gummel
    assert main(["fit", str(folder / "mine.toml"), str(folder / "gummel.csv"), "--free", "IS", "--free",
                 "scale RB,RC, RE", "--json", str(folder / "f.json")]) == 0
    found = {item["name"]: item["value"] for item in json.loads((folder / "f.json").read_text())["unknowns"]}
    assert found["device.IS"] == pytest.approx(1.2 * part.IS, rel=1e-4)
    assert found["scale device.RB, device.RC, device.RE"] == pytest.approx(1.5, rel=1e-3)


@pytest.mark.parametrize("short, whole", [
    ("IS", "device.IS"), ("RB,RC", "device.RB, device.RC"), ("scale R*", "scale device.R*"),
    ("scale device.RB, RE", "scale device.RB, device.RE"), ("bench.output_error_db", "bench.output_error_db")])
def test_short_names(gummel, short, whole):
    assert addressed({short: 1}, device_alone(gummel[0] / "mine.toml")) == {whole: 1}


def test_a_circuit_keeps_its_names():
    import hbsim
    circuit = hbsim.load(Path(__file__).parents[1] / "examples" / "lumped_doubler.toml").description
    assert addressed({"IS": 1}, circuit) == {"IS": 1}


@pytest.mark.parametrize("command", [["compare"], ["fit", "--free", "IS"]])
def test_data_of_a_circuit_are_not_compared_with_a_model_file(gummel, capsys, command):
    folder, _, _ = gummel
    (folder / "x.csv").write_text("P (dBm),Pout (dBm)\n0,-10\n1,-9\n")
    (folder / "x.toml").write_text('[columns]\nP = "drive.power"\nPout = "output_dbm_1"\n')
    assert main([command[0], str(folder / "mine.toml"), str(folder / "x.csv"), *command[1:]]) == 2
    assert "name the circuit file" in capsys.readouterr().err


def test_s_parameters_without_their_bias_are_refused_with_the_mend(gummel, capsys):
    folder, _, _ = gummel
    (folder / "s.s2p").write_text("# GHz S RI R 50\n1 0 0 0 0 0 0 0 0\n")
    assert main(["compare", str(folder / "mine.toml"), str(folder / "s.s2p")]) == 2
    assert 'base_volts = "0.8 V"' in capsys.readouterr().err


@pytest.mark.parametrize("limits, words", [
    ("", "ended at its upper limit of 100 mohm, which the search took by itself"),
    ("=10uohm:50mohm", "ended at its upper limit of 50 mohm, and the errors")])
def test_the_page_says_at_which_limit_an_unknown_ended_and_whose_that_is(gummel, capsys, limits, words):
    """The emitter resistance is 0.6 ohm; the search begins at 0.1 mohm and goes a thousand times as far at most."""
    folder, _, _ = gummel
    main(["fit", str(folder / "mine.toml"), str(folder / "gummel.csv"), "--free", f"RE{limits}", "--set", "RE=0.1mohm"])
    assert words in " ".join(capsys.readouterr().out.split())
