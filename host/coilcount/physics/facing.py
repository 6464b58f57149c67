"""A disc, iron or not, that faces an even alternating field: solved by finite elements.

No closed formula holds for sheet iron, where eddy currents, magnetisation and skin effect are of the same size: the
sum of the known limits is up to six times wrong for a steel coin.
"""

from math import pi

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import spsolve

from coilcount.physics.constants import MU0
from coilcount.physics.eddy import skin_depth_m

FAR = 12.0  # outer boundary in radii (or half thicknesses): alters the field at the disc by about 3e-4
FINE = 8  # elements in a skin depth, or half thickness, at the surface
GROWTH = 1.2  # of neighbouring elements away from the surface

# Bilinear elements on a unit square, corners (0,0) (1,0) (1,1) (0,1): slopes along r, along z, and mass.
SLOPE_R = np.array([[2, -2, -1, 1], [-2, 2, 1, -1], [-1, 1, 2, -2], [1, -1, -2, 2]]) / 6
SLOPE_Z = np.array([[2, 1, -1, -2], [1, 2, -2, -1], [-1, -2, 2, 1], [-2, -1, 1, 2]]) / 6
MASS = np.array([[4, 2, 1, 2], [2, 4, 2, 1], [1, 2, 4, 2], [2, 1, 2, 4]]) / 36


def facing_polarizability(
    radius_m: float, thickness_m: float, conductivity: float, mu_r: float, frequency_hz: float
) -> complex:
    """alpha in m^3 along the axis of a disc or short cylinder of any conductivity and permeability.

    Unknown: flux function psi = r A_phi on half a meridian plane, -d/dr(nu/r dpsi/dr) - d/dz(nu/r dpsi/dz)
    + jw sigma psi/r = 0, psi = mu0 H0 r^2/2 far away (e.g. Binns, Lawrenson, Trowbridge, 1992); then the moment is
    that of the eddy current, pi r^2 J, and of the magnetisation.  0.5 % of |alpha|; takes about 50 ms.
    """
    if radius_m <= 0 or thickness_m <= 0 or mu_r <= 0:
        raise ValueError("radius, thickness and mu_r must be positive")
    w, half = 2 * pi * frequency_hz, thickness_m / 2
    first = min(skin_depth_m(frequency_hz, conductivity, mu_r), half, radius_m) / FINE
    outer = FAR * max(radius_m, half)
    r, z = _nodes(radius_m, first, outer), _nodes(half, first, outer)

    at_r, at_z = (index.ravel() for index in np.indices((len(r) - 1, len(z) - 1)))
    d_r, d_z = np.diff(r)[at_r], np.diff(z)[at_z]
    mid_r, mid_z = r[at_r] + d_r / 2, z[at_z] + d_z / 2
    inside = (mid_r < radius_m) & (mid_z < half)
    nu = np.where(inside, 1 / (MU0 * mu_r), 1 / MU0)
    sigma = np.where(inside, conductivity, 0.0)

    node = np.arange(len(r) * len(z)).reshape(len(r), len(z))
    corner = np.stack([node[at_r, at_z], node[at_r + 1, at_z], node[at_r + 1, at_z + 1], node[at_r, at_z + 1]])
    element = (
        np.multiply.outer(nu / mid_r * d_z / d_r, SLOPE_R)
        + np.multiply.outer(nu / mid_r * d_r / d_z, SLOPE_Z)
        + np.multiply.outer(1j * w * sigma / mid_r * d_r * d_z, MASS)
    )
    row, column = np.repeat(corner.T, 4, axis=1).ravel(), np.tile(corner.T, 4).ravel()
    system = csr_matrix((element.ravel(), (row, column)), shape=(node.size, node.size))

    psi = (MU0 / 2 * np.repeat(r**2, len(z))).astype(complex)  # H0 = 1; the middle plane is free by symmetry
    known = np.zeros(node.shape, bool)
    known[0], known[-1], known[:, -1] = True, True, True
    known = known.ravel()
    psi[~known] = spsolve(system[~known][:, ~known].tocsc(), -(system[~known][:, known] @ psi[known]))

    p = psi[corner]
    current = -1j * w * sigma * p.mean(axis=0) / mid_r
    eddy = np.sum(pi * mid_r**2 * current * d_r * d_z)
    flux = 2 * pi * np.sum(((p[1] + p[2] - p[0] - p[3]) / 2 * d_z)[inside])
    return complex(2 * (eddy + (1 - 1 / mu_r) / MU0 * flux))


def _nodes(surface: float, first: float, end: float) -> NDArray:
    """From 0 to `end`, with `surface` among them, finest there and coarser away from it."""
    return np.concatenate([surface - _grow(first, surface)[::-1], surface + _grow(first, end - surface)[1:]])


def _grow(first: float, length: float) -> NDArray:
    """0 ... length in steps that grow from about `first`, none above a thirtieth of the length."""
    n = int(np.ceil(np.log1p(length / first * (GROWTH - 1)) / np.log(GROWTH)))
    step = np.minimum(first * GROWTH ** np.arange(n + 30), length / 30)
    at = np.concatenate([[0.0], np.cumsum(step)])
    at = at[: np.searchsorted(at, length) + 1]
    return at * (length / at[-1])
