"""Spoilt texts of parameters: an answer with finite numbers, or a refusal, never anything else."""

import math
import random
import tomllib
from decimal import Decimal

from parameter_prints import COLUMN_BY_COLUMN, LIST, NUMBERED, THREE_TO_A_ROW, TWO_GROUPS

from hbsim.describe.parameter_text import Choices, model_text, read_parameters
from hbsim.describe.parameter_text.names import UNITS
from hbsim.errors import Refusal
from hbsim.quantities import parse

TEXTS = (COLUMN_BY_COLUMN, LIST, NUMBERED, THREE_TO_A_ROW.replace("0.45         RC", "0.45  Ω      RC"), TWO_GROUPS,
         "Parameter Q1 Q2 Unit\nIS 0.31 0.4 fA\nBF 112 130 -\n", "min typ max\nBF 80 112 140\nIS - 0.31 - fA\n",
         "IS   BF   NF\nfA   -    -\n0,31 112  1,01\n", "capacitances in fF\nCJE 620\nLE 0.2 nH\nAREA=2\n",
         "VAF=inf VAR=- IKF= C2=129 IS=3.1×10⁻¹⁶ TNOM=27°C EG=1.11(1)\n")
PIECES = ("=", "-", "(", ")", "1)", "[2]", "{", "}", "'", '"', "''", ",", ";", ";;", "|", "+", "+/-", "±", "~", "*",
          "\\\n", "&\n", "\n+ ", "\n", " ", "\t", "\0", "\ufeff", "\u00ad", "µ", "Ω", "°", "碌", "М", "²", "10⁻", "e",
          "E-", "e999999", "1e400", "1e-400", "9" * 60, "0", "1.", ".", ",5", "inf", "nan", "∞", "n/a", "min typ max\n",
          "Parameter Q1 Q2\n", ".MODEL X PNP (", ".model y d", "NPN", "TYPE=PNP ", "M=2 ", "AREA=", "C4=3 ", "ISC=",
          "VAF ", "IS", "is ", "lS", "I S", "A", "fA", "F", "M", "MEG", "K", "mohm", "%", "W", "\ud800", "x 10-3", "/",
          "//", "$", "VFA=1 ")
CHOICES = (Choices(), Choices(bare_is_si=True), Choices(column="typ", area=1.0), Choices(die="Q2"),
           Choices(decimal_comma=True, strict=True, polarity="pnp"), Choices(area=2.0))


def spoilt(chance):
    """A text with some pieces put in, cut out or taken from another."""
    text = chance.choice(TEXTS)
    for _ in range(chance.choice((1, 1, 2, 3, 6, 12))):
        at = chance.randrange(len(text) + 1)
        what = chance.random()
        if what < 0.5:
            text = text[:at] + chance.choice(PIECES) + text[at:]
        elif what < 0.75:
            text = text[:at] + text[at + chance.choice((1, 1, 2, 5, 40)):]
        elif what < 0.9:
            other = chance.choice(TEXTS)
            start = chance.randrange(len(other))
            text = text[:at] + other[start:start + chance.choice((3, 12, 60))] + text[at:]
        else:
            text = text[:at] + chr(chance.choice((chance.randrange(256), chance.randrange(0xD7FF)))) + text[at:]
    return text


def hold(seed):
    """Whether one spoilt text was read; what was read is finite and makes a model file or a refusal."""
    chance = random.Random(seed)
    text, choices = spoilt(chance), chance.choice(CHOICES)
    try:
        found = read_parameters(text, choices)
    except Refusal as refusal:
        assert str(refusal)
        return False
    numbers = [entry.value for entry in found.values.values()]
    assert numbers and all(value == math.inf or abs(value) < 1e300 for value in numbers)  # nan is neither
    try:
        model_text(found)
    except Refusal:
        pass
    return True


def test_spoilt_texts_are_read_or_refused():
    read = sum(hold(seed) for seed in range(1500))
    assert 100 < read < 1400  # both ends of the reader are reached


PREFIXES = {"f": -15, "p": -12, "n": -9, "u": -6, "m": -3, "": 0}
WITH_PREFIX = ("A", "V", "ohm", "F", "s")


def draw(chance):
    """Names with exact values, each with a prefix that suits its unit: name -> (digits, prefix, float)."""
    drawn = {}
    for name in chance.sample(sorted(UNITS), chance.randrange(2, 20)):
        prefix = chance.choice(sorted(PREFIXES)) if UNITS[name] in WITH_PREFIX else ""
        digits = f"{Decimal(chance.randrange(1, 999)) / 1000:f}" if UNITS[name] == "1" else \
            f"{Decimal(chance.randrange(1, 99999)) / Decimal(10) ** chance.randrange(3):f}"
        drawn[name] = digits, prefix, float(Decimal(digits).scaleb(PREFIXES[prefix]))
    return drawn


def as_list(drawn, chance):
    """name = value with a scale letter in any case, a few to a line."""
    text = ".MODEL DEMO NPN ("
    for name, (digits, prefix, _) in drawn.items():
        unit = {"ohm": "ohm", "1": "", "deg": "deg", "eV": "", "K": "K"}.get(UNITS[name], UNITS[name])
        unit = unit if UNITS[name] in ("F", "K") or chance.random() < 0.5 else ""
        if UNITS[name] == "F" and not prefix:  # 0.31F would be in doubt
            unit = ""
        scale = prefix + unit
        if UNITS[name] != "ohm" and scale != "F":
            scale = chance.choice((scale, scale.upper(), scale.lower()))
        if not scale and chance.random() < 0.3:
            power = chance.randrange(-20, 20)
            digits = f"{Decimal(digits).scaleb(power):f}{chance.choice('eEdD')}{-power}"
        name = chance.choice((name, name.lower()))
        text += f"{name}{chance.choice(('=', ' = ', '= '))}{digits}{scale}{chance.choice((' ', ', ', chr(10) + '+ '))}"
    return text.rstrip(" ,+\n") + ")"


def as_table(drawn, chance):
    """Name, value, unit: with equals, numbered, or between signs, one to three groups a row."""
    style, row, text = chance.choice(("equals", "numbered", "semicolons", "bars", "blanks")), chance.randrange(1, 4), ""
    for n, (name, (digits, prefix, _)) in enumerate(drawn.items(), 1):
        unit = {"1": "-", "ohm": chance.choice(("Ω", "ohm"))}.get(UNITS[name], UNITS[name])
        unit = prefix.replace("u", chance.choice("uµμ")) + unit
        if style == "numbered":
            text += f"{n}  {name}  {digits}  {unit}\n"
            continue
        sign = {"equals": " = ", "semicolons": ";", "bars": " | ", "blanks": "\t"}[style]
        text += name + sign + digits + (sign if style != "equals" else "  ") + unit
        text += "   " if style in ("equals", "blanks") and n % row else "\n"
    return text


def test_what_is_printed_without_doubt_is_read_to_the_last_digit():
    taken = 0
    for seed in range(250):
        chance = random.Random(seed)
        drawn = draw(chance)
        text = chance.choice((as_list, as_table))(drawn, chance)
        found = read_parameters(text, Choices(polarity="npn"))
        expected = {name: value for name, (_, _, value) in drawn.items()}
        assert {name: entry.value for name, entry in found.values.items()} == expected, text
        assert all(name in text.splitlines()[entry.line - 1].upper() for name, entry in found.values.items())
        try:
            written = tomllib.loads(model_text(found))["parameters"]
        except Refusal:
            continue  # a value that the model does not take
        assert {name: parse(written[name], UNITS[name]) for name in drawn} == expected
        taken += 1
    assert taken > 25  # of random values the model takes some
