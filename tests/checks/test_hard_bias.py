"""A transistor without bias, without supply, or with a supply of the wrong sign, driven with up to 1 W.

References: integration in time of the same stage (time_domain.py, circuits_in_time.py), and closed forms at DC. What
sets the tolerances: junctions that switch once a period have spectra that fall slowly. 64 harmonics leave, up to the
fifth, 5e-4 dB at 10 dBm, 1.2e-3 dB at 20 dBm and 5e-3 dB at 30 dBm; 128 leave a tenth of it.
"""

import math

import hard_circuits
import numba
import numpy as np
import pytest
import scipy.optimize
import time_domain
from circuits_in_time import one_period, orbit, phasors, stage
from time_domain import Doubler, gummel_poon, steady_state

import hbsim

pytestmark = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="millions of samples: minutes if not compiled")

LEFT = {0.0: 1e-5, 10.0: 1e-3, 20.0: 2e-3, 30.0: 6e-3}  # drive [dBm] -> what 64 harmonics leave [dB]


@pytest.fixture(scope="module")
def circuit():
    return hard_circuits.stage()


@pytest.fixture(scope="module")
def params(circuit):
    return {name: getattr(circuit.description.devices["Q1"].part, name) for name in time_domain.PARAMETERS}


def orbit_of(state, params, R_b):
    """The orbit in time next to a state of hbsim: shooting goes from there wherever it must."""
    at = {node: state.voltage(node).real.sum() for node in ("in", "b", "c", "out", "vcc", "Q1.b", "Q1.c", "Q1.e")}
    x = [at["in"] - at["b"], at["b"] - at["Q1.c"], at["Q1.b"] - at["Q1.e"], at["Q1.b"] - at["Q1.c"], at["c"],
         at["c"] - at["out"], at["vcc"], state.current("L_c")[:, 0].real.sum()]
    description = state.description
    equation = stage(params, Doubler(R_b=R_b), description.drive.power_dbm, description.supplies["VCC"].voltage)
    found = orbit(equation, x)
    assert abs(found.multipliers[0]) < 1.0  # and it stays there
    return one_period(equation, found.state)


def compare(state, x, tolerance_db):
    """Five harmonics of the load, and the supply's current, with states over a period from the time domain."""
    found, expected = state.voltage("out")[1:6], phasors(x[4] - x[5])[1:6]
    np.testing.assert_allclose(20 * np.log10(np.abs(found / expected)), 0.0, atol=tolerance_db)
    # an error of so many dB, as a share of the phasor, may as well turn it
    np.testing.assert_allclose(np.angle(found / expected), 0.0, atol=2 * math.log(10) / 20 * tolerance_db)
    v_cc = state.description.supplies["VCC"].voltage
    # half a thousandth where the currents of both junctions cancel; R_s = 1 ohm and the closure of the period else
    assert state.supplies["VCC"].amps == pytest.approx(np.mean(v_cc - x[6]), rel=5e-4, abs=1e-9)


# -- supply at 0 V ---------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("drive", [0.0, 10.0, 20.0])
def test_supply_at_zero(circuit, params, drive):
    expected = steady_state(params, Doubler(), drive, 0.0)
    state = circuit.solve({"drive.power": drive, "supply.VCC": 0.0}, harmonics=64)
    for k in range(1, 6):
        assert state.output_dbm(k) == pytest.approx(expected.dbm[k], abs=LEFT[drive]), f"harmonic {k}"
    amps = state.supplies["VCC"].amps
    assert amps == pytest.approx(expected.supply_current, rel=5e-4, abs=1e-11)  # abs: closure of 1e-12 V over 1 ohm
    # A supply at 0 V gives no power, whatever its current; all comes from the generator. Its current into the collector
    # is drawn once the base conducts; below, the collector junction's own rectified current goes back to it.
    assert state.power_balance["given"] == pytest.approx(-state.absorbed("port.input")[1:].sum()
                                                         + state.dissipation("port.input"), rel=1e-9)
    assert (amps > 0) == (drive >= 10.0)


# -- no bias, 1 W ----------------------------------------------------------------------------------------------------

def test_supply_off_at_full_drive(circuit, params):
    state = circuit.solve({"drive.power": 30.0, "supply.VCC": 0.0}, harmonics=64)
    compare(state, orbit_of(state, params, 33e3), LEFT[30.0])


def test_no_base_bias_at_full_drive(circuit, params):
    # 1 Gohm is no bias (4 nA) but says where the base's DC current comes from: the rectified base runs to -19 V, over
    # 17,000 periods, which is why shooting starts from hbsim's state and not from rest
    state = circuit.solve({"drive.power": 30.0, "supply.VCC": 4.0, "R_b.resistance": 1e9}, harmonics=64)
    assert state.voltage("b")[0].real < -15.0
    compare(state, orbit_of(state, params, 1e9), 1e-5)  # it hardly conducts: the spectrum falls steeply


def test_a_base_without_any_path_is_refused():
    with pytest.raises(hbsim.Refusal, match="base has no DC path"):
        hard_circuits.stage(R_b=None).solve(harmonics=8)


# -- inverse operation -----------------------------------------------------------------------------------------------

def inverse_at_dc(**changes):
    """Base fed with 1 V through 10 kohm, emitter at 2 V, collector at ground: the collector emits."""
    def supply(node, voltage):
        return {"node": node, "voltage": f"{voltage} V"}

    return hbsim.Circuit.build(
        drive={"port": "input", "frequency": "1 MHz", "power": "-200 dBm"}, port={
            "input": {"node": "in"}, "output": {"node": "out"}},
        supply={"B": supply("s", 1.0), "E": supply("e", 2.0), "C": supply("c", 0.0)},
        part={"R": hard_circuits.resistor("s", "b", 10e3), "C1": hard_circuits.capacitor("in", "b", 1e-15),
              "C2": hard_circuits.capacitor("out", "c", 1e-15), "Q1": {"kind": "bjt", "nodes": {
                  "base": "b", "collector": "c", "emitter": "e"}} | changes}).solve(harmonics=2)


@pytest.mark.parametrize("gain", [0.5, 9.0])
def test_inverse_gain_at_dc(gain):
    # Ebers and Moll's equations with the emitter junction blocked: I_B = i_r / BR - IS / BF, I_E = i_r + IS + IS / BF
    state = inverse_at_dc(IS="1e-15 A", BF="100", BR=f"{gain}")
    base, emitter = state.supplies["B"].amps, state.supplies["E"].amps
    assert emitter == pytest.approx(gain * (base + 1e-15 / 100) + 1e-15 * (1 + 1 / 100), rel=1e-9)
    assert state.supplies["C"].amps == pytest.approx(-base - emitter, rel=1e-9)


def test_inverse_point_of_the_whole_device(params):
    # The transistor's equations written down a second time (time_domain.py), two junction voltages by scipy
    def currents(v):
        chip = gummel_poon(params, *v)
        return chip, chip.I_be + chip.I_bc, -chip.I_T - chip.I_be, chip.I_T - chip.I_bc

    def error(v):
        chip, base, emitter, collector = currents(v)
        inner_b = 1.0 - base * (10e3 + chip.R_bb)
        return [inner_b - (2.0 - params["RE"] * emitter) - v[0], inner_b + params["RC"] * collector - v[1]]

    found = scipy.optimize.root(error, [-1.3, 0.7], tol=1e-13)
    _, base, emitter, collector = currents(found.x)
    device = hard_circuits.TABLES["part"]["Q1"]
    state = inverse_at_dc(**{name: value for name, value in device.items() if name != "nodes"})
    for name, amps in (("B", base), ("E", emitter), ("C", collector)):
        assert state.supplies[name].amps == pytest.approx(amps, rel=1e-9), name
    # an emitter junction so far reversed narrows the base: with VAR = 3 V the Early factor, 1 / q1, gives the gain half
    # as much again, and leakage and knee take from it
    narrowed = 1.0 - found.x[1] / params["VAF"] - found.x[0] / params["VAR"]
    assert 0.8 < emitter / base / (params["BR"] * narrowed) < 1.0


@pytest.mark.parametrize("drive", [10.0, 20.0])
def test_supply_below_zero(circuit, params, drive):
    # At 10 dBm the collector junction alone conducts: an inverse doubler. At 20 dBm both junctions do in turn.
    state = circuit.solve({"drive.power": drive, "supply.VCC": -1.0}, harmonics=64)
    x = orbit_of(state, params, 33e3)
    assert x[3].max() > 0.75 and (x[2].max() > 0.75) == (drive == 20.0)
    transport = [gummel_poon(params, *v).I_T for v in x[2:4, ::16].T]
    assert min(transport) < -1e-4  # from emitter to collector: inverse
    compare(state, x, LEFT[drive])
