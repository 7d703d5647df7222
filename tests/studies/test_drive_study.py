"""The drive study: its slope against exact gradients, its law against theory, and what cold costs at threshold."""

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest

import hbsim
from hbsim.cli import main
from hbsim.devices.contract import K_OVER_Q
from hbsim.devices.temperature import current_ratio
from hbsim.errors import Refusal
from hbsim.show.drive_study_page import drive_study_page
from hbsim.show.drive_study_plot import drive_study_figure
from hbsim.studies.drive_study import as_json, at_temperature, drive_study, header, law_region, rows

COLD, ROOM, HOT = 253.15, 298.15, 343.15


@pytest.fixture(scope="module")
def study(examples):
    return drive_study(hbsim.load(examples / "beacon_2304.toml").description, None, [COLD, ROOM, HOT])


@pytest.fixture(scope="module")
def threshold(examples):
    """The lumped doubler with its base resistor to ground: no bias but what the drive makes."""
    description = hbsim.load(examples / "lumped_doubler.toml").description
    base = replace(description.parts["R_b"], nodes=("b", "ground"))
    description = replace(description, parts={**description.parts, "R_b": base})
    return drive_study(description, "-20dBm:10dBm:0.5dB", [COLD, ROOM, HOT])


def test_slope_is_that_of_the_exact_gradient(study):
    # The central difference of a step h is off by h^2 / 6 times the third derivative: here h = 0.5 dB, and the slope
    # bends by up to 0.6 (dB/dB)/dB^2 where the stage turns on.
    circuit, curve = hbsim.Circuit(study.description), study.curve
    for drive in (-40.0, -20.0, -12.5, 0.0, 5.0):
        n = int(np.flatnonzero(curve.drive == drive)[0])
        exact = circuit.solve({"drive.power": drive}).gradient(["output_dbm_2"], ["drive.power"])
        assert curve.slope[n] == pytest.approx(exact["output_dbm_2"]["drive.power"], abs=0.5**2 / 6 * 0.6 + 2e-3)


def test_law_of_a_doubler_is_two_and_is_fitted_not_assumed(study):
    # The n-th harmonic of a weakly driven power series rises n dB per dB (S. A. Maas, Nonlinear Microwave and RF
    # Circuits, 2nd ed., Artech House, 2003; from memory).
    law = study.curve.law
    assert law.slope == pytest.approx(2.0, abs=0.05) and law.slope != 2.0  # half the band: no part of it is straight
    assert law.from_dbm == -60.0 and -30.0 < law.to_dbm < -20.0
    assert np.nanmax(np.abs(study.curve.slope[study.curve.drive <= law.to_dbm] - 2)) <= 0.1


def test_law_region_of_a_curve_known_in_closed_form():
    # level = 2 x up to 0, where a parabola takes over: slope 2 - 0.1 x leaves the band of 0.1 at x = 1.
    x = np.arange(-10, 10.25, 0.25)
    level = np.where(x < 0, 2 * x, 2 * x - 0.05 * x**2)
    law = law_region(x, level, np.gradient(level, x), 2)
    assert law.from_dbm == -10 and law.to_dbm == pytest.approx(1.0, abs=0.25)  # a step
    assert law.slope == pytest.approx(2.0, abs=0.01)
    assert law_region(x, 3 * x, np.full(len(x), 3.0), 2) is None


def test_marks_lie_on_the_solved_circuit(study):
    circuit, found = hbsim.Circuit(study.description), study.curve.found
    low = circuit.solve({"drive.power": -60.0}).output_dbm(2) + 120.0
    at = circuit.solve({"drive.power": found.drive_dbm}).output_dbm(2)
    assert low + 2 * found.drive_dbm - at == pytest.approx(1.0, abs=2e-3)  # truncation of the two, 1e-3 dB each
    slope = circuit.solve({"drive.power": study.curve.onset_dbm}).gradient(["output_dbm_2"], ["drive.power"])
    assert slope["output_dbm_2"]["drive.power"] == pytest.approx(1.0, abs=0.03)  # the central difference, as above
    assert study.leaks == (1, 3)
    assert not study.curve.saturated and study.curve.most_at_dbm == study.curve.drive[-1]


def test_same_output_at_another_temperature_is_solved_for(study):
    for shift in study.shifts:
        state = hbsim.Circuit(at_temperature(study.description, shift.temperature)).solve(
            {"drive.power": shift.drive_dbm})
        assert state.output_dbm(2) == pytest.approx(study.reference_output_dbm, abs=1e-3)  # truncation
    assert study.reference_k == ROOM and study.shifts[1].more_drive_db == 0.0


def test_unbiased_stage_snaps_off_in_the_cold(threshold):
    # Driven to threshold, the junction needs the voltage at which IS(T) exp(v / V_T) is the current: cold, more. For
    # the same current, v(T) = V_T ln(i / IS(T)); the needed swing grows as v does, in dB 20 log10 of its ratio. Drive
    # is rectified and capacitances take their share too, so that only sign and size are asked, to a factor of 2.
    part = next(iter(threshold.description.devices.values())).part

    def knee(temperature, current=1e-3):
        saturation = part.IS * current_ratio(temperature, part.TNOM, part.EG, part.XTI)
        return K_OVER_Q * temperature * np.log(current / saturation)

    expected = 20 * np.log10(knee(COLD) / knee(ROOM))
    cold, room, hot = threshold.shifts
    assert cold.later_db > 0 > hot.later_db and cold.more_drive_db > 0 > hot.more_drive_db
    assert 0.5 * expected < cold.later_db < 2 * expected
    assert threshold.curve.steepest > 4  # dB/dB: it snaps


def test_every_number_is_in_the_files(study, threshold):
    for one in (study, threshold):
        data = as_json(one)
        json.dumps(data, allow_nan=False)
        assert data["curve"]["law"] is None or data["curve"]["law"]["slope_db_per_db"] == one.curve.law.slope
        table = list(rows(one))
        assert len(table) == 4 * len(one.curve.drive) and {len(row) for row in table} == {len(header(one))}
        line = one.curve.found.line(one.curve.drive)
        assert data["curve"]["asymptote"]["line_dbm_at_0_dbm"] + 2 * one.curve.drive[3] == pytest.approx(line[3])
        page = drive_study_page(one)
        assert f"{one.shifts[0].more_drive_db:.2f} dB more drive" in page
        drawn = drive_study_figure(one).axes[0].lines
        assert any(np.allclose(drawn_line.get_ydata()[-1], one.curve.output[-1]) for drawn_line in drawn)


def test_refusals(study):
    with pytest.raises(Refusal, match="at least 5 drives"):
        drive_study(study.description, ["0 dBm", "1 dBm"])


def test_command_writes_all(examples, tmp_path, capsys):
    made = [str(tmp_path / name) for name in ("d.csv", "d.json", "d.svg")]
    status = main(["drive", str(examples / "lumped_doubler.toml"), "--drives=-20dBm:5dBm:2.5dB",
                   "--temperatures=0degC,50degC", "--csv", made[0], "--json", made[1], "--plot", made[2]])
    assert status == 0 and "Not saturated in this range" in capsys.readouterr().out
    with open(made[0]) as handle:
        table = list(csv.DictReader(io.StringIO(handle.read())))
    with open(made[1]) as handle:
        data = json.load(handle)
    assert len(table) == 33 and float(table[0]["output_dbm_2"]) == data["curve"]["columns"]["output_dbm_2"][0]
