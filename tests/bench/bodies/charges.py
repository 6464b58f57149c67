"""Reference for rods, wires and sheets across the coil's axis: magnetic charges on small pieces in the coil's real field.

Nothing here comes from coilcount.  Each piece is magnetised along the sheet or wire by the total field, with the mean
permeability that eddy currents leave to a long wire or a wide sheet.  Charges appear wherever the flux changes.
What this model leaves out: eddy currents that a field across a sheet drives around in it.  A body that stands straight
up under the middle of the coil sees no such field.
"""

from math import pi

import numpy as np
from scipy.special import ellipe, ellipk, iv

MU0 = 4e-7 * pi


def coil_field(turns, points):
    """H/I in A/m of coaxial turns [(radius, height, number)] at points (n, 3) (Smythe 7.10), off the axis."""
    x, y, z = points.T
    rho = np.maximum(np.hypot(x, y), 1e-7)
    h_rho, h_z = np.zeros_like(rho), np.zeros_like(rho)
    for radius, height, number in turns:
        up = z - height
        far, near = (radius + rho) ** 2 + up**2, (radius - rho) ** 2 + up**2
        k, e = ellipk(4 * radius * rho / far), ellipe(4 * radius * rho / far)
        h_z += number * (k + (radius**2 - rho**2 - up**2) / near * e) / (2 * pi * np.sqrt(far))
        h_rho += number * up / rho * (-k + (radius**2 + rho**2 + up**2) / near * e) / (2 * pi * np.sqrt(far))
    return np.stack([h_rho * x / rho, h_rho * y / rho, h_z], axis=1)


def wire_along(radius, sigma, mu, frequency):
    """Mean B/(mu0 H) of a long round wire in a field along it, from modified Bessel functions."""
    k = np.sqrt(2j * pi * frequency * MU0 * mu * sigma) * radius
    return mu * 2 * iv(1, k) / (k * iv(0, k))


def wire_across(radius, sigma, mu, frequency):
    """Polarizability per metre of a long round wire in a field across it, from modified Bessel functions."""
    k = np.sqrt(2j * pi * frequency * MU0 * mu * sigma) * radius
    slope = k * (iv(0, k) / iv(1, k)) - 1  # r d/dr of I1 at the surface, over I1
    return 2 * pi * radius**2 * (mu - slope) / (mu + slope)


def sheet_along(thickness, sigma, mu, frequency):
    """Mean B/(mu0 H) of a wide sheet in a field along it."""
    k = np.sqrt(2j * pi * frequency * MU0 * mu * sigma) * thickness / 2
    return mu * np.tanh(k) / k


def shell_potential(apart, length, radius):
    """Mean potential between two short pieces of a charged tube, each of 1 unit, over 1: `apart` between middles."""
    total = np.zeros_like(apart)
    # Different numbers of points for the two pieces, so that no point of one meets a point of the other.
    for x, w_x in zip(*np.polynomial.legendre.leggauss(8), strict=True):
        for y, w_y in zip(*np.polynomial.legendre.leggauss(7), strict=True):
            d = np.abs(apart + (x - y) * length / 2)
            total += w_x * w_y / 4 * ellipk(4 * radius**2 / (d * d + 4 * radius**2)) / np.sqrt(d * d + 4 * radius**2)
    return total / (2 * pi**2)


def rod_change(turns, centre, direction, length, radius, sigma, mu, frequency, pieces):
    """Complex change of inductance by a rod."""
    direction = np.asarray(direction, float)
    step = length / pieces
    middle = (np.arange(pieces) + 0.5) * step - length / 2
    # A node carries the flux that leaves between two pieces.  Those at the ends carry the flux through the end faces.
    node = np.arange(pieces + 1) * step - length / 2
    potential = shell_potential(np.abs(node[:, None] - node), step, radius)
    face = 16 / (3 * pi * radius) / (4 * pi)  # mean potential of a charged disc on itself
    potential[0, 0] = potential[-1, -1] = face
    difference = np.diff(np.eye(pieces + 1), axis=0)  # (pieces, nodes)
    h = coil_field(turns, np.asarray(centre) + middle[:, None] * direction)
    along = h @ direction
    chi_area = (wire_along(radius, sigma, mu, frequency) - 1) * pi * radius**2
    # charge of a node = flux of the piece before it - flux of the piece after it = difference.T @ flux
    field = -difference @ potential @ difference.T / step
    flux = np.linalg.solve(np.eye(pieces) / chi_area - field, along)
    across = (h * h).sum(axis=1) - along**2
    return MU0 * step * (flux @ along + wire_across(radius, sigma, mu, frequency) * across.sum())


def ring_change(turns, centre, normal, radius, wire, sigma, mu, frequency, pieces):
    """Complex change of inductance by a ring of round wire through which the coil sends no net flux."""
    u, v = plane(normal)
    angle = 2 * pi * np.arange(pieces) / pieces
    place = radius * (np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * v)
    tangent = np.cos(angle)[:, None] * v - np.sin(angle)[:, None] * u
    step = 2 * pi * radius / pieces
    chord = 2 * radius * np.abs(np.sin((angle[:, None] - angle) / 2))
    potential = shell_potential(chord, step, wire)
    difference = np.roll(np.eye(pieces), 1, axis=1) - np.eye(pieces)  # piece i runs from node i to node i + 1
    middle = (place + np.roll(place, -1, axis=0)) / 2
    middle *= radius / np.linalg.norm(middle, axis=1)[:, None]
    tangent = np.roll(place, -1, axis=0) - place
    tangent /= np.linalg.norm(tangent, axis=1)[:, None]
    h = coil_field(turns, np.asarray(centre) + middle)
    along = (h * tangent).sum(axis=1)
    chi_area = (wire_along(wire, sigma, mu, frequency) - 1) * pi * wire**2
    field = -difference @ potential @ difference.T / step
    flux = np.linalg.solve(np.eye(pieces) / chi_area - field, along)
    across = (h * h).sum() - (along**2).sum()
    return MU0 * step * (flux @ along + wire_across(wire, sigma, mu, frequency) * across)


def plane(normal):
    """Two unit vectors across a direction."""
    normal = np.asarray(normal, float)
    helper = np.eye(3)[np.argmin(np.abs(normal))]
    u = np.cross(normal, helper)
    u /= np.linalg.norm(u)
    return u, np.cross(normal, u) / np.linalg.norm(normal)


def sheet_change(turns, centre, normal, outline, thickness, sigma, mu, frequency, rings, sectors):
    """Complex change of inductance by a sheet of revolution.

    outline: [(radius, height along the normal)], the sheet's middle line from its inner to its outer rim.
    """
    normal = np.asarray(normal, float)
    u, v = plane(normal)
    corners = np.array(outline, float)
    lengths = np.hypot(*np.diff(corners, axis=0).T)
    edges = [corners[:1]]
    for start, end, length in zip(corners[:-1], corners[1:], lengths, strict=True):
        n = max(6, round(rings * length / lengths.sum()))
        edges.append(start + (1 - np.cos(pi * np.arange(1, n + 1) / n))[:, None] / 2 * (end - start))
    edges = np.concatenate(edges)
    middle = (edges[1:] + edges[:-1]) / 2
    width = np.hypot(*np.diff(edges, axis=0).T)
    count = len(width)
    angle = 2 * pi * (np.arange(sectors) + 0.5) / sectors
    spoke = np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * v
    place = middle[:, 0, None, None] * spoke + middle[:, 1, None, None] * normal
    place = place.reshape(-1, 3)
    arc = middle[:, 0] * 2 * pi / sectors
    chi = sheet_along(thickness, sigma, mu, frequency) - 1

    index = np.arange(count * sectors).reshape(count, sectors)
    pairs = [(index[:-1].ravel(), index[1:].ravel()), (index.ravel(), np.roll(index, -1, axis=1).ravel())]
    gap = (width[1:] + width[:-1]) / 2
    through = [
        np.repeat(edges[1:-1, 0] * 2 * pi / sectors / gap, sectors),
        np.repeat(width / arc, sectors),
    ]
    stiffness = np.zeros((count * sectors,) * 2)
    for (one, other), conduct in zip(pairs, through, strict=True):
        np.add.at(stiffness, (one, one), conduct)
        np.add.at(stiffness, (other, other), conduct)
        np.add.at(stiffness, (one, other), -conduct)
        np.add.at(stiffness, (other, one), -conduct)
    stiffness = stiffness * (chi * thickness)
    apart = np.linalg.norm(place[:, None, :] - place[None, :, :], axis=-1)
    np.fill_diagonal(apart, 1.0)
    kernel = 1 / (4 * pi * np.sqrt(apart**2 + thickness**2 / 6))
    own = np.array([_patch_potential(w, b, thickness) for w, b in zip(width, arc, strict=True)])
    np.fill_diagonal(kernel, np.repeat(own, sectors))
    # The coil's potential at the pieces, by adding up the field along the way: first from piece to piece along a
    # spoke, then around each ring.  Its zero does not matter.
    at = (np.asarray(centre, float) + place).reshape(count, sectors, 3)
    potential = np.zeros((count, sectors))
    potential[1:, 0] = -np.cumsum(_work(turns, at[:-1, 0], at[1:, 0]))
    for j in range(1, sectors):
        potential[:, j] = potential[:, j - 1] - _work(turns, at[:, j - 1], at[:, j])
    charged = stiffness @ np.linalg.solve(np.eye(len(place)) + kernel @ stiffness, potential.ravel())
    return MU0 * (potential.ravel() @ charged)


def _work(turns, start, end):
    """Integral of H along straight lines, by four Gauss points."""
    node, weight = np.polynomial.legendre.leggauss(4)
    total = np.zeros(len(start))
    for x, w in zip((node + 1) / 2, weight / 2, strict=True):
        total += w * (coil_field(turns, start + x * (end - start)) * (end - start)).sum(axis=1)
    return total


def _patch_potential(width, breadth, thickness):
    """Mean potential of a charged block on itself, over its charge, by points."""
    node, weight = np.polynomial.legendre.leggauss(6)
    x = np.stack(np.meshgrid(node * width / 2, node * breadth / 2, node * thickness / 2, indexing="ij"), -1).reshape(-1, 3)
    w = np.einsum("i,j,k->ijk", weight, weight, weight).ravel() / 8
    d = np.linalg.norm(x[:, None] - x[None], axis=-1)
    size = (width * breadth * thickness) ** (1 / 3)
    np.fill_diagonal(d, 1.0)
    inverse = 1 / d
    # A point stands for a small block; its own mean potential is that of a cube, 1.8823/side, as a fair guess.
    np.fill_diagonal(inverse, 1.8823 / (size * w ** (1 / 3)))
    return (w @ inverse @ w) / (4 * pi)
