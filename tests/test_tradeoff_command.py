"""`hbsim tradeoff` from its command line to page, JSON and picture."""

import json
from pathlib import Path

from hbsim.cli import main

FILE = str(Path(__file__).resolve().parent.parent / "examples" / "beacon_2304.toml")
ASKED = ["tradeoff", FILE, "--free", "supply.VCC=1V:8V", "--harmonics", "8", "--hold", "input_return_loss_db=10dB:"]


def test_page_json_and_picture(tmp_path, capsys):
    data, picture = tmp_path / "front.json", tmp_path / "front.svg"
    assert main([*ASKED, "--json", str(data), "--plot", str(picture)]) == 0
    page, found = capsys.readouterr().out, json.loads(data.read_text())
    assert found["solves"] > 0 and len(found["points"]) >= 2
    first = found["points"][0]
    assert set(first["values"]) == {"supply.VCC_volts"} and first["output_dbm"] == first["output_dbm_2"]
    assert f"{first['output_dbm']:.2f} dBm" in page and f"{found['best']['output_dbm']:.2f} dBm" in page
    assert f"{first['output_dbm']:.2f} dBm" in picture.read_text()
    over = page[page.index("Ratings"):page.index("How:")]
    assert "most output_dbm_2: EXCEEDED: Q1: peak collector-emitter voltage" in " ".join(over.split())
    assert "(limit 4.5 V)" in over  # VCEO of the library's npn-25ghz


def test_nothing_free_is_refused(capsys):
    assert main(["tradeoff", FILE]) == 2
    assert "--free" in capsys.readouterr().err


def test_a_quantity_both_set_and_free_is_refused(capsys):
    assert main([*ASKED, "--set", "supply.VCC=3V"]) == 2
    assert "leave one out" in capsys.readouterr().err
