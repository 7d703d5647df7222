"""The exponential and the logarithm that loops can take several samples at a time of, against numpy's long double."""

import numpy as np
import pytest

from hbsim.devices.elementary import exponential, logarithm

RANGES = {"wide": (-700.0, 700.0), "junctions": (-45.0, 60.0), "small": (-1e-3, 1e-3), "smallest": (-1e-12, 1e-12)}


def units_in_last_place(found, exact):
    return np.abs(((found - exact) / np.spacing(np.abs(exact.astype(float)))).astype(float))


@pytest.fixture(autouse=True)
def long_double_is_longer():
    if np.finfo(np.longdouble).eps > 1e-18:
        pytest.skip("long double is no longer than double here")


@pytest.mark.parametrize("name", RANGES)
def test_exponential_is_good_to_two_units_in_the_last_place(name):
    x = np.random.default_rng(1).uniform(*RANGES[name], 20000)
    found = np.array([exponential(v) for v in x])
    assert units_in_last_place(found, np.exp(x.astype(np.longdouble))).max() < 2.0


@pytest.mark.parametrize("decades", (1e-6, 0.01, 0.2, 3.0, 300.0))
def test_logarithm_is_good_to_two_units_in_the_last_place(decades):
    # near 1 too, where the sum of the power's and the rest's logarithms could cancel
    x = 10.0 ** np.random.default_rng(2).uniform(-decades, decades, 20000)
    found = np.array([logarithm(v) for v in x])
    assert units_in_last_place(found, np.log(x.astype(np.longdouble))).max() < 2.0


def test_they_are_exact_where_the_answer_is_a_plain_number():
    assert exponential(0.0) == 1.0 and logarithm(1.0) == 0.0
