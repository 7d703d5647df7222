"""The lessons: each number against a closed form, a published law or an independent calculation."""

import importlib.util
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import iv

import hbsim

NAMES = ("clipping", "two_db_for_one", "which_angle", "quarter_wave_stub", "more_bias_less_output", "match_or_output",
         "snaps_off_in_the_cold")


@pytest.fixture(scope="module")
def lessons(examples):
    """Every lesson, its module and what it found."""
    folder = str(examples / "lessons")
    sys.path.insert(0, folder)
    found = {}
    try:
        for name in NAMES:
            spec = importlib.util.spec_from_file_location(f"lesson_{name}", examples / "lessons" / f"{name}.py")
            module = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(module)
            found[name] = module, module.lesson()
    finally:
        sys.path.remove(folder)
    return found


def test_every_lesson_is_tested_and_listed(examples):
    scripts = {path.stem for path in (examples / "lessons").glob("*.py")} - {"lesson"}
    assert scripts == set(NAMES)
    rows = re.findall(r"`(\w+)\.py` \|", (examples / "lessons" / "README.md").read_text())
    assert sorted(rows) == sorted(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_question_and_number_stand_in_the_list(name, lessons, examples):
    module, found = lessons[name]
    row = next(line for line in (examples / "lessons" / "README.md").read_text().splitlines() if f"`{name}.py`" in line)
    question, _, told = (cell.strip() for cell in row.strip("|").split("|"))
    assert question == module.__doc__.partition("\n")[0]
    printed = re.match(r"-?[\d.]+", told)[0]
    digits = len(printed.partition(".")[2])
    assert f"{found.number:.{digits}f}" == printed and printed in found.words


@pytest.mark.parametrize("name", NAMES)
def test_says_that_it_is_invented_and_what_to_try(name, lessons):
    module, _ = lessons[name]
    assert "At the bench:" in module.__doc__ and "Invented:" in module.__doc__


@pytest.mark.parametrize("name", NAMES)
def test_draws_its_picture(name, lessons, tmp_path):
    from hbsim.show.style import save
    for ending, start in ((".png", b"\x89PNG"),):
        save(lessons[name][1].draw(), str(tmp_path / f"a{ending}"))
        assert (tmp_path / f"a{ending}").read_bytes().startswith(start)


def test_prints_its_page(examples, tmp_path):
    found = {**os.environ, "PYTHONPATH": str(Path(hbsim.__file__).parent.parent)}
    done = subprocess.run([sys.executable, examples / "lessons" / "which_angle.py", "--plot", "a.svg"], cwd=tmp_path,
                          capture_output=True, text=True, env=found)
    assert done.returncode == 0, done.stderr
    assert "Number to remember: 180 deg" in done.stdout and (tmp_path / "a.svg").read_text().startswith("<?xml")


def test_clipped_sine(lessons):
    module, found = lessons["clipping"]
    # Independent: Kirchhoff's law solved instant by instant (scipy.optimize.brentq), then numpy's Fourier transform.
    watts = 1e-3 * 10 ** (module.DRIVE_DBM / 10)
    peak = math.sqrt(8 * 50 * watts)  # of the generator, open
    thermal = 8.617333262e-5 * 300.15  # CODATA 2018
    time = np.arange(1024) / 1024

    def volts(e):
        return brentq(lambda v: (e - v) / 50 - v / 50
                      - module.SATURATION * math.expm1(v / (module.SLOPE * thermal)), -5, 1.2, xtol=1e-14)

    lines = np.abs(np.fft.rfft([volts(peak * math.cos(2 * math.pi * t)) for t in time]))
    exact = 20 * math.log10(lines[2] / lines[1])
    assert found.number == pytest.approx(exact, abs=0.01)  # harmonics balanced: 48; the rest is left out
    # Fourier coefficients of a cosine cut off flat at the share cos(h) (closed form: the cosine less its tip,
    # studies/conduction_angle.py names the texts); 1 dB: the knee of a diode is round.
    top = volts(peak)
    h = math.acos(top / (peak / 2))
    first = 1 - (h - math.sin(h) * math.cos(h)) / math.pi
    second = 2 * math.sin(h) ** 3 / (3 * math.pi)
    assert found.number == pytest.approx(20 * math.log10(second / first), abs=1.0)


def test_square_law(lessons):
    _, found = lessons["two_db_for_one"]
    # M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 1964, 9.6.34: exp(x cos t) has the harmonics
    # 2 I_n(x); by the series 9.6.10 the slope of I_2 is 2 + x^2 / 6 and more. At -48 dBm the open voltage of the
    # generator is x = 0.1 of V_T, which bounds what the stage can be off the law; 0.005 is three times that.
    x = math.sqrt(8 * 50 * 10 ** (-7.8)) / 0.02587 * 10 ** (np.array([-1.0, 1.0]) / 20)
    law = np.diff(20 * np.log10(iv(2, x)))[0] / 2.0
    assert 2.0 < law < 2.0 + x[1] ** 2 / 6
    assert found.number == pytest.approx(law, abs=0.005)


def test_conduction_angles(lessons):
    module, found = lessons["which_angle"]
    for n in module.HARMONICS:
        # I_n / (slope x drive): its derivative by h is (2/pi) sin(n h) sin(h) / n: the first maximum at h = pi / n.
        assert module.best_angle(module.of_drive, n) == pytest.approx(360 / n, abs=1e-3)
        # Published: about 240 / n for a fixed peak (sources in studies/conduction_angle.py); by numerical integration:
        half = np.radians(np.arange(20.0, 150.0, 0.1) / 2)
        t = np.linspace(-np.pi, np.pi, 4001)
        share = [abs(np.trapezoid(np.maximum(np.cos(t) - np.cos(h), 0) / (1 - np.cos(h)) * np.cos(n * t), t))
                 for h in half]
        assert module.best_angle(module.of_peak, n) == pytest.approx(2 * np.degrees(half[np.argmax(share)]), abs=0.6)
    assert found.number == pytest.approx(180.0, abs=1e-3)


def test_stub(lessons):
    module, found = lessons["quarter_wave_stub"]
    # D. M. Pozar, Microwave Engineering, 4th ed., Wiley 2012, sec. 2.3: -j Z0 cot(beta l) open, j Z0 tan(beta l)
    # shorted. 0.01 ohm: the joint of 1 uohm, and digits lost in 1 - S21.
    assert found.number == pytest.approx(-module.IMPEDANCE / math.tan(math.pi / 4), abs=0.01)
    assert module.reactance("shorted stub") == pytest.approx(module.IMPEDANCE * math.tan(math.pi / 4), abs=0.01)
    level = abs(module.through("open stub", np.array([module.F0, 2 * module.F0])))
    assert level[0] == pytest.approx(abs(2 / (2 + 1j)), abs=1e-6) and level[1] < 1e-6


def test_supply_of_most_output(lessons, examples):
    module, found = lessons["more_bias_less_output"]
    # Brute force: solved one by one, on a finer grid than the lesson's steps of 0.2 V.
    circuit = hbsim.load(examples / "beacon_2304.toml")
    volts = np.arange(found.number - 0.5, found.number + 0.51, 0.1)
    output = [circuit.solve({"supply.VCC": float(v)}, harmonics=12).output_dbm(2) for v in volts]
    assert found.number == pytest.approx(volts[int(np.argmax(output))], abs=0.11)


def test_match_costs_output(lessons, examples):
    module, found = lessons["match_or_output"]
    # Brute force, point by point.
    circuit = hbsim.load(examples / "beacon_2304.toml")
    states = [circuit.solve({"supply.VCC": float(v)}, harmonics=12) for v in np.arange(2.5, 5.51, 0.1)]
    output = [state.output_dbm(2) for state in states]
    match = [abs(state.input_reflection) for state in states]
    assert found.number == pytest.approx(max(output) - output[int(np.argmin(match))], abs=1e-3)


def test_threshold_follows_the_junction(lessons):
    module, found = lessons["snaps_off_in_the_cold"]

    # I. Getreu, Modeling the Bipolar Transistor, Tektronix 1976 (from memory): IS goes with T^XTI exp(-EG q / k T); V
    # for a current I is (k T / q) ln(I / IS). Below the threshold the stage is linear, so drive in dB goes as V.
    # Model: IS 2e-17 A at 300.15 K, EG 1.11 eV, XTI 3. "Threshold" is 0.3 to 3 mA of peak current (common practice, no
    # source), which moves the answer by 0.1 dB; capacitances that move with T are the rest.
    def volts(celsius, amps):
        kelvin = celsius + 273.15
        thermal, ratio = 8.617333262e-5 * kelvin, kelvin / 300.15
        saturation = 2e-17 * ratio**3 * math.exp(1.11 / thermal * (ratio - 1))
        return thermal * math.log(amps / saturation)

    low, high = sorted(20 * math.log10(volts(-20, amps) / volts(70, amps)) for amps in (0.3e-3, 3e-3))
    assert low - 0.1 < found.number < high + 0.1
