"""`hbsim touchstone`: what it prints and writes, and that it refuses before it writes.

Values of the files in tests/linear/touchstone_files: their own text, worked by the rules of the Touchstone File Format
Specification, Version 2.1 (1.x divides Z by R).
"""

import json
import subprocess
import sys

import numpy as np
import pytest

from hbsim.cli import main
from hbsim.linear.measured import renormalised, reordered
from hbsim.linear.touchstone import read_touchstone


@pytest.fixture(scope="module")
def files(root):
    return root / "tests" / "linear" / "touchstone_files"


@pytest.fixture
def noisy(files):
    return str(files / "03_noise_db_r25.s2p")


def run(capsys, *arguments):
    assert main(["touchstone", *map(str, arguments)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def refused(capsys, *arguments):
    assert main(["touchstone", *map(str, arguments)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and err.startswith("hbsim: "), err
    return err


def test_the_page(capsys, noisy):
    page = run(capsys, noisy)
    for words in ("03_noise_db_r25.s2p: 2 ports, 2 points from 1 GHz to 2 GHz, step 1 GHz",
                  "S-parameters as dB and angles, file version 1.0; reference 25 ohm",
                  "noise parameters at 2 frequencies, 2 GHz to 4 GHz",
                  "Not passive: gives out up to 20 dB more than it takes in", "Not reciprocal: S21 and S12 differ by"):
        assert words in page
    # S11 = -0.1 and S21 = 10j at 1 GHz
    assert "S11  -20.00 dB   180.0 deg" in page and "S21   20.00 dB    90.0 deg" in page


def test_json_has_the_pair_as_it_stands_in_the_file(capsys, files):
    # # kHz Z RI R 10 with 2.5 -1.5: 25 - 15j ohm, that is 15 - 15j over 35 - 15j in 10 ohm
    data = json.loads(run(capsys, files / "04_z_normalised_v1.s1p", "--json", "-"))
    assert (data["ports"], data["points"], data["frequency_hz"]) == (1, 1, [5000.0, 5000.0])
    assert data["first"] == data["last"] == [2.5, -1.5]
    assert data["parameter"] == "Z" and data["reference_ohm"] == [10.0] and data["step_hz"] is None
    assert data["passivity"]["largest_singular_value"] == pytest.approx(abs((15 - 15j) / (35 - 15j)), rel=1e-12)
    assert data["losslessness"]["largest_share_of_power"] == pytest.approx(1 - abs((15 - 15j) / (35 - 15j))**2)
    assert isinstance(data["notes"], list) and any("10 ohm" in note for note in data["notes"])


def test_json_of_more_points_and_ports(capsys, files, tmp_path):
    out = tmp_path / "out.json"
    page = run(capsys, files / "07_three_port_rows.s3p", "--json", out)
    data = json.loads(out.read_text(encoding="utf-8"))
    assert data["ports"] == 3 and data["first"] == [0.11, 0.0] and "S32" in page
    # the file's largest difference of two ways: |-0.31 - (-0.13)| = 0.18 or |0.12j + 0.21j| or |0.23j + 0.32j| = 0.55
    assert data["reciprocity"]["largest_difference"] == pytest.approx(0.55, rel=1e-12)


@pytest.mark.parametrize("name", ["03_noise_db_r25.s2p", "04_z_normalised_v1.s1p", "08_five_port_rows.s5p",
                                  "13_per_port_reference_v11.s2p"])
def test_a_picture(capsys, files, tmp_path, name):
    run(capsys, files / name, "--plot", tmp_path / "x.svg")
    drawn = (tmp_path / "x.svg").read_text(encoding="utf-8")
    assert "|S| / dB" in drawn and "S11" in drawn and name in drawn


def test_rewriting_keeps_the_bits_and_the_noise(capsys, noisy, tmp_path):
    run(capsys, noisy, "--rewrite", tmp_path / "clean.s2p")
    before, after = read_touchstone(noisy), read_touchstone(tmp_path / "clean.s2p")
    assert (after.s == before.s).all() and (after.reference == before.reference).all()
    np.testing.assert_allclose(after.noise, before.noise, rtol=1e-15)
    assert after.format == "RI" and after.version == "1.0"


def test_rewriting_in_another_form(capsys, noisy, tmp_path):
    out = tmp_path / "other.s2p"
    run(capsys, noisy, "--rewrite", out, "--reference", "25ohm,75ohm", "--ports", "2,1", "--format", "ma", "--version",
        "2.0")
    before, after = read_touchstone(noisy), read_touchstone(out)
    expected = reordered(renormalised(before, [25.0, 75.0]), [2, 1])
    np.testing.assert_allclose(after.s, expected.s, rtol=1e-13, atol=1e-15)  # magnitude and angle round once more
    assert after.reference.tolist() == [75.0, 25.0] and (after.version, after.format) == ("2.0", "MA")
    assert after.noise is None and any("noise parameters left out" in text for text in after.comments)
    assert any("renormalised from 25 ohm to 25 ohm, 75 ohm" in text for text in after.comments)


@pytest.mark.parametrize("parameter", ["Z", "Y", "H", "G"])
def test_rewriting_as_other_parameters(capsys, noisy, tmp_path, parameter):
    run(capsys, noisy, "--rewrite", tmp_path / "o.ts", "--parameter", parameter)
    after = read_touchstone(tmp_path / "o.ts")
    before = read_touchstone(noisy)
    assert after.parameter == parameter
    # rounding, times the condition of Z, Y, H and G, which is below 1e3 for this file
    np.testing.assert_allclose(after.s, renormalised(before, after.reference).s, rtol=1e-11, atol=1e-13)


def test_what_is_refused(capsys, files, noisy, tmp_path):
    out, link = tmp_path / "o.s2p", tmp_path / "link.s2p"
    assert "no such file" in refused(capsys, tmp_path / "gone.s2p", "--json", tmp_path / "o.json", "--rewrite", out)
    broken = files / "bad" / "b09_nan.s1p"
    assert "line 2" in refused(capsys, broken, "--json", tmp_path / "o.json", "--rewrite", out, "--plot",
                               tmp_path / "o.png")
    for option, value in (("--reference", "75ohm"), ("--ports", "2,1"), ("--parameter", "Z"), ("--version", "2.0"),
                          ("--format", "MA")):
        assert f"{option}: it shapes the file that --rewrite writes" in refused(capsys, noisy, option, value)
    link.symlink_to(noisy)
    assert "also the file that is read" in refused(capsys, noisy, "--rewrite", noisy)
    assert "also the file that is read" in refused(capsys, noisy, "--rewrite", link)
    assert "also the file that is read" in refused(capsys, noisy, "--json", noisy)
    assert "also that of --json" in refused(capsys, noisy, "--json", out, "--rewrite", out)
    assert "name one" in refused(capsys, noisy, "--rewrite", "-")
    assert "does not exist" in refused(capsys, noisy, "--rewrite", tmp_path / "no" / "o.s2p")
    for extra, words in ((["--ports", "2,2"], ["--ports", "[2, 1]"]), (["--ports", "2;1"], ["--ports", "2,1"]),
                         (["--reference", "75"], ["--reference", "has no unit"]),
                         (["--reference", "75ohm,50ohm,1ohm"], ["--reference", "3 reference resistances"]),
                         (["--reference", "0ohm"], ["--reference", "above zero"]),
                         (["--parameter", "T"], ["--parameter", "T"]), (["--version", "3.0"], ["--version", "3.0"])):
        said = refused(capsys, noisy, "--rewrite", out, "--json", tmp_path / "o.json", *extra)
        assert all(word in said for word in words), said
    opened = tmp_path / "open.s1p"
    opened.write_text("# GHz S RI R 50\n1 1 0\n", encoding="ascii")
    said = refused(capsys, opened, "--rewrite", tmp_path / "z.s1p", "--parameter", "Z", "--json", tmp_path / "o.json")
    assert "1 GHz" in said  # an open end has no impedance
    assert sorted(item.name for item in tmp_path.iterdir()) == ["link.s2p", "open.s1p"]


def test_no_heavy_library_is_loaded(files):
    code = ("import sys; from hbsim.cli import main; main(sys.argv[1:]); "
            "print([name for name in ('scipy', 'numba', 'matplotlib') if name in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code, "touchstone", str(files / "03_noise_db_r25.s2p")],
                          capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_a_circuit_file_is_pointed_to_its_commands(capsys, root):
    assert "looks like a circuit file" in refused(capsys, root / "examples" / "beacon_2304.toml")


def test_the_page_says_what_was_written(capsys, noisy, files, tmp_path):
    one_port = files / "04_z_normalised_v1.s1p"
    page = " ".join(run(capsys, one_port, "--rewrite", tmp_path / "z.s1p", "--parameter", "Z", "--version",
                        "1.0").split())
    assert "z.s1p, 1 port, Z-parameters as real and imaginary parts, file version 1.0; reference 1 ohm" in page
    assert "S read back is against 1 ohm" in page
    page = run(capsys, one_port, "--rewrite", tmp_path / "s.s1p", "--format", "MA")
    assert "S-parameters as magnitudes and angles, file version 1.0; reference 10 ohm" in " ".join(page.split())
    assert "read back" not in page
