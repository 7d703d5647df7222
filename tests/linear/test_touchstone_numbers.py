"""Numbers of Touchstone files, read in blocks of lines."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear.touchstone import touchstone_from_bytes

# What a decimal text means is Python's float(), which rounds correctly; whole numbers of any length, points, exponents.
WORDS = st.one_of(st.floats(allow_nan=False, allow_infinity=False).map(repr),
                  st.from_regex(r"[+-]?[0-9]{1,25}(\.[0-9]{0,25})?([eE][+-]?[0-9]{1,2})?", fullmatch=True),
                  st.from_regex(r"[+-]?\.[0-9]{1,30}e-3[0-2][0-9]", fullmatch=True))


@given(first=WORDS, second=WORDS, blank=st.sampled_from([" ", "\t", "  "]), fortran=st.booleans())
def test_every_word_is_read_as_float_does(first, second, blank, fortran):
    pair = f"{first}{blank}{second}"
    text = f"# Hz S RI R 50\n0 {pair.replace('e', 'D') if fortran else pair}\n"
    s = touchstone_from_bytes(text.encode(), "x.s1p").s
    assert s.tobytes() == np.array([float(first), float(second)]).tobytes()


def test_long_files_are_read_in_blocks_with_the_right_line_numbers():
    rows = [f"{n} 0.{n} -0.5" for n in range(60_000)]  # 1 MB: several blocks
    text = "# Hz S RI R 50\n" + "\n".join(rows)
    data = touchstone_from_bytes(text.encode(), "x.s1p")
    np.testing.assert_array_equal(data.s[:, 0, 0].real, [float(f"0.{n}") for n in range(60_000)])
    for wrong, words in (("50000 0.1 O.5", "line 50002: 'O.5' is not a number"),
                         ("49999 0.1 0.5", "line 50002: 49.999 kHz stands twice"),
                         ("50000 0.1", "line 50002: 2 numbers, 3 needed"), ("50000 0.1 1e400", "line 50002: '1e400'")):
        rows[50_000] = wrong
        with pytest.raises(Refusal, match=re.escape(words)):
            touchstone_from_bytes(("# Hz S RI R 50\n" + "\n".join(rows)).encode(), "x.s1p")
    rows[50_000] = "50000 0.1 1D-1"
    data = touchstone_from_bytes(("# Hz S RI R 50\n" + "\n".join(rows)).encode(), "x.s1p")
    assert data.s[50_000, 0, 0] == 0.1 + 0.1j and "exponent written with D in line 50002" in data.notes[0]
