"""What a file says twice must agree; what looks odd is noted, and the numbers stay as they are."""

import pytest

from hbsim.bench.mapping import mapping_of
from hbsim.bench.reader import interpret
from hbsim.bench.readings import Marker
from hbsim.bench.text import decode
from hbsim.errors import Refusal


def read(text, **said):
    return interpret(decode(text.encode(), "x.csv"), mapping_of(said))


def trace(unit="dBuV", marker="71.24", more=""):
    return (f"{more}y-unit,{unit}\nMarker,1,2\nMarker Type,Normal,Off\nMarker X Axis,2000,\nMarker Ampt,{marker},\n"
            f"f (Hz),P ({unit})\n1000,-80\n2000,-35.75\n3000,-80\n")


# 106.99, 108.75, 46.99, 48.75 dB: dBuV and dBmV against dBm at 50 and 75 ohm, 10 log10(Z 1e9) and 10 log10(Z 1e3).
@pytest.mark.parametrize(("unit", "offset", "more"), [("dBuV", 106.99, ""), ("dBuV", 108.75, ""), ("dBmV", 46.99, ""),
                                                      ("dBmV", 48.75, ""), ("dBuV", 106.99, "Impedance,50\n")])
def test_a_marker_that_shows_another_unit_than_the_header(unit, offset, more):
    with pytest.raises(Refusal, match=f"{offset:.2f} dB"):
        read(trace(unit, str(-35.75 + offset), more))


def test_a_marker_that_agrees_is_returned():
    assert read(trace("dBm", "-35.9")).markers == (Marker("1", 2000.0, -35.9, "dBm"),)
    assert not any("marker" in note for note in read(trace("dBm", "-35.9")).notes)
    assert any("marker 1 reads" in note for note in read(trace("dBm", "-25.9")).notes)
    said = read(trace("dBuV", "71.24"), columns={"P (dBuV)": {"unit": "dBm"}})
    assert said.columns[1].unit == "dBm" and said.columns[1].values[1] == -35.75
    with_impedance = read(trace("dBuV", "-35.7", "Impedance,50\n"))
    assert with_impedance.markers[0].unit == with_impedance.columns[1].unit == "dBm"


def test_a_relative_trace_is_refused_as_a_level():
    with pytest.raises(Refusal, match="normalised"):
        read(trace("dBm", "-6.97 dB"))
    assert read(trace("dBm", "-6.97 dB"), table={"allow_relative": True}).columns[1].values[1] == -35.75


def test_markers_in_lines():
    readings = read("M1,A,Frequency,2.4 GHz,-23.4 dBm\nM2,A,Frequency,4.8 GHz,-43.4 dBm\nM3,Off\n")
    assert readings.markers == (Marker("M1", 2.4e9, -23.4, "dBm"), Marker("M2", 4.8e9, -43.4, "dBm"))
    assert readings.columns == ()


@pytest.mark.parametrize(("text", "words"), [
    ("Number of Points,751\nf (Hz),P (dBm)\n1,2\n2,3\n", "751, but there are 2 rows"),
    ("Start,5,MHz\nStop,9,MHz\nf (Hz),P (dBm)\n1,2\n2,3\n", "the header says 5000000 to 9000000 Hz"),
    ("Pin (dBm),Pout (dBm),Gain (dB)\n-10,0,10\n-9,1,11\n", "row 2 differs by 1 dB"),
    ("Vcc (V),Icc (mA),P_dc (mW)\n3,10,30.1\n4,12,84\n", "row 2 has 0.084 W, and 0.048 W by these"),
])
def test_contradictions_are_noted_and_refused_when_strict(text, words):
    assert any(words in note for note in read(text).notes)
    with pytest.raises(Refusal) as caught:
        read(text, table={"strict": True})
    assert words in str(caught.value)


@pytest.mark.parametrize(("text", "words"), [
    ("V (V),I (A)\n1,0.38\n2,3.8\n3,0.39\n4,0.40\n", "line 3: 3.8 differs by about 10x"),
    ("f (Hz),S11 (dB)\n1,10\n2,11\n", "positive values"), ("f (Hz),P (dBm)\n1,-200\n2,11\n", "filler"),
    ("Ref Level Offset;10;dB\nf (Hz);P (dBm)\n1;2\n2;3\n", "hold it already"),
    ("# attenuation already subtracted\nf (Hz);P (dBm)\n1;2\n2;3\n", "already subtracted"),
    ("f (Hz),P (dBm)\n5,1\n4,2\n4,3\n2,4\n", "1 values twice"), ("f (Hz),P (dBm)\n5,1\n4,2\n6,3\n2,4\n", "not sorted"),
    ("f (Hz),S21 (dB),phase (deg)\n2.0E+4,-35.1,0.0\n3.0E+4,-35.2,0.0\n", "zero throughout"),
    ("f (Hz),P (dBm)\n1,OL\n2,<-90\n", "1 x over-range"), ("f (Hz),P (dBuV)\n1,2\n2,3\n", ""),
    ("Impedance,75\nf (Hz),P (dBuV)\n1,2\n2,3\n", "at 75 ohm"),
])
def test_what_looks_odd_is_noted(text, words):
    assert any(words in note for note in read(text).notes) or not words


def test_times_and_dates_stay_texts():
    readings = read("Date,Time,f (Hz),P (dBm)\n02/03/2001,12:34,1,2\n03/03/2001,12:35,2,3\n")
    assert readings.columns[0].flags == {0: "02/03/2001", 1: "03/03/2001"}
    assert readings.columns[1].flags == {0: "12:34", 1: "12:35"}


def test_return_loss_and_s11_keep_their_signs():
    loss, s11 = read("f_GHz,RL_dB\n2.40,24.0\n2.41,24\n"), read("f_GHz,S11_dB\n2.40,-24.0\n2.41,-24\n")
    assert loss.columns[1].values[0] == -s11.columns[1].values[0] == 24.0
    # |S11| = 10^(-24/20) = 0.0630957
    assert 10 ** (s11.columns[1].values[0] / 20) == pytest.approx(0.0630957, rel=1e-6)


def test_a_supply_power_that_is_volts_times_amps_is_not_remarked_on():
    for heads, row in (("Vcc (V),Icc (mA),P_dc (mW)", "3,10,30.3"), ("Vcc (V),Icc (mA),Output (mW)", "3,10,1"),
                       ("Vcc (V),Icc (mA),P_dc (mW)", "0,10,0")):
        assert not any("times" in note for note in read(f"{heads}\n{row}\n{row}\n").notes)
