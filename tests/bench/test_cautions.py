"""What compare, fit and readings warn of: the same as predict, at all points, and levels that harm an analyser."""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.cautions import of_levels
from hbsim.bench.load import data_set
from hbsim.show.compare_page import compare_page
from hbsim.show.report import CAUTION
from hbsim.studies.circuit import Circuit
from hbsim.studies.prediction import predict

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def doubler():
    return hbsim.load(EXAMPLES / "lumped_doubler.toml")


def compared(folder, description, data, said):
    (folder / "d.csv").write_text(data)
    (folder / "d.toml").write_text(said)
    points = data_set(folder / "d.csv", description)
    return points.comparison(points.predict({}))


def test_what_predict_warns_of_at_one_point_compare_warns_of_where_it_is_worst(tmp_path, doubler):
    hot = doubler.with_values({"Q1.VCEO": "3 V"})
    one = compared(tmp_path, hot.description, "VCC / V,P / dBm\n1,-20\n3,-3\n4,-1\n",
                   '[columns]\nVCC = "supply.VCC"\nP = "output_dbm_2"\n')
    said = [sentence for sentence in predict(hot.with_values({"supply.VCC": "4 V"})).warnings
            if sentence.startswith("Q1: peak collector-emitter voltage reaches")]
    assert len(said) == 1
    told, = (sentence for sentence in one.cautions if sentence.startswith("Q1: peak collector-emitter"))
    assert told == f"{said[0]} (the worst: point 3; so at 2 of 3 points)"


def test_dc_at_a_connector_is_told(tmp_path):
    """5 V through 1 kohm onto the load of 50 ohm and, past 50 ohm, the generator's 50 ohm: 33.3 ohm, 161 mV."""
    biased = Circuit.build(
        title="line", drive={"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
        port={"input": {"node": "in"}, "output": {"node": "out"}}, wanted={"port": "output", "harmonic": 1},
        supply={"VCC": {"node": "out", "voltage": "5 V", "resistance": "1 kohm"}},
        part={"R1": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "50 ohm"}})
    one = compared(tmp_path, biased.description, "Pin / dBm,P / dBm\n0,-4\n",
                   '[columns]\nPin = "drive.power"\nP = "output_dbm_1"\n')
    assert any(sentence.startswith("port output: 161 mV of DC") for sentence in one.cautions)
    page = compare_page("line", [one])
    assert "161 mV of DC" in page and " ".join(page.split()).endswith(" ".join(CAUTION.split()))


def test_a_page_says_what_stood_still_and_which_losses_nobody_declared(tmp_path, doubler):
    one = compared(tmp_path, doubler.description, "P2 / dBm\n-3\n", '[columns]\nP2 = "output_dbm_2"\n')
    page = " ".join(compare_page("", [one]).split())
    assert "1 point; as the circuit has it: drive.power" in page
    assert set(one.still) == {"drive.power", "drive.frequency", "supply.VCC"}
    assert "no losses are declared between generator and circuit" in page
    assert "no losses are declared between circuit and analyser" in page
    one = compared(tmp_path, doubler.description, "P2 / dBm\n-3\n",
                   '[columns]\nP2 = "output_dbm_2"\n[settings]\n"supply.VCC" = "3 V"\n'
                   '[input]\nlosses = [{ loss = "1 dB" }]\n[output]\nlosses = [{ loss = "1 dB" }]\n')
    assert "supply.VCC" not in one.still and not any("declared" in note for note in one.notes)


def test_lines_that_reach_an_analyser_together_add_up_in_watts():
    """Two of 18 dBm are one of 18 + 10 log10 2 = 21.0 dBm, above what inputs stand by common practice (+20 dBm)."""
    assert of_levels([np.array([0.0, 18.0])], {}) == ()
    told, = of_levels([np.array([0.0, 18.0]), np.array([np.nan, 18.0])], {})
    assert told.startswith("readings: 21.0 dBm reach the analyser")


@pytest.mark.parametrize("attenuation, said", [(4.0, True), (6.0, False)])
def test_far_above_its_compression_point_a_mixer_is_in_danger(attenuation, said):
    told = of_levels([np.array([12.0])], {"analyser.compression_point": -3.0, "analyser.attenuation": attenuation})
    assert any("11.0 dB above its 1 dB compression point: that can destroy it" in text for text in told) == said


def test_readings_are_looked_at_without_a_meaning(tmp_path, capsys):
    from hbsim.cli import main
    (tmp_path / "hot.csv").write_text("Pin (dBm),P2 (dBm)\n-4,8\n-2,32\n")
    assert main(["readings", str(tmp_path / "hot.csv")]) == 0
    assert "32.0 dBm reach the analyser" in capsys.readouterr().out
    (tmp_path / "hot.toml").write_text('[columns]\nPin = "drive.power"\nP2 = "output_dbm_2"\n[analyser]\n'
                                       'attenuation = "10 dB"\ncompression_point = "0 dBm"\n')
    assert main(["readings", str(tmp_path / "hot.csv")]) == 0
    assert "22.0 dBm at the analyser's mixer" in " ".join(capsys.readouterr().out.split())


def test_a_device_alone_is_held_against_its_limits(tmp_path):
    """25 mA at 6 V are 150 mW, besides the base's 0.25 mA at 0.8 V: 0.2 mW."""
    from hbsim.bench.device_alone import device_alone
    (tmp_path / "t.toml").write_text('title = "t"\nkind = "bjt"\n[parameters]\npolarity = "npn"\nIS = "1 fA"\n'
                                     'VCEO = "5 V"\nIC_max = "30 mA"\ndissipation_max = "100 mW"\n')
    one = compared(tmp_path, device_alone(tmp_path / "t.toml"),
                   "VCE / V,VBE / V,IB / mA,IC / mA\n2,0.8,0.25,25\n6,0.8,0.25,25\n4,0.8,0.25,20\n",
                   '[columns]\nVCE = "collector_volts"\nVBE = "base_volts"\nIB = "base_amps"\n'
                   'IC = "collector_amps"\n')
    assert list(one.cautions) == [
        "peak collector-emitter voltage reaches 6 V, above the limit of 5 V (the worst: point 2; so at 1 of 3 points)",
        "average dissipation reaches 150.2 mW, above the limit of 100 mW (the worst: point 2; so at 1 of 3 points)"]
