"""Rectifiers and clippers against the waveforms of ideal switches, which they approach as the drive outgrows the knee.

Each bound is worked out from the diode: an ideal switch drops nothing, the diode at most v = V_T ln(1 + I_peak / IS),
so no current or voltage differs by more than what v stands for. What is left is truncation: a waveform with corners has
harmonics that fall as 1/n^2, and 32 of them leave out some 2e-4 of the largest (seen as the change on going to 64).
"""

import math

import numpy as np
import pytest
from ideal_sources import Generator, junction_current, solved

from hbsim.balance.system import Mounted
from hbsim.devices.contract import K_OVER_Q
from hbsim.devices.diode import Diode
from hbsim.linear.network import Element

V_T, IS, LOAD = K_OVER_Q * 300.0, 1e-14, 1e3
RECTIFIER = Diode(IS=IS, RS=LOAD, temperature=300.0, TNOM=300.0)
TRUNCATION = 2e-4

# Clipped cosine of peak 1, conduction angle in degrees: I_0..I_5; from the closed form, as printed in the notes
PULSES = {
    60: (0.11060, 0.21522, 0.19799, 0.17147, 0.13859, 0.10288),
    100: (0.18277, 0.33885, 0.26705, 0.17166, 0.07900, 0.01049),
    120: (0.21800, 0.39100, 0.27566, 0.13783, 0.02757, -0.02757),
    140: (0.25245, 0.43555, 0.26761, 0.09153, -0.01596, -0.03779),
    180: (0.31831, 0.50000, 0.21221, 0.0, -0.04244, 0.0),
    240: (0.40600, 0.53633, 0.09189, -0.04594, 0.00919, 0.00919),
}


def drop(current):
    """Largest voltage of the diode at a peak current. [V]"""
    return V_T * math.log1p(current / IS)


def pulse(angle, drive):
    """Harmonics 0..5 of a rectifier with the switch at E (cos t - cos h) = 0, over E / R."""
    return junction_current(RECTIFIER, -drive * math.cos(math.radians(angle / 2)), drive, 32)[:6].real * LOAD / drive


def bound(angle, drive):
    """How far `pulse` may be from the ideal switch's: (1 / pi) integral of the drop over the conduction angle."""
    return 2 * math.radians(angle / 2) / math.pi * drop(2 * drive / LOAD) / drive + TRUNCATION


@pytest.mark.parametrize("angle", PULSES)
def test_biased_rectifier_approaches_the_clipped_cosine(angle):
    # Table of pulses by conduction angle: as in H. L. Krauss, C. W. Bostian, F. H. Raab, Solid State Radio Engineering,
    # Wiley 1980 (from memory); the values themselves follow from two lines of integration.
    ideal = np.array(PULSES[angle]) * (1 - math.cos(math.radians(angle / 2)))
    errors = []
    for drive in (10.0, 100.0, 1000.0):
        found = pulse(angle, drive)
        assert np.abs(found - ideal).max() < bound(angle, drive), f"{drive} V"
        errors.append(np.abs(found - ideal).max())
    assert errors[1] < 0.2 * errors[0] and errors[2] < 0.2 * errors[1] + TRUNCATION


def test_half_wave_rectifier_approaches_its_fourier_series():
    # 1/pi, 1/2, 2/(3 pi), 0, -2/(15 pi) (elementary)
    ideal = np.array([1 / np.pi, 0.5, 2 / (3 * np.pi), 0.0, -2 / (15 * np.pi), 0.0])
    np.testing.assert_allclose(pulse(180, 1000.0), ideal, atol=bound(180, 1000.0))
    assert bound(180, 1000.0) < 1.1e-3


def test_second_over_first_harmonic_at_120_degrees():
    # 0.705, -3.04 dB: the fundamental of the current is larger than the wanted harmonic
    found = pulse(120, 1000.0)
    assert found[2] / found[1] == pytest.approx(0.705, abs=2e-3)  # bound / 0.195 of each of the two


def test_best_conduction_angle_depends_on_what_is_limited():
    # For a given peak current 120 degrees makes most of 2 f0; for a given drive, 180 degrees.
    angles = [90, 105, 120, 135, 150, 165, 180, 195, 210]
    lines = np.array([pulse(angle, 1000.0) for angle in angles])
    peaks = 1 - np.cos(np.radians(np.array(angles) / 2))
    assert angles[int(np.argmax(lines[:, 2] / peaks))] == 120
    assert angles[int(np.argmax(lines[:, 2]))] == 180


def clipped(limit, drive, harmonics=32):
    """Odd harmonics 1, 3, 5, 7 at a node that two diodes hold between -limit and limit, over the limit."""
    diode, ohms = Diode(IS=IS, temperature=300.0, TNOM=300.0), 50.0
    elements = [Element("source", Generator((ohms,)), ("a",)), Element("up", Generator(), ("p",)),
                Element("down", Generator(), ("m",))]
    mounted = [Mounted("D1", diode, {"anode": "a", "cathode": "p"}),
               Mounted("D2", diode, {"anode": "m", "cathode": "a"})]
    state = solved(elements, ["source", "up", "down"], mounted,
                   {"source": {1: drive}, "up": {0: limit}, "down": {0: -limit}}, harmonics)
    line = state.voltage("a")
    assert np.abs(line[::2]).max() < 1e-9 * limit  # even ones vanish by symmetry
    return line[1:8:2].real / limit, drop(drive / ohms) / limit


@pytest.mark.parametrize("share, lines", [(0.7, (0.811880, -0.108204, -0.019909, 0.016039)),
                                          (0.5, (0.608998, -0.137832, 0.027566, 0.009845)),
                                          (0.1, (0.127111, -0.041806, 0.024415, -0.016737))])
def test_symmetric_clipper_approaches_the_clipped_cosine(share, lines):
    # cos t clipped at +-share (elementary integration; values of the notes)
    for limit in (10.0, 100.0):
        found, knee = clipped(limit, limit / share)
        # (1 / pi) integral of |cos n t| times the drop
        assert np.abs(found - np.array(lines) / share).max() < 4 / math.pi * knee + TRUNCATION / share, f"{limit} V"


def test_hard_driven_clipper_approaches_a_square_wave():
    square = 4 / math.pi * np.array([1.0, -1 / 3, 1 / 5, -1 / 7])
    errors = []
    for limit, drive in ((10.0, 30.0), (100.0, 1000.0)):
        found, knee = clipped(limit, drive)
        # the flanks: 4 / pi times the triangle between the step and the cosine, half of limit times asin(share) high
        flank = 2 / math.pi * 1.05 * math.asin(limit / drive)
        errors.append(np.abs(found - square).max())
        assert errors[-1] < 4 / math.pi * knee + flank + TRUNCATION * drive / limit
    assert errors[1] < 0.4 * errors[0]
