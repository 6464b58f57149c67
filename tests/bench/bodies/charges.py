"""Reference for rods, wires and sheets across the coil's axis: magnetic charges on small pieces in the real field.

Nothing here comes from coilcount.  Each piece is magnetised along the sheet or wire by the total field, with the mean
permeability that eddy currents leave to a long wire or a wide sheet.  Charges appear wherever the flux changes.
What this model leaves out: eddy currents that a field across a sheet drives around in it.  A body that stands straight
up under the middle of the coil sees no such field.
"""

from itertools import pairwise
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


class Rod:
    """A rod of round section; `change` gives the complex change of a coil's inductance in H."""

    def __init__(self, length, radius, sigma, mu, frequency, pieces):
        self._step = length / pieces
        self._middle = (np.arange(pieces) + 0.5) * self._step - length / 2
        # A node carries the flux that leaves between two pieces.  Those at the ends carry the flux through the faces.
        node = np.arange(pieces + 1) * self._step - length / 2
        potential = shell_potential(np.abs(node[:, None] - node), self._step, radius)
        face = 16 / (3 * pi * radius) / (4 * pi)  # mean potential of a charged disc on itself
        potential[0, 0] = potential[-1, -1] = face
        difference = np.diff(np.eye(pieces + 1), axis=0)
        chi_area = (wire_along(radius, sigma, mu, frequency) - 1) * pi * radius**2
        field = -difference @ potential @ difference.T / self._step
        self._flux = np.linalg.inv(np.eye(pieces) / chi_area - field)
        self._across = wire_across(radius, sigma, mu, frequency)

    def change(self, turns, centre, direction):
        direction = np.asarray(direction, float)
        h = coil_field(turns, np.asarray(centre) + self._middle[:, None] * direction)
        along = h @ direction
        across = (h * h).sum() - along @ along
        return MU0 * self._step * (along @ self._flux @ along + self._across * across)


class Ring:
    """A ring of round wire through which the coil sends no net flux."""

    def __init__(self, radius, wire, sigma, mu, frequency, pieces):
        angle = 2 * pi * np.arange(pieces) / pieces
        self._place = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        self._step = 2 * pi * radius / pieces
        chord = 2 * radius * np.abs(np.sin((angle[:, None] - angle) / 2))
        potential = shell_potential(chord, self._step, wire)
        difference = np.roll(np.eye(pieces), 1, axis=1) - np.eye(pieces)  # piece i runs from node i to node i + 1
        chi_area = (wire_along(wire, sigma, mu, frequency) - 1) * pi * wire**2
        field = -difference @ potential @ difference.T / self._step
        self._flux = np.linalg.inv(np.eye(pieces) / chi_area - field)
        self._across = wire_across(wire, sigma, mu, frequency)
        self._radius = radius

    def change(self, turns, centre, normal):
        place = self._place @ np.stack(plane(normal))
        other = np.roll(place, -1, axis=0)
        middle = (place + other) / 2
        middle *= self._radius / np.linalg.norm(middle, axis=1)[:, None]
        tangent = (other - place) / np.linalg.norm(other - place, axis=1)[:, None]
        h = coil_field(turns, np.asarray(centre) + middle)
        along = (h * tangent).sum(axis=1)
        across = (h * h).sum() - along @ along
        return MU0 * self._step * (along @ self._flux @ along + self._across * across)


def plane(normal):
    """Two unit vectors across a direction."""
    normal = np.asarray(normal, float)
    helper = np.eye(3)[np.argmin(np.abs(normal))]
    u = np.cross(normal, helper)
    u /= np.linalg.norm(u)
    return u, np.cross(normal, u) / np.linalg.norm(normal)


class Sheet:
    """A sheet of revolution, such as a disc, a washer or a cap.

    outline: [(radius, height along the normal)], the sheet's middle line from its inner to its outer rim.
    """

    def __init__(self, outline, thickness, sigma, mu, frequency, rings, sectors):
        corners = np.array(outline, float)
        lengths = np.hypot(*np.diff(corners, axis=0).T)
        edges = [corners[:1]]
        for start, end, length in zip(corners[:-1], corners[1:], lengths, strict=True):
            n = max(8, round(rings * length / lengths.sum()))
            edges.append(start + (1 - np.cos(pi * np.arange(1, n + 1) / n))[:, None] / 2 * (end - start))
        edges = np.concatenate(edges)
        middle = (edges[1:] + edges[:-1]) / 2
        width = np.hypot(*np.diff(edges, axis=0).T)
        self._shape = count, _ = len(width), sectors
        angle = 2 * pi * (np.arange(sectors) + 0.5) / sectors
        place = np.stack(
            [
                np.outer(middle[:, 0], np.cos(angle)),
                np.outer(middle[:, 0], np.sin(angle)),
                np.repeat(middle[:, 1:], sectors, axis=1),
            ],
            axis=-1,
        )
        self._place = place = place.reshape(-1, 3)
        arc = middle[:, 0] * 2 * pi / sectors
        index = np.arange(count * sectors).reshape(count, sectors)
        gap = (width[1:] + width[:-1]) / 2
        stiffness = np.zeros((count * sectors,) * 2, complex)
        for one, other, conduct in (
            (index[:-1].ravel(), index[1:].ravel(), np.repeat(edges[1:-1, 0] * 2 * pi / sectors / gap, sectors)),
            (index.ravel(), np.roll(index, -1, axis=1).ravel(), np.repeat(width / arc, sectors)),
        ):
            np.add.at(stiffness, (one, one), conduct)
            np.add.at(stiffness, (other, other), conduct)
            np.add.at(stiffness, (one, other), -conduct)
            np.add.at(stiffness, (other, one), -conduct)
        stiffness *= (sheet_along(thickness, sigma, mu, frequency) - 1) * thickness
        apart = np.linalg.norm(place[:, None, :] - place[None, :, :], axis=-1)
        kernel = 1 / (4 * pi * np.sqrt(apart**2 + thickness**2 / 6))
        own = [_patch_potential(w, b, thickness) for w, b in zip(width, arc, strict=True)]
        np.fill_diagonal(kernel, np.repeat(own, sectors))
        self._charges = np.linalg.solve(np.eye(len(place)) + stiffness @ kernel, stiffness)

    def change(self, turns, centre, normal):
        u, v = plane(normal)
        at = np.asarray(centre, float) + self._place @ np.stack([u, v, np.asarray(normal, float)])
        at = at.reshape(*self._shape, 3)
        # The coil's potential, by adding up the field from piece to piece.  Its zero does not matter.
        potential = np.zeros(self._shape)
        potential[1:, 0] = -np.cumsum(_work(turns, at[:-1, 0], at[1:, 0]))
        for j in range(1, self._shape[1]):
            potential[:, j] = potential[:, j - 1] - _work(turns, at[:, j - 1], at[:, j])
        return MU0 * (potential.ravel() @ self._charges @ potential.ravel())


class Can:
    """A closed can as a perfect conductor: charges on patches of its surface cancel the coil's field across it."""

    def __init__(self, radius, height, rings, sectors):
        angle = 2 * pi * (np.arange(sectors) + 0.5) / sectors
        around = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
        up = np.array([0.0, 0.0, 1.0])
        place, normal, area = [], [], []
        edge = -np.cos(pi * np.arange(rings + 1) / rings) * height / 2
        for low, high in pairwise(edge):
            place.append(radius * around + (low + high) / 2 * up)
            normal.append(around)
            area.append(np.full(sectors, (high - low) * radius * 2 * pi / sectors))
        rim = radius * np.sin(pi / 2 * np.arange(rings // 2 + 1) / (rings // 2))
        for inner, outer in pairwise(rim):
            for side in (-1, 1):
                place.append((inner + outer) / 2 * around + side * height / 2 * up)
                normal.append(np.repeat([side * up], sectors, axis=0))
                area.append(np.full(sectors, (outer**2 - inner**2) * pi / sectors))
        self._place, self._normal, self._area = (np.concatenate(part) for part in (place, normal, area))
        apart = self._place[:, None, :] - self._place[None, :, :]
        distance = np.linalg.norm(apart, axis=-1)
        np.fill_diagonal(distance, 1.0)
        self._potential = 1 / (4 * pi * distance)
        # Mean potential of a charged square on itself: 2.9732 over its side.
        np.fill_diagonal(self._potential, 2.9732 / np.sqrt(self._area) / (4 * pi))
        across = np.einsum("ijk,ik->ij", apart, self._normal) / (4 * pi * distance**3)
        # On the surface itself the field of a charge sends half of it through the whole surface (Gauss).  What the
        # other patches do not get is the patch's own part.  Just outside, half of the patch's charge is added to it.
        np.fill_diagonal(across, 0.0)
        across += np.diag((1.0 - self._area @ across) / self._area)
        self._solve = np.linalg.inv(across)

    def change(self, turns, centre, axis):
        u, v = plane(axis)
        frame = np.stack([u, v, np.asarray(axis, float)])
        place, normal = np.asarray(centre, float) + self._place @ frame, self._normal @ frame
        h = (coil_field(turns, place) * normal).sum(axis=1)
        charges = self._solve @ -h
        # H = -grad V of the coil, with the zero of V at the can's centre.
        own = self._potential @ charges
        start = np.repeat([np.asarray(centre, float)], len(place), axis=0)
        coil = -_work(turns, start, place)
        return complex(MU0 * np.sum((own + coil) * h * self._area))


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
    x = np.meshgrid(node * width / 2, node * breadth / 2, node * thickness / 2, indexing="ij")
    x = np.stack(x, axis=-1).reshape(-1, 3)
    w = np.einsum("i,j,k->ijk", weight, weight, weight).ravel() / 8
    d = np.linalg.norm(x[:, None] - x[None], axis=-1)
    size = (width * breadth * thickness) ** (1 / 3)
    np.fill_diagonal(d, 1.0)
    inverse = 1 / d
    # A point stands for a small block; its own mean potential is that of a cube, 1.8823/side, as a fair guess.
    np.fill_diagonal(inverse, 1.8823 / (size * w ** (1 / 3)))
    return (w @ inverse @ w) / (4 * pi)
