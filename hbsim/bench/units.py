"""Units as instruments and people write them in tables, and what each becomes: "[dBµV]", "MHZ", "mA", "(x20 A)"."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..quantities import PREFIXES

LEVELS = {"dBuV": 1e9, "dBmV": 1e3, "dBV": 1e-3}  # U^2 / Z against 1 mW: what Z in ohm is multiplied by


@dataclass(frozen=True)
class Unit:
    """What a written unit means: value in `name` = written value x factor + offset."""

    name: str
    factor: float = 1.0
    offset: float = 0.0

    def into(self, values: np.ndarray) -> np.ndarray:
        """Written values -> values in `name`."""
        if self.factor == 1.0 and self.offset == 0.0:
            return values
        return values * self.factor + self.offset


_PREFIXED = {"Hz": "Hz", "V": "V", "A": "A", "W": "W", "s": "s", "ohm": "ohm", "Ohm": "ohm", "Ω": "ohm", "F": "F",
             "H": "H"}
_WHOLE = {"dBm": Unit("dBm"), "dBW": Unit("dBm", 1.0, 30.0), "dB": Unit("dB"), "deg": Unit("deg"), "°": Unit("deg"),
          "degree": Unit("deg"), "degrees": Unit("deg"), "Grad": Unit("deg"), "rad": Unit("deg", 180.0 / math.pi),
          "K": Unit("K"), "°C": Unit("K", 1.0, 273.15), "degC": Unit("K", 1.0, 273.15), "sec": Unit("s"),
          "min": Unit("s", 60.0), "h": Unit("s", 3600.0), "%": Unit("1", 0.01), "1": Unit("1"),
          "dBuV": Unit("dBuV"), "dBmV": Unit("dBmV"), "dBV": Unit("dBV"), "dBc": Unit("dBc"), "dBFS": Unit("dBFS"),
          "dBuA": Unit("dBuA"), "dBuV/m": Unit("dBuV/m"), "dBm/Hz": Unit("dBm/Hz"), "dBc/Hz": Unit("dBc/Hz"),
          "dBi": Unit("dBi"), "VDC": Unit("V"), "Vdc": Unit("V"), "ADC": Unit("A"), "Adc": Unit("A"),
          "mAdc": Unit("A", 1e-3), "Vpp": Unit("Vpp"), "Vrms": Unit("Vrms"), "Vpeak": Unit("Vpeak"),
          "Vp": Unit("Vpeak"), "mVpp": Unit("Vpp", 1e-3), "mVrms": Unit("Vrms", 1e-3), "mVDC": Unit("V", 1e-3),
          "mADC": Unit("A", 1e-3), "Volt": Unit("V"), "Volts": Unit("V"), "Watt": Unit("W"), "Watts": Unit("W"),
          "Amp": Unit("A"), "Amps": Unit("A"), "Ampere": Unit("A"), "Hertz": Unit("Hz")}
# "MV" in a table is as likely a shouted mV: above kilo only what comes in such sizes.
_EXACT = _WHOLE | {prefix + written: Unit(name, factor) for written, name in _PREFIXED.items()
                   for prefix, factor in PREFIXES.items() if factor < 1e6 or name in ("Hz", "ohm")}
# In small or in capital letters throughout, only what can be nothing else: "MHZ" and "mhz" are no millihertz.
_LOWER = {prefix.lower() + "hz": Unit("Hz", PREFIXES[prefix]) for prefix in ("", "k", "M", "G", "T")}
_SMALL = {written.lower(): unit for written, unit in _WHOLE.items()} | {
    prefix + written: Unit(name, PREFIXES[prefix]) for written, name in (("v", "V"), ("a", "A"), ("w", "W"), ("s", "s"))
    for prefix in ("", "m", "u", "n", "p")} | {"kohm": Unit("ohm", 1e3)}
_CAPITALS = {written.upper(): unit for written, unit in _WHOLE.items() if len(written) > 2} | {"DB": Unit("dB")}
_WORDY = re.compile(r"dB[uµμ]V\s*(?:per\s*met(?:er|re)|/\s*m)", re.IGNORECASE)


@lru_cache(maxsize=4096)
def unit_of(written: str) -> Unit | None:
    """What a unit in a table means; None for a text that is no unit.

    Parameters
    ----------
    written : str
        "MHz", "[dBµV]", "(mA)", "KHZ", "dBuVPerMeter". Brackets around it do not count.
    """
    text = written.strip().strip('"').strip()
    if len(text) > 2 and text[0] + text[-1] in ("[]", "()", "{}", "<>"):
        text = text[1:-1].strip()
    if not text or len(text) > 14:
        return None
    if _WORDY.fullmatch(text):
        return Unit("dBuV/m")
    text = text.replace("µ", "u").replace("μ", "u").replace("Ω", "ohm").replace("Ω", "ohm").replace("º", "°")
    text = text.replace("° C", "°C")
    if text in _EXACT:
        return _EXACT[text]
    lower = text.lower()
    if lower in _LOWER:
        return _LOWER[lower]
    if text == lower:
        return _SMALL.get(lower)
    return _CAPITALS.get(text) if text == text.upper() else _SMALL.get(lower) if lower.startswith("db") else None


def level_offset(unit: str, impedance: float) -> float:
    """What is added to a level in dBuV, dBmV or dBV to have it in dBm at `impedance` [ohm] (rms value in that load)."""
    return -10.0 * math.log10(impedance * LEVELS[unit])
