"""Units per area or length, limits, other spellings, and values torn from their names: common practice, no source."""

import pytest

from hbsim.describe.parameter_text import read_parameters
from hbsim.errors import Refusal


def values(text):
    return {name: entry.value for name, entry in read_parameters(text).values.items()}


@pytest.mark.parametrize("row", [
    "CJE 1.2 pF/mm2", "IS 1 fA/um", "IS 1 A/um2", "IS 1 fA/µm", "RB 8.4 Ohm/sq", "RB 8.4 Ω/sq", "VAF 28 V/V",
    "XTB -1.4 mV/K", "TF 7 ps/um", "TF 7 ps/2", "IS (A/cm2) 1"])
def test_a_value_per_area_or_length_is_refused(row):
    name, place = row.split()[0], "line 2"
    with pytest.raises(Refusal, match="does not fit") as refused:
        read_parameters(f"NF 1.01\n{row}\nNR 1.02")
    assert refused.value.place == place and f"{name}:" in refused.value.what


def test_a_unit_glued_to_a_name_stays_its_unit():
    assert values("CJE/pF 1.2\nIS/fA 1\nBF 100\nPS/V 0.7") == {"CJE": 1.2e-12, "IS": 1e-15, "BF": 100, "VJS": 0.7}


@pytest.mark.parametrize("row", ["BF 100 min", "BF 100 (min)", "IS 1 fA (max.)", "IS 1 fA max"])
def test_a_limit_is_no_value(row):
    with pytest.raises(Refusal, match="is a limit, not a value of this transistor"):
        read_parameters(f"NF 1.01\n{row}")


def test_typical_values_are_read():
    assert values("BF 100 (typ)\nIS 1 fA") == {"BF": 100, "IS": 1e-15}


@pytest.mark.parametrize("text", ["IK 0.12 A\nIS 1 fA", "ik=0.12 is=1f"])
def test_ik_is_the_knee_current(text):
    assert values(text) == {"IKF": 0.12, "IS": 1e-15}


def test_ik_beside_ikf_is_a_contradiction():
    with pytest.raises(Refusal, match="IKF is given twice"):
        read_parameters("IKF=0.12 IK=0.1 IS=1f")


@pytest.mark.parametrize("text", ["I S=1f BF=100", "I S = 1f, BF = 100"])
def test_a_torn_name_before_others_is_not_passed_over(text):
    with pytest.raises(Refusal, match="'I S' looks like IS torn apart"):
        read_parameters(text)


@pytest.mark.parametrize("text", ["IS=\n0.31f BF=\n112", "IS =\n0.31 fA BF =\n112"])
def test_a_value_may_stand_on_the_line_of_the_next_name(text):
    assert values(text) == {"IS": 3.1e-16, "BF": 112}


def test_both_readings_of_a_glued_f_are_shown_as_numbers():
    with pytest.raises(Refusal, match="'0.9E-12F' can be read as 9e-13 F or 9e-13 fF"):
        read_parameters("CJE=0.9E-12F IS=1f")
