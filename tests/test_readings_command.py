"""`hbsim readings`: page, JSON, refusals, on a trace and a table that are made here and on real exports."""

import json
from pathlib import Path

import numpy as np
import pytest

from hbsim.cli import main

WILD = Path(__file__).parent / "bench" / "wild"


@pytest.fixture
def trace(tmp_path):
    """Lines at f0, 2 f0 and 1.5 f0 of 1 GHz over noise of -85 dBm, 3 MHz Gaussian filter, points 1 MHz apart."""
    frequency = np.arange(500, 3501) * 1e6
    power = 10**-8.5 * np.random.default_rng(5).exponential(size=frequency.size)
    for at, level in ((1e9, -12.0), (2e9, 2.5), (1.5e9, -40.0)):
        power += 10 ** (level / 10) * np.exp(-np.log(2) * (2 * (frequency - at) / 3e6) ** 2)
    path = tmp_path / "trace.csv"
    rows = "\n".join(f"{f / 1e6:.0f},{10 * np.log10(p):.3f}" for f, p in zip(frequency, power))
    path.write_text(f"RBW,3 MHz\nDetector,Sample\nFrequency (MHz),Level (dBm)\n{rows}\n")
    return path


def asked(capsys, *arguments):
    assert main(["readings", *map(str, arguments), "--json", "-"]) == 0
    return json.loads(capsys.readouterr().out)


def test_lines_of_a_trace(trace, capsys):
    found = asked(capsys, trace, "--f0", "1GHz")["traces"][0]
    assert found["resolution_bandwidth_hz"] == 3e6 and found["detector"] == "sample"
    assert found["point_loss_db"] == pytest.approx(10 * np.log10(2) / 9)
    levels = {line["harmonic"]: line for line in found["harmonics"]}
    assert levels[1]["level_dbm"] == pytest.approx(-12, abs=0.01)  # noise 73 dB below: 0.004 dB at the worst
    assert levels[2]["level_dbm"] == pytest.approx(2.5, abs=0.01)
    assert [levels[n]["above_noise"] for n in (1, 2, 3)] == [True, True, False]
    assert [line["frequency_hz"] for line in found["others"]] == [1.5e9]
    assert found["noise_dbm"] == pytest.approx(-85, abs=0.4)


def test_page_says_the_same(trace, capsys):
    assert main(["readings", str(trace), "--f0", "1GHz"]) == 0
    page = capsys.readouterr().out
    for text in ("3001 rows, 2 columns, 1 sweep", "500 MHz", "-12.00 dBm", "1.5 f0, an odd multiple of f0 / 2",
                 "< : no line, an upper limit", "resolution bandwidth 3 MHz, points 1 MHz apart"):
        assert text in page
    assert max(map(len, page.splitlines())) <= 125


def test_table_with_flags(tmp_path, capsys):
    path = tmp_path / "sweep.csv"
    path.write_text("Pin,H1,H3,Ic\n[dBm],[dBm],[dBm],[mA]\n-10,-11.0,<-80,11.2\n-5,-6.1,---,OVL\n")
    found = asked(capsys, path)
    columns = {column["name"]: column for column in found["columns"]}
    assert found["rows"] == 2 and found["sweeps"] == 1 and found["traces"] == []
    assert columns["Ic"]["unit"] == "A" and columns["Ic"]["values"] == [pytest.approx(0.0112), None]
    assert columns["Ic"]["flags"] == {"over-range": 1}
    assert columns["H3"]["flags"] == {"upper limit": 1, "missing": 1} and columns["H3"]["last"] is None
    assert (columns["Pin"]["first"], columns["Pin"]["last"]) == (-10, -5)


def test_real_exports(capsys):
    """Bandwidth and detector as the header has them; without a unit the bandwidth is not used."""
    found = asked(capsys, WILD / "sa_semicolon_key_value_unit.csv", "--f0", "1.8133GHz")["traces"][0]
    assert found["resolution_bandwidth_hz"] == 3e5 and found["detector"] == "peak" and found["point_loss_db"] == 0
    line, = found["harmonics"]
    assert line["above_noise"] and line["level_dbm"] == pytest.approx(-51.94, abs=0.01)
    whole = asked(capsys, WILD / "sa_key_value_stacked.csv", "--f0", "49MHz")
    assert any("has no unit and is not used; give --rbw" in note for note in whole["notes"])
    told = asked(capsys, WILD / "sa_key_value_stacked.csv", "--f0", "49MHz", "--rbw", "30kHz")["traces"][0]
    assert told["resolution_bandwidth_hz"] == 3e4 and "low" in told["notes"][-1]


@pytest.mark.parametrize("arguments, words", [
    (["emi_fixed_width_units_row.txt", "--f0", "49MHz"], "no column is a level in dBm or W"),
    (["sa_key_value_stacked.csv", "--rbw", "30kHz"], "give --f0 as well"),
    (["sa_key_value_stacked.csv", "--f0", "0Hz"], "not above zero"),
    (["sa_key_value_stacked.csv", "--f0", "49"], "no unit"),
    (["sa_key_value_stacked.csv", "--f0", "100kHz"], "not told apart"),
    (["bjt_curve_no_header.csv"], "Name the columns")])
def test_refusals(arguments, words, capsys):
    assert main(["readings", str(WILD / arguments[0]), *arguments[1:]]) == 2
    assert words in capsys.readouterr().err


def test_the_file_itself_is_not_written_over(trace, capsys):
    before = trace.read_text()
    assert main(["readings", str(trace), "--json", str(trace)]) == 2
    assert "also the file that is read" in capsys.readouterr().err and trace.read_text() == before


def test_what_columns_are_is_told(tmp_path, capsys):
    told = tmp_path / "told.toml"
    told.write_text('[columns]\n1 = { is = "supply.VCE", unit = "V" }\n2 = { is = "supply_amps_VCE", unit = "A" }\n')
    found = asked(capsys, WILD / "bjt_curve_no_header.csv", "--as", told)
    assert [column["unit"] for column in found["columns"]] == ["V", "A"]
    assert found["columns"][0]["meaning"] == "supply.VCE"
