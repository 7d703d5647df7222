"""The walk of examples/bench_2304: its numbers, the faults that it finds, its files against its script."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.fit import fit
from hbsim.bench.load import data_sets
from hbsim.bench.unknowns import unknowns
from hbsim.show.compare_page import compare_page
from hbsim.show.fit_page import fit_page
from hbsim.show.network_page import network_page
from hbsim.studies.network_figures import measured
from hbsim.studies.network_response import network_response

FOLDER = Path(__file__).parents[1] / "examples" / "bench_2304"
SWEEPS = [FOLDER / f"{name}_sweep.csv" for name in ("drive", "supply", "frequency")]
BENCH = {"bench.drive_error_db": "", "bench.output_error_db": ""}
VIAS, FILTER = {"via_*.inductance": "0.1:2nH"}, {"scale filter_*.length": "0.9:1.1"}


@pytest.fixture(scope="module")
def description():
    return hbsim.load(FOLDER.parent / "beacon_2304.toml").description


@pytest.fixture(scope="module")
def fits(description):
    return [fit(data_sets(SWEEPS, description), unknowns(BENCH | free, description))
            for free in (VIAS, FILTER, VIAS | FILTER)]


@pytest.fixture(scope="module")
def before(description):
    return comparisons(description)


def comparisons(description):
    return [item.comparison(item.predict({})) for item in data_sets(SWEEPS, description)]


def test_the_files_are_those_of_the_script(tmp_path):
    spec = importlib.util.spec_from_file_location("make_measurements", FOLDER / "make_measurements.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.main(tmp_path)
    written = sorted(path.name for path in tmp_path.iterdir())
    assert written == ["drive_sweep.csv", "filter.s2p", "frequency_sweep.csv", "supply_sweep.csv"]
    for name in written:
        assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes(), name


def test_one_suspect_does_not_explain_the_data_and_two_do(fits):
    """Of chi square with n degrees of freedom, the root of its mean share scatters by 1 / sqrt(2 n) about 1 (Fisher;
    from memory): 0.09 for 58. Four of these above 1 is more than chance gives."""
    vias, filter_, both = (found.worth for found in fits)
    room = 4 / np.sqrt(2 * both.freedom)
    assert vias.scatter > 1 + room and filter_.scatter > 1 + room
    assert abs(both.scatter - 1) < room


def test_the_faults_that_were_built_in_are_found(fits):
    built_in = {"via_*.inductance": 0.55e-9, "scale filter_*.length": 1.03, "bench.drive_error_db": -0.4,
                "bench.output_error_db": 0.3}
    found = fits[2]
    assert found.finished and not found.at_limit
    for name, value in built_in.items():  # 3 standard errors: 1 in 370 by chance, and the seed is fixed
        assert abs(found.values[name] - value) < 3 * found.errors[name], name
        assert found.errors[name] < {"via_*.inductance": 0.05e-9}.get(name, 0.1), name


def test_the_disagreement_is_seen_before_and_not_after(before, fits):
    assert all(one.quantities["output_dbm_2"].verdict.startswith("disagrees") for one in before)
    assert not before[0].quantities["output_dbm_1"].outside_band
    assert not any(item.outside_band for one in fits[2].comparisons_after for item in one.quantities.values())
    for one, same in zip(before, fits[2].comparisons_before):  # bands too, which depend on the states of the prediction
        for name, item in one.quantities.items():
            np.testing.assert_allclose(same.quantities[name].measured.low, item.measured.low, rtol=1e-6)
            np.testing.assert_allclose(same.quantities[name].predicted, item.predicted, rtol=1e-6)


def test_the_numbers_in_its_readme_are_those_of_the_commands(description, before, fits):
    inside = {address: value for item in fits[2].unknowns if not item.address.startswith("bench.")
              for address, value in item.settings(fits[2].values[item.address]).items()}
    filter_alone = fit(data_sets([FOLDER / "filter.s2p"], description),
                       unknowns({"scale filter_*.length": "0.9:1.1"}, description))
    assert filter_alone.values["scale filter_*.length"] == pytest.approx(1.03, abs=1e-3)
    pages = [compare_page("", before), *(fit_page("", found) for found in (*fits, filter_alone)),
             compare_page("", comparisons(description.with_values(inside)))]
    longer = {"filter_1.length": "18.13 mm", "filter_2.length": "17.72 mm", "filter_3.length": "18.13 mm"}
    for circuit in (description, description.with_values(longer)):
        response = network_response(circuit, np.linspace(1.8e9, 2.8e9, 51), ["f_0", "f_3"],
                                    parts=["filter_1", "filter_2", "filter_3"])
        pages.append(network_page(response, measured(str(FOLDER / "filter.s2p"), response)))
    printed = {line.strip() for page in pages for line in page.splitlines()}
    blocks = (FOLDER / "README.md").read_text(encoding="utf-8").split("```text\n")[1:]
    told = [line.strip() for block in blocks for line in block.split("```")[0].splitlines()]
    assert len(told) > 40
    assert [line for line in told if line and line not in printed] == []
