"""Spoiled files: bytes flipped, cut, lines swapped, cells replaced by odd ones. The reader gives numbers or refuses.

By hand with more: `python tests/bench/test_bench_fuzz.py 50000` (seeds 0, 1, 2 ...).
"""

import random
import sys
import warnings
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from hbsim.bench.mapping import Mapping, Said
from hbsim.bench.reader import interpret
from hbsim.bench.text import decode
from hbsim.errors import Refusal

WILD = sorted(path for path in (Path(__file__).parent / "wild").iterdir() if path.suffix in (".csv", ".txt", ".dat"))
WRITTEN = [text.encode() for text in (
    "Type;ANALYSER;\nRBW;100000,0;Hz\ny-Unit;dBm;\nx-Unit;Hz;\nValues;3;\n2399500000,0;-71,25;\n2400000000,0;-23,5;\n",
    "Pin,H1,H2,H3,Ic\n[dBm],[dBm],[dBm],[dBm],[mA]\n-10,-11.0,-34.3,<-80,11.2\n-5,-6.1,-25.4,---,OVL\n",
    "Start Frequency: 2399.5MHZ\nSweep,Date,Time,Milliseconds,2399.5,2400.0\n0,2001-02-03,23:59:59,.750,-99.5,-24\n",
    "2001-02-03, 10:00:00, 1200000000, 1200500000, 250000, 20, -30.1, -77.0, -77.0\n",
    "Vcc/V;Ic/mA;P2/dBm\n3,0;6,1;-27,4\n4,0;8,9;-22,0\n5,0;11,6;-19,3\n4,0;9,1;-21,8\n3,0;6,3;-27,1\n",
    "Input (dBm),Output (W),I (x20 A),,Input (dBm),Output (mW)\n-9,0.0041,0.015,,-9,0.75\n6,0.09,0.0159,,,\n",
    "% VBE[V]  IB[A]  IE[A]  st\n0.62  +5.250E-08  -6.105E-06  N\n0.88  +3.100E-04  -9.910E+37  C\n",
    "#Start: 0 Hz\n#Stop: 5 kHz\n#BINs: 3\n#Y Axis Unit: dBm\n-10\n-20\n-30\n",
    "M1,A,Frequency,2.4 GHz,-23.4 dBm\nM2,A,Frequency,4.8 GHz,-43.4 dBm\n",
    "Pin (dBm),-20,-18,-16\nPout (dBm),-10,-8,-6\n",
    "f0_MHz,order,f_MHz,level_dBc\n100,1,100,0\n100,2,200,-25.1\n110,1,110,0\n110,2,220,<-26\n",
    "Pin_dBm;n;level_dBm;remark\n-10;1;-1,5;a\n-10;2;-20,1;a\n-5;1;3,1;b\n-5;2;-12,3;b\n",
    "Pin (dBm),Harmonic,level,unit\n-10,f0,-1.5,dBm\n-10,2f0,-20,dBc\n-5,f0,3,dBm\n-5,2f0,--,dBc\n",
    "VCE (V),IC[mA] @ IB = 10 uA,IC[mA] @ IB = 20 uA\n0.5,1,2\n1,1.1,OL\n5,1.2,2.3\n",
    "VCE (V),IC (mA)\nIB = 10 uA\n0.5,1\n1,1.1\n\n# IB: 2e-5 A\n0.5,2\n1,2.2\n# IB: 3e-5 A\n0.5,3\n")]
ODD = [b"", b"--", b"nan", b"-inf", b"OL", b"9.9E37", b"-9.91E+37", b"1e999", b"1,5", b"1.5.5", b"0x1F", b"1/2",
       b"12:34", b"<-90", b"> 20 dBm", b"-140 (keyed)", b"#DIV/0!", b"#####", b"\"", b"\"a;b", b"\xb5V",
       b"\xe2\x88\x9231",
       b"1\xc2\xa0200",
       b"[dBm]", b"(", b"BEGIN", b"END", b"[Trace]", b"sep=;", b"#", b"1e-400", b"99999999999999999999999", b"2.4 GHz",
       b"x" * 300,
       b"\x00", b"\r", b"\x1a", b"Marker", b"Start", b"Impedance,0", b"-", b"+", b".", b"e5", b"1D5", b"1'000", b"dBuV"]
MAPPINGS = [None, None, Mapping(columns={1: Said("a", "V"), 2: Said("b", "A")}), Mapping(orientation="transposed"),
            Mapping(decimal="comma"), Mapping(table=1), Mapping(delimiter="semicolon", strict=True), Mapping(header=1),
            Mapping(trace=1, impedance=50.0, filler=(-10.0,)), Mapping(first_row=3, last_row=6, sweep="none"),
            Mapping(axis="logarithmic"), Mapping(units=("MHz", "dBm"), names=("f", "P")), Mapping(thousands=","),
            Mapping(columns={2: Said("harmonic")}, carrier=1), Mapping(columns={"IB": Said("base_amps", "A")})]


def spoiled(chance: random.Random, raw: bytes) -> bytes:
    """A file with one to four things wrong."""
    for _ in range(chance.randint(1, 4)):
        how = chance.randrange(8)
        lines = raw.split(b"\n")
        line = chance.randrange(len(lines))
        at = chance.randrange(len(raw) + 1)
        if how == 0 and raw:
            raw = raw[:at] + bytes([chance.randrange(256)]) + raw[at + 1:]
        elif how == 1:
            raw = raw[:at] if chance.random() < 0.3 else raw[:at] + raw[at + chance.randint(1, 30):]
        elif how == 2:
            other = chance.randrange(len(lines))
            lines[line], lines[other] = lines[other], lines[line]
            raw = b"\n".join(lines)
        elif how in (3, 4):
            mark = chance.choice([mark for mark in (b",", b";", b"\t", b" ") if mark in lines[line]] or [b","])
            cells = lines[line].split(mark)
            cells[chance.randrange(len(cells))] = chance.choice(ODD)
            lines[line] = mark.join(cells)
            raw = b"\n".join(lines)
        elif how == 5:
            raw = raw.replace(*chance.choice([(b",", b";"), (b".", b","), (b"\n", b"\r\n"), (b",", b"\t"),
                                              (b"dBm", b"dBuV")]))
        elif how == 6:
            lines.insert(line, chance.choice([b"", chance.choice(ODD), lines[line]]))
            raw = b"\n".join(lines)
        else:
            raw = raw[:at] + chance.choice(ODD) + raw[at:]
    return raw


def outcome(seed: int) -> str:
    """What the reader makes of the file of a seed; what is wrong with it is an AssertionError."""
    chance = random.Random(seed)
    raw = chance.choice(WRITTEN) if chance.random() < 0.6 else chance.choice(WILD).read_bytes()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            readings = interpret(decode(spoiled(chance, raw), "spoiled"), chance.choice(MAPPINGS))
    except Refusal as refusal:
        assert refusal.what and len(str(refusal)) < 4000, seed
        return "refused"
    count = len(readings.sweep)
    assert len(readings.lines) == count, seed
    for column in readings.columns:
        assert column.values.shape == (count,) and column.values.dtype == float, seed
        for row in np.flatnonzero(~np.isfinite(column.values)):
            assert column.flags.get(int(row)), (seed, column.name, row)
    return "read"


@pytest.mark.parametrize("part", range(4))
def test_spoiled_files_are_read_or_refused(part):
    results = Counter(outcome(seed) for seed in range(part * 2500, part * 2500 + 2500))
    # Both happen, so that the test tries both: what is spoiled in a remark is still a table.
    assert results["read"] > 200 and results["refused"] > 200


if __name__ == "__main__":
    print(Counter(outcome(seed) for seed in range(int(sys.argv[1]))))
