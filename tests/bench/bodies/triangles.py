"""Reference for bodies on the axis of a coil: eddy currents and magnetisation by finite elements on triangles.

Nothing here comes from coilcount, which solves for the flux function r A_phi on rectangles.  Here the unknown is
A_phi of the field that the body adds, linear in each triangle of a meridian plane:
integral of (1/mu) (curl A)(curl N) + jw sigma A N over 2 pi r dr dz = the sources that the coil's own field excites.
"""

from itertools import pairwise
from math import pi

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu
from scipy.spatial import Delaunay
from scipy.special import ellipe, ellipk

MU0 = 4e-7 * pi
CORNERS = np.array([[4, 1, 1], [1, 4, 1], [1, 1, 4]]) / 6  # quadrature points, exact for polynomials of degree 2


def loop_potential(radius, height, r, z):
    """A_phi/I in Wb/m of a circular filament (Smythe 7.10), for r > 0."""
    total = (radius + r) ** 2 + (z - height) ** 2
    m = 4 * radius * r / total
    return MU0 / (2 * pi * r) * np.sqrt(total) * ((1 - m / 2) * ellipk(m) - ellipe(m))


def graded(edges, smallest, growth, low, high):
    """Places from low to high: `smallest` apart at the edges, and farther apart away from them."""
    borders = sorted({low, high, *[edge for edge in edges if low < edge < high]})
    edges = np.array(edges, float)
    found = [np.array([low])]
    for start, end in pairwise(borders):
        # Fine near both ends: the size of an element may be far below the distance of the borders.
        near = np.geomspace(smallest / 20, (end - start) / 2, 3000)
        fine = np.concatenate([[start], start + near, (end - near)[::-1][1:], [end]])
        size = smallest + (growth - 1) * np.abs(fine[:, None] - edges).min(axis=1)
        count = np.concatenate([[0.0], np.cumsum(np.diff(fine) * (1 / size[1:] + 1 / size[:-1]) / 2)])
        n = max(2, int(np.ceil(count[-1])))
        found.append(np.interp(np.arange(1, n + 1) * count[-1] / n, count, fine))
    return np.concatenate(found)


def box_mesh(boxes, step, growth, far):
    """Points and triangles for a section that is made of boxes (r_0, r_1, z_0, z_1); which triangles are metal."""
    edges_r = sorted({edge for box in boxes for edge in box[:2]} - {0.0})
    edges_z = sorted({edge for box in boxes for edge in box[2:]})
    r, z = graded(edges_r, step, growth, 0.0, far), graded(edges_z, step, growth, -far, far)
    points = np.stack(np.meshgrid(r, z, indexing="ij"), axis=-1).reshape(-1, 2)
    node = np.arange(len(points)).reshape(len(r), len(z))
    a, b, c, d = (part.ravel() for part in (node[:-1, :-1], node[1:, :-1], node[1:, 1:], node[:-1, 1:]))
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    middle = points[triangles].mean(axis=1)
    metal = np.zeros(len(triangles), bool)
    for r_0, r_1, z_0, z_1 in boxes:
        metal |= (middle[:, 0] > r_0) & (middle[:, 0] < r_1) & (middle[:, 1] > z_0) & (middle[:, 1] < z_1)
    return points, triangles, metal


def round_mesh(centre, radius, step, growth, far):
    """Points and triangles for a round section: a wire of this radius, bent to a ring of radius `centre`."""
    layers = [radius]
    for sign in (-1, 1):
        at, size = radius, step
        while 0 < at < (far if sign > 0 else 2 * far) and (sign > 0 or at > size):
            at += sign * size
            size *= growth
            if at > 0:
                layers.append(at)
    points = [np.array([[centre, 0.0]])]
    for i, layer in enumerate(sorted(layers)):
        n = int(np.clip(2 * pi * radius / step, 48, 4000))
        if layer < 0.3 * radius or layer > 2 * radius:
            n = max(24, int(n * min(layer / (0.3 * radius), 2 * radius / layer, 1)))
        angle = 2 * pi * (np.arange(n) + 0.5 * (i % 2)) / n
        if abs(layer - radius) < 1e-12:
            layer = layer * np.sqrt(2 * pi / n / np.sin(2 * pi / n))  # a polygon of the same area
        points.append(np.stack([centre + layer * np.cos(angle), layer * np.sin(angle)], axis=1))
    upper = graded([0.0], radius / 4, growth, 0.0, far)
    axis = np.concatenate([-upper[:0:-1], upper])
    cloud = np.concatenate(points)
    cloud = cloud[(cloud[:, 0] > radius / 8) & (cloud[:, 0] < far) & (np.abs(cloud[:, 1]) < far)]
    border = [np.stack([0 * axis, axis], axis=1)]
    side = graded([0.0], radius, growth, 0.0, far)[1:]
    border += [np.stack([side, np.full_like(side, end)], axis=1) for end in (-far, far)]
    border += [np.stack([np.full_like(axis, far), axis], axis=1)]
    points = np.unique(np.concatenate([cloud, *border]), axis=0)
    triangles = Delaunay(points).simplices
    middle = points[triangles].mean(axis=1)
    return points, triangles, np.hypot(middle[:, 0] - centre, middle[:, 1]) < radius


class Revolved:
    """A body of revolution on a mesh: points (n, 2) as (r, z), triangles (m, 3), metal (m,)."""

    def __init__(self, mesh, sigma, mu, frequency):
        points, triangles, metal = mesh
        corner = points[triangles]
        first, second = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
        double = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
        triangles = np.where((double < 0)[:, None], triangles[:, ::-1], triangles)
        keep = np.abs(double) > 1e-14 * np.abs(double).max() ** 0.5
        triangles, metal, double = triangles[keep], metal[keep], np.abs(double[keep])
        corner = points[triangles]
        r, z = corner[..., 0], corner[..., 1]
        turn = [(1, 2), (2, 0), (0, 1)]
        slope_r = np.stack([z[:, i] - z[:, j] for i, j in turn], axis=1) / double[:, None]
        slope_z = np.stack([r[:, j] - r[:, i] for i, j in turn], axis=1) / double[:, None]
        at = r @ CORNERS.T  # radius of the quadrature points
        weight = 2 * pi * at * double[:, None] / 6
        # curl A = (-dA/dz, dA/dr + A/r)
        axial = slope_r[:, None, :] + CORNERS[None] / at[..., None]
        curl = np.einsum("tq,tqi,tqj->tij", weight, axial, axial)
        curl += weight.sum(axis=1)[:, None, None] * slope_z[:, :, None] * slope_z[:, None, :]
        mass = np.einsum("tq,qi,qj->tij", weight, CORNERS, CORNERS)
        loss = 2j * pi * frequency * sigma * mass
        row, column = np.repeat(triangles, 3, axis=1).ravel(), np.tile(triangles, 3).ravel()
        size = len(points)

        def assembled(element, only):
            index = np.repeat(only, 9)
            return csc_matrix((element[only].ravel(), (row[index], column[index])), shape=(size, size))

        every = np.ones(len(triangles), bool)
        stiff = np.where(metal, 1 / mu, 1.0)[:, None, None] * curl / MU0
        system = assembled(stiff + metal[:, None, None] * loss, every)
        self._excess = assembled((1 / mu - 1) / MU0 * curl + loss, metal)
        radius, height = points.T
        far = 1 - 1e-9
        free = (radius > 0) & (radius < far * radius.max()) & (np.abs(height) < far * height.max())
        self._free = np.flatnonzero(free)
        self._body = np.unique(triangles[metal])
        self._body = self._body[radius[self._body] > 0]
        self._points, self.unknowns = points, len(self._free)
        matrix = system[self._free][:, self._free]
        self._solver = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})

    def change(self, turns, distance):
        """Complex change of a coil's inductance in H.

        turns: [(radius, height, number)]; distance: from the coil's plane to height 0 of the body.
        """
        field = np.zeros(len(self._points))
        r, z = self._points[self._body].T
        for radius, height, number in turns:
            field[self._body] += number * loop_potential(radius, distance + height, r, z)
        own = np.zeros(len(field), complex)
        own[self._free] = self._solver.solve(-(self._excess @ field.astype(complex))[self._free])
        return -np.sum(field * (self._excess @ (field + own)))
