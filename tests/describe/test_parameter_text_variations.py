"""Variations and traps of printed parameters: separators, comments, footnotes, lost signs, several transistors.

What each means is common practice, no source; expected values are decimals worked by hand.
"""

import re

import pytest

from hbsim.describe.parameter_text import Choices, Undecided, read_parameters
from hbsim.errors import Refusal


def values(text, **choices):
    return {name: entry.value for name, entry in read_parameters(text, Choices(**choices)).values.items()}


IS, BF, NF = 3.1e-16, 112.0, 1.01


@pytest.mark.parametrize("text, expected", [
    ("is=0.31f Bf=112", {"IS": IS, "BF": BF}),
    ("IS 0.31f BF 112", {"IS": IS, "BF": BF}),
    ("IS\n0.31f\nBF\n112", {"IS": IS, "BF": BF}),
    ("IS=0.31f,BF=112;NF=1.01", {"IS": IS, "BF": BF, "NF": NF}),
    ("IS=0.31f; BF=112; NF=1.01", {"IS": IS, "BF": BF, "NF": NF}),
    ("IS\t0.31f\tBF\t112", {"IS": IS, "BF": BF}),
    ("IS: 0.31 fA\nBF : 112", {"IS": IS, "BF": BF}),
    ("(IS=0.31f BF=112)", {"IS": IS, "BF": BF}), ("(IS 0.31f BF 1)", {"IS": IS, "BF": 1.0}),
    ("[IS=0.31f, BF=112]", {"IS": IS, "BF": BF}), ("IS;0.31;fA\nBF;112;-", {"IS": IS, "BF": BF}),
    ("BF=\n112", {"BF": BF}), ("| IS | 0.31 | fA |\n| BF | 112 | - |", {"IS": IS, "BF": BF}),
    ("IS=0.31f\n+ BF=112", {"IS": IS, "BF": BF}), ("IS=0.31f \\\nBF=112", {"IS": IS, "BF": BF}),
    ("IS=0.31f &\nBF=112", {"IS": IS, "BF": BF}), ("BF=\n+ 112", {"BF": BF}),
    ("IS   BF   NF\nfA   -    -\n0.31 112  1.01", {"IS": IS, "BF": BF, "NF": NF}),
    ("IS BF NF\n3.1e-16 112 1.01", {"IS": IS, "BF": BF, "NF": NF}),
])
def test_separators_and_continuation(text, expected):
    assert values(text) == expected


@pytest.mark.parametrize("text", [
    "* VAF=28\nBF=112", "# VAF=28\nBF=112", "! VAF=28\nBF=112", "// VAF=28\nBF=112", "% VAF=28\nBF=112",
    "BF=112 ; was VAF=28 in an older issue", "BF=112 $ VAF=28", "BF=112 // VAF=28", "BF=112 ! VAF=28",
])
def test_a_value_inside_a_comment_does_not_count(text):
    assert values(text) == {"BF": BF}


@pytest.mark.parametrize("text, value, note", [
    ("EG=1.11(1)", 1.11, "footnote 1"), ("EG 1.11 1)", 1.11, "footnote 1"), ("BF 112 [2]", 112, "footnote 2"),
    ("VJE=0.82*", 0.82, "marked \\*"), ("VJE=0.82¹", 0.82, "footnote 1"), ("BF 112 ± 10", 112, "printed with ± 10"),
    ("BF=112±10", 112, "±10"), ("BF 112 (1)\n(1) of a sample", 112, "of a sample"), ("BF (1) 112", 112, "footnote 1"),
])
def test_footnotes_leave_the_number_as_it_is(text, value, note):
    entry, = read_parameters(text).values.values()
    assert entry.value == value
    assert re.search(note, entry.notes[0])


@pytest.mark.parametrize("number", [".31E-15", "3.1E-16", "3.1D-16", "3.1 E-16", "3.1·10^-16", "3.1 x 10-16",
                                    "3.1×10⁻¹⁶", "3.1e−16", "3.1 × 10 ^ -16", "0.31 f", "3.1x10^-16"])
def test_forms_of_numbers(number):
    assert values(f"IS={number}" if number[-1] != "f" else f"IS={number}A") == {"IS": IS}


@pytest.mark.parametrize("number, value", [
    ("3.1e-10", 3.1e-10), ("3.1E10", 3.1e10), ("3.1 x 10-10", 3.1e-10), ("3.1×10⁻¹⁰", 3.1e-10), ("3.1·10^10", 3.1e10),
    ("3.1e-101", 3.1e-101), ("3.1×10³", 3.1e3), ("10e1", 100.0), ("1.0x10^-10", 1e-10), ("+3.1", 3.1), ("007", 7.0),
])
def test_powers_of_ten(number, value):
    assert values(f"IS={number}") == {"IS": value}


@pytest.mark.parametrize("text, expected", [
    ("IS 0,31 fA; NF 1,01", {"IS": IS, "NF": NF}),
    ("IS = 0,31 fA\nBF = 112 -\nNF = 1,01 -", {"IS": IS, "BF": BF, "NF": NF}),
    ("BF=1,234.5", {"BF": 1234.5}), ("XTB=- 1.4", {"XTB": -1.4}), ("XTB=−1.4", {"XTB": -1.4}),
    ("XTB - 1.4", {"XTB": -1.4}),
    ("CJE (pF)  0.62", {"CJE": 6.2e-13}), ("CJE [pF] = 0.62", {"CJE": 6.2e-13}), ("CJE/pF 0.62", {"CJE": 6.2e-13}),
    ("capacitances in fF\nCJE 620\nCJC 310", {"CJE": 6.2e-13, "CJC": 3.1e-13}),
    ("IS 0.31 fA\nISC 5.5 \"", {"IS": IS, "ISC": 5.5e-15}), ("VAF 28 V\nVAR 3.2 ''", {"VAF": 28.0, "VAR": 3.2}),
    ("RB 8.4\nRC 3.8", {"RB": 8.4, "RC": 3.8}), ("CJS 0\nIKF 120 mA", {"CJS": 0.0, "IKF": 0.12}),
    ("\ufeffＩＳ＝0.31\u200bf\u00a0BF=11\u00ad2", {"IS": IS, "BF": BF}),
    ("IS=0.31f\nPage 3 of 12\nBF=112", {"IS": IS, "BF": BF}),
    ("Demo transistor\n2001 May 23\nIS=0.31f\n3\nBF=112", {"IS": IS, "BF": BF}),
    ("no scaling is necessary\nBF=112", {"BF": BF}), ("BF=112 LEVEL=1 MFG=DEMO VCEO=12 KF=1e-12", {"BF": BF}),
    ("VAF|28|V\nIKF|120|mA", {"VAF": 28.0, "IKF": 0.12}), ("IS,0.31,fA\nBF,112,-", {"IS": IS, "BF": BF}),
    ("VAF 28 TF 7.4p VAR 3", {"VAF": 28.0, "TF": 7.4e-12, "VAR": 3.0}),
])
def test_accepted(text, expected):
    assert values(text) == expected


@pytest.mark.parametrize("text, why", [
    ("lS=0.31f", "'lS' looks like IS"), ("I S = 0.31f", "'I S' looks like IS"),
    ("lS 0.31 fA", "'lS' looks like IS"), ("RB M = 2.1", "looks like RBM"),
    ("BF=(٣)", "no Gummel-Poon"), ("BF=1O0", "'1O0'"), ("TF=7.4E-\n12", "E-"), ("TF=7.4E-\n+12", "E-"),
    ("IS 3.1 10-16", "range|more than one"), ("IS 3.1 x 1016", "neither a name"),
    ("IS=0,31f NF=1.01", "comma"), ("BF 80...140", "range"), ("BF 80 to 140", "range"), ("BF 80-140", "range"),
    ("VJE ~0.8", "rough"), ("RB 8.4 W\nBF 112 -", "ohm sign lost"), ("RE 450 mW", "ohm sign lost"),
    ("RE 450 m", "ohm sign lost"), ("IRB 250 碌A", "bytes e7 a2 8c"), ("RB 8.4 鈩", "bytes"),
    ("RB 8.4\nVAF 28 V", "'RB 8.4' has no unit"), ("VAF 28 -", "dash says no unit"),
    ("IS 0.31 fA\nRB 8.4 Ω\nIKF \"", "expected|rough"), ("BF \"", "rough|expected"),
    ("N=1.05 IS=1f", "diode"), ("CJO=1p", "diode"), ("TT=5n IS=1f", "diode"),
    ("CJE=-620f", "cannot be negative"), ("TF=-7p", "negative"), ("RB=-1", "negative"), ("IS=-1f", "negative"),
    ("BF=-112", "negative"), ("MJE=-0.3", "negative"), ("MJE=1", "below 1"), ("MJC=1.2", "below 1"),
    ("FC=1", "below 1"),
    ("XCJC=1.01", "at most 1"), ("VAF=-28", "negative"), ("AREA=8 BF=112", "factor 8"), ("M=2 BF=112", "factor 2"),
    ("BF=112\nvalues per emitter stripe, multiply by 8", "factor 8"),
    ("Parameter Q1 Q2\nBF 112 130", "Q1, Q2"), ("СJE=1p", "only looks like"),
    ("IS is 0.31 fA and BF is 112", "sentence"),
    ("VCEO 12 V\nIC 30 mA", "no Gummel-Poon parameter"),
    ("# GHz S MA R 50\n1 0.5 -20 3 90 0.1 20 0.6 -40", "no Gummel-Poon"),
    ("hFE\nIC 1 mA 80\nIC 5 mA 112", "no Gummel-Poon"), ("", "no Gummel-Poon"),
    ("LB 0.6 nH", "only those of a package"),
    (".MODEL D1 D (IS=1f)", "kind 'd'"), ("IS saturation current 0.31 fA", "keep name, value and unit only"),
    ("TF 7.4 p", "has no unit"), ("BF=--1", "two signs"), ("BF= -- 1", "two signs"),
    ("RB 8.4 kOhms.", "no unit known here"), ("TF 7.4 PS", "do not alternate"),
    ("CJE (pF) 0.62 fF", "two units"), ("CJE (pF) 620f", "keep one"), ("CJE (xF) 0.62", "does not fit"),
    ("1 IS 0.31 fA\n2 BF\n3 NF 1.01", "3 here numbers the row"), ("IS 0.31 f", "has no unit|no unit"),
    ("BF=112 ; VAF=28", "can be a comment"), ("IS 0.31 fA 0.4", "more than one value"), ("BF=abc", "value of BF"),
    ("IS 3.1e-16\nBF\nVAF 28", "do not alternate"), ("BF=11\0", "NUL"),
])
def test_refused(text, why):
    with pytest.raises(Refusal, match=why):
        read_parameters(text)


def test_names_that_are_not_read_are_listed():
    found = read_parameters("BF=112 VFA=28 KF=1e-12 NK=0.5 LEVEL=1")
    assert [entry.name for entry in found.unused] == ["KF", "NK", "LEVEL"]
    assert [entry.name for entry in found.unknown] == ["VFA"]
    assert any("'VFA' is not known and not used; did you mean 'VAF'?" in warning for warning in found.warnings)
    with pytest.raises(Refusal, match="unknown name 'VFA'; did you mean 'VAF'"):
        read_parameters("BF=112 VFA=28", Choices(strict=True))


def test_the_package_is_kept_apart():
    found = read_parameters("CJC 310 fF\nCCB 20 fF\nLE 0.2 nH\nLBI 0.4 nH")
    assert list(found.values) == ["CJC"]
    assert {name: entry.value for name, entry in found.package.items()} == {"CCB": 2e-14, "LE": 2e-10, "LBI": 4e-10}


def test_signs_of_a_pnp():
    text = "IS 0.31 fA\nVAF -28 V\nIKF -0.12 A\nXTB -1.4 -"
    assert values(text, polarity="pnp") == {"IS": IS, "VAF": 28.0, "IKF": 0.12, "XTB": -1.4}
    for wrong in (text, text.replace("-0.12", "0.12")):
        with pytest.raises(Refusal, match="cannot be negative"):
            read_parameters(wrong, Choices(polarity="npn" if wrong is text else "pnp"))


def test_polarity():
    assert read_parameters("Demo, PNP silicon\nBF=112").polarity == "pnp"
    assert read_parameters("NPN, complement to a PNP\nBF=112").polarity is None
    assert read_parameters("TYPE=PNP BF=112").polarity == "pnp"
    assert read_parameters("QDEMO NPN (BF=112)").polarity == "npn"
    assert any("neither NPN nor PNP" in warning for warning in read_parameters("BF=112").warnings)
    with pytest.raises(Refusal, match="headed NPN, and pnp was asked for"):
        read_parameters(".model q npn (BF=112)", Choices(polarity="pnp"))


def test_an_area_factor_is_confirmed():
    text = "AREA=8 IS=1f CJE=0.1p RB=80 IKF=10m BF=112 TF=7p"
    assert values(text, area=8) == {"IS": 8e-15, "CJE": 8e-13, "RB": 10.0, "IKF": 0.08, "BF": 112.0, "TF": 7e-12}
    assert values(text, area=1)["IS"] == 1e-15
    with pytest.raises(Refusal, match="factor 8, not 4"):
        read_parameters(text, Choices(area=4))


def test_one_transistor_of_several():
    table = "Parameter Q1 Q2 Unit\nIS 0.31 0.4 fA\nBF 112 130 -"
    assert values(table, die="Q2") == {"IS": 4e-16, "BF": 130.0}
    lists = ".MODEL Q1 NPN (BF=112)\n.MODEL Q2 PNP (BF=130\n+ NF=1.01)\n"
    with pytest.raises(Refusal, match=r"2 lists \(Q1, Q2\)"):
        read_parameters(lists)
    found = read_parameters(lists, Choices(die="q2"))
    assert found.polarity == "pnp" and {n: e.value for n, e in found.values.items()} == {"BF": 130.0, "NF": NF}


@pytest.mark.parametrize("text", [".MODEL Q1 NPN (BF=112)", "Parameter Q1 Unit\nBF 112 -"])
def test_the_only_transistor_is_not_taken_for_another(text):
    assert values(text, die="q1") == {"BF": BF}
    with pytest.raises(Refusal, match="is of 'Q1', and 'Q2' is wanted"):
        read_parameters(text, Choices(die="Q2"))


def test_rbm_above_rb_and_a_head_that_is_repeated():
    found = read_parameters("Parameter Value Unit\nRB 8.4 ohm\nParameter Value Unit\nRBM 9 ohm")
    assert any("RBM (9 ohm) is above RB" in warning for warning in found.warnings)


@pytest.mark.parametrize("text, choice, values", [
    ("Parameter Q1 Q2 Unit\nBF 112 130 -", "die", ("Q1", "Q2")), ("AREA=8 BF=112", "area", ("8", "1")),
    ("BF=112 IS=0,31f", "decimal_comma", ()), ("min typ max\nBF 1 2 3", "column", ("min", "typ", "max")),
])
def test_a_refusal_names_the_choice_that_decides(text, choice, values):
    with pytest.raises(Undecided) as refused:
        read_parameters(text)
    again = refused.value.located("sheet", "a.txt")
    assert (again.choice, again.values, again.against) == (choice, values, False)
    assert str(again) == f"a.txt, sheet.{refused.value.place}: {refused.value.what}"
    kinds = {"area": float, "decimal_comma": bool}
    read_parameters(text, Choices(**{choice: kinds.get(choice, str)(values[0] if values else True)}))  # and passes
