"""Operations on measured data against worked values, closed forms and transfer matrices computed here.

Outside sources: Touchstone File Format Specification, Version 2.1 (1.x Z data are divided by R: 2.5 - 1.5j with R 10
is 25 - 15j ohm); S, Z and ABCD parameters of 2-ports from D. A. Frickey, IEEE Trans. MTT-42 (1994) 205-211 and D. M.
Pozar, Microwave Engineering, 4th ed., Wiley 2012, ch. 4 (from memory). Tolerances are rounding times the condition of
the matrices that hypothesis may draw, unless said otherwise.
"""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear.block import TouchstoneBlock
from hbsim.linear.lines import Line, OpenStub
from hbsim.linear.lumped import Capacitor, Resistor
from hbsim.linear.measured import cascaded, renormalised, reordered, without_fixture, without_fixtures
from hbsim.linear.network import Element
from hbsim.linear.passivity import losslessness, passivity, reciprocity
from hbsim.linear.response import scattering
from hbsim.linear.touchstone import TouchstoneData, read_touchstone

GHZ = 1e9
FILES = Path(__file__).parent / "touchstone_files"
SEEDS = st.integers(0, 2**32 - 1)


def data(frequency, s, reference, **more):
    return TouchstoneData("invented.s2p", np.asarray(frequency, float), np.asarray(s, complex),
                          np.asarray(reference, float), **more)


def drawn(seed, ports, points=3, gain=0.9):
    """Random data whose largest singular value is `gain`, unequal references."""
    random = np.random.default_rng(seed)
    s = random.normal(size=(points, ports, ports, 2)) @ [1, 1j]
    s *= gain / np.linalg.norm(s, 2, axis=(1, 2))[:, None, None]
    return data(GHZ * np.arange(1, points + 1), s, random.uniform(5, 300, ports))


def z_of(s, reference):
    """Z = R^1/2 (1 - S)^-1 (1 + S) R^1/2."""
    root, one = np.sqrt(reference), np.eye(len(reference))
    return root[:, None] * np.linalg.solve(one - s, one + s) * root


def s_of_z(z, reference):
    root, one = np.sqrt(reference), np.eye(len(reference))
    z = z / root[:, None] / root
    return (z - one) @ np.linalg.inv(z + one)


def abcd(s, r1, r2):
    """Frickey, as above, for real references."""
    s11, s12, s21, s22 = s[:, 0, 0], s[:, 0, 1], s[:, 1, 0], s[:, 1, 1]
    t = np.array([[(r1 + s11 * r1) * (1 - s22) + s12 * s21 * r1, ((r1 + s11 * r1) * (r2 + s22 * r2)
                                                                   - s12 * s21 * r1 * r2)],
                  [(1 - s11) * (1 - s22) - s12 * s21, (1 - s11) * (r2 + s22 * r2) + s12 * s21 * r2]])
    return np.moveaxis(t, 2, 0) / (2 * s21 * np.sqrt(r1 * r2))[:, None, None]


# -- renormalisation -----------------------------------------------------------------------------------------------


def test_worked_value_of_a_one_port():
    # 25 - 15j ohm: in 10 ohm 15.0 - 15j over 35 - 15j, in 50 ohm -25 - 15j over 75 - 15j
    found = read_touchstone(FILES / "04_z_normalised_v1.s1p")
    np.testing.assert_allclose(found.s[0, 0, 0], (15 - 15j) / (35 - 15j), rtol=1e-14)
    np.testing.assert_allclose(found.s[0, 0, 0], 0.5172413793 - 0.2068965517j, atol=1e-10)
    changed = renormalised(found, 50.0)
    np.testing.assert_allclose(changed.s[0, 0, 0], -0.2820512821 - 0.2564102564j, atol=1e-10)
    np.testing.assert_allclose(changed.s[0, 0, 0], (-25 - 15j) / (75 - 15j), rtol=1e-14)
    assert changed.reference.tolist() == [50.0] and found.reference.tolist() == [10.0]
    assert changed.notes == (*found.notes, "renormalised from 10 ohm to 50 ohm")


@settings(max_examples=60)
@given(seed=SEEDS, ports=st.integers(1, 5))
def test_renormalisation_goes_there_and_back_and_through_z(seed, ports):
    before = drawn(seed, ports)
    new = np.random.default_rng(seed + 1).uniform(5, 300, ports)
    there = renormalised(before, new)
    np.testing.assert_allclose(there.s, s_of_z(z_of(before.s, before.reference), new), atol=1e-11)
    back = renormalised(there, before.reference)
    np.testing.assert_allclose(back.s, before.s, atol=1e-12)
    assert passivity(there).value <= 1 + 1e-12  # passive stays passive


@settings(max_examples=30)
@given(seed=SEEDS, ports=st.integers(1, 4))
def test_lossless_and_reciprocal_stay_so(seed, ports):
    random = np.random.default_rng(seed)
    x = random.normal(size=(2, ports, ports))
    s = s_of_z(1j * 50 * (x + x.swapaxes(1, 2)), np.full(ports, 50.0))
    changed = renormalised(data([GHZ, 2 * GHZ], s, [50.0] * ports), random.uniform(10, 200, ports))
    assert losslessness(changed).value < 1e-11 and reciprocity(changed).value < 1e-11


def test_ideal_open_short_and_through_have_no_z_or_y_and_are_renormalised():
    s = [[[1, 0], [0, -1]], [[0, 1], [1, 0]], [[-1, 0], [0, 1]]]
    found = renormalised(data([GHZ, 2 * GHZ, 3 * GHZ], s, [50, 50]), [75.0, 20.0])
    np.testing.assert_array_equal(found.s[0], np.diag([1, -1]))
    np.testing.assert_array_equal(found.s[2], np.diag([-1, 1]))
    # a through between R1 and R2: (R2 - R1)/(R1 + R2) and 2 sqrt(R1 R2)/(R1 + R2), a voltage divider
    through = np.array([[-55, 2 * np.sqrt(1500)], [2 * np.sqrt(1500), 55]]) / 95
    np.testing.assert_allclose(found.s[1], through, atol=1e-14)


@pytest.mark.parametrize("against, stated", [(50.0, None), (20.0, 20.0)])
def test_renormalisation_turns_the_best_source_and_keeps_the_rest_of_the_noise(against, stated):
    # the best source itself stays the same impedance: Z = R (1 + G)/(1 - G)
    noise = np.array([[GHZ, 1.1, 0.262, 25.0, 11.0]])
    before = data([GHZ], [[[0.1, 0.2], [3.0, 0.4]]], [50, 50], noise=noise, noise_reference=stated)
    changed = renormalised(before, [75.0, 50.0])
    after = changed.noise[0]
    assert changed.noise_reference is None  # that is, the reference of port 1

    def source(row, reference):
        best = row[2] * np.exp(1j * np.radians(row[3]))
        return reference * (1 + best) / (1 - best)

    np.testing.assert_allclose(source(after, 75.0), source(noise[0], against), rtol=1e-13)
    assert after[[0, 1, 4]].tolist() == [GHZ, 1.1, 11.0] and before.noise is noise


@pytest.mark.parametrize("reference, words", [
    ([50.0, 50.0, 50.0], "3 reference resistances for 2 ports"), (0.0, "above zero"), (np.inf, "finite"),
    ([50.0, -3.0], "above zero"), (np.nan, "finite")])
def test_references_that_are_refused(reference, words):
    with pytest.raises(Refusal, match=words):
        renormalised(drawn(1, 2), reference)


def test_an_active_part_that_would_just_oscillate_is_refused():
    # S = 3 in 50 ohm is R = -100 ohm: in 100 ohm there is no S
    with pytest.raises(Refusal, match="at 2 GHz ended in these resistances the part would oscillate"):
        renormalised(data([GHZ, 2 * GHZ], [[[0.5]], [[3.0]]], [50.0]), 100.0)


# -- order of ports ------------------------------------------------------------------------------------------------


@settings(max_examples=40)
@given(st.integers(1, 5).flatmap(lambda p: st.tuples(st.permutations(range(1, p + 1)), SEEDS)))
def test_reordering_is_a_permutation(case):
    order, seed = case
    before = drawn(seed, len(order))
    after = reordered(before, order)
    for new_i, i in enumerate(order):
        assert after.reference[new_i] == before.reference[i - 1]
        for new_j, j in enumerate(order):
            assert (after.s[:, new_i, new_j] == before.s[:, i - 1, j - 1]).all()
    back = reordered(after, [order.index(port) + 1 for port in range(1, len(order) + 1)])
    assert (back.s == before.s).all() and (back.reference == before.reference).all()
    assert passivity(after).value == pytest.approx(passivity(before).value, rel=1e-12)


@pytest.mark.parametrize("ports", [[1], [1, 1], [0, 1], [1, 2, 3], []])
def test_an_order_names_every_port_once(ports):
    with pytest.raises(Refusal, match=r"no order of 2 ports; name each from 1 to 2 once, such as \[2, 1\]"):
        reordered(drawn(1, 2), ports)


def test_noise_does_not_survive_turning_round():
    before = data([GHZ], [[[0.1, 0.2], [3.0, 0.4]]], [50, 50], noise=np.array([[GHZ, 1, 0.1, 20.0, 5.0]]))
    after = reordered(before, [2, 1])
    assert after.noise is None and any("noise parameters left out" in note for note in after.notes)
    assert reordered(before, [1, 2]) is before


# -- in a row ------------------------------------------------------------------------------------------------------


@settings(max_examples=60)
@given(seed=SEEDS, count=st.integers(2, 4))
def test_a_row_is_the_product_of_transfer_matrices(seed, count):
    every = [drawn(seed + n, 2) for n in range(count)]
    assume(min(np.abs(one.s[:, 1, 0]).min() for one in every) > 0.05)
    found = cascaded(*every)
    product = np.eye(2)
    for one in every:
        product = product @ abcd(one.s, *one.reference)
    scale = np.abs(product).max(axis=(1, 2))[:, None, None]
    np.testing.assert_allclose(abcd(found.s, *found.reference) / scale, product / scale, atol=1e-9)
    assert found.reference.tolist() == [every[0].reference[0], every[-1].reference[1]]
    assert passivity(found).value <= 1 + 1e-12


def test_a_row_needs_no_transmission():
    # an isolator's dead direction and an open in the row have no transfer matrix
    dead = data([GHZ], [[[0.2, 0.0], [0.5, 0.3]]], [50, 50])
    opened = data([GHZ], [[[1, 0], [0, 1]]], [50, 50])
    np.testing.assert_allclose(cascaded(dead, opened).s[0], [[0.2, 0], [0, 1]], atol=1e-15)
    np.testing.assert_allclose(cascaded(dead, dead).s[0, 1, 0], 0.25 / (1 - 0.3 * 0.2), rtol=1e-14)


def line_data(frequency, delay, name="line.s2p"):
    s = np.zeros((len(frequency), 2, 2), complex)
    s[:, 0, 1] = s[:, 1, 0] = np.exp(-2j * np.pi * frequency * delay)
    return TouchstoneData(name, frequency, s, np.array([50.0, 50.0]))


def test_a_row_on_the_common_range_with_other_points():
    first = line_data(np.linspace(1, 3, 41) * GHZ, 0.1e-9, "a.s2p")
    second = line_data(np.linspace(0.5, 2.5, 67) * GHZ, 0.2e-9, "b.s2p")
    found = cascaded(first, second)
    assert found.frequency.tolist() == first.frequency[:31].tolist() and found.file == "'a.s2p' + 'b.s2p'"
    # steps of 2.2 deg; the spline's end interval is its worst: about (0.038)^4 / 24
    np.testing.assert_allclose(found.s[:, 1, 0], np.exp(-2j * np.pi * found.frequency * 0.3e-9), atol=1e-7)
    said = "\n".join(found.notes)
    assert "10 points of 'a.s2p' lie outside" in said and "'b.s2p' has other points and is interpolated" in said


def test_rows_that_are_refused():
    first = line_data(np.linspace(1, 2, 5) * GHZ, 0.1e-9, "a.s2p")
    with pytest.raises(Refusal, match="from 1 GHz to 2 GHz, 'b.s2p' from 3 GHz to 4 GHz"):
        cascaded(first, line_data(np.linspace(3, 4, 5) * GHZ, 0.1e-9, "b.s2p"))
    with pytest.raises(Refusal, match="it has 3 ports"):
        cascaded(first, drawn(1, 3))
    resonant = data([GHZ], [[[0.0, 0.0], [0.0, 1.0]]], [50, 50])
    with pytest.raises(Refusal, match="resonates without loss at 1 GHz"):
        cascaded(resonant, reordered(resonant, [2, 1]))


# -- fixtures ------------------------------------------------------------------------------------------------------


@settings(max_examples=60)
@given(seed=SEEDS)
def test_removing_a_fixture_undoes_the_row(seed):
    left, part, right = (drawn(seed + n, 2) for n in range(3))
    assume(min(np.abs(one.s[:, [0, 1], [1, 0]]).min() for one in (left, right)) > 0.1)
    whole = cascaded(left, part, right)
    bare = without_fixtures(whole, {1: left, 2: reordered(right, [2, 1])})
    np.testing.assert_allclose(renormalised(bare, part.reference).s, part.s, atol=1e-9)
    one_by_one = without_fixture(without_fixture(whole, 2, reordered(right, [2, 1])), 1, left)
    np.testing.assert_allclose(one_by_one.s, bare.s, atol=1e-9)


OMEGA = 2 * np.pi * np.linspace(0, 6, 25) * GHZ
ADAPTER = Line(impedance=61.0, electrical_length=50.0, at=2 * GHZ, loss=0.3)


def three_port(fixtures):
    """A lossy three-port of our own, solved by the network, with lines in front of some ports."""
    elements = [Element(f"R{n}", Resistor(resistance=20.0 * n), (f"i{n}", "star")) for n in (1, 2, 3)]
    elements += [Element("C", Capacitor(capacitance=1e-12), ("star", "i2"))]
    elements += [Element(f"L{n}", part, (f"o{n}", f"i{n}")) for n, part in fixtures.items()]
    ends = [(f"o{n}" if n in fixtures else f"i{n}", "ground") for n in (1, 2, 3)]
    reference = np.array([50.0, 75.0, 30.0])
    return data(OMEGA / (2 * np.pi), scattering(elements, ends, reference, OMEGA), reference)


@pytest.mark.parametrize("at", [(1,), (3,), (1, 2), (1, 2, 3)])
def test_lines_are_removed_from_any_port_of_a_solved_network(at):
    fixtures = dict.fromkeys(at, ADAPTER)
    found = without_fixtures(three_port(fixtures), fixtures)
    np.testing.assert_allclose(found.s, three_port({}).s, atol=1e-12)
    assert [note for note in found.notes] == [f"port {n}: a line removed from the data" for n in at]


def test_a_fixture_that_loses_much_enlarges_errors_and_says_so():
    lossy = Line(impedance=50.0, electrical_length=10.0, at=GHZ, loss=12.0)
    said = " ".join(without_fixture(line_data(np.linspace(0.5, 1, 9) * GHZ, 1e-10), 2, lossy).notes)
    # 10^(24/20) = 15.8
    assert "the fixture loses up to 24 dB there and back (at 1 GHz); errors of the data grow by a factor 16" in said


def test_fixtures_that_are_refused():
    part = line_data(np.linspace(1, 3, 9) * GHZ, 1e-10)
    deaf = data([GHZ, 2 * GHZ, 3 * GHZ], [[[0, 1], [1, 0]], [[1, 0], [0, 1]], [[0, 1], [1, 0]]], [50, 50])
    with pytest.raises(Refusal, match="fixture.1: it does not transmit at 2 GHz"):
        without_fixture(part, 1, deaf)
    with pytest.raises(Refusal, match=r"fixture.2: 'short.s2p' holds data from 1 GHz to 2 GHz, .* needed at 2.25 GHz"):
        without_fixture(part, 2, line_data(np.linspace(1, 2, 5) * GHZ, 1e-10, "short.s2p"))
    with pytest.raises(Refusal, match="fixture.3: there is no port 3"):
        without_fixture(part, 3, ADAPTER)
    with pytest.raises(Refusal, match="fixture.1: a part of kind 'open stub' has 1 terminals here"):
        without_fixture(part, 1, OpenStub(impedance=50.0, electrical_length=10.0, at=GHZ))
    with pytest.raises(Refusal, match="fixture.1: 'invented.s2p' has 3 ports; a fixture has two"):
        without_fixture(part, 1, drawn(1, 3))
    with pytest.raises(Refusal, match="fixture.1: it does not transmit at 0 Hz"):
        without_fixture(three_port({}), 1, Capacitor(capacitance=1e-12))
    with pytest.raises(Refusal, match='fixture.1: .*at 2.25 GHz, 2.5 GHz, 2.75 GHz and 1 more up to 3 GHz above that'):
        without_fixture(part, 1, TouchstoneBlock(line_data(np.linspace(1, 2, 5) * GHZ, 1e-10, "short.s2p")))
    # a fixture of 10 dB loss cannot lie in front of what reflects all: behind it |S| = 10, and 1 - F22 S = 0 if F22 S
    # is 1; here S - F11 = -F21 F12 / F22
    odd = data([GHZ], [[[0.2, 0.5], [0.5, 0.5]]], [50, 50])
    with pytest.raises(Refusal, match="fixture: at 1 GHz nothing finite is left behind it"):
        without_fixture(data([GHZ], [[[0.2 - 0.25 / 0.5]]], [50.0]), 1, odd)


def test_numbers_at_the_end_of_their_range_are_refused_in_words():
    loss = Line(impedance=50.0, electrical_length=10.0, at=GHZ, loss=40.0)
    huge = data([GHZ], [[[1e308, 1e308], [0, 1e308]]], [50, 50])
    with pytest.raises(Refusal, match="at 1 GHz nothing finite is left"):
        without_fixture(huge, 1, loss)
    assert passivity(huge).value > 1e307 and losslessness(huge).value == np.inf


# -- checks --------------------------------------------------------------------------------------------------------


def test_the_worst_values_and_where():
    s = np.array([np.diag([0.5, 0.5])] * 3, complex)
    s[1] = [[0.0, 2.0], [1.0, 0.0]]  # 6 dB of gain one way
    found = data([GHZ, 2 * GHZ, 3 * GHZ], s, [50, 75])
    assert passivity(found) == (pytest.approx(2.0), 2 * GHZ)
    assert reciprocity(found) == (pytest.approx(1.0), 2 * GHZ)
    assert losslessness(found) == (pytest.approx(3.0), 2 * GHZ)  # 3 times the power that goes in is added
    # of a matched 3 dB attenuator half the power is lost; a line loses none
    pad = data([GHZ], [[[0, 0.5**0.5], [0.5**0.5, 0]]], [50, 50])
    assert losslessness(pad).value == pytest.approx(0.5) and passivity(pad).value == pytest.approx(0.5**0.5)
    line = line_data(np.array([GHZ, 2 * GHZ]), 1e-10)
    assert losslessness(line).value < 1e-14 and reciprocity(line).value == 0.0
    assert reciprocity(data([GHZ], [[[0.3j]]], [50])).value == 0.0
