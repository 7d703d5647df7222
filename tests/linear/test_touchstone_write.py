"""Writing Touchstone files: what is written reads back, and what a version or format cannot hold is refused.

Rules checked: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 26 January 2024.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import hbsim
from hbsim.errors import Refusal
from hbsim.linear.touchstone import TouchstoneData, read_touchstone, write_touchstone
from hbsim.linear.touchstone.parameters import from_scattering

FOLDER = Path(__file__).parent
EPS = np.finfo(float).eps


def made(ports=2, points=3, seed=0, equal=True, **more):
    """Invented data, norm(S) = 0.8."""
    random = np.random.default_rng(seed)
    s = random.normal(size=(points, ports, ports, 2)) @ [1, 1j]
    s *= 0.8 / np.linalg.norm(s, 2, axis=(1, 2), keepdims=True)
    reference = np.full(ports, random.uniform(5, 500)) if equal else random.uniform(5, 500, ports)
    return TouchstoneData("made", np.cumsum(random.uniform(1e6, 1e9, points)), s, reference, **more)


def noise(data, seed, first):
    random = np.random.default_rng(seed)
    frequency = first * data.frequency[-1] * np.array([1.0, 1.5, 3.0])
    return np.column_stack([frequency, random.uniform(0.1, 3, 3), random.uniform(0, 1, 3),
                            random.uniform(-180, 180, 3), random.uniform(1, 100, 3)])


def there_and_back(tmp, data, **how):
    file = tmp / f"x.s{data.ports}p"
    write_touchstone(file, data, **how)
    assert file.read_bytes().isascii() and b"\r" not in file.read_bytes()
    assert max(map(len, file.read_text().splitlines())) < 400
    return read_touchstone(file)


@settings(max_examples=200)
@given(seed=st.integers(0, 2**32 - 1), ports=st.integers(1, 5), points=st.integers(1, 4),
       parameter=st.sampled_from("SSZYHG"), style=st.sampled_from(["RI", "MA", "DB"]),
       version=st.sampled_from([None, "1.0", "1.1", "2.0", "2.1"]), equal=st.booleans(), noisy=st.booleans(),
       comments=st.lists(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=30).map(str.strip)))
def test_written_files_read_back(tmp_path_factory, seed, ports, points, parameter, style, version, equal, noisy,
                                 comments):
    ports = 2 if parameter in "HG" else ports
    equal = equal or version == "1.0" and parameter == "S"
    version = "2.1" if version == "1.1" and parameter != "S" else version
    data = made(ports, points, seed, equal, comments=tuple(comments))
    if noisy and ports == 2 and (parameter == "S" or version not in ("1.0", "1.1")):
        old = version in ("1.0", "1.1")
        data = replace(data, noise=noise(data, seed, 1.0 if old else 2.0), noise_reference=None if old else 33.0)
    back = there_and_back(tmp_path_factory.mktemp("touchstone"), data, parameter=parameter, format=style,
                          version=version)
    np.testing.assert_array_equal(back.frequency, data.frequency)
    s = data.s
    if parameter != "S" and version == "1.0":  # written with R 1
        assert (back.reference == 1.0).all()
        matrix = from_scattering(parameter, back.s, np.ones(ports), back.frequency)
        # S against 1 ohm of elements up to 500 * 9 (norm(S) = 0.8) is this near to the edge of what has Z or Y
        np.testing.assert_allclose(matrix, from_scattering(parameter, s, data.reference, data.frequency), rtol=1e-8,
                                   atol=1e-10)
    else:
        np.testing.assert_array_equal(back.reference, data.reference)
        if parameter == "S" and style == "RI":
            assert back.s.tobytes() == s.tobytes()
        # MA: rounding of magnitude, of an angle up to 180 deg (pi) and of its change to radians: 3 roundings of pi.
        # DB: 20 log10 of at least 1e-6 is at most 120, its rounding changes the magnitude by 120 ln(10) / 20 = 14 eps.
        # Z, Y, H, G: the condition of 1 - S and 1 + Z is below 9, times some ports.
        size = {"RI": 1, "MA": 12, "DB": 24}[style] * EPS * (1 if parameter == "S" else 400)
        np.testing.assert_allclose(back.s, s, rtol=0, atol=size)
    assert back.comments == tuple(comments) and (back.parameter, back.format) == (parameter, style)
    assert back.version == {None: back.version, "1.1": "1.1" if ports > 1 else "1.0"}.get(version, version)
    if data.noise is None:
        assert back.noise is None
    else:
        np.testing.assert_array_equal(back.noise[:, :4], data.noise[:, :4])
        np.testing.assert_allclose(back.noise[:, 4], data.noise[:, 4], rtol=0 if back.version[0] == "2" else 2 * EPS)
        assert back.noise_reference == (33.0 if data.noise_reference else data.reference[0])


@settings(max_examples=100)
@given(values=st.lists(st.floats(-1e300, 1e300), min_size=8, max_size=8))
def test_every_number_keeps_its_bits(tmp_path_factory, values):
    s = np.array(values).view(complex).reshape(1, 2, 2)
    data = TouchstoneData("made", np.array([0.0]), s, np.array([50.0, 50.0]))
    assert there_and_back(tmp_path_factory.mktemp("touchstone"), data).s.tobytes() == s.tobytes()


def test_the_text_of_each_version(tmp_path):
    s = np.array([[[0.11, 0.12j], [0.21, -0.22]]])
    data = TouchstoneData("made", np.array([1e9]), s, np.array([50.0, 50.0]), comments=("invented",))
    file = tmp_path / "x.s2p"
    hbsim.write_touchstone(file, data)
    row = "1000000000.0 0.11 0.0 0.21 0.0 0.0 0.12 -0.22 0.0\n"
    assert file.read_text() == f"! invented\n# Hz S RI R 50\n{row}"
    unequal = replace(data, reference=np.array([50.0, 75.5]), information=("[Later] 1",),
                      noise=np.array([[2e9, 1, 0.5, 90, 20]]), noise_reference=25.0)
    write_touchstone(file, unequal)
    assert file.read_text() == (
        "! invented\n[Version] 2.1\n# Hz S RI R 25\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n"
        "[Number of Frequencies] 1\n[Number of Noise Frequencies] 1\n[Reference] 50 75.5\n[Begin Information]\n"
        "[Later] 1\n"
        f"[End Information]\n[Network Data]\n{row}[Noise Data]\n2000000000.0 1.0 0.5 90.0 20.0\n[End]\n")
    assert read_touchstone(file).noise_reference == 25.0


def test_rows_of_three_and_of_five_ports(tmp_path):
    for ports, lengths in ((3, [7, 6, 6]), (4, [9, 8, 8, 8]), (5, [9, 2] + [8, 2] * 4)):
        file = tmp_path / f"x.s{ports}p"
        write_touchstone(file, made(ports, 2))
        rows = file.read_text().splitlines()[1:]
        assert [len(row.split()) for row in rows] == lengths * 2
        assert [row.startswith("  ") for row in rows] == ([False] + [True] * (len(lengths) - 1)) * 2
        assert read_touchstone(file).notes == ()


def test_the_version_follows_from_the_data(tmp_path):
    assert there_and_back(tmp_path, made()).version == "1.0"
    assert there_and_back(tmp_path, made(equal=False)).version == "2.1"
    assert there_and_back(tmp_path, made(), parameter="Z").version == "2.1"
    data = made()
    assert there_and_back(tmp_path, replace(data, noise=noise(data, 0, 1.0))).version == "1.0"
    assert there_and_back(tmp_path, replace(data, noise=noise(data, 0, 1.1))).version == "2.1"
    assert there_and_back(tmp_path, replace(data, noise=noise(data, 0, 1.0), noise_reference=1.0)).version == "2.1"


def test_ohms_in_version_1_say_r_1(tmp_path):
    data = TouchstoneData("made", np.array([1e9]), np.array([[[0.0]]]), np.array([75.0]))
    write_touchstone(tmp_path / "x.s1p", data, parameter="z", format="ri", version="1.0")
    assert (tmp_path / "x.s1p").read_text() == "# Hz Z RI R 1\n1000000000.0 75.0 0.0\n"
    assert read_touchstone(tmp_path / "x.s1p").notes == ()


def test_letters_outside_ascii_and_information_in_version_1(tmp_path):
    data = made(comments=("25 \u00b0C", "", "tab\there"), information=("[Later] x",))
    assert there_and_back(tmp_path, data).comments == (r"25 \xb0C", "", "tab\there", "[Later] x")
    assert there_and_back(tmp_path, data, version="2.0").information == ("[Later] x",)


THROUGH = np.array([[[0, 1], [1, 0]]], complex)


@pytest.mark.parametrize("data, how, words", [
    (made(), {"format": "XY"}, "'XY' is not known as format"),
    (made(), {"parameter": "T"}, "'T' is not known as param"),
    (made(), {"version": "3.0"}, "'3.0' is not known as version"), (made(), {"version": 2.0}, "2.0 is not known"),
    (made(3), {"parameter": "H"}, "2 ports only, not for 3"), (made(comments=("a\nb",)), {}, "holds a line end"),
    (made(comments=("a\rb",)), {}, "holds a line end"), (made(comments=("a\x1a",)), {}, "control character"),
    (made(information=("a\nb",)), {"version": "2.1"}, "holds a line end"),
    (made(information=("[End Information]",)), {"version": "2.1"}, "ends the information"),
    (made(equal=False), {"version": "1.0"}, "one reference for all ports, and these differ; write version 2.1"),
    (made(), {"version": "1.1", "parameter": "Y"}, "does not say how Z, Y, H and G are normalised in version 1.1"),
    (replace(made(), s=THROUGH, frequency=np.array([1e9])), {"parameter": "Z"}, "Z parameters do not exist at 1 GHz"),
    (replace(made(), s=THROUGH, frequency=np.array([1e9])), {"format": "DB"},
     "S11 is zero at 1 GHz, which has no value"),
    (replace(made(), s=THROUGH * [[1, 0], [1, 1]] + 0.1 * np.eye(2), frequency=np.array([1e9])), {"format": "DB"},
     "S12 is zero at 1 GHz"),
    (replace(made(), s=THROUGH * 1e308 * (1 + 1j) * 1.5, frequency=np.array([1e9])), {"format": "MA"},
     "S21 is too large"),
    (replace(made(), s=made().s * np.nan), {}, "S is not finite"),
    (replace(made(), s=made().s[:2]), {}, "does not go with"),
    (replace(made(), frequency=np.array([1.0, 3, 2])), {}, "must be finite, not below zero, and increase"),
    (replace(made(), frequency=np.array([-1.0, 3, 4])), {}, "not below zero"),
    (replace(made(), frequency=np.array([1.0, 3, np.inf])), {}, "finite"),
    (replace(made(), reference=np.array([0.0, 50])), {}, "must be above zero"),
    (replace(made(), reference=np.array([50, np.nan])), {}, "nan"), (made(noise_reference=-1.0), {}, "above zero"),
    (made(3, noise=noise(made(), 0, 1.0)), {}, "noise data needs 2 ports"),
    (made(noise=np.ones((2, 4))), {}, "rows of 5 finite numbers"),
    (made(noise=np.ones((2, 5))), {}, "noise frequencies"),
    (made(noise=noise(made(), 0, 1.1)), {"version": "1.0"}, "noise must start at or below"),
    (made(noise=noise(made(), 0, 1.0), noise_reference=1.0), {"version": "1.1"}, "go with the reference of port 1"),
    (made(noise=noise(made(), 0, 1.0)), {"version": "1.0", "parameter": "Z"}, "beside S only, not beside Z"),
])
def test_what_cannot_be_written_is_refused_and_nothing_is_touched(tmp_path, data, how, words):
    file = tmp_path / "x.ts"
    file.write_text("kept")
    with pytest.raises(Refusal) as caught:
        write_touchstone(file, data, **how)
    assert words in str(caught.value) and caught.value.file == str(file)
    assert file.read_text() == "kept" and len(list(tmp_path.iterdir())) == 1


def test_names_that_say_other_ports_and_places_that_cannot_be(tmp_path):
    with pytest.raises(Refusal, match="the name says 3 ports, the data have 2; name it '.s2p'"):
        write_touchstone(tmp_path / "x.s3p", made())
    with pytest.raises(Refusal, match="cannot be written"):
        write_touchstone(tmp_path / "absent" / "x.s2p", made())


READABLE = [*(FOLDER / "touchstone_files").glob("*_*.*"), *(FOLDER / "touchstone_wild").iterdir()]


@pytest.mark.parametrize("file", READABLE, ids=lambda file: file.name)
def test_what_was_read_can_be_written_and_read_again(tmp_path, file):
    try:
        data = read_touchstone(file)
    except Refusal:
        assert file.name in ("hobby_vna_row_with_missing_pair.s2p", "unsorted_frequencies.s1p",
                             "usb_vna_s1p_with_second_trace.s1p") or not file.suffix
        return
    back = there_and_back(tmp_path, data)
    assert back.s.tobytes() == data.s.tobytes() and back.frequency.tobytes() == data.frequency.tobytes()
    np.testing.assert_array_equal(back.reference, data.reference)
    assert back.noise_reference == data.noise_reference and back.information == (
        data.information if back.version == "2.1" else ())
    if data.noise is not None:
        np.testing.assert_allclose(back.noise, data.noise, rtol=2 * EPS)
    if all(text.isascii() for text in data.comments):
        assert back.comments == data.comments + (() if back.version == "2.1" else data.information)
