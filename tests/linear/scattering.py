"""Nodal analysis for the tests of linear parts, written apart from hbsim/linear/network.py."""

import numpy as np

LIGHT = 299792458.0


def scattering(relation, z0=50.0):
    """S of a part with a port of z0 at each terminal, from a V + b I = 0; (n_frequency, n, n)."""
    a = relation.a
    b = -np.eye(a.shape[1]) if relation.b is None else relation.b
    return np.linalg.solve(a * z0 - b, -(a * z0 + b))


def network_scattering(elements, ports, omega, z0=50.0):
    """S between ports of z0 for elements = [(part, nodes)]; every terminal current is an unknown."""
    nodes = sorted({node for _, names in elements for node in names} - {"ground"})
    place = {node: i for i, node in enumerate(nodes)}
    laws = [(part.relation(omega), names) for part, names in elements]
    size = len(nodes) + sum(len(names) for _, names in laws)
    m = np.zeros((len(omega), size, size), complex)
    first = len(nodes)
    for law, names in laws:
        n = len(names)
        rows = slice(first, first + n)
        m[:, rows, rows] = -np.eye(n) if law.b is None else law.b
        for t, name in enumerate(names):
            if name != "ground":
                m[:, rows, place[name]] += law.a[:, :, t]
                m[:, place[name], first + t] += 1.0
        first += n
    s = np.zeros((len(omega), len(ports), len(ports)), complex)
    for port in ports:
        m[:, place[port], place[port]] += 1.0 / z0
    for column, port in enumerate(ports):
        drive = np.zeros((size, 1))
        drive[place[port]] = 2.0 / z0  # source of 2 V behind z0: incident wave of 1 V
        voltages = np.linalg.solve(m, np.broadcast_to(drive, (len(omega), size, 1)))[..., 0]
        for row, other in enumerate(ports):
            s[:, row, column] = voltages[:, place[other]] - (row == column)
    return s


def impedance(relation):
    """Of a one-terminal part against ground. [ohm]"""
    return -relation.b[:, 0, 0] / relation.a[:, 0, 0]


def gains_from(s):
    """Eigenvalues of S^H S: at most 1 for a passive part, all 1 for a lossless one."""
    return np.linalg.eigvalsh(np.conj(np.swapaxes(s, 1, 2)) @ s)
