"""Pages of text: their numbers are those of the state or the table, with units, and they fit the paper."""

import re
from dataclasses import replace

import many_devices
import numpy as np
import pytest

import hbsim
from hbsim.quantities import show
from hbsim.show.report import sweep_page, prediction_page
from hbsim.studies.compression import Compression
from hbsim.studies.prediction import predict


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


@pytest.fixture(scope="module")
def prediction(circuit):
    return predict(circuit, harmonics=8)


def test_the_page_of_a_prediction(prediction):
    state, page = prediction.state, prediction_page(prediction)
    lines = page.splitlines()
    assert lines[0] == state.description.title
    assert max(map(len, lines)) <= 110 and not any(line != line.rstrip() for line in lines)
    for k in range(1, 7):
        row = next(line for line in lines if re.match(rf" +{k} +[\d.]+ GHz .*dBm", line))
        assert f"{state.output_dbm(k):.2f} dBm" in row and f"{state.output_dbc(k):.2f} dBc" in row
        assert ("<- wanted" in row) == (k == 2)
    q1 = state.devices["Q1"]
    for expected in (f"Conversion gain    {-state.conversion_loss_db:.2f} dB",
                     f"Input return loss  {state.input_return_loss_db:.2f} dB",
                     f"conducts over {q1.conduction_angle_deg:.0f} deg", "limit 4.5 V", "junctions at 27 degC",
                     "Solved with 8 harmonics", "Truncation: from 8 to 16 harmonics the wanted output moves by ",
                     "(their number was given).",
                     "Cautions: "):
        assert expected in page
    assert not any(line.split()[:1] == ["substrate"] for line in lines)  # at ground, without current
    assert any(line.split()[:1] == ["emitter"] for line in lines)  # at ground, with current
    assert lines.count("  (all devices lifted out, sources off)") == 2
    assert "Output at port output (phase against the generator's voltage, a cosine)" in lines
    impedance = q1.circuit_impedance["collector"][2]
    assert f"{impedance.real:.1f} + j{impedance.imag:.1f} ohm" in page
    assert "nan" not in page and "inf " not in page


def test_devices_beyond_the_third_are_told_in_one_row():
    found = predict(many_devices.chain(5), harmonics=8)
    lines = prediction_page(found).splitlines()
    assert [line.split(":")[0] for line in lines if "averages at its pins" in line] == ["Q3", "Q4", "Q5"]
    assert "Told in full below: Q3, Q4, Q5;" in " ".join(lines)
    at = next(n for n, line in enumerate(lines) if line.split()[:1] == ["device"])
    assert lines[at].split() == "device into collector dissipation conducts gives at f0".split()
    for device, line in zip(found.state.devices.values(), lines[at + 1:at + 6], strict=True):
        expected = [device.name, *show(float(device.pin_current["collector"][0].real), "A").split(),
                    *show(device.dissipation, "W", 3).split(), f"{device.conduction_angle_deg:.0f}", "deg"]
        assert line.split()[:7] == expected and "EXCEEDED" not in line
    assert max(map(len, lines)) <= 110


def test_the_rows_of_devices_say_where_a_rating_is_exceeded():
    found = predict(many_devices.chain(4, transistor={"use": "npn-25ghz", "IC_max": "14 mA"}), harmonics=8)
    lines = prediction_page(found).splitlines()
    over = {name for name, device in found.state.devices.items()
            if device.current_waveform("collector").max() > 14e-3}
    at = next(n for n, line in enumerate(lines) if line.split()[:1] == ["device"])
    assert {line.split()[0] for line in lines[at + 1:at + 5] if line.endswith("EXCEEDED")} == over and 0 < len(over) < 4


def test_impedances_beside_other_devices_are_of_each_pin_alone():
    page = prediction_page(predict(many_devices.chain(2), harmonics=8))
    assert "(each pin alone: the other devices, which may act with it, are lifted out too; sources off)" in page
    assert "all devices lifted out" not in page


def test_a_device_that_never_conducts_has_no_angle(examples):
    page = prediction_page(predict(hbsim.load(examples / "varactor_jump.toml"), harmonics=8))
    assert "does not conduct at any time of the period" in page and "conducts over" not in page


def test_lines_that_move_with_more_harmonics_are_marked(prediction):
    def marked(found):
        return [int(line.split()[0]) for line in prediction_page(found).splitlines() if "Hz  ~ " in line]

    changes = np.array([np.nan, 0.1, 0.49, 0.51, np.nan, 3.0, 0.0])
    remark = "\n~ moves by more than 0.5 dB with more harmonics: not to be trusted to the digits shown\n"
    moved = replace(prediction, line_changes_db=changes)
    assert marked(moved) == [3, 5] and remark in prediction_page(moved)
    still = replace(prediction, line_changes_db=np.where(changes > 0.5, 0.0, changes))
    assert marked(still) == [] and remark not in prediction_page(still)


@pytest.mark.parametrize("residual, words", [(2e-6, "to rounding."), (3e-9, "to 3e-09 of what cancels.")])
def test_a_share_of_hardly_any_current_is_not_told(prediction, residual, words):
    solver = replace(prediction.state.solver, residual=residual)
    page = prediction_page(replace(prediction, state=replace(prediction.state, solver=solver)))
    assert f"currents balance {words}" in page


def test_a_linear_circuit_has_a_page_too():
    circuit = hbsim.Circuit.build(drive={"port": "input", "frequency": "1 GHz", "power": "0 dBm"},
                                  port={"input": {"node": "in"}, "output": {"node": "out"}},
                                  part={"R1": {"kind": "resistor", "nodes": ["in", "out"], "resistance": "50 ohm"}})
    page = prediction_page(predict(circuit, harmonics=2))
    # two thirds of the matched voltage at f0, nothing at the wanted 2 f0: no level, and no loss in figures
    assert re.search(r"1 +1 GHz +-3\.52 dBm", page) and re.search(r"2 +2 GHz +none dBm +none dBc +<- wanted", page)
    assert "Conversion loss    infinite dB" in page and "nan" not in page


def test_warnings_are_on_the_page(circuit):
    page = prediction_page(predict(circuit.with_values({"supply.VCC": "5 V"}), harmonics=4))
    assert "EXCEEDED" in page and "  - Q1: peak collector-emitter voltage reaches" in page


def test_the_list_of_a_sweep(circuit):
    table = circuit.sweep({"supply.VCC": "500:2500:500mV"}, harmonics=4)
    lines = sweep_page(table, None).splitlines()
    names, units = lines[2:4]
    assert re.split(r"\s{2,}", names.strip()) == ["supply.VCC", "f0", "2 f0", "3 f0", "conversion loss", "return loss",
                                                  "I(VCC)"]
    assert units.split() == ["V", "dBm", "dBm", "dBm", "dB", "dB", "mA"]
    for n, line in enumerate(lines[4:9]):
        assert line.endswith("~") == table.unsettled[n]
        cells = [float(cell) for cell in line.removesuffix("~").split()]
        expected = [0.5 * (n + 1), *(table[f"output_dbm_{k}"][n] for k in (1, 2, 3)), table["conversion_loss_db"][n],
                    table["input_return_loss_db"][n], 1e3 * table["supply_amps_VCC"][n]]
        assert cells == pytest.approx(expected, abs=6e-3)
    assert ("~ less sure than 0.01 dB at the wanted line, 0.1 dB at the others above -100 dBm" in lines) \
        == table.unsettled.any()
    assert "What was found." in sweep_page(table, None, ["What was found."]).splitlines()


def test_a_long_list_is_thinned_in_equal_steps(circuit):
    table = circuit.sweep({"drive.power": "-20:0:0.1dBm"}, harmonics=4)
    lines = sweep_page(table, Compression(28.5, 2, -23.95, -20.4)).splitlines()
    rows = [line.removesuffix("~").split() for line in lines[4:] if re.match(r" *-?\d", line)]
    shown = [float(row[0]) for row in rows if len(row) == 7]
    assert len(shown) <= 60 and np.ptp(np.diff(shown)) < 1e-9
    assert f"({len(shown)} of 201 points shown; --csv writes all)" in lines
    assert "-23.95 dBm of drive" in " ".join(lines)


def test_two_quantities_make_grids(circuit):
    table = circuit.sweep({"drive.power": "-10:0:5dBm", "supply.VCC": "1:3:1V"}, harmonics=8)
    assert 0 < table.unsettled.sum() < 9
    lines = sweep_page(table, None).splitlines()
    for title, column in (("Output at 2 f0 / dBm; down: drive.power / dBm; across: supply.VCC / V", "output_dbm_2"),
                          ("Input return loss / dB; down: drive.power / dBm; across: supply.VCC / V",
                           "input_return_loss_db")):
        at = lines.index(title)
        assert [float(cell) for cell in lines[at + 1].split()] == [1.0, 2.0, 3.0]
        rows = [line.split() for line in lines[at + 2:at + 5]]
        marked = [cell.startswith("~") for row in rows for cell in row[1:]]
        assert marked == (list(table.unsettled) if column == "output_dbm_2" else [False] * 9)
        cells = [[float(cell.lstrip("~")) for cell in row] for row in rows]
        assert [row[0] for row in cells] == [-10.0, -5.0, 0.0]
        assert np.array(cells)[:, 1:] == pytest.approx(table[column], abs=6e-3)


def test_unsolved_points_give_their_reason(circuit):
    table = circuit.sweep({"Q1.thermal_resistance": [0.0, 1e6, 2e6, 3e6]}, harmonics=4)
    page = sweep_page(table, None)
    assert page.count("unsolved") == 3 and "1 of 4 points solved" in page
    assert "Not solved at Q1.thermal_resistance = 1e+06 K/W: the junction temperature" in page
    assert "(1 more not solved" in page
    axes = {"Q1.thermal_resistance": [0.0, 1e6], "drive.power": [-5.0, 0.0]}
    grid = sweep_page(circuit.sweep(axes, harmonics=4), None)
    assert re.search(r"1e\+06 +- +-", grid)
