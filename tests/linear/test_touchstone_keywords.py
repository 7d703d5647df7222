"""Keywords, matrix formats and mixed mode of Touchstone version 2.

Rules checked: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 26 January 2024, Keywords,
Mixed-Mode Order and appendix A.
"""

import numpy as np
import pytest

from hbsim.errors import Refusal
from hbsim.linear.touchstone import touchstone_from_bytes

PLAIN = """[Version] 2.1
# GHz S RI R 50
[Number of Ports] 2
[Two-Port Data Order] 12_21
[Number of Frequencies] 2
[Reference] 50 75
[Network Data]
1 .11 0 .12 0 .21 0 .22 0
2 .31 0 .32 0 .41 0 .42 0
[End]
"""
NOISE = PLAIN.replace("[Reference]", "[Number of Noise Frequencies] 1\n[Reference]").replace(
    "[End]", "[Noise Data]\n9 0.9 .4 30 12.5\n[End]")


def read(text, name="x.ts"):
    return touchstone_from_bytes(text.encode(), name)


def refused(text):
    with pytest.raises(Refusal) as caught:
        read(text)
    return str(caught.value)


def test_plain_file():
    data = read(PLAIN)
    assert data.s[0].tolist() == [[0.11, 0.12], [0.21, 0.22]] and data.reference.tolist() == [50, 75]
    assert (data.version, data.notes, data.noise, data.corner) == ("2.1", (), None, (0.11, 0.31))
    assert read(PLAIN.replace("12_21", "21_12")).s[0].tolist() == [[0.11, 0.21], [0.12, 0.22]]
    assert read(PLAIN.replace("[Reference] 50 75\n", "")).reference.tolist() == [50, 50]
    assert read(PLAIN, "x.s7p").ports == 2  # the name means nothing in version 2


def test_noise_is_in_ohm_and_against_the_option_line():
    data = read(NOISE)
    assert data.noise.tolist() == [[9e9, 0.9, 0.4, 30, 12.5]]  # may start anywhere in version 2
    assert data.noise_reference == 50.0 and data.reference.tolist() == [50, 75]


@pytest.mark.parametrize("text", [
    PLAIN.replace("[Two-Port Data Order] 12_21\n", "").replace("[Network", "[TWO PORT DATA-ORDER]  12_21\n[Network"),
    PLAIN.replace("[Reference] 50 75", "[Reference] ! of port 1:\n 50 ! then port 2\n! nothing\n\n75"),
    PLAIN.replace("1 .11 0 .12 0 .21 0", "\n\n1\n.11\n0 .12\n0 .21 0"), "! before\n\n" + PLAIN + "! after\n",
    PLAIN.replace("[Matrix", "").replace("[Network", "[Matrix Format] FULL\n[Network"),
])
def test_what_the_standard_leaves_free(text):
    data = read(text)
    np.testing.assert_array_equal(data.s, read(PLAIN).s)
    assert data.reference.tolist() == [50, 75] and data.notes == ()


@pytest.mark.parametrize("text, note", [
    (PLAIN.replace("[Network", "# Hz Z MA R 1\n[Network"), "line 7 is a second option line; the first one counts"),
    (PLAIN.replace("2 .31", "# Hz Z MA R 1\n2 .31"), "line 9 is a second option line; the first one counts"),
    (PLAIN.replace("# GHz S RI R 50\n[Number of Ports] 2", "[Number of Ports] 2\n# GHz S RI R 50"), "stands below"),
    (PLAIN.replace("[Number of Ports] 2\n", "").replace("[Reference]", "[Number of Ports] 2\n[Reference]"),
     "[Two-Port Data Order] stands above [Number of Ports]"),
    (PLAIN.replace("[Version] 2.1", "[ Version ]2.1"), "unusual blanks at [Version] in line 1"),
    (PLAIN.replace("[Network", "  [Network"), "blanks before [Network Data] in line 7"),
    (PLAIN.replace("# GHz", "#GHz"), "'#' joined to the first word in line 2"),
    (PLAIN.replace("1 .11 0", "1 1.1D-1 0"), "an exponent written with D in line 8"),
    (PLAIN.replace("R 50", "R"), "R without a number, read as 50 ohm"),
])
def test_what_is_odd_is_read_and_noted(text, note):
    data = read(text)
    np.testing.assert_array_equal(data.s, read(PLAIN).s)
    assert data.reference.tolist() == [50, 75]
    assert len(data.notes) == 1 and note in data.notes[0]


def test_information_is_kept_and_not_read():
    block = "[Begin Information]\n[Some Later Keyword] anything # at all\n# GHz Z\n\n 12 x ! gone\n[End Information]\n"
    data = read(PLAIN.replace("[Network", block + "[Network"))
    assert data.information == ("[Some Later Keyword] anything # at all", "# GHz Z", "12 x")
    assert data.notes == () and data.comments == ("gone",)
    np.testing.assert_array_equal(data.s, read(PLAIN).s)
    open_block = PLAIN.replace("[Network", block[:-18] + "[Network")
    assert "[Begin Information] without [End Information]" in refused(open_block)


def test_without_an_order_only_what_does_not_depend_on_it_is_read():
    text = PLAIN.replace("[Two-Port Data Order] 12_21\n", "")
    assert "S12 and S21 cannot be told apart" in refused(text)
    assert "Z12 and Z21" in refused(text.replace("S RI", "Z RI"))
    assert "h12 and h21" in refused(text.replace("S RI", "H RI"))
    data = read(text.replace(".21 0", ".12 0").replace(".41 0", ".32 0"))
    assert data.s[1].tolist() == [[0.31, 0.32], [0.32, 0.42]] and "is missing" in data.notes[0]
    lower = text.replace(" .22 0\n", "\n").replace(" .42 0\n", "\n")
    lower = lower.replace("[Network", "[Matrix Format] Lower\n[Network")
    assert read(lower).s[1].tolist() == [[0.31, 0.32], [0.32, 0.41]] and "is missing" in read(lower).notes[0]


@pytest.mark.parametrize("form", ["lower", "upper"])
@pytest.mark.parametrize("ports", [1, 2, 3, 5])
def test_half_matrices_are_mirrored(form, ports):
    random = np.random.default_rng(ports)
    s = random.normal(size=(2, ports, ports))
    s = s + s.swapaxes(1, 2)
    lines = [f"[Version] 2.0\n# Hz S RI\n[Number of Ports] {ports}\n[Number of Frequencies] 2\n[Matrix Format] {form}"]
    lines += ["[Two-Port Data Order] 12_21"] * (ports == 2) + ["[Network Data]"]
    for point, matrix in enumerate(s.tolist()):
        for i, row in enumerate(matrix):
            part = row[:i + 1] if form == "lower" else row[i:]
            lines.append((f"{point} " if i == 0 else "  ") + " ".join(f"{value!r} 0" for value in part))
    data = read("\n".join([*lines, "[End]"]))
    np.testing.assert_array_equal(data.s, s)
    short = "\n".join([*lines[:-1], "[End]"])
    if ports > 1:
        assert f"{form} matrices); export the file again" in refused(short)


def test_z_and_y_are_plain_ohms_and_siemens_and_h_goes_with_unequal_references():
    one = PLAIN.replace("S RI R 50", "Z RI R 7").replace("2 .31 0 .32 0 .41 0 .42 0\n", "").replace(
        "[Number of Frequencies] 2", "[Number of Frequencies] 1")
    z, root = np.array([[25 - 15j, 3], [4j, 60]]), np.sqrt(np.diag([50.0, 75.0]))

    def numbers(matrix):
        return "1 " + " ".join(f"{v.real!r} {v.imag!r}" for v in matrix.astype(complex).ravel().tolist())

    # S = F (Z - R) (Z + R)^-1 F^-1, F = R^-1/2: K. Kurokawa, IEEE Trans. MTT-13 (1965) 194-202, real references
    s = np.linalg.inv(root) @ (z - root**2) @ np.linalg.inv(z + root**2) @ root
    h = np.array([[np.linalg.det(z), z[0, 1]], [-z[1, 0], 1]]) / z[1, 1]
    for name, matrix in (("Z", z), ("Y", np.linalg.inv(z)), ("H", h), ("G", np.linalg.inv(h))):
        text = one.replace("Z RI", f"{name} RI").replace("1 .11 0 .12 0 .21 0 .22 0", numbers(matrix))
        data = read(text)
        np.testing.assert_allclose(data.s[0], s, rtol=1e-13, atol=1e-15)  # rounding of 2 x 2 inverses
        assert data.notes == () and data.parameter == name


MIXED = """[Version] 2.1
# GHz {parameter} RI R 50
[Number of Ports] 4
[Number of Frequencies] 1
[Mixed-Mode Order] {order}
[Reference] {reference}
[Network Data]
1 {numbers}
[End]
"""


def mixed(parameter, order, matrix, reference="50 60 50 70"):
    numbers = "\n".join(" ".join(f"{v.real!r} {v.imag!r}" for v in row) for row in matrix.astype(complex).tolist())
    return MIXED.format(parameter=parameter, order=order, reference=reference, numbers=numbers)


def test_mixed_mode_becomes_single_ended():
    # Appendix A: V_D = V1 - V3, I_D = (I1 - I3) / 2, V_C = (V1 + V3) / 2, I_C = I1 + I3; references 2 R and R / 2.
    # Worked out here from voltages and currents; waves against the references of the modes.
    random = np.random.default_rng(4)
    z = random.normal(size=(4, 4, 2)) @ [20, 20j] + 60 * np.eye(4)
    rows = {"S2": ([0, 1, 0, 0], [0, 1, 0, 0], 60), "D1,3": ([1, 0, -1, 0], [.5, 0, -.5, 0], 100),
            "C1,3": ([.5, 0, .5, 0], [1, 0, 1, 0], 25), "S4": ([0, 0, 0, 1], [0, 0, 0, 1], 70)}
    order = ["D1,3", "S4", "C1,3", "S2"]
    v, i = np.array([rows[name][0] for name in order]), np.array([rows[name][1] for name in order])
    r = np.array([rows[name][2] for name in order])
    z_mixed = v @ z @ np.linalg.inv(i)
    scaled = z_mixed / np.sqrt(np.outer(r, r))
    s_mixed = (scaled - np.eye(4)) @ np.linalg.inv(scaled + np.eye(4))
    scaled = z / np.sqrt(np.outer([50, 60, 50, 70], [50, 60, 50, 70]))
    s = (scaled - np.eye(4)) @ np.linalg.inv(scaled + np.eye(4))
    for name, matrix in (("S", s_mixed), ("Z", z_mixed), ("Y", np.linalg.inv(z_mixed))):
        data = read(mixed(name, " ".join(order).lower(), matrix))
        np.testing.assert_allclose(data.s[0], s, atol=1e-14)  # rounding of 4 x 4 inverses, elements below 1
        assert "mixed-mode data (D1,3 S4 C1,3 S2) converted" in data.notes[0]
        assert data.corner[0] == matrix[0, 0]


@pytest.mark.parametrize("order, words", [
    ("D1,2 C1,2 S3", "3 descriptors, 4 ports"), ("D1,2 C1,3 S3 S4", "D1,2 has no partner"),
    ("D1,2 C1,2 S3 S3", "port 3 stands 2 times"), ("D1,2 C1,2 D2,3 C2,3", "port 2 stands 2 times"),
    ("D1,1 C1,1 S3 S4", "port 1 stands 2 times"), ("S1 S2 S3 X4", "'X4' is no descriptor"),
    ("D1,2 C1,2 S3 S5", "port 4 stands 0 times"), ("D1,2 C1,2 S3 S4", "unequal references"),
])
def test_mixed_mode_orders_that_cannot_be(order, words):
    said = refused(mixed("S", order, np.eye(4)))
    assert words in said and said.startswith("line 5")


def test_mixed_mode_of_two_ports_and_of_hybrid_parameters():
    text = PLAIN.replace("50 75", "50 50\n[Mixed-Mode Order]\nC1,2\nD1,2")
    # T = [[1, 1], [1, -1]] / sqrt 2 for the order C, D: S11 = (CC + CD + DC + DD) / 2
    # CC .11, CD .12, DC .21, DD .22: S11 = .33, S12 = (CC - CD + DC - DD) / 2 = -.01, S21 = -.10, S22 = 0
    np.testing.assert_allclose(read(text).s[0], [[.33, -.01], [-.10, .0]], atol=1e-15)
    assert "S, Y and Z only, not for H" in refused(text.replace("S RI", "H RI"))


@pytest.mark.parametrize("old, new, words", [
    ("[Version] 2.1", "[Version] 2.2", "version 2.2 is not known"), ("[Version] 2.1", "[Version]", "without a number"),
    ("[Version] 2.1", "[Versoin] 2.1", "[Versoin] unknown; [Version] meant?"),
    ("[Version] 2.1\n", "", "does not begin with [Version]"), ("# GHz S RI R 50\n", "", "no option line"),
    ("[Version] 2.1\n# GHz S RI R 50\n", "# GHz S RI R 50\n[Version] 2.1\n", "line 2: [Version] must stand above"),
    ("R 50", "R 50 75", "line 2: several resistances"),
    ("R 50", "R 0", "line 2: the reference resistance must be above"),
    ("[Number of Ports] 2\n", "", "[Number of Ports] is missing"),
    ("Ports] 2", "Ports] 0", "line 3: [Number of Ports] takes one whole number above zero"),
    ("Ports] 2", "Ports] 2 2", "not '2 2'"), ("Ports] 2", "Ports] 2.0", "not '2.0'"), ("Ports] 2", "Ports]", "not ''"),
    ("Ports] 2", "Ports 2", "has no closing bracket"), ("Ports] 2", "Ports] 3", "line 6: [Reference] holds 2"),
    ("Ports] 2", "Prots] 2", "[Number of Ports] meant?"), ("12_21", "12_12", "[Two-Port Data Order] is 12_21 or 21_12"),
    ("[Reference]", "[Refrence]", "[Reference] meant?"), ("[Reference]", "[Colour]", "known are [Version]"),
    ("50 75", "50", "line 6: [Reference] holds 1 value, 2 ports"), ("50 75", "50 (75+1j)", "complex reference"),
    ("50 75", "50 -75", "must be above zero"), ("50 75", "50\n-75x", "line 6: '-75x' is no resistance"),
    ("Frequencies] 2", "Frequencies] 3", "[Number of Frequencies] is 3, 2 found"),
    ("[Number of Frequencies] 2\n", "", "[Number of Frequencies] is missing"),
    ("[Network Data]\n", "", "[Network Data] is missing"), ("[End]", "", "[End] is missing"),
    ("[Network Data]", "[Network Data] 1", "line 7: '1' beside [Network Data]"),
    ("[End]\n", "[End]\n# GHz\n", "line 11: text after [End]"),
    ("[End]\n", "[End]\n[End]\n", "line 11: text after [End]"),
    ("[End]", "[Reference] 50 75\n[End]", "[Reference] stands twice"),
    ("[End]", "[Matrix Format] Full\n[End]", "[Matrix Format] must stand above [Network Data]"),
    ("[Network", "[Matrix Format] half\n[Network", "[Matrix Format] is full or lower or upper, not 'half'"),
    ("[Network", "[Noise Data]\n[Network", "[Noise Data] must stand below the network data"),
    ("[Network", "[End Information]\n[Network", "without [Begin Information]"),
    ("[End]", "[Noise Data]\n1 1 1 1 1\n[End]", "[Noise Data] without [Number of Noise Frequencies]"),
    ("[Network", "[Number of Noise Frequencies] 1\n[Network", "without [Noise Data]"),
    (" .22 0\n", "\n", "line 8: the matrix of 1 GHz takes 9 numbers"),
    (" .42 0\n", "\n", "line 9: the data end inside"),
    ("2 .31", "1 .31", "line 9: 1 GHz stands twice"), ("2 .31", "0.5 .31", "line 9: 500 MHz follows 1 GHz"),
    ("12_21", "12_21\nhello", "line 5: 'hello' belongs to no keyword"),
    ("12_21", "12_21\n1 2 3", "line 5: '1' belongs to no keyword; data stand below [Network Data]"),
    ("12_21", "12_21 \u2212", "line 4: character U+2212"), (".11 0", ".11 x", "line 8: 'x' is not a number"),
    ("Ports] 2\n[Two-Port Data Order] 12_21", "Ports] 3\n[Two-Port Data Order] 12_21\n[Reference] 50 50 50\n!",
     "[Reference] stands twice"),
    ("2\n[Two-Port Data Order] 12_21\n[Number of Frequencies] 2\n[Reference] 50 75",
     "3\n[Two-Port Data Order] 12_21\n[Number of Frequencies] 2",
     "line 4: [Two-Port Data Order] is for 2 ports, here are 3"),
])
def test_what_breaks_the_rules_is_refused(old, new, words):
    assert PLAIN.count(old) >= 1
    assert words in refused(PLAIN.replace(old, new, 1))


@pytest.mark.parametrize("old, new, words", [
    ("9 0.9 .4 30 12.5\n", "", "no data below [Noise Data]"), ("30 12.5", "30", "4 numbers, a noise row needs 5"),
    ("Noise Frequencies] 1", "Noise Frequencies] 2", "[Number of Noise Frequencies] is 2, 1 found"),
    ("9 0.9 .4", "9e300 0.9 .4", "line 2: a noise value is too large"),
])
def test_noise_that_breaks_the_rules_is_refused(old, new, words):
    assert words in refused(NOISE.replace(old, new))


def test_huge_port_counts_are_refused_without_taking_memory():
    text = PLAIN.replace("[Two-Port Data Order] 12_21\n", "").replace("[Reference] 50 75\n", "")
    assert "the data end inside" in refused(text.replace("Ports] 2", "Ports] 999999999"))
    with pytest.raises(Refusal, match="the file ends inside|needed for 999999999 ports"):
        touchstone_from_bytes(b"# RI\n1 0 0\n", "x.s999999999p")
