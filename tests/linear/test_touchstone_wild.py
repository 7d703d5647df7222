"""Touchstone files as analysers, part makers and field solvers write them (numbers kept, names taken out).

What is expected was read from each file by a script of its own, apart from this reader: the number of points, first and
last frequency, and element 11 as it stands in the file.
"""

from pathlib import Path

import numpy as np
import pytest

from hbsim.errors import Refusal
from hbsim.linear.touchstone import read_touchstone

FILES = Path(__file__).parent / "touchstone_wild"
DOUBT = "port impedances or of data not renormalised"
# ports, points, first and last frequency [Hz], element 11 of both, reference [ohm], words of the notes
READ = {
    "antenna_z_parameters_r1.s1p": (1, 40, 100e6, 103.9e6, 12.48 - 152.34j, 13.79 - 136.04j, 1, []),
    "bench_vna_four_port_75_ohm_tabs.s4p":
        (4, 10, 500e6, 635e6, -0.97327408351 + 0.0370287715282j, -0.476703884439 + 0.840362521026j, 75, []),
    "bench_vna_four_port_blank_line_after_each_point.s4p":
        (4, 5, 40e6, 40.08e6, 0.8126100433 - 0.557589471401j, 0.800218532761 - 0.575978959833j, 50, []),
    "bench_vna_option_line_before_comments.s1p":
        (1, 40, 10e6, 54.933641084824e6, 1.00501191616 - 0.0175253599882j, 0.998298227787 - 0.073430493474j, 50, []),
    "bench_vna_unmeasured_as_minus_200_db.S2P":
        (2, 40, 122.85e6, 122.900654e6, 1e-10, 1e-10, 50, ["S11, S12 and S22 are zero at every frequency"]),
    "field_solver_five_port_row_wrap.s5p":
        (5, 5, 0.9e9, 1.1e9, -0.000214820393131, -0.000193376706553, 50, [DOUBT]),
    "field_solver_port_impedance_in_comments.s3p":
        (3, 11, 20e6, 21e6, 0.0291914205225 - 0.0451945916579j, 0.0281509660726 - 0.0473629000096j, 50, [DOUBT]),
    "handheld_vna_db_tabs.s1p":
        (1, 40, 30e3, 11.729883e6, 0.886694894903 - 0.00132391752808j, 0.516893789667 - 0.459208009541j, 50, []),
    "inductor_trailing_tabs_no_final_newline.s2p":
        (2, 40, 1e6, 2.43414702251933e6, 0.00554550090498 + 0.0135962201588j, 0.00729519452979 + 0.031820056396j, 50,
         []),
    "npn_noise_and_trailing_comments.s2p":
        (2, 21, 40e6, 3e9, 0.773814202221 - 0.203006355668j, -0.135292909005 + 0.13482147j, 50, []),
    "old_vna_indented_option_line.s2p":
        (2, 1, 1e3, 1e3, -0.173665165839 - 0.984803588332j, -0.173665165839 - 0.984803588332j, 50, []),
    "v2_keywords_in_s2p_name_unequal_reference.s2p":
        (2, 40, 50e6, 244.025e6, 0.242006326651 - 0.177411077366j, 0.37646763778 - 0.0627961101664j, (50, 100),
         ["[Two-Port Data Order] is missing; both transfer elements are the same", "outside ASCII, read as UTF-8"]),
}
REFUSED = {
    "hobby_vna_row_with_missing_pair.s2p": ("line 11", "7 numbers, 9 needed"),
    "unsorted_frequencies.s1p": ("line 5", "140.614468 MHz follows 140.921702 MHz"),
    "usb_vna_s1p_with_second_trace.s1p": ("line 5", "the name says 1 port, the row holds 2 pairs"),
}


@pytest.mark.parametrize("name", READ)
def test_wild_files_read_to_what_stands_in_them(name):
    ports, points, first, last, first_11, last_11, reference, notes = READ[name]
    data = read_touchstone(FILES / name)
    assert (data.ports, len(data.frequency)) == (ports, points) and data.s.shape == (points, ports, ports)
    np.testing.assert_allclose(data.frequency[[0, -1]], [first, last], rtol=1e-15)
    # 12 digits are printed above; where the angle is 180 degrees the imaginary part is rounding
    np.testing.assert_allclose(data.corner, [first_11, last_11], rtol=1e-11, atol=1e-15)
    np.testing.assert_array_equal(data.reference, np.broadcast_to(reference, ports))
    if data.parameter == "S":
        assert (data.s[0, 0, 0], data.s[-1, 0, 0]) == data.corner
    else:  # Z: reflection (Z - R) / (Z + R)
        np.testing.assert_allclose(data.s[[0, -1], 0, 0], [(z - reference) / (z + reference) for z in data.corner])
    assert len(data.notes) == len(notes)
    for words in notes:
        assert any(words in note for note in data.notes)


@pytest.mark.parametrize("name", REFUSED)
def test_wild_files_with_a_fault_are_refused_by_line(name):
    with pytest.raises(Refusal) as caught:
        read_touchstone(FILES / name)
    assert caught.value.file == str(FILES / name)
    for words in REFUSED[name]:
        assert words in str(caught.value)


def test_transistor_elements_and_noise():
    # Two-port order 11 21 12 22: S21 at 40 MHz is 23.665 at 166.0 degrees, S12 0.010 at 82.8 degrees. Noise resistance
    # of version 1 is in units of R: 0.22 * 50 = 11 ohm at 500 MHz, 7.5 ohm at 2 GHz.
    data = read_touchstone(FILES / "npn_noise_and_trailing_comments.s2p")
    assert data.s[0, 1, 0] == pytest.approx(23.665 * np.exp(1j * np.deg2rad(166.0)), rel=1e-14)
    assert data.s[0, 0, 1] == pytest.approx(0.010 * np.exp(1j * np.deg2rad(82.8)), rel=1e-14)
    rows = data.noise[np.isin(data.noise[:, 0], [500e6, 2e9])]
    np.testing.assert_allclose(rows, [[500e6, 1.10, 0.262, 25, 11], [2e9, 1.90, 0.159, 167, 7.5]], rtol=1e-14)
    assert data.noise_reference == 50.0 and len(data.noise) == 4
    assert "42.3" in data.comments  # a gain beside the row is a comment, kept as such


def test_all_wild_files_are_tested():
    assert {file.name for file in FILES.iterdir()} - {".gitattributes"} == set(READ) | set(REFUSED)
