"""Tables with a row for each harmonic: read as one row for each setting, and held against the circuit.

Expected numbers are those written in the text; of the circuit, those of its own solution, written out and read back.
Levels add in dB: a level in dBc is that of the line less that of the carrier.
"""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.levels import against_wanted
from hbsim.bench.load import data_sets
from hbsim.bench.mapping import mapping_of
from hbsim.bench.reader import interpret
from hbsim.bench.readings import LOWER_LIMIT, MISSING, UPPER_LIMIT, Column
from hbsim.bench.text import decode
from hbsim.errors import Refusal

EXAMPLES = Path(__file__).parents[2] / "examples"


def read(text, **said):
    return interpret(decode(text.encode(), "x.csv"), mapping_of(said))


def table(readings):
    return {column.name: column.values.tolist() for column in readings.columns}


LONG = "Pin_dBm;n;level_dBm\n-10;1;-1,5\n-10;2;-20,1\n-5;1;3,1\n-5;2;-12,3\n"
WANTED = {"Pin_dBm": [-10, -5], "output_dbm_1": [-1.5, 3.1], "output_dbm_2": [-20.1, -12.3]}


@pytest.mark.parametrize("text", [
    LONG, LONG.replace(";n;", ";order;"), LONG.replace(";n;", ";Harmonic no;"), LONG.replace(";n;", ";k;"),
    "Pin_dBm;order;level_dBm\n-10;2;-20,1\n-10;1;-1,5\n-5;2;-12,3\n-5;1;3,1\n",
    "Pin_dBm;order;level_dBm\n-10;1;-1,5\n-5;1;3,1\n-10;2;-20,1\n-5;2;-12,3\n",  # one harmonic after the other
    "Pin_dBm,harmonic,level_dBm\n-10,f0,-1.5\n-10,2f0,-20.1\n-5,f0,3.1\n-5,2f0,-12.3\n",
    "Pin_dBm,harmonic,level_dBm\n-10,H1,-1.5\n-10,H2,-20.1\n-5,H1,3.1\n-5,H2,-12.3\n",
    "Pin_dBm;Harmonic;level_dBm\n-10;1st;-1,5\n-10;2nd;-20,1\n-5;1st;3,1\n-5;2nd;-12,3\n",
    "Pin_dBm harmonic level_dBm\n-10 1 -1.5\n-10 2 -20.1\n-5 1 3.1\n-5 2 -12.3\n",
    "Pin_dBm,Harm,level\n-10,1,-1.5 dBm\n-10,2,-20.1 dBm\n-5,1,3.1 dBm\n-5,2,-12.3 dBm\n"])
def test_a_row_for_each_harmonic(text):
    readings = read(text)
    assert table(readings) == WANTED and [c.unit for c in readings.columns] == ["dBm"] * 3
    assert [c.meaning for c in readings.columns[1:]] == ["output_dbm_1", "output_dbm_2"]
    assert any("is taken as its order (1, 2)" in note and "4 rows are 2 settings" in note for note in readings.notes)
    assert set(readings.sweep) == {0} and readings.lines[0] == 2


def test_a_letter_may_be_a_count_and_the_note_says_how_to_tell():
    assert any('"n" = { is = "counter" }' in note for note in read(LONG).notes)
    assert list(table(read(LONG, columns={"n": "counter"}))) == ["Pin_dBm", "n", "level_dBm"]
    said = read(LONG.replace(";n;", ";line;"), columns={"line": "harmonic"})
    assert table(said) == WANTED and not any("counter" in note for note in said.notes)
    assert not any("no unit" in note for note in said.notes)
    counts = "n,f (MHz),P (dBm)\n" + "".join(f"{k},{f},{f - 20}\n" for f in (10, 15) for k, f in enumerate(
        (f, f + 0.5, f + 0.8), 1))
    assert list(table(read(counts))) == ["n", "f (MHz)", "P (dBm)"]
    bias = "n,V (V),P (dBm)\n1,1,2\n2,2,3\n1,1,4\n2,2,5\n"
    assert list(table(read(bias))) == ["n", "V (V)", "P (dBm)"]


DBC = "f0_MHz,order,f_MHz,level_dBc\n100,1,100,0\n100,2,200,-25.1\n100,3,300,-40\n" \
      "110,1,110,0\n110,2,220,-26\n110,3,330,<-60\n"


def test_levels_against_a_carrier_that_is_not_in_the_file():
    readings = read(DBC)
    assert table(readings) == {"f0_MHz": [1e8, 1.1e8], "output_dbc_1": [0, 0], "output_dbc_2": [-25.1, -26],
                               "output_dbc_3": [-40, -60]}
    assert readings.column("output_dbc_3").flags == {1: UPPER_LIMIT}
    assert readings.column("output_dbc_2").unit == "dBc"
    assert any("stay in dBc, against harmonic 1" in note and '"output_dbm_1"' in note for note in readings.notes)
    no_row = "\n".join(line for line in DBC.split("\n") if ",1," not in line)
    assert any("which line they count from is not said" in note for note in read(no_row).notes)
    assert table(read(no_row, table={"carrier": 1})) == table(readings)


@pytest.mark.parametrize(("text", "said"), [
    ("Pin (dBm),Carrier (dBm),harmonic,level (dBc)\n-10,-1.5,1,0\n-10,-1.5,2,-20\n-5,3,1,0\n-5,3,2,-12\n", {}),
    ("Pin (dBm),P (mW),harmonic,level (dBc)\n-10,0.70794578438414,2,-20\n-5,1.9952623149689,2,-12\n",
     {"columns": {"P (mW)": "output_dbm_1", "level (dBc)": "output_dbc"}}),
    ("Pin (dBm),order,P (dBm),level (dBc)\n-10,1,-1.5,0\n-10,2,,-20\n-5,1,3,0\n-5,2,,-12\n", {}),
    ("Pin (dBm),order,P (dBm),level (dBc)\n-10,1,-1.5,\n-10,2,,-20\n-5,1,3,\n-5,2,,-12\n", {}),
    ("Pin (dBm),order,level,unit\n-10,1,-1.5,dBm\n-10,2,-20,dBc\n-5,1,3,dBm\n-5,2,-12,dBc\n", {})])
def test_levels_against_a_known_carrier_become_dbm(text, said):
    found = table(read(text, **said))
    assert list(found) == ["Pin (dBm)", "output_dbm_1", "output_dbm_2"]
    assert found["output_dbm_1"] == pytest.approx([-1.5, 3.0], abs=1e-12)
    assert found["output_dbm_2"] == pytest.approx([-21.5, -9.0], abs=1e-12)


def test_dbm_and_dbc_of_one_line_are_compared():
    text = "Pin (dBm),order,P (dBm),level (dBc)\n-10,1,-1.5,0\n-10,2,-21.5,-20\n-5,1,3,0\n-5,2,-9.2,-12\n"
    readings = read(text)
    assert table(readings)["output_dbm_2"] == [-21.5, -9.2]
    assert any("starts in line 4" in note and "differ by 0.2 dB (1 such); dBm counts" in note
               for note in readings.notes)
    assert not any("differ by" in note for note in read(text.replace("-9.2", "-9.0")).notes)
    assert table(read(text.replace("-9.2,-12", "-9.2,--")))["output_dbm_2"] == [-21.5, -9.2]


def test_frequencies_are_held_against_the_order():
    no_f0 = DBC.replace("f0_MHz,", "").replace("\n100,", "\n").replace("\n110,", "\n")
    assert table(read(no_f0))["f0"] == [1e8, 1.1e8]
    off = read(DBC.replace("100,2,200", "100,2,201"))
    assert any("line 3: 'f_MHz' reads 201000000 Hz, where 2 x 100000000 Hz" in note for note in off.notes)
    assert off.column("f_MHz [harmonic 2]").values.tolist() == [2.01e8, 2.2e8]  # as written
    with pytest.raises(Refusal, match=r'"order" = \{ is = "harmonic" \}, or \{ is = "counter" \}'):
        read("order,f (MHz),P (dBm)\n1,10,-1.5\n2,11,3\n3,12,-20\n4,13,-12\n")


def test_missing_harmonics_texts_and_repeated_sweeps():
    readings = read("Vcc (V),order,P (dBm),Ic (mA),remark\n3,1,-1,5,a\n3,2,-20,5,a\n3,3,--,5,b\n5,1,2,6,a\n"
                    "5,3,OL,6,a\n", columns={"Vcc": "supply.VCC"})
    third = readings.column("output_dbm_3")
    assert third.flags == {0: MISSING, 1: "over-range"} and readings.column("output_dbm_2").flags == {1: MISSING}
    assert table(readings)["Ic (mA)"] == pytest.approx([5e-3, 6e-3]) and readings.columns[0].meaning == "supply.VCC"
    assert readings.column("remark [harmonic 3]").flags == {0: "b", 1: "a"}
    assert any("1 harmonics have no row (the first setting that lacks one starts in line 5)" in note
               for note in readings.notes)
    twice = "Pin (dBm),order,P (dBm)\n" + "-10,1,-1.5\n-10,2,-20\n-9,1,0\n-9,2,-18\n" * 2
    assert table(read(twice))["Pin (dBm)"] == [-10, -9, -10, -9]  # never averaged
    blocks = "Pin (dBm),order,P (dBm)\n-10,1,-1.5\n-10,2,-20\n\n-10,1,-1.6\n-10,2,-20.3\n"
    assert table(read(blocks))["output_dbm_2"] == [-20, -20.3] and read(blocks).sweep.tolist() == [0, 1]
    ups = "Pin (dBm),order,P (dBm)\n" + "".join(f"{p},{n},{p - 9 * n}\n" for p in (-3, -2, -1, -2, -3) for n in (1, 2))
    assert read(ups).sweep.tolist() == [0, 0, 0, 1, 1]
    zero = read("V (V),harmonic,P (mW)\n1,1,1\n1,2,0\n2,1,10\n2,2,0.1\n").column("output_dbm_2")
    assert zero.flags == {0: "below resolution"} and zero.values[1] == pytest.approx(-10.0)


@pytest.mark.parametrize(("text", "said", "words"), [
    ("Pin (dBm),Ic (mA),order,P (dBm)\n-10,5,1,-1.5\n-10,5.1,2,-20\n-5,6,1,3\n-5,6,2,-12\n", {},
     "line 3: 'Ic (mA)' differs between lines 2 and 3, which are harmonics 1 and 2"),
    ("Pin (dBm),order,P (dBm)\n-10,1,-1\n-10,1,-2\n-10,2,-20\n-5,1,3\n-5,2,-12\n", {}, "the same setting stands twice"),
    ("V (V),order,P (dBm),Q (dBm)\n1,1,-1,1\n1,2,-20,2\n2,1,3,4\n2,2,-12,5\n", {}, '"P (dBm)" = { is = "output_dbm" }'),
    ("order,harmonic,P (dBm)\n1,1,-1\n2,2,-2\n", {}, "'order' and 'harmonic' may both be"),
    ("V (V),m,P (dBm)\n1,1,2\n1,2.5,3\n", {"m": "harmonic"}, "line 3: 'm' is said to be the order"),
    ("V (V),order,P (dBuV)\n1,1,2\n1,2,3\n", {}, "impedance = 50"),
    ("V (V),order,P (dBm)\n1,1,2\n1,2,3\n", {"P (dBm)": "output_dbm_2"}, 'write { is = "output_dbm" }')])
def test_what_does_not_fit_is_refused(text, said, words):
    with pytest.raises(Refusal) as caught:
        read(text, columns=said)
    assert words in str(caught.value) and "x.csv" in str(caught.value)


def test_an_order_without_levels_is_left_as_it_is():
    readings = read("order,loss (dB)\n1,0.4\n2,0.9\n")
    assert list(table(readings)) == ["order", "loss (dB)"] and any("left as it is" in note for note in readings.notes)
    words = read("x (V),harmonic,loss (dB)\n1,f0,0.4\n1,2f0,0.9\n").columns[1]
    assert words.flags == {0: "f0", 1: "2f0"} and np.isnan(words.values).all()
    second = "Pin (dBm),order,P (dBm)\n-10,2,-20\n-5,2,-12\n"
    assert list(table(read(second))) == ["Pin (dBm)", "order", "P (dBm)"]  # either may be the level
    assert table(read(second, columns={"Pin (dBm)": "drive.power"}))["output_dbm_2"] == [-20, -12]


def test_tables_written_at_random_are_read_back():
    chance = np.random.default_rng(3)
    for _ in range(200):
        volts, orders = np.cumsum(chance.integers(1, 4, chance.integers(1, 7))), np.arange(1, chance.integers(2, 7))
        level = np.round(chance.uniform(-90, 10, (len(volts), len(orders))), 2)
        there = chance.random(level.shape) < 0.8
        there[:, 0] = True  # a setting starts with its first harmonic
        relative = bool(chance.integers(2))
        shown = level - level[:, :1] if relative else level
        rows = [f"{v},{n},{shown[i, k]:.2f}{f',{level[i, 0]:.2f}' if relative else ''}\n"
                for i, v in enumerate(volts) for k, n in enumerate(orders) if there[i, k]]
        names = "Vcc (V),order,level (dBc),carrier (dBm)\n" if relative else "Vcc (V),order,level (dBm)\n"
        readings = read(names + "".join(rows))
        assert readings.column("Vcc (V)").values.tolist() == volts.tolist()
        for k, n in enumerate(orders):
            if there[:, k].any():
                column = readings.column(f"output_dbm_{n}")
                # two decimals are written, of a difference too
                np.testing.assert_allclose(column.values, np.where(there[:, k], level[:, k], np.nan), atol=1e-9)
                assert column.flags == dict.fromkeys(np.flatnonzero(~there[:, k]).tolist(), MISSING)


def test_levels_in_dbc_against_the_wanted_line():
    levels = {1: [0.0, 0.0], 2: [3.0, -4.0], 3: [-20.0, -30.0]}
    columns = [Column(f"output_dbc_{n}", "dBc", np.array(level), {}, "", f"output_dbc_{n}")
               for n, level in levels.items()]
    first, third = against_wanted(columns, 2, "x.csv")
    assert first.values.tolist() == [-3, 4] and third.values.tolist() == [-23, -26] and first.unit == "dB"
    with pytest.raises(Refusal, match=r"harmonic 4, the wanted line.*carrier = 4"):
        against_wanted(columns, 4, "x.csv")
    columns[1] = Column("output_dbc_2", "dBc", np.array([3.0, -4.0]), {1: LOWER_LIMIT}, "", "output_dbc_2")
    limited = against_wanted(columns, 2, "x.csv")[0]
    assert np.isnan(limited.values[1]) and limited.flags == {1: f"wanted line: {LOWER_LIMIT}"}


@pytest.fixture(scope="module")
def circuit():
    return hbsim.load(EXAMPLES / "lumped_doubler.toml").description


@pytest.mark.parametrize("form", ["dBm", "dBc"])
def test_a_solved_circuit_agrees_with_its_own_lines(tmp_path, circuit, form):
    """Levels of four lines at three drives, written one below the other; a pad of 3 dB at f0 and 1 dB above it."""
    rows, drives, pad = [], (-12.0, -8.0, -4.0), {1: 3.0, 2: 1.0, 3: 1.0}
    for drive in drives:
        state = hbsim.balance.solve.solve(circuit.with_values({"drive.power": drive}))
        shown = {n: state.output_dbm(n) - pad[n] for n in pad}
        rows += [f"{drive:g},{n},{shown[n] - (shown[1] if form == 'dBc' else 0.0):.9f}\n" for n in pad]
    (tmp_path / "long.csv").write_text(f"Pin (dBm),order,level ({form})\n" + "".join(rows))
    f0 = circuit.drive.frequency
    (tmp_path / "pad.csv").write_text(f"f (Hz),loss (dB)\n{f0:.9g},3\n{1.5 * f0:.9g},1\n{9 * f0:.9g},1\n")
    (tmp_path / "long.toml").write_text(
        '[columns]\n"Pin" = "drive.power"\n[[output.losses]]\nfile = "pad.csv"\n[uncertainty]\n'
        + "".join(f'output_{form.lower()}_{n} = "0.1 dB"\n' for n in pad if form == "dBm" or n != 2))
    one = data_sets([tmp_path / "long.csv"], circuit, harmonics=None)[0]
    found = one.comparison(one.predict({}))
    assert set(found.quantities) == {f"output_{form.lower()}_{n}" for n in pad if form == "dBm" or n != 2}
    assert found.settings["drive.power"].tolist() == list(drives)
    for item in found.quantities.values():
        # Nine decimals are written; each state is found again from its neighbour, to the balance's own accuracy.
        assert item.measured.values == pytest.approx(item.predicted, abs=1e-4)
