"""Every kind of nonlinear device: a new one is a file and a line here."""

from __future__ import annotations

from .bjt import BJT
from .contract import Device
from .diode import Diode

DEVICES: dict[str, type[Device]] = {"bjt": BJT, "diode": Diode}
