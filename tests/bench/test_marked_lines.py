"""Lists of lines and markers, typed by hand: what is read from them, and how they lie to multiples of the drive."""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.inspection import as_json, inspect
from hbsim.bench.load import data_set
from hbsim.bench.marked import marked_lines
from hbsim.bench.reader import interpret
from hbsim.bench.readings import UPPER_LIMIT, Column, Marker, Readings
from hbsim.bench.text import Text
from hbsim.errors import Refusal
from hbsim.show.readings_page import readings_page

F0 = 1.152e9
WANTED = [("M1", 1.152e9, -43.9, ""), ("M2", 2.304e9, -9.6, ""), ("M3", 3.456e9, -70.0, UPPER_LIMIT)]


def read(text):
    return interpret(Text("list.txt", text.splitlines(), "utf-8"))


@pytest.mark.parametrize("text", [
    "Marker list, board 2, 0 dBm, 3 V\nM1 1152.0 MHz -43.9 dBm\nM2 2304.0 MHz -9.6 dBm\nM3 3456 MHz < -70 dBm\n",
    "M1;1152,0 MHz;-43,9 dBm\nM2;2304,0 MHz;-9,6 dBm\nM3;3456,0 MHz;<-70 dBm",
    "Marker;Frequenz;Pegel\nM1;1152,0 MHz;-43,9 dBm\nM2;2304,0 MHz;-9,6 dBm\nM3;3456,0 MHz;<-70 dBm\nM4;off",
    "M1: 1.152 GHz, -43.9 dBm\nM2: 2.304 GHz, -9.6 dBm\n\n# doubtful\nM3: 3.456 GHz, <-70.0 dBm",
    "Marker;f (GHz);P (dBm)\nM1;1.152;-43.9\nM2;2.304;-9.6\nM3;3.456;<-70.0",
    "M1\t1152 MHz\t-43.9 dBm\nM2\t2304 MHz\t\u22129.6 dBm\nM3\t3456 MHz\t<-70 dBm",
    "M1 A Frequency 1.152 GHz -43.9 dBm\nM2 A Frequency 2.304 GHz -9.6 dBm\nM3 A Frequency 3.456 GHz <-70 dBm",
])
def test_hand_typed_markers(text):
    readings = read(text)
    assert not readings.columns
    found = [(m.name, m.frequency, m.value, m.flag) for m in readings.markers]
    assert [(name, value, flag) for name, _, value, flag in found] == [(n, v, f) for n, _, v, f in WANTED]
    np.testing.assert_allclose([at for _, at, _, _ in found], [at for _, at, _, _ in WANTED], rtol=3e-16)
    assert {m.unit for m in readings.markers} == {"dBm"}


def test_lines_called_by_their_multiple():
    readings = read("Board 2, 3 V\nf0 = 1152 MHz\nf0 -43.9 dBm\n2f0: -9.6 dBm\n3 x f0 <-70 dBm\n1.5 f0 -65.2 dBm\n")
    assert [(m.order, m.value, m.flag) for m in readings.markers] == [
        (1, -43.9, ""), (2, -9.6, ""), (3, -70, UPPER_LIMIT), (1.5, -65.2, "")]
    found = inspect(readings, F0).marked
    assert [(line.harmonic, line.level) for line in found.harmonics] == [(1, -43.9), (2, -9.6), (3, -70.0)]
    other, = found.others
    assert other.relation.multiple == 1.5
    page = readings_page(inspect(readings, F0))
    assert "1.5 f0" in page and "< -70.00 dBm" in page
    assert as_json(inspect(readings, F0))["marked"]["harmonics"][2]["flag"] == UPPER_LIMIT


@pytest.mark.parametrize(("text", "words"), [
    ("M1 1152 MHz -43.9 dBm\nthe second was bad\nM2 2304 MHz -9 dBm\n", "line 2: 'the second was bad' is no marker"),
    ("M1 1152 MHz -43.9 dBm\nM2 2304 -9 dBm\n", "line 2: the frequency has no unit"),
    ("M1 1152 MHz -43.9 dBm\nM2 2304 MHz -9\n", "line 2: the level has no unit"),
    ("M1 1152 MHz -43.9 dBm\nM2 2304 MHz\n", "line 2: .*written as 'M1 1152.0 MHz -43.9 dBm'"),
    ("M1 -43.9 dBm 1152 MHz\nM2 1152 MHz -4 dBm\n", "line 1: a marker has a frequency, then a level"),
    ("M1;1,152 GHz;-43 dBm\n", "line 1: '1,152' can be read in two ways"),
    ("M1;1.152,5 MHz;-43 dBm\n", "line 1"),
])
def test_what_is_not_understood_is_refused_with_its_line(text, words):
    with pytest.raises(Refusal, match=words):
        read(text)


def test_a_file_that_is_no_list_is_left_to_the_reader():
    table = read("M1 2.4 GHz -30 dBm\nf (MHz),P (dBm)\n1,-30.5\n2,-31.0\n4,-29.25\n")
    assert len(table.columns) == 2 and len(table.sweep) == 3
    with pytest.raises(Refusal, match="no data rows.*'M1 1152.0 MHz -43.9 dBm'"):
        read("nothing here\nnor here\n")


def test_the_nearest_to_a_multiple_wins_and_the_others_are_listed():
    markers = [Marker("M1", 1152e6, -30, "dBm"), Marker("M2", 1152.5e6, -65, "dBm"), Marker("M3", 2304e6, -12, "dBm"),
               Marker("M4", 2305e6, -70, "dBm"), Marker("M5", 3456e6, 50, "dBuV"), Marker("M6", 4608e6, 1e-6, "W")]
    for order in (markers, markers[::-1]):
        found = marked_lines(order, F0)
        assert [(line.harmonic, line.name) for line in found.harmonics] == [(1, "M1"), (2, "M3"), (4, "M6")]
        assert found.harmonics[2].level == pytest.approx(-30.0)  # 1 uW
        assert {(other.name, other.relation.distance) for other in found.others} == {("M2", 500e3), ("M4", 1e6)}
        assert any("M5" in note and "dBuV" in note for note in found.notes)
    with pytest.raises(Refusal, match="equally near"):
        marked_lines([Marker("M1", 1151.5e6, -30, "dBm"), Marker("M2", 1152.5e6, -65, "dBm")], F0)
    far = Marker("M1", 2310e6, -12, "dBm")
    assert not marked_lines([far], F0).harmonics
    assert marked_lines([far], F0, frequency_error=4e6).harmonics[0].distance == 6e6  # 2 x 4 MHz may be off


def rows(frequency, level, facts=None):
    columns = (Column("f", "Hz", np.asarray(frequency, float)), Column("P2f0", "dBm", np.asarray(level, float)))
    return Readings("rows.csv", columns, np.zeros(len(frequency), int), facts=facts or {})


def test_few_rows_are_a_list_of_lines_or_nothing():
    found = inspect(rows([1152e6, 2304e6, 3456e6, 1728e6], [-43.9, -9.6, -70, -65.2]), F0)
    assert not found.traces and [line.harmonic for line in found.marked.harmonics] == [1, 2, 3]
    assert [other.relation.multiple for other in found.marked.others] == [1.5]
    with pytest.raises(Refusal, match="3 points are no trace"):
        inspect(rows([1.152e6, 2.304e6, 3.456e6], [-43.9, -9.6, -70]), F0)
    swept = np.arange(1080e6, 1225e6, 24e6)  # the drive, with a row at f0 itself
    with pytest.raises(Refusal, match='"f" = "drive.frequency"'):
        inspect(rows(swept, -9 - 0.1 * np.arange(7)), F0)


def test_the_file_says_that_it_is_a_trace():
    """Cut to 12 rows, with a resolution bandwidth in its head."""
    readings = rows(1.1e9 + 10e6 * np.arange(12), -80 + 0.1 * np.arange(12) % 0.3, {"RBW": ("3 MHz",)})
    assert inspect(readings, F0).traces and inspect(readings, F0).marked is None


@pytest.fixture(scope="module")
def circuit():
    return hbsim.load(Path(__file__).parents[2] / "examples" / "lumped_doubler.toml").description


@pytest.mark.parametrize("rows", [7, 101])
def test_a_drive_that_was_swept_is_no_trace(tmp_path, circuit, rows):
    f0 = circuit.drive.frequency
    at = np.linspace(0.95, 1.05, rows) * f0
    table = "\n".join(f"{a:.0f},{-9 - 3e-16 * (a - f0) ** 2:.3f}" for a in at)
    (tmp_path / "s.csv").write_text(f"f (Hz),P2f0 (dBm)\n{table}\n")
    with pytest.raises(Refusal, match='"f .Hz." = "drive.frequency" and "P2f0 .dBm." = "output_dbm_2"'):
        data_set(tmp_path / "s.csv", circuit)
    (tmp_path / "s.toml").write_text('[columns]\n"f (Hz)" = "drive.frequency"\n"P2f0 (dBm)" = "output_dbm_2"\n')
    assert data_set(tmp_path / "s.csv", circuit).measurement.points == rows


def test_a_list_of_lines_is_one_state(tmp_path, circuit):
    f0 = circuit.drive.frequency / 1e6
    (tmp_path / "m.txt").write_text(f"M1 {f0} MHz -30 dBm\nM2 {f0 + 0.5} MHz -65 dBm\nM3 {2 * f0} MHz -12 dBm\n"
                                    f"M4 {3 * f0} MHz < -60 dBm\nM5 {4 * f0} MHz -9 dBc\n")
    found = data_set(tmp_path / "m.txt", circuit).measurement
    levels = {word: (item.values.tolist(), item.limit.tolist()) for word, item in found.quantities.items()}
    assert levels == {"output_dbm_1": ([-30], [0]), "output_dbm_2": ([-12], [0]), "output_dbm_3": ([-60], [-1])}
    said = " ".join(found.notes)
    assert "M5" in said and "dBc" in said and "no harmonic: M2" in said and "500 kHz above f0" in said
