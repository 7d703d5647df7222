"""The pieces of the Newton step by iteration, against numpy's dense algebra on matrices assembled here."""

from types import SimpleNamespace

import numpy as np
import pytest
import scipy.sparse.linalg

from hbsim.balance.clusters import find_clusters, one_cluster, rows_by_node
from hbsim.balance.direct import matrix, solver
from hbsim.balance.equations import Net
from hbsim.balance.krylov import ROOM, factor_pieces, gmres, multiply, room, to_nodes, to_rows
from hbsim.balance.native import lapack_addresses
from hbsim.balance.regime import pieces_time, whole_time


def wired(branches, slots=()):
    """What find_clusters reads of the devices: ends of branches, pairs of branches with a slope."""
    start, end = np.array(branches).T
    row, column = np.array(slots, int).reshape(-1, 2).T
    return SimpleNamespace(branch_from=start, branch_to=end, slot_row=row, slot_column=column)


def test_clusters_of_a_hand_made_case():
    # nodes 0 and 3 by a branch, 3 and 5 by another; 1 alone against ground; 2 and 4, each against ground, by a slope
    devices = wired([(0, 3), (5, 3), (1, -1), (-1, 2), (4, -1)], [(0, 0), (2, 2), (3, 4)])
    found = find_clusters(7, 3, devices)
    groups = {frozenset(found.node[lo:hi].tolist()) for lo, hi in zip(found.first[:-1], found.first[1:])}
    assert groups == {frozenset({0, 3, 5}), frozenset({1}), frozenset({2, 4}), frozenset({6})}
    for node in range(7):
        assert found.node[found.first[found.cluster[node]] + found.place[node]] == node
    np.testing.assert_array_equal(np.diff(found.offset), (3 * np.diff(found.first)) ** 2)


def test_one_cluster_holds_all_nodes_in_order():
    found = one_cluster(4, 5)
    np.testing.assert_array_equal(found.node, [0, 1, 2, 3])
    np.testing.assert_array_equal(found.place, [0, 1, 2, 3])
    np.testing.assert_array_equal(found.offset, [0, 400])


def random_network(rng, n, n_k, hybrid):
    """A and B at each harmonic; at those in `hybrid` some nodes hold a voltage, and the equations are shuffled."""
    a = rng.normal(size=(n_k, n, n)) + 1j * rng.normal(size=(n_k, n, n)) + 3 * np.sqrt(n) * np.eye(n)
    a, b = a / 50, np.tile(np.eye(n, dtype=complex), (n_k, 1, 1))
    for k in hybrid:
        held = rng.permutation(n)[:n // 2 + 1]
        b[k, held] = 0.1 * rng.normal(size=(len(held), n))
        a[k, held] = np.eye(n)[held] / 50
        shuffle = rng.permutation(n)
        a[k], b[k] = a[k, shuffle], b[k, shuffle]
    a[0], b[0] = a[0].real, b[0].real
    identity = np.array([k not in hybrid for k in range(n_k)])
    return Net(a, b, identity, np.arange(n_k) * 1.0)


def real(factors):
    """Product with matrices at each harmonic, (n_k, n, n), as one matrix over (n, rows) laid out node by node."""
    n_k, n, _ = factors.shape
    rows = 2 * n_k - 1
    whole = np.zeros((n, rows, n, rows))
    whole[:, 0, :, 0] = factors[0].real
    for k in range(1, n_k):
        re, im = 2 * k - 1, 2 * k
        whole[:, re, :, re] = whole[:, im, :, im] = factors[k].real
        whole[:, im, :, re], whole[:, re, :, im] = factors[k].imag, -factors[k].imag
    return whole.reshape(n * rows, n * rows)


def random_case(seed, n=9, n_k=4, hybrid=(), tolerance=1e-12, mixing=1.0):
    """Clusters, pieces and the whole J = A + B D laid out node by node."""
    rng = np.random.default_rng(seed)
    rows = 2 * n_k - 1
    branches = [(0, 4), (4, 7), (1, -1), (2, 3), (5, 8), (8, 6)]  # {0, 4, 7}, {1}, {2, 3}, {5, 6, 8}
    clusters, net = find_clusters(n, rows, wired(branches)), random_network(rng, n, n_k, hybrid)
    krylov = room(net, clusters, tolerance)
    d = np.zeros((n, rows, n, rows))
    for c, (lo, hi) in enumerate(zip(clusters.first[:-1], clusters.first[1:])):
        nodes, m = clusters.node[lo:hi], hi - lo
        block = mixing * rng.normal(size=(m, rows, m, rows)) / 50
        d[np.ix_(nodes, range(rows), nodes, range(rows))] = block
        krylov.device[clusters.offset[c]:clusters.offset[c + 1]] = block.ravel()
    return clusters, krylov, real(net.a) + real(net.b) @ d.reshape(n * rows, n * rows), rng.normal(size=(n, rows))


@pytest.mark.parametrize("hybrid", [(), (0,), (0, 2)])
def test_gmres_solves_what_numpy_solves(hybrid):
    for seed in range(5):
        clusters, krylov, j, right = random_case(seed, hybrid=hybrid)
        inner, x, found = np.zeros(right.size), np.zeros(right.size), np.zeros_like(right)
        lapack = lapack_addresses()
        to_rows(right, clusters, krylov, inner)
        assert factor_pieces(lapack, clusters, krylov)
        assert gmres(inner, lapack, clusters, krylov, x)
        to_nodes(x, clusters, found)
        expected = np.linalg.solve(j, right.ravel())
        # a residual of 1e-12 may be an error of cond(J) times that, and twice for the mixed rows
        np.testing.assert_allclose(found.ravel(), expected, rtol=0,
                                   atol=2e-12 * np.linalg.cond(j) * np.abs(expected).max())
        assert 1 < krylov.iterations[0] <= ROOM


@pytest.mark.parametrize("hybrid", [(), (0, 2)])
def test_the_product_and_the_sparse_matrix_are_those_of_the_whole_one(hybrid):
    clusters, krylov, j, v = random_case(11, hybrid=hybrid)
    by_rows, plain = np.zeros(v.size), room_of_rows(v, clusters)
    multiply(plain, clusters, krylov, np.zeros(v.size), by_rows)
    expected = np.zeros(v.size)
    to_rows((j @ v.ravel()).reshape(v.shape), clusters, krylov, expected)
    np.testing.assert_allclose(by_rows, expected, atol=1e-13 * np.abs(expected).max())
    sparse = matrix(clusters, krylov)
    np.testing.assert_allclose(sparse @ plain, expected, atol=1e-13 * np.abs(expected).max())
    np.testing.assert_allclose(solver(sparse)(expected), plain, atol=1e-12 * np.linalg.cond(j))


def room_of_rows(v, clusters):
    """Voltages (n, rows) in the order of krylov.py, equations not mixed."""
    return v[clusters.node].T.ravel()


def test_gmres_restarts_and_says_when_it_does_not_get_there():
    # slopes that dwarf the network and mix all harmonics, but the clusters' preconditioner spoilt: many vectors wanted
    clusters, krylov, _, right = random_case(3, mixing=30.0)
    lapack, inner, x = lapack_addresses(), np.zeros(right.size), np.zeros(right.size)
    assert factor_pieces(lapack, clusters, krylov)
    krylov.cluster[:] = np.random.default_rng(0).normal(size=krylov.cluster.size)
    to_rows(right, clusters, krylov, inner)
    assert not gmres(inner.copy(), lapack, clusters, krylov._replace(hessenberg=krylov.hessenberg[:3, :2].copy()), x)


def test_a_restart_goes_on_where_the_last_cycle_ended():
    clusters, krylov, j, right = random_case(6)
    lapack, inner, x, found = lapack_addresses(), np.zeros(right.size), np.zeros(right.size), np.zeros_like(right)
    assert factor_pieces(lapack, clusters, krylov)
    krylov.tolerance[0] = 1e-4
    to_rows(right, clusters, krylov, inner)
    gmres(inner.copy(), lapack, clusters, krylov, x)
    whole = int(krylov.iterations[0])
    few = krylov._replace(hessenberg=np.zeros((whole - 1, whole - 2)), iterations=np.zeros(1, np.int64))
    assert gmres(inner, lapack, clusters, few, x) and few.iterations[0] > whole - 2
    to_nodes(x, clusters, found)
    left = np.linalg.norm(j @ found.ravel() - right.ravel())
    assert left <= 1.11e-4 * np.linalg.norm(right)  # the tolerance and the tenth allowed for drift


def test_a_singular_piece_is_said():
    clusters, krylov, _, _ = random_case(2)
    krylov.a[:], krylov.device[:] = 0.0, 0.0
    assert not factor_pieces(lapack_addresses(), clusters, krylov)


def test_a_singular_matrix_is_refused_by_either_elimination():
    for singular in (scipy.sparse.csc_array(np.ones((4, 4))), scipy.sparse.csc_array(np.diag([1.0] * 30 + [0.0]))):
        with pytest.raises(scipy.linalg.LinAlgError):
            solver(singular)


def test_rows_are_brought_to_their_nodes():
    net = random_network(np.random.default_rng(4), 6, 2, hybrid=(1,))
    t = rows_by_node(net.a[1], net.b[1])
    currents, voltages = t @ net.b[1], 50 * t @ net.a[1]
    for j, unit in enumerate(np.eye(6)):
        stands_alone = [np.abs(form[:, j] - unit).max() < 1e-9 for form in (currents, voltages)]
        assert any(stands_alone)


def test_equations_without_a_hybrid_form_are_left_as_they_are():
    a = np.array([[1.0, 0.0], [0.0, 0.0]])
    b = np.array([[1.0, 0.0], [0.0, 0.0]])  # the second node appears nowhere
    np.testing.assert_array_equal(rows_by_node(a, b), np.eye(2))


def test_the_model_of_times_never_prefers_one_cluster():
    for n in (4, 40, 400):
        for rows in (9, 65):
            assert pieces_time(rows, one_cluster(n, rows)) > whole_time(n * rows)
