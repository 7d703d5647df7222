"""hbsim against an independent time-domain integration of the same doubler: two ways to one steady state.

The reference (time_domain.py) shares no code with hbsim and is worked out here, in each run, from the parameters of the
model file. What sets the tolerance: at +8 dBm, 48 harmonics leave about 1e-5 dB at the fifth; the reference
itself moves by less than 1e-7 dB when its own tolerances are made a hundred times tighter (test_time_domain.py).
"""

import dataclasses
import math
from pathlib import Path

import numba
import pytest
from time_domain import PARAMETERS, Doubler, steady_state

import hbsim

EXAMPLE = Path(__file__).parents[2] / "examples" / "lumped_doubler.toml"

pytestmark = pytest.mark.skipif(bool(numba.config.DISABLE_JIT), reason="millions of samples: minutes if not compiled")


@pytest.fixture(scope="module")
def circuit():
    return hbsim.load(EXAMPLE)


@pytest.fixture(scope="module")
def chip(circuit):
    return circuit.description.devices["Q1"].part


def test_the_example_is_within_what_the_reference_holds(chip):
    # No delay, no substrate, 27 degC: else the two would solve different circuits.
    assert chip.PTF == 0.0 and chip.CJS == 0.0 and chip.thermal_resistance == 0.0
    assert chip.temperature == pytest.approx(300.15)
    package = {name: getattr(chip, name) for name in (field.name for field in dataclasses.fields(chip))
               if name.endswith(("_inductance", "_capacitance"))}
    assert len(package) == 6 and not any(package.values())


@pytest.mark.parametrize("v_cc", [2.0, 4.0])
@pytest.mark.parametrize("drive_dbm", [-10.0, 0.0, 8.0])
def test_harmonics_of_the_lumped_doubler(circuit, chip, drive_dbm, v_cc):
    params = {name: getattr(chip, name) for name in PARAMETERS}
    expected = steady_state(params, Doubler(), drive_dbm, v_cc)
    state = circuit.solve({"drive.power": f"{drive_dbm} dBm", "supply.VCC": f"{v_cc} V"}, harmonics=48)
    for k in range(1, 6):
        assert state.output_dbm(k) == pytest.approx(expected.dbm[k], abs=1e-4), f"harmonic {k}"
        turned = math.remainder(state.output_phase_deg(k) - expected.phase_deg[k], 360.0)
        assert abs(turned) < 1e-3, f"harmonic {k}: {turned:.5f} degree apart"
    assert state.input_return_loss_db == pytest.approx(-20.0 * math.log10(abs(expected.reflection)), abs=1e-4)
    assert state.supplies["VCC"].amps == pytest.approx(expected.supply_current, rel=1e-6)
    # As people call it, the harmonics chosen by hbsim: the default tolerance is 0.01 dB for the wanted line and 0.1 dB
    # for the others while the harmonics are raised; what is then left must be far less.
    chosen = circuit.solve({"drive.power": f"{drive_dbm} dBm", "supply.VCC": f"{v_cc} V"})
    assert chosen.truncation.met
    for k in range(1, 6):
        assert chosen.output_dbm(k) == pytest.approx(expected.dbm[k], abs=0.005), f"harmonic {k}"
