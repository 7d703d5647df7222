"""Families of DC curves, in every way people write them: read as one table, compared, and fitted.

Expected numbers are those written in the text; of the device, those of its own law, written out and read back.
"""

from pathlib import Path

import numpy as np
import pytest

from hbsim.bench.device_alone import device_alone
from hbsim.bench.fit import fit
from hbsim.bench.load import data_sets
from hbsim.bench.mapping import mapping_of
from hbsim.bench.reader import interpret
from hbsim.bench.readings import MISSING
from hbsim.bench.text import decode
from hbsim.bench.unknowns import unknowns
from hbsim.errors import Refusal
from hbsim.studies.bias import CURRENT_SOURCE, Bias

MODELS = Path(__file__).parents[2] / "models" / "transistors"


def read(text, **said):
    return interpret(decode(text.encode(), "x.csv"), mapping_of(said))


WIDE = "VCE (V);IC[mA] @ IB = 10 uA;IC[mA] @ IB = 20 uA\n0,5;1;2\n1;1,1;2,2\n5;1,2;2,3\n"


@pytest.mark.parametrize("text", [
    WIDE, WIDE.replace("IC[mA] @ IB = 10 uA", "Ic (Ib=10µA) [mA]").replace("IC[mA] @ IB = 20 uA", "Ic (Ib=20µA) [mA]"),
    WIDE.replace("IC[mA] @ IB = 10 uA", "IC@IB=0,01mA (mA)").replace("IC[mA] @ IB = 20 uA", "IC@IB=0,02mA (mA)"),
    WIDE.replace("IC[mA] @ IB", "IC (mA) at IB"), WIDE.replace("IC[mA] @ IB", "IC (mA), IB"),
    "VCE,IC@IB=10uA,IC@IB=20uA\n[V],[mA],[mA]\n0.5,1,2\n1,1.1,2.2\n5,1.2,2.3\n",
    "VCE@IB=10uA,IC@IB=10uA,VCE@IB=20uA,IC@IB=20uA\n[V],[mA],[V],[mA]\n0.5,1,0.5,2\n1,1.1,1,2.2\n5,1.2,5,2.3\n",
    "VCE (V),IC (mA)\n# IB: 1e-5 A\n0.5,1\n1,1.1\n5,1.2\n# IB: 2e-5 A\n0.5,2\n1,2.2\n5,2.3\n",
    "IB = 10 uA\nVCE (V),IC (mA)\n0.5,1\n1,1.1\n5,1.2\n\nIB = 20 uA\nVCE (V),IC (mA)\n0.5,2\n1,2.2\n5,2.3\n",
    "VCE (V),IC (mA)\nIB = 10 uA\n0.5,1\n1,1.1\n5,1.2\n\nIB = 20 uA\n0.5,2\n1,2.2\n5,2.3\n",
    "VCE (V)  IC (mA)\n# Curve 1: IB = 10 uA\n0.5 1\n1 1.1\n5 1.2\n\n# Curve 2: IB = 20 uA\n0.5 2\n1 2.2\n5 2.3\n"])
def test_one_family_in_many_forms(text):
    readings = read(text)
    volts, amps, step = readings.columns
    assert [column.unit for column in readings.columns] == ["V", "A", "A"] and step.name.upper() == "IB"
    np.testing.assert_allclose(volts.values, [0.5, 1, 5] * 2, rtol=1e-15)
    np.testing.assert_allclose(amps.values, [1e-3, 1.1e-3, 1.2e-3, 2e-3, 2.2e-3, 2.3e-3], rtol=3e-16)  # one rounding
    np.testing.assert_allclose(step.values, [1e-5] * 3 + [2e-5] * 3, rtol=3e-16)
    assert readings.sweep.tolist() == [0, 0, 0, 1, 1, 1]
    assert len(set(readings.lines)) == (3 if "@" in text or "Ic" in text or "at IB" in text or ", IB" in text else 6)


def test_what_was_understood_is_said():
    assert any("the names of the columns tell of 2 curves (IC[mA] at IB = 1e-05, 2e-05 A)" in note
               for note in read(WIDE).notes)


def test_missing_points_shared_columns_and_repeated_curves_stay():
    readings = read("No.;VCE (V);IC@IB=10uA (mA);IC@IB=10uA (mA);IC@IB=20uA (mA)\n1;0,5;1;1,5;2\n2;1;--;1,6;\n")
    assert readings.sweep.tolist() == [0, 0, 1, 1, 2, 2]  # the second curve at 10 uA is a sweep of its own
    amps = readings.column("IC (mA)")
    np.testing.assert_allclose(amps.values, [1e-3, np.nan, 1.5e-3, 1.6e-3, 2e-3, np.nan], rtol=3e-16)
    assert amps.flags == {1: MISSING, 5: MISSING} and readings.column("No.").values.tolist() == [1, 2] * 3
    one = read("V (V),I@T=25 degC (A),U@T=25 degC (V),I@T=85 degC (A)\n1,2,3,4\n2,3,4,5\n")
    assert one.column("T").values.tolist() == [298.15] * 2 + [358.15] * 2
    assert one.column("U (V)").flags == {2: MISSING, 3: MISSING}


def test_negative_signs_stay_as_written():
    readings = read("VCE (V),IE@IB=-10uA (mA),IE@IB=-20uA (mA)\n-0.5,1,2\n-1,1.1,2.2\n")
    assert readings.column("IE (mA)").values.min() > 0 and readings.columns[0].values.tolist() == [-0.5, -1] * 2
    np.testing.assert_allclose(readings.column("IB").values, [-1e-5] * 2 + [-2e-5] * 2, rtol=3e-16)


def test_blocks_of_families_in_columns():
    readings = read("VCE (V),IC@IB=1 mA (A),IC@IB=2 mA (A)\n# T: 25 degC\n1,1,2\n2,3,4\n\n# T: 85 degC\n1,5,6\n2,7,8\n")
    assert readings.column("T").values.tolist() == [298.15] * 4 + [358.15] * 4
    assert readings.column("IC (A)").values.tolist() == [1, 3, 2, 4, 5, 7, 6, 8]
    assert readings.sweep.tolist() == [0, 0, 1, 1, 2, 2, 3, 3]


def test_a_value_without_a_unit_or_quantity_needs_a_word():
    blocks = "VCE (V),IC (mA)\n# IB: 10\n1,1\n2,2\n\n# IB: 20\n1,3\n2,4\n"
    assert any("'IB' stands above each block and differs, but has no unit" in note for note in read(blocks).notes)
    said = read(blocks, columns={"IB": {"is": "base_amps", "unit": "uA"}}).column("IB")
    assert said.meaning == "base_amps" and said.values == pytest.approx([1e-5, 1e-5, 2e-5, 2e-5], rel=1e-15)
    bare = "Vce [V];Ib=10uA;Ib=20uA\n0,5;1;2\n1;1,1;2,2\n"
    assert read(bare).column("Value").unit == ""
    assert read(bare, columns={"Value": {"unit": "mA"}}).column("Value").values.max() == pytest.approx(2.2e-3)
    for cells in ("1,1 mA,2 V\n2,1 mA,2 V\n", "[V],[mA],[uA]\n1,2,3\n2,3,4\n"):
        with pytest.raises(Refusal, match="'IC' are in different units"):
            read("VCE (V),IC@IB=1mA,IC@IB=2mA\n" + cells)
    assert read("VCE (V),IC@IB=1mA,IC@IB=2mA\n1,1 mA,2 A\n").column("IC").values.tolist() == [1e-3, 2.0]


def test_remarks_that_do_not_change_part_nothing():
    readings = read("f (Hz),P (dBm)\n# RBW: 1 kHz\n1,2\n2,3\n# RBW: 1 kHz\n3,4\n# a remark\n4,5\n")
    assert set(readings.sweep) == {0} and len(readings.columns) == 2


@pytest.fixture
def model(tmp_path):
    (tmp_path / "mine.toml").write_text((MODELS / "npn-25ghz.toml").read_text())
    return device_alone(tmp_path / "mine.toml")


TRUTH = {"device.BF": 90.0, "device.VAF": 25.0}
STEPS, VOLTS = (20e-6, 50e-6, 100e-6), np.linspace(0.4, 3.0, 9)


def curves(device, steps=STEPS, sign=1.0):
    """Currents into base and collector at steps of the base current, (n_step, n_volt, 2)."""
    bias = Bias(device, {"base": CURRENT_SOURCE, "collector": 0.0})
    return np.array([bias.sweep(np.stack([np.full(len(VOLTS), sign * step), sign * VOLTS], axis=1))[1]
                     for step in steps])


def in_columns(flows):
    names = ["VCE (V)"] + [f"IC@IB={step * 1e6:g}uA (mA)" for step in STEPS]
    return ",".join(names) + "\n" + "".join(
        f"{v:.6g}," + ",".join(f"{flows[k, row, 1] * 1e3:.10g}" for k in range(len(STEPS))) + "\n"
        for row, v in enumerate(VOLTS))


def in_blocks(flows):
    return "VCE (V),IC (mA)\n" + "\n".join(
        f"IB = {step * 1e6:g} uA\n" + "".join(f"{v:.6g},{amps * 1e3:.10g}\n" for v, amps in zip(VOLTS, flows[k, :, 1]))
        for k, step in enumerate(STEPS))


BENCH = '[columns]\n"VCE" = "collector_volts"\n"IC" = "collector_amps"\n"IB" = "base_amps"\n' \
        '[uncertainty]\ncollector_amps = "1 %"\n'


@pytest.mark.parametrize("written", [in_columns, in_blocks])
def test_a_family_gives_current_gain_and_early_voltage_back(tmp_path, model, written):
    """Curves of the device with another BF and VAF, ten digits written: compare gives them back, fit finds them."""
    flows = curves(model.with_values(TRUTH).devices["device"].part)
    (tmp_path / "family.csv").write_text(written(flows))
    (tmp_path / "family.toml").write_text(BENCH)
    sets = data_sets([tmp_path / "family.csv"], model, harmonics=None)
    compared = sets[0].comparison(sets[0].predict(TRUTH))
    item = compared.quantities["collector_amps"]
    # Ten digits of the currents; the solver's balance of a current source is finer.
    assert item.measured.values == pytest.approx(flows[:, :, 1].ravel(), rel=1e-9)
    assert item.predicted == pytest.approx(item.measured.values, rel=1e-7)
    assert compared.settings["base_amps"] == pytest.approx(np.repeat(STEPS, len(VOLTS)), rel=1e-12)
    found = fit(sets, unknowns(dict.fromkeys(TRUTH, ""), model))
    for address, value in TRUTH.items():
        assert found.values[address] == pytest.approx(value, rel=1e-4)


def test_a_family_of_a_pnp_is_negative_throughout(tmp_path):
    (tmp_path / "mine.toml").write_text((MODELS / "pnp-5ghz.toml").read_text())
    model = device_alone(tmp_path / "mine.toml")
    flows = curves(model.with_values(TRUTH).devices["device"].part, sign=-1.0)
    text = in_columns(flows).replace("IB=", "IB=-").replace("\n", "\n-").removesuffix("-")  # VCE and IB below zero
    (tmp_path / "family.csv").write_text(text)
    (tmp_path / "family.toml").write_text(BENCH)
    sets = data_sets([tmp_path / "family.csv"], model, harmonics=None)
    assert (flows[:, :, 1] < 0).all() and (sets[0].measurement.settings["collector_volts"] < 0).all()
    found = fit(sets, unknowns(dict.fromkeys(TRUTH, ""), model))
    for address, value in TRUTH.items():
        assert found.values[address] == pytest.approx(value, rel=1e-4)


def test_emitter_currents_in_place_of_collector_currents(tmp_path, model):
    """What flows into base, collector and emitter is zero together (G. Kirchhoff, 1845): IE = -IB - IC."""
    flows = curves(model.devices["device"].part)
    emitter = -flows.sum(axis=2)
    assert (emitter < 0).all()  # out of an NPN
    (tmp_path / "ie.csv").write_text("VCE (V)," + ",".join(f"IE@IB={step * 1e6:g}uA (mA)" for step in STEPS) + "\n"
                                     + "".join(f"{v:.6g}," + ",".join(f"{e * 1e3:.10g}" for e in emitter[:, row]) + "\n"
                                               for row, v in enumerate(VOLTS)))
    (tmp_path / "ie.toml").write_text(BENCH.replace("IC", "IE").replace("collector_amps", "emitter_amps"))
    one = data_sets([tmp_path / "ie.csv"], model, harmonics=None)[0]
    item = one.comparison(one.predict({})).quantities["emitter_amps"]
    assert (item.measured.values < 0).all()
    assert item.predicted == pytest.approx(item.measured.values, rel=1e-7)


def test_currents_written_the_other_way_are_refused_with_the_mend(tmp_path, model):
    (tmp_path / "way.csv").write_text(in_columns(-curves(model.devices["device"].part)))
    (tmp_path / "way.toml").write_text(BENCH)
    with pytest.raises(Refusal, match="all numbers of collector_amps have the other sign.*scale = -1"):
        data_sets([tmp_path / "way.csv"], model, harmonics=None)[0].predict({})
    (tmp_path / "way.toml").write_text(BENCH.replace('"collector_amps"', '{ is = "collector_amps", scale = -1 }'))
    one = data_sets([tmp_path / "way.csv"], model, harmonics=None)[0]
    assert one.predict({}) == pytest.approx(one.measured, abs=1e-7)
