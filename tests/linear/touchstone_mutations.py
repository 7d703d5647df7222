"""Touchstone files broken at random."""

import random
import re
import warnings
from collections import Counter
from pathlib import Path

import numpy as np

from hbsim.errors import Refusal
from hbsim.linear.touchstone import touchstone_from_bytes

HERE = Path(__file__).parent
SEEDS = sorted(file for folder in ("touchstone_files", "touchstone_files/bad", "touchstone_wild")
               for file in (HERE / folder).iterdir() if re.search(r"\.(s\d+p|ts)$", file.name, re.IGNORECASE))
WORDS = [b"nan", b"1e999", b"-1e308", b"1e-320", b"0", b"-0", b"1D5", b"\xe2\x88\x92", b"\xff", b"\x00", b"!", b"#",
         b"[", b"]", b"\r", b"\n", b"\t", b"\x1a", b"R", b"R 1e-9", b"R 1e149", b"# GHz Z RI R 1e-300\n", b"DB",
         b"MA", b"RI", b"H", b"G", b"Y", b"Z", b"S", b"GHz", b"Hz", b"D1,2 C1,2", b"S1", b"[Version] 2.0\n", b"[End]\n",
         b"[Number of Ports] 7\n", b"[Number of Ports] 99999999\n",
         b"[Matrix Format] Lower\n", b"[Begin Information]\n",
         b"[End Information]\n", b"[Mixed-Mode Order] C1,2 D1,2\n", b"[Two-Port Data Order] 21_12\n", b"[Reference]\n",
         b"[Noise Data]\n", b"[Number of Noise Frequencies] 1\n", b"9" * 400, b"\xef\xbb\xbf", b"50 75", b"12_21"]
SWAPS = [(b"S", b"Z"), (b"S", b"Y"), (b"S", b"H"), (b"MA", b"DB"), (b"RI", b"DB"), (b"RI", b"MA"), (b"GHz", b"Hz"),
         (b"Full", b"Lower"), (b"Lower", b"Upper"), (b"12_21", b"21_12"), (b"Frequencies", b"Noise Frequencies"),
         (b"Network", b"Noise"), (b"] 2", b"] 1"), (b"] 1", b"] 2"), (b"] 2", b"] 3"), (b"] 3", b"] 2"), (b"\n", b"\r"),
         (b" ", b"\n"), (b"e", b"d"), (b"2.", b"1.")]
NAMES = ["x.s1p", "x.s2p", "x.s3p", "x.s4p", "x.s5p", "x.ts", "x.s999999999p", "x.z2p"]


def mutated(raw: bytes, dice: random.Random) -> bytes:
    """The bytes with one to three faults."""
    data = bytearray(raw)
    for _ in range(dice.choice((1, 1, 2, 3))):
        kind, at = dice.randrange(13), dice.randrange(len(data) + 1)
        if kind == 0 and data:
            data[at % len(data)] ^= 1 << dice.randrange(8)
        elif kind == 1:
            del data[at:at + dice.choice((1, 2, 5, 40))]
        elif kind == 2:
            data[at:at] = dice.choice(WORDS)
        elif kind == 3:
            data[at:at + dice.randrange(8)] = dice.choice(WORDS)
        elif kind == 4:
            del data[at:]
        elif kind in (5, 6):
            lines = bytes(data).splitlines(keepends=True) or [b""]
            one, other = dice.randrange(len(lines)), dice.randrange(len(lines))
            if kind == 5:
                lines[one], lines[other] = lines[other], lines[one]
            else:
                lines.insert(other, lines[one])
            data = bytearray(b"".join(lines))
        elif kind == 7:
            old, new = dice.choice(SWAPS)
            data = bytearray(bytes(data).replace(old, new, dice.choice((1, 1, -1))))
        elif kind in (8, 9):  # another digit
            digits = [place for place in range(max(0, at - 50), min(at + 50, len(data))) if 48 <= data[place] <= 57]
            for place in digits and [dice.choice(digits)]:
                data[place] = dice.randrange(48, 58)
        elif kind in (10, 11):  # a line or a word where one may stand
            place = data.find(b"\n" if kind == 10 else b" ", at) + 1
            data[place:place] = dice.choice(WORDS).rstrip() + (b"\n" if kind == 10 else b" ")
        else:
            data[at:at] = bytes(dice.randrange(256) for _ in range(dice.randrange(1, 6)))
    return bytes(data)


def read_mutated(count: int, seed: int) -> Counter:
    """Read `count` broken files: how many were read and how many refused.

    Raises whatever the reader raises but a refusal, with the bytes; and AssertionError where numbers that were read
    are not finite, or frequencies do not increase.
    """
    dice, outcome = random.Random(seed), Counter()
    sources = [(file.name, file.read_bytes()) for file in SEEDS]
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a warning of numpy counts as a fault
        for _ in range(count):
            name, raw = dice.choice(sources)
            raw, name = mutated(raw, dice), dice.choice(NAMES) if dice.random() < 0.1 else name
            try:
                data = touchstone_from_bytes(raw, name)
            except Refusal as refusal:
                outcome["refused"] += 1
                assert str(refusal)
                continue
            except Exception as fault:
                raise AssertionError(f"{name}: {raw!r}") from fault
            outcome["read"] += 1
            check(data, raw)
    return outcome


def check(data, raw: bytes) -> None:
    """What was read holds together."""
    n, p = len(data.frequency), data.ports
    arrays = [data.frequency, data.reference, np.array(data.corner)] + [data.noise] * (data.noise is not None)
    assert data.s.shape == (n, p, p) and n > 0 and p > 0, raw
    assert np.isfinite(data.s).all() and all(np.isfinite(array).all() for array in arrays), raw
    assert data.frequency[0] >= 0 and (data.frequency[1:] > data.frequency[:-1]).all(), raw
    assert (data.reference > 0).all(), raw
