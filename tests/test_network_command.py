"""`hbsim network`: page, files that it writes, refusals."""

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest

from hbsim.cli import main
from hbsim.linear import touchstone
from hbsim.studies.circuit import Circuit

FILTER = ["--ports", "f_0,f_3", "--parts", "filter_1,filter_2,filter_3"]
RANGE = ["--from", "1GHz", "--to", "3GHz", "--points", "21"]


@pytest.fixture
def beacon(examples):
    return str(examples / "beacon_2304.toml")


@pytest.fixture
def response(beacon):
    return Circuit.load(beacon).network(np.linspace(1e9, 3e9, 21), ["f_0", "f_3"],
                                        parts=["filter_1", "filter_2", "filter_3"])


def run(capsys, *arguments):
    assert main(["network", *arguments]) == 0
    return capsys.readouterr().out


def test_the_page_says_what_the_bench_wants_to_know(capsys, beacon, response):
    page = run(capsys, beacon, *FILTER, *RANGE)
    assert "S-parameters at 21 points from 1 GHz to 3 GHz" in page
    assert "port 1  f_0  node f_0  50 ohm" in page
    row = next(line for line in page.splitlines() if line.startswith("  2 f0"))
    assert f"{response.at_harmonics.db[1, 1, 0]:.2f}" in row.split()  # computed at 2.304 GHz, no point of the sweep
    assert "only these parts count: filter_1, filter_2, filter_3" in page and max(map(len, page.splitlines())) <= 110


def test_files_hold_the_response(capsys, beacon, response, tmp_path):
    table, data, picture = (tmp_path / name for name in ("r.csv", "r.json", "r.svg"))
    run(capsys, beacon, *FILTER, *RANGE, "--csv", str(table), "--json", str(data), "--plot", str(picture))
    found = json.loads(data.read_text())
    np.testing.assert_array_equal(np.array(found["s21"]["re"]) + 1j * np.array(found["s21"]["im"]), response.s[:, 1, 0])
    lines = list(csv.DictReader(table.open()))
    assert len(lines) == 21 and float(lines[4]["s22_db"]) == response.swept.db[4, 1, 1]
    assert float(lines[4]["s21_delay_s"]) == response.swept.delay[4, 1, 0]
    assert "<svg" in picture.read_text()[:500]


def test_standard_output_takes_one_kind_of_data(capsys, beacon, response):
    lines = list(csv.DictReader(io.StringIO(run(capsys, beacon, *FILTER, *RANGE, "--csv", "-"))))
    assert float(lines[0]["frequency_hz"]) == 1e9 and float(lines[-1]["s11_re"]) == response.s[-1, 0, 0].real
    assert json.loads(run(capsys, beacon, *FILTER, *RANGE, "--json", "-"))["devices"] == "absent"


def test_a_touchstone_file_reads_back_with_the_same_digits(capsys, beacon, response, tmp_path):
    path = tmp_path / "filter.s2p"
    run(capsys, beacon, *FILTER, *RANGE, "--touchstone", str(path))
    back = touchstone.read_touchstone(path)
    np.testing.assert_array_equal(back.s, response.s)
    np.testing.assert_array_equal(back.frequency, response.frequency)
    assert any("port 1: f_0" in comment for comment in back.comments)


def test_a_measurement_that_is_half_a_db_off_is_told_so(capsys, beacon, response, tmp_path):
    s = response.s[3:] * np.where(np.eye(2), 1.0, 10**(0.5 / 20))
    rows = [" ".join(f"{v:.12g}" for v in (f, *s[k].T.ravel().view(float)))
            for k, f in enumerate(response.frequency[3:])]
    (tmp_path / "m.s2p").write_text("# Hz S RI R 50\n" + "\n".join(rows) + "\n")
    page = run(capsys, beacon, *FILTER, *RANGE, "--measured", str(tmp_path / "m.s2p"))
    assert "18 of its 18 points, from 1.3 GHz to 3 GHz" in " ".join(page.split())  # lines are folded
    table = [line for line in page.splitlines() if line.startswith("  S") and "rms" not in line]
    seen = {line.split()[0]: " ".join(line.split()[1:]) for line in table if "Hz" in line and "dB" in line}
    assert seen["S21"].startswith("+0.50 dB") and " 0.50 dB" in seen["S12"]
    assert seen["S11"].startswith("under 0.01 dB") and "+" not in seen["S22"].split("Hz")[0]
    assert "reference planes" not in page


def test_a_measurement_behind_a_length_of_line_has_the_sizes_and_other_phases(capsys, beacon, response, tmp_path):
    # a lossless matched line in front of port 1: S11 e^-2jt, S21 e^-jt, S22 as it was (closed form); |1 - e^-jt| =
    # 2 sin(t/2)
    angle = np.radians(20.0) * response.frequency / 1e9
    turn = np.exp(-1j * angle)[:, None, None] ** np.array([[2, 1], [1, 0]])
    touchstone.write_touchstone(tmp_path / "m.s2p", replace(response.data(), s=response.s * turn))
    arguments = [beacon, *FILTER, *RANGE, "--measured", str(tmp_path / "m.s2p")]
    found = json.loads(run(capsys, *arguments, "--json", "-"))["measured"]["difference"]
    loud = 20 * np.log10(np.abs(response.s[:, 1, 0])) > -30.0
    through = np.abs(response.s[:, 1, 0]) * 2 * np.sin(angle / 2)
    assert found["s21"]["largest_amplitude"] == pytest.approx(through.max(), rel=1e-9)
    assert found["s21"]["largest_amplitude_at_hz"] == response.frequency[np.argmax(through)]
    assert found["s21"]["rms_amplitude"] == pytest.approx(np.sqrt(np.mean(through**2)), rel=1e-9)
    assert found["s21"]["phase"]["points"] == loud.sum() < len(loud)
    assert found["s21"]["phase"]["largest_deg"] == pytest.approx(-np.degrees(angle[loud].max()), rel=1e-9)
    assert found["s11"]["phase"]["rms_deg"] == pytest.approx(np.degrees(np.sqrt(np.mean(4 * angle**2))), rel=1e-9)
    assert found["s22"]["phase"]["rms_deg"] < 1e-9 and found["s21"]["largest_db"] < 1e-9
    page = " ".join(run(capsys, *arguments).split())
    assert "S11, S12, S21: the sizes agree, the phases do not: is the measurement taken at other" in page
    assert max(map(len, run(capsys, *arguments).splitlines())) <= 110


def test_junctions_that_count_are_listed_by_their_place(capsys, beacon):
    page = " ".join(run(capsys, beacon, *FILTER, *RANGE).split())
    found = json.loads(run(capsys, beacon, *FILTER, *RANGE, "--json", "-"))
    counting = set(found["junctions_that_count"])
    listed = [item for item in found["junctions"] if item["name"] in counting]
    assert listed and len(listed) < len(found["junctions"])
    group = {"filter_1", "filter_2", "filter_3"}
    assert all({arm["part"] for arm in item["parts"]} <= group for item in listed)
    assert all(f"{item['kind']} at {item['node']}: " in page for item in listed) and "junction." not in page


def test_set_reference_log_spacing_and_the_default_range(capsys, beacon):
    found = json.loads(run(capsys, beacon, "--ports", "input,b", "--reference", "50ohm,17ohm", "--points", "5",
                           "--spacing", "log", "--set", "match_stub.length=20 mm", "--json", "-"))
    f0 = 1.152e9
    np.testing.assert_allclose(found["frequency_hz"], f0 * np.array([0.25, 0.5, 1, 2, 4]), rtol=1e-12)
    assert [port["reference_ohm"] for port in found["ports"]] == [50.0, 17.0]
    longer = Circuit.load(beacon).network(found["frequency_hz"], ["input", "b"], reference=[50.0, 17.0])
    assert abs(longer.s[2, 1, 0] - complex(found["s21"]["re"][2], found["s21"]["im"][2])) > 0.01  # the stub counts


def test_devices_linearised_state_their_operating_point(capsys, examples):
    page = run(capsys, str(examples / "lumped_doubler.toml"), "--device", "linearised", "--points", "11")
    assert "Linearised at the operating point without drive:" in page and "Q1: base" in page and "collector" in page


@pytest.mark.parametrize("arguments, words", [
    (["--ports", "b_inn"], ["there is no node 'b_inn'", "did you mean 'b_in'"]),
    (["--ports", "input,in"], ["the same place"]),
    (["--ports", "input,,b"], ["--ports", "empty place"]),
    (["--parts", "match_lin"], ["did you mean 'match_line'"]),
    (["--parts", "Q1"], ["devices are absent"]),
    (["--from", "3GHz", "--to", "1GHz"], ["--from must be below --to"]),
    (["--from", "1GHz", "--to", "1GHz"], ["--from must be below --to"]),
    (["--from=-1GHz"], ["below 0 Hz"]),
    (["--from", "1"], ["--from", "has no unit"]),
    (["--from", "0Hz", "--spacing", "log"], ["--spacing"]),
    (["--points", "1"], ["--points", "at least 2"]),
    (["--points", "many"], ["--points"]),
    (["--reference", "0ohm"], ["above 0 ohm"]),
    (["--reference", "1ohm,2ohm,3ohm"], ["3 references for 2 ports"]),
    (["--device", "there"], ["--device"]),
    (["--set", "match_stub.lenght=1mm"], ["did you mean 'match_stub.length'"]),
    (["--measured", "nowhere.s2p"], ["nowhere.s2p"]),
    (["--measured", "x.s2p", "--csv", "x.s2p"], ["the measurement itself"]),
    (["--touchstone", "EXAMPLE"], ["the circuit file"]),
    (["--csv", "-", "--json", "-"], ["--json"]),
    (["--ports", "f_0,out", "--parts", "filter_1,filter_2,filter_3"], ["'out' is a node, but none", "f_0, f_1"]),
    (["--touchstone", "out.txt"], ["--touchstone", "'out.s2p'"]),
    (["--touchstone", "out.s3p"], ["--touchstone", "'out.s2p'"]),
    (["--referense", "50ohm"], ["did you mean '--reference'?", "'hbsim network --help'"]),
    (["--reference", "-30ohm"], ["write --reference=-30ohm"]),
    (["--plot", "x.gif"], [".png"]),
])
def test_bad_arguments_are_refused_in_one_line_and_write_nothing(capsys, beacon, tmp_path, monkeypatch, arguments,
                                                                 words):
    monkeypatch.chdir(tmp_path)
    assert main(["network", beacon, *(beacon if word == "EXAMPLE" else word for word in arguments)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("hbsim: ") and err.count("\n") == 1
    for word in words:
        assert word in err
    assert list(tmp_path.iterdir()) == []


def test_a_touchstone_file_in_place_of_a_circuit_is_pointed_to_its_command(capsys, examples):
    assert main(["network", str(examples / "filter_2304.s2p")]) == 2
    assert "'hbsim touchstone' looks at it" in capsys.readouterr().err


def test_the_picture_says_what_it_leaves_out_and_what_the_marks_are(capsys, beacon, response, tmp_path):
    touchstone.write_touchstone(tmp_path / "m.s2p", response.data())
    run(capsys, beacon, *FILTER, "--from", "1GHz", "--to", "6.5GHz", "--measured", str(tmp_path / "m.s2p"), "--plot",
        str(tmp_path / "p.svg"))
    picture = (tmp_path / "p.svg").read_text()
    for words in ("dB not drawn", "drawn where S is within 40 dB of its largest", "S11; marks: measured"):
        assert words in picture
