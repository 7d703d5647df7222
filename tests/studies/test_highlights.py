"""What a sweep says in words agrees with the table and with single solves."""

import numpy as np
import pytest

import hbsim
from hbsim.studies.highlights import highlights
from hbsim.studies.table import SweepTable


@pytest.fixture(scope="module")
def circuit(examples):
    return hbsim.load(examples / "lumped_doubler.toml")


def test_best_points_and_ratings_agree_with_single_solves(circuit):
    table = circuit.sweep({"supply.VCC": "1:6:0.5 V"}, harmonics=8)
    said = highlights(circuit.description, table)
    best = table["supply.VCC"][np.argmax(table["output_dbm_2"])]
    assert f"Most output at harmonic 2: {table['output_dbm_2'].max():.2f} dBm at supply.VCC = {best:g} V" in said[0]
    within = [v for v in table["supply.VCC"]
              if not any(r.exceeded for r in circuit.solve({"supply.VCC": v}, harmonics=8).devices["Q1"].ratings)]
    assert 0 < len(within) < len(table["supply.VCC"])  # the case tells the two apart
    level = max(circuit.solve({"supply.VCC": v}, harmonics=8).output_dbm(2) for v in within)
    assert any("RATINGS EXCEEDED" in line and "collector-emitter voltage" in line for line in said)
    assert any(f"Most output within the ratings: {level:.2f} dBm" in line for line in said)
    match = table["supply.VCC"][np.argmax(table["input_return_loss_db"])]
    assert any(line.startswith("Best input return loss") and f"supply.VCC = {match:g} V" in line for line in said)


def test_the_end_of_a_range_is_pointed_out(circuit):
    table = circuit.sweep({"drive.power": "-20:-10:2 dBm"}, harmonics=4)
    assert "(the end of the range of drive.power)" in highlights(circuit.description, table)[0]


def test_a_jump_is_pointed_out(circuit):
    levels = np.array([0.0, 0.1, 0.2, 2.0, 2.1, 2.2])
    columns = {"output_dbm_2": levels, "input_return_loss_db": np.full(6, 10.0), "solved": np.ones(6, bool),
               "conversion_loss_db": -levels, "truncation_db": np.zeros(6), "truncation_others_db": np.zeros(6)}
    table = SweepTable("t", {"supply.VCC": np.arange(1.0, 7.0)}, {"supply.VCC": "V"}, columns, 2)
    said = highlights(circuit.description, table)
    assert any("jumps by 1.8 dB between supply.VCC = 3 V and 4 V" in line for line in said)
