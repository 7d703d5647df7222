"""Names of transistor parameters: units, other spellings, ranges that are usual.

Names as in G. Massobrio and P. Antognetti, Semiconductor Device Modeling, 2nd ed., McGraw-Hill, 1993 (from memory);
other spellings and usual ranges: common practice, no source. A usual range only warns, it never chooses a reading.
"""

from __future__ import annotations

import re

UNITS = {
    "IS": "A", "BF": "1", "NF": "1", "VAF": "V", "IKF": "A", "ISE": "A", "NE": "1", "BR": "1", "NR": "1", "VAR": "V",
    "IKR": "A", "ISC": "A", "NC": "1", "RB": "ohm", "IRB": "A", "RBM": "ohm", "RE": "ohm", "RC": "ohm", "CJE": "F",
    "VJE": "V", "MJE": "1", "TF": "s", "XTF": "1", "VTF": "V", "ITF": "A", "PTF": "deg", "CJC": "F", "VJC": "V",
    "MJC": "1", "XCJC": "1", "TR": "s", "CJS": "F", "VJS": "V", "MJS": "1", "FC": "1", "XTB": "1", "EG": "eV",
    "XTI": "1", "TNOM": "K"}

ALIASES = {"VA": "VAF", "VB": "VAR", "IK": "IKF", "PE": "VJE", "ME": "MJE", "PC": "VJC", "MC": "MJC", "PS": "VJS",
           "MS": "MJS", "CCS": "CJS", "PT": "XTI", "TREF": "TNOM"}

RATIOS = {"C2": "ISE", "C4": "ISC"}  # of IS, in old lists

UNUSED = frozenset("KF AF NK ISS NS RCO VO GAMMA QCO TITF1 TITF2 LEVEL MFG ICRATING VCEO VCBO VCES VEBO TYPE FT "
                   "HFE".split())

FACTORS = frozenset(("AREA", "M"))  # how often the transistor of the values is there

OF_A_DIODE = frozenset(("N", "CJO", "CJ0", "TT"))

_PACKAGE = re.compile(r"L[BEC][IOX]?|C(?:BE|CB|CE|BC)(?:[IOX]|PKG)?")

USUAL = {
    "IS": (1e-19, 1e-13), "BF": (20, 500), "NF": (0.9, 1.2), "NR": (0.9, 1.2), "NE": (1, 4), "NC": (1, 4),
    "VAF": (5, 200), "VAR": (1, 50), "IKF": (1e-3, 5), "RB": (0.1, 200), "RC": (0.1, 200), "RE": (0.01, 10),
    "CJE": (1e-14, 1e-11), "CJC": (1e-14, 1e-11), "TF": (1e-12, 1e-10), "TR": (1e-11, 1e-6), "VJE": (0.3, 1.3),
    "VJC": (0.3, 1.3), "VJS": (0.3, 1.3), "MJE": (0.05, 0.7), "MJC": (0.05, 0.7), "PTF": (0, 90), "EG": (0.6, 1.3),
    "XTI": (0, 8), "TNOM": (280, 320), "IRB": (1e-7, 1e-2)}

MAY_BE_NEGATIVE = frozenset(("XTB", "XTI"))
ZERO_IS_INFINITE = frozenset(("VAF", "VAR", "IKF", "IKR", "VTF"))
SIGNED_FOR_PNP = frozenset(("VAF", "VAR", "IKF", "IKR", "IRB", "ITF", "VJE", "VJC", "VJS", "VTF"))
GROWS_WITH_AREA = frozenset(("IS", "ISE", "ISC", "IKF", "IKR", "IRB", "ITF", "CJE", "CJC", "CJS"))
FALLS_WITH_AREA = frozenset(("RB", "RBM", "RE", "RC"))

WORD_OF = {"A": "a current", "V": "a voltage", "ohm": "a resistance", "F": "a capacitance", "s": "a time",
           "1": "a pure number", "deg": "an angle", "eV": "an energy gap", "K": "a temperature", "H": "an inductance"}


def canonical(name: str) -> str:
    """The name in capitals, another spelling replaced."""
    name = name.upper()
    return ALIASES.get(name, name)


def is_package(name: str) -> bool:
    """Whether it is an inductance or capacitance of a package."""
    return bool(_PACKAGE.fullmatch(name.upper()))


def is_known(name: str) -> bool:
    """Whether a name means something here, used or not."""
    name = canonical(name)
    return name in UNITS or name in RATIOS or name in UNUSED or name in FACTORS or name in OF_A_DIODE \
        or is_package(name)


def unit_of(name: str) -> str:
    """Unit of a canonical name; "" where its value is not read."""
    if is_package(name):
        return "H" if name.startswith("L") else "F"
    return "1" if name in RATIOS or name in FACTORS else UNITS.get(name, "")


def misprint(name: str) -> str:
    """The known name that a copy may have spoilt: small l for I, capital O for 0 and the like; "" if none."""
    mended = name.replace("l", "I").replace("1", "I").replace("|", "I").replace("0", "O").upper()
    return mended if mended != name.upper() and canonical(mended) in UNITS else ""
