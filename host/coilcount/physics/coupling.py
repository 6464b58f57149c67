"""How a body answers any field that comes from outside: the field is sampled at points of the body and split into
solid harmonics, and a matrix for each order gives the change of the coil's inductance.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from coilcount.physics.constants import MU0
from coilcount.physics.harmonics import fields, inverse

# Positions (..., 3) in the coil's frame -> the coil's field there in A/m per ampere, (..., 3).
Field = Callable[[NDArray], NDArray]


@dataclass(frozen=True, eq=False)
class Coupling:
    """A body of revolution and its response.

    points_m: (points, 3), where the field is sampled, in the body's frame, whose third axis is the body's axis;
    modes: (modes, 3 points), turns the sampled field into coefficients of harmonics; matrix: (modes, modes) in m^3.
    """

    points_m: NDArray
    modes: NDArray
    matrix: NDArray
    first_across: int  # index of the first mode of order 1

    def polarizability(self) -> tuple[complex, complex]:
        """Return alpha in m^3 of the body far away: for a field along its axis, and for a field across it."""
        return complex(self.matrix[0, 0]), complex(self.matrix[self.first_across, self.first_across])

    def inductance_change(self, field: Field, position_m: NDArray, axis: NDArray) -> NDArray:
        """Compute the complex change dL of the coil's inductance in H; the change of its resistance is -w Im dL.

        field: of the coil; position_m: (n, 3), of the body's centre in the coil's frame; axis: (3,), a unit vector.
        """
        frame = frame_of(axis)
        h = field(position_m[:, None, :] + self.points_m @ frame) @ frame.T
        found = h.reshape(len(position_m), -1) @ self.modes.T
        return MU0 * np.einsum("ni,ij,nj->n", found, self.matrix, found, optimize=True)


def frame_of(axis: NDArray) -> NDArray:
    """Return a rotation whose rows are the body's own x, y and z (its axis) in the coil's frame."""
    helper = np.array([1.0, 0.0, 0.0]) if abs(axis[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    y = np.cross(axis, helper)
    y /= np.linalg.norm(y)
    return np.array([np.cross(y, axis), y, axis])


def make_coupling(rho_m: NDArray, z_m: NDArray, azimuths: int, scale_m: float, matrices: list[NDArray]) -> Coupling:
    """Make the coupling of a body from the matrices of order 0, 1, 2 ...

    rho_m, z_m: rings of the body on which the field is sampled, at `azimuths` points each; rho_m must be positive.
    matrices: for each order the matrix for the harmonics of `harmonics.fields`.  There must be at least
    2 order + 2 azimuths for the highest order.
    """
    rings = len(rho_m)
    phi = 2 * pi * np.arange(azimuths) / azimuths
    points = np.stack(
        [
            np.outer(rho_m, np.cos(phi)),
            np.outer(rho_m, np.sin(phi)),
            np.repeat(z_m[:, None], azimuths, axis=1),
        ],
        axis=-1,
    )
    modes, blocks = [], []
    for order, matrix in enumerate(matrices):
        degrees = len(matrix)
        h_rho, h_phi, h_z = fields(rho_m, z_m, order, degrees, scale_m)
        for swing, other, sign in _swings(order, phi):
            basis = np.concatenate([h_rho, sign * h_phi, h_z], axis=1)
            fit = inverse(basis.T).reshape(degrees, 3, rings)
            mean = (1 if order == 0 else 2) / azimuths
            # Each ring's Fourier coefficients of h_rho, h_phi, h_z, from h_x and h_y.
            take = np.zeros((degrees, rings, azimuths, 3))
            take[..., 0] = fit[:, 0, :, None] * (swing * np.cos(phi)) - fit[:, 1, :, None] * (other * np.sin(phi))
            take[..., 1] = fit[:, 0, :, None] * (swing * np.sin(phi)) + fit[:, 1, :, None] * (other * np.cos(phi))
            take[..., 2] = fit[:, 2, :, None] * swing
            modes.append(mean * take.reshape(degrees, -1))
            blocks.append(matrix)
    size = sum(len(block) for block in blocks)
    matrix, first = np.zeros((size, size), complex), 0
    for block in blocks:
        matrix[first : first + len(block), first : first + len(block)] = block
        first += len(block)
    return Coupling(points.reshape(-1, 3), np.concatenate(modes), matrix, len(matrices[0]))


def _swings(order: int, phi: NDArray) -> list[tuple[NDArray, NDArray, int]]:
    """For cos(m phi) and sin(m phi): how h_rho and h_z go, how h_phi goes, and the sign of h_phi."""
    cos, sin = np.cos(order * phi), np.sin(order * phi)
    return [(cos, sin, -1)] if order == 0 else [(cos, sin, -1), (sin, cos, 1)]
