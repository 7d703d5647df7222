"""`hbsim design`: pages, numbers, pieces of circuit files that load, pictures, refusals."""

import json
import subprocess
import sys
import tomllib

import numpy as np
import pytest

from hbsim.cli import main
from hbsim.describe.circuitfile import build
from hbsim.design.band import loss_db, through_and_back
from hbsim.linear.network import Element

FR4 = ["--board", "fr4-1.6mm"]
FILTER = ["filter", *FR4, "--order", "3", "--ripple", "0.1dB", "--centre", "2.304GHz", "--bandwidth", "8%"]
MATCH = ["match", *FR4, "--at", "2.304GHz", "--resistance", "12ohm", "--reactance=-30ohm"]
LUMPED = ["match", "--lumped", "--at", "432MHz", "--reflection", "0.6", "--angle", "70deg"]
FEED = ["feed", *FR4, "--at", "1.152GHz", "--harmonic", "2"]
DESIGNS = {
    "line": ["line", *FR4, "--impedance", "50ohm", "--at", "2.304GHz", "--degrees", "90"],
    "tape": ["line", *FR4, "--conductor", "copper-tape", "--width", "3mm", "--length", "100mm", "--at", "2.304GHz",
             "--measured-loss", "1.1dB"],
    "pair": ["pair", *FR4, "--even-impedance", "70ohm", "--odd-impedance", "40ohm", "--at", "2.304GHz"],
    "coupler": ["pair", *FR4, "--impedance", "50ohm", "--coupling", "12dB", "--at", "2.304GHz"],
    "filter": FILTER, "hairpin": [*FILTER, "--form", "hairpin"],
    "ideal filter": ["filter", "--ideal", "--order", "3", "--ripple", "0.5dB", "--from", "1.9GHz", "--to", "2.1GHz"],
    "ideal hairpin": ["filter", "--ideal", "--order", "4", "--centre", "2GHz", "--bandwidth", "100MHz", "--form",
                      "hairpin", "--bend", "30deg"],
    "match": MATCH, "shorted": [*MATCH, "--stub", "shorted"],
    "ideal match": ["match", "--ideal", "--at", "432MHz", "--resistance", "200ohm"], "lumped": LUMPED, "feed": FEED,
    "radial": [*FEED, "--radial", "60deg"], "ideal feed": ["feed", "--ideal", "--at", "1GHz"]}


def numbers(capsys, arguments):
    assert main(["design", *arguments, "--json", "-"]) == 0
    out, err = capsys.readouterr()
    assert err == ""

    def refuse(word):
        raise AssertionError(f"{word} is no JSON")
    return json.loads(out, parse_constant=refuse)


def fragments(found):
    return [s["fragment"] for s in found["solutions"]] if "solutions" in found else [found["fragment"]]


def pasted(fragment):
    """A minimal circuit with the piece in it: a resistor from each of its nodes to either port."""
    tree = tomllib.loads(fragment)
    assert tree.keys() == {"part"}
    nodes = dict.fromkeys(node for part in tree["part"].values() for node in part["nodes"] if node != "ground")
    for number, node in enumerate(nodes):
        for port in ("in", "out"):
            tree["part"][f"hold_{port}_{number}"] = {"kind": "resistor", "nodes": [node, port], "resistance": "50 ohm"}
    return build({"drive": {"port": "input", "frequency": "1 GHz", "power": "0 dBm"}, "board": {"use": "fr4-1.6mm"},
                  "port": {"input": {"node": "in"}, "output": {"node": "out"}}, **tree})


@pytest.mark.parametrize("name", DESIGNS)
def test_what_is_printed_to_paste_loads(capsys, name):
    found = numbers(capsys, DESIGNS[name])
    texts = fragments(found)
    assert texts and all(texts)
    for text in texts:
        circuit = pasted(text)
        assert set(tomllib.loads(text)["part"]) <= circuit.parts.keys()


@pytest.mark.parametrize("name", DESIGNS)
def test_the_page_says_it_and_the_picture_is_drawn(capsys, tmp_path, name):
    picture = tmp_path / "design.svg"
    assert main(["design", *DESIGNS[name], "--plot", str(picture)]) == 0
    page = capsys.readouterr().out
    assert "[part." in page and "nan" not in page and "inf" not in page.replace("infinite", "")
    assert max(len(line) for line in page.splitlines()) <= 160
    assert picture.read_text(encoding="utf-8").rstrip().endswith("</svg>")


@pytest.mark.parametrize("form", ["straight", "hairpin"])
def test_the_pasted_filter_does_what_the_page_says(capsys, form):
    found = numbers(capsys, [*FILTER, "--form", form])
    circuit = pasted(found["fragment"])
    parts = [Element(p.name, p.part, p.nodes) for name, p in circuit.parts.items() if not name.startswith("hold")]
    ends = ("f_0", parts[-1].nodes[-1])
    at = np.array([found["found"]["low_edge_hz"], 2.304e9, found["found"]["high_edge_hz"]])
    losses = loss_db(through_and_back(parts, ends, 50.0, at)[0])
    assert losses[1] == pytest.approx(found["found"]["centre_loss_db"], abs=1e-9)
    edge = found["found"]["least_loss_db"] + found["found"]["edge_db"]
    # The least loss over the band is that of 601 points in it here, of its very minimum there: 1e-4 dB.
    assert losses[[0, 2]] == pytest.approx([edge, edge], abs=1e-3)


def test_the_ways_back(capsys):
    line = numbers(capsys, ["line", *FR4, "--width", "3.02mm", "--length", "17.77mm", "--at", "2.304GHz"])
    assert line["impedance_ohm"] == pytest.approx(50.0, abs=0.1)
    assert line["electrical_length_deg"] == pytest.approx(90.0, abs=0.1)
    made = numbers(capsys, FILTER)
    sizes = [",".join(f"{1e3 * s[key]:.2f}mm" for s in made["sections"]) for key in ("width_m", "gap_m", "length_m")]
    back = numbers(capsys, [*FILTER, "--widths", sizes[0], "--gaps", sizes[1], "--lengths", sizes[2]])
    assert back["found"] == made["found"] and back["fragment"] == made["fragment"]
    first = numbers(capsys, MATCH)["solutions"][0]
    load = numbers(capsys, ["match", *FR4, "--at", "2.304GHz", "--distance", f"{1e3 * first['distance_m']:.2f}mm",
                            "--stub-length", f"{1e3 * first['stub_m']:.2f}mm"])["load"]
    assert (load["resistance_ohm"], load["reactance_ohm"]) == pytest.approx((12.0, -30.0), abs=0.1)
    load = numbers(capsys, ["match", "--lumped", "--at", "432MHz", "--series", "18.9nH", "--shunt", "13.1pF",
                            "--shunt-at", "line"])["load"]
    assert (load["resistance_ohm"], load["reactance_ohm"]) == pytest.approx((12.0, -30.0), abs=0.1)
    feed = numbers(capsys, FEED)
    sizes = [f"--{key}={1e3 * feed[name]:.2f}mm" for key, name in (
        ("width", "width_m"), ("length", "length_m"), ("stub-width", "stub_width_m"), ("stub-length", "stub_length_m"))]
    again = numbers(capsys, [*FEED, *sizes])
    assert again["presented"] == feed["presented"]


def test_numbers_carry_what_was_rounded(capsys):
    found = numbers(capsys, [*FILTER, "--cut", "0.1mm"])
    for section in found["sections"]:
        for key in ("width", "gap", "length"):
            cut, exact = section[f"{key}_m"], section[f"exact_{key}_m"]
            assert cut == pytest.approx(round(cut * 1e4) * 1e-4, rel=1e-12) and abs(cut - exact) <= 5.001e-5
    assert found["board"]["height_m"] == 1.6e-3 and found["design"] == "filter"


def test_a_board_told_by_values(capsys):
    own = ["--height", "1.6mm", "--permittivity", "4.4", "--loss-tangent", "0.02", "--roughness", "1.5um"]
    assert numbers(capsys, ["line", *own, "--width", "3mm", "--at", "1GHz"]) == \
        numbers(capsys, ["line", *FR4, "--width", "3mm", "--at", "1GHz"])
    assert main(["design", "line", *FR4, "--permittivity", "4.6", "--width", "3mm", "--at", "1GHz", "--length",
                 "1cm"]) == 0
    assert '# use = "fr4-1.6mm"\n# permittivity = "4.6"' in capsys.readouterr().out


@pytest.mark.parametrize("arguments, words", [
    (["line", "--width", "3mm"], ("--board: missing",)),
    (["line", *FR4, "--width", "3"], ("--width", "no unit")),
    (["line", *FR4, "--impedance", "500ohm"], ("--impedance", "cannot be reached; it can be")),
    (["line", *FR4, "--impedance", "50ohm", "--degrees", "90"], ("--at: a length in degrees",)),
    (["line", "--board", "fr4-1.5mm", "--width", "3mm"], ("--board", "fr4-1.6mm")),
    (["line", "--height", "1.6mm", "--permittivity", "0.5", "--width", "3mm"], ("--permittivity", "at least 1")),
    ([*DESIGNS["tape"][:-1], "0.1dB"], ("--measured-loss:", "alone")),
    (["pair", *FR4, "--width", "3mm"], ("--even-impedance: give both",)),
    (["pair", *FR4, "--impedance", "50ohm", "--coupling", "3dB"], ("coupling of 3 dB cannot be reached",)),
    (FILTER[:-2], ("--bandwidth: missing",)),
    ([*FILTER, "--arm-spacing", "3mm"], ("--arm-spacing: it says nothing with --form straight",)),
    ([*FILTER, "--ideal"], ("--board: it says nothing with --ideal",)),
    ([*FILTER, "--widths", "1mm,1mm", "--gaps", "1mm", "--lengths", "1cm"], ("--widths", "4 sections")),
    (["filter", *FR4, "--order", "12", "--centre", "2GHz", "--bandwidth", "5%"], ("--order", "1 to 9")),
    (["match", "--ideal", "--at", "1GHz"], ("--resistance: missing",)),
    (["match", "--ideal", "--at", "1GHz", "--resistance", "0ohm"], ("--resistance", "takes no power")),
    (["match", "--ideal", "--at", "1GHz", "--reflection", "1.2"], ("--reflection", "below 1")),
    ([*FEED, "--harmonic", "7"], ("--harmonic", "1 to 4")),
    ([*FEED, "--width", "1mm"], ("--length: missing; it goes with --width",))])
def test_refusals_name_the_option_and_the_mend(capsys, arguments, words):
    assert main(["design", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and err.startswith("hbsim: ")
    for word in words:
        assert word in err


def test_it_starts_without_the_compiler():
    code = ("import sys; from hbsim.cli import main; "
            "status = main(['design', 'line', '--board', 'fr4-1.6mm', '--impedance', '50ohm']); "
            "sys.exit(status or 10 * ('numba' in sys.modules) or 20 * ('matplotlib' in sys.modules))")
    assert subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0


@pytest.mark.parametrize("words, place, said", [
    (["filter", *FR4, "--centre", "2.304GHz", "--bandwidth", "60%", "--order", "3"], "--bandwidth", "fewer resonators"),
    (["filter", *FR4, "--from", "2.4GHz", "--to", "2.2GHz", "--order", "3"], "--from", "below the upper one"),
    (["filter", *FR4, "--centre", "2.304GHz", "--bandwidth", "8", "--order", "3"], "--bandwidth", "'8%' of the centre"),
    (["pair", *FR4, "--impedance", "50ohm", "--coupling", "3dB"], "--coupling", "cannot be reached")])
def test_a_refusal_names_the_option_that_was_given(words, place, said, capsys):
    assert main(["design", *words]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"hbsim: {place}: ") and said in told and told.count("\n") == 1


def test_the_way_back_of_a_filter_counts_the_resonators_itself(capsys):
    sizes = ["--widths", "2.14mm,2.8mm,2.14mm", "--gaps", "0.33mm,1.15mm,0.33mm", "--lengths", "17.5mm,17.25mm,17.5mm"]
    words = ["design", "filter", *FR4, "--centre", "2.304GHz", "--bandwidth", "8%", "--ripple", "0.1dB", *sizes]
    assert main(words) == 0
    assert "Band-pass of 2 edge-coupled straight resonators" in capsys.readouterr().out


def test_a_filter_that_loses_most_of_what_it_passes_is_warned_of(capsys):
    narrow = ["filter", *FR4, "--order", "5", "--ripple", "0.1dB", "--centre", "2.304GHz", "--bandwidth", "3%"]
    assert main(["design", *narrow, "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["found"]["centre_loss_db"] > 6.0 and found["found"]["ripple_db"] is None
    assert any("dB are lost at the centre" in sentence for sentence in found["warnings"])
    assert main(["design", *FILTER, "--json", "-"]) == 0
    assert not any("are lost" in sentence for sentence in json.loads(capsys.readouterr().out)["warnings"])
