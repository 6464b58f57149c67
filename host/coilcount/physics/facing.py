"""Bodies of revolution in a field that is symmetric about their axis, solved by finite elements.

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
from coilcount.physics.harmonics import axial_flux
from coilcount.physics.winding import Winding, filaments

# The mesh.  Chosen by hand, so that the polarizability of eleven typical bodies is within 1.1 % of that on a mesh of
# twice as many elements a side, and a body takes 20 to 100 ms.
FAR = 8.0  # distance of the outer boundary in half sizes of the body
FINE = 4.0  # elements in a skin depth, and at least in half of a section
GROWTH = 1.4  # size ratio of neighbouring elements, away from the surface
STEPS = 14  # least number of elements across a section or an air gap
# The matrix is symmetric: a symmetric ordering without pivoting is the faster way to solve it.
SYMMETRIC = {"permc_spec": "MMD_AT_PLUS_A", "diag_pivot_thresh": 0.0, "options": {"SymmetricMode": True}}

# Matrices of a bilinear element on the unit square with corners (0,0) (1,0) (1,1) (0,1): slope in r, slope in z, mass.
SLOPE_R = np.array([[2, -2, -1, 1], [-2, 2, 1, -1], [-1, 1, 2, -2], [1, -1, -2, 2]]) / 6
SLOPE_Z = np.array([[2, 1, -1, -2], [1, 2, -2, -1], [-1, -2, 2, 1], [-2, -1, 1, 2]]) / 6
MASS = np.array([[4, 2, 1, 2], [2, 4, 2, 1], [1, 2, 4, 2], [2, 1, 2, 4]]) / 36

# A rectangle of the section of a body: inner radius, outer radius, lower and upper height, in m.
Section = tuple[float, float, float, float]


def disc_sections(radius_m: float, thickness_m: float, hole_m: float = 0.0) -> list[Section]:
    """Return the section of a disc or short cylinder, or of a washer.  hole_m: radius of the hole."""
    return [(hole_m, radius_m, -thickness_m / 2, thickness_m / 2)]


def can_sections(radius_m: float, height_m: float, wall_m: float) -> list[Section]:
    """Return the section of a closed can: two ends and a wall."""
    half = height_m / 2
    if not 0 < wall_m < min(radius_m, half):
        raise ValueError("a can's wall must be thinner than the can")
    ends = [(0.0, radius_m, half - wall_m, half), (0.0, radius_m, -half, wall_m - half)]
    return [*ends, (radius_m - wall_m, radius_m, wall_m - half, half - wall_m)]


def cap_sections(radius_m: float, height_m: float, wall_m: float) -> list[Section]:
    """Return the section of a cap: a disc at the upper end, and a skirt that hangs down from its rim."""
    half = height_m / 2
    if not 0 < wall_m < min(radius_m, height_m):
        raise ValueError("a cap's sheet must be thinner than the cap")
    return [(0.0, radius_m, half - wall_m, half), (radius_m - wall_m, radius_m, -half, half - wall_m)]


class FacingBody:
    """A body of revolution of any conductivity and permeability, in a field that is symmetric about its axis.

    sections: rectangles that make up its section.  Their heights count from the body's centre, and the side towards
    the coil is up.  Raises ValueError for sizes that make no body.

    Equation: -d/dr(nu/r dpsi/dr) - d/dz(nu/r dpsi/dz) + jw sigma psi/r = source, for the flux function psi = r A_phi
    on a meridian plane (for example Binns, Lawrenson, Trowbridge, 1992).  psi is the field of the source in air plus
    the body's own field, which is 0 far away.
    """

    def __init__(self, sections: list[Section], conductivity: float, mu_r: float, frequency_hz: float) -> None:
        box = np.array(sections, float)
        if mu_r <= 0 or np.any(box[:, 0] < 0) or np.any(box[:, 1] <= box[:, 0]) or np.any(box[:, 3] <= box[:, 2]):
            raise ValueError("radius, thickness and mu_r must be positive")
        w = 2 * pi * frequency_hz
        depth = skin_depth_m(frequency_hz, conductivity, mu_r)
        self.size_m = max(box[:, 1].max(), np.abs(box[:, 2:]).max())
        outer = FAR * self.size_m
        r = _nodes(np.unique(np.append(box[:, :2], 0.0)), depth, 0.0, outer)
        z = _nodes(np.unique(box[:, 2:]), depth, -outer, outer)

        cell_r, cell_z = (index.ravel() for index in np.indices((len(r) - 1, len(z) - 1)))
        d_r, d_z = np.diff(r)[cell_r], np.diff(z)[cell_z]
        mid_r, mid_z = r[cell_r] + d_r / 2, z[cell_z] + d_z / 2
        inside = np.zeros(len(mid_r), bool)
        for r_0, r_1, z_0, z_1 in sections:
            inside |= (mid_r > r_0) & (mid_r < r_1) & (mid_z > z_0) & (mid_z < z_1)
        node = np.arange(len(r) * len(z)).reshape(len(r), len(z))
        next_r, next_z = cell_r + 1, cell_z + 1
        corner = np.stack([node[cell_r, cell_z], node[next_r, cell_z], node[next_r, next_z], node[cell_r, next_z]])

        def assemble(nu: NDArray, sigma: NDArray, only: NDArray | slice) -> csr_matrix:
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
        known = np.zeros(node.shape, bool)
        known[0], known[-1], known[:, 0], known[:, -1] = True, True, True, True
        self._free, self._nodes = np.flatnonzero(~known.ravel()), node.size
        self._solver = splu(system[self._free][:, self._free].tocsc(), **SYMMETRIC)

    def _energy(self, psi: NDArray) -> NDArray:
        """Compute -2 pi psi (K - K_air)(psi + the body's own field) for each pair of sources.

        psi: (nodes, sources), the field of each source in air.  Returns shape (sources, sources).
        """
        right = np.zeros((self._nodes, psi.shape[1]), complex)
        right[self._body] = self._excess @ psi
        own = np.zeros_like(right)
        own[self._free] = self._solver.solve(-right[self._free])
        return -2 * pi * psi.T @ (self._excess @ (psi + own[self._body]))

    def harmonic_matrix(self, degrees: int, scale_m: float) -> NDArray:
        """Compute the response to solid harmonics of degree 1 to `degrees`, shape (degrees, degrees), in m^3.

        Row and column i belong to the field of `harmonics.fields` of degree i + 1 and order 0.  The inductance of a
        coil changes by mu0 c.matrix.c, if its field per ampere is the sum of these fields with coefficients c.
        """
        return self._energy(MU0 * axial_flux(self._r, self._z, degrees, scale_m)) / MU0

    def axial_polarizability(self) -> complex:
        """Compute the polarizability along the axis in m^3, for an even field."""
        return complex(self.harmonic_matrix(1, 1.0)[0, 0])

    def response(self, winding: Winding, distance_m: ArrayLike) -> tuple[NDArray, NDArray]:
        """Compute how much the body changes inductance and resistance of a coil on the same axis.

        distance_m: from the coil's plane to the middle of the body.  Returns (d_l_h, d_r_ohm), shape (distances,).
        """
        distance = np.atleast_1d(np.asarray(distance_m, float))
        ring_r, ring_z, turns = filaments(winding, 4)
        on_axis = self._r == 0
        radius = np.where(on_axis, 1.0, self._r)[:, None, None]
        away = distance[:, None] - self._z[:, None, None] - ring_z
        psi = (turns * mutual_inductance(ring_r, radius, away)).sum(axis=2) / (2 * pi)
        psi[on_axis] = 0.0
        change = np.diag(self._energy(psi))
        return change.real, -self._w * change.imag


def facing_polarizability(
    radius_m: float, thickness_m: float, conductivity: float, mu_r: float, frequency_hz: float
) -> complex:
    """Compute the polarizability along the axis, in m^3, of a disc or short cylinder.  Takes about 40 ms."""
    return FacingBody(disc_sections(radius_m, thickness_m), conductivity, mu_r, frequency_hz).axial_polarizability()


def _nodes(edges: NDArray, depth: float, low: float, high: float) -> NDArray:
    """Nodes from `low` to `high`: finest at the edges of the sections, and coarser away from them.

    edges: ascending; depth: skin depth.  An edge at `low` (the axis) needs no fine elements.
    """
    gaps = np.diff(edges)
    first = np.empty(len(edges))
    for i in range(len(edges)):
        near = gaps[max(0, i - 1) : i + 1].min()
        first[i] = min(depth / FINE, near / 2 / FINE)
    parts = []
    if edges[0] > low:
        parts.append(edges[0] - _grow(first[0], edges[0] - low)[::-1])
    for i, gap in enumerate(gaps):
        if i == 0 and edges[0] == low:
            parts.append(edges[1] - _grow(first[1], gap)[::-1])
            continue
        lower, upper = _grow(first[i], gap / 2), _grow(first[i + 1], gap / 2)
        parts.append(np.concatenate([edges[i] + lower, edges[i + 1] - upper[-2::-1]]))
    parts.append(edges[-1] + _grow(first[-1], high - edges[-1]))
    return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])


def _grow(first: float, length: float) -> NDArray:
    """Nodes from 0 to `length` in steps that grow from about `first`; no step is longer than length / STEPS."""
    n = int(np.ceil(np.log1p(length / first * (GROWTH - 1)) / np.log(GROWTH)))
    step = np.minimum(first * GROWTH ** np.arange(n + STEPS), length / STEPS)
    nodes = np.concatenate([[0.0], np.cumsum(step)])
    nodes = nodes[: np.searchsorted(nodes, length * (1 - 1e-9)) + 1]
    return nodes * (length / nodes[-1])
