"""Tables written in every make and read back: the numbers come back as they were written, or the file is refused."""

import random

import numpy as np
import pytest

from hbsim.bench.reader import interpret
from hbsim.bench.text import decode
from hbsim.errors import Refusal


def written(chance):
    """A file of random numbers, and the numbers in base units."""
    delimiter = chance.choice([",", ";", "\t", " ", ", ", "^", "   "])
    comma = chance.random() < 0.4 and "," not in delimiter
    digits = [chance.choice([0, 1, 2, 3, 4]) for _ in range(3)]
    count = chance.randint(1, 12)
    columns = [[round(chance.uniform(0, 5000), digits[0]) for _ in range(count)],
               [round(chance.uniform(-100, 20), digits[1]) for _ in range(count)],
               [round(chance.uniform(0, 2), digits[2]) for _ in range(count)]]
    rows = [delimiter.join(f"{value:.{places}f}" for value, places in zip(row, digits, strict=True))
            for row in zip(*columns, strict=True)]
    if comma:
        rows = [row.replace(".", ",") for row in rows]
    names = chance.choice([["f_MHz", "P_dBm", "U_V"], ["f[MHz]", "P[dBm]", "U[V]"], ["f/MHz", "P/dBm", "U/V"]])
    head = [chance.choice(["", "# a remark", "Operator: nobody", "RBW,30000,Hz", "RBW;30000;Hz", "12.5 dB pad"])
            for _ in range(chance.randint(0, 3))]
    mark = chance.choice(["", "", "#"])
    end = chance.choice(["\n", "\r\n", "\r"])
    lines = [*head, mark + delimiter.join(names), *rows]
    return end.join(lines) + chance.choice(["", end]), [np.array(columns[0]) * 1e6, *map(np.array, columns[1:])]


@pytest.mark.parametrize("part", range(4))
def test_what_is_written_is_read(part):
    refused = 0
    for seed in range(part * 300, part * 300 + 300):
        text, expected = written(random.Random(seed))
        try:
            readings = interpret(decode(text.encode(encoding_of(seed)), "x"))
        except Refusal as refusal:
            # Commas between three digits can be either mark, and nothing else may be in the way.
            assert 'decimal = "comma"' in refusal.what, (seed, text, refusal)
            refused += 1
            continue
        assert [column.unit for column in readings.columns] == ["Hz", "dBm", "V"], (seed, text)
        for column, values in zip(readings.columns, expected, strict=True):
            np.testing.assert_allclose(column.values, values, rtol=1e-15, err_msg=f"{seed}: {text}")
    assert refused < 60


def encoding_of(seed):
    """The encoding of a seed."""
    return ("utf-8", "utf-8-sig", "utf-16", "cp1252")[seed % 4]
