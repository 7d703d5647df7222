"""What physics asks of every linear part, by draws over all kinds: passive, reciprocal, lossless without loss, causal.

The conversions between S, Y, Z and chain matrices are written here from the textbook (D. M. Pozar, Microwave
Engineering, 4th ed., 2012, table 4.2) in the form for unequal real references (D. A. Frickey, IEEE Trans. MTT-42 (1994)
205-211), and held against the laws of the parts.
"""

from dataclasses import replace

import numpy as np
import pytest
from any_part import CLASSES, is_data, lengths, parts
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from hbsim.linear.kinds import KINDS
from hbsim.linear.lines import BoardLine
from hbsim.linear.network import Element
from hbsim.linear.response import scattering

TOP = 1e13  # far above all that the formulas are meant for. [Hz]
FREQUENCIES = np.array([0.0, 1e3, 1e6, 0.37e9, 1e9, 2.9e9, 7.1e9, 24e9, 110e9, TOP])
# every class gets its own draws; most of a draw's filtering is that of even against odd impedance, one half
draws = settings(max_examples=25, suppress_health_check=[HealthCheck.filter_too_much])
every_class = pytest.mark.parametrize("cls", CLASSES, ids=lambda cls: cls.__name__)
WITHOUT_DATA = [cls for cls in CLASSES if not is_data(cls)]
every_described_class = pytest.mark.parametrize("cls", WITHOUT_DATA, ids=lambda cls: cls.__name__)
references = st.lists(st.floats(5.0, 500.0), min_size=8, max_size=8)


def response(part, reference, frequency):
    """S of a part with a port at each terminal, and the references that were used."""
    names = part.terminal_names()
    reference = np.array(reference[:len(names)])
    element = Element("part", part, tuple(f"n{name}" for name in names))
    return scattering([element], [(node, "ground") for node in element.nodes], reference, 2 * np.pi * frequency)


def transposed(s):
    return np.swapaxes(s, 1, 2)


@every_class
@given(st.data())
@draws
def test_passive_and_finite_at_all_frequencies(cls, data):
    part, _ = data.draw(parts([cls]))
    s = response(part, data.draw(references), FREQUENCIES)
    assert np.isfinite(s).all()
    # 1e-9: a matrix solved in double precision, of condition 1e6 or so where a nanofarad meets 1e13 Hz
    assert np.linalg.svd(s, compute_uv=False).max() <= 1.0 + 1e-9
    assert np.abs(s[0].imag).max() < 1e-12  # at DC everything is real


@every_described_class
@given(st.data())
@draws
def test_reciprocal(cls, data):
    part, _ = data.draw(parts([cls]))
    s = response(part, data.draw(references), FREQUENCIES)
    assert np.abs(s - transposed(s)).max() < 1e-9


@every_described_class
@given(st.data())
@draws
def test_without_loss_all_power_comes_back(cls, data):
    part, _ = data.draw(parts([cls], lossless=True))
    s = response(part, data.draw(references), FREQUENCIES)
    # metal of 1e30 S/m has less than 1e-9 ohm even at the top
    assert np.abs(np.conj(transposed(s)) @ s - np.eye(s.shape[1])).max() < 1e-8


def strip_width(part, terminal):
    """Of the strip that meets a junction at one of its terminals, by the names of its fields. [m]"""
    for name in (f"{terminal}_width", "second_width" if terminal == "b" else "width", "width"):
        if getattr(part, name, None) is not None:
            return getattr(part, name)
    raise AssertionError(f"no field of {type(part).__name__} tells the width at {terminal}")


def with_its_strips(part, height):
    """A junction and pieces of its strips, longer by twice the height of the board than the widest strip is wide."""
    names = part.terminal_names()
    widths = {name: strip_width(part, name) for name in names}
    length = 2.0 * height + max(widths.values())
    return [Element("part", part, names)] + [Element(f"strip {name}", BoardLine(part.board, widths[name], length),
                                                     (name, f"end {name}")) for name in names]


@every_described_class
@given(st.data())
@draws
def test_without_loss_energy_is_stored_and_not_owed(cls, data):
    # R. M. Foster, Bell Syst. Tech. J. 3 (1924) 259-267: the reactance of a lossless one-port rises with frequency; of
    # any number of ports, j S^H dS/dw has no negative eigenvalue (F. T. Smith, Phys. Rev. 118 (1960) 349-356): the
    # phases of S(w)^H S(w + dw) do not rise. For one-ports the two say the same. The planes of a junction lie inside
    # the metal: it owes the pieces of strip that are counted twice, and is asked together with its strips.
    part, height = data.draw(parts([cls], lossless=True))
    top = 20e9 / (height * 1e3)  # F = 20 GHz mm: the formulas hold
    omega = 2 * np.pi * top * data.draw(st.floats(0.01, 1.0)) * np.array([1.0, 1.0 + 1e-5])
    elements = [Element("part", part, part.terminal_names())]
    if part.joins_strips:
        elements = with_its_strips(part, height)
    ports = [(element.nodes[-1], "ground") for element in elements[1:]] or [(node, "ground") for node in
                                                                            elements[0].nodes]
    s = scattering(elements, ports, np.array(data.draw(references)[:len(ports)]), omega)
    phases = np.angle(np.linalg.eigvals(np.conj(s[0].T) @ s[1]))
    assert phases.max() <= 1e-10


@pytest.mark.parametrize("cls", KINDS["line"], ids=lambda cls: cls.__name__)
@given(st.data())
@draws
def test_the_phase_through_a_line_falls(cls, data):
    part, height = data.draw(parts([cls]))
    top = 20e9 / (height * 1e3)
    frequency = np.linspace(0.0, top, 1501)[1:]
    s = response(part, data.draw(references), frequency)
    assert (np.diff(np.unwrap(np.angle(s[:, 1, 0]))) < 1e-12).all()


def at_no_length(part):
    """The part with all lengths zero, and as it is; both without the fringing field of an open end."""
    names = [name for name in lengths(type(part)) if getattr(part, name) is not None]
    ends = {"end_effect": False} if hasattr(part, "end_effect") else {}
    return replace(part, **ends, **dict.fromkeys(names, 0.0)), replace(part, **ends)


@pytest.mark.parametrize("cls", [cls for cls in WITHOUT_DATA if lengths(cls)], ids=lambda cls: cls.__name__)
@given(st.data())
@draws
def test_no_length_is_as_good_as_no_frequency(cls, data):
    # a lossless part acts through its length in wavelengths alone, if both modes of a pair are without length
    part, _ = data.draw(parts([cls], lossless=True))
    short, long = at_no_length(part)
    reference = data.draw(references)
    s, still = response(short, reference, FREQUENCIES), response(long, reference, FREQUENCIES[:1])
    assert np.abs(s - still).max() < 1e-9


# -- conversions -------------------------------------------------------------------------------------------------

def admittance(s, reference):
    """Y of S; (n, p, p), (p,)."""
    root, one = np.sqrt(reference), np.eye(len(reference))
    return np.linalg.solve(transposed(one + s), transposed(one - s)).swapaxes(1, 2) / root[:, None] / root


def impedance(s, reference):
    """Z of S."""
    root, one = np.sqrt(reference), np.eye(len(reference))
    return np.linalg.solve(one - s, one + s) * root[:, None] * root


def chain(s, reference):
    """A, B, C, D of S of a two-port."""
    r1, r2 = reference
    (s11, s12), (s21, s22) = np.moveaxis(s, 0, 2)
    ratio, mean, both = np.sqrt(r1 / r2), np.sqrt(r1 * r2), s12 * s21
    return np.moveaxis(np.array([
        [((1 + s11) * (1 - s22) + both) * ratio, ((1 + s11) * (1 + s22) - both) * mean],
        [((1 - s11) * (1 - s22) - both) / mean, ((1 - s11) * (1 + s22) + both) / ratio]]) / (2.0 * s21), 2, 0)


def scattering_of_chain(matrix, reference):
    """S of A, B, C, D."""
    r1, r2 = reference
    (a, b), (c, d) = np.moveaxis(matrix, 0, 2)
    total = a * r2 + b + c * r1 * r2 + d * r1
    across = 2.0 * np.sqrt(r1 * r2)
    return np.moveaxis(np.array([[a * r2 + b - c * r1 * r2 - d * r1, across * (a * d - b * c)],
                                 [across + 0.0 * a, -a * r2 + b - c * r1 * r2 + d * r1]]) / total, 2, 0)


def law_of(part, frequency):
    """a, b of a V + b I = 0, each row brought to a largest entry of 1 (currents counted over 50 ohm)."""
    law = part.relation(2 * np.pi * frequency)
    a = law.a
    b = np.broadcast_to(-np.eye(a.shape[1]), a.shape) if law.b is None else law.b
    size = np.maximum(np.abs(a).max(axis=2), np.abs(b).max(axis=2) / 50.0)[:, :, None]
    return a / size, b / size


MIDDLE = np.array([0.3e9, 1.1e9, 3.7e9, 9.3e9])
CONDITION = 1e5  # of a conversion: beyond, the matrix asked for hardly exists


@every_class
@given(st.data())
@draws
def test_admittance_and_impedance_obey_the_law(cls, data):
    part, _ = data.draw(parts([cls]))
    reference = data.draw(references)
    s = response(part, reference, MIDDLE)
    reference = np.array(reference[:s.shape[1]])
    a, b = law_of(part, MIDDLE)
    for sign, matrix, left in ((1, admittance, lambda y: a + b @ y), (-1, impedance, lambda z: a @ z + b)):
        there = np.linalg.cond(np.eye(s.shape[1]) + sign * s) < CONDITION
        if there.any():
            found = np.zeros_like(s)
            found[there] = matrix(s[there], reference)
            scale = 1.0 + np.abs(found).max(axis=(1, 2)) * (50.0 if sign > 0 else 1.0)
            assert (np.abs(left(found)).max(axis=(1, 2)) / scale)[there].max() < 1e-8


@pytest.mark.parametrize("cls", [cls for cls in CLASSES if len(cls.terminals) == 2 or is_data(cls)],
                         ids=lambda cls: cls.__name__)
@given(st.data())
@draws
def test_chain_matrix_obeys_the_law(cls, data):
    part, _ = data.draw(parts([cls]))
    reference = data.draw(references)[:2]
    s = response(part, reference, MIDDLE)
    there = np.abs(s[:, 1, 0]) > 1e-4
    assume(there.any())
    s, (a, b) = s[there], law_of(part, MIDDLE[there])
    matrix = chain(s, reference)
    # V1 = A V2 - B I2, I1 = C V2 - D I2: once with V2 = 1 V, I2 = 0 and once with V2 = 0, I2 = -1 A
    driven = np.stack([a[:, :, 0], b[:, :, 0]], axis=2) @ matrix
    left = driven + np.stack([a[:, :, 1], -b[:, :, 1]], axis=2)
    assert (np.abs(left).max(axis=(1, 2)) / (1.0 + np.abs(driven).max(axis=(1, 2)))).max() < 1e-8
    assert np.abs(scattering_of_chain(matrix, reference) - s).max() < 1e-9


def chain_of_law(part, frequency):
    """A, B, C, D of a part between two nodes, or from a node to ground; None where there is none."""
    a, b = law_of(part, frequency)
    if a.shape[1] == 1:
        if np.abs(b).min() < 1e-6:  # near to a short
            return None
        y, one = (-a / b)[:, 0, 0], np.ones(len(frequency))
        return np.moveaxis(np.array([[one, 0.0 * one], [y, one]]), 2, 0)
    left = np.stack([a[:, :, 0], b[:, :, 0]], axis=2)
    if np.linalg.cond(left).max() > CONDITION:
        return None
    return -np.linalg.solve(left, np.stack([a[:, :, 1], -b[:, :, 1]], axis=2))


LADDER = [cls for cls in CLASSES if len(cls.terminals) in (1, 2) or is_data(cls)]


@given(st.lists(parts(LADDER), min_size=2, max_size=5), references)
@settings(max_examples=150, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
def test_a_chain_of_parts_is_the_product_of_their_matrices(drawn, reference):
    reference, total = reference[:2], np.eye(2)
    elements, node = [], 0
    for number, (part, _) in enumerate(drawn):
        matrix = chain_of_law(part, MIDDLE)
        assume(matrix is not None)
        total = total @ matrix
        ends = (f"n{node}", f"n{node + 1}")[:len(part.terminal_names())]
        node += len(ends) - 1
        elements.append(Element(f"part{number}", part, ends))
    assume(node > 0)
    s = scattering(elements, [("n0", "ground"), (f"n{node}", "ground")], np.array(reference), 2 * np.pi * MIDDLE)
    # what cancels in a sum of the matrix is at most as large as its entries, and at least as the references
    assume(np.abs(total / np.array([[1.0, 50.0], [0.02, 1.0]])).max() < 1e6)
    assert s == pytest.approx(scattering_of_chain(total, reference), abs=1e-15 * (CONDITION + 1e6))
