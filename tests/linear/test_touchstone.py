"""Reading Touchstone files: the example files of every version, and the rules of version 1.

Rules checked: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 26 January 2024. The files in
touchstone_files/ hold invented numbers; expected.json was worked out from the standard apart from this reader.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear.touchstone import read_touchstone

FILES = Path(__file__).parent / "touchstone_files"
EXPECTED = json.loads((FILES / "expected.json").read_text())
S_OF_OTHERS = {  # section "note" of expected.json, against the references of the file
    "04_z_normalised_v1.s1p": [[0.517241379310345 - 0.206896551724138j]],
    "05_z_plain_v2.ts": [[(5 - 15j) / (45 - 15j)]],  # (Z - R) / (Z + R) of 25-15j ohm in 20 ohm
    "06_h_normalised_v1.s2p": [[-0.423728813559322, 0.00135593220338983], [-135.593220338983, 1.03389830508475]],
}
BAD = {
    "b01_no_option_line.s1p": ("line 1", "no option line (#)"),
    "b02_data_before_option_line.s1p": ("line 1", "data before the option line"),
    "b03_short_row.s2p": ("line 3", "8 numbers, 9 needed (frequency and 4 pairs)"),
    "b04_frequency_goes_back.s2p": ("line 3", "1 GHz follows 2 GHz", "no noise row"),
    "b05_frequency_twice.s1p": ("line 3", "1 GHz stands twice"),
    "b06_numbers_run_together.s2p": ("line 2", "'0.935-173.2' is not a number (two numbers run together?)"),
    "b07_decimal_comma.s1p": ("line 2", "'2500,5' is not a number (decimal comma)"),
    "b08_two_port_rows.s1p": ("line 2", "name says 1 port", "4 pairs", "2 ports?"),
    "b09_nan.s1p": ("line 2", "'nan' is not a finite number"),
    "b10_unknown_unit.s1p": ("line 1", "'THz'", "Hz, kHz, MHz, GHz"),
    "b11_zero_reference.s1p": ("line 1", "must be above zero"),
    "b12_complex_reference.s1p": ("line 1", "complex reference impedance is not supported"),
    "b13_two_formats.s1p": ("line 1", "MA and RI both given"),
    "b14_h_with_three_ports.s3p": ("line 1", "H and G parameters exist for 2 ports only"),
    "b15_v2_order_missing.ts": ("[Two-Port Data Order] is missing", "S12 and S21 cannot be told apart"),
    "b16_v2_frequency_count.ts": ("[Number of Frequencies] is 3, 2 found",),
    "b17_v2_reference_count.ts": ("line 5", "[Reference] holds 2 values, 3 ports"),
    "b18_v2_text_after_end.ts": ("line 8", "text after [End]"),
    "b19_v2_noise_with_one_port.ts": ("line 5", "noise data needs 2 ports"),
    "b20_v2_unknown_keyword.ts": ("line 4", "[Two-Port Order] unknown; [Two-Port Data Order] meant?"),
    "b21_version_3.ts": ("line 1", "version 3.0 is not known here (2.0 and 2.1 are)"),
    "b22_noise_starts_too_high.s2p": ("line 4", "5 numbers at 3 GHz", "at or below 2 GHz", "needs 9"),
    "b23_keyword_without_version.s2p": ("line 2", "[Network Data]", "[Version]"),
    "b24_unicode_minus.s1p": ("line 2", "U+2212", "typographic minus"),
    "b25_no_data.s1p": ("no data",),
    "b26_matrix_cut_short.s3p": ("line 2", "ends inside the matrix of 1 GHz: 13 of 19 numbers"),
    "b27_reference_count_v11.s2p": ("line 1", "3 resistances, 2 ports"),
}


def from_text(tmp_path, text, name="x.s1p", encoding="utf-8"):
    file = tmp_path / name
    file.write_bytes(text.encode(encoding) if isinstance(text, str) else text)
    return read_touchstone(file)


def refusal(tmp_path, text, name="x.s1p"):
    with pytest.raises(Refusal) as caught:
        from_text(tmp_path, text, name)
    assert caught.value.file.endswith(name)
    return str(caught.value)


@pytest.mark.parametrize("name", EXPECTED)
def test_example_files_read_as_the_standard_says(name):
    data, expected = read_touchstone(FILES / name), EXPECTED[name]
    matrix = np.array(expected["matrix"]) @ [1, 1j]
    assert data.ports == expected["ports"]
    np.testing.assert_allclose(data.frequency, expected["frequency_hz"], rtol=1e-15)
    np.testing.assert_array_equal(data.reference, expected["z0_ohm"])
    assert data.parameter == expected["parameter"]
    # 1e-12: 15 digits are printed in expected.json, the largest element is 136
    np.testing.assert_allclose(data.s, [S_OF_OTHERS[name]] if name in S_OF_OTHERS else matrix, rtol=1e-12, atol=1e-13)
    if "noise" not in expected:
        assert data.noise is None
        return
    noise = expected["noise"]
    np.testing.assert_allclose(data.noise[:, 0], noise["frequency_hz"])
    np.testing.assert_allclose(data.noise[:, 1], noise["nfmin_db"])
    gamma = data.noise[:, 2] * np.exp(1j * np.deg2rad(data.noise[:, 3]))
    np.testing.assert_allclose(gamma, np.array(noise["gamma_opt"]) @ [1, 1j], rtol=1e-13)
    np.testing.assert_allclose(data.noise[:, 4], noise["rn_ohm"], rtol=1e-15)
    assert data.noise_reference == noise["gamma_opt_reference_ohm"]


def test_every_file_of_the_folders_is_expected():
    names = {file.name for file in FILES.iterdir() if file.is_file()} - {"expected.json", ".gitattributes"}
    bad = {file.name for file in (FILES / "bad").iterdir()} - {"expected_errors.json"}
    assert names == set(EXPECTED)
    assert bad == set(BAD) == set(json.loads((FILES / "bad/expected_errors.json").read_text()))


@pytest.mark.parametrize("name", BAD)
def test_bad_files_are_refused_with_file_line_and_reason(name):
    with pytest.raises(Refusal) as caught:
        read_touchstone(FILES / "bad" / name)
    text = str(caught.value)
    assert caught.value.file == str(FILES / "bad" / name)
    for words in BAD[name]:
        assert words in text


def test_printed_values_of_the_standard(tmp_path):
    # Version 2.1, examples: 1-port at 2 MHz, 0.894 at -12.136 deg; Z of 0.707 at -45 deg and R 75 is 53.025 ohm.
    data = from_text(tmp_path, "# MHz S MA R 50\n2 0.894 -12.136\n")
    assert data.s[0, 0, 0] == pytest.approx(0.8740202949 - 0.1879481954j, abs=1e-10)  # 10 printed digits
    data = from_text(tmp_path, "# MHz Z MA R 75\n300 0.707 -45\n")
    z = 53.025 * np.exp(-0.25j * np.pi)
    assert data.s[0, 0, 0] == pytest.approx((z - 75) / (z + 75), rel=1e-14)
    assert "multiplied by R = 75 ohm" in data.notes[0]
    # Z of 37.4943370724-37.4943370724j ohm (10 printed decimals) from S in 75 ohm
    assert 75 * (1 + data.s[0, 0, 0]) / (1 - data.s[0, 0, 0]) == pytest.approx(37.4943370724 * (1 - 1j), abs=1e-10)
    # Noise resistance 0.38 and 0.40 in a file of version 1 and R 50 is 19 and 20 ohm.
    rows = "2 .95 -26 3.57 157 .04 76 .66 -14\n4 .6 -144 1.3 40 .14 40 .56 -85\n"
    data = from_text(tmp_path, f"# GHz S MA R 50\n{rows}4 .7 .64 69 .38\n18 2.7 .46 -33 .40\n", "x.s2p")
    np.testing.assert_allclose(data.noise[:, 4], [19, 20], rtol=1e-15)


def s_from_z(z, reference):
    """Power-wave S of an impedance matrix [ohm]: K. Kurokawa, IEEE Trans. MTT 13 (1965) 194-202, real references."""
    root = np.sqrt(reference)
    normalised = z / np.outer(root, root)
    return (normalised - np.eye(len(z))) @ np.linalg.inv(normalised + np.eye(len(z)))


def other_from_z(name, z):
    """Z, Y, H, G of an impedance matrix by their definitions (any textbook of network theory; from memory)."""
    if name == "Z":
        return z
    if name == "Y":
        return np.linalg.inv(z)
    det = np.linalg.det(z)
    if name == "H":
        return np.array([[det, z[0, 1]], [-z[1, 0], 1.0]]) / z[1, 1]
    return np.array([[1.0, -z[0, 1]], [z[1, 0], det]]) / z[0, 0]


def normalised(name, matrix, reference):
    """What a version 1 file holds: divided by the reference."""
    r = np.sqrt(np.outer(reference, reference))
    if name in "SZY":
        return {"S": matrix, "Z": matrix / r, "Y": matrix * r}[name]
    h = np.array([[r[0, 0], 1.0], [1.0, 1.0 / r[0, 0]]])
    return matrix / h if name == "H" else matrix * h


def written(value, style):
    first, second = {"RI": (value.real, value.imag), "MA": (abs(value), np.degrees(np.angle(value))),
                     "DB": (20 * np.log10(abs(value)), np.degrees(np.angle(value)))}[style]
    return f"{float(first)!r} {float(second)!r}"


def rows(pairs, ports, layout):
    """Pairs of one frequency over lines: a row a line of at most 4, all on one line, or broken after every 4."""
    if ports <= 2 or layout == "one line":
        return [pairs]
    if layout == "by four":
        return [pairs[i:i + 4] for i in range(0, len(pairs), 4)]
    matrix_rows = [pairs[i:i + ports] for i in range(0, len(pairs), ports)]
    return [row[i:i + 4] for row in matrix_rows for i in range(0, ports, 4)]


@settings(max_examples=150, deadline=None)
@given(ports=st.integers(1, 6), points=st.integers(1, 4), name=st.sampled_from("SSYZHG"),
       style=st.sampled_from(["RI", "MA", "DB"]), unit=st.sampled_from(["Hz", "kHz", "MHz", "GHz"]),
       layout=st.sampled_from(["rows", "one line", "by four"]), end=st.sampled_from(["\n", "\r\n", "\r"]),
       each=st.booleans(), encoding=st.sampled_from(["utf-8", "utf-8-sig", "latin-1"]), seed=st.integers(0, 2**32 - 1))
def test_random_files_read_back(tmp_path_factory, ports, points, name, style, unit, layout, end, each, encoding, seed):
    ports = 2 if name in "HG" else ports
    random = np.random.default_rng(seed)
    frequency = np.cumsum(random.uniform(0.1, 10, points))
    reference = random.uniform(10, 200, ports) if each and name not in "HG" else np.full(ports, random.uniform(10, 200))
    z = random.normal(size=(points, ports, ports, 2)) @ [20, 20j] + 100 * np.eye(ports)
    s = np.array([s_from_z(m, reference) for m in z])
    lines = ["! invented numbers, 25 \u00b0C",
             f"# {unit} {name} {style} R " + " ".join(repr(float(r)) for r in (reference if each else reference[:1]))]
    for f, s_f, z_f in zip(frequency, s, z):
        matrix = normalised(name, s_f if name == "S" else other_from_z(name, z_f), reference)
        pairs = [written(complex(value), style) for value in (matrix.T if ports == 2 else matrix).ravel()]
        for i, row in enumerate(rows(pairs, ports, layout)):
            lines.append((f"{float(f)!r} " if i == 0 else "\t") + "  ".join(row) + "  ! a remark")
    file = tmp_path_factory.mktemp("touchstone") / f"random.s{ports}p"
    file.write_bytes(end.join(lines).encode(encoding))
    data = read_touchstone(file)
    np.testing.assert_allclose(data.frequency, frequency * {"Hz": 1, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}[unit],
                               rtol=1e-15)
    np.testing.assert_allclose(data.reference, reference, rtol=1e-15)
    np.testing.assert_allclose(data.s, s, rtol=0, atol=1e-9)
    assert data.comments[0] == "invented numbers, 25 \u00b0C"


@pytest.mark.parametrize("text, odd", [
    ("# Hz S RI R 50\n1e9 0.25 -0.5\n", None), ("#GHz S RI\n1 0.25 -0.5\n", "'#' joined to the first word in line 1"),
    ("   #   gHZ s ri r     50.00   ! note\n1 .25 -.5", None),
    ("# R 50 RI S\n\n1 +2.5e-001 -5D-1\n\n", "an exponent written with D in line 3"),
    ("# S GHZ RI R 50\n! 2 1 1\n000001 0.25 -0.5 ! 42.3\n", None),
    ("\ufeff! mark\r\n# GHz RI\r\n1\t0.25\t-0.5\t\r\n\x1a", "Ctrl-Z at the end; a byte-order mark before the text"),
    ("! a\r# KHZ RI\r1000000 0.25 -0.5", None),
    ("# RI\n1 .25 -.5 ! 25 \u00b0C", "letters outside ASCII, read as UTF-8"),
    ("# RI\n1 .25 -.5 ! 25 \u00b0C".encode("latin-1"), "letters outside ASCII, read as Latin-1"),
    ("# RI\n1 .25 -.5\x1a\x1a\x1a", "Ctrl-Z at the end"),
])
def test_harmless_deviations_are_accepted_and_named(tmp_path, text, odd):
    data = from_text(tmp_path, text)
    assert data.frequency == pytest.approx([1e9], rel=1e-15)
    assert data.s[0, 0, 0] == 0.25 - 0.5j and data.corner == (0.25 - 0.5j, 0.25 - 0.5j)
    assert data.reference == [50.0] and (data.parameter, data.format, data.version) == ("S", "RI", "1.0")
    assert data.notes == (() if odd is None else (f"not in the standard, and without effect on the numbers: {odd}",))


def test_the_number_of_ports_is_counted_where_the_name_does_not_tell(tmp_path):
    # one 9-number row alone is a 2-port; followed by even rows it opens a matrix of 4 and more (IBIS Open Forum's rule)
    two = from_text(tmp_path, "# RI\n1 .11 0 .21 0 .12 0 .22 0\n2 .11 0 .21 0 .12 0 .22 0\n", "x.txt")
    assert two.s[1].tolist() == [[0.11, 0.12], [0.21, 0.22]]
    assert "; 2 was counted from the rows" in two.notes[0]
    row = " ".join(["0.1 0"] * 4)
    assert from_text(tmp_path, f"# RI\n1 {row}\n {row}\n {row}\n {row}\n", "x.txt").ports == 4
    assert "fit no number of ports" in refusal(tmp_path, "# RI\n1 .1 0 .2 0\n", "x.txt")


@pytest.mark.parametrize("text, name, note", [
    ("# GHz S RI R\n1 0 0\n", "x.s1p", "R without a number, read as 50 ohm"),
    ("! Data is not renormalized\n# GHz S RI\n1 0 0\n", "x.s1p", "read with R = 50 ohm all the same"),
    ("# GHz S RI\n1 0 0\n! Port Impedance6.46 0\n", "x.s1p", "port impedances"),
    ("# GHz S RI\n1 0 0\n# MHz S RI\n", "x.s1p", "line 3 is a second option line; the first one counts"),
    ("# GHz S RI\n1 0 0\n# GHz S RI\n2 0 0\n#\n", "x.s1p", "line 3 (and 1 more) is a second option line"),
    (f"# RI\n1 {' .1 0' * 9}\n", "x.s3p", "rows broken over lines otherwise than in version 1, from line 2"),
    ("# GHz S DB\n1 -200 0 13 90 -200 0 -3 0\n", "x.s2p", "S11 and S12 are zero at every frequency"),
    ("# GHz S MA\n1 -0.2 0.1\n", "x.s1p", "perhaps real and imaginary parts"),
    ("# GHz S RI\n1 170 0.9\n", "x.s1p", "S-parameters above 100"),
    ("# GHz Y RI R 20\n1 1 0\n", "x.s1p", "Y data divided by R = 20 ohm"),
    ("# GHz Z RI R 20 30\n1 1 0 0 0 0 0 1 0\n", "x.s2p", "sqrt(R_i R_j), for which the standard gives no"),
])
def test_doubts_are_noted(tmp_path, text, name, note):
    assert any(note in said for said in from_text(tmp_path, text, name).notes)


def test_ohms_with_r_1_need_no_note(tmp_path):
    data = from_text(tmp_path, "# GHz Z RI R 1\n1 3 0\n")
    assert data.notes == () and data.s[0, 0, 0] == pytest.approx(0.5, rel=1e-15) and data.reference == [1.0]


ROW4 = " ".join(["0.1 0"] * 4)


@pytest.mark.parametrize("text, name, words", [
    ("", "x.s1p", "empty"), (" \r\n\x1a", "x.s1p", "empty"), ("! only\n", "x.s1p", "nothing but comments"),
    ("\x00\x05\x16\x07", "x.s1p", "no text file"), ("# GHz S RI\n1 0 0\n".encode("utf-16"), "x.s1p", "UTF-16"),
    ("BEGIN\n# GHz S RI\n1 0 0\n", "x.s1p", "line 1: 'BEGIN' stands before the option line"),
    ("#48037!x\n1 0 0\n", "x.s1p", "line 1: '48037"), ("# HZ S RI RS11r S11i\n1 0 0\n", "x.s1p", "'RS11r'"),
    ("# GHz S RI R50\n1 0 0\n", "x.s1p", "write R 50"), ("# GHz S RI R 50 R 50\n1 0 0\n", "x.s1p", "R is given twice"),
    ("# GHz S RI R 50+10j\n1 0 0\n", "x.s1p", "complex reference"),
    ("# GHz S RI R -5\n1 0 0\n", "x.s1p", "above zero"),
    ("# GHz S RI R 1e999\n1 0 0\n", "x.s1p", "finite"), ("# GHz R 50 75 MA\n1 0 0 0 0 0 0 0 0\n", "x.s2p", "close"),
    ("# GHz H RI R 50 75\n1 0 0 0 0 0 0 0 0\n", "x.s2p", "unequal"),
    ("# RI\n1 0.1 0 0.2 0\n", "x.s1p", "2 pairs, which fit no square matrix"),
    ("# RI\n1 0.1 0\n2 0.1\n", "x.s1p", "line 3: 2 numbers, 3 needed (frequency and 1 pair)"),
    ("# RI\n1 0.1 0\n", "x.s2p", "the name says 2 ports, the row holds 1 pair: 1 port?"),
    (f"# RI\n1 {ROW4}\n", "x.s3p", "line 2: 9 numbers for the matrix of 1 GHz, 19 needed for 3 ports; 2 ports?"),
    (f"# RI\n1 {ROW4}\n {ROW4}\n 0 0\n2 {ROW4}\n 0 0\n3 {ROW4}\n {ROW4}\n 0 0\n", "x.s3p",
     "line 5: 11 numbers for the matrix of 2 GHz, 19 needed"),
    (f"# RI\n1 {ROW4}\n {ROW4}\n 0 0\n2 {ROW4}\n", "x.s3p", "line 5: the file ends inside the matrix of 2 GHz: 9 of"),
    (f"# RI\n0 0 {ROW4}\n", "x.s3p", "a frequency must open this line"),
    ("# RI\n-1 0 0\n", "x.s1p", "line 2: -1 GHz is below zero"), ("# RI\n1 inf 0\n", "x.s1p", "'inf' is not a finite"),
    ("# RI\n1 1e999 0\n", "x.s1p", "'1e999' is not a finite"), ("# RI\n1 1_0 0\n", "x.s1p", "'1_0' is not a number"),
    ("# RI\n1 0x10 0\n", "x.s1p", "'0x10' is not a number"), ("# RI\n1 0 1e\n", "x.s1p", "'1e' is not a number"),
    ("# RI\n1,0,0\n", "x.s1p", "separate numbers by blanks"), ("# RI\n1 0\u00a00\n", "x.s1p", "U+00A0"),
    ("# RI\n1 0 0\nEND\n", "x.s1p", "line 3: 'END' is not a number"),
    ("# DB\n1 0 0\n2 9e9 0\n", "x.s1p", "line 3: a value here is too large"),
    ("# RI\n1e305 0 0\n", "x.s1p", "line 2: a value here is too large"),
    ("# RI\n1 0 0 0 0 0 0 0 0\n0.5 1 1 1 1\n0.7 1 1 1\n", "x.s2p", "line 4: 4 numbers, a noise row needs 5"),
    ("# RI\n1 0 0 0 0 0 0 0 0\n0.5 1 1 1 1\n0.5 1 1 1 1\n", "x.s2p", "line 4: 500 MHz stands twice"),
    ("# GHz RI R 50 XHz\n1 0 0\n", "x.s1p", "'XHz' is unknown; units are"),
    ("# R 50x\n1 0 0\n", "x.s1p", "'50x' is no"),
    ("# GHz RI\n1.0740370185092563 0 0\n1.0740370185092565 0 0\n", "x.s1p", "nearer together than numbers in Hz"),
    ("# Z RI\n1 -1 0\n", "x.s1p", "no S-parameters at 1 GHz"), ("# RI\n1 0 0\n", "x.s0p", "0 ports"),
])
def test_what_leaves_the_meaning_open_is_refused(tmp_path, text, name, words):
    assert words in refusal(tmp_path, text, name)


def test_missing_file_and_folder_are_refused_by_name(tmp_path):
    with pytest.raises(Refusal, match="absent.s2p: there is no such file"):
        read_touchstone(tmp_path / "absent.s2p")
    (tmp_path / "folder.s2p").mkdir()
    with pytest.raises(Refusal, match="folder.s2p: this is a folder"):
        read_touchstone(tmp_path / "folder.s2p")
