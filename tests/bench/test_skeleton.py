"""What a person is told to write into the TOML file beside the data: a skeleton, single lines, all keys."""

import re
import tomllib
from pathlib import Path

import pytest

import hbsim
from hbsim.bench import mapping, setup
from hbsim.bench.device_alone import device_alone
from hbsim.bench.keys import keys
from hbsim.bench.load import data_set
from hbsim.bench.skeleton import skeleton, words_of
from hbsim.bench.reader import read_readings
from hbsim.cli import main
from hbsim.errors import Refusal

EXAMPLES = Path(__file__).parents[2] / "examples"
DATA = "Generator (dBm);P2 (dBm);RL (dB);Strom (mA);Uhr\n-10,0;-25,7;7,0;11,5;8\n-8,0;-20,4;8,9;11,4;9\n"


@pytest.fixture(scope="module")
def circuit():
    return hbsim.load(EXAMPLES / "lumped_doubler.toml").description


def lines_of(text):
    """The TOML text of a skeleton, its remarks taken as lines too."""
    return tomllib.loads(text.partition("\n\n")[2])


def test_a_file_without_a_map_gets_a_skeleton(tmp_path, circuit):
    (tmp_path / "messung.csv").write_text(DATA)
    with pytest.raises(Refusal) as refusal:
        data_set(tmp_path / "messung.csv", circuit)
    text = str(refusal.value)
    assert "Write into messung.toml" in text
    said = lines_of(text)["columns"]
    assert said == {"Generator (dBm)": "?", "P2 (dBm)": "?", "RL (dB)": "?", "Strom (mA)": "supply_amps_VCC",
                    "Uhr": {"is": "?", "unit": "?"}}
    remarks = {line.split('"')[1]: line.partition("#")[2] for line in text.splitlines() if line.startswith('"')}
    assert "drive.power, output_dbm_N" in remarks["P2 (dBm)"] and "input_return_loss_db" in remarks["RL (dB)"]


def test_the_completed_skeleton_is_read(tmp_path, circuit):
    (tmp_path / "m.csv").write_text(DATA)
    text = skeleton(read_readings(tmp_path / "m.csv"), circuit, "").partition("\n\n")[2]
    for name, word in (("Generator", "drive.power"), ("P2", "output_dbm_2"), ("RL", "input_return_loss_db")):
        text = re.sub(rf'("{name} .*? = )"\?"', rf'\1"{word}"', text)
    text = "\n".join(line for line in text.replace('# "supply', '"supply').splitlines() if "Uhr" not in line)
    (tmp_path / "m.toml").write_text(text)
    item = data_set(tmp_path / "m.csv", circuit).measurement
    assert set(item.quantities) == {"output_dbm_2", "input_return_loss_db", "supply_amps_VCC"}
    assert set(item.settings) == {"drive.power", "supply.VCC"}


def test_a_word_that_is_left_open_is_refused_with_all_there_are(tmp_path, circuit):
    (tmp_path / "m.csv").write_text(DATA)
    (tmp_path / "m.toml").write_text('[columns]\n"P2" = "?"\n')
    with pytest.raises(Refusal, match="output_dbm_N") as refusal:
        data_set(tmp_path / "m.csv", circuit)
    assert str(refusal.value).startswith(f'{tmp_path / "m.toml"}, [columns] "P2 (dBm)": ')


def test_words_of_a_device_and_of_a_circuit_do_not_mix(tmp_path, circuit):
    (tmp_path / "m.csv").write_text(DATA)
    (tmp_path / "m.toml").write_text('[columns]\n"Generator" = "drive.power"\n"Strom" = "collector_amps"\n')
    with pytest.raises(Refusal, match="'drive.power' of a driven circuit.*supply_amps_VCC"):
        data_set(tmp_path / "m.csv", circuit)


def test_the_words_of_a_device_alone_are_its_own(tmp_path):
    (tmp_path / "t.toml").write_text('title = "t"\nkind = "diode"\n[parameters]\nIS = "1 fA"\n')
    words = words_of(device_alone(tmp_path / "t.toml"))
    assert "anode_amps" in words and "drive.power" not in words and "collector_amps" not in words


def test_a_negative_return_loss_says_the_line_to_type(tmp_path, circuit):
    (tmp_path / "m.csv").write_text(DATA.replace(";7,0;", ";-7,0;").replace(";8,9;", ";-8,9;"))
    (tmp_path / "m.toml").write_text('[columns]\n"Generator" = "drive.power"\n"RL" = "input_return_loss_db"\n')
    with pytest.raises(Refusal) as refusal:
        data_set(tmp_path / "m.csv", circuit)
    line = re.search(r'write (".*\})', str(refusal.value)).group(1)
    (tmp_path / "m.toml").write_text(f'[columns]\n"Generator" = "drive.power"\n{line}\n')
    assert list(data_set(tmp_path / "m.csv", circuit).measured) == [7.0, 8.9]


def test_a_fit_says_which_uncertainty_is_missing(tmp_path, capsys):
    (tmp_path / "m.csv").write_text(DATA)
    (tmp_path / "m.toml").write_text('[columns]\n"Generator" = "drive.power"\n"Strom" = "supply_amps_VCC"\n')
    assert main(["fit", str(EXAMPLES / "lumped_doubler.toml"), str(tmp_path / "m.csv"), "--free", "Q1.BF"]) == 2
    assert '[uncertainty] supply_amps_VCC = "0.1 mA"' in capsys.readouterr().err


def test_the_circuit_file_comes_first(tmp_path, capsys):
    (tmp_path / "m.csv").write_text(DATA)
    for command in (["compare"], ["fit", "--free", "Q1.BF"]):
        assert main([command[0], str(tmp_path / "m.csv"), str(EXAMPLES / "lumped_doubler.toml"), *command[1:]]) == 2
        assert "the circuit file comes first" in capsys.readouterr().err


def test_all_keys_that_are_read_are_printed(capsys):
    with pytest.raises(SystemExit) as left:
        main(["readings", "--keys"])
    page = capsys.readouterr().out
    assert left.value.code == 0 and page.strip() == keys()
    wanted = {*mapping._KINDS, *setup.TABLES, "is", "unit", "scale", "losses", "loss", "beyond", "from", "to",
              "averaging", "detector", "level_correction", *(key for table in setup._NUMBERS.values() for key in table)}
    words = set(re.findall(r"\w+", page))
    assert not {key for key in wanted if key not in words}
