"""Unknowns that move several quantities: against linear regression by numpy, and what is refused."""

from pathlib import Path

import numpy as np
import pytest

import hbsim
from hbsim.bench.dataset import DataSet
from hbsim.bench.fit import fit
from hbsim.bench.unknowns import Unknown, unknowns
from hbsim.errors import Refusal
from hbsim.quantities import Quantity
from hbsim.studies.linked import Link

BEACON = Path(__file__).parents[2] / "examples" / "beacon_2304.toml"
X = np.linspace(1.0, 4.0, 9)
Y = 5.0 * X + np.sin(7 * X)  # no line: there is something left over


class Plane(DataSet):
    """y = (a + 2 b) x."""

    name = "plane"

    def __init__(self):
        self.measured, self.standard, self.limit = Y, np.full(X.size, 0.5), np.zeros(X.size, int)
        self.labels, self.units = [f"number {i}" for i in range(X.size)], ["1"] * X.size

    def addresses(self):
        return ["a", "b"]

    def predict(self, values):
        return (values["a"] + 2 * values["b"]) * X

    def slopes(self, addresses):
        return np.array([{"a": X, "b": 2 * X}[address] for address in addresses]).T

    def comparison(self, predicted):
        return None  # nobody looks at it


@pytest.mark.parametrize("link, share", [(Link(("a", "b")), 3.0), (Link(("a", "b"), (0.5, 2.0)), 4.5)])
def test_several_quantities_as_one_unknown_are_one_column_of_linear_regression(link, share):
    # one value of both: y = 3 v x; a factor on 0.5 and 2: y = (0.5 + 4) v x; least squares of one slope by hand
    found = fit([Plane()], [Unknown("both", Quantity("1"), 1.0, -np.inf, np.inf, False, False, link)])
    assert found.values["both"] == pytest.approx((X @ Y) / (X @ X) / share, rel=1e-6)
    assert found.errors["both"] == pytest.approx(0.5 / np.sqrt(X @ X) / share, rel=1e-6)


def test_patterns_and_factors_are_those_of_a_sweep():
    description = hbsim.load(BEACON).description
    vias, scale = unknowns({"via_*.inductance": "0.1:2nH", "scale filter_*.length": "0.9:1.1"}, description)
    assert vias.settings(0.5e-9) == {"via_1.inductance": 0.5e-9, "via_2.inductance": 0.5e-9}
    assert vias.start == 0.3e-9 and scale.start == 1.0
    assert scale.settings(1.03) == pytest.approx({"filter_1.length": 18.128e-3, "filter_2.length": 17.716e-3,
                                                  "filter_3.length": 18.128e-3})
    assert scale.moves() == pytest.approx({"filter_1.length": 17.6e-3, "filter_2.length": 17.2e-3,
                                           "filter_3.length": 17.6e-3})


def test_what_cannot_be_linked_is_refused():
    description = hbsim.load(BEACON).description
    with pytest.raises(Refusal, match="different values now"):
        unknowns({"filter_*.length": ""}, description)
    with pytest.raises(Refusal, match="free twice"):
        unknowns({"via_*.inductance": "", "via_1.inductance": ""}, description)
