"""Self-heating: the junction is as hot as its own heat makes it, or the solver says that it never settles."""

import math

import numpy as np
import pytest
import scipy.optimize
from balance_circuits import EXAMPLE, dc_stage, mixed_stage

import hbsim
from hbsim.devices.contract import K_OVER_Q
from hbsim.devices.diode import Diode
from hbsim.errors import NotSolved

AMBIENT = 300.15


@pytest.mark.parametrize("resistance", [50.0, 400.0])
@pytest.mark.parametrize("power", [-20.0, 8.0])
def test_temperature_is_ambient_plus_the_heat_times_the_resistance(power, resistance):
    circuit = mixed_stage(Q1={"thermal_resistance": f"{resistance} K/W"})
    state = circuit.solve({"drive.power": power}, harmonics=8)
    q1 = state.devices["Q1"]
    assert q1.temperature == pytest.approx(AMBIENT + resistance * q1.dissipation, abs=1e-6)
    assert q1.temperature > AMBIENT + 0.1
    cold = circuit.solve({"drive.power": power, "Q1.thermal_resistance": 0.0}, harmonics=8)
    assert abs(state.output_dbm(2) - cold.output_dbm(2)) > 1e-4  # it matters


def test_the_answer_is_that_of_the_fixed_temperature():
    circuit = mixed_stage(Q1={"thermal_resistance": "300 K/W"})
    state = circuit.solve(harmonics=8)
    hot = state.devices["Q1"].temperature
    fixed = circuit.solve({"Q1.thermal_resistance": 0.0, "Q1.temperature": hot}, harmonics=8)
    np.testing.assert_allclose(state.form, fixed.form, atol=1e-8)


def test_two_devices_heat_themselves():
    circuit = mixed_stage(Q1={"thermal_resistance": "300 K/W"}, D1={"thermal_resistance": "2000 K/W"})
    state = circuit.solve({"drive.power": 12.0}, harmonics=8)
    for name, resistance in (("Q1", 300.0), ("D1", 2000.0)):
        device = state.devices[name]
        assert device.temperature == pytest.approx(AMBIENT + resistance * device.dissipation, abs=1e-6), name


def test_a_heated_diode_against_two_equations():
    # V = R I + v, T = ambient + R_th v I, I = IS(T) (exp(v / V_T(T)) - 1): solved again with scipy, laws written again
    r, r_th, volts = 100.0, 500.0, 3.0
    diode = Diode(IS=1e-14, thermal_resistance=r_th)

    def current(v, T):
        saturation = 1e-14 * (T / AMBIENT) ** 3 * math.exp(1.11 / (K_OVER_Q * T) * (T / AMBIENT - 1))
        return saturation * math.expm1(v / (K_OVER_Q * T))

    def excess(x):
        v, T = x
        return [(volts - v) / r - current(v, T), (T - AMBIENT - r_th * v * (volts - v) / r) * 1e-3]

    v, T = scipy.optimize.root(excess, [0.7, 305.0], tol=1e-14).x
    circuit = dc_stage({"R": {"kind": "resistor", "nodes": ["v", "a"], "resistance": f"{r} ohm"},
                        "D": {"kind": "diode", "IS": "1e-14 A", "thermal_resistance": f"{diode.thermal_resistance} K/W",
                              "nodes": {"anode": "a", "cathode": "ground"}}}, {"V": ("v", volts)}, nodes=("a", "a"))
    state = circuit.solve(harmonics=2)
    assert state.devices["D"].temperature == pytest.approx(T, abs=1e-6)
    assert state.voltage("a")[0].real == pytest.approx(v, abs=1e-8)


def stiff_base(v_base, r_th):
    """A transistor whose base is held by a supply: current grows with temperature and nothing holds it back."""
    return dc_stage({"Q": {"kind": "bjt", "IS": "1e-16 A", "thermal_resistance": f"{r_th} K/W",
                           "nodes": {"base": "b", "collector": "vcc", "emitter": "ground"}}},
                    {"VCC": ("vcc", 5.0), "VBB": ("b", v_base)}, nodes=("b", "vcc"))


def test_runaway_is_told_and_is_no_number():
    # Held at 0.75 V, 400 uA at first: 2 mW. With 20 K/W it settles; with 20,000 K/W each kelvin brings more than one.
    calm = stiff_base(0.75, 20.0).solve(harmonics=2).devices["Q"]
    assert calm.temperature == pytest.approx(AMBIENT + 20.0 * calm.dissipation, abs=1e-6)
    with pytest.raises(NotSolved, match="junction temperature of 'Q' does not settle"):
        stiff_base(0.75, 20e3).solve(harmonics=2)
    table = stiff_base(0.75, 20.0).sweep({"Q.thermal_resistance": [20.0, 20e3]}, harmonics=2)
    assert list(table.solved) == [True, False]
    assert np.isnan(table["output_dbm_2"][1])


@pytest.mark.parametrize("r_th", [20.0, 300.0, 1000.0, 2000.0, 3000.0, 5000.0])
def test_up_to_the_edge_of_runaway(r_th):
    # P(T) = V I(T) at the held base; the lower of the two crossings of T = ambient + R_th P(T), or none: by brentq
    def power(T):
        saturation = 1e-16 * (T / AMBIENT) ** 3 * math.exp(1.11 / (K_OVER_Q * T) * (T / AMBIENT - 1))
        forward = saturation * math.expm1(0.75 / (K_OVER_Q * T))
        return 5.0 * forward + 0.75 * forward / 100.0

    def excess(T):
        return AMBIENT + r_th * power(T) - T

    grid = np.linspace(AMBIENT, 600.0, 4000)
    below = [T for T in grid if excess(T) < 0]
    if not below:
        with pytest.raises(NotSolved, match="does not settle"):
            stiff_base(0.75, r_th).solve(harmonics=2)
        return
    expected = scipy.optimize.brentq(excess, AMBIENT, below[0], xtol=1e-10)
    assert stiff_base(0.75, r_th).solve(harmonics=2).devices["Q"].temperature == pytest.approx(expected, abs=1e-4)


def test_a_sweep_heats_as_single_solves_do():
    circuit = hbsim.load(EXAMPLE).with_values({"Q1.thermal_resistance": 400.0})
    table = circuit.sweep({"supply.VCC": [0.0, 1.0, 3.0]}, harmonics=8)
    for row, volts in enumerate([0.0, 1.0, 3.0]):
        state = circuit.solve({"supply.VCC": volts}, harmonics=8)
        assert table["output_dbm_2"][row] == pytest.approx(state.output_dbm(2), abs=1e-5)
