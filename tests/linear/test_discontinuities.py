"""Open end, gap, step, bend, tee and cross as parts: limits, power, reciprocity, and circuits put together by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hbsim.errors import Refusal
from hbsim.linear import response
from hbsim.linear.board import Board
from hbsim.linear.discontinuities import BoardBend, BoardCross, BoardGap, BoardOpenEnd, BoardStep, BoardTee
from hbsim.linear.lines import BoardLine, BoardOpenStub, end_extension
from hbsim.linear.lumped import BoardVia
from hbsim.linear.microstrip import bend, line, plane, tee
from hbsim.linear.microstrip.propagation import single_line
from hbsim.linear.network import Element
from hbsim.linear.radial_stub import BoardRadialStub
from scattering import gains_from, impedance, network_scattering, scattering

MM = 1e-3
FR4 = Board(1.6e-3, 4.4, 0.02, 35e-6, 5.8e7)
SMOOTH = Board(1.6e-3, 4.4, 0.0, 35e-6, 1e30)  # nothing is lost
OMEGA = 2 * np.pi * np.array([0.0, 1e6, 0.3e9, 1.152e9, 2.304e9, 8e9, 30e9, 295e9])  # the last: 128 harmonics
JOINED = (BoardStep(FR4, 3e-3, 0.5e-3), BoardBend(FR4, 3e-3), BoardBend(FR4, 3e-3, 0.5), BoardTee(FR4, 3e-3, 3e-3),
          BoardBend(FR4, 1e-3, compensated=True), BoardCross(FR4, 3e-3, 1e-3, 0.5e-3))

widths = st.floats(0.1, 8.0).map(lambda w: w * MM)
boards = st.builds(Board, height=st.floats(0.2e-3, 2e-3), permittivity=st.floats(1.0, 13.0), loss_tangent=st.just(0.0),
                   thickness=st.just(17e-6), conductivity=st.just(1e30))


def chain(*matrices):
    """Product of ABCD matrices (n_frequency, 2, 2)."""
    out = matrices[0]
    for matrix in matrices[1:]:
        out = out @ matrix
    return out


def abcd(a, b, c, d):
    return np.moveaxis(np.array(np.broadcast_arrays(a, b, c, d), complex).reshape(2, 2, -1), -1, 0)


def piece(width, length, board, omega):
    found = single_line(width, board.metal, board, omega / (2 * np.pi))
    theta = found.gamma.imag * length
    z, cosine, sine = found.impedance, np.cos(theta), 1j * np.sin(theta)
    return abcd(cosine, z * sine, sine / z, cosine)


def shunt(y):
    return abcd(1.0, 0.0, y, 1.0)


def series(z):
    return abcd(1.0, z, 0.0, 1.0)


def to_scattering(m, z0=50.0):
    """Two-port S from ABCD; Pozar, Microwave Engineering, table 4.2."""
    a, b, c, d = m[:, 0, 0], m[:, 0, 1] / z0, m[:, 1, 0] * z0, m[:, 1, 1]
    total = a + b + c + d
    return np.array([[(a + b - c - d) / total, 2 * (a * d - b * c) / total],
                     [2 / total, (-a + b - c + d) / total]]).transpose(2, 0, 1)


@pytest.mark.parametrize("part", JOINED, ids=lambda part: part.kind)
def test_at_dc_a_perfect_joint(part):
    law, n = part.relation(np.array([0.0])), len(part.terminals)
    currents = np.arange(n) - (n - 1) / 2.0
    assert np.abs(law.a[0] @ np.ones(n) + law.b[0] @ currents).max() == 0.0
    assert np.linalg.matrix_rank(np.hstack([law.a[0], law.b[0]])) == n
    ideal = 2.0 / n - np.eye(n)  # n equal ports at one node
    assert scattering(law)[0] == pytest.approx(ideal, abs=1e-15)


def test_open_at_dc():
    assert scattering(BoardGap(FR4, 3e-3, 0.3e-3, 1e-3).relation(np.array([0.0])))[0] == pytest.approx(np.eye(2))
    assert scattering(BoardOpenEnd(FR4, 3e-3).relation(np.array([0.0])))[0] == pytest.approx(np.eye(1))


def test_an_open_end_closes_a_line_as_the_stub_does_itself():
    whole = network_scattering([(BoardOpenStub(FR4, 2e-3, 12e-3), ("a",))], ["a"], OMEGA)
    built = network_scattering([(BoardLine(FR4, 2e-3, 12e-3), ("a", "e")), (BoardOpenEnd(FR4, 2e-3), ("e",))], ["a"],
                               OMEGA)
    assert built == pytest.approx(whole, abs=1e-10)


def test_open_end_is_its_capacitance_at_low_frequency():
    # C = C' dl, C' = sqrt(ee) / (c Z0); at 10 MHz a line is not dispersive yet and short
    static = line.static_line(3.0 / 1.6, 35 / 1600, 4.4)
    c = end_extension(3e-3, SMOOTH.metal, SMOOTH) * np.sqrt(static.permittivity) / (line.LIGHT * static.impedance)
    omega = 2 * np.pi * np.array([1e7])
    assert impedance(BoardOpenEnd(SMOOTH, 3e-3).relation(omega)) == pytest.approx(1 / (1j * omega * c), rel=1e-5)


def test_wide_gap_is_two_open_ends():
    omega = 2 * np.pi * np.array([1e6, 1e8])
    s = scattering(BoardGap(SMOOTH, 3e-3, 60e-3, 1.5e-3).relation(omega))
    for place, width in enumerate((3e-3, 1.5e-3)):
        # what the ends' lines have beyond their capacitances is (beta dl)^2 / 3 of these
        assert s[:, place, place] == pytest.approx(scattering(BoardOpenEnd(SMOOTH, width).relation(omega))[:, 0, 0],
                                                   abs=2e-6)
    assert np.abs(s[:, 0, 1]).max() < 1e-12


def test_gap_is_its_pi_and_may_be_turned_around():
    part, turned = BoardGap(FR4, 3e-3, 0.4e-3, 1e-3), BoardGap(FR4, 1e-3, 0.4e-3, 3e-3)
    at_a, across, at_b = part.capacitances()
    assert turned.capacitances() == (at_b, across, at_a)
    omega = OMEGA[1:]
    expected = to_scattering(chain(shunt(1j * omega * at_a), series(1 / (1j * omega * across)),
                                   shunt(1j * omega * at_b)))
    assert scattering(part.relation(omega)) == pytest.approx(expected, abs=1e-12)


def test_step_is_its_tee_section_and_may_be_turned_around():
    part, turned = BoardStep(FR4, 3e-3, 0.8e-3), BoardStep(FR4, 0.8e-3, 3e-3)
    c, inductance = part.values
    air = [line.static_line(w / 1.6, 35 / 1600, 1.0).impedance for w in (3.0, 0.8)]  # L' = Z_air / c
    first, second = (inductance * z / sum(air) for z in air)
    expected = to_scattering(chain(series(1j * OMEGA * first), shunt(1j * OMEGA * c), series(1j * OMEGA * second)))
    s = scattering(part.relation(OMEGA))
    assert s == pytest.approx(expected, abs=1e-12)
    assert scattering(turned.relation(OMEGA)) == pytest.approx(s[:, ::-1, ::-1], abs=1e-12)


def test_equal_widths_make_no_step():
    assert scattering(BoardStep(FR4, 3e-3, 3e-3).relation(OMEGA)) == pytest.approx(
        np.broadcast_to([[0.0, 1.0], [1.0, 0.0]], (len(OMEGA), 2, 2)), abs=1e-15)


@pytest.mark.parametrize("width, mitre", [(3e-3, None), (3e-3, 0.5), (0.8e-3, None), (0.8e-3, 0.5), (3e-3, 0.3)])
def test_bend_is_the_published_tee_section_at_low_frequency(width, mitre):
    # L / 2 in each arm, C at the corner. Lines and section differ in the second order of the electrical size, so the
    # difference falls as f^2 at least; at 0.3 GHz 1 mm is 0.012 rad and a section's S is about this, squared 1.4e-4
    part = BoardBend(SMOOTH, width, mitre)
    c, inductance = part.values
    omega = 2 * np.pi * np.array([0.1e9, 0.3e9])
    half = series(0.5j * omega * inductance)
    expected = to_scattering(chain(half, shunt(1j * omega * c), half))
    difference = np.abs(scattering(part.relation(omega)) - expected).max(axis=(1, 2))
    assert difference[1] < 1.4e-4 and difference[0] < difference[1] / 8.9


def test_compensated_bend_is_a_piece_of_line():
    part = BoardBend(SMOOTH, 3e-3, compensated=True)
    assert part.cut == bend.optimum_mitre(3.0 / 1.6)
    length = part.values.inductance * line.LIGHT / line.static_line(3.0 / 1.6, 35 / 1600, 4.4).air_impedance
    assert scattering(part.relation(OMEGA)) == pytest.approx(
        scattering(BoardLine(SMOOTH, 3e-3, length).relation(OMEGA)), abs=1e-7)  # the line has Rs of 1e30 S/m
    told = BoardBend(SMOOTH, 3e-3, part.cut)
    assert scattering(told.relation(OMEGA)) == pytest.approx(scattering(part.relation(OMEGA)), abs=1e-12)
    # less is cut away, more is reflected
    reflected = [np.abs(scattering(BoardBend(SMOOTH, 3e-3, m).relation(OMEGA[4:5]))[0, 0, 0])
                 for m in (0.0, 0.3, 0.5, part.cut)]
    z = scattering(part.relation(OMEGA[4:5]))[0, 0, 0]
    assert reflected[0] > reflected[1] > reflected[2] > abs(z)


def test_tee_put_together_by_hand():
    # planes, transformer (voltage of the branch = n times that of the line), susceptance; the branch ends in 50 ohm
    board, w1, w2, omega = SMOOTH, 3e-3, 1e-3, OMEGA[1:6]
    main, branch = (line.static_line(w / board.height, board.thickness / board.height, 4.4) for w in (w1, w2))
    found = tee.tee(main, branch, 4.4, board.height, omega / (2 * np.pi))
    strip = single_line(w1, board.metal, board, omega / (2 * np.pi))
    b = found.susceptance * plane.plane_width(main, board.height) * strip.gamma.imag / (2 * np.pi) / strip.impedance
    arm = piece(w1, -found.main_shift, board, omega)
    load = chain(piece(w2, w1 / 2 - found.branch_shift, board, omega), shunt(1 / 50.0))
    y = load[:, 1, 0] / load[:, 0, 0]  # with an open end behind the 50 ohm
    expected = to_scattering(chain(arm, shunt(1j * b + found.ratio**2 * y), arm))
    s = scattering(BoardTee(board, w1, w2).relation(omega))
    assert s[:, :2, :2] == pytest.approx(expected, abs=1e-9)


def test_tee_moves_the_notch_of_a_stub():
    # the stub's length counts from the edge of the line and is longer by w/2 - d2 + end: resonance by hand, lambda / 4
    length, w1, w2 = 15e-3, 3e-3, 1e-3
    f = np.linspace(2.0e9, 3.2e9, 4001)
    s = network_scattering([(BoardTee(SMOOTH, w1, w2), ("a", "b", "s")), (BoardOpenStub(SMOOTH, w2, length), ("s",))],
                           ["a", "b"], 2 * np.pi * f)
    notch = f[np.argmin(np.abs(s[:, 1, 0]))]
    main, branch = (line.static_line(w / 1.6e-3, 35 / 1600, 4.4) for w in (w1, w2))
    shift = tee.tee(main, branch, 4.4, 1.6e-3, np.array([notch])).branch_shift[0]
    total = length + w1 / 2 - shift + end_extension(w2, SMOOTH.metal, SMOOTH)
    beta = single_line(w2, SMOOTH.metal, SMOOTH, np.array([notch])).gamma.imag[0]
    assert beta * total == pytest.approx(np.pi / 2, rel=5e-4)  # step of f


def test_cross_is_two_tees_at_one_place():
    # in a cascade of two tees the arms between lose their shifts too: the same to the first order in beta d
    omega = 2 * np.pi * np.array([0.05e9, 0.1e9])
    w, b1, b2 = 3e-3, 2e-3, 1e-3
    cross = scattering(BoardCross(SMOOTH, w, b1, b2).relation(omega))
    tees = network_scattering([(BoardTee(SMOOTH, w, b1), ("a", "m", "c")), (BoardTee(SMOOTH, w, b2), ("m", "b", "d"))],
                              ["a", "b", "c", "d"], omega)
    beta = single_line(w, SMOOTH.metal, SMOOTH, omega / (2 * np.pi)).gamma.imag
    main = line.static_line(w / 1.6e-3, 35 / 1600, 4.4)
    shifts = sum(tee.tee(main, line.static_line(b / 1.6e-3, 35 / 1600, 4.4), 4.4, 1.6e-3, np.zeros(1)).main_shift[0]
                 for b in (b1, b2))
    difference = np.abs(cross - tees).max(axis=(1, 2))
    assert (difference < 1.5 * beta * shifts).all()
    # short lossless pieces turn phases; what they do to magnitudes is of second order
    assert np.abs(cross) == pytest.approx(np.abs(tees), abs=1e-3)
    turned = scattering(BoardCross(SMOOTH, w, b2, b1).relation(omega))
    order = [0, 1, 3, 2]
    assert turned == pytest.approx(cross[:, order][:, :, order], abs=1e-12)


def test_all_of_them_in_one_network():
    # hbsim's condensation against the tests' own nodal analysis; the resonator between the gaps floats at DC
    omega = 2 * np.pi * np.array([0.0, 1e6, 1.152e9, 2.304e9, 10e9])
    wide = 3e-3
    parts = {"gap1": (BoardGap(FR4, wide, 0.3e-3), ("a", "r1")), "res": (BoardLine(FR4, wide, 0.03), ("r1", "r2")),
             "gap2": (BoardGap(FR4, wide, 0.3e-3, 1e-3), ("r2", "m")),
             "tee": (BoardTee(FR4, wide, 1e-3), ("m", "n", "s")),
             "end": (BoardOpenEnd(FR4, 1e-3), ("s",)), "step": (BoardStep(FR4, wide, 1e-3), ("n", "o")),
             "bend": (BoardBend(FR4, 1e-3, 0.5), ("o", "p")),
             "cross": (BoardCross(FR4, 1e-3, wide, 1e-3), ("p", "b", "t", "v")),
             "radial": (BoardRadialStub(FR4, 9e-3, 60.0, inner_width=wide), ("t",)),
             "via": (BoardVia(FR4, 3.5e-3, foil_width=3e-3, foils=2.0), ("v",))}
    found = response.scattering([Element(name, *placed) for name, placed in parts.items()],
                                [("a", "ground"), ("b", "ground")], np.array([50.0, 50.0]), omega)
    expected = network_scattering(list(parts.values()), ["a", "b"], omega[1:])
    assert found[1:] == pytest.approx(expected, abs=1e-9)
    assert found[0, 0, 0] == pytest.approx(1.0, abs=1e-12)  # nothing passes the gaps at DC
    ohms = parts["via"][0].resistance(omega[:1])[0]
    assert found[0, 1, 1] == pytest.approx((ohms - 50) / (ohms + 50), abs=1e-12)  # b sees the via


def lossless(board, w1, w2, gap, mitre):
    cut = mitre * bend.optimum_mitre(w1 / board.height)
    return [BoardGap(board, w1, gap, w2), BoardStep(board, w1, w2), BoardBend(board, w1, cut), BoardTee(board, w1, w2),
            BoardBend(board, w1, compensated=True), BoardCross(board, w1, w2, w1), BoardOpenEnd(board, w1)]


@given(boards, widths, widths, st.floats(0.05e-3, 5e-3), st.floats(0, 1))
def test_power_is_conserved_and_directions_are_alike(board, w1, w2, gap, mitre):
    for part in lossless(board, w1, w2, gap, mitre):
        with np.errstate(over="raise", divide="raise", invalid="raise"):
            s = scattering(part.relation(OMEGA))
        assert np.isfinite(s).all() and s == pytest.approx(np.swapaxes(s, 1, 2), abs=1e-9)
        gains = gains_from(s)
        # 1e-9 is rounding in laws with voltages and currents of very different size; the open end has metal of 1e30 S/m
        assert gains.max() < 1 + 1e-9 and gains.min() > 1 - (1e-6 if part.kind == "open end" else 1e-9)
        assert all(isinstance(text, str) for text in part.warnings(100e9))


@given(boards, widths, st.floats(1.0, 3.0), st.floats(0.2, 3.0))
def test_reactances_grow_with_frequency(board, width, ratio, g):
    """R. M. Foster, Bell Syst. Tech. J. 3 (1924) 259-267; for several ports: j S^H dS/dw is nowhere negative (F. T.
    Smith, Phys. Rev. 118 (1960) 349-356; both from memory)."""
    parts = [BoardStep(board, width * ratio, width), BoardOpenEnd(board, width)]
    u = width / board.height
    if 0.1 <= u <= 3.0:
        parts.append(BoardGap(board, width, g * board.height))
    if u >= 1.12:  # below, the inductance of a square bend is negative: it is shorter than its planes say
        parts.append(BoardBend(board, width))
    if u >= 0.5:  # the same for a compensated one
        parts.append(BoardBend(board, width, compensated=True))
    omega = 2 * np.pi * np.array([0.1e9, 1e9, 5e9, 12e9]) * (1e-3 / board.height)
    step = 1e-5
    for part in parts:
        up, at, down = (scattering(part.relation(omega * (1 + d))) for d in (step, 0.0, -step))
        delay = 1j * np.conj(np.swapaxes(at, 1, 2)) @ (up - down) / (2 * step)
        delay = (delay + np.conj(np.swapaxes(delay, 1, 2))) / 2
        assert np.linalg.eigvalsh(delay).min() > -1e-8  # rounding of S over the step


@pytest.mark.parametrize("make, place, words", [
    (lambda: BoardBend(FR4, 3e-3, 0.9), "mitre", "57.2 %"),
    (lambda: BoardBend(FR4, 3e-3, 0.5, True), "mitre", "take one of them out"),
    (lambda: BoardBend(FR4, 3e-3, -0.1), "mitre", "at least"),
    (lambda: BoardGap(FR4, 3e-3, 0.0), "gap", "above"),
    (lambda: BoardStep(FR4, 3e-3, 0.0), "second_width", "above"),
    (lambda: BoardTee(FR4, float("nan"), 1e-3), "width", "not a finite number"),
    (lambda: BoardOpenEnd(FR4, 0.0), "width", "above")])
def test_refusals(make, place, words):
    with pytest.raises(Refusal) as refusal:
        make()
    assert refusal.value.place == place and words in refusal.value.what


def test_warnings_come_with_the_parts():
    assert BoardOpenEnd(FR4, 3e-3).warnings(10e9) == BoardTee(FR4, 3e-3, 3e-3).warnings(2.304e9) == []
    assert BoardStep(FR4, 3e-3, 1.5e-3).warnings(1e9) == BoardBend(FR4, 3e-3).warnings(1e9) == []
    assert "Kirschning" in BoardGap(FR4, 3e-3, 0.5e-3).warnings(1e9)[0]
    assert "two tees" in BoardCross(FR4, 3e-3, 3e-3, 3e-3).warnings(1e9)[0]
    assert len(BoardCross(FR4, 3e-3, 3e-3, 3e-3).warnings(100e9)) == 2
    assert "optimum" in BoardBend(FR4, 3e-3, 0.6).warnings(1e9)[0]
