"""A circuit file with other values: the same text but for the values, read back to exactly these."""

from pathlib import Path

import pytest

from hbsim.describe.circuitfile import load
from hbsim.describe.rewritten import rewritten
from hbsim.errors import Refusal

EXAMPLES = Path(__file__).parents[2] / "examples"
VALUES = {"board.permittivity": 4.5533333333333, "Q1.BF": 129.7, "drive.power": 1.25, "supply.VCC": 3.3,
          "supply.VCC.resistance": 0.2, "via_1.inductance": 4.7588e-10, "match_stub.length": 0.025959308875508333,
          "port.output.impedance": 49.0}


def test_only_the_values_change(tmp_path):
    path = EXAMPLES / "beacon_2304.toml"
    text, circuit = path.read_text(encoding="utf-8"), load(path)
    new = rewritten(text, circuit, VALUES, ["Found by a fit."], path.parent)
    out = tmp_path / "fitted.toml"
    out.write_text(new, encoding="utf-8")
    back = load(out)
    for address, value in VALUES.items():
        assert back.look_up(address)[1] == pytest.approx(value, rel=1e-12)
    others = [address for address in circuit.addresses() if address not in VALUES and address != "supply.VCC.voltage"]
    assert [back.look_up(a)[1] for a in others] == [circuit.look_up(a)[1] for a in others]
    changed = set(new.splitlines()) - set(text.splitlines())
    assert len(changed) == len(VALUES) + 1 and "# Found by a fit." in changed
    assert new.splitlines()[2:4] == text.splitlines()[:2]  # the remarks of the person stay


def test_a_value_with_a_remark_behind_it(tmp_path):
    text = (EXAMPLES / "lumped_doubler.toml").read_text(encoding="utf-8")
    circuit = load(EXAMPLES / "lumped_doubler.toml")
    line = next(line for line in text.splitlines() if line.startswith("inductance"))
    text = text.replace(line, f"{line}   # wound by hand")
    new = rewritten(text, circuit, {"L_c.inductance": 7e-9}, [], EXAMPLES)
    assert 'inductance = "7 nH"   # wound by hand' in new


def test_a_circuit_from_python_has_no_lines():
    circuit = load(EXAMPLES / "lumped_doubler.toml")
    with pytest.raises(Refusal, match="no line \\[part.L_c\\]"):
        rewritten('title = "other"\n', circuit, {"L_c.inductance": 7e-9}, [], EXAMPLES)


def test_a_mark_that_toml_does_not_end_a_line_with_ends_none_here():
    text = (EXAMPLES / "lumped_doubler.toml").read_text(encoding="utf-8")
    odd = text.replace("[supply.VCC]", "# wound\u2028voltage = \"9 V\"\n[supply.VCC]")
    circuit = load(EXAMPLES / "lumped_doubler.toml")
    new = rewritten(odd, circuit, {"L_c.inductance": 7e-9}, [], EXAMPLES)
    assert "wound\u2028voltage" in new


def test_text_inside_a_string_that_looks_like_the_place_of_a_value():
    text = (EXAMPLES / "lumped_doubler.toml").read_text(encoding="utf-8")
    circuit = load(EXAMPLES / "lumped_doubler.toml")
    line = next(line for line in text.splitlines() if line.startswith("title"))
    odd = text.replace(line, 'title = """once:\n[part.L_c]\ninductance = "1 nH"\n"""')
    with pytest.raises(Refusal, match="change something else"):
        rewritten(odd, circuit, {"L_c.inductance": 7e-9}, [], EXAMPLES)
