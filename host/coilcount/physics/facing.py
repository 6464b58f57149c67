"""A disc or a can with its axis along the field, solved by finite elements.

This is needed for sheet iron.  There eddy currents, magnetisation and skin effect are of the same size, and no closed
formula holds: the sum of the known limiting cases is wrong by a factor of up to six for a steel coin.
"""

from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import splu

from coilcount.physics.coil import mutual_inductance
from coilcount.physics.constants import MU0
from coilcount.physics.eddy import skin_depth_m
from coilcount.physics.winding import Winding, filaments

# The mesh; all four chosen by hand.
FAR = 12.0  # distance of the outer boundary in radii (or half thicknesses); it changes the field at the disc by 3e-4
FINE = 5  # elements in a skin depth, or half thickness, at the surface; in a can's wall 4 are enough
GROWTH = 1.3  # size ratio of neighbouring elements, away from the surface
STEPS = 20  # least number of elements across the body, and across the air around it
# The matrix is symmetric: a symmetric ordering without pivoting is the faster way to solve it.
SYMMETRIC = {"permc_spec": "MMD_AT_PLUS_A", "diag_pivot_thresh": 0.0, "options": {"SymmetricMode": True}}

# Matrices of a bilinear element on the unit square with corners (0,0) (1,0) (1,1) (0,1): slope in r, slope in z, mass.
SLOPE_R = np.array([[2, -2, -1, 1], [-2, 2, 1, -1], [-1, 1, 2, -2], [1, -1, -2, 2]]) / 6
SLOPE_Z = np.array([[2, 1, -1, -2], [1, 2, -2, -1], [-1, -2, 2, 1], [-2, -1, 1, 2]]) / 6
MASS = np.array([[4, 2, 1, 2], [2, 4, 2, 1], [1, 2, 4, 2], [2, 1, 2, 4]]) / 36


class FacingBody:
    """A disc, a short cylinder or a closed can of any conductivity and permeability, its axis along the field.

    wall_m: thickness of a can's wall and ends; None for a solid body.  Raises ValueError for sizes that make no body.

    Equation: -d/dr(nu/r dpsi/dr) - d/dz(nu/r dpsi/dz) + jw sigma psi/r = source, for the flux function psi = r A_phi
    on half a meridian plane (for example Binns, Lawrenson, Trowbridge, 1992).  psi is the field of the source in air
    plus the body's own field, which is 0 far away.  The part that is even about the middle plane and the part that is
    odd are solved separately, each on the upper half.
    """

    def __init__(
        self,
        radius_m: float,
        thickness_m: float,
        conductivity: float,
        mu_r: float,
        frequency_hz: float,
        wall_m: float | None = None,
    ) -> None:
        if radius_m <= 0 or thickness_m <= 0 or mu_r <= 0:
            raise ValueError("radius, thickness and mu_r must be positive")
        half = thickness_m / 2
        if wall_m is not None and not 0 < wall_m < min(radius_m, half):
            raise ValueError("a can's wall must be thinner than the can")
        w = 2 * pi * frequency_hz
        thin = min(half, radius_m) / FINE if wall_m is None else wall_m / 4
        first = min(skin_depth_m(frequency_hz, conductivity, mu_r) / FINE, thin)
        outer = FAR * max(radius_m, half)
        r, z = _nodes(radius_m, first, outer, wall_m), _nodes(half, first, outer, wall_m)

        cell_r, cell_z = (index.ravel() for index in np.indices((len(r) - 1, len(z) - 1)))
        d_r, d_z = np.diff(r)[cell_r], np.diff(z)[cell_z]
        mid_r, mid_z = r[cell_r] + d_r / 2, z[cell_z] + d_z / 2
        inside = (mid_r < radius_m) & (mid_z < half)
        if wall_m is not None:
            inside &= (mid_r > radius_m - wall_m) | (mid_z > half - wall_m)
        node = np.arange(len(r) * len(z)).reshape(len(r), len(z))
        next_r, next_z = cell_r + 1, cell_z + 1
        corner = np.stack([node[cell_r, cell_z], node[next_r, cell_z], node[next_r, next_z], node[cell_r, next_z]])

        def assemble(nu: NDArray, sigma: NDArray, only: NDArray) -> csr_matrix:
            element = (
                np.multiply.outer(nu / mid_r * d_z / d_r, SLOPE_R)
                + np.multiply.outer(nu / mid_r * d_r / d_z, SLOPE_Z)
                + np.multiply.outer(1j * w * sigma / mid_r * d_r * d_z, MASS)
            )[only]
            row = np.repeat(corner.T[only], 4, axis=1).ravel()
            column = np.tile(corner.T[only], 4).ravel()
            return csr_matrix((element.ravel(), (row, column)), shape=(node.size, node.size))

        nu = np.where(inside, 1 / (MU0 * mu_r), 1 / MU0)
        system = assemble(nu, np.where(inside, conductivity, 0.0), slice(None))
        excess = assemble(nu - 1 / MU0, np.full(inside.shape, conductivity), inside)
        self._w = w
        self._body = np.unique(corner[:, inside])
        self._r, self._z = np.repeat(r, len(z))[self._body], np.tile(z, len(r))[self._body]
        self._excess = excess[self._body][:, self._body]
        self._solve = {}
        for odd in (False, True):
            known = np.zeros(node.shape, bool)
            known[0], known[-1], known[:, -1] = True, True, True
            known[:, 0] |= odd
            free = np.flatnonzero(~known.ravel())
            self._solve[odd] = (system[free][:, free].tocsc(), free, node.size)

    def _energy(self, psi: NDArray, odd: bool) -> NDArray:
        """Compute -2 pi psi (K - K_air)(psi + the body's own field) over both halves.

        psi: (nodes, sources), the field of each source in air.  Returns shape (sources,).
        """
        matrix, free, size = self._solve[odd]
        right = np.zeros((size, psi.shape[1]), complex)
        right[self._body] = self._excess @ psi
        own = np.zeros_like(right)
        own[free] = splu(matrix, **SYMMETRIC).solve(-right[free])
        return -4 * pi * np.sum(psi * (self._excess @ (psi + own[self._body])), axis=0)

    def axial_polarizability(self) -> complex:
        """Compute the polarizability along the axis in m^3, for an even field.

        The error is about 0.5 % of its absolute value (tests: against the ring model).
        """
        even = (MU0 / 2 * self._r**2)[:, None]
        return complex(self._energy(even, odd=False)[0] / MU0)

    def response(self, winding: Winding, distance_m: ArrayLike) -> tuple[NDArray, NDArray]:
        """Compute how much the body changes inductance and resistance of a coil on the same axis.

        distance_m: from the coil's plane to the middle of the body.  Returns (d_l_h, d_r_ohm), shape (distances,).
        """
        distance = np.atleast_1d(np.asarray(distance_m, float))
        ring_r, ring_z, turns = filaments(winding, 4)

        on_axis = self._r == 0
        radius = np.where(on_axis, 1.0, self._r)[:, None, None]

        def flux(z: NDArray) -> NDArray:
            away = z[:, None, None] + distance[:, None] - ring_z
            psi = (turns * mutual_inductance(ring_r, radius, away)).sum(axis=2) / (2 * pi)
            psi[on_axis] = 0.0
            return psi

        upper, lower = flux(self._z), flux(-self._z)
        change = self._energy((upper + lower) / 2, odd=False) + self._energy((upper - lower) / 2, odd=True)
        return change.real, -self._w * change.imag


def facing_polarizability(
    radius_m: float, thickness_m: float, conductivity: float, mu_r: float, frequency_hz: float
) -> complex:
    """Compute the polarizability along the axis, in m^3, of a disc or short cylinder.  Takes about 50 ms."""
    return FacingBody(radius_m, thickness_m, conductivity, mu_r, frequency_hz).axial_polarizability()


def _nodes(surface: float, first: float, end: float, wall: float | None) -> NDArray:
    """Nodes from 0 to `end`, finest at `surface` and at a wall's inner side, and coarser away from them."""
    if wall is None:
        inner = surface - _grow(first, surface)[::-1]
    else:
        inward, half = surface - wall, _grow(first, wall / 2)
        inner = np.concatenate([inward - _grow(first, inward)[::-1], inward + half[1:], surface - half[-2::-1]])
    return np.concatenate([inner, surface + _grow(first, end - surface)[1:]])


def _grow(first: float, length: float) -> NDArray:
    """Nodes from 0 to `length` in steps that grow from about `first`; no step is longer than length / STEPS."""
    n = int(np.ceil(np.log1p(length / first * (GROWTH - 1)) / np.log(GROWTH)))
    step = np.minimum(first * GROWTH ** np.arange(n + STEPS), length / STEPS)
    nodes = np.concatenate([[0.0], np.cumsum(step)])
    nodes = nodes[: np.searchsorted(nodes, length) + 1]
    return nodes * (length / nodes[-1])
