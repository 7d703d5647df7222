"""Quantities as people write them: what is read, what is refused, and that what is printed can be read back."""

import math
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.errors import HbsimError, Refusal, nearest
from hbsim.quantities import PREFIXES, Quantity, dbm, parse, quantities, quantity, sample, show, units, watts

PREFIXED = ["Hz", "ohm", "S", "H", "F", "V", "A", "W", "s", "m"]


@pytest.mark.parametrize("text, unit, expected", [
    ("2.304 GHz", "Hz", 2.304e9), ("4.7 kohm", "ohm", 4700.0), ("0.6 nH", "H", 0.6e-9), ("10 pF", "F", 10e-12),
    ("0 dBm", "dBm", 0.0), ("-3.5dBm", "dBm", -3.5), ("90 deg", "deg", 90.0), ("1.5 mm", "m", 1.5e-3),
    ("14.2 mm", "m", 0.0142), ("5V", "V", 5.0), ("  5 V ", "V", 5.0), ("+.5 V", "V", 0.5), ("1e-16 A", "A", 1e-16),
    ("1.2E3 Ω", "ohm", 1200.0), ("35 µm", "m", 35e-6), ("35 μm", "m", 35e-6), ("2 cm", "m", 0.02),
    ("20 mS", "S", 0.02), ("58 MS/m", "S/m", 5.8e7), ("200 K/W", "K/W", 200.0), ("1.11 eV", "eV", 1.11),
    ("5 %", "1", 0.05), ("4.4", "1", 4.4), (4.4, "1", 4.4), (4, "1", 4.0), ("0.3 dB", "dB", 0.3), ("10 fs", "s", 1e-14),
])
def test_people_are_understood(text, unit, expected):
    assert parse(text, unit) == expected


def test_units_defined_by_others():
    # International inch of 1959: 25.4 mm exactly; ITS-90: 0 degC = 273.15 K; both exact by definition.
    assert parse("1 in", "m") == parse("1000 mil", "m") == 0.0254
    assert parse("27 degC", "K") == 300.15
    assert parse("-273.15 °C", "K") == 0.0
    assert parse("3.141592653589793 rad", "deg") == pytest.approx(180.0, rel=1e-15)  # rounding of pi


def test_prefixes_are_those_of_the_si():
    # SI brochure, 9th edition, 2019, table 7.
    assert {name: power for name, power in PREFIXES.items() if name not in "µμ" or not name} == {
        "f": 1e-15, "p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}
    assert parse("1 mW", "W") == 1e-3 and parse("1 MW", "W") == 1e6  # case decides


@pytest.mark.parametrize("text, unit, words", [
    ("3", "m", ["'3' has no unit", "write it like '1.5 mm'"]),
    ("144", "Hz", ["write it like '1.152 GHz'"]),
    ("58", "S/m", ["write it like '58 MS/m'"]),
    ("-20", "dBm", ["write '-20 dBm'"]),
    (3, "m", ["'3' has no unit", "1.5 mm"]),
    ("1152000000", "Hz", ["no unit", "1.152 GHz"]),
    ("300", "K", ["no unit", "27 degC"]),
    ("3 mm", "Hz", ["'mm'", "1.152 GHz"]),
    ("3 mhz", "Hz", ["'mhz'", "GHz"]),
    ("4.7 k", "ohm", ["'k'", "4.7 kohm"]),
    ("3,3 pF", "F", ["has a comma", "write a point: '3.3 pF'"]),
    ("1,000 mm", "m", ["write a point: '1.000 mm' or '1000 mm'"]),
    ("3,3", "m", ["has a comma", "write a point, like '1.5 mm'"]),
    ("4,4", "1", ["write a point: '4.4'"]),
    ("4.4 mm", "1", ["'mm'", "plain number"]),
    ("mm", "m", ["not a number", "1.5 mm"]),
    ("", "m", ["not a number"]),
    ("", "1", ["not a number", "4.4"]),
    ("--3 mm", "m", ["not a number"]),
    ("1 000 mm", "m", ["does not fit"]),
    ("nan", "1", ["not a finite number"]),
    ("-inf", "V", ["not a finite number"]),
    (math.nan, "V", ["not a finite number"]),
    (math.inf, "1", ["not a finite number"]),
    ("1e400 V", "V", ["not a finite number"]),
    ("1e99999999 V", "V", ["not a finite number"]),
    ("1e308 THz", "Hz", ["not a finite number"]),
    (10**400, "1", ["not a finite number"]),
    (True, "1", ["True", "not a quantity"]),
    (None, "V", ["not a quantity", "5 V"]),
    (["3 mm"], "m", ["not a quantity"]),
])
def test_what_is_refused_names_place_and_mend(text, unit, words):
    with pytest.raises(Refusal) as caught:
        parse(text, unit, "part.x.y")
    assert str(caught.value).startswith("part.x.y: ")
    assert all(word in str(caught.value) for word in words)


@pytest.mark.parametrize("unit", units())
def test_every_sample_can_be_read(unit):
    assert math.isfinite(parse(sample(unit), unit))


@pytest.mark.parametrize("unit", PREFIXED)
@given(size=st.floats(1e-18, 1e15), negative=st.booleans(), digits=st.integers(1, 12))
def test_what_is_printed_can_be_read_back(unit, size, negative, digits):
    value = -size if negative else size
    # `digits` significant digits leave half a unit of the last one; the 1e-12 is rounding in binary.
    assert parse(show(value, unit, digits), unit) == pytest.approx(value, rel=0.5 * 10.0 ** (1 - digits) + 1e-12)


@pytest.mark.parametrize("unit", [unit for unit in units() if unit not in [*PREFIXED, "K"]])
@given(value=st.floats(-1e9, 1e9))
def test_what_has_no_prefix_can_be_read_back(unit, value):
    assert parse(show(value, unit, 17), unit) == pytest.approx(value, rel=1e-15)


@given(st.floats(1.0, 2000.0))
def test_temperatures_can_be_read_back(kelvin):
    # 12 digits of at most 2000 degC: 1e-8 K.
    assert parse(show(kelvin, "K", 12), "K") == pytest.approx(kelvin, abs=1e-8)


@pytest.mark.parametrize("value, unit, expected", [
    (2.304e9, "Hz", "2.304 GHz"), (4700.0, "ohm", "4.7 kohm"), (0.0142, "m", "14.2 mm"), (12.0, "m", "12 m"),
    (999.96, "Hz", "1 kHz"), (999.94, "Hz", "999.9 Hz"), (-2e-3, "A", "-2 mA"), (0.0, "V", "0 V"),
    (1e-16, "A", "0.1 fA"), (5e13, "Hz", "50 THz"), (300.15, "K", "27 degC"), (4.4, "1", "4.4"),
    (-3.0, "dBm", "-3 dBm"),
    (5.8e7, "S/m", "5.8e+07 S/m"),
    (math.inf, "V", "infinite"), (-math.inf, "dBm", "-infinite"), (math.nan, "V", "none"),
])
def test_printed_as_people_write(value, unit, expected):
    assert show(value, unit) == expected


@given(st.floats(1e-15, 1e12))
def test_prefix_leaves_one_to_three_digits_before_the_point(value):
    number = float(show(value, "Hz").split()[0])
    assert 1.0 <= number < 1000.0


def test_decibels():
    # IEC 60027-3: level of a power re 1 mW, 10 lg(P / 1 mW).
    assert watts(0.0) == 1e-3 and watts(30.0) == pytest.approx(1.0, rel=1e-15)
    assert dbm(2e-3) == pytest.approx(3.010299956639812, rel=1e-15)  # 10 lg 2
    assert dbm(0.0) == dbm(-1.0) == -math.inf


@given(st.floats(-200.0, 100.0))
def test_decibels_there_and_back(power_dbm):
    assert dbm(watts(power_dbm)) == pytest.approx(power_dbm, abs=1e-12)  # rounding of the logarithm


@dataclass(frozen=True)
class Sample:
    name: str
    length: float = quantity("m", meaning="how long", minimum=0)
    width: float = quantity("m", 1e-3, minimum=0, above=True)
    VAF: float = quantity("V", math.inf, minimum=0, above=True, zero_is_infinite=True)
    Q: float = quantity("1", math.inf, minimum=0, above=True)
    share: float = quantity("1", 1.0, minimum=0, maximum=1)


def test_fields_of_a_dataclass():
    found = quantities(Sample)
    assert list(found) == ["length", "width", "VAF", "Q", "share"]
    assert found["length"] == Quantity("m", minimum=0, meaning="how long")
    assert Sample("a", 1.0).width == 1e-3
    with pytest.raises(TypeError):
        Sample("a")  # a quantity without default must be given


@pytest.mark.parametrize("name, text, words", [
    ("length", "-1 mm", ["-1 mm is not possible", "at least 0 m"]),
    ("width", "0 mm", ["0 m is not possible", "above 0 m"]),
    ("share", "150 %", ["1.5 is not possible", "at most 1"]),
    ("VAF", "-5 V", ["above 0 V"]),
    ("length", "infinite", ["not a finite number"]),
    ("share", "infinite", ["not a finite number"]),
])
def test_limits(name, text, words):
    with pytest.raises(Refusal) as caught:
        quantities(Sample)[name].read(text, "here")
    assert str(caught.value).startswith("here: ") and all(word in str(caught.value) for word in words)


def test_infinite_where_it_makes_sense():
    found = quantities(Sample)
    assert found["VAF"].read("0 V") == found["VAF"].take(0) == found["VAF"].read("infinite") == math.inf
    assert found["Q"].read(" Infinite ") == math.inf
    with pytest.raises(Refusal, match="above 0"):
        found["Q"].read("0")


def test_numbers_from_python_are_in_the_unit():
    length = quantities(Sample)["length"]
    assert length.take(0.003) == length.take("3 mm") == 0.003
    for wrong in (True, None, [1.0], math.nan, math.inf, -1.0, -math.inf):
        with pytest.raises(Refusal):
            length.take(wrong)


def test_refusal_says_where_and_keeps_its_file():
    plain = Refusal("it is wrong; mend it")
    assert str(plain) == "it is wrong; mend it"
    placed = Refusal("wrong", "width").located("part.a", "x.toml")
    assert str(placed) == "x.toml, part.a.width: wrong"
    assert placed.located(file="y.toml").file == "x.toml"
    assert isinstance(plain, HbsimError)


def test_nearest_word():
    assert nearest("widht", ["length", "width"]) == "; did you mean 'width'?"
    assert nearest("vaf", ["VAF", "VAR"]) == "; did you mean 'VAF'?"
    assert nearest("zzz", ["length", "width"]) == "; known here: length, width"
    assert nearest("zzz", []) == ""


@pytest.mark.parametrize("value, unit, digits, shown", [
    (5.5e-4, "ohm", 2, "550 uohm"), (0.11, "ohm", 2, "110 mohm"), (240.0, "1", 2, "240"), (373.15, "K", 2, "100 degC"),
    (-123.4, "dB", 2, "-120 dB"), (5234.0, "1", 2, "5200"), (1.234, "V", 2, "1.2 V"), (-9.995e9, "Hz", 3, "-9.99 GHz")])
def test_few_digits_need_no_power_of_ten(value, unit, digits, shown):
    assert show(value, unit, digits) == shown
